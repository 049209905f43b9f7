// SPDX-License-Identifier: MIT
// A field's map as SVG with switchable views: the zones coloured by one figure at a time.
#pragma once

#include "base/shapes.hpp"

#include <optional>
#include <string>
#include <vector>

namespace catchfield::report {

enum class ColourScale {
    cividis,   ///< rates and amounts (Nunez, Anderton & Renslow 2018)
    yl_or_br,  ///< slope, soil loss (ColorBrewer)
    classes,   ///< unordered classes (Okabe & Ito 2008)
};

/// One figure for every zone.
struct MapView {
    std::string id;     ///< "slope"
    std::string title;  ///< "Slope"
    std::string unit;   ///< "%"; "" for none
    ColourScale scale = ColourScale::cividis;
    int digits = 2;                             ///< significant digits shown
    std::vector<std::optional<double>> values;  ///< one per zone; empty for a view of classes
    std::vector<std::string> classes;           ///< one per zone, for ColourScale::classes
};

struct ZoneMap {
    std::vector<MultiPolygon> shapes;  ///< m, one per zone
    std::vector<Point> stops;          ///< penetrometer stops
    std::vector<MapView> views;        ///< the first is shown
    bool feet = false;                 ///< scale bar in feet
};

/// Radio buttons, map, legend and the data of the views; needs the page's script to switch, and
/// shows the first view without it.
std::string map_figure(const ZoneMap& map);

/// Horizontal bar of signed parts with labels, as SVG.
struct BarPart {
    std::string label;
    double value = 0.0;
};
std::string stacked_bar(const std::vector<BarPart>& parts, const std::string& unit,
                        const std::string& title);

/// Two step lines over the 24 half-months, as SVG. labels: 24 short names; values 0 to 100.
std::string half_month_chart(const std::vector<std::string>& labels,
                             const std::vector<double>& without, const std::vector<double>& with,
                             const std::string& title);

}  // namespace catchfield::report
