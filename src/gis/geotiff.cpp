// SPDX-License-Identifier: MIT
#include "gis/geotiff.hpp"

#include "base/error.hpp"
#include "base/text.hpp"
#include "gis/detail/gdal.hpp"
#include "gis/detail/tiff.hpp"
#include "gis/files.hpp"

#include <cpl_string.h>
#include <gdal_priv.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <map>
#include <type_traits>
#include <vector>

namespace catchfield::gis {

namespace {

/// A band ready to be written: rows from the north.
struct Image {
    int cols = 0;
    int rows = 0;
    std::array<double, 6> transform{};
    GDALDataType type = GDT_Float32;
    double nodata = 0.0;
    bool classes = false;
    const void* pixels = nullptr;
    /// float32 only: 0 where `pixels` has no value. Null: pixels are as they are to be written.
    const std::uint8_t* valid = nullptr;
};

std::array<double, 6> north_up(const GridFrame& frame) {
    return {frame.west, frame.cell, 0.0, frame.north, 0.0, -frame.cell};
}

GDALDriver& driver(const char* name) {
    GDALDriver* found = GetGDALDriverManager()->GetDriverByName(name);
    if (found == nullptr) throw Error(ErrorKind::internal, std::string("no GDAL driver ") + name);
    return *found;
}

/// Side of tiles that does not pad small rasters: a multiple of 16, 256 at most.
int tile_side(int cells) {
    return std::clamp((cells + 15) / 16 * 16, 16, 256);
}

std::size_t cells(const Image& image) {
    return static_cast<std::size_t>(image.cols) * static_cast<std::size_t>(image.rows);
}

/// Rasters from here on are left to GDAL, which packs their tiles on several threads.
constexpr std::size_t many_cells = 1'000'000;

/// Float32 with nodata where there is no value.
template <typename T>
std::vector<float> quantities(const T* values, const std::uint8_t* valid, std::size_t count) {
    std::vector<float> pixels(count, tiff_nodata);
    for (std::size_t i = 0; i < count; ++i) {
        if (valid[i] == 0) continue;
        const auto value = static_cast<float>(values[i]);
        if (!std::isfinite(value) || value == tiff_nodata) {
            throw Error(ErrorKind::internal,
                        "a raster to be written holds a value that is no number");
        }
        pixels[i] = value + 0.0F;  // no negative zero
    }
    return pixels;
}

/// A row of tiles at a time, so that a large raster is not copied as a whole.
bool write_rows(GDALRasterBand& band, const Image& image) {
    const auto write = [&](int top, int rows, const void* pixels) {
        return band.RasterIO(GF_Write, 0, top, image.cols, rows, const_cast<void*>(pixels),
                             image.cols, rows, image.type, 0, 0, nullptr) == CE_None;
    };
    if (image.valid == nullptr) return write(0, image.rows, image.pixels);
    const auto* values = static_cast<const float*>(image.pixels);
    const int step = tile_side(image.rows);
    bool good = true;
    for (int top = 0; top < image.rows && good; top += step) {
        const int rows = std::min(step, image.rows - top);
        const std::size_t from =
            static_cast<std::size_t>(top) * static_cast<std::size_t>(image.cols);
        const std::size_t count =
            static_cast<std::size_t>(rows) * static_cast<std::size_t>(image.cols);
        good = write(top, rows, quantities(values + from, image.valid + from, count).data());
    }
    return good;
}

/// As GDAL's own drivers write it.
std::string encode_by_gdal(const Image& image, const Crs& crs, const TiffOptions& options) {
    detail::ensure_started();
    const detail::ErrorScope scope;
    const bool cog = options.layout == TiffLayout::cog;
    CPLStringList settings;
    if (options.layout == TiffLayout::tiled) {
        settings.SetNameValue("TILED", "YES");
        settings.SetNameValue("BLOCKXSIZE", std::to_string(tile_side(image.cols)).c_str());
        settings.SetNameValue("BLOCKYSIZE", std::to_string(tile_side(image.rows)).c_str());
        settings.SetNameValue("COMPRESS", "DEFLATE");
        settings.SetNameValue("ZLEVEL", std::to_string(detail::deflate_level).c_str());
        settings.SetNameValue("PREDICTOR", image.type == GDT_Float32 ? "3" : "2");
        if (cells(image) >= many_cells) settings.SetNameValue("NUM_THREADS", "ALL_CPUS");
    }
    const detail::MemoryFile file("raster.tif");
    GDALDatasetUniquePtr dataset(driver(cog ? "MEM" : "GTiff")
                                     .Create(cog ? "" : file.path().c_str(), image.cols, image.rows,
                                             1, image.type, cog ? nullptr : settings.List()));
    if (dataset == nullptr) scope.fail(ErrorKind::output, "a GeoTIFF cannot be made", {});
    auto transform = image.transform;
    GDALRasterBand* band = dataset->GetRasterBand(1);
    bool good = dataset->SetGeoTransform(transform.data()) == CE_None &&
                dataset->SetSpatialRef(&detail::spatial_reference(crs)) == CE_None &&
                band->SetNoDataValue(image.nodata) == CE_None;
    if (!options.description.empty()) band->SetDescription(options.description.c_str());
    if (!options.unit.empty()) good = good && band->SetUnitType(options.unit.c_str()) == CE_None;
    good = good && write_rows(*band, image);
    if (cog && good) {
        CPLStringList layout;
        layout.SetNameValue("COMPRESS", "DEFLATE");
        layout.SetNameValue("PREDICTOR", "YES");
        layout.SetNameValue("BLOCKSIZE", "512");
        layout.SetNameValue("OVERVIEW_RESAMPLING", image.classes ? "NEAREST" : "AVERAGE");
        const GDALDatasetUniquePtr copy(driver("COG").CreateCopy(
            file.path().c_str(), dataset.get(), FALSE, layout.List(), nullptr, nullptr));
        good = copy != nullptr;
    }
    if (good) dataset->FlushCache(true);
    dataset.reset();
    if (!good || scope.failed()) scope.fail(ErrorKind::output, "a GeoTIFF cannot be written", {});
    return detail::take_memory_file(file.path());
}

/// What GDAL writes about the CRS, nodata, unit and description, taken from a small file it makes;
/// the same for all rasters of a kind, and most of the cost of one.
const detail::DescribingTags& described(const Image& image, const Crs& crs,
                                        const TiffOptions& options) {
    thread_local std::map<std::string, detail::DescribingTags> cache;
    constexpr std::size_t most_kinds = 200;
    const std::string key = crs.wkt() + '\n' + options.description + '\n' + options.unit + '\n' +
                            std::to_string(static_cast<int>(image.type));
    if (const auto found = cache.find(key); found != cache.end()) return found->second;
    const std::array<float, 1> pixel{};
    const Image small{.cols = 1,
                      .rows = 1,
                      .transform = {0.0, 1.0, 0.0, 0.0, 0.0, -1.0},
                      .type = image.type,
                      .nodata = image.nodata,
                      .pixels = pixel.data()};
    if (cache.size() >= most_kinds) cache.clear();
    return cache[key] = detail::describing_tags(encode_by_gdal(small, crs, options));
}

std::string encode(const Image& image, const Crs& crs, const TiffOptions& options) {
    if (options.layout != TiffLayout::tiled || cells(image) >= many_cells) {
        return encode_by_gdal(image, crs, options);
    }
    return detail::tiled_tiff({.cols = image.cols,
                               .rows = image.rows,
                               .tile_cols = tile_side(image.cols),
                               .tile_rows = tile_side(image.rows),
                               .sample = image.type == GDT_Float32 ? detail::TiffSample::float32
                                         : image.type == GDT_Byte  ? detail::TiffSample::byte
                                                                   : detail::TiffSample::uint16,
                               .pixels = image.pixels,
                               .west = image.transform[0],
                               .north = image.transform[3],
                               .cell_x = image.transform[1],
                               .cell_y = -image.transform[5]},
                              described(image, crs, options));
}

template <typename T>
std::vector<float> quantities(const std::vector<T>& values,
                              const std::vector<std::uint8_t>& valid) {
    if (values.size() != valid.size()) {
        throw Error(ErrorKind::internal, "a raster and its mask differ in size");
    }
    return quantities(values.data(), valid.data(), values.size());
}

void require_size(const GridFrame& frame, std::size_t size) {
    if (frame.cols < 1 || frame.rows < 1 || frame.size() != size) {
        throw Error(ErrorKind::internal, "a raster's size does not match its grid");
    }
}

}  // namespace

template <typename T>
std::string geotiff_bytes(const Raster<T>& values, const Mask& valid, const Crs& crs,
                          const TiffOptions& options) {
    require_size(values.frame, values.size());
    Image image{.cols = values.frame.cols,
                .rows = values.frame.rows,
                .transform = north_up(values.frame),
                .nodata = static_cast<double>(tiff_nodata)};
    if constexpr (std::is_same_v<T, float>) {
        if (cells(image) >= many_cells && valid.values.size() == values.size()) {
            image.pixels = values.values.data();
            image.valid = valid.values.data();
            return encode(image, crs, options);
        }
    }
    const std::vector<float> pixels = quantities(values.values, valid.values);
    image.pixels = pixels.data();
    return encode(image, crs, options);
}

template std::string geotiff_bytes(const Raster<float>&, const Mask&, const Crs&,
                                   const TiffOptions&);
template std::string geotiff_bytes(const Raster<double>&, const Mask&, const Crs&,
                                   const TiffOptions&);

std::string geotiff_bytes(const DegreeRaster<float>& values,
                          const DegreeRaster<std::uint8_t>& valid, const TiffOptions& options) {
    const DegreeGrid& grid = values.grid;
    if (grid.cols < 1 || grid.rows < 1 || grid.size() != values.values.size() ||
        !(grid == valid.grid)) {
        throw Error(ErrorKind::internal, "a raster's size does not match its grid of degrees");
    }
    const std::vector<float> from_south = quantities(values.values, valid.values);
    std::vector<float> pixels(from_south.size());
    for (int row = 0; row < grid.rows; ++row) {
        const auto from = from_south.begin() + static_cast<std::ptrdiff_t>(grid.index(row, 0));
        const auto to = static_cast<std::ptrdiff_t>(grid.index(grid.rows - 1 - row, 0));
        std::copy_n(from, grid.cols, pixels.begin() + to);
    }
    return encode({.cols = grid.cols,
                   .rows = grid.rows,
                   .transform = {grid.west, grid.cell_lon, 0.0,
                                 grid.south + grid.rows * grid.cell_lat, 0.0, -grid.cell_lat},
                   .nodata = static_cast<double>(tiff_nodata),
                   .pixels = pixels.data()},
                  Crs::wgs84(), options);
}

template <typename T>
std::string class_geotiff_bytes(const Raster<T>& classes, const Crs& crs,
                                const TiffOptions& options) {
    require_size(classes.frame, classes.size());
    int highest = 0;
    for (const T value : classes.values) {
        const int number = static_cast<int>(value);
        if (number < 0 || number > 65535) {
            throw Error(ErrorKind::internal, "a class to be written lies outside 0 to 65535");
        }
        highest = std::max(highest, number);
    }
    Image image{.cols = classes.frame.cols,
                .rows = classes.frame.rows,
                .transform = north_up(classes.frame),
                .classes = true};
    if (highest < 256) {
        const std::vector<std::uint8_t> pixels(classes.values.begin(), classes.values.end());
        image.type = GDT_Byte;
        image.pixels = pixels.data();
        return encode(image, crs, options);
    }
    const std::vector<std::uint16_t> pixels(classes.values.begin(), classes.values.end());
    image.type = GDT_UInt16;
    image.pixels = pixels.data();
    return encode(image, crs, options);
}

template std::string class_geotiff_bytes(const Raster<std::uint8_t>&, const Crs&,
                                         const TiffOptions&);
template std::string class_geotiff_bytes(const Raster<std::uint16_t>&, const Crs&,
                                         const TiffOptions&);
template std::string class_geotiff_bytes(const Raster<int>&, const Crs&, const TiffOptions&);

std::optional<double> nodata_of_geotiff(const std::string& path) {
    detail::ensure_started();
    return parse_number(detail::describing_tags(read_file(path)).nodata);
}

}  // namespace catchfield::gis
