// SPDX-License-Identifier: MIT
// The last part of a field's page: how the field was divided, and what went into the plan.
#pragma once

#include "plan/inputs.hpp"
#include "plan/result.hpp"

#include <string>

namespace catchfield::plan {

/// Why this many zones, with the indices by count. HTML.
std::string zoning_section(const FieldResult& result);

/// Input files, the program, and what the words for "how sure" mean. HTML.
std::string sources_section(const Inputs& inputs);

}  // namespace catchfield::plan
