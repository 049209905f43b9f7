// SPDX-License-Identifier: MIT
// Rain records as loggers write them, to R.
#pragma once

#include "base/table.hpp"
#include "weather/erosivity.hpp"

namespace catchfield::plan {

/// Columns time ("2015-06-01 14:30", end of the interval) and depth_mm (rain since the row before).
/// Even steps of 60 or 5 minutes get the published step correction, which the result's warnings
/// state. Throws Error(data) with the line for times that do not rise or depths below zero.
weather::Erosivity erosivity_from_record(const Table& table);

}  // namespace catchfield::plan
