// SPDX-License-Identifier: MIT
#include "plan/soils.hpp"

#include "base/error.hpp"
#include "base/text.hpp"
#include "base/units.hpp"
#include "erosion/soil_loss.hpp"
#include "gis/files.hpp"
#include "plan/notes.hpp"
#include "plan/yields.hpp"

#include <algorithm>
#include <set>

namespace catchfield::plan {

namespace {

/// Column names of the map and of the horizon table, with the user's changes.
void apply_columns(const Job& job, soil::MapUnitColumns& map, soil::HorizonColumns& horizons) {
    for (const auto& [name, column] : job.soil.columns) {
        const std::string pair = name + "=" + column;
        // A name may belong to either table; it must belong to one.
        bool used = false;
        std::string reason;
        try {
            soil::set_columns(map, pair);
            used = true;
        } catch (const Error& error) {
            reason = error.what();
        }
        try {
            soil::set_columns(horizons, pair);
            used = true;
        } catch (const Error&) {
            // The map's message is the one to show.
        }
        if (!used) throw Error(ErrorKind::usage, "soil.columns: " + reason);
    }
}

template <typename Value>
std::optional<Value> first_of(std::optional<Value> a, std::optional<Value> b) {
    return a ? a : b;
}

std::optional<double> profile_mean(const soil::Profile* profile,
                                   std::optional<double> soil::Horizon::*property,
                                   double bottom_cm) {
    if (profile == nullptr) return std::nullopt;
    const auto mean = soil::depth_mean(*profile, property, 0.0, bottom_cm);
    return mean ? std::optional(mean->value) : std::nullopt;
}

void add_tolerance(SoilFacts& facts) {
    if (facts.unit.t_us) {
        facts.t_mg_ha = *facts.unit.t_us * units::mg_ha_per_ton_ac;
        facts.t_note = "soil map";
    } else if (facts.rooting_depth_cm) {
        const erosion::Tolerance guide = erosion::tolerance_by_depth(*facts.rooting_depth_cm);
        facts.t_mg_ha = guide.t_mg_ha;
        facts.t_note = "guide by rooting depth: " + guide.note;
        facts.confidence = weakest(facts.confidence, Confidence::unchecked);
    }
}

void add_wind_group(SoilFacts& facts) {
    try {
        const soil::Horizon& surface = facts.unit.surface;
        if (!facts.unit.wind_group.empty()) {
            facts.wind = erosion::wind_group(facts.unit.wind_group);
        } else if (surface.sand_pct && surface.silt_pct && surface.clay_pct) {
            erosion::SurfaceSoil soil;
            soil.sand_pct = *surface.sand_pct;
            soil.silt_pct = *surface.silt_pct;
            soil.clay_pct = *surface.clay_pct;
            soil.organic_matter_pct = surface.om_pct.value_or(0.0);
            soil.very_fine_sand_pct = surface.very_fine_sand_pct;
            facts.wind = erosion::wind_group(soil);
        }
    } catch (const Error&) {
        facts.wind.reset();  // screening only: a group that cannot be read is no reason to stop
    }
}

SoilFacts facts_of(soil::MapUnit unit, const soil::Profile* profile,
                   std::vector<std::string>& warnings) {
    SoilFacts facts;
    facts.unit = std::move(unit);
    facts.profile = profile;
    // C is the same for all zones and knows no stones, so K has to count them where they are known.
    const bool stones_known = facts.unit.kw_us || facts.unit.surface.fragments_pct ||
                              (profile != nullptr && !profile->horizons.empty() &&
                               profile->horizons.front().fragments_pct);
    facts.erodibility = soil::erodibility(
        facts.unit, profile, stones_known ? soil::Stones::in_k : soil::Stones::in_cover, warnings);
    facts.texture = facts.unit.texture();
    if (!facts.texture && profile != nullptr && !profile->horizons.empty()) {
        facts.texture = soil::horizon_texture(profile->horizons.front());
    }
    facts.coarse = facts.texture && soil::is_sandy(*facts.texture);
    const soil::Horizon& surface = facts.unit.surface;
    facts.om_pct = first_of(profile_mean(profile, &soil::Horizon::om_pct, 20.0), surface.om_pct);
    facts.clay_pct =
        first_of(profile_mean(profile, &soil::Horizon::clay_pct, 20.0), surface.clay_pct);
    facts.density_g_cm3 = first_of(profile_mean(profile, &soil::Horizon::bulk_density_g_cm3, 60.0),
                                   surface.bulk_density_g_cm3);
    if (profile != nullptr) {
        facts.restriction = soil::natural_restriction(*profile, facts.unit.restriction,
                                                      facts.unit.restriction_top_cm);
        facts.rooting_depth_cm = soil::rooting_depth_cm(*profile, facts.restriction);
        facts.available_water_mm = soil::available_water_mm(*profile, 100.0);
        facts.densities = soil::horizon_densities(*profile, facts.restriction);
        facts.dense = soil::dense_layer(facts.densities);
    } else if (facts.unit.restriction_top_cm) {
        facts.rooting_depth_cm = std::min(*facts.unit.restriction_top_cm, 150.0);
    }
    add_tolerance(facts);
    add_wind_group(facts);
    if (facts.erodibility) {
        facts.confidence = weakest(facts.confidence, facts.erodibility->confidence);
    }
    return facts;
}

}  // namespace

Soils load_soils(const Job& job) {
    Soils soils;
    soil::MapUnitColumns map_columns;
    soil::HorizonColumns horizon_columns;
    apply_columns(job, map_columns, horizon_columns);

    std::set<std::string> horizon_names;
    if (!job.soil.horizons.empty()) {
        const Table table = Table::parse(gis::read_file(job.soil.horizons), job.soil.horizons);
        horizon_names.insert(table.columns().begin(), table.columns().end());
        soils.profiles = soil::read_profiles(table, horizon_columns);
    }
    gis::VectorLayer layer = gis::read_layer(job.soil.map, job.soil.layer);
    const gis::Crs crs = gis::require_crs(layer.crs_wkt, job.soil.crs, job.soil.map, "soil.crs");
    for (const auto& [name, column] : job.soil.columns) {
        if (layer.find_column(column) || horizon_names.contains(column)) continue;
        throw Error(
            ErrorKind::usage,
            "soil.columns: neither the soil map nor the horizons have a column '" + column + "'",
            {.path = job.soil.map, .layer = layer.name});
    }
    std::set<std::string> without_profile;
    bool any_k = false;
    soils.facts_of.reserve(layer.features.size());
    // A survey has few map units and many polygons: those that agree in every column looked at so
    // far lead to the same facts and the same doubts.
    std::set<std::size_t> looked_at;
    struct Known {
        int facts = 0;
        std::vector<std::string> doubts;
    };
    std::map<std::string, Known> by_values;
    const auto values_of = [&](const gis::Feature& feature) {
        std::string key;
        for (const std::size_t position : looked_at) key += feature.values[position] + '\n';
        return key;
    };
    RepeatedNotes notes;
    for (const gis::Feature& feature : layer.features) {
        const std::string what = "feature " + std::to_string(feature.fid);
        const auto say = [&](const std::vector<std::string>& doubts) {
            for (const std::string& doubt : doubts) notes.add(what, doubt);
        };
        if (const auto known = by_values.find(values_of(feature)); known != by_values.end()) {
            soils.facts_of.push_back(known->second.facts);
            say(known->second.doubts);
            continue;
        }
        const soil::AttributeLookup lookup =
            [&](std::string_view column) -> std::optional<std::string> {
            const auto position = layer.find_column(column);
            if (position) looked_at.insert(*position);
            if (!position || feature.values[*position].empty()) return std::nullopt;
            const std::string& text = feature.values[*position];
            // The soil room reads US units and checks their ranges; SI columns are turned here.
            double factor = 1.0;
            if (job.soil.k_si && (column == map_columns.k || column == map_columns.kw))
                factor = units::k_si_per_us;
            if (job.soil.t_si && column == map_columns.t) factor = units::mg_ha_per_ton_ac;
            const auto number = factor != 1.0 ? parse_number(text) : std::nullopt;
            return number ? shortest(*number / factor) : text;
        };
        soil::MapUnit unit;
        try {
            unit = soil::read_map_unit(lookup, map_columns, what);
        } catch (const Error& error) {
            const std::string& column = error.context().layer;
            throw Error(error.kind(), (column.empty() ? "" : column + ": ") + error.reason(),
                        {.path = job.soil.map,
                         .layer = layer.name,
                         .feature = std::to_string(feature.fid),
                         .hint = error.context().hint});
        }
        const auto profile = soils.profiles.find(unit.key);
        if (profile == soils.profiles.end() && !soils.profiles.empty())
            without_profile.insert(unit.key);
        Known known{static_cast<int>(soils.facts.size()), unit.warnings};
        SoilFacts facts =
            facts_of(std::move(unit), profile == soils.profiles.end() ? nullptr : &profile->second,
                     known.doubts);
        say(known.doubts);
        if (!job.nitrogen.yield_column.empty()) {
            if (const auto text = lookup(job.nitrogen.yield_column)) {
                facts.yield_goal_kg_ha = yield_of_cell(*text, job, job.soil.map, what);
            }
        }
        any_k = any_k || facts.erodibility.has_value();
        soils.facts.push_back(std::move(facts));
        soils.facts_of.push_back(known.facts);
        by_values.emplace(values_of(feature), std::move(known));
    }
    soils.warnings = notes.lines("soil map, ");
    for (const auto& [key, profile] : soils.profiles) {
        for (const std::string& warning : profile.warnings) {
            soils.warnings.push_back("horizons of " + key + ": " + warning);
        }
    }
    if (!without_profile.empty()) {
        std::string list;
        for (const std::string& key : without_profile) list += (list.empty() ? "" : ", ") + key;
        soils.warnings.push_back("no horizons for map units " + list +
                                 ": density and depth are not known there");
    }
    if (soils.facts.empty() || layer.features.empty()) {
        throw Error(ErrorKind::input, "the soil map has no polygons", {.path = job.soil.map});
    }
    if (!any_k) {
        throw Error(
            ErrorKind::data,
            std::string(
                "no soil polygon has an erodibility K that can be used, nor texture to work it out "
                "from") +
                (soils.warnings.empty() ? "" : " (" + soils.warnings.front() + ")"),
            {.path = job.soil.map,
             .layer = layer.name,
             .hint = "Name the column: soil.columns = k=<column>, or sand=, silt=, clay=, om=."});
    }
    for (gis::Feature& feature : layer.features) {
        feature.values.clear();
        feature.values.shrink_to_fit();
    }
    soils.map.emplace(std::move(layer), crs);
    return soils;
}

}  // namespace catchfield::plan
