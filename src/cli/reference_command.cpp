// SPDX-License-Identifier: MIT
// catchfield reference: keys, columns, man page and completions from the program's own tables.
#include "base/error.hpp"
#include "cli/commands.hpp"
#include "cli/completion.hpp"
#include "cli/manual.hpp"
#include "plan/reference.hpp"

#include <array>
#include <utility>

namespace catchfield::cli {

namespace {

using Page = std::pair<std::string_view, std::string (*)()>;

constexpr std::array<Page, 5> pages = {{{"job-file", plan::job_file_reference},
                                        {"outputs", plan::outputs_reference},
                                        {"man", man_page},
                                        {"bash", bash_completion},
                                        {"zsh", zsh_completion}}};

class ReferenceCommand final : public Command {
  public:
    std::string_view name() const override { return "reference"; }
    std::string_view summary() const override {
        return "prints keys, columns, man page, completions";
    }
    std::string_view description() const override {
        return "Prints a reference made from the program's own tables: the job file's keys or the\n"
               "outputs' columns as Markdown, the man page, or the completion script of a shell.";
    }
    PositionalSpec positional() const override {
        return {"job-file|outputs|man|bash|zsh", "Which page.", 1, 1};
    }
    std::vector<OptionSpec> options() const override { return {}; }
    void setup(const ParsedOptions& options) override {
        const std::string& name = options.positional.front();
        std::vector<std::string> names;
        for (const auto& [known, make] : pages) {
            if (known == name) m_make = make;
            names.emplace_back(known);
        }
        if (m_make != nullptr) return;
        const std::string near = nearest_name(name, names);
        throw Error(ErrorKind::usage, "'" + name + "' is no reference page",
                    {.hint = near.empty() ? "Give job-file, outputs, man, bash or zsh."
                                          : "Did you mean '" + near + "'?"});
    }
    int run(Console& console) override {
        console.print(m_make());
        return all_done;
    }

  private:
    std::string (*m_make)() = nullptr;
};

}  // namespace

std::unique_ptr<Command> reference_command() {
    return std::make_unique<ReferenceCommand>();
}

}  // namespace catchfield::cli
