// SPDX-License-Identifier: MIT
// The list of commands, and what they share.
#include "cli/commands.hpp"

namespace catchfield::cli {

std::vector<std::unique_ptr<Command>> all_commands() {
    std::vector<std::unique_ptr<Command>> commands;
    commands.push_back(start_command());
    commands.push_back(check_command());
    commands.push_back(plan_command());
    commands.push_back(gather_command());
    commands.push_back(rank_command());
    commands.push_back(export_command());
    commands.push_back(fit_command());
    commands.push_back(species_command());
    commands.push_back(reference_command());
    return commands;
}

const std::vector<OptionSpec>& common_options() {
    static const std::vector<OptionSpec> options = {
        {"help", 'h', "", "", "Explain this command."},
        {"quiet", 'q', "", "", "Only errors on the terminal."},
        {"verbose", 'v', "", "", "Show settings in force and what is done, with times."},
        {"json", '\0', "", "", "Print the result as JSON."},
        {"threads", '\0', "N", "all cores", "How many fields are worked on at once."},
    };
    return options;
}

std::string command_help(const Command& command) {
    const PositionalSpec positional = command.positional();
    std::string text = "usage: catchfield " + std::string(command.name());
    if (!positional.metavar.empty()) text += " " + std::string(positional.metavar);
    text += " [options]\n\n" + std::string(command.description()) + "\n";
    if (!positional.metavar.empty()) {
        text += "\n" + help_entry("  " + std::string(positional.metavar), positional.help);
    }
    const std::vector<OptionSpec> own = command.options();
    if (!own.empty()) text += "\noptions:\n" + options_help(own);
    if (command.takes_job_keys()) {
        text +=
            "\nEvery key of the job file is an option too and goes before the file:\n"
            "  --terrain.elevation dem.tif    (see docs/job-file.md)\n";
    }
    return text + "\ncommon options:\n" + options_help(common_options()) +
           "\nexit codes: 0 all done; 1 failed, nothing left behind; 2 command line or job file\n"
           "wrong; 3 done, but some fields were skipped or only partly covered; 130 and 143\n"
           "stopped by Ctrl-C or SIGTERM.\n";
}

}  // namespace catchfield::cli
