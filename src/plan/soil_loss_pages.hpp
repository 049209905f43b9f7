// SPDX-License-Identifier: MIT
// The soil part of a field's page: loss against tolerance, and how each figure came about.
#pragma once

#include "plan/inputs.hpp"
#include "plan/result.hpp"

#include <string>

namespace catchfield::plan {

/// Chart, table and workings. HTML.
std::string soil_loss_section(const Inputs& inputs, const FieldResult& result);

}  // namespace catchfield::plan
