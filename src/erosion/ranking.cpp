// SPDX-License-Identifier: MIT
// Sums over zones and fields, and their order.
#include "erosion/ranking.hpp"

#include "base/error.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <map>
#include <set>
#include <utility>

namespace catchfield::erosion {

namespace {

void check(const RankInput& row) {
    const auto fail = [&](const std::string& reason) {
        throw Error(ErrorKind::data, reason,
                    {.feature = row.field + ", zone " + std::to_string(row.zone)});
    };
    if (!(row.area_ha > 0.0) || !std::isfinite(row.area_ha)) fail("the area is not above 0");
    if (!(row.t_mg_ha > 0.0) || !std::isfinite(row.t_mg_ha))
        fail("the soil loss tolerance T is not above 0");
    for (const double loss : {row.loss_now_mg_ha, row.loss_cover_mg_ha})
        if (!(loss >= 0.0) || !std::isfinite(loss)) fail("a soil loss is negative or missing");
    if (row.cost_per_ha && !(*row.cost_per_ha >= 0.0)) fail("the cost of the cover is negative");
}

/// Nothing where the row cannot be ranked by this key.
double key_of(const RankedRow& row, RankBy by) {
    constexpr double none = -std::numeric_limits<double>::infinity();
    switch (by) {
        case RankBy::loss_over_t:
            return row.loss_over_t;
        case RankBy::saved:
            return row.saved_mg;
        case RankBy::saved_per_cost:
            return row.saved_per_cost.value_or(none);
    }
    return none;
}

void price(RankedRow& row) {
    if (row.cost && *row.cost > 0.0) row.saved_per_cost = row.saved_mg / *row.cost;
}

void put_in_order(std::vector<RankedRow>& rows, RankBy by) {
    std::sort(rows.begin(), rows.end(), [&](const RankedRow& a, const RankedRow& b) {
        const double ka = key_of(a, by);
        const double kb = key_of(b, by);
        if (ka != kb) return ka > kb;
        if (a.field != b.field) return a.field < b.field;
        return a.zone < b.zone;
    });
    for (std::size_t i = 0; i < rows.size(); ++i) {
        const bool tie = i > 0 && key_of(rows[i], by) == key_of(rows[i - 1], by);
        rows[i].rank = tie ? rows[i - 1].rank : static_cast<int>(i) + 1;
    }
}

}  // namespace

RankBy parse_rank_by(const std::string& text) {
    for (const RankBy by : {RankBy::loss_over_t, RankBy::saved, RankBy::saved_per_cost})
        if (text == rank_by_name(by)) return by;
    throw Error(ErrorKind::usage, "cannot rank by '" + text + "'",
                {.hint = "Use loss-over-t, saved or saved-per-cost."});
}

std::string rank_by_name(RankBy by) {
    switch (by) {
        case RankBy::loss_over_t:
            return "loss-over-t";
        case RankBy::saved:
            return "saved";
        case RankBy::saved_per_cost:
            return "saved-per-cost";
    }
    return "";
}

Ranking rank_zones(const std::vector<RankInput>& rows, RankBy by) {
    struct Sums {
        double area = 0, now = 0, cover = 0, t = 0, over = 0, cost = 0;
        bool priced = true;
    };
    Ranking result;
    result.by = by;
    std::map<std::string, Sums> fields;
    std::set<std::pair<std::string, int>> seen;
    for (const RankInput& row : rows) {
        check(row);
        if (!seen.insert({row.field, row.zone}).second)
            throw Error(ErrorKind::data, "zone " + std::to_string(row.zone) + " is there twice",
                        {.feature = row.field,
                         .hint = "The same field may be in two of the plan folders."});
        RankedRow zone;
        zone.field = row.field;
        zone.zone = row.zone;
        zone.area_ha = row.area_ha;
        zone.loss_now_mg_ha = row.loss_now_mg_ha;
        zone.loss_cover_mg_ha = row.loss_cover_mg_ha;
        zone.t_mg_ha = row.t_mg_ha;
        zone.loss_over_t = row.loss_now_mg_ha / row.t_mg_ha;
        zone.saved_mg = (row.loss_now_mg_ha - row.loss_cover_mg_ha) * row.area_ha;
        if (row.cost_per_ha) zone.cost = *row.cost_per_ha * row.area_ha;
        price(zone);
        const bool over = row.loss_now_mg_ha > row.t_mg_ha;
        zone.over_t_share = over ? 1.0 : 0.0;
        result.zones.push_back(zone);

        Sums& sums = fields[row.field];
        sums.area += row.area_ha;
        sums.now += row.loss_now_mg_ha * row.area_ha;
        sums.cover += row.loss_cover_mg_ha * row.area_ha;
        sums.t += row.t_mg_ha * row.area_ha;
        sums.over += over ? row.area_ha : 0.0;
        sums.cost += zone.cost.value_or(0.0);
        sums.priced = sums.priced && zone.cost.has_value();
        if (row.loss_cover_mg_ha > row.t_mg_ha) result.over_t_cover_ha += row.area_ha;
    }
    for (const auto& [name, sums] : fields) {
        RankedRow field;
        field.field = name;
        field.area_ha = sums.area;
        field.loss_now_mg_ha = sums.now / sums.area;
        field.loss_cover_mg_ha = sums.cover / sums.area;
        field.t_mg_ha = sums.t / sums.area;
        field.loss_over_t = sums.now / sums.t;
        field.saved_mg = sums.now - sums.cover;
        if (sums.priced) field.cost = sums.cost;
        price(field);
        field.over_t_share = sums.over / sums.area;
        result.fields.push_back(field);
        result.area_ha += sums.area;
        result.over_t_ha += sums.over;
        result.saved_mg += field.saved_mg;
    }
    result.over_t_share = result.area_ha > 0.0 ? result.over_t_ha / result.area_ha : 0.0;
    put_in_order(result.zones, by);
    put_in_order(result.fields, by);
    return result;
}

}  // namespace catchfield::erosion
