// SPDX-License-Identifier: MIT
// catchfield start: a job file from what is there.
#include "cli/commands.hpp"
#include "plan/start.hpp"

#include <nlohmann/json.hpp>

namespace catchfield::cli {

namespace {

class StartCommand final : public Command {
  public:
    std::string_view name() const override { return "start"; }
    std::string_view summary() const override {
        return "looks at your files and writes a job file";
    }
    std::string_view description() const override {
        return "Looks at files, or at all files of a folder, finds out what each one is, and "
               "writes a\n"
               "commented job file with what it found and what it is unsure of.";
    }
    PositionalSpec positional() const override {
        return {"FILE|FOLDER...", "Inputs to look at.", 1, -1};
    }
    std::vector<OptionSpec> options() const override {
        return {{"output", 'o', "JOB", "job.ini", "Job file to write."},
                {"overwrite", '\0', "", "", "Replace the job file if it exists."},
                {"metric", '\0', "", "", "Propose metric units."}};
    }
    void setup(const ParsedOptions& options) override {
        m_request.inputs = options.positional;
        m_request.output = options.text("output", "job.ini");
        m_request.overwrite = options.flag("overwrite");
        m_request.metric = options.flag("metric");
    }
    int run(Console& console) override {
        const plan::StartResult result = plan::start_job(m_request);
        if (console.json) {
            const nlohmann::ordered_json json{
                {"job", m_request.output}, {"found", result.found}, {"unsure", result.unsure}};
            console.print(
                json.dump(2, ' ', false, nlohmann::ordered_json::error_handler_t::replace) + "\n");
            return all_done;
        }
        for (const std::string& line : result.found) console.say("found    " + line);
        for (const std::string& line : result.unsure) console.say("look at  " + line);
        console.say("Wrote " + m_request.output + ". Look at it, then: catchfield check " +
                    m_request.output);
        return all_done;
    }

  private:
    plan::StartRequest m_request;
};

}  // namespace

std::unique_ptr<Command> start_command() {
    return std::make_unique<StartCommand>();
}

}  // namespace catchfield::cli
