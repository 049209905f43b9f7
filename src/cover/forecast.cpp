// SPDX-License-Identifier: MIT
#include "cover/forecast.hpp"

#include "base/error.hpp"

#include <algorithm>
#include <array>
#include <cmath>

namespace catchfield::cover {

namespace {

constexpr std::array<std::string_view, 15> caution_words = {
    "No soil nitrogen is given: 60 kg/ha is assumed for autumn. A soil nitrate test would settle "
    "it.",
    "Soil nitrogen, not the season, sets how much it grows.",
    "Sown after the latest sensible date for this place.",
    "Sown before its usual window: it may bolt, flower or outgrow what is wanted.",
    "There is more warm season than it needs: it may set seed and come back as a volunteer.",
    "No winter minimum is known here: winterkill follows the catalogue's words for zones 4 to 6.",
    "It may or may not live through the winter: plan for both.",
    "It can become a weed: see the weed note before sowing it.",
    "On sandy soil the dead residue leaks nitrate in early spring: follow it with an early crop.",
    "It ties up nitrogen after it ends: the next crop needs some early.",
    "Its C:N ratio is above 30 when it ends: it rots slowly.",
    "Trials disagree about nitrogen from covers that winter kills: count on little, above all in "
    "cold, dry regions.",
    "The season is outside the range that the growth figures come from.",
    "More lasting carbon leaves with the straw or silage than this cover returns.",
    "Figures found in the field replace the model's.",
};

void check_site(const SiteInputs& site) {
    const auto good = [](double value) { return std::isfinite(value) && value >= 0.0; };
    if (!good(site.n_supply_kg_ha.value_or(0.0)) ||
        !good(site.spring_n_supply_kg_ha.value_or(0.0)) || !good(site.removed_kg_ha)) {
        throw Error(ErrorKind::usage, "soil nitrogen and removed residue must be zero or more");
    }
    if (!(site.stand >= 0.0 && site.stand <= 1.0)) {
        throw Error(ErrorKind::usage, "the stand must be 0 to 1, a share of a full stand");
    }
}

/// Gain of a mixture over the share-weighted mean of its parts: none for one, full when even.
double mixture_factor(const Cover& cover, const Constants& c) {
    if (cover.pure()) return 1.0;
    double squares = 0.0;
    for (const Component& part : cover.components) squares += part.share * part.share;
    const double n = static_cast<double>(cover.components.size());
    return 1.0 + c.mixture_gain * (1.0 - squares) / (1.0 - 1.0 / n);
}

void add(Range& sum, const Range& part) {
    sum.low += part.low;
    sum.typical += part.typical;
    sum.high += part.high;
}

/// One component on the site: what it may weigh after the soil N had its say.
struct Part {
    double factor = 0.0;  ///< share x stand x mixture gain
    Uptake frost, fall, end;
};

/// Range of a mass after the soil N had its say on each bound.
Range limited(const Range& potential, double factor, const Species& species, double stage,
              double supply, const Constants& c) {
    const auto at = [&](double mass) {
        return take_up(species, mass * factor, stage, supply, c).mass_kg_ha;
    };
    return {at(potential.low), at(potential.typical), at(potential.high)};
}

Confidence data_confidence(const Species& s) {
    Confidence worst = weakest(s.biomass_tag.confidence, s.nitrogen_tag.confidence);
    worst = weakest(worst, s.growth_tag.confidence);
    return weakest(worst, s.winter_tag.confidence);
}

}  // namespace

std::string_view caution_text(Caution caution) {
    for (std::size_t i = 0; i < caution_words.size(); ++i) {
        if (static_cast<Cautions>(caution) == 1u << i) return caution_words[i];
    }
    return "";
}

std::vector<std::string> caution_texts(Cautions cautions) {
    std::vector<std::string> texts;
    for (std::size_t i = 0; i < caution_words.size(); ++i) {
        if ((cautions & (1u << i)) != 0) texts.emplace_back(caution_words[i]);
    }
    return texts;
}

CarbonBalance carbon_balance(double shoot_kg_ha, double root_kg_ha, double removed_kg_ha,
                             const Constants& constants) {
    CarbonBalance balance;
    const double c = constants.carbon_share;
    balance.returned_dm_kg_ha = shoot_kg_ha + root_kg_ha;
    balance.returned_c_kg_ha = balance.returned_dm_kg_ha * c;
    balance.humus_c_kg_ha =
        c * (shoot_kg_ha * constants.humification_tops + root_kg_ha * constants.humification_roots);
    balance.removed_c_kg_ha = removed_kg_ha * c;
    balance.removed_humus_c_kg_ha = removed_kg_ha * c * constants.humification_tops;
    balance.balance_kg_ha = balance.humus_c_kg_ha - balance.removed_humus_c_kg_ha;
    return balance;
}

CoverGrowth grow(const Cover& cover, const Season& season, const Constants& constants) {
    CoverGrowth growth;
    growth.components.reserve(cover.components.size());
    for (const Component& part : cover.components) {
        growth.components.push_back(grow(part.species, season, constants));
    }
    growth.heat_to_frost_c_d = season.heat(0.0, season.inputs().sow, season.inputs().hard_frost);
    return growth;
}

Forecast forecast(const Cover& cover, const Season& season, const SiteInputs& site,
                  const Constants& constants) {
    return forecast(cover, grow(cover, season, constants), season, site, constants);
}

Forecast forecast(const Cover& cover, const CoverGrowth& growth, const Season& season,
                  const SiteInputs& site, const Constants& c) {
    check_site(site);
    if (cover.components.empty() || growth.components.size() != cover.components.size()) {
        throw Error(ErrorKind::internal, "growth and components of a cover do not match");
    }
    const SeasonInputs& in = season.inputs();
    const std::size_t n = cover.components.size();
    const double supply = site.n_supply_kg_ha.value_or(c.default_supply_kg_ha);
    const double more = site.spring_n_supply_kg_ha.value_or(c.default_spring_supply_kg_ha);
    const double gain = mixture_factor(cover, c);

    Forecast f;
    f.stand = site.stand;
    f.heat_to_frost_c_d = growth.heat_to_frost_c_d;
    f.confidence =
        cover.pure() ? Confidence::verified : weakest(cover.tag.confidence, Confidence::unchecked);

    // Grasses and brassicas divide the soil N by their shares of the seeding; legumes take what is
    // left. So no part grows more because another one failed.
    double scavengers = 0.0;
    for (const Component& part : cover.components) {
        if (part.species.group != Group::legume) scavengers += part.share;
    }
    std::vector<Part> parts(n);
    double taken_frost = 0.0;
    double taken_fall = 0.0;
    double taken_end = 0.0;
    for (const bool legumes : {false, true}) {
        for (std::size_t i = 0; i < n; ++i) {
            const Species& s = cover.components[i].species;
            if ((s.group == Group::legume) != legumes) continue;
            const Growth& g = growth.components[i];
            Part& part = parts[i];
            part.factor = cover.components[i].share * site.stand * gain;
            const double most_end = g.ending.date > season.midwinter() ? supply + more : supply;
            const auto for_part = [&](double all, double taken) {
                return legumes ? std::max(0.0, all - taken / c.n_recovery)
                               : all * cover.components[i].share / scavengers;
            };
            const double n_frost = for_part(supply, taken_frost);
            const double n_fall = for_part(supply, taken_fall);
            const double n_end = for_part(most_end, taken_end);
            part.frost = take_up(s, g.frost_kg_ha.typical * part.factor, g.stage_fall, n_frost, c);
            part.fall = take_up(s, g.fall_kg_ha.typical * part.factor, g.stage_fall, n_fall, c);
            part.end = take_up(s, g.end_kg_ha.typical * part.factor, g.stage_end, n_end, c);
            add(f.frost_kg_ha, limited(g.frost_kg_ha, part.factor, s, g.stage_fall, n_frost, c));
            add(f.end_kg_ha, limited(g.end_kg_ha, part.factor, s, g.stage_end, n_end, c));
            taken_frost += part.frost.soil_n_kg_ha;
            taken_fall += part.fall.soil_n_kg_ha;
            taken_end += part.end.soil_n_kg_ha;
        }
    }

    std::vector<Residue> residues;
    residues.reserve(n);
    double open_frost = 1.0;
    double open_end = 1.0;
    double leg_n = 0.0;
    bool any_alive = false;
    std::size_t hardiest = 0;
    f.latest_sowing = growth.components[0].latest_sowing;
    for (std::size_t i = 0; i < n; ++i) {
        const Species& s = cover.components[i].species;
        const Growth& g = growth.components[i];
        const Part& part = parts[i];
        f.n_soil_kg_ha += part.end.soil_n_kg_ha;
        f.n_fixed_kg_ha += part.end.fixed_n_kg_ha;
        f.fall_n_caught_kg_ha += part.fall.soil_n_kg_ha;
        f.root_kg_ha += part.end.mass_kg_ha * s.root_share;
        residues.push_back(
            {part.end.mass_kg_ha, part.end.n_kg_ha(), part.end.mass_kg_ha * c.carbon_share});
        if (s.group == Group::legume) leg_n += part.end.n_kg_ha();
        open_frost *= 1.0 - canopy_cover(s, part.frost.mass_kg_ha, c);
        open_end *= 1.0 - canopy_cover(s, part.end.mass_kg_ha, c);
        // Height follows the mass of the same plants on full ground.
        const double ground = std::max(1e-9, part.factor / gain);
        f.height_at_frost_cm = std::max(f.height_at_frost_cm,
                                        100.0 * canopy_height_m(s, part.frost.mass_kg_ha / ground));
        f.height_at_end_cm =
            std::max(f.height_at_end_cm, 100.0 * canopy_height_m(s, part.end.mass_kg_ha / ground));
        f.latest_sowing = std::min(f.latest_sowing, g.latest_sowing);
        f.week_cost_kg_ha += g.week_cost_kg_ha * part.factor;
        if (cover.components[i].share >= 0.25) f.taproot = std::max(f.taproot, s.taproot);
        f.confidence = weakest(f.confidence, data_confidence(s));
        any_alive = any_alive || !g.ending.by_winter;
        const Growth& best = growth.components[hardiest];
        if (g.ending.date > best.ending.date ||
            (g.ending.date == best.ending.date && g.ending.winterkill > best.ending.winterkill)) {
            hardiest = i;
        }

        for (std::size_t k = 0; k < 24; ++k) {
            // Before midwinter the autumn N limit holds, afterwards that of the end.
            const int month_half = static_cast<int>(k);
            const bool spring_half = month_half >= half_month_of(season.midwinter()) &&
                                     month_half < half_month_of(in.sow);
            const double most = spring_half ? part.end.mass_kg_ha
                                            : std::max(part.fall.mass_kg_ha, part.frost.mass_kg_ha);
            const double live = std::min(g.live_kg_ha[k] * part.factor, most);
            const double dead = g.dead_share[k] * part.end.mass_kg_ha;
            f.live_kg_ha[k] += live;
            f.dead_kg_ha[k] += dead;
            f.root_half_kg_ha[k] += live * s.root_share;
            f.canopy_cover[k] = 1.0 - (1.0 - f.canopy_cover[k]) * (1.0 - canopy_cover(s, live, c));
            f.residue_cover[k] =
                1.0 - (1.0 - f.residue_cover[k]) * (1.0 - residue_cover(s.alpha_ha_kg, dead));
            f.height_m[k] = std::max(f.height_m[k], canopy_height_m(s, live / ground));
        }

        if (part.end.n_limited || part.fall.n_limited) f.cautions |= bit(Caution::n_limited);
        if (in.sow > g.latest_sowing) f.cautions |= bit(Caution::sown_late);
        const auto early = std::chrono::days(std::lround(7.0 * s.window_early_weeks));
        if (in.sow < in.hard_frost - early) f.cautions |= bit(Caution::sown_early);
        const bool seeds = s.curve == GrowthCurve::brassica_line &&
                           growth.heat_to_frost_c_d > c.brassica_most_heat_c_d;
        if (seeds) f.cautions |= bit(Caution::may_set_seed);
        if (!g.ending.kill_chance) f.cautions |= bit(Caution::winter_unknown);
        if (g.ending.winterkill == Winterkill::uncertain)
            f.cautions |= bit(Caution::winter_uncertain);
        if (!s.weed_flag.empty()) f.cautions |= bit(Caution::weed_risk);
        if (site.coarse_soil && g.ending.by_winter && s.group == Group::brassica) {
            f.cautions |= bit(Caution::early_leak);
        }
        const double most_heat =
            2.0 * 7.0 * c.reference_weeks * (c.reference_autumn_c - s.base_temp_c);
        if (g.heat_fall_c_d > most_heat) f.cautions |= bit(Caution::extrapolated);
    }
    for (std::size_t k = 0; k < 24; ++k) {
        f.ground_cover[k] = 1.0 - (1.0 - f.canopy_cover[k]) * (1.0 - f.residue_cover[k]);
    }
    f.cover_at_frost = 1.0 - open_frost;
    f.cover_at_end = 1.0 - open_end;
    f.ending = growth.components[hardiest].ending;
    for (const Growth& g : growth.components) {
        f.ends_mixed = f.ends_mixed || g.ending.by_winter != f.ending.by_winter;
    }

    const Residue shoots = mixed(residues);
    f.n_uptake_kg_ha = f.n_soil_kg_ha + f.n_fixed_kg_ha;
    f.n_root_kg_ha = f.n_uptake_kg_ha * c.root_n_share / (1.0 - c.root_n_share);
    f.n_pct = shoots.n_pct();
    f.cn_ratio = cn_ratio(shoots).value_or(0.0);
    const bool legume = leg_n > 0.5 * shoots.n_kg_ha;
    f.release =
        net_release(shoots, !any_alive, legume,
                    season.warm_days(f.ending.date, in.next_planting, c.release_reference_c), c);
    f.carbon = carbon_balance(shoots.mass_kg_ha, f.root_kg_ha, site.removed_kg_ha, c);

    f.catches_until = f.ending.date;
    const int first = half_month_of(in.sow);
    for (int k = first; k < first + 24; ++k) {
        const Date start = half_month_start(year_of(in.sow), k);
        if (start > f.ending.date) break;
        if (f.canopy_cover[static_cast<std::size_t>(k % 24)] >= 0.3) {
            f.catches_from = std::max(start, in.sow);
            break;
        }
    }

    if (!site.n_supply_kg_ha) {
        f.cautions |= bit(Caution::supply_assumed);
        f.confidence = Confidence::assumption;
    }
    if (f.release.range_kg_ha.typical < -1.0) f.cautions |= bit(Caution::tie_up);
    if (f.cn_ratio > 30.0) f.cautions |= bit(Caution::high_carbon);
    if (!any_alive && f.release.range_kg_ha.typical > 0.0) {
        f.cautions |= bit(Caution::weak_evidence_credit);
    }
    if (f.carbon.balance_kg_ha < 0.0) f.cautions |= bit(Caution::carbon_loss);
    return f;
}

}  // namespace catchfield::cover
