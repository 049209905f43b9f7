// SPDX-License-Identifier: MIT
#include "plan/check.hpp"

#include "base/error.hpp"
#include "base/text.hpp"
#include "gis/start.hpp"
#include "plan/ground.hpp"
#include "plan/inputs.hpp"
#include "plan/rasters.hpp"

#include <nlohmann/json.hpp>

#include <algorithm>

namespace catchfield::plan {

namespace {

std::string percent(double share) {
    return share >= 0.9995 ? "100 %" : fixed(100.0 * share, 1) + " %";
}

/// How much of the fields terrain and soil cover, by area.
struct Covered {
    double area_ha = 0.0, terrain_ha = 0.0, mapped_ha = 0.0, filled_ha = 0.0;
    std::vector<std::string> refused;
    std::size_t planned = 0;
};

Covered cover_of_fields(const Inputs& inputs) {
    Covered covered;
    for (const FieldBoundary& field : inputs.fields) {
        try {
            const Ground ground = make_ground(inputs, field);
            const double cell = ground.frame.cell_area_ha();
            for (std::size_t i = 0; i < ground.field.size(); ++i) {
                if (!ground.field[i]) continue;
                covered.area_ha += cell;
                if (ground.terrain.mask[i]) covered.terrain_ha += cell;
                if (ground.soil[i] >= 0) {
                    (ground.soil_distance_m[i] > 0.0F ? covered.filled_ha : covered.mapped_ha) +=
                        cell;
                }
            }
            ++covered.planned;
        } catch (const Error& error) {
            if (error.kind() != ErrorKind::data && error.kind() != ErrorKind::input) throw;
            covered.refused.emplace_back(field.id + ": " + error.what());
        }
    }
    return covered;
}

}  // namespace

bool Readiness::ready() const {
    return std::none_of(rows.begin(), rows.end(),
                        [](const ReadinessRow& row) { return row.blocks; });
}

bool Readiness::complete() const {
    return ready() && std::all_of(rows.begin(), rows.end(), [](const ReadinessRow& row) {
               return row.covers.empty() || row.covers == "100 %";
           });
}

std::string Readiness::text() const {
    std::size_t width = 0;
    for (const ReadinessRow& row : rows) width = std::max(width, row.input.size());
    std::string text;
    for (const ReadinessRow& row : rows) {
        std::string line = row.input;
        line.resize(width + 2, ' ');
        line += row.found;
        if (!row.covers.empty()) line += "; covers " + row.covers + " of the fields";
        if (!row.missing.empty())
            line += "\n" + std::string(width + 2, ' ') +
                    (row.blocks ? "STOPS THE RUN: " : "missing: ") + row.missing;
        text += line + "\n";
    }
    for (const std::string& note : notes) text += "note: " + note + "\n";
    return text + (ready() ? "Ready for 'catchfield plan'.\n" : "Not ready yet.\n");
}

std::string Readiness::json() const {
    using Json = nlohmann::ordered_json;
    Json root{{"ready", ready()}, {"complete", complete()}};
    Json list = Json::array();
    for (const ReadinessRow& row : rows) {
        list.push_back({{"input", row.input},
                        {"found", row.found},
                        {"covers", row.covers},
                        {"missing", row.missing},
                        {"blocks", row.blocks}});
    }
    root["inputs"] = list;
    root["notes"] = notes;
    return root.dump(2, ' ', false, Json::error_handler_t::replace) + "\n";
}

Readiness check_job(const Job& job, bool allow_virtual, bool allow_remote) {
    gis::start({.virtual_rasters = allow_virtual, .remote = allow_remote});
    Readiness readiness;
    auto& rows = readiness.rows;
    Inputs inputs;
    try {
        inputs = load_inputs(job);
    } catch (const Error& error) {
        if (error.kind() == ErrorKind::usage) throw;
        rows.push_back({"inputs", "", "", error.what(), true});
        return readiness;
    }
    const Covered covered = cover_of_fields(inputs);
    rows.push_back({"fields",
                    std::to_string(inputs.fields.size()) + " in " + inputs.boundary_crs.name() +
                        ", " + fixed(covered.area_ha, 1) + " ha",
                    "",
                    covered.refused.empty() ? ""
                                            : covered.refused.front() +
                                                  (covered.refused.size() > 1 ? " (and more)" : ""),
                    covered.planned == 0});
    const double area = std::max(covered.area_ha, 1e-9);
    const gis::RasterInfo& raster = *inputs.terrain_info;
    rows.push_back(
        {"terrain",
         std::string(job.terrain.source == TerrainSource::elevation ? "elevation" : "slope") +
             " raster, " + std::to_string(raster.cols) + " x " + std::to_string(raster.rows) +
             " cells of " + significant(raster_for_thread(raster.path).cell_m(), 3) + " m",
         percent(covered.terrain_ha / area), "", false});
    rows.push_back({"soil map", std::to_string(inputs.soils.facts.size()) + " polygons",
                    percent(covered.mapped_ha / area),
                    covered.filled_ha > 0.0
                        ? "nearest polygon's values on " + fixed(covered.filled_ha, 1) +
                              " ha, lower confidence there"
                        : "",
                    false});
    rows.push_back({"horizons",
                    inputs.soils.profiles.empty()
                        ? "none"
                        : std::to_string(inputs.soils.profiles.size()) + " profiles",
                    "",
                    inputs.soils.profiles.empty()
                        ? "subsoil density and depth: no compaction answer without stops"
                        : "",
                    false});
    rows.push_back({"weather", inputs.climate.temperature_source, "",
                    job.weather.monthly.empty() && job.weather.daily.empty()
                        ? "your own normals: cover growth is a rough guess, confidence low"
                        : "",
                    false});
    rows.push_back({"erosivity",
                    significant(inputs.climate.year.r_si, 4) + " SI (" +
                        significant(inputs.climate.year.r_si / units::r_si_per_us, 3) + " us), " +
                        inputs.climate.erosivity_source,
                    "",
                    job.weather.erosivity_si
                        ? ""
                        : "a published R for the place: soil loss is screening quality",
                    false});
    rows.push_back({"winter",
                    inputs.climate.winter_minimum_c.empty() ? "catalogue's winter classes"
                                                            : "coldest temperatures known",
                    "",
                    inputs.climate.winter_minimum_c.empty()
                        ? "weather.winter-low or daily weather: winterkill is less sure"
                        : "",
                    false});
    rows.push_back(
        {"season",
         "harvest " + iso_date(inputs.dates.harvest) + ", sow " + iso_date(inputs.dates.sow) +
             ", frost " + iso_date(inputs.dates.hard_frost) + ", end " +
             iso_date(inputs.dates.terminate) + ", plant " + iso_date(inputs.dates.next_planting),
         "", "", false});
    rows.push_back(
        {"stops",
         inputs.probes.stops.empty()
             ? "none"
             : std::to_string(inputs.probes.stops.size()) + " penetrometer stops",
         "", inputs.probes.stops.empty() ? "penetrometer stops: taproot advice stays unclear" : "",
         false});
    rows.push_back(
        {"soil tests",
         inputs.tests.empty() ? "none" : std::to_string(inputs.tests.size()) + " samples", "",
         inputs.tests.empty() ? "nitrate tests: nitrogen for the cover and the credit are assumed"
                              : "",
         false});
    rows.push_back(
        {"nitrogen", inputs.method->title + ", next crop " + job.nitrogen.crop, "", "", false});
    readiness.notes = inputs.warnings;
    return readiness;
}

}  // namespace catchfield::plan
