// SPDX-License-Identifier: MIT
// Dry matter from heat, and what a stand of that mass looks like: cover, height, roots.
#pragma once

#include "base/dates.hpp"
#include "cover/ending.hpp"
#include "cover/season.hpp"

namespace catchfield::cover {

/// Brassica autumn dry matter, kg/ha (forage radish: root included), Bjorkman 2012 (ASHS abstract):
/// B[ton/ac] = 2.0 r max(0, G - 1000)/1000 with G in Fahrenheit degree-days above 32 F from sowing
/// to hard frost, here with heat_c_d in degC d above 0 C. r: 1 mustard, turnip, rapeseed; 2 forage
/// radish; 0.5 canola. Stated for about 1000-2300 F degree-days; uncapped.
double brassica_line_kg_ha(double heat_c_d, double r);

/// Hairy vetch gain over heat_c_d above 4 C: 5.29 kg/ha per degC d (Mirsky et al. 2017, Agron. J.
/// 109:1510-1519, means over sites from Massachusetts to North Carolina).
double vetch_line_kg_ha(double heat_c_d);

/// Expolinear growth (Goudriaan & Monteith 1990, Ann. Bot. 66:695-701) in thermal time:
/// slope * softness * ln(1 + exp((heat - lag)/softness)); straight line after the lag, exponential
/// before. kg/ha for slope in kg/ha per degC d.
double expolinear(double heat_c_d, double slope, double lag_c_d, double softness_c_d);

/// Residue cover 1 - exp(-alpha mass) (Gregory 1982, Trans. ASAE 25:1333-1337), fraction.
double residue_cover(double alpha_ha_kg, double mass_kg_ha);
/// Light intercepted 1 - exp(-k LAI), fraction (Beer's law).
double intercepted_light(double k, double leaf_area_index);

/// Growth of one pure stand in a season with nitrogen to spare.
struct Growth {
    Range frost_kg_ha;        ///< at the hard frost
    Range fall_kg_ha;         ///< at the end of autumn growth: kill, termination or midwinter
    Range end_kg_ha;          ///< when it ends: at winterkill or at termination
    double stage_fall = 0.0;  ///< 0 young to 1 late (grass: anthesis; others: full bloom)
    double stage_end = 0.0;
    double heat_fall_c_d = 0.0;    ///< from sowing to the hard frost, at the species' base
    double heat_spring_c_d = 0.0;  ///< from midwinter to termination
    HalfMonths live_kg_ha{};       ///< typical live shoot mass by half-month of the rotation year
    HalfMonths dead_share{};       ///< after its end: share of the end mass still on the ground
    Ending ending;
    Date latest_sowing{};          ///< latest sensible sowing date here
    double week_cost_kg_ha = 0.0;  ///< typical end mass lost by sowing a week later
    bool uses_published_line = false;
};

/// Grows one species. Monotone: a later sowing date never gives more at any date.
/// Source of each step: docs/methods/cover.md, Growth.
Growth grow(const Species& species, const Season& season,
            const Constants& constants = Constants::built_in());

/// Typical dry matter on a day for a sowing date, N to spare, kg/ha (0 before sowing, residue not
/// counted after the end).
double typical_mass_kg_ha(const Species& species, const Season& season, Date sow, Date day,
                          const Constants& constants = Constants::built_in());

/// Live ground cover of a stand, fraction: 1 - exp(-k LAI) with LAI from shoot mass.
double canopy_cover(const Species& species, double live_kg_ha,
                    const Constants& constants = Constants::built_in());
/// Plant height of a stand, m: grows in proportion to mass, at most 1.2 x the catalogue height.
double canopy_height_m(const Species& species, double live_kg_ha);

}  // namespace catchfield::cover
