// SPDX-License-Identifier: MIT
// Zones that the user drew, or that an earlier plan made.
#pragma once

#include "geometry/outlines.hpp"
#include "plan/ground.hpp"
#include "plan/inputs.hpp"
#include "zoning/cleanup.hpp"

#include <string>
#include <vector>

namespace catchfield::plan {

struct DrawnField {
    zoning::Labels labels;  ///< every cell of the field has a zone
    std::vector<geometry::ZoneOutline> outlines;
    std::vector<std::string> warnings;
};

/// Reads zones.drawn (polygons, or a plan folder with plan.gpkg) and cuts them to the field.
/// Throws Error(data) where they overlap or leave part of the field out.
DrawnField read_drawn_zones(const Inputs& inputs, const FieldBoundary& field, const Ground& ground);

}  // namespace catchfield::plan
