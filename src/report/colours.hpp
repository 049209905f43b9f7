// SPDX-License-Identifier: MIT
// Published colour scales that stay apart for colour-blind readers and on paper.
//
// cividis: Nunez, Anderton & Renslow 2018, PLoS ONE 13(7):e0199239. YlOrBr: ColorBrewer (Brewer
// 2003), 5 classes. Classes: Okabe & Ito 2008, "Color universal design", without black, plus grey.
#pragma once

#include <array>
#include <cstddef>
#include <string_view>

namespace catchfield::report {

inline constexpr std::array<std::string_view, 5> cividis_colours = {"#002051", "#3c4d6e", "#7f7c75",
                                                                    "#bbaf71", "#fdea45"};
inline constexpr std::array<std::string_view, 5> yl_or_br_colours = {
    "#ffffd4", "#fed98e", "#fe9929", "#d95f0e", "#993404"};
inline constexpr std::array<std::string_view, 8> okabe_ito_colours = {
    "#e69f00", "#56b4e9", "#009e73", "#f0e442", "#0072b2", "#d55e00", "#cc79a7", "#999999"};
inline constexpr std::string_view no_value_colour = "#d9d9d9";

/// Colour of the i-th unordered class; they repeat after eight.
inline constexpr std::string_view class_colour(std::size_t i) {
    return okabe_ito_colours[i % okabe_ito_colours.size()];
}

}  // namespace catchfield::report
