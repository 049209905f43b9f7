// SPDX-License-Identifier: MIT
#include "plan/compare.hpp"

#include "base/error.hpp"
#include "base/text.hpp"
#include "geometry/overlay.hpp"
#include "gis/vector.hpp"
#include "plan/export_map.hpp"

#include <nlohmann/json.hpp>

#include <algorithm>
#include <cmath>
#include <map>

namespace catchfield::plan {

namespace {

struct Logged {
    std::vector<Point> places;
    std::vector<double> rates;
    gis::Crs crs;
};

Logged read_log(const CompareRequest& request, std::size_t& unusable) {
    const gis::VectorLayer layer = gis::read_layer(request.log, request.layer);
    const std::size_t column = layer.column(request.rate_column);
    const std::string stated = request.log_crs.empty() && layer.driver == "CSV"
                                   ? std::string("EPSG:4326")
                                   : request.log_crs;
    Logged log;
    log.crs = gis::require_crs(layer.crs_wkt, stated, request.log, "--log-crs");
    for (const gis::Feature& row : layer.features) {
        const auto rate = parse_number(row.values[column]);
        if (row.kind != gis::GeometryKind::points || row.points.empty() || !rate || *rate < 0.0) {
            ++unusable;
            continue;
        }
        log.places.push_back(row.points.front());
        log.rates.push_back(*rate);
    }
    if (log.places.empty()) {
        throw Error(ErrorKind::data, "no point with a rate of zero or more",
                    {.path = request.log, .layer = request.rate_column});
    }
    return log;
}

/// Sum and number of the points of each cell.
struct CellMean {
    double sum = 0.0;
    std::size_t count = 0;
};

ZoneComparison compare_zone(const RateMap& map, const RateArea& part,
                            const std::vector<Point>& places, const std::vector<double>& rates,
                            const std::vector<std::size_t>& mine, double tolerance_pct) {
    ZoneComparison zone;
    zone.field = map.field;
    zone.zone = part.name;
    zone.prescribed = part.rates.front();
    zone.points = mine.size();
    zone.area_ha = area(part.shape) * 1e-4;
    std::map<std::pair<long long, long long>, CellMean> cells;
    for (const std::size_t i : mine) {
        const auto key = std::pair{static_cast<long long>(std::floor(places[i].x / map.cell_m)),
                                   static_cast<long long>(std::floor(places[i].y / map.cell_m))};
        CellMean& cell = cells[key];
        cell.sum += rates[i];
        ++cell.count;
    }
    if (cells.empty()) return zone;
    const auto n = static_cast<double>(cells.size());
    std::size_t off = 0;
    for (const auto& [key, cell] : cells) zone.mean += cell.sum / static_cast<double>(cell.count);
    zone.mean /= n;
    for (const auto& [key, cell] : cells) {
        const double value = cell.sum / static_cast<double>(cell.count);
        zone.spread += (value - zone.mean) * (value - zone.mean);
        const double allowed = 0.01 * tolerance_pct * zone.prescribed;
        if (std::abs(value - zone.prescribed) > allowed + 1e-9) ++off;
    }
    zone.spread = cells.size() > 1 ? std::sqrt(zone.spread / (n - 1.0)) : 0.0;
    zone.off_pct = 100.0 * static_cast<double>(off) / n;
    zone.logged_pct = std::min(100.0, 100.0 * n * map.cell_m * map.cell_m * 1e-4 / zone.area_ha);
    return zone;
}

}  // namespace

Comparison compare_applied(const CompareRequest& request) {
    Comparison comparison;
    comparison.tolerance_pct = request.tolerance_pct;
    const Logged log = read_log(request, comparison.unusable);
    const std::vector<RateMap> maps = rate_maps(request.prescription);
    comparison.unit = prescription::unit_name(maps.front().products.front().unit);
    std::vector<bool> taken(log.places.size(), false);
    for (const RateMap& map : maps) {
        std::vector<Point> places = log.places;
        // Points far from the zone have no image there; they are nobody's.
        const gis::Transformer& move = gis::transformer(log.crs, map.crs);
        for (Point& place : places) {
            double x = place.x, y = place.y;
            move.apply_unchecked(&x, &y, 1);
            place = std::isfinite(x) && std::isfinite(y) ? Point{x, y} : Point{1e12, 1e12};
        }
        for (const RateArea& part : map.areas) {
            const std::vector<bool> inside = geometry::covers(part.shape, places);
            std::vector<std::size_t> mine;
            for (std::size_t i = 0; i < places.size(); ++i) {
                if (!inside[i] || taken[i]) continue;
                taken[i] = true;
                mine.push_back(i);
            }
            comparison.zones.push_back(
                compare_zone(map, part, places, log.rates, mine, request.tolerance_pct));
        }
    }
    comparison.outside = static_cast<std::size_t>(std::count(taken.begin(), taken.end(), false));
    if (comparison.outside == log.places.size()) {
        comparison.warnings.push_back(
            "no logged point lies in a field of the plan: check the coordinate system");
    }
    double logged = 0.0, wanted = 0.0;
    for (const ZoneComparison& zone : comparison.zones) {
        if (zone.points == 0)
            comparison.warnings.push_back("nothing was logged in " + zone.field + ", " + zone.zone);
        if (zone.points == 0 || zone.prescribed <= 0.0) continue;
        logged += zone.mean * zone.area_ha;
        wanted += zone.prescribed * zone.area_ha;
    }
    if (wanted > 0.0 && (logged < 0.4 * wanted || logged > 2.5 * wanted)) {
        comparison.warnings.push_back("the logged rates are " + significant(logged / wanted, 3) +
                                      " times those prescribed: check that the log is in " +
                                      comparison.unit);
    }
    return comparison;
}

std::string comparison_text(const Comparison& comparison) {
    std::string text = "As applied against prescribed, in " + comparison.unit + ", tolerance " +
                       significant(comparison.tolerance_pct, 3) + " %\n";
    for (const ZoneComparison& zone : comparison.zones) {
        text += zone.field + ", " + zone.zone + " (" + fixed(zone.area_ha, 2) +
                " ha): prescribed " + fixed(zone.prescribed, 2);
        if (zone.points == 0) {
            text += ", nothing logged\n";
            continue;
        }
        text += ", mean " + fixed(zone.mean, 2) + ", spread " + fixed(zone.spread, 2) + ", " +
                fixed(zone.off_pct, 1) + " % of the logged area off; logged on " +
                fixed(zone.logged_pct, 1) + " % of the zone, " + std::to_string(zone.points) +
                " points\n";
    }
    text += std::to_string(comparison.outside) + " points outside, " +
            std::to_string(comparison.unusable) + " rows without a usable rate or place\n";
    for (const std::string& warning : comparison.warnings) text += "! " + warning + "\n";
    return text;
}

std::string comparison_json(const Comparison& comparison) {
    using Json = nlohmann::ordered_json;
    Json root;
    root["command"] = "export";
    root["unit"] = comparison.unit;
    root["tolerance_pct"] = comparison.tolerance_pct;
    Json zones = Json::array();
    for (const ZoneComparison& zone : comparison.zones) {
        zones.push_back({{"field", zone.field},
                         {"zone", zone.zone},
                         {"prescribed", zone.prescribed},
                         {"points", zone.points},
                         {"mean", zone.mean},
                         {"spread", zone.spread},
                         {"area_ha", zone.area_ha},
                         {"logged_pct", zone.logged_pct},
                         {"off_pct", zone.off_pct}});
    }
    root["zones"] = zones;
    root["points_outside"] = comparison.outside;
    root["rows_unusable"] = comparison.unusable;
    root["warnings"] = comparison.warnings;
    return root.dump(2, ' ', false, Json::error_handler_t::replace) + "\n";
}

}  // namespace catchfield::plan
