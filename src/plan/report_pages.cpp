// SPDX-License-Identifier: MIT
#include "plan/report_pages.hpp"

#include "base/text.hpp"
#include "base/units.hpp"
#include "plan/columns.hpp"
#include "plan/compaction_pages.hpp"
#include "plan/nitrogen_section.hpp"
#include "plan/shown.hpp"
#include "report/html.hpp"
#include "report/map.hpp"

#include <algorithm>

namespace catchfield::plan {

namespace {

using report::escape;

std::string ends_text(const ZoneResult& zone) {
    if (zone.cover() == nullptr) return "";
    const cover::Ending& ending = zone.cover()->with->forecast.ending;
    const std::string word(cover::winterkill_name(ending.winterkill));
    if (ending.by_winter) return "winter (" + word + "), from " + iso_date(ending.date);
    return "to be ended about " + iso_date(ending.date) + " (winter: " + word + ")";
}

std::string interval_text(const Shown& shown, const ZoneResult& zone) {
    std::string text =
        shown.loss_text(zone.loss_now_mg_ha) + " to " + shown.loss_text(zone.loss_cover_mg_ha);
    if (zone.uncertainty) {
        text += " (" + significant(shown.loss(zone.uncertainty->loss_cover_mg_ha.low), 2) + " to " +
                significant(shown.loss(zone.uncertainty->loss_cover_mg_ha.high), 2) + ")";
    }
    return text;
}

std::string cut_text(const ZoneResult& zone) {
    if (!zone.erosion_cut_pct) return "not known";
    std::string text = significant(*zone.erosion_cut_pct, 2) + " %";
    if (zone.uncertainty) {
        text += " (" + significant(zone.uncertainty->cut_pct.low, 2) + " to " +
                significant(zone.uncertainty->cut_pct.high, 2) + ")";
    }
    return text;
}

std::string decision_table(const Inputs& inputs, const FieldResult& result, const Shown& shown) {
    report::HtmlTable table;
    table.caption = "What to do, zone by zone";
    table.heads = {"Zone",
                   "Area",
                   "Sow",
                   "Ends by",
                   std::string("Seed, ") + shown.rate_unit(),
                   "Next crop's N, " + escape(result.rate_unit),
                   std::string("Soil loss now to with cover, ") + shown.loss_unit(),
                   "Saved",
                   "Taproot",
                   "Sure"};
    table.numeric = {false, true, false, false, true, true, true, true, false, false};
    for (std::size_t z = 0; z < result.zones.size(); ++z) {
        const ZoneResult& zone = result.zones[z];
        table.rows.push_back(
            {std::to_string(zone.zone), shown.area(zone.area_ha), escape(cover_name(inputs, zone)),
             escape(ends_text(zone)), fixed(shown.rate(zone.seed_rate_kg_ha), 1),
             fixed(result.zone_rates[z], 1), interval_text(shown, zone), cut_text(zone),
             escape(compaction::advice_name(zone.taproot.advice)), escape(zone.confidence)});
        table.row_attributes.push_back("data-zone=\"" + std::to_string(zone.zone) + "\"");
    }
    return report::table(table);
}

report::ZoneMap zone_map(const Inputs& inputs, const FieldResult& result, const Shown& shown) {
    report::ZoneMap map;
    map.feet = shown.us;
    for (const ZoneResult& zone : result.zones) map.shapes.push_back(zone.shape);
    for (const compaction::StopSummary& stop : result.stops) map.stops.push_back(*stop.at);
    using Scale = report::ColourScale;
    const auto figures = [&](const std::string& id, const std::string& title,
                             const std::string& unit, Scale scale, auto value) {
        report::MapView view;
        view.id = id;
        view.title = title;
        view.unit = unit;
        view.scale = scale;
        view.digits = 3;
        for (std::size_t z = 0; z < result.zones.size(); ++z)
            view.values.push_back(value(result.zones[z], z));
        map.views.push_back(std::move(view));
    };
    const auto classes = [&](const std::string& id, const std::string& title, auto name) {
        report::MapView view;
        view.id = id;
        view.title = title;
        view.scale = Scale::classes;
        for (const ZoneResult& zone : result.zones) view.classes.push_back(name(zone));
        map.views.push_back(std::move(view));
    };
    const auto loss = [&](const std::optional<double>& value) {
        return value ? std::optional(shown.loss(*value)) : std::nullopt;
    };
    classes("zones", "Zones",
            [](const ZoneResult& zone) { return "Zone " + std::to_string(zone.zone); });
    classes("cover", "Cover crop",
            [&](const ZoneResult& zone) { return cover_name(inputs, zone); });
    figures("n-rate", "Nitrogen rate", result.rate_unit, Scale::cividis,
            [&](const ZoneResult&, std::size_t z) { return std::optional(result.zone_rates[z]); });
    figures("seed-rate", "Seed rate", shown.rate_unit(), Scale::cividis,
            [&](const ZoneResult& zone, std::size_t) {
                return std::optional(shown.rate(zone.seed_rate_kg_ha));
            });
    figures("slope", "Slope", "%", Scale::yl_or_br,
            [](const ZoneResult& zone, std::size_t) { return std::optional(zone.slope_pct); });
    figures("loss-now", "Soil loss now", shown.loss_unit(), Scale::yl_or_br,
            [&](const ZoneResult& zone, std::size_t) { return loss(zone.loss_now_mg_ha); });
    figures("loss-cover", "Soil loss with cover", shown.loss_unit(), Scale::yl_or_br,
            [&](const ZoneResult& zone, std::size_t) { return loss(zone.loss_cover_mg_ha); });
    figures("saved", "Reduction by cover", "%", Scale::cividis,
            [](const ZoneResult& zone, std::size_t) { return zone.erosion_cut_pct; });
    figures("compaction", "Depth to a hard layer", shown.us ? "in" : "cm", Scale::cividis,
            [&](const ZoneResult& zone, std::size_t) {
                return zone.compaction_top_cm
                           ? std::optional(shown.us ? *zone.compaction_top_cm / units::cm_per_in
                                                    : *zone.compaction_top_cm)
                           : std::nullopt;
            });
    return map;
}

std::string budget_section(const Inputs& inputs, const FieldResult& result, const ZoneResult& zone,
                           const Shown& shown) {
    report::HtmlTable table;
    table.caption = "Nitrogen for the next crop, " + std::string(shown.rate_unit()) + " N";
    table.heads = {"Line", "Amount", "Range", "Source", "How sure", "Note"};
    table.numeric = {false, true, true, false, false, false};
    std::vector<report::BarPart> bar;
    const auto add = [&](const nitrogen::BudgetLine& line) {
        table.rows.push_back(
            {escape(line.label), fixed(shown.rate(line.n_kg_ha), 1),
             fixed(shown.rate(line.low_kg_ha), 0) + " to " + fixed(shown.rate(line.high_kg_ha), 0),
             escape(line.source), std::string(confidence_name(line.confidence)),
             escape(line.note)});
        bar.push_back({line.label, shown.rate(line.n_kg_ha)});
    };
    for (const nitrogen::BudgetLine& line : zone.budget.lines) add(line);
    for (const nitrogen::BudgetLine& line : zone.budget.settling) add(line);
    table.rows.push_back({"<strong>Rate</strong>",
                          "<strong>" + fixed(shown.rate(zone.n_rate_kg_ha), 1) + "</strong>",
                          fixed(shown.rate(zone.budget.low_kg_ha), 0) + " to " +
                              fixed(shown.rate(zone.budget.high_kg_ha), 0),
                          "", "",
                          "need without the cover's credit: " +
                              fixed(shown.rate(zone.budget.rate_without_cover_credit_kg_ha), 0)});
    std::string html =
        report::table(table) + report::stacked_bar(bar, std::string(shown.rate_unit()) + " N",
                                                   "Nitrogen budget of the zone, signed parts");
    html += "<p class=\"soft\">Method: " + escape(inputs.method->title) +
            ". Valid for: " + escape(inputs.method->valid_for) + "</p>";
    static_cast<void>(result);
    return html;
}

std::string candidates_table(const Inputs& inputs, const ZoneResult& zone, const Shown& shown) {
    report::HtmlTable table;
    table.caption = "All candidates of this zone";
    table.heads = {"Cover",
                   "Score",
                   "Biomass, " + std::string(shown.rate_unit()),
                   "Saves soil, %",
                   "N credit, " + std::string(shown.rate_unit()),
                   "Winter",
                   "Why"};
    table.numeric = {false, true, true, true, true, false, false};
    std::vector<const CoverOption*> order;
    for (const CoverOption& option : zone.options) order.push_back(&option);
    std::stable_sort(order.begin(), order.end(), [](const CoverOption* a, const CoverOption* b) {
        if (a->taken != b->taken) return a->taken;
        if (a->score.accepted() != b->score.accepted()) return a->score.accepted();
        return a->score.total > b->score.total;
    });
    for (const CoverOption* option : order) {
        const CandidateInfo& info = inputs.covers->candidates()[option->candidate];
        const cover::Forecast& forecast = option->with->forecast;
        table.rows.push_back(
            {(option->taken ? "<strong>" : "") + escape(info.cover.name) +
                 (option->taken ? "</strong>" : ""),
             option->score.accepted() ? fixed(option->score.total, 2) : "refused",
             shown.range(forecast.end_kg_ha), fixed(100.0 * option->erosion_cut, 0),
             fixed(shown.rate(option->credit.credit_kg_ha - option->credit.tie_up_kg_ha), 0),
             std::string(cover::winterkill_name(forecast.ending.winterkill)),
             escape(option_reason(inputs, zone, *option))});
    }
    return report::table(table);
}

std::string half_month_section(const Inputs& inputs, const ZoneResult& zone) {
    if (zone.cover() == nullptr) return {};
    const erosion::CoverManagement now = inputs.covers->now_table();
    const erosion::CoverManagement with = inputs.covers->cover_table(*zone.cover()->with);
    report::HtmlTable table;
    table.caption =
        "Soil loss ratios by half-month (AH-703 subfactors): present management, then with the "
        "cover";
    table.heads = {"Half-month", "EI share", "Cover, %", "Canopy",   "PLU",       "CC",
                   "SC",         "SR",       "SLR",      "Cover, %", "Canopy",    "PLU",
                   "CC",         "SC",       "SR",       "SLR",      "Operations"};
    table.numeric.assign(17, true);
    table.numeric[0] = table.numeric[16] = false;
    std::vector<std::string> labels;
    std::vector<double> cover_now, cover_with;
    const auto ground = [](const erosion::HalfMonthRow& row) {
        return 100.0 * (1.0 - (1.0 - row.cover_pct / 100.0) * (1.0 - row.canopy_fraction));
    };
    for (std::size_t i = 0; i < with.rows.size(); ++i) {
        const erosion::HalfMonthRow& a = now.rows[i];
        const erosion::HalfMonthRow& b = with.rows[i];
        std::vector<std::string> cells = {
            half_month_name(a.half_month) + " " + std::to_string(a.year), fixed(a.ei_share, 4)};
        for (const erosion::HalfMonthRow* row : {&a, &b}) {
            cells.insert(cells.end(), {fixed(row->cover_pct, 0), fixed(row->canopy_fraction, 2),
                                       fixed(row->plu, 3), fixed(row->cc, 3), fixed(row->sc, 3),
                                       fixed(row->sr, 3), fixed(row->slr, 4)});
        }
        cells.push_back(escape(b.operations));
        table.rows.push_back(std::move(cells));
        const std::string name = half_month_name(a.half_month);
        labels.push_back(name.substr(name.find(' ') + 1, 3));
        cover_now.push_back(ground(a));
        cover_with.push_back(ground(b));
    }
    return "<h3>Ground covered through the year</h3>" +
           report::half_month_chart(labels, cover_now, cover_with,
                                    "Ground cover by half-month with and without the cover crop") +
           "<p>C factor: " + fixed(now.c, 3) + " now, " + fixed(with.c, 3) +
           " with the cover. Soil loss A = R K LS C P.</p>" +
           "<details><summary>Half-month table</summary>" + report::table(table) + "</details>";
}

std::string ground_table(const Inputs& inputs, const ZoneResult& zone, const Shown& shown) {
    report::HtmlTable table;
    table.caption = "Figures behind the zone";
    table.heads = {"Figure", "Value", "From"};
    table.numeric = {false, true, false};
    const auto add = [&](const std::string& name, const std::string& value,
                         const std::string& from) {
        table.rows.push_back({escape(name), escape(value), escape(from)});
    };
    const auto number = [](const std::optional<double>& value, int decimals) {
        return value ? fixed(*value, decimals) : std::string("not known");
    };
    add("Main soil", zone.soil.empty() ? "not known" : zone.soil, "soil map");
    add("Mean slope, %", fixed(zone.slope_pct, 2), "Horn 1981");
    add("LS", fixed(zone.ls, 3), "Desmet & Govers 1996; McCool et al. 1987, 1989");
    add("K, Mg ha h/(ha MJ mm)", number(zone.k_si, 4), zone.k_route);
    add("R, MJ mm/(ha h yr)", fixed(inputs.climate.year.r_si, 0), inputs.climate.erosivity_source);
    add("P", fixed(zone.practice.p, 2), zone.practice.note);
    add("Flow from beyond the greatest slope length, % of the zone",
        fixed(100.0 * zone.channel_share, 1), "gullies are not in the soil loss");
    add(std::string("Bare fallow, ") + shown.loss_unit(), shown.loss_text(zone.loss_bare_mg_ha),
        "R K LS");
    add(std::string("Tolerance T, ") + shown.loss_unit(), shown.loss_text(zone.t_mg_ha),
        zone.t_route.empty() ? "not known" : zone.t_route);
    add("Present loss over T", zone.loss_over_t ? significant(*zone.loss_over_t, 2) : "not known",
        "A/T");
    add("Erodibility index",
        zone.erodibility_index ? significant(*zone.erodibility_index, 2) : "not known",
        "screening value, not a determination");
    add("Wind erosion cut by the cover, %",
        zone.wind
            ? significant(zone.wind->low_pct, 2) + " to " + significant(zone.wind->high_pct, 2)
            : "not known",
        "screening, least-covered half-month");
    add("Organic matter, %", number(zone.om_pct, 1), "soil map");
    add("Leaching index, in",
        zone.leaching
            ? fixed(zone.leaching->index_in, 1) + " (" +
                  std::string(nitrogen::leaching_class_name(zone.leaching->leaching_class)) + ")"
            : "not known",
        "Williams & Kissel 1991");
    add("Soil map covers, %", fixed(100.0 * zone.coverage.mapped, 0),
        "nearest polygon on " + fixed(100.0 * zone.coverage.filled, 0) + " %, none on " +
            fixed(100.0 * zone.coverage.without, 0) + " %");
    if (!zone.wind_group.empty())
        add("Wind erodibility group", zone.wind_group, "soil map or texture");
    if (zone.uncertainty) {
        add(std::string("Present loss, ") + shown.loss_unit(),
            shown.loss_text(zone.loss_now_mg_ha) + " (" +
                shown.loss_text(zone.uncertainty->loss_now_mg_ha.low) + " to " +
                shown.loss_text(zone.uncertainty->loss_now_mg_ha.high) + ")",
            "Latin hypercube, 80 % interval");
        add("Moves the reduction most",
            std::string(erosion::uncertain_input_name(zone.uncertainty->cut_driver)),
            "Latin hypercube, 80 % interval");
        add("Moves the loss most",
            std::string(erosion::uncertain_input_name(zone.uncertainty->loss_driver)),
            "Latin hypercube, 80 % interval");
    }
    return report::table(table);
}

std::string zone_section(const Inputs& inputs, const FieldResult& result, const ZoneResult& zone,
                         const Shown& shown) {
    std::string html = "<h2 id=\"zone-" + std::to_string(zone.zone) + "\">Zone " +
                       std::to_string(zone.zone) + ": " + escape(cover_name(inputs, zone)) +
                       "</h2>";
    if (zone.cover() != nullptr)
        html += "<p>" + escape(option_reason(inputs, zone, *zone.cover())) + "</p>";
    html += "<div class=\"caution\"><strong>Be careful</strong>" +
            report::bullet_list(zone.cautions) + "</div>";
    if (!zone.confidence_reasons.empty()) {
        html += "<p>How sure: <span class=\"tag\">" + escape(zone.confidence) + "</span></p>" +
                report::bullet_list(zone.confidence_reasons);
    }
    if (!zone.visit_notes.empty()) {
        html += "<h3>Found in the field, against the forecast</h3>" +
                report::bullet_list(zone.visit_notes);
    }
    html += half_month_section(inputs, zone);
    html += "<h3>Nitrogen</h3>" + budget_section(inputs, result, zone, shown) +
            nitrogen_details(inputs, zone);
    html += "<h3>Compaction</h3>" + taproot_section(inputs, zone);
    html += "<details><summary>Figures and their sources</summary>" +
            ground_table(inputs, zone, shown) + "</details>";
    html += "<details><summary>Other covers and why not</summary>" +
            candidates_table(inputs, zone, shown) + "</details>";
    return html;
}

std::string zoning_section(const FieldResult& result) {
    std::string html =
        "<h2>How the field was divided</h2><p>" + escape(result.zoning.reason) + "</p>";
    if (!result.zoning.curve.empty()) {
        report::HtmlTable table;
        table.caption = "Indices by number of zones";
        table.heads = {"Zones",  "Variance explained", "FPI",
                       "H/ln c", "Calinski-Harabasz",  "Silhouette",
                       "Votes"};
        table.numeric.assign(7, true);
        for (const zoning::CountIndices& indices : result.zoning.curve) {
            table.rows.push_back({std::to_string(indices.count),
                                  fixed(indices.relative_variance, 3), fixed(indices.fpi, 3),
                                  fixed(indices.entropy_log, 3),
                                  fixed(indices.calinski_harabasz, 0), fixed(indices.silhouette, 3),
                                  std::to_string(indices.votes)});
        }
        html += report::table(table);
    }
    report::HtmlTable features;
    features.caption = "How much of each feature the zones hold";
    features.heads = {"Feature", "Variance explained"};
    features.numeric = {false, true};
    for (const zoning::FeatureVariance& feature : result.zoning.variance) {
        features.rows.push_back({escape(feature.name), fixed(feature.relative_variance, 2)});
    }
    return html + report::table(features);
}

}  // namespace

std::string field_page(const Inputs& inputs, const FieldResult& result) {
    const Shown shown{inputs.us()};
    std::string title = result.id;
    if (!inputs.job.field.farm.empty()) title = inputs.job.field.farm + ", " + title;
    std::string body =
        "<h1>" + escape(title) + "</h1><p class=\"soft\">" + shown.area(result.area_ha) + ", " +
        std::to_string(result.zones.size()) + (result.zones.size() == 1 ? " zone" : " zones") +
        ". Harvest " + iso_date(inputs.dates.harvest) + ", sowing " + iso_date(inputs.dates.sow) +
        ", hard frost about " + iso_date(inputs.dates.hard_frost) + ", next crop " +
        escape(inputs.job.nitrogen.crop) + " on " + iso_date(inputs.dates.next_planting) + ".</p>";
    if (!result.reasons.empty()) {
        body += "<div class=\"caution\"><strong>Partly covered</strong>" +
                report::bullet_list(result.reasons) + "</div>";
    }
    body += decision_table(inputs, result, shown);
    body += report::map_figure(zone_map(inputs, result, shown));
    body += "<p class=\"soft\">Nitrogen in all: " + fixed(result.product_total, 0) + " " +
            escape(result.total_unit) + " (" + escape(result.product) + "); seed in all: " +
            fixed(shown.us ? result.seed_total_kg / units::kg_per_lb : result.seed_total_kg, 0) +
            (shown.us ? " lb" : " kg") + ".</p>";
    body +=
        "<p class=\"caution\">This tool screens. Soil loss is a long-term average from sheet and "
        "rill erosion, not a single year, "
        "and not gullies. Follow product labels and local rules; a licensed adviser decides.</p>";
    for (const ZoneResult& zone : result.zones) body += zone_section(inputs, result, zone, shown);
    body += compaction_map_section(inputs, result);
    body += zoning_section(result);
    body += "<h2>Notes</h2>" + report::bullet_list(inputs.warnings) +
            report::bullet_list(result.warnings);
    return report::page(title, body);
}

}  // namespace catchfield::plan
