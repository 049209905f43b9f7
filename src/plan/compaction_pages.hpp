// SPDX-License-Identifier: MIT
// The compaction part of a field's report page.
#pragma once

#include "plan/inputs.hpp"
#include "plan/result.hpp"

#include <string>

namespace catchfield::plan {

/// Advice with its conditions, what stops and soil map each show, seeding rate (zones of which the
/// same is said together), profiles by zone, and how depth and strength were mapped between the
/// stops, with leave-one-out figures. HTML.
std::string compaction_section(const Inputs& inputs, const FieldResult& result);

}  // namespace catchfield::plan
