// SPDX-License-Identifier: MIT
// Shapes the geometry tests share: simple ones, and random fields with holes and slivers.
#pragma once

#include "base/random.hpp"
#include "base/shapes.hpp"
#include "geometry/overlay.hpp"
#include "geometry/validity.hpp"

#include <cmath>
#include <vector>

namespace catchfield {

inline Ring box_ring(double x0, double y0, double x1, double y1) {
    return {{x0, y0}, {x1, y0}, {x1, y1}, {x0, y1}, {x0, y0}};
}

inline MultiPolygon box_shape(double x0, double y0, double x1, double y1) {
    return {{box_ring(x0, y0, x1, y1), {}}};
}

/// A star around a centre: every radius in [low, high].
inline Ring star_ring(Random& random, Point centre, double low, double high, int points) {
    Ring ring;
    for (int i = 0; i < points; ++i) {
        const double angle = 6.283185307179586 * (i + random.uniform(0.1, 0.9)) / points;
        const double radius = random.uniform(low, high);
        ring.push_back({centre.x + radius * std::cos(angle), centre.y + radius * std::sin(angle)});
    }
    ring.push_back(ring.front());
    return ring;
}

/// A field of roughly 20 cells across: a star with holes, sometimes a sliver, sometimes a far part.
inline MultiPolygon random_field(Random& random, Point centre, double cell) {
    MultiPolygon field{
        {star_ring(random, centre, 6 * cell, 12 * cell, 8 + static_cast<int>(random.below(30))),
         {}}};
    const std::size_t holes = random.below(3);
    for (std::size_t i = 0; i < holes; ++i) {
        const Point at{centre.x + random.uniform(-4, 4) * cell,
                       centre.y + random.uniform(-4, 4) * cell};
        field =
            geometry::difference(field, {{star_ring(random, at, 0.3 * cell, 2.0 * cell, 7), {}}});
    }
    if (random.below(2) == 0) {
        // A strip much thinner than a cell that sticks out.
        const double y = centre.y + random.uniform(-3, 3) * cell;
        const std::vector<MultiPolygon> both{
            field, box_shape(centre.x, y, centre.x + 15 * cell, y + 0.07 * cell)};
        field = geometry::unite(both);
    }
    if (random.below(3) == 0) {
        const Point at{centre.x + 15 * cell, centre.y - 14 * cell};
        field.push_back({star_ring(random, at, 0.2 * cell, 2.5 * cell, 6), {}});
        field = geometry::repair(field).shape;
    }
    return field;
}

}  // namespace catchfield
