// SPDX-License-Identifier: MIT
#include "plan/decision_pages.hpp"

#include "plan/shown.hpp"
#include "report/html.hpp"

#include <algorithm>
#include <cmath>
#include <map>
#include <set>

namespace catchfield::plan {

namespace {

using report::escape;
using report::figure;
using report::name;

/// "low to high" below a figure; "" where it has no interval.
std::string range_line(const std::string& low, const std::string& high) {
    return "<br><span class=\"range\">" + low + " to " + high + "</span>";
}

std::string ends_cell(const ZoneResult& zone) {
    if (zone.cover() == nullptr) return "";
    const cover::Ending& ending = zone.cover()->with->forecast.ending;
    const std::string date =
        "<span class=\"nb\">" + figure("cover_ends", iso_date(ending.date)) + "</span>";
    const std::string winter =
        figure("winterkill", std::string(cover::winterkill_name(ending.winterkill)));
    if (ending.by_winter) return "winter ends it, from " + date + " (" + winter + ")";
    return "you end it, about " + date + " (winter: " + winter + ")";
}

/// What a cover is good for, in a grower's words.
const char* aim_words(cover::Aim aim) {
    switch (aim) {
        case cover::Aim::erosion:
            return "holds soil";
        case cover::Aim::catch_n:
            return "catches nitrate";
        case cover::Aim::supply_n:
            return "feeds the next crop";
        case cover::Aim::compaction:
            return "roots into hard ground";
        case cover::Aim::organic_matter:
            return "adds carbon";
        case cover::Aim::ends_itself:
            return "dies in winter";
        case cover::Aim::cost:
            return "costs little";
    }
    return "";
}

/// The two aims that carry most of the score.
std::string why_cell(const Inputs& inputs, const ZoneResult& zone) {
    const std::string all =
        " <a class=\"how\" href=\"#other-covers\">others?<span class=\"unseen\"> for zone " +
        std::to_string(zone.zone) + "</span></a>";
    if (zone.cover() == nullptr) return "every candidate is refused" + all;
    const cover::Score& score = zone.cover()->score;
    std::vector<std::pair<double, cover::Aim>> parts;
    double total = 0.0;
    for (std::size_t i = 0; i < cover::aim_count; ++i) {
        const double part = inputs.covers->aims().weight[i] * score.need[i] * score.part[i];
        if (part > 0.0) {
            parts.emplace_back(part, static_cast<cover::Aim>(i));
            total += part;
        }
    }
    std::stable_sort(parts.begin(), parts.end(),
                     [](const auto& a, const auto& b) { return a.first > b.first; });
    std::string text;
    for (std::size_t i = 0; i < std::min<std::size_t>(parts.size(), 2); ++i) {
        if (i > 0 && parts[i].first < 0.15 * total) break;
        text += (i == 0 ? "" : ", ") + std::string(aim_words(parts[i].second));
    }
    return (text.empty() ? "best score" : text) + all;
}

std::string sure_cell(const Shown& shown, const ZoneResult& zone) {
    const std::string word = figure("confidence", escape(zone.confidence));
    if (zone.confidence_reasons.empty()) return word;
    return "<details class=\"inline\"><summary>" + word + "</summary>" +
           report::bullet_list(shown.words(zone.confidence_reasons)) + "</details>";
}

std::string loss_cell(const Shown& shown, const std::string& column,
                      const std::optional<double>& value,
                      const std::optional<erosion::Interval>& interval) {
    std::string html = figure("soil_loss_" + column + "_mg_ha", shown.loss_text(value));
    if (interval) {
        html += range_line(
            figure("soil_loss_" + column + "_low_mg_ha", shown.loss_text(interval->low)),
            figure("soil_loss_" + column + "_high_mg_ha", shown.loss_text(interval->high)));
    }
    return html;
}

std::string cut_cell(const ZoneResult& zone) {
    if (!zone.erosion_cut_pct) return figure("erosion_cut_pct", "not known");
    const auto percent = [](double value) { return significant(value, 2); };
    std::string html = figure("erosion_cut_pct", percent(*zone.erosion_cut_pct)) + " %";
    if (zone.uncertainty) {
        html += range_line(figure("erosion_cut_low_pct", percent(zone.uncertainty->cut_pct.low)),
                           figure("erosion_cut_high_pct", percent(zone.uncertainty->cut_pct.high)));
    }
    return html;
}

/// The least and the greatest of a figure over the zones, said once where they are alike.
std::string span_text(const std::vector<double>& values, std::string (*text)(double)) {
    const auto [low, high] = std::minmax_element(values.begin(), values.end());
    const std::string a = text(*low), b = text(*high);
    return a == b ? a : a + " to " + b;
}

/// Distinct texts in the order of the zones.
std::vector<std::string> distinct(const FieldResult& result,
                                  const std::function<std::string(const ZoneResult&)>& text) {
    std::vector<std::string> all;
    for (const ZoneGroup& group : zone_groups(result, text)) all.push_back(group.text);
    return all;
}

std::string tile(const std::string& term, const std::string& big, const std::string& small) {
    return "<div><dt>" + term + "</dt><dd class=\"big\">" + big + "</dd><dd>" + small +
           "</dd></div>\n";
}

/// Area-weighted mean of a loss over the zones where it is known.
std::optional<double> mean_loss(const FieldResult& result,
                                std::optional<double> ZoneResult::*member) {
    double sum = 0.0, area = 0.0;
    for (const ZoneResult& zone : result.zones) {
        if (!(zone.*member)) continue;
        sum += *(zone.*member) * zone.area_ha;
        area += zone.area_ha;
    }
    return area > 0.0 ? std::optional(sum / area) : std::nullopt;
}

std::string above_tolerance(const FieldResult& result, bool with_cover) {
    std::vector<int> zones;
    bool known = false;
    for (const ZoneResult& zone : result.zones) {
        const auto& loss = with_cover ? zone.loss_cover_mg_ha : zone.loss_now_mg_ha;
        if (!loss || !zone.t_mg_ha) continue;
        known = true;
        if (*loss > *zone.t_mg_ha) zones.push_back(zone.zone);
    }
    if (!known) return "";
    if (zones.empty()) return "nowhere";
    return zones.size() == result.zones.size()
               ? "everywhere"
               : "in zone" + std::string(zones.size() > 1 ? "s " : " ") + zone_list(zones);
}

/// "winter wheat: text" belongs to a part of the mixture sown.
std::pair<std::string, std::string> species_and_text(const std::set<std::string>& species,
                                                     const std::string& caution) {
    for (const std::string& one : species) {
        if (caution.starts_with(one + ": ")) return {one, caution.substr(one.size() + 2)};
    }
    return {"", caution};
}

}  // namespace

std::string glance_section(const Inputs& inputs, const FieldResult& result) {
    const Shown shown{inputs.us()};
    std::string html = "<dl class=\"glance\">\n";

    const std::vector<std::string> covers =
        distinct(result, [&](const ZoneResult& zone) { return cover_name(inputs, zone); });
    std::string names;
    for (const std::string& one : covers) names += (names.empty() ? "" : "; ") + name(one);
    std::vector<double> seed;
    for (const ZoneResult& zone : result.zones) seed.push_back(shown.rate(zone.seed_rate_kg_ha));
    const std::string& product = inputs.job.output.seed_product;
    const std::string as_product = product.empty() ? "" : " (" + name(product) + ")";
    html += tile("Sow, " + iso_date(inputs.dates.sow), names,
                 span_text(seed, one_decimal) + " " + shown.rate_unit() + " of seed" + as_product +
                     ", " + fixed(shown.mass(result.seed_total_kg), 0) + " " + shown.mass_unit() +
                     " for the field");

    std::string ends, ends_how;
    for (const std::string& one : distinct(result, [](const ZoneResult& zone) {
             return zone.cover() != nullptr ? iso_date(zone.cover()->with->forecast.ending.date)
                                            : std::string();
         })) {
        ends += (ends.empty() ? "" : "; ") + one;
    }
    for (const std::string& one : distinct(result, [](const ZoneResult& zone) -> std::string {
             if (zone.cover() == nullptr) return "";
             return zone.cover()->with->forecast.ending.by_winter ? "winter ends it"
                                                                  : "you have to end it";
         })) {
        ends_how += (ends_how.empty() ? "" : "; ") + one;
    }
    if (!ends.empty()) html += tile("It ends", ends, ends_how);

    std::vector<double> rates, without;
    for (const ZoneResult& zone : result.zones) {
        rates.push_back(shown.rate(zone.n_rate_kg_ha));
        without.push_back(shown.rate(zone.budget.rate_without_cover_credit_kg_ha));
    }
    html += tile("Nitrogen for " + escape(inputs.job.nitrogen.crop),
                 span_text(rates, one_decimal) + " " + shown.n_unit(),
                 fixed(result.product_total, 0) + " " + escape(result.total_unit) + " (" +
                     name(result.product) + ") for the field; need without the cover's credit: " +
                     span_text(without, one_decimal) + " " + shown.n_unit());

    const auto now = mean_loss(result, &ZoneResult::loss_now_mg_ha);
    const auto cover = mean_loss(result, &ZoneResult::loss_cover_mg_ha);
    const std::string above_now = above_tolerance(result, false),
                      above_cover = above_tolerance(result, true);
    html += tile(
        "Soil loss, mean of the field",
        now && cover ? shown.loss_text(now) + " now, " + shown.loss_text(cover) + " with the cover"
                     : "not known",
        shown.loss_unit() + std::string("; ") +
            (above_now.empty()
                 ? "tolerance not known"
                 : "above tolerance now: " + above_now + "; with the cover: " + above_cover));
    return html + "</dl>\n";
}

std::string decision_section(const Inputs& inputs, const FieldResult& result) {
    const Shown shown{inputs.us()};
    const bool product = inputs.product.has_value();
    report::HtmlTable table;
    table.style = "cards";
    table.caption = "What to do, zone by zone";
    table.heads = {"Zone",
                   std::string("Area, ") + shown.area_unit(),
                   "Sow",
                   std::string("Seed, ") + shown.rate_unit(),
                   "It ends",
                   "N for " + escape(inputs.job.nitrogen.crop) + ", " + shown.rate_unit(),
                   std::string("Soil loss now, ") + shown.loss_unit(),
                   "With the cover",
                   "Saved",
                   "How sure",
                   "Why"};
    table.numeric = {false, true, false, true, false, true, true, true, true, false, false};
    table.how = {"how-zones", "",         "how-cover",    "how-seed", "how-cover", "how-nitrogen",
                 "how-loss",  "how-loss", "how-interval", "how-sure", ""};
    if (product) {
        table.heads.insert(table.heads.begin() + 6,
                           "As " + name(result.product) + ", " + escape(result.rate_unit));
        table.numeric.insert(table.numeric.begin() + 6, true);
        table.how.insert(table.how.begin() + 6, "");
    }
    for (std::size_t z = 0; z < result.zones.size(); ++z) {
        const ZoneResult& zone = result.zones[z];
        const auto rate = [&](double kg_ha) { return one_decimal(shown.rate(kg_ha)); };
        std::vector<std::string> row = {
            "Zone " + std::to_string(zone.zone),
            figure("area_ha", shown.area_number(zone.area_ha)),
            name(cover_name(inputs, zone)),
            figure("seed_rate_kg_ha", rate(zone.seed_rate_kg_ha)),
            ends_cell(zone),
            figure("n_rate_kg_ha", rate(zone.n_rate_kg_ha)) +
                range_line(figure("n_rate_low_kg_ha", shown.rate_text(zone.budget.low_kg_ha)),
                           figure("n_rate_high_kg_ha", shown.rate_text(zone.budget.high_kg_ha))),
            loss_cell(
                shown, "now", zone.loss_now_mg_ha,
                zone.uncertainty ? std::optional(zone.uncertainty->loss_now_mg_ha) : std::nullopt),
            loss_cell(shown, "cover", zone.loss_cover_mg_ha,
                      zone.uncertainty ? std::optional(zone.uncertainty->loss_cover_mg_ha)
                                       : std::nullopt),
            cut_cell(zone),
            sure_cell(shown, zone),
            why_cell(inputs, zone)};
        if (product) row.insert(row.begin() + 6, one_decimal(result.zone_rates[z]));
        table.rows.push_back(std::move(row));
        table.row_attributes.push_back("data-zone=\"" + std::to_string(zone.zone) + "\"");
    }
    return report::table(table) +
           "<p class=\"soft\">Small figures: the interval the value lies in with 80 % (soil) or "
           "90 % (nitrogen need, before bounds and rounding) of the draws. Soil loss is a "
           "long-term average of sheet and rill erosion, not a single year, and not gullies.</p>\n";
}

std::string caution_section(const Inputs& inputs, const FieldResult& result) {
    const Shown shown{inputs.us()};
    // Each caution once, with the zones it holds for.
    std::vector<std::string> order;
    std::map<std::string, std::vector<int>> where;
    std::set<std::string> species;
    for (const ZoneResult& zone : result.zones) {
        for (const std::string& text : zone.cautions) {
            if (text == cover::label_caution) continue;  // heads the section
            std::vector<int>& zones = where[text];
            if (zones.empty()) order.push_back(text);
            zones.push_back(zone.zone);
        }
        if (zone.cover() == nullptr) continue;
        for (const cover::Component& component :
             inputs.covers->candidates()[zone.cover()->candidate].cover.components) {
            species.insert(component.species.name);
        }
    }
    struct Block {
        std::vector<int> zones;
        std::vector<std::string> general;
        std::vector<std::pair<std::string, std::vector<std::string>>> by_species;
    };
    std::vector<Block> blocks;
    for (const std::string& text : order) {
        auto block = std::find_if(blocks.begin(), blocks.end(),
                                  [&](const Block& one) { return one.zones == where[text]; });
        if (block == blocks.end()) block = blocks.insert(blocks.end(), Block{where[text], {}, {}});
        const auto [plant, rest] = species_and_text(species, text);
        if (plant.empty()) {
            block->general.push_back(rest);
            continue;
        }
        if (block->by_species.empty() || block->by_species.back().first != plant) {
            block->by_species.emplace_back(plant, std::vector<std::string>{});
        }
        block->by_species.back().second.push_back(rest);
    }
    std::stable_sort(blocks.begin(), blocks.end(), [](const Block& a, const Block& b) {
        return a.zones.size() > b.zones.size();
    });

    std::string html =
        "<section class=\"caution\" id=\"careful\"><h2>Before you act</h2><p>This plan screens. " +
        std::string(cover::label_caution) + "</p>\n";
    if (!result.reasons.empty()) {
        html += "<h3>Partly covered</h3>" + report::bullet_list(shown.words(result.reasons));
    }
    const auto list = [&](const Block& block, const std::string& where_it_holds) {
        std::string items;
        for (const std::string& text : block.general) {
            items += "<li>" + where_it_holds + name(shown.words(text)) + "</li>";
        }
        for (const auto& [plant, texts] : block.by_species) {
            items += "<li>" + where_it_holds + "<strong class=\"plant\">" + name(plant) +
                     "</strong>" + report::bullet_list(shown.words(texts)) + "</li>";
        }
        return items;
    };
    std::string everywhere, somewhere;
    for (const Block& block : blocks) {
        if (block.zones.size() == result.zones.size()) {
            everywhere += list(block, "");
        } else {
            somewhere += list(
                block, "<strong>" + zones_name(block.zones, result.zones.size()) + ":</strong> ");
        }
    }
    if (!everywhere.empty()) {
        html +=
            "<h3>The whole field</h3><div class=\"columns\"><ul>" + everywhere + "</ul></div>\n";
    }
    if (!somewhere.empty()) {
        html += "<h3>Some zones</h3><div class=\"columns\"><ul>" + somewhere + "</ul></div>\n";
    }
    std::vector<std::string> rest = result.warnings;
    for (std::string& warning : input_warnings(inputs.warnings)) {
        rest.push_back(std::move(warning));
    }
    if (!rest.empty()) {
        html += "<h3>What the figures rest on</h3><div class=\"columns\">" +
                report::bullet_list(shown.words(rest)) + "</div>";
    }
    return html + "</section>\n";
}

}  // namespace catchfield::plan
