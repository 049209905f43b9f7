// SPDX-License-Identifier: MIT
#include "plan/soils.hpp"

#include "base/error.hpp"
#include "base/text.hpp"
#include "base/units.hpp"
#include "erosion/soil_loss.hpp"
#include "gis/files.hpp"
#include "gis/vector.hpp"
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

/// Features of the soil map one by one, in the file's order, turned into facts and shapes.
class MapReader {
  public:
    MapReader(const Job& job, Soils& soils, const std::set<std::string>& horizon_names,
              const soil::MapUnitColumns& columns)
        : m_job(job), m_soils(soils), m_horizon_names(horizon_names), m_columns(columns) {}

    void visit(const gis::VectorLayer& layer, gis::Feature&& feature) {
        if (m_boxes.empty()) begin(layer);
        gis::require_place(layer, feature, m_crs);
        m_boxes.push_back(bounds(feature.polygons));
        m_shapes.add(feature.polygons);
        m_soils.facts_of.push_back(facts_of_feature(layer, feature));
    }

    /// Checks what needs the whole map and hands it over.
    void finish(const gis::VectorLayer& layer);

  private:
    struct Known {
        int facts = 0;
        std::vector<std::string> doubts;
    };

    void begin(const gis::VectorLayer& layer);
    int facts_of_feature(const gis::VectorLayer& layer, const gis::Feature& feature);
    std::optional<std::string> value_of(const gis::VectorLayer& layer, const gis::Feature& feature,
                                        std::string_view column);
    std::string values_of(const gis::Feature& feature) const;

    const Job& m_job;
    Soils& m_soils;
    const std::set<std::string>& m_horizon_names;
    const soil::MapUnitColumns& m_columns;
    gis::Crs m_crs;
    gis::ShapeFile m_shapes;
    std::vector<Box> m_boxes;
    // A survey has few map units and many polygons: those that agree in every column looked at so
    // far lead to the same facts and the same doubts.
    std::set<std::size_t> m_looked_at;
    std::map<std::string, Known> m_by_values;
    std::set<std::string> m_without_profile;
    RepeatedNotes m_notes;
    bool m_any_k = false;
};

void MapReader::begin(const gis::VectorLayer& layer) {
    m_crs = gis::require_crs(layer.crs_wkt, m_job.soil.crs, m_job.soil.map, "soil.crs");
    for (const auto& [name, column] : m_job.soil.columns) {
        if (layer.find_column(column) || m_horizon_names.contains(column)) continue;
        throw Error(
            ErrorKind::usage,
            "soil.columns: neither the soil map nor the horizons have a column '" + column + "'",
            {.path = m_job.soil.map, .layer = layer.name});
    }
}

std::optional<std::string> MapReader::value_of(const gis::VectorLayer& layer,
                                               const gis::Feature& feature,
                                               std::string_view column) {
    const auto position = layer.find_column(column);
    if (position) m_looked_at.insert(*position);
    if (!position || feature.values[*position].empty()) return std::nullopt;
    const std::string& text = feature.values[*position];
    // The soil room reads US units and checks their ranges; SI columns are turned here.
    double factor = 1.0;
    if (m_job.soil.k_si && (column == m_columns.k || column == m_columns.kw))
        factor = units::k_si_per_us;
    if (m_job.soil.t_si && column == m_columns.t) factor = units::mg_ha_per_ton_ac;
    const auto number = factor != 1.0 ? parse_number(text) : std::nullopt;
    return number ? shortest(*number / factor) : text;
}

std::string MapReader::values_of(const gis::Feature& feature) const {
    std::string key;
    for (const std::size_t position : m_looked_at) key += feature.values[position] + '\n';
    return key;
}

int MapReader::facts_of_feature(const gis::VectorLayer& layer, const gis::Feature& feature) {
    const std::string what = "feature " + std::to_string(feature.fid);
    const auto say = [&](const std::vector<std::string>& doubts) {
        for (const std::string& doubt : doubts) m_notes.add(what, doubt);
    };
    if (const auto known = m_by_values.find(values_of(feature)); known != m_by_values.end()) {
        say(known->second.doubts);
        return known->second.facts;
    }
    const soil::AttributeLookup lookup = [&](std::string_view column) {
        return value_of(layer, feature, column);
    };
    soil::MapUnit unit;
    try {
        unit = soil::read_map_unit(lookup, m_columns, what);
    } catch (const Error& error) {
        const std::string& column = error.context().layer;
        throw Error(error.kind(), (column.empty() ? "" : column + ": ") + error.reason(),
                    {.path = m_job.soil.map,
                     .layer = layer.name,
                     .feature = std::to_string(feature.fid),
                     .hint = error.context().hint});
    }
    const auto profile = m_soils.profiles.find(unit.key);
    const bool has_profile = profile != m_soils.profiles.end();
    if (!has_profile && !m_soils.profiles.empty()) m_without_profile.insert(unit.key);
    Known known{static_cast<int>(m_soils.facts.size()), unit.warnings};
    SoilFacts facts =
        facts_of(std::move(unit), has_profile ? &profile->second : nullptr, known.doubts);
    say(known.doubts);
    if (!m_job.nitrogen.yield_column.empty()) {
        if (const auto text = lookup(m_job.nitrogen.yield_column))
            facts.yield_goal_kg_ha = yield_of_cell(*text, m_job, m_job.soil.map, what);
    }
    m_any_k = m_any_k || facts.erodibility.has_value();
    m_soils.facts.push_back(std::move(facts));
    const int number = known.facts;
    m_by_values.emplace(values_of(feature), std::move(known));
    return number;
}

void MapReader::finish(const gis::VectorLayer& layer) {
    if (m_boxes.empty()) {
        begin(layer);
        throw Error(ErrorKind::input, "the soil map has no polygons", {.path = m_job.soil.map});
    }
    m_soils.warnings = m_notes.lines("soil map, ");
    for (const auto& [key, profile] : m_soils.profiles) {
        for (const std::string& warning : profile.warnings)
            m_soils.warnings.push_back("horizons of " + key + ": " + warning);
    }
    if (!m_without_profile.empty()) {
        std::string list;
        for (const std::string& key : m_without_profile) list += (list.empty() ? "" : ", ") + key;
        m_soils.warnings.push_back("no horizons for map units " + list +
                                   ": density and depth are not known there");
    }
    if (!m_any_k) {
        throw Error(
            ErrorKind::data,
            std::string(
                "no soil polygon has an erodibility K that can be used, nor texture to work it out "
                "from") +
                (m_soils.warnings.empty() ? "" : " (" + m_soils.warnings.front() + ")"),
            {.path = m_job.soil.map,
             .layer = layer.name,
             .hint = "Name the column: soil.columns = k=<column>, or sand=, silt=, clay=, om=."});
    }
    m_soils.facts_of.shrink_to_fit();
    m_soils.map.emplace(std::move(m_shapes), m_boxes, m_crs);
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
    MapReader reader(job, soils, horizon_names, map_columns);
    reader.finish(gis::visit_layer(
        job.soil.map, job.soil.layer,
        [&](const gis::VectorLayer& layer, gis::Feature&& feature) {
            reader.visit(layer, std::move(feature));
        }));
    return soils;
}

}  // namespace catchfield::plan
