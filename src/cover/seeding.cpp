// SPDX-License-Identifier: MIT
#include "cover/seeding.hpp"

#include "base/error.hpp"
#include "base/text.hpp"

#include <algorithm>
#include <cmath>

namespace catchfield::cover {

namespace {

void check(const Cover& cover, const SeedOrder& order) {
    const std::size_t n = cover.components.size();
    const auto fail = [&](const std::string& reason, const std::string& hint = {}) {
        throw Error(ErrorKind::usage, reason, {.layer = "seeding of " + cover.id, .hint = hint});
    };
    if (!order.lots.empty() && order.lots.size() != n) {
        fail(std::to_string(order.lots.size()) + " seed lots for " + std::to_string(n) +
             " species");
    }
    if (!order.prices_per_kg.empty() && order.prices_per_kg.size() != n) {
        fail(std::to_string(order.prices_per_kg.size()) + " prices for " + std::to_string(n) +
             " species");
    }
    for (const SeedLot& lot : order.lots) {
        for (const double part : {lot.purity, lot.germination}) {
            if (!(part > 0.0 && part <= 1.0)) {
                fail("purity and germination must be above 0 and at most 1", "Write 85 % as 0.85.");
            }
        }
    }
    for (const auto& price : order.prices_per_kg) {
        if (price && !(std::isfinite(*price) && *price >= 0.0)) fail("a seed price is negative");
    }
    if (!(order.rate_position >= 0.0 && order.rate_position <= 1.0)) {
        fail("the place in the rate range must be 0 (least) to 1 (most)");
    }
    double shares = 0.0;
    for (const Component& part : cover.components) shares += part.share;
    if (std::abs(shares - 1.0) > 0.001) {
        fail("the shares add to " + significant(shares, 4) + ", not to 1");
    }
}

}  // namespace

double pure_rate_kg_ha(const Species& species, SowingMethod method, double position) {
    const bool drilled = method == SowingMethod::drilled;
    const double least = drilled ? species.drill_min_kg_ha : species.broadcast_min_kg_ha;
    const double most = drilled ? species.drill_max_kg_ha : species.broadcast_max_kg_ha;
    return least + position * (most - least);
}

SeedPrescription seed_prescription(const Cover& cover, const SeedOrder& order) {
    check(cover, order);
    SeedPrescription result;
    double cost = 0.0;
    bool all_priced = true;
    double shallowest = 1e9;
    double deepest = 0.0;
    for (std::size_t i = 0; i < cover.components.size(); ++i) {
        const Species& s = cover.components[i].species;
        const SeedLot lot = order.lots.empty() ? SeedLot{} : order.lots[i];
        SeedLine line;
        line.species_id = s.id;
        line.pure_live_kg_ha =
            cover.components[i].share * pure_rate_kg_ha(s, order.method, order.rate_position);
        line.bulk_kg_ha = line.pure_live_kg_ha / lot.pure_live();
        line.depth_min_cm = s.depth_min_cm;
        line.depth_max_cm = s.depth_max_cm;
        const std::optional<double> price = !order.prices_per_kg.empty() && order.prices_per_kg[i]
                                                ? order.prices_per_kg[i]
                                                : s.seed_price_per_kg;
        if (price) {
            line.cost_per_ha = *price * line.bulk_kg_ha;
            cost += *line.cost_per_ha;
        } else {
            all_priced = false;
        }
        if (lot.pure_live() < 0.7) {
            result.warnings.push_back("Only " + fixed(100.0 * lot.pure_live(), 0) + " % of the " +
                                      s.name +
                                      " seed is pure and live: a better lot may be cheaper.");
        }
        shallowest = std::min(shallowest, s.depth_max_cm);
        deepest = std::max(deepest, s.depth_min_cm);
        result.pure_live_kg_ha += line.pure_live_kg_ha;
        result.bulk_kg_ha += line.bulk_kg_ha;
        result.lines.push_back(std::move(line));
    }
    if (all_priced) result.cost_per_ha = cost;
    if (order.lots.empty()) {
        result.warnings.push_back(
            "Rates are pure live seed; divide by purity x germination of the seed tag.");
    }
    if (order.method == SowingMethod::drilled && deepest > shallowest) {
        result.warnings.push_back("The seeds want different depths (" + fixed(shallowest, 1) +
                                  " and " + fixed(deepest, 1) +
                                  " cm): sow them in two passes or boxes.");
    }
    return result;
}

std::vector<SeedTotal> seed_totals(const std::vector<ZoneSeeding>& zones) {
    std::vector<SeedTotal> totals;
    for (const ZoneSeeding& zone : zones) {
        if (!zone.prescription) continue;
        for (const SeedLine& line : zone.prescription->lines) {
            auto found = std::find_if(totals.begin(), totals.end(), [&](const SeedTotal& total) {
                return total.species_id == line.species_id;
            });
            if (found == totals.end()) {
                totals.push_back({line.species_id, 0.0, 0.0});
                found = totals.end() - 1;
            }
            found->bulk_kg += zone.area_ha * line.bulk_kg_ha;
            if (line.cost_per_ha && found->cost) {
                *found->cost += zone.area_ha * *line.cost_per_ha;
            } else {
                found->cost.reset();
            }
        }
    }
    return totals;
}

}  // namespace catchfield::cover
