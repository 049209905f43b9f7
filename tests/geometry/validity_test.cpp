// SPDX-License-Identifier: MIT
#include "geometry/validity.hpp"

#include "base/error.hpp"
#include "shapes_for_tests.hpp"

#include <gtest/gtest.h>

#include <cmath>
#include <limits>

namespace catchfield::geometry {
namespace {

// Two triangles of 25 m2 that meet in (5, 5).
const MultiPolygon k_bow_tie{{{{0, 0}, {10, 10}, {10, 0}, {0, 10}, {0, 0}}, {}}};

TEST(Validity, NamesTheFlawAndItsPlace) {
    const auto flaw = find_flaw(k_bow_tie);
    ASSERT_TRUE(flaw.has_value());
    EXPECT_EQ(flaw->reason, "Self-intersection");
    ASSERT_TRUE(flaw->place.has_value());
    EXPECT_DOUBLE_EQ(flaw->place->x, 5.0);
    EXPECT_DOUBLE_EQ(flaw->place->y, 5.0);
    EXPECT_EQ(describe(*flaw), "Self-intersection at (5.00, 5.00)");
    EXPECT_FALSE(find_flaw(box_shape(0, 0, 1, 1)).has_value());
}

TEST(Validity, BowTieBecomesTwoTriangles) {
    const Repair mended = repair(k_bow_tie);
    EXPECT_FALSE(find_flaw(mended.shape).has_value());
    EXPECT_EQ(mended.shape.size(), 2U);
    EXPECT_NEAR(mended.area_after_m2, 50.0, 1e-12);
    EXPECT_NEAR(mended.area_before_m2, 0.0, 1e-12);
    ASSERT_FALSE(mended.changes.empty());
    EXPECT_NE(mended.changes.front().find("Self-intersection at (5.00, 5.00)"), std::string::npos);
}

TEST(Validity, ValidShapesComeBackUnchanged) {
    const MultiPolygon clockwise{{{{0, 0}, {0, 4}, {4, 4}, {4, 0}, {0, 0}}, {}}};
    const Repair mended = repair(clockwise);
    EXPECT_EQ(mended.shape, clockwise);
    EXPECT_TRUE(mended.changes.empty());
    EXPECT_DOUBLE_EQ(mended.area_after_m2, 16.0);
}

TEST(Validity, SpikeIsCutOff) {
    const MultiPolygon spike{
        {{{0, 0}, {10, 0}, {10, 5}, {30, 5}, {10, 5}, {10, 10}, {0, 10}, {0, 0}}, {}}};
    EXPECT_TRUE(find_flaw(spike).has_value());
    const Repair mended = repair(spike);
    EXPECT_FALSE(find_flaw(mended.shape).has_value());
    EXPECT_NEAR(area(mended.shape), 100.0, 1e-9);
    EXPECT_LE(bounds(mended.shape).max_x, 10.0);
}

TEST(Validity, RingThatTouchesItselfKeepsItsArea) {
    // A ring that runs in to (5, 5) and out again, leaving a triangle out: 100 - 25 m2. The outline
    // touches itself in the point (5, 10).
    const MultiPolygon touching{
        {{{0, 0}, {10, 0}, {10, 10}, {5, 10}, {7, 5}, {3, 5}, {5, 10}, {0, 10}, {0, 0}}, {}}};
    EXPECT_TRUE(find_flaw(touching).has_value());
    const Repair mended = repair(touching);
    EXPECT_FALSE(find_flaw(mended.shape).has_value());
    EXPECT_NEAR(mended.area_after_m2, 90.0, 1e-9);
    ASSERT_EQ(mended.shape.size(), 1U);
    EXPECT_EQ(mended.shape.front().holes.size(), 1U);
}

TEST(Validity, OverlappingPartsAreUnited) {
    const MultiPolygon parts{{box_ring(0, 0, 10, 10), {}}, {box_ring(5, 0, 15, 10), {}}};
    EXPECT_TRUE(find_flaw(parts).has_value());
    const Repair mended = repair(parts);
    EXPECT_NEAR(mended.area_before_m2, 200.0, 1e-12);
    EXPECT_NEAR(mended.area_after_m2, 150.0, 1e-12);
}

TEST(Validity, HoleOutsideItsShellIsDropped) {
    const MultiPolygon odd{{box_ring(0, 0, 10, 10), {box_ring(20, 20, 21, 21)}}};
    EXPECT_TRUE(find_flaw(odd).has_value());
    EXPECT_NEAR(repair(odd).area_after_m2, 100.0, 1e-12);
}

TEST(Validity, EmptyOpenAndNotFinite) {
    EXPECT_EQ(find_flaw({})->reason, "the shape is empty");
    EXPECT_TRUE(repair({}).shape.empty());
    EXPECT_TRUE(find_flaw({{{}, {}}}).has_value());

    const MultiPolygon open{{{{0, 0}, {10, 0}, {10, 10}, {0, 10}}, {}}};
    EXPECT_EQ(find_flaw(open)->reason, "an outline is not closed");
    EXPECT_NEAR(repair(open).area_after_m2, 100.0, 1e-12);

    const double nan = std::numeric_limits<double>::quiet_NaN();
    const MultiPolygon missing{{{{0, 0}, {10, 0}, {nan, 3}, {10, 10}, {0, 10}, {0, 0}}, {}}};
    EXPECT_NE(find_flaw(missing)->reason.find("point 3"), std::string::npos);
    const Repair mended = repair(missing);
    EXPECT_NEAR(mended.area_after_m2, 100.0, 1e-12);
    EXPECT_NE(mended.changes.front().find("1 point that is not a finite number"),
              std::string::npos);

    const MultiPolygon line{{{{0, 0}, {10, 0}, {0, 0}}, {}}};
    EXPECT_TRUE(find_flaw(line).has_value());
    EXPECT_TRUE(repair(line).shape.empty());
    const MultiPolygon flat{{{{0, 0}, {10, 0}, {5, 0}, {0, 0}}, {}}};
    EXPECT_TRUE(repair(flat).shape.empty());
}

TEST(Validity, RequireValidSaysWhatAndWhere) {
    try {
        require_valid(k_bow_tie, "the boundary");
        FAIL();
    } catch (const Error& error) {
        EXPECT_EQ(error.kind(), ErrorKind::data);
        EXPECT_EQ(error.reason(), "the boundary is not valid: Self-intersection at (5.00, 5.00)");
    }
}

TEST(Validity, FuzzedRepairsAreValidAndInsideTheirBox) {
    Random random(20260801);
    for (int round = 0; round < 300; ++round) {
        SCOPED_TRACE("seed 20260801, round " + std::to_string(round));
        MultiPolygon shape;
        const std::size_t parts = 1 + random.below(3);
        for (std::size_t p = 0; p < parts; ++p) {
            Ring ring;
            const std::size_t points = 3 + random.below(12);
            for (std::size_t i = 0; i < points; ++i) {
                // Whole numbers make touching, doubled points and overlaying edges frequent.
                ring.push_back(
                    {std::floor(random.uniform(0, 8)), std::floor(random.uniform(0, 8))});
            }
            ring.push_back(ring.front());
            shape.push_back({ring, {}});
        }
        const Repair mended = repair(shape);
        if (mended.shape.empty()) continue;
        EXPECT_FALSE(find_flaw(mended.shape).has_value());
        EXPECT_GT(mended.area_after_m2, 0.0);
        EXPECT_GE(bounds(mended.shape).min_x, bounds(shape).min_x);
        EXPECT_LE(bounds(mended.shape).max_x, bounds(shape).max_x);
    }
}

}  // namespace
}  // namespace catchfield::geometry
