// SPDX-License-Identifier: MIT
// When cold comes: the first autumn day at or below a temperature, with its spread over years.
#pragma once

#include "weather/series.hpp"

#include <optional>
#include <string>
#include <vector>

namespace catchfield::weather {

/// A killing frost for tender crops, 28 degF; "hard frost" throughout.
inline constexpr double hard_frost_c = -2.2;

/// First day on or after `from` with tmin <= threshold; none where there is none in the series.
/// Throws Error(data) where `from` is outside the series.
std::optional<Date> first_day_at_or_below(const Daily& daily, double threshold_c, Date from);

/// One cold season, named after the year it starts in (1 August to 31 July).
struct ColdSeason {
    int year = 0;
    std::optional<Date> first;  ///< first day at or below the threshold
    double lowest_c = 0.0;      ///< lowest tmin seen in the season
    bool whole = true;          ///< the series covers 1 August to 31 March of this season
};

/// Date of the first day at or below a threshold over many seasons.
struct ThresholdDates {
    double threshold_c = 0.0;
    double share_reached = 0.0;  ///< of the seasons, 0-1; estimated from normals: probability
    /// Days after 1 August; over the seasons that reach it (from normals: quantiles of the
    /// distribution). None where fewer than half of the seasons reach it (median), 10 % (early)
    /// or 90 % (late).
    std::optional<int> median_day;
    std::optional<int> early_day;     ///< 10 % of seasons are earlier
    std::optional<int> late_day;      ///< 90 % of seasons are earlier
    std::vector<ColdSeason> seasons;  ///< empty where estimated from normals
    Confidence confidence = Confidence::verified;
    std::vector<std::string> warnings;

    /// The day as a date of the season that starts in `year`.
    static Date on(int year, int day) { return make_date(year, 8, 1) + std::chrono::days(day); }
};

/// By season from daily data. Quantiles are over all whole seasons, those that never reach the
/// threshold counted as later than every date; where no season is whole, over the part seasons that
/// reach it, with a warning. With fewer than 10 seasons a warning is given, with one season only
/// the median is set. Throws Error(data) where there is no such season.
ThresholdDates autumn_threshold(const Daily& daily, double threshold_c = hard_frost_c);

/// Estimate from monthly normals: daily minima are taken as normal about the mean year's minimum
/// with the standard deviation and the number of independent nights a week of table
/// cold_spread.csv (assumption); the chance that no night up to a day has reached the threshold
/// is the product over nights. Confidence "assumption"; a warning says so.
ThresholdDates autumn_threshold(const Monthly& monthly, double threshold_c = hard_frost_c);

}  // namespace catchfield::weather
