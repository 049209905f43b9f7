// SPDX-License-Identifier: MIT
// Every limit of soil loss, practices, wind and ranking from both sides, and whole tables against a
// second writing of the published rules.
// SSM: Soil Survey Manual (USDA Handbook 18), ch. 3. NSSH: National Soil Survey Handbook, part 618.
#include "base/error.hpp"
#include "base/random.hpp"
#include "base/units.hpp"
#include "erosion/ranking.hpp"
#include "erosion/soil_loss.hpp"
#include "erosion/subfactors.hpp"
#include "erosion/uncertainty.hpp"
#include "erosion/wind.hpp"
#include "support/messages.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <span>

namespace catchfield::erosion {
namespace {

using tests::mentions;
using tests::message_of;

constexpr double infinity = std::numeric_limits<double>::infinity();

SurfaceSoil soil_of(double sand, double silt, double clay) {
    SurfaceSoil soil;
    soil.sand_pct = sand;
    soil.silt_pct = silt;
    soil.clay_pct = clay;
    return soil;
}

// --- wind ----------------------------------------------------------------------------------------

/// The twelve definitions of the SSM, each by its own words; exactly one holds.
std::vector<std::string> textures_by_definition(double sand, double silt, double clay) {
    const double a = silt + 1.5 * clay;
    const double b = silt + 2 * clay;
    std::vector<std::string> all;
    const auto add = [&](bool holds, const char* name) {
        if (holds) all.emplace_back(name);
    };
    add(a < 15, "sand");
    add(a >= 15 && b < 30, "loamy sand");
    add(b >= 30 && ((clay >= 7 && clay < 20 && sand > 52) || (clay < 7 && silt < 50)),
        "sandy loam");
    add(clay >= 7 && clay < 27 && silt >= 28 && silt < 50 && sand <= 52, "loam");
    add((silt >= 50 && clay >= 12 && clay < 27) || (silt >= 50 && silt < 80 && clay < 12),
        "silt loam");
    add(silt >= 80 && clay < 12, "silt");
    add(clay >= 20 && clay < 35 && silt < 28 && sand > 45, "sandy clay loam");
    add(clay >= 27 && clay < 40 && sand > 20 && sand <= 45, "clay loam");
    add(clay >= 27 && clay < 40 && sand <= 20, "silty clay loam");
    add(clay >= 35 && sand > 45, "sandy clay");
    add(clay >= 40 && silt >= 40, "silty clay");
    add(clay >= 40 && sand <= 45 && silt < 40, "clay");
    return all;
}

/// Group by NSSH 618.95 for a texture class.
std::string group_by_rule(const std::string& texture, double clay, double vfs, bool calcareous) {
    if (texture == "sand") return "1";
    if (texture == "loamy sand") return "2";
    if (texture == "sandy loam") return clay <= 5 && vfs >= 30 ? "2" : "3";
    if (texture == "clay" || texture == "silty clay") return "4";
    if (texture == "silt loam" && clay <= 5) return "2";
    if (calcareous) return "4L";
    if (texture == "silt") return "7";
    if (texture == "silt loam" && vfs >= 20 && vfs <= 50 && clay <= 12) return "3";
    if (texture == "clay loam" || texture == "silty clay loam") return clay > 35 ? "4" : "6";
    if (texture == "loam" || texture == "silt loam") return clay < 20 ? "5" : "6";
    return "5";
}

TEST(WindLimits, TextureAndGroupOverTheWholeTriangle) {
    // Whole percents hit every limit of the definitions exactly.
    for (int sand = 0; sand <= 100; ++sand) {
        for (int clay = 0; sand + clay <= 100; ++clay) {
            SurfaceSoil soil = soil_of(sand, 100 - sand - clay, clay);
            const auto names = textures_by_definition(soil.sand_pct, soil.silt_pct, soil.clay_pct);
            ASSERT_EQ(names.size(), 1u) << soil.sand_pct << " " << soil.clay_pct;
            const bool fine_sand_counts =
                names.front() == "sandy loam" || names.front() == "silt loam";
            for (const double vfs : {0.0, 19.5, 20.0, 29.5, 30.0, 50.0, 50.5}) {
                if (vfs > 0.0 && (!fine_sand_counts || sand % 5 != 0)) continue;
                soil.very_fine_sand_pct = vfs;
                for (const bool calcareous : {false, true}) {
                    soil.calcareous = calcareous;
                    const WindGroup result = wind_group(soil);
                    ASSERT_EQ(result.texture, names.front())
                        << soil.sand_pct << " " << soil.clay_pct;
                    ASSERT_EQ(result.group,
                              group_by_rule(names.front(), soil.clay_pct, vfs, calcareous))
                        << result.texture << " clay " << soil.clay_pct << " vfs " << vfs;
                }
            }
        }
    }
}

// NSSH 618.95: rock fragments of 15, 35 and 60 % lower I; sands only from 35 %.
TEST(WindLimits, StonesLowerTheIndexStepByStep) {
    const auto index = [](SurfaceSoil soil, double stones) {
        soil.fragments_pct = stones;
        const WindGroup group = wind_group(soil);
        EXPECT_NEAR(group.i_mg_ha, group.i_us * units::mg_ha_per_ton_ac, 1e-12);
        return group.i_us;
    };
    const SurfaceSoil sand = soil_of(95, 3, 2);          // 220
    const SurfaceSoil loamy_sand = soil_of(80, 15, 5);   // 134
    const SurfaceSoil sandy_loam = soil_of(65, 25, 10);  // 86
    const SurfaceSoil loam = soil_of(40, 42, 18);        // 56
    const SurfaceSoil clay_loam = soil_of(35, 35, 30);   // 48
    const SurfaceSoil silt = soil_of(5, 88, 7);          // 38
    const std::vector<std::pair<double, std::vector<double>>> steps = {
        {0, {220, 134, 86, 56, 48, 38}}, {14.9, {220, 134, 86, 56, 48, 38}},
        {15, {220, 134, 56, 48, 38, 0}}, {34.9, {220, 134, 56, 48, 38, 0}},
        {35, {134, 86, 48, 38, 0, 0}},   {60, {134, 86, 48, 38, 0, 0}},
        {60.1, {56, 48, 0, 0, 0, 0}},    {100, {56, 48, 0, 0, 0, 0}}};
    for (const auto& [stones, expected] : steps) {
        const double found[] = {index(sand, stones),       index(loamy_sand, stones),
                                index(sandy_loam, stones), index(loam, stones),
                                index(clay_loam, stones),  index(silt, stones)};
        for (std::size_t i = 0; i < expected.size(); ++i)
            EXPECT_EQ(found[i], expected[i]) << stones << " % stones, soil " << i;
    }
    EXPECT_THROW(index(sand, -0.1), Error);
    EXPECT_THROW(index(sand, 100.1), Error);
    EXPECT_NEAR(wind_group("2").i_mg_ha, 134 * units::mg_ha_per_ton_ac, 1e-9);
}

TEST(WindLimits, DoubtsAreSaid) {
    EXPECT_EQ(wind_group(soil_of(95, 3, 2)).warnings.size(), 1u);
    EXPECT_TRUE(wind_group(soil_of(80, 15, 5)).warnings.empty());
    SurfaceSoil peaty = soil_of(40, 42, 18);
    peaty.organic_matter_pct = 20;
    EXPECT_TRUE(wind_group(peaty).warnings.empty());
    peaty.organic_matter_pct = 20.1;
    EXPECT_EQ(wind_group(peaty).warnings.size(), 1u);
}

TEST(WindLimits, PartsAddUpToAHundredWithinOne) {
    EXPECT_NO_THROW(wind_group(soil_of(40, 42, 19)));
    EXPECT_NO_THROW(wind_group(soil_of(40, 42, 17)));
    EXPECT_THROW(wind_group(soil_of(40, 42, 19.1)), Error);
    EXPECT_THROW(wind_group(soil_of(40, 42, 16.9)), Error);
    EXPECT_THROW(wind_group(soil_of(-1, 82, 19)), Error);
    EXPECT_THROW(wind_group(soil_of(82, -1, 19)), Error);
    EXPECT_THROW(wind_group(soil_of(82, 19, -1)), Error);
    EXPECT_NO_THROW(wind_group(soil_of(0, 60, 40)));
    EXPECT_NO_THROW(wind_group(soil_of(60, 0, 40)));
    EXPECT_NO_THROW(wind_group(soil_of(10, 90, 0)));
}

// A sum off by rounding is brought to 100 before the class is looked up: 44.5, 27.9 and 26.9 are
// 44.8, 28.1 and 27.1 % of their sum, a clay loam (SSM) and group 6 (NSSH 618.95).
TEST(WindLimits, PartsAreScaledToAHundred) {
    EXPECT_EQ(wind_group(soil_of(44.5, 27.9, 26.9)).texture, "clay loam");
    EXPECT_EQ(wind_group(soil_of(44.5, 27.9, 26.9)).group, "6");
    Random random(5);
    for (int i = 0; i < 2000; ++i) {
        const double clay = random.uniform(0, 100);
        const double sand = random.uniform(0, 100 - clay);
        const double silt = 100 - clay - sand;
        const double off = random.uniform(0.992, 1.008);
        const auto expected = textures_by_definition(sand, silt, clay);
        EXPECT_EQ(wind_group(soil_of(sand * off, silt * off, clay * off)).texture, expected.at(0))
            << "seed 5, draw " << i;
    }
}

// Ratios by their printed equations, off the handbook's points.
TEST(WindLimits, CoverRatios) {
    for (const double cover : {0.0, 5.0, 33.0, 77.0, 100.0}) {
        EXPECT_NEAR(flat_cover_ratio(cover), std::exp(-0.0438 * cover), 1e-12);
        EXPECT_NEAR(flat_cover_ratio_steep(cover), std::exp(-0.0605 * cover), 1e-12);
        EXPECT_NEAR(flat_cover_ratio_1985(cover), std::min(1.0, 1.81 * std::exp(-0.072 * cover)),
                    1e-12);
    }
    for (const double area : {0.0, 1.0, 250.0, 3000.0})
        EXPECT_NEAR(standing_ratio(area), std::exp(-0.0344 * std::pow(area, 0.6413)), 1e-12);
    for (const double canopy : {0.0, 0.05, 0.5, 1.0})
        EXPECT_NEAR(canopy_ratio(canopy), std::exp(-5.614 * std::pow(canopy, 0.7366)), 1e-12);
}

TEST(WindLimits, CombinedRatioIsTheProductOfTheThree) {
    EXPECT_NEAR(
        combined_ratio({30, 250, 0.1}),
        std::exp(-0.0438 * 30 - 0.0344 * std::pow(250, 0.6413) - 5.614 * std::pow(0.1, 0.7366)),
        1e-12);
}

TEST(WindLimits, CutAgainstTheThreeFits) {
    Random random(11);
    for (int i = 0; i < 200; ++i) {
        const WindCover bare{random.uniform(0, 100), random.uniform(0, 400), random.uniform()};
        const WindCover covered{random.uniform(0, 100), random.uniform(0, 400), random.uniform()};
        const auto rest = [](const WindCover& c) {
            return std::exp(-0.0344 * std::pow(c.silhouette_cm2_m2, 0.6413)) *
                   std::exp(-5.614 * std::pow(c.canopy_fraction, 0.7366));
        };
        const auto cut = [&](double slope) {
            return 100 * (1 - std::exp(-slope * (covered.flat_cover_pct - bare.flat_cover_pct)) *
                                  rest(covered) / rest(bare));
        };
        std::vector<double> fits = {cut(0.0438), cut(0.0605)};
        const auto inside = [](double pct) { return pct >= 8 && pct <= 80; };
        if (inside(bare.flat_cover_pct) && inside(covered.flat_cover_pct)) {
            const auto tunnel = [](double pct) {
                return std::min(1.0, 1.81 * std::exp(-0.072 * pct));
            };
            fits.push_back(100 * (1 - tunnel(covered.flat_cover_pct) / tunnel(bare.flat_cover_pct) *
                                          rest(covered) / rest(bare)));
        }
        const WindCut result = wind_cut(bare, covered);
        const double scale = 1e-9 * (1 + std::abs(result.low_pct));
        EXPECT_NEAR(result.typical_pct, fits[0], scale) << "seed 11, draw " << i;
        EXPECT_NEAR(result.low_pct, *std::min_element(fits.begin(), fits.end()), scale) << i;
        EXPECT_NEAR(result.high_pct, *std::max_element(fits.begin(), fits.end()), scale) << i;
    }
}

TEST(WindLimits, TunnelFitOnlyFromEightToEighty) {
    // Between these, 1.81 exp(-0.072 SC) is the steepest of the three.
    const auto high = [](double from, double to) {
        return wind_cut({from, 0, 0}, {to, 0, 0}).high_pct;
    };
    const double steep = 100 * (1 - std::exp(-0.0605 * 40));
    EXPECT_GT(high(40, 80), steep + 1);
    EXPECT_NEAR(high(40.5, 80.5), steep, 1e-9);
    EXPECT_NEAR(wind_cut({40, 0, 0}, {8, 0, 0}).low_pct,
                100 * (1 - 1.0 / (1.81 * std::exp(-0.072 * 40))), 1e-9);
    EXPECT_NEAR(wind_cut({40, 0, 0}, {7.9, 0, 0}).low_pct, 100 * (1 - std::exp(0.0605 * 32.1)),
                1e-9);
}

TEST(WindLimits, CoverOutOfRangeIsRefused) {
    const WindCover none{};
    for (const WindCover& wrong :
         {WindCover{-0.1, 0, 0}, WindCover{100.1, 0, 0}, WindCover{0, -0.1, 0},
          WindCover{0, 0, -0.1}, WindCover{0, 0, 1.1}}) {
        EXPECT_THROW(wind_cut(none, wrong), Error);
        EXPECT_THROW(wind_cut(wrong, none), Error);
    }
    EXPECT_NO_THROW(wind_cut(none, {100, 0.5, 1}));
}

// Fryrear et al. 1994, J. Soil Water Conserv. 49:183-188, with the ranges of their data.
TEST(WindLimits, ErodibleFractionAndItsRanges) {
    Random random(12);
    for (int i = 0; i < 200; ++i) {
        SurfaceSoil soil;
        soil.clay_pct = random.uniform(1, 60);
        soil.sand_pct = random.uniform(0, 100 - soil.clay_pct);
        soil.silt_pct = 100 - soil.clay_pct - soil.sand_pct;
        soil.organic_matter_pct = random.uniform(0.2, 8);
        soil.carbonate_pct = random.uniform(0, 30);
        const double ratio = soil.sand_pct / soil.clay_pct;
        const double fraction =
            (29.09 + 0.31 * soil.sand_pct + 0.17 * soil.silt_pct + 0.33 * ratio -
             2.59 * soil.organic_matter_pct - 0.95 * soil.carbonate_pct) /
            100;
        const WindErodibility result = wind_erodibility(soil);
        EXPECT_NEAR(result.erodible_fraction, std::min(1.0, std::max(0.0, fraction)), 1e-12)
            << "seed 12, draw " << i;
        EXPECT_NEAR(result.crust_factor,
                    1 / (1 + 0.0066 * std::pow(soil.clay_pct, 2) +
                         0.021 * std::pow(soil.organic_matter_pct, 2)),
                    1e-12);
        const auto outside = [](double value, double low, double high) {
            return value < low || value > high ? 1u : 0u;
        };
        EXPECT_EQ(result.warnings.size(),
                  outside(soil.sand_pct, 5.5, 93.6) + outside(soil.silt_pct, 0.5, 69.5) +
                      outside(soil.clay_pct, 5, 39.3) + outside(ratio, 1.2, 53) +
                      outside(soil.organic_matter_pct, 0.18, 4.79) +
                      outside(soil.carbonate_pct, 0, 25.2))
            << "seed 12, draw " << i;
    }
    EXPECT_THROW(wind_erodibility(soil_of(50, 50, 0)), Error);
    // Sand with half a percent of clay: (29.09 + 30.69 + 65.34) / 100 is more than everything.
    EXPECT_EQ(wind_erodibility(soil_of(99, 0.5, 0.5)).erodible_fraction, 1.0);
    EXPECT_EQ(wind_erodibility(soil_of(60, 35.1, 4.9)).warnings.at(0),
              "Erodible fraction: clay of 4.9 lies outside the fit (5 to 39.3).");
    // All six ranges at their ends are inside, a little beyond is not.
    const auto warned = [](double sand, double clay, double om, double carbonate) {
        SurfaceSoil soil = soil_of(sand, 100 - sand - clay, clay);
        soil.organic_matter_pct = om;
        soil.carbonate_pct = carbonate;
        return wind_erodibility(soil).warnings.size();
    };
    EXPECT_EQ(warned(60, 20, 0.18, 0), 0u);
    EXPECT_EQ(warned(60, 20, 0.17, 0), 1u);
    EXPECT_EQ(warned(60, 20, 4.79, 25.2), 0u);
    EXPECT_EQ(warned(60, 20, 4.8, 25.3), 2u);
    EXPECT_EQ(warned(93.6, 5.9, 1, 0), 0u);    // silt 0.5
    EXPECT_EQ(warned(93.7, 5.9, 1, 0), 2u);    // and silt 0.4
    EXPECT_EQ(warned(47.16, 39.3, 1, 0), 0u);  // sand over clay 1.2
    EXPECT_EQ(warned(47.3, 39.4, 1, 0), 1u);
    EXPECT_EQ(warned(47.0, 39.3, 1, 0), 1u);
    EXPECT_EQ(warned(60, 5, 1, 0), 0u);
    EXPECT_EQ(warned(60, 4.9, 1, 0), 1u);
    EXPECT_EQ(warned(5.5, 25, 1, 0), 1u);  // silt 69.5; sand over clay 0.22
    EXPECT_EQ(warned(5.4, 25, 1, 0), 3u);
    EXPECT_EQ(warned(95, 1.75, 1, 0), 1u + 1u + 1u);  // ratio 54.3, clay, sand
}

TEST(WindLimits, ClimateAndIndex) {
    for (const double p_in : {0.2, 0.5, 0.6, 3.0}) {
        for (const double t_f : {20.0, 28.4, 40.0, 80.0}) {
            EXPECT_NEAR(
                precipitation_effectiveness_month(p_in * 25.4, units::celsius_from_fahrenheit(t_f)),
                115 * std::pow(std::max(p_in, 0.5) / (std::max(t_f, 28.4) - 10), 10.0 / 9), 1e-9);
        }
    }
    EXPECT_NEAR(wind_climatic_factor_pct(5, 30), 386 * 125 / 900.0, 1e-9);
    EXPECT_EQ(wind_climatic_factor_pct(0, 30), 0.0);
    EXPECT_NEAR(wind_climatic_factor_pct(5, 0.5), 386 * 125 / 0.25, 1e-6);
    EXPECT_THROW(wind_climatic_factor_pct(-0.1, 30), Error);
    EXPECT_NEAR(wind_erodibility_index(40, 200, 0.5), 160, 1e-9);
    EXPECT_THROW(wind_erodibility_index(40, 200, 0), Error);
}

// --- tables of subfactors ------------------------------------------------------------------------

/// What a table says of a row with one cell set to `value`; "" where it is taken.
std::string tool_refusal(std::size_t column, const std::string& value) {
    std::vector<std::string> cells = {"x",   "x",   "20", "0.5",       "0.5",
                                      "0.5", "0.5", "me", "assumption"};
    cells[column] = value;
    std::string row = cells.front();
    for (std::size_t i = 1; i < cells.size(); ++i) row += "," + cells[i];
    return message_of([&] {
        parse_tools(
            Table::parse("id,name,roughness_mm,buried_share,buried_top_share,"
                         "disturbed_share,flattened_share,source,confidence\n" +
                             row + "\n",
                         "tools.csv"));
    });
}

std::string residue_refusal(std::size_t column, const std::string& value) {
    std::vector<std::string> cells = {"x",   "x",    "0.0005", "0.01",
                                      "0.5", "0.01", "me",     "assumption"};
    cells[column] = value;
    std::string row = cells.front();
    for (std::size_t i = 1; i < cells.size(); ++i) row += "," + cells[i];
    return message_of([&] {
        parse_residue_kinds(Table::parse(
            "id,name,alpha_ha_kg,decay_per_day,flat_share,fall_per_day,source,confidence\n" + row +
                "\n",
            "residue.csv"));
    });
}

/// The ends of what a column takes, and a little beyond them.
struct ColumnRange {
    std::size_t column;
    const char *name, *low, *high, *below, *above;
};

/// refusal(column, text): what the table's reader says of it, "" where it takes it.
template <typename Refusal>
void expect_ranges(std::span<const ColumnRange> ranges, Refusal refusal) {
    for (const ColumnRange& range : ranges) {
        EXPECT_EQ(refusal(range.column, range.low), "") << range.name;
        EXPECT_EQ(refusal(range.column, range.high), "") << range.name;
        EXPECT_TRUE(mentions(refusal(range.column, range.below), range.name));
        EXPECT_TRUE(mentions(refusal(range.column, range.above), range.name));
    }
}

TEST(SubfactorLimits, ColumnsOfToolsAndResidues) {
    const ColumnRange of_tools[] = {{2, "roughness_mm", "6", "150", "5.9", "150.5"},
                                    {3, "buried_share", "0", "1", "-0.01", "1.01"},
                                    {4, "buried_top_share", "0", "1", "-0.01", "1.01"},
                                    {5, "disturbed_share", "0", "1", "-0.01", "1.01"},
                                    {6, "flattened_share", "0", "1", "-0.01", "1.01"}};
    expect_ranges(of_tools, tool_refusal);
    const ColumnRange of_residues[] = {{2, "alpha_ha_kg", "0.00001", "0.01", "0.0000099", "0.0101"},
                                       {3, "decay_per_day", "0", "0.5", "-0.01", "0.51"},
                                       {4, "flat_share", "0", "1", "-0.01", "1.01"},
                                       {5, "fall_per_day", "0", "1", "-0.01", "1.01"}};
    expect_ranges(of_residues, residue_refusal);
    EXPECT_TRUE(mentions(tool_refusal(0, ""), "the id is empty"));
    EXPECT_TRUE(
        mentions(tool_refusal(0, "x,x,20,0.5,0.5,0.5,0.5,me,assumption\nX"), "there twice"));
}

TEST(SubfactorLimits, CoefficientsAreAboveZero) {
    const auto refusal = [](const std::string& value) {
        return message_of([&] {
            parse_coefficients(
                Table::parse("name,value,confidence\nplu_cuf," + value + ",assumption\n", "c.csv"));
        });
    };
    EXPECT_EQ(refusal("0.001"), "");
    EXPECT_TRUE(mentions(refusal("0"), "plu_cuf must be above 0"));
    EXPECT_TRUE(mentions(refusal("-1"), "plu_cuf must be above 0"));
}

// Nothing shades the ground on the day a crop is planted.
TEST(SubfactorLimits, CanopiesBeginWithNothing) {
    for (const Crop& one : crops()) {
        EXPECT_EQ(one.canopy.front().days, 0.0) << one.id;
        EXPECT_EQ(one.canopy.front().canopy_fraction, 0.0) << one.id;
        EXPECT_GT(one.canopy.size(), 2u) << one.id;
    }
}

// --- soil loss -----------------------------------------------------------------------------------

Factors factors(double r, double k, double ls = 1, double c = 0.2, double p = 1) {
    return {r, k, ls, c, p};
}

TEST(SoilLossLimits, EachFactorFromBothSides) {
    const double k = 0.3 * units::k_si_per_us;
    const auto warnings = [](const Factors& f, double slope = 5, double length = 50) {
        return check_factors(f, slope, length).size();
    };
    const double r10 = 10 * units::r_si_per_us;
    EXPECT_EQ(warnings(factors(30000, k)), 0u);
    EXPECT_THROW(warnings(factors(30001, k)), Error);
    EXPECT_EQ(warnings(factors(r10 + 0.1, k)), 0u);
    EXPECT_EQ(warnings(factors(r10 - 0.1, k)), 1u);
    EXPECT_EQ(warnings(factors(0.5, k)), 1u);
    EXPECT_THROW(warnings(factors(0, k)), Error);
    EXPECT_TRUE(mentions(check_factors(factors(100.4, k), 5, 50).at(0), "R is only 100 MJ mm"));
    EXPECT_EQ(warnings(factors(r10, k)), 0u);
    const auto k_us = [](double value) { return value * units::k_si_per_us; };
    EXPECT_EQ(warnings(factors(2000, k_us(0.02))), 0u);
    EXPECT_EQ(warnings(factors(2000, k_us(0.69))), 0u);
    EXPECT_TRUE(
        mentions(check_factors(factors(2000, k_us(0.01234)), 5, 50).at(0), "K is 0.012 in US"));
    EXPECT_TRUE(mentions(check_factors(factors(2000, k), 20.6, 50).at(0), "The slope is 21 %;"));
    EXPECT_TRUE(mentions(message_of([&] { check_factors(factors(2000, k), 50.6, 50); }),
                         "the slope is 51 %;"));
    EXPECT_TRUE(mentions(message_of([&] { check_factors(factors(2000, k), 5, 305.6); }),
                         "the slope length is 306 m;"));
    EXPECT_EQ(warnings(factors(2000, k_us(0.0201))), 0u);
    EXPECT_EQ(warnings(factors(2000, k_us(0.0199))), 1u);
    EXPECT_EQ(warnings(factors(2000, k_us(0.6899))), 0u);
    EXPECT_EQ(warnings(factors(2000, k_us(0.6901))), 1u);
    EXPECT_EQ(warnings(factors(2000, k_us(1.0))), 1u);
    EXPECT_THROW(warnings(factors(2000, k_us(1.0001))), Error);
    EXPECT_THROW(warnings(factors(2000, 0)), Error);
    EXPECT_EQ(warnings(factors(2000, k, 0)), 0u);
    EXPECT_THROW(warnings(factors(2000, k, infinity)), Error);
    EXPECT_THROW(warnings(factors(2000, k, -0.01)), Error);
    for (const double edge : {0.0, 1.2}) {
        EXPECT_EQ(warnings(factors(2000, k, 1, edge)), 0u);
        EXPECT_EQ(warnings(factors(2000, k, 1, 0.2, edge)), 0u);
    }
    for (const double beyond : {-0.01, 1.21}) {
        EXPECT_THROW(warnings(factors(2000, k, 1, beyond)), Error);
        EXPECT_THROW(warnings(factors(2000, k, 1, 0.2, beyond)), Error);
    }
    EXPECT_EQ(warnings(factors(2000, k), 0, 0), 0u);
    EXPECT_EQ(warnings(factors(2000, k), 20, 305), 0u);
    EXPECT_EQ(warnings(factors(2000, k), 20.1), 1u);
    EXPECT_EQ(warnings(factors(2000, k), 50), 1u);
    EXPECT_THROW(warnings(factors(2000, k), 50.1), Error);
    EXPECT_THROW(warnings(factors(2000, k), 5, 305.1), Error);
    EXPECT_THROW(warnings(factors(2000, k), -0.1), Error);
    EXPECT_THROW(warnings(factors(2000, k), 5, -0.1), Error);
}

// NSSH 618.93, the whole table at its borders.
TEST(SoilLossLimits, ToleranceTable) {
    const double depths[] = {0, 24.9, 25, 49.9, 50, 99.9, 100, 149.9, 150, 400};
    const double expected[3][10] = {{1, 1, 1, 1, 2, 2, 3, 3, 5, 5},
                                    {1, 1, 2, 2, 3, 3, 4, 4, 5, 5},
                                    {3, 3, 3, 3, 4, 4, 4, 4, 5, 5}};
    const Renewal renewals[] = {Renewal::not_renewable, Renewal::renewable,
                                Renewal::very_renewable};
    for (std::size_t r = 0; r < 3; ++r) {
        for (std::size_t d = 0; d < 10; ++d) {
            const double t = tolerance_by_depth(depths[d], renewals[r]).t_mg_ha;
            EXPECT_NEAR(t, expected[r][d] * units::mg_ha_per_ton_ac, 1e-9) << depths[d];
            const double eroded = tolerance_by_depth(depths[d], renewals[r], true).t_mg_ha;
            EXPECT_NEAR(eroded, std::max(1.0, expected[r][d] - 1) * units::mg_ha_per_ton_ac, 1e-9);
        }
    }
    EXPECT_TRUE(mentions(tolerance_by_depth(30, Renewal::renewable, true).note, "one class lower"));
    EXPECT_FALSE(mentions(tolerance_by_depth(30, Renewal::renewable).note, "one class lower"));
    EXPECT_EQ(tolerance_by_depth(30, Renewal::renewable).note,
              "T 2 ton/(ac yr) by depth to a limiting layer (NSSH 618.93)");
    // No limiting layer at all.
    EXPECT_NEAR(tolerance_by_depth(infinity).t_mg_ha, 5 * units::mg_ha_per_ton_ac, 1e-9);
    EXPECT_TRUE(mentions(message_of([] { tolerance_by_depth(-0.1); }), "negative"));
    EXPECT_EQ(tolerance_by_depth(30, Renewal::renewable).confidence, Confidence::verified);
}

TEST(SoilLossLimits, ToleranceMustBeAboveZero) {
    EXPECT_NEAR(loss_over_tolerance(3, 0.5), 6, 1e-12);
    EXPECT_THROW(loss_over_tolerance(3, 0), Error);
    EXPECT_THROW(loss_over_tolerance(3, infinity), Error);
    EXPECT_NEAR(erodibility_index(2000, 0.04, 1.5, 0.5), 240, 1e-9);
    EXPECT_THROW(erodibility_index(2000, 0.04, 1.5, infinity), Error);
}

// 7 CFR 12.21, 12.22: from 8 on; a third of the field or 50 acres.
TEST(SoilLossLimits, HighlyErodible) {
    EXPECT_EQ(erodibility_class(8.0, 9.0), Erodibility::highly);
    EXPECT_EQ(erodibility_class(7.99, 8.0), Erodibility::potentially_highly);
    EXPECT_EQ(erodibility_class(7.0, 7.99), Erodibility::not_highly);
    const Predominance part = field_predominance({{2, 8.0}, {6, 7.9}});
    EXPECT_NEAR(part.erodible_share, 0.25, 1e-12);
    EXPECT_NEAR(part.erodible_ha, 2, 1e-12);
    EXPECT_FALSE(part.predominant);
    EXPECT_TRUE(field_predominance({{0.3333, 8}, {0.6667, 1}}).predominant);
    EXPECT_FALSE(field_predominance({{0.3332, 8}, {0.6668, 1}}).predominant);
    const double acres50 = 50 * units::ha_per_ac;
    EXPECT_TRUE(field_predominance({{acres50, 8}, {1000, 1}}).predominant);
    EXPECT_FALSE(field_predominance({{acres50 - 0.001, 8}, {1000, 1}}).predominant);
    EXPECT_NEAR(field_predominance({{0.5, 9}, {0, 9}}).erodible_share, 1.0, 1e-12);
    EXPECT_THROW(field_predominance({{-1, 9}, {5, 1}}), Error);
    EXPECT_THROW(field_predominance({{0, 9}}), Error);
}

// AH-537 tables 13 to 15, all rows, from both sides of the borders between whole percents.
TEST(SoilLossLimits, PracticeTables) {
    struct Row {
        double from, to, contour, contour_ft, two, one, none, width_ft, strip_ft, sod, underground;
    };
    const Row rows[] = {{0, 2.49, .60, 400, .30, .45, .60, 130, 800, .12, .05},
                        {2.5, 5.49, .50, 300, .25, .38, .50, 100, 600, .10, .05},
                        {5.5, 8.49, .50, 200, .25, .38, .50, 100, 400, .10, .05},
                        {8.5, 12.49, .60, 120, .30, .45, .60, 80, 240, .12, .05},
                        {12.5, 16.49, .70, 80, .35, .52, .70, 80, 160, .14, .05},
                        {16.5, 20.49, .80, 60, .40, .60, .80, 60, 120, .16, .06},
                        {20.5, 25.49, .90, 50, .45, .68, .90, 50, 100, .18, .06}};
    constexpr double ft = 0.3048;
    for (const Row& row : rows) {
        for (const double slope : {row.from, row.to}) {
            const SupportPractice contour = contour_p(slope, row.contour_ft * ft);
            EXPECT_EQ(contour.p, row.contour) << slope;
            EXPECT_FALSE(contour.beyond_limit);
            EXPECT_EQ(contour.confidence, Confidence::recalled);
            EXPECT_NEAR(*contour.max_length_m, row.contour_ft * ft, 1e-9);
            const SupportPractice longer = contour_p(slope, row.contour_ft * ft * 1.001);
            EXPECT_EQ(longer.p, 1.0) << slope;
            EXPECT_TRUE(longer.beyond_limit);
            EXPECT_EQ(contour_p(slope, row.contour_ft * ft * 1.25, true).p, row.contour);
            EXPECT_EQ(contour_p(slope, row.contour_ft * ft * 1.251, true).p, 1.0);
            const StripRotation rotations[] = {StripRotation::meadow_two_years,
                                               StripRotation::meadow_one_year,
                                               StripRotation::no_meadow};
            const double strips[] = {row.two, row.one, row.none};
            for (std::size_t i = 0; i < 3; ++i) {
                const SupportPractice strip = strip_crop_p(slope, row.strip_ft * ft, rotations[i]);
                EXPECT_EQ(strip.p, strips[i]) << slope;
                EXPECT_NEAR(*strip.strip_width_m, row.width_ft * ft, 1e-9);
                EXPECT_EQ(strip_crop_p(slope, row.strip_ft * ft * 1.001, rotations[i]).p, 1.0);
                EXPECT_EQ(terraces(slope, 10, TerraceOutlet::underground, rotations[i]).in_field.p,
                          strips[i]);
            }
            EXPECT_EQ(terraces(slope, 10, TerraceOutlet::graded_sod).sediment_factor, row.sod);
            EXPECT_EQ(terraces(slope, 10, TerraceOutlet::underground).sediment_factor,
                      row.underground);
            EXPECT_EQ(terraces(slope, 10, TerraceOutlet::underground).in_field.p, row.contour);
        }
    }
    // 300 ft are 91.44 m.
    EXPECT_EQ(contour_p(4.2, 50).note, "Contouring, P = 0.50.");
    EXPECT_EQ(
        contour_p(4.2, 120.4).note,
        "Contouring holds to a slope length of 91 m at 4.2 % slope; this slope is 120 m long: "
        "P = 1.");
    EXPECT_TRUE(contour_p(25.5, 1).beyond_limit);
    EXPECT_TRUE(mentions(contour_p(30.4, 1).note, "(here 30 %)"));
    EXPECT_FALSE(contour_p(25.5, 1).max_length_m);
    EXPECT_EQ(strip_crop_p(25.5, 1, StripRotation::no_meadow).p, 1.0);
    EXPECT_FALSE(strip_crop_p(25.5, 1, StripRotation::no_meadow).strip_width_m);
    EXPECT_TRUE(mentions(terraces(25.5, 1, TerraceOutlet::graded_sod).note, "not rated"));
    EXPECT_THROW(contour_p(5, -0.1), Error);
    EXPECT_THROW(contour_p(-0.1, 5), Error);
    EXPECT_NO_THROW(terraces(5, 0.5, TerraceOutlet::graded_sod));
    EXPECT_THROW(terraces(5, 0, TerraceOutlet::graded_sod), Error);
}

// --- ranking -------------------------------------------------------------------------------------

TEST(RankingLimits, EachRefusalFromBothSides) {
    const auto rank = [](RankInput row) { return rank_zones({row}, RankBy::saved); };
    EXPECT_NO_THROW(rank({"a", 1, 0.5, 0, 0, 0.5, 0.0}));
    EXPECT_THROW(rank({"a", 1, 0, 1, 1, 1, {}}), Error);
    EXPECT_THROW(rank({"a", 1, infinity, 1, 1, 1, {}}), Error);
    EXPECT_THROW(rank({"a", 1, 1, 1, 1, 0, {}}), Error);
    EXPECT_THROW(rank({"a", 1, 1, 1, 1, infinity, {}}), Error);
    EXPECT_THROW(rank({"a", 1, 1, -0.1, 1, 1, {}}), Error);
    EXPECT_THROW(rank({"a", 1, 1, 1, -0.1, 1, {}}), Error);
    EXPECT_THROW(rank({"a", 1, 1, infinity, 1, 1, {}}), Error);
    EXPECT_THROW(rank({"a", 1, 1, 1, 1, 1, -0.1}), Error);
}

TEST(RankingLimits, FieldSumsByHand) {
    // Field a: 2 ha at 12, 6 ha at 4; cover leaves 9 and 1. T 8 and 3.
    const std::vector<RankInput> rows = {{"a", 1, 2, 12, 9, 8, 10.0},
                                         {"a", 2, 6, 4, 1, 3, 20.0},
                                         {"b", 1, 4, 5, 5, 5, std::nullopt},
                                         {"b", 2, 4, 5, 6, 5, 10.0},
                                         {"c", 1, 1, 1, 0.5, 2, 0.5}};
    const Ranking result = rank_zones(rows, RankBy::loss_over_t);
    const auto field = [&](const std::string& name) {
        return *std::find_if(result.fields.begin(), result.fields.end(),
                             [&](const RankedRow& row) { return row.field == name; });
    };
    const RankedRow a = field("a");
    EXPECT_NEAR(a.area_ha, 8, 1e-12);
    EXPECT_NEAR(a.loss_now_mg_ha, (24 + 24) / 8.0, 1e-12);
    EXPECT_NEAR(a.loss_cover_mg_ha, (18 + 6) / 8.0, 1e-12);
    EXPECT_NEAR(a.t_mg_ha, (16 + 18) / 8.0, 1e-12);
    EXPECT_NEAR(a.loss_over_t, 48 / 34.0, 1e-12);
    EXPECT_NEAR(a.saved_mg, 24, 1e-12);
    EXPECT_NEAR(*a.cost, 20 + 120, 1e-12);
    EXPECT_NEAR(*a.saved_per_cost, 24 / 140.0, 1e-12);
    EXPECT_NEAR(a.over_t_share, 1.0, 1e-12);
    const RankedRow b = field("b");  // a loss of exactly T is not over it
    EXPECT_NEAR(b.over_t_share, 0.0, 1e-12);
    EXPECT_FALSE(b.cost);
    EXPECT_FALSE(b.saved_per_cost);
    EXPECT_NEAR(*field("c").saved_per_cost, 1.0, 1e-12);
    EXPECT_NEAR(result.area_ha, 17, 1e-12);
    EXPECT_NEAR(result.over_t_ha, 8, 1e-12);
    EXPECT_NEAR(result.over_t_share, 8 / 17.0, 1e-12);
    EXPECT_NEAR(result.over_t_cover_ha, 2 + 4, 1e-12);
    EXPECT_NEAR(result.saved_mg, 24 - 4 + 0.5, 1e-12);
    for (const RankedRow& zone : result.zones)
        EXPECT_NEAR(zone.over_t_share, zone.loss_now_mg_ha > zone.t_mg_ha ? 1.0 : 0.0, 0.0);
    // An unpriced row anywhere in a field leaves the field without a price, in either order.
    std::vector<RankInput> turned(rows.rbegin(), rows.rend());
    for (const RankedRow& row : rank_zones(turned, RankBy::saved_per_cost).fields)
        EXPECT_EQ(row.saved_per_cost.has_value(), row.field != "b") << row.field;
    EXPECT_EQ(rank_zones({}, RankBy::saved).over_t_share, 0.0);
    const Ranking little = rank_zones({{"a", 1, 0.5, 2, 1, 1, {}}}, RankBy::saved);
    EXPECT_NEAR(little.over_t_share, 1.0, 1e-12);
}

TEST(RankingLimits, TiesShareARank) {
    const std::vector<RankInput> rows = {{"b", 2, 1, 6, 0, 2, {}}, {"a", 7, 1, 6, 0, 2, {}},
                                         {"b", 1, 1, 6, 0, 2, {}}, {"c", 1, 1, 9, 0, 2, {}},
                                         {"d", 1, 1, 2, 0, 2, {}}, {"e", 1, 1, 2, 0, 2, {}}};
    const Ranking result = rank_zones(rows, RankBy::loss_over_t);
    const std::vector<std::tuple<std::string, int, int>> expected = {
        {"c", 1, 1}, {"a", 7, 2}, {"b", 1, 2}, {"b", 2, 2}, {"d", 1, 5}, {"e", 1, 5}};
    for (std::size_t i = 0; i < expected.size(); ++i) {
        EXPECT_EQ(std::tuple(result.zones[i].field, result.zones[i].zone, result.zones[i].rank),
                  expected[i]);
    }
    // The first two may tie too.
    const Ranking first = rank_zones({rows[0], rows[1], rows[4]}, RankBy::loss_over_t);
    EXPECT_EQ(first.zones[0].rank, 1);
    EXPECT_EQ(first.zones[1].rank, 1);
    EXPECT_EQ(first.zones[2].rank, 3);
    // A cover that costs nothing cannot be ranked by its cost.
    const Ranking priced =
        rank_zones({{"a", 1, 1, 6, 0, 2, 0.0}, {"b", 1, 1, 6, 5, 2, 0.5}}, RankBy::saved_per_cost);
    EXPECT_EQ(priced.zones[0].field, "b");
    EXPECT_NEAR(*priced.zones[0].saved_per_cost, 2.0, 1e-12);
    EXPECT_FALSE(priced.zones[1].saved_per_cost);
    for (const RankBy by : {RankBy::loss_over_t, RankBy::saved, RankBy::saved_per_cost})
        EXPECT_EQ(parse_rank_by(rank_by_name(by)), by);
}

}  // namespace
}  // namespace catchfield::erosion
