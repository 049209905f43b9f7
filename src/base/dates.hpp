// SPDX-License-Identifier: MIT
// Calendar dates and the 24 half-months of a year that erosion and cover are followed in.
#pragma once

#include <array>
#include <chrono>
#include <optional>
#include <string>
#include <string_view>

namespace catchfield {

using Date = std::chrono::sys_days;

/// "2025-07-15"; nothing where it is not a real date.
std::optional<Date> parse_date(std::string_view text);
std::string iso_date(Date date);
Date make_date(int year, unsigned month, unsigned day);

inline int days_between(Date from, Date to) {
    return static_cast<int>((to - from).count());
}
int year_of(Date date);
unsigned month_of(Date date);
unsigned day_of(Date date);
/// 1 to 366.
int day_of_year(Date date);

/// Values for the half-months: 0 is 1-15 January, 1 is 16-31 January, ..., 23 is 16-31 December.
using HalfMonths = std::array<double, 24>;

/// 0 to 23.
int half_month_of(Date date);
/// First day of half-month `index` (any integer; 24 is January of the next year) counted from
/// January of `year`.
Date half_month_start(int year, int index);
/// "early March", "late March".
std::string half_month_name(int index);

}  // namespace catchfield
