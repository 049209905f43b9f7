// SPDX-License-Identifier: MIT
// Any small grid of labels and any four- to twelve-cornered boundary: outlines without gap or
// overlap, or an error that says what is wrong with the boundary.
#include "geometry/outlines.hpp"

#include "geometry/overlay.hpp"
#include "geometry/validity.hpp"
#include "target.hpp"

#include <cmath>

namespace {

double length_of_edges(const catchfield::Polygon& polygon) {
    double length = 0.0;
    const auto walk = [&](const catchfield::Ring& ring) {
        for (std::size_t i = 0; i + 1 < ring.size(); ++i)
            length += std::hypot(ring[i + 1].x - ring[i].x, ring[i + 1].y - ring[i].y);
    };
    walk(polygon.outer);
    for (const catchfield::Ring& hole : polygon.holes) walk(hole);
    return length;
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    using namespace catchfield;
    fuzz::Bytes bytes(data, size);
    GridFrame frame;
    frame.cols = 1 + bytes.below(14);
    frame.rows = 1 + bytes.below(14);
    frame.cell = 0.5 + bytes.below(40);
    frame.west = 300000.0 + bytes.real(-1000.0, 1000.0);
    frame.north = 4500000.0 + bytes.real(-1000.0, 1000.0);
    geometry::OutlineSettings settings;
    settings.tolerance_cells = bytes.below(5) * 0.25;
    settings.min_piece_cells = bytes.below(5) * 0.5;

    // Corners around the grid, from well inside to outside; the box of the grid where none is
    // asked.
    const double width = frame.cols * frame.cell;
    const double height = frame.rows * frame.cell;
    Ring ring;
    const int corners = bytes.below(10);
    if (corners < 3) {
        ring = {{frame.west, frame.south()},
                {frame.east(), frame.south()},
                {frame.east(), frame.north},
                {frame.west, frame.north}};
    } else {
        for (int i = 0; i < corners + 3; ++i) {
            const double x = bytes.real(-0.2, 1.2);
            const double y = bytes.real(-0.2, 1.2);
            ring.push_back({frame.west + width * x, frame.north - height * y});
        }
    }
    ring.push_back(ring.front());
    const MultiPolygon drawn = {{ring, {}}};
    const int kinds = 1 + bytes.below(6);
    Raster<int> labels(frame);
    for (int& label : labels.values) label = bytes.below(kinds + 1);

    fuzz::fair([&] {
        const geometry::Repair repair = geometry::repair(drawn);
        if (repair.shape.empty()) return;
        const geometry::ZoneOutlines result =
            geometry::zone_outlines(labels, repair.shape, settings);
        std::vector<MultiPolygon> parts;
        double sum = 0.0;
        for (const geometry::ZoneOutline& zone : result.zones) {
            fuzz::require(!geometry::find_flaw(zone.shape), "zone outlines are valid");
            parts.push_back(zone.shape);
            sum += zone.area_m2;
        }
        // Vertices are snapped to the micrometre: the bound for needles.
        double edges_m = 0.0;
        for (const Polygon& polygon : repair.shape) edges_m += length_of_edges(polygon);
        const double slack = 1e-6 * result.boundary_m2 + 1e-6 * edges_m;
        fuzz::require(std::abs(sum - result.boundary_m2) <= slack, "zone areas add up");
        const geometry::Coverage coverage = geometry::check_coverage(parts, repair.shape);
        fuzz::require(coverage.overlap_m2 <= slack, "zones do not overlap");
        fuzz::require(coverage.gap_m2 <= slack, "zones leave no gap");
    });
    fuzz::fair([&] {
        std::size_t cells = 0;
        for (const int label : labels.values) cells += label > 0;
        double sum = 0.0;
        for (const geometry::ZoneOutline& zone : geometry::dissolve_cells(labels)) {
            fuzz::require(!geometry::find_flaw(zone.shape), "dissolved cells are valid");
            sum += zone.area_m2;
        }
        const double expected = static_cast<double>(cells) * frame.cell_area_m2();
        fuzz::require(std::abs(sum - expected) <= 1e-6 * expected, "dissolved areas add up");
    });
    return 0;
}
