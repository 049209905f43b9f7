// SPDX-License-Identifier: MIT
#include "plan/rain_record.hpp"

#include "base/error.hpp"
#include "base/text.hpp"
#include "weather/storm.hpp"

#include <algorithm>
#include <cmath>
#include <map>
#include <optional>
#include <vector>

namespace catchfield::plan {

namespace {

/// More than any gauge has seen between two readings of a logger; a running total is soon above it.
constexpr double most_depth_mm = 500.0;

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

/// The step that most rows keep, if it is a logger's: at least two thirds of them.
std::optional<double> fixed_step(const std::vector<double>& minutes) {
    std::map<long, std::size_t> counts;
    for (std::size_t i = 1; i < minutes.size(); ++i)
        ++counts[std::lround(minutes[i] - minutes[i - 1])];
    for (const auto& [step, count] : counts) {
        if (step >= 5 && step <= 60 && 3 * count >= 2 * (minutes.size() - 1))
            return static_cast<double>(step);
    }
    return std::nullopt;
}

}  // namespace

RainErosivity erosivity_from_record(const Table& table) {
    table.require({"time", "depth_mm"});
    std::vector<double> minutes, depths;
    for (std::size_t row = 0; row < table.rows(); ++row) {
        const auto time = parse_minutes(table.text(row, "time"));
        if (!time) {
            table.fail(row, "time", "'" + table.text(row, "time") + "' is not a time",
                       "Write it as 2015-06-01 14:30.");
        }
        if (!minutes.empty() && *time <= minutes.back()) {
            table.fail(row, "time", "the times do not rise",
                       "Sort the rows by time, and keep one time zone all year.");
        }
        const double depth = table.required_number(row, "depth_mm");
        if (depth < 0.0) table.fail(row, "depth_mm", "rain below zero");
        if (depth > most_depth_mm) {
            table.fail(row, "depth_mm", shortest(depth) + " mm in one interval cannot be right",
                       "Depths are in mm since the row before, not running totals.");
        }
        minutes.push_back(*time);
        depths.push_back(depth);
    }
    if (minutes.empty()) throw Error(ErrorKind::data, "there is no rain in it", {table.name()});

    weather::RainRecord record;
    record.first = Date(std::chrono::days(static_cast<int>(std::floor(minutes.front() / 1440.0))));
    double last = days_between(Date{}, record.first) * 1440.0;
    const std::optional<double> step = fixed_step(minutes);
    std::size_t gaps = 0;
    double longest_days = 0.0;
    for (std::size_t row = 0; row < minutes.size(); ++row) {
        double length = minutes[row] - last;
        last = minutes[row];
        if (length <= 0.0) {  // only a first row at 0:00
            if (depths[row] > 0.0) {
                table.fail(row, "depth_mm", "the first row is at 0:00 and has rain",
                           "Times are the ends of intervals: leave this row out, or begin the day "
                           "before.");
            }
            continue;
        }
        if (step && length > 1.5 * *step) {
            if (row > 0) {
                ++gaps;
                longest_days = std::max(longest_days, (length - *step) / 1440.0);
            }
            record.rain.push_back({length - *step, 0.0});
            length = *step;
        }
        record.rain.push_back({length, depths[row]});
    }
    RainErosivity result;
    auto& erosivity = result.erosivity;
    if (step == 60.0) record.correction = weather::StepCorrection::hourly;
    if (step == 5.0) record.correction = weather::StepCorrection::five_minutes;
    if (step && record.correction == weather::StepCorrection::none) {
        erosivity.warnings.push_back("The rain record has steps of " + fixed(*step, 0) +
                                     " minutes; R comes out somewhat low, and no published "
                                     "correction fits that step.");
    }
    if (gaps > 0) {
        erosivity.warnings.push_back(
            "The rain record leaves out time in " + std::to_string(gaps) + " places, the longest " +
            fixed(longest_days, 1) +
            " days; it was taken as dry. If the gauge had failed there, R is too low.");
    }
    weather::RecordErosivity storms;
    try {
        storms = weather::record_erosivity(record);
    } catch (const Error& error) {
        throw Error(error.kind(), error.reason(),
                    {.path = table.name(), .hint = error.context().hint});
    }
    if (storms.storms == 0) {
        throw Error(ErrorKind::data, "no storm of the rain record is erosive",
                    {.path = table.name(),
                     .hint = "A storm counts above 12.7 mm. Check that depths are in mm."});
    }
    erosivity.r_si = erosivity.low_si = erosivity.high_si = storms.r_si;
    erosivity.method = std::to_string(storms.storms) + " storms of " + fixed(storms.years, 1) +
                       " years, Brown & Foster 1987" +
                       (storms.factor != 1.0 ? ", x " + shortest(storms.factor) +
                                                   " for the time step (Yin et al. 2007)"
                                             : "");
    erosivity.warnings.insert(erosivity.warnings.end(), storms.warnings.begin(),
                              storms.warnings.end());
    result.shares.share = storms.shares;
    result.shares.method = "storms of the rain record";
    return result;
}

}  // namespace catchfield::plan
