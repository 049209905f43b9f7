// SPDX-License-Identifier: MIT
#include "plan/report_pages.hpp"

#include "plan/compaction_pages.hpp"
#include "plan/cover_pages.hpp"
#include "plan/decision_pages.hpp"
#include "plan/map_pages.hpp"
#include "plan/nitrogen_pages.hpp"
#include "plan/shown.hpp"
#include "plan/soil_loss_pages.hpp"
#include "plan/zoning_pages.hpp"
#include "report/html.hpp"

namespace catchfield::plan {

namespace {

using report::escape;
using report::name;

std::string head(const Inputs& inputs, const FieldResult& result) {
    const Shown shown{inputs.us()};
    const std::string farm = inputs.job.field.farm;
    return "<p class=\"eyebrow\">" + (farm.empty() ? "Cover crop and nitrogen plan" : name(farm)) +
           "</p><h1>" + name(result.id) + "</h1><p class=\"soft\">" + shown.area(result.area_ha) +
           " in " + std::to_string(result.zones.size()) +
           (result.zones.size() == 1 ? " zone" : " zones") + ". After " +
           name(inputs.job.season.previous_crop) + ", harvested " + iso_date(inputs.dates.harvest) +
           "; hard frost about " + iso_date(inputs.dates.hard_frost) + "; " +
           escape(inputs.job.nitrogen.crop) + " on " + iso_date(inputs.dates.next_planting) +
           ".</p>\n<nav class=\"jump\" aria-label=\"Parts of this page\"><a "
           "href=\"#careful\">Before "
           "you act</a><a href=\"#map\">Map</a><a href=\"#soil\">Soil loss</a><a "
           "href=\"#cover\">Cover crop</a><a href=\"#nitrogen\">Nitrogen</a><a "
           "href=\"#compaction\">Compaction</a><a href=\"#zoning\">Zones</a><a "
           "href=\"#sources\">Sources</a><button type=\"button\" id=\"open-all\" "
           "aria-pressed=\"false\" hidden>Open every working</button></nav>\n";
}

}  // namespace

std::string field_page(const Inputs& inputs, const FieldResult& result) {
    const std::string& farm = inputs.job.field.farm;
    return report::page(farm.empty() ? result.id : farm + ", " + result.id,
                        head(inputs, result) + glance_section(inputs, result) +
                            decision_section(inputs, result) + caution_section(inputs, result) +
                            "<h2 id=\"map\">Map</h2>\n" + map_section(inputs, result) +
                            soil_loss_section(inputs, result) + cover_section(inputs, result) +
                            nitrogen_section(inputs, result) + compaction_section(inputs, result) +
                            zoning_section(result) + sources_section(inputs));
}

}  // namespace catchfield::plan
