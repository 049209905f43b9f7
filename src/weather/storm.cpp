// SPDX-License-Identifier: MIT
// Energy, peak intensity and separation of storms.
#include "weather/storm.hpp"

#include "base/error.hpp"
#include "base/text.hpp"
#include "base/units.hpp"

#include <algorithm>
#include <cmath>

namespace catchfield::weather {

namespace {

// Handbook limits of a storm (AH-537, AH-703 ch. 2).
constexpr double lull_minutes = 360.0;
constexpr double lull_mm = 1.27;
constexpr double least_storm_mm = 12.7;
constexpr double burst_minutes = 15.0;
constexpr double burst_mm = 6.35;
constexpr double ah537_cap_mm_h = 63.5;

// 1 ft tonf/(ac in) in MJ/(ha mm): foot, short ton-force, acre and inch by definition.
constexpr double energy_si_per_us = units::m_per_ft * 2000.0 * units::kg_per_lb * 9.80665 * 1e-6 /
                                    units::ha_per_ac / units::mm_per_in;

void check(std::span<const RainInterval> rain) {
    for (std::size_t i = 0; i < rain.size(); ++i) {
        const bool good = std::isfinite(rain[i].minutes) && std::isfinite(rain[i].depth_mm) &&
                          rain[i].minutes > 0.0 && rain[i].depth_mm >= 0.0;
        if (!good)
            throw Error(ErrorKind::data,
                        "rain interval " + std::to_string(i + 1) + " has " +
                            shortest(rain[i].minutes) + " min and " + shortest(rain[i].depth_mm) +
                            " mm",
                        {.hint = "Times must rise and depths must not be negative."});
    }
}

/// Rain up to a time, straight between the ends of intervals.
class Cumulative {
  public:
    explicit Cumulative(std::span<const RainInterval> rain) {
        m_time.reserve(rain.size() + 1);
        m_depth.reserve(rain.size() + 1);
        m_time.push_back(0.0);
        m_depth.push_back(0.0);
        for (const RainInterval& part : rain) {
            m_time.push_back(m_time.back() + part.minutes);
            m_depth.push_back(m_depth.back() + part.depth_mm);
        }
    }
    double time(std::size_t i) const { return m_time[i]; }
    double at(double time) const {
        if (time <= 0.0) return 0.0;
        if (time >= m_time.back()) return m_depth.back();
        const auto after = std::upper_bound(m_time.begin(), m_time.end(), time);
        const std::size_t i = static_cast<std::size_t>(after - m_time.begin());
        const double share = (time - m_time[i - 1]) / (m_time[i] - m_time[i - 1]);
        return m_depth[i - 1] + share * (m_depth[i] - m_depth[i - 1]);
    }
    /// Largest depth in a window; it is reached with one end of the window at a breakpoint.
    double most_in(double window) const {
        double most = 0.0;
        for (std::size_t i = 0; i < m_time.size(); ++i) {
            most = std::max(most, at(m_time[i] + window) - m_depth[i]);
            most = std::max(most, m_depth[i] - at(m_time[i] - window));
        }
        return most;
    }

