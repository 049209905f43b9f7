// SPDX-License-Identifier: MIT
// Seasons for the cover tests: temperatures of a year as a sine, like normals of the named places.
#pragma once

#include "base/random.hpp"
#include "cover/season.hpp"

#include <cmath>

namespace catchfield::cover {

/// Daily temperatures from 1 June of `year` over 420 days: annual mean and amplitude, degC, coldest
/// on 20 January, 11 degC between night and day.
inline void add_weather(SeasonInputs& in, int year, double mean_c, double amplitude_c) {
    in.first_day = make_date(year, 6, 1);
    for (int d = 0; d < 420; ++d) {
        const Date day = in.first_day + std::chrono::days(d);
        const double t =
            mean_c - amplitude_c * std::cos(6.283185307179586 * (day_of_year(day) - 20) / 365.0);
        in.tmin_c.push_back(t - 5.5);
        in.tmax_c.push_back(t + 5.5);
    }
}

/// Central Ohio: annual mean 11 degC, hard frost 20 October, coldest night -22 degC (zone 6).
inline SeasonInputs ohio(Date sow) {
    SeasonInputs in;
    in.sow = sow;
    in.hard_frost = make_date(2025, 10, 20);
    in.terminate = make_date(2026, 5, 1);
    in.next_planting = make_date(2026, 5, 10);
    in.winter_minimum_c = {-22.0};
    add_weather(in, 2025, 11.0, 13.0);
    return in;
}

/// Northern Wisconsin or Minnesota: hard frost 1 October, hardiness zone 4-5 (-28.9 degC).
inline SeasonInputs cold(Date sow) {
    SeasonInputs in = ohio(sow);
    in.tmin_c.clear();
    in.tmax_c.clear();
    add_weather(in, 2025, 6.5, 16.0);
    in.hard_frost = make_date(2025, 10, 1);
    in.terminate = make_date(2026, 5, 15);
    in.next_planting = make_date(2026, 5, 25);
    in.winter_minimum_c = {-28.9};
    return in;
}

/// Gulf coast: hardiness zone 9 (-3.9 degC).
inline SeasonInputs mild(Date sow) {
    SeasonInputs in = ohio(sow);
    in.tmin_c.clear();
    in.tmax_c.clear();
    add_weather(in, 2025, 19.0, 8.5);
    in.hard_frost = make_date(2025, 12, 1);
    in.terminate = make_date(2026, 3, 25);
    in.next_planting = make_date(2026, 4, 5);
    in.winter_minimum_c = {-3.9};
    return in;
}

/// Any season a field may meet.
inline SeasonInputs random_season(Random& random, Date sow) {
    SeasonInputs in;
    in.sow = sow;
    in.hard_frost = make_date(2025, 9, 20) + std::chrono::days(random.below(60));
    in.terminate = make_date(2026, 4, 1) + std::chrono::days(random.below(60));
    in.next_planting = in.terminate + std::chrono::days(random.below(25));
    const double mean = random.uniform(4.0, 19.0);
    add_weather(in, 2025, mean, random.uniform(7.0, 17.0));
    for (std::size_t i = 0; i < in.tmin_c.size(); ++i) {
        const double noise = 3.0 * random.normal();
        in.tmin_c[i] += noise;
        in.tmax_c[i] += noise;
    }
    in.normals = random.uniform() < 0.5;
    in.method = random.uniform() < 0.5 ? HeatMethod::average_first : HeatMethod::limit_first;
    const std::size_t winters = random.below(12);
    for (std::size_t i = 0; i < winters; ++i) {
        in.winter_minimum_c.push_back(random.uniform(-40.0, 2.0));
    }
    return in;
}

}  // namespace catchfield::cover
