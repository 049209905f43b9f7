// SPDX-License-Identifier: MIT
#include "report/axis.hpp"

#include "base/text.hpp"
#include "report/html.hpp"

#include <algorithm>
#include <cmath>

namespace catchfield::report {

double round_step(double span, int parts) {
    const double raw = span / std::max(parts, 1);
    const double power = std::pow(10.0, std::floor(std::log10(raw)));
    for (const double factor : {1.0, 2.0, 5.0}) {
        if (raw <= factor * power * (1.0 + 1e-9)) return factor * power;
    }
    return 10.0 * power;
}

int Axis::steps() const {
    return static_cast<int>(std::lround((to - from) / step));
}

std::string Axis::tick_text(int i) const {
    return fixed(tick(i), decimals);
}

Axis axis_for(double low, double high, double pixel_from, double pixel_to, int parts) {
    Axis axis;
    const double floor = std::min(0.0, low);
    const double span = std::max(high - floor, 1e-9);
    axis.step = round_step(span, parts);
    axis.from = std::floor(floor / axis.step) * axis.step;
    axis.to = std::ceil(high / axis.step - 1e-9) * axis.step;
    if (axis.to <= axis.from) axis.to = axis.from + axis.step;
    axis.decimals = std::max(0, static_cast<int>(std::ceil(-std::log10(axis.step) - 1e-9)));
    axis.pixel_from = pixel_from;
    axis.pixel_to = pixel_to;
    return axis;
}

std::string px(double value) {
    return fixed(value, 1);
}

std::string chart_head(const std::string& title, double width, double height,
                       const std::string& style) {
    return "<svg class=\"chart" + (style.empty() ? "" : " " + style) +
           "\" role=\"img\" aria-label=\"" + escape(title) + "\" viewBox=\"0 0 " + px(width) + " " +
           px(height) + "\">";
}

std::string chart_text(double x, double y, const std::string& text, const char* anchor,
                       const std::string& attributes) {
    return "<text x=\"" + px(x) + "\" y=\"" + px(y) + "\" text-anchor=\"" + anchor + "\"" +
           (attributes.empty() ? "" : " " + attributes) + ">" + escape(text) + "</text>";
}

std::string chart_path(const std::string& d, const std::string& attributes) {
    return "<path d=\"" + d + "\" " + attributes + "/>";
}

}  // namespace catchfield::report
