// SPDX-License-Identifier: MIT
// Yield rasters of several years: relative yield, its average, and how steady it is.
#pragma once

#include "base/raster.hpp"

#include <cstdint>
#include <span>
#include <string>
#include <vector>

namespace catchfield::zoning {

struct YieldYear {
    std::string name;     ///< year or crop and year, for messages
    Raster<float> yield;  ///< any unit, > 0
    Mask valid;
};

struct YieldHistory {
    Raster<float> relative_pct;   ///< mean over years of 100 * yield / the year's field mean
    Mask valid;                   ///< at least one year
    Raster<float> stability_pct;  ///< sd over years (n - 1) of the relative yield, in points
    Mask stability_valid;         ///< at least two years
    Raster<std::uint8_t> years;   ///< years with a value per cell
    std::vector<std::string> warnings;
};

/// Normalises every year by its own mean over the field, so crops and seasons can be averaged, then
/// averages over the years a cell has. After Blackmore 2000, Comput. Electron. Agric. 26:37-51
/// (trend and temporal stability maps) [memory: high]. Years without a value in the field are left
/// out with a warning. Years that miss part of the field are normalised over what they cover, which
/// is said in a warning above 20 % missing. Throws Error(data) for frames that differ, negative
/// yields, a year's mean of zero, no usable year.
YieldHistory combine_years(std::span<const YieldYear> years, const Mask& field);

}  // namespace catchfield::zoning
