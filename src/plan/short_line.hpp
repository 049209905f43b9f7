// SPDX-License-Identifier: MIT
// A field's plan in one line of a table, for the terminal.
#pragma once

#include "plan/inputs.hpp"
#include "plan/result.hpp"

#include <string>

namespace catchfield::plan {

/// Heads of the columns.
std::string short_head();

/// Without the field's name: area, zones, soil loss a year now and with cover, nitrogen rates,
/// covers by zone, or why it was skipped.
std::string short_line(const Inputs& inputs, const FieldResult& result);

}  // namespace catchfield::plan
