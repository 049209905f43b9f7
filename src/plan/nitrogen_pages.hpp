// SPDX-License-Identifier: MIT
// The nitrogen part of a field's page: the rate as a sum, passes, response curve, nitrate over
// winter.
#pragma once

#include "plan/inputs.hpp"
#include "plan/result.hpp"

#include <string>

namespace catchfield::plan {

/// Zones with the same budget are said together. HTML in the user's units.
std::string nitrogen_section(const Inputs& inputs, const FieldResult& result);

}  // namespace catchfield::plan
