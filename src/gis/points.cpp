// SPDX-License-Identifier: MIT
#include "gis/points.hpp"

#include "base/error.hpp"
#include "base/table.hpp"
#include "base/text.hpp"

#include <pugixml.hpp>

#include <sstream>

namespace catchfield::gis {

namespace {

constexpr int decimals = 7;

std::vector<Point> in_degrees(std::vector<Point> points, const Crs& crs) {
    transformer(crs, Crs::wgs84()).apply(points);
    return points;
}

/// Text that XML 1.0 can hold: control characters become blanks.
std::string xml_text(const std::string& text) {
    std::string result = valid_utf8(text);
    for (char& c : result) {
        if (static_cast<unsigned char>(c) < 0x20) c = ' ';
    }
    return result;
}

}  // namespace

std::string gpx_bytes(const std::vector<Point>& points, const Crs& crs,
                      const std::vector<std::string>& names,
                      const std::vector<std::string>& comments) {
    if (names.size() != points.size() || (!comments.empty() && comments.size() != points.size())) {
        throw Error(ErrorKind::internal, "waypoints and their names differ in number");
    }
    const std::vector<Point> places = in_degrees(points, crs);
    pugi::xml_document document;
    pugi::xml_node head = document.append_child(pugi::node_declaration);
    head.append_attribute("version") = "1.0";
    head.append_attribute("encoding") = "UTF-8";
    pugi::xml_node gpx = document.append_child("gpx");
    gpx.append_attribute("version") = "1.1";
    gpx.append_attribute("creator") = "catchfield";
    gpx.append_attribute("xmlns") = "http://www.topografix.com/GPX/1/1";
    for (std::size_t i = 0; i < places.size(); ++i) {
        pugi::xml_node point = gpx.append_child("wpt");
        point.append_attribute("lat") = fixed(places[i].y, decimals).c_str();
        point.append_attribute("lon") = fixed(places[i].x, decimals).c_str();
        point.append_child("name").text() = xml_text(names[i]).c_str();
        if (!comments.empty()) point.append_child("cmt").text() = xml_text(comments[i]).c_str();
    }
    std::ostringstream out;
    document.save(out, " ", pugi::format_indent, pugi::encoding_utf8);
    return out.str();
}

std::string points_csv_bytes(const std::vector<FieldSpec>& columns,
                             const std::vector<PointRow>& rows, const Crs& crs) {
    std::vector<std::string> cells{"longitude", "latitude"};
    for (const FieldSpec& column : columns) cells.push_back(column.name);
    std::string out = csv_row(cells);
    std::vector<Point> points;
    for (const PointRow& row : rows) points.push_back(row.point);
    const std::vector<Point> places = in_degrees(std::move(points), crs);
    for (std::size_t i = 0; i < rows.size(); ++i) {
        require_fit(columns, rows[i].values);
        cells = {fixed(places[i].x, decimals), fixed(places[i].y, decimals)};
        for (std::size_t c = 0; c < columns.size(); ++c) {
            const Value& value = rows[i].values[c];
            if (const auto* text = std::get_if<std::string>(&value)) {
                cells.push_back(*text);
            } else if (const auto* whole = std::get_if<long long>(&value)) {
                cells.push_back(std::to_string(*whole));
            } else if (const auto* real = std::get_if<double>(&value)) {
                cells.push_back(fixed(*real, columns[c].decimals));
            } else {
                cells.emplace_back();
            }
        }
        out += csv_row(cells);
    }
    return out;
}

}  // namespace catchfield::gis
