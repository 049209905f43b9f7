// SPDX-License-Identifier: MIT
#include "plan/stop_plan.hpp"

#include "base/error.hpp"
#include "base/text.hpp"
#include "compaction/sampling.hpp"
#include "geometry/cells.hpp"
#include "gis/files.hpp"
#include "gis/geojson.hpp"
#include "gis/gpx.hpp"
#include "gis/start.hpp"
#include "gis/vector.hpp"
#include "plan/field_zones.hpp"
#include "plan/ground.hpp"
#include "plan/inputs.hpp"

#include <algorithm>
#include <cmath>
#include <filesystem>
#include <map>

namespace catchfield::plan {

namespace {

namespace fs = std::filesystem;

/// A field with its zones, in a projected CRS.
struct ZonedField {
    std::string id;
    gis::Crs crs;
    std::map<int, MultiPolygon> zones;
};

std::vector<ZonedField> fields_of_plan(const std::string& folder) {
    const std::string path = (fs::path(folder) / "plan.gpkg").string();
    const gis::VectorLayer layer = gis::read_layer(path, "zones");
    const gis::Crs crs = gis::require_crs(layer.crs_wkt, "", path, "plan.gpkg");
    const std::size_t id = layer.column("field_id"), number = layer.column("zone");
    std::vector<ZonedField> fields;
    std::map<std::string, std::size_t> index;
    for (const gis::Feature& feature : layer.features) {
        const auto zone = parse_integer(feature.values[number]);
        if (feature.kind != gis::GeometryKind::polygons || !zone || *zone < 1) continue;
        const std::string& name = feature.values[id];
        if (!index.contains(name)) {
            index[name] = fields.size();
            fields.push_back({name, gis::work_crs(feature.polygons, crs), {}});
        }
        ZonedField& field = fields[index[name]];
        field.zones[static_cast<int>(*zone)] =
            gis::transformer(crs, field.crs).apply(feature.polygons);
    }
    return fields;
}

std::vector<ZonedField> fields_of_job(const std::string& file, std::vector<std::string>& warnings) {
    const fs::path path(file);
    Job job = make_job(read_job_values(path),
                       path.has_parent_path() ? path.parent_path() : fs::path("."));
    job.file = path;
    // Stops are being planned: those of an earlier year do not matter here.
    job.compaction.probes.clear();
    const Inputs inputs = load_inputs(job);
    std::vector<ZonedField> fields;
    for (const FieldBoundary& boundary : inputs.fields) {
        try {
            const Ground ground = make_ground(inputs, boundary);
            const FieldZones zones = make_field_zones(inputs, boundary, ground);
            ZonedField field{boundary.id, ground.crs, {}};
            for (std::size_t z = 0; z < zones.outlines.size(); ++z) {
                field.zones[static_cast<int>(z) + 1] = zones.outlines[z].shape;
            }
            fields.push_back(std::move(field));
        } catch (const Error& error) {
            if (error.kind() != ErrorKind::data && error.kind() != ErrorKind::input) throw;
            warnings.push_back(boundary.id + " is left out: " + error.what());
        }
    }
    return fields;
}

/// Zones as cells: about 40,000 a field, from 1 to 10 m, so that places are fine enough to walk to.
Raster<std::int32_t> cells_of(const ZonedField& field) {
    Box all{INFINITY, INFINITY, -INFINITY, -INFINITY};
    for (const auto& [zone, shape] : field.zones) {
        const Box box = bounds(shape);
        all = {std::min(all.min_x, box.min_x), std::min(all.min_y, box.min_y),
               std::max(all.max_x, box.max_x), std::max(all.max_y, box.max_y)};
    }
    const double size = std::sqrt((all.max_x - all.min_x) * (all.max_y - all.min_y) / 40000.0);
    const double cell = std::clamp(std::round(size), 1.0, 10.0);
    Raster<std::int32_t> cells(snapped_frame(all.min_x, all.min_y, all.max_x, all.max_y, cell, 1));
    for (const auto& [zone, shape] : field.zones) {
        const Mask mask = geometry::centre_mask(shape, cells.frame);
        for (std::size_t i = 0; i < mask.size(); ++i) {
            if (mask[i]) cells[i] = zone;
        }
    }
    return cells;
}

}  // namespace

StopPlanResult plan_stop_places(const StopPlanRequest& request) {
    gis::start();
    StopPlanResult result;
    const std::string json_path = request.output + ".geojson", gpx_path = request.output + ".gpx";
    for (const std::string& path : {json_path, gpx_path}) {
        if (!request.overwrite && fs::exists(path)) {
            throw Error(ErrorKind::usage, "the file exists already",
                        {.path = path, .hint = "Give another name, or --overwrite."});
        }
    }
    const std::vector<ZonedField> fields = fs::is_directory(request.source)
                                               ? fields_of_plan(request.source)
                                               : fields_of_job(request.source, result.warnings);
    const std::vector<gis::FieldSpec> columns = {{"stop", gis::FieldType::text, 0, 0},
                                                 {"field_id", gis::FieldType::text, 0, 0},
                                                 {"zone", gis::FieldType::integer, 0, 0},
                                                 {"order", gis::FieldType::integer, 0, 0}};
    std::vector<gis::PointRow> rows;
    std::vector<gis::Waypoint> waypoints;
    for (const ZonedField& field : fields) {
        compaction::SamplingOptions options;
        options.stops = request.stops;
        options.seed = request.seed;
        compaction::SamplingPlan plan;
        try {
            plan = compaction::plan_stops(cells_of(field), options);
        } catch (const Error& error) {
            if (error.kind() != ErrorKind::data) throw;
            result.warnings.push_back(field.id + " is left out: " + error.what());
            continue;
        }
        const gis::Transformer& to_degrees = gis::transformer(field.crs, gis::Crs::wgs84());
        std::map<int, int> in_zone;
        for (const compaction::PlannedStop& stop : plan.stops) {
            const std::string name = field.id + "-" + std::to_string(stop.number);
            const Point place = to_degrees.apply(stop.at);
            rows.push_back({place,
                            {name, field.id, static_cast<long long>(stop.zone),
                             static_cast<long long>(stop.number)}});
            waypoints.push_back(
                {place, name, "field " + field.id + ", zone " + std::to_string(stop.zone)});
            ++in_zone[stop.zone];
        }
        std::string zones;
        for (const auto& [zone, count] : in_zone) {
            zones += (zones.empty() ? "" : ", ") + std::string("zone ") + std::to_string(zone) +
                     ": " + std::to_string(count);
        }
        result.lines.push_back(field.id + ": " + std::to_string(plan.stops.size()) + " stops (" +
                               zones + ")");
        for (const std::string& warning : plan.warnings) {
            result.warnings.push_back(field.id + ": " + warning);
        }
    }
    if (rows.empty()) {
        throw Error(ErrorKind::data,
                    result.warnings.empty() ? "there is no zone in it" : result.warnings.front(),
                    {.path = request.source});
    }
    result.stops = rows.size();
    gis::write_file_atomically(json_path, gis::geojson_bytes(columns, rows, gis::Crs::wgs84()));
    gis::write_file_atomically(gpx_path,
                               gis::gpx_bytes("Penetrometer stops", waypoints, gis::Crs::wgs84()));
    result.files = {json_path, gpx_path};
    return result;
}

}  // namespace catchfield::plan
