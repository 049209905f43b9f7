// SPDX-License-Identifier: MIT
#include "nitrogen/budget.hpp"

#include "base/error.hpp"
#include "base/random.hpp"
#include "base/text.hpp"
#include "base/units.hpp"

#include <algorithm>
#include <cmath>

namespace catchfield::nitrogen {

namespace {

using units::kg_ha_per_lb_ac;

[[noreturn]] void missing(const Method& method, const std::string& what, const std::string& hint) {
    throw Error(ErrorKind::usage, "method '" + method.id + "' needs " + what, {.hint = hint});
}

double checked_yield_bu_ac(const ZoneNeeds& zone) {
    if (!zone.yield_goal_kg_ha) {
        missing(*zone.method, "a yield goal", "Give yield-goal, yield-column or yield-raster.");
    }
    const double goal = *zone.yield_goal_kg_ha;
    if (!(goal > 0.0 && goal <= 40000.0)) {
        throw Error(ErrorKind::data,
                    "a yield goal of " + shortest(goal) + " kg/ha is not above 0 and up to 40,000");
    }
    return yield_bu_ac(goal, crop(zone.crop));
}

/// A line from a coefficient: value x factor lb/ac with the coefficient's range.
BudgetLine coefficient_line(std::string label, const Coefficient& one, double factor_lb_ac,
                            std::string note) {
    const double factor = factor_lb_ac * kg_ha_per_lb_ac;
    BudgetLine line{std::move(label), one.value * factor, one.low * factor, one.high * factor,
                    one.source,       one.confidence,     std::move(note)};
    if (line.low_kg_ha > line.high_kg_ha) std::swap(line.low_kg_ha, line.high_kg_ha);
    return line;
}

BudgetLine contained_line(const std::string& label, const Method& method) {
    return {label,
            0.0,
            0.0,
            0.0,
            method.source,
            method.confidence,
            "already in the method, not counted again"};
}

void add_balance(Budget& budget, const ZoneNeeds& zone) {
    const double goal = checked_yield_bu_ac(zone);
    const Coefficient& n = zone.method->require("n_lb_per_bu", zone.crop);
    budget.lines.push_back(coefficient_line("Crop need", n, goal,
                                            shortest(n.value) + " lb/bu x " + fixed(goal, 1) +
                                                " bu/ac (" + fixed(*zone.yield_goal_kg_ha, 0) +
                                                " kg/ha)"));
}

void add_corn_balance(Budget& budget, const ZoneNeeds& zone) {
    const Method& method = *zone.method;
    const double goal = checked_yield_bu_ac(zone);
    const Coefficient& constant = method.require("constant_lb", zone.crop);
    const Coefficient& per_bushel = method.require("n_lb_per_bu", zone.crop);
    const Coefficient& per_ppm = method.require("nitrate_lb_per_ppm", zone.crop);
    const Coefficient& per_om = method.require("om_lb_per_bu_pct", zone.crop);
    if (!zone.organic_matter_pct) {
        missing(method, "organic matter", "Give it by soil test or soil map, or use balance.");
    }
    const double om =
        std::clamp(*zone.organic_matter_pct, method.require("om_min_pct", zone.crop).value,
                   method.require("om_max_pct", zone.crop).value);
    budget.lines.push_back(coefficient_line("Method constant", constant, 1.0, ""));
    budget.lines.push_back(
        coefficient_line("Crop need", per_bushel, goal,
                         shortest(per_bushel.value) + " lb/bu x " + fixed(goal, 1) + " bu/ac"));
    if (zone.nitrate) {
        budget.lines.push_back(coefficient_line(
            "Soil nitrate", per_ppm, -zone.nitrate->mean_ppm,
            shortest(per_ppm.value) + " lb/ac x " + fixed(zone.nitrate->mean_ppm, 1) + " ppm"));
        for (const std::string& text : zone.nitrate->warnings) budget.cautions.push_back(text);
    } else {
        const Coefficient& assumed = method.require(
            zone.coarse_soil ? "default_nitrate_coarse_ppm" : "default_nitrate_ppm", zone.crop);
        budget.lines.push_back(
            coefficient_line("Soil nitrate", assumed, -per_ppm.value,
                             "no deep sample: " + shortest(assumed.value) + " ppm taken"));
        budget.cautions.push_back("no deep nitrate sample: " + shortest(assumed.value) +
                                  " ppm taken");
    }
    budget.lines.push_back(coefficient_line(
        "Organic matter", per_om, -goal * om,
        shortest(per_om.value) + " lb/bu per % x " + fixed(goal, 1) + " bu/ac x " + fixed(om, 2) +
            " %" + (om != *zone.organic_matter_pct ? " (limited by the method)" : "")));
}

void add_late_spring(Budget& budget, const ZoneNeeds& zone) {
    const Method& method = *zone.method;
    const Coefficient& slope = method.require("n_lb_per_ppm", zone.crop);
    const Coefficient& general = method.require("critical_ppm", zone.crop);
    if (!zone.nitrate) missing(method, "a late-spring nitrate test", "Give soil-tests.");
    const double ppm = zone.nitrate->mean_ppm;
    const double critical = zone.critical_ppm.value_or(general.value);
    const double low_critical = zone.critical_ppm ? critical : general.low;
    const auto need = [&](double nc) {
        return late_spring_need_lb_ac(method, ppm, nc) * kg_ha_per_lb_ac;
    };
    budget.lines.push_back({"Late-spring nitrate test", need(critical),
                            need(std::min(low_critical, critical)), need(critical), slope.source,
                            slope.confidence,
                            shortest(slope.value) + " lb/ac x (" + shortest(critical) + " - " +
                                fixed(ppm, 1) + " ppm)"});
    if (zone.nitrate->depth_cm < 25.0 || zone.nitrate->depth_cm > 35.0) {
        budget.cautions.push_back(
            "the late-spring test is made for 0 to 30 cm; the sample covers " +
            fixed(zone.nitrate->depth_cm, 0) + " cm");
    }
}

void add_base(Budget& budget, const ZoneNeeds& zone) {
    const Method& method = *zone.method;
    if (!zone.base_kg_ha) missing(method, "its rate", "Fit trials first or give the rate.");
    const double base = *zone.base_kg_ha;
    const double low = zone.base_low_kg_ha.value_or(base);
    const double high = zone.base_high_kg_ha.value_or(base);
    if (!(base >= 0.0 && base <= 1000.0 && low <= base && base <= high)) {
        throw Error(ErrorKind::data, "a base rate of " + shortest(base) + " kg/ha (" +
                                         shortest(low) + " to " + shortest(high) +
                                         ") is not between 0 and 1000 or not in order");
    }
    budget.lines.push_back({method.title, base, low, high,
                            zone.base_source.empty() ? method.source : zone.base_source,
                            weakest(method.confidence, zone.base_confidence), ""});
}

void add_soil(Budget& budget, const ZoneNeeds& zone) {
    const Method& method = *zone.method;
    if (method.form == MethodForm::corn_balance || method.form == MethodForm::late_spring) return;
    if (zone.nitrate && method.contains.soil_nitrate) {
        budget.lines.push_back(contained_line("Soil nitrate", method));
    } else if (zone.nitrate) {
        const double n = zone.nitrate->n_kg_ha;
        const Coefficient& range = method.require("nitrate_relative_range", zone.crop);
        budget.lines.push_back(
            {"Soil nitrate", -n, -(1.0 + range.value) * n, -(1.0 - range.value) * n, "soil test",
             zone.nitrate->field_rule ? Confidence::common_practice : Confidence::verified,
             fixed(zone.nitrate->mean_ppm, 1) + " ppm over " + fixed(zone.nitrate->depth_cm, 0) +
                 " cm" + (zone.nitrate->field_rule ? ", field rule for density" : "")});
        for (const std::string& text : zone.nitrate->warnings) budget.cautions.push_back(text);
    }
    if (!zone.organic_matter_pct) return;
    if (method.contains.organic_matter) {
        budget.lines.push_back(contained_line("Organic matter", method));
        return;
    }
    const Coefficient& per_pct = method.require("om_lb_per_pct", zone.crop);
    const OrganicMatterSupply supply =
        organic_matter_supply(*zone.organic_matter_pct, per_pct.value);
    budget.lines.push_back(
        {"Organic matter", -supply.n_kg_ha, -supply.high_kg_ha, -supply.low_kg_ha, per_pct.source,
         per_pct.confidence,
         shortest(per_pct.value) + " lb/ac per % x " + fixed(*zone.organic_matter_pct, 2) + " %"});
}

void add_credit(Budget& budget, const std::optional<OtherCredit>& credit, bool contained,
                const Method& method) {
    if (!credit) return;
    for (const std::string& text : credit->cautions) budget.cautions.push_back(text);
    if (contained) {
        budget.lines.push_back(contained_line(credit->label, method));
        return;
    }
    budget.lines.push_back({credit->label, -credit->credit_kg_ha, -credit->high_kg_ha,
                            -credit->low_kg_ha, credit->source, credit->confidence, ""});
}

/// Where the cover credit stands in the lines, or none.
std::optional<std::size_t> add_cover(Budget& budget, const ZoneNeeds& zone) {
    if (!zone.cover) return {};
    const CoverCredit& cover = *zone.cover;
    for (const std::string& text : cover.cautions) budget.cautions.push_back(text);
    if (!cover.advice.empty()) budget.cautions.push_back(cover.advice);
    if (zone.method->contains.cover) {
        budget.lines.push_back(contained_line("Cover crop", *zone.method));
        return {};
    }
    budget.lines.push_back({"Cover crop credit", -cover.credit_kg_ha, -cover.high_kg_ha,
                            -cover.low_kg_ha, cover.source, cover.confidence,
                            cover.rule + (cover.weak_evidence ? "; weak evidence" : "")});
    return budget.lines.size() - 1;
}

void add_tie_up(Budget& budget, const ZoneNeeds& zone) {
    if (!zone.cover || zone.method->contains.cover) return;
    const CoverCredit& cover = *zone.cover;
    if (cover.tie_up_kg_ha == 0.0 && cover.tie_up_high_kg_ha == 0.0) return;
    budget.lines.push_back(
        {"Tie-up by the cover", cover.tie_up_kg_ha, cover.tie_up_low_kg_ha, cover.tie_up_high_kg_ha,
         "net release of the residue; cap from PNW 636 (Sullivan & Andrews 2012)",
         cover.tie_up_confidence, "allowance, capped"});
}

double sum_of(const std::vector<BudgetLine>& lines) {
    double sum = 0.0;
    for (const BudgetLine& line : lines) sum += line.n_kg_ha;
    return sum;
}

/// One draw from a triangular distribution, by its inverse.
double triangular(double low, double mode, double high, double u) {
    const double width = high - low;
    if (!(width > 0.0)) return mode;
    const double turn = (mode - low) / width;
    return u < turn ? low + std::sqrt(u * width * (mode - low))
                    : high - std::sqrt((1.0 - u) * width * (high - mode));
}

struct Interval {
    double low = 0.0, high = 0.0;
};

Interval need_interval(const std::vector<BudgetLine>& lines, const IntervalSettings& settings) {
    if (settings.draws <= 0) {
        double mean = 0.0, variance = 0.0;
        for (const BudgetLine& line : lines) {
            const double a = line.low_kg_ha, m = line.n_kg_ha, b = line.high_kg_ha;
            mean += (a + m + b) / 3.0;
            variance += (a * a + m * m + b * b - a * m - a * b - m * b) / 18.0;
        }
        const double half = 1.6448536269514722 * std::sqrt(std::max(variance, 0.0));
        return {mean - half, mean + half};
    }
    Random random(settings.seed);
    std::vector<double> sums(static_cast<std::size_t>(settings.draws), 0.0);
    for (const BudgetLine& line : lines) {
        for (double& sum : sums) {
            sum += triangular(line.low_kg_ha, line.n_kg_ha, line.high_kg_ha, random.uniform());
        }
    }
    const auto percentile = [&](double share) {
        const auto rank =
            static_cast<std::ptrdiff_t>(share * static_cast<double>(sums.size() - 1) + 0.5);
        std::nth_element(sums.begin(), sums.begin() + rank, sums.end());
        return sums[static_cast<std::size_t>(rank)];
    };
    return {percentile(0.05), percentile(0.95)};
}

}  // namespace

Budget zone_budget(const ZoneNeeds& zone, const IntervalSettings& settings) {
    if (zone.method == nullptr) throw Error(ErrorKind::usage, "no nitrogen method is given");
    const Method& method = *zone.method;
    if (zone.organic_matter_pct &&
        !(*zone.organic_matter_pct >= 0.0 && *zone.organic_matter_pct <= 100.0)) {
        throw Error(ErrorKind::data, "organic matter of " + shortest(*zone.organic_matter_pct) +
                                         " % is outside 0 to 100");
    }
    if (!(zone.price_adjust > 0.0 && zone.price_adjust <= 2.0 && zone.timing_adjust > 0.0 &&
          zone.timing_adjust <= 2.0)) {
        throw Error(ErrorKind::usage, "price and timing factors must lie between 0 and 2");
    }

    Budget budget;
    switch (method.form) {
        case MethodForm::balance:
            add_balance(budget, zone);
            break;
        case MethodForm::corn_balance:
            add_corn_balance(budget, zone);
            break;
        case MethodForm::late_spring:
            add_late_spring(budget, zone);
            break;
        case MethodForm::response:
        case MethodForm::average_response:
        case MethodForm::fixed:
            add_base(budget, zone);
            break;
    }
    add_soil(budget, zone);
    add_credit(budget, zone.previous_crop, method.contains.previous_crop, method);
    add_credit(budget, zone.manure, method.contains.manure, method);
    add_credit(budget, zone.irrigation, method.contains.irrigation, method);
    const std::optional<std::size_t> cover_line = add_cover(budget, zone);
    double adjust = 1.0;
    if (method.form == MethodForm::corn_balance) {
        adjust = zone.price_adjust * zone.timing_adjust;
        const double change = (adjust - 1.0) * sum_of(budget.lines);
        if (change != 0.0) {
            budget.lines.push_back({"Price and timing", change, change, change, method.source,
                                    method.confidence, "sum so far x " + shortest(adjust)});
        }
    }
    add_tie_up(budget, zone);

    budget.need_kg_ha = sum_of(budget.lines);
    const std::optional<double> cap =
        method.form == MethodForm::late_spring && zone.manured_or_after_alfalfa
            ? std::optional(method.require("cap_lb", zone.crop).value * kg_ha_per_lb_ac)
            : std::nullopt;
    const auto settled = [&](double need) {
        return std::max(0.0, cap ? std::min(need, *cap) : need);
    };
    budget.rate_kg_ha = budget.need_kg_ha;
    if (cap) settle(budget, std::min(budget.rate_kg_ha, *cap), "Method's cap");
    settle(budget, std::max(0.0, budget.rate_kg_ha), "Nothing below zero",
           "the credits are larger than the need");

    budget.rate_without_cover_credit_kg_ha = budget.rate_kg_ha;
    budget.rate_with_full_cover_credit_kg_ha = budget.rate_kg_ha;
    if (cover_line) {
        const double without = budget.need_kg_ha - adjust * budget.lines[*cover_line].n_kg_ha;
        budget.rate_without_cover_credit_kg_ha = settled(without);
        budget.rate_with_full_cover_credit_kg_ha =
            settled(without - adjust * zone.cover->full_credit_kg_ha);
    }
    const Interval interval = need_interval(budget.lines, settings);
    budget.low_kg_ha = settled(interval.low);
    budget.high_kg_ha = settled(interval.high);
    for (const BudgetLine& line : budget.lines) {
        if (line.n_kg_ha != 0.0) budget.confidence = weakest(budget.confidence, line.confidence);
    }
    return budget;
}

void settle(Budget& budget, double applied_kg_ha, const std::string& label,
            const std::string& note) {
    const double change = applied_kg_ha - budget.rate_kg_ha;
    if (std::fabs(change) > 1e-9) {
        budget.settling.push_back({label, change, change, change, "", Confidence::verified, note});
    }
    budget.rate_kg_ha = applied_kg_ha;
}

}  // namespace catchfield::nitrogen
