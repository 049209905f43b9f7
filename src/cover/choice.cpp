// SPDX-License-Identifier: MIT
#include "cover/choice.hpp"

#include "base/error.hpp"
#include "base/text.hpp"

#include <algorithm>
#include <cmath>

namespace catchfield::cover {

namespace {

constexpr std::array<std::string_view, aim_count> aim_names = {
    "erosion", "catch-n", "supply-n", "compaction", "organic-matter", "ends-itself", "cost"};
constexpr std::array<std::string_view, 7> limit_names = {
    "none",       "season too short",      "too little nitrogen", "wet subsoil", "nitrogen tie-up",
    "volunteers", "does not end by itself"};

std::size_t at(Aim aim) {
    return static_cast<std::size_t>(aim);
}
double share(double value) {
    return std::clamp(value, 0.0, 1.0);
}

bool volunteers_in_small_grain(const Cover& cover) {
    return std::any_of(cover.components.begin(), cover.components.end(), [](const Component& part) {
        const std::string& flag = part.species.weed_flag;
        return flag.find("small-grain") != std::string::npos ||
               flag.find("small grain") != std::string::npos ||
               flag.rfind("hard to control", 0) == 0;
    });
}

Limit limit_of(const Candidate& candidate, const ZoneNeeds& needs, const Constants& c) {
    const Cover& cover = *candidate.cover;
    const Forecast& f = *candidate.forecast;
    if (needs.nitrate_0_30_kg_ha) {
        for (const Component& part : cover.components) {
            if (part.share >= 0.25 && part.species.n_to_establish_kg_ha &&
                *needs.nitrate_0_30_kg_ha < *part.species.n_to_establish_kg_ha) {
                return Limit::too_little_n;
            }
        }
    }
    if (has(f.cautions, Caution::sown_late)) return Limit::season_too_short;
    if (f.end_kg_ha.typical < 0.5 * c.useful_mass_kg_ha * f.stand) {
        return has(f.cautions, Caution::n_limited) ? Limit::too_little_n : Limit::season_too_short;
    }
    const bool only_taproots =
        std::all_of(cover.components.begin(), cover.components.end(),
                    [](const Component& part) { return part.species.taproot == Taproot::strong; });
    if (needs.wet_subsoil && only_taproots) return Limit::wet_subsoil;
    if (!needs.next.stands_tie_up && f.release.range_kg_ha.typical < -1.0) return Limit::tie_up;
    if (needs.next.small_grain && volunteers_in_small_grain(cover)) return Limit::volunteers;
    if (needs.must_end_itself &&
        (f.ends_mixed || !f.ending.by_winter || f.ending.winterkill > Winterkill::likely)) {
        return Limit::does_not_end;
    }
    return Limit::none;
}

AimValues parts_of(const Candidate& candidate, const ZoneNeeds& needs, const Constants& c) {
    const Forecast& f = *candidate.forecast;
    AimValues part{};
    part[at(Aim::erosion)] = share(candidate.erosion_cut.value_or(f.cover_at_frost));

    double kept = 1.0;
    if (f.ending.by_winter && needs.leaching != ZoneNeeds::Leaching::low) {
        kept = needs.leaching == ZoneNeeds::Leaching::high ? c.killed_catch_share
                                                           : 0.5 * (1.0 + c.killed_catch_share);
    }
    part[at(Aim::catch_n)] =
        kept * share(f.fall_n_caught_kg_ha / (c.n_recovery * c.default_supply_kg_ha));

    const double release = f.release.range_kg_ha.typical;
    double credit = f.release.credit_kg_ha;
    if (f.ending.by_winter)
        credit = 0.5 * (credit + std::min(credit, std::max(0.0, f.release.range_kg_ha.low)));
    part[at(Aim::supply_n)] =
        std::clamp((release < 0.0 ? release : credit) / c.full_credit_kg_ha, -1.0, 1.0);

    double root = f.taproot == Taproot::strong ? 1.0 : f.taproot == Taproot::weak ? 0.3 : 0.0;
    // A fleshy taproot needs its season; perennials need more than the one winter they get here.
    if (candidate.cover->has(Group::brassica)) {
        root *=
            share(f.heat_to_frost_c_d / c.taproot_heat_c_d) * share(f.frost_kg_ha.typical / 1500.0);
    } else {
        root *= 0.5;
    }
    if (needs.wet_subsoil || needs.root_stop) root = 0.0;
    part[at(Aim::compaction)] = root;

    part[at(Aim::organic_matter)] = share(f.carbon.humus_c_kg_ha / c.full_humus_kg_ha);
    if (f.ending.by_winter && !f.ends_mixed) {
        constexpr std::array<double, 4> by_class = {1.0, 0.7, 0.3, 0.0};
        part[at(Aim::ends_itself)] = by_class[static_cast<std::size_t>(f.ending.winterkill)];
    }
    part[at(Aim::cost)] =
        candidate.cost_per_ha ? share(1.0 - *candidate.cost_per_ha / c.full_cost_per_ha) : 0.5;
    return part;
}

/// Rounded to tens, in the user's unit.
std::string rounded(double kg_ha, UnitSystem units, double step) {
    const double value = units == UnitSystem::us ? kg_ha / units::kg_ha_per_lb_ac : kg_ha;
    return fixed(std::round(value / step) * step, 0);
}
std::string unit_name(UnitSystem units) {
    return units == UnitSystem::us ? " lb/ac" : " kg/ha";
}
std::string range_text(const Range& range, UnitSystem units, double step) {
    const double low = std::min(range.low, range.high);
    const double high = std::max(range.low, range.high);
    return rounded(range.typical, units, step) + unit_name(units) + " (" +
           rounded(low, units, step) + " to " + rounded(high, units, step) + ")";
}

std::string limit_sentence(const Candidate& candidate, Limit limit, const ZoneNeeds& needs,
                           const Season& season, UnitSystem units) {
    const Forecast& f = *candidate.forecast;
    const std::string next = needs.next.name.empty() ? "the next crop" : needs.next.name;
    switch (limit) {
        case Limit::season_too_short:
            if (season.inputs().sow > f.latest_sowing) {
                return "Refused: too late. The last sensible sowing date here is " +
                       iso_date(f.latest_sowing) + ", sowing is planned for " +
                       iso_date(season.inputs().sow) + ", with " + fixed(f.heat_to_frost_c_d, 0) +
                       " degree-days (base 0 C) left to the first hard frost.";
            }
            return "Refused: the season is too short; only " +
                   range_text(f.end_kg_ha, units, 10.0) + " of dry matter is expected.";
        case Limit::too_little_n: {
            if (needs.nitrate_0_30_kg_ha) {
                for (const Component& part : candidate.cover->components) {
                    const auto& least = part.species.n_to_establish_kg_ha;
                    if (least && *needs.nitrate_0_30_kg_ha < *least) {
                        return "Refused: too little soil nitrogen. The zone has " +
                               rounded(*needs.nitrate_0_30_kg_ha, units, 1.0) + unit_name(units) +
                               " nitrate-N in the topsoil, " + part.species.name +
                               " wants at least " + rounded(*least, units, 1.0) + unit_name(units) +
                               " (assumption).";
                    }
                }
            }
            return "Refused: too little soil nitrogen; it would starve at " +
                   range_text(f.end_kg_ha, units, 10.0) + " of dry matter.";
        }
        case Limit::wet_subsoil:
            return "Refused: the subsoil is wet, and a taproot rots in it.";
        case Limit::tie_up:
            return "Refused: it would tie up about " +
                   rounded(-f.release.range_kg_ha.typical, units, 1.0) + unit_name(units) +
                   " of nitrogen (C:N " + fixed(f.cn_ratio, 0) + "), and " + next +
                   " cannot wait for it.";
        case Limit::volunteers:
            return "Refused: volunteers would come up in " + next + ", a small grain.";
        case Limit::does_not_end:
            return "Refused: it has to end by itself, and this one " +
                   std::string(f.ending.winterkill == Winterkill::uncertain ? "may live"
                                                                            : "lives") +
                   " through the winter.";
        case Limit::none:
            break;
    }
    return "";
}

/// Total of a zone's best accepted candidate among `set`, and which; nothing at or below 0.
std::optional<std::size_t> best_of(const Choice& zone, std::span<const std::size_t> set) {
    std::optional<std::size_t> best;
    double most = 0.0;
    for (const std::size_t i : set) {
        const Score& score = zone.scores[i];
        if (score.accepted() && score.total > most) {
            most = score.total;
            best = i;
        }
    }
    return best;
}

double worth(std::span<const Choice> zones, std::span<const double> areas,
             std::span<const std::size_t> set) {
    double sum = 0.0;
    for (std::size_t z = 0; z < zones.size(); ++z) {
        if (const auto best = best_of(zones[z], set))
            sum += areas[z] * zones[z].scores[*best].total;
    }
    return sum;
}

}  // namespace

std::string_view aim_name(Aim aim) {
    return aim_names[at(aim)];
}
std::string_view limit_name(Limit limit) {
    return limit_names[static_cast<std::size_t>(limit)];
}

Aims Aims::usual() {
    Aims aims;
    aims[Aim::erosion] = 3.0;
    aims[Aim::catch_n] = 2.0;
    aims[Aim::supply_n] = 1.0;
    aims[Aim::compaction] = 2.0;
    aims[Aim::organic_matter] = 1.0;
    return aims;
}

Aims parse_aims(std::string_view text) {
    Aims aims;
    std::array<bool, aim_count> seen{};
    double sum = 0.0;
    for (const std::string& part : split(text, ',')) {
        if (trim(part).empty()) continue;
        const std::size_t equal = part.find('=');
        const std::string name(trim(part.substr(0, equal)));
        const auto found =
            std::find_if(aim_names.begin(), aim_names.end(),
                         [&](std::string_view known) { return same_ignoring_case(known, name); });
        if (found == aim_names.end()) {
            const std::string near = nearest_name(name, aim_names);
            std::string known;
            for (const auto aim : aim_names)
                known += (known.empty() ? "" : ", ") + std::string(aim);
            throw Error(ErrorKind::usage, "unknown aim '" + name + "'",
                        {.layer = "aims",
                         .hint = (near.empty() ? "" : "Did you mean '" + near + "'? ") +
                                 ("The aims are: " + known + ".")});
        }
        const std::optional<double> weight =
            equal == std::string::npos ? std::nullopt : parse_number(trim(part.substr(equal + 1)));
        if (!weight || *weight < 0.0) {
            throw Error(ErrorKind::usage, "aim '" + name + "' needs a weight of zero or more",
                        {.layer = "aims", .hint = "Write for example erosion=3."});
        }
        const auto i = static_cast<std::size_t>(found - aim_names.begin());
        if (seen[i])
            throw Error(ErrorKind::usage, "aim '" + name + "' stands twice", {.layer = "aims"});
        seen[i] = true;
        aims.weight[i] = *weight;
        sum += *weight;
    }
    if (sum <= 0.0) {
        throw Error(ErrorKind::usage, "no aim has a weight above zero",
                    {.layer = "aims", .hint = "Write for example erosion=3, catch-n=2."});
    }
    return aims;
}

AimValues zone_need(const ZoneNeeds& needs) {
    constexpr std::array<double, 3> leaching = {0.4, 0.7, 1.0};
    constexpr std::array<double, 4> compaction = {0.0, 0.3, 0.7, 1.0};
    AimValues need{};
    need[at(Aim::erosion)] = std::clamp(needs.loss_over_t, 0.1, 1.0);
    need[at(Aim::catch_n)] = leaching[static_cast<std::size_t>(needs.leaching)];
    need[at(Aim::supply_n)] = share(needs.next_crop_n_need);
    need[at(Aim::compaction)] =
        needs.root_stop ? 0.0 : compaction[static_cast<std::size_t>(needs.compaction)];
    need[at(Aim::organic_matter)] = 1.0;
    need[at(Aim::ends_itself)] = 1.0;
    need[at(Aim::cost)] = 1.0;
    return need;
}

Score score(const Candidate& candidate, const ZoneNeeds& needs, const Aims& aims,
            const Constants& constants) {
    Score score;
    score.limit = limit_of(candidate, needs, constants);
    score.part = parts_of(candidate, needs, constants);
    score.need = zone_need(needs);
    double sum = 0.0;
    double weights = 0.0;
    for (std::size_t i = 0; i < aim_count; ++i) {
        sum += aims.weight[i] * score.need[i] * score.part[i];
        weights += aims.weight[i];
    }
    score.total = weights > 0.0 ? sum / weights : 0.0;
    return score;
}

Choice choose(std::span<const Candidate> candidates, const ZoneNeeds& needs, const Aims& aims,
              const Constants& constants) {
    Choice choice;
    choice.scores.reserve(candidates.size());
    double most = 0.0;
    for (std::size_t i = 0; i < candidates.size(); ++i) {
        choice.scores.push_back(score(candidates[i], needs, aims, constants));
        const Score& last = choice.scores.back();
        if (last.accepted() && last.total > most) {
            most = last.total;
            choice.chosen = i;
        }
    }
    return choice;
}

void choose_for_field(std::span<Choice> zones, std::span<const double> areas_ha, ChoiceMode mode) {
    if (zones.empty()) return;
    const std::size_t n = zones[0].scores.size();
    if (areas_ha.size() != zones.size() ||
        std::any_of(zones.begin(), zones.end(),
                    [&](const Choice& z) { return z.scores.size() != n; })) {
        throw Error(ErrorKind::internal, "zones, areas and candidates of a field do not match");
    }
    std::vector<std::size_t> all(n);
    for (std::size_t i = 0; i < n; ++i) all[i] = i;
    std::vector<std::size_t> winners;
    for (Choice& zone : zones) {
        zone.chosen = best_of(zone, all);
        if (zone.chosen &&
            std::find(winners.begin(), winners.end(), *zone.chosen) == winners.end()) {
            winners.push_back(*zone.chosen);
        }
    }
    const auto most = static_cast<std::size_t>(std::max(mode.most_covers, 0));
    if (most == 0 || winners.size() <= most) return;

    std::vector<std::size_t> best;
    double best_worth = -1.0;
    const auto offer = [&](std::vector<std::size_t> set) {
        const double value = worth(zones, areas_ha, set);
        if (value > best_worth) {
            best_worth = value;
            best = std::move(set);
        }
    };
    if (most == 1) {
        for (std::size_t i = 0; i < n; ++i) offer({i});
    } else if (most == 2) {
        for (std::size_t i = 0; i < n; ++i) {
            for (std::size_t j = i + 1; j < n; ++j) offer({i, j});
        }
    } else if (most == 3) {
        for (std::size_t i = 0; i < n; ++i) {
            for (std::size_t j = i + 1; j < n; ++j) {
                for (std::size_t k = j + 1; k < n; ++k) offer({i, j, k});
            }
        }
    } else {
        for (std::size_t step = 0; step < most; ++step) {
            const std::vector<std::size_t> kept = best;
            for (std::size_t i = 0; i < n; ++i) {
                std::vector<std::size_t> set = kept;
                set.push_back(i);
                offer(std::move(set));
            }
        }
    }
    for (Choice& zone : zones) zone.chosen = best_of(zone, best);
}

std::string reason(const Candidate& candidate, const Score& score, const ZoneNeeds& needs,
                   const Season& season, bool taken, UnitSystem units) {
    const Forecast& f = *candidate.forecast;
    if (!score.accepted()) return limit_sentence(candidate, score.limit, needs, season, units);
    std::string text = taken ? "Taken" : "Fits, but another scores higher";
    text += " (score " + fixed(score.total, 2) + "). Expected dry matter " +
            range_text(f.end_kg_ha, units, 10.0) + " by " + iso_date(f.ending.date) + ", " +
            fixed(100.0 * f.cover_at_frost, 0) + " % of the ground covered at frost";
    if (candidate.erosion_cut) {
        text += ", soil loss " + std::string(*candidate.erosion_cut >= 0.0 ? "down " : "up ") +
                fixed(100.0 * std::abs(*candidate.erosion_cut), 0) + " %";
    }
    text += ". It catches about " + rounded(f.fall_n_caught_kg_ha, units, 1.0) + unit_name(units) +
            " of soil nitrogen by the end of autumn";
    if (f.n_fixed_kg_ha > 0.5) {
        text += " and fixes " + rounded(f.n_fixed_kg_ha, units, 1.0) + unit_name(units);
    }
    text += ". ";
    const double release = f.release.range_kg_ha.typical;
    text += release < 0.0 ? "After it ends it ties up nitrogen: "
                          : "After it ends it releases nitrogen: ";
    text += range_text(f.release.range_kg_ha, units, 1.0);
    text += release < 0.0 ? ", minus is tied up." : ", minus would be tied up.";
    text += f.ending.by_winter ? " Winter is expected to end it" : " The grower has to end it";
    if (f.ends_mixed) text += " (in part: winter ends some of the mixture)";
    if (f.ending.kill_chance) {
        text += ", chance of winterkill " + fixed(100.0 * *f.ending.kill_chance, 0) + " %";
    }
    text += ".";
    if (f.taproot == Taproot::strong && score.need[at(Aim::compaction)] > 0.0 &&
        score.part[at(Aim::compaction)] > 0.0) {
        text += " Its taproot can open the compacted layer.";
    }
    if (f.week_cost_kg_ha > 5.0) {
        text += " Every week of delay costs about " + rounded(f.week_cost_kg_ha, units, 10.0) +
                unit_name(units) + ".";
    }
    if (!candidate.cost_per_ha)
        text += " No seed price is given, so cost counts the same for all such.";
    text += " Confidence: " + std::string(confidence_name(f.confidence)) + ".";
    return text;
}

}  // namespace catchfield::cover
