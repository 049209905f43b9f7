// SPDX-License-Identifier: MIT
// Slope, aspect and smoothing: exact on planes, up to the edge, and against gdaldem.
#include "terrain/slope.hpp"

#include "base/error.hpp"
#include "surfaces.hpp"

#include <gtest/gtest.h>

#include <cmath>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <limits>
#include <numbers>
#include <string>
#include <unistd.h>

namespace {

using namespace catchfield;
using namespace catchfield::terrain;
using namespace catchfield::terrain::testing;

TEST(Slope, PlaneIsExactToTheEdge) {
    // Facing azimuth 30 degrees east of north, 8 %.
    const GridFrame frame = frame_of(20, 30, 5);
    const double azimuth = std::numbers::pi / 6;
    const auto dem = surface(frame, [&](double x, double y) {
        return 100.0 - 0.08 * (x * std::sin(azimuth) + y * std::cos(azimuth));
    });
    // A ragged field, with elevations known inside only.
    const Mask field =
        mask_where(frame, [](double x, double y) { return std::hypot(x, 1.4 * y) < 50; });
    const SlopeResult slope = slope_and_aspect(dem, field, &field);
    for (std::size_t i = 0; i < field.size(); ++i) {
        ASSERT_EQ(slope.mask[i], field[i]);
        if (field[i] == 0) continue;
        EXPECT_NEAR(slope.slope_pct[i], 8.0, .002);
        EXPECT_NEAR(slope.aspect_sine[i], std::sin(azimuth), .0005);
        EXPECT_NEAR(slope.aspect_cosine[i], std::cos(azimuth), .0005);
    }
    const auto corner = horn_gradient(dem, nullptr, 0, 0);
    ASSERT_TRUE(corner.has_value());
    EXPECT_NEAR(slope_pct(*corner), 8.0, .002);
    EXPECT_NEAR(aspect_rad(*corner).value(), azimuth, .0005);
}

TEST(Slope, AspectQuarters) {
    EXPECT_NEAR(aspect_rad({0, -1}).value(), 0.0, 1e-12);  // falls to the north
    EXPECT_NEAR(aspect_rad({-1, 0}).value(), std::numbers::pi / 2, 1e-12);
    EXPECT_NEAR(aspect_rad({0, 1}).value(), std::numbers::pi, 1e-12);
    EXPECT_NEAR(aspect_rad({1, 0}).value(), 1.5 * std::numbers::pi, 1e-12);
    EXPECT_FALSE(aspect_rad({0, 0}).has_value());
}

TEST(Slope, HornByHand) {
    // Horn 1981: east = ((c + 2f + i) - (a + 2d + g)) / 8D, north = ((a + 2b + c) - (g + 2h + i)) /
    // 8D for rows a b c, d e f, g h i. Window 10 12 15, 9 11 14, 8 8 10; D = 10 m: east (15 + 28 +
    // 10 - 10 - 18 - 8) / 80 = 17/80; north (10 + 24 + 15 - 8 - 16 - 10) / 80 = 15/80.
    const Raster<float> dem(frame_of(3, 3, 10),
                            std::vector<float>{10, 12, 15, 9, 11, 14, 8, 8, 10});
    const Gradient gradient = horn_gradient(dem, nullptr, 1, 1).value();
    EXPECT_NEAR(gradient.east, 17.0 / 80.0, 1e-6);
    EXPECT_NEAR(gradient.north, 15.0 / 80.0, 1e-6);
    EXPECT_NEAR(slope_and_aspect(dem, everywhere(dem.frame)).slope_pct.at(1, 1),
                100.0 * std::hypot(17.0 / 80.0, 15.0 / 80.0), 1e-4);
    EXPECT_NEAR(100.0 * std::hypot(17.0 / 80.0, 15.0 / 80.0), 28.34, 5e-3);
}

TEST(Slope, FewNeighbours) {
    const Raster<float> dem(frame_of(1, 3, 2), std::vector<float>{5, 4, 3});
    // A line: the slope along it.
    EXPECT_NEAR(slope_pct(horn_gradient(dem, nullptr, 0, 1).value()), 50.0, 1e-4);
    Mask alone(dem.frame);
    alone[1] = 1;
    EXPECT_FALSE(horn_gradient(dem, &alone, 0, 1).has_value());
    EXPECT_FALSE(horn_gradient(dem, &alone, 0, 0).has_value());
    EXPECT_EQ(slope_and_aspect(dem, alone, &alone).mask[1], 0);
}

/// ESRI ASCII grid, a text form that GDAL reads and writes.
void write_grid(const Raster<float>& dem, const std::string& path) {
    std::ofstream out(path);
    out.precision(9);
    out << "ncols " << dem.frame.cols << "\nnrows " << dem.frame.rows << "\nxllcorner "
        << dem.frame.west << "\nyllcorner " << dem.frame.south() << "\ncellsize " << dem.frame.cell
        << "\n";
    for (int row = 0; row < dem.frame.rows; ++row) {
        for (int col = 0; col < dem.frame.cols; ++col) out << dem.at(row, col) << ' ';
        out << '\n';
    }
}

TEST(Slope, SameAsGdaldem) {
    // gdaldem slope -p (GDAL), Horn's formula; reference of the same equation in another program.
    if (std::system("command -v gdaldem >/dev/null 2>&1") != 0) GTEST_SKIP() << "no gdaldem";
    const auto folder =
        std::filesystem::temp_directory_path() / ("catchfield-slope-" + std::to_string(getpid()));
    std::filesystem::create_directory(folder);
    const GridFrame frame = frame_of(60, 80, 5);
    const auto dem = rough_ground(frame, 11, 0.05);
    write_grid(dem, (folder / "dem.asc").string());
    const std::string in = (folder / "dem.asc").string();
    const std::string out = (folder / "slope.xyz").string();
    const std::string command = "gdaldem slope -p -q '" + in + "' '" + (folder / "s.tif").string() +
                                "' && gdal_translate -q -of XYZ '" + (folder / "s.tif").string() +
                                "' '" + out + "'";
    ASSERT_EQ(std::system(command.c_str()), 0);
    const SlopeResult slope = slope_and_aspect(dem, everywhere(frame));
    std::ifstream text(out);
    int compared = 0;
    for (int row = 0; row < frame.rows; ++row) {
        for (int col = 0; col < frame.cols; ++col) {
            double x = 0.0, y = 0.0, pct = 0.0;
            ASSERT_TRUE(text >> x >> y >> pct);
            if (pct < 0.0) continue;  // gdaldem leaves the outermost cells out
            EXPECT_NEAR(slope.slope_pct.at(row, col), pct, .01);
            ++compared;
        }
    }
    EXPECT_EQ(compared, 58 * 78);
    std::filesystem::remove_all(folder);
}

TEST(Smoothing, KeepsPlanesAndRemovesNoise) {
    const GridFrame frame = frame_of(40, 50, 1);
    const auto plane =
        surface(frame, [](double x, double y) { return 300.0 + 0.03 * x - 0.05 * y; });
    const Mask known = mask_where(frame, [](double x, double y) { return x * x + y * y < 300; });
    const auto smoothed = smooth(plane, &known, 4.0);
    for (std::size_t i = 0; i < plane.size(); ++i) {
        EXPECT_NEAR(smoothed[i], plane[i], 2e-4);  // float32 at 300 m has steps of 3e-5
    }
    auto noisy = plane;
    Random random(5);
    for (float& z : noisy.values) z += static_cast<float>(0.05 * random.normal());
    const Mask all = everywhere(frame);
    const auto mean_slope = [&](const Raster<float>& dem) {
        const SlopeResult slope = slope_and_aspect(dem, all);
        double sum = 0.0;
        for (const float pct : slope.slope_pct.values) sum += static_cast<double>(pct);
        return sum / static_cast<double>(all.size());
    };
    EXPECT_GT(mean_slope(noisy), 1.02 * std::hypot(3, 5));  // noise alone makes slopes too steep
    EXPECT_NEAR(mean_slope(smooth(noisy, nullptr, 5.0)), std::hypot(3, 5), .1);
}

TEST(Smoothing, IsAGaussianInside) {
    // A single spike spreads by the weights: centre weight of a Gaussian with sigma 1 cut at 2
    // cells.
    const GridFrame frame = frame_of(11, 11, 2);
    Raster<float> dem(frame);
    dem.at(5, 5) = 1.0F;
    double sum = 0.0;
    for (int k = -2; k <= 2; ++k) sum += std::exp(-0.5 * k * k);
    const auto smoothed = smooth(dem, nullptr, 4.0);
    EXPECT_NEAR(smoothed.at(5, 5), 1.0 / (sum * sum), 1e-6);
    EXPECT_NEAR(smoothed.at(5, 7), std::exp(-2.0) / (sum * sum), 1e-6);
    EXPECT_NEAR(smoothed.at(5, 8), 0.0, 1e-7);
    const auto position = topographic_position_m(dem, nullptr, 4.0);
    EXPECT_NEAR(position.at(5, 5), 1.0 - 1.0 / (sum * sum), 1e-6);
    EXPECT_EQ(smooth(dem, nullptr, 1.0).values, dem.values);  // below one cell: nothing
}

TEST(Smoothing, WarnsOfFineGrids) {
    EXPECT_TRUE(needs_smoothing(1.0, 0.0));
    EXPECT_FALSE(needs_smoothing(1.0, 5.0));
    EXPECT_FALSE(needs_smoothing(2.0, 0.0));
}

TEST(Slope, BadInput) {
    const GridFrame frame = frame_of(3, 3, 10);
    Raster<float> dem(frame, 100.0F);
    const Mask all = everywhere(frame);
    EXPECT_THROW(slope_and_aspect(dem, everywhere(frame_of(3, 4, 10))), Error);
    EXPECT_THROW(smooth(dem, nullptr, -1), Error);
    EXPECT_THROW(smooth(dem, nullptr, 2000), Error);
    dem[4] = std::numeric_limits<float>::quiet_NaN();
    EXPECT_THROW(slope_and_aspect(dem, all), Error);
    Mask known = all;
    known[4] = 0;
    EXPECT_NO_THROW(slope_and_aspect(dem, all, &known));
    dem[4] = -32768.0F;
    EXPECT_THROW(slope_and_aspect(dem, all), Error);
    dem.values.pop_back();
    EXPECT_THROW(slope_and_aspect(dem, all), Error);
}

}  // namespace
