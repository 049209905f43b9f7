// SPDX-License-Identifier: MIT
// Values on a grid. Plain arrays; whether a cell has a value is said by a mask, never by NaN.
#pragma once

#include "base/grid.hpp"

#include <cstdint>
#include <utility>
#include <vector>

namespace catchfield {

/// Row-major values, row 0 northernmost. `values.size() == frame.size()`.
template <typename T>
struct Raster {
    GridFrame frame;
    std::vector<T> values;

    Raster() = default;
    explicit Raster(const GridFrame& f, T fill = T()) : frame(f), values(f.size(), fill) {}
    Raster(const GridFrame& f, std::vector<T> v) : frame(f), values(std::move(v)) {}

    T& at(int row, int col) { return values[frame.index(row, col)]; }
    const T& at(int row, int col) const { return values[frame.index(row, col)]; }
    T& operator[](std::size_t i) { return values[i]; }
    const T& operator[](std::size_t i) const { return values[i]; }
    std::size_t size() const { return values.size(); }
};

/// 1 where a cell counts, 0 where it does not.
using Mask = Raster<std::uint8_t>;

}  // namespace catchfield
