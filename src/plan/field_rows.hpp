// SPDX-License-Identifier: MIT
// What one field puts into the tables of a plan: the same rows go to every kind of store.
#pragma once

#include "gis/geopackage.hpp"
#include "plan/inputs.hpp"
#include "plan/result.hpp"

#include <vector>

namespace catchfield::plan {

/// Tables of a plan, in the order of plan_layers().
enum PlanLayer : std::size_t { fields_layer, zones_layer, options_layer, probes_layer };

/// fields, zones, cover_options and probes with their columns; shapes are in `crs`.
std::vector<gis::LayerSpec> plan_layers(const gis::Crs& crs);

/// Rows of one field, values in the order of the columns.
struct FieldRows {
    gis::PolygonRow field;  ///< without a shape where the field is skipped
    std::vector<gis::PolygonRow> zones;
    std::vector<std::vector<gis::Value>> options;
    std::vector<gis::PointRow> probes;
};

/// Shapes are in the CRS of the result. Safe from any thread.
FieldRows make_field_rows(const Inputs& inputs, const FieldResult& result);

/// Moves the shapes; fields of a run may lie in several UTM zones, a store has one CRS.
FieldRows in_crs(FieldRows rows, const gis::Crs& from, const gis::Crs& to);

}  // namespace catchfield::plan
