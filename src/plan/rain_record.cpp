// SPDX-License-Identifier: MIT
#include "plan/rain_record.hpp"

#include "base/text.hpp"
#include "weather/storm.hpp"

#include <algorithm>
#include <cmath>

namespace catchfield::plan {

namespace {

/// Minutes since 1970 of "2015-06-01 14:30[:00]" or with 'T'.
std::optional<double> parse_minutes(const std::string& text) {
    if (text.size() < 16 || (text[10] != ' ' && text[10] != 'T')) return std::nullopt;
    const auto date = parse_date(text.substr(0, 10));
    const auto hour = parse_integer(text.substr(11, 2));
    const auto minute = parse_integer(text.substr(14, 2));
    if (!date || text[13] != ':' || !hour || !minute || *hour > 24 || *minute > 59)
        return std::nullopt;
    return days_between(Date{}, *date) * 1440.0 + static_cast<double>(*hour * 60 + *minute);
}

}  // namespace

weather::Erosivity erosivity_from_record(const Table& table) {
    table.require({"time", "depth_mm"});
    weather::RainRecord record;
    double last = 0.0;
    double common_step = 0.0;
    bool even = true;
    for (std::size_t row = 0; row < table.rows(); ++row) {
        const auto minutes = parse_minutes(table.text(row, "time"));
        if (!minutes) {
            table.fail(row, "time", "'" + table.text(row, "time") + "' is not a time",
                       "Write it as 2015-06-01 14:30.");
        }
        const double depth = table.required_number(row, "depth_mm");
        if (depth < 0.0) table.fail(row, "depth_mm", "rain below zero");
        if (row == 0) {
            record.first = Date(std::chrono::days(static_cast<int>(std::floor(*minutes / 1440.0))));
            last = days_between(Date{}, record.first) * 1440.0;
        } else if (*minutes <= last) {
            table.fail(row, "time", "the times do not rise", "Sort the rows by time.");
        }
        const double step = *minutes - last;
        if (row > 0) {
            if (common_step == 0.0) common_step = step;
            even = even && std::abs(step - common_step) < 0.5;
        }
        if (step > 0.0) record.rain.push_back({step, depth});
        last = *minutes;
    }
    if (even && common_step == 60.0) record.correction = weather::StepCorrection::hourly;
    if (even && common_step == 5.0) record.correction = weather::StepCorrection::five_minutes;
    const weather::RecordErosivity result = weather::record_erosivity(record);
    weather::Erosivity erosivity;
    erosivity.r_si = result.r_si;
    erosivity.low_si = result.r_si;
    erosivity.high_si = result.r_si;
    erosivity.method = "storms of " + fixed(result.years, 1) + " years, Brown & Foster 1987";
    erosivity.warnings = result.warnings;
    return erosivity;
}

}  // namespace catchfield::plan
