// SPDX-License-Identifier: MIT
// Every limit of products, rules, passes and machines from both sides; rules and maps worked out a
// second time over random cases.
#include "base/error.hpp"
#include "base/random.hpp"
#include "base/units.hpp"
#include "prescription/products.hpp"
#include "prescription/rate_rule.hpp"
#include "prescription/surface.hpp"
#include "support/messages.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <map>
#include <set>

namespace catchfield::prescription {
namespace {

using tests::mentions;
using tests::message_of;

constexpr double infinity = std::numeric_limits<double>::infinity();

// --- products ------------------------------------------------------------------------------------

TEST(ProductLimits, UnitsByTheirDefinitions) {
    // NIST SP 811: lb 0.45359237 kg, acre 4046.8564224 m2, US gallon 3.785411784 L.
    const double lb = 0.45359237, acre_m2 = 4046.8564224, gallon = 3.785411784;
    const Product uan = own_product("own", ProductForm::liquid, 0.3, 1.3);
    const double n = 60;  // kg/ha, so 200 kg of product a hectare
    EXPECT_NEAR(product_rate(n, uan, RateUnit::kg_ha), 200, 1e-9);
    EXPECT_NEAR(product_rate(n, uan, RateUnit::lb_ac), 200 / lb * acre_m2 / 10000, 1e-9);
    EXPECT_NEAR(product_rate(n, uan, RateUnit::l_ha), 200 / 1.3, 1e-9);
    EXPECT_NEAR(product_rate(n, uan, RateUnit::gal_ac), 200 / 1.3 / gallon * acre_m2 / 10000, 1e-9);
    EXPECT_NEAR(product_rate(n, uan, RateUnit::n_kg_ha), 60, 1e-9);
    EXPECT_NEAR(product_rate(n, uan, RateUnit::n_lb_ac), 60 / lb * acre_m2 / 10000, 1e-9);
    SeedLot lot{"rye", 25.0, 0.8};
    EXPECT_NEAR(seed_rate(80, lot, RateUnit::kg_ha), 100, 1e-9);
    EXPECT_NEAR(seed_rate(80, lot, RateUnit::lb_ac), 100 / lb * acre_m2 / 10000, 1e-9);
    EXPECT_NEAR(seed_rate(80, lot, RateUnit::seeds_m2), 400, 1e-9);
    EXPECT_NEAR(seed_rate(80, lot, RateUnit::seeds_ac), 400 * acre_m2, 1e-6);
    for (const RateUnit unit :
         {RateUnit::kg_ha, RateUnit::lb_ac, RateUnit::seeds_m2, RateUnit::seeds_ac})
        EXPECT_NEAR(pls_kg_ha_from(seed_rate(80, lot, unit), lot, unit), 80, 1e-9);
    const double ha = 7.5;
    for (const RateUnit unit : {RateUnit::kg_ha, RateUnit::l_ha, RateUnit::n_kg_ha})
        EXPECT_NEAR(total_amount(3, ha, unit), 22.5, 1e-12);
    for (const RateUnit unit :
         {RateUnit::lb_ac, RateUnit::gal_ac, RateUnit::n_lb_ac, RateUnit::seeds_ac})
        EXPECT_NEAR(total_amount(3, ha, unit), 3 * 75000 / acre_m2, 1e-9);
    EXPECT_NEAR(total_amount(3, ha, RateUnit::seeds_m2), 225000, 1e-9);
}

TEST(ProductLimits, UnitsAndTheirWords) {
    const std::vector<std::tuple<RateUnit, const char*, const char*>> words = {
        {RateUnit::kg_ha, "kg/ha", "kg"},
        {RateUnit::lb_ac, "lb/ac", "lb"},
        {RateUnit::l_ha, "L/ha", "L"},
        {RateUnit::gal_ac, "gal/ac", "gal"},
        {RateUnit::n_kg_ha, "kg N/ha", "kg N"},
        {RateUnit::n_lb_ac, "lb N/ac", "lb N"},
        {RateUnit::seeds_m2, "seeds/m2", "seeds"},
        {RateUnit::seeds_ac, "seeds/ac", "seeds"}};
    for (const auto& [unit, name, total] : words) {
        EXPECT_EQ(unit_name(unit), name);
        EXPECT_EQ(total_unit_name(unit), total);
        EXPECT_EQ(parse_rate_unit(std::string(" ") + name), unit);
    }
    EXPECT_TRUE(
        mentions(message_of([] { parse_rate_unit("bushel"); }), "unknown rate unit 'bushel'"));
    EXPECT_TRUE(mentions(message_of([] { parse_rate_unit("bushel"); }), "kg/ha, lb/ac, L/ha"));
    EXPECT_TRUE(mentions(message_of([] { product("ureea"); }), "Did you mean 'urea'?"));
    EXPECT_TRUE(mentions(message_of([] { product("xxxxxxxxxxxxxxx"); }), "Known products: "));
    EXPECT_TRUE(mentions(message_of([] { product("xxxxxxxxxxxxxxx"); }), ", uan-32"));
    EXPECT_TRUE(mentions(message_of([] { product_rate(1, product("urea"), RateUnit::gal_ac); }),
                         "has no density, so it cannot be written in gal/ac"));
    EXPECT_TRUE(mentions(message_of([] { product_rate(1, product("urea"), RateUnit::seeds_ac); }),
                         "cannot be written in seeds/ac"));
    const SeedLot lot{"rye", {}, 1.0};
    EXPECT_TRUE(mentions(message_of([&] { seed_rate(1, lot, RateUnit::gal_ac); }),
                         "seed of rye cannot be written in gal/ac"));
    EXPECT_THROW(seed_rate(1, lot, RateUnit::seeds_m2), Error);
    EXPECT_THROW(seed_rate(1, {"rye", 0.0, 1.0}, RateUnit::seeds_ac), Error);
    EXPECT_NO_THROW(seed_rate(1, {"rye", 0.5, 1.0}, RateUnit::seeds_ac));
    for (const double share : {0.05, 1.0})
        EXPECT_NO_THROW(seed_rate(1, {"rye", {}, share}, RateUnit::kg_ha));
    for (const double share : {0.049, 1.01}) {
        EXPECT_THROW(seed_rate(1, {"rye", {}, share}, RateUnit::kg_ha), Error);
        EXPECT_THROW(pls_kg_ha_from(1, {"rye", {}, share}, RateUnit::kg_ha), Error);
    }
    EXPECT_EQ(default_unit(own_product("gas", ProductForm::gas, 0.8, {}), UnitSystem::us),
              RateUnit::lb_ac);
}

TEST(ProductLimits, FiguresFromBothSides) {
    const auto refusal = [](ProductForm form, double share, std::optional<double> density) {
        return message_of([&] { own_product("own", form, share, density); });
    };
    for (const double share : {0.01, 1.0}) EXPECT_EQ(refusal(ProductForm::dry, share, {}), "");
    EXPECT_TRUE(mentions(refusal(ProductForm::dry, 0.005, {}), "of 0.5 % is outside 1 to 100"));
    EXPECT_NE(refusal(ProductForm::dry, 1.01, {}), "");
    for (const double density : {0.4, 2.5})
        EXPECT_EQ(refusal(ProductForm::liquid, 0.3, density), "");
    for (const double density : {0.39, 2.51}) {
        EXPECT_TRUE(
            mentions(refusal(ProductForm::liquid, 0.3, density), "kg/L is outside 0.4 to 2.5"));
        EXPECT_NE(refusal(ProductForm::dry, 0.3, density), "");
    }
    EXPECT_TRUE(mentions(refusal(ProductForm::liquid, 0.3, {}), "needs its density"));
    EXPECT_EQ(refusal(ProductForm::gas, 0.8, {}), "");
}

TEST(ProductLimits, Tables) {
    const std::string head = "product,title,form,n_pct,density_lb_gal,note,source,confidence\n";
    const auto refusal = [&](const std::string& rows) {
        return message_of([&] { parse_products(head + rows, "p.csv"); });
    };
    const std::vector<Product> good =
        parse_products(head +
                           "a,A,dry,46,,loss,me,verified\nb,B,liquid,28,10.66,,me,memory: high\n"
                           "c,C,gas,82,5.15,,me,assumption\n",
                       "p.csv");
    ASSERT_EQ(good.size(), 3u);
    EXPECT_EQ(good[0].form, ProductForm::dry);
    EXPECT_EQ(good[0].note, "loss");
    EXPECT_NEAR(good[0].n_share, 0.46, 1e-12);
    EXPECT_FALSE(good[0].density_kg_l);
    EXPECT_EQ(good[1].form, ProductForm::liquid);
    EXPECT_NEAR(*good[1].density_kg_l, 10.66 * 0.45359237 / 3.785411784, 1e-9);
    EXPECT_EQ(good[2].form, ProductForm::gas);
    EXPECT_EQ(good[2].confidence, Confidence::assumption);
    const std::vector<Product> metric = parse_products(
        "product,title,form,n_pct,density_kg_l,source,confidence\nb,B,liquid,28,1.28,me,verified\n",
        "p.csv");
    EXPECT_NEAR(*metric[0].density_kg_l, 1.28, 1e-12);
    EXPECT_EQ(metric[0].note, "");
    EXPECT_TRUE(mentions(refusal("a,A,dry,46,,,me,verified\nA,A,dry,46,,,me,verified\n"),
                         "'a' occurs twice"));
    EXPECT_TRUE(mentions(refusal(",A,dry,46,,,me,verified\n"), "missing"));
    EXPECT_TRUE(mentions(refusal("a,A,wet,46,,,me,verified\n"), "unknown form 'wet'"));
    EXPECT_TRUE(mentions(refusal("a,A,dry,0.9,,,me,verified\n"), "'n_pct'"));
    EXPECT_TRUE(mentions(refusal("a,A,dry,101,,,me,verified\n"), "'n_pct'"));
    EXPECT_TRUE(mentions(refusal("a,A,dry,100,99,,me,verified\n"), "'density_lb_gal'"));
    EXPECT_TRUE(mentions(refusal("a,A,dry,1,99,,me,verified\n"), "'density_lb_gal'"));
    EXPECT_NE(refusal("a,A,dry,46,,,me,perhaps\n"), "");
    EXPECT_TRUE(mentions(message_of([] {
                             parse_products(
                                 "product,title,form,n_pct,source,confidence\n"
                                 "a,A,liquid,28,me,verified\n",
                                 "p.csv");
                         }),
                         "'n_pct'"));
    EXPECT_TRUE(mentions(message_of([] {
                             parse_products(
                                 "product,title,form,n_pct,density_kg_l,density_lb_gal,"
                                 "source,confidence\n",
                                 "p.csv");
                         }),
                         "not both"));
}

// --- rules ---------------------------------------------------------------------------------------

TEST(RuleLimits, EachFigureFromBothSides) {
    const auto refused = [](double floor, double cap, double step, double least) {
        return !message_of([&] { check_rule({floor, cap, step, least}); }).empty();
    };
    EXPECT_FALSE(refused(0, 0, 0, 0));
    EXPECT_FALSE(refused(0.5, infinity, 0.5, 0.5));
    EXPECT_TRUE(refused(-0.1, 10, 1, 0));
    EXPECT_TRUE(refused(infinity, infinity, 1, 0));
    EXPECT_TRUE(refused(0, -0.1, 1, 0));
    EXPECT_TRUE(refused(0, 10, -0.1, 0));
    EXPECT_TRUE(refused(0, 10, infinity, 0));
    EXPECT_TRUE(refused(0, 10, 1, -0.1));
    EXPECT_TRUE(refused(0, infinity, 1, infinity));
    EXPECT_TRUE(refused(0, std::nan(""), 0, 0));
    EXPECT_FALSE(refused(10, 10, 0, 0));
    EXPECT_TRUE(refused(10.1, 10, 0, 0));
    EXPECT_TRUE(refused(0, 10, 0, 10.1));
    EXPECT_FALSE(refused(10, 14, 7, 0));
    EXPECT_TRUE(refused(8, 13, 7, 0));
    EXPECT_TRUE(refused(0, 13, 7, 8));
    EXPECT_TRUE(refused(0.2, 0.9, 1, 0));
    EXPECT_FALSE(refused(0, 0, 7, 0));  // a cap of 0: nothing is applied
    EXPECT_TRUE(mentions(message_of([] {
                             check_rule({20, 10, 0, 0});
                         }),
                         "of 20 is above the highest of 10"));
    EXPECT_TRUE(mentions(message_of([] {
                             check_rule({8, 13, 7, 0});
                         }),
                         "no multiple of the step 7 lies between 8 and 13"));
    // 0.3 is three steps of 0.1, although 0.3 / 0.1 is a little less.
    EXPECT_FALSE(refused(0.3, 0.3, 0.1, 0));
}

/// The rule as the methods page has it.
double rule_by_words(double rate, const RateRule& rule) {
    if (rate < rule.least_applicable / 2) return 0;
    const double low = std::max(rule.floor, rule.least_applicable);
    const double held = std::min(std::max(rate, low), rule.cap);
    if (rule.step == 0) return held;
    double best = infinity;
    for (int k = 0; k * rule.step <= rule.cap + 1e-9; ++k) {
        const double step = k * rule.step;
        if (step < low - 1e-9) continue;
        const double distance = std::abs(step - held), other = std::abs(best - held);
        if (distance < other - 1e-9 || std::abs(distance - other) < 1e-9) best = step;
        if (step > held + rule.step) break;
    }
    return best;
}

TEST(RuleLimits, AgreesWithTheWordsOverRandomRules) {
    for (std::uint64_t seed = 1; seed <= 3000; ++seed) {
        Random random(seed);
        RateRule rule;
        rule.floor = random.below(2) == 0 ? 0.0 : std::floor(random.uniform(0, 60));
        rule.least_applicable = random.below(2) == 0 ? 0.0 : std::floor(random.uniform(0, 40));
        rule.cap =
            std::max(rule.floor, rule.least_applicable) + std::floor(random.uniform(10, 200));
        const double steps[] = {0, 1, 2.5, 5, 10};
        rule.step = steps[random.below(5)];
        if (!message_of([&] { check_rule(rule); }).empty()) continue;
        // Halves of a step on purpose, too.
        const double rate = random.below(2) == 0 ? random.uniform(0, 260)
                                                 : std::floor(random.uniform(0, 100)) * 1.25;
        const SettledRate found = apply_rule(rate, rule);
        const double expected = rule_by_words(rate, rule);
        EXPECT_NEAR(found.value, expected, 1e-9) << "seed " << seed << " rate " << rate;
        EXPECT_EQ(found.note.empty(), std::abs(found.value - rate) < 1e-9)
            << "seed " << seed << ": " << found.note;
    }
}

TEST(RuleLimits, NotesSayWhatChanged) {
    const RateRule rule{30, 200, 5, 20};
    EXPECT_EQ(apply_rule(9.9, rule).note, "below half the least applicable rate: nothing applied");
    EXPECT_EQ(apply_rule(0, rule).note, "");
    EXPECT_EQ(apply_rule(0.5, rule).note, "below half the least applicable rate: nothing applied");
    EXPECT_EQ(apply_rule(10, rule).note, "raised to the minimum");
    EXPECT_EQ(apply_rule(25, rule).note, "raised to the minimum");
    EXPECT_EQ(apply_rule(30, rule).note, "");
    EXPECT_EQ(apply_rule(31, rule).note, "rounded to the machine step");
    EXPECT_EQ(apply_rule(201, rule).note, "cut to the maximum");
    const RateRule machine{10, 200, 0, 40};
    EXPECT_EQ(apply_rule(20, machine).note, "raised to the least applicable rate");
    EXPECT_EQ(apply_rule(39.9, machine).note, "raised to the least applicable rate");
    EXPECT_EQ(apply_rule(40, machine).note, "");
    const RateRule same{40, 200, 0, 40};
    EXPECT_EQ(apply_rule(30, same).note, "raised to the least applicable rate");
}

TEST(RuleLimits, ThePairThatMovesLeastIsJoined) {
    // 100 and 110 on 1 ha each move 10 x 0.5 x 2 = 10; 110 and 125 on 1 ha each 15; 125 and 131 on
    // 9 ha: 10.8.
    const RateRule free{};
    ZoneRates result = limit_distinct({100, 110, 125, 131}, {1, 1, 1, 9}, 3, free);
    EXPECT_EQ(result.rates, (std::vector<double>{105, 105, 125, 131}));
    EXPECT_EQ(result.warnings.at(0), "4 different rates merged into 3");
    result = limit_distinct({100, 110, 125, 127}, {1, 1, 1, 9}, 3, free);
    EXPECT_NEAR(result.rates[2], (125 + 9 * 127) / 10.0, 1e-9);
    EXPECT_EQ(result.rates[2], result.rates[3]);
    EXPECT_EQ(result.rates[0], 100);
    // Joining 100 and 110 moves 2.5 x 3 + 7.5 = 15, joining 110 and 120 moves 10.
    EXPECT_EQ(limit_distinct({100, 110, 120}, {3, 1, 1}, 2, free).rates,
              (std::vector<double>{100, 115, 115}));
    // Ties: the lower pair.
    EXPECT_EQ(limit_distinct({100, 110, 120}, {1, 1, 1}, 2, free).rates,
              (std::vector<double>{105, 105, 120}));
    // Zero stays zero while there is another way.
    EXPECT_EQ(limit_distinct({0, 1, 200}, {1, 1, 1}, 2, free).rates,
              (std::vector<double>{0, 100.5, 100.5}));
    EXPECT_EQ(limit_distinct({0, 100}, {1, 3}, 1, free).rates, (std::vector<double>{75, 75}));
    EXPECT_EQ(limit_distinct({0.5, 1, 200}, {1, 1, 1}, 2, free).rates,
              (std::vector<double>{0.75, 0.75, 200}));
    // On the rule again.
    EXPECT_EQ(limit_distinct({100, 110, 200}, {1, 1, 1}, 2, {0, infinity, 10, 0}).rates,
              (std::vector<double>{110, 110, 200}));
    EXPECT_TRUE(limit_distinct({100, 110}, {1, 1}, 2, free).warnings.empty());
    EXPECT_TRUE(limit_distinct({100, 100}, {1, 1}, 1, free).warnings.empty());
    // Zones without area take the plain mean.
    EXPECT_EQ(limit_distinct({100, 110}, {0, 0}, 1, free).rates, (std::vector<double>{105, 105}));
    EXPECT_EQ(limit_distinct({100, 110}, {0.5, 0}, 1, free).rates, (std::vector<double>{100, 100}));
    EXPECT_EQ(limit_distinct({100, 100 + 5e-8, 300}, {1, 1, 1}, 2, free).rates[1], 100 + 5e-8);
    EXPECT_THROW(limit_distinct({1}, {1}, 0, free), Error);
    EXPECT_THROW(limit_distinct({1}, {1, 2}, 1, free), Error);
}

TEST(RuleLimits, CloseNeighbours) {
    const auto said = [](double a, double b) {
        return close_neighbours({a, b}, {{0, 1}}, 5, {"1", "2"});
    };
    EXPECT_EQ(said(100, 104).at(0),
              "zones 1 and 2 differ by 4.00, less than the 5.00 the machine can tell apart");
    EXPECT_TRUE(said(100, 105).empty());
    EXPECT_TRUE(said(100, 100).empty());
    EXPECT_EQ(said(104.9, 100).size(), 1u);
    EXPECT_EQ(said(0.2, 0.5).size(), 1u);
    EXPECT_TRUE(close_neighbours({0.3, 0.2}, {{0, 1}}, 0.1, {"1", "2"}).empty());
}

TEST(RuleLimits, Passes) {
    const RateRule rule{0, infinity, 5, 20};
    const auto split = [&](double rate, const std::vector<double>& shares, RateRule with) {
        std::vector<SplitPass> passes;
        for (const double share : shares) passes.push_back({"pass", share});
        return split_rate(rate, passes, with);
    };
    using Rates = std::vector<double>;
    EXPECT_EQ(split(150, {0.3, 0.7}, rule), (Rates{45, 105}));
    EXPECT_EQ(split(150, {0.7, 0.3}, rule), (Rates{105, 45}));
    EXPECT_EQ(split(151, {0.3, 0.7}, rule), (Rates{45, 106}));
    EXPECT_EQ(split(150, {0.25, 0.25, 0.5}, rule), (Rates{40, 40, 70}));  // 37.5: halves go up
    EXPECT_EQ(split(150, {0.3, 0.7}, {0, infinity, 0, 0}), (Rates{45, 105}));
    EXPECT_EQ(split(100, {1.0 / 3, 1.0 / 3, 1.0 / 3}, rule), (Rates{30, 35, 35}));
    EXPECT_EQ(split(100, {0.22, 0.78}, rule), (Rates{20, 80}));  // 22 goes down
    EXPECT_EQ(split(10, {0.26, 0.74}, {0, infinity, 0.5, 0}), (Rates{2.5, 7.5}));
    // Nothing is left for the largest share: 0 is not below a least rate of 0.
    EXPECT_EQ(split(10, {0.4, 0.3, 0.3}, {0, infinity, 5, 0}), (Rates{0, 5, 5}));
    EXPECT_THROW(split(100, {1.0005}, rule), Error);
    // 0.1 of 150 is below 20: the others take its part.
    EXPECT_EQ(split(150, {0.1, 0.3, 0.6}, rule), (Rates{0, 50, 100}));
    EXPECT_EQ(split(200, {0.1, 0.3, 0.6}, rule), (Rates{20, 60, 120}));
    EXPECT_EQ(split(30, {0.3, 0.7}, rule), (Rates{0, 30}));
    EXPECT_EQ(split(10, {0.3, 0.7}, rule), (Rates{0, 10}));
    EXPECT_EQ(split(150, {0, 1}, rule), (Rates{0, 150}));
    EXPECT_EQ(split(2, {0.5, 0.5}, {0, infinity, 5, 0}), (Rates{2, 0}));  // 1 goes to 0
    // Two times 2.5 would be more than 4.5: the last pass is left out.
    EXPECT_EQ(split(4.5, {0.4, 0.3, 0.3}, {0, infinity, 2.5, 0}), (Rates{2, 2.5, 0}));
    EXPECT_NEAR(split(0.6, {0.5, 0.5}, {0, infinity, 0.1, 0.3}).at(0), 0.3, 1e-12);
    for (const auto& shares : std::vector<Rates>{{0.3, 0.6989}, {0.3, 0.7011}, {}, {-0.1, 1.1}})
        EXPECT_THROW(split(100, shares, rule), Error);
    EXPECT_NO_THROW(split(100, {0.3, 0.6991}, rule));
    EXPECT_NO_THROW(split(100, {0.3, 0.7009}, rule));
    EXPECT_TRUE(mentions(message_of([&] { split(1, {0.5, 0.25}, rule); }), "They add to 0.75."));
    for (std::uint64_t seed = 1; seed <= 500; ++seed) {
        Random random(seed);
        Rates shares;
        double left = 1;
        for (std::size_t i = 1 + random.below(3); i > 0; --i) {
            shares.push_back(left * random.uniform());
            left -= shares.back();
        }
        shares.push_back(left);
        const double rate = 5 * std::floor(random.uniform(0, 60));
        const Rates found = split(rate, shares, rule);
        double sum = 0;
        int used = 0;
        for (const double r : found) {
            sum += r;
            used += r > 0;
        }
        EXPECT_NEAR(sum, rate, 1e-9) << "seed " << seed;
        for (const double r : found) {
            EXPECT_TRUE(r == 0 || used == 1 || r >= 20) << "seed " << seed << ": " << r;
        }
    }
}

TEST(RuleLimits, Machines) {
    EXPECT_NEAR(transition_distance_m({36, 2, 12}), 20, 1e-9);
    EXPECT_EQ(transition_distance_m({0.5, 0, 0.5}), 0);
    EXPECT_NO_THROW(transition_distance_m({60, 60, 100}));
    for (const Machine& wrong : {Machine{0, 1, 1}, Machine{60.1, 1, 1}, Machine{1, -0.1, 1},
                                 Machine{1, 60.1, 1}, Machine{1, 1, 0}, Machine{1, 1, 100.1}})
        EXPECT_THROW(transition_distance_m(wrong), Error);
}

// --- maps ----------------------------------------------------------------------------------------

GridFrame frame_of(int cols, int rows, double cell = 10) {
    return {0, rows * cell, cell, cols, rows};
}

RateSurface surface_of(const GridFrame& frame, const std::vector<float>& rates) {
    RateSurface surface{Raster<float>(frame), Mask(frame)};
    for (std::size_t i = 0; i < rates.size(); ++i) {
        surface.inside[i] = rates[i] >= 0.0F;  // negative: outside
        surface.rates[i] = std::max(rates[i], 0.0F);
    }
    return surface;
}

TEST(SurfaceLimits, ZonesToRatesAndNoApply) {
    const GridFrame frame = frame_of(3, 1);
    Raster<std::int16_t> zones(frame);
    zones.values = {0, 1, 2};
    const std::vector<double> rates = {50, 70};
    RateSurface surface = rate_surface(zones, rates);
    EXPECT_EQ(surface.rates.values, (std::vector<float>{0, 50, 70}));
    EXPECT_EQ(surface.inside.values, (std::vector<std::uint8_t>{0, 1, 1}));
    zones.values = {0, 1, 3};
    EXPECT_TRUE(mentions(message_of([&] { rate_surface(zones, rates); }), "zone 3 has no rate"));
    zones.values = {0, 1, -1};
    EXPECT_THROW(rate_surface(zones, rates), Error);

    Mask no_apply(frame);
    no_apply.values = {1, 1, 0};
    EXPECT_NEAR(cut_no_apply(surface, no_apply), 0.01, 1e-12);  // the cell outside does not count
    EXPECT_EQ(surface.rates.values, (std::vector<float>{0, 0, 70}));
    no_apply.values = {0, 0, 1};
    EXPECT_THROW(cut_no_apply(surface, no_apply), Error);
    RateSurface half = surface_of(frame, {0.5F, 0.5F, 0.0F});
    no_apply.values = {1, 0, 0};
    EXPECT_NEAR(cut_no_apply(half, no_apply), 0.01, 1e-12);
    no_apply.values = {1, 1, 0};
    EXPECT_THROW(cut_no_apply(half, no_apply), Error);
    RateSurface nothing = surface_of(frame, {0, 0, 0});
    EXPECT_NEAR(cut_no_apply(nothing, no_apply), 0.02, 1e-12);
    EXPECT_THROW(cut_no_apply(nothing, Mask(frame_of(2, 1))), Error);
}

/// One look at every cell: lone cells above 0 take the commonest rate above 0 around, ties the
/// lower.
RateSurface smoothed_once(const RateSurface& before, const Mask& keep, int& changed) {
    RateSurface after = before;
    const GridFrame& frame = before.rates.frame;
    for (int row = 0; row < frame.rows; ++row) {
        for (int col = 0; col < frame.cols; ++col) {
            const float own = before.rates.at(row, col);
            if (before.inside.at(row, col) == 0 || own <= 0) continue;
            if (keep.size() > 0 && keep.at(row, col) != 0) continue;
            std::map<float, int> counts;
            for (int r = row - 1; r <= row + 1; ++r)
                for (int c = col - 1; c <= col + 1; ++c)
                    if ((r != row || c != col) && frame.contains(r, c) &&
                        before.inside.at(r, c) != 0)
                        ++counts[before.rates.at(r, c)];
            if (counts.count(own) > 0) continue;
            counts.erase(0.0F);
            if (counts.empty()) continue;
            const auto most =
                std::max_element(counts.begin(), counts.end(),
                                 [](const auto& a, const auto& b) { return a.second < b.second; });
            after.rates.at(row, col) = most->first;
            ++changed;
        }
    }
    return after;
}

TEST(SurfaceLimits, IslandsAgreeWithASecondWriting) {
    for (std::uint64_t seed = 1; seed <= 300; ++seed) {
        Random random(seed);
        const GridFrame frame =
            frame_of(1 + static_cast<int>(random.below(8)), 1 + static_cast<int>(random.below(8)));
        std::vector<float> rates(frame.size());
        const float choices[] = {-1, 0, 0.5F, 60, 60, 60, 80};
        for (float& rate : rates) rate = choices[random.below(7)];
        RateSurface surface = surface_of(frame, rates);
        Mask keep;
        if (seed % 2 == 0) {
            keep = Mask(frame);
            for (auto& k : keep.values) k = random.below(4) == 0;
        }
        RateSurface expected = surface;
        int changed = 0;
        for (int pass = 0; pass < 10; ++pass) expected = smoothed_once(expected, keep, changed);
        EXPECT_EQ(smooth_islands(surface, keep), changed) << "seed " << seed;
        EXPECT_EQ(surface.rates.values, expected.rates.values) << "seed " << seed;
    }
    RateSurface many = surface_of(frame_of(3, 3), {1, 2, 2, 3, 9, 3, 3, -1, -1});
    smooth_islands(many);
    EXPECT_EQ(many.rates.at(1, 1), 3.0F);  // one of 1, two of 2, three of 3
    RateSurface surface = surface_of(frame_of(3, 1), {1, 2, 1});
    EXPECT_THROW(smooth_islands(surface, Mask(frame_of(2, 1))), Error);
    // Two single cells of two rates change places for ever: it stops after ten passes.
    RateSurface pair = surface_of(frame_of(2, 1), {1, 2});
    EXPECT_EQ(smooth_islands(pair), 20);
    EXPECT_EQ(pair.rates.values, (std::vector<float>{1, 2}));
}

TEST(SurfaceLimits, TotalsByHand) {
    const RateSurface surface = surface_of(frame_of(3, 2, 20), {-1, 0, 0.5F, 60, 60, 80});
    const SurfaceTotals totals = surface_totals(surface, RateUnit::kg_ha);
    EXPECT_NEAR(totals.area_ha, 0.2, 1e-12);
    EXPECT_NEAR(totals.applied_area_ha, 0.16, 1e-12);
    EXPECT_NEAR(totals.mean, 40.1, 1e-6);
    EXPECT_NEAR(totals.total, 8.02, 1e-6);
    EXPECT_EQ(totals.lowest, 0.0);
    EXPECT_EQ(totals.highest, 80.0);
    EXPECT_EQ(totals.distinct_rates, 4);
    EXPECT_EQ(surface_totals(surface_of(frame_of(2, 1), {-1, -1}), RateUnit::kg_ha).distinct_rates,
              0);
}

/// Stretches of one rate along one direction, cell by cell.
struct Counted {
    double cells = 0, changes = 0, short_cells = 0, largest = 0;
};

Counted counted(const RateSurface& surface, bool rows, double least_cells) {
    const GridFrame& frame = surface.rates.frame;
    Counted result;
    for (int line = 0; line < (rows ? frame.rows : frame.cols); ++line) {
        // Rates along the line; -1 where outside.
        std::vector<float> values = {-1};
        for (int at = 0; at < (rows ? frame.cols : frame.rows); ++at) {
            const int r = rows ? line : at, c = rows ? at : line;
            values.push_back(surface.inside.at(r, c) != 0 ? surface.rates.at(r, c) : -1);
        }
        values.push_back(-1);
        std::vector<int> runs;
        for (std::size_t i = 1; i < values.size(); ++i) {
            if (values[i] < 0) {
                if (runs.size() > 1)
                    for (const int run : runs) result.short_cells += run < least_cells ? run : 0;
                runs.clear();
                continue;
            }
            result.cells += 1;
            if (values[i - 1] == values[i]) {
                ++runs.back();
                continue;
            }
            if (values[i - 1] >= 0) {
                result.changes += 1;
                result.largest = std::max(
                    result.largest,
                    std::abs(static_cast<double>(values[i]) - static_cast<double>(values[i - 1])));
            }
            runs.push_back(1);
        }
    }
    return result;
}

TEST(SurfaceLimits, TransitionsAgreeWithASecondWriting) {
    for (std::uint64_t seed = 1; seed <= 400; ++seed) {
        Random random(seed);
        const GridFrame frame = frame_of(1 + static_cast<int>(random.below(9)),
                                         1 + static_cast<int>(random.below(9)), 5);
        std::vector<float> rates(frame.size());
        const float choices[] = {-1, 0, 50, 50, 50, 50, 70};
        float last = 50;
        for (float& rate : rates)
            rate = last = random.below(3) == 0 ? choices[random.below(7)] : last;
        const RateSurface surface = surface_of(frame, rates);
        const Machine machine{random.uniform(1, 30), random.uniform(0, 3), random.uniform(1, 20)};
        const TransitionCheck found = check_transitions(surface, machine);
        const double distance = machine.speed_km_h / 3.6 * machine.lag_s;
        const double least = std::max(distance, machine.width_m) / 5;
        const Counted along_rows = counted(surface, true, least),
                      along_cols = counted(surface, false, least);
        const bool rows = along_rows.short_cells != along_cols.short_cells
                              ? along_rows.short_cells < along_cols.short_cells
                              : along_rows.changes <= along_cols.changes;
        const Counted& better = rows ? along_rows : along_cols;
        EXPECT_NEAR(found.distance_m, distance, 1e-9);
        EXPECT_NEAR(found.largest_change, std::max(along_rows.largest, along_cols.largest), 1e-9)
            << "seed " << seed;
        EXPECT_NEAR(found.short_area_ha, better.short_cells * 25e-4, 1e-12) << "seed " << seed;
        EXPECT_NEAR(found.changes_per_km,
                    better.cells > 0 ? better.changes / better.cells / 5 * 1000 : 0, 1e-9)
            << "seed " << seed;
        std::size_t warnings = 0;
        if (better.cells > 0 && distance > 5 && better.changes > 0) ++warnings;
        if (better.cells > 0 && better.short_cells / better.cells > 0.05) ++warnings;
        EXPECT_EQ(found.warnings.size(), warnings) << "seed " << seed;
    }
}

TEST(SurfaceLimits, TransitionWarningsInWords) {
    // One change in the upper of two rows of 20 cells of 10 m; 2 s at 36 km/h are 20 m. Along the
    // columns there would be more short stretches.
    std::vector<float> rates(40, 50.0F);
    rates[0] = rates[1] = 70.0F;
    const TransitionCheck check =
        check_transitions(surface_of(frame_of(20, 2), rates), {36, 2, 30});
    ASSERT_EQ(check.warnings.size(), 1u);
    EXPECT_EQ(check.warnings[0],
              "a rate change takes 20.0 m at this speed and lag, more than a cell of 10.0 m: set "
              "the look-ahead to "
              "2.0 s");
    EXPECT_NEAR(check.changes_per_km, 2.5, 1e-9);
    EXPECT_NEAR(check.short_area_ha, 0.02, 1e-9);  // 2 of 40 cells: exactly 5 %, not more
    rates[2] = 70.0F;
    const TransitionCheck more = check_transitions(surface_of(frame_of(20, 2), rates), {18, 2, 31});
    ASSERT_EQ(more.warnings.size(), 1u);
    EXPECT_EQ(
        more.warnings[0],
        "8 % of the area lies in stretches shorter than 31 m, which the machine cannot follow");
    EXPECT_TRUE(
        check_transitions(surface_of(frame_of(20, 2), rates), {18, 2, 30}).warnings.empty());
}

}  // namespace
}  // namespace catchfield::prescription
