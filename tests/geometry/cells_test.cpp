// SPDX-License-Identifier: MIT
#include "geometry/cells.hpp"

#include "base/error.hpp"
#include "geometry/overlay.hpp"
#include "shapes_for_tests.hpp"

#include <gtest/gtest.h>

#include <chrono>
#include <cmath>
#include <deque>
#include <limits>
#include <numeric>

namespace catchfield::geometry {
namespace {

double sum(const Raster<float>& raster) {
    return std::accumulate(raster.values.begin(), raster.values.end(), 0.0);
}

std::size_t count(const Mask& mask) {
    return static_cast<std::size_t>(std::count(mask.values.begin(), mask.values.end(), 1));
}

TEST(CellShares, TriangleByHand) {
    // Right triangle with legs of 2 cells: whole cell, two halves, nothing.
    const MultiPolygon triangle{{{{0, 0}, {20, 0}, {0, 20}, {0, 0}}, {}}};
    const Raster<float> shares = cell_shares(triangle, {0, 20, 10, 2, 2});
    EXPECT_FLOAT_EQ(shares.at(0, 0), 0.5F);
    EXPECT_FLOAT_EQ(shares.at(0, 1), 0.0F);
    EXPECT_FLOAT_EQ(shares.at(1, 0), 1.0F);
    EXPECT_FLOAT_EQ(shares.at(1, 1), 0.5F);
}

// Independent figure: GEOS intersection of the shape with each cell as a polygon.
TEST(CellShares, EqualGeosIntersectionAreas) {
    Random random(4711);
    for (int round = 0; round < 25; ++round) {
        SCOPED_TRACE("seed 4711, round " + std::to_string(round));
        const double cell = random.uniform(3.0, 12.0);
        const Point centre{random.uniform(3e5, 7e5), random.uniform(4e6, 5e6)};
        const MultiPolygon field = random_field(random, centre, cell);
        // Smaller than the shape's box on purpose in some rounds.
        const double reach = random.uniform(8, 18) * cell;
        const GridFrame frame = snapped_frame(centre.x - reach, centre.y - reach, centre.x + reach,
                                              centre.y + reach, cell);
        const Raster<float> shares = cell_shares(field, frame);
        const auto sparse = covered_cells(field, frame);
        std::size_t place = 0;
        for_cells(covered_runs(field, frame), [&](std::size_t index, double share) {
            ASSERT_LT(place, sparse.size());
            EXPECT_EQ(index, sparse[place].cell);
            EXPECT_EQ(share, sparse[place].share);
            ++place;
        });
        EXPECT_EQ(place, sparse.size());
        double sparse_sum = 0.0;
        for (const CellShare& one : sparse) sparse_sum += one.share;
        EXPECT_NEAR(sparse_sum, sum(shares), 1e-4);
        for (int row = 0; row < frame.rows; ++row) {
            for (int col = 0; col < frame.cols; ++col) {
                const double x = frame.west + col * frame.cell;
                const double y = frame.north - row * frame.cell;
                const double exact = area(intersection(field, box_shape(x, y - cell, x + cell, y)));
                ASSERT_NEAR(static_cast<double>(shares.at(row, col)), exact / (cell * cell), 1e-6)
                    << row << ", " << col;
            }
        }
    }
}

TEST(CellShares, SumsToTheArea) {
    Random random(99);
    for (int round = 0; round < 100; ++round) {
        SCOPED_TRACE("seed 99, round " + std::to_string(round));
        const MultiPolygon field = random_field(random, {501234.5, 4451234.5}, 10.0);
        const Box box = bounds(field);
        const GridFrame frame = snapped_frame(box.min_x, box.min_y, box.max_x, box.max_y, 10.0);
        double cells = 0.0;
        for (const CellShare& one : covered_cells(field, frame)) cells += one.share;
        EXPECT_NEAR(cells * 100.0, area(field), 1e-8 * area(field));
    }
}

TEST(CellShares, ZonalMeanEqualsGeosWeights) {
    Random random(12);
    const MultiPolygon field = random_field(random, {501234.5, 4451234.5}, 10.0);
    const Box box = bounds(field);
    const GridFrame frame = snapped_frame(box.min_x, box.min_y, box.max_x, box.max_y, 10.0, 1);
    const Raster<float> shares = cell_shares(field, frame);
    double ours = 0.0, our_weight = 0.0, theirs = 0.0, their_weight = 0.0;
    for (int row = 0; row < frame.rows; ++row) {
        for (int col = 0; col < frame.cols; ++col) {
            const double value = random.uniform(0, 100);
            const double x = frame.west + col * 10.0;
            const double y = frame.north - row * 10.0;
            const double exact = area(intersection(field, box_shape(x, y - 10.0, x + 10.0, y)));
            ours += static_cast<double>(shares.at(row, col)) * value;
            our_weight += static_cast<double>(shares.at(row, col));
            theirs += exact * value;
            their_weight += exact;
        }
    }
    EXPECT_NEAR(ours / our_weight, theirs / their_weight, 1e-6 * theirs / their_weight);
}

TEST(CellShares, WindingDoesNotMatterAndNanIsRefused) {
    MultiPolygon shape = box_shape(3, 3, 27, 27);
    shape[0].holes.push_back(box_ring(12, 12, 18, 18));
    MultiPolygon turned = shape;
    std::reverse(turned[0].outer.begin(), turned[0].outer.end());
    std::reverse(turned[0].holes[0].begin(), turned[0].holes[0].end());
    const GridFrame frame{0, 30, 10, 3, 3};
    EXPECT_EQ(cell_shares(shape, frame).values, cell_shares(turned, frame).values);
    EXPECT_FLOAT_EQ(cell_shares(shape, frame).at(1, 1), 0.64F);
    shape[0].outer[1].x = std::numeric_limits<double>::quiet_NaN();
    EXPECT_THROW(cell_shares(shape, frame), Error);
    EXPECT_EQ(sum(cell_shares({}, frame)), 0.0);
    EXPECT_EQ(sum(cell_shares(box_shape(100, 100, 110, 110), frame)), 0.0);
}

TEST(FieldMask, RulesAndSmallFields) {
    const GridFrame frame{0, 30, 10, 3, 3};
    // 0.3 of the left column, 0.8 of the right one in the middle row.
    const MultiPolygon strip = box_shape(7, 12, 28, 18);
    const Mask centre = field_mask(strip, frame, CellRule::centre);
    EXPECT_EQ(centre.values, (std::vector<std::uint8_t>{0, 0, 0, 0, 1, 1, 0, 0, 0}));
    const Mask half = field_mask(box_shape(7, 9, 28, 21), frame, CellRule::half);
    EXPECT_EQ(half.values, (std::vector<std::uint8_t>{0, 0, 0, 0, 1, 1, 0, 0, 0}));
    // Smaller than a cell, off every centre.
    for (const CellRule rule : {CellRule::centre, CellRule::half}) {
        const Mask tiny = field_mask(box_shape(11, 11, 13, 13), frame, rule);
        EXPECT_EQ(count(tiny), 1U);
        EXPECT_EQ(tiny.at(1, 1), 1);
    }
    // A strip between the centres of two columns.
    EXPECT_EQ(count(field_mask(box_shape(8, 0, 12, 30), frame)), 6U);
    EXPECT_EQ(count(field_mask(box_shape(100, 0, 112, 30), frame)), 0U);
}

TEST(CentreMask, NeighboursShareEveryCentreOnce) {
    Random random(31);
    const GridFrame frame{0, 200, 10, 20, 20};
    for (int round = 0; round < 200; ++round) {
        SCOPED_TRACE("seed 31, round " + std::to_string(round));
        // A cut through cell centres (whole multiples of 5) from west to east.
        Line cut;
        for (int x = 0; x <= 200; x += 10) {
            cut.push_back({static_cast<double>(x), 5.0 * std::floor(random.uniform(1, 39))});
        }
        Ring south(cut.begin(), cut.end());
        south.push_back({200, 0});
        south.push_back({0, 0});
        south.push_back(south.front());
        Ring north_ring(cut.begin(), cut.end());
        north_ring.push_back({200, 200});
        north_ring.push_back({0, 200});
        north_ring.push_back(north_ring.front());
        const Mask a = centre_mask({{south, {}}}, frame);
        const Mask b = centre_mask({{north_ring, {}}}, frame);
        for (std::size_t i = 0; i < frame.size(); ++i) ASSERT_EQ(a[i] + b[i], 1) << i;
    }
}

TEST(AssignCells, CentreLargestShareAndFill) {
    const GridFrame frame{0, 10, 10, 6, 1};
    const std::vector<MultiPolygon> soils{box_shape(0, 0, 14, 10), box_shape(14, 0, 28, 10)};
    const CellOwners by_centre = assign_cells(soils, frame);
    EXPECT_EQ(by_centre.owner.values, (std::vector<int>{0, 1, 1, -1, -1, -1}));
    EXPECT_EQ(by_centre.without, 3U);
    const CellOwners by_share = assign_cells(soils, frame, OwnerRule::largest_share, 12.0);
    EXPECT_EQ(by_share.owner.values, (std::vector<int>{0, 1, 1, 1, -1, -1}));
    EXPECT_FLOAT_EQ(by_share.distance_m[3], 7.0F);
    EXPECT_EQ(by_share.filled, 1U);
    EXPECT_EQ(by_share.without, 2U);
    Mask wanted(frame, 1);
    wanted[0] = wanted[5] = 0;
    const CellOwners some = assign_cells(soils, frame, OwnerRule::centre, 1000.0, &wanted);
    EXPECT_EQ(some.owner.values, (std::vector<int>{-1, 1, 1, 1, 1, -1}));
    EXPECT_EQ(some.without, 0U);
    EXPECT_EQ(some.covered, 2U);
    const std::vector<MultiPolygon> twice{box_shape(0, 0, 60, 10), box_shape(0, 0, 20, 10)};
    EXPECT_EQ(assign_cells(twice, frame).doubly_covered, 2U);
    EXPECT_EQ(assign_cells(twice, frame, OwnerRule::largest_share).doubly_covered, 2U);
    EXPECT_THROW(assign_cells(soils, frame, OwnerRule::centre, -1.0), Error);
    EXPECT_EQ(assign_cells({}, frame, OwnerRule::centre, 5.0).without, 6U);
}

// Independent figure: GEOS distance from each centre to each polygon.
TEST(AssignCells, NearestEqualsGeosDistance) {
    Random random(8);
    for (int round = 0; round < 20; ++round) {
        SCOPED_TRACE("seed 8, round " + std::to_string(round));
        std::vector<MultiPolygon> soils;
        for (int i = 0; i < 6; ++i) {
            soils.push_back(
                {{star_ring(random, {random.uniform(-50, 450), random.uniform(-50, 450)}, 10, 60,
                            9),
                  {}}});
        }
        const GridFrame frame{0, 400, 10, 40, 40};
        const double limit = random.uniform(5, 200);
        const CellOwners owners = assign_cells(soils, frame, OwnerRule::centre, limit);
        for (int row = 0; row < 40; row += 3) {
            for (int col = 0; col < 40; col += 3) {
                const Point at{frame.x_centre(col), frame.y_centre(row)};
                double nearest = std::numeric_limits<double>::infinity();
                for (const MultiPolygon& soil : soils)
                    nearest = std::min(nearest, distance(soil, at));
                const int owner = owners.owner.at(row, col);
                if (owner < 0) {
                    EXPECT_GE(nearest, limit - 1e-9);
                } else {
                    EXPECT_NEAR(distance(soils[static_cast<std::size_t>(owner)], at), nearest,
                                1e-9);
                    EXPECT_NEAR(static_cast<double>(owners.distance_m.at(row, col)), nearest, 1e-4);
                }
            }
        }
    }
}

/// Cells reachable from a start by steps to any of eight neighbours that are no barrier.
std::vector<std::uint8_t> flood(const Mask& barrier, int row, int col) {
    const GridFrame& frame = barrier.frame;
    std::vector<std::uint8_t> wet(frame.size(), 0);
    std::deque<std::pair<int, int>> open{{row, col}};
    wet[frame.index(row, col)] = 1;
    while (!open.empty()) {
        const auto [r, c] = open.front();
        open.pop_front();
        for (int dr = -1; dr <= 1; ++dr) {
            for (int dc = -1; dc <= 1; ++dc) {
                if (!frame.contains(r + dr, c + dc)) continue;
                const std::size_t i = frame.index(r + dr, c + dc);
                if (wet[i] || barrier[i]) continue;
                wet[i] = 1;
                open.emplace_back(r + dr, c + dc);
            }
        }
    }
    return wet;
}

TEST(Barriers, NothingSlipsThrough) {
    Random random(2024);
    const GridFrame frame{0, 300, 10, 30, 30};
    for (int round = 0; round < 300; ++round) {
        SCOPED_TRACE("seed 2024, round " + std::to_string(round));
        // From beyond the western edge to beyond the eastern one; every second round through
        // lattice corners, where a careless walk leaves a diagonal gap.
        const double grain = round % 2 == 0 ? 10.0 : 1e-3;
        Line terrace{{-50, 10 * std::floor(random.uniform(8, 22))}};
        for (int i = 0; i < 6; ++i) {
            terrace.push_back({10.0 * std::floor(5 * i + random.uniform(0, 5)),
                               grain * std::floor(random.uniform(60, 240) / grain)});
        }
        terrace.push_back({350, 10 * std::floor(random.uniform(8, 22))});
        const std::vector<Line> lines{terrace};
        const Mask barrier = barrier_cells(lines, frame);
        ASSERT_EQ(barrier[0], 0);
        const auto wet = flood(barrier, 0, 0);
        for (int col = 0; col < frame.cols; ++col) {
            ASSERT_EQ(wet[frame.index(frame.rows - 1, col)], 0);
        }
        // Marked cells are touched by the line, and nothing else is marked.
        const MultiPolygon band = buffer_lines(lines, 1e-6);
        for (int row = 0; row < frame.rows; ++row) {
            for (int col = 0; col < frame.cols; ++col) {
                if (!barrier.at(row, col)) continue;
                const double x = frame.west + col * 10.0;
                const double y = frame.north - row * 10.0;
                ASSERT_LT(distance(band, box_shape(x, y - 10, x + 10, y)), 1e-6);
            }
        }
    }
}

TEST(Barriers, AreasAreFilledAndPointsMarked) {
    const GridFrame frame{0, 100, 10, 10, 10};
    const Mask pond = barrier_cells(box_shape(25, 25, 65, 65), frame);
    EXPECT_EQ(count(pond), 25U);
    EXPECT_EQ(pond.at(5, 4), 1);
    EXPECT_EQ(pond.at(0, 0), 0);
    const std::vector<Line> points{{{55, 55}}, {{500, 55}}, {}};
    EXPECT_EQ(count(barrier_cells(points, frame)), 1U);
    const std::vector<Line> bad{{{std::nan(""), 5}, {6, 7}}};
    EXPECT_THROW(barrier_cells(bad, frame), Error);
}

TEST(CellShares, MillionVerticesInReasonableTime) {
    constexpr int points = 1'000'000;
    Ring ring;
    ring.reserve(points + 1);
    for (int i = 0; i < points; ++i) {
        const double angle = 6.283185307179586 * i / points;
        const double radius = 2000.0 + 50.0 * std::sin(200 * angle);
        ring.push_back({radius * std::cos(angle), radius * std::sin(angle)});
    }
    ring.push_back(ring.front());
    const MultiPolygon shape{{ring, {}}};
    const GridFrame frame = snapped_frame(-2100, -2100, 2100, 2100, 5.0);
    const auto start = std::chrono::steady_clock::now();
    const Raster<float> shares = cell_shares(shape, frame);
    const Mask mask = centre_mask(shape, frame);
    const std::chrono::duration<double> seconds = std::chrono::steady_clock::now() - start;
    EXPECT_NEAR(sum(shares) * 25.0, area(shape), 1e-6 * area(shape));
    EXPECT_NEAR(static_cast<double>(count(mask)) * 25.0, area(shape), 1e-3 * area(shape));
    // Some 0.1 s where this was written; the bound only catches a quadratic cost.
    EXPECT_LT(seconds.count(), 10.0);
}

}  // namespace
}  // namespace catchfield::geometry
