// SPDX-License-Identifier: MIT
#include "plan/field_rows.hpp"

#include "plan/columns.hpp"

#include <optional>
#include <utility>

namespace catchfield::plan {

std::vector<gis::LayerSpec> plan_layers(const gis::Crs& crs) {
    gis::LayerSpec fields{"fields",
                          gis::LayerGeometry::multi_polygon,
                          {{"field_id", gis::FieldType::text, 0, 0},
                           {"status", gis::FieldType::text, 0, 0},
                           {"reasons", gis::FieldType::text, 0, 0},
                           {"area_ha", gis::FieldType::real, 0, 4},
                           {"zones", gis::FieldType::integer, 0, 0},
                           {"n_total_kg", gis::FieldType::real, 0, 1},
                           {"seed_total_kg", gis::FieldType::real, 0, 1}},
                          crs,
                          "Fields and how their plan went"};
    gis::LayerSpec zones{"zones", gis::LayerGeometry::multi_polygon, field_specs(zone_columns()),
                         crs, "One row per zone"};
    gis::LayerSpec options{"cover_options",
                           gis::LayerGeometry::none,
                           field_specs(option_columns()),
                           {},
                           "One row per zone and candidate cover"};
    gis::LayerSpec probes{"probes",
                          gis::LayerGeometry::point,
                          {{"field_id", gis::FieldType::text, 0, 0},
                           {"stop", gis::FieldType::text, 0, 0},
                           {"layer_top_cm", gis::FieldType::real, 0, 1},
                           {"layer_thickness_cm", gis::FieldType::real, 0, 1},
                           {"highest_mpa", gis::FieldType::real, 0, 3}},
                          crs,
                          "Penetrometer stops within fields"};
    return {fields, zones, options, probes};
}

FieldRows make_field_rows(const Inputs& inputs, const FieldResult& result) {
    const auto known = [](const std::optional<double>& value) {
        return value ? gis::Value(*value) : gis::Value();
    };
    FieldRows rows;
    const bool skipped = result.status == FieldStatus::skipped;
    rows.field = {
        skipped ? MultiPolygon{} : result.boundary,
        {result.id, field_status_name(result.status),
         result.reasons.empty() ? gis::Value() : gis::Value(joined(result.reasons)), result.area_ha,
         static_cast<long long>(result.zones.size()), result.n_total_kg, result.seed_total_kg},
        -1};
    for (const ZoneResult& zone : result.zones) {
        rows.zones.push_back({zone.shape, zone_values(inputs, result, zone), -1});
        for (const CoverOption& option : zone.options) {
            rows.options.push_back(option_values(inputs, result, zone, option));
        }
    }
    for (const compaction::StopSummary& stop : result.stops) {
        rows.probes.push_back({*stop.at,
                               {result.id, stop.id, known(stop.layer_top_cm),
                                known(stop.layer_thickness_cm), known(stop.highest_mpa)}});
    }
    return rows;
}

FieldRows in_crs(FieldRows rows, const gis::Crs& from, const gis::Crs& to) {
    // A skipped field has no shape, and may have no CRS.
    const bool flat = rows.field.shape.empty() && rows.zones.empty() && rows.probes.empty();
    if (flat || from.same_as(to)) return rows;
    const gis::Transformer& move = gis::transformer(from, to);
    if (!rows.field.shape.empty()) rows.field.shape = move.apply(rows.field.shape);
    for (gis::PolygonRow& zone : rows.zones) zone.shape = move.apply(zone.shape);
    for (gis::PointRow& probe : rows.probes) probe.point = move.apply(probe.point);
    return rows;
}

}  // namespace catchfield::plan
