// SPDX-License-Identifier: MIT
#include "plan/field_zones.hpp"

#include "base/error.hpp"
#include "base/text.hpp"
#include "geometry/overlay.hpp"
#include "plan/drawn_zones.hpp"
#include "plan/point_layers.hpp"
#include "plan/rasters.hpp"
#include "zoning/yields.hpp"

#include <algorithm>
#include <cmath>
#include <filesystem>
#include <map>
#include <set>

namespace catchfield::plan {

namespace {

/// Above this many cells zones are fitted with more starts.
constexpr std::size_t quick_cells = 20'000;

/// Zones are made on at most about so many cells; the ground of a larger field is made coarser.
constexpr std::size_t most_zone_cells = 1'000'000;

zoning::Feature soil_feature(const std::string& name, const Ground& ground, const Inputs& inputs,
                             const SoilValue& value, bool ratio_scale) {
    zoning::Feature feature;
    feature.name = name;
    soil_layer(ground, inputs.soils, value, feature.values, feature.valid);
    feature.ratio_scale = ratio_scale;
    return feature;
}

zoning::Feature terrain_feature(const std::string& name, Raster<float> values, Mask valid) {
    zoning::Feature feature;
    feature.name = name;
    feature.values = std::move(values);
    feature.valid = std::move(valid);
    return feature;
}

zoning::Feature file_feature(const std::string& name, const std::string& file, const Ground& ground,
                             const Inputs& inputs, std::vector<std::string>& warnings) {
    if (is_point_file(file)) {
        return point_feature(name, inputs.point_layers.at(file), ground, warnings);
    }
    auto window =
        open_raster(file).read<float>(ground.frame, ground.crs, gis::Resampling::bilinear);
    return terrain_feature(name, std::move(window.values), std::move(window.valid));
}

/// One file, or several years of yield: each year by its own mean, then averaged.
zoning::Feature layer_feature(const std::string& name, const std::string& files,
                              const Ground& ground, const Inputs& inputs,
                              std::vector<std::string>& warnings) {
    const std::vector<std::string> list = split(files, ';');
    if (list.size() == 1) return file_feature(name, list.front(), ground, inputs, warnings);
    std::vector<zoning::YieldYear> years;
    for (const std::string& file : list) {
        zoning::Feature one = file_feature(name, file, ground, inputs, warnings);
        years.push_back({std::filesystem::path(file).stem().string(), std::move(one.values),
                         std::move(one.valid)});
    }
    zoning::YieldHistory history = zoning::combine_years(years, ground.field);
    for (const std::string& warning : history.warnings) warnings.push_back(name + ": " + warning);
    return terrain_feature(name, std::move(history.relative_pct), std::move(history.valid));
}

const std::map<std::string, SoilValue>& soil_values() {
    static const std::map<std::string, SoilValue> values = {
        {"k",
         [](const SoilFacts& f) {
             return f.erodibility ? std::optional(f.erodibility->k_si) : std::nullopt;
         }},
        {"om", [](const SoilFacts& f) { return f.om_pct; }},
        {"density", [](const SoilFacts& f) { return f.density_g_cm3; }},
        {"depth", [](const SoilFacts& f) { return f.rooting_depth_cm; }},
        {"clay", [](const SoilFacts& f) { return f.clay_pct; }},
        {"awc", [](const SoilFacts& f) { return f.available_water_mm; }},
    };
    return values;
}

zoning::ZoningOptions zoning_options(const Inputs& inputs, const Ground& ground) {
    const auto& zones = inputs.job.zones;
    const auto cells = static_cast<std::size_t>(
        std::count(ground.field.values.begin(), ground.field.values.end(), std::uint8_t{1}));
    zoning::ZoningOptions options =
        cells < quick_cells ? zoning::quick_options() : zoning::default_options();
    options.method = zones.method == "fuzzy" ? zoning::Method::fuzzy : zoning::Method::kmeans;
    if (zones.count > 0) options.count = zones.count;
    options.norm = zones.norm == "mahalanobis" ? zoning::Norm::mahalanobis
                   : zones.norm == "diagonal"  ? zoning::Norm::diagonal
                                               : zoning::Norm::euclidean;
    options.exponent = zones.exponent;
    options.pca_share = zones.components;
    options.max_count = zones.max_count;
    options.cleanup.min_area_ha = zones.min_area_ha;
    options.cleanup.working_width_m = zones.working_width_m.value_or(0.0);
    options.need = zoning::Need{ground.terrain.ls, ground.terrain.mask};
    options.parallel = cells >= quick_cells;
    return options;
}

/// "2+3" in the job: zones joined after they are made.
void merge_as_asked(const Inputs& inputs, const std::vector<zoning::Feature>& features,
                    const Ground& ground, zoning::ZoningResult& result) {
    if (inputs.job.zones.merge.empty()) return;
    zoning::Labels labels = result.labels;
    // Numbers are those of the zones as made, so merge the highest numbers first.
    std::vector<std::vector<int>> groups;
    for (const std::string& text : inputs.job.zones.merge) {
        std::vector<int> group;
        for (const std::string& part : split(text, '+')) {
            const auto number = parse_integer(part);
            if (!number || *number < 1 || *number > result.count) {
                throw Error(ErrorKind::usage, "zones.merge = " + text + ": '" + part +
                                                  "' is not a zone of this field (1 to " +
                                                  std::to_string(result.count) + ")");
            }
            group.push_back(static_cast<int>(*number));
        }
        groups.push_back(group);
    }
    for (const std::vector<int>& group : groups) {
        const int target = *std::min_element(group.begin(), group.end());
        for (auto& label : labels.values) {
            if (std::find(group.begin(), group.end(), static_cast<int>(label)) != group.end()) {
                label = static_cast<std::int16_t>(target);
            }
        }
    }
    std::set<int> used;
    for (const auto label : labels.values) {
        if (label > 0) used.insert(label);
    }
    std::map<int, int> renumbered;
    for (const int label : used) renumbered.emplace(label, static_cast<int>(renumbered.size()) + 1);
    for (auto& label : labels.values) {
        if (label > 0) label = static_cast<std::int16_t>(renumbered[label]);
    }
    const std::string reason = result.reason;
    const auto curve = result.curve;
    result = zoning::describe_zones(labels, features, ground.field,
                                    zoning::Need{ground.terrain.ls, ground.terrain.mask});
    result.curve = curve;
    result.reason = reason + " Zones were merged as asked.";
}

/// "3,1,2" in the job, where this field has that many zones.
void renumber_as_asked(const Inputs& inputs, const std::vector<zoning::Feature>& features,
                       const Ground& ground, FieldZones& zones) {
    const std::vector<int>& numbers = inputs.job.zones.renumber;
    if (numbers.empty()) return;
    if (static_cast<int>(numbers.size()) != zones.zoning.count) {
        zones.warnings.push_back("zones.renumber names " + std::to_string(numbers.size()) +
                                 " zones, this field has " + std::to_string(zones.zoning.count) +
                                 ": its numbers are kept.");
        return;
    }
    zoning::ZoningResult renumbered =
        zoning::describe_zones(zoning::renumber_zones(zones.zoning.labels, numbers), features,
                               ground.field, zoning::Need{ground.terrain.ls, ground.terrain.mask});
    renumbered.curve = zones.zoning.curve;
    renumbered.reason = zones.zoning.reason + " Zones were renumbered as asked.";
    zones.zoning = std::move(renumbered);
}

}  // namespace

void require_known_features(const Job& job) {
    std::vector<std::string> known = {"slope", "ls", "wetness", "elevation", "aspect"};
    for (const auto& [known_name, value] : soil_values()) known.push_back(known_name);
    for (const auto& layer : job.zones.layers) known.push_back(layer.first);
    for (const auto& [name, weight] : job.zones.features) {
        if (std::find(known.begin(), known.end(), name) != known.end()) continue;
        const std::string near = nearest_name(name, known);
        throw Error(ErrorKind::usage, "zones.features: unknown feature '" + name + "'",
                    {.hint = near.empty() ? "" : "Did you mean '" + near + "'?"});
    }
}

std::vector<zoning::Feature> zone_features(const Inputs& inputs, const Ground& ground,
                                           std::vector<std::string>& warnings) {
    std::vector<zoning::Feature> features;
    const terrain::TerrainResult& terrain = ground.terrain;
    for (const auto& [name, weight_text] : inputs.job.zones.features) {
        const std::size_t before = features.size();
        const auto soil = soil_values().find(name);
        const auto own =
            std::find_if(inputs.job.zones.layers.begin(), inputs.job.zones.layers.end(),
                         [&, &name = name](const auto& layer) { return layer.first == name; });
        if (own != inputs.job.zones.layers.end()) {
            features.push_back(layer_feature(name, own->second, ground, inputs, warnings));
            features.back().ratio_scale = true;
        } else if (soil != soil_values().end()) {
            features.push_back(soil_feature(name, ground, inputs, soil->second, name != "depth"));
        } else if (name == "slope") {
            features.push_back(terrain_feature(name, terrain.slope_pct, terrain.mask));
        } else if (name == "ls") {
            features.push_back(terrain_feature(name, terrain.ls, terrain.mask));
            features.back().ratio_scale = true;
        } else if (name == "wetness" || name == "elevation" || name == "aspect") {
            if (terrain.wetness.size() == 0) {
                warnings.push_back("feature '" + name +
                                   "' needs an elevation raster and is left out.");
                continue;
            }
            if (name == "wetness")
                features.push_back(terrain_feature(name, terrain.wetness, terrain.mask));
            if (name == "elevation") {
                features.push_back(terrain_feature(name, terrain.relative_elevation, terrain.mask));
            }
            if (name == "aspect") {
                features.push_back(
                    terrain_feature("aspect east-west", terrain.aspect_sine, terrain.mask));
                features.push_back(
                    terrain_feature("aspect north-south", terrain.aspect_cosine, terrain.mask));
            }
        }
        for (std::size_t i = before; i < features.size(); ++i) {
            features[i].weight = weight_text.empty() ? 1.0 : *parse_number(weight_text);
        }
    }
    return features;
}

namespace {

/// Zones and outlines on the ground as it is.
FieldZones zones_on(const Inputs& inputs, const FieldBoundary& field, const Ground& ground) {
    FieldZones zones;
    const std::vector<zoning::Feature> features = zone_features(inputs, ground, zones.warnings);
    if (!inputs.job.zones.drawn.empty()) {
        DrawnField drawn = read_drawn_zones(inputs, field, ground);
        zones.warnings.insert(zones.warnings.end(), drawn.warnings.begin(), drawn.warnings.end());
        zones.zoning = zoning::describe_zones(drawn.labels, features, ground.field,
                                              zoning::Need{ground.terrain.ls, ground.terrain.mask});
        zones.zoning.reason = "Zones as drawn in " + inputs.job.zones.drawn + ".";
        zones.outlines = std::move(drawn.outlines);
    } else {
        zones.zoning = zoning::make_zones(features, ground.field, zoning_options(inputs, ground));
        merge_as_asked(inputs, features, ground, zones.zoning);
        renumber_as_asked(inputs, features, ground, zones);
        Raster<int> labels(ground.frame);
        std::copy(zones.zoning.labels.values.begin(), zones.zoning.labels.values.end(),
                  labels.values.begin());
        geometry::ZoneOutlines outlines = geometry::zone_outlines(labels, ground.boundary);
        zones.outlines = std::move(outlines.zones);
        zones.warnings.insert(zones.warnings.end(), outlines.warnings.begin(),
                              outlines.warnings.end());
    }
    return zones;
}

}  // namespace

FieldZones make_field_zones(const Inputs& inputs, const FieldBoundary& field,
                            const Ground& ground) {
    const double blocks =
        static_cast<double>(ground.frame.size()) / static_cast<double>(most_zone_cells);
    const int step = static_cast<int>(std::ceil(std::sqrt(blocks)));
    FieldZones zones =
        step > 1 ? zones_on(inputs, field, coarser(ground, step)) : zones_on(inputs, field, ground);
    for (const geometry::ZoneOutline& outline : zones.outlines) {
        zones.cells.push_back(geometry::covered_runs(outline.shape, ground.frame));
    }
    return zones;
}

}  // namespace catchfield::plan
