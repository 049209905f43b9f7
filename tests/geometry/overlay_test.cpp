// SPDX-License-Identifier: MIT
#include "geometry/overlay.hpp"

#include "base/error.hpp"
#include "shapes_for_tests.hpp"

#include <gtest/gtest.h>

#include <cmath>

namespace catchfield::geometry {
namespace {

constexpr double k_pi = 3.141592653589793;

TEST(Overlay, SetsOfTwoSquares) {
    const MultiPolygon a = box_shape(0, 0, 10, 10);
    const MultiPolygon b = box_shape(6, 0, 16, 10);
    EXPECT_NEAR(area(intersection(a, b)), 40.0, 1e-12);
    EXPECT_NEAR(area(difference(a, b)), 60.0, 1e-12);
    EXPECT_NEAR(area(unite(std::vector<MultiPolygon>{a, b})), 160.0, 1e-12);
    EXPECT_TRUE(intersection(a, box_shape(10, 0, 20, 10)).empty());  // a common edge has no area
    EXPECT_TRUE(intersection(a, {}).empty());
    EXPECT_EQ(difference(a, {}).size(), 1U);
    EXPECT_TRUE(unite({}).empty());
    const MultiPolygon ring = difference(a, box_shape(4, 4, 6, 6));
    ASSERT_EQ(ring.size(), 1U);
    ASSERT_EQ(ring[0].holes.size(), 1U);
    EXPECT_GT(signed_area(ring[0].outer), 0.0);
    EXPECT_LT(signed_area(ring[0].holes[0]), 0.0);
}

TEST(Overlay, InvalidInputIsNamed) {
    const MultiPolygon bow_tie{{{{0, 0}, {10, 10}, {10, 0}, {0, 10}, {0, 0}}, {}}};
    EXPECT_THROW(intersection(bow_tie, box_shape(0, 0, 1, 1)), Error);
    EXPECT_THROW(buffer_areas(bow_tie, 1.0), Error);
}

TEST(Overlay, InclusionAndExclusionOnRandomFields) {
    Random random(77);
    for (int round = 0; round < 60; ++round) {
        SCOPED_TRACE("seed 77, round " + std::to_string(round));
        const MultiPolygon a = random_field(random, {500000, 4450000}, 10.0);
        const MultiPolygon b = random_field(random, {500050, 4450030}, 10.0);
        const double both = area(intersection(a, b));
        EXPECT_NEAR(area(unite(std::vector<MultiPolygon>{a, b})), area(a) + area(b) - both, 1e-4);
        EXPECT_NEAR(area(difference(a, b)), area(a) - both, 1e-4);
    }
}

TEST(Overlay, SetbacksHaveTheAreaOfTheirFormula) {
    // Inscribed 64-gon: (n/2) sin(2 pi/n) r2 of a circle.
    const double polygon = 32.0 * std::sin(2.0 * k_pi / 64.0);
    const std::vector<Point> well{{100, 100}};
    EXPECT_NEAR(area(buffer_points(well, 30.0)), polygon * 900.0, 1e-6);
    EXPECT_GT(area(buffer_points(well, 30.0)), 0.998 * k_pi * 900.0);
    const std::vector<Line> stream{{{0, 0}, {100, 0}}};
    EXPECT_NEAR(area(buffer_lines(stream, 10.0)), 2000.0 + polygon * 100.0, 1e-6);
    const MultiPolygon square = box_shape(0, 0, 50, 50);
    EXPECT_NEAR(area(buffer_areas(square, 10.0)), 2500.0 + 4 * 500.0 + polygon * 100.0, 1e-6);
    EXPECT_NEAR(area(buffer_areas(square, -10.0)), 900.0, 1e-9);
    EXPECT_TRUE(buffer_areas(square, -30.0).empty());
    const std::vector<Line> mixed{{{0, 0}, {100, 0}}, {{500, 0}}};
    EXPECT_NEAR(area(buffer_lines(mixed, 10.0)), 2000.0 + 2 * polygon * 100.0, 1e-6);
    EXPECT_THROW(buffer_points(well, 0.0), Error);
    EXPECT_THROW(buffer_points(well, std::nan("")), Error);
    EXPECT_THROW(buffer_lines(stream, -3.0), Error);
}

TEST(Overlay, PointsDistancesAndPlaces) {
    const MultiPolygon ring = difference(box_shape(0, 0, 10, 10), box_shape(4, 4, 6, 6));
    EXPECT_TRUE(covers(ring, {1, 1}));
    EXPECT_TRUE(covers(ring, {10, 5}));
    EXPECT_FALSE(covers(ring, {5, 5}));
    EXPECT_FALSE(covers(ring, {11, 5}));
    EXPECT_DOUBLE_EQ(distance(ring, Point{5, 5}), 1.0);
    EXPECT_DOUBLE_EQ(distance(ring, Point{13, 14}), 5.0);
    EXPECT_DOUBLE_EQ(distance(ring, Point{1, 1}), 0.0);
    EXPECT_DOUBLE_EQ(distance(ring, box_shape(12, 0, 13, 1)), 2.0);
    EXPECT_TRUE(covers(ring, inside_point(ring)));
    EXPECT_THROW(distance({}, Point{0, 0}), Error);
    EXPECT_FALSE(covers({}, {0, 0}));
}

TEST(Overlay, SimplifyKeepsWithinTolerance) {
    Random random(5);
    Ring wavy;
    for (int i = 0; i < 2000; ++i) {
        const double angle = 2.0 * k_pi * i / 2000.0;
        const double radius = 500.0 + random.uniform(-1.0, 1.0);
        wavy.push_back({radius * std::cos(angle), radius * std::sin(angle)});
    }
    wavy.push_back(wavy.front());
    const MultiPolygon shape{{wavy, {}}};
    const MultiPolygon thin = simplify(shape, 3.0);
    EXPECT_LT(vertex_count(thin), 200U);
    EXPECT_FALSE(find_flaw(thin).has_value());
    // The symmetric difference lies in a band of the tolerance on either side of the outline.
    const double off = area(difference(shape, thin)) + area(difference(thin, shape));
    EXPECT_LT(off, 2.0 * k_pi * 500.0 * 3.0);
    EXPECT_THROW(simplify(shape, -1.0), Error);
    EXPECT_EQ(vertex_count(shape), 2000U);
}

TEST(Coverage, FindsOverlapGapAndOutside) {
    const MultiPolygon whole = box_shape(0, 0, 100, 100);
    const std::vector<MultiPolygon> parts{box_shape(0, 0, 55, 100), box_shape(50, 0, 90, 100),
                                          box_shape(90, 0, 110, 50)};
    const Coverage coverage = check_coverage(parts, whole);
    EXPECT_NEAR(coverage.overlap_m2, 500.0, 1e-9);
    EXPECT_NEAR(coverage.gap_m2, 500.0, 1e-9);
    EXPECT_NEAR(coverage.outside_m2, 500.0, 1e-9);
    EXPECT_NEAR(coverage.union_m2, 10000.0, 1e-9);
    ASSERT_TRUE(coverage.gap_place && coverage.overlap_place);
    EXPECT_TRUE(covers(box_shape(90, 50, 100, 100), *coverage.gap_place));
    EXPECT_TRUE(covers(box_shape(50, 0, 55, 100), *coverage.overlap_place));
}

TEST(DrawnZones, CleanOnesPassAndAreCut) {
    const MultiPolygon field = box_shape(0, 0, 100, 100);
    const std::vector<MultiPolygon> drawn{box_shape(-20, -5, 40, 120), box_shape(40, -5, 130, 120)};
    const DrawnZones zones = check_drawn_zones(drawn, field);
    ASSERT_EQ(zones.zones.size(), 2U);
    EXPECT_NEAR(zones.area_m2[0], 4000.0, 1e-9);
    EXPECT_NEAR(zones.area_m2[1], 6000.0, 1e-9);
    EXPECT_EQ(zones.warnings.size(), 2U);  // both reach outside the field
}

TEST(DrawnZones, OverlapAndGapAreErrorsWithTheirArea) {
    const MultiPolygon field = box_shape(0, 0, 100, 100);
    const std::vector<MultiPolygon> overlapping{box_shape(0, 0, 60, 100),
                                                box_shape(50, 0, 100, 100)};
    try {
        check_drawn_zones(overlapping, field);
        FAIL();
    } catch (const Error& error) {
        EXPECT_NE(error.reason().find("overlap on 0.100 ha, near ("), std::string::npos)
            << error.reason();
    }
    const std::vector<MultiPolygon> short_of{box_shape(0, 0, 60, 100), box_shape(60, 0, 80, 100)};
    try {
        check_drawn_zones(short_of, field);
        FAIL();
    } catch (const Error& error) {
        EXPECT_NE(error.reason().find("leave 0.200 ha of the field's 1.000 ha out"),
                  std::string::npos)
            << error.reason();
    }
    EXPECT_THROW(check_drawn_zones({}, field), Error);
}

TEST(DrawnZones, SmallOverlapGoesToTheFirst) {
    const MultiPolygon field = box_shape(0, 0, 100, 100);
    const std::vector<MultiPolygon> drawn{box_shape(0, 0, 50.2, 100), box_shape(50, 0, 100, 100),
                                          box_shape(200, 0, 210, 10)};
    const DrawnZones zones = check_drawn_zones(drawn, field);
    EXPECT_NEAR(zones.area_m2[0], 5020.0, 1e-6);
    EXPECT_NEAR(zones.area_m2[1], 4980.0, 1e-6);
    EXPECT_TRUE(zones.zones[2].empty());
    ASSERT_EQ(zones.warnings.size(), 2U);
    EXPECT_NE(zones.warnings[0].find("drawn zone 3 has no ground"), std::string::npos);
    EXPECT_NE(zones.warnings[1].find("listed first"), std::string::npos);
}

TEST(TakeOut, SetbacksReduceZonesAndMayNotSwallowThem) {
    const std::vector<MultiPolygon> zones{box_shape(0, 0, 50, 100), box_shape(50, 0, 100, 100)};
    const CutZones cut = take_out(zones, box_shape(40, 0, 60, 100));
    EXPECT_NEAR(cut.removed_m2[0], 1000.0, 1e-9);
    EXPECT_NEAR(cut.removed_total_m2, 2000.0, 1e-9);
    EXPECT_TRUE(cut.warnings.empty());
    const CutZones most = take_out(zones, box_shape(-5, -5, 50, 105));
    ASSERT_EQ(most.warnings.size(), 1U);
    EXPECT_TRUE(most.zones[0].empty());
    EXPECT_THROW(take_out(zones, box_shape(-5, -5, 500, 105)), Error);
}

}  // namespace
}  // namespace catchfield::geometry
