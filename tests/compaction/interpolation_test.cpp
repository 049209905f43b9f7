// SPDX-License-Identifier: MIT
// Properties of kriging and inverse distance, the choice between them, duplicates, threads.
#include "compaction/interpolation.hpp"

#include "base/error.hpp"
#include "base/random.hpp"
#include "compaction/nearest.hpp"

#include <gtest/gtest.h>
#include <tbb/global_control.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <numeric>

namespace catchfield::compaction {
namespace {

/// A smooth surface with noise at random places.
std::vector<Sample> field(std::size_t count, std::uint64_t seed) {
    Random random(seed);
    std::vector<Sample> samples;
    for (std::size_t i = 0; i < count; ++i) {
        const double x = random.uniform(0, 600), y = random.uniform(0, 400);
        samples.push_back(
            {x, y, 25 + 8 * std::sin(x / 90) + 5 * std::cos(y / 70) + random.normal()});
    }
    return samples;
}

bool any_mentions(const std::vector<std::string>& lines, const std::string& part) {
    return std::any_of(lines.begin(), lines.end(), [&](const std::string& line) {
        return line.find(part) != std::string::npos;
    });
}

TEST(Nearest, AsByTryingAll) {
    const std::uint64_t seed = 41;
    SCOPED_TRACE("seed " + std::to_string(seed));
    Random random(seed);
    for (const std::size_t count : {1U, 7U, 8U, 9U, 300U}) {
        std::vector<Point> points;  // on a coarse lattice: many ties
        for (std::size_t i = 0; i < count; ++i)
            points.push_back({double(random.below(12)), double(random.below(12))});
        const NearestPoints tree(points);
        for (int round = 0; round < 100; ++round) {
            const Point target{random.uniform(-2, 14), double(random.below(12))};
            std::vector<Neighbour> all;
            for (std::size_t i = 0; i < count; ++i) {
                const double dx = points[i].x - target.x, dy = points[i].y - target.y;
                all.push_back({dx * dx + dy * dy, static_cast<std::uint32_t>(i)});
            }
            std::sort(all.begin(), all.end());
            std::vector<Neighbour> found;
            tree.nearest(target, 5, found);
            ASSERT_EQ(found.size(), std::min<std::size_t>(5, count));
            for (std::size_t i = 0; i < found.size(); ++i) EXPECT_EQ(found[i].index, all[i].index);
        }
    }
}

TEST(Kriging, ExactAtTheDataAndWithoutVarianceThere) {
    const std::uint64_t seed = 7;
    SCOPED_TRACE("seed " + std::to_string(seed));
    const auto samples = field(80, seed);
    for (const double nugget : {0.0, 2.0}) {
        const Variogram model{VariogramModel::spherical, nugget, 30, 150};
        for (const std::size_t neighbours : {0U, 12U}) {
            const Interpolator map(
                samples, {.method = Method::kriging, .neighbours = neighbours, .variogram = model});
            for (const Sample& sample : samples) {
                const Prediction there = map.at(Point{sample.x, sample.y});
                EXPECT_DOUBLE_EQ(there.value, sample.value);
                EXPECT_DOUBLE_EQ(there.variance, 0.0);
            }
        }
    }
    // By the equations themselves, a little beside the data and no nugget.
    const Variogram model{VariogramModel::spherical, 0, 30, 150};
    const Point beside{samples[3].x + 1e-6, samples[3].y};
    EXPECT_NEAR(kriging_weights(samples, model, beside).value, samples[3].value, 1e-5);
    EXPECT_NEAR(kriging_weights(samples, model, beside).variance, 0.0, 1e-5);
}

TEST(Kriging, WeightsAddToOneAndSolveTheSystem) {
    const std::uint64_t seed = 99;
    SCOPED_TRACE("seed " + std::to_string(seed));
    Random random(seed);
    for (int round = 0; round < 60; ++round) {
        const auto samples = field(5 + random.below(25), seed + static_cast<std::uint64_t>(round));
        const Variogram model{round % 2 ? VariogramModel::spherical : VariogramModel::exponential,
                              random.uniform(0, 3), random.uniform(1, 40), random.uniform(30, 300)};
        const Point target{random.uniform(-100, 700), random.uniform(-100, 500)};
        const KrigingWeights at = kriging_weights(samples, model, target);
        EXPECT_NEAR(std::accumulate(at.weights.begin(), at.weights.end(), 0.0), 1.0, 1e-9);
        double value = 0;
        for (std::size_t i = 0; i < samples.size(); ++i) value += at.weights[i] * samples[i].value;
        EXPECT_NEAR(value, at.value, 1e-8);
        // Gamma w + mu 1 = gamma0 for one mu, and the variance that the textbook gives.
        const auto distance = [](double x1, double y1, double x2, double y2) {
            return std::hypot(x1 - x2, y1 - y2);
        };
        double first_mu = 0, variance = 0;
        for (std::size_t i = 0; i < samples.size(); ++i) {
            const double gamma0 =
                model.gamma(distance(samples[i].x, samples[i].y, target.x, target.y));
            double sum = 0;
            for (std::size_t j = 0; j < samples.size(); ++j)
                sum += at.weights[j] * model.gamma(distance(samples[i].x, samples[i].y,
                                                            samples[j].x, samples[j].y));
            const double mu = gamma0 - sum;
            if (i == 0) first_mu = mu;
            EXPECT_NEAR(mu, first_mu, 1e-8);
            variance += at.weights[i] * gamma0;
        }
        EXPECT_NEAR(variance + first_mu, at.variance, 1e-8);
        EXPECT_GE(at.variance, 0.0);
    }
}

TEST(Kriging, ShiftAndScaleOfValues) {
    auto samples = field(60, 5);
    const Variogram model{VariogramModel::spherical, 1, 30, 150};
    const InterpolationOptions options{
        .method = Method::kriging, .neighbours = 12, .variogram = model};
    const Prediction before = Interpolator(samples, options).at(Point{200, 200});
    for (Sample& sample : samples) sample.value = 10 + 3 * sample.value;
    const Prediction after = Interpolator(samples, options).at(Point{200, 200});
    EXPECT_NEAR(after.value, 10 + 3 * before.value, 1e-9);
    EXPECT_NEAR(after.variance, before.variance, 1e-9);  // of places and variogram only
}

TEST(Kriging, LeaveOneOutEitherWay) {
    const auto samples = field(60, 12);
    const Variogram model{VariogramModel::exponential, 1, 30, 60};
    const auto all =
        Interpolator(
            samples,
            {.method = Method::kriging, .neighbours = 0, .variogram = model, .clip_to_data = false})
            .leave_one_out();
    const auto each = Interpolator(samples, {.method = Method::kriging,
                                             .neighbours = 59,
                                             .variogram = model,
                                             .clip_to_data = false})
                          .leave_one_out();
    EXPECT_NEAR(all.rmse, each.rmse, 1e-9);
    EXPECT_NEAR(*all.standardised, *each.standardised, 1e-9);
    EXPECT_NEAR(all.correlation, each.correlation, 1e-9);
    // By hand for one sample.
    auto others = samples;
    others.erase(others.begin());
    const double error =
        samples[0].value - kriging_weights(others, model, {samples[0].x, samples[0].y}).value;
    EXPECT_LT(std::abs(error), 20);
    EXPECT_GT(all.correlation, 0.8);
}

TEST(Variogram, FitFindsAModelThatMadeTheClasses) {
    for (const VariogramModel model : {VariogramModel::spherical, VariogramModel::exponential}) {
        const Variogram truth{model, 2.0, 9.0, 120.0};
        std::vector<VariogramBin> bins;
        for (int i = 1; i <= 15; ++i) bins.push_back({100, i * 25.0, truth.gamma(i * 25.0)});
        const VariogramFit fit = fit_variogram(bins);
        EXPECT_EQ(fit.variogram.model, model);
        EXPECT_NEAR(fit.variogram.nugget, 2.0, 1e-4);
        EXPECT_NEAR(fit.variogram.partial_sill, 9.0, 1e-4);
        EXPECT_NEAR(fit.variogram.range_m, 120.0, 1e-3);
        EXPECT_FALSE(fit.range_at_limit);
    }
    std::vector<VariogramBin> rising, flat;
    for (int i = 1; i <= 15; ++i) {
        rising.push_back({100, i * 25.0, i * 1.0});
        flat.push_back({100, i * 25.0, 4.0});
    }
    EXPECT_TRUE(fit_variogram(rising, VariogramModel::spherical).range_at_limit);
    EXPECT_NEAR(fit_variogram(flat).variogram.sill(), 4.0, 1e-9);
    EXPECT_THROW(fit_variogram({{10, 5, 1}}), Error);
}

TEST(Choice, IsMadeByCountAndSaid) {
    const Interpolator few(field(20, 1));
    EXPECT_EQ(few.method(), Method::inverse_distance);
    EXPECT_NE(few.choice().find("20 places, fewer than the 50"), std::string::npos) << few.choice();
    EXPECT_FALSE(few.fit());
    const Interpolator many(field(120, 1));
    EXPECT_EQ(many.method(), Method::kriging);
    EXPECT_NE(many.choice().find("the 16 nearest samples"), std::string::npos) << many.choice();
    EXPECT_TRUE(many.fit());
    const Interpolator asked(field(20, 1), {.method = Method::kriging});
    EXPECT_EQ(asked.method(), Method::kriging);
    EXPECT_TRUE(any_mentions(asked.warnings(), "not trustworthy"));
    auto same = field(80, 1);
    for (Sample& sample : same) sample.value = 3;
    const Interpolator flat(same);
    EXPECT_EQ(flat.method(), Method::inverse_distance);
    EXPECT_DOUBLE_EQ(flat.at(Point{10, 10}).value, 3);
    EXPECT_NE(flat.choice().find("same value"), std::string::npos);
}

TEST(Choice, DuplicatesAreAveragedWithAMessage) {
    auto samples = field(60, 3);
    const Sample first = samples[0];
    samples.push_back({first.x, first.y, first.value + 2});
    samples.push_back({first.x + 0.001, first.y, first.value + 4});
    const Interpolator map(samples, {.method = Method::kriging});
    EXPECT_EQ(map.samples().size(), 60u);
    EXPECT_TRUE(any_mentions(map.warnings(), "2 samples lie at the place of another"));
    EXPECT_NEAR(map.at(Point{first.x, first.y}).value, first.value + 2, 1e-9);
    // Without joining, the system has no single answer, and says so.
    const Variogram model{VariogramModel::spherical, 0, 30, 150};
    EXPECT_THROW(kriging_weights({first, first, samples[5]}, model, {1, 1}), Error);
}

TEST(Choice, BadInput) {
    EXPECT_THROW(Interpolator({}), Error);
    EXPECT_THROW(Interpolator({{0, 0, std::nan("")}}), Error);
    EXPECT_THROW(Interpolator(field(20, 1), {.power = 0}), Error);
    EXPECT_THROW(
        Interpolator(field(60, 1), {.variogram = Variogram{VariogramModel::spherical, 0, 0, 10}}),
        Error);
    EXPECT_THROW(Interpolator(field(1200, 1), {.neighbours = 0}), Error);
    EXPECT_DOUBLE_EQ(Interpolator({{5, 5, 42}}).at(Point{0, 0}).value, 42);
}

TEST(Grid, StaysWithinTheDataAndTheMask) {
    const auto samples = field(100, 77);
    const Interpolator map(samples);
    const GridFrame frame{.west = -50, .north = 450, .cell = 10, .cols = 70, .rows = 50};
    Mask mask(frame, 1);
    for (int col = 0; col < 70; ++col) mask.at(0, col) = 0;
    const InterpolatedGrid grid = map.grid(frame, &mask);
    double lowest = std::numeric_limits<double>::infinity(), highest = -lowest;
    for (const Sample& sample : samples) {
        lowest = std::min(lowest, sample.value);
        highest = std::max(highest, sample.value);
    }
    for (int row = 1; row < 50; ++row)
        for (int col = 0; col < 70; ++col) {
            EXPECT_GE(double(grid.values.at(row, col)), lowest - 1e-4);
            EXPECT_LE(double(grid.values.at(row, col)), highest + 1e-4);
            EXPECT_GT(grid.variance.at(row, col), 0.0F);
        }
    EXPECT_FLOAT_EQ(grid.values.at(0, 5), 0.0F);
    // A cell equals its centre taken alone.
    EXPECT_FLOAT_EQ(
        grid.values.at(20, 30),
        static_cast<float>(map.at(Point{frame.x_centre(30), frame.y_centre(20)}).value));
}

TEST(Grid, SameBytesForAnyThreads) {
    const auto samples = field(400, 8);
    const GridFrame frame{.west = 0, .north = 400, .cell = 4, .cols = 150, .rows = 100};
    for (const InterpolationOptions& options :
         {InterpolationOptions{}, InterpolationOptions{.method = Method::inverse_distance},
          InterpolationOptions{.method = Method::kriging, .neighbours = 0}}) {
        const Interpolator map(samples, options);
        InterpolatedGrid one, many;
        {
            const tbb::global_control limit(tbb::global_control::max_allowed_parallelism, 1);
            one = map.grid(frame);
        }
        {
            const tbb::global_control limit(tbb::global_control::max_allowed_parallelism, 4);
            many = map.grid(frame);
        }
        EXPECT_EQ(one.values.values, many.values.values);
        EXPECT_EQ(one.variance.values, many.variance.values);
    }
}

}  // namespace
}  // namespace catchfield::compaction
