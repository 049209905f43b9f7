// SPDX-License-Identifier: MIT
#include "plan/nitrogen_pages.hpp"

#include "plan/shown.hpp"
#include "plan/zone_table.hpp"
#include "report/charts.hpp"
#include "report/html.hpp"
#include "report/plot.hpp"

#include <algorithm>

namespace catchfield::plan {

namespace {

using report::escape;
using report::figure;
using report::name;

std::string passes_line(const ZoneResult& zone, const Shown& shown) {
    if (zone.n_passes_kg_ha.size() < 2) return {};
    std::string text;
    for (const double pass : zone.n_passes_kg_ha) {
        text += (text.empty() ? "" : ", then ") + shown.rate_text(pass);
    }
    return "<p>In " + std::to_string(zone.n_passes_kg_ha.size()) + " passes: " + text + " " +
           shown.n_unit() + ".</p>";
}

/// Nitrate that a winter without cover puts at risk, by zone; "" where no fall test says.
std::string winter_table(const FieldResult& result, const Shown& shown) {
    Confidence sure = Confidence::verified;
    bool any = false;
    for (const ZoneResult& zone : result.zones) {
        if (!zone.winter_nitrate) continue;
        any = true;
        sure = weakest(sure, zone.winter_nitrate->confidence);
    }
    if (!any) return {};
    const auto at = [&](const char* column, double nitrogen::WinterNitrate::*which) {
        return [=](const ZoneResult& zone) {
            return figure(column, zone.winter_nitrate
                                      ? shown.rate_text((*zone.winter_nitrate).*which)
                                      : std::string("not known"));
        };
    };
    using W = nitrogen::WinterNitrate;
    std::string cautions;
    for (const ZoneGroup& group : zone_groups(result, [&](const ZoneResult& zone) {
             return zone.winter_nitrate
                        ? report::bullet_list(shown.words(zone.winter_nitrate->cautions))
                        : std::string();
         })) {
        cautions += group.text;
    }
    return "<h3>Nitrate over winter</h3>" +
           ZoneTable("Nitrate at risk, and of that lost, " + std::string(shown.n_unit()))
               .numbers("At risk without a cover", at("winter_nitrate_kg_ha", &W::at_risk_kg_ha))
               .numbers("At risk with it",
                        at("winter_nitrate_cover_kg_ha", &W::at_risk_with_cover_kg_ha))
               .numbers("Lost without a cover", at("winter_loss_kg_ha", &W::loss_kg_ha))
               .numbers("Low to high",
                        [=](const ZoneResult& zone) {
                            if (!zone.winter_nitrate) return std::string("not known");
                            return shown.rate_text(zone.winter_nitrate->loss_low_kg_ha) + " to " +
                                   shown.rate_text(zone.winter_nitrate->loss_high_kg_ha);
                        })
               .numbers("Lost with it", at("winter_loss_cover_kg_ha", &W::loss_with_cover_kg_ha))
               .html(result) +
           "<p class=\"soft\">Screening (" + std::string(confidence_name(sure)) +
           "): soil test in fall and what the soil still supplies, less what the cover takes up; "
           "the "
           "share lost by leaching class.</p>\n" +
           cautions;
}

std::string curve_figure(const Inputs& inputs, const ZoneResult& zone, const Shown& shown) {
    if (!inputs.responses || inputs.method->form != nitrogen::MethodForm::response) return {};
    const ResponseCurve* one = curve_of_zone(*inputs.responses, inputs.job, zone.zone);
    if (one == nullptr) return {};
    const BaseRate base = base_rate(*inputs.responses, inputs.job, zone.zone);
    const double yield_unit =
        inputs.us() ? nitrogen::yield_kg_ha(1.0, nitrogen::crop(inputs.job.nitrogen.crop)) : 1000.0;
    report::ResponsePlot plot;
    plot.title = "Yield response to nitrogen";
    plot.x_label = "Nitrogen, " + std::string(shown.rate_unit());
    plot.y_label = inputs.us() ? "Yield, bu/ac" : "Yield, Mg/ha";
    const nitrogen::Fit& fit = one->fit;
    constexpr int steps = 100;
    for (int i = 0; i <= steps; ++i) {
        const double n =
            fit.lowest_rate_kg_ha + (fit.highest_rate_kg_ha - fit.lowest_rate_kg_ha) * i / steps;
        plot.curve.push_back({shown.rate(n), fit.curve.yield_kg_ha(n) / yield_unit});
    }
    plot.optimum = shown.rate(base.n_kg_ha);
    plot.low = shown.rate(base.low_kg_ha);
    plot.high = shown.rate(base.high_kg_ha);
    return "<figure>" + report::response_plot(plot) +
           "<figcaption>Fitted response within the tested rates, economic optimum (dashed) and its "
           "95 % interval (shaded). " +
           escape(base.source) + "</figcaption></figure>";
}

std::string budget(const Inputs& inputs, const ZoneResult& zone, const Shown& shown) {
    const std::string unit = shown.n_unit();
    report::HtmlTable table;
    table.caption = "The rate as a sum, " + unit;
    table.heads = {"Line", "Amount", "Low", "High", "Source", "How sure", "Note"};
    table.numeric = {false, true, true, true, false, false, false};
    std::vector<report::BarPart> bar;
    const auto add = [&](const nitrogen::BudgetLine& line) {
        table.rows.push_back({escape(line.label), fixed(shown.rate(line.n_kg_ha), 1),
                              shown.rate_text(line.low_kg_ha), shown.rate_text(line.high_kg_ha),
                              name(shown.words(line.source)),
                              std::string(confidence_name(line.confidence)),
                              name(shown.words(line.note))});
        table.row_attributes.push_back("data-line=\"" + escape(line.label) + "\"");
        bar.push_back({line.label, shown.rate(line.n_kg_ha)});
    };
    for (const nitrogen::BudgetLine& line : zone.budget.lines) add(line);
    for (const nitrogen::BudgetLine& line : zone.budget.settling) add(line);
    table.rows.push_back(
        {"Rate",
         "<strong>" + figure("n_rate_kg_ha", fixed(shown.rate(zone.n_rate_kg_ha), 1)) + "</strong>",
         figure("n_rate_low_kg_ha", shown.rate_text(zone.budget.low_kg_ha)),
         figure("n_rate_high_kg_ha", shown.rate_text(zone.budget.high_kg_ha)), "", "",
         "need without the cover's credit: " +
             figure("n_rate_without_credit_kg_ha",
                    fixed(shown.rate(zone.budget.rate_without_cover_credit_kg_ha), 1)) +
             "; low and high: the need's 90 % interval, before bounds and rounding"});
    table.row_attributes.emplace_back("data-line=\"Rate\"");
    const std::string curve = curve_figure(inputs, zone, shown);
    return "<div class=\"charts\"><figure>" +
           report::budget_chart(bar, shown.rate(zone.n_rate_kg_ha), unit,
                                "Nitrogen budget: what the crop needs and what meets it") +
           "<figcaption>What is needed and what meets it; both bars are equally long.</figcaption>"
           "</figure>" +
           curve + "</div>\n" + report::table(table) +
           report::bullet_list(shown.words(zone.budget.cautions));
}

}  // namespace

std::string nitrogen_section(const Inputs& inputs, const FieldResult& result) {
    const Shown shown{inputs.us()};
    std::string html =
        "<h2 id=\"nitrogen\">Nitrogen for " + escape(inputs.job.nitrogen.crop) + "</h2>\n";
    for (const ZoneGroup& group : zone_groups(result, [&](const ZoneResult& zone) {
             return budget(inputs, zone, shown) + passes_line(zone, shown);
         })) {
        html += "<section " + group.attribute() + "><h3>" +
                zones_name(group.zones, result.zones.size()) + "</h3>" + group.text +
                "</section>\n";
    }
    std::string body =
        "<p class=\"equation\">rate = sum of the lines, held between the least and the greatest "
        "rate, on the machine's step</p><p>Method: " +
        escape(inputs.method->title) + ". Source: " + escape(inputs.method->source) +
        ". Valid for: " + escape(inputs.method->valid_for) +
        ". Credits: one named table, never a blend (" + name(inputs.job.nitrogen.region) +
        "). The interval: triangular draws of every line, summed.</p>";
    html += winter_table(result, shown);
    return html +
           report::disclosure("how-nitrogen", "Nitrogen rate: equation, inputs, source", body);
}

}  // namespace catchfield::plan
