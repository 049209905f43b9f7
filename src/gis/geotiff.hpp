// SPDX-License-Identifier: MIT
// GeoTIFF bytes from rasters: the same bytes for the same values, everywhere.
#pragma once

#include "base/raster.hpp"
#include "gis/crs.hpp"
#include "gis/degree_grid.hpp"

#include <cstdint>
#include <optional>
#include <string>

namespace catchfield::gis {

enum class TiffLayout {
    tiled,  ///< DEFLATE, 256 x 256 tiles, floating-point predictor
    cog,    ///< cloud-optimised: tiles of 512 with overviews (average for quantities, nearest for
            ///< classes)
    plain,  ///< uncompressed strips, for old readers
};

struct TiffOptions {
    std::string description{};  ///< band description: "nitrogen_rate"
    std::string unit{};         ///< band unit: "kg/ha"
    TiffLayout layout = TiffLayout::tiled;
};

/// Nodata value of quantities written; zones use 0.
inline constexpr float tiff_nodata = -9999.0F;

/// Float32, one band, nodata -9999 where `valid` is 0, PixelIsArea, north up. T: float or double.
/// Throws Error(internal) where the sizes differ or a valid value is not finite or is the nodata
/// value.
template <typename T>
std::string geotiff_bytes(const Raster<T>& values, const Mask& valid, const Crs& crs,
                          const TiffOptions& options = {});

/// Classes 1..n, nodata 0: Byte where all are below 256, else UInt16. T: std::uint8_t,
/// std::uint16_t or int. Throws Error(internal) for values outside 0..65535.
template <typename T>
std::string class_geotiff_bytes(const Raster<T>& classes, const Crs& crs,
                                const TiffOptions& options = {});

/// The nodata value a GeoTIFF states, read from its directory alone; nothing where it states none.
/// Throws Error(input) where the file cannot be read, Error(internal) where it is no TIFF.
std::optional<double> nodata_of_geotiff(const std::string& path);

/// As geotiff_bytes in WGS 84 degrees, from values on a degree grid (see sample_nearest).
std::string geotiff_bytes(const DegreeRaster<float>& values,
                          const DegreeRaster<std::uint8_t>& valid, const TiffOptions& options = {});

}  // namespace catchfield::gis
