// SPDX-License-Identifier: MIT
#include "report/map.hpp"

#include "base/text.hpp"
#include "report/colours.hpp"
#include "report/html.hpp"

#include <algorithm>
#include <cmath>
#include <map>
#include <set>
#include <utility>

namespace catchfield::report {

namespace {

struct Entry {
    std::string fill, text;
};
/// A view in colours.
struct Painted {
    std::vector<std::string> fill;  ///< one per zone
    std::vector<Entry> legend;
};
struct Limits {
    double low = INFINITY, high = -INFINITY;
};

Painted paint_classes(const MapView& view) {
    Painted painted;
    std::map<std::string, std::string> colours;
    for (const std::string& name : view.text) {
        if (!colours.contains(name)) {
            colours[name] = class_colour(colours.size());
            painted.legend.push_back({colours[name], name});
        }
        painted.fill.push_back(colours[name]);
    }
    return painted;
}

using Steps = std::set<std::pair<double, std::string>>;

/// Texts of the lowest and the highest value.
std::pair<std::string, std::string> first_and_last(const Steps& steps) {
    return {steps.begin()->second, steps.rbegin()->second};
}

/// Five classes of equal width between the limits.
Painted paint_amounts(const MapView& view, const Limits& limits) {
    Painted painted;
    const double low = limits.low, high = limits.high;
    const auto& ramp = view.scale == ColourScale::cividis ? cividis_colours : yl_or_br_colours;
    // All alike: a colour of the middle. Rates differ by what the machine can set; other figures by
    // less than a twentieth are the same for all that is known.
    const double most = std::max(std::abs(high), std::abs(low));
    const bool alike = !(high - low > (view.in_steps ? 1e-9 : 0.05) * most);
    const auto class_of = [&](double value) {
        return alike ? std::size_t{2}
                     : static_cast<std::size_t>(
                           std::clamp(std::floor(5.0 * (value - low) / (high - low)), 0.0, 4.0));
    };
    Steps steps;
    bool missing = false;
    for (std::size_t z = 0; z < view.values.size(); ++z) {
        missing = missing || !view.values[z];
        if (view.values[z]) steps.emplace(*view.values[z], view.text[z]);
    }
    const bool as_steps = view.in_steps && !alike && steps.size() <= ramp.size();
    const auto step_colour = [&](std::size_t i) {
        return ramp[(ramp.size() - 1) * i / (steps.size() - 1)];
    };
    for (std::size_t z = 0; z < view.values.size(); ++z) {
        if (!view.values[z]) {
            painted.fill.emplace_back(no_value_colour);
        } else if (as_steps) {
            const auto at = steps.find({*view.values[z], view.text[z]});
            painted.fill.emplace_back(
                step_colour(static_cast<std::size_t>(std::distance(steps.begin(), at))));
        } else {
            painted.fill.emplace_back(ramp[class_of(*view.values[z])]);
        }
    }
    if (as_steps) {
        std::size_t i = 0;
        for (const auto& step : steps) {
            painted.legend.push_back({std::string(step_colour(i++)), step.second});
        }
    } else if (!alike) {
        for (std::size_t i = 0; i < 5; ++i) {
            const auto limit = [&](std::size_t step) {
                return significant(low + (high - low) * static_cast<double>(step) / 5.0, 3);
            };
            painted.legend.push_back({std::string(ramp[i]), limit(i) + " to " + limit(i + 1)});
        }
    } else if (std::isfinite(low)) {
        const auto [least, greatest] = first_and_last(steps);
        painted.legend.push_back(
            {std::string(ramp[2]), least == greatest ? least + " everywhere"
                                                     : least + " to " + greatest + ", much alike"});
    }
    if (missing) painted.legend.push_back({std::string(no_value_colour), "not known"});
    return painted;
}

std::vector<Painted> paint(const std::vector<MapView>& views) {
    std::map<std::string, Limits> shared;
    const auto widen = [](Limits& limits, const MapView& view) {
        for (const auto& value : view.values) {
            if (!value) continue;
            limits.low = std::min(limits.low, *value);
            limits.high = std::max(limits.high, *value);
        }
    };
    for (const MapView& view : views) widen(shared[view.shared_limits], view);
    std::vector<Painted> painted;
    for (const MapView& view : views) {
        Limits own;
        widen(own, view);
        painted.push_back(view.scale == ColourScale::classes ? paint_classes(view)
                          : view.shared_limits.empty()
                              ? paint_amounts(view, own)
                              : paint_amounts(view, shared[view.shared_limits]));
    }
    return painted;
}

std::string json_text(std::string_view text) {
    std::string json = "\"";
    for (const char c : text) {
        // '<' is written as an escape so that no name can close the script element.
        if (c == '"' || c == '\\')
            json += std::string("\\") + c;
        else if (c == '<')
            json += "\\u003c";
        else if (static_cast<unsigned char>(c) < 0x20)
            json += ' ';
        else
            json += c;
    }
    return json + "\"";
}

std::string json_list(const std::vector<std::string>& texts) {
    std::string json = "[";
    for (const std::string& text : texts) json += (json == "[" ? "" : ",") + json_text(text);
    return json + "]";
}

/// A figure with its unit.
std::string shown(const MapView& view, std::size_t zone) {
    const bool bare = view.unit.empty() || (!view.values.empty() && !view.values[zone]);
    return view.text[zone] + (bare ? "" : " " + view.unit);
}

std::string views_json(const ZoneMap& map, const std::vector<Painted>& painted) {
    std::string json = "[";
    for (std::size_t v = 0; v < map.views.size(); ++v) {
        const MapView& view = map.views[v];
        std::vector<std::string> texts;
        for (std::size_t z = 0; z < view.text.size(); ++z) texts.push_back(shown(view, z));
        json += std::string(v == 0 ? "" : ",\n") + "{\"id\":" + json_text(view.id) +
                ",\"title\":" + json_text(view.title) + ",\"unit\":" + json_text(view.unit) +
                ",\"fill\":" + json_list(painted[v].fill) + ",\"text\":" + json_list(texts) +
                ",\"legend\":[";
        for (std::size_t i = 0; i < painted[v].legend.size(); ++i) {
            const Entry& entry = painted[v].legend[i];
            json += (i == 0 ? "" : ",") + json_list({entry.fill, entry.text});
        }
        json += "]}";
    }
    return json + "]";
}

std::string legend_items(const Painted& painted) {
    std::string html;
    for (const Entry& entry : painted.legend) {
        html += "<li>" + swatch(entry.fill) + "<span>" + name(entry.text) + "</span></li>";
    }
    return html;
}

/// The longest of 1, 2, 5 x 10^n that is at most a quarter of the width.
double nice_length(double width) {
    const double most = width / 4.0;
    const double base = std::pow(10.0, std::floor(std::log10(most)));
    return most >= 5.0 * base ? 5.0 * base : most >= 2.0 * base ? 2.0 * base : base;
}

/// Where the map lies in the ground, and how large it is drawn (viewBox in metres).
struct Frame {
    double left = 0.0, top = 0.0, width = 1.0, height = 1.0, side = 1.0, pad = 0.1;
    int decimals = 1;  ///< of outlines: finer than a pixel
    std::string view_box() const {
        return "viewBox=\"0 0 " + fixed(width, 1) + " " + fixed(height, 1) + "\"";
    }
    std::string x(double ground) const { return fixed(ground - left, 1); }
    std::string y(double ground) const { return fixed(top - ground, 1); }
};

Frame frame_of(const std::vector<MultiPolygon>& shapes) {
    Box box{INFINITY, INFINITY, -INFINITY, -INFINITY};
    for (const MultiPolygon& shape : shapes) {
        const Box one = bounds(shape);
        box.min_x = std::min(box.min_x, one.min_x);
        box.min_y = std::min(box.min_y, one.min_y);
        box.max_x = std::max(box.max_x, one.max_x);
        box.max_y = std::max(box.max_y, one.max_y);
    }
    Frame frame;
    frame.side = std::max({box.max_x - box.min_x, box.max_y - box.min_y, 1.0});
    frame.pad = 0.05 * frame.side;
    frame.decimals = frame.side < 1500.0 ? 1 : 0;
    frame.left = box.min_x - frame.pad;
    frame.top = box.max_y + frame.pad;
    // Room for the north arrow on the right and the scale bar below.
    frame.width = box.max_x - box.min_x + 2.6 * frame.pad;
    frame.height = box.max_y - box.min_y + 2.6 * frame.pad;
    return frame;
}

std::string labels(const ZoneMap& map, const Frame& frame) {
    std::string svg;
    const double size = frame.side * (map.shapes.size() > 12 ? 0.03 : 0.045);
    for (std::size_t z = 0; z < map.label_places.size(); ++z) {
        svg += "<text class=\"label\" aria-hidden=\"true\" x=\"" + frame.x(map.label_places[z].x) +
               "\" y=\"" + frame.y(map.label_places[z].y) + "\" font-size=\"" + fixed(size, 1) +
               "\">" + std::to_string(z + 1) + "</text>";
    }
    return svg;
}

std::string scale_and_north(const ZoneMap& map, const Frame& frame) {
    const double unit = map.feet ? 0.3048 : 1.0;
    const double bar = nice_length(frame.width / unit) * unit;
    const double size = frame.side * 0.03, pad = frame.pad;
    const std::string y = fixed(frame.height - 0.6 * pad, 1);
    std::string svg = "<g aria-hidden=\"true\"><path d=\"M" + fixed(pad, 1) + " " + y + "h" +
                      fixed(bar, 1) + "\" stroke=\"#000\" stroke-width=\"" +
                      fixed(frame.side * 0.006, 1) + "\"/><text x=\"" +
                      fixed(pad + bar + 0.3 * pad, 1) + "\" y=\"" + y +
                      "\" dominant-baseline=\"central\" font-size=\"" + fixed(size, 1) + "\">" +
                      fixed(bar / unit, 0) + (map.feet ? " ft" : " m") + "</text>";
    const double x = frame.width - 0.75 * pad;
    return svg + "<path d=\"M" + fixed(x, 1) + " " + fixed(pad * 0.3, 1) + "l" +
           fixed(pad * 0.3, 1) + " " + fixed(pad * 0.9, 1) + "l" + fixed(-pad * 0.3, 1) + " " +
           fixed(-pad * 0.25, 1) + "l" + fixed(-pad * 0.3, 1) + " " + fixed(pad * 0.25, 1) +
           "z\"/><text x=\"" + fixed(x, 1) + "\" y=\"" + fixed(pad * 1.75, 1) + "\" font-size=\"" +
           fixed(size, 1) + "\" text-anchor=\"middle\">N</text></g>";
}

std::string main_map(const ZoneMap& map, const Frame& frame, const Painted& first) {
    const MapView& view = map.views.front();
    std::string html = "<svg class=\"map main\" role=\"group\" aria-label=\"Map of the zones: " +
                       escape(view.title) + "\" " + frame.view_box() + ">";
    for (std::size_t z = 0; z < map.shapes.size(); ++z) {
        const std::string words =
            escape("Zone " + std::to_string(z + 1) + ", " + view.title + ": " + shown(view, z));
        const std::string number = std::to_string(z + 1);
        html += "<path class=\"zone\" id=\"shape-" + number +
                "\" tabindex=\"0\" role=\"img\" fill-rule=\"evenodd\" data-zone=\"" + number +
                "\" fill=\"" + first.fill[z] + "\" aria-label=\"" + words + "\" d=\"" +
                path_data(map.shapes[z], frame.left, frame.top, frame.decimals) + "\"><title>" +
                words + "</title></path>\n";
    }
    for (const Point& stop : map.stops) {
        html += "<circle cx=\"" + frame.x(stop.x) + "\" cy=\"" + frame.y(stop.y) + "\" r=\"" +
                fixed(frame.side * 0.006, 1) + "\" fill=\"#fff\" stroke=\"#000\" stroke-width=\"" +
                fixed(frame.side * 0.002, 2) + "\"/>";
    }
    // Drawn last, so that no neighbour covers the outline.
    for (const char* width : {"wide", "thin"}) {
        html += std::string("<path class=\"mark ") + width + "\" fill-rule=\"evenodd\" d=\"\"/>";
    }
    return html + labels(map, frame) + scale_and_north(map, frame) + "</svg>";
}

/// The outlines once, for all the small maps to use.
std::string outlines(const ZoneMap& map, const Frame& frame) {
    std::string html = "<svg class=\"unseen\" aria-hidden=\"true\"><defs>";
    for (std::size_t z = 0; z < map.shapes.size(); ++z) {
        html += "<path id=\"outline-" + std::to_string(z + 1) + "\" fill-rule=\"evenodd\" d=\"" +
                path_data(map.shapes[z], frame.left, frame.top, frame.decimals) + "\"/>";
    }
    return html + "</defs></svg>";
}

std::string small_map(const ZoneMap& map, const Frame& frame, std::size_t view,
                      const Painted& painted) {
    const MapView& one = map.views[view];
    std::string html = "<figure><figcaption>" + escape(one.title) +
                       (one.unit.empty() ? "" : ", " + escape(one.unit)) +
                       "</figcaption><svg class=\"map\" role=\"img\" aria-label=\"" +
                       escape(one.title) + " of the zones\" " + frame.view_box() + ">";
    for (std::size_t z = 0; z < map.shapes.size(); ++z) {
        html += "<use class=\"edge\" href=\"#outline-" + std::to_string(z + 1) + "\" fill=\"" +
                painted.fill[z] + "\"/>";
    }
    return html + labels(map, frame) + scale_and_north(map, frame) + "</svg><ul class=\"legend\">" +
           legend_items(painted) + "</ul></figure>\n";
}

}  // namespace

std::string swatch(std::string_view colour) {
    return "<svg class=\"swatch\" viewBox=\"0 0 16 16\" aria-hidden=\"true\"><rect width=\"16\" "
           "height=\"16\" fill=\"" +
           std::string(colour) + "\"/></svg>";
}

std::string path_data(const MultiPolygon& shape, double left, double top, int decimals) {
    std::string d;
    const auto add = [&](const Ring& ring) {
        std::string last;
        for (std::size_t i = 0; i + 1 < ring.size(); ++i) {
            std::string place =
                fixed(ring[i].x - left, decimals) + " " + fixed(top - ring[i].y, decimals);
            if (place == last) continue;
            d += (last.empty() ? "M" : "L") + place;
            last = std::move(place);
        }
        d += "Z";
    };
    for (const Polygon& polygon : shape) {
        add(polygon.outer);
        for (const Ring& hole : polygon.holes) add(hole);
    }
    return d;
}

std::string map_figure(const ZoneMap& map) {
    const std::vector<Painted> painted = paint(map.views);
    const Frame frame = frame_of(map.shapes);
    const MapView& first = map.views.front();
    std::string html = "<div class=\"map-layout\"><figure>" +
                       main_map(map, frame, painted.front()) +
                       "<figcaption>Point at a zone, tap it, or go to the map with Tab and on with "
                       "the arrow keys: its figures then stand beside the map.";
    if (!map.stops.empty()) html += " Rings are penetrometer stops.";
    html += "</figcaption></figure><div><fieldset><legend>Show on the map</legend>";
    for (std::size_t v = 0; v < map.views.size(); ++v) {
        html += "<label><input type=\"radio\" name=\"view\" value=\"" + escape(map.views[v].id) +
                "\"" + (v == 0 ? " checked" : "") + "> " + escape(map.views[v].title) +
                "</label>\n";
    }
    html += "</fieldset><strong id=\"legend-title\">" + escape(first.title) +
            (first.unit.empty() ? "" : ", " + escape(first.unit)) +
            "</strong><ul class=\"legend\" id=\"legend\">" + legend_items(painted.front()) +
            "</ul><div class=\"facts\" id=\"facts\"></div></div></div>\n";
    html +=
        "<input type=\"checkbox\" id=\"side-by-side\" class=\"screen\"> <label class=\"screen\" "
        "for=\"side-by-side\">All layers side by side</label><div class=\"many\">" +
        outlines(map, frame);
    for (std::size_t v = 0; v < map.views.size(); ++v) {
        html += small_map(map, frame, v, painted[v]);
    }
    html +=
        "</div>\n<p class=\"soft\">Colour scales: cividis (Nunez, Anderton &amp; Renslow 2018), "
        "YlOrBr (ColorBrewer), unordered classes after Okabe &amp; Ito 2008; all can be told apart "
        "by colour-blind readers. Five classes of equal width between the lowest and the highest "
        "zone; soil loss now and with cover share one scale.</p>\n";
    return html + "<script type=\"application/json\" id=\"views\">" + views_json(map, painted) +
           "</script>\n";
}

}  // namespace catchfield::report
