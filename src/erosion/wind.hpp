// SPDX-License-Identifier: MIT
// Wind erosion, screening only: erodibility group, erodible fraction, and what cover takes off, as
// a range. No tons are claimed.
#pragma once

#include "base/confidence.hpp"

#include <optional>
#include <string>
#include <vector>

namespace catchfield::erosion {

/// Surface layer, % by mass of the fine earth.
struct SurfaceSoil {
    double sand_pct = 0.0;  ///< sand + silt + clay = 100 within 1
    double silt_pct = 0.0;
    double clay_pct = 0.0;
    double organic_matter_pct = 0.0;
    double carbonate_pct = 0.0;
    std::optional<double> very_fine_sand_pct;  ///< of the fine earth
    bool calcareous = false;                   ///< the surface layer fizzes
    double fragments_pct = 0.0;                ///< rock fragments, % by volume
};

struct WindGroup {
    std::string group;     ///< "1" to "8", "4L"
    double i_mg_ha = 0.0;  ///< wind erodibility index I, Mg/(ha yr)
    double i_us = 0.0;     ///< ton/(ac yr), as printed
    std::string texture;   ///< the texture class it was read from
    std::vector<std::string> warnings;
};
/// Wind erodibility group and I (NSSH 618.95) from texture; fragments lower it as printed there.
/// Sands get the mean of the group (I 220), for the sand's size is not known. Organic matter above
/// 35 % is not covered. Parts off 100 by up to 1 are scaled to it. Throws Error(data) where they
/// are farther off.
WindGroup wind_group(const SurfaceSoil& soil);

/// A group that the soil map gives ("3", "4L"), with I from table wind_groups.csv.
/// Throws Error(data) for an unknown group.
WindGroup wind_group(const std::string& group);

/// Cover that the wind meets. Live plants count once: give them as canopy or as stems.
struct WindCover {
    double flat_cover_pct = 0.0;     ///< residue lying flat
    double silhouette_cm2_m2 = 0.0;  ///< stems/m2 x diameter cm x height cm
    double canopy_fraction = 0.0;    ///< 0-1
};

/// Flat residue: exp(-0.0438 SC) (Fryrear et al. 1998, RWEQ).
double flat_cover_ratio(double cover_pct);
/// The steeper field fit exp(-0.0605 SC) (Mendez & Buschiazzo 2008).
double flat_cover_ratio_steep(double cover_pct);
/// Older wind-tunnel fit 1.81 exp(-0.072 SC), valid 8-80 % (Fryrear 1985); at most 1.
double flat_cover_ratio_1985(double cover_pct);
/// Standing stems: exp(-0.0344 SA^0.6413).
double standing_ratio(double silhouette_cm2_m2);
/// Canopy: exp(-5.614 cc^0.7366).
double canopy_ratio(double canopy_fraction);

/// Combined ratio COG = flat x standing x canopy with the RWEQ flat term.
double combined_ratio(const WindCover& cover);

/// What cover takes off the wind erosion, %, as a range over the three flat fits.
struct WindCut {
    double low_pct = 0.0;
    double typical_pct = 0.0;  ///< with the RWEQ flat term
    double high_pct = 0.0;
    std::string caution;  ///< always set
};
WindCut wind_cut(const WindCover& without, const WindCover& with);

struct WindErodibility {
    double erodible_fraction = 0.0;     ///< EF, 0-1
    double crust_factor = 0.0;          ///< SCF, 0-1
    std::vector<std::string> warnings;  ///< outside the range of the fit
};
/// EF = (29.09 + 0.31 Sa + 0.17 Si + 0.33 Sa/Cl - 2.59 OM - 0.95 CaCO3)/100 and
/// SCF = 1/(1 + 0.0066 Cl^2 + 0.021 OM^2) (Fryrear et al. 1994, J. Soil Water Conserv. 49:183-188).
WindErodibility wind_erodibility(const SurfaceSoil& soil);

/// One month of Thornthwaite's precipitation effectiveness, 115 (P/(T - 10))^(10/9), P in inches
/// (at least 0.5), T in degF (at least 28.4); inputs in mm and degC.
double precipitation_effectiveness_month(double precip_mm, double tmean_c);
/// Climatic factor, %: 386 u^3/PE^2, u mean annual wind at 10 m in m/s (Chepil). 100 is Garden
/// City, Kansas. Throws Error(data) for PE <= 0 or u < 0.
double wind_climatic_factor_pct(double wind_m_s, double pe_sum);
/// Wind erodibility index C I/T with C as a fraction; screening. Throws Error(data) for T <= 0.
double wind_erodibility_index(double climatic_pct, double i_mg_ha, double t_mg_ha);

}  // namespace catchfield::erosion
