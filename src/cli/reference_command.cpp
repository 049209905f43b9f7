// SPDX-License-Identifier: MIT
// catchfield reference: keys and columns as Markdown, from the program's own tables.
#include "base/error.hpp"
#include "cli/commands.hpp"
#include "plan/reference.hpp"

namespace catchfield::cli {

namespace {

class ReferenceCommand final : public Command {
  public:
    std::string_view name() const override { return "reference"; }
    std::string_view summary() const override { return "prints all keys or all columns"; }
    std::string_view description() const override {
        return "Prints the reference of the job file's keys or of the outputs' columns as Markdown.";
    }
    PositionalSpec positional() const override { return {"job-file|outputs", "Which page.", 1, 1}; }
    std::vector<OptionSpec> options() const override { return {}; }
    void setup(const ParsedOptions& options) override {
        m_page = options.positional.empty() ? "" : options.positional.front();
        if (m_page != "job-file" && m_page != "outputs") {
            throw Error(ErrorKind::usage, "'" + m_page + "' is no reference page", {.hint = "Give job-file or outputs."});
        }
    }
    int run(Console& console) override {
        console.print(m_page == "job-file" ? plan::job_file_reference() : plan::outputs_reference());
        return all_done;
    }

  private:
    std::string m_page;
};

}  // namespace

std::unique_ptr<Command> reference_command() {
    return std::make_unique<ReferenceCommand>();
}

}  // namespace catchfield::cli
