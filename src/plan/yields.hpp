// SPDX-License-Identifier: MIT
// Yields and prices as users write them.
#pragma once

#include "plan/job.hpp"

#include <string>

namespace catchfield::plan {

/// "180 bu/ac", "11.3 Mg/ha" or "11300 kg/ha" in kg/ha; bushels by the weight of `crop`.
/// Throws Error(usage) for a bare number or an unknown unit.
double parse_yield_kg_ha(const std::string& text, const std::string& what, const std::string& crop);

/// A yield from a column, which has the unit of nitrogen.yield-unit. Throws Error(data) naming file
/// and feature, Error(usage) where the unit is not stated.
double yield_of_cell(const std::string& text, const Job& job, const std::string& path,
                     const std::string& feature);

/// "170 /Mg" or "4.30 /bu" as money per kg. Throws Error(usage).
double parse_crop_price_per_kg(const std::string& text, const std::string& crop);

}  // namespace catchfield::plan
