// SPDX-License-Identifier: MIT
#include "plan/check.hpp"

#include "base/error.hpp"
#include "base/text.hpp"
#include "base/units.hpp"
#include "geometry/overlay.hpp"
#include "geometry/validity.hpp"
#include "gis/crs.hpp"
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

/// How many of the points, in `crs`, lie in the field.
std::size_t count_inside(const std::vector<Point>& points, const gis::Crs& crs,
                         const FieldBoundary& field, const gis::Crs& field_crs) {
    if (points.empty() || geometry::find_flaw(field.shape)) return 0;
    std::vector<Point> moved = points;
    gis::transformer(crs, field_crs).apply(moved);
    const std::vector<bool> inside = geometry::covers(field.shape, moved);
    return static_cast<std::size_t>(std::count(inside.begin(), inside.end(), true));
}

std::vector<FieldReadiness> look_at_fields(const Inputs& inputs) {
    std::vector<Point> stops, tests;
    for (const compaction::Stop& stop : inputs.probes.stops) {
        if (stop.at) stops.push_back(*stop.at);
    }
    for (const TestSample& test : inputs.tests) tests.push_back(test.lon_lat);
    std::vector<FieldReadiness> list;
    for (const FieldBoundary& field : inputs.fields) {
        FieldReadiness one;
        one.field = field.id;
        try {
            const Ground ground = make_ground(inputs, field);
            std::size_t cells = 0, terrain = 0, mapped = 0, filled = 0;
            for (std::size_t i = 0; i < ground.field.size(); ++i) {
                if (!ground.field[i]) continue;
                ++cells;
                if (ground.terrain.mask[i]) ++terrain;
                if (ground.soil[i] >= 0) ++(ground.is_filled(i) ? filled : mapped);
            }
            one.area_ha = static_cast<double>(cells) * ground.frame.cell_area_ha();
            const double all = std::max<double>(1.0, static_cast<double>(cells));
            one.terrain = static_cast<double>(terrain) / all;
            one.mapped = static_cast<double>(mapped) / all;
            one.filled = static_cast<double>(filled) / all;
            one.stops = count_inside(stops, inputs.probes.crs, field, inputs.boundary_crs);
            one.tests = count_inside(tests, gis::Crs::wgs84(), field, inputs.boundary_crs);
        } catch (const Error& error) {
            if (error.kind() != ErrorKind::data && error.kind() != ErrorKind::input) throw;
            one.refused = error.what();
        }
        list.push_back(std::move(one));
    }
    return list;
}

/// Share of all fields' area.
double share_of(const std::vector<FieldReadiness>& fields, double FieldReadiness::*share) {
    double area = 0.0, sum = 0.0;
    for (const FieldReadiness& field : fields) {
        area += field.area_ha;
        sum += field.area_ha * field.*share;
    }
    return area > 0.0 ? sum / area : 0.0;
}

/// Text cut into lines of at most `width` bytes at blanks.
std::vector<std::string> wrapped(const std::string& text, std::size_t width) {
    std::vector<std::string> lines(1);
    for (const std::string& word : split(text, ' ')) {
        if (!lines.back().empty() && lines.back().size() + 1 + word.size() > width)
            lines.emplace_back();
        lines.back() += (lines.back().empty() ? "" : " ") + word;
    }
    return lines;
}

std::string padded(std::string text, std::size_t width) {
    // Letters, not bytes: names may hold more than ASCII.
    std::size_t letters = 0;
    for (const char c : text) letters += (static_cast<unsigned char>(c) & 0xC0U) != 0x80U;
    if (letters < width) text.append(width - letters, ' ');
    return text;
}

/// "40.2 ac" or "16.3 ha".
std::string area_text(double area_ha, bool us) {
    return us ? fixed(area_ha / units::ha_per_ac, 1) + " ac" : fixed(area_ha, 1) + " ha";
}

std::string fields_table(const std::vector<FieldReadiness>& fields, bool us) {
    constexpr std::size_t most = 30;
    std::size_t width = 5;
    for (std::size_t i = 0; i < std::min(most, fields.size()); ++i)
        width = std::max(width, std::min<std::size_t>(30, fields[i].field.size()));
    std::string text = "\n" + padded("field", width) +
                       "  area      terrain  soil map  nearest soil  stops  soil tests\n";
    for (std::size_t i = 0; i < std::min(most, fields.size()); ++i) {
        const FieldReadiness& field = fields[i];
        text += padded(field.field, width);
        if (!field.refused.empty()) {
            text += "  CANNOT BE PLANNED: " + field.refused + "\n";
            continue;
        }
        text += "  " + padded(area_text(field.area_ha, us), 8) + "  " +
                padded(percent(field.terrain), 7) + "  " + padded(percent(field.mapped), 8) + "  " +
                padded(percent(field.filled), 12) + "  " + padded(std::to_string(field.stops), 5) +
                "  " + std::to_string(field.tests) + "\n";
    }
    if (fields.size() > most)
        text += "... and " + std::to_string(fields.size() - most) + " more (--json has them all)\n";
    return text;
}

}  // namespace

