// SPDX-License-Identifier: MIT
#include "prescription/rate_rule.hpp"

#include "base/error.hpp"
#include "base/text.hpp"

#include <algorithm>
#include <cmath>

namespace catchfield::prescription {

namespace {

constexpr double slack = 1e-9;  // of a step: 0.3 / 0.1 is three steps

/// Whole steps that lie within the bounds.
struct Steps {
    double first = 0.0, last = 0.0;
};

double lower_bound(const RateRule& rule) {
    return std::max(rule.floor, rule.least_applicable);
}

Steps steps_of(const RateRule& rule) {
    return {std::ceil(lower_bound(rule) / rule.step - slack),
            std::floor(rule.cap / rule.step + slack)};
}

bool same_rate(double a, double b) {
    return std::fabs(a - b) <= 1e-9 * std::max(1.0, std::fabs(a));
}

/// Zones of one rate.
struct Group {
    double rate = 0.0, area_ha = 0.0;
    std::vector<std::size_t> zones;
};

std::vector<Group> group_by_rate(const std::vector<double>& rates,
                                 const std::vector<double>& areas_ha) {
    std::vector<std::size_t> order(rates.size());
    for (std::size_t i = 0; i < order.size(); ++i) order[i] = i;
    std::stable_sort(order.begin(), order.end(),
                     [&](std::size_t a, std::size_t b) { return rates[a] < rates[b]; });
    std::vector<Group> groups;
    for (const std::size_t i : order) {
        if (groups.empty() || !same_rate(groups.back().rate, rates[i])) {
            groups.push_back({rates[i], 0.0, {}});
        }
        groups.back().area_ha += areas_ha[i];
        groups.back().zones.push_back(i);
    }
    return groups;
}

double merged_rate(const Group& a, const Group& b) {
    const double area = a.area_ha + b.area_ha;
    return area > 0.0 ? (a.rate * a.area_ha + b.rate * b.area_ha) / area : 0.5 * (a.rate + b.rate);
}

/// Product that changes its place when two groups become one.
double moved_product(const Group& a, const Group& b) {
    const double rate = merged_rate(a, b);
    return std::fabs(rate - a.rate) * a.area_ha + std::fabs(b.rate - rate) * b.area_ha;
}

}  // namespace

void check_rule(const RateRule& rule) {
    if (!(rule.floor >= 0.0 && std::isfinite(rule.floor)) ||
        !(rule.step >= 0.0 && std::isfinite(rule.step)) ||
        !(rule.least_applicable >= 0.0 && std::isfinite(rule.least_applicable)) ||
        !(rule.cap >= 0.0)) {
        throw Error(ErrorKind::usage,
                    "minimum, maximum, step and least applicable rate must be 0 or more");
    }
    if (lower_bound(rule) > rule.cap) {
        throw Error(ErrorKind::usage, "the least rate of " + shortest(lower_bound(rule)) +
                                          " is above the highest of " + shortest(rule.cap));
    }
    if (rule.step > 0.0 && rule.cap > 0.0) {
        const Steps steps = steps_of(rule);
        if (steps.first > steps.last) {
            throw Error(ErrorKind::usage, "no multiple of the step " + shortest(rule.step) +
                                              " lies between " + shortest(lower_bound(rule)) +
                                              " and " + shortest(rule.cap));
        }
    }
}

SettledRate apply_rule(double rate, const RateRule& rule) {
    if (rate < 0.5 * rule.least_applicable) {
        return {0.0, rate > 0.0 ? "below half the least applicable rate: nothing applied" : ""};
    }
    SettledRate result{std::clamp(rate, lower_bound(rule), rule.cap), {}};
    if (result.value > rate) {
        result.note = rate < rule.least_applicable && rule.least_applicable >= rule.floor
                          ? "raised to the least applicable rate"
                          : "raised to the minimum";
    } else if (result.value < rate) {
        result.note = "cut to the maximum";
    }
    if (rule.step > 0.0) {
        const Steps steps = steps_of(rule);
        const double nearest = std::floor(result.value / rule.step + 0.5 + slack);
        const double stepped = std::clamp(nearest, steps.first, steps.last) * rule.step;
        if (result.note.empty() && !same_rate(stepped, result.value)) {
            result.note = "rounded to the machine step";
        }
        result.value = stepped;
    }
    return result;
}

ZoneRates limit_distinct(const std::vector<double>& rates, const std::vector<double>& areas_ha,
                         int limit, const RateRule& rule) {
    if (limit < 1) throw Error(ErrorKind::usage, "the number of different rates must be 1 or more");
    if (rates.size() != areas_ha.size()) {
        throw Error(ErrorKind::internal, "rates and areas differ in number");
    }
    ZoneRates result{rates, {}};
    std::vector<Group> groups = group_by_rate(result.rates, areas_ha);
    const std::size_t before = groups.size();
    while (groups.size() > static_cast<std::size_t>(limit)) {
        // A zero is a decision to apply nothing; it joins others only when there is no other way.
        const std::size_t first = groups[0].rate == 0.0 && groups.size() > 2 ? 1 : 0;
        std::size_t best = first;
        for (std::size_t i = first + 1; i + 1 < groups.size(); ++i) {
            if (moved_product(groups[i], groups[i + 1]) <
                moved_product(groups[best], groups[best + 1])) {
                best = i;
            }
        }
        const double rate = apply_rule(merged_rate(groups[best], groups[best + 1]), rule).value;
        for (const std::size_t half : {best, best + 1}) {
            for (const std::size_t zone : groups[half].zones) result.rates[zone] = rate;
        }
        groups = group_by_rate(result.rates, areas_ha);
    }
    if (groups.size() < before) {
        result.warnings.push_back(std::to_string(before) + " different rates merged into " +
                                  std::to_string(groups.size()));
    }
    return result;
}

std::vector<std::string> close_neighbours(const std::vector<double>& rates,
                                          const std::vector<Neighbours>& pairs,
                                          double least_difference,
                                          const std::vector<std::string>& names) {
    std::vector<std::string> warnings;
    for (const Neighbours& pair : pairs) {
        const auto a = static_cast<std::size_t>(pair.first);
        const auto b = static_cast<std::size_t>(pair.second);
        const double difference = std::fabs(rates.at(a) - rates.at(b));
        if (same_rate(rates[a], rates[b]) || difference >= least_difference * (1.0 - slack))
            continue;
        warnings.push_back("zones " + names.at(a) + " and " + names.at(b) + " differ by " +
                           significant(difference, 3) + ", less than the " +
                           significant(least_difference, 3) + " the machine can tell apart");
    }
    return warnings;
}

std::vector<double> split_rate(double rate, const std::vector<SplitPass>& passes,
                               const RateRule& rule) {
    double shares = 0.0;
    for (const SplitPass& pass : passes) {
        if (!(pass.share >= 0.0 && pass.share <= 1.0)) {
            throw Error(ErrorKind::usage, "the share of a pass must lie between 0 and 1",
                        {.feature = pass.label});
        }
        shares += pass.share;
    }
    if (passes.empty() || std::fabs(shares - 1.0) > 0.001) {
        throw Error(ErrorKind::usage, "the shares of the passes must add to 1",
                    {.hint = "They add to " + shortest(shares) + "."});
    }
    std::vector<double> result(passes.size(), 0.0);
    std::vector<std::size_t> active;  // largest share first
    for (std::size_t i = 0; i < passes.size(); ++i) {
        if (passes[i].share > 0.0) active.push_back(i);
    }
    std::stable_sort(active.begin(), active.end(), [&](std::size_t a, std::size_t b) {
        return passes[a].share > passes[b].share;
    });
    for (;;) {
        double total_share = 0.0;
        for (const std::size_t i : active) total_share += passes[i].share;
        double rest = rate;
        for (std::size_t k = active.size(); k-- > 1;) {
            double value = rate * passes[active[k]].share / total_share;
            if (rule.step > 0.0) value = std::floor(value / rule.step + 0.5 + slack) * rule.step;
            result[active[k]] = value;
            rest -= value;
        }
        result[active[0]] = rest;
        const bool too_small = std::any_of(active.begin(), active.end(), [&](std::size_t i) {
            return result[i] < rule.least_applicable * (1.0 - slack) || result[i] < 0.0;
        });
        if (!too_small || active.size() == 1) return result;
        result[active.back()] = 0.0;
        active.pop_back();
    }
}

double transition_distance_m(const Machine& machine) {
    if (!(machine.speed_km_h > 0.0 && machine.speed_km_h <= 60.0) ||
        !(machine.lag_s >= 0.0 && machine.lag_s <= 60.0) ||
        !(machine.width_m > 0.0 && machine.width_m <= 100.0)) {
        throw Error(ErrorKind::usage,
                    "a machine needs a speed (0-60 km/h), a lag (0-60 s) and a width (0-100 m)");
    }
    return machine.speed_km_h / 3.6 * machine.lag_s;
}

}  // namespace catchfield::prescription
