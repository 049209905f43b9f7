// SPDX-License-Identifier: MIT
// Point layers of any vector format as tables.
#pragma once

#include "base/table.hpp"
#include "gis/crs.hpp"
#include "plan/job.hpp"

namespace catchfield::plan {

/// The points of a layer as a table with columns x and y before its own. crs: set to the layer's.
/// Throws Error(data) for features that are no points.
Table probe_table_of_layer(const std::string& path, const Job& job, gis::Crs& crs);

}  // namespace catchfield::plan
