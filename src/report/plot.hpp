// SPDX-License-Identifier: MIT
// Points and curves on two axes, as SVG.
#pragma once

#include <optional>
#include <string>
#include <vector>

namespace catchfield::report {

struct PlotPoint {
    double x = 0.0, y = 0.0;
};

/// One response curve with its observations and what follows from it.
struct ResponsePlot {
    std::string title;  ///< for those who cannot see it
    std::string x_label, y_label;
    std::vector<PlotPoint> points;
    std::vector<PlotPoint> curve;     ///< drawn as a line, in order of x
    std::optional<double> optimum;    ///< upright line
    std::optional<double> low, high;  ///< band about it
};

/// The plot; axes with round numbers from 0 (or below the lowest value). Empty without points and
/// curve.
std::string response_plot(const ResponsePlot& plot);

}  // namespace catchfield::report
