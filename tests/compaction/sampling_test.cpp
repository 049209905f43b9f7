// SPDX-License-Identifier: MIT
// Stop locations: shares, distances, zones, seed.
#include "compaction/sampling.hpp"

#include "base/error.hpp"

#include <gtest/gtest.h>

#include <cmath>
#include <map>

namespace catchfield::compaction {
namespace {

/// 300 m x 200 m at 5 m; left two thirds zone 1, right third zone 2, a border of no zone.
Raster<std::int32_t> zones() {
    Raster<std::int32_t> labels(
        GridFrame{.west = 1000, .north = 2000, .cell = 5, .cols = 60, .rows = 40});
    for (int row = 2; row < 38; ++row)
        for (int col = 2; col < 58; ++col) labels.at(row, col) = col < 40 ? 1 : 2;
    return labels;
}

std::int32_t label_at(const Raster<std::int32_t>& labels, Point at) {
    const GridFrame& frame = labels.frame;
    return labels.at(static_cast<int>((frame.north - at.y) / frame.cell),
                     static_cast<int>((at.x - frame.west) / frame.cell));
}

TEST(Sampling, StopsByAreaApartAndInside) {
    const auto labels = zones();
    for (std::uint64_t seed = 1; seed <= 20; ++seed) {
        SCOPED_TRACE("seed " + std::to_string(seed));
        const SamplingOptions options{
            .stops = 30, .min_distance_m = 20, .edge_m = 10, .seed = seed};
        const SamplingPlan plan = plan_stops(labels, options);
        EXPECT_TRUE(plan.warnings.empty());
        ASSERT_EQ(plan.stops.size(), 30u);
        std::map<std::int32_t, int> counts;
        for (std::size_t i = 0; i < plan.stops.size(); ++i) {
            const PlannedStop& stop = plan.stops[i];
            EXPECT_EQ(stop.number, static_cast<int>(i) + 1);
            EXPECT_EQ(label_at(labels, stop.at), stop.zone);
            ++counts[stop.zone];
            // At least the margin from any other label, along both axes.
            for (const double off : {-9.9, 9.9}) {
                EXPECT_EQ(label_at(labels, {stop.at.x + off, stop.at.y}), stop.zone);
                EXPECT_EQ(label_at(labels, {stop.at.x, stop.at.y + off}), stop.zone);
            }
            for (std::size_t j = 0; j < i; ++j)
                EXPECT_GE(
                    std::hypot(stop.at.x - plan.stops[j].at.x, stop.at.y - plan.stops[j].at.y),
                    20.0);
        }
        EXPECT_EQ(counts[1], 20);  // 38 of 56 columns: 20.4 of 30
        EXPECT_EQ(counts[2], 10);
    }
}

TEST(Sampling, SameSeedSameStops) {
    const auto labels = zones();
    const auto first = plan_stops(labels), again = plan_stops(labels),
               other = plan_stops(labels, {.seed = 2});
    ASSERT_EQ(first.stops.size(), again.stops.size());
    bool differs = false;
    for (std::size_t i = 0; i < first.stops.size(); ++i) {
        EXPECT_EQ(first.stops[i].at, again.stops[i].at);
        differs = differs || !(first.stops[i].at == other.stops[i].at);
    }
    EXPECT_TRUE(differs);
}

TEST(Sampling, SmallZonesAreSaid) {
    Raster<std::int32_t> labels = zones();
    labels.at(0, 0) = 3;  // one cell
    const SamplingPlan plan = plan_stops(labels, {.stops = 10});
    ASSERT_EQ(plan.warnings.size(), 2u);
    EXPECT_NE(plan.warnings[0].find("zone 3 is too narrow"), std::string::npos);
    EXPECT_NE(plan.warnings[1].find("zone 3 has room for 1 of 3 stops"), std::string::npos);
    EXPECT_THROW(plan_stops(Raster<std::int32_t>(labels.frame)), Error);
    EXPECT_THROW(plan_stops(labels, {.stops = 0}), Error);
    EXPECT_THROW(plan_stops(labels, {.min_distance_m = -1}), Error);
}

}  // namespace
}  // namespace catchfield::compaction
