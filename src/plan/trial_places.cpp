// SPDX-License-Identifier: MIT
#include "plan/trial_places.hpp"

#include "base/error.hpp"
#include "base/text.hpp"
#include "geometry/overlay.hpp"
#include "gis/files.hpp"
#include "gis/vector.hpp"
#include "plan/fit.hpp"

#include <algorithm>
#include <array>
#include <filesystem>

namespace catchfield::plan {

namespace {

std::optional<Point> middle_of(const gis::Feature& feature) {
    switch (feature.kind) {
        case gis::GeometryKind::polygons:
            return geometry::inside_point(feature.polygons);
        case gis::GeometryKind::lines:
            return feature.lines.front()[feature.lines.front().size() / 2];
        case gis::GeometryKind::points:
            return feature.points.front();
        case gis::GeometryKind::none:
            break;
    }
    return std::nullopt;
}

bool is_table(const std::string& path) {
    constexpr std::array<std::string_view, 5> endings = {".csv", ".txt", ".tsv", ".dat", ".tab"};
    const std::string name = lower_case(path);
    return std::any_of(endings.begin(), endings.end(),
                       [&](std::string_view ending) { return name.ends_with(ending); });
}

/// The column of a table with one of the names, case ignored.
std::optional<std::string> column_named(const Table& table, std::string_view a,
                                        std::string_view b) {
    for (const std::string& column : table.columns()) {
        if (same_ignoring_case(column, a) || same_ignoring_case(column, b)) return column;
    }
    return std::nullopt;
}

}  // namespace

TrialTable read_trial(const std::string& path) {
    if (is_table(path)) {
        TrialTable trial{
            Table::parse(comma_separated(gis::read_file(path, std::size_t{1} << 28)), path),
            {},
            gis::Crs::wgs84()};
        const auto lon = column_named(trial.table, "lon", "longitude");
        const auto lat = column_named(trial.table, "lat", "latitude");
        if (!lon || !lat) return trial;
        for (std::size_t row = 0; row < trial.table.rows(); ++row) {
            const auto x = trial.table.number(row, *lon), y = trial.table.number(row, *lat);
            trial.places.push_back(x && y ? std::optional(Point{*x, *y}) : std::nullopt);
        }
        return trial;
    }
    const gis::VectorLayer layer = gis::read_layer(path);
    std::string text = csv_row(layer.columns);
    std::vector<std::optional<Point>> places;
    for (const gis::Feature& feature : layer.features) {
        text += csv_row(feature.values);
        places.push_back(middle_of(feature));
    }
    return {Table::parse(text, path), std::move(places),
            gis::require_crs(layer.crs_wkt, "", path, "a layer with a CRS")};
}

std::vector<PlotZone> zones_of_plots(const TrialTable& trial, const std::string& zones) {
    if (trial.places.empty()) {
        throw Error(ErrorKind::usage, "--zones needs to know where the plots lie",
                    {.path = trial.table.name(),
                     .hint = "Give columns lon and lat, or the trial as a map layer."});
    }
    const bool folder = std::filesystem::is_directory(zones);
    const std::string path = folder ? (std::filesystem::path(zones) / "plan.gpkg").string() : zones;
    const gis::VectorLayer layer = gis::read_layer(path, folder ? "zones" : "");
    const gis::Crs crs = gis::require_crs(layer.crs_wkt, "", path, "a layer with a CRS");
    const std::optional<std::size_t> zone_column = layer.find_column("zone");
    const std::optional<std::size_t> field_column = layer.find_column("field_id");

    const gis::Transformer& to_zones = gis::transformer(trial.crs, crs);
    std::vector<Point> points;
    std::vector<std::size_t> rows;
    for (std::size_t row = 0; row < trial.places.size(); ++row) {
        if (!trial.places[row]) continue;
        points.push_back(to_zones.apply(*trial.places[row]));
        rows.push_back(row);
    }
    std::vector<PlotZone> found(trial.places.size());
    int number = 0;
    for (const gis::Feature& feature : layer.features) {
        if (feature.kind != gis::GeometryKind::polygons) continue;
        ++number;
        const std::vector<bool> within = geometry::covers(feature.polygons, points);
        for (std::size_t i = 0; i < points.size(); ++i) {
            if (!within[i]) continue;
            found[rows[i]] = {field_column ? feature.values[*field_column] : std::string(),
                              zone_column ? feature.values[*zone_column] : std::to_string(number)};
        }
    }
    return found;
}

}  // namespace catchfield::plan
