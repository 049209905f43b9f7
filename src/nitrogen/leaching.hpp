// SPDX-License-Identifier: MIT
// How readily nitrate leaves the root zone over the year, and how much is there to lose in winter.
#pragma once

#include "base/confidence.hpp"

#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace catchfield::nitrogen {

enum class LeachingClass { low, moderate, high };
/// "low", "moderate", "high".
std::string_view leaching_class_name(LeachingClass leaching_class);

/// Leaching index, inches of percolation weighted by season, and its class.
struct LeachingIndex {
    double index_in = 0.0;
    LeachingClass leaching_class = LeachingClass::low;
    char group = 'D';  ///< the group the index was worked out for
};

/// Leaching index of Williams & Kissel 1991:
///   PI = (P - 0.4 s)^2 / (P + 0.6 s) where P > 0.4 s, else 0;  s = 1000 / CN - 10
///   SI = (2 PW / P)^(1/3);  LI = PI x SI  (inches)
/// with CN 28, 21, 17, 15 for hydrologic groups A to D. Classes: below 2 low, 2 to 10 moderate,
/// above 10 high. Dual groups ("B/D"): the higher index (Maine NRCS). No irrigation term.
/// precip_mm: annual, 0-6000; winter_mm: October to March, 0 to precip_mm; group: "A".."D", "A/D",
/// case ignored. Throws Error(data) outside these. Check values N31-N33.
LeachingIndex leaching_index(double precip_mm, double winter_mm, std::string_view group);

/// Nitrate at risk over winter, kg/ha.
struct WinterNitrate {
    double at_risk_kg_ha = 0.0;             ///< nitrate in the profile when crops stop growing
    double at_risk_with_cover_kg_ha = 0.0;  ///< less what the cover takes up before
    // Share lost by class, from data/leaching_loss.csv [assumption]: a screening figure.
    double loss_low_kg_ha = 0.0, loss_kg_ha = 0.0, loss_high_kg_ha = 0.0;
    double loss_with_cover_kg_ha = 0.0;  ///< typical
    Confidence confidence = Confidence::assumption;
    std::vector<std::string> cautions;
};

/// residual_kg_ha: nitrate-N after harvest; fall_supply_kg_ha: N mineralised from then until growth
/// stops; cover_uptake_kg_ha: N the cover takes up from the soil (not fixed). A winterkilled cover
/// gives part of it back before spring: `winterkilled` adds a caution. Throws Error(data) for
/// negative amounts.
WinterNitrate winter_nitrate(const LeachingIndex& index, double residual_kg_ha,
                             double fall_supply_kg_ha, double cover_uptake_kg_ha,
                             bool winterkilled = false);

}  // namespace catchfield::nitrogen
