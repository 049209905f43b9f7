// SPDX-License-Identifier: MIT
#include "plan/soil_loss_pages.hpp"

#include "plan/shown.hpp"
#include "plan/zone_table.hpp"
#include "report/charts.hpp"
#include "report/html.hpp"

namespace catchfield::plan {

namespace {

using report::disclosure;
using report::escape;
using report::figure;
using report::name;

std::string loss_chart(const FieldResult& result, const Shown& shown) {
    std::vector<report::RangeRow> rows;
    std::string words = "Soil loss by zone in " + std::string(shown.loss_unit()) + ".";
    for (const ZoneResult& zone : result.zones) {
        report::RangeRow row;
        row.label = "Zone " + std::to_string(zone.zone);
        const auto value = [&](const std::optional<double>& loss,
                               const erosion::Interval* interval) {
            std::optional<report::RangeValue> one;
            if (!loss) return one;
            one = report::RangeValue{shown.loss(*loss), {}, {}};
            if (interval != nullptr) {
                one->low = shown.loss(interval->low);
                one->high = shown.loss(interval->high);
            }
            return one;
        };
        const auto& sure = zone.uncertainty;
        row.first = value(zone.loss_now_mg_ha, sure ? &sure->loss_now_mg_ha : nullptr);
        row.second = value(zone.loss_cover_mg_ha, sure ? &sure->loss_cover_mg_ha : nullptr);
        if (zone.t_mg_ha) row.limit = shown.loss(*zone.t_mg_ha);
        words += " " + row.label + ": now " + shown.loss_text(zone.loss_now_mg_ha) +
                 ", with the cover " + shown.loss_text(zone.loss_cover_mg_ha) + ", tolerance " +
                 shown.loss_text(zone.t_mg_ha) + ".";
        rows.push_back(std::move(row));
    }
    return "<figure>" +
           report::range_chart(rows, "now", "with the cover", "tolerance T", shown.loss_unit(),
                               words) +
           "<figcaption>What counts is whether the square (now) and the disc (with the cover) lie "
           "left of the upright mark, the loss that the soil is held to bear. T is a convention: "
           "below it is not without damage.</figcaption></figure>\n";
}

std::string loss_table(const FieldResult& result, const Shown& shown) {
    const auto loss = [&](const char* column, const std::optional<double>& value) {
        return figure(column, shown.loss_text(value));
    };
    const auto end = [&](const char* column, const ZoneResult& zone,
                         erosion::Interval erosion::Uncertainty::*which,
                         double erosion::Interval::*side) {
        return figure(column, zone.uncertainty ? shown.loss_text((*zone.uncertainty).*which.*side)
                                               : std::string("not known"));
    };
    using U = erosion::Uncertainty;
    using I = erosion::Interval;
    return ZoneTable("Soil loss by zone, " + std::string(shown.loss_unit()))
        .numbers("Now",
                 [=](const ZoneResult& z) { return loss("soil_loss_now_mg_ha", z.loss_now_mg_ha); })
        .numbers("Now, low",
                 [=](const ZoneResult& z) {
                     return end("soil_loss_now_low_mg_ha", z, &U::loss_now_mg_ha, &I::low);
                 })
        .numbers("Now, high",
                 [=](const ZoneResult& z) {
                     return end("soil_loss_now_high_mg_ha", z, &U::loss_now_mg_ha, &I::high);
                 })
        .numbers(
            "With cover",
            [=](const ZoneResult& z) { return loss("soil_loss_cover_mg_ha", z.loss_cover_mg_ha); })
        .numbers("With cover, low",
                 [=](const ZoneResult& z) {
                     return end("soil_loss_cover_low_mg_ha", z, &U::loss_cover_mg_ha, &I::low);
                 })
        .numbers("With cover, high",
                 [=](const ZoneResult& z) {
                     return end("soil_loss_cover_high_mg_ha", z, &U::loss_cover_mg_ha, &I::high);
                 })
        .numbers("Saved, %",
                 [](const ZoneResult& z) {
                     return figure("erosion_cut_pct", z.erosion_cut_pct
                                                          ? significant(*z.erosion_cut_pct, 2)
                                                          : "not known");
                 })
        .numbers("Tolerance T", [=](const ZoneResult& z) { return loss("t_mg_ha", z.t_mg_ha); })
        .numbers("Now over T",
                 [](const ZoneResult& z) {
                     return figure("loss_over_t",
                                   z.loss_over_t ? significant(*z.loss_over_t, 2) : "not known");
                 })
        .numbers(
            "Bare fallow",
            [=](const ZoneResult& z) { return loss("soil_loss_bare_mg_ha", z.loss_bare_mg_ha); })
        .html(result);
}

std::string loss_working(const Inputs& inputs, const FieldResult& result, const Shown& shown) {
    const double r = inputs.climate.year.r_si;
    std::string body =
        "<p class=\"equation\">A = R K L S C P</p><p>A: soil loss; R: erosive force of the rain; "
        "K: how readily the soil erodes; LS: slope length and steepness; C: cover and management "
        "over the year; P: support practice. R K LS is worked out in every cell and averaged over "
        "the zone (the product of the means may differ a little); times C and P it is the zone's "
        "loss.</p><p>Source: Wischmeier &amp; Smith 1978, USDA Agriculture Handbook 537; Renard, "
        "Foster, Weesies, McCool &amp; Yoder 1997, Agriculture Handbook 703. Valid for long-term "
        "averages on slopes up to 20 %.</p>";
    body +=
        ZoneTable("Factors by zone, SI units")
            .in_si()
            .numbers("R, MJ mm/(ha h yr)", [=](const ZoneResult&) { return fixed(r, 0); })
            .numbers("K, Mg ha h/(ha MJ mm)",
                     [](const ZoneResult& z) { return figure("k_si", known(z.k_si, 4)); })
            .numbers("LS", [](const ZoneResult& z) { return figure("ls", fixed(z.ls, 3)); })
            .numbers("R K LS, Mg/ha",
                     [](const ZoneResult& z) { return known(z.loss_bare_mg_ha, 1); })
            .numbers("C now",
                     [](const ZoneResult& z) { return figure("c_now", fixed(z.c_now, 4)); })
            .numbers("C with cover",
                     [](const ZoneResult& z) { return figure("c_cover", fixed(z.c_cover, 4)); })
            .numbers("P", [](const ZoneResult& z) { return figure("p", fixed(z.practice.p, 2)); })
            .numbers("A now, Mg/ha", [](const ZoneResult& z) { return known(z.loss_now_mg_ha, 2); })
            .numbers("A with cover, Mg/ha",
                     [](const ZoneResult& z) { return known(z.loss_cover_mg_ha, 2); })
            .words("Practice", [](const ZoneResult& z) { return name(z.practice.note); })
            .html(result);
    if (shown.us) body += "<p class=\"soft\">1 ton/ac = 2.2417 Mg/ha.</p>";
    return disclosure("how-loss", "Soil loss: equation, inputs, source", body);
}

std::string interval_working(const Inputs& inputs, const FieldResult& result) {
    if (!inputs.covers->has_draws()) {
        return disclosure("how-interval", "Intervals",
                          "<p>Not asked for in this plan (output.uncertainty = 0).</p>");
    }
    std::string body =
        "<p>Seven inputs are varied together, " + std::to_string(inputs.covers->design().draws) +
        " times, by a Latin hypercube (McKay, Beckman &amp; Conover 1979, Technometrics "
        "21:239-245), with the same draws in every zone and with and without the cover. Low and "
        "high hold 80 % of the results. The spreads are planning figures "
        "(assumption).</p><p class=\"equation\">saved = 1 &minus; A with cover / A now</p>";
    report::HtmlTable spreads;
    spreads.caption = "Spread put on each input";
    spreads.heads = {"Input", "Coefficient of variation"};
    spreads.numeric = {false, true};
    for (int i = 0; i < erosion::uncertain_inputs; ++i) {
        const auto input = static_cast<erosion::UncertainInput>(i);
        spreads.rows.push_back({std::string(erosion::uncertain_input_name(input)),
                                fixed(erosion::spreads().of(input), 2)});
    }
    body += report::table(spreads);
    const auto driver = [](const char* column,
                           erosion::UncertainInput erosion::Uncertainty::*which) {
        return [=](const ZoneResult& z) {
            return figure(column,
                          z.uncertainty
                              ? std::string(erosion::uncertain_input_name((*z.uncertainty).*which))
                              : std::string("not known"));
        };
    };
    body += ZoneTable("What moves the figures most")
                .words("The loss with cover",
                       driver("loss_moved_by", &erosion::Uncertainty::loss_driver))
                .words("The share saved", driver("cut_moved_by", &erosion::Uncertainty::cut_driver))
                .html(result);
    return disclosure("how-interval", "Intervals and what is saved: method, inputs, source", body);
}

std::string ground_workings(const Inputs& inputs, const FieldResult& result) {
    std::string html = disclosure(
        "how-slope", "Slope, LS: equation, inputs, source",
        "<p class=\"equation\">LS = L S; S = 10.8 sin &theta; + 0.03 (below 9 %), 16.8 sin &theta; "
        "&minus; 0.50 (above); L of a cell = ((A + D&sup2;)<sup>m+1</sup> &minus; A<sup>m+1</sup>) "
        "/ "
        "(D<sup>m+2</sup> x<sup>m</sup> 22.13<sup>m</sup>)</p><p>&theta;: slope angle, from the 3 "
        "&times; 3 window of the elevation raster (Horn 1981) or as given; A: area that drains "
        "into "
        "the cell, m&sup2;, held where slope length reaches the limit; D: cell size, m; x: width "
        "the "
        "flow passes; m: exponent by slope. Source: Desmet &amp; Govers 1996; McCool et al. 1987, "
        "1989. Slope length: that of the uniform slope with this LS. More: "
        "docs/methods/terrain.md.</p>" +
            ZoneTable("Terrain by zone")
                .numbers(
                    "Slope, %",
                    [](const ZoneResult& z) { return figure("slope_pct", fixed(z.slope_pct, 2)); })
                .numbers("LS", [](const ZoneResult& z) { return figure("ls", fixed(z.ls, 3)); })
                .numbers("Slope length, m",
                         [](const ZoneResult& z) {
                             return figure("slope_length_m", fixed(z.slope_length_m, 0));
                         })
                .numbers("Steeper than 20 %, % of the zone",
                         [](const ZoneResult& z) {
                             return figure("steep_pct", fixed(100.0 * z.steep_share, 0));
                         })
                .numbers("Collects flow (gullies not counted), % of the zone",
                         [](const ZoneResult& z) {
                             return figure("channel_pct", fixed(100.0 * z.channel_share, 0));
                         })
                .html(result));
    html += disclosure(
        "how-soil", "Soil, K and T: route, inputs, source",
        "<p>Values of the soil map under each cell, averaged by area; the main soil is the map "
        "unit "
        "with the largest area. K that the map lacks is worked out from texture, organic matter "
        "and "
        "structure (docs/methods/soil.md); the route says which way it went.</p>" +
            ZoneTable("Soil by zone, SI units")
                .in_si()
                .words("Main soil",
                       [](const ZoneResult& z) {
                           return figure("soil", z.soil.empty() ? "not known" : name(z.soil));
                       })
                .numbers("K, Mg ha h/(ha MJ mm)",
                         [](const ZoneResult& z) { return figure("k_si", known(z.k_si, 4)); })
                .words("Route of K",
                       [](const ZoneResult& z) { return figure("k_route", name(z.k_route)); })
                .numbers("T, Mg/ha",
                         [](const ZoneResult& z) { return figure("t_mg_ha", known(z.t_mg_ha, 1)); })
                .words("Route of T",
                       [](const ZoneResult& z) { return figure("t_route", name(z.t_route)); })
                .numbers("Organic matter, %",
                         [](const ZoneResult& z) { return figure("om_pct", known(z.om_pct, 1)); })
                .numbers("Density, g/cm3",
                         [](const ZoneResult& z) {
                             return figure("density_g_cm3", known(z.density_g_cm3, 2));
                         })
                .numbers("Map covers, %",
                         [](const ZoneResult& z) {
                             return figure("soil_mapped_pct", fixed(100.0 * z.coverage.mapped, 0));
                         })
                .numbers("Nearest polygon, %",
                         [](const ZoneResult& z) {
                             return figure("soil_filled_pct", fixed(100.0 * z.coverage.filled, 0));
                         })
                .numbers("No values, %",
                         [](const ZoneResult& z) {
                             return figure("soil_without_pct",
                                           fixed(100.0 * z.coverage.without, 0));
                         })
                .html(result));
    const Climate& climate = inputs.climate;
    html += disclosure("how-rain", "Rain and its erosive force R: inputs, source",
                       "<p>R " + fixed(climate.year.r_si, 0) + " MJ mm/(ha h yr) (" +
                           fixed(climate.year.r_si / units::r_si_per_us, 0) +
                           " in US units), from: " + name(climate.erosivity_source) +
                           ". Its shares by half-month: " + name(climate.shares_source) +
                           ". Temperature: " + name(climate.temperature_source) + ". How sure: " +
                           std::string(confidence_name(climate.confidence)) + ".</p>");
    html += disclosure(
        "how-screens", "Erodibility index, wind, leaching: screening values",
        "<p class=\"equation\">index = R K LS / T</p><p>With the LS of Agriculture Handbook 537; a "
        "screening value, not a determination.</p><p class=\"equation\">wind erosion saved = 1 "
        "&minus; ratio with the cover / ratio now; ratio = exp(&minus;0.0438 flat cover %) "
        "exp(&minus;5.614 canopy<sup>0.7366</sup>)</p><p>In the least-covered half-month; the "
        "range "
        "from steeper fits of the flat-cover ratio; no tons are claimed "
        "(docs/methods/erosion.md).</p><p class=\"equation\">leaching index = PI SI; PI = (P "
        "&minus; "
        "0.4 s)&sup2; / (P + 0.6 s), SI = (2 PW / P)<sup>1/3</sup>, s = 1000 / CN &minus; "
        "10</p><p>P: "
        "rain of the year, PW: of October to March, in; CN 28, 21, 17, 15 for hydrologic groups A "
        "to "
        "D. Source: Williams &amp; Kissel 1991. Inputs: P " +
            fixed(climate.annual_precip_mm / units::mm_per_in, 1) + " in, PW " +
            fixed(climate.winter_precip_mm / units::mm_per_in, 1) + " in.</p>" +
            ZoneTable("Screening values by zone")
                .numbers("Erodibility index",
                         [](const ZoneResult& z) {
                             return figure("erodibility_index",
                                           z.erodibility_index
                                               ? significant(*z.erodibility_index, 2)
                                               : "not known");
                         })
                .words("Wind erodibility group",
                       [](const ZoneResult& z) {
                           return figure("wind_group",
                                         z.wind_group.empty() ? "not known" : name(z.wind_group));
                       })
                .numbers("Wind erosion saved, %",
                         [](const ZoneResult& z) {
                             if (!z.wind) return figure("wind_cut_pct", "not known");
                             return figure("wind_cut_pct", fixed(z.wind->typical_pct, 0)) +
                                    " <span class=\"range\">" + significant(z.wind->low_pct, 2) +
                                    " to " + significant(z.wind->high_pct, 2) + "</span>";
                         })
                .numbers("Leaching index, in",
                         [](const ZoneResult& z) {
                             return figure("leaching_index", z.leaching
                                                                 ? fixed(z.leaching->index_in, 1)
                                                                 : "not known");
                         })
                .words("Leaching class",
                       [](const ZoneResult& z) {
                           return z.leaching ? std::string(nitrogen::leaching_class_name(
                                                   z.leaching->leaching_class))
                                             : std::string("not known");
                       })
                .html(result));
    return html;
}

}  // namespace

std::string soil_loss_section(const Inputs& inputs, const FieldResult& result) {
    const Shown shown{inputs.us()};
    return "<h2 id=\"soil\">Soil loss, and what the cover saves</h2>" + loss_chart(result, shown) +
           loss_table(result, shown) + loss_working(inputs, result, shown) +
           interval_working(inputs, result) + ground_workings(inputs, result);
}

}  // namespace catchfield::plan
