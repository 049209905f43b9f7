// SPDX-License-Identifier: MIT
#include "plan/nitrogen_section.hpp"

#include "base/text.hpp"
#include "base/units.hpp"
#include "report/html.hpp"
#include "report/plot.hpp"

#include <algorithm>

namespace catchfield::plan {

namespace {

using report::escape;

std::string passes_line(const ZoneResult& zone, double unit, const std::string& unit_name) {
    if (zone.n_passes_kg_ha.size() < 2) return {};
    std::string text;
    for (const double pass : zone.n_passes_kg_ha) {
        text += (text.empty() ? "" : ", then ") + fixed(pass / unit, 0);
    }
    return "<p>In " + std::to_string(zone.n_passes_kg_ha.size()) + " passes: " + text + " " +
           unit_name + " N.</p>";
}

std::string winter_line(const ZoneResult& zone, double unit, const std::string& unit_name) {
    if (!zone.winter_nitrate) return {};
    const nitrogen::WinterNitrate& winter = *zone.winter_nitrate;
    return "<p>Nitrate at risk over winter: " + fixed(winter.at_risk_kg_ha / unit, 0) + " " +
           unit_name + " without a cover, " + fixed(winter.at_risk_with_cover_kg_ha / unit, 0) +
           " with it. Of that, lost: about " + fixed(winter.loss_kg_ha / unit, 0) + " (" +
           fixed(winter.loss_low_kg_ha / unit, 0) + " to " +
           fixed(winter.loss_high_kg_ha / unit, 0) + ") without, " +
           fixed(winter.loss_with_cover_kg_ha / unit, 0) + " with it (screening, " +
           std::string(confidence_name(winter.confidence)) + ").</p>";
}

std::string curve_figure(const Inputs& inputs, const ZoneResult& zone, double unit,
                         const std::string& unit_name) {
    if (!inputs.responses || inputs.method->form != nitrogen::MethodForm::response) return {};
    const ResponseCurve* one = curve_of_zone(*inputs.responses, inputs.job, zone.zone);
    if (one == nullptr) return {};
    const BaseRate base = base_rate(*inputs.responses, inputs.job, zone.zone);
    const double yield_unit =
        inputs.us() ? nitrogen::yield_kg_ha(1.0, nitrogen::crop(inputs.job.nitrogen.crop)) : 1000.0;
    report::ResponsePlot plot;
    plot.title = "Yield response to nitrogen of zone " + std::to_string(zone.zone);
    plot.x_label = "Nitrogen, " + unit_name;
    plot.y_label = inputs.us() ? "Yield, bu/ac" : "Yield, Mg/ha";
    const nitrogen::Fit& fit = one->fit;
    constexpr int steps = 100;
    for (int i = 0; i <= steps; ++i) {
        const double n =
            fit.lowest_rate_kg_ha + (fit.highest_rate_kg_ha - fit.lowest_rate_kg_ha) * i / steps;
        plot.curve.push_back({n / unit, fit.curve.yield_kg_ha(n) / yield_unit});
    }
    plot.optimum = base.n_kg_ha / unit;
    plot.low = base.low_kg_ha / unit;
    plot.high = base.high_kg_ha / unit;
    return "<figure>" + report::response_plot(plot) +
           "<figcaption>Fitted response within the tested rates, economic optimum (dashed) and its "
           "95 % interval (shaded). " +
           escape(base.source) + "</figcaption></figure>";
}

}  // namespace

std::string nitrogen_details(const Inputs& inputs, const ZoneResult& zone) {
    const double unit = inputs.us() ? units::kg_ha_per_lb_ac : 1.0;
    const std::string unit_name = inputs.us() ? "lb/ac" : "kg/ha";
    return passes_line(zone, unit, unit_name) + winter_line(zone, unit, unit_name) +
           curve_figure(inputs, zone, unit, unit_name);
}

}  // namespace catchfield::plan
