// SPDX-License-Identifier: MIT
// Ground and compaction of a zone.
#include "base/text.hpp"
#include "plan/zone_steps.hpp"
#include "terrain/slope_length.hpp"

#include <algorithm>
#include <cmath>
#include <map>
#include <utility>

namespace catchfield::plan {

namespace {

/// Length of a uniform slope that has this LS at this slope, m.
double equivalent_length_m(double ls, double slope_pct, double max_length_m) {
    const double slope = std::clamp(slope_pct, 0.05, terrain::clamp_slope_pct);
    const double s = terrain::steepness_factor(slope);
    const double m = terrain::length_exponent(slope);
    if (!(ls > 0.0) || m < 1e-6) return terrain::shortest_length_m;
    const double length = terrain::unit_plot_length_m * std::pow(ls / s, 1.0 / m);
    return std::clamp(length, terrain::shortest_length_m, max_length_m);
}

/// A cell of the field that touches this one, side by side before corner to corner; the cell itself
/// where there is none.
std::size_t field_cell_beside(const Ground& ground, std::size_t cell) {
    constexpr std::pair<int, int> around[] = {{0, -1},  {0, 1},  {-1, 0}, {1, 0},
                                              {-1, -1}, {-1, 1}, {1, -1}, {1, 1}};
    const auto cols = static_cast<std::size_t>(ground.frame.cols);
    const int row = static_cast<int>(cell / cols), col = static_cast<int>(cell % cols);
    for (const auto& [down, right] : around) {
        if (!ground.frame.contains(row + down, col + right)) continue;
        const std::size_t index = ground.frame.index(row + down, col + right);
        if (ground.field[index]) return index;
    }
    return cell;
}

/// Map unit with the largest share of the zone; -1 where none has any.
int main_soil(const Ground& ground, const std::vector<geometry::CellRun>& cells) {
    std::map<int, double> shares;
    int last = -1;
    double* sum = nullptr;
    geometry::for_cells(cells, [&](std::size_t cell, double share) {
        const int soil = ground.soil[cell];
        if (soil < 0) return;
        if (soil != last) sum = &shares[last = soil];
        *sum += share;
    });
    int best = -1;
    double most = 0.0;
    for (const auto& [soil, share] : shares) {
        if (share > most) {
            best = soil;
            most = share;
        }
    }
    return best;
}

std::optional<double> median(std::vector<double> values) {
    if (values.empty()) return std::nullopt;
    std::sort(values.begin(), values.end());
    const std::size_t n = values.size();
    return n % 2 == 1 ? values[n / 2] : (values[n / 2 - 1] + values[n / 2]) / 2.0;
}

compaction::PanNature pan_nature(soil::LayerNature nature) {
    switch (nature) {
        case soil::LayerNature::natural:
            return compaction::PanNature::natural;
        case soil::LayerNature::traffic_possible:
            return compaction::PanNature::traffic_possible;
        case soil::LayerNature::unknown:
            break;
    }
    return compaction::PanNature::unknown;
}

}  // namespace

void describe_ground(const Inputs& inputs, const Ground& ground,
                     const std::vector<geometry::CellRun>& cells, ZoneResult& zone) {
    ZoneMean slope, ls, k, k_ls, t, om, clay, density, depth, water;
    double whole = 0.0, mapped = 0.0, filled = 0.0, no_terrain = 0.0, coarse = 0.0, channel = 0.0,
           steep = 0.0;
    geometry::for_cells(cells, [&](std::size_t cell, double share) {
        whole += share;
        // Edge cells whose centre is outside have no terrain or soil of their own: they count with
        // the cell beside them in what is covered, and not in the means.
        if (!ground.field[cell]) {
            const std::size_t beside = field_cell_beside(ground, cell);
            if (!ground.terrain.mask[beside]) no_terrain += share;
            if (ground.soil[beside] >= 0) {
                (ground.is_filled(beside) ? filled : mapped) += share;
            }
            return;
        }
        const bool has_terrain = ground.terrain.mask[cell] != 0;
        if (has_terrain) {
            slope.add(static_cast<double>(ground.terrain.slope_pct[cell]), share);
            ls.add(static_cast<double>(ground.terrain.ls[cell]), share);
            if (ground.terrain.channel[cell]) channel += share;
            if (static_cast<double>(ground.terrain.slope_pct[cell]) > terrain::warn_slope_pct)
                steep += share;
        } else {
            no_terrain += share;
        }
        const SoilFacts* soil = ground.soil_at(cell, inputs.soils);
        if (soil == nullptr) return;
        (ground.is_filled(cell) ? filled : mapped) += share;
        if (soil->erodibility) {
            k.add(soil->erodibility->k_si, share);
            if (has_terrain) {
                k_ls.add(soil->erodibility->k_si * static_cast<double>(ground.terrain.ls[cell]),
                         share);
            }
        }
        if (soil->t_mg_ha) t.add(*soil->t_mg_ha, share);
        if (soil->om_pct) om.add(*soil->om_pct, share);
        if (soil->clay_pct) clay.add(*soil->clay_pct, share);
        if (soil->density_g_cm3) density.add(*soil->density_g_cm3, share);
        if (soil->rooting_depth_cm) depth.add(*soil->rooting_depth_cm, share);
        if (soil->available_water_mm) water.add(*soil->available_water_mm, share);
        if (soil->coarse) coarse += share;
    });
    if (whole > 0.0) {
        zone.coverage = {mapped / whole, filled / whole, 1.0 - (mapped + filled) / whole,
                         no_terrain / whole};
        zone.channel_share = channel / whole;
        zone.steep_share = steep / whole;
    }
    zone.slope_pct = slope.value().value_or(0.0);
    zone.ls = ls.value().value_or(0.0);
    zone.slope_length_m =
        equivalent_length_m(zone.ls, zone.slope_pct, inputs.job.terrain.max_slope_length_m);
    zone.k_si = k.value();
    zone.t_mg_ha = t.value();
    zone.om_pct = om.value();
    zone.clay_pct = clay.value();
    zone.density_g_cm3 = density.value();
    zone.rooting_depth_cm = depth.value();
    zone.available_water_mm = water.value();
    zone.coarse = coarse > 0.5 * (mapped + filled);
    if (const auto mean = k_ls.value()) zone.loss_bare_mg_ha = inputs.climate.year.r_si * *mean;

    const int soil = main_soil(ground, cells);
    if (soil >= 0) {
        const SoilFacts& facts = inputs.soils.facts[static_cast<std::size_t>(soil)];
        zone.soil = facts.unit.name.empty() ? facts.unit.key : facts.unit.name;
        if (facts.unit.drainage) zone.drainage = soil::drainage_name(*facts.unit.drainage);
        if (facts.unit.hydrologic_group) {
            zone.hydrologic_group = soil::hydrologic_group_name(*facts.unit.hydrologic_group);
        }
        if (facts.erodibility)
            zone.k_route = soil::erodibility_route_name(facts.erodibility->route);
        zone.t_route = facts.t_note;
        if (facts.wind) zone.wind_group = facts.wind->group;
    }
}

void judge_compaction(const Inputs& inputs, const Ground& ground,
                      const std::vector<geometry::CellRun>& cells, ZoneResult& zone) {
    compaction::ZoneFacts facts;
    const int soil_index = main_soil(ground, cells);
    const SoilFacts* soil =
        soil_index < 0 ? nullptr : &inputs.soils.facts[static_cast<std::size_t>(soil_index)];

    if (soil != nullptr) {
        facts.drainage = zone.drainage;
        if (soil->unit.drainage) {
            const auto drainage = *soil->unit.drainage;
            facts.poorly_drained =
                drainage == soil::Drainage::poor || drainage == soil::Drainage::very_poor;
            facts.somewhat_poor = drainage == soil::Drainage::somewhat_poor;
        }
        facts.water_table_cm = soil->unit.water_table_cm;
        if (soil->restriction) facts.natural_pan_top_cm = soil->restriction->top_cm;
        if (soil->dense) {
            facts.nature = pan_nature(soil->dense->nature);
            facts.nature_reason = soil->dense->reason;
        } else if (soil->profile != nullptr) {
            facts.nature = compaction::PanNature::traffic_possible;
            facts.nature_reason = "no natural pan in the soil description";
        }
    }
    if (soil != nullptr && soil->dense) {
        zone.soil_layer = {true, soil->dense->top_cm, soil->dense->thickness_cm(),
                           soil->dense->reason, soil->dense->confidence};
    } else if (soil != nullptr && !soil->densities.empty()) {
        zone.soil_layer = {true,
                           {},
                           {},
                           "no horizon is dense for its texture",
                           soil->densities.front().limits.confidence};
    } else {
        zone.soil_layer.text = "no densities of horizons are known";
    }
    std::vector<std::string> stop_warnings;
    if (!zone.stops.empty()) {
        std::vector<double> tops, thicknesses;
        for (const compaction::StopSummary& stop : zone.stops) {
            if (stop.layer_top_cm) tops.push_back(*stop.layer_top_cm);
            if (stop.layer_thickness_cm) thicknesses.push_back(*stop.layer_thickness_cm);
            if (stop.moisture == compaction::Moisture::dry ||
                stop.moisture == compaction::Moisture::wet) {
                facts.dry_or_wet_readings = true;
            }
        }
        facts.evidence = compaction::LayerEvidence::stops;
        facts.stops = zone.stops.size();
        facts.layer_top_cm = median(tops);
        facts.layer_thickness_cm = median(thicknesses);
        facts.no_layer = tops.empty();
        facts.layer_source = "median of " + std::to_string(tops.size()) + " of " +
                             std::to_string(zone.stops.size()) + " stops";
        if (const auto rating = compaction::rate_stops(zone.stops)) {
            facts.share_above = rating->share;
            zone.compaction_class = compaction::rating_name(rating->rating);
            facts.confidence = rating->confidence;
            stop_warnings = rating->warnings;
        }
    } else if (soil != nullptr && soil->dense) {
        facts.evidence = compaction::LayerEvidence::soil_map;
        facts.layer_top_cm = soil->dense->top_cm;
        facts.layer_thickness_cm = soil->dense->thickness_cm();
        facts.layer_source = soil->dense->reason;
        facts.confidence = soil->dense->confidence;
        zone.compaction_class =
            "soil map: " + std::string(soil::density_class_name(soil->dense->level));
    } else if (soil != nullptr && !soil->densities.empty()) {
        facts.evidence = compaction::LayerEvidence::soil_map;
        facts.no_layer = true;
        zone.compaction_class = "soil map: no dense layer";
    } else {
        zone.compaction_class = "not known";
    }
    zone.compaction_top_cm = facts.layer_top_cm;
    facts.gdd = inputs.covers->season().heat(0.0, inputs.dates.sow, inputs.dates.hard_frost);
    facts.soil_nitrate_kg_ha = zone.nitrate_0_30_kg_ha;
    if (inputs.job.nitrogen.manure_kg_ha > 0.0) facts.legume_or_manure = true;
    zone.taproot = compaction::advise_taproot(facts);
    zone.taproot.cautions.insert(zone.taproot.cautions.end(), stop_warnings.begin(),
                                 stop_warnings.end());
    zone.needs.root_stop = facts.nature == compaction::PanNature::natural;
    zone.needs.wet_subsoil = facts.poorly_drained.value_or(false);
}

}  // namespace catchfield::plan
