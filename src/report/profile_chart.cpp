// SPDX-License-Identifier: MIT
#include "report/profile_chart.hpp"

#include "base/text.hpp"
#include "report/html.hpp"

#include <algorithm>
#include <cmath>

namespace catchfield::report {

namespace {

/// The smallest of 1, 2, 5 x 10^n that cuts the span into at most `most` steps.
double step_of(double span, double most) {
    const double base = std::pow(10.0, std::floor(std::log10(span / most)));
    for (const double factor : {1.0, 2.0, 5.0}) {
        if (span <= factor * base * most) return factor * base;
    }
    return 10.0 * base;
}

}  // namespace

std::string profile_chart(const std::vector<ProfileLine>& stops, const ProfileLine& middle,
                          double limit, const std::string& depth_unit,
                          const std::string& strength_unit, const std::string& title) {
    if (stops.empty()) return {};
    constexpr double width = 420.0, height = 300.0, left = 56.0, top = 34.0, right = 14.0,
                     bottom = 30.0;
    double deepest = 0.0, hardest = limit;
    for (const ProfileLine& line : stops) {
        for (const double depth : line.depth) deepest = std::max(deepest, depth);
        for (const double strength : line.strength) hardest = std::max(hardest, strength);
    }
    hardest *= 1.05;
    if (!(deepest > 0.0) || !(hardest > 0.0)) return {};
    const auto x_of = [&](double strength) {
        return fixed(left + (width - left - right) * strength / hardest, 1);
    };
    const auto y_of = [&](double depth) {
        return fixed(top + (height - top - bottom) * depth / deepest, 1);
    };
    const auto path = [&](const ProfileLine& line, const std::string& style) {
        std::string d;
        for (std::size_t i = 0; i < line.depth.size(); ++i) {
            d += (i == 0 ? "M" : "L") + x_of(line.strength[i]) + " " + y_of(line.depth[i]);
        }
        return "<path d=\"" + d + "\" fill=\"none\" " + style + "><title>" + escape(line.name) +
               "</title></path>";
    };
    std::string svg =
        "<svg class=\"bars profiles\" style=\"max-width:30rem\" role=\"img\" "
        "aria-label=\"" +
        escape(title) + "\" viewBox=\"0 0 420 300\">";
    const double across = step_of(hardest, 6.0);
    for (double tick = 0.0; tick <= hardest; tick += across) {
        svg += "<path d=\"M" + x_of(tick) + " " + y_of(0.0) + "V" + y_of(deepest) +
               "\" stroke=\"#c9d0d6\"/><text x=\"" + x_of(tick) +
               "\" y=\"28\" text-anchor=\"middle\">" + significant(tick, 2) + "</text>";
    }
    const double down = step_of(deepest, 7.0);
    for (double tick = 0.0; tick <= deepest; tick += down) {
        svg += "<path d=\"M" + x_of(0.0) + " " + y_of(tick) + "H" + x_of(hardest) +
               "\" stroke=\"#c9d0d6\"/><text x=\"50\" y=\"" + y_of(tick) +
               "\" text-anchor=\"end\" dominant-baseline=\"middle\">" + significant(tick, 2) +
               "</text>";
    }
    svg += "<text x=\"56\" y=\"12\">Resistance, " + escape(strength_unit) + "; downward: depth, " +
           escape(depth_unit) + "</text>";
    for (const ProfileLine& line : stops)
        svg += path(line, "stroke=\"#8a949c\" stroke-width=\"1\"");
    svg += "<path d=\"M" + x_of(limit) + " " + y_of(0.0) + "V" + y_of(deepest) +
           "\" stroke=\"#d55e00\" stroke-width=\"2\" stroke-dasharray=\"6 3\"><title>limit " +
           significant(limit, 3) + " " + escape(strength_unit) + "</title></path>";
    if (!middle.depth.empty()) svg += path(middle, "stroke=\"#0072b2\" stroke-width=\"3\"");
    svg += "<text x=\"56\" y=\"294\" fill=\"#b04a00\">- - limit " + significant(limit, 3) + " " +
           escape(strength_unit) + "</text>";
    if (!middle.depth.empty()) {
        svg +=
            "<text x=\"230\" y=\"294\" fill=\"#005a8c\">&#8212; " + escape(middle.name) + "</text>";
    }
    return svg + "</svg>";
}

}  // namespace catchfield::report
