// SPDX-License-Identifier: MIT
// What `catchfield fit` shows: text, JSON and a page with plots, in the trial's own units.
#include "base/text.hpp"
#include "base/units.hpp"
#include "plan/fit.hpp"
#include "plan/yields.hpp"
#include "report/html.hpp"
#include "report/plot.hpp"

#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include <algorithm>

namespace catchfield::plan {

namespace {

using report::escape;

/// Figures in the units of the trial.
struct TrialUnits {
    double rate_kg_ha, yield_kg_ha;
    std::string rate_name, yield_name;
    std::string rate(double kg_ha) const { return fixed(kg_ha / rate_kg_ha, 1); }
    std::string yield(double kg_ha) const { return significant(kg_ha / yield_kg_ha, 4); }
};

TrialUnits units_of(const FitRequest& request) {
    return {same_ignoring_case(request.rate_unit, "lb/ac") ? units::kg_ha_per_lb_ac : 1.0,
            parse_yield_kg_ha("1 " + request.yield_unit, "--yield-unit", request.crop),
            request.rate_unit, request.yield_unit};
}

std::string interval_text(const nitrogen::Optimum& optimum, const TrialUnits& show) {
    if (!optimum.low_kg_ha && !optimum.high_kg_ha) return "not bounded by this trial";
    return (optimum.low_kg_ha ? show.rate(*optimum.low_kg_ha) : std::string("not bounded")) +
           " to " +
           (optimum.high_kg_ha ? show.rate(*optimum.high_kg_ha) : std::string("not bounded"));
}

std::string price_of_loss(const std::optional<double>& grain_kg_ha, const TrialFit& fit,
                          const TrialUnits& show) {
    if (!grain_kg_ha) return "not tested";
    return show.yield(*grain_kg_ha) + " " + show.yield_name + " (" +
           fixed(*grain_kg_ha * fit.responses.prices->crop_per_kg *
                     (show.rate_kg_ha == 1.0 ? 1.0 : units::ha_per_ac),
                 2) +
           (show.rate_kg_ha == 1.0 ? " per ha)" : " per ac)");
}

/// Sentences about one optimum.
std::vector<std::string> optimum_lines(const TrialFit& fit, const TrialGroup& group,
                                       const TrialUnits& show) {
    std::vector<std::string> lines;
    if (!group.optimum) return lines;
    const nitrogen::Optimum& optimum = *group.optimum;
    const std::string unit = " " + show.rate_name;
    lines.push_back(
        "economic optimum " + show.rate(optimum.n_kg_ha) + unit + ", " +
        fixed(100.0 * fit.request.level, 0) + " % interval " + interval_text(optimum, show) +
        (optimum.interval_method == "none" ? ""
                                           : " (" + std::string(optimum.interval_method) + ")"));
    if (optimum.beyond_tested) {
        lines.push_back(
            "still paying at the highest rate tested; the curve alone would have it at " +
            show.rate(optimum.curve_n_kg_ha) + unit + ", which no plot has tested");
    }
    lines.push_back("yield there " + show.yield(optimum.yield_kg_ha) + " " + show.yield_name +
                    "; worth " + show.yield(optimum.return_over_none_kg_ha) + " " +
                    show.yield_name + " after the nitrogen is paid, against the lowest rate");
    lines.push_back("cost of being " + shortest(fit.request.off_by) + unit + " too low " +
                    price_of_loss(optimum.loss_below_kg_ha, fit, show) + ", too high " +
                    price_of_loss(optimum.loss_above_kg_ha, fit, show));
    for (const std::string& warning : optimum.warnings) lines.push_back("note: " + warning);
    return lines;
}

std::string price_line(const TrialFit& fit) {
    if (!fit.responses.prices) return "No prices given: curves only, no optimum.";
    const double ratio = nitrogen::price_ratio(*fit.responses.prices);
    return "Price ratio " + significant(ratio, 4) + " kg grain per kg N (N at " +
           fit.request.price_n + ", " + fit.request.crop + " at " + fit.request.price_crop + ").";
}

std::string curve_note(const nitrogen::Fit& one) {
    if (one.usable || one.curve.form == nitrogen::CurveForm::flat) return {};
    return one.reason;
}

std::vector<std::string> all_warnings(const TrialFit& fit) {
    std::vector<std::string> warnings = fit.warnings;
    for (const TrialGroup& group : fit.groups) {
        for (const std::string& warning : group.fit().warnings) {
            warnings.push_back(group.name() + ": " + warning);
        }
    }
    return warnings;
}

/// Average over several sites, in words; empty for one group or without prices.
std::vector<std::string> average_lines(const TrialFit& fit, const TrialUnits& show) {
    if (fit.responses.curves.size() < 2 || !fit.responses.prices) return {};
    std::vector<nitrogen::Curve> curves;
    double most = 1e9;
    for (const ResponseCurve& one : fit.responses.curves) {
        curves.push_back(one.fit.curve);
        most = std::min(most, one.fit.highest_rate_kg_ha);
    }
    const nitrogen::AverageResponse average =
        nitrogen::average_response(curves, *fit.responses.prices, most);
    std::vector<std::string> lines = {
        "average of " + std::to_string(average.sites) + " curves: highest mean return at " +
        show.rate(average.n_kg_ha) + " " + show.rate_name +
        ", within 1 currency unit an acre of it " + show.rate(average.low_kg_ha) + " to " +
        show.rate(average.high_kg_ha)};
    for (const std::string& warning : average.warnings) lines.push_back("note: " + warning);
    return lines;
}

report::ResponsePlot plot_of(const TrialGroup& group, const TrialUnits& show) {
    report::ResponsePlot plot;
    const nitrogen::Fit& fit = group.fit();
    plot.title = "Yield against nitrogen, " + group.name();
    plot.x_label = "Nitrogen, " + show.rate_name;
    plot.y_label = "Yield, " + show.yield_name;
    for (const nitrogen::TrialPlot& one : group.plots) {
        plot.points.push_back({one.n_kg_ha / show.rate_kg_ha, one.yield_kg_ha / show.yield_kg_ha});
    }
    constexpr int steps = 120;
    for (int i = 0; i <= steps; ++i) {
        const double n =
            fit.lowest_rate_kg_ha + (fit.highest_rate_kg_ha - fit.lowest_rate_kg_ha) * i / steps;
        plot.curve.push_back({n / show.rate_kg_ha, fit.curve.yield_kg_ha(n) / show.yield_kg_ha});
    }
    if (group.optimum) {
        plot.optimum = group.optimum->n_kg_ha / show.rate_kg_ha;
        if (group.optimum->low_kg_ha && group.optimum->high_kg_ha) {
            plot.low = *group.optimum->low_kg_ha / show.rate_kg_ha;
            plot.high = *group.optimum->high_kg_ha / show.rate_kg_ha;
        }
    }
    return plot;
}

}  // namespace

std::string fit_text(const TrialFit& fit) {
    const TrialUnits show = units_of(fit.request);
    std::string text = "Columns";
    for (const std::string& column : fit.columns)
        text += (text == "Columns" ? ": " : ", ") + column;
    text += "\n" + price_line(fit) + "\n";
    for (const TrialGroup& group : fit.groups) {
        const nitrogen::Fit& taken = group.fit();
        text += fmt::format(
            "\n{}: {} plots, {} {}, {} to {} {}\n", group.name(), group.plots.size(), taken.blocks,
            taken.blocks == 1 ? "block" : "blocks", show.rate(taken.lowest_rate_kg_ha),
            show.rate(taken.highest_rate_kg_ha), show.rate_name);
        text += fmt::format("  {:<19}{:>10}{:>9}{:>12}{:>7}  {}\n", "curve", "AICc", "R2",
                            "residual SD", "", "");
        for (std::size_t i = 0; i < group.fits.size(); ++i) {
            const nitrogen::Fit& one = group.fits[i];
            std::string row = fmt::format(
                "  {:<19}{:>10}{:>9}{:>12}{:>7}  {}", nitrogen::curve_form_name(one.curve.form),
                fixed(one.aicc, 1), fixed(one.r2, 3), show.yield(one.sigma_kg_ha),
                i == group.taken ? "taken" : "", curve_note(one));
            row.erase(row.find_last_not_of(' ') + 1);
            text += row + "\n";
        }
        for (const std::string& line : optimum_lines(fit, group, show)) text += "  " + line + "\n";
    }
    for (const std::string& line : average_lines(fit, show)) text += "\n" + line + "\n";
    for (const std::string& warning : all_warnings(fit)) text += "\nwarning: " + warning + "\n";
    return text;
}

std::string fit_json(const TrialFit& fit) {
    using Json = nlohmann::ordered_json;
    Json json;
    json["trial"] = fit.responses.trial;
    json["columns"] = fit.columns;
    json["crop"] = fit.request.crop;
    if (fit.responses.prices) {
        json["price_ratio_kg_kg"] = nitrogen::price_ratio(*fit.responses.prices);
    }
    json["groups"] = Json::array();
    const auto optional = [](const std::optional<double>& value) {
        return value ? Json(*value) : Json();
    };
    for (const TrialGroup& group : fit.groups) {
        Json one = {{"site", group.site}, {"zone", group.zone}, {"plots", group.plots.size()}};
        one["curves"] = Json::array();
        for (const nitrogen::Fit& curve : group.fits) {
            one["curves"].push_back({{"form", nitrogen::curve_form_name(curve.curve.form)},
                                     {"aicc", curve.aicc},
                                     {"r2", curve.r2},
                                     {"sigma_kg_ha", curve.sigma_kg_ha},
                                     {"a_kg_ha", curve.curve.a},
                                     {"b", curve.curve.b},
                                     {"c", curve.curve.c},
                                     {"join_kg_ha", curve.curve.join},
                                     {"usable", curve.usable},
                                     {"reason", curve.reason}});
        }
        one["taken"] = nitrogen::curve_form_name(group.fit().curve.form);
        if (group.optimum) {
            const nitrogen::Optimum& o = *group.optimum;
            one["optimum"] = {{"n_kg_ha", o.n_kg_ha},
                              {"low_kg_ha", optional(o.low_kg_ha)},
                              {"high_kg_ha", optional(o.high_kg_ha)},
                              {"interval", o.interval_method},
                              {"curve_n_kg_ha", o.curve_n_kg_ha},
                              {"beyond_tested", o.beyond_tested},
                              {"yield_kg_ha", o.yield_kg_ha},
                              {"return_over_none_kg_ha", o.return_over_none_kg_ha},
                              {"loss_below_kg_ha", optional(o.loss_below_kg_ha)},
                              {"loss_above_kg_ha", optional(o.loss_above_kg_ha)},
                              {"warnings", o.warnings}};
        }
        json["groups"].push_back(std::move(one));
    }
    json["warnings"] = all_warnings(fit);
    return json.dump(2) + "\n";
}

std::string fit_page(const TrialFit& fit) {
    const TrialUnits show = units_of(fit.request);
    const std::string title = "Nitrogen response: " + fit.responses.trial;
    std::string body = "<h1>" + escape(title) + "</h1><p class=\"soft\">" +
                       escape(price_line(fit)) + "</p>" +
                       report::bullet_list(average_lines(fit, show));
    for (const TrialGroup& group : fit.groups) {
        body += "<h2>" + escape(group.name()) + "</h2><figure>" +
                report::response_plot(plot_of(group, show)) + "<figcaption>Plots (rings), the " +
                escape(nitrogen::curve_form_name(group.fit().curve.form)) + " curve" +
                (group.optimum ? ", the economic optimum (dashed) and its interval (shaded)" : "") +
                ".</figcaption></figure>" + report::bullet_list(optimum_lines(fit, group, show));
        report::HtmlTable table;
        table.caption = "Curves, best AICc first";
        table.heads = {"Curve", "AICc", "R2", "Residual SD, " + escape(show.yield_name), "Note"};
        table.numeric = {false, true, true, true, false};
        for (std::size_t i = 0; i < group.fits.size(); ++i) {
            const nitrogen::Fit& one = group.fits[i];
            table.rows.push_back({escape(nitrogen::curve_form_name(one.curve.form)),
                                  fixed(one.aicc, 1), fixed(one.r2, 3), show.yield(one.sigma_kg_ha),
                                  i == group.taken ? "taken" : escape(curve_note(one))});
        }
        body += report::table(table);
    }
    body +=
        "<h2>Notes</h2>" + report::bullet_list(all_warnings(fit)) +
        "<p class=\"soft\">Least squares, blocks and years as fixed effects; AICc after Hurvich "
        "and Tsai 1989; a plain quadratic gives way to a plateau within 2 units (Cerrato and "
        "Blackmer 1990). Nothing is extrapolated past the tested rates.</p>";
    return report::page(title, body);
}

}  // namespace catchfield::plan
