// SPDX-License-Identifier: MIT
// Products, rounding and rate maps.
#include "base/error.hpp"
#include "base/random.hpp"
#include "base/units.hpp"
#include "prescription/products.hpp"
#include "prescription/rate_rule.hpp"
#include "prescription/surface.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <limits>

namespace catchfield::prescription {
namespace {

using units::kg_ha_per_lb_ac;

// N28, N29: trade analyses and densities.
TEST(Products, N28N29) {
    const double n = 100.0 * kg_ha_per_lb_ac;
    EXPECT_NEAR(product_rate(n, product("urea"), RateUnit::lb_ac), 217.39, 0.01);
    EXPECT_NEAR(product_rate(n, product("ammonium-sulfate"), RateUnit::lb_ac), 476.19, 0.01);
    EXPECT_NEAR(product_rate(n, product("anhydrous-ammonia"), RateUnit::lb_ac), 121.95, 0.01);
    EXPECT_NEAR(product_rate(n, product("uan-28"), RateUnit::gal_ac), 33.50, 0.01);
    EXPECT_NEAR(product_rate(n, product("UAN-32"), RateUnit::gal_ac), 28.25, 0.01);
    EXPECT_NEAR(product_rate(1.5 * n, product("uan-28"), RateUnit::gal_ac), 50.25, 0.01);
    EXPECT_NEAR(*product("uan-28").density_kg_l, 1.277, 0.0005);
    EXPECT_NEAR(*product("uan-32").density_kg_l, 1.325, 0.0005);
}

// N30: Purdue text by way of Farm Progress, 30 gal/ac of 28 % at 10.6 lb/gal is about 90 lb N.
TEST(Products, N30) {
    const Product uan = own_product("28 % at 10.6 lb/gal", ProductForm::liquid, 0.28,
                                    10.6 * units::kg_l_per_lb_gal);
    EXPECT_NEAR(n_kg_ha_from(30.0, uan, RateUnit::gal_ac) / kg_ha_per_lb_ac, 89.0, 0.1);
}

TEST(Products, UnitsRoundTrip) {
    for (const Product& one : products()) {
        EXPECT_FALSE(one.source.empty());
        for (const RateUnit unit : {RateUnit::kg_ha, RateUnit::lb_ac, RateUnit::l_ha,
                                    RateUnit::gal_ac, RateUnit::n_kg_ha, RateUnit::n_lb_ac}) {
            const bool volume = unit == RateUnit::l_ha || unit == RateUnit::gal_ac;
            if (volume && !one.density_kg_l) {
                EXPECT_THROW(product_rate(100.0, one, unit), Error) << one.id;
                continue;
            }
            EXPECT_NEAR(n_kg_ha_from(product_rate(123.4, one, unit), one, unit), 123.4, 1e-9);
            EXPECT_EQ(parse_rate_unit(unit_name(unit)), unit);
        }
        EXPECT_THROW(product_rate(100.0, one, RateUnit::seeds_m2), Error);
    }
    EXPECT_EQ(default_unit(product("uan-32"), UnitSystem::us), RateUnit::gal_ac);
    EXPECT_EQ(default_unit(product("uan-32"), UnitSystem::metric), RateUnit::l_ha);
    EXPECT_EQ(default_unit(product("anhydrous-ammonia"), UnitSystem::us), RateUnit::lb_ac);
    EXPECT_EQ(default_unit(product("urea"), UnitSystem::metric), RateUnit::kg_ha);
    EXPECT_THROW(parse_rate_unit("stone/rood"), Error);
    EXPECT_THROW(product("ureea"), Error);
}

void expect_bad_product(const std::string& row, const std::string& place) {
    try {
        parse_products("product,title,form,n_pct,density_kg_l,source,confidence\n" + row, "p.csv");
        ADD_FAILURE() << row;
    } catch (const Error& error) {
        EXPECT_NE(std::string(error.what()).find("line"), std::string::npos) << error.what();
        EXPECT_NE(std::string(error.what()).find(place), std::string::npos) << error.what();
    }
}

TEST(Products, BadRowsAreNamed) {
    expect_bad_product("x,X,dry,0,,me,verified\n", "n_pct");
    expect_bad_product("x,X,dry,146,,me,verified\n", "n_pct");
    expect_bad_product("x,X,liquid,28,,me,verified\n", "density_kg_l");
    expect_bad_product("x,X,liquid,28,10.66,me,verified\n", "density_kg_l");
    expect_bad_product("x,X,solid,28,,me,verified\n", "form");
    expect_bad_product("x,X,dry,28,,me,surely\n", "confidence");
    expect_bad_product("x,X,dry,28,,me,verified\nx,X,dry,28,,me,verified\n", "product");
    EXPECT_THROW(own_product("mine", ProductForm::liquid, 0.2, {}), Error);
    EXPECT_THROW(own_product("mine", ProductForm::dry, 0.0, {}), Error);
}

// Exact: 100 kg/ha of seed at 50 g per 1000 is 200 seeds/m2 = 809,371 seeds/ac.
TEST(Seed, MassAndCount) {
    const SeedLot lot{"rye", 50.0, 1.0};
    EXPECT_NEAR(seed_rate(100.0, lot, RateUnit::seeds_m2), 200.0, 1e-9);
    EXPECT_NEAR(seed_rate(100.0, lot, RateUnit::seeds_ac), 809371.28448, 1e-4);
    EXPECT_NEAR(seed_rate(100.0, lot, RateUnit::lb_ac), 89.2179, 1e-4);
    const SeedLot poor{"rye", 50.0, 0.8};
    EXPECT_NEAR(seed_rate(100.0, poor, RateUnit::kg_ha), 125.0, 1e-9);
    EXPECT_NEAR(pls_kg_ha_from(seed_rate(77.0, poor, RateUnit::seeds_ac), poor, RateUnit::seeds_ac),
                77.0, 1e-9);
    EXPECT_THROW(seed_rate(100.0, {"rye", {}, 1.0}, RateUnit::seeds_m2), Error);
    EXPECT_THROW(seed_rate(100.0, {"rye", 50.0, 0.0}, RateUnit::kg_ha), Error);
    EXPECT_THROW(seed_rate(100.0, lot, RateUnit::gal_ac), Error);
}

TEST(Totals, FollowTheUnit) {
    EXPECT_NEAR(total_amount(50.0, 10.0, RateUnit::gal_ac), 500.0 / units::ha_per_ac, 1e-9);
    EXPECT_DOUBLE_EQ(total_amount(50.0, 10.0, RateUnit::l_ha), 500.0);
    EXPECT_DOUBLE_EQ(total_amount(200.0, 10.0, RateUnit::seeds_m2), 2e7);
}

TEST(RateRule, WorkedCases) {
    const RateRule rule{.floor = 30, .cap = 200, .step = 5, .least_applicable = 20};
    EXPECT_DOUBLE_EQ(apply_rule(9.9, rule).value, 0.0);    // below half of 20
    EXPECT_DOUBLE_EQ(apply_rule(10.0, rule).value, 30.0);  // raised to the floor
    EXPECT_DOUBLE_EQ(apply_rule(122.4, rule).value, 120.0);
    EXPECT_DOUBLE_EQ(apply_rule(122.5, rule).value, 125.0);
    EXPECT_DOUBLE_EQ(apply_rule(900.0, rule).value, 200.0);
    EXPECT_DOUBLE_EQ(apply_rule(0.0, rule).value, 0.0);
    EXPECT_EQ(apply_rule(900.0, rule).note, "cut to the maximum");
    EXPECT_TRUE(apply_rule(120.0, rule).note.empty());
    // Bounds off the step: rates stay inside them.
    const RateRule odd{.floor = 32, .cap = 198, .step = 5, .least_applicable = 0};
    EXPECT_DOUBLE_EQ(apply_rule(1.0, odd).value, 35.0);
    EXPECT_DOUBLE_EQ(apply_rule(500.0, odd).value, 195.0);
    EXPECT_DOUBLE_EQ(apply_rule(0.3, {.step = 0.1}).value, 0.1 * 3);
}

TEST(RateRule, ImpossibleRulesAreRefused) {
    EXPECT_THROW(check_rule({.floor = -1.0}), Error);
    EXPECT_THROW(check_rule({.floor = 100.0, .cap = 50.0}), Error);
    EXPECT_THROW(check_rule({.step = std::nan("")}), Error);
    EXPECT_THROW(check_rule({.cap = 50.0, .least_applicable = 60.0}), Error);
    EXPECT_THROW(check_rule({.floor = 41.0, .cap = 44.0, .step = 10.0}), Error);
    EXPECT_NO_THROW(check_rule({}));
}

TEST(RateRule, WithinBoundsOnTheStepAndRising) {
    for (std::uint64_t seed = 1; seed <= 500; ++seed) {
        SCOPED_TRACE(seed);
        Random random(seed);
        RateRule rule;
        rule.floor = random.below(2) == 0 ? 0.0 : random.uniform(0, 60);
        rule.step = random.below(4) == 0 ? 0.0 : random.uniform(0.1, 20);
        rule.least_applicable = random.below(2) == 0 ? 0.0 : random.uniform(0, 60);
        rule.cap = random.uniform(100, 250);
        check_rule(rule);
        double before = -1.0;
        for (double need = 0.0; need < 300.0; need += random.uniform(0.1, 5)) {
            const double rate = apply_rule(need, rule).value;
            EXPECT_GE(rate, before);
            before = rate;
            if (rate == 0.0) continue;
            EXPECT_GE(rate, std::max(rule.floor, rule.least_applicable) - 1e-6);
            EXPECT_LE(rate, rule.cap + 1e-6);
            if (rule.step > 0.0) {
                EXPECT_NEAR(rate / rule.step, std::round(rate / rule.step), 1e-6);
            }
        }
    }
}

TEST(DistinctRates, NearestAreMerged) {
    const RateRule rule{.step = 5};
    const auto merged = limit_distinct({100, 105, 160, 0}, {10, 10, 5, 3}, 3, rule);
    EXPECT_EQ(merged.rates[0], merged.rates[1]);
    EXPECT_DOUBLE_EQ(merged.rates[2], 160.0);
    EXPECT_DOUBLE_EQ(merged.rates[3], 0.0);
    EXPECT_EQ(merged.warnings.size(), 1U);
    EXPECT_TRUE(limit_distinct({100, 100}, {1, 1}, 2, rule).warnings.empty());
    EXPECT_THROW(limit_distinct({100}, {1}, 0, rule), Error);
}

TEST(DistinctRates, LimitHolds) {
    for (std::uint64_t seed = 1; seed <= 300; ++seed) {
        SCOPED_TRACE(seed);
        Random random(seed);
        const RateRule rule{.floor = 30, .cap = 200, .step = 5, .least_applicable = 10};
        std::vector<double> rates, areas;
        for (int i = 0; i < 12; ++i) {
            rates.push_back(apply_rule(random.uniform(0, 220), rule).value);
            areas.push_back(random.uniform(0.1, 20));
        }
        const int limit = 1 + static_cast<int>(random.below(5));
        auto merged = limit_distinct(rates, areas, limit, rule).rates;
        for (std::size_t i = 0; i < rates.size(); ++i) {
            if (limit > 2 && rates[i] == 0.0) {
                EXPECT_EQ(merged[i], 0.0);
            }
        }
        std::sort(merged.begin(), merged.end());
        EXPECT_LE(std::unique(merged.begin(), merged.end()) - merged.begin(), limit);
        EXPECT_LE(merged.back(), 200.0);
    }
}

TEST(Neighbours, CloserThanTheStepAreNamed) {
    const std::vector<double> rates{100, 102, 120};
    const auto warnings = close_neighbours(rates, {{0, 1}, {1, 2}, {0, 0}}, 5.0, {"a", "b", "c"});
    ASSERT_EQ(warnings.size(), 1U);
    EXPECT_NE(warnings[0].find("a and b"), std::string::npos);
}

TEST(Split, PassesAddToTheRate) {
    for (std::uint64_t seed = 1; seed <= 300; ++seed) {
        SCOPED_TRACE(seed);
        Random random(seed);
        const RateRule rule{.step = 5, .least_applicable = random.uniform(0, 40)};
        const double rate = apply_rule(random.uniform(0, 250), rule).value;
        const double first = random.uniform(0, 0.6), second = random.uniform(0, 0.4);
        const auto passes = split_rate(
            rate, {{"planting", first}, {"side-dress", second}, {"late", 1.0 - first - second}},
            rule);
        double sum = 0.0;
        for (const double pass : passes) {
            sum += pass;
            EXPECT_TRUE(pass == 0.0 || pass >= rule.least_applicable - 1e-6) << pass;
            EXPECT_GE(pass, 0.0);
        }
        EXPECT_NEAR(sum, rate, 1e-9);
    }
    EXPECT_THROW(split_rate(100, {}, {}), Error);
    EXPECT_THROW(split_rate(100, {{"a", 0.5}, {"b", 0.4}}, {}), Error);
    EXPECT_THROW(split_rate(100, {{"a", 1.5}, {"b", -0.5}}, {}), Error);
}

Raster<std::int16_t> labels(int rows, int cols, std::vector<std::int16_t> values) {
    return {GridFrame{0.0, 100.0, 10.0, cols, rows}, std::move(values)};
}

TEST(Surface, TotalIsTheSumOfTheZones) {
    for (std::uint64_t seed = 1; seed <= 100; ++seed) {
        SCOPED_TRACE(seed);
        Random random(seed);
        auto zones = labels(20, 30, std::vector<std::int16_t>(600));
        std::vector<double> areas(5, 0.0), rates;
        for (auto& label : zones.values) {
            label = static_cast<std::int16_t>(random.below(6));
            if (label > 0) areas[static_cast<std::size_t>(label) - 1] += zones.frame.cell_area_ha();
        }
        for (int i = 0; i < 5; ++i) rates.push_back(5.0 * std::round(random.uniform(0, 40)));
        const RateSurface surface = rate_surface(zones, rates);
        for (const RateUnit unit : {RateUnit::kg_ha, RateUnit::gal_ac, RateUnit::lb_ac}) {
            double sum = 0.0, inside = 0.0;
            for (std::size_t i = 0; i < 5; ++i) {
                sum += total_amount(rates[i], areas[i], unit);
                inside += areas[i];
            }
            const SurfaceTotals totals = surface_totals(surface, unit);
            EXPECT_NEAR(totals.total, sum, 1e-6 * std::max(1.0, sum));
            EXPECT_NEAR(totals.area_ha, inside, 1e-9);
        }
    }
}

TEST(Surface, UniformFieldHasOneRate) {
    const auto zones = labels(4, 4, std::vector<std::int16_t>(16, 1));
    const std::vector<double> rates{120.0};
    RateSurface surface = rate_surface(zones, rates);
    EXPECT_EQ(smooth_islands(surface), 0);
    const SurfaceTotals totals = surface_totals(surface, RateUnit::kg_ha);
    EXPECT_EQ(totals.distinct_rates, 1);
    EXPECT_DOUBLE_EQ(totals.lowest, totals.highest);
    const TransitionCheck check = check_transitions(surface, {});
    EXPECT_DOUBLE_EQ(check.short_area_ha, 0.0);
    EXPECT_TRUE(check.warnings.empty());
    EXPECT_THROW(rate_surface(labels(1, 1, {2}), rates), Error);
    EXPECT_THROW(rate_surface(labels(1, 1, {-1}), rates), Error);
}

TEST(Surface, LoneCellsTakeTheCommonestRateAround) {
    const std::vector<double> rates{100.0, 150.0, 0.0};
    RateSurface surface = rate_surface(labels(4, 4,
                                              {1, 1, 1, 1,  //
                                               1, 2, 1, 1,  //
                                               1, 1, 1, 2,  //
                                               3, 1, 1, 2}),
                                       rates);
    EXPECT_EQ(smooth_islands(surface), 1);
    EXPECT_FLOAT_EQ(surface.rates.at(1, 1), 100.0F);
    EXPECT_FLOAT_EQ(surface.rates.at(2, 3), 150.0F);  // two cells are no island
    EXPECT_FLOAT_EQ(surface.rates.at(3, 0), 0.0F);    // nothing applied stays nothing applied
    RateSurface kept = rate_surface(labels(1, 3, {1, 2, 1}), rates);
    const Mask keep(kept.rates.frame, 1);
    EXPECT_EQ(smooth_islands(kept, keep), 0);
}

TEST(Surface, NoApplyCutsToZero) {
    const std::vector<double> rates{100.0};
    RateSurface surface = rate_surface(labels(2, 2, {1, 1, 1, 0}), rates);
    Mask no_apply(surface.rates.frame, 0);
    no_apply.at(0, 0) = 1;
    no_apply.at(1, 1) = 1;  // outside the field
    EXPECT_DOUBLE_EQ(cut_no_apply(surface, no_apply), 0.01);
    EXPECT_FLOAT_EQ(surface.rates.at(0, 0), 0.0F);
    EXPECT_EQ(surface.inside.at(0, 0), 1);
    const SurfaceTotals totals = surface_totals(surface, RateUnit::kg_ha);
    EXPECT_DOUBLE_EQ(totals.applied_area_ha, 0.02);
    EXPECT_DOUBLE_EQ(totals.total, 2.0);
    no_apply = Mask(surface.rates.frame, 1);
    EXPECT_THROW(cut_no_apply(surface, no_apply), Error);  // setbacks swallow the field
    EXPECT_THROW(cut_no_apply(surface, Mask(GridFrame{}, 0)), Error);
}

TEST(Machine, DistanceAndStretches) {
    // 10.8 km/h is 3 m/s; 2 s of lag is 6 m.
    EXPECT_DOUBLE_EQ(transition_distance_m({10.8, 2.0, 12.0}), 6.0);
    EXPECT_THROW(transition_distance_m({0.0, 2.0, 12.0}), Error);
    EXPECT_THROW(transition_distance_m({10.0, -1.0, 12.0}), Error);
    const std::vector<double> rates{100.0, 150.0};
    // Stripes one cell (10 m) wide across the rows: along the columns nothing changes.
    RateSurface stripes = rate_surface(labels(4, 6, {1, 2, 1, 2, 1, 2, 1, 2, 1, 2, 1, 2,  //
                                                     1, 2, 1, 2, 1, 2, 1, 2, 1, 2, 1, 2}),
                                       rates);
    EXPECT_DOUBLE_EQ(check_transitions(stripes, {10.8, 2.0, 12.0}).short_area_ha, 0.0);
    // A chessboard cannot be followed either way.
    RateSurface board = rate_surface(labels(4, 6, {1, 2, 1, 2, 1, 2, 2, 1, 2, 1, 2, 1,  //
                                                   1, 2, 1, 2, 1, 2, 2, 1, 2, 1, 2, 1}),
                                     rates);
    const TransitionCheck check = check_transitions(board, {10.8, 2.0, 12.0});
    EXPECT_DOUBLE_EQ(check.short_area_ha, 0.24);
    EXPECT_DOUBLE_EQ(check.largest_change, 50.0);
    EXPECT_EQ(check.warnings.size(), 1U);
}

}  // namespace
}  // namespace catchfield::prescription
