// SPDX-License-Identifier: MIT
// R from rain records as loggers write them.
#include "plan/rain_record.hpp"

#include "base/dates.hpp"
#include "base/error.hpp"
#include "base/text.hpp"

#include <fmt/core.h>
#include <gtest/gtest.h>

namespace catchfield::plan {
namespace {

/// A year of rows every `step` minutes, dry but for the depths that begin on 1 June at 0:00.
std::string year_of_rows(int step, const std::vector<double>& depths, bool dry_rows = true) {
    std::string csv = "time,depth_mm\n";
    const Date first = make_date(2015, 1, 1);
    const int storm = days_between(first, make_date(2015, 6, 1)) * 1440;
    const int year = 365 * 1440;
    for (int minute = step; minute <= year; minute += step) {
        const int k = (minute - storm) / step - 1;
        const bool wet = minute > storm && k < static_cast<int>(depths.size());
        const bool edge = minute == step || minute + step > year;
        if (!wet && !dry_rows && !edge) continue;
        const Date day = first + std::chrono::days(minute / 1440);
        csv += fmt::format("{} {:02}:{:02},{}\n", iso_date(day), minute % 1440 / 60, minute % 60,
                           wet ? shortest(depths[static_cast<std::size_t>(k)]) : "0");
    }
    return csv;
}

RainErosivity erosivity(const std::string& csv) {
    return erosivity_from_record(Table::parse(csv, "rain.csv"));
}

std::string error_of(const std::string& csv) {
    try {
        erosivity(csv);
    } catch (const Error& error) {
        return error.what();
    }
    return "";
}

std::string all(const std::vector<std::string>& lines) {
    std::string text;
    for (const std::string& line : lines) text += line + "\n";
    return text;
}

// Check value R-4: 15-min depths 5 12 8 3 mm give EI30 273.1 (Brown & Foster 1987, computed).
TEST(RainRecord, FifteenMinutes) {
    const RainErosivity r = erosivity(year_of_rows(15, {5, 12, 8, 3}));
    EXPECT_NEAR(r.erosivity.r_si, 273.1 * 365.25 / 365.0, 0.002 * 273.1);
    // All of the year's EI falls in early June, half-month 10.
    EXPECT_NEAR(r.shares.share[10], 1.0, 1e-12);
    EXPECT_NE(all(r.erosivity.warnings).find("no published correction"), std::string::npos);
    EXPECT_NE(all(r.erosivity.warnings).find("twenty or more"), std::string::npos);
}

// Check value R-5: hourly 10 30 5 mm give 287.2, x 1.730 = 496.8 (Yin et al. 2007).
TEST(RainRecord, HourlyIsCorrectedAndSaysSo) {
    const RainErosivity r = erosivity(year_of_rows(60, {10, 30, 5}));
    EXPECT_NEAR(r.erosivity.r_si, 496.8 * 365.25 / 365.0, 0.002 * 496.8);
    EXPECT_NE(r.erosivity.method.find("1.73"), std::string::npos) << r.erosivity.method;
}

// A day of hourly rows around each storm, nothing else: the gap is dry time, not slow rain.
TEST(RainRecord, DryRowsMayBeLeftOut) {
    std::string csv = "time,depth_mm\n2015-01-01 01:00,0\n2015-01-01 02:00,0\n";
    for (const char* row : {"2015-06-01 01:00,10", "2015-06-01 02:00,30", "2015-06-01 03:00,5",
                            "2015-06-01 04:00,0", "2015-06-01 05:00,0", "2016-01-01 00:00,0"})
        csv += std::string(row) + "\n";
    const RainErosivity r = erosivity(csv);
    EXPECT_NEAR(r.erosivity.r_si, 496.8 * 365.25 / 365.0, 0.002 * 496.8);
    EXPECT_NE(all(r.erosivity.warnings).find("leaves out time in 2 places"), std::string::npos)
        << all(r.erosivity.warnings);
}

TEST(RainRecord, RefusesWhatCannotBeRight) {
    EXPECT_NE(
        error_of("time,depth_mm\n2015-06-01 01:00,1\n2015-06-01 01:00,1\n").find("do not rise"),
        std::string::npos);
    EXPECT_NE(error_of("time,depth_mm\n2015-06-01 01:00,-1\n").find("below zero"),
              std::string::npos);
    EXPECT_NE(error_of("time,depth_mm\n2015-06-01 01:00,612\n").find("cannot be right"),
              std::string::npos);
    EXPECT_NE(error_of("time,depth_mm\nyesterday,1\n").find("is not a time"), std::string::npos);
    EXPECT_NE(error_of("time,depth_mm\n2015-06-01 01:00,1\n2015-06-02 01:00,1\n").find("years"),
              std::string::npos);
    EXPECT_NE(error_of("time,depth_mm\n").find("there is no rain"), std::string::npos);
    // A year of drizzle has no erosive storm; R = 0 must not pass quietly.
    EXPECT_NE(error_of(year_of_rows(60, {1, 1})).find("no storm"), std::string::npos);
}

}  // namespace
}  // namespace catchfield::plan
