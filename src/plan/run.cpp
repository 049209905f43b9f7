// SPDX-License-Identifier: MIT
#include "plan/run.hpp"

#include "base/error.hpp"
#include "gis/files.hpp"
#include "gis/start.hpp"
#include "plan/assemble.hpp"
#include "plan/field_plan.hpp"
#include "plan/finished_fields.hpp"
#include "plan/inputs.hpp"

#include <fmt/core.h>

#include <atomic>
#include <chrono>

namespace catchfield::plan {

namespace {

/// Positions of a share's fields in the job.
std::vector<std::size_t> numbers_of(const Inputs& inputs, const Share& share) {
    const std::vector<std::size_t> shares =
        shares_of(inputs.fields, inputs.boundary_crs, share.count);
    std::vector<std::size_t> numbers;
    for (std::size_t i = 0; i < shares.size(); ++i) {
        if (shares[i] == share.index) numbers.push_back(i);
    }
    return numbers;
}

}  // namespace

RunSummary run_plan(const PlanRequest& request, const Monitor& monitor) {
    const auto start = std::chrono::steady_clock::now();
    const auto seconds_since = [&] {
        return std::chrono::duration<double>(std::chrono::steady_clock::now() - start).count();
    };
    gis::start({.virtual_rasters = request.allow_virtual, .remote = request.allow_remote});
    const Inputs inputs = load_inputs(request.job);
    const RunHead head = run_head(inputs, request.share);
    const std::vector<std::size_t> numbers = numbers_of(inputs, request.share.value_or(Share{}));
    const double load_seconds = seconds_since();
    if (monitor.stop_asked && monitor.stop_asked()) throw Stopped{};

    std::optional<ResultStore> store;
    if (request.results) store.emplace(head, request.results);
    gis::StagedFolder folder(request.output, request.overwrite, gis::Staging::lasting);
    if (request.fresh) folder.clear();
    // A failed run leaves nothing of its own; what an earlier run finished it leaves as it is.
    folder.keep(folder.found() && !request.fresh);
    FinishedFields finished(inputs, head, numbers, folder.path());
    folder.keep(finished.found() > 0);
    if (folder.found() && monitor.say) {
        if (finished.found() > 0) {
            monitor.say(fmt::format("resuming: {} of {} fields were finished", finished.found(),
                                    numbers.size()));
        } else if (finished.outdated()) {
            monitor.say("starting over: the unfinished run had other settings or inputs");
        }
    }
    std::atomic<std::size_t> ready = 0;
    const auto make_field = [&](std::size_t place) {
        if (std::optional<FinishedField> found = finished.load(place)) {
            ++ready;
            return std::move(*found);
        }
        const FieldResult result = plan_field(inputs, inputs.fields[numbers[place]]);
        FinishedField field = finish_field(inputs, head, result, folder.path());
        const double before = seconds_since();
        finished.add(place, field);
        field.seconds["journal"] += seconds_since() - before;
        ++ready;
        return field;
    };
    const auto count_kept = [&] { return std::max<std::size_t>(ready, finished.found()); };
    AssembleRequest parts;
    parts.fields = numbers.size();
    parts.threads = request.threads;
    parts.strict = request.strict;
    parts.output = request.output;
    const auto send = [&](const auto& what) {
        try {
            what();
        } catch (const Error&) {
            folder.keep();  // what is finished need not be made again
            throw;
        }
    };
    // Fields that were finished before go to the database again: it replaces field by field.
    if (store) {
        parts.also = [&](const FinishedField& field) { send([&] { store->add(field.rows); }); };
    }
    parts.sealed = [&] {
        if (store) send([&] { store->finish(); });
        if (request.share) finished.seal();
    };
    if (!request.share) parts.working_file = journal_name;
    try {
        RunSummary summary = assemble(head, folder, parts, make_field, monitor);
        summary.timings.insert(summary.timings.begin(),
                               fmt::format("reading inputs {:.3f} s", load_seconds));
        summary.timings.push_back(fmt::format("all {:.3f} s", seconds_since()));
        if (store) summary.table += "\nDatabase: " + store->place();
        return summary;
    } catch (const Error&) {
        if (folder.kept() && monitor.say) {
            monitor.say(
                fmt::format("the fields that are finished are kept: {} of {}; --fresh "
                            "starts over",
                            count_kept(), numbers.size()));
        }
        throw;
    } catch (Stopped& stopped) {
        const std::size_t kept = count_kept();
        folder.keep(kept > 0);
        if (kept > 0) {
            stopped.kept = fmt::format(
                "{} of {} fields are finished and kept. Give the same command again to go on; "
                "--fresh starts over.",
                kept, numbers.size());
        }
        throw;
    }
}

std::string plan_json(const std::string& folder) {
    return gis::read_file(folder + "/run.json");
}

}  // namespace catchfield::plan
