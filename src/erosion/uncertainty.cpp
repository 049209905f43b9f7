// SPDX-License-Identifier: MIT
// Latin hypercube draws, intervals and what moves them.
#include "erosion/uncertainty.hpp"

#include "base/error.hpp"
#include "base/random.hpp"
#include "base/text.hpp"
#include "erosion/data.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <numeric>

namespace catchfield::erosion {

namespace {

constexpr std::size_t inputs = uncertain_inputs;
constexpr const char* input_ids[inputs] = {"erosivity",   "erodibility",   "slope_length",
                                           "cover_mass",  "residue_alpha", "residue_decay",
                                           "cover_effect"};

/// Inverse of the standard normal distribution by Newton's method on erfc; started at the middle it
/// closes in from one side, since the distribution bends one way on each side of 0.
double normal_score(double probability) {
    const double p = std::max(probability, 1.0 - probability);
    double z = 0.0;
    for (int i = 0; i < 100; ++i) {
        const double density = std::exp(-0.5 * z * z) / std::sqrt(2.0 * std::numbers::pi);
        const double step = (p - 1.0 + 0.5 * std::erfc(z / std::numbers::sqrt2)) / density;
        z += step;
        if (std::abs(step) < 1e-12) break;
    }
    return probability < 0.5 ? -z : z;
}

double log_sd(double cv) {
    return std::sqrt(std::log1p(cv * cv));
}

Interval interval_of(std::vector<double>& values) {
    std::sort(values.begin(), values.end());
    const auto quantile = [&](double q) {
        const double at = q * static_cast<double>(values.size() - 1);
        const std::size_t low = static_cast<std::size_t>(at);
        const std::size_t high = std::min(low + 1, values.size() - 1);
        return std::lerp(values[low], values[high], at - static_cast<double>(low));
    };
    return {quantile(0.1), quantile(0.5), quantile(0.9)};
}

/// Squared Spearman correlation of every input with an output, scaled to sum 1.
std::array<double, inputs> weights_of(const Design& design, const std::vector<double>& output) {
    const std::size_t n = design.draws;
    std::array<double, inputs> weight{};
    const auto [least, most] = std::minmax_element(output.begin(), output.end());
    if (*most - *least <= 1e-12 * (std::abs(*most) + std::abs(*least))) return weight;
    std::vector<std::uint32_t> order(n);
    std::iota(order.begin(), order.end(), 0u);
    std::sort(order.begin(), order.end(), [&](std::uint32_t a, std::uint32_t b) {
        return output[a] != output[b] ? output[a] < output[b] : a < b;
    });
    std::array<double, inputs> covariance{};
    const double mean = static_cast<double>(n - 1) / 2.0;
    for (std::size_t place = 0; place < n; ++place)
        for (std::size_t k = 0; k < inputs; ++k)
            covariance[k] += (static_cast<double>(place) - mean) *
                             (static_cast<double>(design.rank[order[place] * inputs + k]) - mean);
    double sum = 0.0;
    for (std::size_t k = 0; k < inputs; ++k) {
        weight[k] = covariance[k] * covariance[k];
        sum += weight[k];
    }
    if (sum > 0.0)
        for (double& w : weight) w /= sum;
    return weight;
}

UncertainInput strongest(const std::array<double, inputs>& weight) {
    return static_cast<UncertainInput>(
        std::distance(weight.begin(), std::max_element(weight.begin(), weight.end())));
}

}  // namespace

std::string_view uncertain_input_name(UncertainInput input) {
    constexpr std::string_view names[] = {"erosivity R",
                                          "soil erodibility K",
                                          "slope length",
                                          "cover crop mass",
                                          "residue cover per mass",
                                          "residue decay",
                                          "effect of surface cover"};
    return names[static_cast<std::size_t>(input)];
}

Spreads parse_spreads(const Table& table) {
    table.require({"input", "cv", "source", "confidence"});
    Spreads result;
    result.confidence = Confidence::verified;
    std::array<bool, inputs> seen{};
    for (std::size_t row = 0; row < table.rows(); ++row) {
        const std::string& id = table.text(row, "input");
        const auto at = std::find(std::begin(input_ids), std::end(input_ids), id);
        if (at == std::end(input_ids)) {
            const std::string near = nearest_name(
                id, std::vector<std::string>(std::begin(input_ids), std::end(input_ids)));
            table.fail(row, "input", "unknown input '" + id + "'",
                       near.empty() ? "" : "Did you mean '" + near + "'?");
        }
        const std::size_t k = static_cast<std::size_t>(at - std::begin(input_ids));
        if (seen[k]) table.fail(row, "input", "'" + id + "' is there twice");
        seen[k] = true;
        const double cv = table.required_number(row, "cv");
        if (cv < 0.0 || cv > 2.0) table.fail(row, "cv", "must lie between 0 and 2");
        result.cv[k] = cv;
        result.confidence =
            weakest(result.confidence, parse_confidence(table.text(row, "confidence")));
    }
    for (std::size_t k = 0; k < inputs; ++k)
        if (!seen[k])
            throw Error(ErrorKind::data, std::string("input '") + input_ids[k] + "' is missing",
                        {.path = table.name()});
    return result;
}

const Spreads& spreads() {
    static const Spreads built_in = parse_spreads(Table::parse(data::spreads, "spreads.csv"));
    return built_in;
}

Design latin_hypercube(std::size_t draws, std::uint64_t seed) {
    if (draws < 20 || draws > 100000)
        throw Error(
            ErrorKind::usage,
            "the number of draws must lie between 20 and 100000, but is " + std::to_string(draws));
    Design design;
    design.draws = draws;
    design.score.resize(draws * inputs);
    design.rank.resize(draws * inputs);
    Random random(seed);
    std::vector<std::uint32_t> strata(draws);
    for (std::size_t k = 0; k < inputs; ++k) {
        std::iota(strata.begin(), strata.end(), 0u);
        random.shuffle(strata);
        for (std::size_t i = 0; i < draws; ++i) {
            const double p = (strata[i] + std::clamp(random.uniform(), 1e-9, 1.0 - 1e-9)) /
                             static_cast<double>(draws);
            design.score[i * inputs + k] = normal_score(p);
            design.rank[i * inputs + k] = strata[i];
        }
    }
    return design;
}

CDraws c_draws(const Schedule& without, const Schedule& with, const Design& design,
               const Spreads& spread) {
    std::array<double, inputs> sd{};
    for (std::size_t k = 0; k < inputs; ++k) sd[k] = log_sd(spread.cv[k]);
    CDraws result;
    result.without.resize(design.draws);
    result.with.resize(design.draws);
    for (std::size_t i = 0; i < design.draws; ++i) {
        const double* z = &design.score[i * inputs];
        const auto factor = [&](UncertainInput input) {
            const std::size_t k = static_cast<std::size_t>(input);
            return std::exp(sd[k] * z[k]);
        };
        const Perturbation x{
            factor(UncertainInput::cover_mass), factor(UncertainInput::residue_alpha),
            factor(UncertainInput::residue_decay), factor(UncertainInput::cover_effect)};
        result.without[i] = without.c(x);
        result.with[i] = with.c(x);
    }
    return result;
}

Uncertainty soil_loss_uncertainty(const Factors& now, double slope_length_exponent, const CDraws& c,
                                  const Design& design, const Spreads& spread) {
    if (!(slope_length_exponent >= 0.0 && slope_length_exponent <= 1.0))
        throw Error(ErrorKind::data, "the slope length exponent must lie between 0 and 1, but is " +
                                         shortest(slope_length_exponent));
    if (c.without.size() != design.draws || c.with.size() != design.draws)
        throw Error(ErrorKind::internal, "draws of C and design differ in number");
    const double sd_r = log_sd(spread.of(UncertainInput::erosivity));
    const double sd_k = log_sd(spread.of(UncertainInput::erodibility));
    const double sd_l = log_sd(spread.of(UncertainInput::slope_length)) * slope_length_exponent;
    const double base = now.r_si * now.k_si * now.ls * now.p;
    const std::size_t n = design.draws;
    std::vector<double> loss_now(n);
    std::vector<double> loss_cover(n);
    std::vector<double> cut(n);
    for (std::size_t i = 0; i < n; ++i) {
        const double* z = &design.score[i * inputs];
        const double a = base * std::exp(sd_r * z[0] + sd_k * z[1] + sd_l * z[2]);
        loss_now[i] = a * c.without[i];
        loss_cover[i] = a * c.with[i];
        cut[i] = c.without[i] > 0.0 ? 100.0 * (1.0 - c.with[i] / c.without[i]) : 0.0;
    }
    Uncertainty result;
    result.draws = n;
    result.loss_weight = weights_of(design, loss_cover);
    result.cut_weight = weights_of(design, cut);
    result.loss_driver = strongest(result.loss_weight);
    result.cut_driver = strongest(result.cut_weight);
    result.loss_now_mg_ha = interval_of(loss_now);
    result.loss_cover_mg_ha = interval_of(loss_cover);
    result.cut_pct = interval_of(cut);
    return result;
}

Uncertainty soil_loss_uncertainty(const Factors& now, double slope_length_exponent,
                                  const Schedule& without, const Schedule& with,
                                  const Design& design, const Spreads& spread) {
    return soil_loss_uncertainty(now, slope_length_exponent, c_draws(without, with, design, spread),
                                 design, spread);
}

}  // namespace catchfield::erosion
