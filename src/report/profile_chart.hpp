// SPDX-License-Identifier: MIT
// Penetrometer profiles as SVG: depth downward, resistance to the right.
#pragma once

#include <string>
#include <vector>

namespace catchfield::report {

/// One line of the chart, in the units shown.
struct ProfileLine {
    std::string name;
    std::vector<double> depth;
    std::vector<double> strength;
};

/// Thin lines for `stops`, a thick one for `middle` (none where it is empty), and the limit as an
/// upright dashed line. Units: as written on the axes, "cm" and "MPa". "" without stops.
std::string profile_chart(const std::vector<ProfileLine>& stops, const ProfileLine& middle,
                          double limit, const std::string& depth_unit,
                          const std::string& strength_unit, const std::string& title);

}  // namespace catchfield::report
