// SPDX-License-Identifier: MIT
// The steps that turn a zone's ground into decisions, one function a room.
#pragma once

#include "plan/field_zones.hpp"
#include "plan/ground.hpp"
#include "plan/inputs.hpp"
#include "plan/result.hpp"

namespace catchfield::plan {

/// Area-weighted ground of a zone: slope, LS, K, T, organic matter, what the soil map covers.
/// Sets loss_bare_mg_ha from the mean of K x LS over the cells that have both.
void describe_ground(const Inputs& inputs, const Ground& ground,
                     const std::vector<geometry::CellRun>& cells, ZoneResult& zone);

/// P of the job's support practice, and present soil loss over tolerance.
void set_present_loss(const Inputs& inputs, ZoneResult& zone);

/// Nitrate and organic matter of the soil tests that stand for the zone.
struct ZoneTests {
    std::optional<nitrogen::ZoneValue> nitrate_kg_ha, nitrate_ppm, depth_cm, om_pct;
    std::optional<nitrogen::ZoneValue> nitrate_0_30_kg_ha;
};
ZoneTests tests_of_zone(const std::vector<TestSample>& tests, const std::vector<Point>& places,
                        const std::vector<int>& zones, int zone, Point centre);

/// Penetrometer stops or the soil map: where roots are stopped, and whether a taproot is advised.
void judge_compaction(const Inputs& inputs, const Ground& ground,
                      const std::vector<geometry::CellRun>& cells, ZoneResult& zone);

/// What the zone gives a cover crop, and how much it needs one.
void set_cover_needs(const Inputs& inputs, const ZoneTests& tests, ZoneResult& zone);

/// Every candidate forecast, costed and scored. `choices` gets the scores for the field's choice.
cover::Choice score_covers(const Inputs& inputs, ZoneResult& zone);

/// Credit of an option, by the model's height and a full stand, or by what was measured.
void set_credit(const Inputs& inputs, const ZoneResult& zone, CoverOption& option,
                std::optional<double> height_cm = {}, std::optional<double> stand_pct = {});

/// Soil loss with the chosen cover, reduction, interval, wind.
void finish_erosion(const Inputs& inputs, ZoneResult& zone);

/// The next crop's nitrogen, as a sum of lines, rounded to the machine.
void budget_nitrogen(const Inputs& inputs, const ZoneTests& tests,
                     std::optional<double> yield_goal_kg_ha, ZoneResult& zone);

/// How sure the zone's figures are, and what to be careful about.
void judge_confidence(const Inputs& inputs, ZoneResult& zone);

}  // namespace catchfield::plan
