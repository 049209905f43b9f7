// SPDX-License-Identifier: MIT
// Nitrogen in the cover crop: concentration, uptake, fixation, and release or tie-up afterwards.
#pragma once

#include "base/confidence.hpp"
#include "cover/catalogue.hpp"

#include <optional>
#include <span>

namespace catchfield::cover {

/// Dry matter with its N and C, for sums by mass.
struct Residue {
    double mass_kg_ha = 0.0;
    double n_kg_ha = 0.0;
    double c_kg_ha = 0.0;
    double n_pct() const { return mass_kg_ha > 0.0 ? 100.0 * n_kg_ha / mass_kg_ha : 0.0; }
};

Residue residue(double mass_kg_ha, double n_pct, double carbon_share = 0.42);
/// Adds masses of N and C; ratios are never averaged.
Residue mixed(std::span<const Residue> parts);
/// C:N by mass; nothing where there is no N.
std::optional<double> cn_ratio(const Residue& residue);

/// Critical N of wheat, % of dry matter: 5.35 W^-0.442 for W >= 1.55 Mg/ha, 4.4 below (Justes et
/// al. 1994, Ann. Bot. 74:397). An upper check for grasses.
double critical_n_pct(double shoot_mg_ha);

/// %N of shoots at a stage (0 young, 1 late): young value up to the dilution start, then a power
/// curve to the late value [assumption on the curve between the catalogue's two points].
double stage_n_pct(const Species& species, double stage,
                   const Constants& constants = Constants::built_in());

/// Share of shoot N fixed from the air at a soil N supply, between the catalogue's bounds: highest
/// on no soil N, lowest on much. 0 for non-legumes.
double fixed_share(const Species& species, double supply_kg_ha,
                   const Constants& constants = Constants::built_in());

/// Mass and N of a stand after the supply had its say.
struct Uptake {
    double mass_kg_ha = 0.0;
    double soil_n_kg_ha = 0.0;   ///< <= n_recovery x supply
    double fixed_n_kg_ha = 0.0;  ///< legumes only
    bool n_limited = false;
    double n_kg_ha() const { return soil_n_kg_ha + fixed_n_kg_ha; }
};

/// A pure stand of mass_kg_ha (N to spare) at a stage on a supply of soil N. Grasses and brassicas
/// short of N first thin their %N down to the floor, then lose mass; legumes fix what the soil
/// does not give. supply_kg_ha >= 0: soil nitrate in rooted depth and mineralisation until then.
Uptake take_up(const Species& species, double mass_kg_ha, double stage, double supply_kg_ha,
               const Constants& constants = Constants::built_in());

/// Plant-available N by the %N line of PNW 636 (Sullivan & Andrews 2012), kg N per Mg dry matter:
/// 8.75 (N% - 1.5), 0 below 1.5 %, held at 3.5 % above.
double pan_line_kg_mg(double n_pct);
/// Carbon balance, kg/ha: f C (1/CN - e/CN_mic); positive = release. Break-even CN_mic/e.
double carbon_balance_kg_ha(double c_kg_ha, double cn, double decomposed = 1.0,
                            double efficiency = 0.4, double cn_microbes = 10.0);
inline double break_even_cn(double efficiency, double cn_microbes) {
    return cn_microbes / efficiency;
}
/// White et al. 2016: N (1 - eps CN/10); eps 0.40 winter-hardy, 0 winterkilled.
double white_kg_ha(double n_kg_ha, double cn, bool winterkilled);
/// Vigil & Kissel 1995 temperature factor 0.010645 exp(0.12979 T), at most 2.
double temperature_factor(double mean_c);
/// C:N factor of crop models (Godwin & Jones 1991): exp(-0.693 (CN - 25)/25), at most 1.
double cn_factor(double cn);
/// Share of net release that has happened after so many warm days: 1 - exp(-k days).
double released_share(double warm_days, double k_per_day = 0.055);

/// Which form the stated figure comes from.
enum class ReleaseForm { none, pan_line, carbon_balance };
std::string_view release_form_name(ReleaseForm form);

/// Net release (+) or tie-up (-) after the end of a crop, kg N/ha in the first season.
struct Release {
    double pan_line_kg_ha = 0.0;
    double carbon_balance_kg_ha = 0.0;
    double white_kg_ha = 0.0;
    Range range_kg_ha;  ///< over the three forms; .typical is the stated choice
    ReleaseForm form = ReleaseForm::none;
    double before_planting = 0.0;  ///< share released before the next planting, 0 to 1
    double credit_kg_ha = 0.0;     ///< max(0, choice); 0 for grasses and winterkilled non-legumes
    Confidence confidence = Confidence::recalled;
};

/// The stated choice: %N line at or above 1.5 % N, carbon balance (tie-up capped at 56 kg/ha)
/// below. Range: least and most of the three forms, with 0 included for winterkilled covers
/// (released too early, or not seen at all in cold, dry regions).
Release net_release(const Residue& shoots, bool winterkilled, bool legume,
                    double warm_days_to_planting,
                    const Constants& constants = Constants::built_in());

}  // namespace catchfield::cover
