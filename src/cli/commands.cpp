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

const std::vector<ExitMeaning>& exit_meanings() {
    static const std::vector<ExitMeaning> meanings = {
        {"0", "All done."},
        {"1", "Failed; nothing half-written was left behind."},
        {"2", "The command line or the job file is wrong; nothing was opened for writing."},
        {"3", "Done, but some fields were skipped or only partly covered."},
        {"130, 143", "Stopped by Ctrl-C or SIGTERM."},
    };
    return meanings;
}

namespace {

std::string exit_help() {
    std::string text;
    for (const ExitMeaning& exit : exit_meanings())
        text += help_entry("  " + std::string(exit.codes), exit.meaning);
    return text;
}

}  // namespace

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
            "\nEvery key of the job file is an option too, and counts instead of the file's:\n"
            "  --terrain.elevation dem.tif    (see docs/job-file.md)\n";
    }
    return text + "\ncommon options:\n" + options_help(common_options()) + "\nexit codes:\n" +
           exit_help();
}

}  // namespace catchfield::cli
