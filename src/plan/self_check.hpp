// SPDX-License-Identifier: MIT
// Every run ends by re-opening what it wrote; the same look serves for a plan made earlier.
#pragma once

#include "plan/job.hpp"
#include "plan/run_json.hpp"

#include <string>
#include <vector>

namespace catchfield::plan {

/// How much of a plan is opened again.
struct CheckDepth {
    std::size_t fields = 200;   ///< whose maps are opened; the tables are always read whole
    bool tables_agree = false;  ///< zones.geojson and plan.gpkg compared with zones.csv row by row
};

/// What an examination has seen.
struct Examined {
    std::size_t fields = 0;          ///< that run.json lists
    std::vector<std::string> wrong;  ///< what does not hold, a line each, at most 100
};

/// Re-opens the outputs in `folder` and compares them with each other and with what was planned:
/// zones.csv, zones.geojson and plan.gpkg have every zone once; every number is one and every rate
/// lies within the job's bounds; areas add up to the field within 0.5 %; zones of a field do not
/// overlap; the rate maps have their no-data value, their unit, rates within the field's bounds and
/// the totals that run.json states. Files that cannot be read are lines of what does not hold.
/// Memory grows by a few numbers a field; where the tables are compared, with the zones. Works on
/// all cores that TBB may use.
Examined examine(const Job& job, const std::string& folder, const CheckDepth& depth);

/// As examine at the end of a run. Throws Error(output) naming the first thing that does not hold.
void self_check(const Job& job, const std::string& folder);

}  // namespace catchfield::plan
