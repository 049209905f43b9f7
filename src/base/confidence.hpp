// SPDX-License-Identifier: MIT
// How sure a value is, from the source it comes from; a result is as sure as its weakest input.
#pragma once

#include <algorithm>
#include <string_view>

namespace catchfield {

/// Ordered from surest to least sure.
enum class Confidence {
    verified,         ///< seen in the named source
    recalled,         ///< from memory, widely reproduced or cross-checked
    common_practice,  ///< a rule of the trade without a source
    unchecked,        ///< from memory, not cross-checked: a planning bound
    assumption,       ///< no source; chosen so that the tool can run
};

/// The words used in data tables and outputs: "verified", "memory: high", "common practice",
/// "memory: check", "assumption".
std::string_view confidence_name(Confidence confidence);
/// Reads those words (case ignored). Throws Error(data) otherwise.
Confidence parse_confidence(std::string_view text);

inline Confidence weakest(Confidence a, Confidence b) {
    return std::max(a, b);
}

}  // namespace catchfield
