// SPDX-License-Identifier: MIT
#include "cover/uptake.hpp"

#include <algorithm>
#include <cmath>

namespace catchfield::cover {

Residue residue(double mass_kg_ha, double n_pct, double carbon_share) {
    return {mass_kg_ha, mass_kg_ha * n_pct / 100.0, mass_kg_ha * carbon_share};
}

Residue mixed(std::span<const Residue> parts) {
    Residue sum;
    for (const Residue& part : parts) {
        sum.mass_kg_ha += part.mass_kg_ha;
        sum.n_kg_ha += part.n_kg_ha;
        sum.c_kg_ha += part.c_kg_ha;
    }
    return sum;
}

std::optional<double> cn_ratio(const Residue& residue) {
    if (residue.n_kg_ha <= 0.0) return std::nullopt;
    return residue.c_kg_ha / residue.n_kg_ha;
}

double critical_n_pct(double shoot_mg_ha) {
    return shoot_mg_ha < 1.55 ? 4.4 : 5.35 * std::pow(shoot_mg_ha, -0.442);
}

double stage_n_pct(const Species& species, double stage, const Constants& constants) {
    const double start = constants.dilution_start_share;
    if (stage <= start) return species.n_pct_young;
    const double power = std::log(species.n_pct_young / species.n_pct_late) / std::log(1.0 / start);
    return species.n_pct_young * std::pow(std::min(stage, 1.0) / start, -power);
}

double fixed_share(const Species& species, double supply_kg_ha, const Constants& constants) {
    if (!species.fixed_share) return 0.0;
    const Range& share = *species.fixed_share;
    const double middle = constants.fixation_mid_supply_kg_ha;
    const double high = constants.fixation_high_supply_kg_ha;
    if (supply_kg_ha <= middle) {
        return share.high + (share.typical - share.high) * supply_kg_ha / middle;
    }
    const double t = std::min(1.0, (supply_kg_ha - middle) / (high - middle));
    return share.typical + (share.low - share.typical) * t;
}

Uptake take_up(const Species& species, double mass_kg_ha, double stage, double supply_kg_ha,
               const Constants& constants) {
    Uptake uptake;
    const double usual = stage_n_pct(species, stage, constants) / 100.0;
    const double demand = mass_kg_ha * usual;
    const double most = constants.n_recovery * supply_kg_ha;
    if (species.group == Group::legume) {
        uptake.mass_kg_ha = mass_kg_ha;
        uptake.soil_n_kg_ha =
            std::min(demand * (1.0 - fixed_share(species, supply_kg_ha, constants)), most);
        uptake.fixed_n_kg_ha = demand - uptake.soil_n_kg_ha;
        return uptake;
    }
    uptake.n_limited = demand > most;
    uptake.soil_n_kg_ha = std::min(demand, most);
    uptake.mass_kg_ha =
        std::min(mass_kg_ha, uptake.soil_n_kg_ha / (constants.n_floor_share * usual));
    return uptake;
}

double pan_line_kg_mg(double n_pct) {
    return 8.75 * (std::clamp(n_pct, 1.5, 3.5) - 1.5);
}

double carbon_balance_kg_ha(double c_kg_ha, double cn, double decomposed, double efficiency,
                            double cn_microbes) {
    return decomposed * c_kg_ha * (1.0 / cn - efficiency / cn_microbes);
}

double white_kg_ha(double n_kg_ha, double cn, bool winterkilled) {
    return n_kg_ha * (1.0 - (winterkilled ? 0.0 : 0.40) * cn / 10.0);
}

double temperature_factor(double mean_c) {
    return std::min(2.0, 0.010645 * std::exp(0.12979 * mean_c));
}

double cn_factor(double cn) {
    return std::min(1.0, std::exp(-0.693 * (cn - 25.0) / 25.0));
}

double released_share(double warm_days, double k_per_day) {
    return -std::expm1(-k_per_day * warm_days);
}

std::string_view release_form_name(ReleaseForm form) {
    switch (form) {
        case ReleaseForm::pan_line:
            return "percent-N line (PNW 636)";
        case ReleaseForm::carbon_balance:
            return "carbon balance";
        case ReleaseForm::none:
            break;
    }
    return "none";
}

Release net_release(const Residue& shoots, bool winterkilled, bool legume,
                    double warm_days_to_planting, const Constants& constants) {
    Release release;
    const std::optional<double> cn = cn_ratio(shoots);
    if (!cn || shoots.mass_kg_ha <= 0.0) return release;
    const double cap = -constants.tie_up_cap_kg_ha;
    release.pan_line_kg_ha = pan_line_kg_mg(shoots.n_pct()) * shoots.mass_kg_ha / 1000.0;
    release.carbon_balance_kg_ha = std::max(cap, carbon_balance_kg_ha(shoots.c_kg_ha, *cn));
    release.white_kg_ha = std::max(cap, white_kg_ha(shoots.n_kg_ha, *cn, winterkilled));
    const bool by_line = shoots.n_pct() >= 1.5;
    release.form = by_line ? ReleaseForm::pan_line : ReleaseForm::carbon_balance;
    double& choice = release.range_kg_ha.typical;
    choice = by_line ? release.pan_line_kg_ha : std::min(0.0, release.carbon_balance_kg_ha);
    const auto [least, most] = std::minmax(
        {release.pan_line_kg_ha, release.carbon_balance_kg_ha, release.white_kg_ha, choice});
    release.range_kg_ha.low = winterkilled ? std::min(least, 0.0) : least;
    release.range_kg_ha.high = most;
    release.before_planting = released_share(warm_days_to_planting, constants.release_k_per_day);
    release.credit_kg_ha = legume ? std::max(0.0, choice) : 0.0;
    release.confidence = winterkilled ? Confidence::unchecked : Confidence::recalled;
    return release;
}

}  // namespace catchfield::cover
