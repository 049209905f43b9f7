// SPDX-License-Identifier: MIT
#include "plan/drawn_zones.hpp"

#include "base/error.hpp"
#include "base/text.hpp"
#include "geometry/overlay.hpp"
#include "geometry/validity.hpp"

#include <algorithm>
#include <filesystem>

namespace catchfield::plan {

namespace {

struct Drawn {
    int number = 0;
    MultiPolygon shape;
};

/// Whether two boxes overlap. In degrees `here` may run over the antimeridian (min_x > max_x) and
/// longitudes may be a whole turn apart.
bool may_meet(const Box& box, Box here, bool degrees) {
    if (box.max_y < here.min_y || box.min_y > here.max_y) return false;
    if (!degrees) return box.max_x >= here.min_x && box.min_x <= here.max_x;
    if (here.min_x > here.max_x) here.max_x += 360.0;
    for (const double turn : {-360.0, 0.0, 360.0}) {
        if (box.max_x + turn >= here.min_x && box.min_x + turn <= here.max_x) return true;
    }
    return false;
}

/// The drawn shapes of a field, in the work CRS, by zone number.
std::vector<Drawn> shapes_of(const Inputs& inputs, const FieldBoundary& field, const Ground& ground,
                             std::vector<std::string>& warnings) {
    const std::string& given = inputs.job.zones.drawn;
    const bool folder = std::filesystem::is_directory(given);
    const std::string path = folder ? (std::filesystem::path(given) / "plan.gpkg").string() : given;
    gis::VectorLayer layer = gis::read_layer(path, folder ? "zones" : "");
    const gis::Crs crs = gis::require_crs(layer.crs_wkt, "", path, "zones.drawn");
    const std::optional<std::size_t> number_column =
        inputs.job.zones.drawn_column.empty()
            ? layer.find_column("zone")
            : std::optional(layer.column(inputs.job.zones.drawn_column));
    const std::size_t field_column = folder ? layer.column("field_id") : 0;
    std::vector<Drawn> drawn;
    const gis::Transformer& to_work = gis::transformer(crs, ground.crs);
    const Box here = gis::transformer(ground.crs, crs).apply(bounds(ground.boundary));
    for (const gis::Feature& feature : layer.features) {
        if (feature.kind != gis::GeometryKind::polygons) continue;
        // Zones of other fields may lie where the work grid has no place for them.
        if (!may_meet(feature.box(), here, crs.is_geographic())) continue;
        if (folder && feature.values[field_column] != field.id) continue;
        Drawn one;
        if (number_column) {
            const auto number = parse_integer(feature.values[*number_column]);
            if (!number || *number < 1 || *number > 250) {
                throw Error(ErrorKind::data,
                            "the zone number '" + feature.values[*number_column] +
                                "' is not a whole number from 1 to 250",
                            {.path = path,
                             .layer = layer.name,
                             .feature = std::to_string(feature.fid),
                             .hint = "Name the column with zones.drawn-column."});
            }
            one.number = static_cast<int>(*number);
        } else {
            one.number = static_cast<int>(drawn.size()) + 1;
        }
        one.shape = to_work.apply(feature.polygons);
        if (const auto flaw = geometry::find_flaw(one.shape)) {
            warnings.push_back("drawn zone " + std::to_string(one.number) +
                               " was repaired: " + geometry::describe(*flaw));
            one.shape = geometry::repair(one.shape).shape;
        }
        // Only zones that reach this field.
        if (!geometry::intersection(one.shape, ground.boundary).empty())
            drawn.push_back(std::move(one));
    }
    if (drawn.empty()) {
        throw Error(ErrorKind::data, "no drawn zone meets the field",
                    {.path = path, .layer = layer.name, .feature = field.id});
    }
    // Parts of one number are one zone.
    std::stable_sort(drawn.begin(), drawn.end(),
                     [](const Drawn& a, const Drawn& b) { return a.number < b.number; });
    std::vector<Drawn> joined;
    for (Drawn& one : drawn) {
        if (!joined.empty() && joined.back().number == one.number) {
            const MultiPolygon both[] = {joined.back().shape, one.shape};
            joined.back().shape = geometry::unite(both);
        } else {
            joined.push_back(std::move(one));
        }
    }
    return joined;
}

}  // namespace

DrawnField read_drawn_zones(const Inputs& inputs, const FieldBoundary& field,
                            const Ground& ground) {
    DrawnField result;
    const std::vector<Drawn> drawn = shapes_of(inputs, field, ground, result.warnings);
    std::vector<MultiPolygon> shapes;
    for (const Drawn& one : drawn) shapes.push_back(one.shape);
    geometry::DrawnZones cut = geometry::check_drawn_zones(shapes, ground.boundary);
    result.warnings.insert(result.warnings.end(), cut.warnings.begin(), cut.warnings.end());

    std::vector<MultiPolygon> kept;
    for (std::size_t i = 0; i < cut.zones.size(); ++i) {
        if (cut.zones[i].empty()) continue;
        const int zone = static_cast<int>(kept.size()) + 1;
        if (drawn[i].number != zone) {
            result.warnings.push_back("drawn zone " + std::to_string(drawn[i].number) +
                                      " has number " + std::to_string(zone) + " in this field.");
        }
        result.outlines.push_back(
            {zone, cut.zones[i], cut.area_m2[i], geometry::vertex_count(cut.zones[i])});
        kept.push_back(cut.zones[i]);
    }
    const geometry::CellOwners owners = geometry::assign_cells(
        kept, ground.frame, geometry::OwnerRule::centre, 10.0 * ground.frame.cell, &ground.field);
    result.labels = zoning::Labels(ground.frame);
    for (std::size_t i = 0; i < owners.owner.size(); ++i) {
        if (ground.field[i]) result.labels[i] = static_cast<std::int16_t>(owners.owner[i] + 1);
    }
    result.labels = zoning::fill_from_nearest(result.labels, ground.field);
    return result;
}

}  // namespace catchfield::plan
