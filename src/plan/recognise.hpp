// SPDX-License-Identifier: MIT
// What a file of unknown kind seems to hold, by its content first and its name second.
#pragma once

#include "base/shapes.hpp"

#include <filesystem>
#include <map>
#include <optional>
#include <string>
#include <vector>

namespace catchfield::plan {

enum class FindKind {
    boundary,
    drawn_zones,
    soil_map,
    barriers,
    no_apply,
    elevation,
    slope,
    horizons,
    monthly,
    daily,
    rain,
    probes,
    soil_tests,
    scouting,
    layer,     ///< raster or points that zones may be made from
    trial,     ///< plots with rates and yields, for `fit`
    response,  ///< curves that `fit` wrote
    unknown,
};

/// One layer of one file.
struct Find {
    std::filesystem::path file{};
    std::string layer{};  ///< only where the file has several
    FindKind kind = FindKind::unknown;
    std::string what{};                         ///< for people: "soil map, 14 polygons"
    std::map<std::string, std::string> keys{};  ///< job keys that follow from the content
    /// soil.columns as the file has them: short name to column.
    std::map<std::string, std::string> soil_columns{};
    std::vector<std::string> columns{};
    std::vector<std::string> doubts{};  ///< what the user should look at
    bool usable = true;                 ///< false: recognised, but not to be used as it is
    double score = 0.0;                 ///< among finds of a kind, the higher the more likely
    // Place; nothing where it is not known.
    std::optional<Box> box{};      ///< in the file's own coordinates
    std::optional<Box> lon_lat{};  ///< in degrees
    std::string crs_code{};        ///< "EPSG:26917"; "" where none is stated or it has no code
    bool crs_stated = false;
    double cell_m = 0.0;   ///< rasters
    double area_ha = 0.0;  ///< boundaries, on the ellipsoid
    std::size_t features = 0;
};

/// Looks into a file: no entry for files that belong to another one or are no data (.prj, .pdf),
/// one for each layer of a data set. Never throws for what a file holds: that becomes a doubt.
std::vector<Find> recognise(const std::filesystem::path& file);

/// The unit of a slope raster ("percent", "degrees", "ratio") where it is the slope of this
/// elevation raster, found by taking the slope of the one and comparing it with the other in the
/// middle of both; nothing where it is not.
std::optional<std::string> slope_of_elevation(const std::filesystem::path& elevation,
                                              const std::filesystem::path& slope);

}  // namespace catchfield::plan
