// SPDX-License-Identifier: MIT
// catchfield start: a job file from what is there.
#include "base/error.hpp"
#include "base/text.hpp"
#include "cli/commands.hpp"
#include "plan/start.hpp"
#include "plan/stop_plan.hpp"

#include <nlohmann/json.hpp>

#include <chrono>
#include <optional>

namespace catchfield::cli {

namespace {

class StartCommand final : public Command {
  public:
    std::string_view name() const override { return "start"; }
    std::string_view summary() const override {
        return "looks at your files and writes a job file";
    }
    std::string_view description() const override {
        return "Looks at files, or at all files of a folder, finds out by their content what each\n"
               "one is, and writes a commented job file. Says what it is unsure of.\n"
               "With --stops it takes a job file or a plan folder instead, and proposes where to\n"
               "push the penetrometer in each zone: OUTPUT.geojson and OUTPUT.gpx to walk by.";
    }
    PositionalSpec positional() const override {
        return {"FILE|FOLDER...", "Inputs to look at.", 1, -1};
    }
    std::vector<OptionSpec> options() const override {
        return {
            {"output", 'o', "JOB", "",
             "Job file to write (default job.ini); with --stops, name without ending (stops)."},
            {"overwrite", '\0', "", "", "Replace what exists under that name."},
            {"stops", '\0', "N", "", "Propose N penetrometer stops in every field."},
            {"seed", '\0', "N", "1", "Seed of the stops; another one gives other places."},
            {"metric", '\0', "", "", "Propose metric units also for fields in the United States."}};
    }
    void setup(const ParsedOptions& options) override {
        if (options.values.contains("stops")) {
            if (options.positional.size() != 1) {
                throw Error(ErrorKind::usage, "--stops takes one job file or plan folder",
                            {.hint = "For example: catchfield start job.ini --stops 30."});
            }
            m_stops = plan::StopPlanRequest{};
            m_stops->source = options.positional.front();
            m_stops->stops = static_cast<std::size_t>(options.integer("stops", 30, 1, 100000));
            m_stops->seed =
                static_cast<std::uint64_t>(options.integer("seed", 1, 0, 2'000'000'000));
            m_stops->output = options.text("output", "stops");
            for (const std::string ending : {".geojson", ".gpx"}) {
                if (lower_case(m_stops->output).ends_with(ending)) {
                    m_stops->output.resize(m_stops->output.size() - ending.size());
                }
            }
            m_stops->overwrite = options.flag("overwrite");
            return;
        }
        m_request.inputs = options.positional;
        m_request.output = options.text("output", "job.ini");
        m_request.overwrite = options.flag("overwrite");
        m_request.metric = options.flag("metric");
    }
    int run(Console& console) override {
        if (m_stops) return run_stops(console);
        m_request.today = std::chrono::floor<std::chrono::days>(std::chrono::system_clock::now());
        const plan::StartResult result = plan::start_job(m_request);
        if (console.json) {
            const nlohmann::ordered_json json{{"job", m_request.output},
                                              {"place", result.place},
                                              {"found", result.found},
                                              {"unsure", result.unsure}};
            console.print(
                json.dump(2, ' ', false, nlohmann::ordered_json::error_handler_t::replace) + "\n");
            return all_done;
        }
        console.say("fields   " + result.place);
        for (const std::string& line : result.found) console.say("found    " + line);
        for (const std::string& line : result.unsure) console.say("look at  " + line);
        console.say("Wrote " + m_request.output + ". Look at it, then: catchfield check " +
                    m_request.output);
        return all_done;
    }

  private:
    int run_stops(Console& console) {
        const plan::StopPlanResult result = plan::plan_stop_places(*m_stops);
        if (console.json) {
            const nlohmann::ordered_json json{{"files", result.files},
                                              {"stops", result.stops},
                                              {"fields", result.lines},
                                              {"warnings", result.warnings}};
            console.print(
                json.dump(2, ' ', false, nlohmann::ordered_json::error_handler_t::replace) + "\n");
            return all_done;
        }
        for (const std::string& line : result.lines) console.say(line);
        for (const std::string& line : result.warnings) console.say("look at  " + line);
        console.say("Wrote " + result.files[0] + " and " + result.files[1] + ": " +
                    std::to_string(result.stops) +
                    " stops. Push them about a day after a soaking rain.");
        return all_done;
    }

    plan::StartRequest m_request;
    std::optional<plan::StopPlanRequest> m_stops;
};

}  // namespace

std::unique_ptr<Command> start_command() {
    return std::make_unique<StartCommand>();
}

}  // namespace catchfield::cli
