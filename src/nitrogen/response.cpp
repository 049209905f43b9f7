// SPDX-License-Identifier: MIT
#include "nitrogen/response.hpp"

#include "base/error.hpp"
#include "base/text.hpp"

#include <algorithm>
#include <cmath>
#include <map>
#include <numbers>

namespace catchfield::nitrogen {

namespace {

/// Plots in arrays. Blocks are numbered 0, 1, ... in order of their given numbers.
struct Trial {
    std::vector<double> n, y;
    std::vector<std::size_t> block;
    std::vector<double> block_size;
    std::vector<double> rates;  ///< distinct, rising

    std::size_t plots() const { return n.size(); }
    std::size_t blocks() const { return block_size.size(); }
    double highest() const { return rates.back(); }
};

Trial read_trial(std::span<const TrialPlot> plots) {
    Trial trial;
    std::map<int, std::size_t> numbers;
    for (const TrialPlot& plot : plots) numbers.emplace(plot.block, 0);
    std::size_t next = 0;
    for (auto& [given, number] : numbers) number = next++;
    trial.block_size.assign(numbers.size(), 0.0);
    for (std::size_t i = 0; i < plots.size(); ++i) {
        const TrialPlot& plot = plots[i];
        const ErrorContext where{.feature = "plot " + std::to_string(i + 1)};
        if (!(plot.n_kg_ha >= 0.0 && plot.n_kg_ha <= 1000.0)) {
            throw Error(
                ErrorKind::data,
                "a nitrogen rate of " + shortest(plot.n_kg_ha) + " kg/ha is outside 0 to 1000",
                where);
        }
        if (!(plot.yield_kg_ha >= 0.0 && plot.yield_kg_ha <= 200000.0)) {
            throw Error(
                ErrorKind::data,
                "a yield of " + shortest(plot.yield_kg_ha) + " kg/ha is outside 0 to 200,000",
                where);
        }
        trial.n.push_back(plot.n_kg_ha);
        trial.y.push_back(plot.yield_kg_ha);
        trial.block.push_back(numbers.at(plot.block));
        trial.block_size[trial.block.back()] += 1.0;
    }
    trial.rates = trial.n;
    std::sort(trial.rates.begin(), trial.rates.end());
    trial.rates.erase(std::unique(trial.rates.begin(), trial.rates.end()), trial.rates.end());
    return trial;
}

std::vector<double> block_means(const Trial& trial, const std::vector<double>& values) {
    std::vector<double> means(trial.blocks(), 0.0);
    for (std::size_t i = 0; i < values.size(); ++i) means[trial.block[i]] += values[i];
    for (std::size_t k = 0; k < means.size(); ++k) means[k] /= trial.block_size[k];
    return means;
}

/// Values less their block mean. Regressing these on each other gives the same coefficients and
/// residuals as fitting block effects (Frisch & Waugh 1933; Lovell 1963).
std::vector<double> within_blocks(const Trial& trial, std::vector<double> values) {
    const std::vector<double> means = block_means(trial, values);
    for (std::size_t i = 0; i < values.size(); ++i) values[i] -= means[trial.block[i]];
    return values;
}

double dot(const std::vector<double>& a, const std::vector<double>& b) {
    double sum = 0.0;
    for (std::size_t i = 0; i < a.size(); ++i) sum += a[i] * b[i];
    return sum;
}

template <typename Function>
std::vector<double> column(const Trial& trial, Function value_at) {
    std::vector<double> values(trial.plots());
    for (std::size_t i = 0; i < values.size(); ++i) values[i] = value_at(trial.n[i]);
    return values;
}

/// Two regressors within blocks: coefficients, and (X'X)^-1 for their covariance. The second is
/// made orthogonal to the first, so that N and N2 do not spoil each other.
struct TwoColumns {
    double first = 0.0, second = 0.0;
    double x11 = 0.0, x12 = 0.0, x22 = 0.0;  ///< inverse
    bool singular = false;
};

TwoColumns regress(const std::vector<double>& y, const std::vector<double>& u,
                   std::vector<double> v) {
    TwoColumns result;
    const double uu = dot(u, u);
    const double v_before = dot(v, v);
    const double slope = dot(u, v) / uu;
    for (std::size_t i = 0; i < v.size(); ++i) v[i] -= slope * u[i];
    const double vv = dot(v, v);
    if (!(uu > 0.0) || !(vv > 1e-12 * v_before)) {
        result.singular = true;
        return result;
    }
    result.second = dot(v, y) / vv;
    result.first = dot(u, y) / uu - slope * result.second;
    result.x22 = 1.0 / vv;
    result.x12 = -slope / vv;
    result.x11 = 1.0 / uu + slope * slope / vv;
    return result;
}

/// Shape of a plateau form before scaling by its slope.
double plateau_shape(CurveForm form, double n, double join) {
    const double z = std::min(n, join);
    return form == CurveForm::linear_plateau ? z : z - z * z / (2.0 * join);
}

struct Profile {
    double slope = 0.0, rss = 0.0;
};

Profile profile_at(const Trial& trial, const std::vector<double>& y, double yy, CurveForm form,
                   double join) {
    const std::vector<double> g =
        within_blocks(trial, column(trial, [&](double n) { return plateau_shape(form, n, join); }));
    const double gg = dot(g, g), gy = dot(g, y);
    if (!(gg > 0.0)) return {0.0, yy};
    return {gy / gg, yy - gy * gy / gg};
}

/// Join with the least residual sum: a scan, because several minima can exist, then golden section.
double best_join(const Trial& trial, const std::vector<double>& y, double yy, CurveForm form,
                 double low, double high) {
    constexpr int steps = 400;
    const auto rss = [&](double join) { return profile_at(trial, y, yy, form, join).rss; };
    const auto at = [&](int i) { return low + (high - low) * i / steps; };
    int best = 0;
    double best_rss = rss(at(0));
    for (int i = 1; i <= steps; ++i) {
        const double value = rss(at(i));
        if (value < best_rss) {
            best_rss = value;
            best = i;
        }
    }
    double a = at(std::max(best - 1, 0)), b = at(std::min(best + 1, steps));
    const double ratio = (std::sqrt(5.0) - 1.0) / 2.0;
    double c = b - ratio * (b - a), d = a + ratio * (b - a);
    double fc = rss(c), fd = rss(d);
    while (b - a > 1e-9 * trial.highest()) {
        if (fc < fd) {
            b = d;
            d = c;
            fd = fc;
            c = b - ratio * (b - a);
            fc = rss(c);
        } else {
            a = c;
            c = d;
            fc = fd;
            d = a + ratio * (b - a);
            fd = rss(d);
        }
    }
    const double inside = 0.5 * (a + b);
    return rss(inside) <= best_rss ? inside : at(best);
}

void judge(Fit& fit, const Trial& trial) {
    const Curve& curve = fit.curve;
    fit.usable = true;
    const auto refuse = [&](const char* reason) {
        fit.usable = false;
        fit.reason = reason;
    };
    switch (curve.form) {
        case CurveForm::flat:
            break;
        case CurveForm::quadratic:
            if (!(curve.b > 0.0))
                refuse("yield does not rise with nitrogen");
            else if (!(curve.c < 0.0))
                refuse("the curve bends upwards: it has no optimum");
            break;
        case CurveForm::quadratic_plateau:
            if (!(curve.b > 0.0))
                refuse("yield does not rise with nitrogen");
            else if (curve.join > trial.highest()) {
                refuse("no plateau within the tested rates: the same as the plain quadratic");
            }
            break;
        case CurveForm::linear_plateau:
            if (!(curve.b > 0.0))
                refuse("yield does not rise with nitrogen");
            else if (curve.join >= trial.highest() * (1.0 - 1e-6)) {
                fit.warnings.emplace_back("no plateau within the tested rates: a straight line");
            }
            break;
    }
    const bool plateau =
        curve.form == CurveForm::quadratic_plateau || curve.form == CurveForm::linear_plateau;
    if (fit.usable && plateau && curve.join <= trial.rates[1] * (1.0 + 1e-6)) {
        fit.warnings.emplace_back(
            "the plateau begins at or below the second lowest rate: where, the trial cannot tell");
    }
}

/// ln Gamma(x) for x > 0. std::lgamma also leaves a sign for the whole process, which threads would
/// write together.
double log_gamma(double x) {
    int sign = 0;
    return ::lgamma_r(x, &sign);
}

double log_beta(double a, double b) {
    return log_gamma(a) + log_gamma(b) - log_gamma(a + b);
}

/// Regularised incomplete beta function by its continued fraction (Lentz's method).
double incomplete_beta(double a, double b, double x) {
    if (x <= 0.0) return 0.0;
    if (x >= 1.0) return 1.0;
    if (x > (a + 1.0) / (a + b + 2.0)) return 1.0 - incomplete_beta(b, a, 1.0 - x);
    constexpr double tiny = 1e-300;
    double c = 1.0;
    double d = 1.0 - (a + b) * x / (a + 1.0);
    d = 1.0 / (std::fabs(d) < tiny ? tiny : d);
    double fraction = d;
    for (int m = 1; m < 1000; ++m) {
        const double m2 = 2.0 * m;
        for (const double numerator : {m * (b - m) * x / ((a + m2 - 1.0) * (a + m2)),
                                       -(a + m) * (a + b + m) * x / ((a + m2) * (a + m2 + 1.0))}) {
            d = 1.0 + numerator * d;
            d = 1.0 / (std::fabs(d) < tiny ? tiny : d);
            c = 1.0 + numerator / c;
            if (std::fabs(c) < tiny) c = tiny;
            fraction *= d * c;
        }
        if (std::fabs(d * c - 1.0) < 1e-15) break;
    }
    return std::exp(a * std::log(x) + b * std::log1p(-x) - log_beta(a, b)) / a * fraction;
}

void check_ratio(double ratio) {
    if (!(ratio > 0.0 && std::isfinite(ratio))) {
        throw Error(ErrorKind::usage, "the price ratio must be above 0",
                    {.hint = "Give the price of nitrogen and of the crop."});
    }
}

/// N where the fitted slope does not differ from the ratio: Fieller's interval.
void fieller_interval(Optimum& optimum, const Fit& fit, double ratio, double t) {
    const Curve& curve = fit.curve;
    const double d = curve.b - ratio;
    const double t2 = t * t;
    const double a2 = 4.0 * (curve.c * curve.c - t2 * fit.v22);
    const double a1 = 4.0 * (curve.c * d - t2 * fit.v12);
    const double a0 = d * d - t2 * fit.v11;
    optimum.interval_method =
        curve.form == CurveForm::quadratic ? "Fieller" : "Fieller, linearised";
    const double root = a1 * a1 - 4.0 * a2 * a0;
    if (!(a2 > 0.0) || root < 0.0) {
        optimum.warnings.emplace_back("the trial cannot bound the optimum on both sides");
        return;
    }
    const double half = -0.5 * (a1 + std::copysign(std::sqrt(root), a1));
    const double one = half / a2, other = half != 0.0 ? a0 / half : one;
    optimum.low_kg_ha = std::min(one, other);
    optimum.high_kg_ha = std::max(one, other);
}

/// An interval says nothing beyond the tested rates either.
void cut_interval(Optimum& optimum, const Fit& fit) {
    const double low = fit.lowest_rate_kg_ha, high = fit.highest_rate_kg_ha;
    if (optimum.high_kg_ha && *optimum.high_kg_ha > high) {
        optimum.warnings.emplace_back("the interval reaches beyond the highest rate tested");
    }
    if (optimum.low_kg_ha) optimum.low_kg_ha = std::clamp(*optimum.low_kg_ha, low, high);
    if (optimum.high_kg_ha) optimum.high_kg_ha = std::clamp(*optimum.high_kg_ha, low, high);
}

}  // namespace

std::string_view curve_form_name(CurveForm form) {
    switch (form) {
        case CurveForm::flat:
            return "flat";
        case CurveForm::linear_plateau:
            return "linear-plateau";
        case CurveForm::quadratic:
            return "quadratic";
        case CurveForm::quadratic_plateau:
            return "quadratic-plateau";
    }
    return "";
}

double Curve::yield_kg_ha(double n_kg_ha) const {
    switch (form) {
        case CurveForm::flat:
            break;
        case CurveForm::quadratic:
            return a + n_kg_ha * (b + c * n_kg_ha);
        case CurveForm::linear_plateau:
            return a + b * std::min(n_kg_ha, join);
        case CurveForm::quadratic_plateau: {
            const double z = std::min(n_kg_ha, join);
            return a + z * (b + c * z);
        }
    }
    return a;
}

double Curve::slope(double n_kg_ha) const {
    switch (form) {
        case CurveForm::flat:
            break;
        case CurveForm::quadratic:
            return b + 2.0 * c * n_kg_ha;
        case CurveForm::linear_plateau:
            return n_kg_ha <= join ? b : 0.0;
        case CurveForm::quadratic_plateau:
            return n_kg_ha < join ? b + 2.0 * c * n_kg_ha : 0.0;
    }
    return 0.0;
}

Curve Curve::quadratic_plateau(double a, double b, double c) {
    return {CurveForm::quadratic_plateau, a, b, c, -b / (2.0 * c)};
}

Curve Curve::linear_plateau(double a, double b, double join) {
    return {CurveForm::linear_plateau, a, b, 0.0, join};
}

Fit fit_curve(std::span<const TrialPlot> plots, CurveForm form) {
    const Trial trial = read_trial(plots);
    const bool plateau = form == CurveForm::linear_plateau || form == CurveForm::quadratic_plateau;
    const std::size_t rates_needed = plateau ? 4 : 3;
    if (trial.rates.size() < rates_needed) {
        throw Error(ErrorKind::data,
                    "a " + std::string(curve_form_name(form)) + " curve needs " +
                        std::to_string(rates_needed) + " different nitrogen rates, the trial has " +
                        std::to_string(trial.rates.size()),
                    {.hint = "Add rates, one of them zero, or pool trials."});
    }
    const std::size_t shape_parameters = form == CurveForm::flat ? 0 : 2;
    const std::size_t parameters = trial.blocks() + shape_parameters;
    if (trial.plots() <= parameters) {
        throw Error(ErrorKind::data,
                    std::to_string(trial.plots()) + " plots cannot fit " +
                        std::to_string(parameters) + " parameters",
                    {.hint = "Add plots or leave the blocks out."});
    }

    Fit fit;
    fit.curve.form = form;
    fit.plots = static_cast<int>(trial.plots());
    fit.blocks = static_cast<int>(trial.blocks());
    fit.parameters = static_cast<int>(parameters);
    fit.lowest_rate_kg_ha = trial.rates.front();
    fit.highest_rate_kg_ha = trial.rates.back();

    const std::vector<double> y = within_blocks(trial, trial.y);
    const double yy = dot(y, y);
    TwoColumns solved;
    if (form == CurveForm::quadratic) {
        solved = regress(y, within_blocks(trial, trial.n),
                         within_blocks(trial, column(trial, [](double n) { return n * n; })));
        fit.curve.b = solved.first;
        fit.curve.c = solved.second;
    } else if (plateau) {
        // Below the second lowest rate the join cannot be told; a quadratic-plateau may want one
        // beyond the highest, which says that there is no plateau.
        const double high =
            form == CurveForm::linear_plateau ? trial.highest() : 2.0 * trial.highest();
        fit.curve.join = best_join(trial, y, yy, form, trial.rates[1], high);
        const double join = fit.curve.join;
        fit.curve.b = profile_at(trial, y, yy, form, join).slope;
        std::vector<double> z = column(trial, [&](double n) { return std::min(n, join); });
        std::vector<double> second;
        if (form == CurveForm::quadratic_plateau) {
            fit.curve.c = -fit.curve.b / (2.0 * join);
            second = column(trial, [&](double n) { return std::min(n, join) * std::min(n, join); });
        } else {
            second = column(trial, [&](double n) { return n > join ? fit.curve.b : 0.0; });
        }
        solved =
            regress(y, within_blocks(trial, std::move(z)), within_blocks(trial, std::move(second)));
    }
    if (form == CurveForm::quadratic && solved.singular) {
        throw Error(ErrorKind::data, "within the blocks the rates do not vary enough for a curve",
                    {.hint = "Every block needs several rates."});
    }

    // Intercepts of the blocks; the curve stands for their plain mean.
    std::vector<double> rest(trial.plots());
    for (std::size_t i = 0; i < rest.size(); ++i) {
        rest[i] = trial.y[i] - fit.curve.yield_kg_ha(trial.n[i]);
    }
    const std::vector<double> intercepts = block_means(trial, rest);
    double mean = 0.0;
    for (const double intercept : intercepts) mean += intercept;
    mean /= static_cast<double>(intercepts.size());
    fit.curve.a = mean;
    for (const double intercept : intercepts) fit.block_effects_kg_ha.push_back(intercept - mean);

    double total_mean = 0.0, total = 0.0;
    for (const double value : trial.y) total_mean += value;
    const double count = static_cast<double>(trial.plots());
    total_mean /= count;
    for (std::size_t i = 0; i < rest.size(); ++i) {
        const double residual = rest[i] - intercepts[trial.block[i]];
        fit.rss += residual * residual;
        total += (trial.y[i] - total_mean) * (trial.y[i] - total_mean);
    }
    const double df = count - static_cast<double>(parameters);
    const double variance = fit.rss / df;
    fit.sigma_kg_ha = std::sqrt(variance);
    fit.r2 = total > 0.0 ? 1.0 - fit.rss / total : 0.0;
    const double k = static_cast<double>(parameters) + 1.0;
    // Residuals of rounding size would send the likelihood to infinity.
    const double rss_floor = 1e-18 * std::max(dot(trial.y, trial.y), 1.0);
    const double aic =
        count * (std::log(2.0 * std::numbers::pi * std::max(fit.rss, rss_floor) / count) + 1.0) +
        2.0 * k;
    const double spare = count - k - 1.0;
    fit.aicc = aic + 2.0 * k * (k + 1.0) / std::max(spare, 0.5);
    if (!solved.singular) {
        fit.v11 = variance * solved.x11;
        fit.v12 = variance * solved.x12;
        fit.v22 = variance * solved.x22;
    }
    judge(fit, trial);
    return fit;
}

std::vector<Fit> fit_all(std::span<const TrialPlot> plots) {
    std::vector<Fit> fits{fit_curve(plots, CurveForm::flat),
                          fit_curve(plots, CurveForm::quadratic)};
    const Trial trial = read_trial(plots);
    if (trial.rates.size() >= 4) {
        fits.push_back(fit_curve(plots, CurveForm::linear_plateau));
        fits.push_back(fit_curve(plots, CurveForm::quadratic_plateau));
    }
    std::stable_sort(fits.begin(), fits.end(),
                     [](const Fit& a, const Fit& b) { return a.aicc < b.aicc; });
    return fits;
}

const Fit* preferred(const std::vector<Fit>& fits) {
    const Fit* best = nullptr;
    for (const Fit& fit : fits) {
        if (fit.usable && (best == nullptr || fit.aicc < best->aicc)) best = &fit;
    }
    if (best == nullptr || best->curve.form != CurveForm::quadratic) return best;
    const Fit* plateau = nullptr;
    for (const Fit& fit : fits) {
        const bool is_plateau = fit.curve.form == CurveForm::linear_plateau ||
                                fit.curve.form == CurveForm::quadratic_plateau;
        if (fit.usable && is_plateau && fit.aicc <= best->aicc + 2.0 &&
            (plateau == nullptr || fit.aicc < plateau->aicc)) {
            plateau = &fit;
        }
    }
    return plateau != nullptr ? plateau : best;
}

double predict(const Fit& fit, double n_kg_ha) {
    if (!(n_kg_ha >= fit.lowest_rate_kg_ha && n_kg_ha <= fit.highest_rate_kg_ha)) {
        throw Error(ErrorKind::data,
                    shortest(n_kg_ha) + " kg/ha lies outside the tested rates, " +
                        shortest(fit.lowest_rate_kg_ha) + " to " +
                        shortest(fit.highest_rate_kg_ha) + " kg/ha",
                    {.hint = "A curve says nothing beyond the rates of its trial."});
    }
    return fit.curve.yield_kg_ha(n_kg_ha);
}

double price_ratio(const Prices& prices) {
    if (!(prices.n_per_kg > 0.0 && std::isfinite(prices.n_per_kg))) {
        throw Error(ErrorKind::usage, "the price of nitrogen must be above 0",
                    {.hint = "Give it per kg or lb of nitrogen, not of product."});
    }
    if (!(prices.crop_per_kg > 0.0 && std::isfinite(prices.crop_per_kg))) {
        throw Error(ErrorKind::usage, "the price of the crop must be above 0");
    }
    return prices.n_per_kg / prices.crop_per_kg;
}

double optimum_kg_ha(const Curve& curve, double ratio) {
    switch (curve.form) {
        case CurveForm::flat:
            break;
        case CurveForm::linear_plateau:
            return curve.b > ratio ? curve.join : 0.0;
        case CurveForm::quadratic:
            return curve.b > ratio ? (ratio - curve.b) / (2.0 * curve.c) : 0.0;
        case CurveForm::quadratic_plateau:
            return std::clamp((ratio - curve.b) / (2.0 * curve.c), 0.0, curve.join);
    }
    return 0.0;
}

Optimum economic_optimum(const Fit& fit, double ratio, double level, double off_by_kg_ha) {
    check_ratio(ratio);
    if (!(level >= 0.5 && level <= 0.999)) {
        throw Error(ErrorKind::usage, "the confidence level must lie between 0.5 and 0.999");
    }
    if (!fit.usable) {
        throw Error(ErrorKind::data, "no optimum from the " +
                                         std::string(curve_form_name(fit.curve.form)) +
                                         " curve: " + fit.reason);
    }
    const Curve& curve = fit.curve;
    const double unlimited = optimum_kg_ha(curve, ratio);
    Optimum optimum;
    optimum.curve_n_kg_ha = unlimited;
    optimum.n_kg_ha = std::clamp(unlimited, fit.lowest_rate_kg_ha, fit.highest_rate_kg_ha);
    const bool line_to_the_end = curve.form == CurveForm::linear_plateau && unlimited > 0.0 &&
                                 curve.join >= fit.highest_rate_kg_ha * (1.0 - 1e-6);
    if (unlimited > fit.highest_rate_kg_ha || line_to_the_end) {
        optimum.beyond_tested = true;
        optimum.warnings.emplace_back(
            "more nitrogen still paid at the highest rate tested: the optimum is not known, that "
            "rate stands for it");
    } else if (unlimited < fit.lowest_rate_kg_ha) {
        optimum.warnings.emplace_back("the optimum lies below the lowest rate tested");
    }

    optimum.interval_method = "none";
    const double t = student_t(level, fit.plots - fit.parameters);
    if (curve.form == CurveForm::quadratic || curve.form == CurveForm::quadratic_plateau) {
        fieller_interval(optimum, fit, ratio, t);
        cut_interval(optimum, fit);
    } else if (curve.form == CurveForm::linear_plateau && unlimited > 0.0 && fit.v22 > 0.0) {
        optimum.interval_method = "delta";
        optimum.low_kg_ha = unlimited - t * std::sqrt(fit.v22);
        optimum.high_kg_ha = unlimited + t * std::sqrt(fit.v22);
        cut_interval(optimum, fit);
    }

    const auto net = [&](double n) { return curve.yield_kg_ha(n) - ratio * n; };
    optimum.yield_kg_ha = curve.yield_kg_ha(optimum.n_kg_ha);
    optimum.return_over_none_kg_ha = net(optimum.n_kg_ha) - net(fit.lowest_rate_kg_ha);
    if (optimum.n_kg_ha - off_by_kg_ha >= fit.lowest_rate_kg_ha) {
        optimum.loss_below_kg_ha = net(optimum.n_kg_ha) - net(optimum.n_kg_ha - off_by_kg_ha);
    }
    if (optimum.n_kg_ha + off_by_kg_ha <= fit.highest_rate_kg_ha) {
        optimum.loss_above_kg_ha = net(optimum.n_kg_ha) - net(optimum.n_kg_ha + off_by_kg_ha);
    }
    return optimum;
}

AverageResponse average_response(std::span<const Curve> sites, const Prices& prices,
                                 double max_kg_ha, double tolerance_per_ha) {
    const double ratio = price_ratio(prices);
    if (sites.empty()) throw Error(ErrorKind::data, "an average response needs trial curves");
    if (!(max_kg_ha > 0.0 && std::isfinite(max_kg_ha))) {
        throw Error(ErrorKind::data, "the highest tested rate must be above 0");
    }
    for (std::size_t i = 0; i < sites.size(); ++i) {
        const Curve& curve = sites[i];
        const bool bends_up =
            curve.c > 0.0 || (curve.form != CurveForm::quadratic && curve.b < 0.0);
        if (bends_up) {
            throw Error(ErrorKind::data, "a trial curve bends upwards",
                        {.feature = "site " + std::to_string(i + 1),
                         .hint = "Use a flat curve for a site without response."});
        }
    }
    const double count = static_cast<double>(sites.size());
    const auto mean_slope = [&](double n) {
        double sum = 0.0;
        for (const Curve& curve : sites) sum += curve.slope(n);
        return sum / count;
    };
    const auto net_kg_ha = [&](double n) {
        double sum = 0.0;
        for (const Curve& curve : sites) sum += curve.yield_kg_ha(n) - curve.a;
        return sum / count - ratio * n;
    };
    // The mean of curves with falling slopes has a falling slope, so halving finds its zero.
    const auto halve = [](double low, double high, auto before) {
        for (int i = 0; i < 100; ++i) {
            const double middle = 0.5 * (low + high);
            (before(middle) ? low : high) = middle;
        }
        return 0.5 * (low + high);
    };
    AverageResponse result;
    result.sites = static_cast<int>(sites.size());
    result.n_kg_ha = halve(0.0, max_kg_ha, [&](double n) { return mean_slope(n) > ratio; });
    const double best = net_kg_ha(result.n_kg_ha);
    const double enough = best - tolerance_per_ha / prices.crop_per_kg;
    result.low_kg_ha = net_kg_ha(0.0) >= enough ? 0.0 : halve(0.0, result.n_kg_ha, [&](double n) {
        return net_kg_ha(n) < enough;
    });
    result.high_kg_ha =
        net_kg_ha(max_kg_ha) >= enough
            ? max_kg_ha
            : halve(result.n_kg_ha, max_kg_ha, [&](double n) { return net_kg_ha(n) >= enough; });
    result.net_gain_per_ha = best * prices.crop_per_kg;
    if (mean_slope(max_kg_ha) > ratio) {
        result.warnings.emplace_back(
            "more nitrogen still paid at the highest rate that all trials tested");
    }
    if (sites.size() < 10) {
        result.warnings.push_back("only " + std::to_string(sites.size()) +
                                  " trials: an average response rests on many site-years");
    }
    return result;
}

double student_t(double level, int df) {
    if (df < 1 || !(level > 0.0 && level < 1.0)) {
        throw Error(ErrorKind::internal, "Student's t needs a level in (0, 1) and df of 1 or more");
    }
    // P(|T| > t) = I(df / (df + t2); df/2, 1/2)
    const auto outside = [&](double t) {
        return incomplete_beta(0.5 * df, 0.5, df / (df + t * t));
    };
    double low = 0.0, high = 1.0;
    while (outside(high) > 1.0 - level) high *= 2.0;
    for (int i = 0; i < 200 && high - low > 1e-12 * high; ++i) {
        const double middle = 0.5 * (low + high);
        (outside(middle) > 1.0 - level ? low : high) = middle;
    }
    return 0.5 * (low + high);
}

}  // namespace catchfield::nitrogen
