// SPDX-License-Identifier: MIT
// The compaction part of a field's report page.
#pragma once

#include "plan/inputs.hpp"
#include "plan/result.hpp"

#include <string>

namespace catchfield::plan {

/// Advice with its conditions, what stops and soil map each show, profiles, seeding rate. HTML.
std::string taproot_section(const Inputs& inputs, const ZoneResult& zone);

/// How depth and strength were mapped between the stops, with leave-one-out figures; "" without
/// maps. HTML.
std::string compaction_map_section(const Inputs& inputs, const FieldResult& result);

}  // namespace catchfield::plan