  private:
    std::vector<double> m_time;
    std::vector<double> m_depth;
};

Storm erosivity_of(std::span<const RainInterval> rain, EnergyForm form) {
    Storm storm;
    for (const RainInterval& part : rain) {
        storm.depth_mm += part.depth_mm;
        storm.energy_mj_ha +=
            unit_energy(part.depth_mm / part.minutes * 60.0, form) * part.depth_mm;
    }
    const Cumulative cumulative(rain);
    storm.i30_mm_h = 2.0 * cumulative.most_in(30.0);
    if (form == EnergyForm::ah537) storm.i30_mm_h = std::min(storm.i30_mm_h, ah537_cap_mm_h);
    storm.ei30 = storm.energy_mj_ha * storm.i30_mm_h;
    storm.counts = storm.depth_mm > least_storm_mm || cumulative.most_in(burst_minutes) >= burst_mm;
    return storm;
}

}  // namespace

double unit_energy(double intensity_mm_h, EnergyForm form) {
    if (intensity_mm_h <= 0.0) return 0.0;
    if (form == EnergyForm::brown_foster)
        return 0.29 * (1.0 - 0.72 * std::exp(-0.05 * intensity_mm_h));
    const double in_h = intensity_mm_h / units::mm_per_in;
    const double us = in_h > 3.0 ? 1074.0 : std::max(0.0, 916.0 + 331.0 * std::log10(in_h));
    return us * energy_si_per_us;
}

Storm storm_erosivity(std::span<const RainInterval> rain, EnergyForm form) {
    check(rain);
    return erosivity_of(rain, form);
}

std::vector<Storm> storms_of(std::span<const RainInterval> rain, EnergyForm form) {
    check(rain);
    const Cumulative cumulative(rain);
    std::vector<Storm> storms;
    std::size_t first = 0;
    while (first < rain.size()) {
        if (rain[first].depth_mm <= 0.0) {
            ++first;
            continue;
        }
        std::size_t last = first;
        for (std::size_t k = first; k < rain.size(); ++k) {
            if (rain[k].depth_mm > 0.0) last = k;
            const double end = cumulative.time(k + 1);
            if (cumulative.at(end + lull_minutes) - cumulative.at(end) < lull_mm) break;
        }
        Storm storm = erosivity_of(rain.subspan(first, last - first + 1), form);
        storm.start_minutes = cumulative.time(first);
        storms.push_back(storm);
        first = last + 1;
    }
    return storms;
}

double step_factor(StepCorrection correction) {
    switch (correction) {
        case StepCorrection::five_minutes:
            return 1.014;
        case StepCorrection::hourly:
            return 1.730;
        case StepCorrection::none:
            break;
    }
    return 1.0;
}

std::vector<RainInterval> fixed_steps(std::span<const double> depths_mm, double step_minutes) {
    if (!(step_minutes > 0.0))
        throw Error(ErrorKind::data, "the time step of rain must be above 0 minutes");
    std::vector<RainInterval> rain;
    rain.reserve(depths_mm.size());
    for (const double depth : depths_mm) rain.push_back({step_minutes, depth});
    return rain;
}

RecordErosivity record_erosivity(const RainRecord& record, EnergyForm form) {
    check(record.rain);
    double minutes = 0.0;
    for (const RainInterval& part : record.rain) minutes += part.minutes;
    RecordErosivity result;
    result.years = minutes / (365.25 * 1440.0);
    if (result.years < 0.99)
        throw Error(ErrorKind::data,
                    "the rain record covers only " + fixed(result.years, 2) + " years",
                    {.hint = "R needs whole years, twenty or more; take a published R instead."});
    result.factor = step_factor(record.correction);
    double total = 0.0;
    for (const Storm& storm : storms_of(record.rain, form)) {
        if (!storm.counts) continue;
        const Date day =
            record.first +
            std::chrono::days(static_cast<int>(std::floor(storm.start_minutes / 1440.0)));
        result.shares[static_cast<std::size_t>(half_month_of(day))] += storm.ei30;
        total += storm.ei30;
        ++result.storms;
    }
    if (total > 0.0)
        for (double& share : result.shares) share /= total;
    result.r_si = total * result.factor / result.years;
    if (result.years < 19.5)
        result.warnings.push_back("R rests on " + fixed(result.years, 1) +
                                  " years of rain; twenty or more are usual.");
    if (std::abs(result.years - std::round(result.years)) > 0.02)
        result.warnings.push_back(
            "The rain record is not a whole number of years, so its seasons weigh unequally.");
    if (record.correction != StepCorrection::none)
        result.warnings.push_back("R was raised by a factor of " + shortest(result.factor) +
                                  " for the coarse time step (Yin et al. 2007).");
    return result;
}

}  // namespace catchfield::weather
