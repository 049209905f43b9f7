// SPDX-License-Identifier: MIT
// make_zones as a whole: known zones found, one zone where zoning does not pay, bad input said.
#include "zoning/zones.hpp"

#include "base/error.hpp"
#include "grids.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <numeric>

namespace catchfield::zoning {
namespace {

using testing::frame_of;
using testing::full;
using testing::landscape;
using testing::layer;
using testing::odd_field;

// Three bands of columns with clearly different values.
std::vector<Feature> bands(const GridFrame& frame, std::uint64_t seed) {
    Random random(seed);
    const auto band = [&](int c) { return 3 * c / frame.cols; };
    std::vector<Feature> features;
    features.push_back(
        layer("clay", frame, [&](int, int c) { return 15.0 + 10.0 * band(c) + random.normal(); }));
    features.push_back(layer("slope", frame, [&](int, int c) {
        return (band(c) == 1 ? 9.0 : 3.0) + 0.5 * random.normal();
    }));
    return features;
}

bool mentions(const std::vector<std::string>& warnings, const std::string& part) {
    return std::any_of(warnings.begin(), warnings.end(),
                       [&](const std::string& w) { return w.find(part) != std::string::npos; });
}

TEST(Zones, FindsTheBandsAndNumbersThemByNeed) {
    const GridFrame frame = frame_of(30, 36);
    ZoningOptions options = default_options();
    const ZoningResult result = make_zones(bands(frame, 1), full(frame), options);
    EXPECT_EQ(result.count, 3) << result.reason;
    EXPECT_GT(result.relative_variance, 0.9);
    ASSERT_EQ(result.curve.size(), 4U);
    int votes = 0;
    for (const CountIndices& indices : result.curve) votes += indices.votes;
    EXPECT_EQ(votes, 5);
    // Default need: clay (first by name of equal weights), most clay first, so east is zone 1.
    for (int r = 0; r < frame.rows; ++r) {
        for (int c = 0; c < frame.cols; ++c) EXPECT_EQ(result.labels.at(r, c), 3 - 3 * c / 36);
    }
    Need need{Raster<float>(frame), Mask(frame, 1)};
    for (int r = 0; r < frame.rows; ++r) {
        for (int c = 0; c < frame.cols; ++c) need.score.at(r, c) = c < 12 ? 1.0F : 0.0F;
    }
    options.need = need;
    EXPECT_EQ(make_zones(bands(frame, 1), full(frame), options).labels.at(0, 0), 1);
    ASSERT_EQ(result.variance.size(), 2U);
    EXPECT_GT(result.variance[0].relative_variance, 0.9);
    EXPECT_NEAR(result.zones[0].area_ha, 30 * 12 * 0.01, 1e-9);
    EXPECT_EQ(result.zones[0].patches, 1U);
}

TEST(Zones, EveryMethodFindsTheBands) {
    const GridFrame frame = frame_of(30, 36);
    const auto features = bands(frame, 2);
    const Labels expected = make_zones(features, full(frame), default_options()).labels;
    ZoningOptions quick = quick_options();
    EXPECT_EQ(make_zones(features, full(frame), quick).labels.values, expected.values);
    ZoningOptions fuzzy = default_options();
    fuzzy.method = Method::fuzzy;
    EXPECT_EQ(make_zones(features, full(frame), fuzzy).labels.values, expected.values);
    fuzzy.count = 3;
    fuzzy.norm = Norm::mahalanobis;
    EXPECT_EQ(make_zones(features, full(frame), fuzzy).labels.values, expected.values);
    ZoningOptions pca = default_options();
    pca.pca_share = 0.85;
    const ZoningResult with_pca = make_zones(features, full(frame), pca);
    EXPECT_EQ(with_pca.labels.values, expected.values);
    EXPECT_EQ(with_pca.pca_shares.size(), 2U);
}

// Fewer starts on a small sample must not cost much of what zones explain.
TEST(Zones, QuickOptionsComeClose) {
    const GridFrame frame = frame_of(40, 40);
    for (std::uint64_t seed = 1; seed <= 15; ++seed) {
        const auto features = landscape(frame, seed, 5);
        ZoningOptions thorough = default_options();
        ZoningOptions quick = quick_options();
        thorough.count = quick.count = 4;
        thorough.max_count = quick.max_count = 4;
        thorough.cleanup = quick.cleanup = {.majority_passes = 0, .min_area_ha = 0.0};
        EXPECT_GE(make_zones(features, full(frame), quick).relative_variance,
                  make_zones(features, full(frame), thorough).relative_variance - 0.02)
            << "seed " << seed;
    }
}

TEST(Zones, NoiseIsOneZone) {
    const GridFrame frame = frame_of(40, 40);
    for (std::uint64_t seed = 1; seed <= 5; ++seed) {
        Random random(seed);
        std::vector<Feature> features;
        for (const char* name : {"a", "b", "c"}) {
            features.push_back(layer(name, frame, [&](int, int) { return random.normal(); }));
        }
        const ZoningResult result = make_zones(features, full(frame), default_options());
        EXPECT_EQ(result.count, 1) << "seed " << seed << ": " << result.reason;
        EXPECT_NE(result.reason.find("uniform rate"), std::string::npos);
        EXPECT_EQ(result.curve.size(), 4U);  // the report still shows what was tried
    }
}

TEST(Zones, EveryCellLabelledNoneBelowTheMinimum) {
    for (std::uint64_t seed = 1; seed <= 60; ++seed) {
        SCOPED_TRACE("seed " + std::to_string(seed));
        Random random(seed);
        const GridFrame frame = frame_of(20 + static_cast<int>(random.below(30)),
                                         20 + static_cast<int>(random.below(30)));
        Mask field = odd_field(frame);
        for (auto& inside : field.values) inside = inside && random.uniform() < 0.97;
        auto features = landscape(frame, seed, 3);
        for (Feature& feature : features) {
            for (auto& valid : feature.valid.values) valid = random.uniform() < 0.95;
        }
        ZoningOptions options = quick_options();
        options.cleanup.working_width_m = random.uniform(0.0, 40.0);
        if (random.uniform() < 0.5) options.count = 2 + static_cast<int>(random.below(5));
        const ZoningResult result = make_zones(features, field, options);
        Labels part_labels(frame, 0);
        std::size_t filled = 0;
        std::size_t inside = 0;
        for (std::size_t i = 0; i < frame.size(); ++i) {
            ASSERT_EQ(field[i] != 0, result.labels[i] > 0);
            ASSERT_LE(result.labels[i], result.count);
            part_labels[i] = field[i];
            inside += field[i];
        }
        for (const ZoneInfo& zone : result.zones) {
            filled += zone.filled_cells;
            ASSERT_GE(zone.area_ha, 0.4 - 1e-9);
        }
        EXPECT_EQ(filled, result.dropped_cells);
        EXPECT_GT(filled, 0U);
        const Patches parts = find_patches(part_labels);
        const Patches patches = find_patches(result.labels);
        for (std::size_t i = 0; i < frame.size(); ++i) {
            if (!field[i]) continue;
            const std::size_t part = parts.sizes[static_cast<std::size_t>(parts.patch[i])];
            const std::size_t patch = patches.sizes[static_cast<std::size_t>(patches.patch[i])];
            ASSERT_TRUE(patch >= 40 || (part < 40 && patch == part));
        }
        for (std::size_t z = 1; z < result.zones.size(); ++z) {
            EXPECT_GE(result.zones[z - 1].mean_need, result.zones[z].mean_need);
        }
    }
}

TEST(Zones, BadInputIsSaid) {
    const GridFrame frame = frame_of(30, 36);
    auto features = bands(frame, 3);
    features.push_back(layer("flat", frame, [](int, int) { return 2.0; }));
    features.push_back(layer("absent", frame, [](int, int) { return 2.0; }));
    features.back().valid = Mask(frame, 0);
    const ZoningResult result = make_zones(features, full(frame), default_options());
    EXPECT_EQ(result.count, 3);
    EXPECT_TRUE(mentions(result.warnings, "'flat' is left out"));
    EXPECT_TRUE(mentions(result.warnings, "'absent' is left out"));

    const std::vector<Feature> flat{features[2]};
    const ZoningResult one = make_zones(flat, full(frame), default_options());
    EXPECT_EQ(one.count, 1);
    EXPECT_TRUE(mentions(one.warnings, "no feature is left"));
    EXPECT_EQ(make_zones({}, full(frame), default_options()).count, 1);

    ZoningOptions large = default_options();
    large.cleanup.min_area_ha = 100.0;
    const ZoningResult small = make_zones(features, full(frame), large);
    EXPECT_EQ(small.count, 1);
    EXPECT_TRUE(mentions(small.warnings, "too little for two zones"));

    // Three distinct cells, five zones asked for.
    std::vector<Feature> steps{layer("steps", frame, [](int, int c) { return c / 12; })};
    ZoningOptions five = default_options();
    five.count = 5;
    const ZoningResult stepped = make_zones(steps, full(frame), five);
    EXPECT_EQ(stepped.count, 3);
    EXPECT_TRUE(mentions(stepped.warnings, "only 3 different values"));

    ZoningOptions bad = default_options();
    bad.count = 0;
    EXPECT_THROW(make_zones(features, full(frame), bad), Error);
    bad = default_options();
    bad.max_count = 50;
    EXPECT_THROW(make_zones(features, full(frame), bad), Error);
    EXPECT_THROW(make_zones(features, Mask(frame, 0), default_options()), Error);
    EXPECT_THROW(make_zones(features, full(frame_of(5, 5)), default_options()), Error);
}

TEST(Zones, AskedForCountsAndOneZone) {
    const GridFrame frame = frame_of(30, 36);
    for (const int count : {1, 2, 3, 7}) {
        ZoningOptions options = default_options();
        options.count = count;
        options.cleanup.min_area_ha = 0.0;
        options.cleanup.majority_passes = 0;
        EXPECT_EQ(make_zones(bands(frame, 4), full(frame), options).count, count);
    }
}

TEST(Zones, DescribeGivenZones) {
    const GridFrame frame = frame_of(30, 36);
    const auto features = bands(frame, 5);
    const ZoningResult made = make_zones(features, full(frame), default_options());
    const ZoningResult described = describe_zones(made.labels, features, full(frame));
    EXPECT_EQ(described.count, made.count);
    for (std::size_t f = 0; f < 2; ++f) {
        EXPECT_DOUBLE_EQ(described.variance[f].relative_variance,
                         made.variance[f].relative_variance);
    }
    EXPECT_NEAR(described.relative_variance, made.relative_variance, 1e-9);
    Labels hole = made.labels;
    hole[5] = 0;
    EXPECT_THROW(describe_zones(hole, features, full(frame)), Error);
    EXPECT_THROW(describe_zones(made.labels, features, full(frame_of(3, 3))), Error);
}

}  // namespace
}  // namespace catchfield::zoning
