// SPDX-License-Identifier: MIT
// Analytic surfaces and masks for the terrain tests.
#pragma once

#include "base/random.hpp"
#include "base/raster.hpp"

#include <cmath>

namespace catchfield::terrain::testing {

inline GridFrame frame_of(int rows, int cols, double cell_m, double west = 500000.0,
                          double north = 4500000.0) {
    return {west, north, cell_m, cols, rows};
}

/// z(x, y) at the cell centres, x east and y north of the grid's middle, m.
template <typename Surface>
Raster<float> surface(const GridFrame& frame, const Surface& z) {
    Raster<float> dem(frame);
    for (int row = 0; row < frame.rows; ++row) {
        for (int col = 0; col < frame.cols; ++col) {
            const double x = (col + 0.5 - 0.5 * frame.cols) * frame.cell;
            const double y = (0.5 * frame.rows - row - 0.5) * frame.cell;
            dem.at(row, col) = static_cast<float>(z(x, y));
        }
    }
    return dem;
}

template <typename Inside>
Mask mask_where(const GridFrame& frame, const Inside& inside) {
    const Raster<float> values =
        surface(frame, [&](double x, double y) { return inside(x, y) ? 1.0 : 0.0; });
    Mask mask(frame);
    for (std::size_t i = 0; i < mask.size(); ++i) mask[i] = values[i] > 0.5F ? 1 : 0;
    return mask;
}

inline Mask everywhere(const GridFrame& frame) {
    return Mask(frame, 1);
}

/// Smooth hills of several wavelengths plus noise: pits, flats, channels.
inline Raster<float> rough_ground(const GridFrame& frame, std::uint64_t seed, double noise_m) {
    Random random(seed);
    double phase[8];
    for (double& p : phase) p = random.uniform(0.0, 6.28);
    Raster<float> dem = surface(frame, [&](double x, double y) {
        return 200.0 + 0.01 * y +
               3.0 * std::sin(x / 90.0 + phase[0]) * std::cos(y / 70.0 + phase[1]) +
               1.2 * std::sin((x + y) / 40.0 + phase[2]) +
               0.5 * std::cos((x - 2 * y) / 21.0 + phase[3]);
    });
    for (float& z : dem.values) z += static_cast<float>(noise_m * random.normal());
    return dem;
}

}  // namespace catchfield::terrain::testing
