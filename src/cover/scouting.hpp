// SPDX-License-Identifier: MIT
// The spring visit: what was found in the field takes the place of what was forecast.
#pragma once

#include "base/dates.hpp"
#include "base/table.hpp"
#include "cover/forecast.hpp"

#include <optional>
#include <string>
#include <vector>

namespace catchfield::cover {

/// One scouting record. Empty figures were not taken.
struct Scouting {
    std::string zone{};  ///< zone, or empty where the place is given
    std::optional<double> x{}, y{};
    Date date{};
    std::string cover_id{};  ///< species or mixture found; empty: as planned
    std::optional<double> height_cm{};
    std::optional<double> stand_pct{};
    std::optional<double> biomass_kg_ha{};     ///< dry matter of a sample
    std::optional<double> n_pct{};             ///< laboratory, of dry matter
    std::optional<double> frost_damage_pct{};  ///< share of the stand dead
    std::size_t line = 0;                      ///< in the table, for messages
};

/// Reads columns zone | x,y; date; species; height_cm, stand_pct, biomass_kg_ha, n_pct,
/// frost_damage_pct (others ignored). Throws Error(data) with line and column for values that
/// cannot be, rows without place or without any figure, and unknown species (nearest named).
std::vector<Scouting> parse_scouting(const Table& table, const Catalogue& catalogue);

/// Records of one zone and cover as one: means of what was measured.
Scouting mean_record(const std::vector<Scouting>& records);

/// Forecast with the measured figures in place of the model's, and what changed.
struct Revised {
    Forecast forecast;
    std::optional<double> height_cm{};  ///< measured, for the legume credit table
    std::optional<double> stand_pct{};
    std::vector<std::string> notes{};  ///< "Biomass 1900 kg/ha found, 3100 (1500-4400) forecast."
};

/// Biomass: the sample; without one, the forecast for the measured height (mass goes with height)
/// and stand, less frost damage. N: laboratory %N, else the stage's. Erosion half-months from the
/// visit on are scaled. Throws Error(usage) where the record's date is outside the season.
Revised revise(const Cover& cover, const Forecast& forecast, const Scouting& record,
               const Season& season, const SiteInputs& site, UnitSystem units,
               const Constants& constants = Constants::built_in());

}  // namespace catchfield::cover
