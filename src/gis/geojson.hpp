// SPDX-License-Identifier: MIT
// GeoJSON by RFC 7946: WGS 84, right-hand rule, no crs member, split at the antimeridian.
#pragma once

#include "gis/crs.hpp"
#include "gis/table_fields.hpp"

#include <string>
#include <vector>

namespace catchfield::gis {

struct GeoJsonOptions {
    int decimals = 7;  ///< of coordinates: 7 is about 1 cm
    bool bbox = false;
};

/// A FeatureCollection. Shapes are in `crs`; they are moved to WGS 84, rounded, repeated points
/// dropped, rings wound (outer counter-clockwise, holes clockwise), cut at the antimeridian. A
/// shape that vanishes by rounding gives a null geometry. Properties follow the columns; reals are
/// printed with the column's decimals without trailing zeros; null where there is none. One feature
/// a line. Throws Error(internal) for values that do not fit their column or are not finite.
std::string geojson_bytes(const std::vector<FieldSpec>& columns,
                          const std::vector<PolygonRow>& rows, const Crs& crs,
                          const GeoJsonOptions& options = {});
std::string geojson_bytes(const std::vector<FieldSpec>& columns, const std::vector<PointRow>& rows,
                          const Crs& crs, const GeoJsonOptions& options = {});

/// The lines of the features alone, without the collection around them and without a comma at the
/// end, for writers that join many fields: collection = geojson_head() + features joined with
/// ",\n" + geojson_tail().
std::string geojson_features(const std::vector<FieldSpec>& columns,
                             const std::vector<PolygonRow>& rows, const Crs& crs,
                             const GeoJsonOptions& options = {});
std::string geojson_head();
std::string geojson_tail();

}  // namespace catchfield::gis
