// SPDX-License-Identifier: MIT
// Areas cut, joined, grown and measured. All in a projected CRS, lengths in m, areas in m2.
#pragma once

#include "base/shapes.hpp"

#include <optional>
#include <span>
#include <string>
#include <vector>

namespace catchfield::geometry {

// Every function throws Error(data) with GEOS's reason and the place where an input is not valid;
// results are valid, hold polygons only (touching points and lines are dropped), outer rings run
// counter-clockwise and holes clockwise. An empty input is an empty area, not an error.

MultiPolygon intersection(const MultiPolygon& a, const MultiPolygon& b);
MultiPolygon difference(const MultiPolygon& a, const MultiPolygon& b);
/// What any of the shapes covers; the shapes may overlap.
MultiPolygon unite(std::span<const MultiPolygon> shapes);

/// Everything within `distance_m` (> 0) of the points, lines or areas. Round corners, drawn with
/// `quarter_segments` chords per quarter circle: the area is short by at most 0.7 % with 8, 0.2 %
/// with the default 16, and never larger than the true one.
MultiPolygon buffer_points(std::span<const Point> points, double distance_m,
                           int quarter_segments = 16);
MultiPolygon buffer_lines(std::span<const Line> lines, double distance_m,
                          int quarter_segments = 16);
/// A negative distance shrinks; zero gives the shape itself.
MultiPolygon buffer_areas(const MultiPolygon& shape, double distance_m, int quarter_segments = 16);

/// True inside and on the outline.
bool covers(const MultiPolygon& shape, const Point& point);
/// One answer per point; the shape is indexed once, for many points.
std::vector<bool> covers(const MultiPolygon& shape, std::span<const Point> points);
/// m; 0 inside and on the outline. Throws Error(data) where the shape is empty.
double distance(const MultiPolygon& shape, const Point& point);
double distance(const MultiPolygon& a, const MultiPolygon& b);
/// A point inside, away from the outline where there is room. The shape must not be empty.
Point inside_point(const MultiPolygon& shape);

/// Douglas & Peucker 1973 on every ring with the topology kept; no point of the outline moves
/// further than `tolerance_m`. Not for areas that share edges: see zone_outlines.
MultiPolygon simplify(const MultiPolygon& shape, double tolerance_m);

/// Points over all rings, the closing one not counted.
std::size_t vertex_count(const MultiPolygon& shape);

/// How well some areas fill another one.
struct Coverage {
    double whole_m2 = 0.0;               ///< area to be filled
    double union_m2 = 0.0;               ///< area of all parts together, overlaps counted once
    double overlap_m2 = 0.0;             ///< covered more than once (sum over pairs)
    double gap_m2 = 0.0;                 ///< of the whole, covered by no part
    double outside_m2 = 0.0;             ///< of the parts, outside the whole
    std::optional<Point> overlap_place;  ///< in the largest overlap
    std::optional<Point> gap_place;      ///< in the largest gap
};
Coverage check_coverage(std::span<const MultiPolygon> parts, const MultiPolygon& whole);

/// Zones drawn by hand, made fit for use.
struct DrawnZones {
    std::vector<MultiPolygon> zones;  ///< cut to the field, in the order given; may be empty shapes
    std::vector<double> area_m2;
    Coverage coverage;                  ///< of the drawn shapes as given (repaired) over the field
    std::vector<std::string> warnings;  ///< repairs, zones outside the field, small gaps, overlaps
};

/// Cuts drawn zones to the field. Gaps and overlaps of together at most `tolerance_share` of the
/// field's area are a warning (an overlap then goes to the zone listed first); more is Error(data)
/// with the area and a place, as ground with two rates or none cannot be spread.
DrawnZones check_drawn_zones(std::span<const MultiPolygon> drawn, const MultiPolygon& field,
                             double tolerance_share = 0.005);

/// Zones with no-apply ground (wells, water, setbacks already grown by buffer_*) taken out.
struct CutZones {
    std::vector<MultiPolygon> zones;  ///< same order; empty where nothing is left
    std::vector<double> removed_m2;   ///< per zone
    double removed_total_m2 = 0.0;
    std::vector<std::string> warnings;  ///< zones that lost more than half, or all
};
/// Throws Error(data) where nothing of any zone is left.
CutZones take_out(std::span<const MultiPolygon> zones, const MultiPolygon& no_apply);

}  // namespace catchfield::geometry
