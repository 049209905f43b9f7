// SPDX-License-Identifier: MIT
#include "plan/field_plan.hpp"

#include "base/error.hpp"
#include "base/text.hpp"
#include "geometry/overlay.hpp"
#include "plan/compaction_maps.hpp"
#include "plan/field_zones.hpp"
#include "plan/ground.hpp"
#include "plan/layers.hpp"
#include "plan/rasters.hpp"
#include "plan/rate_steps.hpp"
#include "plan/scouting_visit.hpp"
#include "plan/yields.hpp"
#include "plan/zone_steps.hpp"
#include "prescription/surface.hpp"

#include <algorithm>
#include <chrono>
#include <cmath>

namespace catchfield::plan {

namespace {

/// Notes how long each stage took.
class StageClock {
  public:
    explicit StageClock(std::map<std::string, double>& seconds) : m_seconds(seconds) {}
    void stage(const std::string& name) {
        const auto now = std::chrono::steady_clock::now();
        m_seconds[name] += std::chrono::duration<double>(now - m_last).count();
        m_last = now;
    }

  private:
    std::map<std::string, double>& m_seconds;
    std::chrono::steady_clock::time_point m_last = std::chrono::steady_clock::now();
};

/// Zone at a point of the work grid, 0 outside.
int zone_at(const FieldResult& result, const Point& point) {
    const GridFrame& frame = result.frame;
    const int col = static_cast<int>(std::floor((point.x - frame.west) / frame.cell));
    const int row = static_cast<int>(std::floor((frame.north - point.y) / frame.cell));
    return frame.contains(row, col) ? result.zone_cells.at(row, col) : 0;
}

/// The zone at every cell centre by the final outlines, as any reader of the polygons finds it.
Raster<std::int32_t> zone_raster(const std::vector<MultiPolygon>& shapes, const GridFrame& frame) {
    Raster<std::int32_t> cells(frame);
    for (std::size_t z = 0; z < shapes.size(); ++z) {
        if (shapes[z].empty()) continue;
        const Mask mask = geometry::centre_mask(shapes[z], frame);
        for (std::size_t i = 0; i < mask.size(); ++i) {
            if (mask[i]) cells[i] = static_cast<std::int32_t>(z + 1);
        }
    }
    return cells;
}

void place_stops(const Inputs& inputs, FieldResult& result) {
    if (inputs.probes.stops.empty()) return;
    const gis::Transformer& to_work = gis::transformer(inputs.probes.crs, result.crs);
    std::size_t nearby = 0;
    for (const compaction::Stop& stop : inputs.probes.stops) {
        if (!stop.at) continue;
        compaction::StopSummary summary =
            compaction::summarise(stop, inputs.job.compaction.threshold_mpa);
        summary.at = to_work.apply(*stop.at);
        const int zone = zone_at(result, *summary.at);
        if (zone > 0) {
            ZoneResult& there = result.zones[static_cast<std::size_t>(zone) - 1];
            there.stops.push_back(summary);
            there.profiles.push_back(stop);
            there.profiles.back().at = summary.at;
            result.stops.push_back(summary);
        } else if (geometry::distance(result.boundary, *summary.at) < 50.0) {
            ++nearby;
        }
    }
    if (nearby > 0) {
        result.warnings.push_back(
            std::to_string(nearby) +
            " penetrometer stops lie just outside the field and are left out.");
    }
}

std::optional<double> yield_goal_of_zone(const Inputs& inputs, const Ground& ground,
                                         const std::vector<geometry::CellRun>& cells,
                                         const std::optional<gis::RasterWindow<float>>& yields) {
    ZoneMean mean;
    geometry::for_cells(cells, [&](std::size_t cell, double share) {
        if (yields) {
            if (yields->valid[cell] == 0) return;
            const double goal = static_cast<double>(yields->values[cell]);
            if (!(goal >= 0.0 && goal <= 40'000.0)) {
                throw Error(ErrorKind::data,
                            "a yield of " + fixed(goal, 0) + " kg/ha is outside 0 to 40,000",
                            {.path = inputs.job.nitrogen.yield_raster,
                             .hint = "Check nitrogen.yield-unit and the raster's nodata value."});
            }
            mean.add(goal, share);
        } else if (const SoilFacts* soil = ground.soil_at(cell, inputs.soils)) {
            if (soil->yield_goal_kg_ha) mean.add(*soil->yield_goal_kg_ha, share);
        }
    });
    const auto value = mean.value();
    return value ? value : inputs.yield_goal_kg_ha;
}

/// Ground that gets no nitrogen: the user's features, grown by the setback.
MultiPolygon no_apply_ground(const Inputs& inputs, const FieldResult& result) {
    if (!inputs.no_apply) return {};
    const double setback = inputs.job.nitrogen.setback_m;
    Box box = bounds(result.boundary);
    box = {box.min_x - setback, box.min_y - setback, box.max_x + setback, box.max_y + setback};
    const Box there = gis::transformer(result.crs, inputs.no_apply->crs()).apply(box);
    const gis::Transformer& to_work = gis::transformer(inputs.no_apply->crs(), result.crs);
    std::vector<MultiPolygon> parts;
    for (const std::size_t index : inputs.no_apply->query(there)) {
        const gis::Feature& feature = inputs.no_apply->layer().features[index];
        if (feature.kind == gis::GeometryKind::polygons) {
            const MultiPolygon shape = to_work.apply(feature.polygons);
            parts.push_back(setback > 0.0 ? geometry::buffer_areas(shape, setback) : shape);
        } else if (setback <= 0.0) {
            throw Error(ErrorKind::usage,
                        "nitrogen.no-apply holds points or lines, and nitrogen.setback is 0",
                        {.hint = "Give a setback: setback = 30 m."});
        } else if (feature.kind == gis::GeometryKind::lines) {
            std::vector<Line> lines = feature.lines;
            for (Line& line : lines) to_work.apply(line);
            parts.push_back(geometry::buffer_lines(lines, setback));
        } else {
            std::vector<Point> points = feature.points;
            to_work.apply(points);
            parts.push_back(geometry::buffer_points(points, setback));
        }
    }
    return geometry::intersection(geometry::unite(parts), result.boundary);
}

/// Takes no-apply ground out of the zones. Where nothing is left the field keeps its plan, without
/// nitrogen, and says so.
void cut_no_apply(const std::vector<MultiPolygon>& shapes, FieldResult& result) {
    constexpr double sliver_m2 = 1.0;
    if (area(result.boundary) - area(result.no_apply) < sliver_m2) {
        result.rate_shapes.assign(shapes.size(), {});
        result.status = FieldStatus::partly;
        result.reasons.push_back(
            "the ground of nitrogen.no-apply and its setback take the whole field: no nitrogen is "
            "prescribed (check the features and nitrogen.setback)");
        return;
    }
    geometry::CutZones cut = geometry::take_out(shapes, result.no_apply);
    result.rate_shapes = std::move(cut.zones);
    for (MultiPolygon& shape : result.rate_shapes) {
        if (area(shape) < sliver_m2) shape.clear();
    }
    result.warnings.insert(result.warnings.end(), cut.warnings.begin(), cut.warnings.end());
}

void prescribe(const Inputs& inputs, FieldResult& result) {
    result.no_apply = no_apply_ground(inputs, result);
    std::vector<MultiPolygon> shapes;
    for (const ZoneResult& zone : result.zones) shapes.push_back(zone.shape);
    result.rate_shapes = shapes;
    if (!result.no_apply.empty()) cut_no_apply(shapes, result);
    const bool us = inputs.us();
    result.product = inputs.product ? inputs.product->title : "nitrogen";
    result.rate_unit = prescription::unit_name(inputs.rate_unit);
    result.total_unit = prescription::total_unit_name(inputs.rate_unit);
    result.seed_unit = us ? "lb/ac" : "kg/ha";
    for (std::size_t z = 0; z < result.zones.size(); ++z) {
        const ZoneResult& zone = result.zones[z];
        const double applied_ha = area(result.rate_shapes[z]) * 1e-4;
        const double rate = prescribed_rate(inputs, zone.n_rate_kg_ha);
        result.zone_rates.push_back(rate);
        result.n_total_kg += zone.n_rate_kg_ha * applied_ha;
        result.product_total += prescription::total_amount(rate, applied_ha, inputs.rate_unit);
        const double seed = zone.seed_rate_kg_ha / (us ? units::kg_ha_per_lb_ac : 1.0);
        result.zone_seed_rates.push_back(seed);
        result.seed_total_kg += zone.seed_rate_kg_ha * zone.area_ha;
    }
    result.rate_crs = inputs.rate_crs.empty() ? result.crs : inputs.rate_crs;
    std::vector<MultiPolygon> rate_shapes = result.rate_shapes;
    MultiPolygon boundary = result.boundary;
    const bool moved = !result.rate_crs.same_as(result.crs);
    if (moved) {
        const gis::Transformer& move = gis::transformer(result.crs, result.rate_crs);
        for (MultiPolygon& shape : shapes) shape = move.apply(shape);
        for (MultiPolygon& shape : rate_shapes) shape = move.apply(shape);
        boundary = move.apply(boundary);
    }
    GridFrame frame = result.frame;
    if (inputs.job.output.cell_m || moved) {
        const Box box = bounds(boundary);
        const double cell = inputs.job.output.cell_m.value_or(frame.cell);
        frame = snapped_frame(box.min_x, box.min_y, box.max_x, box.max_y,
                              cell / result.rate_crs.metres_per_unit(), 1);
    }
    Raster<std::int32_t> own_seed_zones, own_rate_zones;
    if (moved || !(frame == result.frame)) own_seed_zones = zone_raster(shapes, frame);
    const auto& seed_zones = own_seed_zones.size() > 0 ? own_seed_zones : result.zone_cells;
    if (!result.no_apply.empty()) own_rate_zones = zone_raster(rate_shapes, frame);
    const auto& rate_zones = own_rate_zones.size() > 0 ? own_rate_zones : seed_zones;
    result.rate_mask = Mask(frame);
    result.rate_cells = Raster<float>(frame);
    result.seed_cells = Raster<float>(frame);
    for (std::size_t i = 0; i < frame.size(); ++i) {
        if (seed_zones[i] == 0) continue;
        // No-apply ground is inside the field with rate 0, not outside it.
        result.rate_mask[i] = 1;
        result.seed_cells[i] =
            static_cast<float>(result.zone_seed_rates[static_cast<std::size_t>(seed_zones[i]) - 1]);
        if (rate_zones[i] > 0) {
            result.rate_cells[i] =
                static_cast<float>(result.zone_rates[static_cast<std::size_t>(rate_zones[i]) - 1]);
        }
    }
}

void judge_status(FieldResult& result) {
    double without = 0.0, no_terrain = 0.0;
    for (const ZoneResult& zone : result.zones) {
        without += zone.coverage.without * zone.area_ha;
        no_terrain += zone.coverage.no_terrain * zone.area_ha;
    }
    const auto say = [&](double ha, const std::string& what) {
        if (ha <= 0.001 * result.area_ha) return;
        result.status = FieldStatus::partly;
        result.reasons.push_back(what + " on " + fixed(ha, 2) + " ha (" +
                                 fixed(100.0 * ha / result.area_ha, 1) + " %)");
    };
    say(without, "no soil values");
    say(no_terrain, "no terrain");
}

void plan_zones(const Inputs& inputs, const FieldBoundary& field, FieldResult& result,
                StageClock& clock) {
    Ground ground = make_ground(inputs, field);
    result.crs = ground.crs;
    result.boundary = ground.boundary;
    result.area_ha = ground.area_ha;
    result.frame = ground.frame;
    result.warnings = ground.warnings;
    result.warnings.insert(result.warnings.end(), ground.terrain.warnings.begin(),
                           ground.terrain.warnings.end());
    clock.stage("ground");

    FieldZones zones = make_field_zones(inputs, field, ground);
    ground.terrain.wetness = {};  // only zones ask for these two
    ground.terrain.relative_elevation = {};
    result.warnings.insert(result.warnings.end(), zones.warnings.begin(), zones.warnings.end());
    result.warnings.insert(result.warnings.end(), zones.zoning.warnings.begin(),
                           zones.zoning.warnings.end());
    std::vector<MultiPolygon> shapes;
    for (const geometry::ZoneOutline& outline : zones.outlines) shapes.push_back(outline.shape);
    result.zone_cells = zone_raster(shapes, ground.frame);
    result.zones.resize(zones.outlines.size());
    clock.stage("zones");

    for (std::size_t z = 0; z < result.zones.size(); ++z) {
        ZoneResult& zone = result.zones[z];
        zone.zone = static_cast<int>(z) + 1;
        zone.shape = zones.outlines[z].shape;
        zone.area_ha = zones.outlines[z].area_m2 * 1e-4;
        zone.vertices = zones.outlines[z].vertices;
        describe_ground(inputs, ground, zones.cells[z], zone);
        set_present_loss(inputs, zone);
    }
    place_stops(inputs, result);
    map_compaction(ground, result);

    std::vector<Point> test_places;
    std::vector<int> test_zones;
    std::vector<TestSample> tests;
    for (const TestSample& test : inputs.tests) {
        const Point place = gis::transformer(gis::Crs::wgs84(), result.crs).apply(test.lon_lat);
        const int zone = zone_at(result, place);
        if (zone == 0) continue;
        tests.push_back(test);
        test_places.push_back(place);
        test_zones.push_back(zone);
    }
    std::optional<gis::RasterWindow<float>> yields;
    if (!inputs.job.nitrogen.yield_raster.empty()) {
        yields = open_raster(inputs.job.nitrogen.yield_raster)
                     .read<float>(ground.frame, ground.crs, gis::Resampling::bilinear);
        const double unit = yield_of_cell("1", inputs.job, inputs.job.nitrogen.yield_raster, "");
        for (float& value : yields->values.values) value *= static_cast<float>(unit);
    }

    std::vector<ZoneTests> zone_tests;
    std::vector<cover::Choice> choices;
    std::vector<double> areas;
    for (std::size_t z = 0; z < result.zones.size(); ++z) {
        ZoneResult& zone = result.zones[z];
        const Point centre = geometry::inside_point(zone.shape);
        zone_tests.push_back(tests_of_zone(tests, test_places, test_zones, zone.zone, centre));
        if (zone_tests.back().nitrate_kg_ha)
            zone.nitrate_kg_ha = zone_tests.back().nitrate_kg_ha->value;
        if (zone_tests.back().nitrate_0_30_kg_ha)
            zone.nitrate_0_30_kg_ha = zone_tests.back().nitrate_0_30_kg_ha->value;
        judge_compaction(inputs, ground, zones.cells[z], zone);
        set_cover_needs(inputs, zone_tests.back(), zone);
        choices.push_back(score_covers(inputs, zone));
        areas.push_back(zone.area_ha);
    }
    const int most = inputs.job.cover.at_most < 0 ? 0 : inputs.job.cover.at_most;
    cover::choose_for_field(choices, areas, {most});
    clock.stage("covers");

    for (std::size_t z = 0; z < result.zones.size(); ++z) {
        ZoneResult& zone = result.zones[z];
        zone.chosen = choices[z].chosen;
        if (zone.chosen) {
            zone.options[*zone.chosen].taken = true;
            zone.seed_rate_kg_ha =
                inputs.covers->candidates()[zone.options[*zone.chosen].candidate].seed.bulk_kg_ha;
        }
        apply_scouting(inputs, result, zone,
                       [&](const Point& place) { return zone_at(result, place); });
        finish_erosion(inputs, zone);
        budget_nitrogen(inputs, zone_tests[z],
                        yield_goal_of_zone(inputs, ground, zones.cells[z], yields), zone);
        judge_confidence(inputs, zone);
    }
    clock.stage("erosion and nitrogen");
    if (inputs.job.output.layers) make_layers(inputs, ground, result);
    ground = {};  // a large field's memory is wanted for the rates
    clock.stage("layers");
    settle_field_rates(inputs, result);
    prescribe(inputs, result);
    finish_rate_map(inputs, result);
    result.zoning = std::move(zones.zoning);
    judge_status(result);
    clock.stage("prescription");
}

}  // namespace

std::string field_status_name(FieldStatus status) {
    switch (status) {
        case FieldStatus::done:
            return "done";
        case FieldStatus::partly:
            return "partly covered";
        case FieldStatus::skipped:
            return "skipped";
    }
    return {};
}

FieldResult plan_field(const Inputs& inputs, const FieldBoundary& field) {
    FieldResult result;
    result.id = field.id;
    result.stem = field.stem;
    StageClock clock(result.seconds);
    try {
        plan_zones(inputs, field, result, clock);
    } catch (const Error& error) {
        if (error.kind() != ErrorKind::data && error.kind() != ErrorKind::input) throw;
        FieldResult skipped;
        skipped.id = field.id;
        skipped.stem = field.stem;
        skipped.status = FieldStatus::skipped;
        skipped.reasons.emplace_back(error.what());
        return skipped;
    }
    return result;
}

}  // namespace catchfield::plan
