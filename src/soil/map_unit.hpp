// SPDX-License-Identifier: MIT
// One polygon of a soil map: its attributes by configurable column names, read strictly.
#pragma once

#include "soil/profile.hpp"
#include "soil/texture.hpp"

#include <functional>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace catchfield::soil {

enum class HydrologicGroup { a, b, c, d };
/// Dual groups ("C/D"): the first where drained, D where not.
struct HydrologicGroups {
    HydrologicGroup drained = HydrologicGroup::b;
    HydrologicGroup undrained = HydrologicGroup::b;

    bool dual() const { return drained != undrained; }
    HydrologicGroup when(bool is_drained) const { return is_drained ? drained : undrained; }
};
/// "B", "C/D", "c/d"; none otherwise.
std::optional<HydrologicGroups> parse_hydrologic_group(std::string_view text);
/// "B" or "C/D".
std::string hydrologic_group_name(const HydrologicGroups& groups);

/// Natural drainage classes of the soil survey, dry to wet.
enum class Drainage {
    excessive,
    somewhat_excessive,
    well,
    moderately_well,
    somewhat_poor,
    poor,
    very_poor,
};
/// "Somewhat poorly drained" (case ignored, with or without "drained"); none otherwise.
std::optional<Drainage> parse_drainage(std::string_view text);
std::string_view drainage_name(Drainage drainage);

/// What a soil polygon says. Everything but the key may be missing.
struct MapUnit {
    std::string key{};
    std::string symbol{};
    std::string name{};
    std::string component{};  ///< major component
    std::optional<double> component_pct{};
    std::optional<double> kf_us{};          ///< K of the fine earth
    std::optional<double> kw_us{};          ///< K of the whole soil, with rock fragments
    std::optional<double> t_us{};           ///< tolerance, ton/(ac yr), 1 to 5
    std::string wind_group{};               ///< wind erodibility group, "5", "4L"
    std::optional<double> wind_index_us{};  ///< wind erodibility index I, ton/(ac yr)
    std::optional<HydrologicGroups> hydrologic_group{};
    std::optional<Drainage> drainage{};
    std::optional<double> slope_pct{};
    std::optional<double> water_table_cm{};  ///< shallowest seasonal water table
    std::string restriction{};               ///< component restriction in the map's words
    std::optional<double> restriction_top_cm{};
    Horizon surface{};  ///< what the map says of the surface horizon
    std::optional<double> ph{};
    std::optional<double> cec_cmol_kg{};
    std::vector<std::string> warnings{};

    /// Texture of the surface from its separates, else from the map unit's name ("... silt loam,
    /// 2 to 6 percent slopes").
    std::optional<TextureClass> texture() const;
};

/// Column names of a soil map; the defaults are the US soil survey's.
struct MapUnitColumns {
    std::string key = "mukey";
    std::string symbol = "musym";
    std::string name = "muname";
    std::string component = "compname";
    std::string component_pct = "comppct_r";
    std::string k = "kffact";
    std::string kw = "kwfact";
    std::string t = "tfact";
    std::string wind_group = "weg";
    std::string wind_index = "wei";
    std::string hydrologic_group = "hydgrp";
    std::string drainage = "drainagecl";
    std::string slope = "slope_r";
    std::string water_table = "wtdepannmin";
    std::string restriction = "reskind";
    std::string restriction_top = "resdept_r";
    std::string top = "hzdept_r";
    std::string bottom = "hzdepb_r";
    std::string sand = "sandtotal_r";
    std::string silt = "silttotal_r";
    std::string clay = "claytotal_r";
    std::string very_fine_sand = "sandvf_r";
    std::string om = "om_r";
    std::string bulk_density = "dbthirdbar_r";
    std::string ksat = "ksat_r";
    std::string awc = "awc_r";
    std::string fragments = "fragvol_r";
    std::string ph = "ph1to1h2o_r";
    std::string cec = "cec7_r";
};

/// Applies "k=kffact, t=tfact, om=organic" from a job file: short names are the members above.
/// Throws Error(usage) that names the nearest short name, or for a pair without '='.
void set_columns(MapUnitColumns& columns, std::string_view text);
/// As above for a horizon table.
void set_columns(HorizonColumns& columns, std::string_view text);

/// Value of a column as text; none where the column is missing or null.
using AttributeLookup = std::function<std::optional<std::string>(std::string_view column)>;

/// Reads one polygon. Numbers are read strictly: "12,5" throws Error(data) that names the column
/// and `what` (the feature). Out of range (separates off 100, T outside 1-5, K not positive) is a
/// warning and the value is left out. A missing key gives an empty one.
MapUnit read_map_unit(const AttributeLookup& lookup, const MapUnitColumns& columns,
                      const std::string& what);

}  // namespace catchfield::soil
