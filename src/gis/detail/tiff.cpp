// SPDX-License-Identifier: MIT
#include "gis/detail/tiff.hpp"

#include "base/error.hpp"

#include <tbb/parallel_for.h>

#include <algorithm>
#include <array>
#include <bit>
#include <cstring>
#include <libdeflate.h>
#include <memory>

namespace catchfield::gis::detail {

namespace {

static_assert(std::endian::native == std::endian::little,
              "pixels are written as they lie in memory");

// TIFF 6.0 and its technical notes; field types 3 = SHORT, 4 = LONG.
constexpr std::uint16_t short_type = 3, long_type = 4;
constexpr std::size_t head_size = 8, entry_size = 12;
constexpr std::uint16_t tile_places = 324, tile_sizes = 325, gdal_metadata = 42112;
constexpr std::size_t many_pixels = 500'000;

std::size_t type_size(std::uint16_t type) {
    switch (type) {
        case 1:
        case 2:
        case 6:
        case 7:
            return 1;
        case 3:
        case 8:
            return 2;
        case 5:
        case 10:
        case 12:
            return 8;
        default:
            return 4;
    }
}

template <typename T>
void append(std::string& bytes, T value) {
    char raw[sizeof value];
    std::memcpy(raw, &value, sizeof value);
    bytes.append(raw, sizeof value);
}

template <typename T>
T value_at(std::string_view bytes, std::size_t at) {
    T value{};
    if (at > bytes.size() || bytes.size() - at < sizeof value)
        throw Error(ErrorKind::internal, "a TIFF directory is cut short");
    std::memcpy(&value, bytes.data() + at, sizeof value);
    return value;
}

TiffTag number_tag(std::uint16_t number, int value) {
    TiffTag tag{number, short_type, 1, {}};
    if (value > 65535) {
        tag.type = long_type;
        append(tag.bytes, static_cast<std::uint32_t>(value));
    } else {
        append(tag.bytes, static_cast<std::uint16_t>(value));
    }
    return tag;
}

TiffTag long_tag(std::uint16_t number, const std::vector<std::uint32_t>& values) {
    TiffTag tag{number, long_type, static_cast<std::uint32_t>(values.size()), {}};
    for (const std::uint32_t value : values) append(tag.bytes, value);
    return tag;
}

std::size_t sample_size(TiffSample sample) {
    return sample == TiffSample::byte ? 1 : sample == TiffSample::uint16 ? 2 : 4;
}

/// Differences to the sample on the left.
template <typename T>
void difference(std::uint8_t* row, std::size_t count) {
    T previous{};
    for (std::size_t i = 0; i < count; ++i) {
        T value{};
        std::memcpy(&value, row + i * sizeof(T), sizeof(T));
        const T step = static_cast<T>(value - previous);
        std::memcpy(row + i * sizeof(T), &step, sizeof(T));
        previous = value;
    }
}

/// Bytes of floats by significance, highest first, then differences (TIFF technical note 3).
void split_floats(std::uint8_t* row, std::size_t count, std::vector<std::uint8_t>& scratch) {
    scratch.resize(4 * count);
    for (std::size_t i = 0; i < count; ++i) {
        for (std::size_t b = 0; b < 4; ++b) scratch[(3 - b) * count + i] = row[4 * i + b];
    }
    row[0] = scratch[0];
    for (std::size_t i = 1; i < scratch.size(); ++i)
        row[i] = static_cast<std::uint8_t>(scratch[i] - scratch[i - 1]);
}

// What libtiff takes for DEFLATE level 6 with this library.
constexpr int level = 7;

struct Compressor {
    std::unique_ptr<libdeflate_compressor, void (*)(libdeflate_compressor*)> handle{
        libdeflate_alloc_compressor(level), libdeflate_free_compressor};
    std::vector<std::uint8_t> tile, scratch;
};

/// One tile, filled up at the right and lower edge, predicted and packed.
std::string packed_tile(const TiffImage& image, int tile_row, int tile_col) {
    thread_local Compressor compressor;
    const std::size_t size = sample_size(image.sample);
    const auto width = static_cast<std::size_t>(image.tile_cols);
    const std::size_t row_bytes = width * size;
    std::vector<std::uint8_t>& tile = compressor.tile;
    const int first_col = tile_col * image.tile_cols;
    const auto cols = static_cast<std::size_t>(std::min(image.tile_cols, image.cols - first_col));
    const auto* pixels = static_cast<const std::uint8_t*>(image.pixels);
    tile.assign(row_bytes * static_cast<std::size_t>(image.tile_rows), 0);
    const int rows = std::min(image.tile_rows, image.rows - tile_row * image.tile_rows);
    for (int r = 0; r < rows; ++r) {
        const int row = tile_row * image.tile_rows + r;
        const std::size_t from =
            static_cast<std::size_t>(row) * static_cast<std::size_t>(image.cols) +
            static_cast<std::size_t>(first_col);
        std::uint8_t* out = tile.data() + static_cast<std::size_t>(r) * row_bytes;
        std::memcpy(out, pixels + from * size, cols * size);
        switch (image.sample) {
            case TiffSample::byte:
                difference<std::uint8_t>(out, width);
                break;
            case TiffSample::uint16:
                difference<std::uint16_t>(out, width);
                break;
            case TiffSample::float32:
                split_floats(out, width, compressor.scratch);
                break;
        }
    }
    std::string packed(libdeflate_zlib_compress_bound(compressor.handle.get(), tile.size()), '\0');
    packed.resize(libdeflate_zlib_compress(compressor.handle.get(), tile.data(), tile.size(),
                                           packed.data(), packed.size()));
    packed.shrink_to_fit();
    return packed;
}

std::vector<std::string> packed_tiles(const TiffImage& image) {
    const int across = (image.cols + image.tile_cols - 1) / image.tile_cols;
    const int down = (image.rows + image.tile_rows - 1) / image.tile_rows;
    std::vector<std::string> tiles(static_cast<std::size_t>(across) *
                                   static_cast<std::size_t>(down));
    const auto pack = [&](std::size_t i) {
        tiles[i] = packed_tile(image, static_cast<int>(i) / across, static_cast<int>(i) % across);
    };
    if (static_cast<std::size_t>(image.cols) * static_cast<std::size_t>(image.rows) >=
        many_pixels) {
        tbb::parallel_for(std::size_t{0}, tiles.size(), pack);
    } else {
        for (std::size_t i = 0; i < tiles.size(); ++i) pack(i);
    }
    return tiles;
}

/// Entries that describe the image; those of the tiles' places are right in size, their values come
/// later.
std::vector<TiffTag> image_tags(const TiffImage& image, const std::vector<std::uint32_t>& sizes) {
    const bool real = image.sample == TiffSample::float32;
    return {number_tag(256, image.cols),
            number_tag(257, image.rows),
            number_tag(258, static_cast<int>(8 * sample_size(image.sample))),
            number_tag(259, 8),             // DEFLATE
            number_tag(262, 1),             // black is zero
            number_tag(277, 1),             // one band
            number_tag(284, 1),             // bands together
            number_tag(317, real ? 3 : 2),  // predictor
            number_tag(322, image.tile_cols),
            number_tag(323, image.tile_rows),
            long_tag(tile_places, sizes),
            long_tag(tile_sizes, sizes),
            number_tag(339, real ? 3 : 1)};
}

}  // namespace

std::vector<TiffTag> tiff_tags(std::string_view file) {
    if (!file.starts_with(std::string_view("II*\0", 4)))
        throw Error(ErrorKind::internal, "not a classic TIFF");
    const std::size_t start = value_at<std::uint32_t>(file, 4);
    const std::size_t count = value_at<std::uint16_t>(file, start);
    std::vector<TiffTag> tags;
    for (std::size_t i = 0; i < count; ++i) {
        const std::size_t at = start + 2 + i * entry_size;
        TiffTag tag{value_at<std::uint16_t>(file, at),
                    value_at<std::uint16_t>(file, at + 2),
                    value_at<std::uint32_t>(file, at + 4),
                    {}};
        const std::size_t size = type_size(tag.type) * tag.count;
        const std::size_t place = size > 4 ? value_at<std::uint32_t>(file, at + 8) : at + 8;
        if (place > file.size() || file.size() - place < size)
            throw Error(ErrorKind::internal, "a TIFF directory points beyond its file");
        tag.bytes = file.substr(place, size);
        tags.push_back(std::move(tag));
    }
    return tags;
}

std::string tiled_tiff(const TiffImage& image, const std::vector<TiffTag>& extra) {
    const std::vector<std::string> tiles = packed_tiles(image);
    std::vector<std::uint32_t> sizes;
    for (const std::string& tile : tiles) sizes.push_back(static_cast<std::uint32_t>(tile.size()));
    std::vector<TiffTag> tags = image_tags(image, sizes);
    for (const TiffTag& tag : extra) {
        const bool known = std::any_of(
            tags.begin(), tags.end(), [&](const TiffTag& own) { return own.number == tag.number; });
        if (!known) tags.push_back(tag);
    }
    std::sort(tags.begin(), tags.end(),
              [](const TiffTag& a, const TiffTag& b) { return a.number < b.number; });

    // Values that do not fit their entry follow the directory, at even places.
    std::size_t end = head_size + 2 + tags.size() * entry_size + 4;
    std::vector<std::size_t> apart;
    for (std::size_t i = 0; i < tags.size(); ++i) {
        if (tags[i].bytes.size() > 4) apart.push_back(i);
    }
    // In the order GDAL's driver puts them: sizes and places of tiles, its text, the rest.
    const auto rank = [&](std::size_t i) {
        constexpr std::array<std::uint16_t, 3> first = {tile_sizes, tile_places, gdal_metadata};
        return std::find(first.begin(), first.end(), tags[i].number) - first.begin();
    };
    std::stable_sort(apart.begin(), apart.end(),
                     [&](std::size_t a, std::size_t b) { return rank(a) < rank(b); });
    std::vector<std::size_t> places(tags.size());
    for (const std::size_t i : apart) {
        places[i] = end;
        end += (tags[i].bytes.size() + 1) / 2 * 2;
    }
    std::vector<std::uint32_t> offsets;
    std::size_t total = end;
    for (const std::uint32_t size : sizes) {
        offsets.push_back(static_cast<std::uint32_t>(total));
        total += size;
    }
    if (total > UINT32_MAX)
        throw Error(ErrorKind::internal, "a raster is too large for a classic TIFF");
    for (TiffTag& tag : tags) {
        if (tag.number == tile_places) tag = long_tag(tile_places, offsets);
    }

    std::string file("II*\0", 4);
    file.reserve(total);
    append(file, static_cast<std::uint32_t>(head_size));
    append(file, static_cast<std::uint16_t>(tags.size()));
    for (std::size_t i = 0; i < tags.size(); ++i) {
        append(file, tags[i].number);
        append(file, tags[i].type);
        append(file, tags[i].count);
        if (tags[i].bytes.size() > 4) {
            append(file, static_cast<std::uint32_t>(places[i]));
        } else {
            file += tags[i].bytes;
            file.append(4 - tags[i].bytes.size(), '\0');
        }
    }
    append(file, std::uint32_t{0});  // no further directory
    for (const std::size_t i : apart) {
        file += tags[i].bytes;
        if (tags[i].bytes.size() % 2 == 1) file += '\0';
    }
    for (const std::string& tile : tiles) file += tile;
    return file;
}

}  // namespace catchfield::gis::detail
