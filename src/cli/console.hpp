// SPDX-License-Identifier: MIT
// The terminal: results to stdout, everything else to stderr, progress only on a terminal.
#pragma once

#include "plan/monitor.hpp"

#include <chrono>
#include <string>

namespace catchfield::cli {

class Console {
  public:
    bool quiet = false;
    bool verbose = false;
    bool json = false;
    int threads = 0;  ///< 0: all cores

    /// Requested data, to stdout. Throws Error(output) where it cannot be written.
    void print(const std::string& text) const;
    /// A message to stderr; left out when quiet.
    void say(const std::string& text);
    /// Only when verbose, with the time since the start.
    void detail(const std::string& text);
    /// An error; always shown.
    void error(const std::string& text);
    /// Progress and messages for long work; stops it after SIGINT or SIGTERM.
    plan::Monitor monitor();

  private:
    void clear_bar();
    std::chrono::steady_clock::time_point m_start = std::chrono::steady_clock::now();
    std::size_t m_shown_percent = 1000;
    bool m_bar = false;
};

/// Fills standard streams that the caller has closed, so that no output file takes their place.
/// Call it before anything is opened.
void open_standard_streams();

/// From now on the first SIGINT or SIGTERM asks for a clean stop; the second ends the program.
void catch_signals();
/// The signal that asked for a stop, or 0.
int stop_signal();

}  // namespace catchfield::cli
