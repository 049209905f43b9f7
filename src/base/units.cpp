// SPDX-License-Identifier: MIT
#include "base/units.hpp"

#include "base/error.hpp"
#include "base/text.hpp"

#include <vector>

namespace catchfield {

namespace {

double parse_with(std::string_view text, std::string_view what, const UnitChoice* begin,
                  const UnitChoice* end) {
    std::string accepted;
    std::vector<std::string> names;
    for (const UnitChoice* choice = begin; choice != end; ++choice) {
        accepted += (accepted.empty() ? "" : ", ") + std::string(choice->name);
        names.emplace_back(choice->name);
    }
    const std::string_view trimmed = trim(text);
    std::size_t cut = 0;
    // The number is the longest prefix that reads as one.
    for (std::size_t n = trimmed.size(); n > 0; --n) {
        if (parse_number(trimmed.substr(0, n))) {
            cut = n;
            break;
        }
    }
    const auto fail = [&](const std::string& reason, const std::string& hint) {
        throw Error(ErrorKind::usage, std::string(what) + " = " + std::string(text) + ": " + reason,
                    {.hint = hint});
    };
    if (cut == 0) fail("no number found", "Write a number and its unit, one of: " + accepted + ".");
    const double value = *parse_number(trimmed.substr(0, cut));
    const std::string_view unit = trim(trimmed.substr(cut));
    if (unit.empty()) fail("a bare number has no unit", "Add the unit, one of: " + accepted + ".");
    for (const UnitChoice* choice = begin; choice != end; ++choice) {
        if (same_ignoring_case(choice->name, unit)) return value * choice->factor;
    }
    const std::string near = nearest_name(std::string(unit), names);
    fail("unknown unit '" + std::string(unit) + "'",
         (near.empty() ? "" : "Did you mean '" + near + "'? ") + "Accepted: " + accepted + ".");
    return 0.0;
}

}  // namespace

double parse_quantity(std::string_view text, std::string_view what,
                      std::initializer_list<UnitChoice> choices) {
    return parse_with(text, what, choices.begin(), choices.end());
}

double parse_length_m(std::string_view text, std::string_view what) {
    return parse_quantity(text, what,
                          {{"m", 1.0},
                           {"ft", units::m_per_ft},
                           {"km", 1000.0},
                           {"cm", 0.01},
                           {"mm", 0.001},
                           {"in", 0.0254}});
}

double parse_area_ha(std::string_view text, std::string_view what) {
    return parse_quantity(text, what, {{"ha", 1.0}, {"ac", units::ha_per_ac}, {"m2", 1e-4}});
}

double parse_rate_kg_ha(std::string_view text, std::string_view what) {
    return parse_quantity(text, what,
                          {{"kg/ha", 1.0},
                           {"lb/ac", units::kg_ha_per_lb_ac},
                           {"t/ha", 1000.0},
                           {"ton/ac", 1000.0 * units::mg_ha_per_ton_ac}});
}

double parse_erosivity_si(std::string_view text, std::string_view what) {
    return parse_quantity(text, what, {{"us", units::r_si_per_us}, {"si", 1.0}});
}

double parse_strength_mpa(std::string_view text, std::string_view what) {
    return parse_quantity(text, what, {{"MPa", 1.0}, {"kPa", 0.001}, {"psi", units::mpa_per_psi}});
}

double parse_temperature_c(std::string_view text, std::string_view what) {
    // Fahrenheit has an offset, so the factor alone does not do: read it as itself first.
    const std::string_view trimmed = trim(text);
    const bool fahrenheit = !trimmed.empty() && (trimmed.back() == 'F' || trimmed.back() == 'f');
    const double value =
        parse_quantity(text, what, {{"degC", 1.0}, {"C", 1.0}, {"degF", 1.0}, {"F", 1.0}});
    return fahrenheit ? units::celsius_from_fahrenheit(value) : value;
}

double parse_depth_cm(std::string_view text, std::string_view what) {
    return parse_quantity(text, what,
                          {{"cm", 1.0},
                           {"mm", 0.1},
                           {"in", units::cm_per_in},
                           {"m", 100.0},
                           {"ft", 100.0 * units::m_per_ft}});
}

}  // namespace catchfield
