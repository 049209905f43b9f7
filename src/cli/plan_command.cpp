// SPDX-License-Identifier: MIT
// catchfield plan: the whole job for every field.
#include "base/error.hpp"
#include "base/text.hpp"
#include "cli/commands.hpp"
#include "cli/job_input.hpp"
#include "cli/results_options.hpp"
#include "plan/run.hpp"

namespace catchfield::cli {

namespace {

class PlanCommand final : public Command {
  public:
    std::string_view name() const override { return "plan"; }
    std::string_view summary() const override { return "does the whole job for every field"; }
    std::string_view description() const override {
        return "Reads a job file, makes management zones in every field, and writes for each zone "
               "soil\n"
               "loss with and without cover, the cover crop that fits, where a taproot is worth "
               "its\n"
               "seed, and the next crop's nitrogen rate, as maps and tables in one folder.";
    }
    PositionalSpec positional() const override {
        return {"JOB", "Job file; 'catchfield start' makes one.", 0, 1};
    }
    std::vector<OptionSpec> options() const override {
        std::vector<OptionSpec> options = {
            {"output", 'o', "DIR", "", "Folder for the results; it must not exist yet."},
            {"overwrite", '\0', "", "", "Replace the folder if it exists."},
            {"strict", '\0', "", "",
             "Fail (exit code 1) where a field is skipped or partly covered."},
            {"share", '\0', "I/N", "",
             "Plan only the I-th of N parts of the fields; 'catchfield gather' joins them."},
            {"fresh", '\0', "", "",
             "Start over where an earlier run was stopped or killed, instead of going on."},
            {"allow-virtual", '\0', "", "", "Accept VRT rasters, which can name other files."},
            {"allow-remote", '\0', "", "", "Accept inputs on a network (/vsicurl/, http://)."}};
        add_results_options(options);
        return options;
    }
    bool takes_job_keys() const override { return true; }

    void setup(const ParsedOptions& options) override {
        m_request.job = job_of(options);
        m_request.output = options.text("output");
        if (m_request.output.empty()) {
            throw Error(ErrorKind::usage, "--output is missing",
                        {.hint = "Name a folder for the results."});
        }
        m_request.overwrite = options.flag("overwrite");
        m_request.results = results_of(options);
        m_request.fresh = options.flag("fresh");
        const std::string share = options.text("share");
        if (!share.empty()) m_request.share = plan::parse_share(share);
        m_request.strict = options.flag("strict");
        m_request.threads = options.integer("threads", 0, 0, 1024);
        m_request.allow_virtual = options.flag("allow-virtual");
        m_request.allow_remote = options.flag("allow-remote");
    }

    int run(Console& console) override {
        for (const auto& [key, value] : plan::resolved_values(m_request.job)) {
            console.detail(key + " = " + value);
        }
        const plan::RunSummary summary = plan::run_plan(m_request, console.monitor());
        for (const std::string& line : summary.timings) console.detail(line);
        if (console.json) {
            console.print(plan::plan_json(m_request.output));
        } else {
            console.say(summary.table);
        }
        return summary.complete ? all_done : m_request.strict ? failed : partly;
    }

  private:
    plan::PlanRequest m_request;
};

}  // namespace

std::unique_ptr<Command> plan_command() {
    return std::make_unique<PlanCommand>();
}

}  // namespace catchfield::cli
