// SPDX-License-Identifier: MIT
// Wind screening: groups, cover ratios, erodible fraction, climatic factor.
#include "erosion/wind.hpp"

#include "base/error.hpp"
#include "base/table.hpp"
#include "base/text.hpp"
#include "base/units.hpp"
#include "erosion/data.hpp"

#include <algorithm>
#include <array>
#include <cmath>

namespace catchfield::erosion {

namespace {

enum class Texture {
    sand,
    loamy_sand,
    sandy_loam,
    loam,
    silt_loam,
    silt,
    sandy_clay_loam,
    clay_loam,
    silty_clay_loam,
    sandy_clay,
    silty_clay,
    clay
};

constexpr const char* texture_names[] = {"sand",
                                         "loamy sand",
                                         "sandy loam",
                                         "loam",
                                         "silt loam",
                                         "silt",
                                         "sandy clay loam",
                                         "clay loam",
                                         "silty clay loam",
                                         "sandy clay",
                                         "silty clay",
                                         "clay"};

/// USDA texture class (Soil Survey Manual, ch. 3) of shares that add up to 100.
Texture texture_of(double sand, double silt, double clay) {
    if (silt + 1.5 * clay < 15.0) return Texture::sand;
    if (silt + 2.0 * clay < 30.0) return Texture::loamy_sand;
    if (clay >= 40.0 && silt >= 40.0) return Texture::silty_clay;
    if (clay >= 35.0 && sand > 45.0) return Texture::sandy_clay;
    if (clay >= 40.0) return Texture::clay;
    if (clay >= 27.0 && sand <= 20.0) return Texture::silty_clay_loam;
    if (clay >= 27.0 && sand <= 45.0) return Texture::clay_loam;
    if (clay >= 20.0 && silt < 28.0) return Texture::sandy_clay_loam;
    if (silt >= 80.0 && clay < 12.0) return Texture::silt;
    if (silt >= 50.0) return Texture::silt_loam;
    if (clay >= 7.0 && sand <= 52.0) return Texture::loam;
    return Texture::sandy_loam;
}

double index_of_group(const std::string& group) {
    const Table table = Table::parse(data::wind_groups, "wind_groups.csv");
    for (std::size_t row = 0; row < table.rows(); ++row)
        if (same_ignoring_case(table.text(row, "group"), group))
            return table.required_number(row, "i_us");
    throw Error(ErrorKind::data, "unknown wind erodibility group '" + group + "'",
                {.hint = "Groups are 1 to 8 and 4L."});
}

/// I some steps better (lower) in the order of the groups.
double better(double i_us, int steps) {
    constexpr std::array<double, 7> order{220, 134, 86, 56, 48, 38, 0};
    const auto at = std::find(order.begin(), order.end(), i_us);
    const auto from = static_cast<std::size_t>(at - order.begin());
    return order[std::min(order.size() - 1, from + static_cast<std::size_t>(steps))];
}

void check_soil(const SurfaceSoil& soil) {
    const bool whole = soil.sand_pct >= 0.0 && soil.silt_pct >= 0.0 && soil.clay_pct >= 0.0 &&
                       std::abs(soil.sand_pct + soil.silt_pct + soil.clay_pct - 100.0) <= 1.0;
    if (!whole)
        throw Error(ErrorKind::data, "sand, silt and clay (" + shortest(soil.sand_pct) + ", " +
                                         shortest(soil.silt_pct) + ", " + shortest(soil.clay_pct) +
                                         " %) do not add up to 100");
}

std::string group_of(const SurfaceSoil& soil, Texture texture) {
    const double clay = soil.clay_pct;
    const double vfs = soil.very_fine_sand_pct.value_or(0.0);
    switch (texture) {
        case Texture::sand:
            return "1";
        case Texture::loamy_sand:
            return "2";
        case Texture::sandy_loam:
            return clay <= 5.0 && vfs >= 30.0 ? "2" : "3";
        case Texture::silty_clay:
        case Texture::clay:
            return "4";
        default:
            break;
    }
    if (texture == Texture::silt_loam && clay <= 5.0) return "2";
    if (soil.calcareous) return "4L";
    switch (texture) {
        case Texture::silt:
            return "7";
        case Texture::silt_loam:
            if (vfs >= 20.0 && vfs <= 50.0 && clay <= 12.0) return "3";
            return clay < 20.0 ? "5" : "6";
        case Texture::loam:
            return clay < 20.0 ? "5" : "6";
        case Texture::clay_loam:
        case Texture::silty_clay_loam:
            return clay > 35.0 ? "4" : "6";
        default:
            return "5";  // sandy clay loam, sandy clay
    }
}

}  // namespace

WindGroup wind_group(const SurfaceSoil& given) {
    check_soil(given);
    SurfaceSoil soil = given;
    const double scale = 100.0 / (given.sand_pct + given.silt_pct + given.clay_pct);
    soil.sand_pct *= scale;
    soil.silt_pct *= scale;
    soil.clay_pct *= scale;
    if (!(soil.fragments_pct >= 0.0 && soil.fragments_pct <= 100.0))
        throw Error(ErrorKind::data, "rock fragments must lie between 0 and 100 %");
    const Texture texture = texture_of(soil.sand_pct, soil.silt_pct, soil.clay_pct);
    WindGroup result;
    result.texture = texture_names[static_cast<int>(texture)];
    result.group = group_of(soil, texture);
    const double base = index_of_group(result.group);
    const bool sandy = result.group == "1" || result.group == "2";
    const double stones = soil.fragments_pct;
    if (sandy)
        result.i_us = stones > 60.0 ? better(base, 3) : stones >= 35.0 ? better(base, 1) : base;
    else
        result.i_us = stones > 60.0    ? 0.0
                      : stones >= 35.0 ? better(base, 2)
                      : stones >= 15.0 ? better(base, 1)
                                       : base;
    result.i_mg_ha = result.i_us * units::mg_ha_per_ton_ac;
    if (result.group == "1")
        result.warnings.push_back(
            "The size of the sand is not known; the mean of the group is used.");
    if (soil.organic_matter_pct > 20.0)
        result.warnings.push_back("Organic soils have groups of their own; take it from the map.");
    return result;
}

WindGroup wind_group(const std::string& group) {
    WindGroup result;
    result.i_us = index_of_group(group);
    result.group = group == "4l" ? "4L" : group;
    result.i_mg_ha = result.i_us * units::mg_ha_per_ton_ac;
    return result;
}

double flat_cover_ratio(double cover_pct) {
    return std::exp(-0.0438 * cover_pct);
}
double flat_cover_ratio_steep(double cover_pct) {
    return std::exp(-0.0605 * cover_pct);
}
double flat_cover_ratio_1985(double cover_pct) {
    return std::min(1.0, 1.81 * std::exp(-0.072 * cover_pct));
}
double standing_ratio(double silhouette_cm2_m2) {
    return std::exp(-0.0344 * std::pow(silhouette_cm2_m2, 0.6413));
}
double canopy_ratio(double canopy_fraction) {
    return std::exp(-5.614 * std::pow(canopy_fraction, 0.7366));
}

double combined_ratio(const WindCover& cover) {
    return flat_cover_ratio(cover.flat_cover_pct) * standing_ratio(cover.silhouette_cm2_m2) *
           canopy_ratio(cover.canopy_fraction);
}

WindCut wind_cut(const WindCover& without, const WindCover& with) {
    for (const WindCover* c : {&without, &with})
        if (!(c->flat_cover_pct >= 0.0 && c->flat_cover_pct <= 100.0 &&
              c->silhouette_cm2_m2 >= 0.0 && c->canopy_fraction >= 0.0 &&
              c->canopy_fraction <= 1.0))
            throw Error(ErrorKind::data, "wind cover must be 0-100 %, canopy 0-1, stems >= 0");
    const double rest =
        standing_ratio(with.silhouette_cm2_m2) * canopy_ratio(with.canopy_fraction) /
        (standing_ratio(without.silhouette_cm2_m2) * canopy_ratio(without.canopy_fraction));
    const auto cut = [&](double (*flat)(double)) {
        return 100.0 * (1.0 - rest * flat(with.flat_cover_pct) / flat(without.flat_cover_pct));
    };
    WindCut result;
    result.typical_pct = cut(flat_cover_ratio);
    const double steep = cut(flat_cover_ratio_steep);
    result.low_pct = std::min(result.typical_pct, steep);
    result.high_pct = std::max(result.typical_pct, steep);
    // The wind-tunnel fit holds for 8 to 80 % cover only.
    const auto inside = [](const WindCover& c) {
        return c.flat_cover_pct >= 8.0 && c.flat_cover_pct <= 80.0;
    };
    if (inside(without) && inside(with)) {
        const double tunnel = cut(flat_cover_ratio_1985);
        result.low_pct = std::min(result.low_pct, tunnel);
        result.high_pct = std::max(result.high_pct, tunnel);
    }
    result.caution =
        "Screening: what cover takes off the wind's erosion of bare ground, by published loss "
        "ratios; it changes with field length, ridges and season, and no tons are claimed.";
    return result;
}

WindErodibility wind_erodibility(const SurfaceSoil& soil) {
    check_soil(soil);
    if (!(soil.clay_pct > 0.0))
        throw Error(ErrorKind::data, "the erodible fraction needs clay above 0 %");
    const double sa_cl = soil.sand_pct / soil.clay_pct;
    const double om = soil.organic_matter_pct;
    const double cl = soil.clay_pct;
    WindErodibility result;
    result.erodible_fraction = std::clamp((29.09 + 0.31 * soil.sand_pct + 0.17 * soil.silt_pct +
                                           0.33 * sa_cl - 2.59 * om - 0.95 * soil.carbonate_pct) /
                                              100.0,
                                          0.0, 1.0);
    result.crust_factor = 1.0 / (1.0 + 0.0066 * cl * cl + 0.021 * om * om);
    struct Range {
        const char* name;
        double value, low, high;
    };
    for (const Range& r :
         {Range{"sand", soil.sand_pct, 5.5, 93.6}, Range{"silt", soil.silt_pct, 0.5, 69.5},
          Range{"clay", cl, 5.0, 39.3}, Range{"sand over clay", sa_cl, 1.2, 53.0},
          Range{"organic matter", om, 0.18, 4.79},
          Range{"carbonate", soil.carbonate_pct, 0.0, 25.2}})
        if (r.value < r.low || r.value > r.high)
            result.warnings.push_back(std::string("Erodible fraction: ") + r.name + " of " +
                                      fixed(r.value, 1) + " lies outside the fit (" +
                                      shortest(r.low) + " to " + shortest(r.high) + ").");
    return result;
}

double precipitation_effectiveness_month(double precip_mm, double tmean_c) {
    const double p_in = std::max(0.5, precip_mm / units::mm_per_in);
    const double t_f = std::max(28.4, units::fahrenheit_from_celsius(tmean_c));
    return 115.0 * std::pow(p_in / (t_f - 10.0), 10.0 / 9.0);
}

double wind_climatic_factor_pct(double wind_m_s, double pe_sum) {
    if (!(pe_sum > 0.0) || !(wind_m_s >= 0.0))
        throw Error(ErrorKind::data, "wind must not be negative, and PE must be above 0");
    return 386.0 * wind_m_s * wind_m_s * wind_m_s / (pe_sum * pe_sum);
}

double wind_erodibility_index(double climatic_pct, double i_mg_ha, double t_mg_ha) {
    if (!(t_mg_ha > 0.0)) throw Error(ErrorKind::data, "the soil loss tolerance T must be above 0");
    return climatic_pct / 100.0 * i_mg_ha / t_mg_ha;
}

}  // namespace catchfield::erosion
