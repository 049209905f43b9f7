// SPDX-License-Identifier: MIT
#include "base/grid.hpp"

#include "base/error.hpp"
#include "base/text.hpp"

#include <cmath>

namespace catchfield {

GridFrame snapped_frame(double min_x, double min_y, double max_x, double max_y, double cell,
                        int margin_cells, std::size_t max_cells) {
    const bool finite = std::isfinite(min_x) && std::isfinite(min_y) && std::isfinite(max_x) &&
                        std::isfinite(max_y) && std::isfinite(cell);
    if (!finite || !(cell > 0.0) || max_x < min_x || max_y < min_y) {
        throw Error(ErrorKind::data, "the extent or the cell size is not usable",
                    {.hint = "Check the boundary's coordinates and the terrain resolution."});
    }
    const double left = std::floor(min_x / cell) - margin_cells;
    const double right = std::ceil(max_x / cell) + margin_cells;
    const double bottom = std::floor(min_y / cell) - margin_cells;
    const double top = std::ceil(max_y / cell) + margin_cells;
    const double cols = std::max(right - left, 1.0);
    const double rows = std::max(top - bottom, 1.0);
    if (cols * rows > static_cast<double>(max_cells) || cols > 1e6 || rows > 1e6) {
        throw Error(ErrorKind::data,
                    "a grid of " + fixed(cols, 0) + " x " + fixed(rows, 0) +
                        " cells is larger than the limit",
                    {.hint = "Use a coarser resolution, or split the field."});
    }
    return {left * cell, top * cell, cell, static_cast<int>(cols), static_cast<int>(rows)};
}

}  // namespace catchfield
