// SPDX-License-Identifier: MIT
#include "plan/map_pages.hpp"

#include "geometry/overlay.hpp"
#include "plan/shown.hpp"
#include "report/map.hpp"

namespace catchfield::plan {

std::string map_section(const Inputs& inputs, const FieldResult& result) {
    const Shown shown{inputs.us()};
    report::ZoneMap map;
    map.feet = shown.us;
    for (const ZoneResult& zone : result.zones) {
        map.shapes.push_back(zone.shape);
        map.label_places.push_back(geometry::inside_point(zone.shape));
    }
    for (const compaction::StopSummary& stop : result.stops) map.stops.push_back(*stop.at);
    using Scale = report::ColourScale;
    const auto figures = [&](const std::string& id, const std::string& title,
                             const std::string& unit, Scale scale, auto value, auto text,
                             const std::string& shared = {}) {
        report::MapView view{id, title, unit, scale, {}, {}, shared, id.ends_with("-rate")};
        for (std::size_t z = 0; z < result.zones.size(); ++z) {
            const std::optional<double> one = value(result.zones[z], z);
            view.values.push_back(one);
            view.text.push_back(one ? text(*one) : "not known");
        }
        map.views.push_back(std::move(view));
    };
    const auto classes = [&](const std::string& id, const std::string& title, auto name) {
        report::MapView view{id, title, "", Scale::classes, {}, {}, {}, false};
        for (const ZoneResult& zone : result.zones) view.text.push_back(name(zone));
        map.views.push_back(std::move(view));
    };
    const auto loss = [&](const std::optional<double>& value) {
        return value ? std::optional(shown.loss(*value)) : std::nullopt;
    };
    const auto two_digits = [](double value) { return significant(value, 2); };

    classes("zones", "Zones",
            [](const ZoneResult& zone) { return "Zone " + std::to_string(zone.zone); });
    classes("cover", "Cover crop",
            [&](const ZoneResult& zone) { return cover_name(inputs, zone); });
    figures(
        "n-rate", "Nitrogen rate", shown.n_unit(), Scale::cividis,
        [&](const ZoneResult& zone, std::size_t) {
            return std::optional(shown.rate(zone.n_rate_kg_ha));
        },
        one_decimal);
    if (inputs.product) {
        figures(
            "product-rate", "Product rate", result.rate_unit, Scale::cividis,
            [&](const ZoneResult&, std::size_t z) { return std::optional(result.zone_rates[z]); },
            one_decimal);
    }
    figures(
        "seed-rate", "Seed rate", shown.rate_unit(), Scale::cividis,
        [&](const ZoneResult& zone, std::size_t) {
            return std::optional(shown.rate(zone.seed_rate_kg_ha));
        },
        one_decimal);
    figures(
        "slope", "Slope", "%", Scale::yl_or_br,
        [](const ZoneResult& zone, std::size_t) { return std::optional(zone.slope_pct); },
        one_decimal);
    figures(
        "loss-now", "Soil loss now", shown.loss_unit(), Scale::yl_or_br,
        [&](const ZoneResult& zone, std::size_t) { return loss(zone.loss_now_mg_ha); }, two_digits,
        "soil loss");
    figures(
        "loss-cover", "Soil loss with cover", shown.loss_unit(), Scale::yl_or_br,
        [&](const ZoneResult& zone, std::size_t) { return loss(zone.loss_cover_mg_ha); },
        two_digits, "soil loss");
    figures(
        "saved", "Reduction by cover", "%", Scale::cividis,
        [](const ZoneResult& zone, std::size_t) { return zone.erosion_cut_pct; }, two_digits);
    figures(
        "compaction", "Depth to a hard layer", shown.depth_unit(), Scale::cividis,
        [&](const ZoneResult& zone, std::size_t) {
            return zone.compaction_top_cm ? std::optional(shown.depth(*zone.compaction_top_cm))
                                          : std::nullopt;
        },
        one_decimal);
    return report::map_figure(map);
}

}  // namespace catchfield::plan
