// SPDX-License-Identifier: MIT
// A zone's rate: what the sum holds, and which way it must move.
#include "nitrogen/budget.hpp"

#include "base/error.hpp"
#include "base/random.hpp"
#include "base/units.hpp"

#include <gtest/gtest.h>

#include <cmath>
#include <ctime>

namespace catchfield::nitrogen {
namespace {

using units::kg_ha_per_lb_ac;

double lb_ac(double kg_ha) {
    return kg_ha / kg_ha_per_lb_ac;
}

ZoneNeeds corn(const char* method_id, double bu_ac) {
    ZoneNeeds zone;
    zone.method = &method(method_id);
    zone.yield_goal_kg_ha = yield_kg_ha(bu_ac, crop("corn"));
    return zone;
}

OtherCredit credit_of(double kg_ha) {
    return {"Previous crop", kg_ha, kg_ha, kg_ha, "test", Confidence::verified, {}};
}

CoverCredit cover_of(double credit, double tie_up, double full = -1.0) {
    CoverCredit cover;
    cover.low_kg_ha = 0.5 * credit;
    cover.credit_kg_ha = credit;
    cover.high_kg_ha = std::max(1.5 * credit, full);
    cover.full_credit_kg_ha = full < 0.0 ? credit : full;
    cover.tie_up_low_kg_ha = 0.5 * tie_up;
    cover.tie_up_kg_ha = tie_up;
    cover.tie_up_high_kg_ha = std::min(1.5 * tie_up, 56.0);
    return cover;
}

double sum(const std::vector<BudgetLine>& lines) {
    double total = 0.0;
    for (const BudgetLine& line : lines) total += line.n_kg_ha;
    return total;
}

const BudgetLine* line_named(const Budget& budget, const std::string& label) {
    for (const BudgetLine& line : budget.lines) {
        if (line.label == label) return &line;
    }
    return nullptr;
}

// Worked by hand: 1.2 x 150 = 180 lb/ac, less 40 for soybean, less 36 of nitrate by the field rule
// (10 ppm over 12 in, N2) = 104 lb/ac.
TEST(Budget, BalanceAddsUp) {
    ZoneNeeds zone = corn("balance", 150.0);
    zone.previous_crop = credit_of(40.0 * kg_ha_per_lb_ac);
    zone.nitrate = stack_layers({{0.0, 12 * 2.54, 10.0, {}}});
    zone.organic_matter_pct = 3.0;  // inside the coefficient: no line but a zero
    const Budget budget = zone_budget(zone);
    EXPECT_NEAR(lb_ac(budget.need_kg_ha), 104.0, 1e-6);
    EXPECT_DOUBLE_EQ(budget.need_kg_ha, sum(budget.lines));
    EXPECT_DOUBLE_EQ(line_named(budget, "Organic matter")->n_kg_ha, 0.0);
    EXPECT_LT(budget.low_kg_ha, budget.rate_kg_ha);
    EXPECT_GT(budget.high_kg_ha, budget.rate_kg_ha);
    for (const BudgetLine& line : budget.lines) {
        EXPECT_LE(line.low_kg_ha, line.n_kg_ha) << line.label;
        EXPECT_LE(line.n_kg_ha, line.high_kg_ha) << line.label;
        EXPECT_FALSE(line.source.empty()) << line.label;
    }
}

// 1.6 x 150 - 20 x 3 = 180 lb/ac (balance with organic matter as a credit).
TEST(Budget, FullBalanceTakesOrganicMatter) {
    ZoneNeeds zone = corn("balance-full", 150.0);
    zone.organic_matter_pct = 3.0;
    EXPECT_NEAR(lb_ac(zone_budget(zone).need_kg_ha), 180.0, 1e-6);
}

// N18 and N21 by way of the budget (Nebraska).
TEST(Budget, CornBalance) {
    ZoneNeeds zone = corn("corn-balance", 200.0);
    zone.organic_matter_pct = 2.5;
    zone.nitrate = stack_layers({{0.0, 90.0, 5.0, {}}});
    EXPECT_NEAR(lb_ac(zone_budget(zone).rate_kg_ha), 165.0, 0.01);
    zone = corn("corn-balance", 180.0);
    zone.organic_matter_pct = 2.0;
    zone.previous_crop = credit_of(45.0 * kg_ha_per_lb_ac);
    Budget budget = zone_budget(zone);  // no deep sample: 3 ppm
    EXPECT_NEAR(lb_ac(budget.rate_kg_ha), 131.6, 0.01);
    EXPECT_EQ(budget.cautions.size(), 1U);
    zone.price_adjust = 0.9;
    budget = zone_budget(zone);
    EXPECT_NEAR(lb_ac(budget.rate_kg_ha), 0.9 * 131.6, 0.01);
    EXPECT_DOUBLE_EQ(budget.need_kg_ha, sum(budget.lines));
    zone.organic_matter_pct.reset();
    EXPECT_THROW(zone_budget(zone), Error);
}

// N22 by way of the budget; the test is taken after the cover decayed, so no credit on top.
TEST(Budget, LateSpringHoldsEverything) {
    ZoneNeeds zone = corn("late-spring", 180.0);
    zone.nitrate = stack_layers({{0.0, 30.48, 10.0, {}}});
    zone.critical_ppm = 21.0;
    zone.cover = cover_of(60.0, 0.0);
    zone.previous_crop = credit_of(45.0);
    Budget budget = zone_budget(zone);
    EXPECT_NEAR(lb_ac(budget.rate_kg_ha), 88.0, 1e-6);
    EXPECT_DOUBLE_EQ(line_named(budget, "Cover crop")->n_kg_ha, 0.0);
    zone.critical_ppm.reset();
    zone.manured_or_after_alfalfa = true;
    budget = zone_budget(zone);
    EXPECT_NEAR(lb_ac(budget.need_kg_ha), 120.0, 1e-6);
    EXPECT_NEAR(lb_ac(budget.rate_kg_ha), 90.0, 1e-6);
    EXPECT_NEAR(budget.need_kg_ha + sum(budget.settling), budget.rate_kg_ha, 1e-9);
}

TEST(Budget, CoverWithAndWithoutCredit) {
    ZoneNeeds zone = corn("fixed", 0.0);
    zone.yield_goal_kg_ha.reset();
    zone.base_kg_ha = 180.0;
    zone.base_source = "the job file";
    zone.cover = cover_of(20.0, 0.0, 70.0);
    const Budget budget = zone_budget(zone);
    EXPECT_DOUBLE_EQ(budget.rate_kg_ha, 160.0);
    EXPECT_DOUBLE_EQ(budget.rate_without_cover_credit_kg_ha, 180.0);
    EXPECT_DOUBLE_EQ(budget.rate_with_full_cover_credit_kg_ha, 110.0);
    zone.cover = cover_of(0.0, 40.0);
    EXPECT_DOUBLE_EQ(zone_budget(zone).rate_kg_ha, 220.0);
}

// The direction the trade expects: clover below radish (no credit) below rye (tie-up).
TEST(Budget, CloverRadishRye) {
    const auto rate = [](const char* species, const char* group, double release, bool killed) {
        CoverEvidence cover;
        cover.species = species;
        cover.group = group;
        cover.n_kg_ha = 90.0;
        cover.release_low_kg_ha = release - 10.0;
        cover.release_kg_ha = release;
        cover.release_high_kg_ha = release + 10.0;
        cover.shoot_kg_ha = 3500.0;
        cover.winterkilled = killed;
        ZoneNeeds zone = corn("balance", 160.0);
        zone.cover = cover_credit(CreditTable::built_in(), "wisconsin", cover);
        return zone_budget(zone).rate_kg_ha;
    };
    const double clover = rate("red-clover", "legume", 50.0, false);
    const double radish = rate("forage-radish", "brassica", 30.0, true);
    const double rye = rate("rye", "grass", -25.0, false);
    EXPECT_LT(clover, radish);
    EXPECT_LT(radish, rye);
    EXPECT_LE(radish - clover, 80.0 * kg_ha_per_lb_ac);
    EXPECT_LE(rye - radish, 56.0);
}

TEST(Budget, FloorsAtZeroAndSaysSo) {
    ZoneNeeds zone = corn("balance", 60.0);
    zone.previous_crop = credit_of(200.0);
    Budget budget = zone_budget(zone);
    EXPECT_LT(budget.need_kg_ha, 0.0);
    EXPECT_DOUBLE_EQ(budget.rate_kg_ha, 0.0);
    ASSERT_EQ(budget.settling.size(), 1U);
    settle(budget, 33.6, "Minimum rate");
    EXPECT_DOUBLE_EQ(budget.rate_kg_ha, 33.6);
    EXPECT_NEAR(budget.need_kg_ha + sum(budget.settling), 33.6, 1e-9);
    settle(budget, 33.6, "Machine step");
    EXPECT_EQ(budget.settling.size(), 2U);
}

ZoneNeeds any_zone(Random& random) {
    const char* names[] = {"balance", "balance-full", "corn-balance", "late-spring", "fixed"};
    ZoneNeeds zone = corn(names[random.below(5)], random.uniform(60, 260));
    zone.base_kg_ha = random.uniform(50, 250);
    zone.organic_matter_pct = random.uniform(0.5, 6);
    zone.nitrate = stack_layers({{0.0, 30.0, random.uniform(1, 30), {}}});
    zone.cover = cover_of(random.uniform(0, 80), random.uniform(0, 30));
    zone.previous_crop = credit_of(random.uniform(0, 60));
    zone.manured_or_after_alfalfa = random.below(4) == 0;
    return zone;
}

TEST(Budget, MovesTheRightWay) {
    for (std::uint64_t seed = 1; seed <= 400; ++seed) {
        SCOPED_TRACE(seed);
        Random random(seed);
        const ZoneNeeds zone = any_zone(random);
        const Budget base = zone_budget(zone);
        EXPECT_NEAR(base.need_kg_ha, sum(base.lines), 1e-9);
        EXPECT_NEAR(base.need_kg_ha + sum(base.settling), base.rate_kg_ha, 1e-9);
        EXPECT_GE(base.rate_kg_ha, 0.0);
        EXPECT_LE(base.low_kg_ha, base.high_kg_ha);
        EXPECT_GE(base.rate_without_cover_credit_kg_ha, base.rate_kg_ha - 1e-9);

        ZoneNeeds richer = zone;
        richer.cover->credit_kg_ha += 10.0;
        richer.cover->high_kg_ha += 10.0;
        EXPECT_LE(zone_budget(richer).rate_kg_ha, base.rate_kg_ha + 1e-9);
        richer = zone;
        richer.previous_crop = credit_of(zone.previous_crop->credit_kg_ha + 10.0);
        EXPECT_LE(zone_budget(richer).rate_kg_ha, base.rate_kg_ha + 1e-9);
        richer = zone;
        richer.nitrate = stack_layers({{0.0, 30.0, zone.nitrate->mean_ppm + 3.0, {}}});
        EXPECT_LE(zone_budget(richer).rate_kg_ha, base.rate_kg_ha + 1e-9);
        ZoneNeeds higher = zone;
        *higher.yield_goal_kg_ha += 1000.0;
        EXPECT_GE(zone_budget(higher).rate_kg_ha, base.rate_kg_ha - 1e-9);
        ZoneNeeds tied = zone;
        tied.cover->tie_up_kg_ha += 5.0;
        tied.cover->tie_up_high_kg_ha = 56.0;
        EXPECT_GE(zone_budget(tied).rate_kg_ha, base.rate_kg_ha - 1e-9);
        // Same zone, same seed, same figures.
        EXPECT_EQ(zone_budget(zone).low_kg_ha, base.low_kg_ha);
    }
}

// The drawn interval agrees with that of the summed variances.
TEST(Budget, IntervalAgreesWithVariances) {
    ZoneNeeds zone = corn("balance-full", 180.0);
    zone.organic_matter_pct = 2.0;
    zone.nitrate = stack_layers({{0.0, 60.0, 8.0, {}}});
    zone.cover = cover_of(40.0, 0.0);
    const Budget drawn = zone_budget(zone, {20000, 5});
    const Budget exact = zone_budget(zone, {0, 0});
    EXPECT_NEAR(drawn.low_kg_ha, exact.low_kg_ha, 5.0);
    EXPECT_NEAR(drawn.high_kg_ha, exact.high_kg_ha, 5.0);
    EXPECT_NEAR(zone_budget(zone).low_kg_ha, exact.low_kg_ha, 10.0);
}

TEST(Budget, BadInputIsRefused) {
    EXPECT_THROW(zone_budget({}), Error);
    ZoneNeeds zone = corn("balance", -5.0);
    EXPECT_THROW(zone_budget(zone), Error);
    zone = corn("balance", 150.0);
    zone.yield_goal_kg_ha.reset();
    EXPECT_THROW(zone_budget(zone), Error);
    zone = corn("balance", 150.0);
    zone.crop = "soybean";
    EXPECT_THROW(zone_budget(zone), Error);
    zone = corn("response", 150.0);
    EXPECT_THROW(zone_budget(zone), Error);
    zone.base_kg_ha = -10.0;
    EXPECT_THROW(zone_budget(zone), Error);
    zone = corn("late-spring", 150.0);
    EXPECT_THROW(zone_budget(zone), Error);
    zone = corn("balance-full", 150.0);
    zone.organic_matter_pct = 140.0;
    EXPECT_THROW(zone_budget(zone), Error);
}

// Zones of a district: far below a millisecond each, even in an unoptimised build.
TEST(Budget, IsCheap) {
    ZoneNeeds zone = corn("balance-full", 180.0);
    zone.organic_matter_pct = 2.0;
    zone.nitrate = stack_layers({{0.0, 60.0, 8.0, {}}});
    zone.cover = cover_of(40.0, 0.0);
    zone.previous_crop = credit_of(40.0);
    const std::clock_t begin = std::clock();  // time of this process: others may use the machine
    constexpr int zones = 1000;
    double total = 0.0;
    for (int i = 0; i < zones; ++i) total += zone_budget(zone).rate_kg_ha;
    const double spent_us =
        1e6 * static_cast<double>(std::clock() - begin) / CLOCKS_PER_SEC / zones;
    RecordProperty("microseconds_per_zone", std::to_string(spent_us));
    std::printf("%.1f us per zone\n", spent_us);
    EXPECT_GT(total, 0.0);
    EXPECT_LT(spent_us, 1000.0);
}

}  // namespace
}  // namespace catchfield::nitrogen
