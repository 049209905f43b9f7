// SPDX-License-Identifier: MIT
// Columns and values to OGR's fields, for stores with typed columns.
#pragma once

#include "base/text.hpp"
#include "gis/detail/shapes.hpp"
#include "gis/table_fields.hpp"

#include <ogr_feature.h>

namespace catchfield::gis::detail {

inline OGRFieldType field_type(FieldType type) {
    switch (type) {
        case FieldType::integer:
            return OFTInteger64;
        case FieldType::real:
            return OFTReal;
        case FieldType::text:
            break;
    }
    return OFTString;
}

inline void set_value(OGRFeature& feature, int at, const Value& value) {
    if (const auto* text = std::get_if<std::string>(&value)) {
        feature.SetField(at, valid_utf8(*text).c_str());
    } else if (const auto* whole = std::get_if<long long>(&value)) {
        feature.SetField(at, static_cast<GIntBig>(*whole));
    } else if (const auto* real = std::get_if<double>(&value)) {
        feature.SetField(at, *real);
    } else {
        feature.SetFieldNull(at);
    }
}

inline void set_shape(OGRFeature& feature, const MultiPolygon& shape) {
    if (!shape.empty()) feature.SetGeometryDirectly(to_ogr(shape).release());
}

inline void set_shape(OGRFeature& feature, const Point& point) {
    feature.SetGeometryDirectly(new OGRPoint(point.x, point.y));
}

}  // namespace catchfield::gis::detail
