// SPDX-License-Identifier: MIT
#include "base/shapes.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

namespace catchfield {

double signed_area(const Ring& ring) {
    if (ring.size() < 4) return 0.0;
    // Relative to the first point: coordinates in the millions would cost digits.
    const Point origin = ring.front();
    double twice = 0.0;
    for (std::size_t i = 0; i + 1 < ring.size(); ++i) {
        twice += (ring[i].x - origin.x) * (ring[i + 1].y - origin.y) -
                 (ring[i + 1].x - origin.x) * (ring[i].y - origin.y);
    }
    return twice / 2.0;
}

double area(const MultiPolygon& shape) {
    double sum = 0.0;
    for (const Polygon& polygon : shape) {
        sum += std::abs(signed_area(polygon.outer));
        for (const Ring& hole : polygon.holes) sum -= std::abs(signed_area(hole));
    }
    return sum;
}

Box bounds(const MultiPolygon& shape) {
    constexpr double infinity = std::numeric_limits<double>::infinity();
    Box box{infinity, infinity, -infinity, -infinity};
    for (const Polygon& polygon : shape) {
        for (const Point& point : polygon.outer) {
            box.min_x = std::min(box.min_x, point.x);
            box.min_y = std::min(box.min_y, point.y);
            box.max_x = std::max(box.max_x, point.x);
            box.max_y = std::max(box.max_y, point.y);
        }
    }
    return box;
}

}  // namespace catchfield
