// SPDX-License-Identifier: MIT
#include "plan/index_page.hpp"

#include "plan/columns.hpp"
#include "plan/shown.hpp"
#include "report/html.hpp"

#include <algorithm>

namespace catchfield::plan {

using report::escape;

IndexEntry index_entry(const Inputs& inputs, const FieldResult& result) {
    const Shown shown{inputs.us()};
    IndexEntry entry;
    if (result.status == FieldStatus::skipped) {
        entry.problem = result.id + ": skipped. " + joined(result.reasons);
        return entry;
    }
    if (result.status == FieldStatus::partly)
        entry.problem = result.id + ": partly covered. " + joined(result.reasons);
    double now = 0.0, cover = 0.0, known = 0.0;
    std::vector<std::string> covers;
    for (const ZoneResult& zone : result.zones) {
        const std::string name = cover_name(inputs, zone);
        if (std::find(covers.begin(), covers.end(), name) == covers.end()) covers.push_back(name);
        if (!zone.loss_now_mg_ha || !zone.loss_cover_mg_ha) continue;
        now += *zone.loss_now_mg_ha * zone.area_ha;
        cover += *zone.loss_cover_mg_ha * zone.area_ha;
        known += zone.area_ha;
    }
    const auto [low, high] =
        std::minmax_element(result.zone_rates.begin(), result.zone_rates.end());
    std::string names;
    for (const std::string& name : covers) names += (names.empty() ? "" : ", ") + name;
    entry.href = "report/" + result.stem + ".html";
    entry.label = result.id;
    entry.row = report::table_row(
        {"<a href=\"" + escape(entry.href) + "\">" + escape(result.id) + "</a>",
         shown.area(result.area_ha), std::to_string(result.zones.size()), escape(names),
         known > 0.0 ? significant(shown.loss(now / known), 2) : "not known",
         known > 0.0 ? significant(shown.loss(cover / known), 2) : "not known",
         *low == *high ? fixed(*low, 0) : fixed(*low, 0) + " to " + fixed(*high, 0)},
        {false, true, true, false, true, true, true});
    return entry;
}

std::string index_page(const RunHead& head, const std::vector<IndexEntry>& entries) {
    const Shown shown{head.us()};
    const std::string title = head.job.field.farm.empty()
                                  ? "Cover crop and nitrogen plan"
                                  : head.job.field.farm + ": cover crop and nitrogen plan";
    report::HtmlTable table;
    table.caption = "Fields";
    table.heads = {"Field",
                   "Area",
                   "Zones",
                   "Cover crops",
                   std::string("Soil loss now, ") + shown.loss_unit(),
                   "With cover",
                   "Next crop's nitrogen, " + std::string(prescription::unit_name(head.rate_unit))};
    table.numeric = {false, true, true, false, true, true, true};
    std::vector<std::string> problems;
    for (const IndexEntry& entry : entries) {
        table.body += entry.row;
        if (!entry.problem.empty()) problems.push_back(entry.problem);
    }
    std::string body = "<h1>" + escape(title) + "</h1>" + report::table(table);
    if (!problems.empty())
        body += "<div class=\"caution\"><strong>Left out or partly covered</strong>" +
                report::bullet_list(problems) + "</div>";
    body +=
        "<p class=\"caution\">This tool screens. Follow product labels and local rules; a licensed "
        "adviser decides.</p>";
    body += "<h2>Notes</h2>" + report::bullet_list(head.warnings);
    return report::page(title, body);
}

}  // namespace catchfield::plan
