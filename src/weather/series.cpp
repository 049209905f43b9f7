// SPDX-License-Identifier: MIT
// Reading, checking, averaging and interpolating weather.
#include "weather/series.hpp"

#include "base/error.hpp"
#include "base/text.hpp"
#include "weather/data.hpp"

#include <algorithm>
#include <cmath>
#include <numeric>

namespace catchfield::weather {

namespace {

constexpr std::array<int, 12> month_days{31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31};
constexpr const char* fahrenheit_hint =
    "Temperatures are expected in degC; convert with (F - 32)/1.8.";
constexpr const char* inches_hint = "Precipitation is expected in mm; convert with in x 25.4.";
/// A rainfed year below this is no farmland; it is what a year in inches looks like.
constexpr double least_year_mm = 50.0;

/// Index of a date in a 365-day year; 29 February falls on 28 February.
std::size_t year_index(Date date) {
    const bool leap = day_of_year(make_date(year_of(date), 12, 31)) == 366;
    int day = day_of_year(date) - 1;
    if (leap && day >= 59) --day;
    return static_cast<std::size_t>(day);
}

bool is_leap_day(Date date) {
    return month_of(date) == 2 && day_of(date) == 29;
}

std::size_t month_of_index(std::size_t day) {
    std::size_t month = 0;
    for (int left = static_cast<int>(day); left >= month_days[month]; ++month)
        left -= month_days[month];
    return month;
}

const Months& daily_range_c() {
    static const Months range = [] {
        const Table table = Table::parse(data::daily_range, "daily_range.csv");
        Months values{};
        for (std::size_t row = 0; row < table.rows(); ++row)
            values.at(static_cast<std::size_t>(table.required_number(row, "month")) - 1) =
                table.required_number(row, "range_c");
        return values;
    }();
    return range;
}

/// Circular running mean over 2 * half + 1 days.
std::array<double, 365> smoothed(const std::array<double, 365>& values, int half) {
    std::array<double, 365> result{};
    for (int i = 0; i < 365; ++i) {
        double sum = 0.0;
        for (int k = -half; k <= half; ++k)
            sum += values[static_cast<std::size_t>((i + k + 365) % 365)];
        result[static_cast<std::size_t>(i)] = sum / (2 * half + 1);
    }
    return result;
}

[[noreturn]] void refuse(const std::string& name, const std::string& reason,
                         const std::string& hint = {}) {
    throw Error(ErrorKind::data, reason, {.path = name, .hint = hint});
}

}  // namespace

void check(const Monthly& monthly, const std::string& name) {
    for (std::size_t m = 0; m < 12; ++m) {
        const std::string month = "month " + std::to_string(m + 1);
        const double t = monthly.tmean_c[m];
        const double p = monthly.precip_mm[m];
        if (!std::isfinite(t) || !std::isfinite(p)) refuse(name, month + " has no number");
        if (t > 38.0)
            refuse(name,
                   month + " has a mean temperature of " + shortest(t) +
                       " degC, which looks like Fahrenheit",
                   fahrenheit_hint);
        if (t < -50.0) refuse(name, month + " has a mean temperature of " + shortest(t) + " degC");
        if (p < 0.0) refuse(name, month + " has negative precipitation");
        if (p > 2000.0) refuse(name, month + " has " + shortest(p) + " mm of precipitation");
    }
    const double mean = std::accumulate(monthly.tmean_c.begin(), monthly.tmean_c.end(), 0.0) / 12.0;
    if (mean > 32.0)
        refuse(name, "the annual mean is " + fixed(mean, 1) + " degC, which looks like Fahrenheit",
               fahrenheit_hint);
    if (annual_precip_mm(monthly) < least_year_mm)
        refuse(name,
               "a year has only " + fixed(annual_precip_mm(monthly), 1) +
                   " mm of precipitation, which looks like inches",
               inches_hint);
}

void check(const Daily& daily, const std::string& name) {
    const std::size_t n = daily.size();
    if (n == 0 || daily.tmin_c.size() != n || daily.precip_mm.size() != n)
        refuse(name, "a daily series needs the same number of days in every column, at least one");
    double sum_max = 0.0;
    double rain = 0.0;
    for (std::size_t i = 0; i < n; ++i) {
        const std::string day = iso_date(daily.date(i));
        const double high = daily.tmax_c[i];
        const double low = daily.tmin_c[i];
        const double p = daily.precip_mm[i];
        if (!std::isfinite(high) || !std::isfinite(low) || !std::isfinite(p))
            refuse(name, day + " has no number");
        if (high > 60.0)
            refuse(
                name,
                day + " has a maximum of " + shortest(high) + " degC, which looks like Fahrenheit",
                fahrenheit_hint);
        if (low < -60.0) refuse(name, day + " has a minimum of " + shortest(low) + " degC");
        if (low > high)
            refuse(name,
                   day + " has a minimum of " + shortest(low) + " above its maximum of " +
                       shortest(high) + " degC",
                   "Check the order of the columns.");
        if (p < 0.0) refuse(name, day + " has negative precipitation");
        if (p > 1000.0) refuse(name, day + " has " + shortest(p) + " mm of precipitation");
        sum_max += high;
        rain += p;
    }
    const double days = static_cast<double>(n);
    if (sum_max / days > 38.0)
        refuse(name,
               "the daily maxima average " + fixed(sum_max / days, 1) +
                   " degC, which looks like Fahrenheit",
               fahrenheit_hint);
    if (n >= 365 && rain / days * 365.0 < least_year_mm)
        refuse(name,
               "a year has only " + fixed(rain / days * 365.0, 1) +
                   " mm of precipitation, which looks like inches",
               inches_hint);
}

Monthly parse_monthly(const Table& table) {
    table.require({"month", "tmean_c", "precip_mm"});
    Monthly monthly;
    monthly.source = table.name();
    std::array<bool, 12> seen{};
    for (std::size_t row = 0; row < table.rows(); ++row) {
        const double number = table.required_number(row, "month");
        if (number < 1.0 || number > 12.0 || number != std::floor(number))
            table.fail(row, "month", "month must be a whole number from 1 to 12");
        const std::size_t m = static_cast<std::size_t>(number) - 1;
        if (seen[m]) table.fail(row, "month", "month " + std::to_string(m + 1) + " is there twice");
        seen[m] = true;
        monthly.tmean_c[m] = table.required_number(row, "tmean_c");
        monthly.precip_mm[m] = table.required_number(row, "precip_mm");
    }
    for (std::size_t m = 0; m < 12; ++m)
        if (!seen[m])
            refuse(table.name(), "month " + std::to_string(m + 1) + " is missing",
                   "Monthly weather needs all twelve months.");
    check(monthly, table.name());
    return monthly;
}

Daily parse_daily(const Table& table) {
    table.require({"date", "tmax_c", "tmin_c", "precip_mm"});
    if (table.rows() == 0) refuse(table.name(), "there are no days in the table");
    std::vector<std::pair<Date, std::size_t>> order;
    order.reserve(table.rows());
    for (std::size_t row = 0; row < table.rows(); ++row) {
        const auto date = parse_date(table.text(row, "date"));
        if (!date)
            table.fail(row, "date", "'" + table.text(row, "date") + "' is not a date",
                       "Write dates as 2025-07-15.");
        order.emplace_back(*date, row);
    }
    std::sort(order.begin(), order.end());
    Daily daily;
    daily.source = table.name();
    daily.first = order.front().first;
    for (std::size_t i = 0; i < order.size(); ++i) {
        const auto [date, row] = order[i];
        if (i > 0) {
            const int step = days_between(order[i - 1].first, date);
            if (step == 0) table.fail(row, "date", iso_date(date) + " is there twice");
            if (step > 1)
                table.fail(
                    row, "date",
                    std::to_string(step - 1) + " day(s) are missing before " + iso_date(date),
                    "Fill the gap from a neighbouring station; gaps are not guessed.");
        }
        daily.tmax_c.push_back(table.required_number(row, "tmax_c"));
        daily.tmin_c.push_back(table.required_number(row, "tmin_c"));
        daily.precip_mm.push_back(table.required_number(row, "precip_mm"));
    }
    check(daily, table.name());
    return daily;
}

double annual_precip_mm(const Monthly& monthly) {
    return std::accumulate(monthly.precip_mm.begin(), monthly.precip_mm.end(), 0.0);
}

double annual_precip_mm(const MeanYear& year) {
    return std::accumulate(year.precip_mm.begin(), year.precip_mm.end(), 0.0);
}

double winter_precip_mm(const Monthly& monthly) {
    const Months& p = monthly.precip_mm;
    return p[9] + p[10] + p[11] + p[0] + p[1] + p[2];
}

double winter_precip_mm(const MeanYear& year) {
    double sum = 0.0;
    for (std::size_t i = 0; i < 365; ++i) {
        const std::size_t month = month_of_index(i);
        if (month < 3 || month >= 9) sum += year.precip_mm[i];
    }
    return sum;
}

std::array<double, 365> days_from_months(const Months& values) {
    std::array<double, 365> days{};
    std::array<std::size_t, 365> month{};
    for (std::size_t i = 0; i < 365; ++i) {
        month[i] = month_of_index(i);
        days[i] = values[month[i]];
    }
    // As many passes as days, as published: the steps at month ends have spread over the year.
    for (int pass = 0; pass < 365; ++pass) {
        std::array<double, 365> next{};
        Months sum{};
        for (std::size_t i = 0; i < 365; ++i) {
            next[i] = (days[(i + 364) % 365] + days[i] + days[(i + 1) % 365]) / 3.0;
            sum[month[i]] += next[i];
        }
        for (std::size_t i = 0; i < 365; ++i)
            days[i] = next[i] + values[month[i]] - sum[month[i]] / month_days[month[i]];
    }
    return days;
}

MeanYear mean_year(const Monthly& monthly) {
    MeanYear year;
    const auto mean = days_from_months(monthly.tmean_c);
    const auto range = days_from_months(daily_range_c());
    for (std::size_t i = 0; i < 365; ++i) {
        const std::size_t month = month_of_index(i);
        year.tmax_c[i] = mean[i] + range[i] / 2.0;
        year.tmin_c[i] = mean[i] - range[i] / 2.0;
        year.precip_mm[i] = monthly.precip_mm[month] / month_days[month];
    }
    year.confidence = weakest(monthly.confidence, Confidence::unchecked);
    year.source = monthly.source;
    return year;
}

MeanYear mean_year(const Daily& daily) {
    check(daily, daily.source);
    MeanYear year;
    std::array<int, 365> count{};
    for (std::size_t i = 0; i < daily.size(); ++i) {
        if (is_leap_day(daily.date(i))) continue;
        const std::size_t day = year_index(daily.date(i));
        year.tmax_c[day] += daily.tmax_c[i];
        year.tmin_c[day] += daily.tmin_c[i];
        year.precip_mm[day] += daily.precip_mm[i];
        ++count[day];
    }
    if (*std::min_element(count.begin(), count.end()) == 0)
        refuse(daily.source, "the daily weather does not cover a whole year",
               "Give at least 365 days in a row, or monthly means.");
    for (std::size_t i = 0; i < 365; ++i) {
        year.tmax_c[i] /= count[i];
        year.tmin_c[i] /= count[i];
        year.precip_mm[i] /= count[i];
    }
    year.tmax_c = smoothed(year.tmax_c, 7);
    year.tmin_c = smoothed(year.tmin_c, 7);
    year.precip_mm = smoothed(year.precip_mm, 7);
    year.years = *std::min_element(count.begin(), count.end());
    year.confidence = daily.confidence;
    year.source = daily.source;
    return year;
}

Monthly monthly_normals(const Daily& daily) {
    check(daily, daily.source);
    Months mean{};
    Months rain{};
    std::array<int, 12> months{};
    std::size_t i = 0;
    while (i < daily.size()) {
        const Date start = daily.date(i);
        const unsigned m = month_of(start);
        const Date next =
            m == 12 ? make_date(year_of(start) + 1, 1, 1) : make_date(year_of(start), m + 1, 1);
        const std::size_t days = static_cast<std::size_t>(days_between(start, next));
        if (day_of(start) == 1 && i + days <= daily.size()) {
            double t = 0.0;
            for (std::size_t d = i; d < i + days; ++d) {
                t += (daily.tmax_c[d] + daily.tmin_c[d]) / 2.0;
                rain[m - 1] += daily.precip_mm[d];
            }
            mean[m - 1] += t / static_cast<double>(days);
            ++months[m - 1];
        }
        i += days;
    }
    Monthly monthly;
    for (std::size_t m = 0; m < 12; ++m) {
        if (months[m] == 0)
            refuse(
                daily.source,
                "month " + std::to_string(m + 1) + " is never covered wholly by the daily weather",
                "Give at least a year of days, or monthly means.");
        monthly.tmean_c[m] = mean[m] / months[m];
        monthly.precip_mm[m] = rain[m] / months[m];
    }
    monthly.confidence = daily.confidence;
    monthly.source = daily.source;
    return monthly;
}

Daily on_dates(const MeanYear& year, Date from, Date to) {
    const int days = days_between(from, to);
    if (days < 0 || days > 20 * 366)
        refuse(year.source, "cannot lay a mean year on " + iso_date(from) + " to " + iso_date(to));
    Daily daily;
    daily.first = from;
    daily.confidence = year.confidence;
    daily.source = year.source;
    for (int d = 0; d <= days; ++d) {
        const std::size_t i = year_index(from + std::chrono::days(d));
        daily.tmax_c.push_back(year.tmax_c[i]);
        daily.tmin_c.push_back(year.tmin_c[i]);
        daily.precip_mm.push_back(year.precip_mm[i]);
    }
    return daily;
}

HalfMonthClimate half_months(const MeanYear& year) {
    HalfMonthClimate climate;
    std::array<int, 24> count{};
    for (std::size_t i = 0; i < 365; ++i) {
        // 2025 has 365 days.
        const Date date = make_date(2025, 1, 1) + std::chrono::days(static_cast<int>(i));
        const std::size_t h = static_cast<std::size_t>(half_month_of(date));
        climate.tmean_c[h] += (year.tmax_c[i] + year.tmin_c[i]) / 2.0;
        climate.precip_mm[h] += year.precip_mm[i];
        ++count[h];
    }
    for (std::size_t h = 0; h < 24; ++h) climate.tmean_c[h] /= count[h];
    climate.confidence = year.confidence;
    return climate;
}

}  // namespace catchfield::weather
