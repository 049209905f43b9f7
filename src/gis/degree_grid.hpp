// SPDX-License-Identifier: MIT
// Grids in WGS 84 degrees, as machines take them, filled from the work grid by nearest cell.
#pragma once

#include "base/raster.hpp"
#include "gis/crs.hpp"

#include <cstddef>
#include <vector>

namespace catchfield::gis {

/// Row 0 is the SOUTHERNMOST, column 0 the westernmost (the order of ISO 11783-10 grids).
struct DegreeGrid {
    double south = 0.0;     ///< latitude of the lower edge
    double west = 0.0;      ///< longitude of the left edge
    double cell_lat = 0.0;  ///< degrees
    double cell_lon = 0.0;  ///< degrees
    int rows = 0;
    int cols = 0;

    std::size_t size() const {
        return static_cast<std::size_t>(rows) * static_cast<std::size_t>(cols);
    }
    std::size_t index(int row, int col) const {
        return static_cast<std::size_t>(row) * static_cast<std::size_t>(cols) +
               static_cast<std::size_t>(col);
    }
    Point centre(int row, int col) const {
        return {west + (col + 0.5) * cell_lon, south + (row + 0.5) * cell_lat};
    }
    bool operator==(const DegreeGrid&) const = default;
};

template <typename T>
struct DegreeRaster {
    DegreeGrid grid;
    std::vector<T> values;
};

/// Degrees of latitude and longitude to a metre at a latitude, from the WGS 84 ellipsoid's
/// meridional and prime-vertical radii of curvature (Snyder 1987, USGS PP 1395, eq. 4-18, 4-20).
struct DegreesPerMetre {
    double lat = 0.0;
    double lon = 0.0;
};
DegreesPerMetre degrees_per_metre(double latitude);

/// The degree grid that covers the cells of `mask` that count (or the whole frame where none do),
/// with cells of `cell_m` metres (0: the frame's own cell) at the centre's latitude. South and west
/// edges are whole multiples of 1e-9 degrees, so that they print exactly. A grid over the
/// antimeridian has columns beyond 180. Throws Error(data) for more than 50 million cells.
DegreeGrid degree_grid(const Mask& mask, const Crs& crs, double cell_m = 0.0);

/// For each cell of the grid, the index of the frame's cell its centre lies in, or -1 outside.
/// Every centre is transformed exactly.
std::vector<std::ptrdiff_t> nearest_cells(const DegreeGrid& grid, const GridFrame& frame,
                                          const Crs& crs);

}  // namespace catchfield::gis
