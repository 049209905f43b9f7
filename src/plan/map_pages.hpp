// SPDX-License-Identifier: MIT
// The map of a field's page.
#pragma once

#include "plan/inputs.hpp"
#include "plan/result.hpp"

#include <string>

namespace catchfield::plan {

/// Zones coloured by one figure at a time; the figures read as they do in the tables. HTML.
std::string map_section(const Inputs& inputs, const FieldResult& result);

}  // namespace catchfield::plan
