// SPDX-License-Identifier: MIT
#include "geometry/outlines.hpp"

#include "base/error.hpp"
#include "geometry/cells.hpp"
#include "geometry/overlay.hpp"
#include "shapes_for_tests.hpp"

#include <gtest/gtest.h>

#include <array>
#include <chrono>
#include <cmath>
#include <map>
#include <set>

namespace catchfield::geometry {
namespace {

std::vector<MultiPolygon> shapes_of(const std::vector<ZoneOutline>& zones) {
    std::vector<MultiPolygon> shapes;
    for (const ZoneOutline& zone : zones) shapes.push_back(zone.shape);
    return shapes;
}

/// Random labels: noise, blocks or stripes, with cells missing.
Raster<int> random_labels(Random& random, const GridFrame& frame) {
    Raster<int> labels(frame, 0);
    const int zones = 1 + static_cast<int>(random.below(5));
    const std::size_t kind = random.below(3);
    std::vector<Point> seeds;
    for (int i = 0; i < zones * 3; ++i) {
        seeds.push_back({random.uniform(0, frame.cols), random.uniform(0, frame.rows)});
    }
    const double turn = random.uniform(0, 3.14);
    for (int row = 0; row < frame.rows; ++row) {
        for (int col = 0; col < frame.cols; ++col) {
            int label = 1 + static_cast<int>(random.below(static_cast<std::size_t>(zones)));
            if (kind == 1) {
                double best = 1e18;
                for (std::size_t s = 0; s < seeds.size(); ++s) {
                    const double d = std::hypot(seeds[s].x - col, seeds[s].y - row);
                    if (d < best) {
                        best = d;
                        label = 1 + static_cast<int>(s) % zones;
                    }
                }
            } else if (kind == 2) {
                const double along = std::cos(turn) * col + std::sin(turn) * row;
                label = 1 + static_cast<int>(std::floor(along / 3.0 + 100)) % zones;
            }
            labels.at(row, col) = random.below(12) == 0 ? 0 : label;
        }
    }
    return labels;
}

void expect_exact_cover(const std::vector<ZoneOutline>& zones, const MultiPolygon& boundary) {
    const double whole = area(boundary);
    double total = 0.0;
    for (const ZoneOutline& zone : zones) {
        const auto flaw = find_flaw(zone.shape);
        EXPECT_FALSE(flaw.has_value()) << "zone " << zone.label << ": " << describe(*flaw);
        EXPECT_EQ(zone.vertices, vertex_count(zone.shape));
        EXPECT_DOUBLE_EQ(zone.area_m2, area(zone.shape));
        total += zone.area_m2;
    }
    EXPECT_NEAR(total, whole, 1e-6 * whole);
    const Coverage coverage = check_coverage(shapes_of(zones), boundary);
    EXPECT_EQ(coverage.overlap_m2, 0.0);
    EXPECT_NEAR(coverage.union_m2, whole, 1e-6 * whole);
    EXPECT_LT(coverage.gap_m2, 1e-6 * whole);
    EXPECT_LT(coverage.outside_m2, 1e-6 * whole);
}

/// Every side inside the boundary is a side of exactly two zones: the same two points.
void expect_shared_sides(const std::vector<ZoneOutline>& zones, const MultiPolygon& boundary) {
    std::map<std::array<double, 4>, int> sides;
    const auto add = [&](const Ring& ring) {
        for (std::size_t i = 0; i + 1 < ring.size(); ++i) {
            const Point& a = ring[i];
            const Point& b = ring[i + 1];
            const bool first = std::tie(a.x, a.y) < std::tie(b.x, b.y);
            ++sides[first ? std::array{a.x, a.y, b.x, b.y} : std::array{b.x, b.y, a.x, a.y}];
        }
    };
    for (const ZoneOutline& zone : zones) {
        for (const Polygon& polygon : zone.shape) {
            add(polygon.outer);
            for (const Ring& hole : polygon.holes) add(hole);
        }
    }
    double single_m = 0.0;
    for (const auto& [side, count] : sides) {
        ASSERT_LE(count, 2);
        if (count == 1) single_m += std::hypot(side[0] - side[2], side[1] - side[3]);
    }
    double outline_m = 0.0;
    for (const Polygon& polygon : boundary) {
        for (std::size_t i = 0; i + 1 < polygon.outer.size(); ++i) {
            outline_m += std::hypot(polygon.outer[i].x - polygon.outer[i + 1].x,
                                    polygon.outer[i].y - polygon.outer[i + 1].y);
        }
        for (const Ring& hole : polygon.holes) {
            for (std::size_t i = 0; i + 1 < hole.size(); ++i) {
                outline_m += std::hypot(hole[i].x - hole[i + 1].x, hole[i].y - hole[i + 1].y);
            }
        }
    }
    EXPECT_NEAR(single_m, outline_m, 1e-6 * outline_m);
}

class OutlineFuzz : public testing::TestWithParam<double> {};

TEST_P(OutlineFuzz, ZonesFillTheBoundaryWithoutOverlap) {
    Random random(500);
    const int rounds = GetParam() == OutlineSettings{}.tolerance_cells ? 500 : 150;
    for (int round = 0; round < rounds; ++round) {
        SCOPED_TRACE("seed 500, round " + std::to_string(round) + ", tolerance " +
                     std::to_string(GetParam()));
        const double cell = random.below(2) == 0 ? 5.0 : random.uniform(2.0, 15.0);
        const Point centre{random.uniform(3e5, 7e5), random.uniform(4e6, 5e6)};
        MultiPolygon field = random_field(random, centre, cell);
        if (round % 7 == 0) {
            // A boundary on the lattice itself.
            const double x = std::floor(centre.x / cell) * cell;
            const double y = std::floor(centre.y / cell) * cell;
            field = box_shape(x - 8 * cell, y - 6 * cell, x + 9 * cell, y + 7 * cell);
            if (round % 2 == 0) {
                field[0].holes.push_back(box_ring(x - 2 * cell, y - 2 * cell, x + cell, y + cell));
            }
        }
        const Box box = bounds(field);
        GridFrame frame = snapped_frame(box.min_x, box.min_y, box.max_x, box.max_y, cell);
        if (round % 5 == 0 && frame.rows > 6 && frame.cols > 6) {
            // The grid stops short of the boundary.
            frame.west += 2 * cell;
            frame.cols -= 4;
        }
        const Raster<int> labels = random_labels(random, frame);
        const ZoneOutlines outlines = zone_outlines(
            labels, field,
            {.tolerance_cells = GetParam(), .min_piece_cells = round % 2 == 0 ? 0.25 : 0.0});
        expect_exact_cover(outlines.zones, field);
        expect_shared_sides(outlines.zones, field);
        if (HasFailure()) break;
    }
}

INSTANTIATE_TEST_SUITE_P(Tolerances, OutlineFuzz, testing::Values(0.0, 0.75, 1.0));

TEST(Outlines, ExactCellsAreTheCells) {
    // Without simplification and pieces moved, every cell inside keeps its own label.
    Random random(3);
    for (int round = 0; round < 30; ++round) {
        SCOPED_TRACE("seed 3, round " + std::to_string(round));
        const MultiPolygon field = random_field(random, {500000, 4450000}, 10.0);
        const Box box = bounds(field);
        const GridFrame frame = snapped_frame(box.min_x, box.min_y, box.max_x, box.max_y, 10.0);
        const Raster<int> labels = random_labels(random, frame);
        const ZoneOutlines outlines =
            zone_outlines(labels, field, {.tolerance_cells = 0.0, .min_piece_cells = 0.0});
        const Raster<float> field_share = cell_shares(field, frame);
        for (const ZoneOutline& zone : outlines.zones) {
            const Raster<float> share = cell_shares(zone.shape, frame);
            for (std::size_t i = 0; i < frame.size(); ++i) {
                if (labels[i] <= 0) continue;
                ASSERT_NEAR(share[i], labels[i] == zone.label ? field_share[i] : 0.0F, 1e-5F);
            }
        }
    }
}

TEST(Outlines, SharedEdgesStayWithinTheTolerance) {
    Random random(17);
    for (const double tolerance : {0.25, 0.75, 1.0}) {
        const GridFrame frame{500000, 4450400, 10, 40, 40};
        const MultiPolygon field = box_shape(500000, 4450000, 500400, 4450400);
        const Raster<int> labels = [&] {
            Raster<int> smooth(frame, 1);
            for (int row = 0; row < 40; ++row) {
                for (int col = 0; col < 40; ++col) {
                    const double wave = 20 + 8 * std::sin(col / 6.0) + 0.3 * col;
                    smooth.at(row, col) = row < wave                          ? 1
                                          : std::hypot(row - 33, col - 8) < 5 ? 3
                                                                              : 2;
                }
            }
            return smooth;
        }();
        const ZoneOutlines exact =
            zone_outlines(labels, field, {.tolerance_cells = 0.0, .min_piece_cells = 0.0});
        const ZoneOutlines thin =
            zone_outlines(labels, field, {.tolerance_cells = tolerance, .min_piece_cells = 0.0});
        ASSERT_EQ(exact.zones.size(), thin.zones.size());
        const double reach = (tolerance + 0.36) * 10.0;
        for (std::size_t z = 0; z < exact.zones.size(); ++z) {
            const MultiPolygon grown = buffer_areas(exact.zones[z].shape, reach);
            EXPECT_LT(area(difference(thin.zones[z].shape, grown)), 1e-6);
            const MultiPolygon thin_grown = buffer_areas(thin.zones[z].shape, reach);
            EXPECT_LT(area(difference(exact.zones[z].shape, thin_grown)), 1e-6);
            EXPECT_LT(thin.zones[z].vertices, exact.zones[z].vertices);
            // Without bias: areas stay close.
            EXPECT_NEAR(thin.zones[z].area_m2, exact.zones[z].area_m2,
                        0.02 * exact.zones[z].area_m2);
        }
    }
}

TEST(Outlines, HolesIslandsAndNodesAreKept) {
    // Zone 2 is an island of 3 x 3 cells in zone 1; zone 3 fills a corner.
    const GridFrame frame{0, 100, 10, 10, 10};
    Raster<int> labels(frame, 1);
    for (int row = 4; row < 7; ++row) {
        for (int col = 4; col < 7; ++col) labels.at(row, col) = 2;
    }
    labels.at(0, 0) = labels.at(0, 1) = labels.at(1, 0) = labels.at(1, 1) = 3;
    const ZoneOutlines outlines =
        zone_outlines(labels, box_shape(0, 0, 100, 100), {.tolerance_cells = 0.0});
    ASSERT_EQ(outlines.zones.size(), 3U);
    EXPECT_DOUBLE_EQ(outlines.zones[0].area_m2, 8700.0);
    EXPECT_EQ(outlines.zones[0].shape[0].holes.size(), 1U);
    EXPECT_DOUBLE_EQ(outlines.zones[1].area_m2, 900.0);
    EXPECT_DOUBLE_EQ(outlines.zones[2].area_m2, 400.0);
    EXPECT_EQ(outlines.zones[2].vertices, 4U);
}

TEST(Outlines, EdgeSliversGoToTheTouchingZone) {
    // The boundary reaches 4 m past the last labelled column on both sides.
    const GridFrame frame{0, 40, 10, 4, 4};
    Raster<int> labels(frame, 1);
    for (int row = 0; row < 4; ++row) labels.at(row, 2) = labels.at(row, 3) = 2;
    const ZoneOutlines outlines = zone_outlines(labels, box_shape(-4, 0, 44, 40));
    ASSERT_EQ(outlines.zones.size(), 2U);
    EXPECT_NEAR(outlines.zones[0].area_m2, 24 * 40, 1e-9);
    EXPECT_NEAR(outlines.zones[1].area_m2, 24 * 40, 1e-9);
    EXPECT_NEAR(bounds(outlines.zones[0].shape).min_x, -4.0, 1e-12);
}

TEST(Outlines, OneZoneIsTheBoundaryItself) {
    Random random(6);
    const MultiPolygon field = random_field(random, {500000, 4450000}, 10.0);
    const Box box = bounds(field);
    const GridFrame frame = snapped_frame(box.min_x, box.min_y, box.max_x, box.max_y, 10.0);
    const ZoneOutlines outlines = zone_outlines(Raster<int>(frame, 7), field);
    ASSERT_EQ(outlines.zones.size(), 1U);
    EXPECT_EQ(outlines.zones[0].label, 7);
    EXPECT_EQ(vertex_count(outlines.zones[0].shape), vertex_count(field));
    EXPECT_DOUBLE_EQ(outlines.covered_m2, outlines.boundary_m2);
}

TEST(Outlines, BadInputIsNamed) {
    const GridFrame frame{0, 40, 10, 4, 4};
    const MultiPolygon field = box_shape(0, 0, 40, 40);
    EXPECT_THROW(zone_outlines(Raster<int>(frame, 0), field), Error);
    EXPECT_THROW(zone_outlines(Raster<int>(frame, 1), box_shape(5000, 0, 5040, 40)), Error);
    EXPECT_THROW(zone_outlines(Raster<int>(frame, 1), box_shape(0, 0, 90000, 90000)), Error);
    EXPECT_THROW(zone_outlines(Raster<int>(frame, 1), {}), Error);
    const MultiPolygon bow_tie{{{{0, 0}, {40, 40}, {40, 0}, {0, 40}, {0, 0}}, {}}};
    EXPECT_THROW(zone_outlines(Raster<int>(frame, 1), bow_tie), Error);
    EXPECT_THROW(zone_outlines(Raster<int>(frame, 1), field, {.tolerance_cells = 2.0}), Error);
    EXPECT_THROW(zone_outlines(Raster<int>(frame, 1), field, {.tolerance_cells = std::nan("")}),
                 Error);
    Raster<int> corner(frame, 1);
    corner.at(0, 0) = 9;
    const ZoneOutlines off = zone_outlines(corner, box_shape(25, 5, 38, 15));
    ASSERT_EQ(off.warnings.size(), 1U);
    EXPECT_EQ(off.warnings[0], "zone 9 has no ground inside the boundary");
}

TEST(DissolveCells, RandomGridsGiveValidPolygonsWithTheirCellsArea) {
    Random random(321);
    for (int round = 0; round < 500; ++round) {
        SCOPED_TRACE("seed 321, round " + std::to_string(round));
        const GridFrame frame{500000, 4450000, 10, 1 + static_cast<int>(random.below(14)),
                              1 + static_cast<int>(random.below(14))};
        Raster<int> labels(frame, 0);
        for (int& label : labels.values) label = static_cast<int>(random.below(4)) - 1;
        std::map<int, int> cells;
        for (const int label : labels.values) {
            if (label > 0) ++cells[label];
        }
        const std::vector<ZoneOutline> outlines = dissolve_cells(labels);
        ASSERT_EQ(outlines.size(), cells.size());
        for (const ZoneOutline& outline : outlines) {
            const auto flaw = find_flaw(outline.shape);
            ASSERT_FALSE(flaw.has_value()) << describe(*flaw);
            EXPECT_DOUBLE_EQ(outline.area_m2, cells[outline.label] * 100.0);
            const Raster<float> share = cell_shares(outline.shape, frame);
            for (std::size_t i = 0; i < frame.size(); ++i) {
                ASSERT_EQ(share[i], labels[i] == outline.label ? 1.0F : 0.0F);
            }
        }
    }
}

TEST(DissolveCells, RingsOfALetter) {
    // A square ring of cells with one cell missing in the middle, and a cell at its corner.
    const GridFrame frame{0, 40, 10, 4, 4};
    const Raster<int> labels(frame, {5, 5, 5, 0,  //
                                     5, 0, 5, 0,  //
                                     5, 5, 5, 0,  //
                                     0, 0, 0, 5});
    const std::vector<ZoneOutline> outlines = dissolve_cells(labels);
    ASSERT_EQ(outlines.size(), 1U);
    ASSERT_EQ(outlines[0].shape.size(), 2U);
    EXPECT_EQ(outlines[0].shape[0].holes.size(), 1U);
    EXPECT_EQ(outlines[0].vertices, 12U);
    EXPECT_DOUBLE_EQ(outlines[0].area_m2, 900.0);
}

TEST(Outlines, MillionCellsInReasonableTime) {
    const GridFrame frame{500000, 4460000, 10, 1000, 1000};
    Raster<int> labels(frame, 1);
    for (int row = 0; row < 1000; ++row) {
        for (int col = 0; col < 1000; ++col) {
            const double wave = std::sin(row / 37.0) + std::sin(col / 53.0 + row / 91.0);
            labels.at(row, col) = wave < -0.7 ? 1 : wave < 0.0 ? 2 : wave < 0.7 ? 3 : 4;
        }
    }
    Random random(1);
    const MultiPolygon field{{star_ring(random, {505000, 4455000}, 4000, 4900, 400), {}}};
    const auto start = std::chrono::steady_clock::now();
    const ZoneOutlines outlines = zone_outlines(labels, field);
    const std::chrono::duration<double> seconds = std::chrono::steady_clock::now() - start;
    expect_exact_cover(outlines.zones, field);
    EXPECT_LT(seconds.count(), 20.0);
}

}  // namespace
}  // namespace catchfield::geometry
