// SPDX-License-Identifier: MIT
// Points as they come off a yield or EC monitor: outliers out, each for a counted reason, then
// averaged onto the grid.
#pragma once

#include "base/raster.hpp"

#include <array>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

namespace catchfield::zoning {

struct MonitorPoint {
    double x = 0.0, y = 0.0;  ///< projected, m
    double value = 0.0;
    std::optional<double> time_s{};     ///< from any zero, rising within a pass
    std::optional<double> speed_m_s{};  ///< where absent and times are there: from positions
    int pass = 0;                       ///< points of one pass share a number and follow each other
};

/// The rules, in the order they are applied; a point is counted under the first that drops it.
enum class DropReason : std::uint8_t {
    kept,
    not_finite,      ///< value or place is not a number
    out_of_range,    ///< value below min_value or above max_value
    outside_field,   ///< no cell of the field mask under it
    lag,             ///< within start_s of the beginning or end_s of the end of its pass
    speed,           ///< slower than min_speed or faster than max_speed
    speed_change,    ///< speed jumps against the point before
    flow_change,     ///< value jumps against the points before and after, which agree
    global_outlier,  ///< far from the median of all
    local_outlier,   ///< far from the median around it
};
inline constexpr std::size_t drop_reason_count = 10;
/// "kept", "not a number", "value out of range", ...
std::string_view drop_reason_name(DropReason reason);

/// Defaults come from data/assumptions.csv (default_monitor_rules).
struct MonitorRules {
    double min_value = 0.0;  ///< values at or below are no reading
    double max_value = 1e30;
    double delay_s = 0.0;  ///< a value belongs to the place passed this long before
    double start_s = 0.0;  ///< filling time at the start of a pass
    double end_s = 0.0;    ///< emptying time at its end
    double min_speed_m_s = 0.0;
    double max_speed_m_s = 1e30;
    double max_speed_change = 1e30;  ///< relative to the speed before
    double max_flow_change = 1e30;   ///< share of the global median
    double global_mads = 1e30;       ///< limit in robust sd = 1.4826 MAD
    double local_mads = 1e30;
    double local_radius_m = 0.0;
    int local_min_points = 5;  ///< fewer neighbours: not judged locally
};
MonitorRules default_monitor_rules();

struct CleanPoints {
    std::vector<MonitorPoint> kept;  ///< places moved back by delay_s
    std::vector<DropReason> reason;  ///< one per input point
    std::array<std::size_t, drop_reason_count> counts{};
    std::vector<std::string> warnings;
};

/// Applies the rules. Passes without times skip lag, delay and derived speed (said in a warning).
/// Rules after Simbahan, Dobermann & Ping 2004, Agron. J. 96:1091-1102, and Sudduth & Drummond
/// 2007, Agron. J. 99:1471-1482 [memory: high on the kinds of rule, limits are ours]. The global
/// rule takes the larger of the MAD and half the distance between quartiles, so a field of two
/// levels does not lose one; the local rule uses a floor of a tenth of that, so even ground is not
/// thinned. field: nothing outside it is kept. Throws Error(data) for no points, Error(usage) for
/// bad rules.
CleanPoints clean_monitor_points(std::span<const MonitorPoint> points, const Mask& field,
                                 const MonitorRules& rules);

struct GriddedPoints {
    Raster<float> values;          ///< mean of the points in the cell
    Mask valid;                    ///< at least `min_points` points
    Raster<std::uint32_t> points;  ///< points per cell
};

/// Block average: the mean of the points whose place lies in the cell (west and north edges belong
/// to it). Cells without points stay missing.
GriddedPoints block_average(std::span<const MonitorPoint> points, const GridFrame& frame,
                            int min_points = 1);

}  // namespace catchfield::zoning
