// SPDX-License-Identifier: MIT
// Plain shapes to OGR's objects.
#pragma once

#include "base/shapes.hpp"

#include <ogr_geometry.h>

#include <memory>

namespace catchfield::gis::detail {

inline std::unique_ptr<OGRLinearRing> to_ogr(const Ring& ring) {
    auto result = std::make_unique<OGRLinearRing>();
    result->setNumPoints(static_cast<int>(ring.size()), FALSE);
    for (std::size_t i = 0; i < ring.size(); ++i) {
        result->setPoint(static_cast<int>(i), ring[i].x, ring[i].y);
    }
    return result;
}

inline std::unique_ptr<OGRPolygon> to_ogr(const Polygon& polygon) {
    auto result = std::make_unique<OGRPolygon>();
    result->addRingDirectly(to_ogr(polygon.outer).release());
    for (const Ring& hole : polygon.holes) result->addRingDirectly(to_ogr(hole).release());
    return result;
}

inline std::unique_ptr<OGRMultiPolygon> to_ogr(const MultiPolygon& shape) {
    auto result = std::make_unique<OGRMultiPolygon>();
    for (const Polygon& polygon : shape) result->addGeometryDirectly(to_ogr(polygon).release());
    return result;
}

}  // namespace catchfield::gis::detail
