// SPDX-License-Identifier: MIT
#include "plan/job.hpp"

#include "base/error.hpp"
#include "base/text.hpp"
#include "plan/keys.hpp"

#include <algorithm>
#include <cmath>
#include <utility>

namespace catchfield::plan {

namespace {

[[noreturn]] void refuse(const std::string& key, const std::string& value,
                         const std::string& reason, const std::string& hint = {}) {
    throw Error(ErrorKind::usage, key + " = " + value + ": " + reason, {.hint = hint});
}

/// Looks values up by key, with the key table's default, and turns them into types.
class Reader {
  public:
    Reader(const JobValues& values, std::filesystem::path folder)
        : m_values(values), m_folder(std::move(folder)) {
        for (const auto& [name, value] : values) {
            if (find_key(name) != nullptr) continue;
            std::vector<std::string> known;
            for (const Key& key : job_keys()) known.emplace_back(key.name);
            const std::string near = nearest_name(name, known);
            throw Error(ErrorKind::usage, "unknown key '" + name + "'",
                        {.hint = near.empty() ? "" : "Did you mean '" + near + "'?"});
        }
    }

    std::string text(const std::string& name) const {
        const auto found = m_values.find(name);
        if (found != m_values.end() && !found->second.empty()) return found->second;
        return std::string(find_key(name)->fallback);
    }
    bool given(const std::string& name) const { return !text(name).empty(); }

    /// The folder is put before relative paths; database connections ("PG:...") stay as they are.
    std::string path(const std::string& name) const { return resolve(text(name)); }
    std::string resolve(const std::string& value) const {
        if (value.empty() || value.find("://") != std::string::npos || value.starts_with("/vsi") ||
            value.starts_with("PG:")) {
            return value;
        }
        const std::filesystem::path given_path(value);
        return (given_path.is_absolute() ? given_path : m_folder / given_path)
            .lexically_normal()
            .string();
    }

    std::string choice(const std::string& name) const {
        const std::string value = text(name);
        if (value.empty()) return value;
        const std::vector<std::string> accepted = split(find_key(name)->choices, '|');
        for (const std::string& candidate : accepted) {
            if (same_ignoring_case(candidate, value)) return candidate;
        }
        std::string list;
        for (const std::string& candidate : accepted)
            list += (list.empty() ? "" : ", ") + candidate;
        const std::string near = nearest_name(value, accepted);
        refuse(name, value, "not one of: " + list,
               near.empty() ? "" : "Did you mean '" + near + "'?");
    }

    bool yes(const std::string& name) const {
        const std::string value = lower_case(text(name));
        if (value == "yes" || value == "true" || value == "on") return true;
        if (value == "no" || value == "false" || value == "off" || value.empty()) return false;
        refuse(name, value, "neither yes nor no");
    }

    std::optional<Date> date(const std::string& name) const {
        const std::string value = text(name);
        if (value.empty()) return std::nullopt;
        const std::optional<Date> parsed = parse_date(value);
        if (!parsed) refuse(name, value, "not a date", "Write it as year-month-day, 2025-07-15.");
        return parsed;
    }

    double number(const std::string& name, double low, double high) const {
        const std::string value = text(name);
        const std::optional<double> parsed = parse_number(value);
        if (!parsed) refuse(name, value, "not a number", "Use a decimal point and no unit.");
        return in_range(name, value, *parsed, low, high);
    }
    std::optional<double> optional_number(const std::string& name, double low, double high) const {
        return given(name) ? std::optional(number(name, low, high)) : std::nullopt;
    }
    int integer(const std::string& name, int low, int high) const {
        const std::string value = text(name);
        const std::optional<long long> parsed = parse_integer(value);
        if (!parsed) refuse(name, value, "not a whole number");
        return static_cast<int>(in_range(name, value, static_cast<double>(*parsed), low, high));
    }

    /// A quantity with its unit, in the base unit of `parse`.
    template <typename Parse>
    std::optional<double> quantity(const std::string& name, Parse parse, double low,
                                   double high) const {
        const std::string value = text(name);
        if (value.empty()) return std::nullopt;
        return in_range(name, value, parse(value, name), low, high);
    }

  private:
    static double in_range(const std::string& name, const std::string& value, double number,
                           double low, double high) {
        if (number < low || number > high) {
            refuse(name, value,
                   "outside the range " + shortest(low) + " to " + shortest(high) +
                       " (in the program's own unit)");
        }
        return number;
    }

