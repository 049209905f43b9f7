// SPDX-License-Identifier: MIT
// R from monthly or annual rain, and how the year's erosivity falls on the 24 half-months.
#pragma once

#include "weather/series.hpp"

#include <optional>
#include <span>
#include <string>
#include <vector>

namespace catchfield::weather {

struct Erosivity {
    double r_si = 0.0;    ///< MJ mm/(ha h yr)
    double low_si = 0.0;  ///< the span of the estimate, as far as it is known
    double high_si = 0.0;
    std::string method;
    Confidence confidence = Confidence::verified;
    std::vector<std::string> warnings;
};

/// Modified Fournier index F = sum(p_i^2)/P, mm.
double fournier_index(const Months& precip_mm);

/// Renard & Freimund 1994, J. Hydrology 157:287-306, R in MJ mm/(ha h yr):
/// F < 55 mm: 0.7397 F^1.847; else 95.77 - 6.081 F + 0.4770 F^2.
double renard_freimund_f(double fournier_mm);
/// P < 850 mm: 0.0483 P^1.610; else 587.8 - 1.219 P + 0.004105 P^2.
double renard_freimund_p(double annual_mm);

/// Estimate from months (by F; low and high span the F and P regressions, not their bias in a
/// region). Screening quality: confidence "memory: high" for the equation, and a warning that a
/// published R is better. Against the map readings of places.csv it is far too high where much of
/// the year's water is snow or gentle winter rain (docs/methods/weather.md).
/// Throws Error(data) for no rain at all.
Erosivity erosivity_from_monthly(const Monthly& monthly);
/// Estimate from the annual total alone. Throws Error(data) for annual_mm outside 1..5000.
Erosivity erosivity_from_annual(double annual_mm);

/// How the year's EI falls on the half-months; `share` sums to 1.
struct ErosivityShares {
    HalfMonths share{};
    std::string method;
    Confidence confidence = Confidence::verified;
    std::vector<std::string> warnings;
};

/// From cumulative percent at the 1st and 16th of each month (24 values, the first 0, 100 at the
/// year's end understood; AH-703 table 2-1 form). Throws Error(data) where they do not rise from
/// 0 to at most 100.
ErosivityShares shares_from_cumulative(std::span<const double> percent);
/// From 24 shares in fraction or percent (sum 1 or 100 within 1 %, rescaled to 1 exactly).
/// Throws Error(data) for another count or sum, or a negative share.
ErosivityShares shares_from_values(std::span<const double> values);
/// Own screening rule, not published: a month weighs p_i^2/sum(p^2), halves by days.
ErosivityShares shares_from_monthly(const Months& precip_mm);
/// The same with snow left out: of a month's precipitation, none is rain at a mean of -3 degC or
/// less, all at 3 degC or more, straight between (assumption). Prefer this where temperatures are
/// known. Throws Error(data) where no month has rain.
ErosivityShares shares_from_monthly(const Monthly& monthly);
/// A zone of table ei_zones.csv. Throws Error(data) naming the zones that are there.
ErosivityShares shares_of_zone(int zone);
/// From a table with a column `share` or `cumulative_pct` and 24 rows in order of the year.
ErosivityShares shares_from_table(const Table& table);

}  // namespace catchfield::weather
