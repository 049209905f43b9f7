// SPDX-License-Identifier: MIT
#include "geometry/overlay.hpp"

#include "base/error.hpp"
#include "base/text.hpp"
#include "geometry/geos.hpp"
#include "geometry/validity.hpp"

#include <algorithm>
#include <cmath>
#include <numeric>

namespace catchfield::geometry {

namespace {

using Overlay = GEOSGeometry* (*)(GEOSContextHandle_t, const GEOSGeometry*, const GEOSGeometry*);

MultiPolygon overlay(Overlay operation, const MultiPolygon& a, const MultiPolygon& b,
                     const char* what) {
    const GeomPtr first = make_valid_areas(a, "the first shape");
    const GeomPtr second = make_valid_areas(b, "the second shape");
    return read_areas(
        geos().own(operation(geos().handle(), first.get(), second.get()), what).get());
}

MultiPolygon buffer(const GeomPtr& geometry, double distance_m, int quarter_segments) {
    if (!std::isfinite(distance_m)) {
        throw Error(ErrorKind::data, "the setback is not a finite length");
    }
    return read_areas(geos()
                          .own(GEOSBuffer_r(geos().handle(), geometry.get(), distance_m,
                                            std::max(quarter_segments, 1)),
                               "growing a shape")
                          .get());
}

void require_grown(double distance_m) {
    if (!(distance_m > 0.0)) {
        throw Error(ErrorKind::data, "the setback of points and lines must be more than 0 m");
    }
}

void require_finite(std::span<const Point> points) {
    for (const Point& point : points) {
        if (!std::isfinite(point.x) || !std::isfinite(point.y)) {
            throw Error(ErrorKind::data, "a coordinate is not a finite number");
        }
    }
}

bool boxes_meet(const Box& a, const Box& b) {
    return a.min_x < b.max_x && b.min_x < a.max_x && a.min_y < b.max_y && b.min_y < a.max_y;
}

/// Calls visit(i, j) for pairs whose boxes share some area, in order of their western edges.
template <typename Visit>
void for_each_meeting_pair(const std::vector<Box>& boxes, Visit visit) {
    std::vector<std::size_t> order(boxes.size());
    std::iota(order.begin(), order.end(), std::size_t{0});
    std::sort(order.begin(), order.end(), [&](std::size_t i, std::size_t j) {
        return boxes[i].min_x < boxes[j].min_x || (boxes[i].min_x == boxes[j].min_x && i < j);
    });
    for (std::size_t a = 0; a < order.size(); ++a) {
        for (std::size_t b = a + 1; b < order.size(); ++b) {
            if (boxes[order[b]].min_x >= boxes[order[a]].max_x) break;
            if (boxes_meet(boxes[order[a]], boxes[order[b]])) {
                visit(std::min(order[a], order[b]), std::max(order[a], order[b]));
            }
        }
    }
}

/// A point inside the largest part.
std::optional<Point> place_of(const MultiPolygon& shape) {
    if (shape.empty()) return std::nullopt;
    const auto largest =
        std::max_element(shape.begin(), shape.end(), [](const Polygon& a, const Polygon& b) {
            return std::abs(signed_area(a.outer)) < std::abs(signed_area(b.outer));
        });
    return inside_point({*largest});
}

std::string hectares(double area_m2) {
    return fixed(area_m2 * 1e-4, 3) + " ha";
}

std::string near_text(const std::optional<Point>& place) {
    return place ? ", near (" + fixed(place->x, 1) + ", " + fixed(place->y, 1) + ")" : "";
}

}  // namespace

MultiPolygon intersection(const MultiPolygon& a, const MultiPolygon& b) {
    if (a.empty() || b.empty()) return {};
    return overlay(GEOSIntersection_r, a, b, "cutting a shape");
}

MultiPolygon difference(const MultiPolygon& a, const MultiPolygon& b) {
    if (a.empty()) return {};
    return overlay(GEOSDifference_r, a, b, "taking a shape out");
}

MultiPolygon unite(std::span<const MultiPolygon> shapes) {
    std::vector<GeomPtr> parts;
    for (const MultiPolygon& shape : shapes) {
        if (!shape.empty()) parts.push_back(make_valid_areas(shape, "a shape to be joined"));
    }
    if (parts.empty()) return {};
    const GeomPtr all = make_collection(std::move(parts));
    return read_areas(
        geos().own(GEOSUnaryUnion_r(geos().handle(), all.get()), "joining shapes").get());
}

MultiPolygon buffer_points(std::span<const Point> points, double distance_m, int quarter_segments) {
    require_grown(distance_m);
    require_finite(points);
    return buffer(make_points(points), distance_m, quarter_segments);
}

MultiPolygon buffer_lines(std::span<const Line> lines, double distance_m, int quarter_segments) {
    require_grown(distance_m);
    std::vector<Point> single;
    for (const Line& line : lines) {
        require_finite(line);
        if (line.size() == 1) single.push_back(line.front());
    }
    MultiPolygon grown = buffer(make_lines(lines), distance_m, quarter_segments);
    if (single.empty()) return grown;
    const std::vector<MultiPolygon> both{std::move(grown),
                                         buffer_points(single, distance_m, quarter_segments)};
    return unite(both);
}

MultiPolygon buffer_areas(const MultiPolygon& shape, double distance_m, int quarter_segments) {
    if (shape.empty()) return {};
    const GeomPtr areas = make_valid_areas(shape, "the shape to grow");
    if (distance_m == 0.0) return read_areas(areas.get());
    return buffer(areas, distance_m, quarter_segments);
}

bool covers(const MultiPolygon& shape, const Point& point) {
    return covers(shape, std::span<const Point>(&point, 1)).front();
}

std::vector<bool> covers(const MultiPolygon& shape, std::span<const Point> points) {
    std::vector<bool> inside(points.size(), false);
    require_finite(points);
    if (shape.empty() || points.empty()) return inside;
    GeosContext& context = geos();
    const GeomPtr areas = make_valid_areas(shape, "the shape");
    const PreparedPtr prepared(GEOSPrepare_r(context.handle(), areas.get()),
                               PreparedDeleter{context.handle()});
    if (!prepared) throw Error(ErrorKind::internal, "a shape cannot be indexed");
    for (std::size_t i = 0; i < points.size(); ++i) {
        const GeomPtr point = make_point(points[i]);
        inside[i] =
            context.truth(GEOSPreparedCovers_r(context.handle(), prepared.get(), point.get()),
                          "locating a point");
    }
    return inside;
}

double distance(const MultiPolygon& shape, const Point& point) {
    require_finite(std::span<const Point>(&point, 1));
    if (shape.empty()) throw Error(ErrorKind::data, "there is no distance to an empty shape");
    const GeomPtr areas = make_valid_areas(shape, "the shape");
    double metres = 0.0;
    geos().done(GEOSDistance_r(geos().handle(), areas.get(), make_point(point).get(), &metres),
                "measuring a distance");
    return metres;
}

double distance(const MultiPolygon& a, const MultiPolygon& b) {
    if (a.empty() || b.empty()) {
        throw Error(ErrorKind::data, "there is no distance to an empty shape");
    }
    const GeomPtr first = make_valid_areas(a, "the first shape");
    const GeomPtr second = make_valid_areas(b, "the second shape");
    double metres = 0.0;
    geos().done(GEOSDistance_r(geos().handle(), first.get(), second.get(), &metres),
                "measuring a distance");
    return metres;
}

Point inside_point(const MultiPolygon& shape) {
    if (shape.empty()) throw Error(ErrorKind::data, "an empty shape has no point inside");
    const GeomPtr areas = make_areas(shape);
    return read_point(
        geos()
            .own(GEOSPointOnSurface_r(geos().handle(), areas.get()), "finding a point inside")
            .get());
}

MultiPolygon simplify(const MultiPolygon& shape, double tolerance_m) {
    if (!std::isfinite(tolerance_m) || tolerance_m < 0.0) {
        throw Error(ErrorKind::data, "the tolerance is not a length of 0 m or more");
    }
    if (shape.empty()) return {};
    const GeomPtr areas = make_valid_areas(shape, "the shape to simplify");
    return read_areas(
        geos()
            .own(GEOSTopologyPreserveSimplify_r(geos().handle(), areas.get(), tolerance_m),
                 "simplifying a shape")
            .get());
}

std::size_t vertex_count(const MultiPolygon& shape) {
    std::size_t count = 0;
    const auto add = [&](const Ring& ring) { count += ring.empty() ? 0 : ring.size() - 1; };
    for (const Polygon& polygon : shape) {
        add(polygon.outer);
        for (const Ring& hole : polygon.holes) add(hole);
    }
    return count;
}

Coverage check_coverage(std::span<const MultiPolygon> parts, const MultiPolygon& whole) {
    Coverage coverage;
    coverage.whole_m2 = area(whole);
    const MultiPolygon together = unite(parts);
    coverage.union_m2 = area(together);

    std::vector<Box> boxes;
    for (const MultiPolygon& part : parts) boxes.push_back(bounds(part));
    double largest = 0.0;
    MultiPolygon largest_overlap;
    for_each_meeting_pair(boxes, [&](std::size_t i, std::size_t j) {
        const MultiPolygon both = intersection(parts[i], parts[j]);
        const double both_m2 = area(both);
        coverage.overlap_m2 += both_m2;
        if (both_m2 > largest) {
            largest = both_m2;
            largest_overlap = both;
        }
    });
    coverage.overlap_place = place_of(largest_overlap);

    const MultiPolygon gaps = difference(whole, together);
    coverage.gap_m2 = area(gaps);
    coverage.gap_place = place_of(gaps);
    coverage.outside_m2 = area(difference(together, whole));
    return coverage;
}

DrawnZones check_drawn_zones(std::span<const MultiPolygon> drawn, const MultiPolygon& field,
                             double tolerance_share) {
    require_valid(field, "the field's boundary");
    if (drawn.empty()) throw Error(ErrorKind::data, "there are no drawn zones");
    DrawnZones result;
    std::vector<MultiPolygon> shapes;
    for (std::size_t i = 0; i < drawn.size(); ++i) {
        Repair mended = repair(drawn[i]);
        const std::string name = "drawn zone " + std::to_string(i + 1);
        for (const std::string& change : mended.changes) {
            result.warnings.push_back(name + ": " + change);
        }
        shapes.push_back(intersection(mended.shape, field));
        if (shapes.back().empty()) {
            result.warnings.push_back(name + " has no ground inside the field and is not used");
        } else {
            const double off_m2 = mended.area_after_m2 - area(shapes.back());
            if (off_m2 > tolerance_share * mended.area_after_m2) {
                result.warnings.push_back(name + ": " + hectares(off_m2) +
                                          " outside the field cut off");
            }
        }
    }
    result.coverage = check_coverage(shapes, field);
    const Coverage& coverage = result.coverage;
    const double limit_m2 = tolerance_share * coverage.whole_m2;
    if (coverage.overlap_m2 > limit_m2) {
        throw Error(ErrorKind::data,
                    "the drawn zones overlap on " + hectares(coverage.overlap_m2) +
                        near_text(coverage.overlap_place),
                    {.hint = "Draw the zones so that every place belongs to one of them."});
    }
    if (coverage.gap_m2 > limit_m2) {
        throw Error(ErrorKind::data,
                    "the drawn zones leave " + hectares(coverage.gap_m2) + " of the field's " +
                        hectares(coverage.whole_m2) + " out" + near_text(coverage.gap_place),
                    {.hint = "Draw a zone over the rest of the field, or cut the boundary there."});
    }
    // Rounding of coordinates leaves crumbs along common edges; they are not worth a sentence.
    const double crumbs_m2 = 1e-6 * coverage.whole_m2;
    if (coverage.overlap_m2 > crumbs_m2) {
        result.warnings.push_back("the drawn zones overlap on " + hectares(coverage.overlap_m2) +
                                  near_text(coverage.overlap_place) +
                                  "; it goes to the zone listed first");
    }
    if (coverage.gap_m2 > crumbs_m2) {
        result.warnings.push_back("the drawn zones leave " + hectares(coverage.gap_m2) +
                                  " of the field out" + near_text(coverage.gap_place));
    }
    if (coverage.overlap_m2 > 0.0) {
        MultiPolygon taken;
        for (MultiPolygon& shape : shapes) {
            MultiPolygon own = difference(shape, taken);
            const std::vector<MultiPolygon> both{std::move(taken), std::move(shape)};
            taken = unite(both);
            shape = std::move(own);
        }
    }
    result.zones = std::move(shapes);
    for (const MultiPolygon& zone : result.zones) result.area_m2.push_back(area(zone));
    return result;
}

CutZones take_out(std::span<const MultiPolygon> zones, const MultiPolygon& no_apply) {
    CutZones result;
    const MultiPolygon mended = repair(no_apply).shape;
    double left_m2 = 0.0;
    for (std::size_t i = 0; i < zones.size(); ++i) {
        const double before_m2 = area(zones[i]);
        result.zones.push_back(difference(zones[i], mended));
        const double after_m2 = area(result.zones.back());
        result.removed_m2.push_back(std::max(before_m2 - after_m2, 0.0));
        result.removed_total_m2 += result.removed_m2.back();
        left_m2 += after_m2;
        const std::string name = "zone " + std::to_string(i + 1);
        if (before_m2 > 0.0 && after_m2 <= 0.0) {
            result.warnings.push_back(name + " lies wholly on ground where nothing may be applied");
        } else if (after_m2 < 0.5 * before_m2) {
            result.warnings.push_back(name + ": nothing may be applied on " +
                                      hectares(before_m2 - after_m2) + " of its " +
                                      hectares(before_m2));
        }
    }
    if (!(left_m2 > 0.0)) {
        throw Error(ErrorKind::data, "the no-apply areas and setbacks leave nothing of the field",
                    {.hint = "Check the setback's unit and the no-apply layer."});
    }
    return result;
}

}  // namespace catchfield::geometry
