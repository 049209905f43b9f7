// SPDX-License-Identifier: MIT
#include "plan/assemble.hpp"

#include "base/error.hpp"
#include "plan/rasters.hpp"
#include "plan/self_check.hpp"
#include "plan/short_line.hpp"
#include "plan/writer.hpp"

#include <fmt/core.h>
#include <tbb/global_control.h>
#include <tbb/info.h>
#include <tbb/parallel_pipeline.h>

#include <atomic>
#include <chrono>
#include <map>
#include <optional>
#include <utility>
#include <vector>

namespace catchfield::plan {

namespace {

constexpr std::size_t most_lines = 40;

/// What is remembered of the fields once they are written: little, because there may be many.
struct Tally {
    std::size_t done = 0, partly = 0, skipped = 0;
    std::string first_reason;             ///< of the first field that was skipped or partly covered
    std::vector<std::string> ids, lines;  ///< of the first fields
    std::map<std::string, double> seconds;

    std::size_t fields() const { return done + partly + skipped; }
    void add(const FinishedField& field) {
        switch (field.record.status) {
            case FieldStatus::done:
                ++done;
                break;
            case FieldStatus::partly:
                ++partly;
                break;
            case FieldStatus::skipped:
                ++skipped;
                break;
        }
        if (first_reason.empty() && !field.record.reasons.empty())
            first_reason = field.record.reasons.front();
        if (lines.size() < most_lines) {
            ids.push_back(field.record.id);
            lines.push_back(field.line);
        }
        for (const auto& [stage, spent] : field.seconds) seconds[stage] += spent;
    }
};

std::string pad(std::string text, std::size_t width) {
    // Counts code points, so that umlauts do not shift the columns.
    std::size_t shown = 0;
    for (const char c : text) shown += (static_cast<unsigned char>(c) & 0xC0) != 0x80;
    if (shown < width) text.append(width - shown, ' ');
    return text;
}

std::string table_of(const Tally& tally) {
    std::size_t width = 5;
    for (const std::string& id : tally.ids)
        width = std::max(width, std::min<std::size_t>(id.size(), 30));
    std::string table = pad("field", width) + "  " + short_head() + "\n";
    for (std::size_t i = 0; i < tally.ids.size(); ++i)
        table += pad(tally.ids[i], width) + "  " + tally.lines[i] + "\n";
    if (tally.fields() > tally.lines.size())
        table += "... and " + std::to_string(tally.fields() - tally.lines.size()) + " more\n";
    return table;
}

}  // namespace

RunSummary assemble(const RunHead& head, gis::StagedFolder& folder, const AssembleRequest& request,
                    const std::function<FinishedField(std::size_t)>& make_field,
                    const Monitor& monitor) {
    using Clock = std::chrono::steady_clock;
    const auto since = [](Clock::time_point start) {
        return std::chrono::duration<double>(Clock::now() - start).count();
    };
    PlanWriter writer(head, folder.path());
    Tally tally;
    std::atomic<bool> stop = false;
    const auto stopping = [&] {
        if (monitor.stop_asked && monitor.stop_asked()) stop = true;
        return stop.load();
    };
    const int threads = request.threads > 0 ? request.threads : tbb::info::default_concurrency();
    const tbb::global_control limit(tbb::global_control::max_allowed_parallelism,
                                    static_cast<std::size_t>(threads));
    // Fields are made side by side and written in their order, so that the bytes do not depend on
    // threads. At most `most` are under way: they bound the memory, and since they are written in
    // order, they are neighbours, so that each has a slot of its own. (The pipeline carries their
    // places only: what it carries is lost where a field cannot be written.)
    const auto most = static_cast<std::size_t>(threads) * 4;
    std::vector<std::optional<FinishedField>> slots(most);
    std::size_t next = 0;
    bool whole = true;
    const auto give = [&](tbb::flow_control& control) -> std::size_t {
        if (next == request.fields || stopping()) {
            control.stop();
            return 0;
        }
        return next++;
    };
    const auto make = [&](std::size_t place) {
        if (!stopping()) slots[place % most] = make_field(place);
        return place;
    };
    const auto write = [&](std::size_t place) {
        const std::optional<FinishedField> made = std::exchange(slots[place % most], std::nullopt);
        whole = whole && made.has_value();
        if (!whole) return;
        const auto start = Clock::now();
        writer.add(*made);
        if (request.also) request.also(*made);
        tally.seconds["writing"] += since(start);
        tally.add(*made);
        if (monitor.progress &&
            !monitor.progress(tally.fields(), request.fields, made->record.id)) {
            stop = true;
        }
    };
    using tbb::filter_mode;
    tbb::parallel_pipeline(
        most, tbb::make_filter<void, std::size_t>(filter_mode::serial_in_order, give) &
                  tbb::make_filter<std::size_t, std::size_t>(filter_mode::parallel, make) &
                  tbb::make_filter<std::size_t, void>(filter_mode::serial_in_order, write));
    if (tally.fields() < request.fields) throw Stopped{};

    // A share may be empty, or hold nothing but bad fields; a whole job may not.
    if (tally.done + tally.partly == 0 && !head.share) {
        throw Error(ErrorKind::data,
                    request.fields == 1
                        ? tally.first_reason
                        : "no field could be planned; the first: " + tally.first_reason);
    }
    RunSummary summary;
    summary.complete = tally.partly + tally.skipped == 0;
    if (request.strict && !summary.complete) {
        throw Error(ErrorKind::data,
                    std::to_string(tally.partly + tally.skipped) + " of " +
                        std::to_string(request.fields) +
                        " fields are skipped or partly covered, and --strict asks for all",
                    {.hint = "Run without --strict to see which, in run.json and the report."});
    }
    const auto closing = Clock::now();
    close_rasters();
    writer.finish();
    self_check(head.job, folder.path());
    if (request.sealed) request.sealed();
    folder.commit(request.working_file);

    for (const std::string& warning : head.warnings) {
        if (monitor.say) monitor.say("note: " + warning);
    }
    summary.table = table_of(tally);
    summary.table += fmt::format("{} {}: {} done, {} partly covered, {} skipped. Plan: {}",
                                 request.fields, request.fields == 1 ? "field" : "fields",
                                 tally.done, tally.partly, tally.skipped, request.output);
    for (const auto& [stage, spent] : tally.seconds) {
        summary.timings.push_back(fmt::format("{} {:.3f} s (sum over threads)", stage, spent));
    }
    summary.timings.push_back(fmt::format("closing and self-check {:.3f} s", since(closing)));
    return summary;
}

}  // namespace catchfield::plan
