// SPDX-License-Identifier: MIT
// Point lists for people and handheld receivers: GPX 1.1 and CSV.
#pragma once

#include "gis/crs.hpp"
#include "gis/table_fields.hpp"

#include <string>
#include <vector>

namespace catchfield::gis {

/// A waypoint file. Points in `crs`; names: one for each point (XML is escaped); comments: one for
/// each point, or none at all. WGS 84, 7 decimals, no times. Throws Error(internal) on sizes.
std::string gpx_bytes(const std::vector<Point>& points, const Crs& crs,
                      const std::vector<std::string>& names,
                      const std::vector<std::string>& comments = {});

/// Columns longitude, latitude (7 decimals, WGS 84), then the given ones. Cells are safe to open in
/// a spreadsheet (base/table).
std::string points_csv_bytes(const std::vector<FieldSpec>& columns,
                             const std::vector<PointRow>& rows, const Crs& crs);

}  // namespace catchfield::gis
