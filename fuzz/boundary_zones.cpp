// SPDX-License-Identifier: MIT
// Any bytes as a GeoJSON boundary, through reading, mending, the work grid, zoning and outlines.
#include "geometry/cells.hpp"
#include "geometry/outlines.hpp"
#include "geometry/overlay.hpp"
#include "geometry/validity.hpp"
#include "gis/crs.hpp"
#include "gis/geojson.hpp"
#include "gis/start.hpp"
#include "gis/vector.hpp"
#include "target.hpp"
#include "zoning/zones.hpp"

#include <cpl_error.h>
#include <cpl_vsi.h>

#include <algorithm>
#include <cmath>

namespace {

using namespace catchfield;

constexpr const char* place = "/vsimem/boundary.geojson";

gis::VectorLayer read(std::string_view text) {
    std::string copy(text);
    VSILFILE* file =
        VSIFileFromMemBuffer(place, reinterpret_cast<GByte*>(copy.data()), copy.size(), FALSE);
    fuzz::require(file != nullptr, "memory files work");
    VSIFCloseL(file);
    struct Remove {
        ~Remove() { VSIUnlink(place); }
    } remove;
    return gis::read_layer(place);
}

/// Zones of a field by two made-up features over its work grid.
void make_zones(const MultiPolygon& boundary, const gis::Crs& crs) {
    const gis::Crs work = gis::work_crs(boundary, crs);
    const MultiPolygon shape = gis::transformer(crs, work).apply(boundary);
    if (geometry::find_flaw(shape)) return;
    Box box{shape[0].outer[0].x, shape[0].outer[0].y, shape[0].outer[0].x, shape[0].outer[0].y};
    for (const Polygon& polygon : shape) {
        for (const Point& point : polygon.outer) {
            box.min_x = std::min(box.min_x, point.x);
            box.min_y = std::min(box.min_y, point.y);
            box.max_x = std::max(box.max_x, point.x);
            box.max_y = std::max(box.max_y, point.y);
        }
    }
    const double longest = std::max(box.max_x - box.min_x, box.max_y - box.min_y);
    const double cell = std::max(longest / 40.0, 0.01);
    const GridFrame frame =
        snapped_frame(box.min_x, box.min_y, box.max_x, box.max_y, cell, 2, 100'000);
    const Mask field = geometry::field_mask(shape, frame);
    if (std::count(field.values.begin(), field.values.end(), std::uint8_t{1}) == 0) return;

    std::vector<zoning::Feature> features(2);
    for (std::size_t f = 0; f < features.size(); ++f) {
        features[f].name = f == 0 ? "slope" : "om";
        features[f].values = Raster<float>(frame);
        features[f].valid = field;
        for (int row = 0; row < frame.rows; ++row) {
            for (int col = 0; col < frame.cols; ++col) {
                features[f].values.at(row, col) = static_cast<float>(
                    f == 0 ? std::sin(row * 0.3) + col * 0.02 : std::cos(col * 0.2) * row);
            }
        }
    }
    zoning::ZoningOptions options = zoning::quick_options();
    options.count = 3;
    options.starts = 2;
    options.parallel = false;
    options.cleanup.min_area_ha = 4.0 * frame.cell_area_ha();
    const zoning::ZoningResult zones = zoning::make_zones(features, field, options);
    for (std::size_t i = 0; i < field.size(); ++i) {
        fuzz::require((zones.labels[i] > 0) == (field[i] != 0), "every cell of a field has a zone");
    }
    Raster<int> labels(frame);
    std::copy(zones.labels.values.begin(), zones.labels.values.end(), labels.values.begin());
    const geometry::ZoneOutlines outlines = geometry::zone_outlines(labels, shape);
    double sum = 0.0;
    std::vector<gis::PolygonRow> rows;
    for (const geometry::ZoneOutline& zone : outlines.zones) {
        sum += zone.area_m2;
        rows.push_back({zone.shape, {}});
    }
    fuzz::require(std::abs(sum - outlines.boundary_m2) <= 1e-6 * outlines.boundary_m2,
                  "zone areas add up");
    gis::geojson_bytes({}, rows, work);
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    static const bool started = [] {
        gis::start();
        CPLSetErrorHandler(CPLQuietErrorHandler);
        return true;
    }();
    static_cast<void>(started);
    fuzz::fair([&] {
        const gis::VectorLayer layer = read({reinterpret_cast<const char*>(data), size});
        const gis::Crs crs = gis::require_crs(layer.crs_wkt, "", place, "field.crs");
        std::size_t used = 0;
        for (const gis::Feature& feature : layer.features) {
            if (feature.kind != gis::GeometryKind::polygons || ++used > 3) continue;
            // As in a run: one bad field does not cost the others.
            fuzz::fair([&] {
                const geometry::Repair repair = geometry::repair(feature.polygons);
                if (!repair.shape.empty()) make_zones(repair.shape, crs);
            });
        }
    });
    return 0;
}
