// SPDX-License-Identifier: MIT
// GPX 1.1 (Topografix, www.topografix.com/GPX/1/1): places to walk to with any GPS receiver.
#pragma once

#include "gis/crs.hpp"

#include <string>
#include <vector>

namespace catchfield::gis {

struct Waypoint {
    Point at;  ///< in the CRS given beside
    std::string name;
    std::string description;
};

/// A GPX document with the waypoints and one route through them in their order, WGS 84, 7 decimals.
/// No time is written: same points, same bytes.
std::string gpx_bytes(const std::string& title, const std::vector<Waypoint>& waypoints,
                      const Crs& crs);

}  // namespace catchfield::gis
