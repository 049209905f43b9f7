// SPDX-License-Identifier: MIT
#include "gis/degree_grid.hpp"

#include "base/error.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace catchfield::gis {

DegreesPerMetre degrees_per_metre(double latitude) {
    constexpr double a = 6378137.0;
    constexpr double f = 1.0 / 298.257223563;
    constexpr double e2 = f * (2.0 - f);
    const double phi = latitude * std::numbers::pi / 180.0;
    const double w2 = 1.0 - e2 * std::sin(phi) * std::sin(phi);
    const double meridional = a * (1.0 - e2) / (w2 * std::sqrt(w2));
    const double prime_vertical = a / std::sqrt(w2);
    const double degree = 180.0 / std::numbers::pi;
    return {degree / meridional, degree / (prime_vertical * std::cos(phi))};
}

DegreeGrid degree_grid(const Mask& mask, const Crs& crs, double cell_m) {
    const GridFrame& frame = mask.frame;
    int first_row = frame.rows, last_row = -1, first_col = frame.cols, last_col = -1;
    for (int row = 0; row < frame.rows; ++row) {
        for (int col = 0; col < frame.cols; ++col) {
            if (mask.at(row, col) == 0) continue;
            first_row = std::min(first_row, row);
            last_row = std::max(last_row, row);
            first_col = std::min(first_col, col);
            last_col = std::max(last_col, col);
        }
    }
    if (last_row < 0) {
        first_row = first_col = 0;
        last_row = frame.rows - 1;
        last_col = frame.cols - 1;
    }
    const Box extent{frame.west + first_col * frame.cell, frame.north - (last_row + 1) * frame.cell,
                     frame.west + (last_col + 1) * frame.cell,
                     frame.north - first_row * frame.cell};
    Box box = transformer(crs, Crs::wgs84()).apply(extent);
    if (box.min_x > box.max_x) box.max_x += 360.0;
    const double side = cell_m > 0.0 ? cell_m : frame.cell;
    const DegreesPerMetre per_m = degrees_per_metre(0.5 * (box.min_y + box.max_y));
    DegreeGrid grid;
    // Whole multiples of 1e-9 (1e-12) degrees print exactly in the file.
    grid.cell_lat = std::round(side * per_m.lat * 1e12) * 1e-12;
    grid.cell_lon = std::round(side * per_m.lon * 1e12) * 1e-12;
    grid.south = std::floor(box.min_y * 1e9) / 1e9;
    grid.west = std::floor(box.min_x * 1e9) / 1e9;
    const double rows = std::ceil((box.max_y - grid.south) / grid.cell_lat - 1e-6);
    const double cols = std::ceil((box.max_x - grid.west) / grid.cell_lon - 1e-6);
    if (!(rows * cols <= 5.0e7)) {
        throw Error(ErrorKind::data,
                    "a grid of degrees over this field would have more than 50 million cells",
                    {.hint = "Choose a larger cell."});
    }
    grid.rows = std::max(1, static_cast<int>(rows));
    grid.cols = std::max(1, static_cast<int>(cols));
    return grid;
}

std::vector<std::ptrdiff_t> nearest_cells(const DegreeGrid& grid, const GridFrame& frame,
                                          const Crs& crs) {
    std::vector<std::ptrdiff_t> cells(grid.size(), -1);
    const Transformer& move = transformer(Crs::wgs84(), crs);
    const auto width = static_cast<std::size_t>(grid.cols);
    std::vector<double> x(width);
    std::vector<double> y(width);
    for (int row = 0; row < grid.rows; ++row) {
        for (int col = 0; col < grid.cols; ++col) {
            const Point centre = grid.centre(row, col);
            x[static_cast<std::size_t>(col)] = centre.x;
            y[static_cast<std::size_t>(col)] = centre.y;
        }
        move.apply_unchecked(x.data(), y.data(), width);
        for (std::size_t i = 0; i < width; ++i) {
            const double col = std::floor((x[i] - frame.west) / frame.cell);
            const double at_row = std::floor((frame.north - y[i]) / frame.cell);
            if (col >= 0.0 && col < frame.cols && at_row >= 0.0 && at_row < frame.rows) {
                cells[static_cast<std::size_t>(row) * width + i] = static_cast<std::ptrdiff_t>(
                    frame.index(static_cast<int>(at_row), static_cast<int>(col)));
            }
        }
    }
    return cells;
}

}  // namespace catchfield::gis
