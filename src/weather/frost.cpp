// SPDX-License-Identifier: MIT
// First days of cold, counted from data or estimated from normals.
#include "weather/frost.hpp"

#include "base/error.hpp"
#include "base/text.hpp"
#include "weather/data.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>

namespace catchfield::weather {

namespace {

struct ColdSpread {
    std::array<double, 365> sd_c;
    std::array<double, 365> nights_per_day;
};

const ColdSpread& cold_spread() {
    static const ColdSpread spread = [] {
        const Table table = Table::parse(data::cold_spread, "cold_spread.csv");
        Months sd{};
        Months nights{};
        for (std::size_t row = 0; row < table.rows(); ++row) {
            const std::size_t m = static_cast<std::size_t>(table.required_number(row, "month")) - 1;
            sd.at(m) = table.required_number(row, "tmin_sd_c");
            nights.at(m) = table.required_number(row, "independent_nights_per_week") / 7.0;
        }
        return ColdSpread{days_from_months(sd), days_from_months(nights)};
    }();
    return spread;
}

double normal_probability(double z) {
    return 0.5 * std::erfc(-z / std::sqrt(2.0));
}

/// Quantile of sorted days, linear between neighbours; nothing where it falls on "never".
std::optional<int> quantile_day(const std::vector<double>& sorted, double q) {
    const double at = q * static_cast<double>(sorted.size() - 1);
    const std::size_t low = static_cast<std::size_t>(at);
    const std::size_t high = std::min(low + 1, sorted.size() - 1);
    const double share = at - static_cast<double>(low);
    const double day =
        share == 0.0 ? sorted[low] : sorted[low] + share * (sorted[high] - sorted[low]);
    if (!std::isfinite(day)) return std::nullopt;
    return static_cast<int>(std::lround(day));
}

}  // namespace

std::optional<Date> first_day_at_or_below(const Daily& daily, double threshold_c, Date from) {
    if (daily.size() == 0 || !daily.covers(from, from))
        throw Error(ErrorKind::data, "the daily weather does not cover " + iso_date(from),
                    {.path = daily.source});
    for (std::size_t i = static_cast<std::size_t>(days_between(daily.first, from));
         i < daily.size(); ++i)
        if (daily.tmin_c[i] <= threshold_c) return daily.date(i);
    return std::nullopt;
}

ThresholdDates autumn_threshold(const Daily& daily, double threshold_c) {
    check(daily, daily.source);
    ThresholdDates result;
    result.threshold_c = threshold_c;
    result.confidence = daily.confidence;
    for (int year = year_of(daily.first) - 1; year <= year_of(daily.last()); ++year) {
        const Date start = make_date(year, 8, 1);
        if (!daily.covers(start, start)) continue;
        const Date end = std::min(daily.last(), make_date(year + 1, 7, 31));
        ColdSeason season;
        season.year = year;
        season.whole = daily.last() >= make_date(year + 1, 3, 31);
        season.lowest_c = std::numeric_limits<double>::max();
        for (Date day = start; day <= end; day += std::chrono::days(1)) {
            const double t = daily.tmin_c[static_cast<std::size_t>(days_between(daily.first, day))];
            season.lowest_c = std::min(season.lowest_c, t);
            if (!season.first && t <= threshold_c) season.first = day;
        }
        result.seasons.push_back(season);
    }
    std::vector<double> days;
    const bool any_whole = std::any_of(result.seasons.begin(), result.seasons.end(),
                                       [](const ColdSeason& s) { return s.whole; });
    for (const ColdSeason& season : result.seasons) {
        const bool counts = any_whole ? season.whole : season.first.has_value();
        if (!counts) continue;
        days.push_back(season.first ? days_between(make_date(season.year, 8, 1), *season.first)
                                    : std::numeric_limits<double>::infinity());
    }
    if (days.empty())
        throw Error(ErrorKind::data,
                    "the daily weather covers no cold season from 1 August to 31 March",
                    {.path = daily.source, .hint = "Give a hard-frost date, or monthly means."});
    std::sort(days.begin(), days.end());
    const double reached = static_cast<double>(
        std::count_if(days.begin(), days.end(), [](double d) { return std::isfinite(d); }));
    result.share_reached = reached / static_cast<double>(days.size());
    result.median_day = quantile_day(days, 0.5);
    if (days.size() > 1) {
        result.early_day = quantile_day(days, 0.1);
        result.late_day = quantile_day(days, 0.9);
    }
    if (!any_whole)
        result.warnings.push_back(
            "No season of the daily weather runs to 31 March; the date is from part seasons.");
    if (days.size() < 10)
        result.warnings.push_back("Only " + std::to_string(days.size()) +
                                  " season(s) of daily weather stand behind this date; ten or "
                                  "more show its spread.");
    return result;
}

ThresholdDates autumn_threshold(const Monthly& monthly, double threshold_c) {
    const MeanYear year = mean_year(monthly);
    const ColdSpread& spread = cold_spread();
    ThresholdDates result;
    result.threshold_c = threshold_c;
    double not_yet = 1.0;
    for (int day = 0; day < 365; ++day) {
        const std::size_t i = static_cast<std::size_t>((day + 212) % 365);  // 1 August is day 212
        const double night = normal_probability((threshold_c - year.tmin_c[i]) / spread.sd_c[i]);
        not_yet *= std::pow(1.0 - night, spread.nights_per_day[i]);
        const double reached = 1.0 - not_yet;
        if (!result.early_day && reached >= 0.1) result.early_day = day;
        if (!result.median_day && reached >= 0.5) result.median_day = day;
        if (!result.late_day && reached >= 0.9) result.late_day = day;
    }
    result.share_reached = 1.0 - not_yet;
    result.confidence = Confidence::assumption;
    result.warnings.push_back(
        "This date is estimated from monthly means for an inland climate and may be off by two "
        "weeks or more (near the sea frost comes later); daily weather or a local frost table is "
        "better.");
    return result;
}

}  // namespace catchfield::weather
