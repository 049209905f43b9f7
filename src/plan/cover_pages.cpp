// SPDX-License-Identifier: MIT
#include "plan/cover_pages.hpp"

#include "plan/columns.hpp"
#include "plan/shown.hpp"
#include "plan/zone_table.hpp"
#include "report/charts.hpp"
#include "report/html.hpp"

#include <algorithm>
#include <numeric>

namespace catchfield::plan {

namespace {

using report::disclosure;
using report::escape;
using report::figure;
using report::name;

/// Zones on the same kind of site differ by the score alone, which has columns of its own.
std::string without_score(std::string reason) {
    const std::size_t start = reason.find(" (score ");
    const std::size_t end = start == std::string::npos ? start : reason.find(')', start);
    if (end != std::string::npos) reason.erase(start, end + 1 - start);
    return reason;
}

/// Why the zone's cover was taken, in sentences.
std::string chosen_reason(const Inputs& inputs, const ZoneResult& zone) {
    const std::string reason = without_score(option_reason(inputs, zone, *zone.cover()));
    return reason.starts_with("Taken. ") ? reason.substr(7) : reason;
}

/// Taken first, then accepted ones by score, then refused ones.
std::vector<std::size_t> best_first(const ZoneResult& zone) {
    std::vector<std::size_t> order(zone.options.size());
    std::iota(order.begin(), order.end(), std::size_t{0});
    std::stable_sort(order.begin(), order.end(), [&](std::size_t i, std::size_t j) {
        const CoverOption &a = zone.options[i], &b = zone.options[j];
        if (a.taken != b.taken) return a.taken;
        if (a.score.accepted() != b.score.accepted()) return a.score.accepted();
        return a.score.total > b.score.total;
    });
    return order;
}

/// Candidates of zones that differ by their scores only.
std::string candidates_table(const Inputs& inputs, const FieldResult& result,
                             const std::vector<int>& zones, const Shown& shown) {
    const auto zone_of = [&](int number) -> const ZoneResult& {
        return result.zones[static_cast<std::size_t>(number) - 1];
    };
    // Many zones: the lowest and the highest score.
    const bool by_zone = zones.size() <= 6;
    report::HtmlTable table;
    table.caption = "All candidates, best first";
    table.heads = {"Cover"};
    if (by_zone) {
        for (const int number : zones) {
            table.heads.push_back("Score, zone " + std::to_string(number));
        }
    } else {
        table.heads.emplace_back("Score, lowest to highest");
    }
    table.numeric.assign(table.heads.size(), true);
    table.numeric.front() = false;
    for (const char* head : {"Dry matter, ", "Saves soil, %", "N credit, "}) {
        const std::string text = head;
        table.heads.push_back(text.ends_with(", ") ? text + shown.rate_unit() : text);
        table.numeric.push_back(true);
    }
    for (const char* head : {"Winter", "Why"}) {
        table.heads.emplace_back(head);
        table.numeric.push_back(false);
    }
    const ZoneResult& first = zone_of(zones.front());
    for (const std::size_t i : best_first(first)) {
        const CoverOption& option = first.options[i];
        const CandidateInfo& info = inputs.covers->candidates()[option.candidate];
        const cover::Forecast& forecast = option.with->forecast;
        std::vector<std::string> row = {name(info.cover.name) +
                                        (option.taken ? " <strong>(taken)</strong>" : "")};
        const auto score = [&](const ZoneResult& zone) {
            const cover::Score& one = zone.options[i].score;
            return one.accepted() ? fixed(one.total, 2) : "refused";
        };
        if (by_zone) {
            for (const int number : zones) row.push_back(score(zone_of(number)));
        } else {
            std::vector<std::string> all;
            for (const int number : zones) all.push_back(score(zone_of(number)));
            const auto [low, high] = std::minmax_element(all.begin(), all.end());
            row.push_back(*low == *high ? *low : *low + " to " + *high);
        }
        row.insert(row.end(),
                   {shown.range(forecast.end_kg_ha), fixed(100.0 * option.erosion_cut, 0),
                    fixed(shown.rate(option.credit.credit_kg_ha - option.credit.tie_up_kg_ha), 0),
                    std::string(cover::winterkill_name(forecast.ending.winterkill)),
                    "<div class=\"words\">" +
                        name(without_score(option_reason(inputs, first, option))) + "</div>"});
        table.rows.push_back(std::move(row));
    }
    return report::table(table);
}

/// What is said of the candidates, without the scores; zones of which it is the same share a table.
std::string candidates_words(const Inputs& inputs, const ZoneResult& zone) {
    std::string words;
    for (const CoverOption& option : zone.options) {
        words += without_score(option_reason(inputs, zone, option)) + "\n" +
                 fixed(option.with->forecast.end_kg_ha.typical, 0) + " " +
                 fixed(100.0 * option.erosion_cut, 0) + " " +
                 fixed(option.credit.credit_kg_ha - option.credit.tie_up_kg_ha, 1) + "\n";
    }
    return words;
}

/// Half-months from the start of the table's first row.
double place_of(Date date, const erosion::HalfMonthRow& first) {
    const int half = half_month_of(date);
    const double whole = 24.0 * (year_of(date) - first.year) + half - first.half_month;
    const double into = half % 2 == 0 ? day_of(date) - 1.0 : day_of(date) - 16.0;
    return whole + std::clamp(into / 15.0, 0.0, 1.0);
}

struct YearParts {
    std::string figure, working;
};

YearParts year_parts(const Inputs& inputs, const ZoneResult& zone, const Shown& shown) {
    const erosion::CoverManagement now = inputs.covers->now_table();
    const erosion::CoverManagement with = inputs.covers->cover_table(*zone.cover()->with);
    report::YearChart chart;
    chart.title = "Ground cover by half-month with and without the cover crop";
    const auto ground = [](const erosion::HalfMonthRow& row) {
        return 100.0 * (1.0 - (1.0 - row.cover_pct / 100.0) * (1.0 - row.canopy_fraction));
    };
    report::HtmlTable table;
    table.caption = "Soil loss ratios by half-month (AH-703 subfactors): now, then with the cover";
    table.heads = {"Half-month", "EI share"};
    for (const char* management : {"now", "with"}) {
        for (const char* column : {"residue, %", "canopy", "PLU", "CC", "SC", "SR", "SLR"}) {
            table.heads.push_back(std::string(column) + " " + management);
        }
    }
    table.heads.emplace_back("Operations");
    table.numeric.assign(table.heads.size(), true);
    table.numeric.front() = table.numeric.back() = false;
    for (std::size_t i = 0; i < with.rows.size(); ++i) {
        const erosion::HalfMonthRow& a = now.rows[i];
        const erosion::HalfMonthRow& b = with.rows[i];
        std::vector<std::string> cells = {
            half_month_name(a.half_month) + " " + std::to_string(a.year), fixed(a.ei_share, 4)};
        for (const erosion::HalfMonthRow* row : {&a, &b}) {
            cells.insert(cells.end(), {fixed(row->cover_pct, 0), fixed(row->canopy_fraction, 2),
                                       fixed(row->plu, 3), fixed(row->cc, 3), fixed(row->sc, 3),
                                       fixed(row->sr, 3), fixed(row->slr, 4)});
        }
        cells.push_back(escape(shown.words(b.operations)));
        table.rows.push_back(std::move(cells));
        const std::string half_month = half_month_name(a.half_month);
        chart.labels.push_back(half_month.substr(half_month.find(' ') + 1, 3));
        chart.without.push_back(ground(a));
        chart.with.push_back(ground(b));
        chart.erosive_share.push_back(a.ei_share);
    }
    const cover::Ending& ending = zone.cover()->with->forecast.ending;
    const erosion::HalfMonthRow& first = with.rows.front();
    const auto event = [&](Date date, const char* label) {
        chart.events.push_back({place_of(date, first), label});
    };
    event(inputs.dates.sow, "sown");
    event(inputs.dates.hard_frost, "frost");
    event(ending.date, "ends");
    event(inputs.dates.next_planting, "planting");
    std::stable_sort(chart.events.begin(), chart.events.end(),
                     [](const auto& a, const auto& b) { return a.at < b.at; });
    return {
        "<figure>" + report::year_chart(chart) +
            "<figcaption>Ground under residue or leaves. The gap between the lines where the bars "
            "are tall is what saves soil.</figcaption></figure>\n",
        disclosure(
            "",
            "C factor " + fixed(now.c, 3) + " now, " + fixed(with.c, 3) +
                " with the cover: half-month table",
            "<p class=\"equation\">C = &Sigma; EI share &times; SLR, SLR = PLU CC SC "
            "SR</p><p>PLU: "
            "earlier land use and roots; CC: canopy; SC: surface cover; SR: roughness. Source: "
            "Agriculture Handbook 703, ch. 5. All columns are in the half-months CSV beside "
            "this "
            "page.</p>" +
                report::table(table))};
}

std::string growth_table(const ZoneResult& zone, const Shown& shown) {
    const cover::Forecast& f = zone.cover()->with->forecast;
    report::HtmlTable table;
    table.caption = "What the cover is expected to do";
    table.heads = {"Figure", "Expected", "Low", "High", "Unit"};
    table.numeric = {false, true, true, true, false};
    const auto one = [&](const std::string& head, const std::string& column,
                         const std::string& value, const std::string& unit) {
        table.rows.push_back({head, figure(column, value), "", "", unit});
    };
    const auto mass = [&](double kg_ha) { return significant(shown.rate(kg_ha), 2); };
    table.rows.push_back({"Shoot dry matter when it ends",
                          figure("biomass_kg_ha", mass(f.end_kg_ha.typical)),
                          figure("biomass_low_kg_ha", mass(f.end_kg_ha.low)),
                          figure("biomass_high_kg_ha", mass(f.end_kg_ha.high)), shown.rate_unit()});
    one("Ground under leaves at the hard frost", "ground_cover_pct",
        fixed(100.0 * f.cover_at_frost, 0), "%");
    one("Nitrogen in the shoots when it ends", "n_uptake_kg_ha", shown.rate_text(f.n_uptake_kg_ha),
        shown.rate_unit());
    one("of that, fixed from the air", "n_fixed_kg_ha", shown.rate_text(f.n_fixed_kg_ha),
        shown.rate_unit());
    one("Soil nitrogen caught by the end of autumn", "fall_n_caught_kg_ha",
        shown.rate_text(f.fall_n_caught_kg_ha), shown.rate_unit());
    one("C:N when it ends", "cn_ratio", fixed(f.cn_ratio, 0), "");
    one("Nitrogen credit to the next crop (below zero: tied up)", "n_credit_kg_ha",
        shown.rate_text(zone.cover()->credit.credit_kg_ha - zone.cover()->credit.tie_up_kg_ha),
        shown.rate_unit());
    table.rows.push_back({"Latest sensible sowing",
                          "<span class=\"nb\">" + iso_date(f.latest_sowing) + "</span>", "", "",
                          ""});
    return report::table(table) +
           "<p class=\"soft\">How sure: " + std::string(confidence_name(f.confidence)) +
           ". Growth rests on published lines where there are any, else on planning bounds of the "
           "catalogue.</p>";
}

std::string seed_working(const Inputs& inputs, const FieldResult& result, const Shown& shown) {
    std::string body =
        "<p class=\"equation\">bulk seed = pure live seed / (purity &times; "
        "germination)</p><p>Purity " +
        fixed(inputs.job.cover.purity, 2) + ", germination " +
        fixed(inputs.job.cover.germination, 2) +
        " (cover.purity, cover.germination). Rates of pure "
        "stands: catalogue (src/cover/data/species.csv, each with its source), by share in a "
        "mixture.</p>";
    report::HtmlTable table;
    table.caption = "Seed by part, " + std::string(shown.rate_unit());
    table.heads = {"Cover", "Part", "Pure live seed", "Bulk seed",
                   "Depth, " + std::string(shown.depth_unit())};
    table.numeric = {false, false, true, true, true};
    for (const ZoneGroup& group : zone_groups(result, [&](const ZoneResult& zone) {
             return zone.cover() != nullptr ? std::to_string(zone.cover()->candidate)
                                            : std::string();
         })) {
        const ZoneResult& zone = result.zones[static_cast<std::size_t>(group.zones.front()) - 1];
        const CandidateInfo& info = inputs.covers->candidates()[zone.cover()->candidate];
        for (std::size_t i = 0; i < info.seed.lines.size(); ++i) {
            const cover::SeedLine& line = info.seed.lines[i];
            table.rows.push_back(
                {name(info.cover.name),
                 i < info.cover.components.size() ? name(info.cover.components[i].species.name)
                                                  : name(line.species_id),
                 fixed(shown.rate(line.pure_live_kg_ha), 1), fixed(shown.rate(line.bulk_kg_ha), 1),
                 significant(shown.depth(line.depth_min_cm), 2) + " to " +
                     significant(shown.depth(line.depth_max_cm), 2)});
        }
    }
    return disclosure("how-seed", "Seed rate: equation, inputs, source",
                      body + report::table(table));
}

std::string growth_working(const Inputs& inputs, const FieldResult& result,
                           const std::string& aims) {
    const std::string body =
        "<p class=\"equation\">brassicas: B = 2 r (G &minus; 1000) / 1000 ton/ac, G above 32 "
        "&deg;F</p><p class=\"equation\">others in autumn: B = s w ln(1 + exp((G &minus; G0) / "
        "w)), G0 "
        "150, w 60 &deg;C d; hairy vetch in spring: + 5.29 kg/ha per &deg;C d above 4 "
        "&deg;C</p><p>B: "
        "shoot dry matter; G: degree-days from sowing; r, s: of the species, held at its greatest "
        "mass. Sources: Bjorkman 2012; Goudriaan &amp; Monteith 1990, laid through the catalogue's "
        "planning figures; Mirsky et al. 2017. Low and high follow the catalogue's.</p>"
        "<p class=\"equation\">ground under leaves = 1 &minus; exp(&minus;k LAI); N in the shoots "
        "= N "
        "% &times; B</p><p>LAI from the leaf mass; N % falls with mass (Justes et al. 1994) and is "
        "limited by the soil's supply. Winter: kill temperatures of the catalogue.</p>"
        "<p class=\"equation\">release = 8.75 (N % &minus; 1.5) kg/Mg from 1.5 % N on, else C (1 / "
        "C:N &minus; 0.4 / 10)</p><p>PNW 636 (Sullivan &amp; Andrews 2012); carbon balance. The "
        "credit "
        "to the next crop comes from one named table, or from this release where the table has no "
        "row.</p><p class=\"equation\">score = &Sigma; weight &times; need of the zone &times; "
        "what the "
        "cover does / &Sigma; weight</p><p>Weights: " +
        aims +
        ". Equations with validity and examples: docs/methods/cover.md.</p><p>Inputs: sowing " +
        iso_date(inputs.dates.sow) + ", hard frost " + iso_date(inputs.dates.hard_frost) +
        ", end " + iso_date(inputs.dates.terminate) + ", next planting " +
        iso_date(inputs.dates.next_planting) +
        "; temperature: " + name(inputs.climate.temperature_source) + ".</p>" +
        ZoneTable("What drives the growth, by zone")
            .numbers("Heat, sowing to frost, degC d above 0",
                     [](const ZoneResult& zone) {
                         return zone.cover() != nullptr
                                    ? fixed(zone.cover()->with->forecast.heat_to_frost_c_d, 0)
                                    : std::string("none");
                     })
            .numbers("Soil N for it, kg/ha",
                     [](const ZoneResult& zone) {
                         return zone.site.n_supply_kg_ha ? fixed(*zone.site.n_supply_kg_ha, 0)
                                                         : std::string("assumed");
                     })
            .numbers("Soil nitrate by test, kg/ha",
                     [](const ZoneResult& zone) {
                         return report::figure("soil_nitrate_kg_ha", known(zone.nitrate_kg_ha, 0));
                     })
            .words("Soil",
                   [](const ZoneResult& zone) {
                       return std::string(zone.coarse ? "coarse" : "not coarse");
                   })
            .in_si()
            .html(result);
    return disclosure("how-cover",
                      "Growth, winter and nitrogen of the cover: equations, inputs, source", body);
}

}  // namespace

std::string cover_section(const Inputs& inputs, const FieldResult& result) {
    const Shown shown{inputs.us()};
    std::string html = "<h2 id=\"cover\">Cover crop</h2>\n";
    for (const ZoneGroup& group : zone_groups(result, [&](const ZoneResult& zone) -> std::string {
             if (zone.cover() == nullptr) {
                 return "<p>No candidate cover fits; the table of the others says why.</p>";
             }
             std::string text = "<p>" + name(chosen_reason(inputs, zone)) + "</p>";
             if (!zone.visit_notes.empty()) {
                 text += "<h4>Found in the field, against the forecast</h4>" +
                         report::bullet_list(zone.visit_notes);
             }
             const YearParts year = year_parts(inputs, zone, shown);
             return text + "<div class=\"charts\"><div>" + year.figure + "</div><div>" +
                    growth_table(zone, shown) + "</div></div>\n" + year.working;
         })) {
        const ZoneResult& first = result.zones[static_cast<std::size_t>(group.zones.front()) - 1];
        html += "<section " + group.attribute() + "><h3>" +
                zones_name(group.zones, result.zones.size()) + ": " +
                name(cover_name(inputs, first)) + "</h3>" + group.text + "</section>\n";
    }
    std::string aims;
    for (std::size_t i = 0; i < cover::aim_count; ++i) {
        const double weight = inputs.covers->aims().weight[i];
        if (weight <= 0.0) continue;
        aims += (aims.empty() ? "" : ", ") +
                std::string(cover::aim_name(static_cast<cover::Aim>(i))) + " " + shortest(weight);
    }
    html += growth_working(inputs, result, aims);
    html += seed_working(inputs, result, shown);
    html += "<div id=\"other-covers\"></div>";
    for (const ZoneGroup& group : zone_groups(
             result, [&](const ZoneResult& zone) { return candidates_words(inputs, zone); })) {
        html += disclosure(
            "", zones_name(group.zones, result.zones.size()) + ": other covers, and why not",
            candidates_table(inputs, result, group.zones, shown));
    }
    return html;
}

}  // namespace catchfield::plan
