// SPDX-License-Identifier: MIT
// R from rain totals, and half-month weights.
#include "weather/erosivity.hpp"

#include "base/error.hpp"
#include "base/text.hpp"
#include "weather/data.hpp"

#include <algorithm>
#include <cmath>
#include <numeric>

namespace catchfield::weather {

namespace {

constexpr const char* screening =
    "R is estimated from rain totals (Renard & Freimund 1994), which is screening quality and "
    "reads too high where snow or gentle winter rain is much of the year; a published R for the "
    "county is better.";

void rescale(HalfMonths& share) {
    const double sum = std::accumulate(share.begin(), share.end(), 0.0);
    for (double& value : share) value /= sum;
}

}  // namespace

double fournier_index(const Months& precip_mm) {
    double sum = 0.0;
    double squares = 0.0;
    for (const double p : precip_mm) {
        sum += p;
        squares += p * p;
    }
    if (!(sum > 0.0)) throw Error(ErrorKind::data, "a year without rain has no erosivity");
    return squares / sum;
}

double renard_freimund_f(double fournier_mm) {
    const double f = fournier_mm;
    return f < 55.0 ? 0.7397 * std::pow(f, 1.847) : 95.77 - 6.081 * f + 0.4770 * f * f;
}

double renard_freimund_p(double annual_mm) {
    const double p = annual_mm;
    return p < 850.0 ? 0.0483 * std::pow(p, 1.610) : 587.8 - 1.219 * p + 0.004105 * p * p;
}

Erosivity erosivity_from_monthly(const Monthly& monthly) {
    Erosivity result;
    result.r_si = renard_freimund_f(fournier_index(monthly.precip_mm));
    const double by_annual = renard_freimund_p(annual_precip_mm(monthly));
    result.low_si = std::min(result.r_si, by_annual);
    result.high_si = std::max(result.r_si, by_annual);
    result.method = "modified Fournier index of monthly rain";
    result.confidence = weakest(monthly.confidence, Confidence::recalled);
    result.warnings.push_back(screening);
    return result;
}

Erosivity erosivity_from_annual(double annual_mm) {
    if (!(annual_mm >= 1.0 && annual_mm <= 5000.0))
        throw Error(ErrorKind::data,
                    "annual rain of " + shortest(annual_mm) + " mm is outside 1 to 5000 mm");
    Erosivity result;
    result.r_si = result.low_si = result.high_si = renard_freimund_p(annual_mm);
    result.method = "annual rain";
    result.confidence = Confidence::recalled;
    result.warnings.push_back(screening);
    return result;
}

ErosivityShares shares_from_cumulative(std::span<const double> percent) {
    if (percent.size() != 24)
        throw Error(ErrorKind::data,
                    "cumulative erosivity has " + std::to_string(percent.size()) + " values",
                    {.hint = "Give 24, at the 1st and 16th of each month."});
    ErosivityShares result;
    for (std::size_t i = 0; i < 24; ++i) {
        const double next = i + 1 < 24 ? percent[i + 1] : 100.0;
        if (!(next >= percent[i]) || (i == 0 && percent[0] != 0.0))
            throw Error(
                ErrorKind::data,
                "cumulative erosivity must start at 0 and rise to at most 100 %, but value " +
                    std::to_string(i + 1) + " is " + shortest(percent[i]));
        result.share[i] = (next - percent[i]) / 100.0;
    }
    result.method = "cumulative erosivity as given";
    return result;
}

ErosivityShares shares_from_values(std::span<const double> values) {
    if (values.size() != 24)
        throw Error(ErrorKind::data,
                    "erosivity shares have " + std::to_string(values.size()) + " values",
                    {.hint = "Give 24, one for each half-month from early January on."});
    ErosivityShares result;
    for (std::size_t i = 0; i < 24; ++i) {
        if (!(values[i] >= 0.0) || !std::isfinite(values[i]))
            throw Error(ErrorKind::data,
                        "erosivity share " + std::to_string(i + 1) + " is " + shortest(values[i]));
        result.share[i] = values[i];
    }
    const double sum = std::accumulate(values.begin(), values.end(), 0.0);
    if (std::abs(sum - 1.0) > 0.01 && std::abs(sum - 100.0) > 1.0)
        throw Error(ErrorKind::data, "erosivity shares add up to " + shortest(sum),
                    {.hint = "They must add up to 1, or to 100 percent."});
    rescale(result.share);
    result.method = "shares as given";
    return result;
}

ErosivityShares shares_from_monthly(const Months& precip_mm) {
    const double squares =
        std::inner_product(precip_mm.begin(), precip_mm.end(), precip_mm.begin(), 0.0);
    if (!(squares > 0.0)) throw Error(ErrorKind::data, "a year without rain has no erosivity");
    constexpr std::array<double, 12> days{31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31};
    ErosivityShares result;
    for (std::size_t m = 0; m < 12; ++m) {
        const double weight = precip_mm[m] * precip_mm[m] / squares;
        result.share[2 * m] = weight * 15.0 / days[m];
        result.share[2 * m + 1] = weight * (days[m] - 15.0) / days[m];
    }
    rescale(result.share);
    result.method = "square of monthly rain";
    result.confidence = Confidence::assumption;
    result.warnings.push_back(
        "The erosivity of each half-month is taken from the square of monthly rain, a screening "
        "rule that counts snowfall as rain; give the published distribution where there is one.");
    return result;
}

ErosivityShares shares_from_monthly(const Monthly& monthly) {
    Months rain{};
    for (std::size_t m = 0; m < 12; ++m)
        rain[m] = monthly.precip_mm[m] * std::clamp((monthly.tmean_c[m] + 3.0) / 6.0, 0.0, 1.0);
    ErosivityShares result = shares_from_monthly(rain);
    result.method = "square of monthly rain without snow";
    result.warnings = {
        "The erosivity of each half-month is taken from the square of monthly rain, a screening "
        "rule that gives winter too much where summer brings thunderstorms; give the published "
        "distribution where there is one."};
    return result;
}

ErosivityShares shares_of_zone(int zone) {
    const Table table = Table::parse(data::ei_zones, "ei_zones.csv");
    std::string known;
    for (std::size_t row = 0; row < table.rows(); ++row) {
        known += (known.empty() ? "" : ", ") + table.text(row, "zone");
        if (table.required_number(row, "zone") != zone) continue;
        std::array<double, 24> percent{};
        const std::size_t first = table.column("jan1");
        for (std::size_t i = 0; i < 24; ++i)
            percent[i] = table.required_number(row, table.columns()[first + i]);
        ErosivityShares result = shares_from_cumulative(percent);
        result.method = "erosivity zone " + std::to_string(zone);
        result.confidence = parse_confidence(table.text(row, "confidence"));
        return result;
    }
    throw Error(ErrorKind::usage, "erosivity zone " + std::to_string(zone) + " is not in the table",
                {.hint = "Known: " + known + ". Give the distribution as a table instead."});
}

ErosivityShares shares_from_table(const Table& table) {
    const bool cumulative = table.has("cumulative_pct");
    if (!cumulative) table.require({"share"});
    std::vector<double> values;
    for (std::size_t row = 0; row < table.rows(); ++row)
        values.push_back(table.required_number(row, cumulative ? "cumulative_pct" : "share"));
    try {
        return cumulative ? shares_from_cumulative(values) : shares_from_values(values);
    } catch (const Error& error) {
        throw Error(error.kind(), error.reason(),
                    {.path = table.name(), .hint = error.context().hint});
    }
}

}  // namespace catchfield::weather
