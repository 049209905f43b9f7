// SPDX-License-Identifier: MIT
// Which of many boxes meet a box.
#pragma once

#include "base/shapes.hpp"

#include <cstddef>
#include <cstdint>
#include <vector>

namespace catchfield::gis {

/// Sort-tile-recursive packed tree (Leutenegger, Lopez & Edgington 1997, ICDE): boxes of `fan`
/// neighbours are joined level by level. Immutable; queries may run from any number of threads.
class BoxIndex {
  public:
    BoxIndex() = default;
    /// Boxes with min > max are never found. Throws Error(data) for more than 2^32 boxes.
    explicit BoxIndex(const std::vector<Box>& boxes);
    /// Positions of the boxes that meet `box`, ascending.
    std::vector<std::size_t> query(const Box& box) const;

  private:
    static constexpr std::size_t fan = 8;
    void visit(std::size_t level, std::size_t begin, std::size_t end, const Box& box,
               std::vector<std::size_t>& found) const;

    std::vector<std::uint32_t> m_order;      // positions in tree order
    std::vector<std::vector<Box>> m_levels;  // m_levels[0]: boxes in m_order; each next: joined
};

}  // namespace catchfield::gis
