// SPDX-License-Identifier: MIT
// The cover crop part of a field's page: what was chosen and why, ground cover through the year,
// and the covers that were not taken.
#pragma once

#include "plan/inputs.hpp"
#include "plan/result.hpp"

#include <string>

namespace catchfield::plan {

/// Zones with the same cover on the same kind of site are said together. HTML.
std::string cover_section(const Inputs& inputs, const FieldResult& result);

}  // namespace catchfield::plan
