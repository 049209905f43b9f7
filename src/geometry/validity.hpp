// SPDX-License-Identifier: MIT
// Whether a shape is usable as an area, what is wrong with it and where, and how to mend it.
#pragma once

#include "base/shapes.hpp"

#include <optional>
#include <string>
#include <vector>

namespace catchfield::geometry {

/// What makes a shape unusable, in GEOS's own words where GEOS found it ("Self-intersection").
struct Flaw {
    std::string reason;
    std::optional<Point> place;  ///< where, in the shape's CRS; none where there is no one place
};

/// The first flaw of a shape by the rules of OGC 06-103r4 (Simple Features): rings closed and
/// free of crossings, holes inside, parts apart. Also: no points, coordinates that are not finite,
/// rings of fewer than four points. An empty shape is a flaw ("the shape is empty").
std::optional<Flaw> find_flaw(const MultiPolygon& shape);

/// "Self-intersection at (500123.40, 4451234.00)".
std::string describe(const Flaw& flaw);

/// Throws Error(data) with the flaw and its place where the shape is not valid or has no area.
void require_valid(const MultiPolygon& shape, const std::string& what);

struct Repair {
    MultiPolygon shape;                ///< valid; empty where nothing with an area was left
    double area_before_m2 = 0.0;       ///< shoelace area of what came in, as it stood
    double area_after_m2 = 0.0;        ///< area of `shape`
    std::vector<std::string> changes;  ///< plain sentences; empty where the shape was valid
};

/// Makes a shape valid: closes rings, drops points that are not finite and rings without area, then
/// GEOS MakeValid by structure on every ring; each outline less its holes, parts united, polygonal
/// parts kept. A valid shape comes back unchanged, point by point.
Repair repair(const MultiPolygon& shape);

}  // namespace catchfield::geometry
