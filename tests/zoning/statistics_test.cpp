// SPDX-License-Identifier: MIT
// Zone statistics with shares, and yields of several years.
#include "zoning/statistics.hpp"

#include "base/error.hpp"
#include "grids.hpp"
#include "zoning/yields.hpp"

#include <gtest/gtest.h>

#include <cmath>

namespace catchfield::zoning {
namespace {

using testing::frame_of;

TEST(ZoningStatistics, WeightedByShares) {
    const GridFrame frame = frame_of(1, 5);
    const Raster<float> values(frame, {10.0F, 20.0F, 30.0F, 40.0F, 99.0F});
    Mask valid(frame, 1);
    valid[3] = 0;
    const std::vector<CellShare> shares{{0, 1.0}, {1, 0.5}, {2, 0.5}, {3, 0.5}, {4, 0.0}};
    const std::vector<double> q{0.0, 0.5, 0.51, 0.75, 1.0};
    const auto s = zone_statistics(shares, values, valid, q);
    ASSERT_TRUE(s);
    // (10 + 10 + 15) / 2 = 17.5; variance (56.25 + 0.5 * 6.25 + 0.5 * 156.25) / 2 = 68.75.
    EXPECT_NEAR(s->mean, 17.5, 1e-12);
    EXPECT_NEAR(s->sd, std::sqrt(68.75), 1e-12);
    EXPECT_NEAR(s->sd, 8.292, 5e-4);
    EXPECT_EQ(s->min, 10.0);
    EXPECT_EQ(s->max, 30.0);
    EXPECT_EQ(s->quantiles, (std::vector<double>{10.0, 10.0, 20.0, 20.0, 30.0}));
    EXPECT_NEAR(s->missing_share, 0.5 / 2.5, 1e-12);
    EXPECT_NEAR(s->weight_cells, 2.0, 1e-12);
}

TEST(ZoningStatistics, MissingAndBadInput) {
    const GridFrame frame = frame_of(1, 2);
    const Raster<float> values(frame, {1.0F, 2.0F});
    const std::vector<CellShare> both{{0, 1.0}, {1, 1.0}};
    EXPECT_FALSE(zone_statistics(both, values, Mask(frame, 0)));
    EXPECT_FALSE(zone_statistics({}, values, Mask(frame, 1)));
    EXPECT_THROW(zone_statistics(std::vector<CellShare>{{5, 1.0}}, values, Mask(frame, 1)), Error);
    EXPECT_THROW(zone_statistics(std::vector<CellShare>{{0, -1.0}}, values, Mask(frame, 1)), Error);
    EXPECT_THROW(zone_statistics(both, values, Mask(frame, 1), std::vector<double>{1.5}), Error);
}

TEST(ZoningStatistics, CategoryMajority) {
    const GridFrame frame = frame_of(1, 4);
    const Raster<std::int32_t> soil(frame, {7, 3, 3, 9});
    Mask valid(frame, 1);
    valid[3] = 0;
    const auto m = category_majority(std::vector<CellShare>{{0, 0.9}, {1, 0.5}, {2, 0.6}, {3, 1.0}},
                                     soil, valid);
    ASSERT_TRUE(m);
    EXPECT_EQ(m->category, 3);
    EXPECT_NEAR(m->share, 1.1 / 2.0, 1e-12);
    EXPECT_NEAR(m->missing_share, 1.0 / 3.0, 1e-12);
    // A tie goes to the lower code.
    EXPECT_EQ(category_majority(std::vector<CellShare>{{0, 0.5}, {1, 0.5}}, soil, valid)->category,
              3);
}

TEST(ZoningStatistics, SharesFromLabels) {
    Labels labels(frame_of(1, 4));
    labels.values = {0, 2, 1, 2};
    const auto shares = shares_from_labels(labels);
    ASSERT_EQ(shares.size(), 2U);
    EXPECT_EQ(shares[1].size(), 2U);
    EXPECT_EQ(shares[1][1].cell, 3U);
}

TEST(ZoningYields, NormalisedAveragedAndSteadiness) {
    const GridFrame frame = frame_of(1, 3);
    // Year means 8 and 4 Mg/ha: relative 75, 100, 125 and 125, 100, (missing).
    YieldYear corn{"corn 2021", Raster<float>(frame, {6.0F, 8.0F, 10.0F}), Mask(frame, 1)};
    YieldYear beans{"soybean 2022", Raster<float>(frame, {5.0F, 3.0F, 0.0F}), Mask(frame, 1)};
    beans.valid[2] = 0;
    const YieldHistory h = combine_years(std::vector{corn, beans}, Mask(frame, 1));
    EXPECT_FLOAT_EQ(h.relative_pct[0], 100.0F);
    EXPECT_FLOAT_EQ(h.relative_pct[1], 87.5F);
    EXPECT_FLOAT_EQ(h.relative_pct[2], 125.0F);
    EXPECT_NEAR(h.stability_pct[0], std::sqrt(2.0 * 25.0 * 25.0), 1e-4);
    EXPECT_NEAR(h.stability_pct[1], std::sqrt(2.0 * 12.5 * 12.5), 1e-4);
    EXPECT_EQ(h.years[0], 2);
    EXPECT_EQ(h.years[2], 1);
    EXPECT_EQ(h.valid[2], 1);
    EXPECT_EQ(h.stability_valid[2], 0);
    ASSERT_EQ(h.warnings.size(), 1U);  // soybean misses a third
    EXPECT_NE(h.warnings[0].find("soybean 2022"), std::string::npos);

    // The unit of one year does not matter.
    YieldYear bushels = corn;
    for (float& y : bushels.yield.values) y *= 16.0F;
    EXPECT_EQ(combine_years(std::vector{bushels, beans}, Mask(frame, 1)).relative_pct.values,
              h.relative_pct.values);
}

TEST(ZoningYields, BadInput) {
    const GridFrame frame = frame_of(1, 2);
    const YieldYear good{"a", Raster<float>(frame, {1.0F, 2.0F}), Mask(frame, 1)};
    const YieldYear empty{"b", Raster<float>(frame, {1.0F, 2.0F}), Mask(frame, 0)};
    const YieldYear negative{"c", Raster<float>(frame, {-1.0F, 2.0F}), Mask(frame, 1)};
    const YieldYear zero{"d", Raster<float>(frame, {0.0F, 0.0F}), Mask(frame, 1)};
    const Mask field(frame, 1);
    EXPECT_EQ(combine_years(std::vector{good, empty}, field).warnings.size(), 2U);
    EXPECT_THROW(combine_years(std::vector{empty}, field), Error);
    EXPECT_THROW(combine_years(std::vector{negative}, field), Error);
    EXPECT_THROW(combine_years(std::vector{zero}, field), Error);
    EXPECT_THROW(combine_years(std::vector{good}, Mask(frame_of(2, 2), 1)), Error);
}

}  // namespace
}  // namespace catchfield::zoning
