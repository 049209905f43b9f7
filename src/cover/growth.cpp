// SPDX-License-Identifier: MIT
#include "cover/growth.hpp"

#include "base/units.hpp"

#include <algorithm>
#include <cmath>

namespace catchfield::cover {

namespace {

constexpr double brassica_lag_c_d = 1000.0 / 1.8;
/// 2 ton/ac per 1000 F degree-days in kg/ha per degC d.
constexpr double brassica_slope = 2.0 * units::mg_ha_per_ton_ac * 1000.0 / (1000.0 / 1.8);
constexpr double vetch_slope = 5.29;

double autumn_mass(const Species& s, double heat, const Constants& c) {
    double mass = 0.0;
    if (s.curve == GrowthCurve::brassica_line) {
        // The published line with its corner rounded, so that young stands have some cover.
        mass = expolinear(heat, brassica_slope * s.curve_factor, brassica_lag_c_d,
                          c.curve_softness_c_d);
    } else {
        const double reference =
            7.0 * c.reference_weeks * std::max(c.reference_autumn_c - s.base_temp_c, 1.0);
        const double slope =
            s.fall_kg_ha.typical / std::max(reference - c.establishment_c_d, 0.25 * reference);
        mass = expolinear(heat, slope, c.establishment_c_d, c.curve_softness_c_d);
    }
    return heat > 0.0 ? std::min(mass, s.fall_kg_ha.high) : 0.0;
}

double reference_spring_heat(const Species& s, const Constants& c) {
    return c.reference_spring_days * std::max(c.reference_spring_c - s.base_temp_c, 1.0);
}

/// Dry matter of a living stand on a day.
double living_mass(const Species& s, const Season& season, Date sow, Date day, const Constants& c) {
    if (day <= sow) return 0.0;
    const double heat = season.heat(s.base_temp_c, sow, day);
    const double autumn = autumn_mass(s, heat, c);
    const Date midwinter = season.midwinter();
    if (day <= midwinter || !s.spring_kg_ha) return autumn;
    const double at_midwinter = autumn_mass(s, season.heat(s.base_temp_c, sow, midwinter), c);
    const double half = c.establishment_half_share * s.fall_kg_ha.typical;
    const double vigour =
        std::min(1.0, at_midwinter / (at_midwinter + half) * (1.0 + c.establishment_half_share));
    const double kept = c.winter_retention * at_midwinter;
    const double full_gain =
        std::max(0.0, s.spring_kg_ha->typical - c.winter_retention * s.fall_kg_ha.typical);
    const double slope =
        s.curve == GrowthCurve::vetch_line ? vetch_slope : full_gain / reference_spring_heat(s, c);
    const double gain = vigour * slope * season.heat(s.base_temp_c, std::max(sow, midwinter), day);
    // A stand does not shrink below what the autumn curve gives for all its heat, which also keeps
    // mass falling with later sowing for sowings near and after midwinter.
    return std::max(autumn, std::min(kept + gain, s.spring_kg_ha->high));
}

/// 0 young to 1 late: by mass, and in spring by heat too, since a thin stand heads as early.
double stage_of(const Species& s, const Season& season, double mass, Date day, const Constants& c) {
    const double late = s.spring_kg_ha ? s.spring_kg_ha->typical : s.fall_kg_ha.high;
    double stage = mass / late;
    if (s.spring_kg_ha && day > season.midwinter()) {
        stage = std::max(stage, season.heat(s.base_temp_c, season.midwinter(), day) /
                                    reference_spring_heat(s, c));
    }
    return std::clamp(stage, 0.0, 1.0);
}

Range with_bounds(double typical, const Range& bounds) {
    return {typical * bounds.low / bounds.typical, typical,
            std::max(typical, std::min(bounds.high, typical * bounds.high / bounds.typical))};
}

Date latest_sowing_date(const Species& s, const Season& season, const Ending& ending,
                        const Constants& c) {
    const SeasonInputs& in = season.inputs();
    const auto days = [](double weeks) { return std::chrono::days(std::lround(7.0 * weeks)); };
    const Date window = in.hard_frost - days(s.window_late_weeks);
    const bool brassica = s.curve == GrowthCurve::brassica_line;
    if (!ending.by_winter && !brassica) return window;
    const Date stop = std::min(in.hard_frost, ending.date);
    const auto enough = [&](Date sow) {
        if (brassica && season.heat(0.0, sow, stop) < c.brassica_least_heat_c_d) return false;
        return autumn_mass(s, season.heat(s.base_temp_c, sow, stop), c) >= c.useful_mass_kg_ha;
    };
    // Heat to frost falls with the sowing date, so the last good date is found by halving.
    Date good = std::min(in.first_day, window);
    Date bad = window + std::chrono::days(1);
    while (days_between(good, bad) > 1) {
        const Date middle = good + std::chrono::days(days_between(good, bad) / 2);
        (enough(middle) ? good : bad) = middle;
    }
    return good;
}

}  // namespace

double brassica_line_kg_ha(double heat_c_d, double r) {
    return brassica_slope * r * std::max(0.0, heat_c_d - brassica_lag_c_d);
}

double vetch_line_kg_ha(double heat_c_d) {
    return vetch_slope * heat_c_d;
}

double expolinear(double heat_c_d, double slope, double lag_c_d, double softness_c_d) {
    const double x = (heat_c_d - lag_c_d) / softness_c_d;
    const double bend = x > 30.0 ? x : std::log1p(std::exp(x));
    return slope * softness_c_d * bend;
}

double residue_cover(double alpha_ha_kg, double mass_kg_ha) {
    return -std::expm1(-alpha_ha_kg * mass_kg_ha);
}

double intercepted_light(double k, double leaf_area_index) {
    return -std::expm1(-k * leaf_area_index);
}

double typical_mass_kg_ha(const Species& species, const Season& season, Date sow, Date day,
                          const Constants& constants) {
    return living_mass(species, season, sow, day, constants);
}

Growth grow(const Species& species, const Season& season, const Constants& constants) {
    const SeasonInputs& in = season.inputs();
    Growth growth;
    growth.ending = how_it_ends(species, season, constants);
    const Date end = growth.ending.date;
    const auto mass = [&](Date sow, Date day) {
        return living_mass(species, season, sow, std::min(day, end), constants);
    };
    const auto stage = [&](double m, Date day) {
        return stage_of(species, season, m, day, constants);
    };

    const double at_frost = mass(in.sow, in.hard_frost);
    const Date autumn_end = std::min(end, season.midwinter());
    const double at_autumn_end = mass(in.sow, autumn_end);
    const double at_end = mass(in.sow, end);
    const bool spring = species.spring_kg_ha && end > season.midwinter();
    growth.frost_kg_ha = with_bounds(at_frost, species.fall_kg_ha);
    growth.fall_kg_ha = with_bounds(at_autumn_end, species.fall_kg_ha);
    growth.end_kg_ha = with_bounds(at_end, spring ? *species.spring_kg_ha : species.fall_kg_ha);
    if (growth.ending.winterkill == Winterkill::uncertain && !growth.ending.by_winter) {
        growth.end_kg_ha.low = std::min(growth.end_kg_ha.low, growth.fall_kg_ha.low);
    }
    growth.stage_fall = stage(at_autumn_end, autumn_end);
    growth.stage_end = stage(at_end, end);
    growth.heat_fall_c_d = season.heat(species.base_temp_c, in.sow, in.hard_frost);
    growth.heat_spring_c_d = season.heat(species.base_temp_c, season.midwinter(), in.terminate);
    growth.uses_published_line = species.curve != GrowthCurve::catalogue;
    growth.latest_sowing = latest_sowing_date(species, season, growth.ending, constants);
    growth.week_cost_kg_ha = at_end - mass(in.sow + std::chrono::days(7), end);

    const int first = half_month_of(in.sow);
    const double half_life = constants.residue_half_life_days[species.persistence - 1];
    for (int k = first; k < first + 24; ++k) {
        const Date middle = half_month_start(year_of(in.sow), k) + std::chrono::days(7);
        const auto slot = static_cast<std::size_t>(k % 24);
        if (middle <= end) {
            growth.live_kg_ha[slot] = mass(in.sow, middle);
        } else {
            const double days = season.warm_days(end, middle, constants.release_reference_c);
            growth.dead_share[slot] = std::exp2(-days / half_life);
        }
    }
    return growth;
}

double canopy_cover(const Species& species, double live_kg_ha, const Constants& constants) {
    const double k =
        species.group == Group::grass ? constants.light_k_grass : constants.light_k_broadleaf;
    return intercepted_light(k, constants.leaf_area_m2_kg * live_kg_ha * 1e-4);
}

double canopy_height_m(const Species& species, double live_kg_ha) {
    const double full =
        species.spring_kg_ha ? species.spring_kg_ha->typical : species.fall_kg_ha.typical;
    return species.height_cm / 100.0 * std::min(1.2, live_kg_ha / full);
}

}  // namespace catchfield::cover
