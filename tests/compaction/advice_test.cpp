// SPDX-License-Identifier: MIT
// Each condition of the taproot advice decides as documented.
#include "compaction/advice.hpp"

#include "base/error.hpp"

#include <gtest/gtest.h>

#include <algorithm>

namespace catchfield::compaction {
namespace {

/// A zone where a taproot pays: a traffic pan at 22 cm in most stops, time and nitrogen enough,
/// drained.
ZoneFacts good() {
    return {.evidence = LayerEvidence::stops,
            .layer_top_cm = 22.0,
            .layer_thickness_cm = 9.0,
            .layer_source = "median of 12 of 15 stops",
            .share_above = 0.8,
            .stops = 15,
            .gdd = 1100.0,
            .soil_nitrate_kg_ha = 45.0,
            .drainage = "well drained",
            .poorly_drained = false,
            .somewhat_poor = false,
            .nature = PanNature::traffic_possible,
            .nature_reason = "no natural pan is described"};
}

bool any_mentions(const std::vector<std::string>& lines, const std::string& part) {
    return std::any_of(lines.begin(), lines.end(), [&](const std::string& line) {
        return line.find(part) != std::string::npos;
    });
}

/// Expects exactly that condition (by place) to have the outcome, and the advice that follows.
void expect_only(const ZoneFacts& facts, std::size_t which, Outcome outcome) {
    const TaprootAdvice advice = advise_taproot(facts);
    for (std::size_t i = 0; i < advice.conditions.size(); ++i)
        EXPECT_EQ(advice.conditions[i].outcome, i == which ? outcome : Outcome::pass)
            << advice.conditions[i].name << ": " << advice.conditions[i].figure;
    EXPECT_EQ(advice.advice, outcome == Outcome::fail ? Advice::not_recommended : Advice::unclear);
    EXPECT_NE(advice.summary.find(advice.conditions[which].name), std::string::npos)
        << advice.summary;
    EXPECT_FALSE(advice.instead.empty());
    EXPECT_FALSE(advice.seed_min_kg_ha);
}

TEST(Advice, RecommendedWhereAllIsMet) {
    const TaprootAdvice advice = advise_taproot(good());
    EXPECT_EQ(advice.advice, Advice::recommended);
    ASSERT_EQ(advice.conditions.size(), 6u);
    for (const Condition& condition : advice.conditions) {
        EXPECT_EQ(condition.outcome, Outcome::pass) << condition.name;
        EXPECT_FALSE(condition.figure.empty());
        EXPECT_FALSE(condition.rule.empty());
        EXPECT_FALSE(condition.source.empty());
    }
    EXPECT_DOUBLE_EQ(*advice.seed_min_kg_ha, 9.0);
    EXPECT_DOUBLE_EQ(*advice.seed_max_kg_ha, 14.6);
    EXPECT_TRUE(any_mentions(advice.cautions, "do not loosen"));
    EXPECT_EQ(advice.confidence, Confidence::assumption);
}

TEST(Advice, EachConditionAlone) {
    ZoneFacts facts = good();
    facts.layer_top_cm = 5.0;
    expect_only(facts, 0, Outcome::fail);
    facts.layer_top_cm = 48.0;
    expect_only(facts, 0, Outcome::fail);
    EXPECT_TRUE(any_mentions(advise_taproot(facts).instead, "perennial"));
    facts.layer_top_cm.reset();
    expect_only(facts, 0, Outcome::unknown);
    facts.no_layer = true;
    expect_only(facts, 0, Outcome::fail);

    facts = good();
    facts.share_above = 0.29;
    expect_only(facts, 1, Outcome::fail);
    facts.share_above.reset();
    expect_only(facts, 1, Outcome::unknown);
    facts.share_above = 0.9;
    facts.stops = 2;
    expect_only(facts, 1, Outcome::unknown);

    facts = good();
    facts.gdd = 900.0;
    expect_only(facts, 2, Outcome::fail);
    facts.gdd.reset();
    expect_only(facts, 2, Outcome::unknown);

    facts = good();
    facts.soil_nitrate_kg_ha = 12.0;
    expect_only(facts, 3, Outcome::fail);
    facts.legume_or_manure = true;
    EXPECT_EQ(advise_taproot(facts).advice, Advice::recommended);
    facts.legume_or_manure = false;
    facts.soil_nitrate_kg_ha.reset();
    expect_only(facts, 3, Outcome::unknown);

    facts = good();
    facts.poorly_drained = true;
    expect_only(facts, 4, Outcome::fail);
    facts.poorly_drained.reset();
    expect_only(facts, 4, Outcome::unknown);
    facts.poorly_drained = false;
    facts.somewhat_poor = true;
    expect_only(facts, 4, Outcome::unknown);
    facts.water_table_cm = 20.0;
    expect_only(facts, 4, Outcome::fail);
    facts.water_table_cm = 60.0;
    EXPECT_EQ(advise_taproot(facts).advice, Advice::recommended);

    facts = good();
    facts.nature = PanNature::natural;
    expect_only(facts, 5, Outcome::fail);
    facts.nature = PanNature::unknown;
    expect_only(facts, 5, Outcome::unknown);
    facts = good();
    facts.natural_pan_top_cm = 20.0;
    expect_only(facts, 5, Outcome::fail);
    facts.natural_pan_top_cm = 28.0;
    expect_only(facts, 5, Outcome::unknown);
    facts.natural_pan_top_cm = 90.0;
    EXPECT_EQ(advise_taproot(facts).advice, Advice::recommended);
}

TEST(Advice, SaysWhatItRestsOn) {
    ZoneFacts facts = good();
    facts.evidence = LayerEvidence::soil_map;
    facts.share_above.reset();
    facts.dry_or_wet_readings = true;
    facts.gdd = 1500.0;
    const TaprootAdvice advice = advise_taproot(facts);
    EXPECT_EQ(advice.advice, Advice::unclear);
    EXPECT_TRUE(any_mentions(advice.cautions, "soil map"));
    EXPECT_TRUE(any_mentions(advice.cautions, "field capacity"));
    EXPECT_TRUE(any_mentions(advice.cautions, "longer than radish needs"));
    EXPECT_TRUE(any_mentions(advice.instead, "penetrometer"));
    const TaprootAdvice nothing = advise_taproot({});
    EXPECT_EQ(nothing.advice, Advice::unclear);
    for (const Condition& condition : nothing.conditions)
        EXPECT_EQ(condition.outcome, Outcome::unknown) << condition.name;
}

TEST(Advice, LimitsCanBeReplaced) {
    const auto table = [](const std::string& rows) {
        return Table::parse("key,value,unit,source,confidence\n" + rows, "limits.csv");
    };
    EXPECT_THROW(read_advice_limits(table("layer_top_min,10,cm,own,assumption\n")), Error);
    EXPECT_THROW(read_advice_limits(table("layer_topp,10,cm,own,assumption\n")), Error);
    AdviceLimits limits = default_advice_limits();
    EXPECT_NEAR(limits.gdd_min.value, 1700.0 / 1.8, 1.0);  // Bjorkman 2012, Fahrenheit degree-days
    EXPECT_NEAR(limits.gdd_max.value, 2300.0 / 1.8, 1.0);
    limits.layer_top_max_cm.value = 20.0;
    EXPECT_EQ(advise_taproot(good(), limits).advice, Advice::not_recommended);
}

}  // namespace
}  // namespace catchfield::compaction
