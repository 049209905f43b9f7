// SPDX-License-Identifier: MIT
#include "report/plot.hpp"

#include "report/axis.hpp"

#include <algorithm>

namespace catchfield::report {

std::string response_plot(const ResponsePlot& plot) {
    if (plot.points.empty() && plot.curve.empty()) return {};
    constexpr double width = 440.0, height = 280.0;
    constexpr double left = 52.0, right = 12.0, top = 24.0, bottom = 44.0;
    double x_low = 0.0, x_high = 0.0, y_low = 0.0, y_high = 0.0;
    for (const auto* list : {&plot.points, &plot.curve}) {
        for (const PlotPoint& point : *list) {
            x_low = std::min(x_low, point.x);
            x_high = std::max(x_high, point.x);
            y_low = std::min(y_low, point.y);
            y_high = std::max(y_high, point.y);
        }
    }
    const Axis x = axis_for(x_low, x_high, left, width - right);
    const Axis y = axis_for(y_low, y_high, height - bottom, top, 5);
    std::string svg = chart_head(plot.title, width, height);
    if (plot.low && plot.high) {
        svg += "<rect x=\"" + px(x.at(*plot.low)) + "\" y=\"" + px(top) + "\" width=\"" +
               px(x.at(*plot.high) - x.at(*plot.low)) + "\" height=\"" + px(height - bottom - top) +
               "\" fill=\"#dce9ee\"/>";
    }
    for (int i = 0; i <= y.steps(); ++i) {
        const double at = y.at(y.tick(i));
        svg +=
            chart_path("M" + px(left) + " " + px(at) + "H" + px(width - right), "class=\"grid\"") +
            chart_text(left - 6.0, at, y.tick_text(i), "end", "dominant-baseline=\"central\"");
    }
    for (int i = 0; i <= x.steps(); ++i) {
        const double at = x.at(x.tick(i));
        svg += chart_path("M" + px(at) + " " + px(height - bottom) + "v4", "class=\"axis\"") +
               chart_text(at, height - bottom + 17.0, x.tick_text(i), "middle");
    }
    svg += chart_text((left + width - right) / 2.0, height - 8.0, plot.x_label, "middle");
    svg += chart_text(4.0, 12.0, plot.y_label);
    for (const PlotPoint& point : plot.points) {
        svg += "<circle cx=\"" + px(x.at(point.x)) + "\" cy=\"" + px(y.at(point.y)) +
               "\" r=\"3\" fill=\"none\" stroke=\"#525c64\"/>";
    }
    if (!plot.curve.empty()) {
        std::string d;
        for (const PlotPoint& point : plot.curve) {
            d += (d.empty() ? "M" : "L") + px(x.at(point.x)) + " " + px(y.at(point.y));
        }
        svg += chart_path(d, "fill=\"none\" stroke=\"#0072b2\" stroke-width=\"2.5\"");
    }
    if (plot.optimum) {
        svg += chart_path("M" + px(x.at(*plot.optimum)) + " " + px(top) + "V" + px(height - bottom),
                          "stroke=\"#d55e00\" stroke-width=\"2\" stroke-dasharray=\"6 3\"");
    }
    return svg + "</svg>";
}

}  // namespace catchfield::report
