// SPDX-License-Identifier: MIT
// How long work tells what it does: a callback that may also say stop.
#pragma once

#include <cstddef>
#include <functional>
#include <string>

namespace catchfield::plan {

/// Both functions may be empty. They are called from one thread at a time.
struct Monitor {
    /// Done, total, what. Returning false asks for a clean stop.
    std::function<bool(std::size_t, std::size_t, const std::string&)> progress;
    /// A message for the user: warnings, what was skipped.
    std::function<void(const std::string&)> say;
};

/// Thrown for a stop that the user asked for.
struct Stopped {};

}  // namespace catchfield::plan
