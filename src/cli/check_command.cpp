// SPDX-License-Identifier: MIT
// catchfield check: opens and validates everything, writes nothing.
#include "cli/commands.hpp"
#include "cli/job_input.hpp"
#include "plan/check.hpp"
#include "plan/plan_check.hpp"

#include <filesystem>

namespace catchfield::cli {

namespace {

class CheckCommand final : public Command {
  public:
    std::string_view name() const override { return "check"; }
    std::string_view summary() const override {
        return "says what a run would do and what is missing";
    }
    std::string_view description() const override {
        return "Opens every input of a job and checks it against the fields. Prints what was "
               "found, how\n"
               "much of the fields it covers, what is missing and what that costs in confidence.\n"
               "Given the folder of a plan made earlier, it checks that plan instead: every file "
               "against\n"
               "its fingerprint, tables and maps against each other, and whether the inputs have "
               "changed.\n"
               "Writes nothing.";
    }
    PositionalSpec positional() const override {
        return {"JOB|PLAN", "Job file ('catchfield start' makes one), or the folder of a plan.", 0,
                1};
    }
    std::vector<OptionSpec> options() const override {
        return {{"allow-virtual", '\0', "", "", "Accept VRT rasters, which can name other files."},
                {"allow-remote", '\0', "", "", "Accept inputs on a network (/vsicurl/, http://)."}};
    }
    bool takes_job_keys() const override { return true; }

    void setup(const ParsedOptions& options) override {
        std::error_code ignored;
        if (!options.positional.empty() &&
            std::filesystem::is_directory(options.positional.front(), ignored)) {
            m_plan = options.positional.front();
            return;
        }
        m_job = job_of(options);
        m_allow_virtual = options.flag("allow-virtual");
        m_allow_remote = options.flag("allow-remote");
    }

    int run(Console& console) override {
        if (!m_plan.empty()) {
            const plan::PlanCheck check = plan::check_plan(m_plan);
            console.print(console.json ? check.json() : check.text());
            return check.fine() ? all_done : failed;
        }
        for (const auto& [key, value] : plan::resolved_values(m_job))
            console.detail(key + " = " + value);
        const plan::Readiness readiness = plan::check_job(m_job, m_allow_virtual, m_allow_remote);
        console.print(console.json ? readiness.json() : readiness.text());
        return readiness.ready() ? readiness.complete() ? all_done : partly : failed;
    }

  private:
    std::string m_plan;
    plan::Job m_job;
    bool m_allow_virtual = false;
    bool m_allow_remote = false;
};

}  // namespace

std::unique_ptr<Command> check_command() {
    return std::make_unique<CheckCommand>();
}

}  // namespace catchfield::cli
