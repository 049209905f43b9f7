// SPDX-License-Identifier: MIT
// What the charts share: an axis with round numbers, and the frame of an SVG.
#pragma once

#include <string>

namespace catchfield::report {

/// Round step (1, 2 or 5 times a power of ten) that cuts `span` into about `parts`.
double round_step(double span, int parts);

/// Values to pixels along one axis, with ticks at round numbers.
struct Axis {
    double from = 0.0, to = 1.0, step = 0.2;
    int decimals = 0;
    double pixel_from = 0.0, pixel_to = 1.0;

    double at(double value) const {
        return pixel_from + (value - from) / (to - from) * (pixel_to - pixel_from);
    }
    int steps() const;
    double tick(int i) const { return from + i * step; }
    std::string tick_text(int i) const;
};

/// From 0 (or below the lowest value) to a round number at or above the highest.
Axis axis_for(double low, double high, double pixel_from, double pixel_to, int parts = 6);

/// A pixel position as text, one decimal.
std::string px(double value);

/// "<svg ...>" of a chart; title: for those who cannot see it, plain text; style: more classes.
std::string chart_head(const std::string& title, double width, double height,
                       const std::string& style = {});

/// A text element; anchor: "start", "middle" or "end"; text: plain. attributes: raw.
std::string chart_text(double x, double y, const std::string& text, const char* anchor = "start",
                       const std::string& attributes = {});

/// A path element with raw attributes.
std::string chart_path(const std::string& d, const std::string& attributes);

}  // namespace catchfield::report
