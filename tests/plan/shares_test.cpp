// SPDX-License-Identifier: MIT
// How a job is divided: every field once, in order, balanced by area.
#include "plan/shares.hpp"

#include "base/error.hpp"
#include "base/random.hpp"

#include <gtest/gtest.h>

namespace catchfield::testing {
namespace {

using plan::FieldBoundary;

FieldBoundary square(double x, double y, double side) {
    FieldBoundary field;
    field.shape = {{{{x, y}, {x + side, y}, {x + side, y + side}, {x, y + side}, {x, y}}, {}}};
    return field;
}

plan::FieldList list_of(const std::vector<FieldBoundary>& fields) {
    plan::FieldList list;
    for (const FieldBoundary& field : fields) list.add(field.fid, field.shape);
    const std::vector<std::string> names(fields.size(), "a field");
    list.finish(names, names);
    return list;
}

TEST(Shares, AreReadFromTheCommandLine) {
    EXPECT_EQ(plan::parse_share("3/8"), (plan::Share{3, 8}));
    EXPECT_EQ(plan::parse_share("1/1"), (plan::Share{1, 1}));
    EXPECT_EQ(plan::share_name({3, 8}), "3 of 8");
    for (const char* text : {"", "3", "0/8", "9/8", "-1/8", "3/0", "3/8/2", "a/8", "3/b", "3 of 8",
                             "1/99999999999999999999", "1/2000000", "/"}) {
        EXPECT_THROW(plan::parse_share(text), Error) << text;
    }
}

TEST(Shares, HoldEveryFieldOnceInOrder) {
    const gis::Crs utm = gis::Crs::from_epsg(32615);
    Random random(7);
    for (int round = 0; round < 200; ++round) {
        std::vector<FieldBoundary> fields;
        const std::size_t count = 1 + random.below(60);
        for (std::size_t i = 0; i < count; ++i)
            fields.push_back(square(0.0, 0.0, random.uniform(10.0, 2000.0)));
        const std::size_t shares = 1 + random.below(80);
        const auto parts = plan::shares_of(list_of(fields), utm, shares);
        ASSERT_EQ(parts.size(), count);
        for (std::size_t i = 0; i < count; ++i) {
            ASSERT_GE(parts[i], 1U);
            ASSERT_LE(parts[i], shares);
            ASSERT_GE(parts[i], parts[i > 0 ? i - 1 : 0]);
        }
        EXPECT_EQ(parts, plan::shares_of(list_of(fields), utm, shares));
    }
}

TEST(Shares, AreBalancedByArea) {
    const gis::Crs utm = gis::Crs::from_epsg(32615);
    Random random(11);
    std::vector<FieldBoundary> fields;
    for (int i = 0; i < 2000; ++i) fields.push_back(square(0, 0, random.uniform(50.0, 800.0)));
    for (const std::size_t count : {2U, 7U, 64U}) {
        const auto parts = plan::shares_of(list_of(fields), utm, count);
        std::vector<double> areas(count, 0.0);
        double total = 0.0;
        for (std::size_t i = 0; i < fields.size(); ++i) {
            areas[parts[i] - 1] += area(fields[i].shape);
            total += area(fields[i].shape);
        }
        // A field more or less, and what counting each field for a quarter shifts.
        const double mean = total / static_cast<double>(count);
        for (const double part : areas) EXPECT_NEAR(part, mean, 800.0 * 800.0 + 0.05 * mean);
    }
}

TEST(Shares, OneHugeFieldLeavesSharesEmpty) {
    std::vector<FieldBoundary> fields = {square(0, 0, 100), square(0, 0, 10'000),
                                         square(0, 0, 100)};
    const auto parts = plan::shares_of(list_of(fields), gis::Crs::from_epsg(32615), 4);
    EXPECT_EQ(parts.size(), 3U);
    EXPECT_LE(parts.back(), 4U);
}

TEST(Shares, DegreesShrinkTowardsThePoles) {
    // At 60 N a square in degrees has half the ground of one at the equator (cos 60 = 1/2): of
    // three there and two at the equator, the middle of the ground lies in the fourth, and the
    // third is wholly before it.
    const auto at = [](double latitude) { return square(10.0, latitude - 0.05, 0.1); };
    const std::vector<FieldBoundary> fields = {at(60), at(60), at(60), at(0), at(0)};
    const auto parts = plan::shares_of(list_of(fields), gis::Crs::wgs84(), 2);
    EXPECT_EQ(parts, (std::vector<std::size_t>{1, 1, 1, 2, 2}));
    const auto flat = plan::shares_of(list_of(fields), gis::Crs::from_epsg(32615), 2);
    EXPECT_EQ(flat, (std::vector<std::size_t>{1, 1, 2, 2, 2}));
}

TEST(FieldList, GivesBackNamesAndShapes) {
    plan::FieldList list;
    EXPECT_TRUE(list.empty());
    list.add(7, square(0, 0, 1).shape);
    list.add(-1, {});
    list.add(8, square(5, 5, 2).shape);
    list.finish({"Höhe", "", "Höhe (2)"}, {"hoehe", "field", "hoehe-2"});
    ASSERT_EQ(list.size(), 3U);
    EXPECT_EQ(list.front().id, "Höhe");
    EXPECT_EQ(list.front().stem, "hoehe");
    EXPECT_EQ(list[1].id, "");
    EXPECT_EQ(list[1].stem, "field");
    EXPECT_EQ(list[1].fid, -1);
    EXPECT_EQ(list[2].id, "Höhe (2)");
    EXPECT_EQ(list[2].stem, "hoehe-2");
    EXPECT_EQ(list[2].fid, 8);
    EXPECT_EQ(list[2].shape, square(5, 5, 2).shape);
}

TEST(Shares, BrokenShapesWeighSomething) {
    std::vector<FieldBoundary> fields(4);  // no shape at all
    const auto parts = plan::shares_of(list_of(fields), gis::Crs::wgs84(), 2);
    EXPECT_EQ(parts, (std::vector<std::size_t>{1, 1, 2, 2}));
}

}  // namespace
}  // namespace catchfield::testing