    const JobValues& m_values;
    std::filesystem::path m_folder;
};

std::optional<double> read_erosivity(const Reader& read) {
    const std::string value = read.text("weather.erosivity");
    const std::string unit = read.choice("weather.erosivity-unit");
    if (value.empty()) return std::nullopt;
    const bool bare = parse_number(value).has_value();
    const std::string full = bare && !unit.empty() ? value + " " + unit : value;
    const double si = parse_erosivity_si(full, "weather.erosivity");
    if (si <= 0.0 || si > 20'000.0) {
        refuse("weather.erosivity", value, "outside what rain can do (0 to 20000 SI, 0 to 1175 us)",
               "Check the figure and its unit.");
    }
    return si;
}

double read_price_per_kg(const std::string& text, const std::string& key) {
    const double price = parse_quantity(
        text, key, {{"/kg", 1.0}, {"/lb", 1.0 / units::kg_per_lb}, {"/Mg", 0.001}, {"/t", 0.001}});
    if (!(price > 0.0)) refuse(key, text, "a price must be above zero");
    return price;
}

double parse_speed_km_h(const std::string& text, const std::string& key) {
    return parse_quantity(text, key, {{"km/h", 1.0}, {"mph", 1.609344}, {"m/s", 3.6}});
}

void check_dates(const Job& job) {
    struct Step {
        const char* key;
        std::optional<Date> date;
    };
    const auto& s = job.season;
    const Step steps[] = {{"season.harvest", s.harvest},
                          {"season.sow", s.sow},
                          {"season.hard-frost", s.hard_frost},
                          {"season.terminate", s.terminate},
                          {"season.next-planting", s.next_planting}};
    const Step* before = nullptr;
    for (const Step& step : steps) {
        if (!step.date) continue;
        // Sowing after the first hard frost is late, not impossible (rye); it is judged per
        // species.
        const bool frost = std::string_view(step.key) == "season.hard-frost";
        if (before != nullptr && !frost && *step.date < *before->date) {
            throw Error(
                ErrorKind::usage,
                std::string(step.key) + " = " + iso_date(*step.date) + " comes before " +
                    before->key + " = " + iso_date(*before->date),
                {.hint = "Check the years: sowing in autumn, termination in the next spring."});
        }
        if (!frost) before = &step;
    }
    if (s.harvest && s.next_planting && days_between(*s.harvest, *s.next_planting) > 550) {
        refuse("season.next-planting", iso_date(*s.next_planting),
               "more than 18 months after the harvest", "Check the years.");
    }
}

}  // namespace

std::vector<std::string> split_list(const std::string& text) {
    std::vector<std::string> parts;
    std::string part;
    bool quoted = false;
    for (const char c : text + ",") {
        if (c == '"') {
            quoted = !quoted;
        } else if (c == ',' && !quoted) {
            const std::string_view trimmed = trim(part);
            if (!trimmed.empty()) parts.emplace_back(trimmed);
            part.clear();
        } else {
            part += c;
        }
    }
    return parts;
}

NamedValues split_named(const std::string& text) {
    NamedValues named;
    for (const std::string& part : split_list(text)) {
        const std::size_t equals = part.find('=');
        if (equals == std::string::npos) {
            named.emplace_back(part, "");
        } else {
            named.emplace_back(trim(std::string_view(part).substr(0, equals)),
                               trim(std::string_view(part).substr(equals + 1)));
        }
    }
    return named;
}

namespace {

/// Where more than one input that a plan cannot do without is missing, all are named at once.
void require_inputs(const Reader& read) {
    std::vector<std::string> missing;
    for (const char* key :
         {"field.boundary", "soil.map", "season.harvest", "season.next-planting"}) {
        if (read.text(key).empty()) missing.emplace_back(key);
    }
    if (read.text("terrain.elevation").empty() && read.text("terrain.slope").empty())
        missing.emplace_back("terrain.elevation (or terrain.slope)");
    if (missing.size() < 2) return;
    std::string list;
    for (const std::string& key : missing) list += (list.empty() ? "" : ", ") + key;
    throw Error(
        ErrorKind::usage, "these are not given: " + list,
        {.hint = "Set them in the job file; 'catchfield start FOLDER' finds what is there."});
}

}  // namespace

Job make_job(const JobValues& values, const std::filesystem::path& folder) {
    const Reader read(values, folder);
    require_inputs(read);
    Job job;
    job.values = values;

    job.field.boundary = read.path("field.boundary");
    if (job.field.boundary.empty()) {
        throw Error(ErrorKind::usage, "field.boundary is not given",
                    {.hint = "Name the file with the field boundaries."});
    }
    job.field.layer = read.text("field.layer");
    job.field.id_column = read.text("field.id-column");
    job.field.crs = read.text("field.crs");
    job.field.customer = read.text("field.customer");
    job.field.farm = read.text("field.farm");
    job.field.repair = read.yes("field.repair");

    auto& terrain = job.terrain;
    terrain.elevation = read.path("terrain.elevation");
    terrain.slope = read.path("terrain.slope");
    if (terrain.elevation.empty() == terrain.slope.empty()) {
        throw Error(ErrorKind::usage,
                    terrain.elevation.empty()
                        ? "neither terrain.elevation nor terrain.slope is given"
                        : "terrain.elevation and terrain.slope are both given",
                    {.hint = "Give one: an elevation raster, or a slope raster with slope-unit."});
    }
    terrain.source = terrain.slope.empty() ? TerrainSource::elevation : TerrainSource::slope;
    terrain.slope_unit = read.choice("terrain.slope-unit");
    if (terrain.source == TerrainSource::slope && terrain.slope_unit.empty()) {
        throw Error(ErrorKind::usage, "terrain.slope-unit is not given",
                    {.hint = "Say whether the slope raster is in percent, degrees or ratio."});
    }
    terrain.elevation_unit = read.choice("terrain.elevation-unit");
    terrain.barriers = read.path("terrain.barriers");
    terrain.routing = read.choice("terrain.routing");
    terrain.resolution_m = read.quantity("terrain.resolution", parse_length_m, 0.25, 100.0);
    terrain.slope_length_m = read.quantity("terrain.slope-length", parse_length_m, 1.0, 305.0);
    terrain.smooth_m = *read.quantity("terrain.smooth", parse_length_m, 0.0, 100.0);
    terrain.max_slope_length_m =
        *read.quantity("terrain.max-slope-length", parse_length_m, 5.0, 305.0);
    terrain.run_on = read.choice("terrain.run-on") == "upslope";
    terrain.run_on_distance_m =
        *read.quantity("terrain.run-on-distance", parse_length_m, 0.0, 1000.0);

    job.soil.map = read.path("soil.map");
    if (job.soil.map.empty()) {
        throw Error(ErrorKind::usage, "soil.map is not given",
                    {.hint = "Name the file with the soil-map polygons."});
    }
    job.soil.layer = read.text("soil.layer");
    job.soil.crs = read.text("soil.crs");
    job.soil.horizons = read.path("soil.horizons");
    job.soil.columns = split_named(read.text("soil.columns"));
    job.soil.k_si = read.choice("soil.k-unit") == "si";
    job.soil.t_si = read.choice("soil.t-unit") == "si";
    job.soil.fill_distance_m = *read.quantity("soil.fill-distance", parse_length_m, 0.0, 5000.0);

    job.weather.erosivity_si = read_erosivity(read);
    job.weather.erosivity_shares = read.text("weather.erosivity-shares");
    if (job.weather.erosivity_shares.find(',') == std::string::npos) {
        job.weather.erosivity_shares = read.resolve(job.weather.erosivity_shares);
    }
    job.weather.monthly = read.path("weather.monthly");
    job.weather.daily = read.path("weather.daily");
    job.weather.rain = read.path("weather.rain");
    job.weather.winter_low_c =
        read.quantity("weather.winter-low", parse_temperature_c, -60.0, 20.0);
    job.weather.wind_speed_m_s = read.optional_number("weather.wind-speed", 0.0, 40.0);

    auto& season = job.season;
    season.harvest = read.date("season.harvest");
    season.sow = read.date("season.sow");
    season.hard_frost = read.date("season.hard-frost");
    season.terminate = read.date("season.terminate");
    season.next_planting = read.date("season.next-planting");
    for (const auto& [key, date] : {std::pair{"season.harvest", season.harvest},
                                    std::pair{"season.next-planting", season.next_planting}}) {
        if (!date) {
            throw Error(ErrorKind::usage, std::string(key) + " is not given",
                        {.hint = "Write it as year-month-day, 2025-07-15."});
        }
    }
    season.previous_crop = read.text("season.previous-crop");
    season.residue_kg_ha = read.quantity("season.residue", parse_rate_kg_ha, 0.0, 30'000.0);
    season.residue_removed = read.number("season.residue-removed", 0.0, 1.0);
    season.tillage_before_sowing = read.text("season.tillage-before-sowing");
    season.tillage_before_planting = read.text("season.tillage-before-planting");
    season.practice = read.choice("season.practice");
    check_dates(job);

    auto& zones = job.zones;
    zones.max_count = read.integer("zones.max-count", 1, 12);
    const std::string count = read.text("zones.count");
    zones.count = count == "auto" ? 0 : read.integer("zones.count", 1, 50);
    zones.features = split_named(read.text("zones.features"));
    for (const auto& [name, weight] : zones.features) {
        const std::optional<double> parsed = weight.empty() ? 1.0 : parse_number(weight);
        if (!parsed || *parsed <= 0.0) {
            refuse("zones.features", name + "=" + weight, "the weight must be a number above zero");
        }
    }
    zones.layers = split_named(read.text("zones.layers"));
    for (auto& [name, files] : zones.layers) {
        if (files.empty()) refuse("zones.layers", name, "no file", "Write name=file.tif.");
        std::string resolved;
        for (const std::string& file : split(files, ';')) {
            resolved += (resolved.empty() ? "" : ";") + read.resolve(std::string(trim(file)));
        }
        files = resolved;
    }
    zones.min_area_ha = *read.quantity("zones.min-area", parse_area_ha, 0.0, 1000.0);
    zones.working_width_m = read.quantity("zones.working-width", parse_length_m, 0.5, 100.0);
    zones.method = read.choice("zones.method");
    zones.norm = read.choice("zones.norm");
    zones.exponent = read.number("zones.exponent", 1.05, 5.0);
    zones.components = read.optional_number("zones.components", 0.1, 1.0);
    zones.drawn = read.path("zones.drawn");
    zones.drawn_column = read.text("zones.drawn-column");
    zones.merge = split_list(read.text("zones.merge"));
    for (const std::string& part : split_list(read.text("zones.renumber"))) {
        const auto number = parse_integer(part);
        if (!number || *number < 1 || *number > 250) {
            refuse("zones.renumber", part, "not a zone number");
        }
        zones.renumber.push_back(static_cast<int>(*number));
    }
    std::vector<int> sorted = zones.renumber;
    std::sort(sorted.begin(), sorted.end());
    for (std::size_t i = 0; i < sorted.size(); ++i) {
        if (sorted[i] != static_cast<int>(i) + 1) {
            refuse("zones.renumber", read.text("zones.renumber"),
                   "every number from 1 to " + std::to_string(sorted.size()) + " must stand once");
        }
    }

    auto& cover = job.cover;
    const std::string candidates = read.text("cover.candidates");
    if (candidates != "all") cover.candidates = split_list(candidates);
    cover.catalogue = read.path("cover.catalogue");
    cover.scouting = read.path("cover.scouting");
    cover.aims = split_named(read.text("cover.aims"));
    for (const auto& [name, weight] : cover.aims) {
        const std::optional<double> parsed = parse_number(weight);
        if (!parsed || *parsed < 0.0) {
            refuse("cover.aims", name + "=" + weight, "the weight must be a number, zero or more");
        }
    }
    const std::string by = read.text("cover.by");
    cover.at_most = by == "zone" ? -1 : by == "field" ? 1 : read.integer("cover.by", 1, 50);
    cover.drilled = read.choice("cover.seeding") == "drilled";
    cover.purity = read.number("cover.purity", 0.01, 1.0);
    cover.germination = read.number("cover.germination", 0.01, 1.0);

    auto& compaction = job.compaction;
    compaction.probes = read.path("compaction.probes");
    compaction.columns = split_named(read.text("compaction.probe-columns"));
    compaction.unit = read.choice("compaction.probe-unit");
    compaction.crs = read.text("compaction.probe-crs");
    compaction.moisture = read.choice("compaction.probe-moisture");
    compaction.refuse_off_moisture = read.choice("compaction.off-moisture") == "refuse";
    compaction.threshold_mpa =
        *read.quantity("compaction.threshold", parse_strength_mpa, 0.1, 10.0);

    auto& nitrogen = job.nitrogen;
    nitrogen.crop = read.text("nitrogen.crop");
    nitrogen.method = read.text("nitrogen.method");
    nitrogen.yield_goal = read.text("nitrogen.yield-goal");
    nitrogen.yield_column = read.text("nitrogen.yield-column");
    nitrogen.yield_unit = read.choice("nitrogen.yield-unit");
    nitrogen.yield_raster = read.path("nitrogen.yield-raster");
    nitrogen.response = read.path("nitrogen.response");
    nitrogen.soil_tests = read.path("nitrogen.soil-tests");
    nitrogen.tests_in_spring = read.choice("nitrogen.soil-tests-taken") == "spring";
    nitrogen.cold_dry = read.yes("nitrogen.cold-dry");
    nitrogen.region = read.text("nitrogen.region");
    nitrogen.credits_table = read.path("nitrogen.credits-table");
    nitrogen.no_apply = read.path("nitrogen.no-apply");
    nitrogen.fixed_rate_kg_ha = read.quantity("nitrogen.fixed-rate", parse_rate_kg_ha, 0.0, 1000.0);
    if (read.given("nitrogen.price-n")) {
        nitrogen.price_n_per_kg =
            read_price_per_kg(read.text("nitrogen.price-n"), "nitrogen.price-n");
    }
    nitrogen.price_crop = read.text("nitrogen.price-crop");
    nitrogen.manure_kg_ha = *read.quantity("nitrogen.manure", parse_rate_kg_ha, 0.0, 1000.0);
    nitrogen.irrigation_kg_ha = *read.quantity("nitrogen.irrigation", parse_rate_kg_ha, 0.0, 500.0);
    nitrogen.min_rate_kg_ha = *read.quantity("nitrogen.min-rate", parse_rate_kg_ha, 0.0, 500.0);
    nitrogen.max_rate_kg_ha = *read.quantity("nitrogen.max-rate", parse_rate_kg_ha, 0.0, 1000.0);
    if (nitrogen.max_rate_kg_ha < nitrogen.min_rate_kg_ha) {
        refuse("nitrogen.max-rate", read.text("nitrogen.max-rate"), "below nitrogen.min-rate");
    }
    nitrogen.step_kg_ha = read.quantity("nitrogen.step", parse_rate_kg_ha, 0.01, 100.0);
    nitrogen.setback_m = *read.quantity("nitrogen.setback", parse_length_m, 0.0, 1000.0);
    double shares = 0.0;
    for (const std::string& share : split_list(read.text("nitrogen.split"))) {
        const std::optional<double> parsed = parse_number(share);
        if (!parsed || *parsed <= 0.0) refuse("nitrogen.split", share, "not a share above zero");
        nitrogen.split.push_back(*parsed);
        shares += *parsed;
    }
    if (std::abs(shares - 1.0) > 1e-6) {
        refuse("nitrogen.split", read.text("nitrogen.split"), "the shares do not add to one");
    }

    nitrogen.response_zones = split_named(read.text("nitrogen.response-zones"));
    nitrogen.late_spring_critical_ppm =
        read.optional_number("nitrogen.late-spring-critical", 10.0, 30.0);
    nitrogen.rate_count = read.integer("nitrogen.rate-count", 0, 50);
    nitrogen.least_difference_kg_ha =
        read.quantity("nitrogen.least-difference", parse_rate_kg_ha, 0.0, 200.0);
    nitrogen.machine_speed_km_h =
        read.quantity("nitrogen.machine-speed", parse_speed_km_h, 1.0, 60.0);
    nitrogen.machine_lag_s = read.number("nitrogen.machine-lag", 0.0, 30.0);
    nitrogen.machine_width_m = read.quantity("nitrogen.machine-width", parse_length_m, 0.5, 100.0);

    job.output.units =
        read.choice("output.units") == "metric" ? UnitSystem::metric : UnitSystem::us;
    job.output.cell_m = read.quantity("output.cell", parse_length_m, 0.25, 100.0);
    job.output.crs = read.text("output.crs");
    job.output.product = read.text("output.product");
    job.output.seed_product = read.text("output.seed-product");
    job.output.layers = read.yes("output.layers");
    job.output.reports = read.yes("output.reports");
    job.output.draws = read.integer("output.uncertainty", 0, 100'000);
    if (job.output.draws > 0 && job.output.draws < 20) {
        refuse("output.uncertainty", read.text("output.uncertainty"),
               "too few draws for an interval", "Give at least 20, or 0 for none.");
    }
    return job;
}

JobValues resolved_values(const Job& job) {
    JobValues all;
    for (const Key& key : job_keys()) {
        const auto found = job.values.find(std::string(key.name));
        all[std::string(key.name)] =
            found != job.values.end() ? found->second : std::string(key.fallback);
    }
    return all;
}

}  // namespace catchfield::plan
