// SPDX-License-Identifier: MIT
// The rasters of a field for layers/.
#pragma once

#include "plan/ground.hpp"
#include "plan/result.hpp"

namespace catchfield::plan {

/// Slope, LS, K, soil loss (bare, now, with the cover), zones, compaction maps. One at a time, each
/// packed before the next is made, so that a large field does not need them all at once. Wants
/// zone_cells, compaction_maps and the zones' erosion. Sets result.layer_files.
void make_layers(const Inputs& inputs, const Ground& ground, FieldResult& result);

}  // namespace catchfield::plan
