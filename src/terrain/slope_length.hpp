// SPDX-License-Identifier: MIT
// The topographic factors of the revised soil loss equation: S, L and their product.
//
// slope_pct is 100 tan(angle); lengths are horizontal, m. AH-537: Wischmeier & Smith 1978, USDA
// Agriculture Handbook 537; AH-703: Renard et al. 1997, USDA Agriculture Handbook 703.
#pragma once

#include "base/confidence.hpp"
#include "base/raster.hpp"

#include <span>
#include <string_view>
#include <vector>

namespace catchfield::terrain {

inline constexpr double unit_plot_length_m = 22.13;    ///< 72.6 ft
inline constexpr double shortest_length_m = 4.572;     ///< 15 ft: printed tables are flat below
inline constexpr double default_max_length_m = 120.0;  ///< usual end of overland flow, about 400 ft
inline constexpr double longest_length_m = 305.0;      ///< 1000 ft: never exceeded
inline constexpr double warn_slope_pct = 20.0;         ///< data behind S end near here
inline constexpr double clamp_slope_pct = 50.0;        ///< S is not computed beyond

/// How much of the erosion comes from rills (AH-703, tables 4-1 to 4-3).
enum class RillRatio {
    low,       ///< rangeland, consolidated soil: r = 0.5
    moderate,  ///< row-crop land: r = 1
    high,      ///< freshly disturbed, bare: r = 2
};

enum class SteepnessFormula {
    mccool,  ///< McCool et al. 1987 at all slopes
    liu,     ///< Liu, Nearing & Risse 1994 from 9 % on, McCool below
};

/// S of McCool, Brown, Foster, Mutchler & Meyer 1987 (Trans. ASAE 30:1387-1396):
/// 10.8 sin + 0.03 below 9 %, 16.8 sin - 0.50 from 9 % on. Data reach 18 %.
/// liu: 21.91 sin - 0.96 from 9 % on (Trans. ASAE 37:1835-1840, data 9 to 55 %).
/// Throws Error(data) for a slope that is negative, not finite or above 50 %.
double steepness_factor(double slope_pct, SteepnessFormula formula = SteepnessFormula::mccool);

/// S of short slopes (below 4.6 m) with interrill erosion only: 3.0 sin^0.8 + 0.56. Not for
/// cropland with rills.
double interrill_steepness_factor(double slope_pct);

/// beta = r (sin / 0.0896) / (3.0 sin^0.8 + 0.56), ratio of rill to interrill erosion (McCool,
/// Foster, Mutchler & Meyer 1989, Trans. ASAE 32:1571-1576).
double rill_interrill_ratio(double slope_pct, RillRatio rills = RillRatio::moderate);

/// m = beta / (1 + beta).
double length_exponent(double slope_pct, RillRatio rills = RillRatio::moderate);

/// L = (length / 22.13 m)^m; lengths below 15 ft (4.572 m) count as 15 ft.
/// Throws Error(data) for a length that is not positive or above 305 m.
double length_factor(double length_m, double exponent);

/// LS of a uniform slope in closed form: L S.
double ls_uniform(double slope_pct, double length_m, RillRatio rills = RillRatio::moderate,
                  SteepnessFormula formula = SteepnessFormula::mccool);

/// LS of AH-537 (for the erodibility index, whose legal definition refers to it):
/// (length / 72.6 ft)^m (430 sin^2 + 30 sin + 0.43) / 6.574, with m = 0.2 below 1 %, 0.3 below
/// 3.5 %, 0.4 below 5 % and 0.5 from 5 % on (the handbook leaves 3 to 3.5 and 4.5 to 5 % open).
/// Same limits as length_factor and steepness_factor.
double ls_ah537(double slope_pct, double length_m);

/// LS by unit stream power (Moore & Burch 1986): (a / 22.13)^0.4 (sin / 0.0896)^1.3, a = specific
/// catchment area, m2/m. A point value for comparison.
double ls_stream_power(double specific_area_m, double slope_pct);

/// A piece of an irregular slope, from the top down.
struct SlopeSegment {
    double length_m;
    double slope_pct;
};

/// LS of an irregular slope (Foster & Wischmeier 1974, Trans. ASAE 17:305-309): segments weighted
/// by length, each with L from where it begins to where it ends: L_j = (x_j^(m+1) - x_(j-1)^(m+1))
/// / ((x_j - x_(j-1)) 22.13^m), m by the segment's slope. Throws Error(data) for no segment, a
/// length not positive, or a total above 305 m.
double ls_irregular(std::span<const SlopeSegment> segments, RillRatio rills = RillRatio::moderate,
                    SteepnessFormula formula = SteepnessFormula::mccool);

/// Same with the AH-537 steepness and one exponent m.
double ls_irregular_ah537(std::span<const SlopeSegment> segments, double exponent);

/// L of one cell by Desmet & Govers 1996 (J. Soil Water Conserv. 51:427-433):
/// ((A + D^2)^(m+1) - A^(m+1)) / (D^(m+2) x^m 22.13^m).
/// inflow_m2: A, area at the inlet, own cell excluded; cell_m: D; width_factor: x.
double cell_length_factor(double inflow_m2, double cell_m, double width_factor, double exponent);

/// Default slope length where only the slope is known.
struct DefaultLength {
    double slope_up_to_pct;  ///< last row: infinity
    double length_m;
    Confidence confidence;
};

/// Rows ascending by slope, read from the built-in table (Lightle & Weesies 1998) or from a CSV of
/// the same form (slope_up_to_pct, length_ft, source, confidence). Throws Error(data) for a table
/// that is empty, not ascending, or has lengths outside 0 to 305 m.
std::vector<DefaultLength> default_lengths();
std::vector<DefaultLength> read_default_lengths(std::string_view csv, const std::string& path);

/// The row whose range holds the slope.
const DefaultLength& default_length(const std::vector<DefaultLength>& table, double slope_pct);

}  // namespace catchfield::terrain
