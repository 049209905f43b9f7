// SPDX-License-Identifier: MIT
// The visit after sowing: what grew takes the place of what was forecast.
#pragma once

#include "cover/scouting.hpp"
#include "plan/inputs.hpp"
#include "plan/result.hpp"

#include <functional>
#include <optional>
#include <string>
#include <vector>

namespace catchfield::plan {

/// Reads cover.scouting: columns date and any of height_cm, stand_pct, biomass_kg_ha, n_pct,
/// frost_damage_pct; the place as lon,lat, or as zone (with a column field where the job has
/// several fields); species, empty for "as planned". Throws Error(data) with line and column.
std::vector<ScoutRecord> read_scouting(const Job& job, const cover::Catalogue& catalogue,
                                       std::size_t fields);

/// Replaces the forecast of the zone's cover by what was found there: the cover is the one named in
/// the record, its figures the measured ones, its credit by measured height and stand. zone_at:
/// zone number of a point of the work grid. Zones without a record stay as they are.
void apply_scouting(const Inputs& inputs, FieldResult& result, ZoneResult& zone,
                    const std::function<int(const Point&)>& zone_at);

}  // namespace catchfield::plan
