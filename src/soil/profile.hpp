// SPDX-License-Identifier: MIT
// The soil profile: horizons from a table, checked, and what follows from them with depth.
#pragma once

#include "base/table.hpp"
#include "soil/texture.hpp"

#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace catchfield::soil {

/// One horizon. Depths in cm below the surface; what a source leaves out is empty.
struct Horizon {
    std::string name{};  ///< designation as described in the field, "Bt2", "Cd"; may be empty
    double top_cm = 0.0;
    double bottom_cm = 0.0;
    std::optional<double> sand_pct{};
    std::optional<double> silt_pct{};
    std::optional<double> clay_pct{};
    std::optional<double> very_fine_sand_pct{};  ///< of the fine earth, 0.05-0.10 mm
    std::optional<double> om_pct{};              ///< organic matter, % by mass
    std::optional<double> bulk_density_g_cm3{};  ///< moist (1/3 bar), Mg/m3 = g/cm3
    std::optional<double> ksat_um_s{};           ///< saturated conductivity, micrometres per second
    std::optional<double> awc_cm_cm{};           ///< available water, cm water per cm soil
    std::optional<double> kf_us{};               ///< erodibility of the fine earth, US units
    std::optional<double> fragments_pct{};       ///< rock fragments > 2 mm, % by volume

    double thickness_cm() const { return bottom_cm - top_cm; }
};

/// Horizons of one soil, top first, checked; warnings in plain words.
struct Profile {
    std::string key{};
    std::vector<Horizon> horizons{};
    std::vector<std::string> warnings{};

    double bottom_cm() const { return horizons.empty() ? 0.0 : horizons.back().bottom_cm; }
};

/// Column names of a horizon table; the defaults are the US soil survey's. A column that is not in
/// the table leaves its values empty, except key, top and bottom.
struct HorizonColumns {
    std::string key = "mukey";
    std::string name = "hzname";
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
    std::string k = "kffact";
    std::string fragments = "fragvol_r";
};

/// Sorts by depth and checks: 0 <= top < bottom <= 2000 cm; overlaps throw Error(data) that names
/// both horizons; gaps and a profile that starts below 0 are warnings, and nothing is read into
/// them; shares outside 0-100, sand + silt + clay off 100 (see checked_separates), a density
/// outside 0.1-2.65 g/cm3, available water outside 0-0.6, negative conductivity throw Error(data).
Profile checked_profile(std::string key, std::vector<Horizon> horizons);

/// All profiles of a table by key. Throws Error(data) with the line of the row.
std::map<std::string, Profile> read_profiles(const Table& table,
                                             const HorizonColumns& columns = {});

/// A mean over a depth interval, and how many cm of it had a value.
struct DepthMean {
    double value = 0.0;
    double covered_cm = 0.0;
};

/// Mean of one property over [top, bottom] cm, weighted by thickness; none where nothing is known
/// there. Example: depth_mean(p, &Horizon::om_pct, 0, 15).
std::optional<DepthMean> depth_mean(const Profile& profile,
                                    std::optional<double> Horizon::*property, double top_cm,
                                    double bottom_cm);

/// Plant-available water from the surface to `depth_cm`, mm: sum of awc x thickness. None where
/// less than 90 % of the depth has a value.
std::optional<double> available_water_mm(const Profile& profile, double depth_cm);

/// Lowest conductivity that meets the interval, um/s; NSSH 618 takes the lowest within 50 cm below
/// the top of the layer for the permeability class of K.
std::optional<double> limiting_ksat_um_s(const Profile& profile, double top_cm = 0.0,
                                         double bottom_cm = 50.0);

/// Natural layers that stop roots and that no cover crop mends.
enum class NaturalPan {
    hard_bedrock,  ///< R, lithic
    soft_bedrock,  ///< Cr, paralithic
    fragipan,      ///< suffix x
    cemented,      ///< suffix m: duripan, petrocalcic, ortstein and the like
    dense_till,    ///< suffix d: densic material
};
std::string_view natural_pan_name(NaturalPan pan);

struct Restriction {
    NaturalPan kind = NaturalPan::hard_bedrock;
    double top_cm = 0.0;
    double bottom_cm = 0.0;  ///< equal to top where only the top is known
    std::string evidence{};  ///< "horizon Bx", "restriction 'Fragipan' of the soil map"
};

/// Natural pan told by a horizon designation: master horizon R, Cr, suffix x, m, or d in a C
/// horizon or d, after the Soil Survey Manual, chapter 3 [memory: high]. Old designations ("H2")
/// tell nothing.
std::optional<NaturalPan> pan_from_horizon_name(std::string_view name);

/// True for designations that carry no genesis ("H1", "1", empty).
bool is_bare_designation(std::string_view name);

/// Natural pan told by the words of a soil map's component restriction ("Fragipan", "Lithic
/// bedrock", "Densic material"); none for words that name no pan (as "Abrupt textural change").
std::optional<NaturalPan> pan_from_words(std::string_view words);

/// Shallowest natural pan, from designations, and from a map's restriction where given.
std::optional<Restriction> natural_restriction(const Profile& profile,
                                               std::string_view map_words = {},
                                               std::optional<double> map_top_cm = std::nullopt);

/// Depth that roots have, cm: to the natural restriction or the end of the description, at most
/// `cap_cm`. None for an empty profile.
std::optional<double> rooting_depth_cm(const Profile& profile,
                                       const std::optional<Restriction>& restriction,
                                       double cap_cm = 150.0);

/// Texture of a horizon, where sand, silt and clay are known.
std::optional<TextureClass> horizon_texture(const Horizon& horizon);

}  // namespace catchfield::soil
