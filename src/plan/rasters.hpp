// SPDX-License-Identifier: MIT
// Raster files that stay open, and terrain read onto a field's grid.
#pragma once

#include "gis/raster_source.hpp"
#include "plan/job.hpp"

#include <string>

namespace catchfield::plan {

/// The file's source for the calling thread, kept open; a few threads share one. Throws as
/// gis::RasterSource.
const gis::RasterSource& open_raster(const std::string& path);

/// Closes them all, with their unpacked blocks. No thread may be using one.
void close_rasters();

/// Metres to one unit of the elevations: what the user states, else what the file states, else
/// metres where neither says (`assumed` is set).
double metres_per_elevation(const Job& job, const gis::RasterSource& source, bool& assumed);

/// Slope in percent from a slope in the job's unit.
float slope_percent(float value, const std::string& unit);

}  // namespace catchfield::plan
