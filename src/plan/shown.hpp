// SPDX-License-Identifier: MIT
// Figures and names as the pages show them: in the user's units, and zones that share a text said
// together.
#pragma once

#include "base/text.hpp"
#include "base/units.hpp"
#include "plan/inputs.hpp"
#include "plan/result.hpp"

#include <functional>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace catchfield::plan {

/// Figures in the user's units; numbers are plain text without their unit unless said.
struct Shown {
    bool us = false;

    const char* area_unit() const { return us ? "ac" : "ha"; }
    std::string area_number(double ha) const {
        return us ? fixed(ha / units::ha_per_ac, 1) : fixed(ha, 2);
    }
    /// With its unit.
    std::string area(double ha) const { return area_number(ha) + " " + area_unit(); }

    const char* loss_unit() const { return us ? "ton/ac a year" : "Mg/ha a year"; }
    double loss(double mg_ha) const { return us ? mg_ha / units::mg_ha_per_ton_ac : mg_ha; }
    std::string loss_text(const std::optional<double>& mg_ha) const {
        return mg_ha ? significant(loss(*mg_ha), 2) : "not known";
    }

    const char* rate_unit() const { return us ? "lb/ac" : "kg/ha"; }
    double rate(double kg_ha) const { return us ? kg_ha / units::kg_ha_per_lb_ac : kg_ha; }
    const char* n_unit() const { return us ? "lb N/ac" : "kg N/ha"; }
    std::string rate_text(double kg_ha) const { return fixed(rate(kg_ha), 0); }
    std::string range(const cover::Range& r) const {
        return significant(rate(r.typical), 2) + " (" + significant(rate(r.low), 2) + " to " +
               significant(rate(r.high), 2) + ")";
    }

    /// A sentence as the user reads it.
    std::string words(const std::string& sentence) const;
    std::vector<std::string> words(const std::vector<std::string>& sentences) const;

    const char* mass_unit() const { return us ? "lb" : "kg"; }
    double mass(double kg) const { return us ? kg / units::kg_per_lb : kg; }

    const char* depth_unit() const { return us ? "in" : "cm"; }
    double depth(double cm) const { return us ? cm / units::cm_per_in : cm; }
    const char* strength_unit() const { return us ? "psi" : "MPa"; }
    double strength(double mpa) const { return us ? mpa / units::mpa_per_psi : mpa; }
};

/// A sentence with its amounts (kg/ha, kg N/ha, cm, MPa) in US units: "9 kg/ha" becomes "8 lb/ac",
/// "10 to 40 cm" becomes "3.9 to 15.7 in". An amount that already says the other unit behind it, in
/// brackets, stays as it is.
std::string in_us_units(const std::string& sentence);

/// Warnings of the inputs without the name of the part that gave them ("season: ...").
std::vector<std::string> input_warnings(const std::vector<std::string>& warnings);

/// One decimal, left out where it is zero: "200", "56.1".
std::string one_decimal(double value);

/// Common name of the zone's cover, or "no cover fits"; not escaped.
std::string cover_name(const Inputs& inputs, const ZoneResult& zone);

/// "1 to 3 and 5"; numbers rising.
std::string zone_list(const std::vector<int>& zones);

/// "Zone 2", "Zones 1 to 3", or "The whole field" where these are all of several zones or the only
/// one.
std::string zones_name(const std::vector<int>& zones, std::size_t of);

/// Zones with the same text.
struct ZoneGroup {
    std::vector<int> zones;
    std::string text;
    /// Attribute by which figures of the group are known: data-zones="1 2 5".
    std::string attribute() const;
};

/// Zones of the field grouped by what `text` says of them, in the order of their first zone; zones
/// of which it says nothing are left out.
std::vector<ZoneGroup> zone_groups(const FieldResult& result,
                                   const std::function<std::string(const ZoneResult&)>& text);

}  // namespace catchfield::plan
