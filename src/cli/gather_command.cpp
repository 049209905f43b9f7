// SPDX-License-Identifier: MIT
// catchfield gather: the shares of a job made into one plan.
#include "base/error.hpp"
#include "cli/commands.hpp"
#include "cli/results_options.hpp"
#include "plan/gather.hpp"

namespace catchfield::cli {

namespace {

class GatherCommand final : public Command {
  public:
    std::string_view name() const override { return "gather"; }
    std::string_view summary() const override { return "joins plans that were made in shares"; }
    std::string_view description() const override {
        return "Reads the folders that 'catchfield plan --share I/N' has written and joins them "
               "into\n"
               "the plan that one run of the whole job would have written, byte for byte. Refuses\n"
               "where a share or a field is missing or there twice, or where shares come from "
               "other\n"
               "settings, inputs or versions. The shares stay as they are.";
    }
    PositionalSpec positional() const override {
        return {"DIR...", "Folders of all shares, in any order.", 1, -1};
    }
    std::vector<OptionSpec> options() const override {
        std::vector<OptionSpec> options = {
            {"output", 'o', "DIR", "", "Folder for the plan; it must not exist yet."},
            {"overwrite", '\0', "", "", "Replace the folder if it exists."},
            {"strict", '\0', "", "",
             "Fail (exit code 1) where a field is skipped or partly covered."}};
        add_results_options(options);
        return options;
    }

    void setup(const ParsedOptions& options) override {
        m_request.shares = options.positional;
        m_request.output = options.text("output");
        if (m_request.output.empty()) {
            throw Error(ErrorKind::usage, "--output is missing",
                        {.hint = "Name a folder for the plan."});
        }
        m_request.results = results_of(options);
        m_request.overwrite = options.flag("overwrite");
        m_request.strict = options.flag("strict");
        m_request.threads = options.integer("threads", 0, 0, 1024);
    }

    int run(Console& console) override {
        const plan::RunSummary summary = plan::run_gather(m_request, console.monitor());
        for (const std::string& line : summary.timings) console.detail(line);
        if (console.json) {
            console.print(plan::plan_json(m_request.output));
        } else {
            console.say(summary.table);
        }
        return summary.complete ? all_done : partly;
    }

  private:
    plan::GatherRequest m_request;
};

}  // namespace

std::unique_ptr<Command> gather_command() {
    return std::make_unique<GatherCommand>();
}

}  // namespace catchfield::cli
