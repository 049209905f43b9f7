// SPDX-License-Identifier: MIT
// catchfield reference: keys, columns, man page, completions and tables of the program itself.
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

constexpr std::array<Page, 7> pages = {{{"job-file", plan::job_file_reference},
                                        {"outputs", plan::outputs_reference},
                                        {"man", man_page},
                                        {"bash", bash_completion},
                                        {"zsh", zsh_completion},
                                        {"species", plan::species_table},
                                        {"credits", plan::credits_table}}};

class ReferenceCommand final : public Command {
  public:
    std::string_view name() const override { return "reference"; }
    std::string_view summary() const override { return "prints keys, columns, tables, man page"; }
    std::string_view description() const override {
        return "Prints a reference made from the program's own tables: the job file's keys or the\n"
               "outputs' columns as Markdown, the man page, the completion script of a shell,\n"
               "or a built-in table as CSV, to lay your own over it.";
    }
    PositionalSpec positional() const override {
        return {"job-file|outputs|man|bash|zsh|species|credits", "Which page.", 1, 1};
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
                    {.hint = near.empty() ? "See --help." : "Did you mean '" + near + "'?"});
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
