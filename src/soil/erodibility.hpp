// SPDX-License-Identifier: MIT
// K, soil erodibility: from the map, the nomograph equation, or texture and carbon; the route taken
// is part of the answer.
#pragma once

#include "base/confidence.hpp"
#include "soil/map_unit.hpp"
#include "soil/profile.hpp"
#include "soil/texture.hpp"

#include <array>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace catchfield::soil {

/// Which way a K came about.
enum class ErodibilityRoute {
    map,                ///< K of the soil map
    horizon,            ///< K of the surface horizon in the horizon table
    nomograph_ksat,     ///< nomograph equation, permeability class from conductivity
    nomograph_texture,  ///< nomograph equation, permeability class from texture
    texture_carbon,     ///< Williams 1995
};
std::string_view erodibility_route_name(ErodibilityRoute route);

/// Measured K lies in this range (NSSH 618), US units.
inline constexpr double k_us_min = 0.02;
inline constexpr double k_us_max = 0.69;

/// Inputs of the nomograph equation.
struct Nomograph {
    double silt_vfs_pct = 0.0;  ///< silt + very fine sand, % of the fine earth, at most 70
    double clay_pct = 0.0;
    double om_pct = 0.0;   ///< above 4 % counts as 4
    int structure = 2;     ///< 1 very fine granular ... 4 blocky, platy or massive
    int permeability = 3;  ///< 1 rapid ... 6 very slow
};

/// K in US units (ton ac h / (100 ac ft-tonf in)): Wischmeier, Johnson & Cross 1971; AH-537 eq. 3;
/// NSSH 618.59. Throws Error(data) for shares, codes or classes out of range; silt + very fine
/// sand above 70 % too, where the equation departs from the nomograph's curves.
double nomograph_k_us(const Nomograph& input);

/// Permeability class 1-6 from the lowest conductivity within 50 cm, um/s (NSSH 618).
int permeability_class(double ksat_um_s);
/// Permeability class 1-6 from texture (AH-703 chapter 3 after Rawls et al. 1982) [memory: high].
/// Its limits are not those of the conductivity route: use one of the two.
int permeability_class(TextureClass texture);
/// Structure code 1-4 assumed for a ploughed surface of that texture where none is described
/// [assumption]; table data/texture_codes.csv.
int assumed_structure(TextureClass texture);
/// Very fine sand, % of the fine earth, where it is unknown: 20 % of total sand [memory: check].
double assumed_very_fine_sand_pct(double sand_pct);

/// K in US units from texture and organic carbon (Williams 1995; Sharpley & Williams 1990), % by
/// mass. f1 with 0.0256 (texts that print 0.256 pin f1 at 0.2).
double williams_k_us(const Separates& soil, double carbon_pct);

/// Factor of rock fragments on K (NSSH 618.92, from AH-537 fig. 6), volume % 0-100; 1 below 15 %,
/// linear between the table's points. Table: data/fragment_factor.csv.
double fragment_factor(double fragments_pct);
/// K of the whole soil, US units: kf x factor, not rounded.
double kw_from_kf(double kf_us, double fragments_pct);
/// Nearest class value of the soil survey (0.02, 0.05, ... 0.64).
double nearest_k_class(double k_us);

/// Where rock fragments are counted, so that they are counted once.
enum class Stones {
    in_cover,  ///< as surface cover in C: K of the fine earth
    in_k,      ///< in K: K of the whole soil; C must leave stones out
};

struct Erodibility {
    double k_us = 0.0;
    double k_si = 0.0;  ///< Mg ha h / (ha MJ mm)
    ErodibilityRoute route = ErodibilityRoute::map;
    Stones stones = Stones::in_cover;
    std::string basis{};  ///< figures in words: "silt + very fine sand 67 %, OM 2.5 %, b 2, c 4"
    Confidence confidence = Confidence::assumption;
};

/// The first route that the data allow: map K, horizon-table K, nomograph by conductivity (lowest
/// within 50 cm), nomograph by texture, texture and carbon (also where silt + very fine sand > 70
/// %). profile may be null. Results outside 0.02-0.69 are brought to the nearer end with a warning;
/// a map K outside is not used, with a warning. None where texture or organic matter are missing
/// too.
std::optional<Erodibility> erodibility(const MapUnit& unit, const Profile* profile, Stones stones,
                                       std::vector<std::string>& warnings);

}  // namespace catchfield::soil
