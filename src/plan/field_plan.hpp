// SPDX-License-Identifier: MIT
// The whole chain for one field.
#pragma once

#include "plan/inputs.hpp"
#include "plan/result.hpp"

namespace catchfield::plan {

/// Plans a field. What stops it (a bad boundary, no overlap with an input) comes back as a skipped
/// outcome with its reason; usage errors are thrown, because they concern every field.
FieldResult plan_field(const Inputs& inputs, const FieldBoundary& field);

}  // namespace catchfield::plan
