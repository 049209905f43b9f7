// SPDX-License-Identifier: MIT
// LS of whole fields: analytic surfaces against the one-dimensional equations, grids turned, moved
// and refined, guards and warnings, and the open sample field.
#include "base/error.hpp"
#include "surfaces.hpp"
#include "terrain/terrain.hpp"

#include <gtest/gtest.h>

#include <cmath>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <limits>
#include <numbers>
#include <oneapi/tbb/global_control.h>
#include <string>
#include <unistd.h>
#include <vector>

namespace {

using namespace catchfield;
using namespace catchfield::terrain;
using namespace catchfield::terrain::testing;

/// A slope of `length_m` that faces `azimuth` (degrees from north): the field is the middle of a
/// wide strip of equal length. Water from the strip's sides may run on, so that every line of flow
/// in the field begins at the strip's upper edge, as the one-dimensional equations assume.
struct Hillside {
    Raster<float> dem;
    Mask field;
    Mask strip;
};

template <typename Profile>
Hillside hillside(double azimuth_deg, double cell_m, double length_m, const Profile& z_at) {
    const int side = static_cast<int>(3.6 * length_m / cell_m);
    const GridFrame frame = frame_of(side, side, cell_m);
    const double azimuth = azimuth_deg * std::numbers::pi / 180.0;
    const auto down = [=](double x, double y) {
        return x * std::sin(azimuth) + y * std::cos(azimuth) + 0.5 * length_m;
    };
    const auto across = [=](double x, double y) {
        return std::fabs(x * std::cos(azimuth) - y * std::sin(azimuth));
    };
    const auto on_slope = [=](double x, double y) {
        const double d = down(x, y);
        return d >= 0.0 && d < length_m;
    };
    return {surface(frame, [=](double x, double y) { return z_at(down(x, y)); }),
            mask_where(frame,
                       [=](double x, double y) {
                           return on_slope(x, y) && across(x, y) < 0.4 * length_m;
                       }),
            mask_where(frame, [=](double x, double y) {
                return on_slope(x, y) && across(x, y) < 1.2 * length_m;
            })};
}

double field_ls(const Hillside& hill, Routing routing, double max_length_m = 300.0) {
    TerrainOptions options;
    options.routing = routing;
    options.max_length_m = max_length_m;
    TerrainLayers layers;
    layers.upslope = &hill.strip;
    return analyse(hill.dem, hill.field, options, layers).mean_ls;
}

TEST(Field, PlaneOfAnyOrientation) {
    // The closed form with the uniform slope's length. Limits: 1 % on the axes, 2 % elsewhere.
    for (const Routing routing : {Routing::multiple, Routing::d_infinity}) {
        for (const double slope : {2.0, 8.0, 15.0}) {
            for (const double azimuth :
                 {0.0, 90.0, 180.0, 270.0, 45.0, 225.0, 30.0, 120.0, 200.0, 337.0}) {
                const Hillside hill = hillside(
                    azimuth, 5, 200, [slope](double d) { return 100.0 - 0.01 * slope * d; });
                const double expected = ls_uniform(slope, 200);
                const double limit = std::fmod(azimuth, 90.0) == 0.0 ? .01 : .02;
                EXPECT_NEAR(field_ls(hill, routing) / expected, 1.0, limit)
                    << "azimuth " << azimuth << " slope " << slope << " routing "
                    << static_cast<int>(routing);
            }
        }
    }
}

TEST(Field, PlaneWithoutRunOn) {
    // A wide rectangle by itself: the edge is a barrier and its sides lose a little flow.
    const GridFrame frame = frame_of(60, 300, 5);
    const auto dem = surface(frame, [](double, double y) { return 100.0 + 0.06 * y; });
    const Mask field = mask_where(
        frame, [](double x, double y) { return std::fabs(x) < 700 && std::fabs(y) < 100; });
    TerrainOptions options;
    options.max_length_m = 300;
    EXPECT_NEAR(analyse(dem, field, options).mean_ls / ls_uniform(6, 200), 1.0, .02);
}

TEST(Field, PublishedAspectFactorIsShortOffTheAxes) {
    // Why the width follows the routing: |sin| + |cos| takes 45 degrees' L down by (1.06/1.41)^m.
    const Hillside hill = hillside(45, 5, 200, [](double d) { return 100.0 - 0.08 * d; });
    TerrainOptions options;
    options.max_length_m = 300;
    options.flow_width = FlowWidth::desmet_govers;
    TerrainLayers layers;
    layers.upslope = &hill.strip;
    const double ratio =
        analyse(hill.dem, hill.field, options, layers).mean_ls / ls_uniform(8, 200);
    EXPECT_NEAR(ratio, std::pow(1.0607 / 1.4142, length_exponent(8)), .02);
}

TEST(Field, ConvexAndConcaveSlopes) {
    // Against the irregular-slope formula (Foster & Wischmeier 1974) in 400 pieces: slope from 2 to
    // 14 % over 200 m, and from 14 to 2 %.
    for (const bool convex : {true, false}) {
        const double top = convex ? 2.0 : 14.0;
        const double change = (convex ? 12.0 : -12.0) / 200.0;  // % per metre
        std::vector<SlopeSegment> pieces;
        for (int i = 0; i < 400; ++i) pieces.push_back({0.5, top + change * (i + 0.5) * 0.5});
        const double expected = ls_irregular(pieces);
        for (const double azimuth : {0.0, 45.0, 30.0}) {
            const Hillside hill = hillside(azimuth, 5, 200, [=](double d) {
                return 100.0 - 0.01 * (top * d + 0.5 * change * d * d);
            });
            EXPECT_NEAR(field_ls(hill, Routing::multiple) / expected, 1.0, .02)
                << (convex ? "convex" : "concave") << ", azimuth " << azimuth;
        }
    }
}

TEST(Field, Cone) {
    // A cone's contributing area per width is r / 2, so L is ((r / 2) / 22.13)^m (m + 1) at r (the
    // derivative form of L), and its mean over a disc of radius R: 2 (m + 1) / (m + 2) (R
    // / 44.26)^m.
    const double slope = 6.0;
    const double m = length_exponent(slope);
    const double radius = 200.0;
    const GridFrame frame = frame_of(90, 90, 5);
    const auto dem =
        surface(frame, [&](double x, double y) { return 200.0 - 0.01 * slope * std::hypot(x, y); });
    const Mask field =
        mask_where(frame, [&](double x, double y) { return std::hypot(x, y) < radius; });
    const double expected = steepness_factor(slope) * 2.0 * (m + 1.0) / (m + 2.0) *
                            std::pow(radius / (2.0 * unit_plot_length_m), m);
    TerrainOptions options;
    options.max_length_m = 300;
    EXPECT_NEAR(analyse(dem, field, options).mean_ls / expected, 1.0, .03);
}

/// A smooth ground without pits, turned by an angle and moved.
double smooth_ground_ls(double cell_m, double turn_deg, double shift_m) {
    const double turn = turn_deg * std::numbers::pi / 180.0;
    const int side = static_cast<int>(700 / cell_m);
    const GridFrame frame = frame_of(side, side, cell_m);
    const auto u = [=](double x, double y) {
        return x * std::cos(turn) - y * std::sin(turn) + shift_m;
    };
    const auto v = [=](double x, double y) {
        return x * std::sin(turn) + y * std::cos(turn) + 0.7 * shift_m;
    };
    const auto dem = surface(frame, [&](double x, double y) {
        const double a = u(x, y);
        const double b = v(x, y);
        return 100.0 + 0.05 * b + 2.5 * std::sin(a / 45.0) * std::cos(b / 110.0) +
               1.5 * std::sin((a + b) / 80.0);
    });
    const Mask field = mask_where(
        frame, [&](double x, double y) { return std::hypot(u(x, y), 1.2 * v(x, y)) < 240; });
    return analyse(dem, field).mean_ls;
}

TEST(Field, TurnedMovedAndRefinedGrids) {
    const double reference = smooth_ground_ls(5, 0, 0);
    for (const double cell : {2.0, 5.0, 10.0}) {
        EXPECT_NEAR(smooth_ground_ls(cell, 0, 0) / reference, 1.0, .05) << "cell " << cell;
        EXPECT_NEAR(smooth_ground_ls(cell, 45, 0) / reference, 1.0, .05)
            << "45 degrees, cell " << cell;
        EXPECT_NEAR(smooth_ground_ls(cell, 30, 0) / reference, 1.0, .05)
            << "30 degrees, cell " << cell;
    }
    EXPECT_NEAR(smooth_ground_ls(5, 90, 0) / reference, 1.0, .01);
    EXPECT_NEAR(smooth_ground_ls(5, 0, 2.3) / reference, 1.0, .02);
}

TEST(Field, CapAndChannels) {
    // A 400 m plane capped at 100 m: every cell more than 100 m below the top collects beyond it.
    const Hillside hill = hillside(180, 10, 400, [](double d) { return 100.0 - 0.05 * d; });
    TerrainOptions options;
    options.max_length_m = 100;
    TerrainLayers layers;
    layers.upslope = &hill.strip;
    const TerrainResult result = analyse(hill.dem, hill.field, options, layers);
    EXPECT_NEAR(result.channel_share, 29.0 / 40.0,
                1e-9);  // inflow of row r is 10 r m; beyond 100 m
    const double m = length_exponent(5);
    const double at_cap =
        steepness_factor(5) * cell_length_factor(1000, 10, 1, m);  // row 10 and all below
    double sum = 29.0 * at_cap;
    for (int row = 0; row <= 10; ++row) {
        sum += steepness_factor(5) * cell_length_factor(row * 100.0, 10, 1, m);
    }
    EXPECT_NEAR(result.mean_ls, sum / 40.0, .002 * result.mean_ls);
    ASSERT_FALSE(result.warnings.empty());
    EXPECT_NE(result.warnings.back().find("greatest slope length"), std::string::npos);
}

TEST(Field, BarriersShortenSlopes) {
    const Hillside hill = hillside(180, 5, 200, [](double d) { return 100.0 - 0.05 * d; });
    Mask terrace(hill.dem.frame);
    const int middle = hill.dem.frame.rows / 2;
    for (int col = 0; col < hill.dem.frame.cols; ++col) terrace.at(middle, col) = 1;
    TerrainOptions options;
    options.max_length_m = 300;
    TerrainLayers layers;
    layers.upslope = &hill.strip;
    layers.barriers = &terrace;
    const TerrainResult result = analyse(hill.dem, hill.field, options, layers);
    EXPECT_NEAR(result.mean_ls / ls_uniform(5, 100), 1.0, .03);
    EXPECT_NEAR(result.outflow_m2 / result.domain_m2, 1.0, 1e-9);
    EXPECT_LT(result.mean_ls, 0.85 * ls_uniform(5, 200));
}

TEST(Field, RunOnAddsArea) {
    const Hillside hill = hillside(180, 5, 200, [](double d) { return 100.0 - 0.05 * d; });
    const int middle = hill.dem.frame.rows / 2;
    Mask lower = hill.field;
    for (std::size_t i = 0; i < lower.frame.index(middle, 0); ++i) lower[i] = 0;
    TerrainOptions options;
    options.max_length_m = 300;
    TerrainLayers layers;
    const double alone = analyse(hill.dem, lower, options, layers).mean_ls;
    layers.upslope = &hill.strip;
    const double with_run_on = analyse(hill.dem, lower, options, layers).mean_ls;
    EXPECT_GT(with_run_on, 1.3 * alone);
    // The lower half of a uniform slope: twice the whole less the upper half.
    EXPECT_NEAR(with_run_on / (2 * ls_uniform(5, 200) - ls_uniform(5, 100)), 1.0, .02);
}

TEST(Field, WetnessAndRelativeElevation) {
    const Hillside hill = hillside(180, 10, 100, [](double d) { return 100.0 - 0.05 * d; });
    TerrainLayers layers;
    layers.upslope = &hill.strip;
    TerrainOptions options;
    options.aspect = true;
    const TerrainResult result = analyse(hill.dem, hill.field, options, layers);
    float lowest = 2.0F;
    float highest = -1.0F;
    const int col = hill.dem.frame.cols / 2;
    int place = 0;
    for (int row = 0; row < hill.dem.frame.rows; ++row) {
        const std::size_t i = hill.dem.frame.index(row, col);
        if (result.mask[i] == 0) continue;
        // Beven & Kirkby 1979: ln(a / tan), a = 10 m for every cell down to here.
        ++place;
        EXPECT_NEAR(result.wetness[i], std::log(10.0 * place / 0.05), .001);
        EXPECT_NEAR(result.aspect_cosine[i], -1.0, 1e-4);  // faces south
        EXPECT_NEAR(result.aspect_sine[i], 0.0, 1e-4);
        lowest = std::min(lowest, result.relative_elevation[i]);
        highest = std::max(highest, result.relative_elevation[i]);
    }
    EXPECT_EQ(place, 10);
    EXPECT_NEAR(lowest, 0.0, 1e-4);
    EXPECT_NEAR(highest, 1.0, 1e-4);
}

TEST(Field, SteepGroundIsSaid) {
    const GridFrame frame = frame_of(20, 20, 5);
    const Mask field = everywhere(frame);
    const auto steep = surface(frame, [](double, double y) { return 500 + 0.30 * y; });
    const TerrainResult warned = analyse(steep, field);
    EXPECT_EQ(warned.steep_cells, 400U);
    EXPECT_EQ(warned.clamped_cells, 0U);
    EXPECT_FALSE(warned.warnings.empty());
    const auto cliff = surface(frame, [](double, double y) { return 500 + 0.80 * y; });
    const auto limit = surface(frame, [](double, double y) { return 500 + 0.50 * y; });
    const TerrainResult clamped = analyse(cliff, field);
    EXPECT_EQ(clamped.clamped_cells, 400U);
    EXPECT_NEAR(clamped.mean_ls, analyse(limit, field).mean_ls, 1e-3);
    TerrainOptions liu;
    liu.steepness = SteepnessFormula::liu;
    EXPECT_GT(analyse(steep, field, liu).mean_ls, 1.1 * warned.mean_ls);
}

TEST(Field, FineGridsNeedSmoothing) {
    const GridFrame frame = frame_of(60, 60, 1);
    auto dem = surface(frame, [](double, double y) { return 100 + 0.03 * y; });
    Random random(9);
    for (float& z : dem.values) z += static_cast<float>(0.03 * random.normal());
    const Mask field = everywhere(frame);
    const TerrainResult raw = analyse(dem, field);
    ASSERT_FALSE(raw.warnings.empty());
    EXPECT_NE(raw.warnings.front().find("not smoothed"), std::string::npos);
    TerrainOptions options;
    options.smoothing_radius_m = 6;
    const TerrainResult smoothed = analyse(dem, field, options);
    EXPECT_GT(raw.mean_slope_pct, 3.3);
    EXPECT_NEAR(smoothed.mean_slope_pct, 3.0, .1);
    for (const auto& warning : smoothed.warnings) {
        EXPECT_EQ(warning.find("not smoothed"), std::string::npos);
    }
}

TEST(Field, MissingElevationsAreSaid) {
    const GridFrame frame = frame_of(20, 20, 5);
    const auto dem = surface(frame, [](double, double y) { return 100 + 0.05 * y; });
    const Mask known = mask_where(frame, [](double x, double) { return x < 20; });
    TerrainLayers layers;
    layers.known = &known;
    const TerrainResult result = analyse(dem, everywhere(frame), {}, layers);
    EXPECT_EQ(result.missing_cells, 20U * 6U);
    EXPECT_EQ(result.cells, 20U * 14U);
    EXPECT_EQ(result.mask.values, known.values);
    ASSERT_FALSE(result.warnings.empty());
    EXPECT_NE(result.warnings.front().find("no elevation"), std::string::npos);
    EXPECT_NEAR(result.mean_slope_pct, 5.0, .001);
}

TEST(Field, SameOnAnyNumberOfThreads) {
    const GridFrame frame = frame_of(600, 500, 2);
    const auto dem = rough_ground(frame, 31, 0.05);
    TerrainOptions options;
    options.smoothing_radius_m = 6;
    std::vector<TerrainResult> results;
    for (const std::size_t threads : {std::size_t{1}, std::size_t{4}}) {
        const oneapi::tbb::global_control limit(
            oneapi::tbb::global_control::max_allowed_parallelism, threads);
        results.push_back(analyse(dem, everywhere(frame), options));
    }
    EXPECT_EQ(results[0].ls.values, results[1].ls.values);
    EXPECT_EQ(results[0].wetness.values, results[1].wetness.values);
    EXPECT_EQ(results[0].mean_ls, results[1].mean_ls);
    EXPECT_EQ(results[0].outflow_m2, results[1].outflow_m2);
}

TEST(SlopeOnly, ClosedFormAndDefaultLengths) {
    const GridFrame frame = frame_of(2, 2, 10);
    const Raster<float> slope(frame, std::vector<float>{2, 5, 10, 60});
    SlopeOnlyOptions options;
    options.length_m = 60.96;
    const TerrainResult given = analyse_slope(slope, everywhere(frame), options);
    EXPECT_NEAR(given.ls[1], 0.8549, .001);  // LS-25
    EXPECT_EQ(given.clamped_cells, 1U);
    EXPECT_NEAR(given.ls[3], ls_uniform(50, 60.96), 1e-4);
    EXPECT_EQ(given.confidence, Confidence::recalled);
    const TerrainResult fallback = analyse_slope(slope, everywhere(frame));
    EXPECT_NEAR(fallback.ls[0], ls_uniform(2, 300 * 0.3048), 1e-5);
    EXPECT_EQ(fallback.confidence, Confidence::unchecked);
    EXPECT_NE(fallback.warnings.front().find("default lengths"), std::string::npos);
}

/// Values of a raster file, row by row, by way of gdal_translate's text form.
std::vector<double> read_text_raster(const std::string& path, const std::string& text_path) {
    const std::string command = "gdal_translate -q -of XYZ '" + path + "' '" + text_path + "'";
    std::vector<double> values;
    if (std::system(command.c_str()) != 0) return values;
    std::ifstream text(text_path);
    double x = 0.0, y = 0.0, value = 0.0;
    while (text >> x >> y >> value) values.push_back(value);
    return values;
}

TEST(Field, OhioField) {
    // Open data: a field in Ohio with a 5 m DEM. Orientation from an independent script on the part
    // that the soil map covers: mean slope 1.61 %, mean LS 0.28 by multiple flow (0.25 by single
    // flow), cap 120 m.
    const char* folder = std::getenv("CATCHFIELD_OPEN_DATA");
    if (folder == nullptr) GTEST_SKIP() << "CATCHFIELD_OPEN_DATA is not set";
    if (std::system("command -v gdal_rasterize >/dev/null 2>&1") != 0)
        GTEST_SKIP() << "no GDAL tools";
    const std::string data = std::string(folder) + "/ohio-field/";
    const auto scratch =
        std::filesystem::temp_directory_path() / ("catchfield-ohio-" + std::to_string(getpid()));
    std::filesystem::create_directory(scratch);
    const std::string there = scratch.string() + "/";
    const auto burn = [&](const std::string& vector, const std::string& name) {
        const std::string command =
            "ogr2ogr -t_srs EPSG:32617 -nlt PROMOTE_TO_MULTI '" + there + name + ".gpkg' '" + data +
            vector +
            "' -nln shapes 2>/dev/null && gdal_rasterize -q -l shapes -burn 1 -init 0 -ot Byte -te "
            "341580 4522565 342155 4523485 -tr 5 5 '" +
            there + name + ".gpkg' '" + there + name + ".tif'";
        EXPECT_EQ(std::system(command.c_str()), 0);
        return read_text_raster(there + name + ".tif", there + name + ".xyz");
    };
    const auto z = read_text_raster(data + "dem_5m.tif", there + "dem.xyz");
    const auto inside = burn("boundary.geojson", "field");
    const auto soil = burn("soils.gpkg", "soil");
    std::filesystem::remove_all(scratch);
    const GridFrame frame{341580.0, 4523485.0, 5.0, 115, 184};
    ASSERT_EQ(z.size(), frame.size());
    ASSERT_EQ(inside.size(), frame.size());
    ASSERT_EQ(soil.size(), frame.size());
    Raster<float> dem(frame);
    Mask known(frame), field(frame), covered(frame);
    for (std::size_t i = 0; i < frame.size(); ++i) {
        dem[i] = static_cast<float>(z[i]);
        known[i] = z[i] > -9000.0 ? 1 : 0;
        field[i] = inside[i] > 0.5 ? 1 : 0;
        covered[i] = field[i] != 0 && soil[i] > 0.5 ? 1 : 0;
    }
    TerrainLayers layers;
    layers.known = &known;
    for (const Routing routing : {Routing::multiple, Routing::d_infinity}) {
        TerrainOptions options;
        options.routing = routing;
        const TerrainResult result = analyse(dem, field, options, layers);
        EXPECT_NEAR(result.outflow_m2 / result.domain_m2, 1.0, 1e-9);
        double slope = 0.0, ls = 0.0, cells = 0.0;
        for (std::size_t i = 0; i < frame.size(); ++i) {
            if (covered[i] == 0 || result.mask[i] == 0) continue;
            slope += static_cast<double>(result.slope_pct[i]);
            ls += static_cast<double>(result.ls[i]);
            cells += 1.0;
        }
        ASSERT_GT(cells, 1000.0);
        RecordProperty("mean_slope_pct", std::to_string(slope / cells));
        RecordProperty("mean_ls", std::to_string(ls / cells));
        EXPECT_NEAR(slope / cells, 1.61, .05);
        EXPECT_NEAR(ls / cells, .28, .04) << "routing " << static_cast<int>(routing);
    }
}

TEST(Field, BadInput) {
    const GridFrame frame = frame_of(5, 5, 10);
    Raster<float> dem(frame, 10.0F);
    const Mask all = everywhere(frame);
    TerrainOptions options;
    for (const double length : {0.0, -5.0, 305.5, std::nan("")}) {
        options.max_length_m = length;
        EXPECT_THROW(analyse(dem, all, options), Error);
    }
    EXPECT_THROW(analyse(dem, Mask(frame)), Error);
    EXPECT_THROW(analyse(dem, everywhere(frame_of(5, 6, 10))), Error);
    const Mask none(frame);
    TerrainLayers layers;
    layers.known = &none;
    EXPECT_THROW(analyse(dem, all, {}, layers), Error);
    dem[3] = std::numeric_limits<float>::quiet_NaN();
    EXPECT_THROW(analyse(dem, all), Error);
    EXPECT_THROW(analyse(Raster<float>(), Mask()), Error);

    Raster<float> slope(frame, -1.0F);
    EXPECT_THROW(analyse_slope(slope, all), Error);
    slope = Raster<float>(frame, 3.0F);
    SlopeOnlyOptions too_long;
    too_long.length_m = 400;
    EXPECT_THROW(analyse_slope(slope, all, too_long), Error);
    EXPECT_NO_THROW(analyse_slope(slope, all));
}

}  // namespace
