// SPDX-License-Identifier: MIT
// Columns and rows that every vector writer takes: shapes with typed attributes.
#pragma once

#include "base/shapes.hpp"

#include <cstdint>
#include <optional>
#include <string>
#include <variant>
#include <vector>

namespace catchfield::gis {

enum class FieldType : std::uint8_t { text, integer, real };

/// A column. Formats with fixed columns (Shapefile) use width and decimals; GeoJSON and CSV print
/// reals with `decimals`. GeoPackage keeps the double.
struct FieldSpec {
    std::string name;
    FieldType type = FieldType::text;
    int width = 0;     ///< characters; 0: 254 for text, 9 for integers, 24 for reals
    int decimals = 6;  ///< of reals
};

/// Null, text, integer or real. Must fit the column's type (an integer fits a real column).
using Value = std::variant<std::monostate, std::string, long long, double>;

struct PolygonRow {
    MultiPolygon shape;
    std::vector<Value> values;  ///< one for each column
    long long id = -1;          ///< feature id where the format has one; negative: none
};

struct PointRow {
    Point point;
    std::vector<Value> values;
};

/// Throws Error(internal) where the row does not fit the columns, or a real is not finite.
void require_fit(const std::vector<FieldSpec>& columns, const std::vector<Value>& values);

}  // namespace catchfield::gis
