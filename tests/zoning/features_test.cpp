// SPDX-License-Identifier: MIT
// Features: missing cells, exclusions, standardising, logarithms, samples.
#include "zoning/features.hpp"

#include "base/error.hpp"
#include "grids.hpp"
#include "zoning/kmeans.hpp"
#include "zoning/pca.hpp"

#include <gtest/gtest.h>

#include <cmath>
#include <limits>

namespace catchfield::zoning {
namespace {

using testing::frame_of;
using testing::full;
using testing::layer;

TEST(ZoningFeatures, MissingCellsAreDroppedAndCounted) {
    const GridFrame frame = frame_of(4, 5);
    std::vector<Feature> features{layer("slope", frame, [](int r, int c) { return r + 0.1 * c; }),
                                  layer("clay", frame, [](int r, int c) { return 20.0 + r * c; })};
    features[0].valid.at(0, 0) = 0;
    features[1].valid.at(0, 0) = 0;
    features[1].valid.at(2, 3) = 0;
    Mask field = full(frame);
    field.at(3, 4) = 0;
    const PreparedFeatures prepared = prepare_features(features, field);
    EXPECT_EQ(prepared.field_cells, 19U);
    EXPECT_EQ(prepared.dropped_cells, 2U);
    EXPECT_EQ(prepared.cells.size(), 17U);
    EXPECT_EQ(prepared.features[0].missing_cells, 1U);
    EXPECT_EQ(prepared.features[1].missing_cells, 2U);
    EXPECT_EQ(prepared.columns, (std::vector<std::size_t>{1, 0}));  // by name: clay, slope
    EXPECT_EQ(prepared.warnings.size(), 3U);
}

TEST(ZoningFeatures, StandardisedWithNMinusOneAndWeighted) {
    const GridFrame frame = frame_of(1, 4);
    std::vector<Feature> features{layer("x", frame, [](int, int c) { return c + 1.0; })};
    features[0].weight = 4.0;
    const PreparedFeatures prepared = prepare_features(features, full(frame));
    // 1, 2, 3, 4: mean 2.5, sd (n - 1) sqrt(5/3) = 1.290994 (arithmetic).
    EXPECT_NEAR(prepared.features[0].mean, 2.5, 1e-12);
    EXPECT_NEAR(prepared.features[0].sd, std::sqrt(5.0 / 3.0), 1e-12);
    EXPECT_NEAR(prepared.samples.at(0, 0), 2.0 * -1.5 / std::sqrt(5.0 / 3.0), 1e-12);
}

TEST(ZoningFeatures, LogarithmOnlyForSkewedRatioScales) {
    const GridFrame frame = frame_of(10, 10);
    const auto skewed = [](int r, int c) { return std::exp(0.05 * (10 * r + c)); };
    std::vector<Feature> features{
        layer("ec", frame, skewed), layer("elevation", frame, skewed),
        layer("nitrate", frame, [&](int r, int c) { return skewed(r, c) - 1.0; })};
    features[0].ratio_scale = true;
    features[2].ratio_scale = true;
    const PreparedFeatures prepared = prepare_features(features, full(frame));
    EXPECT_TRUE(prepared.features[0].logged);
    EXPECT_GT(prepared.features[0].skewness, 1.0);
    EXPECT_FALSE(prepared.features[1].logged);  // its zero is arbitrary
    EXPECT_FALSE(prepared.features[2].logged);  // holds a zero
    ASSERT_EQ(prepared.warnings.size(), 1U);
    EXPECT_NE(prepared.warnings[0].find("nitrate"), std::string::npos);
}

TEST(ZoningFeatures, ExclusionsAreNamed) {
    const GridFrame frame = frame_of(3, 3);
    std::vector<Feature> features{layer("constant", frame, [](int, int) { return 7.0; }),
                                  layer("empty", frame, [](int r, int) { return r; }),
                                  layer("good", frame, [](int r, int c) { return r + c; }),
                                  layer("judge", frame, [](int r, int) { return r; })};
    features[1].valid = Mask(frame, 0);
    features[3].weight = 0.0;
    const PreparedFeatures prepared = prepare_features(features, full(frame));
    EXPECT_EQ(prepared.columns, (std::vector<std::size_t>{2}));
    EXPECT_EQ(prepared.features[0].excluded_because, "it is the same everywhere in the field");
    EXPECT_EQ(prepared.features[1].excluded_because, "it has no value anywhere in the field");
    EXPECT_EQ(prepared.features[3].excluded_because, "its weight is 0");
    EXPECT_EQ(prepared.warnings.size(), 2U);
    EXPECT_EQ(prepared.dropped_cells, 0U);
}

TEST(ZoningFeatures, ConstantOnTheCompleteCells) {
    const GridFrame frame = frame_of(2, 3);
    // b varies only where a is missing: it is of no use, and a's cells are then all that is needed.
    std::vector<Feature> features{layer("a", frame, [](int, int c) { return c; }),
                                  layer("b", frame, [](int r, int) { return r == 0 ? 1.0 : 2.0; })};
    for (int c = 0; c < 3; ++c) features[0].valid.at(1, c) = 0;
    const PreparedFeatures prepared = prepare_features(features, full(frame));
    EXPECT_EQ(prepared.columns, (std::vector<std::size_t>{0}));
    EXPECT_EQ(prepared.cells.size(), 3U);
    EXPECT_FALSE(prepared.features[1].excluded_because.empty());
}

TEST(ZoningFeatures, BadInputThrows) {
    const GridFrame frame = frame_of(2, 2);
    const Feature good = layer("a", frame, [](int r, int c) { return r + c; });
    Feature nan = good;
    nan.values[1] = std::numeric_limits<float>::quiet_NaN();
    EXPECT_THROW(prepare_features(std::vector{nan}, full(frame)), Error);
    Feature negative = good;
    negative.weight = -1.0;
    EXPECT_THROW(prepare_features(std::vector{negative}, full(frame)), Error);
    EXPECT_THROW(prepare_features(std::vector{good, good}, full(frame)), Error);
    EXPECT_THROW(prepare_features(std::vector{good}, full(frame_of(3, 2))), Error);
    EXPECT_THROW(prepare_features(std::vector{good}, Mask(frame, 0)), Error);
    Feature left = good;
    Feature right = good;
    right.name = "b";
    left.valid.at(0, 0) = left.valid.at(0, 1) = 0;
    right.valid.at(1, 0) = right.valid.at(1, 1) = 0;
    EXPECT_THROW(prepare_features(std::vector{left, right}, full(frame)), Error);
}

TEST(ZoningSamples, CanonicalOrderAndSystematicSample) {
    Samples x(4, 2);
    x.values = {2, 1, 1, 2, 0, 5, 4, 0};  // (2,0) (1,5) (1,4) (2,0)
    EXPECT_EQ(canonical_order(x), (std::vector<std::uint32_t>{2, 1, 0, 3}));
    EXPECT_EQ(distinct_points(x, canonical_order(x), 10), 3U);
    EXPECT_EQ(distinct_points(x, canonical_order(x), 2), 2U);
    std::vector<std::uint32_t> order(1000);
    for (std::size_t i = 0; i < order.size(); ++i) order[i] = static_cast<std::uint32_t>(i);
    const auto sample = systematic_sample(order, 100, 3);
    ASSERT_EQ(sample.size(), 100U);
    for (std::size_t i = 1; i < sample.size(); ++i) EXPECT_EQ(sample[i] - sample[i - 1], 10U);
    EXPECT_EQ(systematic_sample(order, 2000, 3).size(), 1000U);
}

TEST(ZoningKMeans, BadInputThrows) {
    Samples x(5, 1);
    x.values = {1, 1, 2, 2, 2};
    EXPECT_THROW(kmeans(x, {.count = 3}), Error);
    EXPECT_THROW(kmeans(x, {.count = 0}), Error);
    EXPECT_THROW(kmeans(x, {.count = 255}), Error);
    EXPECT_THROW(fuzzy_c_means(x, {.count = 3}), Error);
    EXPECT_THROW(fuzzy_c_means(x, {.count = 2, .exponent = 1.0}), Error);
    EXPECT_EQ(kmeans(x, {.count = 2}).within_ss, 0.0);
    Samples dependent(4, 2);
    dependent.values = {1, 2, 3, 4, 2, 4, 6, 8};
    EXPECT_THROW(fuzzy_c_means(dependent, {.count = 2, .norm = Norm::mahalanobis}), Error);
    EXPECT_THROW(principal_components(x, 0.0), Error);
}

// The exchange step must never leave a result that one move of a point would better.
TEST(ZoningKMeans, NoSinglePointMoveLowersW) {
    for (std::uint64_t seed = 1; seed <= 20; ++seed) {
        SCOPED_TRACE("seed " + std::to_string(seed));
        Random random(seed);
        Samples x(60, 3);
        for (double& v : x.values) v = random.normal();
        const KMeansResult result = kmeans(x, {.count = 4, .starts = 3, .seed = seed});
        for (std::size_t i = 0; i < x.count; ++i) {
            for (std::uint8_t k = 0; k < 4; ++k) {
                auto moved = result.labels;
                moved[i] = k;
                EXPECT_GE(within_sum_of_squares(x, moved, 4), result.within_ss * (1.0 - 1e-8));
            }
        }
    }
}

TEST(ZoningPca, EigenReproducesTheMatrix) {
    for (std::uint64_t seed = 1; seed <= 50; ++seed) {
        SCOPED_TRACE("seed " + std::to_string(seed));
        Random random(seed);
        const std::size_t n = 1 + random.below(8);
        std::vector<double> m(n * n);
        for (std::size_t i = 0; i < n; ++i) {
            for (std::size_t j = i; j < n; ++j) m[i * n + j] = m[j * n + i] = random.normal();
        }
        const Eigen eigen = symmetric_eigen(m, n);
        for (std::size_t i = 0; i < n; ++i) {
            for (std::size_t j = 0; j < n; ++j) {
                double sum = 0.0;
                for (std::size_t k = 0; k < n; ++k) {
                    sum += eigen.values[k] * eigen.vectors[k][i] * eigen.vectors[k][j];
                }
                EXPECT_NEAR(sum, m[i * n + j], 1e-12);
            }
        }
        for (std::size_t k = 1; k < n; ++k) EXPECT_GE(eigen.values[k - 1], eigen.values[k]);
    }
}

}  // namespace
}  // namespace catchfield::zoning
