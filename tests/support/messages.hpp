// SPDX-License-Identifier: MIT
// What a call says when it refuses its input.
#pragma once

#include "base/error.hpp"

#include <string>

namespace catchfield::tests {

/// The message of the Error that `call` throws; "" where it throws none.
template <typename Call>
std::string message_of(Call&& call) {
    try {
        call();
    } catch (const Error& error) {
        return error.what();
    }
    return "";
}

inline bool mentions(const std::string& text, const std::string& part) {
    return text.find(part) != std::string::npos;
}

}  // namespace catchfield::tests
