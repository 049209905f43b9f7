// SPDX-License-Identifier: MIT
// GeoJSON as it stands in the file, without any of the program's own code, so that a mistake of the
// writer cannot hide in the reader.
#pragma once

#include "program.hpp"

#include <nlohmann/json.hpp>

#include <algorithm>
#include <cmath>
#include <string>
#include <vector>

namespace catchfield::testing {

using Json = nlohmann::json;

struct Vertex {
    double x = 0.0, y = 0.0;
};
using Loop = std::vector<Vertex>;
using Loops = std::vector<Loop>;  ///< outer ring, then holes

/// Polygons of a GeoJSON geometry.
inline std::vector<Loops> polygons_of(const Json& geometry) {
    std::vector<Loops> polygons;
    if (geometry.is_null()) return polygons;
    const auto add = [&](const Json& rings) {
        Loops loops;
        for (const Json& ring : rings) {
            Loop loop;
            for (const Json& point : ring)
                loop.push_back({point.at(0).get<double>(), point.at(1).get<double>()});
            loops.push_back(std::move(loop));
        }
        polygons.push_back(std::move(loops));
    };
    if (geometry.at("type") == "Polygon") {
        add(geometry.at("coordinates"));
    } else {
        EXPECT_EQ(geometry.at("type"), "MultiPolygon");
        for (const Json& rings : geometry.at("coordinates")) add(rings);
    }
    return polygons;
}

/// Twice the signed area, positive counter-clockwise.
inline double turn(const Loop& loop) {
    double sum = 0.0;
    for (std::size_t i = 0; i + 1 < loop.size(); ++i) {
        sum += (loop[i].x - loop[0].x) * (loop[i + 1].y - loop[0].y) -
               (loop[i + 1].x - loop[0].x) * (loop[i].y - loop[0].y);
    }
    return sum;
}

/// Even-odd rule.
inline bool inside(const std::vector<Loops>& polygons, double x, double y) {
    bool in = false;
    for (const Loops& loops : polygons) {
        for (const Loop& loop : loops) {
            for (std::size_t i = 0; i + 1 < loop.size(); ++i) {
                const Vertex a = loop[i];
                const Vertex b = loop[i + 1];
                if ((a.y > y) != (b.y > y) && x < a.x + (y - a.y) / (b.y - a.y) * (b.x - a.x))
                    in = !in;
            }
        }
    }
    return in;
}

/// Distance to the nearest edge in metres, for short distances (degrees on a sphere).
inline double edge_distance_m(const std::vector<Loops>& polygons, double x, double y) {
    const double per_y = 111'194.9;
    const double per_x = per_y * std::cos(y * 3.14159265358979 / 180.0);
    double nearest = 1e9;
    for (const Loops& loops : polygons) {
        for (const Loop& loop : loops) {
            for (std::size_t i = 0; i + 1 < loop.size(); ++i) {
                const double ax = (loop[i].x - x) * per_x, ay = (loop[i].y - y) * per_y;
                const double dx = (loop[i + 1].x - loop[i].x) * per_x;
                const double dy = (loop[i + 1].y - loop[i].y) * per_y;
                const double length = dx * dx + dy * dy;
                const double t =
                    length > 0.0 ? std::clamp(-(ax * dx + ay * dy) / length, 0.0, 1.0) : 0.0;
                nearest = std::min(nearest, std::hypot(ax + t * dx, ay + t * dy));
            }
        }
    }
    return nearest;
}

}  // namespace catchfield::testing
