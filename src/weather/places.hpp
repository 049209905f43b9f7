// SPDX-License-Identifier: MIT
// Approximate climate of some places, for a user who has no weather data: low confidence, and the
// result says so.
#pragma once

#include "weather/series.hpp"

#include <string>
#include <vector>

namespace catchfield::weather {

struct Place {
    std::string name;  ///< "Columbus OH"
    double lat_deg = 0.0;
    double lon_deg = 0.0;
    double r_si = 0.0;  ///< MJ mm/(ha h yr)
    Monthly monthly;    ///< with source and confidence
};

struct NearPlace {
    Place place;
    double distance_km = 0.0;
    std::vector<std::string> warnings;  ///< says how far, how sure, and what to give instead
};

/// Table places.csv. All rows are "memory: check".
const std::vector<Place>& places();

/// Great-circle distance on a sphere of 6371 km, km.
double distance_km(double lat1_deg, double lon1_deg, double lat2_deg, double lon2_deg);

/// The nearest places, nearest first, at most `count`, none beyond max_km.
std::vector<NearPlace> nearest_places(double lat_deg, double lon_deg, std::size_t count,
                                      double max_km = 400.0);

/// The nearest place. Throws Error(data) where it is farther than max_km (no guess across
/// climates); the message names it and asks for [weather] monthly and erosivity.
NearPlace nearest_place(double lat_deg, double lon_deg, double max_km = 400.0);

}  // namespace catchfield::weather
