// SPDX-License-Identifier: MIT
#include "plan/index_page.hpp"

#include "geometry/overlay.hpp"
#include "gis/crs.hpp"
#include "plan/columns.hpp"
#include "plan/shown.hpp"
#include "report/colours.hpp"
#include "report/html.hpp"
#include "report/map.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

namespace catchfield::plan {

namespace {

using report::escape;
using report::name;

/// Degrees times this are the whole numbers of an outline: about a metre.
constexpr double per_degree = 1e5;

/// Present loss over tolerance by field: class 0 is "not known".
struct Shade {
    std::string_view colour;
    const char* words;
};
constexpr std::array<Shade, 5> shades = {{{report::no_value_colour, "not known"},
                                          {report::yl_or_br_colours[0], "up to half of T"},
                                          {report::yl_or_br_colours[1], "up to T"},
                                          {report::yl_or_br_colours[2], "up to twice T"},
                                          {report::yl_or_br_colours[4], "more than twice T"}}};

int shade_of(double over_t) {
    return over_t <= 0.5 ? 1 : over_t <= 1.0 ? 2 : over_t <= 2.0 ? 3 : 4;
}

/// Outer rings, thinned to what a small map can show.
void set_outline(const FieldResult& result, IndexEntry& entry) {
    const Box ground = bounds(result.boundary);
    const double side = std::max(ground.max_x - ground.min_x, ground.max_y - ground.min_y);
    const MultiPolygon thin = gis::transformer(result.crs, gis::Crs::wgs84())
                                  .apply(geometry::simplify(result.boundary, 0.02 * side));
    entry.box = Box{INFINITY, INFINITY, -INFINITY, -INFINITY};
    for (const Polygon& polygon : thin) {
        for (std::size_t i = 0; i + 1 < polygon.outer.size(); ++i) {
            const double x = std::round(polygon.outer[i].x * per_degree);
            const double y = std::round(-polygon.outer[i].y * per_degree);
            entry.outline += (i == 0 ? "M" : "L") + fixed(x, 0) + " " + fixed(y, 0);
            entry.box.min_x = std::min(entry.box.min_x, x);
            entry.box.max_x = std::max(entry.box.max_x, x);
            entry.box.min_y = std::min(entry.box.min_y, y);
            entry.box.max_y = std::max(entry.box.max_y, y);
        }
        entry.outline += "Z";
    }
}

/// Distinct values in their order, joined.
void add_distinct(std::vector<std::string>& all, const std::string& one) {
    if (std::find(all.begin(), all.end(), one) == all.end()) all.push_back(one);
}

std::string list_of(const std::vector<std::string>& parts) {
    std::string html;
    for (const std::string& part : parts) html += (html.empty() ? "" : ", ") + part;
    return html;
}

std::string field_map(const std::vector<IndexEntry>& entries) {
    Box box{INFINITY, INFINITY, -INFINITY, -INFINITY};
    std::array<bool, shades.size()> used{};
    for (const IndexEntry& entry : entries) {
        if (entry.outline.empty()) continue;
        box.min_x = std::min(box.min_x, entry.box.min_x);
        box.max_x = std::max(box.max_x, entry.box.max_x);
        box.min_y = std::min(box.min_y, entry.box.min_y);
        box.max_y = std::max(box.max_y, entry.box.max_y);
        used[static_cast<std::size_t>(entry.shade)] = true;
    }
    if (!(box.max_x > box.min_x)) return {};
    // A degree of longitude is shorter than one of latitude.
    const double latitude = -(box.min_y + box.max_y) / 2.0 / per_degree * std::numbers::pi / 180.0;
    const double shrink = std::max(0.05, std::cos(latitude));
    const double width = (box.max_x - box.min_x) * shrink, height = box.max_y - box.min_y;
    const double pad = 0.05 * std::max(width, height);
    std::string html =
        "<figure><svg class=\"map index\" role=\"group\" aria-label=\"Map of the fields\" "
        "viewBox=\"" +
        fixed(-pad, 0) + " " + fixed(-pad, 0) + " " + fixed(width + 2.0 * pad, 0) + " " +
        fixed(height + 2.0 * pad, 0) + "\"><g transform=\"scale(" + fixed(shrink, 5) +
        " 1) translate(" + fixed(-box.min_x, 0) + " " + fixed(-box.min_y, 0) + ")\">\n";
    for (const IndexEntry& entry : entries) {
        if (entry.outline.empty()) continue;
        // The table has the same links for the keyboard.
        html += "<a href=\"" + escape(entry.href) + "\" tabindex=\"-1\" aria-label=\"" +
                escape(entry.label) + "\"><path class=\"edge outline\" fill=\"" +
                std::string(shades[static_cast<std::size_t>(entry.shade)].colour) + "\" d=\"" +
                entry.outline + "\"><title>" + escape(entry.label) + "</title></path></a>\n";
    }
    html +=
        "</g></svg><figcaption>Fields by present soil loss against the tolerance T; north is "
        "up.</figcaption><ul class=\"legend\">";
    for (std::size_t i = 1; i <= shades.size(); ++i) {
        const std::size_t shade = i % shades.size();
        if (!used[shade]) continue;
        html += "<li>" + report::swatch(shades[shade].colour) + "<span>" + shades[shade].words +
                "</span></li>";
    }
    return html + "</ul></figure>\n";
}

std::string glance(const std::vector<IndexEntry>& entries, const Shown& shown) {
    double area = 0.0, known = 0.0, now = 0.0, cover = 0.0, n = 0.0;
    std::size_t fields = 0;
    for (const IndexEntry& entry : entries) {
        if (entry.row.empty()) continue;
        ++fields;
        area += entry.area_ha;
        known += entry.known_ha;
        now += entry.loss_now_mg;
        cover += entry.loss_cover_mg;
        n += entry.n_kg;
    }
    const auto tile = [](const std::string& term, const std::string& big,
                         const std::string& small) {
        return "<div><dt>" + term + "</dt><dd class=\"big\">" + big + "</dd><dd>" + small +
               "</dd></div>\n";
    };
    std::string html = "<dl class=\"glance\">\n";
    html += tile("Planned", std::to_string(fields) + (fields == 1 ? " field" : " fields"),
                 shown.area(area));
    if (known > 0.0) {
        const auto tons = [&](double mg) {
            return significant(shown.us ? mg / (units::mg_ha_per_ton_ac * units::ha_per_ac) : mg,
                               2) +
                   (shown.us ? " ton" : " Mg");
        };
        html += tile("Soil loss, mean of the fields",
                     shown.loss_text(now / known) + " now, " + shown.loss_text(cover / known) +
                         " with the covers",
                     shown.loss_unit() + std::string("; ") + "the covers keep about " +
                         tons(now - cover) + " a year");
    }
    html += tile("Nitrogen for the next crop",
                 fixed(shown.mass(n), 0) + " " + shown.mass_unit() + " N", "on all fields");
    return html + "</dl>\n";
}

}  // namespace

IndexEntry index_entry(const Inputs& inputs, const FieldResult& result) {
    const Shown shown{inputs.us()};
    IndexEntry entry;
    if (result.status == FieldStatus::skipped) {
        entry.problem = result.id + ": skipped. " + joined(result.reasons);
        return entry;
    }
    if (result.status == FieldStatus::partly) {
        entry.problem = result.id + ": partly covered. " + joined(result.reasons);
    }
    double tolerance_mg = 0.0, tolerance_now_mg = 0.0, low = INFINITY, high = -INFINITY;
    std::vector<std::string> covers, ends, sure;
    for (const ZoneResult& zone : result.zones) {
        add_distinct(covers, name(cover_name(inputs, zone)));
        if (zone.cover() != nullptr) {
            const cover::Ending& ending = zone.cover()->with->forecast.ending;
            add_distinct(
                ends, (ending.by_winter ? "winter, <span class=\"nb\">" : "<span class=\"nb\">") +
                          iso_date(ending.date) + "</span>");
        }
        add_distinct(sure, zone.confidence);
        low = std::min(low, zone.n_rate_kg_ha);
        high = std::max(high, zone.n_rate_kg_ha);
        if (!zone.loss_now_mg_ha || !zone.loss_cover_mg_ha) continue;
        entry.known_ha += zone.area_ha;
        entry.loss_now_mg += *zone.loss_now_mg_ha * zone.area_ha;
        entry.loss_cover_mg += *zone.loss_cover_mg_ha * zone.area_ha;
        if (!zone.t_mg_ha) continue;
        tolerance_mg += *zone.t_mg_ha * zone.area_ha;
        tolerance_now_mg += *zone.loss_now_mg_ha * zone.area_ha;
    }
    entry.area_ha = result.area_ha;
    entry.n_kg = result.n_total_kg;
    entry.href = "report/" + result.stem + ".html";
    entry.label = result.id;
    entry.shade = tolerance_mg > 0.0 ? shade_of(tolerance_now_mg / tolerance_mg) : 0;
    set_outline(result, entry);
    const auto mean = [&](double mg) {
        return entry.known_ha > 0.0 ? significant(shown.loss(mg / entry.known_ha), 2) : "not known";
    };
    const std::string least = one_decimal(shown.rate(low)), most = one_decimal(shown.rate(high));
    entry.row = report::table_row(
        {"<a href=\"" + escape(entry.href) + "\">" + name(result.id) + "</a>",
         shown.area_number(result.area_ha), std::to_string(result.zones.size()), list_of(covers),
         list_of(ends), least == most ? least : least + " to " + most, mean(entry.loss_now_mg),
         mean(entry.loss_cover_mg),
         tolerance_mg > 0.0 ? significant(tolerance_now_mg / tolerance_mg, 2) : "not known",
         list_of(sure)},
        {false, true, true, false, false, true, true, true, true, false});
    return entry;
}

std::string index_page(const RunHead& head, const std::vector<IndexEntry>& entries) {
    const Shown shown{head.us()};
    const std::string& farm = head.job.field.farm;
    report::HtmlTable table;
    table.style = "findable";
    table.caption = "Fields";
    table.heads = {"Field",
                   std::string("Area, ") + shown.area_unit(),
                   "Zones",
                   "Sow",
                   "It ends",
                   "N for " + escape(head.job.nitrogen.crop) + ", " + shown.rate_unit(),
                   std::string("Soil loss now, ") + shown.loss_unit(),
                   "With the cover",
                   "Now over T",
                   "How sure"};
    table.numeric = {false, true, true, false, false, true, true, true, true, false};
    std::vector<std::string> problems;
    for (const IndexEntry& entry : entries) {
        table.body += entry.row;
        if (!entry.problem.empty()) problems.push_back(entry.problem);
    }
    std::string body = "<p class=\"eyebrow\">Cover crop and nitrogen plan</p><h1>" +
                       (farm.empty() ? std::string("All fields") : name(farm)) + "</h1>\n" +
                       glance(entries, shown);
    if (!problems.empty()) {
        // A long list would bury the fields that were planned.
        const std::string list = report::bullet_list(problems);
        const std::string count = std::to_string(problems.size());
        body +=
            "<div class=\"caution\"><h2>Left out or partly covered</h2>" +
            (problems.size() <= 5 ? list
                                  : "<details class=\"inline\"><summary>" + count +
                                        " fields: which, and why</summary>" + list + "</details>") +
            "</div>\n";
    }
    body +=
        "<p class=\"find\" hidden><label for=\"find\">Find a field</label><input id=\"find\" "
        "type=\"search\" autocomplete=\"off\"><span id=\"found\" role=\"status\"></span></p>\n" +
        report::table(table) +
        "<p class=\"soft\">A field's name leads to its page. Losses and tolerance are means over "
        "the "
        "field's area; a field may hold zones well above its mean.</p>\n" +
        field_map(entries) +
        "<section class=\"caution\"><h2>Before you act</h2><p>This plan screens. " +
        std::string(cover::label_caution) +
        " The cautions of each field stand on its page.</p><h3>What all the figures rest on</h3>" +
        report::bullet_list(shown.words(input_warnings(head.warnings))) + "</section>\n";
    return report::page(
        farm.empty() ? "Cover crop and nitrogen plan" : farm + ": cover crop and nitrogen plan",
        body);
}

}  // namespace catchfield::plan
