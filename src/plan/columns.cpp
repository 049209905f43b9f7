// SPDX-License-Identifier: MIT
#include "plan/columns.hpp"

#include "base/text.hpp"

#include <cmath>

namespace catchfield::plan {

namespace {

using gis::FieldType;
using gis::Value;

Value real(double value) {
    return std::isfinite(value) ? Value(value) : Value();
}
Value real(const std::optional<double>& value) {
    return value ? real(*value) : Value();
}
Value text(std::string value) {
    return value.empty() ? Value() : Value(std::move(value));
}

const cover::Forecast* forecast_of(const ZoneResult& zone) {
    return zone.cover() != nullptr ? &zone.cover()->with->forecast : nullptr;
}

const cover::Cover& cover_of(const Inputs& inputs, const CoverOption& option) {
    return inputs.covers->candidates()[option.candidate].cover;
}

std::string passes_text(const ZoneResult& zone) {
    std::string all;
    for (const double pass : zone.n_passes_kg_ha) all += (all.empty() ? "" : "; ") + fixed(pass, 2);
    return all;
}

#define FORECAST(expression)                                                 \
    [](const Inputs&, const FieldResult&, const ZoneResult& zone) -> Value { \
        const cover::Forecast* f = forecast_of(zone);                        \
        return f != nullptr ? real(expression) : Value();                    \
    }
#define ZONE(expression) \
    [](const Inputs&, const FieldResult&, const ZoneResult& zone) -> Value { return expression; }

}  // namespace

const std::vector<ZoneColumn>& zone_columns() {
    static const std::vector<ZoneColumn> columns = {
        {"field_id", FieldType::text, 0, "", "The field's name.",
         [](const Inputs&, const FieldResult& field, const ZoneResult&) -> Value {
             return field.id;
         }},
        {"zone", FieldType::integer, 0, "",
         "Zone number; 1 has the greatest slope length and steepness factor.",
         ZONE(static_cast<long long>(zone.zone))},
        {"area_ha", FieldType::real, 4, "ha", "Area within the field's boundary.",
         ZONE(real(zone.area_ha))},
        {"vertices", FieldType::integer, 0, "", "Vertices of the zone's outline.",
         ZONE(static_cast<long long>(zone.vertices))},
        {"slope_pct", FieldType::real, 3, "%", "Mean slope (Horn 1981).",
         ZONE(real(zone.slope_pct))},
        {"ls", FieldType::real, 4, "", "Mean slope length and steepness factor.",
         ZONE(real(zone.ls))},
        {"slope_length_m", FieldType::real, 1, "m", "Length of the uniform slope that has this LS.",
         ZONE(real(zone.slope_length_m))},
        {"k_si", FieldType::real, 5, "Mg ha h/(ha MJ mm)", "Mean soil erodibility.",
         ZONE(real(zone.k_si))},
        {"k_route", FieldType::text, 0, "", "How the erodibility of the main soil came about.",
         ZONE(text(zone.k_route))},
        {"t_mg_ha", FieldType::real, 3, "Mg/(ha yr)", "Mean soil loss tolerance.",
         ZONE(real(zone.t_mg_ha))},
        {"t_route", FieldType::text, 0, "", "Where the tolerance of the main soil comes from.",
         ZONE(text(zone.t_route))},
        {"channel_pct", FieldType::real, 1, "%",
         "Share of the zone that collects flow from beyond the greatest slope length.",
         ZONE(real(100.0 * zone.channel_share))},
        {"steep_pct", FieldType::real, 1, "%", "Share of the zone steeper than 20 %.",
         ZONE(real(100.0 * zone.steep_share))},
        {"soil", FieldType::text, 0, "", "Map unit with the largest area.", ZONE(text(zone.soil))},
        {"om_pct", FieldType::real, 2, "%", "Mean organic matter of the top 20 cm.",
         ZONE(real(zone.om_pct))},
        {"density_g_cm3", FieldType::real, 3, "g/cm3", "Mean bulk density to 60 cm.",
         ZONE(real(zone.density_g_cm3))},
        {"soil_mapped_pct", FieldType::real, 1, "%", "Share of the zone under a soil polygon.",
         ZONE(real(100.0 * zone.coverage.mapped))},
        {"soil_filled_pct", FieldType::real, 1, "%",
         "Share that took the nearest polygon's values.", ZONE(real(100.0 * zone.coverage.filled))},
        {"soil_without_pct", FieldType::real, 1, "%", "Share without soil values.",
         ZONE(real(100.0 * zone.coverage.without))},
        {"c_now", FieldType::real, 4, "", "Cover-management factor of present management.",
         ZONE(real(zone.c_now))},
        {"c_cover", FieldType::real, 4, "", "Cover-management factor with the chosen cover.",
         ZONE(real(zone.c_cover))},
        {"p", FieldType::real, 3, "", "Support practice factor.", ZONE(real(zone.practice.p))},
        {"p_note", FieldType::text, 0, "", "The support practice and its limits, in words.",
         ZONE(text(zone.practice.note))},
        {"soil_loss_bare_mg_ha", FieldType::real, 3, "Mg/(ha yr)",
         "Bare-fallow reference (C = 1, P = 1).", ZONE(real(zone.loss_bare_mg_ha))},
        {"soil_loss_now_mg_ha", FieldType::real, 3, "Mg/(ha yr)",
         "Present management without a cover crop.", ZONE(real(zone.loss_now_mg_ha))},
        {"soil_loss_cover_mg_ha", FieldType::real, 3, "Mg/(ha yr)", "With the chosen cover.",
         ZONE(real(zone.loss_cover_mg_ha))},
        {"soil_loss_cover_low_mg_ha", FieldType::real, 3, "Mg/(ha yr)",
         "Low end of its 80 % interval.",
         ZONE(zone.uncertainty ? real(zone.uncertainty->loss_cover_mg_ha.low) : Value())},
        {"soil_loss_cover_high_mg_ha", FieldType::real, 3, "Mg/(ha yr)",
         "High end of its 80 % interval.",
         ZONE(zone.uncertainty ? real(zone.uncertainty->loss_cover_mg_ha.high) : Value())},
        {"soil_loss_now_low_mg_ha", FieldType::real, 3, "Mg/(ha yr)",
         "Low end of the 80 % interval of present loss.",
         ZONE(zone.uncertainty ? real(zone.uncertainty->loss_now_mg_ha.low) : Value())},
        {"soil_loss_now_high_mg_ha", FieldType::real, 3, "Mg/(ha yr)", "High end of it.",
         ZONE(zone.uncertainty ? real(zone.uncertainty->loss_now_mg_ha.high) : Value())},
        {"loss_moved_by", FieldType::text, 0, "", "The input that moves the loss with cover most.",
         ZONE(zone.uncertainty
                  ? text(std::string(erosion::uncertain_input_name(zone.uncertainty->loss_driver)))
                  : Value())},
        {"cut_moved_by", FieldType::text, 0, "", "The input that moves the reduction most.",
         ZONE(zone.uncertainty
                  ? text(std::string(erosion::uncertain_input_name(zone.uncertainty->cut_driver)))
                  : Value())},
        {"erosion_cut_pct", FieldType::real, 1, "%", "Reduction by the cover.",
         ZONE(real(zone.erosion_cut_pct))},
        {"erosion_cut_low_pct", FieldType::real, 1, "%", "Low end of its 80 % interval.",
         ZONE(zone.uncertainty ? real(zone.uncertainty->cut_pct.low) : Value())},
        {"erosion_cut_high_pct", FieldType::real, 1, "%", "High end of its 80 % interval.",
         ZONE(zone.uncertainty ? real(zone.uncertainty->cut_pct.high) : Value())},
        {"loss_over_t", FieldType::real, 3, "", "Present soil loss over tolerance.",
         ZONE(real(zone.loss_over_t))},
        {"erodibility_index", FieldType::real, 2, "",
         "R K LS/T with the AH-537 LS; a screening value, not a determination.",
         ZONE(real(zone.erodibility_index))},
        {"wind_group", FieldType::text, 0, "", "Wind erodibility group of the main soil.",
         ZONE(text(zone.wind_group))},
        {"wind_cut_pct", FieldType::real, 1, "%",
         "Reduction of wind erosion by the cover, screening; least-covered half-month.",
         ZONE(zone.wind ? real(zone.wind->typical_pct) : Value())},
        {"cover", FieldType::text, 0, "", "The cover crop chosen (catalogue id).",
         [](const Inputs& inputs, const FieldResult&, const ZoneResult& zone) -> Value {
             return zone.cover() != nullptr ? text(cover_of(inputs, *zone.cover()).id) : Value();
         }},
        {"biomass_kg_ha", FieldType::real, 0, "kg/ha", "Shoot dry matter when it ends, typical.",
         FORECAST(f->end_kg_ha.typical)},
        {"biomass_low_kg_ha", FieldType::real, 0, "kg/ha", "The same, low.",
         FORECAST(f->end_kg_ha.low)},
        {"biomass_high_kg_ha", FieldType::real, 0, "kg/ha", "The same, high.",
         FORECAST(f->end_kg_ha.high)},
        {"ground_cover_pct", FieldType::real, 1, "%", "Live ground cover at the hard frost.",
         FORECAST(100.0 * f->cover_at_frost)},
        {"n_uptake_kg_ha", FieldType::real, 1, "kg/ha", "Nitrogen in the shoots when it ends.",
         FORECAST(f->n_uptake_kg_ha)},
        {"n_fixed_kg_ha", FieldType::real, 1, "kg/ha", "Of that, fixed from the air.",
         FORECAST(f->n_fixed_kg_ha)},
        {"fall_n_caught_kg_ha", FieldType::real, 1, "kg/ha",
         "Soil nitrogen caught by the end of autumn growth.", FORECAST(f->fall_n_caught_kg_ha)},
        {"cn_ratio", FieldType::real, 1, "", "C:N when it ends.", FORECAST(f->cn_ratio)},
        {"carbon_returned_kg_ha", FieldType::real, 0, "kg/ha",
         "Carbon that the cover returns, shoots and roots (screening).",
         FORECAST(f->carbon.returned_c_kg_ha)},
        {"humus_balance_kg_ha", FieldType::real, 0, "kg/ha",
         "Humus carbon from the cover less what removed straw or silage would have left (screening).",
         FORECAST(f->carbon.balance_kg_ha)},
        {"winterkill", FieldType::text, 0, "", "killed, likely, uncertain or survives.",
         [](const Inputs&, const FieldResult&, const ZoneResult& zone) -> Value {
             const cover::Forecast* f = forecast_of(zone);
             return f != nullptr ? text(std::string(cover::winterkill_name(f->ending.winterkill)))
                                 : Value();
         }},
        {"cover_ends", FieldType::text, 0, "", "Date from which it is dead, or is to be ended.",
         [](const Inputs&, const FieldResult&, const ZoneResult& zone) -> Value {
             const cover::Forecast* f = forecast_of(zone);
             return f != nullptr ? text(iso_date(f->ending.date)) : Value();
         }},
        {"n_credit_kg_ha", FieldType::real, 1, "kg/ha",
         "Nitrogen credit of the cover to the next crop; negative: tie-up.",
         ZONE(zone.cover() != nullptr
                  ? real(zone.cover()->credit.credit_kg_ha - zone.cover()->credit.tie_up_kg_ha)
                  : Value())},
        {"compaction_top_cm", FieldType::real, 1, "cm", "Top of the restrictive layer.",
         ZONE(real(zone.compaction_top_cm))},
        {"compaction_class", FieldType::text, 0, "",
         "Rating of the stops, or what the soil map says.", ZONE(text(zone.compaction_class))},
        {"taproot_advice", FieldType::text, 0, "",
         "Whether a taprooted brassica is worth its seed.",
         ZONE(text(std::string(compaction::advice_name(zone.taproot.advice))))},
        {"taproot_seed_min_kg_ha", FieldType::real, 1, "kg/ha",
         "Forage radish alone, drilled, least; where a taproot is recommended.",
         ZONE(real(zone.taproot.seed_min_kg_ha))},
        {"taproot_seed_max_kg_ha", FieldType::real, 1, "kg/ha", "The same, most.",
         ZONE(real(zone.taproot.seed_max_kg_ha))},
        {"leaching_index", FieldType::real, 2, "in", "Leaching index (Williams & Kissel 1991).",
         ZONE(zone.leaching ? real(zone.leaching->index_in) : Value())},
        {"soil_nitrate_kg_ha", FieldType::real, 1, "kg/ha",
         "Nitrate-N by the soil tests, sampled depth.", ZONE(real(zone.nitrate_kg_ha))},
        {"winter_nitrate_kg_ha", FieldType::real, 1, "kg/ha",
         "Nitrate at risk over winter without a cover (soil test in fall, and what the soil still "
         "supplies).",
         ZONE(zone.winter_nitrate ? real(zone.winter_nitrate->at_risk_kg_ha) : Value())},
        {"winter_nitrate_cover_kg_ha", FieldType::real, 1, "kg/ha",
         "The same, less what the cover takes up.",
         ZONE(zone.winter_nitrate ? real(zone.winter_nitrate->at_risk_with_cover_kg_ha) : Value())},
        {"winter_loss_kg_ha", FieldType::real, 1, "kg/ha",
         "Nitrate lost over winter without a cover, screening.",
         ZONE(zone.winter_nitrate ? real(zone.winter_nitrate->loss_kg_ha) : Value())},
        {"winter_loss_cover_kg_ha", FieldType::real, 1, "kg/ha",
         "Nitrate lost over winter with the cover, screening.",
         ZONE(zone.winter_nitrate ? real(zone.winter_nitrate->loss_with_cover_kg_ha) : Value())},
        {"soil_nitrate_0_30_kg_ha", FieldType::real, 1, "kg/ha",
         "Nitrate-N by the soil tests, top 30 cm.", ZONE(real(zone.nitrate_0_30_kg_ha))},
        {"n_need_kg_ha", FieldType::real, 1, "kg/ha", "Nitrogen need before bounds and rounding.",
         ZONE(real(zone.budget.need_kg_ha))},
        {"n_rate_kg_ha", FieldType::real, 2, "kg/ha",
         "Nitrogen rate, bounded and on the machine's step.", ZONE(real(zone.n_rate_kg_ha))},
        {"n_passes_kg_ha", FieldType::text, 0, "kg/ha", "The rate's split applications, in order.",
         ZONE(zone.n_passes_kg_ha.size() > 1 ? text(passes_text(zone)) : Value())},
        {"n_rate_without_credit_kg_ha", FieldType::real, 1, "kg/ha",
         "The need were the cover's credit left out.",
         ZONE(real(zone.budget.rate_without_cover_credit_kg_ha))},
        {"n_rate_low_kg_ha", FieldType::real, 1, "kg/ha", "Low end of the need's 90 % interval.",
         ZONE(real(zone.budget.low_kg_ha))},
        {"n_rate_high_kg_ha", FieldType::real, 1, "kg/ha", "High end of the need's 90 % interval.",
         ZONE(real(zone.budget.high_kg_ha))},
        {"seed_rate_kg_ha", FieldType::real, 2, "kg/ha", "Bulk seed rate of the cover.",
         ZONE(real(zone.seed_rate_kg_ha))},
        {"confidence", FieldType::text, 0, "", "high, medium or low.", ZONE(text(zone.confidence))},
        {"confidence_reasons", FieldType::text, 0, "", "Why it is not high.",
         ZONE(text(joined(zone.confidence_reasons)))},
        {"cautions", FieldType::text, 0, "", "What to be careful about.",
         ZONE(text(joined(zone.cautions)))},
    };
    return columns;
}

#define OPTION(expression)                                                                         \
    [](const Inputs&, const FieldResult&, const ZoneResult&, const CoverOption& option) -> Value { \
        return expression;                                                                         \
    }
#define PART(aim)                                                                                  \
    [](const Inputs&, const FieldResult&, const ZoneResult&, const CoverOption& option) -> Value { \
        return real(option.score.part[static_cast<std::size_t>(cover::Aim::aim)]);                 \
    }

const std::vector<OptionColumn>& option_columns() {
    static const std::vector<OptionColumn> columns = {
        {"field_id", FieldType::text, 0, "", "The field's name.",
         [](const Inputs&, const FieldResult& field, const ZoneResult&,
            const CoverOption&) -> Value { return field.id; }},
        {"zone", FieldType::integer, 0, "", "Zone number.",
         [](const Inputs&, const FieldResult&, const ZoneResult& zone,
            const CoverOption&) -> Value { return static_cast<long long>(zone.zone); }},
        {"cover", FieldType::text, 0, "", "Catalogue id.",
         [](const Inputs& inputs, const FieldResult&, const ZoneResult&,
            const CoverOption& option) -> Value { return cover_of(inputs, option).id; }},
        {"name", FieldType::text, 0, "", "Common name.",
         [](const Inputs& inputs, const FieldResult&, const ZoneResult&,
            const CoverOption& option) -> Value { return cover_of(inputs, option).name; }},
        {"taken", FieldType::integer, 0, "", "1 where it was chosen.",
         OPTION(option.taken ? 1LL : 0LL)},
        {"score", FieldType::real, 4, "", "Weighted sum of the parts.",
         OPTION(real(option.score.total))},
        {"limit_hit", FieldType::text, 0, "", "The hard limit that refuses it.",
         OPTION(option.score.accepted()
                    ? Value()
                    : text(std::string(cover::limit_name(option.score.limit))))},
        {"part_erosion", FieldType::real, 3, "0-1", "What it does against erosion.", PART(erosion)},
        {"part_catch_n", FieldType::real, 3, "0-1", "What it does to catch nitrate.",
         PART(catch_n)},
        {"part_supply_n", FieldType::real, 3, "-1-1",
         "What it supplies in nitrogen (negative: tie-up).", PART(supply_n)},
        {"part_compaction", FieldType::real, 3, "0-1", "What its roots do in a compacted layer.",
         PART(compaction)},
        {"part_organic_matter", FieldType::real, 3, "0-1", "What it returns in carbon.",
         PART(organic_matter)},
        {"part_ends_itself", FieldType::real, 3, "0-1", "Whether winter ends it.",
         PART(ends_itself)},
        {"part_cost", FieldType::real, 3, "0-1",
         "1 cheap to 0 dear; empty prices count as middling.", PART(cost)},
        {"c_factor", FieldType::real, 4, "", "Cover-management factor of the year.",
         OPTION(real(option.with->c))},
        {"soil_loss_mg_ha", FieldType::real, 3, "Mg/(ha yr)", "Soil loss with it.",
         OPTION(real(option.soil_loss_mg_ha))},
        {"erosion_cut_pct", FieldType::real, 1, "%", "Reduction of soil loss.",
         OPTION(real(100.0 * option.erosion_cut))},
        {"biomass_kg_ha", FieldType::real, 0, "kg/ha", "Shoot dry matter when it ends, typical.",
         OPTION(real(option.with->forecast.end_kg_ha.typical))},
        {"biomass_low_kg_ha", FieldType::real, 0, "kg/ha", "The same, low.",
         OPTION(real(option.with->forecast.end_kg_ha.low))},
        {"biomass_high_kg_ha", FieldType::real, 0, "kg/ha", "The same, high.",
         OPTION(real(option.with->forecast.end_kg_ha.high))},
        {"n_uptake_kg_ha", FieldType::real, 1, "kg/ha", "Nitrogen in the shoots.",
         OPTION(real(option.with->forecast.n_uptake_kg_ha))},
        {"n_fixed_kg_ha", FieldType::real, 1, "kg/ha", "Of that, fixed from the air.",
         OPTION(real(option.with->forecast.n_fixed_kg_ha))},
        {"cn_ratio", FieldType::real, 1, "", "C:N when it ends.",
         OPTION(real(option.with->forecast.cn_ratio))},
        {"winterkill", FieldType::text, 0, "", "killed, likely, uncertain or survives.",
         OPTION(
             text(std::string(cover::winterkill_name(option.with->forecast.ending.winterkill))))},
        {"n_credit_kg_ha", FieldType::real, 1, "kg/ha", "Nitrogen credit; negative: tie-up.",
         OPTION(real(option.credit.credit_kg_ha - option.credit.tie_up_kg_ha))},
        {"latest_sowing", FieldType::text, 0, "", "Latest sensible sowing date here.",
         OPTION(text(iso_date(option.with->forecast.latest_sowing)))},
        {"seed_rate_kg_ha", FieldType::real, 2, "kg/ha", "Bulk seed rate.",
         [](const Inputs& inputs, const FieldResult&, const ZoneResult&,
            const CoverOption& option) -> Value {
             return real(inputs.covers->candidates()[option.candidate].seed.bulk_kg_ha);
         }},
        {"confidence", FieldType::text, 0, "", "The weakest value behind it.",
         OPTION(text(std::string(confidence_name(option.with->forecast.confidence))))},
        {"reason", FieldType::text, 0, "", "Why it was taken or refused.",
         [](const Inputs& inputs, const FieldResult&, const ZoneResult& zone,
            const CoverOption& option) -> Value {
             return text(option_reason(inputs, zone, option));
         }},
    };
    return columns;
}

std::string option_reason(const Inputs& inputs, const ZoneResult& zone, const CoverOption& option) {
    cover::Candidate candidate;
    const CandidateInfo& info = inputs.covers->candidates()[option.candidate];
    candidate.cover = &info.cover;
    candidate.forecast = &option.with->forecast;
    candidate.erosion_cut = option.erosion_cut;
    candidate.cost_per_ha = info.seed.cost_per_ha;
    return cover::reason(candidate, option.score, zone.needs, inputs.covers->season(), option.taken,
                         inputs.job.output.units);
}

std::string value_text(const gis::Value& value, int decimals) {
    if (const auto* words = std::get_if<std::string>(&value)) return *words;
    if (const auto* whole = std::get_if<long long>(&value)) return std::to_string(*whole);
    if (const auto* number = std::get_if<double>(&value)) return fixed(*number, decimals);
    return {};
}

std::vector<gis::Value> zone_values(const Inputs& inputs, const FieldResult& field,
                                    const ZoneResult& zone) {
    std::vector<gis::Value> values;
    for (const ZoneColumn& column : zone_columns())
        values.push_back(column.value(inputs, field, zone));
    return values;
}

std::vector<gis::Value> option_values(const Inputs& inputs, const FieldResult& field,
                                      const ZoneResult& zone, const CoverOption& option) {
    std::vector<gis::Value> values;
    for (const OptionColumn& column : option_columns()) {
        values.push_back(column.value(inputs, field, zone, option));
    }
    return values;
}

std::string joined(const std::vector<std::string>& parts) {
    std::string text;
    for (const std::string& part : parts) text += (text.empty() ? "" : "; ") + part;
    return text;
}

}  // namespace catchfield::plan
