// SPDX-License-Identifier: MIT
// Options as data: help, parsing, checks, the man page and shell completion come from one table.
#pragma once

#include <map>
#include <string>
#include <string_view>
#include <vector>

namespace catchfield::cli {

struct OptionSpec {
    std::string_view name;      ///< without the leading hyphens
    char letter;                ///< one-letter form, or '\0'
    std::string_view metavar;   ///< "" for a flag
    std::string_view fallback;  ///< default as text, "" for none
    std::string_view help;      ///< one sentence
};

struct PositionalSpec {
    std::string_view metavar;  ///< "JOB", "DIR..."
    std::string_view help;
    int least;  ///< how many must be given
    int most;   ///< how many may be given, -1 for any number
};

/// What stood on the command line.
struct ParsedOptions {
    std::map<std::string, std::string> values;  ///< options given; a flag has "yes"
    std::map<std::string, std::string> job;     ///< job keys given as options
    std::vector<std::string> positional;

    bool flag(const std::string& name) const { return values.contains(name); }
    /// Value or the given default.
    std::string text(const std::string& name, const std::string& fallback = {}) const;
    /// Whole number in [low, high]; throws Error(usage) naming the option.
    int integer(const std::string& name, int fallback, int low, int high) const;
};

/// Parses arguments (program and command name taken off). Every job key is accepted as an option
/// where `job_keys` is set. Options are never guessed from a prefix. Throws Error(usage) with the
/// nearest known name for an unknown option.
ParsedOptions parse_options(const std::vector<std::string>& arguments,
                            const std::vector<OptionSpec>& options,
                            const PositionalSpec& positional, bool job_keys);

/// One entry of a help text: its name at the left, its sentence wrapped at 80 columns.
std::string help_entry(std::string name, std::string_view help);

/// The options part of the help text, wrapped at 80 columns.
std::string options_help(const std::vector<OptionSpec>& options);

}  // namespace catchfield::cli
