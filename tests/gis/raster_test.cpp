// SPDX-License-Identifier: MIT
#include "base/random.hpp"
#include "gis/files.hpp"
#include "gis/geojson.hpp"
#include "gis/geotiff.hpp"
#include "gis/raster_source.hpp"
#include "support.hpp"

#include <gdal_utils.h>

#include <cmath>
#include <limits>
#include <map>
#include <optional>
#include <thread>
#include <tuple>

namespace catchfield::gis {
namespace {

using testing::error_of;
using testing::frame_of;
using testing::has;
using testing::RasterFile;
using testing::slurp;
using testing::TemporaryFolder;
using testing::write_text;

const Crs& utm15() {
    static const Crs crs = Crs::from_epsg(32615);
    return crs;
}

TEST(RasterSource, TellsWhatItIs) {
    const TemporaryFolder folder;
    RasterFile file;
    file.nodata = -9999;
    file.unit = "ft";
    file.write(folder / "a.tif");
    const RasterSource source(folder / "a.tif");
    const RasterInfo& info = source.info();
    EXPECT_EQ(info.driver, "GTiff");
    EXPECT_EQ(info.cols, 4);
    EXPECT_EQ(info.rows, 3);
    EXPECT_EQ(info.bands, 1);
    EXPECT_EQ(info.data_type, "Float32");
    EXPECT_EQ(info.nodata, -9999.0);
    EXPECT_EQ(info.bounds, (Box{500000, 4399970, 500040, 4400000}));
    EXPECT_TRUE(source.crs().same_as(utm15()));
    EXPECT_DOUBLE_EQ(source.cell_m(), 10.0);
    EXPECT_EQ(source.metres_per_value(), 0.3048);
}

TEST(RasterSource, UnitsOfHeights) {
    const TemporaryFolder folder;
    const std::vector<std::pair<std::string, std::optional<double>>> units = {
        {"m", 1.0},    {"metre", 1.0}, {"Feet", 0.3048}, {"US survey foot", 1200.0 / 3937.0},
        {"kg/ha", {}}, {"", {}}};
    for (const auto& [unit, metres] : units) {
        RasterFile file;
        file.unit = unit;
        file.write(folder / "u.tif");
        EXPECT_EQ(RasterSource(folder / "u.tif").metres_per_value(), metres) << unit;
    }
}

TEST(RasterSource, RefusesWhatItCannotPlace) {
    const TemporaryFolder folder;
    RasterFile rotated;
    rotated.transform = {500000, 9, 3, 4400000, 3, -9};
    rotated.write(folder / "rotated.tif");
    EXPECT_TRUE(has(error_of([&] { RasterSource(folder / "rotated.tif"); }).what(), "rotated"));
    RasterFile mirrored;
    mirrored.transform = {500040, -10, 0, 4400000, 0, -10};
    mirrored.write(folder / "mirrored.tif");
    EXPECT_TRUE(has(error_of([&] { RasterSource(folder / "mirrored.tif"); }).what(), "mirrored"));
    RasterFile nowhere;
    nowhere.crs = "";
    nowhere.write(folder / "nocrs.tif");
    RasterOptions options;
    options.crs_key = "terrain.crs";
    const Error missing = error_of([&] { RasterSource(folder / "nocrs.tif", options); });
    EXPECT_EQ(missing.kind(), ErrorKind::data);
    EXPECT_TRUE(has(missing.what(), "terrain.crs")) << missing.what();
    options.stated_crs = "EPSG:32615";
    EXPECT_TRUE(RasterSource(folder / "nocrs.tif", options).crs().same_as(utm15()));
    RasterFile lying;
    lying.crs = "EPSG:4326";
    lying.write(folder / "lying.tif");
    EXPECT_TRUE(has(error_of([&] { RasterSource(folder / "lying.tif"); }).what(), "degrees"));
    RasterFile complex;
    complex.type = GDT_CFloat32;
    complex.write(folder / "complex.tif");
    EXPECT_TRUE(has(error_of([&] { RasterSource(folder / "complex.tif"); }).what(), "complex"));
    options = {};
    options.band = 2;
    EXPECT_TRUE(
        has(error_of([&] { RasterSource(folder / "nocrs.tif", options); }).what(), "no band 2"));
    options = {};
    options.limits.max_side = 3;
    EXPECT_TRUE(
        has(error_of([&] { RasterSource(folder / "rotated.tif", options); }).what(), "3 a side"));
    options = {};
    options.limits.max_block_bytes = 4;
    EXPECT_TRUE(
        has(error_of([&] { RasterSource(folder / "nocrs.tif", options); }).what(), "blocks"));
    // An image without any place.
    start();
    {
        const GDALDatasetUniquePtr image(GetGDALDriverManager()->GetDriverByName("GTiff")->Create(
            (folder / "image.tif").c_str(), 4, 4, 1, GDT_Byte, nullptr));
    }
    EXPECT_TRUE(
        has(error_of([&] { RasterSource(folder / "image.tif"); }).what(), "no georeference"));
}

TEST(RasterSource, RefusesBadFiles) {
    const TemporaryFolder folder;
    RasterFile file;
    file.cols = 200;
    file.rows = 200;
    file.write(folder / "a.tif");
    const std::string bytes = slurp(folder / "a.tif");
    write_text(folder / "short.tif", bytes.substr(0, bytes.size() / 2));
    write_text(folder / "garbage.tif", std::string(3000, 'z'));
    write_text(folder / "empty.tif", "");
    for (const char* name : {"garbage.tif", "empty.tif", "none.tif"}) {
        const Error error = error_of([&] { RasterSource(folder / name); });
        EXPECT_EQ(error.kind(), ErrorKind::input) << error.what();
        EXPECT_TRUE(has(error.what(), name)) << error.what();
    }
    // The directory of a cut file may be lost or its cells: an error in either case, never numbers.
    const Error cut = error_of([&] {
        const RasterSource source(folder / "short.tif");
        source.read<float>(frame_of(500000, 4400000, 10, 200, 200), utm15(), Resampling::nearest);
    });
    EXPECT_EQ(cut.kind(), ErrorKind::input) << cut.what();
    // Every cut and a flipped byte here and there: an error or a clean read, never a crash.
    Random random(5);
    for (int trial = 0; trial < 120; ++trial) {
        std::string bad = bytes.substr(0, 1 + random.below(bytes.size()));
        for (int flips = 0; flips < 3; ++flips)
            bad[random.below(std::min<std::size_t>(bad.size(), 400))] ^=
                static_cast<char>(1 + random.below(255));
        write_text(folder / "bad.tif", bad);
        try {
            const RasterSource source(folder / "bad.tif");
            source.read<float>(frame_of(500000, 4400000, 10, 20, 20), utm15(),
                               Resampling::bilinear);
        } catch (const Error&) {
        }
    }
}

TEST(RasterSource, VirtualRastersOnlyByPermission) {
    const TemporaryFolder folder;
    RasterFile().write(folder / "a.tif");
    write_text(folder / "v.vrt",
               "<VRTDataset rasterXSize=\"4\" "
               "rasterYSize=\"3\"><SRS>EPSG:32615</SRS><GeoTransform>500000,10,0,4400000,0,-10"
               "</GeoTransform><VRTRasterBand dataType=\"Float32\" "
               "band=\"1\"><SimpleSource><SourceFilename relativeToVRT=\"1\">"
               "a.tif</SourceFilename><SourceBand>1</SourceBand></SimpleSource></VRTRasterBand></"
               "VRTDataset>");
    start();
    const Error error = error_of([&] { RasterSource(folder / "v.vrt"); });
    EXPECT_TRUE(has(error.what(), "Virtual rasters are off")) << error.what();
    start({.virtual_rasters = true});
    const auto window =
        RasterSource(folder / "v.vrt")
            .read<float>(frame_of(500000, 4400000, 10, 4, 3), utm15(), Resampling::nearest);
    start();
    EXPECT_EQ(window.values.at(2, 3), 11.0F);
    EXPECT_EQ(window.missing, 0U);
}

TEST(RasterRead, TakesAlignedCellsAsTheyAre) {
    const TemporaryFolder folder;
    RasterFile file;
    file.cols = 30;
    file.rows = 20;
    file.write(folder / "a.tif");
    const RasterSource source(folder / "a.tif");
    const auto all =
        source.read<float>(frame_of(500000, 4400000, 10, 30, 20), utm15(), Resampling::bilinear);
    EXPECT_TRUE(all.exact);
    for (int i = 0; i < 600; ++i)
        ASSERT_EQ(all.values[static_cast<std::size_t>(i)], static_cast<float>(i));
    // A window equals its part of the whole; cells beyond the file are masked.
    const auto part =
        source.read<double>(frame_of(500250, 4400030, 10, 8, 6), utm15(), Resampling::bilinear);
    EXPECT_TRUE(part.exact);
    EXPECT_EQ(part.missing, 48U - 5U * 3U);
    for (int row = 0; row < 6; ++row) {
        for (int col = 0; col < 8; ++col) {
            const bool there = row >= 3 && col < 5;
            ASSERT_EQ(part.valid.at(row, col), there ? 1 : 0);
            ASSERT_EQ(part.values.at(row, col),
                      there ? static_cast<double>(all.values.at(row - 3, col + 25)) : 0.0);
        }
    }
    // NAD83 and WGS 84 differ by a null shift: still the same cells.
    const auto nad = source.read<float>(frame_of(500000, 4400000, 10, 30, 20),
                                        Crs::from_epsg(26915), Resampling::bilinear);
    EXPECT_TRUE(nad.exact);
    EXPECT_EQ(nad.values.values, all.values.values);
    // Nowhere near.
    EXPECT_EQ(source.read<float>(frame_of(600000, 4400000, 10, 3, 3), utm15(), Resampling::bilinear)
                  .missing,
              9U);
    EXPECT_EQ(source.read<float>(frame_of(600003, 4400000, 10, 3, 3), utm15(), Resampling::bilinear)
                  .missing,
              9U);
}

TEST(RasterRead, SouthUpGivesTheSameGround) {
    const TemporaryFolder folder;
    RasterFile north;
    north.cols = 5;
    north.rows = 4;
    north.write(folder / "n.tif");
    RasterFile south = north;
    south.transform = {500000, 10, 0, 4399960, 0, 10};
    for (int row = 3; row >= 0; --row) {
        for (int col = 0; col < 5; ++col) south.values.push_back(row * 5 + col);
    }
    south.write(folder / "s.tif");
    const RasterSource a(folder / "n.tif");
    const RasterSource b(folder / "s.tif");
    EXPECT_TRUE(b.info().south_up);
    EXPECT_EQ(a.info().bounds, b.info().bounds);
    for (const GridFrame& frame :
         {frame_of(500000, 4400000, 10, 5, 4), frame_of(499990, 4400010, 10, 4, 3),
          frame_of(500003, 4399998, 4, 9, 8)}) {
        const auto x = a.read<float>(frame, utm15(), Resampling::bilinear);
        const auto y = b.read<float>(frame, utm15(), Resampling::bilinear);
        EXPECT_EQ(x.exact, y.exact);
        EXPECT_EQ(x.valid.values, y.valid.values);
        for (std::size_t i = 0; i < x.values.size(); ++i)
            ASSERT_NEAR(x.values[i], y.values[i], 1e-5);
    }
}

TEST(RasterRead, MasksNodataOfEveryType) {
    const TemporaryFolder folder;
    const float lowest = std::numeric_limits<float>::lowest();
    struct Case {
        GDALDataType type;
        double nodata;
        double stored;
    };
    const std::vector<Case> cases = {{GDT_Byte, 255, 255},
                                     {GDT_UInt16, 65535, 65535},
                                     {GDT_Int16, -32768, -32768},
                                     {GDT_Int32, -2147483647.0, -2147483647.0},
                                     {GDT_UInt32, 4294967295.0, 4294967295.0},
                                     {GDT_Float32, -9999, -9999},
                                     {GDT_Float32, -9999.9, -9999.9},
                                     {GDT_Float32, double(lowest), double(lowest)},
                                     {GDT_Float32, -3.40282306074e+38, double(lowest)},
                                     {GDT_Float64, -1.797693e308, -1.797693e308},
                                     {GDT_Float64, 1e20, 1e20},
                                     {GDT_Float32, std::nan(""), std::nan("")},
                                     {GDT_Float32, -1, std::nan("")},
                                     {GDT_Float64, -1, std::numeric_limits<double>::infinity()}};
    for (const Case& c : cases) {
        RasterFile file;
        file.cols = 2;
        file.rows = 2;
        file.type = c.type;
        file.nodata = c.nodata;
        file.values = {7, c.stored, 8, 9};
        file.write(folder / "n.tif");
        const RasterSource source(folder / "n.tif");
        const auto check = [&](auto window) {
            EXPECT_EQ(window.missing, 1U) << GDALGetDataTypeName(c.type) << " " << c.nodata;
            EXPECT_EQ(window.valid.at(0, 1), 0);
            EXPECT_EQ(window.values.at(0, 1), 0);
            EXPECT_EQ(window.values.at(0, 0), 7);
        };
        const GridFrame frame = frame_of(500000, 4400000, 10, 2, 2);
        check(source.read<float>(frame, utm15(), Resampling::nearest));
        check(source.read<double>(frame, utm15(), Resampling::nearest));
    }
}

TEST(RasterRead, AppliesScaleAndOffset) {
    const TemporaryFolder folder;
    RasterFile file;
    file.type = GDT_Int16;
    file.scale = 0.1;
    file.offset = 100.0;
    file.nodata = 3;
    file.write(folder / "s.tif");
    const RasterSource source(folder / "s.tif");
    const auto window =
        source.read<double>(frame_of(500000, 4400000, 10, 4, 3), utm15(), Resampling::nearest);
    EXPECT_DOUBLE_EQ(window.values.at(1, 1), 100.5);
    EXPECT_EQ(window.valid.at(0, 3), 0);  // compared before scaling
    const auto sampled =
        source.sample({{500015, 4399985}, {499000, 4399985}}, utm15(), Resampling::bilinear);
    EXPECT_DOUBLE_EQ(sampled[0].value(), 100.5);
    EXPECT_FALSE(sampled[1]);
}

TEST(RasterRead, HonoursMaskBands) {
    const TemporaryFolder folder;
    RasterFile().write(folder / "m.tif");
    CPLSetThreadLocalConfigOption("GDAL_TIFF_INTERNAL_MASK", "YES");
    {
        const GDALDatasetUniquePtr dataset(
            GDALDataset::Open((folder / "m.tif").c_str(), GDAL_OF_RASTER | GDAL_OF_UPDATE));
        dataset->CreateMaskBand(GMF_PER_DATASET);
        std::vector<GByte> mask(12, 255);
        mask[5] = 0;
        ASSERT_EQ(dataset->GetRasterBand(1)->GetMaskBand()->RasterIO(
                      GF_Write, 0, 0, 4, 3, mask.data(), 4, 3, GDT_Byte, 0, 0, nullptr),
                  CE_None);
    }
    CPLSetThreadLocalConfigOption("GDAL_TIFF_INTERNAL_MASK", nullptr);
    const auto window =
        RasterSource(folder / "m.tif")
            .read<float>(frame_of(500000, 4400000, 10, 4, 3), utm15(), Resampling::nearest);
    EXPECT_EQ(window.missing, 1U);
    EXPECT_EQ(window.valid.at(1, 1), 0);
}

/// A plane is kept by bilinear and cubic interpolation and by averaging, whatever the lattice.
TEST(RasterRead, KeepsAPlane) {
    const TemporaryFolder folder;
    RasterFile file;
    file.cols = 60;
    file.rows = 50;
    file.type = GDT_Float64;
    const auto plane = [](double x, double y) {
        return 100.0 + 0.02 * (x - 500000.0) - 0.03 * (y - 4400000.0);
    };
    for (int row = 0; row < 50; ++row) {
        for (int col = 0; col < 60; ++col)
            file.values.push_back(plane(500005.0 + 10 * col, 4399995.0 - 10 * row));
    }
    file.write(folder / "p.tif");
    const RasterSource source(folder / "p.tif");
    for (const Resampling how : {Resampling::bilinear, Resampling::cubic}) {
        for (const double cell : {3.0, 10.0, 14.0, 20.0, 25.0, 37.0}) {
            const GridFrame frame =
                frame_of(500041.5, 4399957.25, cell, static_cast<int>(400 / cell),
                         static_cast<int>(350 / cell));
            const auto window = source.read<double>(frame, utm15(), how);
            EXPECT_EQ(window.missing, 0U);
            EXPECT_FALSE(window.exact);
            for (int row = 0; row < frame.rows; ++row) {
                for (int col = 0; col < frame.cols; ++col) {
                    ASSERT_NEAR(window.values.at(row, col),
                                plane(frame.x_centre(col), frame.y_centre(row)), 1e-8)
                        << cell;
                }
            }
        }
    }
}

TEST(RasterRead, AveragesWholeCells) {
    const TemporaryFolder folder;
    RasterFile file;
    file.cols = 6;
    file.rows = 6;
    Random random(3);
    for (int i = 0; i < 36; ++i) file.values.push_back(std::floor(random.uniform(0, 100)));
    file.nodata = -1;
    for (const int gone : {0, 1, 6, 8})
        file.values[static_cast<std::size_t>(gone)] =
            -1;  // 3 of 4 in the first, 1 of 4 in the second
    file.write(folder / "a.tif");
    const auto window =
        RasterSource(folder / "a.tif")
            .read<double>(frame_of(500000, 4400000, 20, 3, 3), utm15(), Resampling::bilinear);
    for (int row = 0; row < 3; ++row) {
        for (int col = 0; col < 3; ++col) {
            double sum = 0.0;
            int present = 0;
            for (const int i : {12 * row + 2 * col, 12 * row + 2 * col + 1, 12 * row + 2 * col + 6,
                                12 * row + 2 * col + 7}) {
                if (file.values[static_cast<std::size_t>(i)] < 0) continue;
                sum += file.values[static_cast<std::size_t>(i)];
                ++present;
            }
            ASSERT_EQ(window.valid.at(row, col), present >= 2 ? 1 : 0);
            if (present >= 2) {
                ASSERT_NEAR(window.values.at(row, col), sum / present, 1e-6);
            }
        }
    }
}

TEST(RasterRead, NearestKeepsClassesAndEdges) {
    const TemporaryFolder folder;
    RasterFile file;
    file.type = GDT_Byte;
    file.write(folder / "c.tif");
    const RasterSource source(folder / "c.tif");
    const GridFrame frame = frame_of(499996, 4400004, 4, 13, 10);
    const auto window = source.read<float>(frame, utm15(), Resampling::nearest);
    for (int row = 0; row < frame.rows; ++row) {
        for (int col = 0; col < frame.cols; ++col) {
            const int c = static_cast<int>(std::floor((frame.x_centre(col) - 500000) / 10));
            const int r = static_cast<int>(std::floor((4400000 - frame.y_centre(row)) / 10));
            const bool in = c >= 0 && c < 4 && r >= 0 && r < 3;
            ASSERT_EQ(window.valid.at(row, col), in ? 1 : 0);
            if (in) {
                ASSERT_EQ(window.values.at(row, col), static_cast<float>(r * 4 + c));
            }
        }
    }
    // Bilinear reaches the outer edge of the file, not beyond.
    const auto smooth = source.read<float>(frame, utm15(), Resampling::bilinear);
    EXPECT_EQ(smooth.valid.values, window.valid.values);
}

TEST(RasterRead, PixelIsPointLiesHalfACellOut) {
    const TemporaryFolder folder;
    RasterFile file;
    file.point = true;
    file.write(folder / "p.tif");
    const RasterSource source(folder / "p.tif");
    EXPECT_EQ(source.info().bounds, (Box{500000, 4399970, 500040, 4400000}));
    const auto window =
        source.read<float>(frame_of(500000, 4400000, 10, 4, 3), utm15(), Resampling::nearest);
    EXPECT_TRUE(window.exact);
    EXPECT_EQ(window.values.at(1, 2), 6.0F);
}

/// A file in degrees read onto the metre grid: each value against the surface at the exact place.
TEST(RasterRead, WarpsDegreesExactly) {
    const TemporaryFolder folder;
    RasterFile file;
    file.cols = 300;
    file.rows = 240;
    file.crs = "EPSG:4326";
    file.type = GDT_Float64;
    const double step = 1.0 / 10800.0;  // a third of an arc second
    file.transform = {-93.02, step, 0, 42.02, 0, -step};
    const auto surface = [](double lon, double lat) {
        return 1e4 * (lon + 93.0) + 2e4 * (lat - 42.0);
    };
    for (int row = 0; row < file.rows; ++row) {
        for (int col = 0; col < file.cols; ++col)
            file.values.push_back(surface(-93.02 + (col + 0.5) * step, 42.02 - (row + 0.5) * step));
    }
    file.write(folder / "d.tif");
    const RasterSource source(folder / "d.tif");
    EXPECT_NEAR(source.cell_m(), 9.1, 1.5);
    const Point middle = transformer(Crs::wgs84(), utm15()).apply(Point{-93.008, 42.01});
    const GridFrame frame = frame_of(middle.x - 500, middle.y + 400, 5, 200, 160);
    const auto window = source.read<double>(frame, utm15(), Resampling::bilinear);
    EXPECT_EQ(window.missing, 0U);
    const Transformer& back = transformer(utm15(), Crs::wgs84());
    double worst = 0.0;
    for (int row = 0; row < frame.rows; ++row) {
        for (int col = 0; col < frame.cols; ++col) {
            const Point place = back.apply(Point{frame.x_centre(col), frame.y_centre(row)});
            worst =
                std::max(worst, std::abs(window.values.at(row, col) - surface(place.x, place.y)));
        }
    }
    // One source cell is worth 0.9 (column) and 1.9 (row): 1/1000 of a cell would show as 0.002.
    EXPECT_LT(worst, 3e-4);
    // Nearest cells agree with the exact transformation everywhere.
    const auto nearest = source.read<double>(frame, utm15(), Resampling::nearest);
    for (int row = 0; row < frame.rows; ++row) {
        for (int col = 0; col < frame.cols; ++col) {
            const Point place = back.apply(Point{frame.x_centre(col), frame.y_centre(row)});
            const int c = static_cast<int>((place.x + 93.02) / step);
            const int r = static_cast<int>((42.02 - place.y) / step);
            ASSERT_EQ(nearest.values.at(row, col),
                      file.values[static_cast<std::size_t>(r * file.cols + c)]);
        }
    }
}

/// Two windows of one field give the same cells, whatever the cut.
TEST(RasterRead, WindowsAgreeWithTheWhole) {
    const TemporaryFolder folder;
    RasterFile file;
    file.cols = 80;
    file.rows = 70;
    file.crs = "EPSG:26916";  // a neighbouring zone: grid lines are turned
    const Point corner = transformer(utm15(), Crs::from_epsg(26916)).apply(Point{700000, 4400000});
    file.transform = {corner.x, 10, 0, corner.y, 0, -10};
    Random random(9);
    for (int i = 0; i < 80 * 70; ++i) file.values.push_back(random.uniform(0, 50));
    file.write(folder / "w.tif");
    const RasterSource source(folder / "w.tif");
    const GridFrame whole = frame_of(700050, 4399950, 6, 90, 80);
    for (const Resampling how : {Resampling::nearest, Resampling::bilinear, Resampling::cubic}) {
        const auto all = source.read<double>(whole, utm15(), how);
        const auto part = source.read<double>(
            frame_of(whole.west + 17 * 6, whole.north - 23 * 6, 6, 31, 40), utm15(), how);
        for (int row = 0; row < 40; ++row) {
            for (int col = 0; col < 31; ++col) {
                ASSERT_EQ(part.valid.at(row, col), all.valid.at(row + 23, col + 17));
                ASSERT_NEAR(part.values.at(row, col), all.values.at(row + 23, col + 17),
                            how == Resampling::nearest ? 0.0 : 0.01);
            }
        }
    }
}

/// Cells of an aligned read equal those a general resampling gives.
TEST(RasterRead, FastPathEqualsTheGeneralOne) {
    const TemporaryFolder folder;
    RasterFile file;
    file.cols = 40;
    file.rows = 30;
    Random random(2);
    for (int i = 0; i < 1200; ++i) file.values.push_back(random.uniform(0, 50));
    file.nodata = -5;
    file.values[77] = -5;
    file.write(folder / "a.tif");
    const RasterSource source(folder / "a.tif");
    const auto fast =
        source.read<double>(frame_of(500050, 4399950, 10, 20, 20), utm15(), Resampling::nearest);
    // A shift of 1/1000 cell is beyond the lattice's tolerance and takes the general path.
    const auto slow = source.read<double>(frame_of(500050.01, 4399949.99, 10, 20, 20), utm15(),
                                          Resampling::nearest);
    EXPECT_TRUE(fast.exact);
    EXPECT_FALSE(slow.exact);
    EXPECT_EQ(fast.values.values, slow.values.values);
    EXPECT_EQ(fast.valid.values, slow.valid.values);
}

/// Checked against GDAL's warper without its approximating transformer (-et 0).
TEST(RasterRead, AgreesWithGdalsWarper) {
    const TemporaryFolder folder;
    RasterFile file;
    file.cols = 150;
    file.rows = 120;
    file.type = GDT_Float64;
    file.crs = "EPSG:4269";
    file.transform = {-93.01, 1.0 / 9000, 0, 42.01, 0, -1.0 / 12000};
    Random random(21);
    for (int i = 0; i < file.cols * file.rows; ++i) file.values.push_back(random.uniform(200, 300));
    file.nodata = -1;
    file.write(folder / "a.tif");
    const RasterSource source(folder / "a.tif");
    const Crs crs = Crs::from_epsg(26915);
    const Point corner = transformer(Crs::from_epsg(4269), crs).apply(Point{-93.008, 42.009});
    const GridFrame frame = frame_of(std::round(corner.x), std::round(corner.y), 7, 140, 110);
    for (const auto& [how, name, most] : {std::tuple{Resampling::nearest, "near", 0.0},
                                          {Resampling::bilinear, "bilinear", 0.02},
                                          {Resampling::cubic, "cubic", 0.05}}) {
        CPLStringList arguments;
        for (const std::string& word :
             {std::string("-q"), std::string("-et"), std::string("0"), std::string("-r"),
              std::string(name), std::string("-t_srs"), std::string("EPSG:26915"),
              std::string("-te"), std::to_string(frame.west), std::to_string(frame.south()),
              std::to_string(frame.east()), std::to_string(frame.north), std::string("-tr"),
              std::string("7"), std::string("7"), std::string("-dstnodata"), std::string("-1")}) {
            arguments.AddString(word.c_str());
        }
        GDALWarpAppOptions* options = GDALWarpAppOptionsNew(arguments.List(), nullptr);
        const GDALDatasetUniquePtr in(
            GDALDataset::Open((folder / "a.tif").c_str(), GDAL_OF_RASTER));
        GDALDatasetH handle = GDALDataset::ToHandle(in.get());
        const GDALDatasetUniquePtr out(
            GDALDataset::FromHandle(GDALWarp((folder / (std::string(name) + ".tif")).c_str(),
                                             nullptr, 1, &handle, options, nullptr)));
        GDALWarpAppOptionsFree(options);
        ASSERT_NE(out, nullptr);
        ASSERT_EQ(out->GetRasterXSize(), frame.cols);
        ASSERT_EQ(out->GetRasterYSize(), frame.rows);
        std::vector<double> expected(frame.size());
        ASSERT_EQ(
            out->GetRasterBand(1)->RasterIO(GF_Read, 0, 0, frame.cols, frame.rows, expected.data(),
                                            frame.cols, frame.rows, GDT_Float64, 0, 0, nullptr),
            CE_None);
        const auto window = source.read<double>(frame, crs, how);
        EXPECT_EQ(window.missing, 0U);
        for (std::size_t i = 0; i < expected.size(); ++i) {
            ASSERT_NEAR(window.values[i], expected[i], most) << name << " cell " << i;
        }
    }
}

/// Four threads read, write and transform at once and agree with one.
TEST(Threads, GiveWhatOneGives) {
    const TemporaryFolder folder;
    RasterFile file;
    file.cols = 300;
    file.rows = 300;
    file.write(folder / "a.tif");
    const Crs crs = Crs::from_epsg(32616);
    const Point corner = transformer(utm15(), crs).apply(Point{501000, 4399000});
    const auto job = [&](int i) {
        prepare_thread();
        thread_local std::map<std::string, std::unique_ptr<RasterSource>> open;
        auto& source = open[folder.path()];
        if (!source) source = std::make_unique<RasterSource>(folder / "a.tif");
        const GridFrame frame = frame_of(corner.x + 10 * i, corner.y, 10, 30, 30);
        const auto window = source->read<float>(frame, crs, Resampling::bilinear);
        const std::string tiff = geotiff_bytes(window.values, window.valid, crs, {.unit = "kg/ha"});
        write_file_atomically(folder / (std::to_string(i) + ".tif"), tiff);
        return tiff +
               geojson_bytes({},
                             std::vector<PolygonRow>{{testing::box_shape(frame.west, frame.south(),
                                                                         frame.east(), frame.north),
                                                      {}}},
                             crs);
    };
    std::vector<std::string> expected;
    for (int i = 0; i < 40; ++i) expected.push_back(job(i));
    std::vector<std::string> found(40);
    std::vector<std::thread> threads;
    for (int t = 0; t < 4; ++t) {
        threads.emplace_back([&, t] {
            for (int i = t; i < 40; i += 4) found[static_cast<std::size_t>(i)] = job(i);
        });
    }
    for (std::thread& thread : threads) thread.join();
    EXPECT_EQ(found, expected);
}

TEST(RasterRead, ReadsOtherFormats) {
    const TemporaryFolder folder;
    write_text(folder / "a.asc",
               "ncols 3\nnrows 2\nxllcorner 500000\nyllcorner 4399980\ncellsize 10\nNODATA_value "
               "-9999\n1 2 3\n4 -9999 6.5\n");
    RasterOptions options;
    options.stated_crs = "EPSG:32615";
    const auto window =
        RasterSource(folder / "a.asc", options)
            .read<float>(frame_of(500000, 4400000, 10, 3, 2), utm15(), Resampling::bilinear);
    EXPECT_EQ(window.missing, 1U);
    EXPECT_FLOAT_EQ(window.values.at(1, 2), 6.5F);
    RasterFile image;
    image.driver = "HFA";
    image.write(folder / "a.img");
    EXPECT_EQ(RasterSource(folder / "a.img")
                  .read<float>(frame_of(500000, 4400000, 10, 4, 3), utm15(), Resampling::nearest)
                  .values.at(2, 3),
              11.0F);
}

}  // namespace
}  // namespace catchfield::gis
