// SPDX-License-Identifier: MIT
// Plain shapes that pass between rooms; `geometry` makes them valid, `gis` reads and writes them.
#pragma once

#include <vector>

namespace catchfield {

struct Point {
    double x = 0.0;
    double y = 0.0;
    bool operator==(const Point&) const = default;
};

/// Closed: the last point repeats the first. Orientation is set by whoever writes it out.
using Ring = std::vector<Point>;
using Line = std::vector<Point>;

struct Polygon {
    Ring outer;
    std::vector<Ring> holes;
    bool operator==(const Polygon&) const = default;
};

/// The general area shape: any number of polygons that do not overlap.
using MultiPolygon = std::vector<Polygon>;

struct Box {
    double min_x = 0.0, min_y = 0.0, max_x = 0.0, max_y = 0.0;
    bool operator==(const Box&) const = default;
};

/// Signed area of a closed ring by the shoelace formula, positive counter-clockwise, m2.
double signed_area(const Ring& ring);

/// Area with holes taken off, m2. The shape must be valid.
double area(const MultiPolygon& shape);

/// Bounding box; an empty shape gives a box with min > max.
Box bounds(const MultiPolygon& shape);

}  // namespace catchfield
