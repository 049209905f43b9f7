// SPDX-License-Identifier: MIT
#include "plan/rate_steps.hpp"

#include "base/text.hpp"
#include "prescription/surface.hpp"

#include <set>
#include <utility>

namespace catchfield::plan {

namespace {

/// kg/ha in the unit that the rate rule is written in.
double rule_unit(const Inputs& inputs) {
    return inputs.us() ? units::kg_ha_per_lb_ac : 1.0;
}

/// Zones that touch along a cell's side.
std::vector<prescription::Neighbours> touching_zones(const Raster<std::int32_t>& zones) {
    std::set<std::pair<int, int>> pairs;
    const GridFrame& frame = zones.frame;
    const auto touch = [&](std::int32_t a, std::int32_t b) {
        if (a > 0 && b > 0 && a != b) pairs.insert(std::minmax(a - 1, b - 1));
    };
    for (int row = 0; row < frame.rows; ++row) {
        for (int col = 0; col < frame.cols; ++col) {
            if (col + 1 < frame.cols) touch(zones.at(row, col), zones.at(row, col + 1));
            if (row + 1 < frame.rows) touch(zones.at(row, col), zones.at(row + 1, col));
        }
    }
    std::vector<prescription::Neighbours> neighbours;
    for (const auto& [first, second] : pairs) neighbours.push_back({first, second});
    return neighbours;
}

void warn_of_close_rates(const Inputs& inputs, FieldResult& result) {
    const double unit = rule_unit(inputs);
    const double least = inputs.job.nitrogen.least_difference_kg_ha
                             ? *inputs.job.nitrogen.least_difference_kg_ha / unit
                             : 2.0 * inputs.rate_rule.step;
    std::vector<double> rates;
    std::vector<std::string> names;
    for (const ZoneResult& zone : result.zones) {
        rates.push_back(zone.n_rate_kg_ha / unit);
        names.push_back("zone " + std::to_string(zone.zone));
    }
    for (std::string& warning : prescription::close_neighbours(
             rates, touching_zones(result.zone_cells), least - 1e-9, names)) {
        result.warnings.push_back("Nitrogen: " + std::move(warning));
    }
}

void smooth_map(FieldResult& result) {
    prescription::RateSurface surface{std::move(result.rate_cells), result.rate_mask};
    const int changed = prescription::smooth_islands(surface);
    result.rate_cells = std::move(surface.rates);
    if (changed == 0) return;
    result.warnings.push_back(std::to_string(changed) +
                              " lone cells of the nitrogen raster took the rate around them; the "
                              "polygons of the prescription keep theirs.");
}

void check_machine(const Inputs& inputs, FieldResult& result) {
    const auto& job = inputs.job.nitrogen;
    if (!job.machine_speed_km_h) return;
    prescription::Machine machine;
    machine.speed_km_h = *job.machine_speed_km_h;
    machine.lag_s = job.machine_lag_s;
    machine.width_m = job.machine_width_m ? *job.machine_width_m
                                          : inputs.job.zones.working_width_m.value_or(12.0);
    const prescription::TransitionCheck check =
        prescription::check_transitions({result.rate_cells, result.rate_mask}, machine);
    for (const std::string& warning : check.warnings) {
        result.warnings.push_back("Nitrogen map: " + warning);
    }
}

}  // namespace

double prescribed_rate(const Inputs& inputs, double n_kg_ha) {
    return inputs.product ? prescription::product_rate(n_kg_ha, *inputs.product, inputs.rate_unit)
                          : n_kg_ha / rule_unit(inputs);
}

void settle_field_rates(const Inputs& inputs, FieldResult& result) {
    const double unit = rule_unit(inputs);
    const auto& job = inputs.job.nitrogen;
    if (job.rate_count > 0) {
        std::vector<double> rates, areas;
        for (const ZoneResult& zone : result.zones) {
            rates.push_back(zone.n_rate_kg_ha / unit);
            areas.push_back(zone.area_ha);
        }
        const prescription::ZoneRates limited =
            prescription::limit_distinct(rates, areas, job.rate_count, inputs.rate_rule);
        for (std::size_t z = 0; z < result.zones.size(); ++z) {
            ZoneResult& zone = result.zones[z];
            zone.n_rate_kg_ha = limited.rates[z] * unit;
            nitrogen::settle(
                zone.budget, zone.n_rate_kg_ha, "number of rates",
                "at most " + std::to_string(job.rate_count) + " different rates in the field");
        }
        result.warnings.insert(result.warnings.end(), limited.warnings.begin(),
                               limited.warnings.end());
    }
    std::vector<prescription::SplitPass> passes;
    for (const double share : job.split) {
        passes.push_back({"pass " + std::to_string(passes.size() + 1), share});
    }
    for (ZoneResult& zone : result.zones) {
        zone.n_passes_kg_ha =
            prescription::split_rate(zone.n_rate_kg_ha / unit, passes, inputs.rate_rule);
        for (double& pass : zone.n_passes_kg_ha) pass *= unit;
    }
}

void finish_rate_map(const Inputs& inputs, FieldResult& result) {
    for (const ZoneResult& zone : result.zones) {
        std::vector<double> passes;
        for (const double pass : zone.n_passes_kg_ha)
            passes.push_back(prescribed_rate(inputs, pass));
        result.pass_rates.push_back(std::move(passes));
    }
    smooth_map(result);
    warn_of_close_rates(inputs, result);
    check_machine(inputs, result);
}

}  // namespace catchfield::plan
