// SPDX-License-Identifier: MIT
#include "plan/run.hpp"

#include "base/error.hpp"
#include "base/text.hpp"
#include "gis/files.hpp"
#include "gis/start.hpp"
#include "plan/columns.hpp"
#include "plan/field_plan.hpp"
#include "plan/inputs.hpp"
#include "plan/libraries.hpp"
#include "plan/run_json.hpp"
#include "plan/self_check.hpp"
#include "plan/writer.hpp"

#include <fmt/core.h>
#include <nlohmann/json.hpp>
#include <tbb/global_control.h>
#include <tbb/info.h>
#include <tbb/parallel_pipeline.h>

#include <atomic>
#include <chrono>
#include <map>
#include <optional>

namespace catchfield::plan {

namespace {

/// What one field leaves behind once it is written.
struct Line {
    FieldRecord record;
    std::string text;
};

std::string short_line(const Inputs& inputs, const FieldResult& result) {
    if (result.status == FieldStatus::skipped) return "skipped: " + joined(result.reasons);
    const bool us = inputs.us();
    const double area = us ? result.area_ha / units::ha_per_ac : result.area_ha;
    double bare = 0.0, now = 0.0, cover = 0.0, known = 0.0;
    for (const ZoneResult& zone : result.zones) {
        if (!zone.loss_now_mg_ha || !zone.loss_cover_mg_ha || !zone.loss_bare_mg_ha) continue;
        bare += *zone.loss_bare_mg_ha * zone.area_ha;
        now += *zone.loss_now_mg_ha * zone.area_ha;
        cover += *zone.loss_cover_mg_ha * zone.area_ha;
        known += zone.area_ha;
    }
    const double per = known > 0.0 ? (us ? known * units::mg_ha_per_ton_ac : known) : 1.0;
    double low = 1e9, high = 0.0;
    for (const double rate : result.zone_rates) {
        low = std::min(low, rate);
        high = std::max(high, rate);
    }
    return fmt::format("{:.1f} {}, {} {}, soil loss {} now, {} with cover ({}), {} {}", area,
                       us ? "ac" : "ha", result.zones.size(),
                       result.zones.size() == 1 ? "zone" : "zones", significant(now / per, 2),
                       significant(cover / per, 2), us ? "ton/ac a year" : "Mg/ha a year",
                       low == high ? significant(low, 3)
                                   : significant(low, 3) + " to " + significant(high, 3),
                       result.rate_unit) +
           (result.status == FieldStatus::partly ? "; partly covered: " + joined(result.reasons)
                                                 : "");
}

std::string pad(std::string text, std::size_t width) {
    // Counts code points, so that umlauts do not shift the columns.
    std::size_t shown = 0;
    for (const char c : text) shown += (static_cast<unsigned char>(c) & 0xC0) != 0x80;
    if (shown < width) text.append(width - shown, ' ');
    return text;
}

}  // namespace

RunSummary run_plan(const PlanRequest& request, const Monitor& monitor) {
    const auto start = std::chrono::steady_clock::now();
    const auto seconds_since = [&] {
        return std::chrono::duration<double>(std::chrono::steady_clock::now() - start).count();
    };
    gis::start({.virtual_rasters = request.allow_virtual, .remote = request.allow_remote});
    const Inputs inputs = load_inputs(request.job);
    const double load_seconds = seconds_since();
    std::optional<ResultStore> store;
    if (request.results) store.emplace(inputs, request.results);
    gis::StagedFolder folder(request.output, request.overwrite);
    PlanWriter writer(inputs, folder.path());

    std::vector<Line> lines;
    std::map<std::string, double> stage_seconds;
    std::atomic<bool> stop = false;
    const std::size_t total = inputs.fields.size();
    const int threads = request.threads > 0 ? request.threads : tbb::info::default_concurrency();
    const tbb::global_control limit(tbb::global_control::max_allowed_parallelism,
                                    static_cast<std::size_t>(threads));
    struct Work {
        FieldResult result;
        FieldFiles files;
    };
    std::size_t next = 0;
    // Fields are planned side by side and written in their order, so that the bytes do not depend
    // on threads; the tokens bound the memory.
    tbb::parallel_pipeline(
        static_cast<std::size_t>(threads) * 4,
        tbb::make_filter<void, std::size_t>(tbb::filter_mode::serial_in_order,
                                            [&](tbb::flow_control& control) -> std::size_t {
                                                if (next == total || stop) {
                                                    control.stop();
                                                    return 0;
                                                }
                                                return next++;
                                            }) &
            tbb::make_filter<std::size_t, std::shared_ptr<Work>>(
                tbb::filter_mode::parallel,
                [&](std::size_t field) {
                    auto work = std::make_shared<Work>();
                    work->result = plan_field(inputs, inputs.fields[field]);
                    const auto before = std::chrono::steady_clock::now();
                    work->files = make_field_files(inputs, work->result);
                    work->result.seconds["files"] +=
                        std::chrono::duration<double>(std::chrono::steady_clock::now() - before)
                            .count();
                    return work;
                }) &
            tbb::make_filter<std::shared_ptr<Work>, void>(
                tbb::filter_mode::serial_in_order, [&](const std::shared_ptr<Work>& work) {
                    const auto before = std::chrono::steady_clock::now();
                    writer.add(work->result, work->files);
                    if (store) store->add(work->files.rows, work->result.crs);
                    for (const auto& [stage, seconds] : work->result.seconds)
                        stage_seconds[stage] += seconds;
                    stage_seconds["writing"] +=
                        std::chrono::duration<double>(std::chrono::steady_clock::now() - before)
                            .count();
                    lines.push_back({record_of(work->result), short_line(inputs, work->result)});
                    if (monitor.progress && !monitor.progress(lines.size(), total, work->result.id))
                        stop = true;
                }));
    if (stop && lines.size() < total) throw Stopped{};

    std::size_t done = 0, partly = 0, skipped = 0;
    for (const Line& line : lines) {
        switch (line.record.status) {
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
    }
    if (done + partly == 0) {
        throw Error(ErrorKind::data, total == 1 ? lines.front().record.reasons.front()
                                                : "no field could be planned; the first: " +
                                                      lines.front().record.reasons.front());
    }
    RunSummary summary;
    summary.complete = partly + skipped == 0;
    if (request.strict && !summary.complete) {
        throw Error(ErrorKind::data,
                    std::to_string(partly + skipped) + " of " + std::to_string(total) +
                        " fields are skipped or partly covered, and --strict asks for all",
                    {.hint = "Run without --strict to see which, in run.json and the report."});
    }
    std::vector<FieldRecord> records;
    for (const Line& line : lines) records.push_back(line.record);
    const double work_seconds = seconds_since();
    const std::string json = run_json(inputs, records);
    writer.finish(json);
    self_check(inputs, folder.path(), records);
    folder.commit();

    std::size_t width = 5;
    for (const Line& line : lines)
        width = std::max(width, std::min<std::size_t>(line.record.id.size(), 30));
    constexpr std::size_t most_lines = 40;
    for (std::size_t i = 0; i < lines.size() && i < most_lines; ++i) {
        summary.table += pad(lines[i].record.id, width) + "  " + lines[i].text + "\n";
    }
    if (lines.size() > most_lines)
        summary.table += "... and " + std::to_string(lines.size() - most_lines) + " more\n";
    for (const std::string& warning : inputs.warnings) {
        if (monitor.say) monitor.say("note: " + warning);
    }
    summary.table += fmt::format("{} fields: {} done, {} partly covered, {} skipped. Plan: {}",
                                 total, done, partly, skipped, request.output);
    if (store) summary.table += "\nDatabase: " + store->place();
    summary.json = json;
    summary.timings.push_back(fmt::format("reading inputs {:.3f} s", load_seconds));
    for (const auto& [stage, seconds] : stage_seconds) {
        summary.timings.push_back(fmt::format("{} {:.3f} s (sum over threads)", stage, seconds));
    }
    summary.timings.push_back(fmt::format("closing and self-check {:.3f} s, all {:.3f} s",
                                          seconds_since() - work_seconds, seconds_since()));
    return summary;
}

}  // namespace catchfield::plan
