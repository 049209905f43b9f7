// SPDX-License-Identifier: MIT
// The table of places and the search for the nearest.
#include "weather/places.hpp"

#include "base/error.hpp"
#include "base/text.hpp"
#include "base/units.hpp"
#include "weather/data.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace catchfield::weather {

const std::vector<Place>& places() {
    static const std::vector<Place> all = [] {
        const Table table = Table::parse(data::places, "places.csv");
        const std::size_t t = table.column("tmean_c_jan");
        const std::size_t p = table.column("precip_mm_jan");
        std::vector<Place> rows;
        for (std::size_t row = 0; row < table.rows(); ++row) {
            Place place;
            place.name = table.text(row, "name");
            place.lat_deg = table.required_number(row, "lat_deg");
            place.lon_deg = table.required_number(row, "lon_deg");
            place.r_si = table.required_number(row, "r_us") * units::r_si_per_us;
            for (std::size_t m = 0; m < 12; ++m) {
                place.monthly.tmean_c[m] = table.required_number(row, table.columns()[t + m]);
                place.monthly.precip_mm[m] = table.required_number(row, table.columns()[p + m]);
            }
            place.monthly.source = place.name + ", " + table.text(row, "source");
            place.monthly.confidence = parse_confidence(table.text(row, "confidence"));
            check(place.monthly, place.name);
            rows.push_back(place);
        }
        return rows;
    }();
    return all;
}

double distance_km(double lat1_deg, double lon1_deg, double lat2_deg, double lon2_deg) {
    constexpr double radian = std::numbers::pi / 180.0;
    const double dlat = (lat2_deg - lat1_deg) * radian / 2.0;
    const double dlon = (lon2_deg - lon1_deg) * radian / 2.0;
    const double a = std::sin(dlat) * std::sin(dlat) + std::cos(lat1_deg * radian) *
                                                           std::cos(lat2_deg * radian) *
                                                           std::sin(dlon) * std::sin(dlon);
    return 2.0 * 6371.0 * std::asin(std::sqrt(std::min(1.0, a)));
}

std::vector<NearPlace> nearest_places(double lat_deg, double lon_deg, std::size_t count,
                                      double max_km) {
    std::vector<NearPlace> near;
    for (const Place& place : places()) {
        const double km = distance_km(lat_deg, lon_deg, place.lat_deg, place.lon_deg);
        if (km <= max_km) near.push_back({place, km, {}});
    }
    std::stable_sort(near.begin(), near.end(), [](const NearPlace& a, const NearPlace& b) {
        return a.distance_km < b.distance_km;
    });
    if (near.size() > count) near.resize(count);
    for (NearPlace& one : near)
        one.warnings.push_back("Weather and R are rough readings for " + one.place.name + ", " +
                               fixed(one.distance_km, 0) +
                               " km away, from memory and unchecked; give [weather] monthly (or "
                               "daily) and erosivity for this field.");
    return near;
}

NearPlace nearest_place(double lat_deg, double lon_deg, double max_km) {
    const auto near = nearest_places(lat_deg, lon_deg, 1, 1e9);
    if (near.front().distance_km > max_km)
        throw Error(
            ErrorKind::data,
            "no weather was given, and the nearest place with climate readings (" +
                near.front().place.name + ") is " + fixed(near.front().distance_km, 0) +
                " km away from longitude " + fixed(lon_deg, 3) + ", latitude " + fixed(lat_deg, 3),
            {.hint = "Give [weather] monthly (or daily) and erosivity, or check the boundary's "
                     "place."});
    return near.front();
}

}  // namespace catchfield::weather
