// SPDX-License-Identifier: MIT
#include "plan/point_layers.hpp"

#include "base/error.hpp"
#include "base/text.hpp"
#include "compaction/interpolation.hpp"
#include "gis/files.hpp"

#include <algorithm>
#include <cmath>
#include <map>

namespace catchfield::plan {

bool is_point_file(const std::string& path) {
    return lower_case(path).ends_with(".csv");
}

std::vector<zoning::MonitorPoint> read_points(const std::string& path, const std::string& name) {
    const Table table = Table::parse(gis::read_file(path), path);
    table.require({"lon", "lat"});
    const std::string value = table.has(name) ? name : "value";
    if (!table.has(value)) table.require({name});
    std::vector<zoning::MonitorPoint> points;
    std::map<std::string, int> passes;
    for (std::size_t row = 0; row < table.rows(); ++row) {
        zoning::MonitorPoint point;
        point.x = table.required_number(row, "lon");
        point.y = table.required_number(row, "lat");
        if (std::abs(point.x) > 360.0 || std::abs(point.y) > 90.0) {
            table.fail(row, "lat", "not a place in degrees", "lon and lat must be WGS 84 degrees.");
        }
        point.value = table.required_number(row, value);
        if (table.has("time_s")) point.time_s = table.number(row, "time_s");
        if (table.has("speed_m_s")) point.speed_m_s = table.number(row, "speed_m_s");
        if (table.has("pass")) {
            point.pass = passes.emplace(table.text(row, "pass"), static_cast<int>(passes.size()))
                             .first->second;
        }
        points.push_back(point);
    }
    if (points.empty()) throw Error(ErrorKind::input, "the table has no points", {.path = path});
    return points;
}

zoning::Feature point_feature(const std::string& name,
                              const std::vector<zoning::MonitorPoint>& points, const Ground& ground,
                              std::vector<std::string>& warnings) {
    zoning::Feature feature;
    feature.name = name;
    feature.values = Raster<float>(ground.frame);
    feature.valid = Mask(ground.frame);
    feature.ratio_scale = true;

    // Only points near the field are moved: a district's file may hold many fields.
    const Box box{ground.frame.west, ground.frame.south(), ground.frame.east(), ground.frame.north};
    const Box degrees = gis::transformer(ground.crs, gis::Crs::wgs84()).apply(box);
    const gis::Transformer& to_work = gis::transformer(gis::Crs::wgs84(), ground.crs);
    std::vector<zoning::MonitorPoint> near;
    for (const zoning::MonitorPoint& point : points) {
        if (point.x < degrees.min_x || point.x > degrees.max_x || point.y < degrees.min_y ||
            point.y > degrees.max_y) {
            continue;
        }
        const Point place = to_work.apply(Point{point.x, point.y});
        near.push_back(point);
        near.back().x = place.x;
        near.back().y = place.y;
    }
    if (near.empty()) return feature;
    const zoning::CleanPoints clean =
        zoning::clean_monitor_points(near, ground.field, zoning::default_monitor_rules());
    for (const std::string& warning : clean.warnings) warnings.push_back(name + ": " + warning);
    std::string dropped;
    for (std::size_t i = 1; i < clean.counts.size(); ++i) {
        if (clean.counts[i] == 0) continue;
        dropped += (dropped.empty() ? "" : ", ") + std::to_string(clean.counts[i]) + " " +
                   std::string(zoning::drop_reason_name(static_cast<zoning::DropReason>(i)));
    }
    warnings.push_back(name + ": " + std::to_string(clean.kept.size()) + " of " +
                       std::to_string(near.size()) + " points kept" +
                       (dropped.empty() ? "." : " (dropped: " + dropped + ")."));
    if (clean.kept.empty()) return feature;
    const zoning::GriddedPoints cells = zoning::block_average(clean.kept, ground.frame);
    std::vector<compaction::Sample> samples;
    for (int row = 0; row < ground.frame.rows; ++row) {
        for (int col = 0; col < ground.frame.cols; ++col) {
            const std::size_t cell = ground.frame.index(row, col);
            if (!cells.valid[cell]) continue;
            samples.push_back({ground.frame.x_centre(col), ground.frame.y_centre(row),
                               static_cast<double>(cells.values[cell])});
        }
    }
    if (samples.size() < 3) {
        warnings.push_back(name + ": points in fewer than three cells of the field, not used.");
        return feature;
    }
    const compaction::Interpolator interpolator(std::move(samples));
    warnings.push_back(name + ": " + interpolator.choice());
    feature.values = interpolator.grid(ground.frame, &ground.field).values;
    feature.valid = ground.field;
    return feature;
}

}  // namespace catchfield::plan
