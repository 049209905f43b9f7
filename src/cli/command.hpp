// SPDX-License-Identifier: MIT
// What a command is: options as data, a setup that opens nothing, a run that works.
#pragma once

#include "cli/console.hpp"
#include "cli/options.hpp"

#include <memory>
#include <string_view>
#include <vector>

namespace catchfield::cli {

enum ExitCode {
    all_done = 0,
    failed = 1,        ///< nothing left behind
    wrong_usage = 2,   ///< nothing opened for writing
    partly = 3,        ///< outputs complete, some fields skipped or partly covered
    stopped_by = 128,  ///< plus the signal's number: 130 for SIGINT, 143 for SIGTERM
};

class Command {
  public:
    virtual ~Command() = default;
    virtual std::string_view name() const = 0;
    virtual std::string_view summary() const = 0;
    /// A few sentences for `--help`.
    virtual std::string_view description() const = 0;
    virtual PositionalSpec positional() const = 0;
    /// The command's own options; the common ones are added by the caller.
    virtual std::vector<OptionSpec> options() const = 0;
    /// Whether every key of the job file is an option too.
    virtual bool takes_job_keys() const { return false; }
    /// Turns options into settings. Opens nothing. Throws Error(usage).
    virtual void setup(const ParsedOptions& options) = 0;
    /// Works; returns the exit code.
    virtual int run(Console& console) = 0;
};

/// Every command, in the order of the help text.
std::vector<std::unique_ptr<Command>> all_commands();

/// Exit codes with what they mean, for help and man page.
struct ExitMeaning {
    std::string_view codes;
    std::string_view meaning;
};
const std::vector<ExitMeaning>& exit_meanings();

/// Options that every command has.
const std::vector<OptionSpec>& common_options();

/// The whole help text of a command.
std::string command_help(const Command& command);

}  // namespace catchfield::cli
