// SPDX-License-Identifier: MIT
#include "report/charts.hpp"

#include "base/text.hpp"
#include "report/axis.hpp"
#include "report/colours.hpp"
#include "report/html.hpp"

#include <algorithm>
#include <cmath>

namespace catchfield::report {

namespace {

constexpr const char* now_colour = "#b8500a";
constexpr const char* cover_colour = "#0072b2";

}  // namespace

std::string budget_chart(const std::vector<BarPart>& parts, double rate, const std::string& unit,
                         const std::string& title) {
    std::vector<BarPart> needed, met;
    double total = 0.0;
    for (const BarPart& part : parts) {
        if (std::abs(part.value) < 0.05) continue;
        if (part.value > 0.0) {
            needed.push_back(part);
            total += part.value;
        } else {
            met.push_back({part.label, -part.value});
        }
    }
    if (rate >= 0.05) met.push_back({"To apply", rate});
    if (total < 0.05) return {};

    constexpr double width = 440.0, left = 62.0, bar = 26.0, line = 17.0, right = 8.0;
    const double keys = static_cast<double>(needed.size() + met.size());
    const double height = 30.0 + 2.0 * (bar + 8.0) + keys * line;
    const double scale = (width - left - right) / total;
    std::string svg = chart_head(title, width, height);
    // What is bought is the darkest; the rest by colours that stay apart.
    std::size_t colour = 0;
    std::string key;
    double key_y = 26.0 + 2.0 * (bar + 8.0);
    const auto stack = [&](const std::vector<BarPart>& list, const char* name, double y) {
        svg += chart_text(left - 8.0, y + bar / 2.0, name, "end",
                          "dominant-baseline=\"central\" font-weight=\"600\"");
        double x = left;
        for (const BarPart& part : list) {
            const std::string fill = part.label == "To apply" ? "#20262b"
                                     : part.label == "Crop need"
                                         ? "#9aa4ab"
                                         : std::string(class_colour(colour++));
            const std::string words = part.label + ", " + fixed(part.value, 1) + " " + unit;
            svg += "<rect x=\"" + px(x) + "\" y=\"" + px(y) + "\" width=\"" +
                   px(std::max(part.value * scale, 0.8)) + "\" height=\"" + px(bar) +
                   "\" stroke=\"#fff\" fill=\"" + fill + "\"><title>" + escape(words) +
                   "</title></rect>";
            key += "<rect x=\"" + px(left) + "\" y=\"" + px(key_y - 9.0) +
                   "\" width=\"11\" height=\"11\" fill=\"" + fill + "\"/>" +
                   chart_text(left + 17.0, key_y + 1.0, words);
            key_y += line;
            x += part.value * scale;
        }
    };
    stack(needed, "Need", 4.0);
    stack(met, "Met by", 4.0 + bar + 6.0);
    return svg + key + "</svg>";
}

std::string year_chart(const YearChart& chart) {
    constexpr double width = 440.0, height = 250.0, left = 44.0, right = 8.0, top = 30.0,
                     bottom = 62.0;
    const double step = (width - left - right) / 24.0;
    const double base = height - bottom;
    const auto x_of = [&](double half_months) { return left + step * half_months; };
    const auto y_of = [&](double value) { return base - (base - top) * value / 100.0; };
    const auto line = [&](const std::vector<double>& values) {
        std::string d;
        for (std::size_t i = 0; i < values.size(); ++i) {
            d += (i == 0 ? "M" + px(left) + " " + px(y_of(values[i])) : "V" + px(y_of(values[i]))) +
                 "h" + px(step);
        }
        return d;
    };
    std::string svg = chart_head(chart.title, width, height);
    for (const int percent : {0, 25, 50, 75, 100}) {
        svg += chart_path("M" + px(left) + " " + px(y_of(percent)) + "H" + px(width - right),
                          "class=\"grid\"") +
               chart_text(left - 6.0, y_of(percent), std::to_string(percent) + " %", "end",
                          "dominant-baseline=\"central\"");
    }
    // Erosive rain on a scale of its own: its largest half-month takes 45 % of the height.
    double most = 0.0;
    for (const double share : chart.erosive_share) most = std::max(most, share);
    for (std::size_t i = 0; most > 0.0 && i < chart.erosive_share.size(); ++i) {
        const double tall = 0.45 * (base - top) * chart.erosive_share[i] / most;
        svg += "<rect x=\"" + px(x_of(static_cast<double>(i)) + 1.5) + "\" y=\"" + px(base - tall) +
               "\" width=\"" + px(step - 3.0) + "\" height=\"" + px(tall) + "\" fill=\"#d6d1c4\"/>";
    }
    for (std::size_t i = 0; i < chart.labels.size(); ++i) {
        if (i > 0 && chart.labels[i] == chart.labels[i - 1]) continue;
        const bool whole = i + 1 < chart.labels.size() && chart.labels[i + 1] == chart.labels[i];
        svg += chart_text(x_of(static_cast<double>(i) + (whole ? 1.0 : 0.5)), base + 15.0,
                          chart.labels[i], "middle");
    }
    double last_x = -1e9;
    bool low = false;
    for (const YearChart::Event& event : chart.events) {
        const double x = x_of(std::clamp(event.at, 0.0, 24.0));
        low = x - last_x < 62.0 && !low;
        last_x = x;
        const bool near_end = x > width - 70.0;
        svg += chart_path("M" + px(x) + " " + px(low ? 18.0 : 6.0) + "V" + px(base),
                          "class=\"axis\" stroke-dasharray=\"2 3\"") +
               chart_text(x + (near_end ? -3.0 : 3.0), low ? 25.0 : 12.0, event.label,
                          near_end ? "end" : "start");
    }
    const std::string now = std::string("fill=\"none\" stroke-width=\"2.5\" stroke=\"") +
                            now_colour + "\" stroke-dasharray=\"6 3\"";
    const std::string cover =
        std::string("fill=\"none\" stroke-width=\"2.5\" stroke=\"") + cover_colour + "\"";
    svg += chart_path(line(chart.without), now) + chart_path(line(chart.with), cover);
    const double key = height - 30.0;
    svg += chart_path("M" + px(left) + " " + px(key) + "h22", cover) +
           chart_text(left + 28.0, key + 4.0, "with the cover crop");
    svg += chart_path("M" + px(left + 170.0) + " " + px(key) + "h22", now) +
           chart_text(left + 198.0, key + 4.0, "without");
    if (most > 0.0) {
        svg += "<rect x=\"" + px(left + 4.0) + "\" y=\"" + px(key + 12.0) +
               "\" width=\"12\" height=\"12\" fill=\"#d6d1c4\"/>" +
               chart_text(left + 28.0, key + 22.0, "when erosive rain falls (share of the year)");
    }
    return svg + "</svg>";
}

std::string range_chart(const std::vector<RangeRow>& rows, const std::string& first,
                        const std::string& second, const std::string& limit,
                        const std::string& unit, const std::string& title) {
    double most = 0.0;
    bool any_limit = false;
    for (const RangeRow& row : rows) {
        for (const auto* one : {&row.first, &row.second}) {
            if (*one) most = std::max({most, (*one)->value, (*one)->high.value_or(0.0)});
        }
        if (row.limit) {
            most = std::max(most, *row.limit);
            any_limit = true;
        }
    }
    if (!(most > 0.0)) return {};
    constexpr double width = 440.0, left = 60.0, right = 14.0, top = 46.0, tall = 30.0;
    const double base = top + tall * static_cast<double>(rows.size());
    const Axis x = axis_for(0.0, most, left, width - right);
    std::string svg = chart_head(title, width, base + 40.0);
    const auto dot = [&](const RangeValue& one, double y, bool is_first) {
        const std::string colour = is_first ? now_colour : cover_colour;
        std::string mark;
        if (one.low && one.high) {
            mark +=
                chart_path("M" + px(x.at(*one.low)) + " " + px(y) + "H" + px(x.at(*one.high)),
                           "stroke-width=\"3\" stroke-opacity=\"0.55\" stroke=\"" + colour + "\"");
        }
        // Not by colour alone: a square now, a disc with the cover.
        const double at = x.at(one.value);
        return mark + (is_first ? "<rect x=\"" + px(at - 4.5) + "\" y=\"" + px(y - 4.5) +
                                      "\" width=\"9\" height=\"9\" fill=\"" + colour + "\"/>"
                                : "<circle cx=\"" + px(at) + "\" cy=\"" + px(y) +
                                      "\" r=\"5\" fill=\"" + colour + "\"/>");
    };
    for (int i = 0; i <= x.steps(); ++i) {
        const double at = x.at(x.tick(i));
        svg += chart_path("M" + px(at) + " " + px(top) + "V" + px(base), "class=\"grid\"") +
               chart_text(at, base + 16.0, x.tick_text(i), "middle");
    }
    svg += chart_text((left + width - right) / 2.0, base + 34.0, unit, "middle");
    svg += "<rect x=\"" + px(left) + "\" y=\"6\" width=\"9\" height=\"9\" fill=\"" + now_colour +
           "\"/>" + chart_text(left + 15.0, 15.0, first) + "<circle cx=\"" + px(left + 90.0) +
           "\" cy=\"10.5\" r=\"5\" fill=\"" + cover_colour + "\"/>" +
           chart_text(left + 100.0, 15.0, second);
    if (any_limit) {
        svg += chart_path("M" + px(left + 210.0) + " 4v13", "stroke=\"#000\" stroke-width=\"3\"") +
               chart_text(left + 218.0, 15.0, limit);
    }
    svg += chart_text(left, 33.0, "Lines: 80 % interval.", "start", "class=\"quiet\"");
    for (std::size_t i = 0; i < rows.size(); ++i) {
        const RangeRow& row = rows[i];
        const double y = top + tall * (static_cast<double>(i) + 0.5);
        svg += chart_text(left - 8.0, y, row.label, "end", "dominant-baseline=\"central\"");
        if (row.limit) {
            svg += chart_path("M" + px(x.at(*row.limit)) + " " + px(y - 12.0) + "v24",
                              "stroke=\"#000\" stroke-width=\"3\"");
        }
        if (row.first) svg += dot(*row.first, y - 6.0, true);
        if (row.second) svg += dot(*row.second, y + 6.0, false);
    }
    return svg + "</svg>";
}

std::string count_chart(const std::vector<int>& counts, const std::vector<CountPanel>& panels,
                        int taken, const std::string& title) {
    if (counts.size() < 2) return {};
    constexpr double width = 440.0, left = 14.0, panel_height = 96.0, gap = 20.0;
    constexpr int across = 2;
    const double panel_width = (width - 2.0 * left - gap) / across;
    const std::size_t lines = (panels.size() + across - 1) / across;
    std::string svg =
        chart_head(title, width, static_cast<double>(lines) * (panel_height + 18.0) + 14.0);
    for (std::size_t p = 0; p < panels.size(); ++p) {
        const CountPanel& panel = panels[p];
        const double x0 = left + static_cast<double>(p % across) * (panel_width + gap);
        const double y0 = static_cast<double>(p / across) * (panel_height + 18.0) + 14.0;
        const double top = y0 + 22.0, base = y0 + panel_height - 14.0;
        // Clang 14 takes no structured bindings into a lambda.
        const auto ends = std::minmax_element(panel.values.begin(), panel.values.end());
        const auto low = ends.first, high = ends.second;
        const double span = std::max(*high - *low, 1e-12);
        const auto x_of = [&](std::size_t i) {
            return x0 + 8.0 +
                   (panel_width - 16.0) * static_cast<double>(i) /
                       static_cast<double>(counts.size() - 1);
        };
        const auto y_of = [&](double value) {
            return base - 6.0 - (base - top - 12.0) * (value - *low) / span;
        };
        const std::size_t best =
            static_cast<std::size_t>((panel.least_is_best ? low : high) - panel.values.begin());
        svg += chart_text(x0, y0, panel.name, "start", "font-weight=\"600\"") +
               chart_text(x0, y0 + 13.0, panel.least_is_best ? "least is best" : "most is best",
                          "start", "class=\"quiet\"");
        svg += chart_path("M" + px(x0) + " " + px(base) + "h" + px(panel_width), "class=\"axis\"");
        std::string d;
        for (std::size_t i = 0; i < counts.size(); ++i) {
            d += (i == 0 ? "M" : "L") + px(x_of(i)) + " " + px(y_of(panel.values[i]));
            svg += chart_text(x_of(i), base + 13.0, std::to_string(counts[i]), "middle",
                              counts[i] == taken ? "font-weight=\"700\"" : "");
            if (counts[i] == taken) {
                svg += chart_path("M" + px(x_of(i)) + " " + px(top) + "V" + px(base),
                                  "stroke=\"#d6d1c4\" stroke-width=\"10\"");
            }
        }
        svg += chart_path(d, "fill=\"none\" stroke=\"#525c64\" stroke-width=\"1.5\"");
        for (std::size_t i = 0; i < counts.size(); ++i) {
            svg += "<circle cx=\"" + px(x_of(i)) + "\" cy=\"" + px(y_of(panel.values[i])) +
                   "\" r=\"" + (i == best ? "5" : "3") + "\" fill=\"" +
                   (i == best ? cover_colour : "#525c64") + "\"><title>" +
                   escape(std::to_string(counts[i]) + ": " + significant(panel.values[i], 3)) +
                   "</title></circle>";
        }
    }
    return svg + "</svg>";
}

}  // namespace catchfield::report
