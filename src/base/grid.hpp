// SPDX-License-Identifier: MIT
// A north-up grid of square cells in a projected CRS: where cells are, and nothing else.
#pragma once

#include <cstddef>

namespace catchfield {

/// Grid of square cells. Row 0 is the northernmost, column 0 the westernmost.
struct GridFrame {
    double west = 0.0;   ///< easting of the left edge, m
    double north = 0.0;  ///< northing of the upper edge, m
    double cell = 1.0;   ///< side of a cell, m
    int cols = 0;
    int rows = 0;

    std::size_t size() const {
        return static_cast<std::size_t>(cols) * static_cast<std::size_t>(rows);
    }
    std::size_t index(int row, int col) const {
        return static_cast<std::size_t>(row) * static_cast<std::size_t>(cols) +
               static_cast<std::size_t>(col);
    }
    bool contains(int row, int col) const {
        return row >= 0 && row < rows && col >= 0 && col < cols;
    }
    double x_centre(int col) const { return west + (col + 0.5) * cell; }
    double y_centre(int row) const { return north - (row + 0.5) * cell; }
    double east() const { return west + cols * cell; }
    double south() const { return north - rows * cell; }
    double cell_area_m2() const { return cell * cell; }
    double cell_area_ha() const { return cell * cell * 1e-4; }

    bool operator==(const GridFrame&) const = default;
};

/// The frame that covers [min_x, max_x] x [min_y, max_y] with edges at whole multiples of the cell,
/// so that neighbouring fields share one lattice. `margin_cells` are added on every side.
/// Throws Error(data) where the box is empty or not finite, the cell is not positive, or the grid
/// would have more than `max_cells` cells.
GridFrame snapped_frame(double min_x, double min_y, double max_x, double max_y, double cell,
                        int margin_cells = 0, std::size_t max_cells = 400'000'000);

}  // namespace catchfield
