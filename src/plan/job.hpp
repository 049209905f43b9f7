// SPDX-License-Identifier: MIT
// The settings of one run, typed and checked: what the job file and the command line say.
#pragma once

#include "base/dates.hpp"
#include "base/units.hpp"

#include <filesystem>
#include <map>
#include <optional>
#include <string>
#include <utility>
#include <vector>

namespace catchfield::plan {

/// Key to value as written ("terrain.elevation" -> "dem.tif"). Only keys that were given.
using JobValues = std::map<std::string, std::string>;
/// "name=value" lists in the order given.
using NamedValues = std::vector<std::pair<std::string, std::string>>;

enum class TerrainSource { elevation, slope };

/// Paths are absolute or relative to the working directory (the job file's folder is already put
/// before them). Quantities are in the units their names carry.
struct Job {
    std::filesystem::path file;  ///< the job file; empty where all came from options
    JobValues values;            ///< as written, for run.json and --verbose

    struct {
        std::string boundary, layer, id_column, crs, customer, farm;
        bool repair = false;
    } field;
    struct {
        TerrainSource source = TerrainSource::elevation;
        std::string elevation, slope, barriers, elevation_unit, slope_unit, routing;
        std::optional<double> resolution_m, slope_length_m;
        double smooth_m = 0.0, max_slope_length_m = 120.0, run_on_distance_m = 120.0;
        bool run_on = false;
    } terrain;
    struct {
        std::string map, layer, crs, horizons;
        NamedValues columns;
        bool k_si = false, t_si = false;
        double fill_distance_m = 100.0;
    } soil;
    struct {
        std::optional<double> erosivity_si, winter_low_c, wind_speed_m_s;
        std::string erosivity_shares, monthly, daily, rain;
    } weather;
    struct {
        std::optional<Date> harvest, sow, hard_frost, terminate, next_planting;
        std::string previous_crop, tillage_before_sowing, tillage_before_planting, practice;
        std::optional<double> residue_kg_ha;
        double residue_removed = 0.0;
    } season;
    struct {
        int count = 0;  ///< 0: auto
        int max_count = 5;
        NamedValues features;  ///< name and weight ("" for 1)
        NamedValues layers;
        double min_area_ha = 0.5;
        std::optional<double> working_width_m;
        std::string method, drawn, drawn_column;
        std::vector<std::string> merge;
        std::vector<int> renumber;
        std::string norm;
        double exponent = 1.3;
        std::optional<double> components;
    } zones;
    struct {
        std::vector<std::string> candidates;  ///< empty: all
        std::string catalogue, scouting;
        NamedValues aims;
        int at_most = -1;  ///< -1 by zone, 1 one for the field, n at most n different ones
        bool drilled = true;
        double purity = 0.98, germination = 0.90;
    } cover;
    struct {
        std::string probes, unit, crs, moisture;
        NamedValues columns;
        bool refuse_off_moisture = false;
        double threshold_mpa = 0.0;
    } compaction;
    struct {
        std::string crop, method, yield_column, yield_unit, yield_raster, response, soil_tests;
        std::string region, credits_table, no_apply, yield_goal;
        std::optional<double> fixed_rate_kg_ha, price_n_per_kg, step_kg_ha;
        std::string price_crop;  ///< as written: needs the crop's bushel weight
        bool tests_in_spring = false, cold_dry = false;
        double manure_kg_ha = 0.0, irrigation_kg_ha = 0.0, min_rate_kg_ha = 0.0;
        double max_rate_kg_ha = 250.0, setback_m = 0.0;
        std::vector<double> split;
        NamedValues response_zones;  ///< field zone number and trial zone name
        std::optional<double> late_spring_critical_ppm, least_difference_kg_ha;
        int rate_count = 0;  ///< 0: any number of rates
        std::optional<double> machine_speed_km_h, machine_width_m;
        double machine_lag_s = 2.0;
    } nitrogen;
    struct {
        UnitSystem units = UnitSystem::us;
        std::optional<double> cell_m;
        std::string crs, product, seed_product;
        bool layers = false, reports = true;
        int draws = 200;
    } output;
};

/// Reads an INI job file into values. Throws Error(usage) for an unknown key (naming the nearest
/// known one), a key given twice, a line that is no key, a file that cannot be read; Error(input)
/// where it is no text or larger than 1 MiB.
JobValues read_job_values(const std::filesystem::path& file);
/// The same from the file's content; `file` is for messages.
JobValues parse_job_values(std::string text, const std::filesystem::path& file);

/// Makes the typed job. `folder` is put before relative paths. Checks every value on its own and
/// against the others (dates in order, shares between 0 and 1, one of elevation and slope, ...);
/// opens no file. Throws Error(usage) naming the key.
Job make_job(const JobValues& values, const std::filesystem::path& folder);

/// Every key with the value in force, defaults included.
JobValues resolved_values(const Job& job);

/// "1,2" or "a=1,b=2" cut at commas, trimmed; a quoted part may hold commas.
std::vector<std::string> split_list(const std::string& text);
NamedValues split_named(const std::string& text);

}  // namespace catchfield::plan
