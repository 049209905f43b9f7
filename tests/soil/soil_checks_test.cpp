// SPDX-License-Identifier: MIT
// Published check values of erodibility and density, each with its source.
#include "base/units.hpp"
#include "soil/density.hpp"
#include "soil/erodibility.hpp"

#include <gtest/gtest.h>

namespace catchfield::soil {
namespace {

// AH-537 figure 3, worked example: answer 0.31 (verified; its organic matter of 2.8 % memory:
// high).
TEST(SoilChecks, K1NomographExample) {
    EXPECT_NEAR(nomograph_k_us({65, 30, 2.8, 2, 4}), 0.31, 0.005);
    EXPECT_NEAR(nomograph_k_us({65, 30, 2.8, 2, 4}), 0.3109, 0.0005);
}

// NSSH 618.59: silt 29, very fine sand 12.3, clay 36 give M = 2643.2. The rest follows from the
// equation.
TEST(SoilChecks, K2K3NssHandbookSoil) {
    EXPECT_NEAR((29 + 12.3) * (100 - 36), 2643.2, 0.01);
    EXPECT_NEAR(nomograph_k_us({29 + 12.3, 36, 2, 3, 4}), 0.2248, 0.0005);
    EXPECT_NEAR(nomograph_k_us({29 + 12.3, 36, 2, 4, 5}), 0.2823, 0.0005);
}

// Computed apart from this program with the same equation.
TEST(SoilChecks, K4K5) {
    EXPECT_NEAR(nomograph_k_us({68, 18, 3, 3, 3}), 0.3851, 0.0005);
    EXPECT_NEAR(nomograph_k_us({68, 18, 3, 3, 3}) * units::k_si_per_us, 0.0507, 0.0005);
    EXPECT_NEAR(nomograph_k_us({25, 6, 1, 1, 1}), 0.0784, 0.0005);
}

// NSSH 618: organic matter above 4 % counts as 4.
TEST(SoilChecks, K6OrganicMatterCap) {
    EXPECT_NEAR(nomograph_k_us({45, 25, 6, 3, 4}), 0.2343, 0.0005);
    EXPECT_DOUBLE_EQ(nomograph_k_us({45, 25, 6, 3, 4}), nomograph_k_us({45, 25, 4, 3, 4}));
}

// NSSH 618.92, printed table of Kw by Kf and rock fragments.
TEST(SoilChecks, K7K8RockFragments) {
    EXPECT_NEAR(kw_from_kf(0.32, 30), 0.154, 0.0005);
    EXPECT_NEAR(kw_from_kf(0.32, 30), 0.15, 0.005);
    EXPECT_DOUBLE_EQ(kw_from_kf(0.32, 10), 0.32);
    EXPECT_NEAR(kw_from_kf(0.49, 50), 0.147, 0.0005);
    EXPECT_NEAR(kw_from_kf(0.24, 25), 0.130, 0.0005);
    EXPECT_DOUBLE_EQ(nearest_k_class(kw_from_kf(0.32, 30)), 0.15);
}

// Williams 1995, equation as printed with 0.0256, computed apart from this program.
TEST(SoilChecks, K9TextureAndCarbon) {
    EXPECT_NEAR(williams_k_us({40, 40, 20}, 1.0), 0.2954, 0.001);
    EXPECT_NEAR(williams_k_us({40, 40, 20}, 1.0) * units::k_si_per_us, 0.0389, 0.0002);
    EXPECT_NEAR(williams_k_us({65, 25, 10}, 0.8), 0.2428, 0.001);
    EXPECT_NEAR(williams_k_us({90, 5, 5}, 0.5), 0.0937, 0.001);
}

// NSSH 618: permeability classes by lowest saturated conductivity, um/s.
TEST(SoilChecks, PermeabilityClassLimits) {
    const double limits[] = {30.0, 15.0, 4.8, 1.2, 0.3};
    for (int i = 0; i < 5; ++i) {
        EXPECT_EQ(permeability_class(limits[i]), i + 1);
        EXPECT_EQ(permeability_class(limits[i] * 0.999), i + 2);
    }
}

struct SaxtonRawlsCase {
    double sand, clay, th1500, th33, ths, rho, ksat;  // OM 2.5 %
};

// Saxton & Rawls 2006, Soil Sci. Soc. Am. J. 70:1569-1578; digits computed apart from this
// program, and equal to the paper's table 3 as printed (memory: high) where that has the texture.
TEST(SoilChecks, P3ToP8SaxtonRawls) {
    const SaxtonRawlsCase cases[] = {
        {40, 20, .1370, .2796, .4595, 1.4324, 15.48},  // P3, printed 14, 28, 46 %, 1.43, 15.5
        {88, 5, .0502, .1028, .4617, 1.4264, 108.15},  // P4, printed 5, 10, 46 %, 1.43, 108.1
        {20, 15, .1099, .3052, .4787, 1.3814, 16.12},  // P5, printed 11, 31, 48 %, 1.38, 16.1
        {25, 50, .2979, .4206, .4984, 1.3291, 1.145},  // P6, printed 30, 42, 50 %, 1.33, 1.1
        {10, 35, .2152, .3818, .5112, 1.2953, 5.684},  // P7
    };
    for (const SaxtonRawlsCase& check : cases) {
        const auto soil = saxton_rawls(check.sand, check.clay, 2.5);
        ASSERT_TRUE(soil);
        EXPECT_NEAR(soil->theta_1500, check.th1500, 5e-4);
        EXPECT_NEAR(soil->theta_33, check.th33, 5e-4);
        EXPECT_NEAR(soil->theta_s, check.ths, 5e-4);
        EXPECT_NEAR(soil->density_g_cm3, check.rho, 5e-4);
        EXPECT_NEAR(soil->ksat_mm_h, check.ksat, 0.01);
    }
    EXPECT_NEAR(saxton_rawls(65, 10, 2.5)->density_g_cm3, 1.4578, 5e-4);  // P8
    EXPECT_NEAR(saxton_rawls(30, 35, 2.5)->density_g_cm3, 1.3853, 5e-4);  // P8
}

// NRCS Soil Quality Indicators: Bulk Density (verified table; the row of overlapping textures is
// our rule).
TEST(SoilChecks, P9GrowthLimitingDensity) {
    const auto judge = [](TextureClass texture, double clay_pct, double density) {
        return density_class(density, density_limits(texture, clay_pct));
    };
    EXPECT_EQ(judge(TextureClass::silt_loam, 22, 1.70), DensityClass::restricts);
    EXPECT_EQ(judge(TextureClass::sandy_loam, 12, 1.70), DensityClass::affects);
    EXPECT_EQ(judge(TextureClass::clay, 50, 1.45), DensityClass::affects);
}

TEST(SoilChecks, P12Porosity) {
    EXPECT_NEAR(porosity(1.325), 0.500, 1e-6);
    EXPECT_NEAR(porosity(1.59), 0.400, 1e-6);
}

// Soil Survey Manual, chapter 3: points well inside each class of the USDA triangle.
TEST(SoilChecks, TextureTriangle) {
    const std::pair<Separates, TextureClass> cases[] = {
        {{92, 5, 3}, TextureClass::sand},
        {{82, 12, 6}, TextureClass::loamy_sand},
        {{65, 25, 10}, TextureClass::sandy_loam},
        {{40, 40, 20}, TextureClass::loam},
        {{20, 65, 15}, TextureClass::silt_loam},
        {{5, 88, 7}, TextureClass::silt},
        {{60, 13, 27}, TextureClass::sandy_clay_loam},
        {{32, 34, 34}, TextureClass::clay_loam},
        {{10, 55, 35}, TextureClass::silty_clay_loam},
        {{52, 6, 42}, TextureClass::sandy_clay},
        {{6, 47, 47}, TextureClass::silty_clay},
        {{22, 20, 58}, TextureClass::clay},
    };
    for (const auto& [soil, expected] : cases)
        EXPECT_EQ(texture_class(soil), expected) << texture_name(expected);
}

}  // namespace
}  // namespace catchfield::soil
