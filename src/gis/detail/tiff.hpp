// SPDX-License-Identifier: MIT
// Tiled TIFF files of one band, put together in memory: what GDAL's driver writes, without its cost
// for small rasters.
#pragma once

#include <cstddef>
#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

namespace catchfield::gis::detail {

/// One entry of a directory; `bytes` are its values, little-endian (TIFF 6.0, section 2).
struct TiffTag {
    std::uint16_t number = 0;
    std::uint16_t type = 0;
    std::uint32_t count = 0;
    std::string bytes;
};

/// Entries of the first directory of a classic little-endian file. Throws Error(internal) for
/// anything else.
std::vector<TiffTag> tiff_tags(std::string_view file);

enum class TiffSample { byte, uint16, float32 };

/// Pixels by rows from the north.
struct TiffImage {
    int cols = 0;
    int rows = 0;
    int tile_cols = 0;  ///< multiples of 16
    int tile_rows = 0;
    TiffSample sample = TiffSample::float32;
    const void* pixels = nullptr;
};

/// Offsets have 32 bits: images of more bytes than this need another
/// writer.
inline constexpr std::size_t most_tiff_bytes = std::size_t{3} << 30;

/// Classic little-endian TIFF: one band, tiles in DEFLATE with the predictor of its kind
/// (horizontal differences, floating point), tiles filled up with zeros at the right and lower
/// edge. extra: entries besides those that describe the image; entries that do are left
/// out of it. Large images are packed on several threads; the bytes do not depend on them.
std::string tiled_tiff(const TiffImage& image, const std::vector<TiffTag>& extra);

}  // namespace catchfield::gis::detail
