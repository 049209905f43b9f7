// SPDX-License-Identifier: MIT
// Parts of a field's page about nitrogen: passes, response curve, nitrate over winter.
#pragma once

#include "plan/inputs.hpp"
#include "plan/result.hpp"

#include <string>

namespace catchfield::plan {

/// HTML in the user's units; "" where none of it applies to the zone.
std::string nitrogen_details(const Inputs& inputs, const ZoneResult& zone);

}  // namespace catchfield::plan