bool Readiness::ready() const {
    return std::none_of(rows.begin(), rows.end(),
                        [](const ReadinessRow& row) { return row.blocks; });
}

bool Readiness::complete() const {
    return ready() && std::all_of(fields.begin(), fields.end(), [](const FieldReadiness& field) {
               return field.refused.empty() && field.terrain > 0.9995 &&
                      field.mapped + field.filled > 0.9995;
           });
}

std::string Readiness::best_confidence() const {
    std::string best = "high";
    for (const ReadinessRow& row : rows) {
        if (row.at_best == "low" || (row.at_best == "medium" && best == "high")) best = row.at_best;
    }
    return best;
}

std::string Readiness::text() const {
    constexpr std::size_t wide = 78;
    std::size_t width = 5;
    for (const ReadinessRow& row : rows) width = std::max(width, row.input.size());
    std::string text = padded("input", width) + "  what was found\n";
    const std::string indent(width + 2, ' ');
    for (const ReadinessRow& row : rows) {
        std::string line = row.found;
        if (!row.covers.empty()) line += "; covers " + row.covers + " of the fields";
        const auto lines = wrapped(line, wide - indent.size());
        text += padded(row.input, width) + "  " + lines.front() + "\n";
        for (std::size_t i = 1; i < lines.size(); ++i) text += indent + lines[i] + "\n";
        if (row.missing.empty()) continue;
        std::string remark = (row.blocks ? "STOPS THE RUN: " : "missing: ") + row.missing;
        if (!row.at_best.empty()) remark += "; confidence " + row.at_best + " at best";
        for (const std::string& part : wrapped(remark, wide - indent.size() - 2))
            text += indent + "  " + part + "\n";
    }
    if (!fields.empty()) text += fields_table(fields, us);
    if (!notes.empty()) text += "\n";
    for (const std::string& note : notes) {
        const auto lines = wrapped("note: " + note, wide);
        text += lines.front() + "\n";
        for (std::size_t i = 1; i < lines.size(); ++i) text += "      " + lines[i] + "\n";
    }
    if (!ready()) return text + "\nNot ready yet: see what stops the run.\n";
    std::string reasons;
    for (const ReadinessRow& row : rows) {
        if (!row.at_best.empty() && row.at_best == best_confidence())
            reasons += (reasons.empty() ? "" : ", ") + row.input;
    }
    text += "\nReady for 'catchfield plan'. Confidence of the zones: " + best_confidence() +
            " at best" + (reasons.empty() ? "" : " (" + reasons + ")") + ".\n";
    if (best_confidence() == "high")
        text += "Medium where the growth of the chosen cover rests on planning values.\n";
    return text;
}

