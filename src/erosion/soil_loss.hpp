// SPDX-License-Identifier: MIT
// A = R K LS C P, tolerance, erodibility index and support practices.
//
// A is the long-term average sheet-and-rill loss from a slope; not gullies, channels, deposition,
// sediment yield, single storms or years (AH-537: Wischmeier & Smith 1978, USDA Agriculture
// Handbook 537; AH-703: Renard et al. 1997, USDA Agriculture Handbook 703).
#pragma once

#include "base/confidence.hpp"

#include <optional>
#include <string>
#include <vector>

namespace catchfield::erosion {

struct Factors {
    double r_si = 0.0;  ///< MJ mm/(ha h yr)
    double k_si = 0.0;  ///< Mg ha h/(ha MJ mm)
    double ls = 0.0;
    double c = 1.0;
    double p = 1.0;
};

/// Mg/(ha yr). No checks: see check_factors.
inline double soil_loss_mg_ha(const Factors& f) {
    return f.r_si * f.k_si * f.ls * f.c * f.p;
}

/// Refuses and warns. Throws Error(data) for R <= 0 or above 30000 SI, K <= 0 or above 0.132 SI (1
/// US: a US value taken for SI), LS < 0, C or P outside 0-1.2, slope above 50 %, slope length above
/// 305 m. Returned warnings: K outside 0.02-0.69 US (NSSH 618), slope above 20 %.
std::vector<std::string> check_factors(const Factors& f, double slope_pct, double slope_length_m);

// --- tolerance -----------------------------------------------------------------------------------

/// NSSH 618.93: how the subsoil can be renewed.
enum class Renewal { not_renewable, renewable, very_renewable };

struct Tolerance {
    double t_mg_ha = 0.0;
    std::string note;
    Confidence confidence = Confidence::verified;
};
/// T by depth to a limiting layer, table tolerance.csv (NSSH 618.93), one class lower (at least 1
/// ton/ac) on severely eroded ground. A guide where the soil map has none.
/// Throws Error(data) for a negative depth.
Tolerance tolerance_by_depth(double depth_cm, Renewal renewal = Renewal::renewable,
                             bool severely_eroded = false);

/// A/T. Throws Error(data) for T <= 0.
double loss_over_tolerance(double a_mg_ha, double t_mg_ha);

// --- erodibility index ---------------------------------------------------------------------------

/// R K LS/T with the AH-537 LS, which the index refers to (7 CFR 12.21); the same number in both
/// systems. A screening value, not a determination. Throws Error(data) for T <= 0.
double erodibility_index(double r_si, double k_si, double ls_ah537, double t_mg_ha);
inline constexpr double highly_erodible_from = 8.0;
inline constexpr const char* erodibility_index_label =
    "erodibility index (screening value, not a determination)";

enum class Erodibility { not_highly, potentially_highly, highly };
/// Class of a map unit from the index at its least and greatest length and slope (state technical
/// guides): >= 8 at least -> highly; >= 8 at greatest only -> potentially; else not.
Erodibility erodibility_class(double index_min, double index_max);

struct ErodibleArea {
    double area_ha = 0.0;
    double index = 0.0;
};
/// 7 CFR 12.22 (older printing): a third of the field (33.33 %) or 50 acres with index >= 8.
struct Predominance {
    double erodible_ha = 0.0;
    double erodible_share = 0.0;
    bool predominant = false;
};
Predominance field_predominance(const std::vector<ErodibleArea>& parts);

// --- support practice ----------------------------------------------------------------------------

/// Rotations of AH-537 table 14.
enum class StripRotation {
    meadow_two_years,  ///< row crop, small grain, 2 years meadow
    meadow_one_year,   ///< 2 years row crop, winter grain, 1 year meadow
    no_meadow,         ///< row crop and small grain by turns
};

struct SupportPractice {
    double p = 1.0;
    std::optional<double> max_length_m;   ///< limit that applies
    std::optional<double> strip_width_m;  ///< strip cropping: widest strip
    bool beyond_limit = false;            ///< slope or length beyond the table: p is 1
    std::string note;                     ///< in words, always says why p is 1
    Confidence confidence = Confidence::recalled;
};

/// Contour farming, AH-537 table 13, slope to the nearest whole percent. Residue cover regularly
/// over 50 % lengthens the limit by a quarter. Slopes under 1 %: the 1 % row. Throws Error(data)
/// for a negative slope or length.
SupportPractice contour_p(double slope_pct, double length_m, bool residue_over_half = false);
/// Contour strip cropping, AH-537 table 14.
SupportPractice strip_crop_p(double slope_pct, double length_m, StripRotation rotation);

enum class TerraceOutlet { graded_sod, underground };
struct Terraces {
    SupportPractice in_field;      ///< contour (or strip) P with the spacing as slope length
    double sediment_factor = 1.0;  ///< of the loss that leaves the field, AH-537 table 15
    std::string note;
};
/// Terraces: LS must be taken with the spacing as slope length. The factor for sediment leaving is
/// a separate figure and is not multiplied into the in-field loss. Throws Error(data) for
/// spacing_m <= 0 or a negative slope.
Terraces terraces(double slope_pct, double spacing_m, TerraceOutlet outlet,
                  std::optional<StripRotation> strips = std::nullopt);

}  // namespace catchfield::erosion
