// SPDX-License-Identifier: MIT
// The subfactors of the soil loss ratio, one small function each, and the tables behind them.
//
// SLR = PLU CC SC SR SM (Renard, Foster, Weesies, McCool & Yoder 1997, USDA Agriculture Handbook
// 703, "AH-703", ch. 5). All subfactors are dimensionless. SM is 1 outside the Northwest wheat and
// range region.
#pragma once

#include "base/confidence.hpp"
#include "base/table.hpp"

#include <string>
#include <string_view>
#include <vector>

namespace catchfield::erosion {

/// Roughness of the unit plot, 0.24 in.
inline constexpr double unit_roughness_mm = 0.24 * 25.4;

/// Coefficients of the subfactors: table coefficients.csv (name, value, unit, source, confidence).
struct Coefficients {
    double cover_b = 0.0;           ///< b of SC, 1/%; 0.035 typical cropland, 0.024-0.070 reported
    double plu_cb = 0.0;            ///< Cb of PLU
    double plu_cur_ha_mm_kg = 0.0;  ///< cur, ha mm/kg
    double plu_cus_ha_mm_kg = 0.0;  ///< cus, ha mm/kg
    double plu_cuf = 0.0;           ///< cuf
    double consolidated_cf = 0.0;   ///< Cf long after the last disturbance
    double consolidation_per_year = 0.0;  ///< rate of its approach
    double root_share_top = 0.0;          ///< share of a cover crop's roots in the top 10 cm
    double fall_height_share = 0.0;  ///< drop fall height over height of a low cover crop's canopy
    Confidence confidence = Confidence::verified;  ///< the weakest row
};
/// The built-in table, or a user's of the same form (missing rows keep the built-in value).
/// Throws Error(data) for an unknown name or a value that is not positive.
Coefficients parse_coefficients(const Table& table);
const Coefficients& coefficients();

/// CC = 1 - Fc exp(-0.328 H); canopy_fraction 0-1, fall_height_m >= 0.
double canopy_subfactor(double canopy_fraction, double fall_height_m);

/// SC = exp(-b Sp (0.24/Ru)^0.08); cover_pct 0-100, roughness_mm > 0.
double surface_cover_subfactor(double cover_pct, double roughness_mm, double b);

/// SR = exp(-0.66 (Ru - 0.24)), Ru in inches (given here in mm).
double roughness_subfactor(double roughness_mm);

/// PLU = Cf Cb exp(-(cur Bur + cus Bus/Cf^cuf)): the sign as in the official errata of AH-703
/// (eq. 5-9). Bur live and dead roots, Bus buried residue, kg/ha per mm of depth of the top 10 cm.
double prior_land_use_subfactor(double cf, double roots_kg_ha_mm, double buried_kg_ha_mm,
                                const Coefficients& c);

/// Cf some years after full disturbance: 0.45 + 0.55 exp(-0.7 t). The end value and the seven
/// years it takes are AH-703's; the curve between is this tool's choice.
double consolidation(double years, const Coefficients& c);

/// Share of the roughness above the unit plot's that is left after rain_mm and ei_si:
/// Dr = exp(0.5 (-0.14 Pt) + 0.5 (-0.012 EIt)), Pt in inches, EIt in US units (converted here).
double roughness_decay(double rain_mm, double ei_si);

/// Ri' = 0.24 + (Ri - 0.24) (0.8 (1 - exp(-0.0012 Bu)) + 0.2), Bu lb/(ac in) of roots and buried
/// residue in the top 10 cm (given in kg/ha per mm): less biomass, less roughness after tillage.
double roughness_after_tillage_mm(double initial_mm, double biomass_kg_ha_mm);

/// Sp = 100 (1 - exp(-sum(alpha_k B_k))) (Gregory 1982, Trans. ASAE 25:1333-1337), %; the argument
/// is the sum of alpha (ha/kg) times mass (kg/ha), random overlap.
double residue_cover_pct(double alpha_times_mass);

/// Weather factor of residue decay, 0-1: min(W, F), W = half-month rain/66 mm (2.6 in) at most 1,
/// F = (2 (T+8)^2 (To+8)^2 - (T+8)^4)/(To+8)^4 with To 32 degC; 0 at or below -8 degC (the formula
/// would rise again) and above 48.6 degC. T in degC, as the errata of AH-703 (eq. 5-7) say.
double decay_weather(double half_month_rain_mm, double tmean_c);
/// The two parts, for the record.
double decay_moisture(double half_month_rain_mm);
double decay_temperature(double tmean_c);

/// A kind of residue: table residue.csv.
struct ResidueKind {
    std::string id;    ///< "corn", "small_grain", ...
    std::string name;  ///< in words
    double alpha_ha_kg = 0.0;
    double decay_per_day = 0.0;  ///< p: M = M0 exp(-p min(W, F) days)
    double flat_share = 0.0;     ///< lies flat at harvest or death; the rest stands
    double fall_per_day = 0.0;   ///< share of the standing part that falls each day
    std::string source;
    Confidence confidence = Confidence::verified;
};

/// A tool: table tillage.csv.
struct Tool {
    std::string id;  ///< "moldboard", "chisel_straight", "no_till_planter", ...
    std::string name;
    double roughness_mm = 0.0;      ///< Ri
    double buried_share = 0.0;      ///< of the surface residue
    double buried_top_share = 0.0;  ///< of what is buried, in the top 10 cm
    double disturbed_share = 0.0;   ///< of the ground
    double flattened_share = 0.0;   ///< of the standing residue that stays on the surface
    std::string source;
    Confidence confidence = Confidence::verified;
};

/// A point of a crop's growth: table canopies.csv, straight lines between points.
struct CanopyPoint {
    double days = 0.0;  ///< after planting
    double canopy_fraction = 0.0;
    double fall_height_m = 0.0;
    double roots_top_kg_ha = 0.0;  ///< in the top 10 cm
};

/// A crop: tables crops.csv and canopies.csv.
struct Crop {
    std::string id;  ///< "corn", "soybean", "winter_wheat", ...
    std::string name;
    std::string residue_kind;
    double typical_residue_kg_ha = 0.0;  ///< left by an average crop where none is given
    double roots_top_kg_ha = 0.0;        ///< at harvest, in the top 10 cm
    double years_since_tillage = 0.0;    ///< usual at its harvest under yearly tillage
    std::vector<CanopyPoint> canopy;     ///< by days; empty where the crop is only a previous crop
    std::string source;
    Confidence confidence = Confidence::verified;
};

/// Built-in tables. Each has a parser for a user's table of the same form.
const std::vector<ResidueKind>& residue_kinds();
const std::vector<Tool>& tools();
const std::vector<Crop>& crops();
std::vector<ResidueKind> parse_residue_kinds(const Table& table);
std::vector<Tool> parse_tools(const Table& table);

/// By id (case, blanks and '-' for '_' ignored; common names such as "wheat" or "beans" are known).
/// Throws Error(usage) naming the nearest known id.
const ResidueKind& residue_kind(std::string_view id);
const Tool& tool(std::string_view id);
const Crop& crop(std::string_view id);

}  // namespace catchfield::erosion
