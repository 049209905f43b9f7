// SPDX-License-Identifier: MIT
#include "nitrogen/credits.hpp"

#include "base/error.hpp"
#include "base/table.hpp"
#include "base/text.hpp"
#include "base/units.hpp"
#include "nitrogen/data.hpp"

#include <algorithm>
#include <array>
#include <cmath>

namespace catchfield::nitrogen {

namespace {

constexpr std::string_view common_set = "common-practice";

constexpr std::array<std::string_view, 22> known_columns{"set",
                                                         "use",
                                                         "species",
                                                         "group",
                                                         "stand",
                                                         "season",
                                                         "height_min_cm",
                                                         "height_max_cm",
                                                         "texture",
                                                         "year",
                                                         "low_lb_ac",
                                                         "high_lb_ac",
                                                         "low_kg_ha",
                                                         "high_kg_ha",
                                                         "source",
                                                         "confidence",
                                                         "note",
                                                         "coarse_change_lb_ac",
                                                         "short_below_cm",
                                                         "short_change_lb_ac",
                                                         "coarse_change_kg_ha",
                                                         "short_change_kg_ha"};

/// Ids in lower case with '-' for '_' and blanks.
std::string key_of(std::string_view id) {
    std::string key = lower_case(trim(id));
    std::replace(key.begin(), key.end(), '_', '-');
    std::replace(key.begin(), key.end(), ' ', '-');
    return key;
}

bool matches(std::string_view condition, std::string_view value) {
    return condition == "any" || condition == key_of(value);
}

/// How well a row fits: negative where it does not.
int fit_of(const CreditRow& row, std::string_view use, const CoverEvidence& cover) {
    if (row.use != use || row.year != cover.years_after) return -1;
    if (!matches(row.species, cover.species) || !matches(row.group, cover.group)) return -1;
    if (row.coarse_only && !cover.coarse_soil) return -1;
    if (row.fine_only && cover.coarse_soil) return -1;
    // A stand or season that nobody reported is taken as the less favourable one.
    const Stand stand = cover.stand == Stand::unknown ? Stand::poor : cover.stand;
    const SowingSeason season =
        cover.season == SowingSeason::unknown ? SowingSeason::late_summer : cover.season;
    if (row.stand != Stand::unknown && row.stand != stand) return -1;
    if (row.season != SowingSeason::unknown && row.season != season) return -1;
    const bool upper = row.height_max_cm < 1e9;
    if (upper && !cover.height_cm) return -1;
    if (cover.height_cm &&
        (*cover.height_cm < row.height_min_cm || *cover.height_cm >= row.height_max_cm)) {
        return -1;
    }
    int score = row.species != "any" ? 100 : row.group != "any" ? 50 : 0;
    score += row.stand != Stand::unknown;
    score += row.season != SowingSeason::unknown;
    score += row.coarse_only || row.fine_only;
    score += upper;
    return score;
}

struct Range {
    double low = 0.0, typical = 0.0, high = 0.0;
};

/// Place in a row's range, 0 to 1: mean of what sowing season and stand say, the middle where
/// neither is known.
double place_in_range(const CoverEvidence& cover) {
    double sum = 0.0;
    int known = 0;
    if (cover.season != SowingSeason::unknown) {
        sum += cover.season == SowingSeason::spring ? 1.0 : 0.0;
        ++known;
    }
    if (cover.stand != Stand::unknown) {
        sum += cover.stand == Stand::good ? 1.0 : cover.stand == Stand::fair ? 0.5 : 0.0;
        ++known;
    }
    return known == 0 ? 0.5 : sum / known;
}

Range row_range(const CreditRow& row, const CoverEvidence& cover) {
    double change = cover.coarse_soil ? row.coarse_change_kg_ha : 0.0;
    if (cover.regrowth_cm < row.short_below_cm) change += row.short_change_kg_ha;
    const double typical = row.low_kg_ha + place_in_range(cover) * (row.high_kg_ha - row.low_kg_ha);
    return {std::max(0.0, row.low_kg_ha + change), std::max(0.0, typical + change),
            std::max(0.0, row.high_kg_ha + change)};
}

void check_evidence(const CoverEvidence& cover) {
    const ErrorContext where{.feature = cover.species};
    const auto bad = [](const std::optional<double>& value) {
        return value && !(*value >= 0.0 && std::isfinite(*value));
    };
    if (bad(cover.n_kg_ha) || bad(cover.cn_ratio) || bad(cover.shoot_kg_ha) ||
        bad(cover.height_cm)) {
        throw Error(ErrorKind::data, "a cover's N, C:N, shoot mass and height must be 0 or more",
                    where);
    }
    if (!(cover.release_low_kg_ha <= cover.release_kg_ha &&
          cover.release_kg_ha <= cover.release_high_kg_ha)) {
        throw Error(ErrorKind::data, "a cover's net release must run low, typical, high", where);
    }
}

std::string kg_ha(double value) {
    return fixed(value, 0) + " kg/ha";
}

const CreditRow* find_common(const CreditTable& table, const CoverEvidence& cover) {
    const CreditRow* row = table.find(common_set, "cover", cover);
    return row != nullptr ? row : CreditTable::built_in().find(common_set, "cover", cover);
}

/// The row that rules this cover, in the order that the header describes.
const CreditRow* ruling_row(const CreditTable& table, std::string_view set,
                            const CoverEvidence& cover) {
    const CreditRow* own = table.find(set, "cover", cover);
    const CreditRow* common = find_common(table, cover);
    if (own == nullptr) {
        CoverEvidence any_height = cover;
        any_height.height_cm.reset();
        const CreditRow* tall = table.find(set, "cover", any_height);
        // A short stand is not worth more than the set gives a tall one.
        if (tall != nullptr && common != nullptr && tall->high_kg_ha < common->high_kg_ha) {
            return tall;
        }
        return common;
    }
    const bool own_speaks_of_height = own->height_max_cm < 1e9 || own->height_min_cm > 0.0;
    if (common != nullptr && common->height_max_cm < 1e9 && !own_speaks_of_height) {
        return own->high_kg_ha < common->high_kg_ha ? own : common;
    }
    return own;
}

void add_tie_up(CoverCredit& result, const CoverEvidence& cover, const EvidenceLimits& limits,
                bool little_growth) {
    const auto allowance = [&](double release) {
        return std::clamp(-release, 0.0, limits.tie_up_cap_kg_ha);
    };
    result.tie_up_confidence = cover.release_confidence;
    if (cover.release_kg_ha < 0.0 && little_growth) {
        result.cautions.emplace_back(
            "little growth: no allowance for tie-up (optimum rates did not change after thin rye, "
            "Pantoja 2015)");
        return;
    }
    result.tie_up_low_kg_ha = allowance(cover.release_high_kg_ha);
    result.tie_up_kg_ha = allowance(cover.release_kg_ha);
    result.tie_up_high_kg_ha = allowance(cover.release_low_kg_ha);
    if (-cover.release_kg_ha > limits.tie_up_cap_kg_ha) {
        result.cautions.push_back("tie-up of " + kg_ha(-cover.release_kg_ha) +
                                  " counted up to the cap of " + kg_ha(limits.tie_up_cap_kg_ha));
    }
    const bool wide_cn = cover.cn_ratio && *cover.cn_ratio > limits.tie_up_cn;
    if (result.tie_up_kg_ha >= limits.starter_from_kg_ha || (wide_cn && !little_growth)) {
        result.starter_advised = true;
        result.advice =
            "Early tie-up is likely for 4 to 6 weeks after termination: put 34 to 56 kg N/ha "
            "(30 to 50 lb/ac) of the rate on at planting, beside the row, and terminate about two "
            "weeks before planting (common practice).";
    }
}

}  // namespace

Stand parse_stand(std::string_view text) {
    if (trim(text).empty()) return Stand::unknown;
    if (same_ignoring_case(trim(text), "poor")) return Stand::poor;
    if (same_ignoring_case(trim(text), "fair")) return Stand::fair;
    if (same_ignoring_case(trim(text), "good")) return Stand::good;
    throw Error(ErrorKind::usage, "unknown stand '" + std::string(text) + "'",
                {.hint = "Use good, fair, poor or leave it empty."});
}

SowingSeason parse_sowing_season(std::string_view text) {
    if (trim(text).empty()) return SowingSeason::unknown;
    if (same_ignoring_case(trim(text), "late-summer")) return SowingSeason::late_summer;
    if (same_ignoring_case(trim(text), "spring")) return SowingSeason::spring;
    throw Error(ErrorKind::usage, "unknown sowing season '" + std::string(text) + "'",
                {.hint = "Use late-summer, spring or leave it empty."});
}

CreditTable CreditTable::parse(std::string_view csv, const std::string& name) {
    const Table table = Table::parse(csv, name);
    for (const std::string& column : table.columns()) {
        if (std::find(known_columns.begin(), known_columns.end(), column) == known_columns.end()) {
            const std::string near = nearest_name(column, known_columns);
            throw Error(ErrorKind::data, "a credit table has no column '" + column + "'",
                        {.path = name,
                         .layer = column,
                         .feature = {},
                         .hint = near.empty() ? "" : "Did you mean '" + near + "'?"});
        }
    }
    const bool metric = table.has("low_kg_ha");
    if (metric && table.has("low_lb_ac")) {
        throw Error(ErrorKind::data,
                    "a credit table gives its credits in lb/ac or in kg/ha, not both",
                    {.path = name, .layer = "low_kg_ha"});
    }
    const std::string unit = metric ? "_kg_ha" : "_lb_ac";
    const double factor = metric ? 1.0 : units::kg_ha_per_lb_ac;
    table.require(
        {"set", "use", "species", "group", "low" + unit, "high" + unit, "source", "confidence"});
    if (table.rows() == 0) {
        throw Error(ErrorKind::data, "a credit table without rows", {.path = name});
    }

    const auto optional_text = [&](std::size_t row, std::string_view column) {
        return table.has(column) ? table.text(row, column) : std::string();
    };
    const auto optional_number = [&](std::size_t row, std::string_view column, double otherwise) {
        return table.has(column) ? table.number(row, column).value_or(otherwise) : otherwise;
    };
    const auto credit = [&](std::size_t row, const std::string& column) {
        const double value = table.required_number(row, column) * factor;
        if (!(value >= 0.0 && value <= 400.0)) {
            table.fail(row, column, "a credit must lie between 0 and 400 kg/ha (357 lb/ac)");
        }
        return value;
    };

    CreditTable result;
    for (std::size_t row = 0; row < table.rows(); ++row) {
        CreditRow one;
        one.set = lower_case(table.text(row, "set"));
        if (one.set.empty()) table.fail(row, "set", "the set (source region) is missing");
        one.use = lower_case(table.text(row, "use"));
        if (one.use != "cover" && one.use != "forage" && one.use != "previous-crop") {
            table.fail(row, "use", "unknown use '" + one.use + "'",
                       "Use cover, forage or previous-crop.");
        }
        one.species = key_of(table.text(row, "species"));
        one.group = lower_case(table.text(row, "group"));
        if (one.species.empty()) table.fail(row, "species", "the species is missing", "Write any.");
        if (one.group.empty()) table.fail(row, "group", "the group is missing", "Write any.");
        try {
            one.stand = parse_stand(optional_text(row, "stand"));
        } catch (const Error& error) {
            table.fail(row, "stand", error.reason(), error.context().hint);
        }
        try {
            one.season = parse_sowing_season(optional_text(row, "season"));
        } catch (const Error& error) {
            table.fail(row, "season", error.reason(), error.context().hint);
        }
        one.height_min_cm = optional_number(row, "height_min_cm", 0.0);
        one.height_max_cm = optional_number(row, "height_max_cm", 1e9);
        if (!(one.height_min_cm >= 0.0 && one.height_min_cm < one.height_max_cm)) {
            table.fail(row, "height_min_cm", "the height limits must run from 0 upwards");
        }
        const std::string texture = lower_case(optional_text(row, "texture"));
        if (!texture.empty() && texture != "coarse" && texture != "fine") {
            table.fail(row, "texture", "unknown texture '" + texture + "'",
                       "Use coarse, fine (medium and fine) or leave it empty.");
        }
        one.coarse_only = texture == "coarse";
        one.fine_only = texture == "fine";
        const double year = optional_number(row, "year", 1.0);
        if (year != 1.0 && year != 2.0) table.fail(row, "year", "the year is 1 or 2");
        one.year = static_cast<int>(year);
        one.low_kg_ha = credit(row, "low" + unit);
        one.high_kg_ha = credit(row, "high" + unit);
        if (one.low_kg_ha > one.high_kg_ha) {
            table.fail(row, "low" + unit, "the low credit is above the high one");
        }
        one.coarse_change_kg_ha = optional_number(row, "coarse_change" + unit, 0.0) * factor;
        if (one.coarse_change_kg_ha > 0.0) {
            table.fail(row, "coarse_change" + unit, "coarse soil cannot raise a credit");
        }
        one.short_below_cm = optional_number(row, "short_below_cm", 0.0);
        one.short_change_kg_ha = optional_number(row, "short_change" + unit, 0.0) * factor;
        if (one.short_change_kg_ha > 0.0) {
            table.fail(row, "short_change" + unit, "short regrowth cannot raise a credit");
        }
        one.source = table.text(row, "source");
        if (one.source.empty()) table.fail(row, "source", "a credit needs its source");
        try {
            one.confidence = parse_confidence(table.text(row, "confidence"));
        } catch (const Error& error) {
            table.fail(row, "confidence", error.reason(), error.context().hint);
        }
        one.note = optional_text(row, "note");
        result.m_rows.push_back(std::move(one));
    }
    return result;
}

const CreditTable& CreditTable::built_in() {
    static const CreditTable table = parse(data::credits, "built-in table credits");
    return table;
}

std::vector<std::string> CreditTable::sets() const {
    std::vector<std::string> names;
    for (const CreditRow& row : m_rows) {
        if (std::find(names.begin(), names.end(), row.set) == names.end()) names.push_back(row.set);
    }
    return names;
}

void CreditTable::require_set(std::string_view set) const {
    std::string known;
    for (const CreditRow& row : m_rows) {
        if (same_ignoring_case(row.set, set)) return;
    }
    for (const std::string& name : sets()) known += (known.empty() ? "" : ", ") + name;
    const std::string near = nearest_name(std::string(set), sets());
    throw Error(ErrorKind::usage, "no credit set '" + std::string(set) + "'",
                {.hint = (near.empty() ? "" : "Did you mean '" + near + "'? ") +
                         "Known sets: " + known + "."});
}

const CreditRow* CreditTable::find(std::string_view set, std::string_view use,
                                   const CoverEvidence& cover) const {
    const CreditRow* best = nullptr;
    int best_fit = -1;
    for (const CreditRow& row : m_rows) {
        if (!same_ignoring_case(row.set, set)) continue;
        const int fit = fit_of(row, use, cover);
        if (fit > best_fit) {
            best = &row;
            best_fit = fit;
        }
    }
    return best;
}

CoverCredit cover_credit(const CreditTable& table, std::string_view set, const CoverEvidence& cover,
                         const EvidenceLimits& limits) {
    table.require_set(set);
    check_evidence(cover);
    CoverCredit result;
    const bool legume = cover.group == "legume";
    const bool little_growth = cover.shoot_kg_ha && *cover.shoot_kg_ha < limits.low_shoot_kg_ha;

    Range range;
    if (const CreditRow* row = ruling_row(table, set, cover)) {
        range = row_range(*row, cover);
        result.rule = (row->species == "any" ? row->group : row->species) + ", " + row->set;
        if (row->height_max_cm < 1e9) {
            result.rule += ", under " + fixed(row->height_max_cm, 0) + " cm";
        }
        result.source = row->source;
        result.confidence = row->confidence;
        if (row->height_min_cm > 0.0 && !cover.height_cm && legume) {
            result.cautions.push_back("height not given: taken as " + fixed(row->height_min_cm, 0) +
                                      " cm or more");
        }
        if (!legume && row->high_kg_ha > 0.0) {
            // A scavenger gives back no more than its residue releases.
            range.low = std::min(range.low, std::max(0.0, cover.release_low_kg_ha));
            range.typical = std::min(range.typical, std::max(0.0, cover.release_kg_ha));
            range.high = std::min(range.high, std::max(0.0, cover.release_high_kg_ha));
        }
    } else if (legume || cover.group == "mix") {
        range = {std::max(0.0, cover.release_low_kg_ha), std::max(0.0, cover.release_kg_ha),
                 std::max(0.0, cover.release_high_kg_ha)};
        result.rule = "net release, no table row in " + std::string(set);
        result.source = "net release expected from the residue";
        result.confidence = weakest(cover.release_confidence, Confidence::unchecked);
    } else {
        result.rule = "no table row: no credit";
        result.source = "no source gives this cover a credit";
        result.confidence = Confidence::assumption;
    }
    if (cover.n_kg_ha && range.typical > *cover.n_kg_ha) {
        result.cautions.push_back("credit cut to the " + kg_ha(*cover.n_kg_ha) +
                                  " of nitrogen in the cover");
    }
    if (cover.n_kg_ha) {
        range.low = std::min(range.low, *cover.n_kg_ha);
        range.typical = std::min(range.typical, *cover.n_kg_ha);
        range.high = std::min(range.high, *cover.n_kg_ha);
    }
    if (cover.release_kg_ha < 0.0 && range.typical > 0.0) {
        result.cautions.push_back(
            "the residue is expected to tie nitrogen up, so the table's credit of " +
            kg_ha(range.typical) + " is not taken");
        range = {0.0, 0.0, range.high};
    } else if (cover.release_high_kg_ha > 0.0 && range.typical > cover.release_high_kg_ha + 0.5) {
        result.cautions.push_back("the table's credit of " + kg_ha(range.typical) +
                                  " is above the most this residue should release (" +
                                  kg_ha(cover.release_high_kg_ha) + ")");
    }

    result.low_kg_ha = range.low;
    result.credit_kg_ha = range.typical;
    result.high_kg_ha = range.high;
    result.full_credit_kg_ha = range.typical;
    if (range.high > 0.0 && (cover.cold_dry || cover.winterkilled || little_growth)) {
        const bool none = cover.cold_dry || !legume;
        result.weak_evidence = true;
        result.low_kg_ha = 0.0;
        result.credit_kg_ha = none ? 0.0 : range.low;
        result.cautions.push_back(
            std::string("weak evidence (") +
            (cover.cold_dry       ? "cold, dry region: trials found nothing reaching the next crop"
             : cover.winterkilled ? "winterkilled: much is released before the crop needs it"
                                  : "little growth") +
            "): credit of " + kg_ha(result.credit_kg_ha) + " instead of " +
            kg_ha(result.full_credit_kg_ha));
    }
    add_tie_up(result, cover, limits, little_growth);
    return result;
}

std::optional<OtherCredit> previous_crop_credit(const CreditTable& table, std::string_view set,
                                                const CoverEvidence& crop) {
    table.require_set(set);
    check_evidence(crop);
    const CreditRow* row = table.find(set, "forage", crop);
    if (row == nullptr) row = table.find(set, "previous-crop", crop);
    if (row == nullptr) return {};
    const Range range = row_range(*row, crop);
    OtherCredit result{.label = "Previous crop: " + crop.species,
                       .low_kg_ha = range.low,
                       .credit_kg_ha = range.typical,
                       .high_kg_ha = range.high,
                       .source = row->source + " (" + row->set + ")",
                       .confidence = row->confidence,
                       .cautions = {}};
    if (crop.stand == Stand::unknown && row->stand != Stand::unknown) {
        result.cautions.emplace_back("stand of the previous " + crop.species +
                                     " not given: counted as poor");
    }
    return result;
}

OtherCredit manure_credit(double rate_mg_ha, double available_kg_mg, const std::string& source,
                          Confidence confidence) {
    if (!(rate_mg_ha >= 0.0 && rate_mg_ha <= 500.0)) {
        throw Error(ErrorKind::data,
                    "a manure rate of " + shortest(rate_mg_ha) + " Mg/ha is outside 0 to 500");
    }
    if (!(available_kg_mg >= 0.0 && available_kg_mg <= 60.0)) {
        throw Error(ErrorKind::data,
                    "manure with " + shortest(available_kg_mg) +
                        " kg available N per Mg is outside 0 to 60",
                    {.hint = "1 lb per short ton is 0.5 kg/Mg."});
    }
    const double n = rate_mg_ha * available_kg_mg;
    // +-20 %: unevenness of spreading and of the analysis [assumption].
    return {"Manure", 0.8 * n, n, 1.2 * n, source, confidence, {}};
}

const std::vector<ManureRow>& manures() {
    static const std::vector<ManureRow> rows = [] {
        const Table table = Table::parse(data::manure, "built-in table manure");
        constexpr double kg_mg_per_lb_ton = 0.5;  // 1 lb per 2000 lb
        std::vector<ManureRow> list;
        for (std::size_t row = 0; row < table.rows(); ++row) {
            list.push_back({table.text(row, "manure"),
                            table.required_number(row, "low_lb_ton") * kg_mg_per_lb_ton,
                            table.required_number(row, "high_lb_ton") * kg_mg_per_lb_ton,
                            table.required_number(row, "second_year_share"),
                            table.text(row, "source"),
                            parse_confidence(table.text(row, "confidence"))});
        }
        return list;
    }();
    return rows;
}

OtherCredit irrigation_credit(double water_mm, double nitrate_n_mg_l) {
    if (!(water_mm >= 0.0 && water_mm <= 3000.0)) {
        throw Error(ErrorKind::data,
                    "irrigation of " + shortest(water_mm) + " mm is outside 0 to 3000");
    }
    if (!(nitrate_n_mg_l >= 0.0 && nitrate_n_mg_l <= 100.0)) {
        throw Error(ErrorKind::data,
                    "nitrate-N of " + shortest(nitrate_n_mg_l) +
                        " mg/L in irrigation water is outside 0 to 100",
                    {.hint = "Divide mg/L of nitrate by 4.43."});
    }
    const double n = 0.01 * water_mm * nitrate_n_mg_l;
    OtherCredit result{
        "Irrigation water",     0.8 * n, n, 1.1 * n, "water x concentration (exact); range chosen",
        Confidence::assumption, {}};
    if (nitrate_n_mg_l > 10.0) {
        result.cautions.emplace_back(
            "irrigation water is above the drinking-water limit of 10 mg/L nitrate-N");
    }
    return result;
}

}  // namespace catchfield::nitrogen
