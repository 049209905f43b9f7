// SPDX-License-Identifier: MIT
// GEOS behind types that own: only the .cpp files of this room include it.
#pragma once

#ifndef GEOS_USE_ONLY_R_API
#define GEOS_USE_ONLY_R_API
#endif
#include "base/shapes.hpp"

#include <geos_c.h>

#include <memory>
#include <span>
#include <string>
#include <vector>

namespace catchfield::geometry {

struct GeomDeleter {
    GEOSContextHandle_t handle = nullptr;
    void operator()(GEOSGeometry* geometry) const { GEOSGeom_destroy_r(handle, geometry); }
};
using GeomPtr = std::unique_ptr<GEOSGeometry, GeomDeleter>;

struct PreparedDeleter {
    GEOSContextHandle_t handle = nullptr;
    void operator()(const GEOSPreparedGeometry* prepared) const {
        GEOSPreparedGeom_destroy_r(handle, prepared);
    }
};
using PreparedPtr = std::unique_ptr<const GEOSPreparedGeometry, PreparedDeleter>;

/// One GEOS handle with the last message it gave. Not shared between threads: see geos().
class GeosContext {
  public:
    GeosContext();
    ~GeosContext();
    GeosContext(const GeosContext&) = delete;
    GeosContext& operator=(const GeosContext&) = delete;

    GEOSContextHandle_t handle() const { return m_handle; }
    /// Takes ownership; null becomes Error(data) with GEOS's message.
    GeomPtr own(GEOSGeometry* geometry, const char* what);
    /// A GEOS predicate's answer; 2 (exception) becomes Error(data).
    bool truth(char answer, const char* what);
    /// A GEOS status; 0 becomes Error(data).
    void done(int status, const char* what);

  private:
    [[noreturn]] void fail(const char* what);

    GEOSContextHandle_t m_handle;
    std::string m_message;
};

/// The context of the calling thread, made at its first use.
GeosContext& geos();

GeomPtr make_point(const Point& point);
GeomPtr make_points(std::span<const Point> points);
/// Lines of fewer than two points are left out.
GeomPtr make_lines(std::span<const Line> lines);
/// Rings must be closed and have at least four finite points (find_flaw says so).
GeomPtr make_areas(const MultiPolygon& shape);
/// A collection that owns its parts.
GeomPtr make_collection(std::vector<GeomPtr> parts);

/// The polygons of any geometry; points and lines are dropped. Outer rings counter-clockwise.
MultiPolygon read_areas(const GEOSGeometry* geometry);
/// The first coordinate of a point geometry.
Point read_point(const GEOSGeometry* geometry);

/// make_areas after require_valid.
GeomPtr make_valid_areas(const MultiPolygon& shape, const char* what);

}  // namespace catchfield::geometry
