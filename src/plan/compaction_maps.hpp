// SPDX-License-Identifier: MIT
// What lies between a field's penetrometer stops: depth to the hard layer and strength as grids.
#pragma once

#include "plan/ground.hpp"
#include "plan/result.hpp"

namespace catchfield::plan {

/// Depth at which strength is mapped, cm: plough and wheel pans lie about there.
inline constexpr double strength_map_depth_cm = 25.0;
/// Fewer stops with a value than this make no map.
inline constexpr std::size_t fewest_for_map = 3;

/// Depth to the first layer above the threshold, from the stops that have one, on the cells whose
/// nearest stop has one; and resistance at 25 cm from all stops that reach it. Kriging from 50
/// places on, inverse distance below (compaction::Interpolator). Sets result.compaction_maps and,
/// per zone, map_doubts: why the maps are less sure there. Fewer than three stops: a warning.
void map_compaction(const Ground& ground, FieldResult& result);

}  // namespace catchfield::plan
