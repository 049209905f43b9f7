// SPDX-License-Identifier: MIT
#include "cli/completion.hpp"

#include "base/text.hpp"
#include "cli/command.hpp"
#include "plan/keys.hpp"
#include "plan/species.hpp"

#include <vector>

namespace catchfield::cli {

namespace {

/// What may stand as a value.
struct Values {
    enum Kind { none, free, files, words, species, species_list } kind = free;
    std::vector<std::string> list{};
};

struct Entry {
    std::string name;
    char letter = '\0';
    std::string metavar;
    std::string help;
    Values values;
};

bool holds(std::string_view text, std::string_view part) {
    return text.find(part) != std::string_view::npos;
}

/// From what stands for the value in help: FILE, DIR, JOB are files, a|b|c is a choice.
Values values_of(std::string_view metavar) {
    if (metavar.empty()) return {Values::none};
    for (const char* word : {"FILE", "FOLDER", "DIR", "JOB", "TRIAL"}) {
        if (holds(metavar, word)) return {Values::files};
    }
    if (metavar == "[ID]") return {Values::species};
    if (holds(metavar, "|")) return {Values::words, split(metavar, '|')};
    return {Values::free};
}

Values values_of(const plan::Key& key) {
    if (key.name == "cover.candidates") return {Values::species_list};
    switch (key.type) {
        case plan::KeyType::path:
            return {Values::files};
        case plan::KeyType::yes_no:
            return {Values::words, {"yes", "no"}};
        case plan::KeyType::choice:
            return {Values::words, split(key.choices, '|')};
        default:
            return {Values::free};
    }
}

std::vector<Entry> option_entries(const Command& command) {
    std::vector<OptionSpec> options = command.options();
    options.insert(options.end(), common_options().begin(), common_options().end());
    std::vector<Entry> entries;
    for (const OptionSpec& option : options) {
        entries.push_back({std::string(option.name), option.letter, std::string(option.metavar),
                           std::string(option.help), values_of(option.metavar)});
    }
    return entries;
}

std::vector<Entry> key_entries() {
    std::vector<Entry> entries;
    for (const plan::Key& key : plan::job_keys()) {
        entries.push_back({std::string(key.name), '\0', std::string(key.metavar),
                           std::string(key.help), values_of(key)});
    }
    return entries;
}

std::string joined(const std::vector<std::string>& words) {
    std::string text;
    for (const std::string& word : words) text += (text.empty() ? "" : " ") + word;
    return text;
}

// ---- bash

std::string bash_reply(const Values& values) {
    switch (values.kind) {
        case Values::files:
            return "_catchfield_files";
        case Values::words:
            return "_catchfield_words \"" + joined(values.list) + "\"";
        case Values::species:
            return "_catchfield_words \"$_catchfield_species\"";
        case Values::species_list:
            return "_catchfield_species_list";
        default:
            return ":";
    }
}

/// Lines of a case statement on the word before the cursor.
std::string bash_cases(const std::vector<Entry>& entries, const std::string& indent) {
    std::string text;
    for (const Entry& entry : entries) {
        if (entry.values.kind == Values::none) continue;
        text += indent + "--" + entry.name;
        if (entry.letter != '\0') text += std::string("|-") + entry.letter;
        text += ") " + bash_reply(entry.values) + "; return ;;\n";
    }
    return text;
}

std::string bash_names(const std::vector<Entry>& entries) {
    std::string text;
    for (const Entry& entry : entries) {
        if (entry.letter != '\0') text += std::string(" -") + entry.letter;
        text += " --" + entry.name;
    }
    return text.empty() ? text : text.substr(1);
}

// ---- zsh

/// Text inside single quotes, with what _arguments reads as its own escaped.
std::string zsh_text(std::string_view text) {
    std::string safe;
    for (const char c : text) {
        if (c == '\'') {
            safe += "'\\''";
        } else {
            if (c == '[' || c == ']' || c == ':' || c == '\\') safe += '\\';
            safe += c;
        }
    }
    return safe;
}

std::string zsh_action(const Values& values) {
    switch (values.kind) {
        case Values::files:
            return "_files";
        case Values::words: {
            std::string text = "(";
            for (const std::string& word : values.list) {
                text += (text.size() == 1 ? "" : " ") + zsh_text(word);
            }
            return text + ")";
        }
        case Values::species:
            return "($_catchfield_species)";
        case Values::species_list:
            return "_values -s , species $_catchfield_species";
        default:
            return " ";
    }
}

std::string zsh_specs(const std::vector<Entry>& entries, const std::string& indent) {
    std::string text;
    for (const Entry& entry : entries) {
        const bool value = entry.values.kind != Values::none;
        std::string tail = "[" + zsh_text(entry.help) + "]";
        if (value) tail += ":" + zsh_text(entry.metavar) + ":" + zsh_action(entry.values);
        text += indent + "'--" + entry.name + (value ? "=" : "") + tail + "'\n";
        if (entry.letter != '\0')
            text += indent + "'-" + entry.letter + (value ? "+" : "") + tail + "'\n";
    }
    return text;
}

}  // namespace

std::string bash_completion() {
    std::string names;
    std::string cases;
    for (const auto& command : all_commands()) {
        const std::string name(command->name());
        names += (names.empty() ? "" : " ") + name;
        const std::vector<Entry> entries = option_entries(*command);
        std::string options = bash_names(entries);
        if (command->takes_job_keys()) options += " $_catchfield_keys";
        cases += "        " + name + ")\n            options=\"" + options + "\"\n" +
                 "            case $prev in\n" + bash_cases(entries, "                ") +
                 "            esac\n";
        if (command->takes_job_keys()) cases += "            _catchfield_key_value && return\n";
        cases += "            [[ $cur == -* ]] || " +
                 bash_reply(values_of(command->positional().metavar)) + "\n            ;;\n";
    }
    const std::vector<Entry> keys = key_entries();
    return "# Completion of catchfield for bash, made by 'catchfield reference bash' from the\n"
           "# program's own tables.\n\n"
           "_catchfield_species=\"" +
           joined(plan::species_ids()) + "\"\n_catchfield_keys=\"" + bash_names(keys) +
           "\"\n\n"
           "_catchfield_words() {\n"
           "    mapfile -t COMPREPLY < <(compgen -W \"$1\" -- \"$cur\")\n}\n\n"
           "_catchfield_files() {\n"
           "    compopt -o filenames 2>/dev/null\n"
           "    mapfile -t COMPREPLY < <(compgen -f -- \"$cur\")\n}\n\n"
           "# The last of a list of species; those before it stay.\n"
           "_catchfield_species_list() {\n"
           "    local before=\"\"\n"
           "    [[ $cur == *,* ]] && before=${cur%,*},\n"
           "    compopt -o nospace 2>/dev/null\n"
           "    mapfile -t COMPREPLY < <(compgen -P \"$before\" -W \"$_catchfield_species\" -- "
           "\"${cur##*,}\")\n}\n\n"
           "# Values of the job file's keys; fails where the word before the cursor is none.\n"
           "_catchfield_key_value() {\n"
           "    case $prev in\n" +
           bash_cases(keys, "        ") +
           "    esac\n"
           "    return 1\n}\n\n"
           "_catchfield() {\n"
           "    local cur=${COMP_WORDS[COMP_CWORD]} prev=${COMP_WORDS[COMP_CWORD - 1]} "
           "options=\"\"\n"
           "    COMPREPLY=()\n"
           "    if ((COMP_CWORD == 1)); then\n"
           "        _catchfield_words \"" +
           names +
           " --help --version\"\n"
           "        return\n"
           "    fi\n"
           "    # --name=value comes as three words.\n"
           "    if [[ $cur == = ]]; then\n"
           "        cur=\"\"\n"
           "    elif [[ $prev == = ]]; then\n"
           "        prev=${COMP_WORDS[COMP_CWORD - 2]}\n"
           "    fi\n"
           "    case ${COMP_WORDS[1]} in\n" +
           cases +
           "        *) return ;;\n"
           "    esac\n"
           "    if [[ $cur == -* ]]; then _catchfield_words \"$options\"; fi\n}\n\n"
           "complete -F _catchfield catchfield\n";
}

std::string zsh_completion() {
    std::string names, cases;
    for (const auto& command : all_commands()) {
        const std::string name(command->name());
        names += "            '" + name + ":" + zsh_text(command->summary()) + "'\n";
        const PositionalSpec positional = command->positional();
        cases += "        " + name + ")\n            specs=(\n" +
                 zsh_specs(option_entries(*command), "                ");
        if (!positional.metavar.empty()) {
            cases += "                '*:" + zsh_text(positional.metavar) + ":" +
                     zsh_action(values_of(positional.metavar)) + "'\n";
        }
        cases += "            )\n";
        if (command->takes_job_keys()) cases += "            specs+=($keys)\n";
        cases += "            ;;\n";
    }
    return "#compdef catchfield\n"
           "# Completion of catchfield for zsh, made by 'catchfield reference zsh' from the\n"
           "# program's own tables.\n\n"
           "_catchfield() {\n"
           "    local -a _catchfield_species=(" +
           joined(plan::species_ids()) +
           ")\n"
           "    local -a commands specs keys\n"
           "    if ((CURRENT == 2)); then\n"
           "        commands=(\n" +
           names +
           "        )\n"
           "        _describe -t commands command commands\n"
           "        return\n"
           "    fi\n"
           "    keys=(\n" +
           zsh_specs(key_entries(), "        ") +
           "    )\n"
           "    shift words\n"
           "    ((CURRENT--))\n"
           "    case $words[1] in\n" +
           cases +
           "        *) return 1 ;;\n"
           "    esac\n"
           "    _arguments -s $specs\n}\n\n"
           "_catchfield \"$@\"\n";
}

}  // namespace catchfield::cli
