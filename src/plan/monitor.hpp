// SPDX-License-Identifier: MIT
// How long work tells what it does: a callback that may also say stop.
#pragma once

#include <cstddef>
#include <functional>
#include <string>

namespace catchfield::plan {

/// Functions may be empty.
struct Monitor {
    /// Whether the user has asked for a stop. Called from any thread.
    std::function<bool()> stop_asked;
    /// Done, total, what. Returning false asks for a clean stop. From one thread at a time.
    std::function<bool(std::size_t, std::size_t, const std::string&)> progress;
    /// A message for the user: warnings, what was skipped.
    std::function<void(const std::string&)> say;
};

/// Thrown for a stop that the user asked for.
struct Stopped {
    std::string kept{};  ///< what is kept and how to go on; empty where nothing is
};

}  // namespace catchfield::plan
