// SPDX-License-Identifier: MIT
#include "plan/short_line.hpp"

#include "base/text.hpp"
#include "base/units.hpp"
#include "plan/columns.hpp"

#include <fmt/core.h>

#include <algorithm>

namespace catchfield::plan {

namespace {

std::string row(const std::string& area, const std::string& zones, const std::string& loss,
                const std::string& rates) {
    return fmt::format("{:>9}  {:>5}  {:<30}  {:<20}  ", area, zones, loss, rates);
}

}  // namespace

std::string short_head() {
    return row("area", "zones", "soil loss a year", "nitrogen") + "cover";
}

std::string short_line(const Inputs& inputs, const FieldResult& result) {
    if (result.status == FieldStatus::skipped) return "skipped: " + joined(result.reasons);
    const bool us = inputs.us();
    const double area = us ? result.area_ha / units::ha_per_ac : result.area_ha;
    double now = 0.0, cover = 0.0, known = 0.0;
    for (const ZoneResult& zone : result.zones) {
        if (!zone.loss_now_mg_ha || !zone.loss_cover_mg_ha || !zone.loss_bare_mg_ha) continue;
        now += *zone.loss_now_mg_ha * zone.area_ha;
        cover += *zone.loss_cover_mg_ha * zone.area_ha;
        known += zone.area_ha;
    }
    const double per = known > 0.0 ? (us ? known * units::mg_ha_per_ton_ac : known) : 1.0;
    double low = 1e9, high = 0.0;
    for (const double rate : result.zone_rates) {
        low = std::min(low, rate);
        high = std::max(high, rate);
    }
    std::vector<std::string> covers;
    for (const ZoneResult& zone : result.zones) {
        if (zone.cover() == nullptr) continue;
        const std::string& id = inputs.covers->candidates()[zone.cover()->candidate].cover.id;
        if (std::find(covers.begin(), covers.end(), id) == covers.end()) covers.push_back(id);
    }
    const std::string rates = low > high    ? "none"
                              : low == high ? significant(low, 3)
                                            : significant(low, 3) + " to " + significant(high, 3);
    const std::string loss =
        known > 0.0 ? significant(now / per, 2) + ", " + significant(cover / per, 2) + " with cover"
                    : "not known";
    std::string line =
        row(fmt::format("{:.1f} {}", area, us ? "ac" : "ha"), std::to_string(result.zones.size()),
            loss + (us ? " ton/ac" : " Mg/ha"), rates + " " + result.rate_unit);
    for (std::size_t i = 0; i < covers.size(); ++i) line += (i == 0 ? "" : ", ") + covers[i];
    if (covers.empty()) line += "none fits";
    if (result.status == FieldStatus::partly) line += "; partly covered: " + joined(result.reasons);
    return line;
}

}  // namespace catchfield::plan
