// SPDX-License-Identifier: MIT
// Which zones and fields need cover most: by loss over tolerance, by tons saved, by tons saved for
// the money.
#pragma once

#include <optional>
#include <string>
#include <vector>

namespace catchfield::erosion {

struct RankInput {
    std::string field;
    int zone = 0;
    double area_ha = 0.0;               ///< > 0
    double loss_now_mg_ha = 0.0;        ///< present management
    double loss_cover_mg_ha = 0.0;      ///< with the chosen cover
    double t_mg_ha = 0.0;               ///< > 0
    std::optional<double> cost_per_ha;  ///< of the cover, any currency; > 0 to be ranked by cost
};

enum class RankBy { loss_over_t, saved, saved_per_cost };
/// "loss-over-t", "saved", "saved-per-cost". Throws Error(usage) naming these.
RankBy parse_rank_by(const std::string& text);
std::string rank_by_name(RankBy by);

struct RankedRow {
    int rank = 0;  ///< from 1; equal values share a rank
    std::string field;
    int zone = 0;  ///< 0 in a row for a whole field
    double area_ha = 0.0;
    double loss_now_mg_ha = 0.0;  ///< area mean in a field's row
    double loss_cover_mg_ha = 0.0;
    double t_mg_ha = 0.0;        ///< area mean in a field's row
    double loss_over_t = 0.0;    ///< field: sum(A area)/sum(T area)
    double saved_mg = 0.0;       ///< per year, over the area; negative where cover adds loss
    std::optional<double> cost;  ///< of the area; none in a field with an unpriced zone
    std::optional<double> saved_per_cost;  ///< Mg for one unit of money
    double over_t_share = 0.0;             ///< of the area
};

struct Ranking {
    RankBy by = RankBy::loss_over_t;
    std::vector<RankedRow> zones;   ///< best first
    std::vector<RankedRow> fields;  ///< best first
    double area_ha = 0.0;
    double over_t_ha = 0.0;  ///< area with A > T under present management
    double over_t_share = 0.0;
    double over_t_cover_ha = 0.0;  ///< the same with cover
    double saved_mg = 0.0;         ///< per year over everything
};

/// Orders by the key, greatest first; ties by field then zone; rows without the key (no price) come
/// last and share the last rank. Throws Error(data) for area <= 0, T <= 0, a negative or not finite
/// loss, a doubled field and zone.
Ranking rank_zones(const std::vector<RankInput>& rows, RankBy by);

}  // namespace catchfield::erosion
