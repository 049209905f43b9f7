// SPDX-License-Identifier: MIT
// The charts of a field's page, as SVG made from plain values.
#pragma once

#include <optional>
#include <string>
#include <vector>

namespace catchfield::report {

/// One signed line of a nitrogen budget.
struct BarPart {
    std::string label;
    double value = 0.0;
};
/// Two bars of one length: what is needed (parts above zero) and what it is met with (parts below
/// zero, then the rate). The parts add to the rate. "" where nothing is needed.
std::string budget_chart(const std::vector<BarPart>& parts, double rate, const std::string& unit,
                         const std::string& title);

/// Ground covered through the year.
struct YearChart {
    std::vector<std::string> labels;    ///< 24 short names of months
    std::vector<double> without, with;  ///< ground cover, %, 24 each
    std::vector<double> erosive_share;  ///< share of the year's erosive rain, 24
    struct Event {
        double at = 0.0;  ///< half-months from the start
        std::string label;
    };
    std::vector<Event> events;
    std::string title;
};
std::string year_chart(const YearChart& chart);

/// Estimates with intervals against a limit, one row a zone.
struct RangeValue {
    double value = 0.0;
    std::optional<double> low, high;
};
struct RangeRow {
    std::string label;
    std::optional<RangeValue> first, second;
    std::optional<double> limit;
};
std::string range_chart(const std::vector<RangeRow>& rows, const std::string& first,
                        const std::string& second, const std::string& limit,
                        const std::string& unit, const std::string& title);

/// Indices by number of zones, one small panel each.
struct CountPanel {
    std::string name;
    bool least_is_best = false;
    std::vector<double> values;  ///< one per count
};
std::string count_chart(const std::vector<int>& counts, const std::vector<CountPanel>& panels,
                        int taken, const std::string& title);

}  // namespace catchfield::report
