// SPDX-License-Identifier: MIT
// Degree-days of days, series and periods.
#include "weather/degree_days.hpp"

#include "base/error.hpp"
#include "base/text.hpp"

#include <algorithm>

namespace catchfield::weather {

namespace {

void check_rule(const DegreeDayRule& rule) {
    if (rule.upper_c && *rule.upper_c <= rule.base_c)
        throw Error(ErrorKind::data, "the upper limit of degree-days (" + shortest(*rule.upper_c) +
                                         " degC) is not above their base (" +
                                         shortest(rule.base_c) + " degC)");
}

std::size_t index_of(const Daily& daily, Date date) {
    if (daily.size() == 0 || !daily.covers(date, date))
        throw Error(ErrorKind::data, "the daily weather does not cover " + iso_date(date),
                    {.path = daily.source,
                     .hint = daily.size() == 0 ? std::string()
                                               : "It runs from " + iso_date(daily.first) + " to " +
                                                     iso_date(daily.last()) + "."});
    return static_cast<std::size_t>(days_between(daily.first, date));
}

}  // namespace

std::string describe(const DegreeDayRule& rule) {
    std::string text = "base " + shortest(rule.base_c) + " degC, ";
    text += rule.method == DegreeDayMethod::average_first
                ? "the day's mean taken first (method 1)"
                : "each temperature limited first (method 2)";
    if (rule.upper_c) text += ", upper limit " + shortest(*rule.upper_c) + " degC";
    return text;
}

double degree_days(double tmax_c, double tmin_c, const DegreeDayRule& rule) {
    const double upper = rule.upper_c.value_or(1e9);
    const auto limited = [&](double t) { return std::clamp(t, rule.base_c, upper) - rule.base_c; };
    if (rule.method == DegreeDayMethod::average_first) return limited((tmax_c + tmin_c) / 2.0);
    return (limited(tmax_c) + limited(tmin_c)) / 2.0;
}

std::vector<double> degree_days(const Daily& daily, const DegreeDayRule& rule) {
    check_rule(rule);
    std::vector<double> result(daily.size());
    for (std::size_t i = 0; i < daily.size(); ++i)
        result[i] = degree_days(daily.tmax_c[i], daily.tmin_c[i], rule);
    return result;
}

double degree_day_sum(const Daily& daily, Date from, Date to, const DegreeDayRule& rule) {
    check_rule(rule);
    if (to < from)
        throw Error(ErrorKind::data, "degree-days from " + iso_date(from) + " to " + iso_date(to) +
                                         " run backwards");
    const std::size_t last = index_of(daily, to);
    double sum = 0.0;
    for (std::size_t i = index_of(daily, from); i <= last; ++i)
        sum += degree_days(daily.tmax_c[i], daily.tmin_c[i], rule);
    return sum;
}

std::optional<Date> degree_day_reached(const Daily& daily, Date from, double target,
                                       const DegreeDayRule& rule) {
    check_rule(rule);
    double sum = 0.0;
    for (std::size_t i = index_of(daily, from); i < daily.size(); ++i) {
        sum += degree_days(daily.tmax_c[i], daily.tmin_c[i], rule);
        if (sum >= target) return daily.date(i);
    }
    return std::nullopt;
}

}  // namespace catchfield::weather
