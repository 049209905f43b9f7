// SPDX-License-Identifier: MIT
#include "cli/options.hpp"

#include "base/error.hpp"
#include "base/text.hpp"
#include "plan/keys.hpp"

#include <boost/program_options.hpp>

namespace catchfield::cli {

namespace po = boost::program_options;

std::string ParsedOptions::text(const std::string& name, const std::string& fallback) const {
    const auto found = values.find(name);
    return found != values.end() ? found->second : fallback;
}

int ParsedOptions::integer(const std::string& name, int fallback, int low, int high) const {
    const auto found = values.find(name);
    if (found == values.end()) return fallback;
    const auto value = parse_integer(found->second);
    if (!value || *value < low || *value > high) {
        throw Error(ErrorKind::usage, "--" + name + " " + found->second +
                                          ": not a whole number from " + std::to_string(low) +
                                          " to " + std::to_string(high));
    }
    return static_cast<int>(*value);
}

ParsedOptions parse_options(const std::vector<std::string>& arguments,
                            const std::vector<OptionSpec>& options,
                            const PositionalSpec& positional, bool job_keys) {
    po::options_description description;
    std::vector<std::string> known;
    for (const OptionSpec& option : options) {
        std::string name(option.name);
        known.push_back(name);
        if (option.letter != '\0') name += std::string(",") + option.letter;
        if (option.metavar.empty()) {
            description.add_options()(name.c_str(), "");
        } else {
            description.add_options()(name.c_str(), po::value<std::string>(), "");
        }
    }
    if (job_keys) {
        for (const plan::Key& key : plan::job_keys()) {
            const std::string name(key.name);
            known.push_back(name);
            description.add_options()(name.c_str(), po::value<std::string>(), "");
        }
    }
    description.add_options()("positional", po::value<std::vector<std::string>>(), "");
    po::positional_options_description places;
    places.add("positional", -1);

    ParsedOptions parsed;
    try {
        const int style =
            po::command_line_style::unix_style & ~po::command_line_style::allow_guessing;
        const auto found = po::command_line_parser(arguments)
                               .options(description)
                               .positional(places)
                               .style(style)
                               .run();
        for (const auto& option : found.options) {
            if (option.position_key >= 0) {
                parsed.positional.push_back(option.value.front());
                continue;
            }
            const std::string value = option.value.empty() ? "yes" : option.value.front();
            auto& target = job_keys && plan::find_key(option.string_key) != nullptr ? parsed.job
                                                                                    : parsed.values;
            if (!target.emplace(option.string_key, value).second) {
                throw Error(ErrorKind::usage, "--" + option.string_key + " is given twice");
            }
        }
    } catch (const po::unknown_option& error) {
        const std::string name = error.get_option_name();
        const std::string bare = name.substr(name.find_first_not_of('-'));
        const std::string near = nearest_name(bare, known);
        throw Error(ErrorKind::usage, "unknown option '" + name + "'",
                    {.hint = near.empty() ? "See --help." : "Did you mean '--" + near + "'?"});
    } catch (const po::error& error) {
        throw Error(ErrorKind::usage, error.what(), {.hint = "See --help."});
    }
    // `--help` asks for nothing else.
    if (parsed.flag("help")) return parsed;
    const int count = static_cast<int>(parsed.positional.size());
    if (count < positional.least) {
        throw Error(ErrorKind::usage, std::string(positional.metavar) + " is missing",
                    {.hint = std::string(positional.help)});
    }
    if (positional.most >= 0 && count > positional.most) {
        throw Error(ErrorKind::usage,
                    "unexpected argument '" +
                        parsed.positional[static_cast<std::size_t>(positional.most)] + "'",
                    {.hint = "See --help."});
    }
    return parsed;
}

std::string help_entry(std::string line, std::string_view help) {
    constexpr std::size_t indent = 26;
    constexpr std::size_t width = 80;
    line += line.size() + 2 > indent ? "\n" + std::string(indent, ' ')
                                     : std::string(indent - line.size(), ' ');
    std::size_t column = indent;
    for (const std::string& word : split(help, ' ')) {
        if (column + word.size() > width) {
            if (line.back() == ' ' && column > indent) line.pop_back();
            line += "\n" + std::string(indent, ' ');
            column = indent;
        }
        line += word + " ";
        column += word.size() + 1;
    }
    while (line.back() == ' ') line.pop_back();
    return line + "\n";
}

std::string options_help(const std::vector<OptionSpec>& options) {
    std::string text;
    for (const OptionSpec& option : options) {
        std::string line =
            option.letter != '\0' ? std::string("  -") + option.letter + ", " : "      ";
        line += "--" + std::string(option.name);
        if (!option.metavar.empty()) line += " " + std::string(option.metavar);
        std::string help(option.help);
        if (!option.fallback.empty()) help += " [" + std::string(option.fallback) + "]";
        text += help_entry(line, help);
    }
    return text;
}

}  // namespace catchfield::cli
