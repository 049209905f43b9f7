// SPDX-License-Identifier: MIT
// A field's map as SVG with switchable views: the zones coloured by one figure at a time.
#pragma once

#include "base/shapes.hpp"

#include <optional>
#include <string>
#include <vector>

namespace catchfield::report {

enum class ColourScale {
    cividis,   ///< rates and amounts
    yl_or_br,  ///< slope, soil loss
    classes,   ///< unordered classes (Okabe & Ito)
};

/// One figure for every zone.
struct MapView {
    std::string id;     ///< "slope"
    std::string title;  ///< "Slope"
    std::string unit;   ///< "%"; "" for none
    ColourScale scale = ColourScale::cividis;
    std::vector<std::optional<double>> values;  ///< one per zone; empty for a view of classes
    /// One per zone: the figure as it stands elsewhere on the page, without its unit, or the class.
    std::vector<std::string> text;
    /// Views of the same name share their class limits, so that their colours compare.
    std::string shared_limits{};
    /// Rates come in steps: up to five different ones are shown as themselves, not as classes.
    bool in_steps = false;
};

struct ZoneMap {
    std::vector<MultiPolygon> shapes;  ///< m, one per zone
    std::vector<Point> label_places;   ///< a point inside each zone
    std::vector<Point> stops;          ///< penetrometer stops
    std::vector<MapView> views;        ///< the first is shown
    bool feet = false;                 ///< scale bar in feet
};

/// Radio buttons, map, legend and the figures of the zone under the pointer; then all views side by
/// side, hidden until asked for and on paper, where nothing can be switched. Without scripts the
/// first view and the views side by side are there.
std::string map_figure(const ZoneMap& map);

/// A swatch of the colour as SVG, which printers do not leave out.
std::string swatch(std::string_view colour);

/// Path data of a shape: x to the right, y downward from `top`, rounded to so many decimals. Points
/// that fall together are said once; neighbours round alike, so that no gap opens between them.
std::string path_data(const MultiPolygon& shape, double left, double top, int decimals);

}  // namespace catchfield::report
