// SPDX-License-Identifier: MIT
// Units: conversion factors, and reading quantities that carry their unit. The only place where
// units are converted.
//
// Inside the program: m, ha, kg/ha, Mg/ha, MPa, degC, mm, and SI for R (MJ mm/(ha h yr)) and
// K (Mg ha h/(ha MJ mm)). A name carries its unit (slope_pct, n_kg_ha).
#pragma once

#include <initializer_list>
#include <string>
#include <string_view>

namespace catchfield {

namespace units {

// Exact: 0.45359237 kg/lb, 0.40468564224 ha/ac, 0.3048 m/ft, 3.785411784 L/US gal (NIST SP 811).
inline constexpr double kg_per_lb = 0.45359237;
inline constexpr double ha_per_ac = 0.40468564224;
inline constexpr double m_per_ft = 0.3048;
inline constexpr double m_per_us_survey_ft = 1200.0 / 3937.0;
inline constexpr double cm_per_in = 2.54;
inline constexpr double mm_per_in = 25.4;
inline constexpr double l_per_gal = 3.785411784;
inline constexpr double kg_ha_per_lb_ac = kg_per_lb / ha_per_ac;                     // 1.120851
inline constexpr double mg_ha_per_ton_ac = 2000.0 * kg_per_lb / 1000.0 / ha_per_ac;  // 2.241702
inline constexpr double l_ha_per_gal_ac = l_per_gal / ha_per_ac;                     // 9.353956
inline constexpr double mpa_per_psi = 0.006894757293168361;
inline constexpr double kg_l_per_lb_gal = kg_per_lb / l_per_gal;
// Foster, McCool, Renard & Moldenhauer 1981, J. Soil Water Conserv. 36:355 (17.02 and 0.1317 as
// printed), here from the definitions of foot, pound-force and acre.
inline constexpr double r_si_per_us = 17.0195;
inline constexpr double k_si_per_us = 0.131714;
/// Corn at 56 lb a bushel.
inline constexpr double kg_per_bu_corn = 56.0 * kg_per_lb;

inline constexpr double fahrenheit_from_celsius(double celsius) {
    return celsius * 1.8 + 32.0;
}
inline constexpr double celsius_from_fahrenheit(double fahrenheit) {
    return (fahrenheit - 32.0) / 1.8;
}

}  // namespace units

/// Which system figures are shown in, and prescriptions are written in.
enum class UnitSystem { us, metric };

/// A unit that a quantity may carry: `value_in_base = value * factor`.
struct UnitChoice {
    std::string_view name;
    double factor;
};

/// Reads "40 lb/ac" or "40lb/ac" against the accepted units and returns the value in the base unit.
///
/// text: a finite number followed by a unit; what: the key or column, for the message;
/// choices: accepted units. Throws Error(usage) for a bare number, an unknown unit or no number;
/// the message lists the accepted units.
double parse_quantity(std::string_view text, std::string_view what,
                      std::initializer_list<UnitChoice> choices);

/// Accepted units by kind of quantity, each list ending in the base unit of the function's name.
double parse_length_m(std::string_view text, std::string_view what);  // m, ft, km, cm, mm, in
double parse_area_ha(std::string_view text, std::string_view what);   // ha, ac, m2
double parse_rate_kg_ha(std::string_view text,
                        std::string_view what);  // kg/ha, lb/ac, t/ha, ton/ac
double parse_erosivity_si(std::string_view text, std::string_view what);   // us, si
double parse_strength_mpa(std::string_view text, std::string_view what);   // MPa, kPa, psi
double parse_temperature_c(std::string_view text, std::string_view what);  // degC, C, degF, F
double parse_depth_cm(std::string_view text, std::string_view what);       // cm, mm, in, m, ft

}  // namespace catchfield
