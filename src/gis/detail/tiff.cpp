// SPDX-License-Identifier: MIT
#include "gis/detail/tiff.hpp"

#include "base/error.hpp"

#include <cpl_conv.h>
#include <cpl_vsi.h>

#include <algorithm>
#include <array>
#include <cstring>
#include <memory>
#include <tiffio.h>

namespace catchfield::gis::detail {

namespace {

// GeoTIFF 1.1 (OGC 19-008) and the two tags that GDAL has registered.
constexpr std::uint32_t pixel_scale = 33550, tie_points = 33922, geo_keys = 34735,
                        geo_doubles = 34736, geo_text = 34737, gdal_metadata = 42112,
                        gdal_nodata = 42113;

void add_fields(TIFF* tiff) {
    // libtiff wants names that it may write to.
    static std::array<std::string, 7> names = {
        "GeoPixelScale",  "GeoTiePoints", "GeoKeyDirectory", "GeoDoubleParams",
        "GeoASCIIParams", "GDALMetadata", "GDALNoDataValue"};
    const auto field = [](std::uint32_t tag, TIFFDataType type, std::size_t name) {
        const bool counted = type != TIFF_ASCII;
        return TIFFFieldInfo{tag,
                             -1,
                             -1,
                             type,
                             FIELD_CUSTOM,
                             1,
                             static_cast<unsigned char>(counted),
                             names[name].data()};
    };
    static const std::array<TIFFFieldInfo, 7> fields = {
        field(pixel_scale, TIFF_DOUBLE, 0), field(tie_points, TIFF_DOUBLE, 1),
        field(geo_keys, TIFF_SHORT, 2),     field(geo_doubles, TIFF_DOUBLE, 3),
        field(geo_text, TIFF_ASCII, 4),     field(gdal_metadata, TIFF_ASCII, 5),
        field(gdal_nodata, TIFF_ASCII, 6)};
    TIFFMergeFieldInfo(tiff, fields.data(), static_cast<std::uint32_t>(fields.size()));
}

/// A file in memory with the place where the next byte goes.
struct Memory {
    std::string bytes;
    std::size_t at = 0;
};

tmsize_t read_memory(thandle_t handle, void* to, tmsize_t size) {
    auto& file = *static_cast<Memory*>(handle);
    const std::size_t left = file.at < file.bytes.size() ? file.bytes.size() - file.at : 0;
    const std::size_t count = std::min(left, static_cast<std::size_t>(size));
    std::memcpy(to, file.bytes.data() + file.at, count);
    file.at += count;
    return static_cast<tmsize_t>(count);
}

tmsize_t write_memory(thandle_t handle, void* from, tmsize_t size) {
    auto& file = *static_cast<Memory*>(handle);
    const auto count = static_cast<std::size_t>(size);
    if (file.at + count > file.bytes.size()) file.bytes.resize(file.at + count);
    std::memcpy(file.bytes.data() + file.at, from, count);
    file.at += count;
    return size;
}

toff_t seek_memory(thandle_t handle, toff_t offset, int whence) {
    auto& file = *static_cast<Memory*>(handle);
    const std::size_t from = whence == SEEK_SET   ? 0
                             : whence == SEEK_CUR ? file.at
                                                  : file.bytes.size();
    file.at = from + static_cast<std::size_t>(offset);
    return file.at;
}

toff_t memory_size(thandle_t handle) {
    return static_cast<Memory*>(handle)->bytes.size();
}

int close_memory(thandle_t) {
    return 0;
}

int map_nothing(thandle_t, void**, toff_t*) {
    return 0;
}

void unmap_nothing(thandle_t, void*, toff_t) {}

using Handle = std::unique_ptr<TIFF, void (*)(TIFF*)>;

constexpr const char* own_name = "catchfield raster in memory";
TIFFExtendProc other_extender = nullptr;

/// libtiff sorts all the fields it knows whenever some are added, so own rasters take these few and
/// other people's theirs.
void extend(TIFF* tiff) {
    if (std::strcmp(TIFFFileName(tiff), own_name) == 0) {
        add_fields(tiff);
    } else if (other_extender != nullptr) {
        other_extender(tiff);
    }
}

/// mode as of TIFFOpen. The fields are known from the start, and again whenever a directory is
/// read.
Handle opened(Memory& file, const char* mode) {
    Handle tiff(TIFFClientOpen(own_name, mode, &file, read_memory, write_memory, seek_memory,
                               close_memory, memory_size, map_nothing, unmap_nothing),
                TIFFClose);
    if (tiff == nullptr) throw Error(ErrorKind::internal, "a TIFF in memory cannot be opened");
    return tiff;
}

template <typename T>
std::vector<T> values_of(TIFF* tiff, std::uint32_t tag) {
    std::uint16_t count = 0;
    const T* values = nullptr;
    if (TIFFGetField(tiff, tag, &count, &values) == 0) return {};
    return {values, values + count};
}

std::string text_of(TIFF* tiff, std::uint32_t tag) {
    const char* text = nullptr;
    return TIFFGetField(tiff, tag, &text) != 0 ? text : "";
}

template <typename T>
void set_values(TIFF* tiff, std::uint32_t tag, const T* values, std::size_t count) {
    if (count > 0) TIFFSetField(tiff, tag, static_cast<int>(count), values);
}

void set_text(TIFF* tiff, std::uint32_t tag, const std::string& text) {
    if (!text.empty()) TIFFSetField(tiff, tag, text.c_str());
}

using Bytes = std::vector<std::uint8_t>;

// Predictors: DEFLATE packs differences better than samples.

/// Predictor 2 (TIFF 6.0, section 14): samples of a row as differences.
template <typename T>
void difference_samples(const Bytes& tile, std::size_t cols, Bytes& out) {
    std::vector<T> row(cols + 1);  // a zero first
    const std::size_t row_bytes = cols * sizeof(T);
    for (std::size_t from = 0; from < tile.size(); from += row_bytes) {
        std::memcpy(row.data() + 1, tile.data() + from, row_bytes);
        for (std::size_t i = 0; i < cols; ++i) {
            const auto difference = static_cast<T>(row[i + 1] - row[i]);
            std::memcpy(out.data() + from + i * sizeof(T), &difference, sizeof(T));
        }
    }
}

/// Predictor 3 (TIFF Technical Note 3): bytes of a row by significance, as differences.
void difference_floats(const Bytes& tile, std::size_t cols, Bytes& out) {
    std::vector<std::uint32_t> row(cols);
    const std::size_t row_bytes = cols * sizeof(std::uint32_t);
    Bytes planes(row_bytes + 1);  // a zero first
    for (std::size_t from = 0; from < tile.size(); from += row_bytes) {
        std::memcpy(row.data(), tile.data() + from, row_bytes);
        std::uint8_t* to = planes.data() + 1;
        for (const int shift : {24, 16, 8, 0}) {
            for (std::size_t i = 0; i < cols; ++i) {
                *to++ = static_cast<std::uint8_t>(row[i] >> shift);
            }
        }
        for (std::size_t i = 0; i < row_bytes; ++i) {
            out[from + i] = static_cast<std::uint8_t>(planes[i + 1] - planes[i]);
        }
    }
}

}  // namespace

void register_tiff_fields() {
    other_extender = TIFFSetTagExtender(extend);
}

DescribingTags describing_tags(std::string file) {
    Memory memory{std::move(file)};
    const Handle tiff = opened(memory, "r");
    return {.crs = {.keys = values_of<std::uint16_t>(tiff.get(), geo_keys),
                    .doubles = values_of<double>(tiff.get(), geo_doubles),
                    .text = text_of(tiff.get(), geo_text)},
            .metadata = text_of(tiff.get(), gdal_metadata),
            .nodata = text_of(tiff.get(), gdal_nodata)};
}

std::string tiled_tiff(const TiffImage& image, const DescribingTags& tags) {
    const bool real = image.sample == TiffSample::float32;
    const std::size_t sample_bytes = real ? 4 : image.sample == TiffSample::uint16 ? 2 : 1;
    Memory memory;
    Handle handle = opened(memory, "w");
    TIFF* tiff = handle.get();
    TIFFSetField(tiff, TIFFTAG_IMAGEWIDTH, image.cols);
    TIFFSetField(tiff, TIFFTAG_IMAGELENGTH, image.rows);
    TIFFSetField(tiff, TIFFTAG_BITSPERSAMPLE, static_cast<int>(8 * sample_bytes));
    TIFFSetField(tiff, TIFFTAG_SAMPLEFORMAT, real ? SAMPLEFORMAT_IEEEFP : SAMPLEFORMAT_UINT);
    TIFFSetField(tiff, TIFFTAG_SAMPLESPERPIXEL, 1);
    TIFFSetField(tiff, TIFFTAG_PHOTOMETRIC, PHOTOMETRIC_MINISBLACK);
    TIFFSetField(tiff, TIFFTAG_PLANARCONFIG, PLANARCONFIG_CONTIG);
    TIFFSetField(tiff, TIFFTAG_COMPRESSION, COMPRESSION_ADOBE_DEFLATE);
    TIFFSetField(tiff, TIFFTAG_ZIPQUALITY, deflate_level);
    TIFFSetField(tiff, TIFFTAG_PREDICTOR, real ? PREDICTOR_FLOATINGPOINT : PREDICTOR_HORIZONTAL);
    TIFFSetField(tiff, TIFFTAG_TILEWIDTH, image.tile_cols);
    TIFFSetField(tiff, TIFFTAG_TILELENGTH, image.tile_rows);
    const std::array<double, 3> scale = {image.cell_x, image.cell_y, 0.0};
    const std::array<double, 6> tie = {0.0, 0.0, 0.0, image.west, image.north, 0.0};
    set_values(tiff, pixel_scale, scale.data(), scale.size());
    set_values(tiff, tie_points, tie.data(), tie.size());
    set_values(tiff, geo_keys, tags.crs.keys.data(), tags.crs.keys.size());
    set_values(tiff, geo_doubles, tags.crs.doubles.data(), tags.crs.doubles.size());
    set_text(tiff, geo_text, tags.crs.text);
    set_text(tiff, gdal_metadata, tags.metadata);
    set_text(tiff, gdal_nodata, tags.nodata);

    const auto cols = static_cast<std::size_t>(image.cols);
    const auto row_bytes = static_cast<std::size_t>(image.tile_cols) * sample_bytes;
    const auto* pixels = static_cast<const std::uint8_t*>(image.pixels);
    const auto tile_cols = static_cast<std::size_t>(image.tile_cols);
    Bytes tile(row_bytes * static_cast<std::size_t>(image.tile_rows));
    Bytes differences(tile.size());
    Bytes packed(tile.size() + tile.size() / 8 + 1024);  // what cannot be packed grows a little
    std::uint32_t number = 0;
    for (int top = 0; top < image.rows; top += image.tile_rows) {
        const int rows = std::min(image.tile_rows, image.rows - top);
        for (int left = 0; left < image.cols; left += image.tile_cols) {
            const int width = std::min(image.tile_cols, image.cols - left);
            std::fill(tile.begin(), tile.end(), std::uint8_t{0});
            for (int row = 0; row < rows; ++row) {
                const std::size_t from =
                    static_cast<std::size_t>(top + row) * cols + static_cast<std::size_t>(left);
                std::memcpy(tile.data() + static_cast<std::size_t>(row) * row_bytes,
                            pixels + from * sample_bytes,
                            static_cast<std::size_t>(width) * sample_bytes);
            }
            switch (image.sample) {
                case TiffSample::float32:
                    difference_floats(tile, tile_cols, differences);
                    break;
                case TiffSample::uint16:
                    difference_samples<std::uint16_t>(tile, tile_cols, differences);
                    break;
                case TiffSample::byte:
                    difference_samples<std::uint8_t>(tile, tile_cols, differences);
                    break;
            }
            std::size_t size = 0;
            if (CPLZLibDeflate(differences.data(), differences.size(), deflate_level, packed.data(),
                               packed.size(), &size) == nullptr ||
                TIFFWriteRawTile(tiff, number++, packed.data(), static_cast<tmsize_t>(size)) < 0)
                throw Error(ErrorKind::internal, "a TIFF in memory cannot be written");
        }
    }
    if (TIFFFlush(tiff) == 0) throw Error(ErrorKind::internal, "a TIFF in memory cannot be closed");
    handle.reset();
    return std::move(memory.bytes);
}

}  // namespace catchfield::gis::detail
