// SPDX-License-Identifier: MIT
// The working grid of slope and flow: elevations and flags with a border of one cell, so that
// inner loops need no bounds checks. Internal.
#pragma once

#include "base/raster.hpp"
#include "terrain/slope.hpp"

#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <vector>

namespace catchfield::terrain {

/// Neighbours clockwise from east; odd ones are diagonal.
inline constexpr std::array<int, 8> row_step = {0, 1, 1, 1, 0, -1, -1, -1};
inline constexpr std::array<int, 8> col_step = {1, 1, 0, -1, -1, -1, 0, 1};
inline constexpr std::uint8_t opposite(int k) {
    return static_cast<std::uint8_t>(k ^ 4);
}

/// What is known of a cell, in one byte. For cells of the domain the three lowest bits hold the
/// neighbour that flooded it.
namespace flag {
inline constexpr std::uint8_t direction = 0x07;
inline constexpr std::uint8_t flat = 0x10;           ///< no lower neighbour after filling
inline constexpr std::uint8_t done = 0x20;           ///< settled by the flood
inline constexpr std::uint8_t edge = 0x40;           ///< has a neighbour outside the domain
inline constexpr std::uint8_t inside = 0x80;         ///< cell of the domain
inline constexpr std::uint8_t known_outside = 0x01;  ///< outside the domain, but with elevation
}  // namespace flag

struct Ground {
    GridFrame frame;
    std::size_t stride = 0;
    std::array<std::ptrdiff_t, 8> step{};  ///< to the neighbours
    std::vector<float> z;                  ///< m; 0 where not known
    std::vector<std::uint8_t> flags;

    std::size_t position(int row, int col) const {
        return static_cast<std::size_t>(row + 1) * stride + static_cast<std::size_t>(col + 1);
    }
    std::size_t neighbour(std::size_t p, int k) const {
        return p + static_cast<std::size_t>(step[static_cast<std::size_t>(k)]);
    }
    bool is_inside(std::size_t p) const { return (flags[p] & flag::inside) != 0; }
    bool is_known(std::size_t p) const {
        return (flags[p] & (flag::inside | flag::known_outside)) != 0;
    }
};

/// domain: cells to route over, null for none of them (slope only). A cell of the domain has to be
/// known; `blocked` cells are taken out of the domain.
Ground make_ground(const Raster<float>& dem_m, const Mask* known, const Mask* domain,
                   const Mask* blocked = nullptr);

/// Horn's plane through the centre, fitted to the neighbours that are known.
std::optional<Gradient> fit_gradient(const Ground& ground, std::size_t p);

/// Horn's gradient where all eight neighbours are known. `z` points at the cell.
inline Gradient full_gradient(const float* z, std::ptrdiff_t stride, float eighth_per_m) {
    const float* up = z - stride;
    const float* down = z + stride;
    const float east = (up[1] - up[-1]) + 2.0F * (z[1] - z[-1]) + (down[1] - down[-1]);
    const float north = (up[-1] - down[-1]) + 2.0F * (up[0] - down[0]) + (up[1] - down[1]);
    return {east * eighth_per_m, north * eighth_per_m};
}

/// Gradients of one row into `out` (frame.cols values); `valid[col]` is 0 where there is none.
void gradient_row(const Ground& ground, int row, Gradient* out, std::uint8_t* valid);

}  // namespace catchfield::terrain
