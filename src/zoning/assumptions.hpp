// SPDX-License-Identifier: MIT
// Reads the room's table of limits and defaults that have no firm source.
#pragma once

#include "base/confidence.hpp"

#include <string_view>

namespace catchfield::zoning {

struct Assumption {
    double value = 0.0;
    Confidence confidence = Confidence::assumption;
};

/// The row `name` of data/assumptions.csv. Throws Error(internal) for a name that is not there.
Assumption assumption(std::string_view name);

}  // namespace catchfield::zoning
