// SPDX-License-Identifier: MIT
// Subfactors, soil loss, tolerance, practices, wind and ranking against published check values.
// AH-537: Wischmeier & Smith 1978, USDA Agriculture Handbook 537. AH-703: Renard et al. 1997, USDA
// Agriculture Handbook 703. NSSH: National Soil Survey Handbook, part 618.
#include "base/error.hpp"
#include "base/random.hpp"
#include "base/units.hpp"
#include "erosion/management.hpp"
#include "erosion/ranking.hpp"
#include "erosion/soil_loss.hpp"
#include "erosion/subfactors.hpp"
#include "erosion/wind.hpp"
#include "support/messages.hpp"

#include <gtest/gtest.h>

#include <cmath>
#include <limits>

namespace catchfield::erosion {
namespace {

using tests::mentions;
using tests::message_of;

constexpr double in = 25.4;
constexpr double ft = 0.3048;
constexpr double lb_ac_in = units::kg_ha_per_lb_ac / units::mm_per_in;  // in kg/ha per mm

// U-1: AH-703 appendix A (17.02 US to SI).
TEST(Units, Factors) {
    EXPECT_NEAR(185 * units::r_si_per_us, 3149, 3149 * 0.001);
    EXPECT_NEAR(0.37 * units::k_si_per_us, 0.04873, 0.04873 * 0.001);
    EXPECT_NEAR(96.51 * units::mg_ha_per_ton_ac, 216.4, 216.4 * 0.001);
    // A in SI from factors in SI is A in US units times the factor of A.
    EXPECT_NEAR(units::r_si_per_us * units::k_si_per_us, units::mg_ha_per_ton_ac, 1e-4);
}

// C-1: AH-703 ch. 5; AH-537 table 10 for the ratios with and without canopy.
TEST(Subfactors, Canopy) {
    EXPECT_NEAR(canopy_subfactor(0.5, 1 * ft), 0.5476, 0.002);
    EXPECT_NEAR(canopy_subfactor(0.5, 0.5), 0.26 / 0.45, 0.02);
    EXPECT_NEAR(canopy_subfactor(0.5, 0.5), 0.576, 0.002);
    EXPECT_NEAR(canopy_subfactor(0.75, 4.0), 0.80, 0.02);
    EXPECT_EQ(canopy_subfactor(0.0, 1.0), 1.0);
}

// C-2: AH-703 ch. 5.
TEST(Subfactors, SurfaceCover) {
    EXPECT_NEAR(surface_cover_subfactor(30, 0.24 * in, 0.035), 0.3499, 5e-4);
    EXPECT_NEAR(surface_cover_subfactor(50, 0.24 * in, 0.035), 0.1738, 5e-4);
    EXPECT_NEAR(surface_cover_subfactor(30, 0.24 * in, 0.025), 0.4724, 5e-4);
    EXPECT_NEAR(surface_cover_subfactor(30, 0.24 * in, 0.050), 0.2231, 5e-4);
    EXPECT_NEAR(surface_cover_subfactor(30, 1.0 * in, 0.035), 0.3919, 5e-4);
}

// C-3, C-4: AH-703 ch. 5.
TEST(Subfactors, Roughness) {
    EXPECT_NEAR(roughness_subfactor(0.24 * in), 1.0, 5e-4);
    EXPECT_NEAR(roughness_subfactor(1.0 * in), 0.6056, 5e-4);
    EXPECT_NEAR(roughness_subfactor(1.9 * in), 0.3343, 5e-4);
    const double decay = roughness_decay(5 * in, 20 * units::r_si_per_us);
    EXPECT_NEAR(decay, 0.6250, 5e-4);
    const double left = 0.24 + decay * (1.0 - 0.24);
    EXPECT_NEAR(left, 0.7150, 5e-4);
    EXPECT_NEAR(roughness_subfactor(left * in), 0.7309, 5e-4);
    // No biomass leaves a fifth of the roughness; much biomass nearly all of it.
    EXPECT_NEAR(roughness_after_tillage_mm(1.24 * in, 0.0), 0.44 * in, 1e-9);
    EXPECT_NEAR(roughness_after_tillage_mm(1.24 * in, 1e6), 1.24 * in, 1e-9);
}

// C-5: AH-703 ch. 5, sign as in the errata of 2001 (eq. 5-9).
TEST(Subfactors, PriorLandUse) {
    const Coefficients& c = coefficients();
    EXPECT_NEAR(prior_land_use_subfactor(1.0, 90 * lb_ac_in, 100 * lb_ac_in, c), 0.7627, 5e-4);
    EXPECT_NEAR(prior_land_use_subfactor(0.45, 60 * lb_ac_in, 20 * lb_ac_in, c), 0.3751, 5e-4);
    EXPECT_NEAR(consolidation(0.0, c), 1.0, 1e-12);
    EXPECT_NEAR(consolidation(7.0, c), 0.45, 0.01);  // about seven years, AH-703 ch. 5
    EXPECT_EQ(c.confidence, Confidence::assumption);
}

// C-6: AH-703 ch. 5, degC as in the errata (eq. 5-7).
TEST(Subfactors, ResidueDecay) {
    EXPECT_NEAR(decay_temperature(20), 0.7399, 5e-4);
    EXPECT_NEAR(decay_moisture(1.5 * in), 0.5769, 5e-4);
    const double a = 0.016 * decay_weather(1.5 * in, 20);
    EXPECT_NEAR(a, 0.00923, 5e-6);
    EXPECT_NEAR(std::exp(-a * 15), 0.8707, 5e-4);
    EXPECT_NEAR(std::exp(-a * 30), 0.7581, 5e-4);
    EXPECT_NEAR(decay_temperature(32), 1.0, 5e-4);
    EXPECT_NEAR(decay_temperature(-8), 0.0, 5e-4);
    EXPECT_NEAR(decay_temperature(10), 0.3640, 5e-4);
    EXPECT_EQ(decay_temperature(-30), 0.0);
    EXPECT_EQ(decay_moisture(200), 1.0);
}

// C-7: Gregory 1982, Trans. ASAE 25:1333-1337.
TEST(Subfactors, ResidueCover) {
    const auto mass = [](double lb_ac) { return lb_ac * units::kg_ha_per_lb_ac; };
    const double corn = residue_kind("corn").alpha_ha_kg;
    const double rye = residue_kind("rye").alpha_ha_kg;
    EXPECT_NEAR(residue_cover_pct(corn * mass(2000)), 53.2, 0.1);
    EXPECT_NEAR(residue_cover_pct(rye * mass(1000)), 45.1, 0.1);
    EXPECT_NEAR(residue_cover_pct(corn * mass(2000) + rye * mass(1500)), 81.0, 0.1);
}

TEST(Tables, AreWholeAndNamed) {
    EXPECT_EQ(residue_kind("Winter Wheat").id, "small_grain");
    EXPECT_EQ(tool("No-till drill").id, "no_till_drill");
    EXPECT_EQ(crop("wheat").id, "winter_wheat");
    EXPECT_TRUE(mentions(message_of([] { tool("chisle"); }), "'chisel'"));
    EXPECT_TRUE(mentions(message_of([] { crop("qqqqqq"); }), "Known: corn"));
    for (const Crop& one : crops()) {
        EXPECT_NO_THROW(residue_kind(one.residue_kind)) << one.id;
        EXPECT_FALSE(one.canopy.empty()) << one.id;
        EXPECT_FALSE(one.source.empty()) << one.id;
    }
    // AH-703 ch. 5 roughness in inches.
    EXPECT_NEAR(tool("moldboard").roughness_mm / in, 1.9, 0.01);
    EXPECT_NEAR(tool("disk").roughness_mm / in, 0.8, 0.01);
    const auto bad = [](const std::string& row) {
        return message_of([&] {
            parse_tools(
                Table::parse("id,name,roughness_mm,buried_share,buried_top_share,"
                             "disturbed_share,flattened_share,source,confidence\n" +
                                 row,
                             "tools.csv"));
        });
    };
    EXPECT_TRUE(mentions(bad("x,x,20,1.5,1,1,1,me,assumption\n"), "buried_share"));
    EXPECT_TRUE(mentions(bad("x,x,20,.5,1,1,1,me,perhaps\n"), "perhaps"));
    EXPECT_TRUE(mentions(message_of([] {
                             parse_coefficients(Table::parse(
                                 "name,value,confidence\ncover_c,1,assumption\n", "c.csv"));
                         }),
                         "'cover_b'"));
    EXPECT_EQ(
        parse_coefficients(Table::parse("name,value,confidence\ncover_b,.05,assumption\n", "c.csv"))
            .cover_b,
        0.05);
}

// C-8: definition of C (AH-537, AH-703): weighted mean over periods.
TEST(CFactor, WeightedMean) {
    const std::vector<double> weight{10, 15, 30, 30, 15};
    const double without = c_factor({.35, .55, .40, .15, .25}, weight);
    const double with = c_factor({.12, .15, .25, .13, .15}, weight);
    EXPECT_NEAR(without, 0.320, 0.001);
    EXPECT_NEAR(with, 0.171, 0.001);
    EXPECT_NEAR(100 * (with / without - 1), -46.6, 0.1);
    EXPECT_THROW(c_factor({1.0}, weight), Error);
    EXPECT_THROW(c_factor({1.0}, {0.0}), Error);
}

Factors us(double r, double k, double ls, double c, double p) {
    return {r * units::r_si_per_us, k * units::k_si_per_us, ls, c, p};
}
double tons_ac(const Factors& f) {
    return soil_loss_mg_ha(f) / units::mg_ha_per_ton_ac;
}

// AH-537, worked example of Fountain County, Indiana (8 %, 200 ft).
TEST(SoilLoss, HandbookExample) {
    EXPECT_NEAR(tons_ac(us(185, .37, 1.41, 1, 1)), 96.5, 0.1);
    EXPECT_NEAR(tons_ac(us(185, .37, 1.41, .119, 1)), 11.5, 0.1);
    EXPECT_NEAR(tons_ac(us(185, .37, 1.41, .119, .6)), 6.9, 0.1);
}

// a published classroom exercise (R 135, K .18, LS .6, C .37); A-3: the whole chain.
TEST(SoilLoss, Chain) {
    EXPECT_NEAR(tons_ac(us(135, .18, .6, .37, 1)), 5.39, 0.01);
    EXPECT_NEAR(tons_ac(us(135, .18, .6, .37, .5)), 2.70, 0.01);
    EXPECT_GT(loss_over_tolerance(5.39, 5.0), 1.0);
    EXPECT_LT(loss_over_tolerance(2.70, 5.0), 1.0);
    EXPECT_NEAR(tons_ac(us(170, .32, .8547, 1, 1)), 46.5, 46.5 * 0.005);
    EXPECT_NEAR(tons_ac(us(170, .32, .8547, .320, 1)), 14.88, 14.88 * 0.005);
    EXPECT_NEAR(tons_ac(us(170, .32, .8547, .171, 1)), 7.95, 7.95 * 0.005);
    EXPECT_NEAR(soil_loss_mg_ha(us(170, .32, .8547, .320, 1)), 33.35, 33.35 * 0.005);
    EXPECT_NEAR(soil_loss_mg_ha(us(170, .32, .8547, .171, 1)), 17.8, 17.8 * 0.005);
}

TEST(SoilLoss, NothingQuietlyWrong) {
    const Factors good = us(150, .32, 1, .2, 1);
    EXPECT_TRUE(check_factors(good, 6, 60).empty());
    EXPECT_TRUE(mentions(message_of([&] { check_factors(good, 51, 60); }), "50 %"));
    EXPECT_TRUE(mentions(message_of([&] { check_factors(good, 6, 306); }), "305 m"));
    EXPECT_EQ(check_factors(good, 25, 60).size(), 1u);
    EXPECT_EQ(check_factors(us(150, .70, 1, .2, 1), 6, 60).size(), 1u);
    EXPECT_EQ(check_factors(us(150, .01, 1, .2, 1), 6, 60).size(), 1u);
    Factors k_in_us = good;
    k_in_us.k_si = 0.32;
    EXPECT_TRUE(mentions(message_of([&] { check_factors(k_in_us, 6, 60); }), "US"));
    Factors r_in_us = good;
    r_in_us.r_si = 150;
    EXPECT_TRUE(mentions(check_factors(r_in_us, 6, 60).at(0), "US figure"));
    EXPECT_THROW(check_factors(us(0, .3, 1, .2, 1), 6, 60), Error);
    EXPECT_THROW(check_factors(us(150, .3, -1, .2, 1), 6, 60), Error);
    EXPECT_THROW(check_factors(us(150, .3, 1, 1.3, 1), 6, 60), Error);
    EXPECT_THROW(check_factors(us(150, .3, 1, .2, std::nan("")), 6, 60), Error);
    EXPECT_TRUE(mentions(message_of([] { loss_over_tolerance(3, 0); }), "above 0"));
}

// NSSH 618.93, general guide.
TEST(Tolerance, ByDepth) {
    const auto t_us = [](double depth, Renewal renewal, bool eroded = false) {
        return tolerance_by_depth(depth, renewal, eroded).t_mg_ha / units::mg_ha_per_ton_ac;
    };
    EXPECT_NEAR(t_us(20, Renewal::renewable), 1, 1e-9);
    EXPECT_NEAR(t_us(40, Renewal::not_renewable), 1, 1e-9);
    EXPECT_NEAR(t_us(75, Renewal::renewable), 3, 1e-9);
    EXPECT_NEAR(t_us(120, Renewal::very_renewable), 4, 1e-9);
    EXPECT_NEAR(t_us(200, Renewal::not_renewable), 5, 1e-9);
    EXPECT_NEAR(t_us(75, Renewal::renewable, true), 2, 1e-9);
    EXPECT_NEAR(t_us(20, Renewal::renewable, true), 1, 1e-9);
    EXPECT_THROW(tolerance_by_depth(-1), Error);
}

// E-1, E-2: 7 CFR 12.21; map unit classes as in a state technical guide.
TEST(ErodibilityIndex, RuleAndClasses) {
    const auto index = [](double r, double k, double ls, double t) {
        return erodibility_index(r * units::r_si_per_us, k * units::k_si_per_us, ls,
                                 t * units::mg_ha_per_ton_ac);
    };
    EXPECT_NEAR(index(160, .37, .85, 5), 10.06, 0.01);
    EXPECT_NEAR(index(300, .28, .25, 3), 7.00, 0.01);
    EXPECT_EQ(erodibility_class(10.06, 10.06), Erodibility::highly);
    EXPECT_EQ(erodibility_class(7.0, 7.0), Erodibility::not_highly);
    EXPECT_EQ(erodibility_class(6.2, 11.4), Erodibility::potentially_highly);
    EXPECT_TRUE(mentions(erodibility_index_label, "not a determination"));
    EXPECT_THROW(index(160, .37, .85, 0), Error);
}

// 7 CFR 12.22 (older printing): a third of the field, or 50 acres.
TEST(ErodibilityIndex, FieldPredominance) {
    EXPECT_TRUE(field_predominance({{1, 9}, {2, 3}}).predominant);
    EXPECT_FALSE(field_predominance({{1, 9}, {2.1, 3}}).predominant);
    EXPECT_TRUE(field_predominance({{20.3, 9}, {200, 3}}).predominant);
    EXPECT_FALSE(field_predominance({{20.1, 9}, {200, 3}}).predominant);
    EXPECT_THROW(field_predominance({}), Error);
}

// P-1: AH-537 tables 13, 14 and 15.
TEST(Practice, HandbookTables) {
    const SupportPractice contour = contour_p(5, 300 * ft);
    EXPECT_EQ(contour.p, 0.50);
    EXPECT_NEAR(*contour.max_length_m, 300 * ft, 1e-9);
    EXPECT_EQ(strip_crop_p(10, 50, StripRotation::meadow_two_years).p, 0.30);
    EXPECT_EQ(terraces(14, 20, TerraceOutlet::graded_sod).sediment_factor, 0.14);
    EXPECT_EQ(contour_p(2, 100).p, 0.60);
    EXPECT_EQ(contour_p(7, 50).p, 0.50);
    EXPECT_EQ(contour_p(15, 20).p, 0.70);
    EXPECT_EQ(contour_p(19, 15).p, 0.80);
    EXPECT_EQ(contour_p(24, 15).p, 0.90);
    EXPECT_EQ(strip_crop_p(4, 50, StripRotation::meadow_one_year).p, 0.38);
    EXPECT_EQ(strip_crop_p(18, 30, StripRotation::no_meadow).p, 0.80);
    EXPECT_EQ(terraces(5, 30, TerraceOutlet::underground).in_field.p, 0.50);
    EXPECT_EQ(terraces(18, 20, TerraceOutlet::underground).sediment_factor, 0.06);
}

TEST(Practice, BeyondTheLimitIsOneAndSaidSo) {
    const SupportPractice steep = contour_p(30, 50);
    EXPECT_EQ(steep.p, 1.0);
    EXPECT_TRUE(steep.beyond_limit);
    EXPECT_TRUE(mentions(steep.note, "P = 1"));
    const SupportPractice over = contour_p(5, 301 * ft);
    EXPECT_EQ(over.p, 1.0);
    EXPECT_TRUE(mentions(over.note, "P = 1"));
    EXPECT_EQ(contour_p(5, 370 * ft, true).p, 0.50);  // a quarter more with residue over 50 %
    EXPECT_EQ(contour_p(5, 380 * ft, true).p, 1.0);
    EXPECT_THROW(contour_p(-1, 10), Error);
    EXPECT_THROW(terraces(5, 0, TerraceOutlet::graded_sod), Error);
}

// --- wind ----------------------------------------------------------------------------------------

// W-1: RWEQ flat term and its field fit (Mendez & Buschiazzo 2008); W-2: Fryrear 1985.
TEST(Wind, FlatCover) {
    EXPECT_NEAR(flat_cover_ratio(20), .4164, 5e-4);
    EXPECT_NEAR(flat_cover_ratio(50), .1119, 5e-4);
    EXPECT_NEAR(flat_cover_ratio_steep(20), .2982, 5e-4);
    EXPECT_NEAR(flat_cover_ratio_steep(50), .0486, 5e-4);
    EXPECT_NEAR(flat_cover_ratio_1985(20), .429, 0.005);
    EXPECT_NEAR(flat_cover_ratio_1985(50), .0495, 0.005);
}

// W-3, W-4: RWEQ (Fryrear et al. 1998), standing and canopy terms.
TEST(Wind, StandingAndCanopy) {
    EXPECT_NEAR(standing_ratio(1000), .0557, 5e-4);
    EXPECT_NEAR(canopy_ratio(.2), .1799, 5e-4);
    EXPECT_NEAR(combined_ratio({35, 0, .2}), .0388, 5e-4);
    EXPECT_EQ(combined_ratio({}), 1.0);
}

TEST(Wind, CutIsARange) {
    const WindCut cut = wind_cut({10, 0, 0}, {50, 0, 0});
    EXPECT_NEAR(cut.typical_pct, 100 * (1 - flat_cover_ratio(50) / flat_cover_ratio(10)), 1e-9);
    EXPECT_LT(cut.low_pct, cut.high_pct);
    EXPECT_GE(cut.typical_pct, cut.low_pct);
    EXPECT_LE(cut.typical_pct, cut.high_pct);
    EXPECT_FALSE(cut.caution.empty());
    EXPECT_NEAR(wind_cut({30, 0, .1}, {30, 0, .1}).high_pct, 0.0, 1e-9);
    EXPECT_THROW(wind_cut({-1, 0, 0}, {10, 0, 0}), Error);
}

// W-5: Fryrear et al. 1994, J. Soil Water Conserv. 49:183-188.
TEST(Wind, ErodibleFractionAndCrust) {
    const WindErodibility one = wind_erodibility({60, 25, 15, 1.5, 2, {}, false, 0});
    EXPECT_NEAR(one.erodible_fraction, .4748, 5e-4);
    EXPECT_NEAR(one.crust_factor, .3949, 5e-4);
    EXPECT_TRUE(one.warnings.empty());
    const WindErodibility two = wind_erodibility({80, 12, 8, .8, 0, {}, false, 0});
    EXPECT_NEAR(two.erodible_fraction, .5716, 5e-4);
    EXPECT_NEAR(two.crust_factor, .6965, 5e-4);
    EXPECT_FALSE(wind_erodibility({10, 40, 50, 2, 0, {}, false, 0}).warnings.empty());
    EXPECT_THROW(wind_erodibility({60, 25, 25, 1.5, 2, {}, false, 0}), Error);
}

// W-6: Chepil's climatic factor in both systems; Thornthwaite's monthly index.
TEST(Wind, ClimaticFactor) {
    const double mph = 0.44704;
    EXPECT_NEAR(wind_climatic_factor_pct(12 * mph, 40), 37.2, 0.05);
    const auto month = [](double p_in, double t_f) {
        return precipitation_effectiveness_month(p_in * in, units::celsius_from_fahrenheit(t_f));
    };
    EXPECT_NEAR(month(2, 60), 3.217, 0.01);
    EXPECT_NEAR(month(.5, 28.4), 2.0935, 0.01);
    EXPECT_EQ(month(.1, 10), month(.5, 28.4));
    EXPECT_NEAR(wind_erodibility_index(50, 120.5, 11.2), 5.38, 0.01);
    EXPECT_THROW(wind_climatic_factor_pct(5, 0), Error);
}

// W-7: NSSH 618.95.
TEST(Wind, Groups) {
    const auto group = [](double sand, double silt, double clay, double stones = 0,
                          bool calcareous = false) {
        SurfaceSoil soil;
        soil.sand_pct = sand;
        soil.silt_pct = silt;
        soil.clay_pct = clay;
        soil.fragments_pct = stones;
        soil.calcareous = calcareous;
        return wind_group(soil);
    };
    EXPECT_EQ(group(65, 25, 10).group, "3");  // sandy loam
    EXPECT_EQ(group(65, 25, 10).i_us, 86);
    EXPECT_EQ(group(65, 25, 10, 20).i_us, 56);
    EXPECT_EQ(group(80, 15, 5).group, "2");  // loamy sand
    EXPECT_EQ(group(80, 15, 5, 20).i_us, 134);
    EXPECT_EQ(group(80, 15, 5, 40).i_us, 86);
    EXPECT_EQ(group(95, 3, 2).group, "1");
    EXPECT_EQ(group(20, 65, 15).group, "5");  // silt loam
    EXPECT_EQ(group(20, 57, 23).group, "6");
    EXPECT_EQ(group(20, 57, 23, 0, true).group, "4L");
    EXPECT_EQ(group(10, 55, 35).group, "6");  // silty clay loam
    EXPECT_EQ(group(10, 53, 37).group, "4");
    EXPECT_EQ(group(20, 30, 50).group, "4");  // clay
    EXPECT_EQ(group(5, 88, 7).group, "7");    // silt
    EXPECT_EQ(group(40, 40, 20, 70).i_us, 0);
    EXPECT_EQ(wind_group("4l").group, "4L");
    EXPECT_EQ(wind_group("8").i_us, 0);
    EXPECT_THROW(wind_group("9"), Error);
    EXPECT_TRUE(mentions(message_of([&] { group(50, 20, 20); }), "do not add up to 100"));
}

TEST(Wind, EveryTextureHasAClass) {
    for (int sand = 0; sand <= 100; ++sand)
        for (int clay = 0; sand + clay <= 100; ++clay) {
            SurfaceSoil soil;
            soil.sand_pct = sand;
            soil.clay_pct = clay;
            soil.silt_pct = 100 - sand - clay;
            EXPECT_GT(wind_group(soil).i_us, 0.0) << sand << " " << clay;
        }
}

// --- ranking -------------------------------------------------------------------------------------

const std::vector<RankInput> rank_rows = {{"north", 1, 10, 20, 8, 10, 50.0},
                                          {"north", 2, 5, 4, 3, 10, 50.0},
                                          {"south", 1, 30, 12, 6, 8, 100.0},
                                          {"west", 1, 8, 30, 10, 10, std::nullopt}};

TEST(Ranking, ByEachKeyWorkedByHand) {
    const Ranking by_t = rank_zones(rank_rows, RankBy::loss_over_t);
    EXPECT_EQ(by_t.zones[0].field, "west");
    EXPECT_NEAR(by_t.zones[0].loss_over_t, 3.0, 1e-12);
    EXPECT_EQ(by_t.zones[1].field, "north");
    EXPECT_EQ(by_t.zones[3].zone, 2);
    EXPECT_NEAR(by_t.over_t_ha, 48.0, 1e-12);
    EXPECT_NEAR(by_t.over_t_share, 48.0 / 53.0, 1e-12);
    EXPECT_NEAR(by_t.over_t_cover_ha, 0.0, 1e-12);
    EXPECT_NEAR(by_t.saved_mg, 120 + 5 + 180 + 160, 1e-9);

    const Ranking by_saved = rank_zones(rank_rows, RankBy::saved);
    EXPECT_EQ(by_saved.fields[0].field, "south");  // 180 Mg
    EXPECT_EQ(by_saved.fields[1].field, "west");   // 160 Mg
    EXPECT_NEAR(by_saved.fields[2].saved_mg, 125, 1e-9);
    EXPECT_NEAR(by_saved.fields[2].loss_over_t, 220.0 / 150.0, 1e-12);

    const Ranking by_cost = rank_zones(rank_rows, RankBy::saved_per_cost);
    EXPECT_NEAR(*by_cost.zones[0].saved_per_cost, 120.0 / 500.0, 1e-12);
    EXPECT_EQ(by_cost.zones[0].zone, 1);
    EXPECT_EQ(by_cost.zones.back().field, "west");  // no price: last
    EXPECT_EQ(by_cost.zones.back().rank, 4);
    EXPECT_FALSE(by_cost.fields.back().saved_per_cost);
    EXPECT_EQ(parse_rank_by("saved"), RankBy::saved);
    EXPECT_THROW(parse_rank_by("tons"), Error);
}

TEST(Ranking, OrderOfRowsDoesNotMatter) {
    Random random(7);
    std::vector<RankInput> rows;
    for (int i = 0; i < 200; ++i)
        rows.push_back({"f" + std::to_string(i % 23), i, random.uniform(0.1, 20),
                        std::floor(random.uniform(0, 30)), random.uniform(0, 20), 5.0, 10.0});
    std::vector<RankInput> mixed = rows;
    random.shuffle(mixed);
    const Ranking a = rank_zones(rows, RankBy::loss_over_t);
    const Ranking b = rank_zones(mixed, RankBy::loss_over_t);
    for (std::size_t i = 0; i < a.zones.size(); ++i) {
        EXPECT_EQ(a.zones[i].zone, b.zones[i].zone) << "seed 7";
        EXPECT_EQ(a.zones[i].rank, b.zones[i].rank);
        if (i > 0) {
            EXPECT_GE(a.zones[i - 1].loss_over_t, a.zones[i].loss_over_t);
        }
    }
    EXPECT_NEAR(a.saved_mg, b.saved_mg, 1e-9 * std::abs(a.saved_mg));
}

TEST(Ranking, RefusesNonsense) {
    const auto with = [](RankInput row) {
        return message_of([&] { rank_zones({row}, RankBy::saved); });
    };
    EXPECT_TRUE(mentions(with({"a", 1, 0, 1, 1, 1, {}}), "area"));
    EXPECT_TRUE(mentions(with({"a", 1, 1, 1, 1, 0, {}}), "tolerance"));
    EXPECT_TRUE(mentions(with({"a", 1, 1, -1, 1, 1, {}}), "loss"));
    EXPECT_TRUE(mentions(
        message_of([] {
            rank_zones({{"a", 1, 1, 1, 1, 1, {}}, {"a", 1, 1, 1, 1, 1, {}}}, RankBy::saved);
        }),
        "twice"));
    EXPECT_TRUE(rank_zones({}, RankBy::saved).zones.empty());
}

}  // namespace
}  // namespace catchfield::erosion
