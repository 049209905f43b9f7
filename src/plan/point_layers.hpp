// SPDX-License-Identifier: MIT
// Yield, conductivity or sample points as a feature for zones: cleaned, averaged by cell, and
// interpolated over the field.
#pragma once

#include "plan/ground.hpp"
#include "zoning/features.hpp"
#include "zoning/monitor_points.hpp"

#include <string>
#include <vector>

namespace catchfield::plan {

/// Whether a file of zones.layers holds points (CSV) and not a raster.
bool is_point_file(const std::string& path);

/// Reads points: columns lon, lat, the value under the layer's name or `value`, and where there are
/// any time_s, speed_m_s, pass. x and y are lon and lat. Throws Error(data) with line and column.
std::vector<zoning::MonitorPoint> read_points(const std::string& path, const std::string& name);

/// The points as a layer of the field: outliers dropped by the documented rules (their counts go
/// into warnings), means by cell, then ordinary kriging or inverse distance over every cell of the
/// field, whichever the number of cells allows (said in warnings). No value at all where fewer than
/// three cells have points.
zoning::Feature point_feature(const std::string& name,
                              const std::vector<zoning::MonitorPoint>& points, const Ground& ground,
                              std::vector<std::string>& warnings);

}  // namespace catchfield::plan
