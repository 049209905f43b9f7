// SPDX-License-Identifier: MIT
// The program: finds the command, turns exceptions into exit codes.
#include "base/error.hpp"
#include "base/text.hpp"
#include "cli/command.hpp"
#include "cli/version.hpp"

#include <exception>
#include <new>
#include <string>
#include <vector>

namespace catchfield::cli {

namespace {

std::string overview() {
    std::string text =
        "usage: catchfield COMMAND ... [options]\n\n"
        "Decides cover crops and nitrogen for every zone of a field, and writes maps that\n"
        "a machine can run.\n\ncommands:\n";
    for (const auto& command : all_commands()) {
        std::string name(command->name());
        name.resize(12, ' ');
        text += "  " + name + std::string(command->summary()) + "\n";
    }
    return text +
           "\nBegin with a folder that holds a field boundary, elevation and a soil map:\n"
           "  catchfield start FOLDER -o job.ini    then look into job.ini\n"
           "  catchfield check job.ini\n"
           "  catchfield plan job.ini -o plan       then open plan/report.html\n"
           "\n'catchfield COMMAND --help' explains a command. 'catchfield --version --verbose' "
           "lists\n"
           "the libraries. This tool screens: the label and local rules come first, and a\n"
           "licensed adviser decides.\n";
}

int exit_code_of(const Error& error) {
    return error.kind() == ErrorKind::usage ? wrong_usage : failed;
}

int run_command(Command& command, const std::vector<std::string>& arguments, Console& console) {
    std::vector<OptionSpec> options = command.options();
    options.insert(options.end(), common_options().begin(), common_options().end());
    const ParsedOptions parsed =
        parse_options(arguments, options, command.positional(), command.takes_job_keys());
    if (parsed.flag("help")) {
        console.print(command_help(command));
        return all_done;
    }
    console.quiet = parsed.flag("quiet");
    console.verbose = parsed.flag("verbose");
    console.json = parsed.flag("json");
    console.threads = parsed.integer("threads", 0, 0, 1024);
    command.setup(parsed);
    return command.run(console);
}

int run(const std::vector<std::string>& arguments) {
    Console console;
    const std::string name = arguments.empty() ? "help" : arguments[0];
    try {
        if (name == "--help" || name == "-h" || name == "help") {
            console.print(overview());
            return arguments.empty() ? wrong_usage : all_done;
        }
        if (name == "--version") {
            const bool verbose = arguments.size() > 1 && arguments[1] == "--verbose";
            console.print(version_text(verbose));
            return all_done;
        }
        std::vector<std::string> names;
        for (const auto& command : all_commands()) {
            if (command->name() == name) {
                return run_command(*command, {arguments.begin() + 1, arguments.end()}, console);
            }
            names.emplace_back(command->name());
        }
        const std::string near = nearest_name(name, names);
        throw Error(
            ErrorKind::usage, "unknown command '" + name + "'",
            {.hint = near.empty() ? "See 'catchfield --help'." : "Did you mean '" + near + "'?"});
    } catch (const Error& error) {
        console.error(name + ": " + error.what());
        return exit_code_of(error);
    } catch (const plan::Stopped& stopped) {
        console.error(name + ": stopped as asked. " +
                      (stopped.kept.empty() ? "Nothing is left behind." : stopped.kept));
        return stopped_by + stop_signal();
    } catch (const std::bad_alloc&) {
        console.error(
            name +
            ": out of memory. Use a coarser resolution, fewer threads or fewer fields at once.");
        return failed;
    } catch (const std::exception& error) {
        console.error(name + ": " + error.what());
        return failed;
    }
}

}  // namespace

}  // namespace catchfield::cli

int main(int argc, char** argv) {
    catchfield::cli::open_standard_streams();
    catchfield::cli::catch_signals();
    return catchfield::cli::run({argv + 1, argv + argc});
}
