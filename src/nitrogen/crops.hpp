// SPDX-License-Identifier: MIT
// Bushel weights, so that yields in bu/ac and rates in lb/bu can be read and shown.
#pragma once

#include "base/confidence.hpp"

#include <string>
#include <string_view>
#include <vector>

namespace catchfield::nitrogen {

/// One row of data/crops.csv.
struct Crop {
    std::string name;        ///< lower case: "corn", "wheat"
    double bushel_lb = 0.0;  ///< trade weight of a US bushel, lb
    std::string source;
    Confidence confidence = Confidence::assumption;
};

/// The built-in crops, in the order of the table.
const std::vector<Crop>& crops();

/// A crop by name, case ignored. Throws Error(usage) that names the nearest known one.
const Crop& crop(std::string_view name);

/// Grain yield, kg/ha, from bu/ac, and back.
double yield_kg_ha(double bu_ac, const Crop& crop);
double yield_bu_ac(double kg_ha, const Crop& crop);

}  // namespace catchfield::nitrogen
