// SPDX-License-Identifier: MIT
// Penetrometer stops that belong to no field.
#pragma once

#include "plan/inputs.hpp"

#include <string>
#include <vector>

namespace catchfield::plan {

/// One sentence for every stop without a place or outside all fields (the first 20; the rest are
/// counted), and what to look at where no stop is in any field.
std::vector<std::string> stray_stops(const ProbeStops& probes, const FieldList& fields,
                                     const gis::Crs& boundary_crs);

}  // namespace catchfield::plan
