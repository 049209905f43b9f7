// SPDX-License-Identifier: MIT
#include "geometry/geos.hpp"

#include "base/error.hpp"
#include "geometry/validity.hpp"
#include "geometry/version.hpp"

#include <algorithm>

namespace catchfield::geometry {

static_assert(sizeof(Point) == 2 * sizeof(double), "points are handed to GEOS as x, y pairs");

GeosContext::GeosContext() : m_handle(GEOS_init_r()) {
    if (m_handle == nullptr) throw Error(ErrorKind::internal, "GEOS cannot be started");
    GEOSContext_setErrorMessageHandler_r(
        m_handle,
        [](const char* message, void* self) {
            static_cast<GeosContext*>(self)->m_message = message;
        },
        this);
}

GeosContext::~GeosContext() {
    GEOS_finish_r(m_handle);
}

void GeosContext::fail(const char* what) {
    const std::string message = m_message.empty() ? "no reason given" : m_message;
    m_message.clear();
    throw Error(ErrorKind::data, std::string(what) + " failed: " + message);
}

GeomPtr GeosContext::own(GEOSGeometry* geometry, const char* what) {
    if (geometry == nullptr) fail(what);
    return GeomPtr(geometry, GeomDeleter{m_handle});
}

bool GeosContext::truth(char answer, const char* what) {
    if (answer != 0 && answer != 1) fail(what);
    return answer == 1;
}

void GeosContext::done(int status, const char* what) {
    if (status == 0) fail(what);
}

GeosContext& geos() {
    thread_local GeosContext context;
    return context;
}

namespace {

GEOSCoordSequence* make_sequence(std::span<const Point> points) {
    const double* xy = points.empty() ? nullptr : &points.front().x;
    GEOSCoordSequence* sequence = GEOSCoordSeq_copyFromBuffer_r(
        geos().handle(), xy, static_cast<unsigned>(points.size()), 0, 0);
    if (sequence == nullptr) throw Error(ErrorKind::internal, "GEOS cannot take coordinates");
    return sequence;
}

GeomPtr make_ring(const Ring& ring) {
    // The sequence belongs to the ring, also where making the ring fails.
    return geos().own(GEOSGeom_createLinearRing_r(geos().handle(), make_sequence(ring)),
                      "making a ring");
}

GeomPtr make_multi(int type, std::vector<GeomPtr>& parts) {
    std::vector<GEOSGeometry*> raw;
    raw.reserve(parts.size());
    for (GeomPtr& part : parts) raw.push_back(part.release());
    return geos().own(GEOSGeom_createCollection_r(geos().handle(), type, raw.data(),
                                                  static_cast<unsigned>(raw.size())),
                      "making a collection");
}

Ring read_ring(const GEOSGeometry* geometry) {
    GeosContext& context = geos();
    const GEOSCoordSequence* sequence = GEOSGeom_getCoordSeq_r(context.handle(), geometry);
    unsigned size = 0;
    context.done(GEOSCoordSeq_getSize_r(context.handle(), sequence, &size), "reading a ring");
    Ring ring(size);
    if (size > 0) {
        context.done(GEOSCoordSeq_copyToBuffer_r(context.handle(), sequence, &ring.front().x, 0, 0),
                     "reading a ring");
    }
    return ring;
}

void turn(Ring& ring, bool counter_clockwise) {
    if ((signed_area(ring) > 0.0) != counter_clockwise) std::reverse(ring.begin(), ring.end());
}

void append_areas(const GEOSGeometry* geometry, MultiPolygon& shape) {
    GeosContext& context = geos();
    const int type = GEOSGeomTypeId_r(context.handle(), geometry);
    if (type == GEOS_POLYGON) {
        if (context.truth(GEOSisEmpty_r(context.handle(), geometry), "reading a polygon")) return;
        Polygon polygon;
        polygon.outer = read_ring(GEOSGetExteriorRing_r(context.handle(), geometry));
        turn(polygon.outer, true);
        const int holes = GEOSGetNumInteriorRings_r(context.handle(), geometry);
        for (int i = 0; i < holes; ++i) {
            polygon.holes.push_back(
                read_ring(GEOSGetInteriorRingN_r(context.handle(), geometry, i)));
            turn(polygon.holes.back(), false);
        }
        shape.push_back(std::move(polygon));
    } else if (type == GEOS_MULTIPOLYGON || type == GEOS_GEOMETRYCOLLECTION) {
        const int parts = GEOSGetNumGeometries_r(context.handle(), geometry);
        for (int i = 0; i < parts; ++i) {
            append_areas(GEOSGetGeometryN_r(context.handle(), geometry, i), shape);
        }
    }
}

}  // namespace

GeomPtr make_point(const Point& point) {
    return geos().own(GEOSGeom_createPointFromXY_r(geos().handle(), point.x, point.y),
                      "making a point");
}

GeomPtr make_points(std::span<const Point> points) {
    std::vector<GeomPtr> parts;
    parts.reserve(points.size());
    for (const Point& point : points) parts.push_back(make_point(point));
    return make_multi(GEOS_MULTIPOINT, parts);
}

GeomPtr make_lines(std::span<const Line> lines) {
    std::vector<GeomPtr> parts;
    parts.reserve(lines.size());
    for (const Line& line : lines) {
        if (line.size() < 2) continue;
        parts.push_back(geos().own(
            GEOSGeom_createLineString_r(geos().handle(), make_sequence(line)), "making a line"));
    }
    return make_multi(GEOS_MULTILINESTRING, parts);
}

GeomPtr make_areas(const MultiPolygon& shape) {
    std::vector<GeomPtr> parts;
    parts.reserve(shape.size());
    for (const Polygon& polygon : shape) {
        GeomPtr outer = make_ring(polygon.outer);
        std::vector<GeomPtr> holes;
        for (const Ring& hole : polygon.holes) holes.push_back(make_ring(hole));
        std::vector<GEOSGeometry*> raw;
        for (GeomPtr& hole : holes) raw.push_back(hole.release());
        parts.push_back(
            geos().own(GEOSGeom_createPolygon_r(geos().handle(), outer.release(), raw.data(),
                                                static_cast<unsigned>(raw.size())),
                       "making a polygon"));
    }
    return make_multi(GEOS_MULTIPOLYGON, parts);
}

GeomPtr make_collection(std::vector<GeomPtr> parts) {
    return make_multi(GEOS_GEOMETRYCOLLECTION, parts);
}

MultiPolygon read_areas(const GEOSGeometry* geometry) {
    MultiPolygon shape;
    append_areas(geometry, shape);
    return shape;
}

Point read_point(const GEOSGeometry* geometry) {
    Point point;
    geos().done(GEOSGeomGetX_r(geos().handle(), geometry, &point.x) == 1 &&
                    GEOSGeomGetY_r(geos().handle(), geometry, &point.y) == 1,
                "reading a point");
    return point;
}

GeomPtr make_valid_areas(const MultiPolygon& shape, const char* what) {
    if (!shape.empty()) require_valid(shape, what);
    return make_areas(shape);
}

std::string geos_version() {
    return GEOSversion();
}

}  // namespace catchfield::geometry
