// SPDX-License-Identifier: MIT
// Curves, fits and optima worked out a second time, and every limit from both sides.
#include "base/error.hpp"
#include "base/random.hpp"
#include "nitrogen/response.hpp"
#include "support/messages.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <functional>
#include <limits>
#include <numbers>

namespace catchfield::nitrogen {
namespace {

using tests::mentions;
using tests::message_of;

constexpr double infinity = std::numeric_limits<double>::infinity();

TEST(CurveLimits, YieldAndSlopeOnBothSidesOfTheJoin) {
    const Curve flat{CurveForm::flat, 5000, 3, -1, 10};
    EXPECT_EQ(flat.yield_kg_ha(100), 5000);
    EXPECT_EQ(flat.slope(100), 0);
    const Curve line = Curve::linear_plateau(4000, 20, 150);
    EXPECT_EQ(line.yield_kg_ha(100), 6000);
    EXPECT_EQ(line.yield_kg_ha(200), 7000);
    EXPECT_EQ(line.slope(150), 20);  // from the left
    EXPECT_EQ(line.slope(150.1), 0);
    const Curve quadratic{CurveForm::quadratic, 4000, 40, -0.1, 0};
    EXPECT_NEAR(quadratic.yield_kg_ha(250), 4000 + 10000 - 6250, 1e-9);
    EXPECT_NEAR(quadratic.slope(250), -10, 1e-9);
    const Curve plateau = Curve::quadratic_plateau(4000, 40, -0.1);
    EXPECT_NEAR(plateau.join, 200, 1e-9);
    EXPECT_NEAR(plateau.yield_kg_ha(100), 7000, 1e-9);
    EXPECT_NEAR(plateau.yield_kg_ha(500), 8000, 1e-9);
    EXPECT_NEAR(plateau.slope(50), 30, 1e-9);
    EXPECT_EQ(plateau.slope(200.1), 0);
    const char* names[] = {"flat", "linear-plateau", "quadratic", "quadratic-plateau"};
    for (int i = 0; i < 4; ++i) EXPECT_EQ(curve_form_name(static_cast<CurveForm>(i)), names[i]);
}

TEST(CurveLimits, OptimaByHand) {
    EXPECT_EQ(optimum_kg_ha({CurveForm::flat, 1, 9, 0, 0}, 5), 0);
    EXPECT_EQ(optimum_kg_ha(Curve::linear_plateau(1, 5.1, 90), 5), 90);
    EXPECT_EQ(optimum_kg_ha(Curve::linear_plateau(1, 5.0, 90), 5), 0);
    EXPECT_NEAR(optimum_kg_ha({CurveForm::quadratic, 1, 40, -0.1, 0}, 10), 150, 1e-9);
    EXPECT_EQ(optimum_kg_ha({CurveForm::quadratic, 1, 5, -0.1, 0}, 5), 0);
    EXPECT_EQ(optimum_kg_ha({CurveForm::quadratic, 1, 4, -0.1, 0}, 5), 0);
    EXPECT_NEAR(optimum_kg_ha(Curve::quadratic_plateau(1, 40, -0.1), 10), 150, 1e-9);
    EXPECT_EQ(optimum_kg_ha(Curve::quadratic_plateau(1, 4, -0.1), 10), 0);
}

TEST(CurveLimits, Prices) {
    EXPECT_NEAR(price_ratio({0.5, 0.25}), 2, 1e-12);
    for (const double wrong : {0.0, -1.0, infinity}) {
        EXPECT_TRUE(mentions(message_of([&] { price_ratio({wrong, 1}); }), "nitrogen"));
        EXPECT_TRUE(mentions(message_of([&] { price_ratio({1, wrong}); }), "crop"));
    }
}

// Two-sided quantiles as in any table of Student's t.
TEST(StudentTLimits, TableAndRange) {
    const std::vector<std::tuple<double, int, double>> table = {
        {0.5, 1, 1.0},       {0.9, 1, 6.3138},   {0.95, 1, 12.7062},  {0.99, 1, 63.6567},
        {0.999, 1, 636.619}, {0.5, 2, 0.8165},   {0.95, 2, 4.3027},   {0.999, 2, 31.599},
        {0.95, 3, 3.1824},   {0.95, 4, 2.7764},  {0.5, 5, 0.7267},    {0.95, 5, 2.5706},
        {0.99, 10, 3.1693},  {0.95, 30, 2.0423}, {0.95, 120, 1.9799}, {0.999, 120, 3.3735},
        {0.95, 1000, 1.9623}};
    for (const auto& [level, df, t] : table)
        EXPECT_NEAR(student_t(level, df), t, 6e-5 * std::max(1.0, t)) << level << " " << df;
    // Closed forms for one and two degrees of freedom.
    for (const double level : {0.001, 0.01, 0.3, 0.5, 0.7, 0.9, 0.999}) {
        const double one = std::tan(std::numbers::pi * level / 2);
        EXPECT_NEAR(student_t(level, 1), one, 1e-9 * one);
        const double two = level * std::sqrt(2 / (1 - level * level));
        EXPECT_NEAR(student_t(level, 2), two, 1e-9 * two);
    }
    EXPECT_THROW(student_t(0.9, 0), Error);
    EXPECT_THROW(student_t(0.0, 5), Error);
    EXPECT_THROW(student_t(1.0, 5), Error);
}

std::vector<TrialPlot> trial_of(const Curve& curve, const std::vector<double>& rates, int reps,
                                double noise, std::uint64_t seed, int blocks = 1) {
    Random random(seed);
    std::vector<TrialPlot> plots;
    for (int r = 0; r < reps; ++r) {
        for (const double n : rates) {
            plots.push_back({n,
                             curve.yield_kg_ha(n) + 300.0 * (r % blocks) + noise * random.normal(),
                             10 + 7 * (r % blocks)});
        }
    }
    return plots;
}

/// Least squares with a column for each block, by the normal equations and elimination.
struct Ols {
    std::vector<double> coefficients;
    std::vector<std::vector<double>> inverse;
    double rss = 0;
};

Ols least_squares(const std::vector<std::vector<double>>& rows, const std::vector<double>& y) {
    const std::size_t p = rows.front().size();
    std::vector<std::vector<long double>> m(p, std::vector<long double>(2 * p + 1, 0.0L));
    for (std::size_t i = 0; i < rows.size(); ++i) {
        for (std::size_t a = 0; a < p; ++a) {
            for (std::size_t b = 0; b < p; ++b)
                m[a][b] +=
                    static_cast<long double>(rows[i][a]) * static_cast<long double>(rows[i][b]);
            m[a][2 * p] += static_cast<long double>(rows[i][a]) * static_cast<long double>(y[i]);
        }
    }
    for (std::size_t a = 0; a < p; ++a) m[a][p + a] = 1.0L;
    for (std::size_t a = 0; a < p; ++a) {
        const long double pivot = m[a][a];
        for (long double& v : m[a]) v /= pivot;
        for (std::size_t b = 0; b < p; ++b) {
            if (b == a) continue;
            const long double factor = m[b][a];
            for (std::size_t c = 0; c <= 2 * p; ++c) m[b][c] -= factor * m[a][c];
        }
    }
    Ols result;
    result.inverse.assign(p, std::vector<double>(p));
    for (std::size_t a = 0; a < p; ++a) {
        result.coefficients.push_back(static_cast<double>(m[a][2 * p]));
        for (std::size_t b = 0; b < p; ++b) result.inverse[a][b] = static_cast<double>(m[a][p + b]);
    }
    for (std::size_t i = 0; i < rows.size(); ++i) {
        double fitted = 0;
        for (std::size_t a = 0; a < p; ++a) fitted += rows[i][a] * result.coefficients[a];
        result.rss += (y[i] - fitted) * (y[i] - fitted);
    }
    return result;
}

/// Columns: one for each of the blocks, then those of `shape`.
Ols with_blocks(const std::vector<TrialPlot>& plots, int blocks,
                const std::function<std::vector<double>(double)>& shape) {
    std::vector<std::vector<double>> rows;
    std::vector<double> y;
    for (const TrialPlot& plot : plots) {
        std::vector<double> row(static_cast<std::size_t>(blocks), 0.0);
        row[static_cast<std::size_t>((plot.block - 10) / 7)] = 1.0;
        for (const double v : shape(plot.n_kg_ha)) row.push_back(v / 100);
        rows.push_back(row);
        y.push_back(plot.yield_kg_ha);
    }
    return least_squares(rows, y);
}

void check_summary(const Fit& fit, const std::vector<TrialPlot>& plots, double rss,
                   int parameters) {
    const double n = static_cast<double>(plots.size());
    double mean = 0, total = 0;
    for (const TrialPlot& plot : plots) mean += plot.yield_kg_ha / n;
    for (const TrialPlot& plot : plots) total += std::pow(plot.yield_kg_ha - mean, 2);
    EXPECT_EQ(fit.parameters, parameters);
    EXPECT_EQ(fit.plots, static_cast<int>(plots.size()));
    EXPECT_NEAR(fit.rss, rss, 1e-6 * rss);
    EXPECT_NEAR(fit.sigma_kg_ha, std::sqrt(rss / (n - parameters)), 1e-6 * fit.sigma_kg_ha);
    EXPECT_NEAR(fit.r2, 1 - rss / total, 1e-9);
    const double k = parameters + 1;
    const double spare = std::max(n - k - 1, 0.5);
    EXPECT_NEAR(
        fit.aicc,
        n * (std::log(2 * std::numbers::pi * rss / n) + 1) + 2 * k + 2 * k * (k + 1) / spare, 1e-5);
}

TEST(FitLimits, QuadraticAndFlatAgainstTheNormalEquations) {
    for (std::uint64_t seed = 1; seed <= 60; ++seed) {
        SCOPED_TRACE("seed " + std::to_string(seed));
        const int blocks = 1 + static_cast<int>(seed % 3);
        const auto plots = trial_of({CurveForm::quadratic, 4000, 40, -0.1, 0},
                                    {0, 40, 90, 140, 220}, 3, 200, seed, blocks);
        const Fit fit = fit_curve(plots, CurveForm::quadratic);
        const Ols ols = with_blocks(plots, blocks, [](double n) {
            return std::vector<double>{n, n * n / 100};
        });
        const auto b = static_cast<std::size_t>(blocks);
        EXPECT_NEAR(fit.curve.b, ols.coefficients[b] / 100, 1e-6);
        EXPECT_NEAR(fit.curve.c, ols.coefficients[b + 1] / 10000, 1e-9);
        double a = 0;
        for (std::size_t i = 0; i < b; ++i) a += ols.coefficients[i] / blocks;
        EXPECT_NEAR(fit.curve.a, a, 1e-4);
        for (std::size_t i = 0; i < b; ++i)
            EXPECT_NEAR(fit.block_effects_kg_ha[i], ols.coefficients[i] - a, 1e-4);
        check_summary(fit, plots, ols.rss, blocks + 2);
        const double variance = ols.rss / (15.0 - blocks - 2);
        EXPECT_NEAR(fit.v11, variance * ols.inverse[b][b] / 1e4, 1e-6 * fit.v11);
        EXPECT_NEAR(fit.v12, variance * ols.inverse[b][b + 1] / 1e6, 1e-6 * std::abs(fit.v12));
        EXPECT_NEAR(fit.v22, variance * ols.inverse[b + 1][b + 1] / 1e8, 1e-6 * fit.v22);
        const Fit flat = fit_curve(plots, CurveForm::flat);
        check_summary(flat, plots,
                      with_blocks(plots, blocks, [](double) { return std::vector<double>{}; }).rss,
                      blocks);
        EXPECT_EQ(flat.v11, 0);
        EXPECT_EQ(flat.v12, 0);
        EXPECT_EQ(flat.v22, 0);

        // Fieller: N where (b + 2cN - r)^2 = t^2 (v11 + 4N v12 + 4N^2 v22).
        const double ratio = 5 + 0.3 * static_cast<double>(seed % 10);
        const Optimum optimum = economic_optimum(fit, ratio, 0.9, 15);
        const double t = student_t(0.9, 15 - blocks - 2);
        const auto beyond = [&](double n) {
            const double slope = fit.curve.b + 2 * fit.curve.c * n - ratio;
            return slope * slope - t * t * (fit.v11 + 4 * n * fit.v12 + 4 * n * n * fit.v22);
        };
        EXPECT_NEAR(optimum.curve_n_kg_ha, (ratio - fit.curve.b) / (2 * fit.curve.c), 1e-9);
        EXPECT_NEAR(optimum.n_kg_ha, std::min(220.0, optimum.curve_n_kg_ha), 1e-9);
        EXPECT_EQ(optimum.interval_method, "Fieller");
        if (optimum.low_kg_ha) {
            const double scale = std::abs(beyond(0)) + 1;
            if (*optimum.low_kg_ha > 0) {
                EXPECT_NEAR(beyond(*optimum.low_kg_ha) / scale, 0, 1e-6);
            }
            if (*optimum.high_kg_ha < 220) {
                EXPECT_NEAR(beyond(*optimum.high_kg_ha) / scale, 0, 1e-6);
            } else {
                EXPECT_FALSE(optimum.warnings.empty());
            }
            EXPECT_LE(*optimum.low_kg_ha, optimum.n_kg_ha);
            EXPECT_GE(*optimum.high_kg_ha, optimum.n_kg_ha);
        }
        const auto net = [&](double n) { return fit.curve.yield_kg_ha(n) - ratio * n; };
        EXPECT_NEAR(optimum.return_over_none_kg_ha, net(optimum.n_kg_ha) - net(0), 1e-6);
        EXPECT_NEAR(optimum.yield_kg_ha, fit.curve.yield_kg_ha(optimum.n_kg_ha), 1e-9);
        EXPECT_NEAR(*optimum.loss_below_kg_ha, net(optimum.n_kg_ha) - net(optimum.n_kg_ha - 15),
                    1e-6);
        EXPECT_EQ(optimum.loss_above_kg_ha.has_value(), optimum.n_kg_ha + 15 <= 220);
        if (optimum.loss_above_kg_ha) {
            EXPECT_NEAR(*optimum.loss_above_kg_ha, net(optimum.n_kg_ha) - net(optimum.n_kg_ha + 15),
                        1e-6);
        }
    }
}

TEST(FitLimits, PlateausAgainstAFineScan) {
    for (std::uint64_t seed = 1; seed <= 3; ++seed) {
        for (const CurveForm form : {CurveForm::linear_plateau, CurveForm::quadratic_plateau}) {
            SCOPED_TRACE("seed " + std::to_string(seed) + " " + std::string(curve_form_name(form)));
            const Curve truth = form == CurveForm::linear_plateau
                                    ? Curve::linear_plateau(4000, 25, 110)
                                    : Curve::quadratic_plateau(4000, 50, -0.16);
            const auto plots = trial_of(truth, {0, 40, 80, 120, 160, 220}, 3, 150, seed, 2);
            const Fit fit = fit_curve(plots, form);
            const auto shape = [&](double join) {
                return [form, join](double n) {
                    const double z = std::min(n, join);
                    return std::vector<double>{
                        form == CurveForm::linear_plateau ? z : z - z * z / (2 * join)};
                };
            };
            double best = infinity, at = 0;
            const double high = form == CurveForm::linear_plateau ? 220 : 440;
            for (double join = 40; join <= high; join += 1) {
                const double rss = with_blocks(plots, 2, shape(join)).rss;
                if (rss < best) {
                    best = rss;
                    at = join;
                }
            }
            EXPECT_NEAR(fit.curve.join, at, 1.01);
            EXPECT_LE(fit.rss, best * (1 + 1e-9));
            const Ols own = with_blocks(plots, 2, shape(fit.curve.join));
            EXPECT_NEAR(fit.curve.b, own.coefficients[2] / 100, 1e-5);
            EXPECT_NEAR(fit.curve.a, (own.coefficients[0] + own.coefficients[1]) / 2, 1e-2);
            check_summary(fit, plots, own.rss, 4);
            if (form == CurveForm::quadratic_plateau) {
                EXPECT_NEAR(fit.curve.c, -fit.curve.b / (2 * fit.curve.join), 1e-12);
            }
            const Optimum optimum = economic_optimum(fit, 6);
            const double t = student_t(0.95, 14);
            if (form == CurveForm::linear_plateau) {
                EXPECT_EQ(optimum.interval_method, "delta");
                // Linearised: columns min(N, join) and b where N > join.
                const double b = fit.curve.b, join = fit.curve.join;
                const Ols linear = with_blocks(plots, 2, [&](double n) {
                    return std::vector<double>{std::min(n, join), n > join ? b : 0.0};
                });
                const double variance = fit.rss / 14;
                EXPECT_NEAR(fit.v11, variance * linear.inverse[2][2] / 1e4, 1e-5 * fit.v11);
                EXPECT_NEAR(fit.v22, variance * linear.inverse[3][3] / 1e4, 1e-5 * fit.v22);
                EXPECT_NEAR(*optimum.low_kg_ha, std::max(0.0, join - t * std::sqrt(fit.v22)), 1e-9);
                EXPECT_NEAR(*optimum.high_kg_ha, std::min(220.0, join + t * std::sqrt(fit.v22)),
                            1e-9);
            } else {
                EXPECT_EQ(optimum.interval_method, "Fieller, linearised");
                const double join = fit.curve.join;
                const Ols linear = with_blocks(plots, 2, [&](double n) {
                    const double z = std::min(n, join);
                    return std::vector<double>{z, z * z / 100};
                });
                const double variance = fit.rss / 14;
                EXPECT_NEAR(fit.v11, variance * linear.inverse[2][2] / 1e4, 1e-5 * fit.v11);
                EXPECT_NEAR(fit.v22, variance * linear.inverse[3][3] / 1e8, 1e-5 * fit.v22);
            }
        }
    }
}

TEST(FitLimits, CountsFromBothSides) {
    const Curve curve = Curve::quadratic_plateau(4000, 40, -0.1);
    const auto refusal = [&](const std::vector<double>& rates, int reps, CurveForm form) {
        return message_of([&] { fit_curve(trial_of(curve, rates, reps, 5, 3), form); });
    };
    EXPECT_TRUE(mentions(refusal({0, 100}, 5, CurveForm::quadratic),
                         "a quadratic curve needs 3 different nitrogen rates, the trial has 2"));
    EXPECT_EQ(refusal({0, 100, 200}, 2, CurveForm::quadratic), "");
    EXPECT_EQ(refusal({0, 100, 200}, 2, CurveForm::flat), "");
    EXPECT_TRUE(mentions(refusal({0, 100, 200}, 2, CurveForm::linear_plateau), "needs 4"));
    EXPECT_TRUE(mentions(refusal({0, 100, 200}, 2, CurveForm::quadratic_plateau), "needs 4"));
    EXPECT_EQ(refusal({0, 50, 100, 200}, 1, CurveForm::linear_plateau), "");
    EXPECT_TRUE(mentions(refusal({0, 100, 200}, 1, CurveForm::quadratic),
                         "3 plots cannot fit 3 parameters"));
    EXPECT_EQ(refusal({0, 100, 200}, 1, CurveForm::flat), "");

    const auto plots = [](TrialPlot changed) {
        std::vector<TrialPlot> all = {{0, 4000, 1}, {50, 5000, 1}, {100, 5500, 1}, {150, 5600, 1}};
        all.push_back(changed);
        return message_of([&] { fit_curve(all, CurveForm::quadratic); });
    };
    for (const double n : {0.0, 0.5, 1000.0}) EXPECT_EQ(plots({n, 5000, 1}), "") << n;
    EXPECT_TRUE(mentions(plots({-0.1, 5000, 1}), "plot 5"));
    EXPECT_TRUE(
        mentions(plots({1000.1, 5000, 1}), "a nitrogen rate of 1000.1 kg/ha is outside 0 to 1000"));
    for (const double y : {0.0, 0.5, 200000.0}) EXPECT_EQ(plots({200, y, 1}), "") << y;
    EXPECT_NE(plots({200, -0.1, 1}), "");
    EXPECT_TRUE(mentions(plots({200, 200000.5, 1}), "a yield of 200000.5 kg/ha"));
    // Every rate in a block of its own: blocks and curve cannot be told apart.
    EXPECT_TRUE(mentions(message_of([] {
                             fit_curve(std::vector<TrialPlot>{{0, 1, 1},
                                                              {0, 2, 1},
                                                              {0, 2, 1},
                                                              {100, 3, 2},
                                                              {100, 4, 2},
                                                              {100, 4, 2},
                                                              {200, 5, 3},
                                                              {200, 6, 3},
                                                              {200, 4, 3}},
                                       CurveForm::quadratic);
                         }),
                         "within the blocks"));
    EXPECT_EQ(fit_all(trial_of(curve, {0, 100, 200}, 3, 5, 3)).size(), 2u);
    EXPECT_EQ(fit_all(trial_of(curve, {0, 50, 100, 200}, 3, 5, 3)).size(), 4u);
}

/// Plots of one block without noise.
std::vector<TrialPlot> exact(const Curve& curve, const std::vector<double>& rates, int reps = 2) {
    std::vector<TrialPlot> plots;
    for (int r = 0; r < reps; ++r)
        for (const double n : rates) plots.push_back({n, curve.yield_kg_ha(n), 1});
    return plots;
}

const std::vector<double> five_rates = {0, 50, 100, 150, 200};

TEST(FitLimits, OrderOfPlotsDoesNotMatter) {
    const Curve truth = Curve::quadratic_plateau(4000, 50, -0.16);
    auto plots = trial_of(truth, {0, 40, 80, 120, 160, 220}, 2, 150, 5);
    auto turned = plots;
    std::reverse(turned.begin(), turned.end());  // the first plot is not the one without nitrogen
    for (const CurveForm form :
         {CurveForm::quadratic, CurveForm::linear_plateau, CurveForm::quadratic_plateau}) {
        const Fit one = fit_curve(plots, form), other = fit_curve(turned, form);
        EXPECT_NEAR(one.curve.b, other.curve.b, 1e-6);
        EXPECT_NEAR(one.curve.join, other.curve.join, 1e-4);
        EXPECT_NEAR(one.rss, other.rss, 1e-6 * one.rss);
    }
}

// Nothing in a fit knows whether a rate is large: kg/ha written as t/ha give the same curve.
TEST(FitLimits, SmallRatesFitAsLargeOnes) {
    const std::vector<double> rates = {0, 0.15, 0.3, 0.45, 0.6};
    const Fit quadratic =
        fit_curve(exact({CurveForm::quadratic, 4000, 0.8, -0.5, 0}, rates), CurveForm::quadratic);
    EXPECT_TRUE(quadratic.usable) << quadratic.reason;  // a slope below 1 rises too
    EXPECT_NEAR(quadratic.curve.b, 0.8, 1e-6);
    EXPECT_NEAR(quadratic.curve.c, -0.5, 1e-6);
    const Fit line =
        fit_curve(exact(Curve::linear_plateau(4000, 0.9, 0.35), rates), CurveForm::linear_plateau);
    EXPECT_TRUE(line.usable) << line.reason;
    EXPECT_NEAR(line.curve.b, 0.9, 1e-6);
    EXPECT_NEAR(line.curve.join, 0.35, 1e-6);
    const Fit plateau = fit_curve(exact(Curve::quadratic_plateau(4000, 0.9, -1.2), rates),
                                  CurveForm::quadratic_plateau);
    EXPECT_TRUE(plateau.usable) << plateau.reason;
    EXPECT_NEAR(plateau.curve.join, 0.375, 1e-5);
    // Straight to the end at 0.6 kg/ha: more still pays.
    const Fit straight =
        fit_curve(exact({CurveForm::quadratic, 4000, 20, 0, 0}, rates), CurveForm::linear_plateau);
    EXPECT_TRUE(economic_optimum(straight, 5).beyond_tested);
}

// Raising every yield by the same amount leaves everything but the intercept as it was.
TEST(FitLimits, LevelOfTheYieldsDoesNotMatter) {
    std::vector<TrialPlot> plots;
    const double yields[] = {0, 0.004, 0.007, 0.009, 0.010, 0.001, 0.004, 0.006, 0.009, 0.011};
    for (std::size_t i = 0; i < 10; ++i) plots.push_back({50.0 * double(i % 5), yields[i], 1});
    const Fit low = fit_curve(plots, CurveForm::quadratic);
    for (TrialPlot& plot : plots) plot.yield_kg_ha += 199000;
    const Fit high = fit_curve(plots, CurveForm::quadratic);
    EXPECT_NEAR(high.r2, low.r2, 1e-6);
    EXPECT_GT(low.r2, 0.9);
    EXPECT_NEAR(high.curve.b, low.curve.b, 1e-9);
}

// A trial without any response: every form has slope 0, and says so.
TEST(FitLimits, ConstantYields) {
    const auto plots = exact({CurveForm::flat, 5000, 0, 0, 0}, five_rates);
    for (const CurveForm form :
         {CurveForm::quadratic, CurveForm::linear_plateau, CurveForm::quadratic_plateau}) {
        const Fit fit = fit_curve(plots, form);
        EXPECT_EQ(fit.curve.b, 0.0);
        EXPECT_EQ(fit.r2, 0.0);
        EXPECT_FALSE(fit.usable);
        EXPECT_EQ(fit.reason, "yield does not rise with nitrogen");
    }
    // Forms that do equally well stand in the order flat, quadratic, linear, quadratic-plateau.
    const std::vector<Fit> fits = fit_all(plots);
    ASSERT_EQ(fits.size(), 4u);
    EXPECT_EQ(fits[0].curve.form, CurveForm::flat);
    EXPECT_EQ(fits[1].curve.form, CurveForm::quadratic);
    EXPECT_EQ(fits[2].curve.form, CurveForm::linear_plateau);
    EXPECT_EQ(fits[3].curve.form, CurveForm::quadratic_plateau);
}

// A straight line has no optimum on a quadratic (c is 0), ends at the highest rate as a plateau
// without an interval, and its quadratic-plateau is looked for up to twice the highest rate.
TEST(FitLimits, StraightLine) {
    const auto plots = exact({CurveForm::quadratic, 4000, 20, 0, 0}, {0, 100, 200, 300});
    const Fit quadratic = fit_curve(plots, CurveForm::quadratic);
    EXPECT_EQ(quadratic.curve.c, 0.0);
    EXPECT_EQ(quadratic.reason, "the curve bends upwards: it has no optimum");
    const Fit line = fit_curve(plots, CurveForm::linear_plateau);
    EXPECT_EQ(line.curve.join, 300.0);
    EXPECT_EQ(line.v11, 0.0);
    EXPECT_EQ(line.v22, 0.0);
    const Optimum end = economic_optimum(line, 5);
    EXPECT_EQ(end.interval_method, "none");
    EXPECT_FALSE(end.low_kg_ha || end.high_kg_ha);
    EXPECT_EQ(fit_curve(plots, CurveForm::quadratic_plateau).curve.join, 600.0);
}

// Joins near the second lowest rate, where the scan over 400 steps begins, are found as well as
// others; above it nothing is doubtful.
TEST(FitLimits, JoinsCloseToTheSecondLowestRate) {
    for (const double share : {0.1, 0.3, 0.5, 0.7, 0.9, 1.1, 1.5, 1.9, 2.1, 20.0, 80.0}) {
        const double join = 50 + share * 150 / 400;
        const Fit line = fit_curve(exact(Curve::linear_plateau(4000, 30, join), five_rates, 3),
                                   CurveForm::linear_plateau);
        EXPECT_NEAR(line.curve.join, join, 1e-5) << share;
        EXPECT_TRUE(line.warnings.empty()) << share;
        const double wide = 50 + share * 350 / 400;
        const Fit plateau = fit_curve(
            exact({CurveForm::quadratic_plateau, 4000, 60, -60 / (2 * wide), wide}, five_rates, 3),
            CurveForm::quadratic_plateau);
        EXPECT_NEAR(plateau.curve.join, wide, 1e-3) << share;  // flat around its least
        EXPECT_TRUE(plateau.warnings.empty()) << share;
    }
}

// Where the plateau is reached by the second lowest rate, three means are fitted: none, second,
// plateau. The join moves by (plateau - second) / b, whose variance is s2 (1/n + 1/m) / b2.
TEST(FitLimits, VarianceOfAJoinAtTheSecondLowestRate) {
    const double yields[] = {5000, 9100, 9050, 9020, 9010, 5060, 9000, 8950, 9040, 8980};
    std::vector<TrialPlot> plots;
    for (std::size_t i = 0; i < 10; ++i) plots.push_back({five_rates[i % 5], yields[i], 1});
    const Fit fit = fit_curve(plots, CurveForm::linear_plateau);
    EXPECT_EQ(fit.curve.join, 50.0);
    const double variance = fit.sigma_kg_ha * fit.sigma_kg_ha;
    EXPECT_NEAR(fit.v22, variance * (1.0 / 2 + 1.0 / 6) / std::pow(fit.curve.b, 2), 1e-9 * fit.v22);
    EXPECT_EQ(economic_optimum(fit, 5).interval_method, "delta");
}

// AICc of a flawless fit is limited relative to the yields: ten times the yields add n ln 100, as
// they do in a fit with residuals.
TEST(FitLimits, AiccMovesWithTheUnitOfTheYield) {
    for (const double noise : {0.0, 100.0}) {
        auto plots = trial_of({CurveForm::quadratic, 4000, 40, -0.1, 0}, five_rates, 2, noise, 4);
        const double small = fit_curve(plots, CurveForm::quadratic).aicc;
        for (TrialPlot& plot : plots) plot.yield_kg_ha *= 10;
        EXPECT_NEAR(fit_curve(plots, CurveForm::quadratic).aicc - small, 10 * std::log(100.0), 1e-6)
            << noise;
    }
}

// One block with two rates, another with one: N and N2 are the same column within the blocks.
TEST(FitLimits, ColumnsThatCannotBeToldApart) {
    const auto refusal = [](double other) {
        return message_of([&] {
            fit_curve(std::vector<TrialPlot>{{333.3, 5000, 1},
                                             {991.7, 6000, 1},
                                             {333.3, 5100, 1},
                                             {667.1, 5500, 2},
                                             {other, 5600, 2},
                                             {667.1, 5550, 2}},
                      CurveForm::quadratic);
        });
    };
    EXPECT_TRUE(mentions(refusal(667.1), "within the blocks the rates do not vary enough"));
    EXPECT_EQ(refusal(800.0), "");
    // Every rate in a block of its own: no slope within the blocks, and no plateau.
    std::vector<TrialPlot> apart;
    for (int i = 0; i < 12; ++i)
        apart.push_back({50.0 * (i / 3), 5000.0 + 400 * (i / 3) + 10 * (i % 3), i / 3});
    const Fit fit = fit_curve(apart, CurveForm::linear_plateau);
    EXPECT_EQ(fit.curve.b, 0.0);
    EXPECT_EQ(fit.v22, 0.0);
    EXPECT_FALSE(fit.usable);
}

// Four plots for three parameters and sigma: n - k - 1 is -1, for which 0.5 stands (methods page).
TEST(FitLimits, AiccOfTheSmallestTrial) {
    const auto plots = trial_of(Curve::linear_plateau(4000, 25, 110), {0, 60, 120, 180}, 1, 200, 8);
    const Fit fit = fit_curve(plots, CurveForm::linear_plateau);
    check_summary(fit, plots, fit.rss, 3);
}

TEST(FitLimits, JudgementsInWords) {
    const std::vector<double> rates = {0, 50, 100, 150, 200};
    const auto fit = [&](const Curve& curve, CurveForm form, double noise = 1) {
        return fit_curve(trial_of(curve, rates, 2, noise, 9), form);
    };
    const Curve falling{CurveForm::quadratic, 6000, -10, 0.01, 0};
    for (const CurveForm form :
         {CurveForm::quadratic, CurveForm::linear_plateau, CurveForm::quadratic_plateau}) {
        EXPECT_FALSE(fit(falling, form).usable);
        EXPECT_EQ(fit(falling, form).reason, "yield does not rise with nitrogen");
    }
    EXPECT_TRUE(fit(falling, CurveForm::flat).usable);
    const Curve upward{CurveForm::quadratic, 4000, 5, 0.05, 0};
    EXPECT_EQ(fit(upward, CurveForm::quadratic).reason,
              "the curve bends upwards: it has no optimum");
    const Curve open{CurveForm::quadratic, 4000, 40, -0.08, 0};  // top at 250
    EXPECT_EQ(fit(open, CurveForm::quadratic_plateau).reason,
              "no plateau within the tested rates: the same as the plain quadratic");
    const Curve line{CurveForm::quadratic, 4000, 20, 0, 0};
    const Fit straight = fit(line, CurveForm::linear_plateau, 0);
    EXPECT_TRUE(straight.usable);
    ASSERT_EQ(straight.warnings.size(), 1u);
    EXPECT_EQ(straight.warnings[0], "no plateau within the tested rates: a straight line");
    const Optimum end = economic_optimum(straight, 5);
    EXPECT_TRUE(end.beyond_tested);
    EXPECT_NEAR(end.n_kg_ha, 200, 1e-6);
    const Fit early = fit(Curve::linear_plateau(4000, 60, 45), CurveForm::linear_plateau, 0);
    EXPECT_TRUE(mentions(early.warnings.at(0), "second lowest rate"));
    EXPECT_TRUE(
        mentions(fit(Curve::quadratic_plateau(4000, 60, -0.7), CurveForm::quadratic_plateau, 0)
                     .warnings.at(0),
                 "second lowest rate"));
    const Fit middle = fit(Curve::linear_plateau(4000, 30, 110), CurveForm::linear_plateau);
    EXPECT_TRUE(middle.usable && middle.warnings.empty());
    EXPECT_FALSE(economic_optimum(middle, 5).beyond_tested);
    EXPECT_TRUE(fit(Curve::quadratic_plateau(4000, 50, -0.17), CurveForm::quadratic_plateau)
                    .warnings.empty());
    EXPECT_TRUE(
        fit({CurveForm::quadratic, 4000, 40, -0.15, 0}, CurveForm::quadratic).warnings.empty());
}

Fit made_fit(CurveForm form, double aicc, bool usable = true) {
    Fit fit;
    fit.curve.form = form;
    fit.aicc = aicc;
    fit.usable = usable;
    return fit;
}

TEST(FitLimits, WhichFormIsPreferred) {
    using F = CurveForm;
    const auto chosen = [](const std::vector<Fit>& fits) {
        const Fit* fit = preferred(fits);
        return fit == nullptr ? std::string("none") : std::string(curve_form_name(fit->curve.form));
    };
    EXPECT_EQ(chosen({}), "none");
    EXPECT_EQ(chosen({made_fit(F::quadratic, 1, false)}), "none");
    EXPECT_EQ(chosen({made_fit(F::flat, 1), made_fit(F::quadratic, 2)}), "flat");
    EXPECT_EQ(chosen({made_fit(F::flat, 10), made_fit(F::linear_plateau, 11)}), "flat");
    EXPECT_EQ(chosen({made_fit(F::quadratic, 10), made_fit(F::linear_plateau, 12)}),
              "linear-plateau");
    EXPECT_EQ(chosen({made_fit(F::quadratic, 10), made_fit(F::linear_plateau, 12.1)}), "quadratic");
    EXPECT_EQ(chosen({made_fit(F::quadratic, 10), made_fit(F::quadratic_plateau, 11.9)}),
              "quadratic-plateau");
    EXPECT_EQ(chosen({made_fit(F::quadratic, 10), made_fit(F::quadratic_plateau, 11, false)}),
              "quadratic");
    EXPECT_EQ(chosen({made_fit(F::quadratic, 10), made_fit(F::linear_plateau, 11.5),
                      made_fit(F::quadratic_plateau, 11)}),
              "quadratic-plateau");
    EXPECT_EQ(chosen({made_fit(F::quadratic, 10), made_fit(F::flat, 11)}), "quadratic");
    EXPECT_EQ(chosen({made_fit(F::quadratic, 9, false), made_fit(F::linear_plateau, 12),
                      made_fit(F::flat, 13)}),
              "linear-plateau");
    EXPECT_EQ(chosen({made_fit(F::linear_plateau, 12), made_fit(F::quadratic_plateau, 11)}),
              "quadratic-plateau");
    // The first of two that do equally well.
    EXPECT_EQ(chosen({made_fit(F::linear_plateau, 11), made_fit(F::quadratic_plateau, 11)}),
              "linear-plateau");
    EXPECT_EQ(chosen({made_fit(F::quadratic, 10), made_fit(F::linear_plateau, 11),
                      made_fit(F::quadratic_plateau, 11)}),
              "linear-plateau");
}

TEST(FitLimits, PredictionOnlyInside) {
    Fit fit;
    fit.curve = Curve::linear_plateau(4000, 20, 100);
    fit.lowest_rate_kg_ha = 20;
    fit.highest_rate_kg_ha = 200;
    EXPECT_EQ(predict(fit, 20), 4400);
    EXPECT_EQ(predict(fit, 200), 6000);
    EXPECT_TRUE(mentions(message_of([&] { predict(fit, 19.9); }),
                         "19.9 kg/ha lies outside the tested rates, 20 to 200 kg/ha"));
    EXPECT_THROW(predict(fit, 200.1), Error);
}

/// A quadratic fit made by hand: optimum at (40 - r) / 0.2.
Fit by_hand(double low, double high) {
    Fit fit;
    fit.curve = {CurveForm::quadratic, 4000, 40, -0.1, 0};
    fit.usable = true;
    fit.plots = 20;
    fit.parameters = 3;
    fit.lowest_rate_kg_ha = low;
    fit.highest_rate_kg_ha = high;
    fit.v11 = 4;
    fit.v12 = -0.015;
    fit.v22 = 0.0001;
    return fit;
}

TEST(OptimumLimits, TestedRatesLimitIt) {
    const double r = 10;  // optimum at 150
    const auto at = [&](double low, double high) {
        return economic_optimum(by_hand(low, high), r);
    };
    EXPECT_FALSE(at(0, 200).beyond_tested);
    EXPECT_FALSE(at(0, 150).beyond_tested);
    EXPECT_TRUE(at(0, 149.9).beyond_tested);
    EXPECT_NEAR(at(0, 149.9).n_kg_ha, 149.9, 1e-9);
    EXPECT_NEAR(at(0, 149.9).curve_n_kg_ha, 150, 1e-9);
    EXPECT_TRUE(mentions(at(0, 149.9).warnings.at(0), "still paid"));
    const Optimum low = at(150.1, 300);
    EXPECT_NEAR(low.n_kg_ha, 150.1, 1e-9);
    EXPECT_EQ(low.warnings.at(0), "the optimum lies below the lowest rate tested");
    EXPECT_TRUE(at(150, 300).warnings.empty());
    EXPECT_TRUE(economic_optimum(by_hand(100, 400), r).warnings.empty());
    const Optimum near = economic_optimum(by_hand(130, 170), r, 0.95, 20);
    EXPECT_TRUE(near.loss_below_kg_ha && near.loss_above_kg_ha);
    EXPECT_NEAR(*near.loss_below_kg_ha, 40, 1e-9);  // 0.1 x 20^2
    EXPECT_NEAR(*near.loss_above_kg_ha, 40, 1e-9);
    EXPECT_FALSE(economic_optimum(by_hand(130.1, 170), r, 0.95, 20).loss_below_kg_ha);
    EXPECT_FALSE(economic_optimum(by_hand(130, 169.9), r, 0.95, 20).loss_above_kg_ha);
    EXPECT_NEAR(near.return_over_none_kg_ha, 40, 1e-9);
}

TEST(OptimumLimits, IntervalCutAndUnbounded) {
    const Optimum wide = economic_optimum(by_hand(0, 400), 10);
    ASSERT_TRUE(wide.low_kg_ha && wide.high_kg_ha);
    // (30 - 0.2N)^2 = t^2 (4 - 0.06N + 0.0004N^2), t(0.95, 17) = 2.10982.
    const double t2 = 2.10981557783 * 2.10981557783;
    const double a = 0.04 - 0.0004 * t2, b = -12 + 0.06 * t2, c = 900 - 4 * t2;
    const double root = std::sqrt(b * b - 4 * a * c);
    EXPECT_NEAR(*wide.low_kg_ha, (-b - root) / (2 * a), 1e-6);
    EXPECT_NEAR(*wide.high_kg_ha, (-b + root) / (2 * a), 1e-6);
    EXPECT_TRUE(wide.warnings.empty());
    const Optimum cut = economic_optimum(by_hand(*wide.low_kg_ha + 1, *wide.high_kg_ha - 1), 10);
    EXPECT_NEAR(*cut.low_kg_ha, *wide.low_kg_ha + 1, 1e-9);
    EXPECT_NEAR(*cut.high_kg_ha, *wide.high_kg_ha - 1, 1e-9);
    EXPECT_EQ(cut.warnings.at(0), "the interval reaches beyond the highest rate tested");
    // Without variance both ends are the optimum, (7.25 - 1) / (2 / 64) = 200: not beyond 200.
    Fit certain = by_hand(0, 200);
    certain.curve = {CurveForm::quadratic, 4000, 7.25, -1.0 / 64, 0};
    certain.v11 = certain.v12 = certain.v22 = 0;
    EXPECT_EQ(economic_optimum(certain, 1).high_kg_ha, 200.0);
    EXPECT_TRUE(economic_optimum(certain, 1).warnings.empty());
    certain.highest_rate_kg_ha = 199.9;
    EXPECT_EQ(economic_optimum(certain, 1).warnings.size(), 2u);
    Fit vague = by_hand(0, 400);
    vague.v22 = 0.01;  // c is not known to differ from 0
    const Optimum open = economic_optimum(vague, 10);
    EXPECT_FALSE(open.low_kg_ha);
    EXPECT_FALSE(open.high_kg_ha);
    EXPECT_EQ(open.warnings.at(0), "the trial cannot bound the optimum on both sides");
}

TEST(OptimumLimits, SettingsFromBothSides) {
    const Fit fit = by_hand(0, 400);
    for (const double level : {0.5, 0.999}) EXPECT_NO_THROW(economic_optimum(fit, 10, level));
    for (const double level : {0.49, 0.9995}) EXPECT_THROW(economic_optimum(fit, 10, level), Error);
    EXPECT_NO_THROW(economic_optimum(fit, 0.5));
    for (const double ratio : {0.0, infinity}) EXPECT_THROW(economic_optimum(fit, ratio), Error);
    Fit bad = fit;
    bad.usable = false;
    bad.reason = "why";
    EXPECT_TRUE(mentions(message_of([&] { economic_optimum(bad, 10); }),
                         "no optimum from the quadratic curve: why"));
    // A line whose slope is below the ratio: no nitrogen, and no interval.
    Fit line = fit;
    line.curve = Curve::linear_plateau(4000, 8, 120);
    EXPECT_EQ(economic_optimum(line, 10).interval_method, "none");
    EXPECT_FALSE(economic_optimum(line, 10).beyond_tested);
    // A line up to 120 with 20 kg for each kg at a ratio of 5: below it costs more than above.
    Fit steep = line;
    steep.curve = Curve::linear_plateau(4000, 20, 120);
    EXPECT_NEAR(*economic_optimum(steep, 5).loss_below_kg_ha, 300, 1e-9);
    EXPECT_NEAR(*economic_optimum(steep, 5).loss_above_kg_ha, 100, 1e-9);
    line.highest_rate_kg_ha = 120;
    EXPECT_FALSE(economic_optimum(line, 10).beyond_tested);
    EXPECT_TRUE(economic_optimum(line, 5).beyond_tested);
    line.v22 = 0;
    EXPECT_EQ(economic_optimum(line, 5).interval_method, "none");
    // A join of half a kilogram, known to half a kilogram: 0.5 -+ t(0.95, 17) 0.5, cut at 0.
    Fit little = steep;
    little.curve = Curve::linear_plateau(4000, 20, 0.5);
    little.v22 = 0.25;
    EXPECT_EQ(economic_optimum(little, 5).interval_method, "delta");
    EXPECT_EQ(economic_optimum(little, 5).low_kg_ha, 0.0);
    EXPECT_NEAR(*economic_optimum(little, 5).high_kg_ha, 0.5 + 2.10981557783 * 0.5, 1e-6);
    Fit flat = fit;
    flat.curve = {CurveForm::flat, 4000, 0, 0, 0};
    EXPECT_EQ(economic_optimum(flat, 5).interval_method, "none");
    EXPECT_EQ(economic_optimum(flat, 5).n_kg_ha, 0);
}

TEST(AverageResponseLimits, RangeAndWarningsByHand) {
    // One site: 40 N - 0.1 N2, ratio 10 (prices 2 and 0.2): best at 150 with 2250 kg/ha; 20
    // currency units are 100 kg/ha, so N within sqrt(1000) of it.
    const std::vector<Curve> one = {{CurveForm::quadratic, 4000, 40, -0.1, 0}};
    const AverageResponse result = average_response(one, {2, 0.2}, 300, 20);
    EXPECT_NEAR(result.n_kg_ha, 150, 1e-6);
    EXPECT_NEAR(result.low_kg_ha, 150 - std::sqrt(1000), 1e-6);
    EXPECT_NEAR(result.high_kg_ha, 150 + std::sqrt(1000), 1e-6);
    EXPECT_NEAR(result.net_gain_per_ha, 2250 * 0.2, 1e-6);
    EXPECT_EQ(result.sites, 1);
    ASSERT_EQ(result.warnings.size(), 1u);
    EXPECT_TRUE(mentions(result.warnings[0], "only 1 trials"));
    const AverageResponse wide = average_response(one, {2, 0.2}, 160, 1000);
    EXPECT_EQ(wide.low_kg_ha, 0.0);
    EXPECT_EQ(wide.high_kg_ha, 160.0);
    // Net 2250 at the best, 0 at none: exactly 450 units.
    EXPECT_EQ(average_response(one, {2, 0.2}, 300, 450.001).low_kg_ha, 0.0);
    EXPECT_GT(average_response(one, {2, 0.2}, 300, 449.9).low_kg_ha, 0.0);
    // At 0.5 kg/ha the net is 40 x 0.5 - 0.1 x 0.25 - 5 = 14.975 kg/ha.
    EXPECT_NEAR(average_response(one, {2, 0.2}, 300, (2250 - 14.975) * 0.2).low_kg_ha, 0.5, 1e-6);
    // Sites without response, or with one that just pays for itself, need nothing.
    const std::vector<Curve> none = {{CurveForm::flat, 4000, 0, 0, 0}};
    EXPECT_NEAR(average_response(none, {2, 0.2}, 300).n_kg_ha, 0.0, 1e-9);
    const std::vector<Curve> even = {Curve::linear_plateau(4000, 10, 120)};
    EXPECT_NEAR(average_response(even, {2, 0.2}, 300).n_kg_ha, 0.0, 1e-9);
    const std::vector<Curve> nine(9, one[0]), ten(10, one[0]);
    EXPECT_EQ(average_response(nine, {2, 0.2}, 300).warnings.size(), 1u);
    EXPECT_TRUE(average_response(ten, {2, 0.2}, 300).warnings.empty());
    EXPECT_TRUE(mentions(average_response(ten, {2, 0.2}, 149).warnings.at(0), "still paid"));
    EXPECT_NEAR(average_response(ten, {2, 0.2}, 149).n_kg_ha, 149, 1e-6);
    EXPECT_TRUE(average_response(ten, {2, 0.2}, 150).warnings.empty());

    const auto refusal = [](const Curve& curve) {
        return message_of([&] { average_response(std::vector<Curve>{{}, curve}, {2, 0.2}, 300); });
    };
    EXPECT_TRUE(mentions(refusal({CurveForm::quadratic, 1, 1, 0.001, 0}), "site 2"));
    EXPECT_EQ(refusal({CurveForm::quadratic, 1, -1, 0, 0}), "");
    EXPECT_NE(refusal(Curve::linear_plateau(1, -0.1, 50)), "");
    EXPECT_EQ(refusal(Curve::linear_plateau(1, 0, 50)), "");
    EXPECT_EQ(refusal(Curve::linear_plateau(1, 0.5, 50)), "");
    EXPECT_THROW(average_response({}, {2, 0.2}, 300), Error);
    EXPECT_THROW(average_response(one, {2, 0.2}, 0), Error);
    EXPECT_THROW(average_response(one, {2, 0.2}, infinity), Error);
    EXPECT_NO_THROW(average_response(one, {2, 0.2}, 0.5));
}

}  // namespace
}  // namespace catchfield::nitrogen
