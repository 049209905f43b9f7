// SPDX-License-Identifier: MIT
#include "report/profile_chart.hpp"

#include "base/text.hpp"
#include "report/axis.hpp"
#include "report/html.hpp"

#include <algorithm>

namespace catchfield::report {

std::string profile_chart(const std::vector<ProfileLine>& stops, const ProfileLine& middle,
                          double limit, const std::string& depth_unit,
                          const std::string& strength_unit, const std::string& title) {
    if (stops.empty()) return {};
    constexpr double width = 440.0, height = 320.0, left = 44.0, top = 44.0, right = 14.0,
                     bottom = 34.0;
    double deepest = 0.0, hardest = limit;
    for (const ProfileLine& line : stops) {
        for (const double depth : line.depth) deepest = std::max(deepest, depth);
        for (const double strength : line.strength) hardest = std::max(hardest, strength);
    }
    if (!(deepest > 0.0) || !(hardest > 0.0)) return {};
    const Axis x = axis_for(0.0, hardest, left, width - right);
    const Axis y = axis_for(0.0, deepest, top, height - bottom);
    const auto path = [&](const ProfileLine& line, const std::string& style) {
        std::string d;
        for (std::size_t i = 0; i < line.depth.size(); ++i) {
            d += (i == 0 ? "M" : "L") + px(x.at(line.strength[i])) + " " + px(y.at(line.depth[i]));
        }
        return "<path d=\"" + d + "\" fill=\"none\" " + style + "><title>" + escape(line.name) +
               "</title></path>";
    };
    std::string svg = chart_head(title, width, height, "profiles");
    for (int i = 0; i <= x.steps(); ++i) {
        const double at = x.at(x.tick(i));
        svg +=
            chart_path("M" + px(at) + " " + px(top) + "V" + px(height - bottom), "class=\"grid\"") +
            chart_text(at, top - 6.0, x.tick_text(i), "middle");
    }
    for (int i = 0; i <= y.steps(); ++i) {
        const double at = y.at(y.tick(i));
        svg +=
            chart_path("M" + px(left) + " " + px(at) + "H" + px(width - right), "class=\"grid\"") +
            chart_text(left - 6.0, at, y.tick_text(i), "end", "dominant-baseline=\"central\"");
    }
    svg +=
        chart_text(left, 12.0, "Resistance, " + strength_unit + "; downward: depth, " + depth_unit);
    for (const ProfileLine& line : stops) svg += path(line, "stroke=\"#8a949c\"");
    svg += chart_path("M" + px(x.at(limit)) + " " + px(top) + "V" + px(height - bottom),
                      "stroke=\"#d55e00\" stroke-width=\"2\" stroke-dasharray=\"6 3\"");
    if (!middle.depth.empty()) svg += path(middle, "stroke=\"#0072b2\" stroke-width=\"3\"");
    const double key = height - 12.0;
    svg +=
        chart_path("M" + px(left) + " " + px(key) + "h22",
                   "stroke=\"#d55e00\" stroke-width=\"2\" stroke-dasharray=\"6 3\"") +
        chart_text(left + 28.0, key + 4.0, "limit " + significant(limit, 3) + " " + strength_unit);
    if (!middle.depth.empty()) {
        svg += chart_path("M" + px(left + 150.0) + " " + px(key) + "h22",
                          "stroke=\"#0072b2\" stroke-width=\"3\"") +
               chart_text(left + 178.0, key + 4.0, middle.name);
    }
    return svg + "</svg>";
}

}  // namespace catchfield::report
