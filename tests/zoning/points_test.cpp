// SPDX-License-Identifier: MIT
// Monitor points: every rule drops what it should, for the reason it says; block averages.
#include "base/error.hpp"
#include "grids.hpp"
#include "zoning/monitor_points.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <numeric>

namespace catchfield::zoning {
namespace {

constexpr double west = 500000.0;
constexpr double north = 4500000.0;

std::size_t count(const CleanPoints& clean, DropReason reason) {
    return clean.counts[static_cast<std::size_t>(reason)];
}

// Ten passes of 60 points, 2 m/s, one a second, 6 m apart, mean 8 with small noise.
std::vector<MonitorPoint> harvest(std::uint64_t seed) {
    Random random(seed);
    std::vector<MonitorPoint> points;
    for (int pass = 0; pass < 10; ++pass) {
        for (int i = 0; i < 60; ++i) {
            MonitorPoint p;
            p.x = west + 10.0 + 2.0 * i;
            p.y = north - 10.0 - 6.0 * pass;
            p.value = 8.0 + 0.3 * random.normal();
            p.time_s = 100.0 * pass + i;
            p.pass = pass;
            points.push_back(p);
        }
    }
    return points;
}

MonitorRules no_rules() {
    return {};
}

Mask wide_field() {
    return Mask(testing::frame_of(10, 20), 1);
}

TEST(ZoningPoints, DefaultRulesKeepGoodPoints) {
    const auto points = harvest(1);
    const MonitorRules rules = default_monitor_rules();
    const CleanPoints clean = clean_monitor_points(points, wide_field(), rules);
    // Of each pass, 8 s at the start and 4 s at the end: seconds 0-7 and 56-59.
    EXPECT_EQ(count(clean, DropReason::lag), 10U * 12U);
    EXPECT_EQ(count(clean, DropReason::speed), 0U);
    // Normal noise: about 0.27 % lie beyond three robust sd, a few more of small neighbourhoods.
    EXPECT_LT(count(clean, DropReason::global_outlier) + count(clean, DropReason::local_outlier),
              15U);
    EXPECT_EQ(std::accumulate(clean.counts.begin(), clean.counts.end(), std::size_t{0}), 600U);
    EXPECT_EQ(clean.kept.size(), count(clean, DropReason::kept));
}

TEST(ZoningPoints, EachRuleCountsItsOwn) {
    auto points = harvest(2);
    points[20].value = std::numeric_limits<double>::quiet_NaN();
    points[21].value = -1.0;
    points[85].x = west - 5.0;
    points[85].speed_m_s = 2.0;
    points[86].speed_m_s = 2.0;
    points[150].speed_m_s = 0.1;
    points[151].speed_m_s = 2.0;
    points[210].speed_m_s = 3.5;
    points[211].speed_m_s = 2.9;  // 17 % slower than the point before: allowed
    points[212].speed_m_s = 2.3;
    points[270].value = 20.0;  // leaves and returns
    points[330].value = 14.0;
    points[331].value = 14.0;  // two in a row: no single jump, but far from the median
    const CleanPoints clean = clean_monitor_points(points, wide_field(), default_monitor_rules());
    EXPECT_EQ(clean.reason[20], DropReason::not_finite);
    EXPECT_EQ(clean.reason[21], DropReason::out_of_range);
    EXPECT_EQ(clean.reason[85], DropReason::outside_field);
    EXPECT_EQ(clean.reason[150], DropReason::speed);
    EXPECT_EQ(clean.reason[151], DropReason::speed_change);
    EXPECT_EQ(clean.reason[210], DropReason::speed_change);
    EXPECT_EQ(clean.reason[211], DropReason::kept);
    EXPECT_EQ(clean.reason[270], DropReason::flow_change);
    EXPECT_EQ(clean.reason[330], DropReason::global_outlier);
    EXPECT_EQ(clean.reason[331], DropReason::global_outlier);
    EXPECT_EQ(drop_reason_name(clean.reason[270]), "sudden change of flow");
}

// A value normal for the field but not for where it stands.
TEST(ZoningPoints, LocalOutlier) {
    std::vector<MonitorPoint> points;
    Random random(5);
    for (int r = 0; r < 10; ++r) {
        for (int c = 0; c < 20; ++c) {
            MonitorPoint p;
            p.x = west + 10.0 * c + 5.0;
            p.y = north - 10.0 * r - 5.0;
            p.value = (c < 10 ? 5.0 : 10.0) + 0.2 * random.uniform(-1.0, 1.0);
            p.pass = r;
            points.push_back(p);
        }
    }
    points[5 * 20 + 3].value = 10.0;
    MonitorRules rules = no_rules();
    rules.global_mads = 3.0;
    rules.local_mads = 3.0;
    rules.local_radius_m = 20.0;
    const CleanPoints clean = clean_monitor_points(points, wide_field(), rules);
    EXPECT_EQ(clean.reason[5 * 20 + 3], DropReason::local_outlier);
    EXPECT_EQ(count(clean, DropReason::local_outlier), 1U);
    EXPECT_EQ(count(clean, DropReason::global_outlier), 0U);
    EXPECT_EQ(clean.warnings.size(), 1U);  // no times
}

// The local rule against the plain definition, all pairs.
TEST(ZoningPoints, LocalRuleAgreesWithAllPairs) {
    Random random(8);
    std::vector<MonitorPoint> points(300);
    for (MonitorPoint& p : points) {
        p.x = west + random.uniform(0.0, 200.0);
        p.y = north - random.uniform(0.0, 100.0);
        p.value = 8.0 + std::exp(random.normal());
    }
    MonitorRules rules = no_rules();
    rules.local_mads = 3.0;
    rules.local_radius_m = 17.0;
    const CleanPoints clean = clean_monitor_points(points, wide_field(), rules);
    const auto median = [](std::vector<double> v) {
        std::sort(v.begin(), v.end());
        return (v[(v.size() - 1) / 2] + v[v.size() / 2]) / 2.0;
    };
    const auto mad = [&](std::vector<double> v) {
        const double m = median(v);
        for (double& x : v) x = std::abs(x - m);
        return median(v);
    };
    std::vector<double> all;
    for (const MonitorPoint& p : points) all.push_back(p.value);
    std::vector<double> sorted = all;
    std::sort(sorted.begin(), sorted.end());
    const double spread = std::max(mad(all), (sorted[3 * 299 / 4] - sorted[299 / 4]) / 2.0);
    std::size_t dropped = 0;
    for (std::size_t i = 0; i < points.size(); ++i) {
        std::vector<double> around;
        for (std::size_t j = 0; j < points.size(); ++j) {
            const double d = std::hypot(points[i].x - points[j].x, points[i].y - points[j].y);
            if (j != i && d <= 17.0) around.push_back(points[j].value);
        }
        const bool out =
            around.size() >= 5 && std::abs(points[i].value - median(around)) >
                                      3.0 * 1.4826 * std::max(mad(around), 0.1 * spread);
        dropped += out;
        EXPECT_EQ(clean.reason[i] == DropReason::local_outlier, out) << i;
    }
    EXPECT_GT(dropped, 5U);
}

TEST(ZoningPoints, DelayMovesValuesBack) {
    const auto points = harvest(3);
    MonitorRules rules = no_rules();
    rules.delay_s = 2.5;
    const CleanPoints clean = clean_monitor_points(points, wide_field(), rules);
    // The first three points of a pass (0, 1, 2 s) have no place 2.5 s before.
    EXPECT_EQ(count(clean, DropReason::lag), 30U);
    EXPECT_NEAR(clean.kept[0].x, points[3].x - 5.0, 1e-9);
    EXPECT_EQ(clean.kept[0].value, points[3].value);
}

TEST(ZoningPoints, BlockAverage) {
    const GridFrame frame = testing::frame_of(2, 2);
    const auto at = [&](double dx, double dy, double value) {
        MonitorPoint p;
        p.x = west + dx;
        p.y = north - dy;
        p.value = value;
        return p;
    };
    const std::vector<MonitorPoint> points{at(1, 1, 4.0), at(9, 9, 6.0), at(10, 0, 7.0),
                                           at(25, 1, 9.0), at(0, 15, 1.0)};
    const GriddedPoints gridded = block_average(points, frame);
    EXPECT_EQ(gridded.values.at(0, 0), 5.0F);
    EXPECT_EQ(gridded.values.at(0, 1), 7.0F);  // on the edge: the cell to the east
    EXPECT_EQ(gridded.points.at(0, 0), 2U);
    EXPECT_EQ(gridded.valid.at(1, 1), 0);
    EXPECT_EQ(gridded.valid.at(1, 0), 1);
    EXPECT_EQ(block_average(points, frame, 2).valid.at(1, 0), 0);
}

TEST(ZoningPoints, BadInput) {
    EXPECT_THROW(clean_monitor_points({}, wide_field(), no_rules()), Error);
    MonitorRules bad = no_rules();
    bad.max_value = -1.0;
    EXPECT_THROW(clean_monitor_points(harvest(1), wide_field(), bad), Error);
    const CleanPoints none =
        clean_monitor_points(harvest(1), Mask(testing::frame_of(10, 20), 0), no_rules());
    EXPECT_TRUE(none.kept.empty());
    EXPECT_FALSE(none.warnings.empty());
}

}  // namespace
}  // namespace catchfield::zoning
