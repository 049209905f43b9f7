// SPDX-License-Identifier: MIT
// Tiled TIFF files of one band made by libtiff in memory: what GDAL's driver writes, without its
// cost for small rasters.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

namespace catchfield::gis::detail {

/// How hard DEFLATE tries, of 1 to 9. Rasters of a plan are 2 % larger than at 6, its usual level,
/// and packed in about half the time.
inline constexpr int deflate_level = 1;

/// Tells libtiff of the fields below. Once, before any thread opens a TIFF and after GDAL told it
/// of its own; gis::start does so.
void register_tiff_fields();

/// How a GeoTIFF states its CRS: GeoTIFF 1.1 keys (OGC 19-008) and the two lists they point into.
struct CrsKeys {
    std::vector<std::uint16_t> keys;
    std::vector<double> doubles;
    std::string text;

    bool operator==(const CrsKeys&) const = default;
};

/// What GDAL's GTiff driver says about CRS, nodata, unit and description: keys and GDAL's own two
/// texts.
struct DescribingTags {
    CrsKeys crs;
    std::string metadata;
    std::string nodata;
};

/// Those of the first directory of a file in memory. Throws Error(internal) where it is no TIFF.
DescribingTags describing_tags(std::string file);

enum class TiffSample { byte, uint16, float32 };

/// Pixels by rows from the north.
struct TiffImage {
    int cols = 0;
    int rows = 0;
    int tile_cols = 0;  ///< multiples of 16
    int tile_rows = 0;
    TiffSample sample = TiffSample::float32;
    const void* pixels = nullptr;
    double west = 0.0;  ///< outer corner, units of the CRS
    double north = 0.0;
    double cell_x = 0.0;
    double cell_y = 0.0;  ///< positive
};

/// One band, tiles in DEFLATE with the predictor of its kind (horizontal differences, floating
/// point), tiles filled up with zeros at the right and lower edge. Throws Error(internal).
std::string tiled_tiff(const TiffImage& image, const DescribingTags& tags);

}  // namespace catchfield::gis::detail
