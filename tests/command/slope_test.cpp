// SPDX-License-Identifier: MIT
// The slope layer of a plan against `gdaldem slope` (Horn 1981) on the same raster.
#include "gis/start.hpp"
#include "map_files.hpp"

#include <gdal_priv.h>
#include <gdal_utils.h>

#include <cmath>

namespace catchfield::testing {
namespace {

struct Grid {
    int cols = 0, rows = 0;
    double west = 0.0, north = 0.0, cell = 0.0;
    double nodata = 0.0;
    std::vector<float> values;
};

Grid grid_of(GDALDataset& dataset) {
    Grid grid;
    grid.cols = dataset.GetRasterXSize();
    grid.rows = dataset.GetRasterYSize();
    double transform[6];
    EXPECT_EQ(dataset.GetGeoTransform(transform), CE_None);
    grid.west = transform[0];
    grid.north = transform[3];
    grid.cell = transform[1];
    grid.nodata = dataset.GetRasterBand(1)->GetNoDataValue();
    grid.values.resize(static_cast<std::size_t>(grid.cols) * static_cast<std::size_t>(grid.rows));
    EXPECT_EQ(
        dataset.GetRasterBand(1)->RasterIO(GF_Read, 0, 0, grid.cols, grid.rows, grid.values.data(),
                                           grid.cols, grid.rows, GDT_Float32, 0, 0, nullptr),
        CE_None);
    return grid;
}

Grid gdal_slope_pct(const std::string& elevation) {
    const GDALDatasetUniquePtr source(GDALDataset::Open(elevation.c_str(), GDAL_OF_RASTER));
    CPLStringList words;
    for (const char* word : {"-p", "-alg", "Horn", "-of", "MEM"}) words.AddString(word);
    GDALDEMProcessingOptions* options = GDALDEMProcessingOptionsNew(words.List(), nullptr);
    int failed = 0;
    GDALDatasetH made = GDALDEMProcessing("", GDALDataset::ToHandle(source.get()), "slope", nullptr,
                                          options, &failed);
    GDALDEMProcessingOptionsFree(options);
    EXPECT_EQ(failed, 0);
    const GDALDatasetUniquePtr slope(GDALDataset::FromHandle(made));
    return grid_of(*slope);
}

/// Largest difference over the cells of the layer, all of which lie on the raster's own lattice.
void compare(const std::string& layer, const Grid& expected) {
    const GDALDatasetUniquePtr dataset(GDALDataset::Open(layer.c_str(), GDAL_OF_RASTER));
    ASSERT_NE(dataset, nullptr) << layer;
    const Grid ours = grid_of(*dataset);
    ASSERT_DOUBLE_EQ(ours.cell, expected.cell);
    const auto shift = [](double cells) {
        EXPECT_NEAR(cells, std::round(cells), 1e-6);
        return static_cast<int>(std::lround(cells));
    };
    const int east = shift((ours.west - expected.west) / ours.cell);
    const int south = shift((expected.north - ours.north) / ours.cell);
    std::size_t compared = 0;
    double worst = 0.0;
    for (int row = 0; row < ours.rows; ++row) {
        for (int col = 0; col < ours.cols; ++col) {
            const float value =
                ours.values[static_cast<std::size_t>(row) * static_cast<std::size_t>(ours.cols) +
                            static_cast<std::size_t>(col)];
            if (value == static_cast<float>(ours.nodata)) continue;
            const int r = row + south, c = col + east;
            if (r < 1 || c < 1 || r + 1 >= expected.rows || c + 1 >= expected.cols) continue;
            const float other =
                expected
                    .values[static_cast<std::size_t>(r) * static_cast<std::size_t>(expected.cols) +
                            static_cast<std::size_t>(c)];
            if (other == static_cast<float>(expected.nodata)) continue;
            worst = std::max(worst, static_cast<double>(std::abs(value - other)));
            ++compared;
        }
    }
    EXPECT_GT(compared, 500U) << layer;
    EXPECT_LT(worst, 0.01) << layer;
}

TEST(SlopeLayer, DemoAgreesWithGdaldem) {
    gis::start({});
    const TemporaryFolder folder;
    const Outcome outcome = run_program(
        {"plan", samples() + "/job.ini", "--output", "plan", "--output.reports=no"}, folder.path());
    ASSERT_TRUE(outcome.code == 0 || outcome.code == 3) << outcome.err;
    const Grid expected = gdal_slope_pct(samples() + "/elevation.tif");
    const Json run = Json::parse(slurp(folder / "plan/run.json"));
    for (const Json& field : run.at("fields"))
        compare(folder / ("plan/layers/" + field.at("file_stem").get<std::string>() + "-slope.tif"),
                expected);
}

TEST(SlopeLayer, RealFieldAgreesWithGdaldem) {
    const std::string data = open_data("ohio-field");
    if (data.empty()) GTEST_SKIP() << "CATCHFIELD_OPEN_DATA has no ohio-field";
    gis::start({});
    const TemporaryFolder folder;
    ASSERT_EQ(run_program({"start", data, "--output", "job.ini"}, folder.path()).code, 0);
    const Outcome outcome =
        run_program({"plan", "job.ini", "--output", "plan", "--output.layers=yes"}, folder.path());
    ASSERT_TRUE(outcome.code == 0 || outcome.code == 3) << outcome.err;
    compare(folder / "plan/layers/field-slope.tif", gdal_slope_pct(data + "/dem_5m.tif"));
}

}  // namespace
}  // namespace catchfield::testing
