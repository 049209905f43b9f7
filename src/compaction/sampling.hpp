// SPDX-License-Identifier: MIT
// Where to push the penetrometer: stop locations spread over the zones, with a seed.
#pragma once

#include "base/raster.hpp"
#include "base/shapes.hpp"

#include <cstddef>
#include <cstdint>
#include <string>
#include <vector>

namespace catchfield::compaction {

struct SamplingOptions {
    std::size_t stops = 30;        ///< over all zones, shared out by area
    std::size_t min_per_zone = 3;  ///< every zone gets so many, even where the total grows by it
    double min_distance_m = 10.0;  ///< between stops
    double edge_m = 5.0;           ///< away from zone edges, where the zone is wide enough
    std::uint64_t seed = 1;
};

struct PlannedStop {
    int number = 0;  ///< 1, 2, ... in walking order
    std::int32_t zone = 0;
    Point at{};  ///< centre of a cell
};

struct SamplingPlan {
    std::vector<PlannedStop> stops{};
    std::vector<std::string> warnings{};  ///< zones too small for their share or the distance
};

/// Stratified sample: stops per zone by area (largest remainder), spread within each zone by taking
/// from seeded random candidates the one farthest from all earlier stops, then put in walking order
/// (nearest next, from the south-west). zones: labels from 1, 0 or less is no zone. Same seed, same
/// stops. Throws Error(data) for no labelled cell, Error(usage) for no stops or a negative
/// distance.
SamplingPlan plan_stops(const Raster<std::int32_t>& zones, const SamplingOptions& options = {});

}  // namespace catchfield::compaction
