// SPDX-License-Identifier: MIT
// What the soil map and the horizon table say, polygon by polygon, ready for the field's cells.
#pragma once

#include "base/confidence.hpp"
#include "erosion/wind.hpp"
#include "gis/polygon_map.hpp"
#include "plan/job.hpp"
#include "soil/density.hpp"
#include "soil/erodibility.hpp"
#include "soil/map_unit.hpp"
#include "soil/profile.hpp"

#include <map>
#include <optional>
#include <string>
#include <vector>

namespace catchfield::plan {

/// What a soil polygon's columns say, with all that follows from them. What is not known is empty.
struct SoilFacts {
    soil::MapUnit unit;
    const soil::Profile* profile = nullptr;  ///< in Soils::profiles; null where there is none
    std::optional<soil::Erodibility> erodibility;
    std::optional<double> t_mg_ha;
    std::string t_note;  ///< where T comes from
    std::optional<soil::TextureClass> texture;
    std::optional<double> om_pct;         ///< top 20 cm, or the map's surface horizon
    std::optional<double> clay_pct;       ///< the same
    std::optional<double> density_g_cm3;  ///< mean to 60 cm, or the map's surface horizon
    std::optional<double> rooting_depth_cm;
    std::optional<double> available_water_mm;  ///< to 100 cm
    std::optional<double> yield_goal_kg_ha;    ///< from nitrogen.yield-column
    std::vector<soil::HorizonDensity> densities;
    std::optional<soil::DenseLayer> dense;
    std::optional<soil::Restriction> restriction;
    std::optional<erosion::WindGroup> wind;
    bool coarse = false;
    Confidence confidence = Confidence::verified;
};

struct Soils {
    std::map<std::string, soil::Profile> profiles;
    std::optional<gis::PolygonMap> map;
    std::vector<SoilFacts> facts;  ///< polygons whose columns say the same share them
    std::vector<int> facts_of;     ///< per polygon of the map, an index into `facts`
    std::vector<std::string> warnings;
};

/// Reads the soil map and the horizon table of a job. Throws Error for unreadable files, a missing
/// CRS, a layer without polygons, or a map without any way to K.
Soils load_soils(const Job& job);

}  // namespace catchfield::plan
