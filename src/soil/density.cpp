// SPDX-License-Identifier: MIT
// Density limits by texture, normal density, dense layers.
#include "soil/density.hpp"

#include "base/error.hpp"
#include "base/table.hpp"
#include "base/text.hpp"
#include "soil/data.hpp"

#include <cctype>
#include <cmath>
#include <map>

namespace catchfield::soil {

namespace {

using LimitTable = std::map<std::string, DensityLimits, std::less<>>;

LimitTable read_limits() {
    const Table table = Table::parse(data::density_limits, "density_limits.csv");
    LimitTable limits;
    for (std::size_t row = 0; row < table.rows(); ++row)
        limits[table.text(row, "row")] = {table.required_number(row, "ideal_below"),
                                          table.required_number(row, "may_affect_from"),
                                          table.required_number(row, "restricts_above"),
                                          table.text(row, "words"),
                                          parse_confidence(table.text(row, "confidence"))};
    return limits;
}

std::map<std::string, double, std::less<>> read_onset() {
    const Table table = Table::parse(data::density_onset, "density_onset.csv");
    std::map<std::string, double, std::less<>> onset;
    for (std::size_t row = 0; row < table.rows(); ++row)
        onset[table.text(row, "texture")] = table.required_number(row, "onset");
    return onset;
}

/// Which row of the limits a soil takes; whether the source left the choice open.
std::pair<std::string_view, bool> limits_row(TextureClass texture, double clay_pct) {
    switch (texture) {
        case TextureClass::sand:
        case TextureClass::loamy_sand:
            return {"sand", false};
        case TextureClass::sandy_loam:
            return {"sandy_loam", false};
        case TextureClass::loam:
            return {"loam", true};
        case TextureClass::sandy_clay_loam:
            return {"loam", false};
        case TextureClass::clay_loam:
            if (clay_pct < 35.0) return {"loam", true};
            return {"silty_clay", true};
        case TextureClass::silt:
            return {"silt", false};
        case TextureClass::silt_loam:
            if (clay_pct < 18.0) return {"silt", true};
            return {"silty_clay_loam", true};
        case TextureClass::silty_clay_loam:
            return {"silty_clay_loam", false};
        case TextureClass::sandy_clay:
        case TextureClass::silty_clay:
        case TextureClass::clay:
            break;
    }
    if (clay_pct > 45.0) return {"clay", texture != TextureClass::clay};
    return {"silty_clay", texture == TextureClass::clay};
}

/// Parent material by its designation: C horizons without A, B or E letters.
bool is_parent_material(std::string_view name) {
    bool parent = false;
    for (const char letter : name) {
        if (letter == 'A' || letter == 'B' || letter == 'E') return false;
        parent = parent || letter == 'C';
    }
    return parent;
}

void judge_nature(HorizonDensity& layer, const std::optional<Restriction>& restriction) {
    if (restriction && layer.bottom_cm > restriction->top_cm) {
        layer.nature = LayerNature::natural;
        layer.why = std::string(natural_pan_name(restriction->kind)) + " from " +
                    shortest(restriction->top_cm) + " cm (" + restriction->evidence + ")";
        return;
    }
    if (is_bare_designation(layer.name)) {
        layer.nature = LayerNature::unknown;
        layer.why = "the horizon's designation does not tell what it is";
        return;
    }
    if (is_parent_material(layer.name)) {
        layer.nature = LayerNature::natural;
        layer.why = "parent material below the soil";
        return;
    }
    const bool clay_enriched =
        layer.name.find('B') != std::string::npos && layer.name.find('t') != std::string::npos;
    if (clay_enriched) {
        layer.nature = LayerNature::unknown;
        layer.why =
            "clay-enriched subsoil, dense by nature as a rule; only stops tell a traffic pan in it";
        return;
    }
    if (layer.top_cm <= 45.0) {
        layer.nature = LayerNature::traffic_possible;
        layer.why = "at plough or wheel depth, and no natural pan is described";
        return;
    }
    layer.nature = LayerNature::unknown;
    layer.why = "below the reach of most traffic, and no natural pan is described";
}

}  // namespace

DensityLimits density_limits(TextureClass texture, double clay_pct) {
    static const LimitTable limits = read_limits();
    const auto [row, open] = limits_row(texture, clay_pct);
    DensityLimits found = limits.find(row)->second;
    if (open) found.confidence = weakest(found.confidence, Confidence::assumption);
    return found;
}

std::string_view density_class_name(DensityClass value) {
    switch (value) {
        case DensityClass::ideal:
            return "ideal";
        case DensityClass::acceptable:
            return "acceptable";
        case DensityClass::affects:
            return "affects roots";
        case DensityClass::restricts:
            break;
    }
    return "restricts roots";
}

DensityClass density_class(double bulk_density_g_cm3, const DensityLimits& limits) {
    if (bulk_density_g_cm3 > limits.restricts_above) return DensityClass::restricts;
    if (bulk_density_g_cm3 >= limits.may_affect_from) return DensityClass::affects;
    if (bulk_density_g_cm3 >= limits.ideal_below) return DensityClass::acceptable;
    return DensityClass::ideal;
}

double onset_density_g_cm3(TextureClass texture, double very_fine_sand_pct) {
    static const auto onset = read_onset();
    // A sand is a very fine sand where at least half of the soil is (Soil Survey Manual, chapter
    // 3).
    if (texture == TextureClass::sand && very_fine_sand_pct >= 50.0)
        return onset.find("very fine sand")->second;
    return onset.find(texture_name(texture))->second;
}

std::optional<TextureHydraulics> saxton_rawls(double sand_pct, double clay_pct, double om_pct) {
    if (sand_pct < 0.0 || clay_pct < 0.0 || om_pct < 0.0 || sand_pct + clay_pct > 100.0 ||
        clay_pct > 60.0 || om_pct > 8.0)
        return std::nullopt;
    const double s = sand_pct / 100.0, c = clay_pct / 100.0, om = om_pct;
    const double t1500 = -0.024 * s + 0.487 * c + 0.006 * om + 0.005 * s * om - 0.013 * c * om +
                         0.068 * s * c + 0.031;
    const double th1500 = t1500 + (0.14 * t1500 - 0.02);
    const double t33 = -0.251 * s + 0.195 * c + 0.011 * om + 0.006 * s * om - 0.027 * c * om +
                       0.452 * s * c + 0.299;
    const double th33 = t33 + (1.283 * t33 * t33 - 0.374 * t33 - 0.015);
    const double ts33 = 0.278 * s + 0.034 * c + 0.022 * om - 0.018 * s * om - 0.027 * c * om -
                        0.584 * s * c + 0.078;
    const double ths33 = ts33 + (0.636 * ts33 - 0.107);
    const double ths = th33 + ths33 - 0.097 * s + 0.043;
    if (!(th1500 > 0.0 && th1500 < th33 && th33 < ths && ths < 1.0)) return std::nullopt;
    const double b = (std::log(1500.0) - std::log(33.0)) / (std::log(th33) - std::log(th1500));
    return TextureHydraulics{th1500, th33, ths, (1.0 - ths) * 2.65,
                             1930.0 * std::pow(ths - th33, 3.0 - 1.0 / b)};
}

std::string_view layer_nature_name(LayerNature nature) {
    switch (nature) {
        case LayerNature::traffic_possible:
            return "traffic possible";
        case LayerNature::natural:
            return "natural";
        case LayerNature::unknown:
            break;
    }
    return "unknown";
}

std::vector<HorizonDensity> horizon_densities(const Profile& profile,
                                              const std::optional<Restriction>& restriction) {
    std::vector<HorizonDensity> layers;
    for (const Horizon& horizon : profile.horizons) {
        const auto texture = horizon_texture(horizon);
        if (!texture || !horizon.bulk_density_g_cm3) continue;
        HorizonDensity layer;
        layer.name = horizon.name;
        layer.top_cm = horizon.top_cm;
        layer.bottom_cm = horizon.bottom_cm;
        layer.bulk_density_g_cm3 = *horizon.bulk_density_g_cm3;
        layer.texture = *texture;
        layer.limits = density_limits(*texture, *horizon.clay_pct);
        layer.level = density_class(layer.bulk_density_g_cm3, layer.limits);
        layer.onset_g_cm3 = onset_density_g_cm3(*texture, horizon.very_fine_sand_pct.value_or(0.0));
        if (horizon.om_pct) {
            if (const auto normal =
                    saxton_rawls(*horizon.sand_pct, *horizon.clay_pct, *horizon.om_pct)) {
                layer.expected_g_cm3 = normal->density_g_cm3;
                layer.excess_g_cm3 = layer.bulk_density_g_cm3 - normal->density_g_cm3;
                layer.air_porosity =
                    air_filled_porosity(layer.bulk_density_g_cm3, normal->theta_33);
            }
        }
        judge_nature(layer, restriction);
        layers.push_back(layer);
    }
    return layers;
}

std::optional<DenseLayer> dense_layer(const std::vector<HorizonDensity>& horizons,
                                      DensityClass at_least) {
    std::size_t first = 0;
    while (first < horizons.size() && horizons[first].level < at_least) ++first;
    if (first == horizons.size()) return std::nullopt;
    std::size_t last = first;
    while (last + 1 < horizons.size() && horizons[last + 1].level >= at_least &&
           horizons[last + 1].top_cm <= horizons[last].bottom_cm)
        ++last;
    const HorizonDensity& top = horizons[first];
    DenseLayer layer;
    layer.top_cm = top.top_cm;
    layer.bottom_cm = horizons[last].bottom_cm;
    layer.to_bottom = last + 1 == horizons.size();
    layer.level = top.level;
    layer.nature = top.nature;
    // The map's densities are typical values of a soil, not measurements in this field.
    layer.confidence = weakest(Confidence::unchecked, top.limits.confidence);
    for (std::size_t i = first; i <= last; ++i) {
        layer.level = std::max(layer.level, horizons[i].level);
        if (!layer.horizons.empty()) layer.horizons += ", ";
        layer.horizons += horizons[i].name.empty() ? "unnamed" : horizons[i].name;
    }
    layer.reason = "horizon " + (top.name.empty() ? std::string("without a name") : top.name) +
                   " at " + shortest(top.top_cm) + " cm has " + fixed(top.bulk_density_g_cm3, 2) +
                   " g/cm3; " + std::string(texture_name(top.texture)) + " may affect roots from " +
                   fixed(top.limits.may_affect_from, 2) + " and restricts them above " +
                   fixed(top.limits.restricts_above, 2);
    if (top.expected_g_cm3)
        layer.reason += "; its texture alone would have " + fixed(*top.expected_g_cm3, 2);
    layer.reason += "; " + top.why;
    return layer;
}

}  // namespace catchfield::soil
