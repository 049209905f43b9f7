// SPDX-License-Identifier: MIT
// Checks on the factors, tolerance, erodibility index and support practices.
#include "erosion/soil_loss.hpp"

#include "base/error.hpp"
#include "base/table.hpp"
#include "base/text.hpp"
#include "base/units.hpp"
#include "erosion/data.hpp"

#include <algorithm>
#include <cmath>

namespace catchfield::erosion {

namespace {

[[noreturn]] void refuse(const std::string& reason, const std::string& hint = {}) {
    throw Error(ErrorKind::data, reason, {.hint = hint});
}

void require_tolerance(double t_mg_ha) {
    if (!(t_mg_ha > 0.0) || !std::isfinite(t_mg_ha))
        refuse("the soil loss tolerance T is " + shortest(t_mg_ha) + ", and must be above 0",
               "Ground without soil is left out of the comparison with T.");
}

struct PracticeRow {
    double from_pct, to_pct;
    double contour_p, contour_m;
    double strip_p[3];
    double strip_width_m, strip_m;
    double terrace_sod, terrace_underground;
    Confidence confidence;
};

const std::vector<PracticeRow>& practice_rows() {
    static const std::vector<PracticeRow> rows = [] {
        const Table t = Table::parse(data::support_practice, "support_practice.csv");
        std::vector<PracticeRow> all;
        for (std::size_t i = 0; i < t.rows(); ++i) {
            const auto n = [&](const char* column) { return t.required_number(i, column); };
            const double ft = units::m_per_ft;
            all.push_back(
                {n("slope_from_pct"),
                 n("slope_to_pct"),
                 n("contour_p"),
                 n("contour_length_ft") * ft,
                 {n("strip_p_meadow_two"), n("strip_p_meadow_one"), n("strip_p_no_meadow")},
                 n("strip_width_ft") * ft,
                 n("strip_length_ft") * ft,
                 n("terrace_sod"),
                 n("terrace_underground"),
                 parse_confidence(t.text(i, "confidence"))});
        }
        return all;
    }();
    return rows;
}

/// The row of a slope to the nearest whole percent, or nothing above the table.
const PracticeRow* practice_row(double slope_pct) {
    const double whole = std::round(slope_pct);
    for (const PracticeRow& row : practice_rows())
        if (whole >= row.from_pct && whole <= row.to_pct) return &row;
    return nullptr;
}

void check_slope(double slope_pct, double length_m) {
    if (!(slope_pct >= 0.0) || !(length_m >= 0.0))
        refuse("slope and slope length must not be negative");
}

SupportPractice limited(const PracticeRow* row, double slope_pct, double p, double limit_m,
                        double length_m, const std::string& name) {
    SupportPractice result;
    if (row == nullptr) {
        result.beyond_limit = true;
        result.note = name + " gives no reduction above 25 % slope (here " + fixed(slope_pct, 0) +
                      " %): P = 1.";
        return result;
    }
    result.confidence = row->confidence;
    result.max_length_m = limit_m;
    if (length_m > limit_m * (1.0 + 1e-9)) {
        result.beyond_limit = true;
        result.note = name + " holds to a slope length of " + fixed(limit_m, 0) + " m at " +
                      fixed(slope_pct, 1) + " % slope; this slope is " + fixed(length_m, 0) +
                      " m long: P = 1.";
        return result;
    }
    result.p = p;
    result.note = name + ", P = " + fixed(p, 2) + ".";
    return result;
}

}  // namespace

std::vector<std::string> check_factors(const Factors& f, double slope_pct, double slope_length_m) {
    std::vector<std::string> warnings;
    const double k_us = f.k_si / units::k_si_per_us;
    if (!(f.r_si > 0.0 && f.r_si <= 30000.0))
        refuse("R is " + shortest(f.r_si) + " MJ mm/(ha h yr), which is not possible",
               "Give R with its unit, for example '150 us' or '2550 si'.");
    if (f.r_si < 10.0 * units::r_si_per_us)
        warnings.push_back("R is only " + fixed(f.r_si, 0) +
                           " MJ mm/(ha h yr); was a US figure given as SI?");
    if (!(f.k_si > 0.0 && k_us <= 1.0))
        refuse("K is " + shortest(f.k_si) + " Mg ha h/(ha MJ mm), which is not possible",
               "SI values of K are below 0.1; a US value must be given as US.");
    if (k_us < 0.02 || k_us > 0.69)
        warnings.push_back("K is " + fixed(k_us, 3) +
                           " in US units, outside the measured range of 0.02 to 0.69.");
    if (!(f.ls >= 0.0) || !std::isfinite(f.ls)) refuse("LS is negative or missing");
    if (!(f.c >= 0.0 && f.c <= 1.2)) refuse("C is " + shortest(f.c) + ", outside 0 to 1.2");
    if (!(f.p >= 0.0 && f.p <= 1.2)) refuse("P is " + shortest(f.p) + ", outside 0 to 1.2");
    check_slope(slope_pct, slope_length_m);
    if (slope_pct > 50.0)
        refuse("the slope is " + fixed(slope_pct, 0) + " %; the equation does not hold above 50 %",
               "Check the elevation or slope unit, or leave this ground out.");
    if (slope_pct > 20.0)
        warnings.push_back("The slope is " + fixed(slope_pct, 0) +
                           " %; the data behind the equation reach to about 20 %.");
    if (slope_length_m > 305.0)
        refuse("the slope length is " + fixed(slope_length_m, 0) +
                   " m; 305 m is the longest the equation holds for",
               "Flow gathers in a channel before that; lower max-slope-length.");
    return warnings;
}

Tolerance tolerance_by_depth(double depth_cm, Renewal renewal, bool severely_eroded) {
    if (!(depth_cm >= 0.0)) refuse("the depth to a limiting layer must not be negative");
    const Table table = Table::parse(data::tolerance, "tolerance.csv");
    constexpr const char* columns[] = {"not_renewable", "renewable", "very_renewable"};
    Tolerance result;
    double t_us = 0.0;
    for (std::size_t row = 0; row < table.rows(); ++row) {
        t_us = table.required_number(row, columns[static_cast<int>(renewal)]);
        result.confidence = parse_confidence(table.text(row, "confidence"));
        if (depth_cm < table.required_number(row, "below_cm")) break;
    }
    if (severely_eroded) t_us = std::max(1.0, t_us - 1.0);
    result.t_mg_ha = t_us * units::mg_ha_per_ton_ac;
    result.note = "T " + fixed(t_us, 0) + " ton/(ac yr) by depth to a limiting layer (NSSH 618.93)";
    if (severely_eroded) result.note += ", one class lower for severe erosion";
    return result;
}

double loss_over_tolerance(double a_mg_ha, double t_mg_ha) {
    require_tolerance(t_mg_ha);
    return a_mg_ha / t_mg_ha;
}

double erodibility_index(double r_si, double k_si, double ls_ah537, double t_mg_ha) {
    require_tolerance(t_mg_ha);
    return r_si * k_si * ls_ah537 / t_mg_ha;
}

Erodibility erodibility_class(double index_min, double index_max) {
    if (index_min >= highly_erodible_from) return Erodibility::highly;
    return index_max >= highly_erodible_from ? Erodibility::potentially_highly
                                             : Erodibility::not_highly;
}

Predominance field_predominance(const std::vector<ErodibleArea>& parts) {
    constexpr double least_share = 0.3333;
    constexpr double least_ha = 50.0 * units::ha_per_ac;
    Predominance result;
    double total = 0.0;
    for (const ErodibleArea& part : parts) {
        if (!(part.area_ha >= 0.0)) refuse("an area must not be negative");
        total += part.area_ha;
        if (part.index >= highly_erodible_from) result.erodible_ha += part.area_ha;
    }
    if (!(total > 0.0)) refuse("the field has no area");
    result.erodible_share = result.erodible_ha / total;
    result.predominant = result.erodible_share >= least_share || result.erodible_ha >= least_ha;
    return result;
}

SupportPractice contour_p(double slope_pct, double length_m, bool residue_over_half) {
    check_slope(slope_pct, length_m);
    const PracticeRow* row = practice_row(slope_pct);
    const double limit = row == nullptr ? 0.0 : row->contour_m * (residue_over_half ? 1.25 : 1.0);
    return limited(row, slope_pct, row == nullptr ? 1.0 : row->contour_p, limit, length_m,
                   "Contouring");
}

SupportPractice strip_crop_p(double slope_pct, double length_m, StripRotation rotation) {
    check_slope(slope_pct, length_m);
    const PracticeRow* row = practice_row(slope_pct);
    SupportPractice result = row == nullptr
                                 ? limited(row, slope_pct, 1.0, 0.0, length_m, "Strip cropping")
                                 : limited(row, slope_pct, row->strip_p[static_cast<int>(rotation)],
                                           row->strip_m, length_m, "Strip cropping");
    if (row != nullptr) result.strip_width_m = row->strip_width_m;
    return result;
}

Terraces terraces(double slope_pct, double spacing_m, TerraceOutlet outlet,
                  std::optional<StripRotation> strips) {
    check_slope(slope_pct, spacing_m);
    if (!(spacing_m > 0.0)) refuse("the spacing of terraces must be above 0");
    Terraces result;
    result.in_field =
        strips ? strip_crop_p(slope_pct, spacing_m, *strips) : contour_p(slope_pct, spacing_m);
    const PracticeRow* row = practice_row(slope_pct);
    if (row == nullptr) {
        result.note = "Terraces are not rated above 25 % slope.";
        return result;
    }
    result.sediment_factor =
        outlet == TerraceOutlet::graded_sod ? row->terrace_sod : row->terrace_underground;
    result.note =
        "The spacing is the slope length; the sediment factor is for what leaves the field and is "
        "not part of the in-field loss.";
    return result;
}

}  // namespace catchfield::erosion
