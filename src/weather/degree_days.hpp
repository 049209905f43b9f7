// SPDX-License-Identifier: MIT
// Growing degree-days by both published readings of the formula.
//
// McMaster & Wilhelm 1997, Agric. For. Meteorol. 87:291-300. Method 1 averages first:
// GDD = max((Tmax + Tmin)/2, Tb) - Tb. Method 2 limits each first: Tmax and Tmin below the base are
// set to it, then averaged. They differ on days with Tmin < Tb < Tmax. A curve fitted with one
// method and base must not be fed with another.
#pragma once

#include "weather/series.hpp"

#include <optional>
#include <string>
#include <vector>

namespace catchfield::weather {

enum class DegreeDayMethod {
    average_first,  ///< method 1
    limit_first,  ///< method 2; with an upper limit this is the capped-average ("modified") method
};

struct DegreeDayRule {
    double base_c = 0.0;
    std::optional<double> upper_c{};  ///< method 1 limits the day's mean, method 2 Tmax and Tmin
    DegreeDayMethod method = DegreeDayMethod::limit_first;
};

/// "base 4 degC, each temperature limited first (method 2), upper limit 30 degC".
std::string describe(const DegreeDayRule& rule);

/// One day, degC d, never negative. Precondition: tmin_c <= tmax_c, base < upper.
double degree_days(double tmax_c, double tmin_c, const DegreeDayRule& rule);

/// One value per day of the series. Throws Error(data) where upper_c <= base_c.
std::vector<double> degree_days(const Daily& daily, const DegreeDayRule& rule);

/// Sum over `from` to `to`, both days included, degC d.
/// Throws Error(data) where the series does not cover them.
double degree_day_sum(const Daily& daily, Date from, Date to, const DegreeDayRule& rule);

/// First day on which the sum counted from `from` (included) reaches `target`; none where the
/// series ends before. Throws Error(data) where `from` is outside the series.
std::optional<Date> degree_day_reached(const Daily& daily, Date from, double target,
                                       const DegreeDayRule& rule);

/// The same sum with the base and result in Fahrenheit days.
inline double fahrenheit_days(double celsius_days) {
    return celsius_days * 1.8;
}

}  // namespace catchfield::weather
