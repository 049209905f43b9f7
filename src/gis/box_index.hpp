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
/// Bounds are kept in single precision, rounded outwards.
class BoxIndex {
  public:
    BoxIndex() = default;
    /// Boxes with min > max are never found. Throws Error(data) for more than 2^32 boxes.
    explicit BoxIndex(const std::vector<Box>& boxes);
    /// Positions, ascending, of the boxes that meet `box`; also of one that misses it by less than
    /// a quarter of a millionth of its coordinates.
    std::vector<std::size_t> query(const Box& box) const;

  private:
    struct Bounds {
        float min_x, min_y, max_x, max_y;
    };
    static constexpr std::size_t fan = 8;
    static Bounds bounds_of(const Box& box);
    static Bounds joined(const Bounds& a, const Bounds& b);
    static bool meet(const Bounds& a, const Bounds& b);
    void visit(std::size_t level, std::size_t begin, std::size_t end, const Bounds& box,
               std::vector<std::size_t>& found) const;

    std::vector<std::uint32_t> m_order;         // positions in tree order
    std::vector<std::vector<Bounds>> m_levels;  // m_levels[0]: boxes in m_order; each next: joined
};

}  // namespace catchfield::gis
