// SPDX-License-Identifier: MIT
// A made field on a plane: boundary, elevation, one soil, and a job file.
#pragma once

#include "base/raster.hpp"
#include "gis/crs.hpp"
#include "gis/files.hpp"
#include "gis/geopackage.hpp"
#include "gis/geotiff.hpp"
#include "gis/start.hpp"
#include "program.hpp"

#include <cmath>
#include <map>
#include <string>
#include <utility>
#include <vector>

namespace catchfield::testing {

struct TiltedField {
    double slope_pct = 6.0;
    double length_m = 120.0;     ///< down the slope (north to south)
    double width_m = 400.0;      ///< across it
    double direction_deg = 0.0;  ///< of the slope, from south towards east; the field stays
    double cell_m = 5.0;
    /// Columns of the one soil polygon; "" leaves the value out.
    std::map<std::string, std::string> soil = {{"mukey", "1"},
                                               {"muname", "Made silt loam, 2 to 6 percent slopes"},
                                               {"kffact", "0.32"},
                                               {"tfact", "5"},
                                               {"hydgrp", "C"}};
};

inline Polygon box_polygon(double west, double south, double east, double north) {
    Polygon polygon;
    polygon.outer = {{west, south}, {west, north}, {east, north}, {east, south}, {west, south}};
    return polygon;
}

/// Writes field.gpkg, dem.tif, soils.gpkg and job.ini; returns the job's path. `more`: further
/// lines of the job by section.
inline std::string make_tilted_field(const TemporaryFolder& folder, const TiltedField& field,
                                     const std::map<std::string, std::string>& more = {}) {
    gis::start({});
    const gis::Crs crs = gis::Crs::from_user_input("EPSG:32617", "test");
    constexpr double west = 330'000.0, south = 4'430'000.0;  // central Ohio
    const double east = west + field.width_m, north = south + field.length_m;
    {
        gis::GeoPackageWriter writer(
            folder / "field.gpkg",
            {{"fields", gis::LayerGeometry::multi_polygon, {{"name"}}, crs, ""}});
        writer.add(0, gis::PolygonRow{
                          {box_polygon(west, south, east, north)}, {std::string("slope")}, -1});
        writer.commit();
    }
    {
        std::vector<gis::FieldSpec> columns;
        std::vector<gis::Value> values;
        for (const auto& [name, value] : field.soil) {
            columns.push_back({name});
            values.push_back(value.empty() ? gis::Value() : gis::Value(value));
        }
        gis::GeoPackageWriter writer(
            folder / "soils.gpkg",
            {{"soils", gis::LayerGeometry::multi_polygon, columns, crs, ""}});
        writer.add(0, gis::PolygonRow{
                          {box_polygon(west - 50, south - 50, east + 50, north + 50)}, values, -1});
        writer.commit();
    }
    GridFrame frame;
    frame.cell = field.cell_m;
    frame.west = west - 20 * field.cell_m;
    frame.north = north + 20 * field.cell_m;
    frame.rows = static_cast<int>(std::lround(field.length_m / field.cell_m)) + 40;
    frame.cols = static_cast<int>(std::lround(field.width_m / field.cell_m)) + 40;
    Raster<float> dem(frame);
    Mask all(frame);
    const double angle = field.direction_deg * std::acos(-1.0) / 180.0;
    for (int row = 0; row < frame.rows; ++row) {
        for (int col = 0; col < frame.cols; ++col) {
            const double down = (row + 0.5) * frame.cell * std::cos(angle) +
                                (col + 0.5) * frame.cell * std::sin(angle);
            dem.at(row, col) = static_cast<float>(300.0 - down * field.slope_pct / 100.0);
            all.at(row, col) = 1;
        }
    }
    gis::write_file_atomically(folder / "dem.tif", gis::geotiff_bytes(dem, all, crs, {}));

    std::map<std::string, std::string> job = {
        {"field", "boundary = field.gpkg\nid-column = name\n"},
        {"terrain", "elevation = dem.tif\nelevation-unit = m\n"},
        {"soil", "map = soils.gpkg\n"},
        {"weather", ""},
        {"season",
         "harvest = 2025-07-15\nsow = 2025-08-18\nhard-frost = 2025-10-20\n"
         "terminate = 2026-04-25\nnext-planting = 2026-05-10\nprevious-crop = wheat\n"},
        {"zones", "count = 1\n"},
        {"cover", "candidates = rye\n"},
        {"nitrogen", "crop = corn\nyield-goal = 180 bu/ac\n"},
        {"output", "layers = yes\nuncertainty = 20\n"},
    };
    for (const auto& [section, lines] : more) job[section] += lines;
    if (job["weather"].find("erosivity") == std::string::npos &&
        job["weather"].find("rain") == std::string::npos)
        job["weather"] += "erosivity = 125 us\n";
    std::string text;
    for (const auto& [section, lines] : job) text += "[" + section + "]\n" + lines;
    write_text(folder / "job.ini", text);
    return folder / "job.ini";
}

}  // namespace catchfield::testing
