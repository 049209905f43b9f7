// SPDX-License-Identifier: MIT
// The budget and the credits written a second time from docs/methods/nitrogen.md over random zones,
// and every limit of tests, credits, methods and leaching from both sides.
#include "base/error.hpp"
#include "base/random.hpp"
#include "base/units.hpp"
#include "nitrogen/budget.hpp"
#include "nitrogen/credits.hpp"
#include "nitrogen/leaching.hpp"
#include "nitrogen/methods.hpp"
#include "nitrogen/soil_test.hpp"
#include "support/messages.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <limits>

namespace catchfield::nitrogen {
namespace {

using tests::mentions;
using tests::message_of;
using units::kg_ha_per_lb_ac;

constexpr double infinity = std::numeric_limits<double>::infinity();

// --- budget --------------------------------------------------------------------------------------

OtherCredit random_credit(Random& random, const std::string& label) {
    const double n = random.uniform(0, 60);
    return {label, 0.7 * n, n, 1.4 * n, "test", Confidence::recalled, {"caution of " + label}};
}

ZoneNeeds random_zone(Random& random) {
    const char* ids[] = {"balance",  "balance-full",     "corn-balance", "late-spring",
                         "response", "average-response", "fixed"};
    ZoneNeeds zone;
    zone.method = &method(ids[random.below(7)]);
    zone.yield_goal_kg_ha = random.uniform(2000, 16000);
    if (random.below(3) > 0 || zone.method->form == MethodForm::late_spring) {
        std::vector<NitrateLayer> layers = {{0, 30, random.uniform(0, 20), {}}};
        if (random.below(2) == 0) layers.push_back({30, 60, random.uniform(0, 20), 1.4});
        zone.nitrate = stack_layers(layers);
    }
    zone.organic_matter_pct = random.uniform(0, 8);
    zone.base_kg_ha = random.uniform(0, 250);
    zone.base_low_kg_ha = 0.8 * *zone.base_kg_ha;
    zone.base_high_kg_ha = 1.3 * *zone.base_kg_ha;
    zone.coarse_soil = random.below(2) == 0;
    if (random.below(2) == 0) zone.critical_ppm = random.uniform(10, 30);
    zone.manured_or_after_alfalfa = random.below(2) == 0;
    if (random.below(2) == 0) zone.price_adjust = random.uniform(0.5, 1.5);
    if (random.below(2) == 0) zone.timing_adjust = random.uniform(0.5, 1.5);
    if (random.below(2) == 0) zone.previous_crop = random_credit(random, "previous");
    if (random.below(2) == 0) zone.manure = random_credit(random, "manure");
    if (random.below(2) == 0) zone.irrigation = random_credit(random, "water");
    if (random.below(3) > 0) {
        CoverCredit cover;
        cover.credit_kg_ha = random.below(2) == 0 ? random.uniform(0, 90) : 0.0;
        cover.low_kg_ha = 0.5 * cover.credit_kg_ha;
        cover.high_kg_ha = 1.5 * cover.credit_kg_ha + 5;
        cover.full_credit_kg_ha = cover.credit_kg_ha + random.uniform(0, 20);
        if (random.below(2) == 0) cover.tie_up_kg_ha = random.uniform(0, 40);
        cover.tie_up_low_kg_ha = 0.5 * cover.tie_up_kg_ha;
        if (cover.tie_up_kg_ha > 0 || random.below(2) == 0)
            cover.tie_up_high_kg_ha = cover.tie_up_kg_ha + 10;
        cover.weak_evidence = random.below(2) == 0;
        cover.rule = "rule";
        cover.source = "cover source";
        zone.cover = cover;
    }
    return zone;
}

struct Line {
    std::string label;
    double low, n, high;
};

/// The lines in their order, from the equations of the methods page.
std::vector<Line> second_writing(const ZoneNeeds& zone) {
    std::vector<Line> lines;
    const std::string& id = zone.method->id;
    const double lb = kg_ha_per_lb_ac;
    const double goal = *zone.yield_goal_kg_ha / (56 * 0.45359237) * 0.40468564224;
    const double om = *zone.organic_matter_pct;
    const auto add = [&](const std::string& label, double a, double n, double b) {
        lines.push_back({label, std::min(a, b), n, std::max(a, b)});
    };
    const auto zero = [&](const std::string& label) { lines.push_back({label, 0, 0, 0}); };
    if (id == "balance") {
        add("Crop need", 1.0 * goal * lb, 1.2 * goal * lb, 1.3 * goal * lb);
    } else if (id == "balance-full") {
        add("Crop need", 1.5 * goal * lb, 1.6 * goal * lb, 1.7 * goal * lb);
    } else if (id == "corn-balance") {
        add("Method constant", 25 * lb, 35 * lb, 45 * lb);
        add("Crop need", 1.1 * goal * lb, 1.2 * goal * lb, 1.3 * goal * lb);
        if (zone.nitrate) {
            const double ppm = zone.nitrate->mean_ppm;
            add("Soil nitrate", -6 * ppm * lb, -8 * ppm * lb, -9 * ppm * lb);
        } else if (zone.coarse_soil) {
            add("Soil nitrate", -8 * 0.5 * lb, -8 * 1.5 * lb, -8 * 3 * lb);
        } else {
            add("Soil nitrate", -8 * 1.5 * lb, -8 * 3 * lb, -8 * 5 * lb);
        }
        const double held = std::min(3.0, std::max(0.5, om));
        add("Organic matter", -0.10 * goal * held * lb, -0.14 * goal * held * lb,
            -0.16 * goal * held * lb);
    } else if (id == "late-spring") {
        const auto need = [&](double critical) {
            return std::max(0.0, 8 * (critical - zone.nitrate->mean_ppm)) * lb;
        };
        const double critical = zone.critical_ppm.value_or(25);
        add("Late-spring nitrate test", need(zone.critical_ppm ? critical : 20), need(critical),
            need(critical));
    } else {
        add(zone.method->title, *zone.base_low_kg_ha, *zone.base_kg_ha, *zone.base_high_kg_ha);
    }
    const bool trial = id == "response" || id == "average-response";
    const bool rate_given = trial || id == "fixed";
    if (id != "corn-balance" && id != "late-spring") {
        if (zone.nitrate) {
            const double n = zone.nitrate->n_kg_ha;
            if (rate_given)
                zero("Soil nitrate");
            else
                add("Soil nitrate", -1.25 * n, -n, -0.75 * n);
        }
        if (id == "balance-full") {
            const double n = 20 * std::min(om, 6.0) * lb;
            add("Organic matter", -2 * n, -n, -0.5 * n);
        } else {
            zero("Organic matter");
        }
    }
    const auto credit = [&](const std::optional<OtherCredit>& one, bool contained) {
        if (!one) return;
        if (contained)
            zero(one->label);
        else
            add(one->label, -one->high_kg_ha, -one->credit_kg_ha, -one->low_kg_ha);
    };
    credit(zone.previous_crop, rate_given || id == "late-spring");
    credit(zone.manure, id == "fixed" || id == "late-spring");
    credit(zone.irrigation, rate_given || id == "late-spring");
    if (zone.cover) {
        if (id == "late-spring")
            zero("Cover crop");
        else
            add("Cover crop credit", -zone.cover->high_kg_ha, -zone.cover->credit_kg_ha,
                -zone.cover->low_kg_ha);
    }
    if (id == "corn-balance") {
        double sum = 0;
        for (const Line& line : lines) sum += line.n;
        const double change = (zone.price_adjust * zone.timing_adjust - 1) * sum;
        if (change != 0) lines.push_back({"Price and timing", change, change, change});
    }
    if (zone.cover && id != "late-spring" &&
        (zone.cover->tie_up_kg_ha > 0 || zone.cover->tie_up_high_kg_ha > 0)) {
        lines.push_back({"Tie-up by the cover", zone.cover->tie_up_low_kg_ha,
                         zone.cover->tie_up_kg_ha, zone.cover->tie_up_high_kg_ha});
    }
    return lines;
}

TEST(BudgetLimits, AgreesWithASecondWritingOverRandomZones) {
    for (std::uint64_t seed = 1; seed <= 600; ++seed) {
        SCOPED_TRACE("seed " + std::to_string(seed));
        Random random(seed);
        const ZoneNeeds zone = random_zone(random);
        IntervalSettings settings;
        settings.draws = seed % 2 == 0 ? 0 : 41;
        settings.seed = seed;
        const Budget budget = zone_budget(zone, settings);
        const std::vector<Line> expected = second_writing(zone);
        ASSERT_EQ(budget.lines.size(), expected.size()) << zone.method->id;
        double need = 0;
        Confidence weak = Confidence::verified;
        for (std::size_t i = 0; i < expected.size(); ++i) {
            EXPECT_EQ(budget.lines[i].label, expected[i].label);
            EXPECT_NEAR(budget.lines[i].low_kg_ha, expected[i].low, 1e-6) << expected[i].label;
            EXPECT_NEAR(budget.lines[i].n_kg_ha, expected[i].n, 1e-6) << expected[i].label;
            EXPECT_NEAR(budget.lines[i].high_kg_ha, expected[i].high, 1e-6) << expected[i].label;
            need += expected[i].n;
            if (std::abs(expected[i].n) > 1e-9) weak = weakest(weak, budget.lines[i].confidence);
        }
        EXPECT_EQ(budget.confidence, weak);
        EXPECT_NEAR(budget.need_kg_ha, need, 1e-6);
        const bool capped =
            zone.method->form == MethodForm::late_spring && zone.manured_or_after_alfalfa;
        const auto settled = [&](double n) {
            return std::max(0.0, capped ? std::min(n, 90 * kg_ha_per_lb_ac) : n);
        };
        EXPECT_NEAR(budget.rate_kg_ha, settled(need), 1e-6);
        double settling = 0;
        for (const BudgetLine& line : budget.settling) settling += line.n_kg_ha;
        EXPECT_NEAR(budget.need_kg_ha + settling, budget.rate_kg_ha, 1e-9);
        EXPECT_EQ(budget.settling.empty(), std::abs(settled(need) - need) < 1e-9);

        double without = settled(need), full = settled(need);
        if (zone.cover && zone.method->form != MethodForm::late_spring) {
            const double adjust = zone.method->form == MethodForm::corn_balance
                                      ? zone.price_adjust * zone.timing_adjust
                                      : 1.0;
            const double base = need + adjust * zone.cover->credit_kg_ha;
            without = settled(base);
            full = settled(base - adjust * zone.cover->full_credit_kg_ha);
        }
        EXPECT_NEAR(budget.rate_without_cover_credit_kg_ha, without, 1e-6);
        EXPECT_NEAR(budget.rate_with_full_cover_credit_kg_ha, full, 1e-6);

        if (settings.draws == 0) {
            // Triangular distributions: mean (a + b + c)/3, variance
            // (a^2 + b^2 + c^2 - ab - ac - bc)/18; 90 % of a normal lie within 1.645 sd.
            double mean = 0, variance = 0;
            for (const Line& l : expected) {
                mean += (l.low + l.n + l.high) / 3;
                variance += (l.low * l.low + l.n * l.n + l.high * l.high - l.low * l.n -
                             l.low * l.high - l.n * l.high) /
                            18;
            }
            const double half = 1.6448536269514722 * std::sqrt(std::max(0.0, variance));
            EXPECT_NEAR(budget.low_kg_ha, settled(mean - half), 1e-6);
            EXPECT_NEAR(budget.high_kg_ha, settled(mean + half), 1e-6);
        } else {
            Random draws(seed);
            std::vector<double> sums(41, 0.0);
            for (const Line& l : expected) {
                for (double& sum : sums) {
                    const double u = draws.uniform();
                    if (l.high <= l.low) {
                        sum += l.n;
                        continue;
                    }
                    const double turn = (l.n - l.low) / (l.high - l.low);
                    sum += u < turn
                               ? l.low + std::sqrt(u * (l.high - l.low) * (l.n - l.low))
                               : l.high - std::sqrt((1 - u) * (l.high - l.low) * (l.high - l.n));
                }
            }
            std::sort(sums.begin(), sums.end());
            EXPECT_NEAR(budget.low_kg_ha, settled(sums[2]), 1e-6);    // 0.05 x 40
            EXPECT_NEAR(budget.high_kg_ha, settled(sums[38]), 1e-6);  // 0.95 x 40
        }
    }
}

TEST(BudgetLimits, PercentilesAreTheNearestDraw) {
    // 31 draws: 0.05 x 30 = 1.5 goes up to the third draw, 0.95 x 30 = 28.5 to the thirtieth.
    ZoneNeeds zone;
    zone.method = &method("fixed");
    zone.base_kg_ha = 100;
    zone.base_low_kg_ha = 50;
    zone.base_high_kg_ha = 150;
    const Budget budget = zone_budget(zone, {31, 5});
    Random random(5);
    std::vector<double> values;
    for (int i = 0; i < 31; ++i) {
        const double u = random.uniform();
        values.push_back(u < 0.5 ? 50 + std::sqrt(u * 100 * 50)
                                 : 150 - std::sqrt((1 - u) * 100 * 50));
    }
    std::sort(values.begin(), values.end());
    EXPECT_NEAR(budget.low_kg_ha, values[2], 1e-9);
    EXPECT_NEAR(budget.high_kg_ha, values[29], 1e-9);
    // 49 draws: 0.05 x 48 = 2.4 goes down to the third draw.
    Random more(5);
    values.clear();
    for (int i = 0; i < 49; ++i) {
        const double u = more.uniform();
        values.push_back(u < 0.5 ? 50 + std::sqrt(u * 100 * 50)
                                 : 150 - std::sqrt((1 - u) * 100 * 50));
    }
    std::sort(values.begin(), values.end());
    EXPECT_NEAR(zone_budget(zone, {49, 5}).low_kg_ha, values[2], 1e-9);
    const Budget few = zone_budget(zone, {1, 5});
    EXPECT_EQ(few.low_kg_ha, few.high_kg_ha);
}

TEST(BudgetLimits, NotesSayWhatWasMultiplied) {
    ZoneNeeds zone;
    zone.method = &method("balance-full");
    zone.yield_goal_kg_ha = yield_kg_ha(150.04, crop("corn"));
    zone.organic_matter_pct = 3.126;
    zone.nitrate = stack_layers({{0, 30.4, 10.04, {}}});
    Budget budget = zone_budget(zone);
    EXPECT_EQ(budget.lines[0].note, "1.6 lb/bu x 150.0 bu/ac (9418 kg/ha)");
    EXPECT_EQ(budget.lines[1].note, "10.0 ppm over 30 cm, field rule for density");
    EXPECT_EQ(budget.lines[1].confidence, Confidence::common_practice);
    EXPECT_EQ(budget.lines[2].note, "20 lb/ac per % x 3.13 %");
    zone.method = &method("corn-balance");
    budget = zone_budget(zone);
    EXPECT_EQ(budget.lines[1].note, "1.2 lb/bu x 150.0 bu/ac");
    EXPECT_EQ(budget.lines[2].note, "8 lb/ac x 10.0 ppm");
    EXPECT_EQ(budget.lines[3].note,
              "0.14 lb/bu per % x 150.0 bu/ac x 3.00 % (limited by the method)");
    zone.organic_matter_pct = 2.5;
    zone.nitrate.reset();
    budget = zone_budget(zone);
    EXPECT_EQ(budget.lines[2].note, "no deep sample: 3 ppm taken");
    EXPECT_EQ(budget.lines[3].note, "0.14 lb/bu per % x 150.0 bu/ac x 2.50 %");
    zone.price_adjust = 0.5;
    zone.timing_adjust = 0.5;
    EXPECT_EQ(zone_budget(zone).lines[4].note, "sum so far x 0.25");
    zone.nitrate = stack_layers({{0, 30, 10.04, 1.3}});
    zone.method = &method("late-spring");
    EXPECT_EQ(zone_budget(zone).lines[0].note, "8 lb/ac x (25 - 10.0 ppm)");
    EXPECT_EQ(zone_budget(zone).lines.size(), 1u);
}

TEST(BudgetLimits, CautionsOfDepthAndCover) {
    ZoneNeeds zone;
    zone.method = &method("late-spring");
    const auto cautions = [&](double depth) {
        zone.nitrate = NitrateProfile{depth, 10, 40, false, {}};
        return zone_budget(zone).cautions;
    };
    EXPECT_TRUE(cautions(25).empty());
    EXPECT_TRUE(cautions(35).empty());
    EXPECT_EQ(cautions(24.9).size(), 1u);
    EXPECT_EQ(cautions(35.6).back(),
              "the late-spring test is made for 0 to 30 cm; the sample covers 36 cm");
    zone = {};
    zone.method = &method("fixed");
    zone.base_kg_ha = 10;
    zone.cover = CoverCredit{};
    EXPECT_TRUE(zone_budget(zone).cautions.empty());
    EXPECT_EQ(zone_budget(zone).lines.size(), 2u);  // base and a credit of 0
    zone.cover->advice = "advice";
    EXPECT_EQ(zone_budget(zone).cautions, std::vector<std::string>{"advice"});
    zone.cover->tie_up_high_kg_ha = 0.5;
    EXPECT_EQ(zone_budget(zone).lines.size(), 3u);
    zone.cover->tie_up_kg_ha = 0.5;
    zone.cover->tie_up_high_kg_ha = 0.0;
    EXPECT_EQ(zone_budget(zone).lines.size(), 3u);
    zone.cover->rule = "rule";
    EXPECT_EQ(zone_budget(zone).lines[1].note, "rule");
    zone.cover->weak_evidence = true;
    EXPECT_EQ(zone_budget(zone).lines[1].note, "rule; weak evidence");
}

TEST(BudgetLimits, EachFigureFromBothSides) {
    const auto refusal = [](const std::function<void(ZoneNeeds&)>& change) {
        ZoneNeeds zone;
        zone.method = &method("balance");
        zone.yield_goal_kg_ha = 9000;
        change(zone);
        return message_of([&] { zone_budget(zone); });
    };
    EXPECT_EQ(refusal([](ZoneNeeds&) {}), "");
    for (const double goal : {0.5, 40000.0})
        EXPECT_EQ(refusal([&](ZoneNeeds& z) { z.yield_goal_kg_ha = goal; }), "");
    for (const double goal : {0.0, 40000.1})
        EXPECT_TRUE(mentions(refusal([&](ZoneNeeds& z) { z.yield_goal_kg_ha = goal; }), "40,000"));
    EXPECT_TRUE(mentions(refusal([](ZoneNeeds& z) { z.yield_goal_kg_ha.reset(); }), "yield goal"));
    EXPECT_TRUE(mentions(refusal([](ZoneNeeds& z) { z.method = nullptr; }), "no nitrogen method"));
    for (const double om : {0.0, 100.0})
        EXPECT_EQ(refusal([&](ZoneNeeds& z) { z.organic_matter_pct = om; }), "");
    for (const double om : {-0.1, 100.1})
        EXPECT_TRUE(
            mentions(refusal([&](ZoneNeeds& z) { z.organic_matter_pct = om; }), "0 to 100"));
    for (const double factor : {0.01, 2.0}) {
        EXPECT_EQ(refusal([&](ZoneNeeds& z) { z.price_adjust = factor; }), "");
        EXPECT_EQ(refusal([&](ZoneNeeds& z) { z.timing_adjust = factor; }), "");
    }
    for (const double factor : {0.0, 2.01}) {
        EXPECT_NE(refusal([&](ZoneNeeds& z) { z.price_adjust = factor; }), "");
        EXPECT_NE(refusal([&](ZoneNeeds& z) { z.timing_adjust = factor; }), "");
    }
    const auto base = [&](double n, double low, double high) {
        return refusal([&](ZoneNeeds& z) {
            z.method = &method("fixed");
            z.base_kg_ha = n;
            z.base_low_kg_ha = low;
            z.base_high_kg_ha = high;
        });
    };
    EXPECT_EQ(base(0, 0, 0), "");
    EXPECT_EQ(base(0.5, 0.5, 0.5), "");
    EXPECT_EQ(base(1000, 1000, 1000), "");
    EXPECT_EQ(base(100, 90, 120), "");
    EXPECT_NE(base(-0.1, -0.1, 0), "");
    EXPECT_NE(base(1000.1, 1000, 1001), "");
    EXPECT_NE(base(100, 100.1, 120), "");
    EXPECT_NE(base(100, 90, 99.9), "");
    EXPECT_TRUE(mentions(refusal([](ZoneNeeds& z) { z.method = &method("fixed"); }), "its rate"));
    EXPECT_TRUE(
        mentions(refusal([](ZoneNeeds& z) { z.method = &method("late-spring"); }), "soil-tests"));
    Budget budget;
    settle(budget, 1e-10, "nothing");
    EXPECT_TRUE(budget.settling.empty());
    settle(budget, -2e-9, "something", "why");
    ASSERT_EQ(budget.settling.size(), 1u);
    EXPECT_EQ(budget.settling[0].note, "why");
}

// --- credits -------------------------------------------------------------------------------------

const char* const head =
    "set,use,species,group,stand,season,height_min_cm,height_max_cm,texture,year,low_kg_ha,"
    "high_kg_ha,coarse_change_kg_ha,short_below_cm,short_change_kg_ha,source,confidence\n";

CreditTable table_of(const std::string& rows) {
    return CreditTable::parse(head + rows, "credits.csv");
}

CoverEvidence evidence(const std::string& species = "vetch", const std::string& group = "legume") {
    CoverEvidence cover;
    cover.species = species;
    cover.group = group;
    cover.release_low_kg_ha = 20;
    cover.release_kg_ha = 60;
    cover.release_high_kg_ha = 200;
    cover.release_confidence = Confidence::verified;
    return cover;
}

/// High end of the row that is chosen, to see which it is; -1 for none.
double chosen(const CreditTable& table, const CoverEvidence& cover, const char* use = "cover") {
    const CreditRow* row = table.find("home", use, cover);
    return row == nullptr ? -1 : row->high_kg_ha;
}

TEST(CreditLimits, MoreConditionsWin) {
    const CreditTable table = table_of(
        "home,cover,any,any,,,,,,,1,1,,,,me,verified\n"
        "home,cover,any,legume,,,,,,,2,2,,,,me,verified\n"
        "home,cover,vetch,any,,,,,,,3,3,,,,me,verified\n"
        "home,cover,vetch,legume,good,,,,,,4,4,,,,me,verified\n"
        "home,cover,vetch,legume,good,spring,,,,,5,5,,,,me,verified\n"
        "home,cover,vetch,legume,good,spring,,,coarse,,6,6,,,,me,verified\n"
        "home,cover,vetch,legume,,,,10,,,7,7,,,,me,verified\n"
        "home,cover,vetch,legume,,,,,,2,8,8,,,,me,verified\n"
        "home,forage,vetch,legume,,,,,,,9,9,,,,me,verified\n"
        "home,cover,pea,legume,,,,,fine,,10,10,,,,me,verified\n"
        "away,cover,vetch,legume,good,spring,,,,,11,11,,,,me,verified\n");
    CoverEvidence cover = evidence("Vetch");
    EXPECT_EQ(chosen(table, evidence("rye", "grass")), 1);
    EXPECT_EQ(chosen(table, evidence("lupin")), 2);
    EXPECT_EQ(chosen(table, cover), 3);
    cover.stand = Stand::fair;
    EXPECT_EQ(chosen(table, cover), 3);
    cover.stand = Stand::good;
    EXPECT_EQ(chosen(table, cover), 4);
    cover.season = SowingSeason::late_summer;
    EXPECT_EQ(chosen(table, cover), 4);
    cover.season = SowingSeason::spring;
    EXPECT_EQ(chosen(table, cover), 5);
    cover.coarse_soil = true;
    EXPECT_EQ(chosen(table, cover), 6);
    CoverEvidence low = evidence();
    low.height_cm = 9.9;
    EXPECT_EQ(chosen(table, low), 7);
    low.height_cm = 10.0;
    EXPECT_EQ(chosen(table, low), 3);
    CoverEvidence later = evidence();
    later.years_after = 2;
    EXPECT_EQ(chosen(table, later), 8);
    EXPECT_EQ(chosen(table, evidence(), "forage"), 9);
    EXPECT_EQ(chosen(table, evidence(), "previous-crop"), -1);
    EXPECT_EQ(chosen(table, evidence("pea")), 10);
    CoverEvidence sandy = evidence("pea");
    sandy.coarse_soil = true;
    EXPECT_EQ(chosen(table, sandy), 2);
    // A stand or season nobody reported counts as the less favourable one.
    const CreditTable cautious = table_of(
        "home,cover,vetch,any,poor,,,,,,1,1,,,,me,verified\n"
        "home,cover,pea,any,,late-summer,,,,,2,2,,,,me,verified\n"
        "home,cover,lupin,any,good,,,,,,3,3,,,,me,verified\n"
        "home,cover,lentil,any,,spring,,,,,4,4,,,,me,verified\n"
        "home,cover,clover,any,,,5,,,,5,5,,,,me,verified\n");
    EXPECT_EQ(chosen(cautious, evidence("vetch")), 1);
    EXPECT_EQ(chosen(cautious, evidence("pea")), 2);
    EXPECT_EQ(chosen(cautious, evidence("lupin")), -1);
    EXPECT_EQ(chosen(cautious, evidence("lentil")), -1);
    EXPECT_EQ(chosen(cautious, evidence("clover")), 5);
    CoverEvidence tiny = evidence("clover");
    tiny.height_cm = 5.0;
    EXPECT_EQ(chosen(cautious, tiny), 5);
    tiny.height_cm = 4.9;
    EXPECT_EQ(chosen(cautious, tiny), -1);
}

// Each kind of condition counts once: two of them beat one, whichever they are.
TEST(CreditLimits, EveryConditionCounts) {
    const char* single[] = {"home,cover,vetch,any,good,,,,,,1,1,,,,me,verified\n",
                            "home,cover,vetch,any,,spring,,,,,1,1,,,,me,verified\n",
                            "home,cover,vetch,any,,,,50,,,1,1,,,,me,verified\n",
                            "home,cover,vetch,any,,,,,coarse,,1,1,,,,me,verified\n"};
    CoverEvidence cover = evidence();
    cover.stand = Stand::good;
    cover.season = SowingSeason::spring;
    cover.coarse_soil = true;
    cover.height_cm = 20;
    for (const char* row : single) {
        EXPECT_EQ(
            chosen(table_of(std::string("home,cover,vetch,any,,,,,,,2,2,,,,me,verified\n") + row),
                   cover),
            1)
            << row;
        EXPECT_EQ(
            chosen(table_of(std::string("home,cover,vetch,any,good,spring,,50,coarse,,3,3,,,,me,"
                                        "verified\n") +
                            row),
                   cover),
            3);
    }
    cover.coarse_soil = false;
    EXPECT_EQ(chosen(table_of("home,cover,vetch,any,,,,,,,2,2,,,,me,verified\n"
                              "home,cover,vetch,any,,,,,fine,,1,1,,,,me,verified\n"),
                     cover),
              1);
    // A named species beats a group with every other condition.
    EXPECT_EQ(chosen(table_of("home,cover,any,legume,good,spring,,50,,,2,2,,,,me,verified\n"
                              "home,cover,vetch,any,,,,,,,1,1,,,,me,verified\n"),
                     cover),
              1);
    EXPECT_EQ(chosen(table_of("home,cover,any,any,good,spring,,50,,,2,2,,,,me,verified\n"
                              "home,cover,any,legume,,,,,,,1,1,,,,me,verified\n"),
                     cover),
              1);
}

TEST(CreditLimits, PlaceInTheRangeAndChanges) {
    const CreditTable table = table_of("home,cover,any,any,,,,,,,40,80,-50,20,-30,me,verified\n");
    const auto range = [&](Stand stand, SowingSeason season, bool coarse = false,
                           double regrowth = 1000) {
        CoverEvidence cover = evidence();
        cover.stand = stand;
        cover.season = season;
        cover.coarse_soil = coarse;
        cover.regrowth_cm = regrowth;
        return cover_credit(table, "home", cover);
    };
    using S = Stand;
    using W = SowingSeason;
    const std::vector<std::tuple<S, W, double>> places = {
        {S::unknown, W::unknown, 60}, {S::good, W::unknown, 80},
        {S::fair, W::unknown, 60},    {S::poor, W::unknown, 40},
        {S::unknown, W::spring, 80},  {S::unknown, W::late_summer, 40},
        {S::good, W::spring, 80},     {S::good, W::late_summer, 60},
        {S::fair, W::spring, 70},     {S::fair, W::late_summer, 50},
        {S::poor, W::spring, 60},     {S::poor, W::late_summer, 40}};
    for (const auto& [stand, season, expected] : places) {
        EXPECT_NEAR(range(stand, season).credit_kg_ha, expected, 1e-9);
        EXPECT_NEAR(range(stand, season).low_kg_ha, 40, 1e-9);
        EXPECT_NEAR(range(stand, season).high_kg_ha, 80, 1e-9);
        EXPECT_NEAR(range(stand, season, true).credit_kg_ha, std::max(0.0, expected - 50), 1e-9);
    }
    EXPECT_NEAR(range(S::good, W::spring, true).low_kg_ha, 0, 1e-9);
    EXPECT_NEAR(range(S::good, W::spring, true).high_kg_ha, 30, 1e-9);
    EXPECT_NEAR(range(S::good, W::spring, false, 20).credit_kg_ha, 80, 1e-9);
    EXPECT_NEAR(range(S::good, W::spring, false, 19.9).credit_kg_ha, 50, 1e-9);
    EXPECT_NEAR(range(S::good, W::spring, true, 19.9).high_kg_ha, 0, 1e-9);
    // A change for short regrowth without a height for it never applies.
    CoverEvidence cut = evidence();
    cut.regrowth_cm = 0.5;
    EXPECT_NEAR(
        cover_credit(table_of("home,cover,any,any,,,,,,,40,80,,,-30,me,verified\n"), "home", cut)
            .high_kg_ha,
        80, 1e-9);
}

TEST(CreditLimits, ShortStandsAndTheCommonRow) {
    CoverEvidence cover = evidence("vetch");
    cover.height_cm = 10;
    const double forty = 40 * kg_ha_per_lb_ac;
    // The set says nothing of height: the common rule for short legumes, unless its own is lower.
    const auto credit = [&](const std::string& row) {
        return cover_credit(table_of(row), "home", cover);
    };
    EXPECT_NEAR(credit("home,cover,vetch,any,,,,,,,90,90,,,,me,verified\n").credit_kg_ha, forty,
                1e-6);
    EXPECT_NEAR(credit("home,cover,vetch,any,,,,,,,30,30,,,,me,verified\n").credit_kg_ha, 30, 1e-6);
    // It has a row for tall stands only.
    EXPECT_NEAR(credit("home,cover,vetch,any,,,15.24,,,,90,90,,,,me,verified\n").credit_kg_ha,
                forty, 1e-6);
    EXPECT_NEAR(credit("home,cover,vetch,any,,,15.24,,,,20,20,,,,me,verified\n").credit_kg_ha, 20,
                1e-6);
    // As much as the common rule: the common rule is named.
    const std::string in_lb =
        "set,use,species,group,height_min_cm,low_lb_ac,high_lb_ac,source,confidence\n";
    for (const char* row : {"home,cover,vetch,any,15.24,40,40,me,verified\n",
                            "home,cover,vetch,any,,40,40,me,verified\n"}) {
        EXPECT_TRUE(mentions(
            cover_credit(CreditTable::parse(in_lb + row, "credits.csv"), "home", cover).rule,
            "common-practice"));
    }
    // It speaks of height itself.
    EXPECT_NEAR(credit("home,cover,vetch,any,,,5,,,,90,90,,,,me,verified\n").credit_kg_ha, 90,
                1e-6);
    EXPECT_NEAR(credit("home,cover,vetch,any,,,0.5,,,,90,90,,,,me,verified\n").credit_kg_ha, 90,
                1e-6);
    EXPECT_NEAR(credit("home,cover,vetch,any,,,,12,,,90,90,,,,me,verified\n").credit_kg_ha, 90,
                1e-6);
    EXPECT_EQ(credit("home,cover,vetch,any,,,,12,,,90,90,,,,me,verified\n").rule,
              "vetch, home, under 12 cm");
    EXPECT_EQ(credit("home,cover,any,legume,,,5,,,,90,90,,,,me,verified\n").rule, "legume, home");
    cover.height_cm = 50;
    EXPECT_NEAR(credit("home,cover,vetch,any,,,,,,,90,90,,,,me,verified\n").credit_kg_ha, 90, 1e-6);
    // No height given: a row for tall stands counts, and it is said.
    cover.height_cm.reset();
    const CoverCredit unsaid = credit("home,cover,vetch,any,,,15.24,,,,90,90,,,,me,verified\n");
    EXPECT_NEAR(unsaid.credit_kg_ha, 90, 1e-6);
    ASSERT_EQ(unsaid.cautions.size(), 1u);
    EXPECT_EQ(unsaid.cautions[0], "height not given: taken as 15 cm or more");
    EXPECT_EQ(credit("home,cover,vetch,any,,,0.5,,,,90,90,,,,me,verified\n").cautions.size(), 1u);
    EXPECT_TRUE(credit("home,cover,vetch,any,,,,,,,90,90,,,,me,verified\n").cautions.empty());
    cover.height_cm = 50;
    EXPECT_TRUE(credit("home,cover,vetch,any,,,15.24,,,,90,90,,,,me,verified\n").cautions.empty());
    CoverEvidence radish = evidence("radish", "brassica");
    EXPECT_TRUE(cover_credit(table_of("home,cover,radish,any,,,15.24,,,,9,9,,,,me,verified\n"),
                             "home", radish)
                    .cautions.empty());
}

TEST(CreditLimits, ScavengersGiveBackWhatTheyRelease) {
    const CreditTable table = table_of("home,cover,radish,any,,,,,,,10,30,,,,me,verified\n");
    const auto credit = [&](double low, double typical, double high) {
        CoverEvidence cover = evidence("radish", "brassica");
        cover.release_low_kg_ha = low;
        cover.release_kg_ha = typical;
        cover.release_high_kg_ha = high;
        return cover_credit(table, "home", cover);
    };
    EXPECT_NEAR(credit(5, 15, 25).low_kg_ha, 5, 1e-9);
    EXPECT_NEAR(credit(5, 15, 25).credit_kg_ha, 15, 1e-9);
    EXPECT_NEAR(credit(5, 15, 25).high_kg_ha, 25, 1e-9);
    EXPECT_NEAR(credit(40, 50, 60).low_kg_ha, 10, 1e-9);
    EXPECT_NEAR(credit(40, 50, 60).credit_kg_ha, 20, 1e-9);
    EXPECT_NEAR(credit(40, 50, 60).high_kg_ha, 30, 1e-9);
    EXPECT_NEAR(credit(-5, 0.25, 0.5).low_kg_ha, 0, 1e-9);
    EXPECT_NEAR(credit(-5, 0.25, 0.5).credit_kg_ha, 0.25, 1e-9);
    EXPECT_NEAR(credit(-5, 0.25, 0.5).high_kg_ha, 0.5, 1e-9);
    EXPECT_NEAR(credit(-5, -4, -3).high_kg_ha, 0, 1e-9);
    // A row of half a kilogram is still a row with a credit.
    const CreditTable small = table_of("home,cover,radish,any,,,,,,,0.5,0.5,,,,me,verified\n");
    CoverEvidence cover = evidence("radish", "brassica");
    cover.release_low_kg_ha = cover.release_kg_ha = 0.25;
    EXPECT_NEAR(cover_credit(small, "home", cover).credit_kg_ha, 0.25, 1e-9);
}

TEST(CreditLimits, WithoutARow) {
    const CreditTable table = table_of("home,cover,nothing,nothing,,,,,,,10,30,,,,me,verified\n");
    CoverEvidence cover = evidence("vetch-rye", "mix");
    CoverCredit credit = cover_credit(table, "home", cover);
    EXPECT_NEAR(credit.low_kg_ha, 20, 1e-9);
    EXPECT_NEAR(credit.credit_kg_ha, 60, 1e-9);
    EXPECT_NEAR(credit.high_kg_ha, 200, 1e-9);
    EXPECT_EQ(credit.confidence, Confidence::unchecked);
    cover.release_low_kg_ha = -3;
    cover.release_kg_ha = 0.25;
    cover.release_high_kg_ha = 0.5;
    credit = cover_credit(table, "home", cover);
    EXPECT_NEAR(credit.low_kg_ha, 0, 1e-9);
    EXPECT_NEAR(credit.credit_kg_ha, 0.25, 1e-9);
    EXPECT_NEAR(credit.high_kg_ha, 0.5, 1e-9);
    cover.release_low_kg_ha = cover.release_kg_ha = cover.release_high_kg_ha = -3;
    credit = cover_credit(table, "home", cover);
    EXPECT_EQ(credit.credit_kg_ha, 0);
    EXPECT_EQ(credit.high_kg_ha, 0);
    credit = cover_credit(table, "home", evidence("vetch"));
    EXPECT_NEAR(credit.credit_kg_ha, 60, 1e-9);  // a legume without height
    EXPECT_TRUE(mentions(credit.rule, "net release"));
    CoverEvidence odd = evidence("moss", "moss");
    credit = cover_credit(table, "home", odd);
    EXPECT_EQ(credit.low_kg_ha, 0);
    EXPECT_EQ(credit.credit_kg_ha, 0);
    EXPECT_EQ(credit.high_kg_ha, 0);
    EXPECT_TRUE(mentions(credit.rule, "no credit"));
    // A short mixture where the set knows tall ones only, and the common rules none.
    CoverEvidence low_mix = evidence("mix", "mix");
    low_mix.height_cm = 5;
    const CreditTable tall = table_of("home,cover,mix,mix,,,15,,,,10,30,,,,me,verified\n");
    EXPECT_TRUE(mentions(cover_credit(tall, "home", low_mix).rule, "net release"));
}

TEST(CreditLimits, CutsAndDoubts) {
    const CreditTable table = table_of("home,cover,vetch,any,,,,,,,40,80,,,,me,verified\n");
    const auto credit = [&](const std::function<void(CoverEvidence&)>& change) {
        CoverEvidence cover = evidence();
        change(cover);
        return cover_credit(table, "home", cover);
    };
    EXPECT_TRUE(credit([](CoverEvidence&) {}).cautions.empty());
    CoverCredit cut = credit([](CoverEvidence& c) { c.n_kg_ha = 50; });
    EXPECT_NEAR(cut.low_kg_ha, 40, 1e-9);
    EXPECT_NEAR(cut.credit_kg_ha, 50, 1e-9);
    EXPECT_NEAR(cut.high_kg_ha, 50, 1e-9);
    EXPECT_EQ(cut.cautions.at(0), "credit cut to the 50 kg/ha of nitrogen in the cover");
    EXPECT_NEAR(credit([](CoverEvidence& c) { c.n_kg_ha = 30; }).low_kg_ha, 30, 1e-9);
    EXPECT_TRUE(credit([](CoverEvidence& c) { c.n_kg_ha = 60; }).cautions.empty());
    EXPECT_TRUE(credit([](CoverEvidence& c) { c.n_kg_ha = 70; }).cautions.empty());
    // The residue ties up: no credit, whatever the table says.
    const auto releases = [](double low, double typical, double high) {
        return [=](CoverEvidence& c) {
            c.release_low_kg_ha = low;
            c.release_kg_ha = typical;
            c.release_high_kg_ha = high;
        };
    };
    const CoverCredit tied = credit(releases(-20, -5, 5));
    EXPECT_EQ(tied.low_kg_ha, 0.0);
    EXPECT_EQ(tied.credit_kg_ha, 0.0);
    EXPECT_NEAR(tied.high_kg_ha, 80, 1e-9);
    EXPECT_TRUE(mentions(tied.cautions.at(0), "table's credit of 60 kg/ha is not taken"));
    EXPECT_EQ(credit(releases(-20, -0.5, 5)).credit_kg_ha, 0.0);
    EXPECT_NEAR(credit(releases(-20, 0, 200)).credit_kg_ha, 60, 1e-9);
    CoverEvidence nothing = evidence("vetch");
    nothing.release_low_kg_ha = -20;
    nothing.release_kg_ha = -5;
    const CreditTable zero = table_of(
        "home,cover,vetch,any,,,,,,,0,0,,,,me,verified\n"
        "home,cover,pea,any,,,,,,,0.5,0.5,,,,me,verified\n");
    EXPECT_TRUE(cover_credit(zero, "home", nothing).cautions.empty());
    nothing.species = "pea";
    EXPECT_EQ(cover_credit(zero, "home", nothing).cautions.size(), 1u);
    EXPECT_EQ(cover_credit(zero, "home", nothing).credit_kg_ha, 0.0);
    // A table's credit above all that the residue could release is said, from half a kilogram on.
    EXPECT_TRUE(mentions(credit(releases(1, 2, 59.4)).cautions.at(0), "most this residue"));
    EXPECT_TRUE(credit(releases(1, 2, 59.5)).cautions.empty());
    EXPECT_TRUE(mentions(credit(releases(0.1, 0.2, 0.5)).cautions.at(0), "most this residue"));
    EXPECT_TRUE(credit(releases(0, 0, 0)).cautions.empty());
}

TEST(CreditLimits, WeakEvidence) {
    const CreditTable table = table_of(
        "home,cover,vetch,any,,,,,,,40,80,,,,me,verified\n"
        "home,cover,radish,any,,,,,,,10,20,,,,me,verified\n"
        "home,cover,pea,any,,,,,,,0,0.5,,,,me,verified\n"
        "home,cover,rye,any,,,,,,,0,0,,,,me,verified\n");
    const auto credit = [&](const std::string& species, const std::string& group,
                            const std::function<void(CoverEvidence&)>& change) {
        CoverEvidence cover = evidence(species, group);
        change(cover);
        return cover_credit(table, "home", cover);
    };
    const auto killed = [](CoverEvidence& c) { c.winterkilled = true; };
    const auto cold = [](CoverEvidence& c) { c.cold_dry = true; };
    const auto thin = [](CoverEvidence& c) { c.shoot_kg_ha = 1120.9; };
    const auto enough = [](CoverEvidence& c) { c.shoot_kg_ha = 1121.0; };
    EXPECT_NEAR(credit("vetch", "legume", killed).credit_kg_ha, 40, 1e-9);
    EXPECT_NEAR(credit("vetch", "legume", killed).full_credit_kg_ha, 60, 1e-9);
    EXPECT_EQ(credit("vetch", "legume", killed).low_kg_ha, 0.0);
    EXPECT_EQ(credit("vetch", "legume", cold).credit_kg_ha, 0.0);
    EXPECT_NEAR(credit("vetch", "legume", thin).credit_kg_ha, 40, 1e-9);
    EXPECT_TRUE(credit("vetch", "legume", thin).weak_evidence);
    EXPECT_FALSE(credit("vetch", "legume", enough).weak_evidence);
    EXPECT_NEAR(credit("vetch", "legume", enough).credit_kg_ha, 60, 1e-9);
    for (const auto& change :
         {std::function<void(CoverEvidence&)>(killed), std::function<void(CoverEvidence&)>(cold),
          std::function<void(CoverEvidence&)>(thin)}) {
        EXPECT_EQ(credit("radish", "brassica", change).credit_kg_ha, 0.0);
        EXPECT_TRUE(credit("radish", "brassica", change).weak_evidence);
        EXPECT_TRUE(credit("pea", "legume", change).weak_evidence);
        EXPECT_FALSE(credit("rye", "grass", change).weak_evidence);
    }
    EXPECT_TRUE(mentions(credit("vetch", "legume", killed).cautions.at(0),
                         "winterkilled: much is released before the crop needs it): credit of 40 "
                         "kg/ha instead of 60 kg/ha"));
    EXPECT_TRUE(mentions(credit("vetch", "legume", cold).cautions.at(0), "cold, dry region"));
    EXPECT_TRUE(mentions(credit("vetch", "legume", thin).cautions.at(0), "(little growth)"));
}

TEST(CreditLimits, TieUp) {
    const CreditTable table = table_of("home,cover,any,any,,,,,,,0,0,,,,me,verified\n");
    const auto credit = [&](double low, double typical, double high, double shoot = 3000,
                            std::optional<double> cn = {}) {
        CoverEvidence cover = evidence("rye", "grass");
        cover.release_low_kg_ha = low;
        cover.release_kg_ha = typical;
        cover.release_high_kg_ha = high;
        cover.shoot_kg_ha = shoot;
        cover.cn_ratio = cn;
        return cover_credit(table, "home", cover);
    };
    const CoverCredit middle = credit(-30, -20, -9.5);
    EXPECT_NEAR(middle.tie_up_low_kg_ha, 9.5, 1e-9);
    EXPECT_NEAR(middle.tie_up_kg_ha, 20, 1e-9);
    EXPECT_NEAR(middle.tie_up_high_kg_ha, 30, 1e-9);
    EXPECT_TRUE(middle.starter_advised);
    EXPECT_TRUE(middle.cautions.empty());
    EXPECT_EQ(credit(-30, -20, 4).tie_up_low_kg_ha, 0.0);
    EXPECT_EQ(credit(1, 2, 4).tie_up_high_kg_ha, 0.0);
    EXPECT_TRUE(credit(-10, -10, 0).starter_advised);
    EXPECT_FALSE(credit(-10, -9.9, 0).starter_advised);
    EXPECT_TRUE(credit(-56, -56, 0).cautions.empty());
    const CoverCredit capped = credit(-70, -60, -57);
    EXPECT_NEAR(capped.tie_up_kg_ha, 56, 1e-9);
    EXPECT_NEAR(capped.tie_up_high_kg_ha, 56, 1e-9);
    EXPECT_NEAR(capped.tie_up_low_kg_ha, 56, 1e-9);
    EXPECT_EQ(capped.cautions.at(0), "tie-up of 60 kg/ha counted up to the cap of 56 kg/ha");
    // A wide C:N alone asks for starter nitrogen, but not after thin growth.
    EXPECT_FALSE(credit(1, 2, 3, 3000, 24.0).starter_advised);
    EXPECT_TRUE(credit(1, 2, 3, 3000, 24.1).starter_advised);
    EXPECT_FALSE(credit(1, 2, 3, 500, 40.0).starter_advised);
    EXPECT_TRUE(credit(1, 2, 3, 3000, 24.1).advice.find("34 to 56") != std::string::npos);
    EXPECT_TRUE(credit(1, 2, 3).advice.empty());
    const CoverCredit thin = credit(-30, -20, -10, 500);
    EXPECT_EQ(thin.tie_up_kg_ha, 0.0);
    EXPECT_EQ(thin.tie_up_high_kg_ha, 0.0);
    EXPECT_TRUE(mentions(thin.cautions.at(0), "Pantoja 2015"));
    EXPECT_EQ(credit(-30, -0.5, 10, 500).tie_up_high_kg_ha, 0.0);
    EXPECT_NEAR(credit(-30, 0.0, 10, 500).tie_up_high_kg_ha, 30.0, 1e-9);
}

TEST(CreditLimits, EvidenceThatCannotBe) {
    const CreditTable table = table_of("home,cover,any,any,,,,,,,0,0,,,,me,verified\n");
    const auto refused = [&](const std::function<void(CoverEvidence&)>& change) {
        CoverEvidence cover = evidence();
        change(cover);
        return !message_of([&] { cover_credit(table, "home", cover); }).empty();
    };
    using Member = std::optional<double> CoverEvidence::*;
    for (const Member member : {&CoverEvidence::n_kg_ha, &CoverEvidence::cn_ratio,
                                &CoverEvidence::shoot_kg_ha, &CoverEvidence::height_cm}) {
        EXPECT_FALSE(refused([&](CoverEvidence& c) { c.*member = 0.0; }));
        EXPECT_FALSE(refused([&](CoverEvidence& c) { c.*member = 0.5; }));
        EXPECT_TRUE(refused([&](CoverEvidence& c) { c.*member = -0.1; }));
        EXPECT_TRUE(refused([&](CoverEvidence& c) { c.*member = infinity; }));
    }
    EXPECT_FALSE(refused(
        [](CoverEvidence& c) { c.release_low_kg_ha = c.release_high_kg_ha = c.release_kg_ha; }));
    EXPECT_TRUE(refused([](CoverEvidence& c) { c.release_low_kg_ha = c.release_kg_ha + 0.1; }));
    EXPECT_TRUE(refused([](CoverEvidence& c) { c.release_high_kg_ha = c.release_kg_ha - 0.1; }));
}

TEST(CreditLimits, TableFiguresFromBothSides) {
    const auto refusal = [](const std::string& row) { return message_of([&] { table_of(row); }); };
    EXPECT_EQ(refusal("home,cover,any,any,,,,,,,0,400,,,,me,verified\n"), "");
    EXPECT_NE(refusal("home,cover,any,any,,,,,,,-0.1,40,,,,me,verified\n"), "");
    EXPECT_NE(refusal("home,cover,any,any,,,,,,,0,400.1,,,,me,verified\n"), "");
    EXPECT_EQ(refusal("home,cover,any,any,,,,,,,40,40,,,,me,verified\n"), "");
    EXPECT_NE(refusal("home,cover,any,any,,,,,,,40.1,40,,,,me,verified\n"), "");
    EXPECT_EQ(refusal("home,cover,any,any,,,0,0.5,,,1,2,,,,me,verified\n"), "");
    EXPECT_NE(refusal("home,cover,any,any,,,5,5,,,1,2,,,,me,verified\n"), "");
    EXPECT_NE(refusal("home,cover,any,any,,,-0.1,5,,,1,2,,,,me,verified\n"), "");
    EXPECT_TRUE(mentions(refusal("home,cover,any,any,,,,,wet,,1,2,,,,me,verified\n"),
                         "unknown texture 'wet'"));
    EXPECT_TRUE(mentions(refusal("home,cover,any,any,nice,,,,,,1,2,,,,me,verified\n"),
                         "unknown stand 'nice'"));
    EXPECT_TRUE(mentions(refusal("home,cover,any,any,,noon,,,,,1,2,,,,me,verified\n"),
                         "unknown sowing season 'noon'"));
    EXPECT_TRUE(mentions(refusal("home,use,any,any,,,,,,,1,2,,,,me,verified\n"), "'use'"));
    EXPECT_EQ(refusal("home,cover,any,any,,,,,,2,1,2,,,,me,verified\n"), "");
    EXPECT_NE(refusal("home,cover,any,any,,,,,,3,1,2,,,,me,verified\n"), "");
    EXPECT_NE(refusal("home,cover,any,any,,,,,,1.5,1,2,,,,me,verified\n"), "");
    EXPECT_EQ(refusal("home,cover,any,any,,,,,,,1,2,0,,0,me,verified\n"), "");
    EXPECT_TRUE(mentions(refusal("home,cover,any,any,,,,,,,1,2,0.5,,,me,verified\n"),
                         "coarse_change_kg_ha"));
    EXPECT_TRUE(mentions(refusal("home,cover,any,any,,,,,,,1,2,,,0.5,me,verified\n"),
                         "short_change_kg_ha"));
    EXPECT_NE(refusal(",cover,any,any,,,,,,,1,2,,,,me,verified\n"), "");
    EXPECT_NE(refusal("home,cover,,any,,,,,,,1,2,,,,me,verified\n"), "");
    EXPECT_NE(refusal("home,cover,any,,,,,,,,1,2,,,,me,verified\n"), "");
    EXPECT_NE(refusal("home,cover,any,any,,,,,,,1,2,,,,,verified\n"), "");
    EXPECT_NE(refusal("home,cover,any,any,,,,,,,1,2,,,,me,perhaps\n"), "");
    EXPECT_NE(refusal(""), "");
}

TEST(CreditLimits, PreviousCropManureAndWater) {
    const CreditTable table = table_of(
        "home,previous-crop,soybean,any,,,,,,,40,40,,,,me,verified\n"
        "home,forage,alfalfa,any,poor,,,,,,60,60,,,,me,verified\n"
        "home,forage,alfalfa,any,good,,,,,,90,90,,,,me,verified\n"
        "home,previous-crop,alfalfa,any,,,,,,,10,10,,,,me,verified\n");
    CoverEvidence crop = evidence("alfalfa");
    OtherCredit credit = *previous_crop_credit(table, "home", crop);
    EXPECT_NEAR(credit.credit_kg_ha, 60, 1e-9);
    EXPECT_EQ(credit.cautions.at(0), "stand of the previous alfalfa not given: counted as poor");
    crop.stand = Stand::good;
    credit = *previous_crop_credit(table, "home", crop);
    EXPECT_NEAR(credit.credit_kg_ha, 90, 1e-9);
    EXPECT_TRUE(credit.cautions.empty());
    EXPECT_TRUE(previous_crop_credit(table, "home", evidence("soybean"))->cautions.empty());
    EXPECT_EQ(previous_crop_credit(table, "home", evidence("soybean"))->source, "me (home)");
    EXPECT_FALSE(previous_crop_credit(table, "home", evidence("rye")));

    const auto manure = [](double rate, double n) {
        return manure_credit(rate, n, "lab", Confidence::verified);
    };
    EXPECT_NEAR(manure(20, 3).low_kg_ha, 48, 1e-9);
    EXPECT_NEAR(manure(20, 3).credit_kg_ha, 60, 1e-9);
    EXPECT_NEAR(manure(20, 3).high_kg_ha, 72, 1e-9);
    EXPECT_EQ(manure(0, 0).credit_kg_ha, 0);
    EXPECT_NEAR(manure(0.5, 0.5).credit_kg_ha, 0.25, 1e-9);
    EXPECT_NO_THROW(manure(500, 60));
    EXPECT_THROW(manure(-0.1, 1), Error);
    EXPECT_THROW(manure(500.1, 1), Error);
    EXPECT_THROW(manure(1, -0.1), Error);
    EXPECT_THROW(manure(1, 60.1), Error);
    for (const ManureRow& row : manures()) EXPECT_FALSE(row.source.empty());

    EXPECT_NEAR(irrigation_credit(300, 10).credit_kg_ha, 30, 1e-9);
    EXPECT_NEAR(irrigation_credit(300, 10).low_kg_ha, 24, 1e-9);
    EXPECT_NEAR(irrigation_credit(300, 10).high_kg_ha, 33, 1e-9);
    EXPECT_TRUE(irrigation_credit(300, 10).cautions.empty());
    EXPECT_EQ(irrigation_credit(300, 10.1).cautions.size(), 1u);
    EXPECT_EQ(irrigation_credit(0, 0).credit_kg_ha, 0);
    EXPECT_NEAR(irrigation_credit(0.5, 0.5).credit_kg_ha, 0.0025, 1e-12);
    EXPECT_NO_THROW(irrigation_credit(3000, 100));
    EXPECT_THROW(irrigation_credit(-0.1, 1), Error);
    EXPECT_TRUE(mentions(message_of([] { irrigation_credit(3000.1, 1); }),
                         "irrigation of 3000.1 mm is outside 0 to 3000"));
    EXPECT_THROW(irrigation_credit(1, -0.1), Error);
    EXPECT_THROW(irrigation_credit(1, 100.1), Error);
}

// --- leaching ------------------------------------------------------------------------------------

// Williams & Kissel 1991 in inches, a second time.
TEST(LeachingLimits, IndexAndClassesOverAllGroups) {
    const double numbers[] = {28, 21, 17, 15};
    for (int precip_in = 0; precip_in <= 80; precip_in += 2) {
        for (const double share : {0.0, 0.2, 0.5, 1.0}) {
            double highest = -1;
            for (int g = 3; g >= 0; --g) {
                const double s = 1000 / numbers[g] - 10;
                const double p = precip_in, winter = share * p;
                const double percolation =
                    p > 0.4 * s ? std::pow(p - 0.4 * s, 2) / (p + 0.6 * s) : 0;
                const double expected =
                    percolation > 0 ? percolation * std::cbrt(2 * winter / p) : 0;
                const LeachingIndex index = leaching_index(
                    p * 25.4, winter * 25.4, std::string(1, static_cast<char>('a' + g)));
                EXPECT_NEAR(index.index_in, expected, 1e-9) << precip_in << " " << g;
                EXPECT_EQ(index.leaching_class, expected < 2     ? LeachingClass::low
                                                : expected <= 10 ? LeachingClass::moderate
                                                                 : LeachingClass::high);
                EXPECT_EQ(index.group, 'A' + g);
                highest = std::max(highest, expected);
            }
            EXPECT_NEAR(leaching_index(precip_in * 25.4, share * precip_in * 25.4, "D/A").index_in,
                        highest, 1e-9);
            EXPECT_NEAR(leaching_index(precip_in * 25.4, share * precip_in * 25.4, "A/D").index_in,
                        highest, 1e-9);
        }
    }
    EXPECT_EQ(leaching_index(1200, 500, "A/D").group, 'A');
    EXPECT_EQ(leaching_index(1200, 500, "D/A").group, 'A');
    EXPECT_EQ(leaching_index(0, 0, "D/A").group, 'D');  // none leaches: the first
}

TEST(LeachingLimits, EachFigureFromBothSides) {
    EXPECT_NO_THROW(leaching_index(0, 0, "A"));
    EXPECT_NO_THROW(leaching_index(0.5, 0.5, "A"));
    EXPECT_NO_THROW(leaching_index(6000, 6000, "A"));
    EXPECT_THROW(leaching_index(-0.1, -0.1, "A"), Error);
    EXPECT_THROW(leaching_index(6000.1, 100, "A"), Error);
    EXPECT_THROW(leaching_index(500, -0.1, "A"), Error);
    EXPECT_THROW(leaching_index(500, 500.1, "A"), Error);
    for (const char* group : {"E", "AB", "", "@", "A/E"})
        EXPECT_THROW(leaching_index(500, 100, group), Error) << group;
    LeachingIndex index;
    index.leaching_class = LeachingClass::moderate;
    EXPECT_NO_THROW(winter_nitrate(index, 0, 0, 0));
    EXPECT_NO_THROW(winter_nitrate(index, 0.5, 0.5, 0.5));
    EXPECT_THROW(winter_nitrate(index, -0.1, 0, 0), Error);
    EXPECT_THROW(winter_nitrate(index, 0, -0.1, 0), Error);
    EXPECT_THROW(winter_nitrate(index, 0, 0, -0.1), Error);
}

TEST(LeachingLimits, LossIsAShareOfWhatIsAtRisk) {
    for (const LeachingClass c :
         {LeachingClass::low, LeachingClass::moderate, LeachingClass::high}) {
        LeachingIndex index;
        index.leaching_class = c;
        const WinterNitrate one = winter_nitrate(index, 1, 0, 0);
        const WinterNitrate many = winter_nitrate(index, 60, 40, 30);
        EXPECT_NEAR(many.at_risk_kg_ha, 100, 1e-9);
        EXPECT_NEAR(many.at_risk_with_cover_kg_ha, 70, 1e-9);
        EXPECT_NEAR(many.loss_low_kg_ha, 100 * one.loss_low_kg_ha, 1e-9);
        EXPECT_NEAR(many.loss_kg_ha, 100 * one.loss_kg_ha, 1e-9);
        EXPECT_NEAR(many.loss_high_kg_ha, 100 * one.loss_high_kg_ha, 1e-9);
        EXPECT_NEAR(many.loss_with_cover_kg_ha, 70 * one.loss_kg_ha, 1e-9);
        EXPECT_LT(one.loss_low_kg_ha, one.loss_kg_ha);
        EXPECT_LT(one.loss_kg_ha, one.loss_high_kg_ha);
        EXPECT_LE(one.loss_high_kg_ha, 1.0);
        EXPECT_EQ(winter_nitrate(index, 1, 0, 5).at_risk_with_cover_kg_ha, 0.0);
        const std::size_t said = c == LeachingClass::low ? 0u : 1u;
        EXPECT_EQ(many.cautions.size(), said);
        EXPECT_EQ(winter_nitrate(index, 1, 0, 0, true).cautions.size(), 2 * said);
    }
    LeachingIndex low, moderate, high;
    moderate.leaching_class = LeachingClass::moderate;
    high.leaching_class = LeachingClass::high;
    EXPECT_LT(winter_nitrate(low, 1, 0, 0).loss_kg_ha,
              winter_nitrate(moderate, 1, 0, 0).loss_kg_ha);
    EXPECT_LT(winter_nitrate(moderate, 1, 0, 0).loss_kg_ha,
              winter_nitrate(high, 1, 0, 0).loss_kg_ha);
}

// --- methods and soil tests ----------------------------------------------------------------------

TEST(MethodLimits, WhatEachMethodContains) {
    const auto words = [](const char* id) {
        const Contains& c = method(id).contains;
        std::string text;
        for (const bool one :
             {c.soil_nitrate, c.organic_matter, c.previous_crop, c.manure, c.irrigation, c.cover})
            text += one ? '1' : '0';
        return text;
    };
    EXPECT_EQ(words("balance"), "010000");
    EXPECT_EQ(words("balance-full"), "000000");
    EXPECT_EQ(words("corn-balance"), "110000");
    EXPECT_EQ(words("late-spring"), "111111");
    EXPECT_EQ(words("response"), "111010");
    EXPECT_EQ(words("average-response"), "111010");
    EXPECT_EQ(words("fixed"), "111110");
    EXPECT_TRUE(mentions(message_of([] { method("balence"); }), "Did you mean 'balance'?"));
    EXPECT_TRUE(
        mentions(message_of([] { method("xxxxxxxxxxxxxxxxx"); }), "Known methods: balance, "));
    EXPECT_TRUE(mentions(message_of([] { method("balance").require("n_lb_per_bu", "soybean"); }),
                         "corn, "));
}

TEST(MethodLimits, LateSpringFromBothSides) {
    const Method& test = method("late-spring");
    EXPECT_NEAR(late_spring_need_lb_ac(test, 4, 10), 48, 1e-9);
    EXPECT_NEAR(late_spring_need_lb_ac(test, 4, 30), 208, 1e-9);
    EXPECT_EQ(late_spring_need_lb_ac(test, 40, 30), 0.0);
    EXPECT_NEAR(late_spring_need_lb_ac(test, 4, 30, 90.0), 90, 1e-9);
    EXPECT_NEAR(late_spring_need_lb_ac(test, 20, 25, 90.0), 40, 1e-9);
    EXPECT_THROW(late_spring_need_lb_ac(test, 4, 9.9), Error);
    EXPECT_THROW(late_spring_need_lb_ac(test, 4, 30.1), Error);
    EXPECT_NO_THROW(late_spring_need_lb_ac(test, 0, 20));
    EXPECT_NO_THROW(late_spring_need_lb_ac(test, 0.5, 20));
    EXPECT_NO_THROW(late_spring_need_lb_ac(test, 500, 20));
    EXPECT_THROW(late_spring_need_lb_ac(test, -0.1, 20), Error);
    EXPECT_THROW(late_spring_need_lb_ac(test, 500.1, 20), Error);
    EXPECT_NEAR(corn_balance_need_lb_ac(method("corn-balance"), 100, 5, 0.2, 10, 0.9, 0.8),
                (35 + 120 - 40 - 7 - 10) * 0.72, 1e-9);
    EXPECT_NEAR(corn_balance_need_lb_ac(method("corn-balance"), 100, 5, 9.0), 35 + 120 - 40 - 42,
                1e-9);
    EXPECT_NEAR(balance_need_lb_ac(1.2, 150), 180, 1e-9);
}

TEST(SoilTestLimits, LayersFromBothSides) {
    const auto refusal = [](std::vector<NitrateLayer> layers) {
        return message_of([&] { stack_layers(std::move(layers)); });
    };
    EXPECT_EQ(refusal({{0, 30, 0, 0.5}}), "");
    EXPECT_EQ(refusal({{0, 30, 500, 2.2}}), "");
    EXPECT_EQ(refusal({{0, 0.5, 0.5, {}}}), "");
    EXPECT_EQ(refusal({{0, 500, 5, {}}}), "");
    EXPECT_TRUE(mentions(refusal({{0, 500.5, 5, {}}}), "at most at 500 cm"));
    for (const NitrateLayer& wrong : {NitrateLayer{0, 30, -0.1, {}}, NitrateLayer{0, 30, 500.1, {}},
                                      NitrateLayer{0, 30, 5, 0.49}, NitrateLayer{0, 30, 5, 2.21},
                                      NitrateLayer{30, 30, 5, {}}, NitrateLayer{-1, 30, 5, {}}})
        EXPECT_NE(refusal({wrong}), "");
    EXPECT_NE(refusal({}), "");
    EXPECT_EQ(refusal({{0, 30, 5, {}}, {29.5, 60, 5, {}}}), "");
    EXPECT_TRUE(mentions(refusal({{0, 30, 5, {}}, {29.4, 60, 5, {}}}), "overlap"));
    const auto warnings = [](std::vector<NitrateLayer> layers) {
        return stack_layers(std::move(layers)).warnings;
    };
    EXPECT_TRUE(warnings({{0, 60, 100, {}}}).empty());
    EXPECT_EQ(warnings({{0, 60, 100.1, {}}}).size(), 1u);
    EXPECT_EQ(warnings({{0, 59.9, 10, {}}}).size(), 1u);
    EXPECT_TRUE(warnings({{0, 30, 10, {}}, {30.5, 61, 10, {}}}).empty());
    EXPECT_EQ(warnings({{0, 30, 10, {}}, {30.6, 61, 10, {}}}).size(), 1u);
    EXPECT_EQ(warnings({{10, 80, 10, {}}}).size(), 1u);
    EXPECT_TRUE(warnings({{0.1, 80, 10, {}}}).empty());
    EXPECT_TRUE(mentions(warnings({{0.11, 80, 10, {}}}).at(0), "begins at 0.11 cm"));
    EXPECT_TRUE(mentions(warnings({{0, 45.4, 10, {}}}).at(0), "over 45 cm only"));
    const NitrateProfile mixed = stack_layers({{30, 60, 4, 1.5}, {0, 30, 10, {}}});
    EXPECT_NEAR(mixed.depth_cm, 60, 1e-9);
    EXPECT_NEAR(mixed.mean_ppm, 7, 1e-9);
    EXPECT_NEAR(mixed.n_kg_ha, 0.1 * 10 * 30 * field_rule_density_g_cm3 + 0.1 * 4 * 1.5 * 30, 1e-9);
    EXPECT_TRUE(mixed.field_rule);
    EXPECT_FALSE(stack_layers({{0, 60, 4, 1.5}}).field_rule);
    EXPECT_NEAR(nitrate_n_from_nitrate(62.005), 14.007, 1e-9);
}

TEST(SoilTestLimits, NitrateToADepth) {
    const std::vector<NitrateLayer> layers = {{0, 20, 10, 1.3}, {20, 60, 4, 1.5}};
    EXPECT_NEAR(*nitrate_to_depth_kg_ha(layers, 30), 0.1 * (10 * 1.3 * 20 + 4 * 1.5 * 10), 1e-9);
    EXPECT_NEAR(*nitrate_to_depth_kg_ha(layers, 20), 26, 1e-9);
    EXPECT_NEAR(*nitrate_to_depth_kg_ha({{0, 15, 10, 1.0}}, 30), 30, 1e-9);  // half is enough
    EXPECT_FALSE(nitrate_to_depth_kg_ha({{0, 14.9, 10, 1.0}}, 30));
    EXPECT_FALSE(nitrate_to_depth_kg_ha({{30, 60, 10, 1.0}}, 30));
    EXPECT_FALSE(nitrate_to_depth_kg_ha({{35, 60, 10, 1.0}}, 30));
}

TEST(SoilTestLimits, OrganicMatter) {
    for (const double om : {0.0, 3.0, 6.0, 7.0, 100.0}) {
        const double n = std::min(om, 6.0) * 20 * kg_ha_per_lb_ac;
        EXPECT_NEAR(organic_matter_supply(om).low_kg_ha, n / 2, 1e-9);
        EXPECT_NEAR(organic_matter_supply(om).n_kg_ha, n, 1e-9);
        EXPECT_NEAR(organic_matter_supply(om).high_kg_ha, 2 * n, 1e-9);
    }
    EXPECT_THROW(organic_matter_supply(-0.1), Error);
    EXPECT_THROW(organic_matter_supply(100.1), Error);
}

TEST(SoilTestLimits, ValueOfAZone) {
    const std::vector<TestPoint> points = {
        {{0, 0}, 10, 1}, {{0, 100}, 14, 1}, {{100, 0}, 18, 1}, {{300, 0}, 40, 2}, {{0, 300}, 4, 2}};
    const ZoneValue own = *zone_value(points, 1, {0, 0}, 3);
    EXPECT_EQ(own.kind, ZoneValueKind::zone_mean);
    EXPECT_NEAR(own.value, 14, 1e-9);
    const double error = std::sqrt(32 / 2.0 / 3.0);  // sd of the mean of 10, 14, 18
    EXPECT_NEAR(own.low, 14 - error, 1e-9);
    EXPECT_NEAR(own.high, 14 + error, 1e-9);
    EXPECT_EQ(own.points, 3);
    EXPECT_TRUE(own.warnings.empty());
    // Two points in the zone: from all of them by inverse squared distance, spread of the field.
    const Point centre{200, 50};
    const ZoneValue between = *zone_value(points, 2, centre, 3);
    EXPECT_EQ(between.kind, ZoneValueKind::interpolated);
    double weights = 0, sum = 0, mean = 0, square = 0;
    for (const TestPoint& p : points) {
        const double d2 = std::pow(p.at.x - 200, 2) + std::pow(p.at.y - 50, 2);
        weights += 1 / d2;
        sum += p.value / d2;
        mean += p.value / 5;
    }
    for (const TestPoint& p : points) square += std::pow(p.value - mean, 2);
    EXPECT_NEAR(between.value, sum / weights, 1e-9);
    EXPECT_NEAR(between.low, sum / weights - std::sqrt(square / 4), 1e-9);
    EXPECT_NEAR(between.high, sum / weights + std::sqrt(square / 4), 1e-9);
    EXPECT_EQ(between.warnings.at(0),
              "only 2 test points in the zone: value interpolated from the field's 5");
    EXPECT_NEAR(zone_value(points, 3, {0, 0}, 3)->value,
                (10 + 14e-4 + 18e-4 + 40 / 9e4 + 4 / 9e4) / (1 + 2e-4 + 2 / 9e4), 1e-9);
    // One point where one is enough: its own value, with the spread of the field.
    const ZoneValue single = *zone_value({{{0, 0}, 8, 1}, {{1, 1}, 12, 2}}, 1, {0, 0}, 1);
    EXPECT_EQ(single.kind, ZoneValueKind::zone_mean);
    EXPECT_NEAR(single.value, 8, 1e-9);
    EXPECT_NEAR(single.high, 8 + std::sqrt(8), 1e-9);
    // Two where two are enough: 8 and 12 have a mean of 10 with a standard error of sqrt(8 / 2).
    const ZoneValue two =
        *zone_value({{{0, 0}, 8, 1}, {{1, 1}, 12, 1}, {{2, 2}, 90, 2}}, 1, {0, 0}, 2);
    EXPECT_NEAR(two.value, 10, 1e-9);
    EXPECT_NEAR(two.high, 12, 1e-9);
    // The level of the values has no part in their spread, even where it is a billion times larger.
    std::vector<TestPoint> raised = points;
    for (TestPoint& point : raised) point.value += 1e9;
    raised[2].value += 1;  // 10, 14, 19: squares about their mean add up to 122 / 3
    const ZoneValue level = *zone_value(raised, 1, {0, 0}, 3);
    EXPECT_NEAR(level.high - level.value, std::sqrt(122 / 3.0 / 2.0 / 3.0), 1e-6);
    raised[2].value -= 1;
    const ZoneValue high = *zone_value(raised, 2, centre, 3);
    EXPECT_NEAR(high.high - high.value, std::sqrt(square / 4), 1e-6);
    const ZoneValue field = *zone_value({{{0, 0}, 8, 1}, {{1, 1}, 12, 2}}, 1, {0, 0}, 3);
    EXPECT_EQ(field.kind, ZoneValueKind::field_mean);
    EXPECT_NEAR(field.value, 10, 1e-9);
    EXPECT_NEAR(field.low, 10 - std::sqrt(8), 1e-9);
    EXPECT_EQ(field.warnings.at(0),
              "only 2 test points in the field: their mean stands for the zone");
    const ZoneValue alone = *zone_value({{{0, 0}, 8, 1}}, 2, {0, 0}, 3);
    EXPECT_EQ(alone.low, 8.0);
    EXPECT_EQ(zone_value({{{0, 0}, 8, 1}, {{1, 1}, 12, 1}, {{2, 2}, 13, 1}}, 2, {5, 5}, 0)->kind,
              ZoneValueKind::interpolated);
    EXPECT_FALSE(zone_value({}, 1, {0, 0}, 3));
    EXPECT_THROW(zone_value({{{0, 0}, infinity, 1}}, 1, {0, 0}, 3), Error);
}

}  // namespace
}  // namespace catchfield::nitrogen
