// SPDX-License-Identifier: MIT
#include "plan/compaction_pages.hpp"

#include "plan/shown.hpp"
#include "report/html.hpp"
#include "report/profile_chart.hpp"

#include <algorithm>
#include <cmath>
#include <set>

namespace catchfield::plan {

namespace {

using report::escape;

std::string depth_text(const Shown& shown, const std::optional<double>& cm) {
    return cm ? fixed(shown.depth(*cm), shown.us ? 1 : 0) + " " + shown.depth_unit() : "none";
}

/// A figure of a map in its own unit.
std::string map_text(const Shown& shown, double value, const std::string& unit) {
    if (unit == "MPa") {
        return fixed(shown.strength(value), shown.us ? 0 : 2) + " " + shown.strength_unit();
    }
    return fixed(shown.depth(value), 1) + " " + shown.depth_unit();
}

std::optional<double> median_of(const std::vector<compaction::StopSummary>& stops,
                                std::optional<double> compaction::StopSummary::*member) {
    std::vector<double> values;
    for (const compaction::StopSummary& stop : stops) {
        if (stop.*member) values.push_back(*(stop.*member));
    }
    if (values.empty()) return std::nullopt;
    std::sort(values.begin(), values.end());
    const std::size_t n = values.size();
    return n % 2 == 1 ? values[n / 2] : (values[n / 2 - 1] + values[n / 2]) / 2.0;
}

/// What was measured and what the soil map says, beside each other.
std::string evidence_table(const ZoneResult& zone, const Shown& shown) {
    report::HtmlTable table;
    table.caption = "What is known of a hard layer";
    table.heads = {"What", "Penetrometer stops", "Soil map"};
    const bool stops = !zone.stops.empty();
    const SoilMapLayer& map = zone.soil_layer;
    const auto mapped = [&](const std::optional<double>& cm) {
        return map.known ? depth_text(shown, cm) : std::string("not known");
    };
    const auto measured = [&](std::optional<double> compaction::StopSummary::*member) {
        return stops ? depth_text(shown, median_of(zone.stops, member)) : std::string("no stops");
    };
    table.rows.push_back(
        {"Top", measured(&compaction::StopSummary::layer_top_cm), mapped(map.top_cm)});
    table.rows.push_back({"Thickness", measured(&compaction::StopSummary::layer_thickness_cm),
                          mapped(map.thickness_cm)});
    std::string rating = "no stops";
    std::size_t with_layer = 0;
    for (const compaction::StopSummary& stop : zone.stops) {
        if (stop.layer_top_cm) ++with_layer;
    }
    if (stops) {
        rating = std::to_string(with_layer) + " of " + std::to_string(zone.stops.size()) +
                 " stops have a layer; rating: " + zone.compaction_class;
    }
    table.rows.push_back({"Extent", escape(rating), escape(shown.words(map.text))});
    std::string html = report::table(table);
    if (stops && map.known) {
        const bool same = map.top_cm.has_value() == (with_layer > 0);
        html += std::string("<p>") +
                (same ? "Stops and soil map agree whether there is a dense layer."
                      : "Stops and soil map do not agree; the stops were taken in this field and "
                        "count, the map gives what is typical of its soil.") +
                "</p>";
    }
    return html;
}

std::string profiles_of(const Inputs& inputs, const ZoneResult& zone, const Shown& shown) {
    std::vector<report::ProfileLine> lines;
    std::set<double> depths;
    for (const compaction::Stop& stop : zone.profiles) {
        report::ProfileLine line{stop.id, {}, {}};
        for (std::size_t i = 0; i < stop.depth_cm.size(); ++i) {
            line.depth.push_back(shown.depth(stop.depth_cm[i]));
            line.strength.push_back(shown.strength(stop.strength_mpa[i]));
            depths.insert(stop.depth_cm[i]);
        }
        lines.push_back(std::move(line));
    }
    report::ProfileLine middle{"mean of the stops", {}, {}};
    for (const double depth : depths) {
        double sum = 0.0;
        std::size_t count = 0;
        for (const compaction::Stop& stop : zone.profiles) {
            if (const auto value = compaction::strength_at_mpa(stop, depth)) {
                sum += *value;
                ++count;
            }
        }
        // A mean of the few that go deepest would jump.
        if (2 * count < zone.profiles.size()) continue;
        middle.depth.push_back(shown.depth(depth));
        middle.strength.push_back(shown.strength(sum / static_cast<double>(count)));
    }
    return report::profile_chart(lines, middle, shown.strength(inputs.job.compaction.threshold_mpa),
                                 shown.depth_unit(), shown.strength_unit(),
                                 "Penetrometer profiles of zone " + std::to_string(zone.zone));
}

/// Rates of a pure stand where a taproot is recommended, and what the chosen cover sows of it.
std::string seed_hint(const Inputs& inputs, const ZoneResult& zone) {
    if (!zone.taproot.seed_min_kg_ha || !zone.taproot.seed_max_kg_ha) return {};
    const double unit = inputs.us() ? units::kg_ha_per_lb_ac : 1.0;
    const std::string unit_name = inputs.us() ? " lb/ac" : " kg/ha";
    const auto span = [&](double low, double high) {
        return fixed(low / unit, 0) + " to " + fixed(high / unit, 0);
    };
    const compaction::AdviceLimits limits = compaction::default_advice_limits();
    std::string text =
        "Taproot seed for this zone: forage radish alone, " +
        span(*zone.taproot.seed_min_kg_ha, *zone.taproot.seed_max_kg_ha) + unit_name +
        " drilled or " +
        span(limits.seed_broadcast_min_kg_ha.value, limits.seed_broadcast_max_kg_ha.value) +
        unit_name +
        " broadcast; in a mix about half (common practice, no source). Thin stands "
        "make thicker roots: stay at the lower end.";
    if (zone.cover() == nullptr) return "<p>" + escape(text) + "</p>";
    const CandidateInfo& info = inputs.covers->candidates()[zone.cover()->candidate];
    std::string sown;
    for (const cover::Component& component : info.cover.components) {
        if (component.species.taproot != cover::Taproot::strong) continue;
        for (const cover::SeedLine& line : info.seed.lines) {
            if (line.species_id != component.species.id) continue;
            sown += (sown.empty() ? "" : ", ") + component.species.name + " " +
                    fixed(line.bulk_kg_ha / unit, 1) + unit_name;
        }
    }
    text += sown.empty()
                ? " The cover chosen here (" + info.cover.name +
                      ") has no strong taproot; other aims weighed more."
                : " Of the seed rate of the cover chosen here (" + info.cover.name + ", " +
                      fixed(info.seed.bulk_kg_ha / unit, 1) + unit_name + "): " + sown + ".";
    return "<p>" + escape(text) + "</p>";
}

/// The answer, and what to do.
std::string advice_text(const Inputs& inputs, const ZoneResult& zone, const Shown& shown) {
    return "<p><strong>Taproot " +
           report::figure("taproot_advice",
                          std::string(compaction::advice_name(zone.taproot.advice))) +
           ".</strong> " + escape(shown.words(zone.taproot.summary)) + "</p>" +
           seed_hint(inputs, zone) + report::bullet_list(shown.words(zone.taproot.instead)) +
           report::bullet_list(shown.words(zone.taproot.cautions));
}

/// Its six conditions, and what stops and soil map show.
std::string evidence_text(const ZoneResult& zone, const Shown& shown) {
    report::HtmlTable table;
    table.caption = "Is a taproot worth its seed?";
    table.heads = {"Condition", "Result", "Figure", "Rule", "Source", "How sure"};
    for (const compaction::Condition& condition : zone.taproot.conditions) {
        table.rows.push_back(
            {escape(condition.name), std::string(compaction::outcome_name(condition.outcome)),
             escape(shown.words(condition.figure)), escape(shown.words(condition.rule)),
             escape(shown.words(condition.source)),
             std::string(confidence_name(condition.confidence))});
    }
    return report::table(table) + evidence_table(zone, shown);
}

/// How depth and strength were mapped between the stops; "" without maps.
std::string how_mapped(const FieldResult& result, const Shown& shown) {
    if (result.compaction_maps.empty()) return {};
    std::string html;
    report::HtmlTable table;
    table.caption = "How well each map foretells a stop left out of it";
    table.heads = {"Map",
                   "Places",
                   "Method",
                   "Leave-one-out error (RMSE)",
                   "Mean error",
                   "Spread of the stops",
                   "Correlation",
                   "Error squared over kriging variance",
                   "Mean standard error"};
    table.numeric = {false, true, false, true, true, true, true, true, true};
    for (const CompactionMap& map : result.compaction_maps) {
        const std::string& unit = map.layer.unit;
        html += "<p>" + escape(map.layer.title) + ": " + escape(map.choice) + "</p>";
        double sum = 0.0;
        std::size_t cells = 0;
        for (std::size_t i = 0; i < map.error.size(); ++i) {
            if (!map.layer.valid[i]) continue;
            sum += static_cast<double>(map.error[i]);
            ++cells;
        }
        table.rows.push_back({escape(map.layer.title), std::to_string(map.stops),
                              std::string(map.kriged ? "ordinary kriging" : "inverse distance"),
                              map_text(shown, map.check.rmse, unit),
                              map_text(shown, map.check.mean_error, unit),
                              map_text(shown, map.spread, unit), fixed(map.check.correlation, 2),
                              map.check.standardised ? fixed(*map.check.standardised, 2) : "none",
                              cells > 0 ? map_text(shown, sum / static_cast<double>(cells), unit)
                                        : "none (no variance)"});
    }
    html += report::table(table);
    html +=
        "<p class=\"soft\">Depth is mapped from the stops that have a hard layer, where the "
        "nearest "
        "stop has one. An error near the spread of the stops means that the map knows little more "
        "than their mean.</p>";
    return report::disclosure("how-compaction", "Between the penetrometer stops: method, error",
                              html);
}

}  // namespace

std::string compaction_section(const Inputs& inputs, const FieldResult& result) {
    const Shown shown{inputs.us()};
    std::string html = "<h2 id=\"compaction\">Compaction</h2>\n";
    for (const ZoneGroup& group : zone_groups(
             result, [&](const ZoneResult& zone) { return advice_text(inputs, zone, shown); })) {
        html += "<section " + group.attribute() + "><h3>" +
                zones_name(group.zones, result.zones.size()) + "</h3>" + group.text +
                "</section>\n";
    }
    for (const ZoneGroup& group :
         zone_groups(result, [&](const ZoneResult& zone) { return evidence_text(zone, shown); })) {
        html += report::disclosure("",
                                   zones_name(group.zones, result.zones.size()) +
                                       ": the six conditions, and what stops and soil map show",
                                   group.text);
    }
    std::string charts;
    for (const ZoneResult& zone : result.zones) {
        const std::string chart = profiles_of(inputs, zone, shown);
        if (chart.empty()) continue;
        charts += "<figure>" + chart + "<figcaption>Zone " + std::to_string(zone.zone) + ": " +
                  std::to_string(zone.profiles.size()) +
                  (zone.profiles.size() == 1 ? " stop" : " stops") +
                  ". Right of the dashed line roots hardly grow.</figcaption></figure>\n";
    }
    if (!charts.empty()) html += "<div class=\"charts\">" + charts + "</div>\n";
    return html + how_mapped(result, shown);
}

}  // namespace catchfield::plan
