// SPDX-License-Identifier: MIT
#include "cli/manual.hpp"

#include "base/text.hpp"
#include "cli/command.hpp"
#include "cli/version.hpp"
#include "plan/keys.hpp"

namespace catchfield::cli {

namespace {

/// Text as roff shows it: a backslash and a hyphen are escaped, and so is a line's first '.' or
/// '\''. Line ends become blanks.
std::string roff(std::string_view text) {
    std::string safe;
    for (const char c : text) {
        if (c == '\\') {
            safe += "\\e";
        } else if (c == '-') {
            safe += "\\-";
        } else if (c == '\n') {
            safe += ' ';
        } else {
            if (safe.empty() && (c == '.' || c == '\'')) safe += "\\&";
            safe += c;
        }
    }
    return safe;
}

std::string bold(std::string_view text) {
    return "\\fB" + roff(text) + "\\fR";
}

std::string italic(std::string_view text) {
    return "\\fI" + roff(text) + "\\fR";
}

std::string entry(const std::string& head, std::string_view help, std::string_view fallback) {
    std::string text = ".TP\n" + head + "\n" + roff(help);
    if (!fallback.empty()) text += " [" + roff(fallback) + "]";
    return text + "\n";
}

std::string option_entry(const OptionSpec& option) {
    std::string head;
    if (option.letter != '\0') head += bold(std::string("-") + option.letter) + ", ";
    head += bold("--" + std::string(option.name));
    if (!option.metavar.empty()) head += " " + italic(option.metavar);
    return entry(head, option.help, option.fallback);
}

std::string command_section(const Command& command) {
    const PositionalSpec positional = command.positional();
    std::string text =
        ".SS " + roff(command.name()) + "\n" + bold("catchfield") + " " + bold(command.name());
    if (!positional.metavar.empty()) text += " " + italic(positional.metavar);
    text += " [options]\n.PP\n" + roff(command.description()) + "\n";
    if (!positional.metavar.empty()) text += entry(italic(positional.metavar), positional.help, "");
    for (const OptionSpec& option : command.options()) text += option_entry(option);
    if (command.takes_job_keys()) {
        text += ".PP\nEvery key of the job file is an option too; see " + bold("JOB FILE") + ".\n";
    }
    return text;
}

std::string job_keys_text() {
    std::string text, section;
    for (const plan::Key& key : plan::job_keys()) {
        const std::string name(key.name);
        const std::string own = name.substr(0, name.find('.'));
        if (own != section) {
            section = own;
            text += ".SS [" + roff(section) + "]\n" + roff(plan::section_help(section)) + "\n";
        }
        text += entry(bold(name) + " " + italic(key.choices.empty() ? key.metavar : key.choices),
                      key.help, key.fallback);
    }
    return text;
}

}  // namespace

std::string man_page() {
    const std::string version(trim(version_text(false)));
    std::string text =
        ".\\\" Made by 'catchfield reference man' from the program's own tables.\n"
        ".TH CATCHFIELD 1 \"\" \"" +
        version +
        "\" \"User Commands\"\n"
        ".SH NAME\n"
        "catchfield \\- cover crops and nitrogen by management zone\n"
        ".SH SYNOPSIS\n";
    for (const auto& command : all_commands()) {
        text += bold("catchfield") + " " + bold(command->name()) + " " +
                italic(command->positional().metavar) + " [options]\n.br\n";
    }
    text +=
        bold("catchfield") + " " + bold("--version") + " [" + bold("--verbose") +
        "]\n.SH DESCRIPTION\n"
        "Reads field boundaries, an elevation or slope raster and soil\\-map polygons (and, where "
        "there are\nany, penetrometer stops, soil tests and weather), divides each field into "
        "management zones, and\nfor each zone estimates soil loss with and without cover, says "
        "where a taproot is worth its seed,\npicks the cover crop that fits, and works out the "
        "next crop\\(aqs nitrogen. It writes reports, tables and\nmaps that a machine can run.\n"
        ".PP\nThe usual order is " +
        bold("start") + ", " + bold("check") + ", " + bold("plan") + ", " + bold("export") +
        ".\n.SH COMMANDS\n";
    for (const auto& command : all_commands()) text += command_section(*command);
    text += ".SH COMMON OPTIONS\n";
    for (const OptionSpec& option : common_options()) text += option_entry(option);
    text +=
        ".SH JOB FILE\n"
        "An INI file: sections in brackets, a key and its value on a line, text after # is a "
        "comment.\nPaths are relative to the file. A quantity carries its unit (150 us, 40 lb/ac, "
        "3 "
        "m); a bare\nnumber is refused. On the command line a key is an option with its section: " +
        bold("--nitrogen.max-rate \"150 lb/ac\"") + ".\n" + job_keys_text() + ".SH EXIT STATUS\n";
    for (const ExitMeaning& exit : exit_meanings())
        text += entry(roff(exit.codes), exit.meaning, "");
    text +=
        ".SH ENVIRONMENT\n"
        ".TP\n" +
        bold("NO_COLOR") +
        "\nWhere it is set and not empty, nothing is coloured. Without it the words of errors and\n"
        "warnings are, on a terminal only.\n"
        ".SH EXAMPLES\n.nf\n"
        "catchfield start my\\-farm \\-o job.ini\n"
        "catchfield check job.ini\n"
        "catchfield plan job.ini \\-o plan\n"
        "catchfield export plan \\-\\-to shapefile \\-o rates\n"
        ".fi\n"
        ".SH CAUTIONS\n"
        "This tool screens. The label and local rules come first, and a licensed adviser decides.\n"
        ".SH SEE ALSO\n"
        "The tutorial, the methods with their sources, and the limits are in the documentation\n"
        "folder, /usr/share/doc/catchfield of a package.\n";
    return text;
}

}  // namespace catchfield::cli