std::string Readiness::json() const {
    using Json = nlohmann::ordered_json;
    Json root{{"ready", ready()}, {"complete", complete()}, {"best_confidence", best_confidence()}};
    Json list = Json::array();
    for (const ReadinessRow& row : rows) {
        list.push_back({{"input", row.input},
                        {"found", row.found},
                        {"covers", row.covers},
                        {"missing", row.missing},
                        {"at_best", row.at_best},
                        {"blocks", row.blocks}});
    }
    root["inputs"] = list;
    Json each = Json::array();
    for (const FieldReadiness& field : fields) {
        each.push_back({{"field", field.field},
                        {"area_ha", field.area_ha},
                        {"terrain_share", field.terrain},
                        {"soil_mapped_share", field.mapped},
                        {"soil_nearest_share", field.filled},
                        {"stops", field.stops},
                        {"soil_tests", field.tests},
                        {"refused", field.refused}});
    }
    root["fields"] = each;
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
        bool named = false;
        for (const InputTrial& trial : try_inputs(job)) {
            const bool failed = !trial.failure.empty();
            rows.push_back({trial.name, failed ? "cannot be used" : "can be read", "",
                            trial.failure, "", failed});
            named = named || failed;
        }
        if (!named) rows.push_back({"inputs", "cannot be used", "", error.what(), "", true});
        return readiness;
    }
    readiness.us = inputs.us();
    readiness.fields = look_at_fields(inputs);
    const auto& fields = readiness.fields;
    double area_ha = 0.0;
    std::string refused;
    std::size_t planned = 0;
    for (const FieldReadiness& field : fields) {
        area_ha += field.area_ha;
        if (field.refused.empty())
            ++planned;
        else
            refused += (refused.empty() ? "" : ", ") + field.field;
    }
    rows.push_back({"fields",
                    std::to_string(fields.size()) + " in " + inputs.boundary_crs.name() + ", " +
                        area_text(area_ha, readiness.us),
                    "", refused.empty() ? "" : "these cannot be planned: " + refused, "",
                    planned == 0});
    const gis::RasterInfo& raster = *inputs.terrain_info;
    const double terrain = share_of(fields, &FieldReadiness::terrain);
    const bool elevation = job.terrain.source == TerrainSource::elevation;
    rows.push_back({"terrain",
                    std::string(elevation ? "elevation" : "slope") + " raster, " +
                        std::to_string(raster.cols) + " x " + std::to_string(raster.rows) +
                        " cells of " + significant(open_raster(raster.path).cell_m(), 3) + " m",
                    percent(terrain),
                    terrain < 0.9995 ? "terrain on the rest: no soil loss there"
                    : elevation
                        ? ""
                        : "elevation: the slope length is a table's figure, not the water's way",
                    terrain < 0.9995 ? "medium" : "", false});
    const double filled = share_of(fields, &FieldReadiness::filled);
    const double without = 1.0 - filled - share_of(fields, &FieldReadiness::mapped);
    std::string soil;
    if (filled > 0.0005) {
        soil =
            "the nearest polygon's values stand in on " + area_text(filled * area_ha, readiness.us);
    }
    if (without > 0.0005) {
        soil += (soil.empty() ? "" : "; ") +
                ("no soil values at all on " + area_text(without * area_ha, readiness.us));
    }
    rows.push_back({"soil map", std::to_string(inputs.soils.facts_of.size()) + " polygons",
                    percent(share_of(fields, &FieldReadiness::mapped)), soil,
                    filled > 0.1 || without > 0.0005 ? "medium" : "", false});
    rows.push_back({"horizons",
                    inputs.soils.profiles.empty()
                        ? "none"
                        : std::to_string(inputs.soils.profiles.size()) + " profiles",
                    "",
                    inputs.soils.profiles.empty()
                        ? "subsoil density and depth: no compaction answer without stops"
                        : "",
                    "", false});
    const bool own_weather = !job.weather.monthly.empty() || !job.weather.daily.empty();
    rows.push_back({"weather", inputs.climate.temperature_source, "",
                    own_weather ? "" : "your own normals: cover growth is a rough guess",
                    own_weather ? "" : "low", false});
    rows.push_back({"erosivity",
                    significant(inputs.climate.year.r_si, 4) + " SI (" +
                        significant(inputs.climate.year.r_si / units::r_si_per_us, 3) + " us), " +
                        inputs.climate.erosivity_source,
                    "",
                    job.weather.erosivity_si
                        ? ""
                        : "a published R for the place: soil loss is screening quality",
                    job.weather.erosivity_si ? "" : "medium", false});
    rows.push_back({"winter",
                    inputs.climate.winter_minimum_c.empty() ? "catalogue's winter classes"
                                                            : "coldest temperatures known",
                    "",
                    inputs.climate.winter_minimum_c.empty()
                        ? "weather.winter-low or daily weather: winterkill is less sure"
                        : "",
                    "", false});
    rows.push_back(
        {"season",
         "harvest " + iso_date(inputs.dates.harvest) + ", sow " + iso_date(inputs.dates.sow) +
             ", frost " + iso_date(inputs.dates.hard_frost) + ", end " +
             iso_date(inputs.dates.terminate) + ", plant " + iso_date(inputs.dates.next_planting),
         "", "", "", false});
    std::string moisture;
    if (inputs.probes.stops.empty()) {
        moisture = "penetrometer stops: taproot advice stays unclear";
    } else if (job.compaction.moisture == "unknown") {
        moisture = "compaction.probe-moisture: readings count only near field capacity";
    }
    rows.push_back({"stops",
                    inputs.probes.stops.empty()
                        ? "none"
                        : std::to_string(inputs.probes.stops.size()) + " penetrometer stops",
                    "", moisture, "", false});
    rows.push_back(
        {"soil tests",
         inputs.tests.empty() ? "none" : std::to_string(inputs.tests.size()) + " samples", "",
         inputs.tests.empty() ? "nitrate tests: nitrogen for the cover and the credit are assumed"
                              : "",
         "", false});
    rows.push_back(
        {"nitrogen",
         inputs.method->title + ", next crop " + job.nitrogen.crop +
             (job.nitrogen.yield_goal.empty() ? "" : ", yield goal " + job.nitrogen.yield_goal),
         "", "", "", false});
    readiness.notes = inputs.warnings;
    return readiness;
}

}  // namespace catchfield::plan
