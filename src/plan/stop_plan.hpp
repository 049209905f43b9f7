// SPDX-License-Identifier: MIT
// Where to push the penetrometer in every zone of a job or of a plan made before.
#pragma once

#include <cstddef>
#include <cstdint>
#include <string>
#include <vector>

namespace catchfield::plan {

struct StopPlanRequest {
    std::string source;      ///< job file, or plan folder (its plan.gpkg)
    std::size_t stops = 30;  ///< in every field, shared out over its zones by area
    std::uint64_t seed = 1;
    std::string output;  ///< name without ending: <output>.geojson and <output>.gpx
    bool overwrite = false;
};

struct StopPlanResult {
    std::vector<std::string> files;
    std::vector<std::string> lines;  ///< one per field: stops and zones
    std::vector<std::string> warnings;
    std::size_t stops = 0;
};

/// Makes the zones (or takes those of the plan folder), spreads stops over them with
/// compaction::plan_stops and writes both files, WGS 84, in walking order field by field. Same
/// input and seed, same bytes. A field that cannot be divided is left out with a warning. Throws
/// Error(usage) where a file exists and overwrite is not set, Error(data) where no field has stops.
StopPlanResult plan_stop_places(const StopPlanRequest& request);

}  // namespace catchfield::plan
