// SPDX-License-Identifier: MIT
#include "plan/compaction_maps.hpp"

#include "base/text.hpp"
#include "compaction/nearest.hpp"

#include <algorithm>
#include <cmath>

namespace catchfield::plan {

namespace {

using compaction::Sample;

/// Share of the sill above which a kriged cell hardly knows more than the stops' mean [assumption].
constexpr double weak_variance_share = 0.8;

CompactionMap make_map(const std::string& name, const std::string& title, const std::string& unit,
                       const std::vector<Sample>& samples, const GridFrame& frame,
                       const Mask& mask) {
    CompactionMap map;
    map.layer = {name, title, unit, {}, mask};
    const compaction::Interpolator between(samples);
    compaction::InterpolatedGrid grid = between.grid(frame, &mask);
    map.layer.values = std::move(grid.values);
    map.kriged = between.method() == compaction::Method::kriging;
    map.choice = between.choice();
    map.warnings = between.warnings();
    map.check = between.leave_one_out();
    map.stops = between.samples().size();
    double sum = 0.0, squares = 0.0;
    for (const Sample& sample : between.samples()) sum += sample.value;
    const double mean = sum / static_cast<double>(map.stops);
    for (const Sample& sample : between.samples()) {
        squares += (sample.value - mean) * (sample.value - mean);
    }
    map.spread = std::sqrt(squares / static_cast<double>(map.stops));
    if (map.kriged) {
        map.error = std::move(grid.variance);
        for (std::size_t i = 0; i < map.error.size(); ++i) {
            map.error[i] = std::sqrt(std::max(0.0F, map.error[i]));
        }
        map.sill = between.fit() ? between.fit()->variogram.sill() : 0.0;
    }
    return map;
}

/// Cells of the field whose nearest stop has a layer.
Mask cells_with_layer(const Ground& ground, const FieldResult& result) {
    std::vector<Point> places;
    for (const auto& stop : result.stops) places.push_back(*stop.at);
    const compaction::NearestPoints nearest(places);
    std::vector<compaction::Neighbour> found;
    Mask mask = ground.field;
    for (int row = 0; row < ground.frame.rows; ++row) {
        for (int col = 0; col < ground.frame.cols; ++col) {
            if (!mask.at(row, col)) continue;
            nearest.nearest({ground.frame.x_centre(col), ground.frame.y_centre(row)}, 1, found);
            if (!result.stops[found.front().index].layer_top_cm) mask.at(row, col) = 0;
        }
    }
    return mask;
}

/// Why a map is less sure within a zone; "" where nothing speaks against it.
std::string doubt_of(const CompactionMap& map, const FieldResult& result, int zone) {
    const std::string what = lower_case(map.layer.title) + " between the stops";
    if (!map.kriged) {
        return what + " is by inverse distance from " + std::to_string(map.stops) +
               " stops, without a standard error";
    }
    double sum = 0.0;
    std::size_t cells = 0;
    for (std::size_t i = 0; i < map.error.size(); ++i) {
        if (result.zone_cells[i] != zone || !map.layer.valid[i]) continue;
        sum += static_cast<double>(map.error[i]) * static_cast<double>(map.error[i]);
        ++cells;
    }
    if (cells == 0) return {};
    const double variance = sum / static_cast<double>(cells);
    if (variance > weak_variance_share * map.sill) {
        return what + " is hardly known: kriging standard error " +
               significant(std::sqrt(variance), 2) + " " + map.layer.unit +
               ", spread of the stops " + significant(map.spread, 2) + " " + map.layer.unit;
    }
    if (map.check.rmse >= map.spread) {
        return what + " is no better than the mean of the stops (leave-one-out error " +
               significant(map.check.rmse, 2) + " " + map.layer.unit + ")";
    }
    return {};
}

}  // namespace

void map_compaction(const Ground& ground, FieldResult& result) {
    std::vector<Sample> tops, strengths;
    for (const ZoneResult& zone : result.zones) {
        for (const compaction::Stop& stop : zone.profiles) {
            if (const auto value = compaction::strength_at_mpa(stop, strength_map_depth_cm)) {
                strengths.push_back({stop.at->x, stop.at->y, *value});
            }
        }
    }
    for (const compaction::StopSummary& stop : result.stops) {
        if (stop.layer_top_cm) tops.push_back({stop.at->x, stop.at->y, *stop.layer_top_cm});
    }
    if (result.stops.empty()) return;
    const auto few = [&](std::size_t count, const std::string& what) {
        if (count >= fewest_for_map) return false;
        result.warnings.push_back("Only " + std::to_string(count) + " penetrometer stops of " +
                                  std::to_string(result.stops.size()) + " give " + what +
                                  ": too few for a map (three at least).");
        return true;
    };
    if (!few(tops.size(), "a depth to a hard layer")) {
        result.compaction_maps.push_back(make_map("compaction-depth", "Depth to a hard layer", "cm",
                                                  tops, ground.frame,
                                                  cells_with_layer(ground, result)));
    }
    if (!few(strengths.size(), "a strength at " + fixed(strength_map_depth_cm, 0) + " cm")) {
        result.compaction_maps.push_back(
            make_map("compaction-strength",
                     "Penetration resistance at " + fixed(strength_map_depth_cm, 0) + " cm", "MPa",
                     strengths, ground.frame, ground.field));
    }
    for (const CompactionMap& map : result.compaction_maps) {
        for (const std::string& warning : map.warnings) {
            result.warnings.push_back(lower_case(map.layer.title) + ": " + warning);
        }
        for (ZoneResult& zone : result.zones) {
            const std::string doubt = doubt_of(map, result, zone.zone);
            if (!doubt.empty()) zone.map_doubts.push_back(doubt);
        }
    }
}

}  // namespace catchfield::plan
