// SPDX-License-Identifier: MIT
// budget.csv: every zone's nitrogen rate as a sum, one line of the sum a row, in the user's units.
#pragma once

#include "plan/inputs.hpp"
#include "plan/result.hpp"

#include <string>

namespace catchfield::plan {

/// Header of budget.csv: field_id, zone, part (need, settling, rate, for comparison), line, amount,
/// low, high, unit (lb N/ac or kg N/ha), source, confidence, note.
std::string budget_header();

/// The rows of a field: per zone the lines of the need, the settling lines, the rate. The amounts
/// of need and settling add to the rate (each is rounded to 0.01).
std::string budget_rows(const Inputs& inputs, const FieldResult& result);

}  // namespace catchfield::plan
