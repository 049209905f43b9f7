// SPDX-License-Identifier: MIT
#include "plan/short_line.hpp"

#include "base/text.hpp"
#include "base/units.hpp"
#include "plan/columns.hpp"

#include <fmt/core.h>

#include <algorithm>

namespace catchfield::plan {

std::string short_line(const Inputs& inputs, const FieldResult& result) {
    if (result.status == FieldStatus::skipped) return "skipped: " + joined(result.reasons);
    const bool us = inputs.us();
    const double area = us ? result.area_ha / units::ha_per_ac : result.area_ha;
    double bare = 0.0, now = 0.0, cover = 0.0, known = 0.0;
    for (const ZoneResult& zone : result.zones) {
        if (!zone.loss_now_mg_ha || !zone.loss_cover_mg_ha || !zone.loss_bare_mg_ha) continue;
        bare += *zone.loss_bare_mg_ha * zone.area_ha;
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
    return fmt::format("{:.1f} {}, {} {}, soil loss {} now, {} with cover ({}), {} {}", area,
                       us ? "ac" : "ha", result.zones.size(),
                       result.zones.size() == 1 ? "zone" : "zones", significant(now / per, 2),
                       significant(cover / per, 2), us ? "ton/ac a year" : "Mg/ha a year",
                       low == high ? significant(low, 3)
                                   : significant(low, 3) + " to " + significant(high, 3),
                       result.rate_unit) +
           (result.status == FieldStatus::partly ? "; partly covered: " + joined(result.reasons)
                                                 : "");
}

}  // namespace catchfield::plan
