// SPDX-License-Identifier: MIT
// Bulk density: what limits roots in each texture, what the texture alone would have, and the dense
// layers of a profile.
#pragma once

#include "base/confidence.hpp"
#include "soil/profile.hpp"
#include "soil/texture.hpp"

#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace catchfield::soil {

/// Growth-limiting densities, g/cm3 (NRCS Soil Quality Indicators: Bulk Density).
struct DensityLimits {
    double ideal_below = 0.0;
    double may_affect_from = 0.0;
    double restricts_above = 0.0;
    std::string row{};  ///< which row of the table, in words
    Confidence confidence = Confidence::assumption;
};

/// Limits of a texture and clay share. The table's rows overlap; the rule here [assumption]: loam
/// -> the stricter of its rows; silt loam with less than 18 % clay -> silt, silt loam, else silt
/// loam, silty clay loam; clay loam with less than 35 % clay -> sandy clay loam, loam, clay loam,
/// else the row of 35-45 %; clay and silty clay over 45 % -> clay. Table: data/density_limits.csv.
DensityLimits density_limits(TextureClass texture, double clay_pct);

/// below ideal; between ideal and may-affect; from may-affect to restricts; above restricts.
enum class DensityClass { ideal, acceptable, affects, restricts };
std::string_view density_class_name(DensityClass value);
DensityClass density_class(double bulk_density_g_cm3, const DensityLimits& limits);

/// Density where roots begin to have trouble, g/cm3, after a second USDA list (soil-survey style,
/// seen in course notes): the start, not the stop. Table: data/density_onset.csv.
double onset_density_g_cm3(TextureClass texture, double very_fine_sand_pct = 0.0);

/// What a texture alone would hold and weigh.
struct TextureHydraulics {
    double theta_1500 = 0.0;     ///< wilting point, m3/m3
    double theta_33 = 0.0;       ///< field capacity, m3/m3
    double theta_s = 0.0;        ///< saturation, m3/m3
    double density_g_cm3 = 0.0;  ///< normal density
    double ksat_mm_h = 0.0;
};

/// Saxton & Rawls 2006, Soil Sci. Soc. Am. J. 70:1569-1578. sand, clay, organic matter in % by
/// mass. Valid to 60 % clay and 8 % organic matter: none beyond, or where the equations give no
/// order theta_1500 < theta_33 < theta_s.
std::optional<TextureHydraulics> saxton_rawls(double sand_pct, double clay_pct, double om_pct);

/// Total porosity, m3/m3, of a mineral soil: 1 - BD / 2.65.
inline constexpr double porosity(double bulk_density_g_cm3) {
    return 1.0 - bulk_density_g_cm3 / 2.65;
}
/// Air-filled porosity at a water content, m3/m3; below 0.10 at field capacity roots lack air
/// [memory: high]. May be negative where density and water content disagree.
inline constexpr double air_filled_porosity(double bulk_density_g_cm3, double theta) {
    return porosity(bulk_density_g_cm3) - theta;
}

/// What a dense layer seems to be.
enum class LayerNature {
    traffic_possible,  ///< at plough or wheel depth, nothing says that it is natural
    natural,           ///< a natural pan or dense parent material
    unknown,           ///< the description does not tell (clay-enriched subsoil, bare designations)
};
std::string_view layer_nature_name(LayerNature nature);

/// One horizon judged by its density.
struct HorizonDensity {
    std::string name{};
    double top_cm = 0.0;
    double bottom_cm = 0.0;
    double bulk_density_g_cm3 = 0.0;
    TextureClass texture = TextureClass::loam;
    DensityLimits limits{};
    DensityClass level = DensityClass::ideal;
    double onset_g_cm3 = 0.0;                ///< second list
    std::optional<double> expected_g_cm3{};  ///< Saxton & Rawls
    std::optional<double> excess_g_cm3{};    ///< measured minus expected
    std::optional<double> air_porosity{};    ///< at theta_33 of the texture
    LayerNature nature = LayerNature::unknown;
    std::string why{};  ///< of the nature, in words
};

/// Every horizon that has density and texture, top first. The shallowest natural restriction, where
/// known, makes what lies in and under it natural.
std::vector<HorizonDensity> horizon_densities(const Profile& profile,
                                              const std::optional<Restriction>& restriction = {});

/// The first dense layer from the top: neighbouring horizons of at least that level joined.
struct DenseLayer {
    double top_cm = 0.0;
    double bottom_cm = 0.0;
    bool to_bottom = false;  ///< reaches the end of the description, thickness is a least value
    DensityClass level = DensityClass::affects;  ///< worst of its horizons
    LayerNature nature = LayerNature::unknown;   ///< of its uppermost horizon
    std::string horizons{};                      ///< "Bt, BCt"
    std::string reason{};                        ///< figures and nature in one sentence
    Confidence confidence = Confidence::assumption;

    double thickness_cm() const { return bottom_cm - top_cm; }
};
std::optional<DenseLayer> dense_layer(const std::vector<HorizonDensity>& horizons,
                                      DensityClass at_least = DensityClass::affects);

}  // namespace catchfield::soil
