// SPDX-License-Identifier: MIT
// Check values Z1 to Z21: clustering and validity against R 4.2.2 and hand arithmetic.
#include "base/table.hpp"
#include "zoning/cleanup.hpp"
#include "zoning/fuzzy.hpp"
#include "zoning/kmeans.hpp"
#include "zoning/pca.hpp"
#include "zoning/validity.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <fstream>
#include <iterator>
#include <numeric>
#include <span>
#include <string>

namespace catchfield::zoning {
namespace {

// Fisher 1936, Ann. Eugenics 7:179-188 (public domain).
Samples iris() {
    std::ifstream file(CATCHFIELD_SOURCE_DIR "/tests/zoning/data/iris.csv");
    const std::string text{std::istreambuf_iterator<char>(file), {}};
    const Table table = Table::parse(text, "iris.csv");
    Samples samples(table.rows(), 4);
    for (std::size_t i = 0; i < table.rows(); ++i) {
        for (std::size_t d = 0; d < 4; ++d) {
            samples.at(i, d) = table.required_number(i, table.columns()[d]);
        }
    }
    return samples;
}

// z = (x - mean) / sd with n - 1, which is R's scale().
Samples z_scores(const Samples& samples) {
    Samples z = transform_for_norm(samples, Norm::diagonal);
    for (std::size_t d = 0; d < z.dims; ++d) {
        double* x = z.column(d);
        const double mean = std::accumulate(x, x + z.count, 0.0) / static_cast<double>(z.count);
        for (std::size_t i = 0; i < z.count; ++i) x[i] -= mean;
    }
    return z;
}

KMeansResult best_of(const Samples& samples, int count, int starts = 50) {
    return kmeans(samples, {.count = count, .starts = starts, .seed = 42});
}

// R 4.2.2 kmeans, best of many starts; 78.85 for k = 3 is widely printed. Sizes and centres
// likewise.
TEST(ZoningChecks, Z1Z2Z3IrisKMeans) {
    const Samples x = iris();
    ASSERT_EQ(x.count, 150U);
    EXPECT_NEAR(total_sum_of_squares(x), 681.3706, 1e-3);
    const double expected[] = {152.3480, 78.8514, 57.2285, 46.4462};
    for (int k = 2; k <= 5; ++k) {
        const KMeansResult result = kmeans(x, {.count = k, .starts = 20, .seed = 42});
        EXPECT_NEAR(result.within_ss, expected[k - 2], 1e-3) << "k " << k;
        EXPECT_NEAR(within_sum_of_squares(x, result.labels, k), result.within_ss, 1e-9);
    }
    KMeansResult three = best_of(x, 3);
    std::sort(three.sizes.begin(), three.sizes.end());
    EXPECT_EQ(three.sizes, (std::vector<std::size_t>{38, 50, 62}));
    std::vector<double> petal_length;
    for (std::size_t k = 0; k < 3; ++k) petal_length.push_back(three.centres[k * 4 + 2]);
    std::sort(petal_length.begin(), petal_length.end());
    EXPECT_NEAR(petal_length[0], 1.462, 1e-4);
    EXPECT_NEAR(petal_length[1], 4.39355, 1e-4);
    EXPECT_NEAR(petal_length[2], 5.74211, 1e-4);
}

// R packages cluster (silhouette) and fpc (calinhara).
TEST(ZoningChecks, Z4Z5IrisIndices) {
    const Samples x = iris();
    const double total = total_sum_of_squares(x);
    const double silhouette[] = {0.6810, 0.5528, 0.4981};
    const double ch[] = {513.92, 561.63, 530.77, 495.54};
    for (int k = 2; k <= 5; ++k) {
        const KMeansResult result = best_of(x, k);
        EXPECT_NEAR(calinski_harabasz(total, result.within_ss, x.count, k), ch[k - 2], 0.05);
        if (k == 5) continue;
        EXPECT_NEAR(mean_silhouette(x, result.labels, k), silhouette[k - 2], 1e-3);
    }
}

// R kmeans and cluster on scale(iris[,1:4]).
TEST(ZoningChecks, Z6IrisStandardised) {
    const Samples z = z_scores(iris());
    const double within[] = {220.879, 138.888, 113.332};
    const double silhouette[] = {0.5818, 0.4599, 0.3839};
    for (int k = 2; k <= 4; ++k) {
        const KMeansResult result = best_of(z, k);
        EXPECT_NEAR(result.within_ss, within[k - 2], 1e-3) << "k " << k;
        EXPECT_NEAR(mean_silhouette(z, result.labels, k), silhouette[k - 2], 1e-3) << "k " << k;
    }
}

// R prcomp(scale. = TRUE).
TEST(ZoningChecks, Z7IrisPrincipalComponents) {
    const PrincipalComponents pc = principal_components(z_scores(iris()), 0.9);
    const double eigenvalues[] = {2.91850, 0.91403, 0.14676, 0.02071};
    const double shares[] = {0.7296, 0.2285, 0.0367, 0.0052};
    for (std::size_t k = 0; k < 4; ++k) {
        EXPECT_NEAR(pc.eigenvalues[k], eigenvalues[k], 1e-4);
        EXPECT_NEAR(pc.shares[k], shares[k], 1e-4);
        // The sign rule, and unit length.
        const auto& v = pc.loadings[k];
        const auto largest = std::max_element(
            v.begin(), v.end(), [](double a, double b) { return std::abs(a) < std::abs(b); });
        EXPECT_GT(*largest, 0.0);
        EXPECT_NEAR(std::inner_product(v.begin(), v.end(), v.begin(), 0.0), 1.0, 1e-12);
    }
    EXPECT_EQ(pc.kept, 2U);  // 72.96 + 22.85 > 90 %
    // The variance of a component's scores is its eigenvalue.
    const std::vector<double> c = covariance(pc.scores);
    EXPECT_NEAR(c[0], pc.eigenvalues[0], 1e-10);
    EXPECT_NEAR(c[3], pc.eigenvalues[1], 1e-10);
    EXPECT_NEAR(c[1], 0.0, 1e-10);
}

FuzzyResult fuzzy(const Samples& x, int count, double exponent, Norm norm = Norm::euclidean) {
    return fuzzy_c_means(x, {.count = count,
                             .exponent = exponent,
                             .norm = norm,
                             .starts = 10,
                             .seed = 42,
                             .max_iterations = 5000,
                             .tolerance = 1e-10});
}

// Two independent implementations (R and numpy); R e1071 agrees on J at c = 3 (60.50571).
TEST(ZoningChecks, Z8Z11IrisFuzzy) {
    const Samples x = iris();
    const double objective[] = {128.895, 60.506, 41.614, 32.733};
    const double fpi[] = {0.21557, 0.32490, 0.39095, 0.41780};
    const double entropy_log[] = {0.28240, 0.35999, 0.40477, 0.41949};
    const double entropy_degrees[] = {0.19839, 0.40356, 0.57650, 0.69842};
    for (int c = 2; c <= 5; ++c) {
        const FuzzyResult result = fuzzy(x, c, 2.0);
        EXPECT_TRUE(result.converged);
        EXPECT_NEAR(result.objective, objective[c - 2], 1e-3) << "c " << c;
        EXPECT_NEAR(fuzziness_performance(result.memberships, c), fpi[c - 2], 1e-3);
        EXPECT_NEAR(entropy_over_log_count(result.memberships, c), entropy_log[c - 2], 1e-3);
        EXPECT_NEAR(entropy_over_degrees(result.memberships, c), entropy_degrees[c - 2], 1e-3);
    }
    const FuzzyResult three = fuzzy(x, 3, 2.0);
    std::vector<double> petal_length;
    for (std::size_t k = 0; k < 3; ++k) petal_length.push_back(three.centres[k * 4 + 2]);
    std::sort(petal_length.begin(), petal_length.end());
    EXPECT_NEAR(petal_length[0], 1.4828, 1e-3);
    EXPECT_NEAR(petal_length[1], 4.3640, 1e-3);
    EXPECT_NEAR(petal_length[2], 5.6468, 1e-3);
}

TEST(ZoningChecks, Z9IrisFuzzyNorms) {
    const Samples x = iris();
    const double diagonal[] = {0.3322, 0.4402, 0.5133};
    const double mahalanobis[] = {0.8800, 0.8139, 0.7899};
    for (int c = 2; c <= 4; ++c) {
        const FuzzyResult d = fuzzy(x, c, 2.0, Norm::diagonal);
        EXPECT_NEAR(fuzziness_performance(d.memberships, c), diagonal[c - 2], 2e-3) << "c " << c;
        const FuzzyResult m = fuzzy(x, c, 2.0, Norm::mahalanobis);
        EXPECT_NEAR(fuzziness_performance(m.memberships, c), mahalanobis[c - 2], 2e-3) << "c " << c;
    }
}

TEST(ZoningChecks, Z10IrisFuzzyExponentNearOne) {
    const Samples x = iris();
    const double objective[] = {149.975, 77.371, 56.115};
    const double fpi[] = {0.03211, 0.05720, 0.07516};
    for (int c = 2; c <= 4; ++c) {
        const FuzzyResult result = fuzzy(x, c, 1.3);
        EXPECT_NEAR(result.objective, objective[c - 2], 1e-3) << "c " << c;
        EXPECT_NEAR(fuzziness_performance(result.memberships, c), fpi[c - 2], 1e-3) << "c " << c;
    }
    // Very near 1 it must become k-means, not NaN.
    const FuzzyResult crisp = fuzzy(x, 3, 1.001);
    EXPECT_NEAR(crisp.objective, 78.8514, 0.2);
    for (const double u : crisp.memberships) {
        EXPECT_TRUE(std::isfinite(u));
        EXPECT_GE(u, 0.0);
    }
}

// Arithmetic from the formulas.
TEST(ZoningChecks, Z12Z13Indices) {
    const double two[] = {.9, .1, .2, .8, .6, .4, .5, .5};
    EXPECT_NEAR(fuzziness_performance(two, 2), 0.7400, 1e-5);
    EXPECT_NEAR(entropy_over_log_count(two, 2), 0.79047, 1e-5);
    EXPECT_NEAR(entropy_over_degrees(two, 2), 1.09582, 1e-5);
    const double third = 1.0 / 3.0;
    const double three[] = {.7, .2, .1, .1, .8, .1, .05, .15, .8, .4, .4, .2, third, third, third};
    EXPECT_NEAR(fuzziness_performance(three, 3), 0.7325, 1e-5);
    EXPECT_NEAR(entropy_over_log_count(three, 3), 0.76592, 1e-5);
    EXPECT_NEAR(entropy_over_degrees(three, 3), 2.10363, 1e-5);
}

TEST(ZoningChecks, Z14Memberships) {
    const double d2[] = {1.0, 4.0, 9.0};
    const struct {
        double exponent;
        double u[3];
    } rows[] = {{2.0, {.734694, .183673, .081633}},
                {1.5, {.930366, .058148, .011486}},
                {1.3, {.989607, .009741, .000653}}};
    for (const auto& row : rows) {
        double u[3];
        memberships_from_distances(d2, row.exponent, u);
        for (int k = 0; k < 3; ++k) EXPECT_NEAR(u[k], row.u[k], 1e-5) << row.exponent;
    }
    // On a centre, on two centres, and distances whose powers leave the range of a double.
    double u[3];
    memberships_from_distances(std::vector<double>{0.0, 4.0, 9.0}, 1.3, u);
    EXPECT_EQ(u[0], 1.0);
    EXPECT_EQ(u[1], 0.0);
    memberships_from_distances(std::vector<double>{0.0, 0.0, 9.0}, 2.0, u);
    EXPECT_EQ(u[0], 0.5);
    EXPECT_EQ(u[2], 0.0);
    memberships_from_distances(std::vector<double>{1e-200, 2e-200, 1e200}, 1.01, u);
    EXPECT_NEAR(u[0] + u[1] + u[2], 1.0, 1e-12);
    EXPECT_NEAR(u[0], 1.0, 1e-12);
}

TEST(ZoningChecks, Z15RelativeVariance) {
    const std::vector<double> values{10, 12, 14, 20, 22, 30, 32, 34};
    const std::vector<std::uint8_t> zones{0, 0, 0, 1, 1, 2, 2, 2};
    Samples x(8, 1);
    x.values = values;
    const double within = within_sum_of_squares(x, zones, 3);
    const double total = total_sum_of_squares(x);
    EXPECT_NEAR(within, 18.0, 1e-4);
    EXPECT_NEAR(total, 619.5, 1e-4);
    EXPECT_NEAR(relative_variance(values, zones, 3), 0.97094, 1e-4);
    EXPECT_NEAR(relative_variance(total, within), 0.97094, 1e-4);
    EXPECT_NEAR(pooled_relative_variance(total, within, 8, 3), 0.95932, 1e-4);
    EXPECT_NEAR(calinski_harabasz(total, within, 8, 3), 83.5417, 1e-4);
    EXPECT_NEAR(mean_silhouette(x, zones, 3), 0.73507, 1e-4);
}

// The heights come from R at test time: that data set is not ours to copy.
std::vector<double> volcano_heights() {
    std::vector<double> heights;
    FILE* pipe = popen("Rscript --vanilla -e 'cat(volcano, sep=\"\\n\")' 2>/dev/null", "r");
    if (pipe == nullptr) return heights;
    double value = 0.0;
    while (std::fscanf(pipe, "%lf", &value) == 1) heights.push_back(value);
    pclose(pipe);
    return heights;
}

// Global optima by dynamic programming in one dimension (stored figures), R for k = 3.
TEST(ZoningChecks, Z16Z17VolcanoHeights) {
    const std::vector<double> heights = volcano_heights();
    if (heights.size() != 5307) GTEST_SKIP() << "needs R (Rscript) for its 'volcano' data set";
    Samples x(heights.size(), 1);
    x.values = heights;
    const double total = total_sum_of_squares(x);
    const double optimum[] = {878555.41, 401536.54, 229570.06, 155633.17};
    const double rv[] = {0.75187, 0.88660, 0.93516, 0.95605};
    for (int k = 2; k <= 5; ++k) {
        const KMeansResult result = kmeans(x, {.count = k, .starts = 100, .seed = 42});
        EXPECT_GE(result.within_ss, optimum[k - 2] - 0.01) << "k " << k;
        EXPECT_LE(result.within_ss, optimum[k - 2] * 1.003) << "k " << k;
        EXPECT_NEAR(relative_variance(total, result.within_ss), rv[k - 2], 2e-4) << "k " << k;
    }
    const KMeansResult three = best_of(x, 3);
    EXPECT_NEAR(three.centres[0], 108.2725, 1e-3);
    EXPECT_NEAR(three.centres[1], 138.7185, 1e-3);
    EXPECT_NEAR(three.centres[2], 170.5124, 1e-3);
    EXPECT_EQ(three.sizes, (std::vector<std::size_t>{2620, 1602, 1085}));
}

// Four points with covariance exactly [[4, 2], [2, 3]] (n - 1), and the difference (2, 1).
TEST(ZoningChecks, Z18Distances) {
    // Columns of sqrt(3/2) L with L L' = [[4,2],[2,3]]: points +-a, +-b have sum 2(aa' + bb') = 3
    // C.
    const double s = std::sqrt(1.5);
    const double a[] = {2.0 * s, 1.0 * s};
    const double b[] = {0.0, std::sqrt(2.0) * s};
    Samples x(6, 2);
    for (std::size_t d = 0; d < 2; ++d) {
        x.at(0, d) = a[d];
        x.at(1, d) = -a[d];
        x.at(2, d) = b[d];
        x.at(3, d) = -b[d];
    }
    // Two more points at the mean keep n - 1 = 5: scale the others up to match.
    for (double& v : x.values) v *= std::sqrt(5.0 / 3.0);
    const std::vector<double> c = covariance(x);
    EXPECT_NEAR(c[0], 4.0, 1e-12);
    EXPECT_NEAR(c[1], 2.0, 1e-12);
    EXPECT_NEAR(c[3], 3.0, 1e-12);
    const auto squared_length = [&](Norm norm) {
        // The transform is linear: write the difference as p x_0 + q x_2 and carry it over.
        const Samples y = transform_for_norm(x, norm);
        const double det = x.at(0, 0) * x.at(2, 1) - x.at(0, 1) * x.at(2, 0);
        const double p = (2.0 * x.at(2, 1) - 1.0 * x.at(2, 0)) / det;
        const double q = (x.at(0, 0) * 1.0 - x.at(0, 1) * 2.0) / det;
        double sum = 0.0;
        for (std::size_t d = 0; d < 2; ++d) {
            const double v = p * y.at(0, d) + q * y.at(2, d);
            sum += v * v;
        }
        return sum;
    };
    EXPECT_NEAR(squared_length(Norm::euclidean), 5.0, 1e-6);
    EXPECT_NEAR(squared_length(Norm::diagonal), 4.0 / 3.0, 1e-6);
    EXPECT_NEAR(squared_length(Norm::mahalanobis), 1.0, 1e-6);
}

TEST(ZoningChecks, Z19Z20Extremes) {
    for (int c = 2; c <= 6; ++c) {
        const std::vector<double> uniform(static_cast<std::size_t>(c) * 7, 1.0 / c);
        EXPECT_NEAR(fuzziness_performance(uniform, c), 1.0, 1e-12);
        EXPECT_NEAR(entropy_over_log_count(uniform, c), 1.0, 1e-12);
        std::vector<double> crisp(static_cast<std::size_t>(c) * 7, 0.0);
        for (std::size_t i = 0; i < 7; ++i) {
            crisp[i * static_cast<std::size_t>(c) + i % static_cast<std::size_t>(c)] = 1.0;
        }
        EXPECT_NEAR(fuzziness_performance(crisp, c), 0.0, 1e-12);
        EXPECT_NEAR(partition_entropy(crisp, c), 0.0, 1e-12);
    }
}

// Worked by hand; the rule on ties is an assumption.
TEST(ZoningChecks, Z21MajorityPass) {
    const auto grid = [](const char* digits) {
        Labels labels(GridFrame{0, 0, 1, 5, 5});
        for (std::size_t i = 0; i < 25; ++i) labels[i] = static_cast<std::int16_t>(digits[i] - '0');
        return labels;
    };
    const Labels before = grid("1112212122111213312233322");
    const Labels after = grid("1112211122111223312233322");
    EXPECT_EQ(majority_pass(before).values, after.values);
}

}  // namespace
}  // namespace catchfield::zoning
