// SPDX-License-Identifier: MIT
// Time of the whole chain and of each of its stages, on the demo farm and on a real field of 34 ha
// at 5 m (open data, found through CATCHFIELD_OPEN_DATA). Counters are seconds per iteration.
#include "gis/start.hpp"
#include "plan/field_plan.hpp"
#include "plan/inputs.hpp"
#include "plan/run.hpp"
#include "plan/start.hpp"
#include "plan/writer.hpp"

#include <benchmark/benchmark.h>

#include <cstdlib>
#include <filesystem>
#include <map>
#include <stdlib.h>

namespace catchfield::plan {
namespace {

namespace fs = std::filesystem;

/// A folder that goes away with the program.
const fs::path& folder() {
    struct Folder {
        fs::path path;
        Folder() {
            std::string pattern = fs::temp_directory_path() / "bench-plan-XXXXXX";
            path = mkdtemp(pattern.data());
        }
        ~Folder() {
            std::error_code ignored;
            fs::remove_all(path, ignored);
        }
    };
    static const Folder made;
    return made.path;
}

Job demo() {
    const fs::path farm = fs::path(CATCHFIELD_SOURCE_DIR) / "geodata-samples";
    return make_job(read_job_values(farm / "job.ini"), farm);
}

/// The real field's job as `catchfield start` writes it; nothing where the data are not there.
std::optional<Job> ohio() {
    const char* data = std::getenv("CATCHFIELD_OPEN_DATA");
    if (data == nullptr || !fs::exists(fs::path(data) / "ohio-field")) return std::nullopt;
    const fs::path file = folder() / "ohio.ini";
    if (!fs::exists(file)) {
        StartRequest request;
        request.inputs = {(fs::path(data) / "ohio-field").string()};
        request.output = file.string();
        start_job(request);
    }
    return make_job(read_job_values(file), file.parent_path());
}

/// The fields one after the other, inputs read before: the chain's own cost by stage.
void run_stages(benchmark::State& state, const Job& job) {
    const Inputs inputs = load_inputs(job);
    std::map<std::string, double> stages;
    double hectares = 0.0;
    std::size_t cells = 0;
    for (auto _ : state) {
        for (const FieldBoundary& field : inputs.fields) {
            const FieldResult result = plan_field(inputs, field);
            const FieldFiles files = make_field_files(inputs, result);
            benchmark::DoNotOptimize(files.files.size());
            for (const auto& [stage, seconds] : result.seconds) stages[stage] += seconds;
            hectares += result.area_ha;
            cells += result.frame.size();
        }
    }
    for (const auto& [stage, seconds] : stages)
        state.counters[stage + "_s"] =
            benchmark::Counter(seconds, benchmark::Counter::kAvgIterations);
    state.counters["ha"] = benchmark::Counter(hectares, benchmark::Counter::kAvgIterations);
    state.counters["cells"] =
        benchmark::Counter(static_cast<double>(cells), benchmark::Counter::kAvgIterations);
}

/// As the command does it: inputs read, plan folder written and checked.
void run_whole(benchmark::State& state, const Job& job) {
    PlanRequest request;
    request.job = job;
    request.output = (folder() / "plan").string();
    request.overwrite = true;
    request.threads = static_cast<int>(state.range(0));
    for (auto _ : state) {
        const RunSummary summary = run_plan(request, {});
        benchmark::DoNotOptimize(summary.complete);
    }
}

void demo_stages(benchmark::State& state) {
    gis::start({});
    run_stages(state, demo());
}

void demo_whole(benchmark::State& state) {
    gis::start({});
    run_whole(state, demo());
}

void ohio_stages(benchmark::State& state) {
    gis::start({});
    if (const auto job = ohio()) {
        run_stages(state, *job);
    } else {
        state.SkipWithError("CATCHFIELD_OPEN_DATA has no ohio-field");
    }
}

void ohio_whole(benchmark::State& state) {
    gis::start({});
    if (const auto job = ohio()) {
        run_whole(state, *job);
    } else {
        state.SkipWithError("CATCHFIELD_OPEN_DATA has no ohio-field");
    }
}

BENCHMARK(demo_stages)->Unit(benchmark::kMillisecond)->UseRealTime();
BENCHMARK(demo_whole)->Arg(1)->Arg(2)->Unit(benchmark::kMillisecond)->UseRealTime();
BENCHMARK(ohio_stages)->Unit(benchmark::kMillisecond)->UseRealTime();
BENCHMARK(ohio_whole)->Arg(1)->Arg(2)->Unit(benchmark::kMillisecond)->UseRealTime();

}  // namespace
}  // namespace catchfield::plan
