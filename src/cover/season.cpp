// SPDX-License-Identifier: MIT
#include "cover/season.hpp"

#include "base/error.hpp"
#include "base/text.hpp"
#include "base/units.hpp"
#include "cover/uptake.hpp"

#include <algorithm>
#include <cmath>

namespace catchfield::cover {

namespace {

constexpr double hard_frost_c = -2.2;

double normal_share_below(double z) {
    return 0.5 * std::erfc(-z / std::sqrt(2.0));
}

std::vector<double> bases_of(const Catalogue& catalogue) {
    std::vector<double> bases;
    for (const Species& s : catalogue.species()) {
        if (std::find(bases.begin(), bases.end(), s.base_temp_c) == bases.end()) {
            bases.push_back(s.base_temp_c);
        }
    }
    return bases;
}

void check_dates(const SeasonInputs& in) {
    if (in.terminate <= in.sow) {
        throw Error(ErrorKind::usage,
                    "the cover crop is ended on " + iso_date(in.terminate) +
                        ", before it is sown on " + iso_date(in.sow),
                    {.layer = "season", .hint = "Check 'sow' and 'terminate'."});
    }
    if (in.next_planting < in.terminate) {
        throw Error(ErrorKind::usage,
                    "the next crop is planted on " + iso_date(in.next_planting) +
                        ", before the cover crop is ended on " + iso_date(in.terminate),
                    {.layer = "season", .hint = "Check 'terminate' and 'next-planting'."});
    }
    if (days_between(in.sow, in.next_planting) > 550) {
        throw Error(ErrorKind::usage, "more than 550 days lie between sowing and the next planting",
                    {.layer = "season", .hint = "Check the years of the dates."});
    }
    const int to_frost = days_between(in.sow, in.hard_frost);
    if (to_frost < -60 || to_frost > 330) {
        throw Error(
            ErrorKind::usage,
            "the first hard frost " + iso_date(in.hard_frost) + " does not belong to a sowing on " +
                iso_date(in.sow),
            {.layer = "season",
             .hint = "Give the first hard frost of the autumn of the sowing; a cover crop cannot "
                     "be sown more than 60 days after it."});
    }
}

void check_weather(const SeasonInputs& in) {
    if (in.tmin_c.size() != in.tmax_c.size()) {
        throw Error(ErrorKind::data, "daily least and greatest temperatures differ in number",
                    {.layer = "weather"});
    }
    const int before = days_between(in.first_day, in.sow);
    const int after = days_between(in.first_day, in.next_planting);
    if (before < 0 || after > static_cast<int>(in.tmin_c.size())) {
        throw Error(ErrorKind::data,
                    "the temperatures do not reach from sowing on " + iso_date(in.sow) +
                        " to planting on " + iso_date(in.next_planting),
                    {.layer = "weather", .hint = "Give a value for every day between."});
    }
    double sum = 0.0;
    for (std::size_t i = 0; i < in.tmin_c.size(); ++i) {
        const double low = in.tmin_c[i];
        const double high = in.tmax_c[i];
        const std::string day = iso_date(in.first_day + std::chrono::days(static_cast<int>(i)));
        if (!std::isfinite(low) || !std::isfinite(high) || low > high) {
            throw Error(ErrorKind::data,
                        "the least temperature is above the greatest, or one is missing",
                        {.layer = "weather", .feature = day});
        }
        if (high > 58.0 || low < -70.0) {
            throw Error(ErrorKind::data,
                        significant(high > 58.0 ? high : low, 4) + " is no air temperature in degC",
                        {.layer = "weather", .feature = day, .hint = "Is the column in degF?"});
        }
        sum += 0.5 * (low + high);
    }
    const double mean = sum / static_cast<double>(in.tmin_c.size());
    if (mean > 36.0) {
        throw Error(ErrorKind::data,
                    "the mean temperature of the season would be " + fixed(mean, 0) + " degC",
                    {.layer = "weather", .hint = "Is the column in degF?"});
    }
    for (const double minimum : in.winter_minimum_c) {
        if (!(minimum > -75.0 && minimum < 30.0)) {
            throw Error(ErrorKind::data, significant(minimum, 4) + " is no winter minimum in degC",
                        {.layer = "weather"});
        }
    }
}

}  // namespace

double coldest_of_hardiness_zone(int zone) {
    if (zone < 1 || zone > 13) {
        throw Error(ErrorKind::usage, "hardiness zone " + std::to_string(zone) + " is not 1 to 13");
    }
    return units::celsius_from_fahrenheit(-60.0 + 10.0 * (zone - 1) + 5.0);
}

Season::Season(SeasonInputs inputs, const Catalogue& catalogue)
    : Season(std::move(inputs), bases_of(catalogue)) {}

Season::Season(SeasonInputs inputs, std::span<const double> bases_c) : m_inputs(std::move(inputs)) {
    check_dates(m_inputs);
    check_weather(m_inputs);
    m_midwinter = make_date(year_of(m_inputs.hard_frost), 1, 31);
    if (m_midwinter <= m_inputs.hard_frost) {
        m_midwinter = make_date(year_of(m_inputs.hard_frost) + 1, 1, 31);
    }
    keep_sums(0.0);
    for (const double base : bases_c) keep_sums(base);
    const std::size_t days = m_inputs.tmin_c.size();
    m_warmth.assign(days + 1, 0.0);
    for (std::size_t i = 0; i < days; ++i) {
        const double mean = 0.5 * (m_inputs.tmin_c[i] + m_inputs.tmax_c[i]);
        m_warmth[i + 1] = m_warmth[i] + (mean > 0.0 ? temperature_factor(mean) : 0.0);
    }
    if (m_inputs.normals) {
        const std::size_t frost = std::min(day_index(m_inputs.hard_frost), days - 1);
        m_normals_shift_c = std::max(0.0, m_inputs.tmin_c[frost] - hard_frost_c);
        m_warnings.push_back(
            "Heat and cold are from long-term means; a real year is warmer or colder than that.");
    }
    if (m_inputs.sow > m_inputs.hard_frost) {
        m_warnings.push_back("The sowing date " + iso_date(m_inputs.sow) +
                             " lies after the first hard frost (" + iso_date(m_inputs.hard_frost) +
                             "): only hardy winter cereals are worth a try.");
    }
    if (m_inputs.winter_minimum_c.empty()) {
        m_warnings.push_back(
            "No winter minimum is known for this place; winterkill follows the catalogue, which is "
            "written for hardiness zones 4 to 6.");
    }
}

void Season::keep_sums(double base_c) {
    for (const Sums& sums : m_sums) {
        if (sums.base_c == base_c) return;
    }
    const std::size_t days = m_inputs.tmin_c.size();
    Sums sums{base_c, std::vector<double>(days + 1, 0.0)};
    for (std::size_t i = 0; i < days; ++i) {
        sums.cumulative[i + 1] =
            sums.cumulative[i] +
            day_heat(m_inputs.tmax_c[i], m_inputs.tmin_c[i], base_c, m_inputs.method);
    }
    m_sums.push_back(std::move(sums));
}

std::size_t Season::day_index(Date day) const {
    const int days = static_cast<int>(m_inputs.tmin_c.size());
    return static_cast<std::size_t>(std::clamp(days_between(m_inputs.first_day, day), 0, days));
}

double Season::heat(double base_c, Date from, Date to) const {
    const std::size_t a = day_index(from);
    const std::size_t b = day_index(to);
    if (a >= b) return 0.0;
    for (const Sums& sums : m_sums) {
        if (sums.base_c == base_c) return sums.cumulative[b] - sums.cumulative[a];
    }
    double sum = 0.0;
    for (std::size_t i = a; i < b; ++i) {
        sum += day_heat(m_inputs.tmax_c[i], m_inputs.tmin_c[i], base_c, m_inputs.method);
    }
    return sum;
}

double Season::mean_c(Date day) const {
    const std::size_t i = std::min(day_index(day), m_inputs.tmin_c.size() - 1);
    return 0.5 * (m_inputs.tmin_c[i] + m_inputs.tmax_c[i]);
}

std::optional<Date> Season::first_kill(double kill_c) const {
    const std::size_t end = day_index(m_inputs.next_planting);
    for (std::size_t i = day_index(m_inputs.hard_frost); i < end; ++i) {
        if (m_inputs.tmin_c[i] - m_normals_shift_c <= kill_c) {
            return m_inputs.first_day + std::chrono::days(static_cast<int>(i));
        }
    }
    return std::nullopt;
}

std::optional<double> Season::kill_chance(double threshold_c, const Constants& constants) const {
    const auto& minima = m_inputs.winter_minimum_c;
    if (minima.empty()) return std::nullopt;
    const double spread = minima.size() == 1
                              ? std::hypot(constants.kill_spread_c, constants.winter_spread_c)
                              : constants.kill_spread_c;
    double sum = 0.0;
    for (const double minimum : minima) sum += normal_share_below((threshold_c - minimum) / spread);
    return sum / static_cast<double>(minima.size());
}

double Season::warm_days(Date from, Date to, double reference_c) const {
    if (to <= from) return 0.0;
    const std::size_t a = day_index(from);
    const std::size_t b = day_index(to);
    const double inside = (m_warmth[b] - m_warmth[a]) / temperature_factor(reference_c);
    const double outside = days_between(from, to) - static_cast<double>(b - a);
    return inside + outside;
}

}  // namespace catchfield::cover
