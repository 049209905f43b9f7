// SPDX-License-Identifier: MIT
// Credits and tie-up against the tables and rules they come from.
#include "nitrogen/credits.hpp"

#include "base/error.hpp"
#include "base/random.hpp"
#include "base/units.hpp"

#include <gtest/gtest.h>

namespace catchfield::nitrogen {
namespace {

double lb_ac(double kg_ha) {
    return kg_ha / units::kg_ha_per_lb_ac;
}

CoverEvidence legume(const std::string& species) {
    CoverEvidence cover;
    cover.species = species;
    cover.group = "legume";
    cover.n_kg_ha = 150.0;
    cover.release_low_kg_ha = 30.0;
    cover.release_kg_ha = 60.0;
    cover.release_high_kg_ha = 100.0;
    cover.cn_ratio = 13.0;
    cover.shoot_kg_ha = 4000.0;
    return cover;
}

CoverEvidence rye(double release_kg_ha) {
    CoverEvidence cover;
    cover.species = "rye";
    cover.group = "grass";
    cover.n_kg_ha = 60.0;
    cover.release_low_kg_ha = release_kg_ha - 15.0;
    cover.release_kg_ha = release_kg_ha;
    cover.release_high_kg_ha = release_kg_ha + 15.0;
    cover.cn_ratio = 40.0;
    cover.shoot_kg_ha = 5000.0;
    return cover;
}

CoverCredit wisconsin(const CoverEvidence& cover) {
    return cover_credit(CreditTable::built_in(), "wisconsin", cover);
}

// N13: common practice, 40 lb/ac for a legume under 6 in.
TEST(CoverCredit, N13ShortLegume) {
    CoverEvidence clover = legume("red-clover");
    clover.height_cm = 4 * 2.54;
    clover.season = SowingSeason::late_summer;
    clover.shoot_kg_ha.reset();
    const CoverCredit credit = wisconsin(clover);
    EXPECT_NEAR(lb_ac(credit.credit_kg_ha), 40.0, 1e-9);
    EXPECT_EQ(credit.confidence, Confidence::common_practice);
    clover.species = "a legume nobody lists";
    EXPECT_NEAR(lb_ac(wisconsin(clover).credit_kg_ha), 40.0, 1e-9);
    clover.species = "red_clover";
    clover.coarse_soil = true;  // 40 - 50, floor 0
    EXPECT_DOUBLE_EQ(wisconsin(clover).credit_kg_ha, 0.0);
}

// N14: UW Extension species note, berseem after small grain 40-60 lb/ac.
TEST(CoverCredit, N14Berseem) {
    CoverEvidence berseem = legume("berseem-clover");
    berseem.height_cm = 25.0;
    berseem.stand = Stand::good;
    berseem.season = SowingSeason::late_summer;
    const double credit = lb_ac(wisconsin(berseem).credit_kg_ha);
    EXPECT_GE(credit, 40.0);
    EXPECT_LE(credit, 60.0);
    // A2809 footnote: upper end if seeded in spring, lower end in late summer.
    berseem.stand = Stand::unknown;
    EXPECT_NEAR(lb_ac(wisconsin(berseem).credit_kg_ha), 40.0, 1e-9);
    berseem.season = SowingSeason::spring;
    EXPECT_NEAR(lb_ac(wisconsin(berseem).credit_kg_ha), 60.0, 1e-9);
    // UW Extension: sandy soil, subtract 50.
    berseem.coarse_soil = true;
    EXPECT_NEAR(lb_ac(wisconsin(berseem).credit_kg_ha), 10.0, 1e-9);
}

// N15: UW Extension species note, field pea cover 20 lb/ac; a short stand is not worth more.
TEST(CoverCredit, N15FieldPea) {
    CoverEvidence pea = legume("field-pea");
    EXPECT_NEAR(lb_ac(wisconsin(pea).credit_kg_ha), 20.0, 1e-9);
    pea.height_cm = 10.0;
    EXPECT_NEAR(lb_ac(wisconsin(pea).credit_kg_ha), 20.0, 1e-9);
}

// N16: rye at heading gives no credit and ties nitrogen up (common practice; PNW 636).
TEST(CoverCredit, N16RyeAtHeading) {
    const CoverCredit credit = wisconsin(rye(-30.0));
    EXPECT_DOUBLE_EQ(credit.credit_kg_ha, 0.0);
    EXPECT_DOUBLE_EQ(credit.high_kg_ha, 0.0);
    EXPECT_DOUBLE_EQ(credit.tie_up_kg_ha, 30.0);
    EXPECT_DOUBLE_EQ(credit.tie_up_low_kg_ha, 15.0);
    EXPECT_DOUBLE_EQ(credit.tie_up_high_kg_ha, 45.0);
    EXPECT_TRUE(credit.starter_advised);
    EXPECT_FALSE(credit.advice.empty());
}

// PNW 636: late cereals tie up as much as 50 lb/ac = 56 kg/ha.
TEST(CoverCredit, TieUpIsCapped) {
    const CoverCredit credit = wisconsin(rye(-148.0));
    EXPECT_DOUBLE_EQ(credit.tie_up_kg_ha, 56.0);
    EXPECT_DOUBLE_EQ(credit.tie_up_high_kg_ha, 56.0);
    EXPECT_FALSE(credit.cautions.empty());
}

// Pantoja 2015: optimum rates unchanged after thin rye, so no automatic allowance.
TEST(CoverCredit, ThinRyeHasNoAllowance) {
    CoverEvidence thin = rye(-12.0);
    thin.shoot_kg_ha = 600.0;
    const CoverCredit credit = wisconsin(thin);
    EXPECT_DOUBLE_EQ(credit.tie_up_kg_ha, 0.0);
    EXPECT_FALSE(credit.starter_advised);
}

// N17: alfalfa, good stand, 10 in regrowth, silt loam: 190 (UW), 150 (Minnesota), both quoted in
// Hay & Forage Grower; less 40 where regrowth is under 8 in.
TEST(PreviousCrop, N17Alfalfa) {
    CoverEvidence alfalfa;
    alfalfa.species = "alfalfa";
    alfalfa.group = "legume";
    alfalfa.stand = Stand::good;
    alfalfa.regrowth_cm = 10 * 2.54;
    const CreditTable& table = CreditTable::built_in();
    EXPECT_NEAR(lb_ac(previous_crop_credit(table, "wisconsin", alfalfa)->credit_kg_ha), 190.0,
                1e-9);
    EXPECT_NEAR(lb_ac(previous_crop_credit(table, "minnesota", alfalfa)->credit_kg_ha), 150.0,
                1e-9);
    alfalfa.regrowth_cm = 10.0;
    EXPECT_NEAR(lb_ac(previous_crop_credit(table, "wisconsin", alfalfa)->credit_kg_ha), 150.0,
                1e-9);
    alfalfa.years_after = 2;  // UW A2809
    EXPECT_NEAR(lb_ac(previous_crop_credit(table, "wisconsin", alfalfa)->credit_kg_ha), 50.0, 1e-9);
    alfalfa.years_after = 1;
    alfalfa.stand = Stand::unknown;  // counted as the poorest row, and said
    const auto unknown = previous_crop_credit(table, "wisconsin", alfalfa);
    EXPECT_NEAR(lb_ac(unknown->credit_kg_ha), 90.0, 1e-9);
    EXPECT_EQ(unknown->cautions.size(), 1U);
    alfalfa.species = "sunflower";
    EXPECT_FALSE(previous_crop_credit(table, "wisconsin", alfalfa));
}

// NDSU Dickinson 2023: soybean, field pea, lentil and dry bean grain crops 40 lb/ac.
TEST(PreviousCrop, GrainLegumes) {
    for (const char* name : {"soybean", "field-pea", "lentil", "dry bean"}) {
        CoverEvidence crop;
        crop.species = name;
        crop.group = "legume";
        const auto credit = previous_crop_credit(CreditTable::built_in(), "north-dakota", crop);
        ASSERT_TRUE(credit) << name;
        EXPECT_NEAR(lb_ac(credit->credit_kg_ha), 40.0, 1e-9) << name;
    }
}

TEST(CoverCredit, NeverMoreThanTheCoverHolds) {
    for (std::uint64_t seed = 1; seed <= 500; ++seed) {
        SCOPED_TRACE(seed);
        Random random(seed);
        const char* names[] = {"red-clover", "hairy-vetch", "field-pea", "crimson-clover", "lupin"};
        CoverEvidence cover = legume(names[random.below(5)]);
        cover.n_kg_ha = random.uniform(0, 120);
        cover.height_cm = random.uniform(2, 60);
        cover.stand = static_cast<Stand>(random.below(4));
        cover.season = static_cast<SowingSeason>(random.below(3));
        cover.coarse_soil = random.below(2) == 0;
        cover.winterkilled = random.below(2) == 0;
        cover.cold_dry = random.below(3) == 0;
        cover.shoot_kg_ha = random.uniform(100, 6000);
        const CoverCredit credit = wisconsin(cover);
        EXPECT_GE(credit.low_kg_ha, 0.0);
        EXPECT_LE(credit.low_kg_ha, credit.credit_kg_ha);
        EXPECT_LE(credit.credit_kg_ha, credit.full_credit_kg_ha);
        EXPECT_LE(credit.full_credit_kg_ha, credit.high_kg_ha);
        EXPECT_LE(credit.high_kg_ha, *cover.n_kg_ha);
    }
}

// Wick et al. 2018, Andersen et al. 2020: nothing reached the next crop in North Dakota trials.
TEST(CoverCredit, WeakEvidenceFallsToZeroOrLow) {
    CoverEvidence vetch = legume("hairy-vetch");
    vetch.season = SowingSeason::spring;
    const double full = wisconsin(vetch).credit_kg_ha;
    EXPECT_NEAR(lb_ac(full), 90.0, 1e-9);
    vetch.cold_dry = true;
    CoverCredit weak = wisconsin(vetch);
    EXPECT_TRUE(weak.weak_evidence);
    EXPECT_DOUBLE_EQ(weak.credit_kg_ha, 0.0);
    EXPECT_DOUBLE_EQ(weak.full_credit_kg_ha, full);
    vetch.cold_dry = false;
    vetch.winterkilled = true;
    weak = wisconsin(vetch);
    EXPECT_NEAR(lb_ac(weak.credit_kg_ha), 40.0, 1e-9);
    EXPECT_FALSE(weak.cautions.empty());

    CoverEvidence radish = legume("forage-radish");
    radish.group = "brassica";
    EXPECT_NEAR(lb_ac(wisconsin(radish).credit_kg_ha), 15.0, 1e-9);  // 10-20 at most
    radish.winterkilled = true;
    EXPECT_DOUBLE_EQ(wisconsin(radish).credit_kg_ha, 0.0);
    EXPECT_GT(wisconsin(radish).full_credit_kg_ha, 0.0);
}

TEST(CoverCredit, NoRowMeansNetReleaseWithLittleConfidence) {
    const CoverCredit credit = wisconsin(legume("chickling-vetch"));
    EXPECT_DOUBLE_EQ(credit.credit_kg_ha, 60.0);
    EXPECT_GE(credit.confidence, Confidence::unchecked);
    // Wisconsin's rows stay in Wisconsin: no blend with another set.
    EXPECT_NE(cover_credit(CreditTable::built_in(), "minnesota", legume("red-clover"))
                  .rule.find("net release"),
              std::string::npos);
}

TEST(CoverCredit, ReleaseAndCreditDoNotContradict) {
    CoverEvidence old = legume("red-clover");
    old.release_low_kg_ha = -30.0;
    old.release_kg_ha = -10.0;
    old.release_high_kg_ha = 5.0;
    const CoverCredit credit = wisconsin(old);
    EXPECT_DOUBLE_EQ(credit.credit_kg_ha, 0.0);
    EXPECT_DOUBLE_EQ(credit.tie_up_kg_ha, 10.0);
}

TEST(CoverCredit, BadEvidenceIsRefused) {
    EXPECT_THROW(cover_credit(CreditTable::built_in(), "atlantis", legume("red-clover")), Error);
    CoverEvidence bad = legume("red-clover");
    bad.n_kg_ha = -1.0;
    EXPECT_THROW(wisconsin(bad), Error);
    bad = legume("red-clover");
    bad.release_low_kg_ha = 90.0;
    EXPECT_THROW(wisconsin(bad), Error);
}

void expect_bad(const std::string& csv, const std::string& line, const std::string& column) {
    try {
        CreditTable::parse(csv, "mine.csv");
        ADD_FAILURE() << "accepted: " << csv;
    } catch (const Error& error) {
        const std::string what = error.what();
        EXPECT_NE(what.find("mine.csv"), std::string::npos) << what;
        EXPECT_NE(what.find(line), std::string::npos) << what;
        EXPECT_NE(what.find(column), std::string::npos) << what;
    }
}

TEST(CreditTableOfTheUser, ReadsKilogramsAndNamesBadRows) {
    const std::string head = "set,use,species,group,low_kg_ha,high_kg_ha,source,confidence\n";
    const std::string good = "own,cover,red clover,legume,50,70,trial on the farm,verified\n";
    const CreditTable table = CreditTable::parse(head + good, "mine.csv");
    CoverEvidence clover = legume("red-clover");
    EXPECT_DOUBLE_EQ(cover_credit(table, "own", clover).credit_kg_ha, 60.0);
    // The user's row says nothing of height: the rule for short stands still holds.
    clover.height_cm = 8.0;
    EXPECT_NEAR(cover_credit(table, "own", clover).credit_kg_ha, 40.0 * 1.120851, 1e-4);

    expect_bad(head + good + "own,cover,pea,legume,60,20,x,verified\n", "line 3", "low_kg_ha");
    expect_bad(head + "own,cover,pea,legume,-5,20,x,verified\n", "line 2", "low_kg_ha");
    expect_bad(head + "own,cover,pea,legume,5,2000,x,verified\n", "line 2", "high_kg_ha");
    expect_bad(head + "own,cover,pea,legume,5,many,x,verified\n", "line 2", "high_kg_ha");
    expect_bad(head + "own,cover,pea,legume,5,9,,verified\n", "line 2", "source");
    expect_bad(head + "own,cover,pea,legume,5,9,x,sure\n", "line 2", "confidence");
    expect_bad(head + "own,covr,pea,legume,5,9,x,verified\n", "line 2", "use");
    expect_bad("set,use,species,group,low_kg_ha,high_kg_ha,source,confidence,stnd\n" + good, "",
               "stand");
    expect_bad(head, "", "rows");
}

TEST(BuiltInCredits, EveryRowHasItsSource) {
    EXPECT_GE(CreditTable::built_in().sets().size(), 7U);
    for (const CreditRow& row : CreditTable::built_in().rows()) {
        EXPECT_FALSE(row.source.empty());
        EXPECT_LE(row.low_kg_ha, row.high_kg_ha);
    }
}

// Nebraska district page: beef feedlot manure 4-6 lb N a ton in year 1, half in year 2.
TEST(OtherCredits, ManureAndIrrigation) {
    const ManureRow& beef = manures().at(0);
    EXPECT_DOUBLE_EQ(beef.low_kg_mg, 2.0);
    EXPECT_DOUBLE_EQ(beef.high_kg_mg, 3.0);
    EXPECT_DOUBLE_EQ(beef.second_year_share, 0.5);
    const double rate = 10.0 * units::mg_ha_per_ton_ac;  // 10 short tons an acre
    const auto manure = manure_credit(rate, 2.5, beef.source, beef.confidence);
    EXPECT_NEAR(lb_ac(manure.credit_kg_ha), 50.0, 1e-6);
    EXPECT_THROW(manure_credit(-1.0, 2.5, "", Confidence::verified), Error);
    EXPECT_THROW(manure_credit(10.0, 500.0, "", Confidence::verified), Error);
    // Exact: an acre-inch of water weighs 226,600 lb, so 10 mg/L is 2.266 lb/ac.
    EXPECT_NEAR(lb_ac(irrigation_credit(25.4, 10.0).credit_kg_ha), 2.266, 0.001);
    EXPECT_EQ(irrigation_credit(300.0, 12.0).cautions.size(), 1U);
    EXPECT_THROW(irrigation_credit(300.0, 150.0), Error);
}

}  // namespace
}  // namespace catchfield::nitrogen
