// SPDX-License-Identifier: MIT
// catchfield check: opens and validates everything, writes nothing.
#include "cli/commands.hpp"
#include "cli/job_input.hpp"
#include "plan/check.hpp"

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
               "Writes nothing.";
    }
    PositionalSpec positional() const override {
        return {"JOB", "Job file; 'catchfield start' makes one.", 0, 1};
    }
    std::vector<OptionSpec> options() const override {
        return {{"allow-virtual", '\0', "", "", "Accept VRT rasters, which can name other files."},
                {"allow-remote", '\0', "", "", "Accept inputs on a network (/vsicurl/, http://)."}};
    }
    bool takes_job_keys() const override { return true; }

    void setup(const ParsedOptions& options) override {
        m_job = job_of(options);
        m_allow_virtual = options.flag("allow-virtual");
        m_allow_remote = options.flag("allow-remote");
    }

    int run(Console& console) override {
        for (const auto& [key, value] : plan::resolved_values(m_job))
            console.detail(key + " = " + value);
        const plan::Readiness readiness = plan::check_job(m_job, m_allow_virtual, m_allow_remote);
        console.print(console.json ? readiness.json() : readiness.text());
        return readiness.ready() ? readiness.complete() ? all_done : partly : failed;
    }

  private:
    plan::Job m_job;
    bool m_allow_virtual = false;
    bool m_allow_remote = false;
};

}  // namespace

std::unique_ptr<Command> check_command() {
    return std::make_unique<CheckCommand>();
}

}  // namespace catchfield::cli
