// SPDX-License-Identifier: MIT
// Weather as the other rooms use it: monthly normals, a daily series, a climatological mean year,
// and half-month means.
#pragma once

#include "base/confidence.hpp"
#include "base/dates.hpp"
#include "base/table.hpp"

#include <array>
#include <string>
#include <vector>

namespace catchfield::weather {

using Months = std::array<double, 12>;  ///< January first

/// Long-term monthly means.
struct Monthly {
    Months tmean_c{};    ///< mean air temperature, degC
    Months precip_mm{};  ///< mean monthly precipitation, mm
    Confidence confidence = Confidence::verified;
    std::string source;
};

/// Days in a row without gaps: day i is `first + i`. The three vectors have one length, >= 1.
struct Daily {
    Date first{};
    std::vector<double> tmax_c;
    std::vector<double> tmin_c;
    std::vector<double> precip_mm;
    Confidence confidence = Confidence::verified;
    std::string source;

    std::size_t size() const { return tmax_c.size(); }
    Date date(std::size_t i) const { return first + std::chrono::days(static_cast<int>(i)); }
    Date last() const { return date(size() - 1); }
    bool covers(Date from, Date to) const { return from >= first && to <= last() && from <= to; }
};

/// A climatological mean year of 365 days; entry 0 is 1 January, 29 February is left out.
struct MeanYear {
    std::array<double, 365> tmax_c{};
    std::array<double, 365> tmin_c{};
    std::array<double, 365> precip_mm{};
    int years = 0;  ///< years of daily data behind it; 0 where it comes from monthly normals
    Confidence confidence = Confidence::verified;
    std::string source;
};

/// Means (temperature) and totals (rain) of the 24 half-months of an average year.
struct HalfMonthClimate {
    HalfMonths tmean_c{};
    HalfMonths precip_mm{};
    Confidence confidence = Confidence::verified;
};

/// Reads columns month (1-12), tmean_c, precip_mm; exactly 12 rows in any order.
/// Throws Error(data) for a missing or doubled month, precipitation below 0 or above 2000 mm, a
/// mean outside -50..45 degC (values that fit Fahrenheit are named as such), and for a year whose
/// warmest month is above 38 degC or whose annual mean is above 32 degC (Fahrenheit suspicion).
Monthly parse_monthly(const Table& table);

/// Reads columns date, tmax_c, tmin_c, precip_mm; rows in any order are put in order.
/// Throws Error(data) for doubled days, gaps (the first one is named with its length), tmin above
/// tmax, precipitation below 0 or above 1000 mm, temperatures outside -60..60 degC, and a mean of
/// the daily maxima above 38 degC over the series (Fahrenheit suspicion).
Daily parse_daily(const Table& table);

/// The checks of parse_monthly and parse_daily for values made otherwise; `name` is for messages.
void check(const Monthly& monthly, const std::string& name);
void check(const Daily& daily, const std::string& name);

double annual_precip_mm(const Monthly& monthly);
double annual_precip_mm(const MeanYear& year);
/// October to March, mm (for the nitrogen leaching index).
double winter_precip_mm(const Monthly& monthly);
double winter_precip_mm(const MeanYear& year);

/// Months to 365 days so that every month keeps its mean (iterated three-day smoothing with the
/// month's mean restored after every pass: Rymes & Myers 2001, Solar Energy 71:225-231). `values`
/// are monthly means; result in the same unit.
std::array<double, 365> days_from_months(const Months& values);

/// Mean year from normals: mean temperature by days_from_months; maximum and minimum lie half a
/// typical daily range (table daily_range.csv, memory: check) above and below; rain is spread
/// evenly over the month's days. Confidence is at best "memory: check".
MeanYear mean_year(const Monthly& monthly);

/// Mean of every calendar day over the years of a series. Temperatures and rain are smoothed by a
/// centred 15-day running mean. Throws Error(data) for less than one whole year.
/// A mean year never shows the extremes of a real one: frost dates come from autumn_threshold.
MeanYear mean_year(const Daily& daily);

/// Monthly means and totals of a series, whole months only. Throws Error(data) where a month of the
/// year is never covered wholly.
Monthly monthly_normals(const Daily& daily);

/// The mean year laid on real dates, both ends included (29 February repeats 28 February).
/// Throws Error(data) for to < from or more than 20 years.
Daily on_dates(const MeanYear& year, Date from, Date to);

/// Half-month means and totals.
HalfMonthClimate half_months(const MeanYear& year);

}  // namespace catchfield::weather
