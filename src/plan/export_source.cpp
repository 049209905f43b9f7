// SPDX-License-Identifier: MIT
#include "plan/export_source.hpp"

#include "base/error.hpp"
#include "base/text.hpp"
#include "geometry/overlay.hpp"
#include "geometry/validity.hpp"
#include "gis/files.hpp"
#include "gis/raster_source.hpp"
#include "gis/vector.hpp"
#include "plan/json_values.hpp"

#include <nlohmann/json.hpp>

#include <filesystem>

namespace catchfield::plan {

namespace {

using Json = nlohmann::json;

[[noreturn]] void misfit(const std::string& path, const std::string& field,
                         const std::string& reason) {
    throw Error(ErrorKind::data, reason,
                {.path = path, .feature = field, .hint = "Run 'catchfield plan' again."});
}

Json read_run(const std::string& path) {
    if (!std::filesystem::exists(path)) {
        throw Error(ErrorKind::input, "this is no plan folder",
                    {.path = path, .hint = "Give the folder that 'catchfield plan' wrote."});
    }
    Json run = Json::parse(gis::read_file(path), nullptr, false);
    if (run.is_discarded() || !run.is_object() || !run.contains("settings") ||
        !run["settings"].is_object() || !run.contains("fields") || !run["fields"].is_array()) {
        misfit(path, "", "this is no run.json of a plan");
    }
    return run;
}

double number_of(const gis::VectorLayer& layer, const gis::Feature& row, const char* column) {
    const std::string& text = row.values[layer.column(column)];
    const auto value = parse_number(text);
    if (!value || *value < 0.0) {
        misfit(layer.path, row.values[layer.column("field_id")],
               std::string(column) + " is '" + text + "'");
    }
    return *value;
}

/// Rows of zone 0 of the plan's rate polygons, in the field's CRS.
MultiPolygon no_apply_ground(const std::string& path, const gis::Crs& crs) {
    const gis::VectorLayer layer = gis::read_layer(path);
    const std::size_t zone = layer.column("zone");
    std::vector<MultiPolygon> parts;
    for (const gis::Feature& row : layer.features) {
        if (row.values[zone] != "0") continue;
        const MultiPolygon moved = gis::transformer(gis::Crs::wgs84(), crs).apply(row.polygons);
        // Rounding to 7 decimals can fold a sliver.
        for (const Polygon& part : moved) parts.push_back(geometry::repair({part}).shape);
    }
    return parts.empty() ? MultiPolygon{} : geometry::unite(parts);
}

}  // namespace

std::string PlanFolder::setting(const std::string& key) const {
    const auto found = settings.find(key);
    return found == settings.end() ? std::string() : found->second;
}

PlanFolder read_plan_folder(const std::string& path) {
    PlanFolder folder;
    folder.path = path;
    const Json run = read_run(path + "/run.json");
    for (const auto& [key, value] : run["settings"].items()) {
        if (value.is_string()) folder.settings[key] = value.get<std::string>();
    }
    folder.units = folder.setting("output.units") == "metric" ? UnitSystem::metric : UnitSystem::us;

    const std::string package = path + "/plan.gpkg";
    const gis::VectorLayer fields = gis::read_layer(package, "fields");
    const gis::VectorLayer zones = gis::read_layer(package, "zones");
    const gis::Crs crs = gis::require_crs(zones.crs_wkt, "", package, "the layer's own CRS");
    if (run["fields"].size() != fields.features.size())
        misfit(package, "", "plan.gpkg and run.json hold different fields");
    std::size_t next = 0;
    for (std::size_t f = 0; f < fields.features.size(); ++f) {
        const gis::Feature& row = fields.features[f];
        PlannedField field;
        field.id = row.values[fields.column("field_id")];
        if (text_of(run["fields"][f], "field_id") != field.id)
            misfit(package, field.id, "plan.gpkg and run.json hold different fields");
        if (row.values[fields.column("status")] == "skipped") {
            folder.skipped.push_back(field.id);
            continue;
        }
        field.stem = text_of(run["fields"][f], "file_stem");
        if (field.stem.empty() || safe_file_stem(field.stem) != field.stem)
            misfit(path + "/run.json", field.id, "the field's file name is not safe");
        field.crs = gis::work_crs(row.polygons, crs);
        const gis::Transformer& move = gis::transformer(crs, field.crs);
        field.boundary = move.apply(row.polygons);
        const auto count = static_cast<std::size_t>(number_of(fields, row, "zones"));
        // Zones stand in the order of the fields, so that doubled field names do not mix.
        for (std::size_t z = 0; z < count; ++z, ++next) {
            if (next >= zones.features.size() ||
                zones.features[next].values[zones.column("field_id")] != field.id) {
                misfit(package, field.id, "the layers fields and zones do not fit together");
            }
            const gis::Feature& part = zones.features[next];
            PlannedZone zone;
            zone.zone = static_cast<int>(number_of(zones, part, "zone"));
            zone.shape = move.apply(part.polygons);
            if (!move.identity()) zone.shape = geometry::repair(zone.shape).shape;
            zone.n_kg_ha = number_of(zones, part, "n_rate_kg_ha");
            zone.seed_kg_ha = number_of(zones, part, "seed_rate_kg_ha");
            zone.cover = part.values[zones.column("cover")];
            field.zones.push_back(std::move(zone));
        }
        const std::string base = path + "/rates/" + field.stem + "-nitrogen";
        field.no_apply = no_apply_ground(base + ".geojson", field.crs);
        field.cell_m = gis::RasterSource(base + ".tif").cell_m();
        folder.fields.push_back(std::move(field));
    }
    if (folder.fields.empty()) misfit(path, "", "no field of this plan has zones");
    return folder;
}

}  // namespace catchfield::plan
