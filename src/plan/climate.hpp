// SPDX-License-Identifier: MIT
// The weather of a run: what the user gave, or what stands in for it and how sure that is.
#pragma once

#include "base/dates.hpp"
#include "base/shapes.hpp"
#include "erosion/management.hpp"
#include "plan/job.hpp"
#include "weather/series.hpp"

#include <optional>
#include <string>
#include <vector>

namespace catchfield::plan {

/// The dates of a season, all known.
struct SeasonDates {
    Date harvest{}, sow{}, hard_frost{}, terminate{}, next_planting{};
    std::vector<std::string> notes;  ///< which dates were not given and where they come from
};

struct Climate {
    erosion::YearWeather year;  ///< R, its distribution, rain and temperature by half-month
    weather::MeanYear mean_year;
    weather::Daily season_days;       ///< harvest to a month after next planting, day by day
    bool season_from_normals = true;  ///< season_days are means, not one real year
    std::vector<double> winter_minimum_c;
    double annual_precip_mm = 0.0;
    double winter_precip_mm = 0.0;  ///< October to March
    double r_low_si = 0.0, r_high_si = 0.0;
    std::string temperature_source, erosivity_source, shares_source;
    Confidence confidence = Confidence::verified;
    std::vector<std::string> warnings;
};

/// Reads or estimates the weather of a job. centre: of all fields, longitude and latitude.
/// Throws Error for files that cannot be used, and where no weather is given and no built-in
/// reading is near.
Climate load_climate(const Job& job, Point centre, SeasonDates& dates);

}  // namespace catchfield::plan
