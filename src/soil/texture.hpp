// SPDX-License-Identifier: MIT
// Soil texture: sand, silt and clay, the twelve USDA classes and their groups, organic matter.
#pragma once

#include <array>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace catchfield::soil {

/// USDA texture classes, coarse to fine in the usual order of lists.
enum class TextureClass {
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
    clay,
};
inline constexpr std::array<TextureClass, 12> all_textures = {TextureClass::sand,
                                                              TextureClass::loamy_sand,
                                                              TextureClass::sandy_loam,
                                                              TextureClass::loam,
                                                              TextureClass::silt_loam,
                                                              TextureClass::silt,
                                                              TextureClass::sandy_clay_loam,
                                                              TextureClass::clay_loam,
                                                              TextureClass::silty_clay_loam,
                                                              TextureClass::sandy_clay,
                                                              TextureClass::silty_clay,
                                                              TextureClass::clay};

/// General terms of the Soil Survey Manual (USDA Handbook 18, chapter 3) [memory: high]: sand and
/// loamy sand are coarse; sandy loam moderately coarse; loam, silt loam, silt medium; sandy clay
/// loam, clay loam, silty clay loam moderately fine; the clays fine.
enum class TextureGroup { coarse, moderately_coarse, medium, moderately_fine, fine };

/// Shares of the fine earth (< 2 mm), % by mass: sand 2-0.05 mm, silt 0.05-0.002 mm, clay < 0.002.
struct Separates {
    double sand_pct = 0.0;
    double silt_pct = 0.0;
    double clay_pct = 0.0;
};

/// Sand, silt and clay as given, checked and brought to a sum of 100 %.
///
/// One missing share is the rest to 100 (none where fewer than two are given). A sum off by more
/// than `tolerance_pct` but at most `limit_pct` is scaled to 100 with a line in `warnings`; farther
/// off, or a share outside 0-100, throws Error(data). what: the soil, for messages.
std::optional<Separates> checked_separates(std::optional<double> sand_pct,
                                           std::optional<double> silt_pct,
                                           std::optional<double> clay_pct, const std::string& what,
                                           std::vector<std::string>& warnings,
                                           double tolerance_pct = 1.0, double limit_pct = 5.0);

/// USDA class by the limits of the Soil Survey Manual (USDA Handbook 18, chapter 3). The shares
/// must add to 100 (see checked_separates); every such triple has exactly one class.
TextureClass texture_class(const Separates& soil);

/// "silt loam".
std::string_view texture_name(TextureClass texture);

/// Reads a class name or soil-survey code ("SIL", "silt loam"; also with fine or coarse modifiers
/// as "fine sandy loam", "VFSL", and rock-fragment modifiers as "GR-SIL"); none where it names no
/// class.
std::optional<TextureClass> parse_texture(std::string_view text);

TextureGroup texture_group(TextureClass texture);
std::string_view texture_group_name(TextureGroup group);

/// Sand and loamy sand: what credit tables call sandy or coarse soil.
bool is_sandy(TextureClass texture);

/// Organic matter from organic carbon, % by mass, factor 1.724 (van Bemmelen) [memory: high].
inline constexpr double om_pct_from_carbon(double carbon_pct) {
    return 1.724 * carbon_pct;
}
inline constexpr double carbon_pct_from_om(double om_pct) {
    return om_pct / 1.724;
}

}  // namespace catchfield::soil
