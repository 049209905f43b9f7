// SPDX-License-Identifier: MIT
// Published and independently computed check values of compaction, each with its source.
#include "base/units.hpp"
#include "compaction/advice.hpp"
#include "compaction/interpolation.hpp"
#include "compaction/penetrometer.hpp"
#include "soil/density.hpp"

#include <gtest/gtest.h>

#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <fstream>
#include <iterator>
#include <sstream>

namespace catchfield::compaction {
namespace {

const std::vector<Sample> square = {{0, 0, 150}, {0, 100, 220}, {100, 0, 310}, {100, 100, 280}};
const std::vector<Point> targets = {{30, 40}, {50, 50}, {100, 60}};

std::string text_of(const std::string& path) {
    std::ifstream file(path, std::ios::binary);
    return {std::istreambuf_iterator<char>(file), std::istreambuf_iterator<char>()};
}

/// Meuse data: Rikken & Van Rijn 1993, as in the R package sp.
std::vector<Sample> meuse(bool logarithm) {
    const Table table = Table::parse(
        text_of(CATCHFIELD_SOURCE_DIR "/tests/compaction/meuse_zinc.csv"), "meuse_zinc.csv");
    std::vector<Sample> samples;
    for (std::size_t row = 0; row < table.rows(); ++row) {
        const double zinc = table.required_number(row, "zinc");
        samples.push_back({table.required_number(row, "x"), table.required_number(row, "y"),
                           logarithm ? std::log(zinc) : zinc});
    }
    return samples;
}
const std::vector<Point> meuse_targets = {
    {179500, 331500}, {180500, 332500}, {181000, 333000}, {179000, 330500}};
const Variogram meuse_model{VariogramModel::spherical, .0507, .5906, 897};

void expect_values(const Interpolator& map, const std::vector<Point>& at,
                   const std::vector<double>& values, const std::vector<double>& variances,
                   double tolerance) {
    const auto predictions = map.at(at);
    for (std::size_t i = 0; i < at.size(); ++i) {
        EXPECT_NEAR(predictions[i].value, values[i], tolerance);
        if (variances.empty()) continue;
        EXPECT_NEAR(predictions[i].variance, variances[i], tolerance);
    }
}

// Exact definitions (NIST SP 811).
TEST(CompactionChecks, P1P2Units) {
    EXPECT_NEAR(limit_300_psi_mpa, 2.0684, 1e-4);
    EXPECT_NEAR(parse_strength_mpa("200 psi", "limit"), 1.3790, 1e-4);
    EXPECT_NEAR(2.0 / units::mpa_per_psi, 290.08, 0.01);
    EXPECT_NEAR(2.5 / units::mpa_per_psi, 362.59, 0.01);
    EXPECT_DOUBLE_EQ(limit_300_psi_mpa, 300.0 * units::mpa_per_psi);
}

// Penn State Agronomy Facts 63, Duiker 2002 (table memory: high; classes at the bounds are our
// rule).
TEST(CompactionChecks, P10Rating) {
    EXPECT_EQ(rating_of_share(0.25), Rating::little);
    EXPECT_EQ(rating_of_share(0.45), Rating::slight);
    EXPECT_EQ(rating_of_share(0.60), Rating::moderate);
    EXPECT_EQ(rating_of_share(0.80), Rating::severe);
    EXPECT_EQ(rating_of_share(0.30), Rating::slight);
    EXPECT_EQ(rating_of_share(0.50), Rating::moderate);
    EXPECT_EQ(rating_of_share(0.75), Rating::moderate);
}

// Exact: linear interpolation between readings.
TEST(CompactionChecks, P11Crossing) {
    const Stop stop{.id = "1", .depth_cm = {10, 20, 30, 40}, .strength_mpa = {1.0, 1.6, 2.6, 2.6}};
    EXPECT_NEAR(layers_above(stop, 2.07).front().top_cm, 24.7, 0.05);
}

// gstat 2.1 (R) on the same four points.
TEST(CompactionChecks, P13P14InverseDistance) {
    expect_values(Interpolator(square), targets, {212.0612, 240.0, 273.9785}, {}, 1e-3);
    expect_values(Interpolator(square, {.power = 1}), targets, {226.3123, 240.0, 260.3142}, {},
                  1e-3);
}

InterpolationOptions kriging(const Variogram& variogram, std::size_t neighbours = 0) {
    return {.method = Method::kriging, .neighbours = neighbours, .variogram = variogram};
}

// gstat 2.1 (R), and a separate solution of the system with a Lagrange multiplier in numpy.
TEST(CompactionChecks, P15P16P17Kriging) {
    const Variogram spherical{VariogramModel::spherical, 0, 4000, 150};
    expect_values(Interpolator(square, kriging(spherical)), targets, {211.8028, 240.0, 285.0874},
                  {2346.193, 2538.937, 2039.078}, 1e-3);
    const KrigingWeights at = kriging_weights(square, spherical, targets[0]);
    const double weights[] = {.436736, .277728, .174743, .110793};
    double sum = 0;
    for (std::size_t i = 0; i < 4; ++i) {
        EXPECT_NEAR(at.weights[i], weights[i], 1e-6);
        sum += at.weights[i];
    }
    EXPECT_NEAR(sum, 1.0, 1e-12);
    const Variogram nugget{VariogramModel::spherical, 500, 4000, 150};
    expect_values(Interpolator(square, kriging(nugget)), targets, {215.0405, 240.0, 280.2433},
                  {2998.105, 3163.937, 2757.218}, 1e-3);
    const Variogram exponential{VariogramModel::exponential, 0, 4000, 60};
    expect_values(Interpolator(square, kriging(exponential)), targets, {218.7992, 240.0, 272.3368},
                  {2876.025, 3010.561, 2677.537}, 1e-3);
}

// gstat 2.1 (R) on meuse.
TEST(CompactionChecks, P18P19MeuseInverseDistance) {
    expect_values(Interpolator(meuse(false), {.method = Method::inverse_distance, .neighbours = 0}),
                  meuse_targets, {397.4411, 767.3934, 314.6184, 463.9836}, {}, 1e-3);
    expect_values(
        Interpolator(meuse(false), {.method = Method::inverse_distance, .neighbours = 12}),
        meuse_targets, {377.4964, 838.7709, 268.5682, 456.4785}, {}, 1e-3);
}

// gstat 2.1 (R) on meuse, log(zinc).
TEST(CompactionChecks, P20MeuseKriging) {
    expect_values(Interpolator(meuse(true), kriging(meuse_model)), meuse_targets,
                  {5.73546, 6.70332, 5.53285, 6.11450}, {.13015, .13006, .13744, .13021}, 1e-4);
}

// gstat 2.1 (R), krige.cv on meuse, log(zinc): both ways of leaving one out.
TEST(CompactionChecks, P21MeuseLeaveOneOut) {
    for (const std::size_t neighbours : {0U, 154U}) {
        const CrossValidation figures =
            Interpolator(meuse(true), kriging(meuse_model, neighbours)).leave_one_out();
        EXPECT_EQ(figures.count, 155u);
        EXPECT_NEAR(figures.rmse, .39181, 1e-4);
        EXPECT_NEAR(figures.mean_error, -2.1e-5, 1e-4);
        EXPECT_NEAR(figures.correlation, .8393, 1e-4);
    }
}

// gstat 2.1 (R), variogram(log(zinc)~1, meuse): pairs, mean distance and semivariance of classes.
TEST(CompactionChecks, MeuseEmpiricalVariogram) {
    const auto bins = empirical_variogram(meuse(true));
    ASSERT_EQ(bins.size(), 15u);
    const VariogramBin expected[] = {{57, 79.29244, 0.1234479},
                                     {299, 163.97367, 0.2162185},
                                     {419, 267.36483, 0.3027859},
                                     {457, 372.73542, 0.4121448},
                                     {547, 478.47670, 0.4634128}};
    for (std::size_t i = 0; i < 5; ++i) {
        EXPECT_EQ(bins[i].pairs, expected[i].pairs);
        EXPECT_NEAR(bins[i].distance_m, expected[i].distance_m, 1e-4);
        EXPECT_NEAR(bins[i].gamma, expected[i].gamma, 1e-6);
    }
    EXPECT_EQ(bins[14].pairs, 415u);
    EXPECT_NEAR(bins[14].gamma, 0.5748227, 1e-6);
}

// The gstat tutorial's fit, and gstat 2.1 (R) itself; exponential: gstat 2.1 (R).
TEST(CompactionChecks, P22MeuseFit) {
    const auto bins = empirical_variogram(meuse(true));
    const Variogram spherical = fit_variogram(bins, VariogramModel::spherical).variogram;
    EXPECT_NEAR(spherical.nugget, .0507, .02 * .0507);
    EXPECT_NEAR(spherical.partial_sill, .5906, .02 * .5906);
    EXPECT_NEAR(spherical.range_m, 897.0, .02 * 897.0);
    const Variogram exponential = fit_variogram(bins, VariogramModel::exponential).variogram;
    EXPECT_NEAR(exponential.nugget, 0.0, 1e-9);
    EXPECT_NEAR(exponential.partial_sill, .71865, .02 * .71865);
    EXPECT_NEAR(exponential.range_m, 449.758, .02 * 449.758);
    EXPECT_EQ(fit_variogram(bins).variogram.model, VariogramModel::spherical);
}

// Live against gstat where R is installed: a neighbourhood of 16, values and variances.
TEST(CompactionChecks, MeuseAgainstGstatHere) {
    // R's own words are dropped; without R or gstat nothing comes back.
    FILE* pipe = popen(
        "Rscript -e "
        "'suppressMessages({library(sp);library(gstat)});data(meuse);coordinates(meuse)=~x+y;"
        "t=SpatialPoints(cbind(c(179500,180500,181000,179000),c(331500,332500,333000,330500)));"
        "k=krige(log(zinc)~1,meuse,t,model=vgm(.5906,\"Sph\",897,.0507),nmax=16,debug.level=0);"
        "cat(sprintf(\"%.9f %.9f\\n\",k$var1.pred,k$var1.var),sep=\"\")' 2>/dev/null",
        "r");
    ASSERT_NE(pipe, nullptr);
    std::string text;
    char buffer[256];
    while (std::fgets(buffer, sizeof buffer, pipe) != nullptr) text += buffer;
    if (pclose(pipe) != 0 || text.empty())
        GTEST_SKIP() << "R with gstat is not here: stored figures only";
    std::istringstream lines(text);
    const Interpolator map(meuse(true), kriging(meuse_model, 16));
    for (const Point& target : meuse_targets) {
        double value = 0, variance = 0;
        ASSERT_TRUE(lines >> value >> variance) << text;
        EXPECT_NEAR(map.at(target).value, value, 1e-6);
        EXPECT_NEAR(map.at(target).variance, variance, 1e-6);
    }
}

// Chen & Weil 2010, Plant and Soil 331:31-43.
TEST(CompactionChecks, P23PenetrationOrder) {
    EXPECT_EQ(penetration_order(),
              (std::vector<std::string>{"forage_radish", "canola_rape", "rye"}));
}

// Survey horizons of a real field in Ohio, without stops: a stated, cautious answer for every soil.
TEST(CompactionChecks, RealFieldFromHorizonsAlone) {
    const char* folder = std::getenv("CATCHFIELD_OPEN_DATA");
    if (folder == nullptr)
        GTEST_SKIP() << "CATCHFIELD_OPEN_DATA is not set: survey horizons not checked";
    const std::string text = text_of(std::string(folder) + "/ohio-field/horizons.csv");
    if (text.empty())
        GTEST_SKIP() << "ohio-field/horizons.csv is not there: survey horizons not checked";
    const auto profiles = soil::read_profiles(Table::parse(text, "horizons.csv"));
    ASSERT_EQ(profiles.size(), 9u);
    for (const auto& [key, profile] : profiles) {
        const auto layer =
            soil::dense_layer(soil::horizon_densities(profile, soil::natural_restriction(profile)));
        ZoneFacts facts{.evidence = LayerEvidence::soil_map,
                        .no_layer = !layer,
                        .gdd = 1100.0,
                        .soil_nitrate_kg_ha = 40.0,
                        .drainage = "moderately well drained",
                        .poorly_drained = false};
        if (layer) {
            facts.layer_top_cm = layer->top_cm;
            facts.layer_thickness_cm = layer->thickness_cm();
            facts.layer_source = layer->reason;
            facts.nature = layer->nature == soil::LayerNature::natural ? PanNature::natural
                           : layer->nature == soil::LayerNature::traffic_possible
                               ? PanNature::traffic_possible
                               : PanNature::unknown;
            facts.confidence = layer->confidence;
        }
        const TaprootAdvice advice = advise_taproot(facts);
        EXPECT_NE(advice.advice, Advice::recommended) << key;
        EXPECT_FALSE(advice.summary.empty());
        EXPECT_FALSE(advice.cautions.empty());
        EXPECT_EQ(advice.conditions[1].outcome, Outcome::unknown);
    }
    // Cardington: Bt at 23 cm, 1.60 g/cm3 in silty clay loam (affects from 1.55, restricts
    // above 1.65); a clay-enriched subsoil, so its nature stays open.
    const auto cardington = soil::dense_layer(soil::horizon_densities(profiles.at("2996476")));
    ASSERT_TRUE(cardington);
    EXPECT_DOUBLE_EQ(cardington->top_cm, 23.0);
    EXPECT_EQ(cardington->nature, soil::LayerNature::unknown);
    // Lobdell: alluvium without a dense horizon.
    EXPECT_FALSE(soil::dense_layer(soil::horizon_densities(profiles.at("168578"))));
}

}  // namespace
}  // namespace catchfield::compaction
