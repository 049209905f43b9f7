// SPDX-License-Identifier: MIT
#include "base/confidence.hpp"

#include "base/error.hpp"
#include "base/text.hpp"

#include <array>
#include <string>

namespace catchfield {

namespace {

constexpr std::array<std::string_view, 5> names = {"verified", "memory: high", "common practice",
                                                   "memory: check", "assumption"};

}  // namespace

std::string_view confidence_name(Confidence confidence) {
    return names[static_cast<std::size_t>(confidence)];
}

Confidence parse_confidence(std::string_view text) {
    for (std::size_t i = 0; i < names.size(); ++i) {
        if (same_ignoring_case(names[i], trim(text))) return static_cast<Confidence>(i);
    }
    throw Error(
        ErrorKind::data, "'" + std::string(text) + "' is no confidence word",
        {.hint = "Use verified, memory: high, common practice, memory: check or assumption."});
}

}  // namespace catchfield
