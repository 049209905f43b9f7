// SPDX-License-Identifier: MIT
// A plan folder read back: what exports and the as-applied check start from.
#pragma once

#include "base/shapes.hpp"
#include "base/units.hpp"
#include "gis/crs.hpp"

#include <map>
#include <string>
#include <vector>

namespace catchfield::plan {

struct PlannedZone {
    int zone = 0;
    MultiPolygon shape;  ///< whole zone, in PlannedField::crs
    double n_kg_ha = 0.0;
    double seed_kg_ha = 0.0;  ///< bulk seed
    std::string cover;        ///< catalogue id, "" where none fits
};

struct PlannedField {
    std::string id;
    std::string stem;  ///< safe file name
    gis::Crs crs;      ///< the field's own UTM zone
    MultiPolygon boundary;
    std::vector<PlannedZone> zones;
    MultiPolygon no_apply;  ///< ground without nitrogen
    double cell_m = 0.0;    ///< of the plan's rate raster
};

struct PlanFolder {
    std::string path;
    std::map<std::string, std::string> settings;  ///< job keys and their values
    UnitSystem units = UnitSystem::us;
    std::vector<PlannedField> fields;
    std::vector<std::string> skipped;  ///< ids of fields without a plan

    std::string setting(const std::string& key) const;
};

/// Reads run.json, plan.gpkg (layers fields and zones) and rates/<stem>-nitrogen.geojson (for the
/// ground without nitrogen) and -nitrogen.tif (for its cell). Throws Error(input) where a file is
/// missing or is no such file, Error(data) where they do not fit together.
PlanFolder read_plan_folder(const std::string& path);

}  // namespace catchfield::plan
