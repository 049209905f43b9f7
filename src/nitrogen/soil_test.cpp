// SPDX-License-Identifier: MIT
#include "nitrogen/soil_test.hpp"

#include "base/error.hpp"
#include "base/text.hpp"
#include "base/units.hpp"

#include <algorithm>
#include <cmath>

namespace catchfield::nitrogen {

namespace {

std::string layer_name(const NitrateLayer& layer) {
    return shortest(layer.top_cm) + "-" + shortest(layer.bottom_cm) + " cm";
}

void check_layer(const NitrateLayer& layer) {
    const ErrorContext where{.feature = "layer " + layer_name(layer)};
    if (!(layer.top_cm >= 0.0) || !(layer.bottom_cm > layer.top_cm) || layer.bottom_cm > 500.0) {
        throw Error(ErrorKind::data,
                    "a soil layer must begin at 0 cm or below and end deeper, at most at 500 cm",
                    where);
    }
    if (!(layer.nitrate_n_ppm >= 0.0 && layer.nitrate_n_ppm <= 500.0)) {
        ErrorContext context = where;
        context.hint = "Give mg nitrate-N per kg of dry soil; field soils hold 1 to 100.";
        throw Error(ErrorKind::data,
                    "nitrate of " + shortest(layer.nitrate_n_ppm) + " ppm is not possible",
                    context);
    }
    if (layer.bulk_density_g_cm3 &&
        !(*layer.bulk_density_g_cm3 >= 0.5 && *layer.bulk_density_g_cm3 <= 2.2)) {
        ErrorContext context = where;
        context.hint = "Give g/cm3 of dry soil, or leave it out for the field rule.";
        throw Error(ErrorKind::data,
                    "bulk density of " + shortest(*layer.bulk_density_g_cm3) +
                        " g/cm3 is outside 0.5 to 2.2",
                    context);
    }
}

}  // namespace

double nitrate_n_kg_ha(double nitrate_n_ppm, double depth_cm, double bulk_density_g_cm3) {
    return 0.1 * nitrate_n_ppm * bulk_density_g_cm3 * depth_cm;
}

double nitrate_n_from_nitrate(double nitrate_ppm) {
    return nitrate_ppm * 14.007 / 62.005;
}

NitrateProfile stack_layers(std::vector<NitrateLayer> layers) {
    if (layers.empty()) throw Error(ErrorKind::data, "a nitrate sample without layers");
    for (const NitrateLayer& layer : layers) check_layer(layer);
    std::sort(layers.begin(), layers.end(),
              [](const auto& a, const auto& b) { return a.top_cm < b.top_cm; });

    constexpr double slack_cm = 0.1;  // 0-6 in beside 15-30 cm is not a gap
    NitrateProfile profile;
    double reached = 0.0, weighted = 0.0;
    for (const NitrateLayer& layer : layers) {
        const bool first = &layer == &layers.front();
        if (!first && layer.top_cm < reached - 0.5) {
            throw Error(ErrorKind::data, "soil layers overlap",
                        {.feature = "layer " + layer_name(layer)});
        }
        if (first && layer.top_cm > slack_cm) {
            profile.warnings.push_back("the nitrate sample begins at " + shortest(layer.top_cm) +
                                       " cm: the surface was not sampled");
        } else if (!first && layer.top_cm > reached + 0.5) {
            profile.warnings.push_back("no nitrate sample between " + shortest(reached) + " and " +
                                       shortest(layer.top_cm) + " cm");
        }
        if (layer.nitrate_n_ppm > 100.0) {
            profile.warnings.push_back(shortest(layer.nitrate_n_ppm) + " ppm in " +
                                       layer_name(layer) +
                                       " is high: is it nitrate-N in ppm, not nitrate or kg/ha?");
        }
        const double thickness = layer.bottom_cm - layer.top_cm;
        profile.field_rule = profile.field_rule || !layer.bulk_density_g_cm3;
        profile.n_kg_ha +=
            nitrate_n_kg_ha(layer.nitrate_n_ppm, thickness,
                            layer.bulk_density_g_cm3.value_or(field_rule_density_g_cm3));
        profile.depth_cm += thickness;
        weighted += layer.nitrate_n_ppm * thickness;
        reached = layer.bottom_cm;
    }
    profile.mean_ppm = weighted / profile.depth_cm;
    if (profile.depth_cm < 60.0) {
        profile.warnings.push_back("nitrate was sampled over " + fixed(profile.depth_cm, 0) +
                                   " cm only; a profile figure needs 60 cm (2 ft) or more");
    }
    return profile;
}

std::optional<double> nitrate_to_depth_kg_ha(const std::vector<NitrateLayer>& layers,
                                             double depth_cm) {
    stack_layers(layers);  // for its checks
    std::vector<NitrateLayer> above;
    for (NitrateLayer layer : layers) {
        if (layer.top_cm >= depth_cm) continue;
        layer.bottom_cm = std::min(layer.bottom_cm, depth_cm);
        above.push_back(layer);
    }
    if (above.empty()) return std::nullopt;
    const NitrateProfile profile = stack_layers(above);
    if (profile.depth_cm < depth_cm / 2.0) return std::nullopt;
    return profile.n_kg_ha * depth_cm / profile.depth_cm;
}

OrganicMatterSupply organic_matter_supply(double om_pct, double lb_ac_per_pct) {
    if (!(om_pct >= 0.0 && om_pct <= 100.0)) {
        throw Error(ErrorKind::data,
                    "organic matter of " + shortest(om_pct) + " % is outside 0 to 100");
    }
    // 10 to 40 around 20: half and double the typical release.
    const double n = std::min(om_pct, 6.0) * lb_ac_per_pct * units::kg_ha_per_lb_ac;
    return {0.5 * n, n, 2.0 * n};
}

std::optional<ZoneValue> zone_value(const std::vector<TestPoint>& points, int zone, Point centre,
                                    int enough) {
    if (points.empty()) return {};
    double field_sum = 0.0, zone_sum = 0.0;
    ZoneValue result;
    for (const TestPoint& point : points) {
        if (!std::isfinite(point.value)) {
            throw Error(ErrorKind::data, "a test value is not a finite number");
        }
        field_sum += point.value;
        if (point.zone == zone) {
            zone_sum += point.value;
            ++result.points;
        }
    }
    const double count = static_cast<double>(points.size());
    const double field_mean = field_sum / count;
    double field_square = 0.0, zone_square = 0.0;
    const double zone_mean = result.points > 0 ? zone_sum / result.points : 0.0;
    for (const TestPoint& point : points) {
        field_square += (point.value - field_mean) * (point.value - field_mean);
        if (point.zone == zone) {
            zone_square += (point.value - zone_mean) * (point.value - zone_mean);
        }
    }
    const double field_sd = points.size() > 1 ? std::sqrt(field_square / (count - 1.0)) : 0.0;

    if (result.points >= std::max(enough, 1)) {
        const double n = result.points;
        const double error = n > 1 ? std::sqrt(zone_square / (n - 1.0) / n) : field_sd;
        result.kind = ZoneValueKind::zone_mean;
        result.value = zone_mean;
        result.low = zone_mean - error;
        result.high = zone_mean + error;
        return result;
    }
    result.kind = ZoneValueKind::field_mean;
    result.value = field_mean;
    if (points.size() >= 3) {
        double weights = 0.0, sum = 0.0;
        for (const TestPoint& point : points) {
            const double dx = point.at.x - centre.x, dy = point.at.y - centre.y;
            const double weight = 1.0 / std::max(dx * dx + dy * dy, 1.0);
            weights += weight;
            sum += weight * point.value;
        }
        result.kind = ZoneValueKind::interpolated;
        result.value = sum / weights;
        result.warnings.push_back("only " + std::to_string(result.points) +
                                  " test points in the zone: value interpolated from the field's " +
                                  std::to_string(points.size()));
    } else {
        result.warnings.push_back("only " + std::to_string(points.size()) +
                                  " test points in the field: their mean stands for the zone");
    }
    result.low = result.value - field_sd;
    result.high = result.value + field_sd;
    return result;
}

}  // namespace catchfield::nitrogen
