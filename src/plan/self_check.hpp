// SPDX-License-Identifier: MIT
// Every run ends by re-opening what it wrote.
#pragma once

#include "plan/job.hpp"
#include "plan/run_json.hpp"

#include <string>
#include <vector>

namespace catchfield::plan {

/// Re-opens the outputs in `folder` and compares them with what was planned: areas add up to the
/// boundary within 0.5 %, zones.csv and plan.gpkg have every zone, rates lie within bounds, totals
/// over raster and polygons agree. Throws Error(output) naming what does not hold.
void self_check(const Job& job, const std::string& folder, const std::vector<FieldRecord>& fields);

}  // namespace catchfield::plan
