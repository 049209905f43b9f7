// SPDX-License-Identifier: MIT
#include "report/plot.hpp"

#include "base/text.hpp"
#include "report/html.hpp"

#include <algorithm>
#include <cmath>

namespace catchfield::report {

namespace {

constexpr double width = 720.0, height = 360.0;
constexpr double left = 64.0, right = 12.0, top = 12.0, bottom = 52.0;

/// Values to pixels along one axis.
struct Axis {
    double from = 0.0, to = 1.0, step = 0.2;
    int decimals = 0;
    double pixel_from = 0.0, pixel_to = 1.0;

    double at(double value) const {
        return pixel_from + (value - from) / (to - from) * (pixel_to - pixel_from);
    }
};

Axis axis_for(double low, double high, double pixel_from, double pixel_to) {
    Axis axis;
    const double floor = std::min(0.0, low);
    const double span = std::max(high - floor, 1e-9);
    axis.step = round_step(span, 6);
    axis.from = std::floor(floor / axis.step) * axis.step;
    axis.to = std::ceil(high / axis.step - 1e-9) * axis.step;
    if (axis.to <= axis.from) axis.to = axis.from + axis.step;
    axis.decimals = std::max(0, static_cast<int>(std::ceil(-std::log10(axis.step) - 1e-9)));
    axis.pixel_from = pixel_from;
    axis.pixel_to = pixel_to;
    return axis;
}

}  // namespace

double round_step(double span, int parts) {
    const double raw = span / std::max(parts, 1);
    const double power = std::pow(10.0, std::floor(std::log10(raw)));
    for (const double factor : {1.0, 2.0, 5.0}) {
        if (raw <= factor * power * (1.0 + 1e-9)) return factor * power;
    }
    return 10.0 * power;
}

std::string response_plot(const ResponsePlot& plot) {
    if (plot.points.empty() && plot.curve.empty()) return {};
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
    const Axis y = axis_for(y_low, y_high, height - bottom, top);
    const auto px = [](double value) { return fixed(value, 1); };
    std::string svg = "<svg class=\"bars\" role=\"img\" aria-label=\"" + escape(plot.title) +
                      "\" viewBox=\"0 0 " + px(width) + " " + px(height) + "\">";
    if (plot.low && plot.high) {
        svg += "<rect x=\"" + px(x.at(*plot.low)) + "\" y=\"" + px(top) + "\" width=\"" +
               px(x.at(*plot.high) - x.at(*plot.low)) + "\" height=\"" + px(height - bottom - top) +
               "\" fill=\"#e3eef2\"/>";
    }
    const auto steps = [](const Axis& axis) {
        return static_cast<int>(std::lround((axis.to - axis.from) / axis.step));
    };
    for (int i = 0; i <= steps(y); ++i) {
        const double value = y.from + i * y.step;
        svg += "<path d=\"M" + px(left) + " " + px(y.at(value)) + "H" + px(width - right) +
               "\" stroke=\"#c9d0d6\"/><text x=\"" + px(left - 6.0) + "\" y=\"" + px(y.at(value)) +
               "\" font-size=\"12\" text-anchor=\"end\" dominant-baseline=\"middle\">" +
               fixed(value, y.decimals) + "</text>";
    }
    for (int i = 0; i <= steps(x); ++i) {
        const double value = x.from + i * x.step;
        svg += "<path d=\"M" + px(x.at(value)) + " " + px(height - bottom) +
               "v4\" stroke=\"#1d2329\"/><text x=\"" + px(x.at(value)) + "\" y=\"" +
               px(height - bottom + 18.0) + "\" font-size=\"12\" text-anchor=\"middle\">" +
               fixed(value, x.decimals) + "</text>";
    }
    svg += "<text x=\"" + px((left + width - right) / 2.0) + "\" y=\"" + px(height - 10.0) +
           "\" font-size=\"13\" text-anchor=\"middle\">" + escape(plot.x_label) + "</text>";
    svg += "<text transform=\"rotate(-90)\" x=\"" + px(-(top + height - bottom) / 2.0) +
           "\" y=\"14\" font-size=\"13\" text-anchor=\"middle\">" + escape(plot.y_label) +
           "</text>";
    for (const PlotPoint& point : plot.points) {
        svg += "<circle cx=\"" + px(x.at(point.x)) + "\" cy=\"" + px(y.at(point.y)) +
               "\" r=\"3\" fill=\"none\" stroke=\"#56616b\"/>";
    }
    if (!plot.curve.empty()) {
        std::string path;
        for (const PlotPoint& point : plot.curve) {
            path += (path.empty() ? "M" : "L") + px(x.at(point.x)) + " " + px(y.at(point.y));
        }
        svg += "<path d=\"" + path + "\" fill=\"none\" stroke=\"#0072b2\" stroke-width=\"2.5\"/>";
    }
    if (plot.optimum) {
        svg += "<path d=\"M" + px(x.at(*plot.optimum)) + " " + px(top) + "V" + px(height - bottom) +
               "\" stroke=\"#d55e00\" stroke-width=\"2\" stroke-dasharray=\"6 3\"/>";
    }
    return svg + "</svg>";
}

}  // namespace catchfield::report
