// SPDX-License-Identifier: MIT
#include "base/random.hpp"
#include "gis/files.hpp"
#include "gis/geotiff.hpp"
#include "gis/raster_source.hpp"
#include "support.hpp"

#include <cmath>
#include <optional>

namespace catchfield::gis {
namespace {

using testing::error_of;
using testing::frame_of;
using testing::TemporaryFolder;

struct Sample {
    Raster<float> values;
    Mask valid;
};

Sample sample(int cols, int rows) {
    Sample made{Raster<float>(frame_of(500000, 4400000, 5, cols, rows)), {}};
    made.valid = Mask(made.values.frame, 1);
    Random random(1);
    for (std::size_t i = 0; i < made.values.size(); ++i) {
        made.values[i] = static_cast<float>(random.uniform(0, 200));
        if (i % 7 == 2) made.valid[i] = 0;
    }
    return made;
}

TEST(GeoTiff, ComesBackAsWritten) {
    const TemporaryFolder folder;
    const Crs crs = Crs::from_epsg(32615);
    for (const auto& [cols, rows] : {std::pair{1, 1}, {40, 33}, {700, 530}}) {
        const Sample made = sample(cols, rows);
        for (const TiffLayout layout : {TiffLayout::tiled, TiffLayout::cog, TiffLayout::plain}) {
            const std::string bytes =
                geotiff_bytes(made.values, made.valid, crs,
                              {.description = "nitrogen_rate", .unit = "kg/ha", .layout = layout});
            EXPECT_EQ(
                bytes,
                geotiff_bytes(made.values, made.valid, crs,
                              {.description = "nitrogen_rate", .unit = "kg/ha", .layout = layout}));
            write_file_atomically(folder / "r.tif", bytes);
            const RasterSource source(folder / "r.tif");
            EXPECT_EQ(source.info().nodata, -9999.0);
            EXPECT_EQ(source.info().unit, "kg/ha");
            EXPECT_EQ(source.info().description, "nitrogen_rate");
            EXPECT_EQ(source.crs().code(), "EPSG:32615");
            const auto back = source.read<float>(made.values.frame, crs, Resampling::nearest);
            EXPECT_TRUE(back.exact);
            EXPECT_EQ(back.valid.values, made.valid.values);
            for (std::size_t i = 0; i < made.values.size(); ++i) {
                if (made.valid[i] != 0) {
                    ASSERT_EQ(back.values[i], made.values[i]);
                }
            }
            const GDALDatasetUniquePtr dataset(
                GDALDataset::Open((folder / "r.tif").c_str(), GDAL_OF_RASTER));
            EXPECT_STREQ(dataset->GetMetadataItem("AREA_OR_POINT"), "Area");
            const char* structure = dataset->GetMetadataItem("LAYOUT", "IMAGE_STRUCTURE");
            EXPECT_EQ(layout == TiffLayout::cog,
                      structure != nullptr && std::string(structure) == "COG");
            EXPECT_EQ(dataset->GetRasterBand(1)->GetOverviewCount() > 0,
                      layout == TiffLayout::cog && cols > 512);
        }
    }
}

/// All that GDAL reads from a GeoTIFF, as text.
std::string as_gdal_reads(const std::string& bytes) {
    const std::string path = "/vsimem/as-read.tif";
    std::string copy = bytes;
    VSIFCloseL(VSIFileFromMemBuffer(path.c_str(), reinterpret_cast<GByte*>(copy.data()),
                                    copy.size(), FALSE));
    std::string said;
    {
        const GDALDatasetUniquePtr dataset(GDALDataset::Open(path.c_str(), GDAL_OF_RASTER));
        char* wkt = nullptr;
        dataset->GetSpatialRef()->exportToWkt(&wkt);
        said += wkt;
        CPLFree(wkt);
        double transform[6] = {};
        dataset->GetGeoTransform(transform);
        for (const double number : transform) said += "\n" + std::to_string(number);
        GDALRasterBand* band = dataset->GetRasterBand(1);
        for (const char* domain : {"", "IMAGE_STRUCTURE"}) {
            for (char** line = dataset->GetMetadata(domain); line != nullptr && *line != nullptr;
                 ++line)
                said += std::string("\n") + *line;
            for (char** line = band->GetMetadata(domain); line != nullptr && *line != nullptr;
                 ++line)
                said += std::string("\n") + *line;
        }
        int tile_cols = 0, tile_rows = 0;
        band->GetBlockSize(&tile_cols, &tile_rows);
        said += "\n" + std::to_string(tile_cols) + " " + std::to_string(tile_rows) + " " +
                band->GetDescription() + " " + band->GetUnitType() + " " +
                std::to_string(band->GetNoDataValue()) + " " +
                GDALGetDataTypeName(band->GetRasterDataType()) + "\n";
        std::vector<float> pixels(static_cast<std::size_t>(band->GetXSize()) *
                                  static_cast<std::size_t>(band->GetYSize()));
        EXPECT_EQ(band->RasterIO(GF_Read, 0, 0, band->GetXSize(), band->GetYSize(), pixels.data(),
                                 band->GetXSize(), band->GetYSize(), GDT_Float32, 0, 0, nullptr),
                  CE_None);
        for (const float pixel : pixels) said += std::to_string(pixel) + " ";
    }
    VSIUnlink(path.c_str());
    return said;
}

/// What GDAL's own driver makes of the same raster with the same options.
std::string by_gdal(const Raster<float>& pixels, int epsg, const std::string& description,
                    const std::string& unit, int tile_cols, int tile_rows) {
    const std::string path = "/vsimem/by-gdal/r.tif";
    GDALDriver* driver = GetGDALDriverManager()->GetDriverByName("GTiff");
    const std::string width = "BLOCKXSIZE=" + std::to_string(tile_cols);
    const std::string height = "BLOCKYSIZE=" + std::to_string(tile_rows);
    const char* options[] = {"TILED=YES",        width.c_str(), height.c_str(),
                             "COMPRESS=DEFLATE", "PREDICTOR=3", nullptr};
    const GridFrame& frame = pixels.frame;
    {
        const GDALDatasetUniquePtr dataset(driver->Create(
            path.c_str(), frame.cols, frame.rows, 1, GDT_Float32, const_cast<char**>(options)));
        double transform[] = {frame.west, frame.cell, 0.0, frame.north, 0.0, -frame.cell};
        dataset->SetGeoTransform(transform);
        OGRSpatialReference reference;
        reference.importFromEPSG(epsg);
        dataset->SetSpatialRef(&reference);
        GDALRasterBand* band = dataset->GetRasterBand(1);
        band->SetNoDataValue(-9999.0);
        band->SetDescription(description.c_str());
        band->SetUnitType(unit.c_str());
        EXPECT_EQ(band->RasterIO(GF_Write, 0, 0, frame.cols, frame.rows,
                                 const_cast<float*>(pixels.values.data()), frame.cols, frame.rows,
                                 GDT_Float32, 0, 0, nullptr),
                  CE_None);
    }
    vsi_l_offset size = 0;
    const GByte* bytes = VSIGetMemFileBuffer(path.c_str(), &size, FALSE);
    std::string file(reinterpret_cast<const char*>(bytes), static_cast<std::size_t>(size));
    VSIUnlink(path.c_str());
    return file;
}

// An outside check: small rasters are written with libtiff, and GDAL must find in them what it
// finds in its own; with one tile and with several, in projected and geographic systems.
TEST(GeoTiff, SameAsGdals) {
    start();
    for (const auto& [cols, rows] :
         {std::pair{1, 1}, {45, 45}, {256, 40}, {257, 300}, {700, 530}}) {
        for (const int epsg : {32615, 26915, 4326}) {
            const Sample made = sample(cols, rows);
            Raster<float> pixels = made.values;
            for (std::size_t i = 0; i < pixels.size(); ++i) {
                if (made.valid[i] == 0) pixels[i] = -9999.0F;
            }
            const std::string text = "soil loss < T & \"rate\"", unit = "Mg/ha a year";
            const std::string own = geotiff_bytes(made.values, made.valid, Crs::from_epsg(epsg),
                                                  {.description = text, .unit = unit});
            const std::string gdal =
                by_gdal(pixels, epsg, text, unit, std::min(256, (cols + 15) / 16 * 16),
                        std::min(256, (rows + 15) / 16 * 16));
            EXPECT_TRUE(as_gdal_reads(own) == as_gdal_reads(gdal))
                << cols << " x " << rows << ", EPSG:" << epsg;
        }
    }
}

// Rasters from a million cells on go to GDAL a row of tiles at a time.
TEST(GeoTiff, LargeRastersComeBackAsWritten) {
    const TemporaryFolder folder;
    const Crs crs = Crs::from_epsg(32615);
    Sample made = sample(1100, 1000);
    write_file_atomically(folder / "r.tif", geotiff_bytes(made.values, made.valid, crs));
    EXPECT_EQ(nodata_of_geotiff(folder / "r.tif"), -9999.0);
    const auto back =
        RasterSource(folder / "r.tif").read<float>(made.values.frame, crs, Resampling::nearest);
    EXPECT_EQ(back.valid.values, made.valid.values);
    std::size_t wrong = 0;
    for (std::size_t i = 0; i < made.values.size(); ++i) {
        wrong += made.valid[i] != 0 && back.values[i] != made.values[i];
    }
    EXPECT_EQ(wrong, 0U);
    made.values[1'050'000] = std::nanf("");
    made.valid[1'050'000] = 1;
    EXPECT_EQ(error_of([&] { geotiff_bytes(made.values, made.valid, crs); }).kind(),
              ErrorKind::internal);
}

TEST(GeoTiff, StatesItsNodataValue) {
    const TemporaryFolder folder;
    const Sample made = sample(40, 30);
    write_file_atomically(folder / "r.tif",
                          geotiff_bytes(made.values, made.valid, Crs::from_epsg(32615)));
    EXPECT_EQ(nodata_of_geotiff(folder / "r.tif"), -9999.0);
    Raster<int> zones(frame_of(500000, 4400000, 10, 20, 10), 1);
    write_file_atomically(folder / "z.tif", class_geotiff_bytes(zones, Crs::from_epsg(32615)));
    EXPECT_EQ(nodata_of_geotiff(folder / "z.tif"), 0.0);
    write_file_atomically(folder / "no.tif", "II*, but no raster");
    EXPECT_EQ(error_of([&] { nodata_of_geotiff(folder / "no.tif"); }).kind(), ErrorKind::internal);
}

// A thread keeps the CRS of the last small raster that stood alone, and must notice another one,
// also one whose keys are few (a code) or many (parameters of its own).
TEST(GeoTiff, AloneInAnyCrs) {
    const TemporaryFolder folder;
    const Sample made = sample(20, 10);
    RasterOptions alone;
    alone.companions = false;
    const std::vector<Crs> systems = {
        Crs::from_epsg(32615), Crs::from_epsg(26915), Crs::from_epsg(5070),
        Crs::from_user_input("+proj=aea +lat_1=38 +lat_2=42 +lon_0=-93 +ellps=GRS80 +units=m", "a"),
        Crs::from_user_input("+proj=aea +lat_1=38 +lat_2=42 +lon_0=-94 +ellps=GRS80 +units=m",
                             "b")};
    for (std::size_t i = 0; i < systems.size(); ++i) {
        write_file_atomically(folder / (std::to_string(i) + ".tif"),
                              geotiff_bytes(made.values, made.valid, systems[i]));
    }
    for (const std::size_t i : {0U, 0U, 1U, 2U, 0U, 3U, 4U, 3U, 2U}) {
        const std::string path = folder / (std::to_string(i) + ".tif");
        EXPECT_TRUE(RasterSource(path, alone).crs().same_as(RasterSource(path).crs())) << i;
        EXPECT_TRUE(RasterSource(path, alone).crs().same_as(systems[i])) << i;
    }
}

TEST(GeoTiff, RefusesWhatIsNoNumber) {
    Sample made = sample(4, 4);
    made.values[0] = std::nanf("");
    EXPECT_EQ(error_of([&] { geotiff_bytes(made.values, made.valid, Crs::wgs84()); }).kind(),
              ErrorKind::internal);
    made.values[0] = tiff_nodata;
    EXPECT_EQ(error_of([&] { geotiff_bytes(made.values, made.valid, Crs::wgs84()); }).kind(),
              ErrorKind::internal);
    made.valid[0] = 0;
    EXPECT_FALSE(geotiff_bytes(made.values, made.valid, Crs::wgs84()).empty());
    made.valid.values.pop_back();
    EXPECT_EQ(error_of([&] { geotiff_bytes(made.values, made.valid, Crs::wgs84()); }).kind(),
              ErrorKind::internal);
}

TEST(GeoTiff, ClassesTakeTheSmallestType) {
    const TemporaryFolder folder;
    const Crs crs = Crs::from_epsg(32615);
    Raster<int> zones(frame_of(500000, 4400000, 10, 20, 10), 0);
    for (int i = 0; i < 150; ++i) zones[static_cast<std::size_t>(i)] = 1 + i % 6;
    for (const int highest : {6, 255, 256, 65535}) {
        zones[3] = highest;
        write_file_atomically(folder / "z.tif",
                              class_geotiff_bytes(zones, crs, {.description = "zone"}));
        const RasterSource source(folder / "z.tif");
        EXPECT_EQ(source.info().data_type, highest < 256 ? "Byte" : "UInt16");
        const auto back = source.read<double>(zones.frame, crs, Resampling::nearest);
        EXPECT_EQ(back.missing, 50U);
        for (std::size_t i = 0; i < zones.size(); ++i) ASSERT_EQ(back.values[i], zones[i]);
    }
    zones[3] = -1;
    EXPECT_EQ(error_of([&] { class_geotiff_bytes(zones, crs); }).kind(), ErrorKind::internal);
    zones[3] = 65536;
    EXPECT_EQ(error_of([&] { class_geotiff_bytes(zones, crs); }).kind(), ErrorKind::internal);
}

// Length of a degree on WGS 84 at 45 N: 111 131.8 m of latitude, 78 846.8 m of longitude
// (Snyder 1987, USGS PP 1395, table 7 is for Clarke 1866; figures here: memory: high).
TEST(DegreeGrid, CellsHaveTheSizeAsked) {
    const DegreesPerMetre at_45 = degrees_per_metre(45.0);
    EXPECT_NEAR(1.0 / at_45.lat, 111131.8, 0.5);
    EXPECT_NEAR(1.0 / at_45.lon, 78846.8, 0.5);
    EXPECT_NEAR(1.0 / degrees_per_metre(0.0).lon, 111319.49, 0.01);
}

TEST(DegreeGrid, CoversTheFieldAndFindsItsCells) {
    const TemporaryFolder folder;
    for (const int epsg : {32615, 32756, 32760}) {
        const Crs crs = Crs::from_epsg(epsg);
        // 32760: a field over the antimeridian.
        const Point corner = epsg == 32760
                                 ? transformer(Crs::wgs84(), crs).apply(Point{179.998, -17.0})
                                 : Point{520000, epsg == 32615 ? 4650000.0 : 6340000.0};
        const GridFrame frame = frame_of(std::round(corner.x), std::round(corner.y), 10, 60, 50);
        Mask mask(frame, 0);
        for (int row = 5; row < 45; ++row) {
            for (int col = 8; col < 52; ++col) mask.at(row, col) = 1;
        }
        const DegreeGrid grid = degree_grid(mask, crs);
        const auto cells = nearest_cells(grid, frame, crs);
        ASSERT_EQ(cells.size(), grid.size());
        // Every field cell is under the grid: its centre lies inside.
        const Transformer& to_degrees = transformer(crs, Crs::wgs84());
        for (const auto& [row, col] : {std::pair{5, 8}, {5, 51}, {44, 8}, {44, 51}, {20, 30}}) {
            Point place = to_degrees.apply(Point{frame.x_centre(col), frame.y_centre(row)});
            if (place.x < grid.west) place.x += 360.0;
            const int at_row = static_cast<int>((place.y - grid.south) / grid.cell_lat);
            const int at_col = static_cast<int>((place.x - grid.west) / grid.cell_lon);
            ASSERT_TRUE(at_row >= 0 && at_row < grid.rows && at_col >= 0 && at_col < grid.cols)
                << epsg;
            const std::ptrdiff_t found = cells[grid.index(at_row, at_col)];
            ASSERT_GE(found, 0);
            const auto here = static_cast<std::ptrdiff_t>(frame.index(row, col));
            const auto width = static_cast<std::ptrdiff_t>(frame.cols);
            EXPECT_LE(std::abs(found / width - here / width), 1);
            EXPECT_LE(std::abs(found % width - here % width), 1);
        }
        // As many cells as the field has, within the edge.
        std::size_t inside = 0;
        for (const std::ptrdiff_t cell : cells) {
            if (cell >= 0 && mask[static_cast<std::size_t>(cell)] != 0) ++inside;
        }
        EXPECT_NEAR(static_cast<double>(inside), 40.0 * 44.0, 30.0) << epsg;
    }
    Mask big(frame_of(500000, 4400000, 1000, 100, 100), 1);
    EXPECT_EQ(error_of([&] { degree_grid(big, Crs::from_epsg(32615), 1.0); }).kind(),
              ErrorKind::data);
}

TEST(DegreeGrid, WritesGeoTiffInDegrees) {
    const TemporaryFolder folder;
    const Crs crs = Crs::from_epsg(32615);
    const Sample made = sample(30, 20);
    const DegreeGrid grid = degree_grid(made.valid, crs);
    const auto cells = nearest_cells(grid, made.values.frame, crs);
    DegreeRaster<float> values{grid, std::vector<float>(grid.size())};
    DegreeRaster<std::uint8_t> valid{grid, std::vector<std::uint8_t>(grid.size())};
    for (std::size_t i = 0; i < cells.size(); ++i) {
        if (cells[i] < 0) continue;
        values.values[i] = made.values[static_cast<std::size_t>(cells[i])];
        valid.values[i] = made.valid[static_cast<std::size_t>(cells[i])];
    }
    write_file_atomically(folder / "d.tif", geotiff_bytes(values, valid));
    const RasterSource source(folder / "d.tif");
    EXPECT_EQ(source.crs().code(), "EPSG:4326");
    std::size_t compared = 0;
    for (int row = 0; row < grid.rows; ++row) {
        for (int col = 0; col < grid.cols; ++col) {
            const auto value =
                source.sample({grid.centre(row, col)}, Crs::wgs84(), Resampling::nearest)[0];
            const std::size_t i = grid.index(row, col);
            ASSERT_EQ(value.has_value(), valid.values[i] != 0);
            if (value) {
                ASSERT_EQ(static_cast<float>(*value), values.values[i]);
            }
            if (value) ++compared;
        }
    }
    EXPECT_GT(compared, 400U);
}

}  // namespace
}  // namespace catchfield::gis
