// SPDX-License-Identifier: MIT
// Loops over rows, in parallel only where the grid is large. Internal.
#pragma once

#include <cstddef>
#include <oneapi/tbb/blocked_range.h>
#include <oneapi/tbb/parallel_for.h>

namespace catchfield::terrain {

/// Below this many cells a loop is faster on one core than handing it out.
inline constexpr std::size_t parallel_cells = 200'000;

/// Calls body(first_row, end_row) for pieces that cover [0, rows). The pieces differ from run to
/// run, so a body must treat every row by itself.
template <typename Body>
void for_rows(int rows, int cols, const Body& body) {
    if (static_cast<std::size_t>(rows) * static_cast<std::size_t>(cols) < parallel_cells) {
        body(0, rows);
        return;
    }
    oneapi::tbb::parallel_for(oneapi::tbb::blocked_range<int>(0, rows, 16),
                              [&body](const oneapi::tbb::blocked_range<int>& range) {
                                  body(range.begin(), range.end());
                              });
}

}  // namespace catchfield::terrain
