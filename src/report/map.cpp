// SPDX-License-Identifier: MIT
#include "report/map.hpp"

#include "base/text.hpp"
#include "report/html.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <map>

namespace catchfield::report {

namespace {

constexpr std::array cividis = {"#002051", "#3c4d6e", "#7f7c75", "#bbaf71", "#fdea45"};
constexpr std::array yl_or_br = {"#ffffd4", "#fed98e", "#fe9929", "#d95f0e", "#993404"};
constexpr std::array okabe_ito = {"#e69f00", "#56b4e9", "#009e73", "#f0e442",
                                  "#0072b2", "#d55e00", "#cc79a7", "#999999"};
constexpr const char* no_value = "#d9d9d9";

struct ZonePaint {
    std::string fill, text;
};
struct Painted {
    std::vector<ZonePaint> zones;
    std::vector<ZonePaint> legend;
};

std::string with_unit(double value, const MapView& view) {
    return significant(value, view.digits) + (view.unit.empty() ? "" : " " + view.unit);
}

Painted paint(const MapView& view) {
    Painted painted;
    const auto zone_text = [&](std::size_t z, const std::string& what) {
        return "Zone " + std::to_string(z + 1) + ", " + view.title + ": " + what;
    };
    if (view.scale == ColourScale::classes) {
        std::map<std::string, std::string> colours;
        for (std::size_t z = 0; z < view.classes.size(); ++z) {
            const std::string& name = view.classes[z];
            if (!colours.contains(name)) {
                const std::string colour = okabe_ito[colours.size() % okabe_ito.size()];
                colours[name] = colour;
                painted.legend.push_back({colour, name});
            }
            painted.zones.push_back({colours[name], zone_text(z, name)});
        }
        return painted;
    }
    double low = INFINITY, high = -INFINITY;
    for (const auto& value : view.values) {
        if (!value) continue;
        low = std::min(low, *value);
        high = std::max(high, *value);
    }
    const auto& ramp = view.scale == ColourScale::cividis ? cividis : yl_or_br;
    const auto colour_index = [&](double value) {
        const double share = high > low ? (value - low) / (high - low) : 0.5;
        return static_cast<std::size_t>(std::min(4.0, std::floor(share * 5.0)));
    };
    bool missing = false;
    for (std::size_t z = 0; z < view.values.size(); ++z) {
        const auto& value = view.values[z];
        missing = missing || !value;
        painted.zones.push_back(
            value ? ZonePaint{ramp[colour_index(*value)], zone_text(z, with_unit(*value, view))}
                  : ZonePaint{no_value, zone_text(z, "not known")});
    }
    if (high > low) {
        for (std::size_t i = 0; i < 5; ++i) {
            const double from = low + (high - low) * static_cast<double>(i) / 5.0;
            const double to = low + (high - low) * static_cast<double>(i + 1) / 5.0;
            painted.legend.push_back(
                {ramp[i], significant(from, view.digits) + " to " + with_unit(to, view)});
        }
    } else if (std::isfinite(low)) {
        painted.legend.push_back({ramp[2], with_unit(low, view) + " everywhere"});
    }
    if (missing) painted.legend.push_back({no_value, "not known"});
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

/// The longest of 1, 2, 5 x 10^n that is at most a quarter of the width.
double nice_length(double width) {
    const double most = width / 4.0;
    const double base = std::pow(10.0, std::floor(std::log10(most)));
    return most >= 5.0 * base ? 5.0 * base : most >= 2.0 * base ? 2.0 * base : base;
}

}  // namespace

std::string map_figure(const ZoneMap& map) {
    Box box{INFINITY, INFINITY, -INFINITY, -INFINITY};
    for (const MultiPolygon& shape : map.shapes) {
        const Box one = bounds(shape);
        box.min_x = std::min(box.min_x, one.min_x);
        box.min_y = std::min(box.min_y, one.min_y);
        box.max_x = std::max(box.max_x, one.max_x);
        box.max_y = std::max(box.max_y, one.max_y);
    }
    const double side = std::max(box.max_x - box.min_x, box.max_y - box.min_y);
    const double pad = 0.06 * side;
    const double width = box.max_x - box.min_x + 2.0 * pad;
    const double height = box.max_y - box.min_y + 2.5 * pad;
    const auto x_of = [&](double x) { return fixed(x - box.min_x + pad, 1); };
    const auto y_of = [&](double y) { return fixed(box.max_y - y + pad, 1); };
    const auto path_of = [&](const MultiPolygon& shape) {
        std::string d;
        const auto add = [&](const Ring& ring) {
            for (std::size_t i = 0; i + 1 < ring.size(); ++i) {
                d += (i == 0 ? "M" : "L") + x_of(ring[i].x) + " " + y_of(ring[i].y);
            }
            d += "Z";
        };
        for (const Polygon& polygon : shape) {
            add(polygon.outer);
            for (const Ring& hole : polygon.holes) add(hole);
        }
        return d;
    };

    std::string html = "<fieldset><legend>Show on the map</legend>";
    std::string views = "[";
    for (std::size_t v = 0; v < map.views.size(); ++v) {
        const MapView& view = map.views[v];
        const Painted painted = paint(view);
        const std::string title = view.title + (view.unit.empty() ? "" : " (" + view.unit + ")");
        html += "<label><input type=\"radio\" name=\"view\" value=\"" + escape(view.id) + "\"" +
                (v == 0 ? " checked" : "") + "> " + escape(view.title) + "</label>";
        views += std::string(v == 0 ? "" : ",") + "{\"id\":" + json_text(view.id) +
                 ",\"title\":" + json_text(title) + ",\"zones\":{";
        for (std::size_t z = 0; z < painted.zones.size(); ++z) {
            views += std::string(z == 0 ? "" : ",") + "\"" + std::to_string(z + 1) +
                     "\":{\"fill\":" + json_text(painted.zones[z].fill) +
                     ",\"text\":" + json_text(painted.zones[z].text) + "}";
        }
        views += "},\"legend\":[";
        for (std::size_t i = 0; i < painted.legend.size(); ++i) {
            views += std::string(i == 0 ? "" : ",") +
                     "{\"fill\":" + json_text(painted.legend[i].fill) +
                     ",\"text\":" + json_text(painted.legend[i].text) + "}";
        }
        views += "]}";
    }
    views += "]";
    html += "</fieldset>\n<figure>";

    const Painted first = paint(map.views.front());
    html += "<svg class=\"map\" role=\"group\" aria-label=\"" + escape(map.views.front().title) +
            "\" viewBox=\"0 0 " + fixed(width, 1) + " " + fixed(height, 1) + "\">";
    for (std::size_t z = 0; z < map.shapes.size(); ++z) {
        html +=
            "<path class=\"zone\" tabindex=\"0\" role=\"img\" fill-rule=\"evenodd\" data-zone=\"" +
            std::to_string(z + 1) + "\" fill=\"" + first.zones[z].fill + "\" aria-label=\"" +
            escape(first.zones[z].text) + "\" d=\"" + path_of(map.shapes[z]) + "\"><title>" +
            escape(first.zones[z].text) + "</title></path>";
    }
    for (const Point& stop : map.stops) {
        html += "<circle cx=\"" + x_of(stop.x) + "\" cy=\"" + y_of(stop.y) + "\" r=\"" +
                fixed(side * 0.006, 1) + "\" fill=\"#fff\" stroke=\"#000\" stroke-width=\"" +
                fixed(side * 0.002, 2) + "\"/>";
    }
    html += "<path class=\"mark\" fill-rule=\"evenodd\" d=\"\"/>";
    // Scale bar and north arrow.
    const double unit = map.feet ? 0.3048 : 1.0;
    const double bar = nice_length(width / unit) * unit;
    const double font = side * 0.028;
    const std::string y = fixed(height - 0.45 * pad, 1);
    html += "<path d=\"M" + fixed(pad, 1) + " " + y + "h" + fixed(bar, 1) +
            "\" stroke=\"#000\" stroke-width=\"" + fixed(side * 0.006, 1) + "\"/><text x=\"" +
            fixed(pad + bar + 0.3 * pad, 1) + "\" y=\"" + y + "\" font-size=\"" + fixed(font, 1) +
            "\">" + fixed(bar / unit, 0) + (map.feet ? " ft" : " m") + "</text>";
    html += "<path d=\"M" + fixed(width - pad * 0.6, 1) + " " + fixed(pad * 0.2, 1) + "l" +
            fixed(pad * 0.22, 1) + " " + fixed(pad * 0.6, 1) + "h" + fixed(-pad * 0.44, 1) +
            "z\" fill=\"#000\"/><text x=\"" + fixed(width - pad * 0.6, 1) + "\" y=\"" +
            fixed(pad * 1.25, 1) + "\" font-size=\"" + fixed(font, 1) +
            "\" text-anchor=\"middle\">N</text>";
    html += "</svg>\n<figcaption><div class=\"legend\" id=\"legend\">";
    for (const ZonePaint& entry : first.legend) {
        html += "<span><i style=\"background:" + entry.fill + "\"></i>" + escape(entry.text) +
                "</span>";
    }
    html += "</div><div id=\"figures\" aria-live=\"polite\"></div></figcaption></figure>\n";
    html += "<script type=\"application/json\" id=\"views\">" + views + "</script>\n";
    return html;
}

std::string stacked_bar(const std::vector<BarPart>& parts, const std::string& unit,
                        const std::string& title) {
    double down = 0.0, up = 0.0;
    for (const BarPart& part : parts) (part.value < 0.0 ? down : up) += part.value;
    if (up - down < 1e-9) return {};
    constexpr double width = 640.0;
    const double scale = width / (up - down);
    std::string svg = "<svg class=\"bars\" role=\"img\" aria-label=\"" + escape(title) +
                      "\" viewBox=\"0 0 " + fixed(width, 0) + " 34\">";
    double left = -down * scale, right = -down * scale;
    std::size_t colour = 0;
    for (const BarPart& part : parts) {
        if (std::abs(part.value) < 0.05) continue;
        const double length = std::abs(part.value) * scale;
        const double x = part.value < 0.0 ? left - length : right;
        (part.value < 0.0 ? left : right) += part.value < 0.0 ? -length : length;
        svg += "<rect x=\"" + fixed(x, 1) + "\" y=\"4\" width=\"" + fixed(length, 1) +
               "\" height=\"26\" stroke=\"#fff\" fill=\"" + okabe_ito[colour++ % okabe_ito.size()] +
               "\"><title>" + escape(part.label) + ": " + fixed(part.value, 1) + " " +
               escape(unit) + "</title></rect>";
    }
    svg += "<path d=\"M" + fixed(-down * scale, 1) + " 0v34\" stroke=\"#000\"/></svg>";
    return svg;
}

std::string half_month_chart(const std::vector<std::string>& labels,
                             const std::vector<double>& without, const std::vector<double>& with,
                             const std::string& title) {
    constexpr double width = 720.0, height = 180.0, left = 40.0, bottom = 40.0,
                     step = (width - left - 10.0) / 24.0;
    const auto y_of = [&](double value) {
        return fixed(8.0 + (height - bottom - 8.0) * (1.0 - value / 100.0), 1);
    };
    const auto line = [&](const std::vector<double>& values) {
        std::string d;
        for (std::size_t i = 0; i < values.size(); ++i) {
            const std::string x0 = fixed(left + step * static_cast<double>(i), 1);
            d += (i == 0 ? "M" + x0 + " " + y_of(values[i]) : "V" + y_of(values[i])) + "h" +
                 fixed(step, 1);
        }
        return d;
    };
    std::string svg = "<svg class=\"bars\" role=\"img\" aria-label=\"" + escape(title) +
                      "\" viewBox=\"0 0 720 180\">";
    for (const int percent : {0, 50, 100}) {
        const std::string y = y_of(percent);
        svg += "<path d=\"M40 " + y + "H710\" stroke=\"#c9d0d6\"/><text x=\"34\" y=\"" + y +
               "\" text-anchor=\"end\" dominant-baseline=\"middle\">" + std::to_string(percent) +
               " %</text>";
    }
    for (std::size_t i = 0; i < labels.size(); i += 2) {
        svg += "<text x=\"" + fixed(left + step * (static_cast<double>(i) + 1.0), 1) +
               "\" y=\"158\" text-anchor=\"middle\">" + escape(labels[i]) + "</text>";
    }
    svg += "<path d=\"" + line(without) +
           "\" fill=\"none\" stroke=\"#d55e00\" stroke-width=\"2.5\" stroke-dasharray=\"6 3\"/>";
    svg += "<path d=\"" + line(with) + "\" fill=\"none\" stroke=\"#0072b2\" stroke-width=\"2.5\"/>";
    svg +=
        "<text x=\"44\" y=\"176\" fill=\"#b04a00\">- - without a cover crop</text>"
        "<text x=\"230\" y=\"176\" fill=\"#005a8c\">&#8212; with the cover crop</text></svg>";
    return svg;
}

}  // namespace catchfield::report
