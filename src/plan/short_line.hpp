// SPDX-License-Identifier: MIT
// A field's plan in one line, for the terminal.
#pragma once

#include "plan/inputs.hpp"
#include "plan/result.hpp"

#include <string>

namespace catchfield::plan {

/// Without the field's name: "12.3 ac, 3 zones, soil loss 4.1 now, ...", or why it was skipped.
std::string short_line(const Inputs& inputs, const FieldResult& result);

}  // namespace catchfield::plan
