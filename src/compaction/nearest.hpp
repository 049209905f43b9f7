// SPDX-License-Identifier: MIT
// A k-d tree over fixed points for the nearest few; ties go to the lower index, so that answers do
// not depend on how the tree was built.
#pragma once

#include "base/shapes.hpp"

#include <cstddef>
#include <cstdint>
#include <vector>

namespace catchfield::compaction {

/// A point found, with its squared distance in m2.
struct Neighbour {
    double distance2 = 0.0;
    std::uint32_t index = 0;

    bool operator<(const Neighbour& other) const {
        return distance2 != other.distance2 ? distance2 < other.distance2 : index < other.index;
    }
};

class NearestPoints {
  public:
    explicit NearestPoints(std::vector<Point> points);

    /// The `count` nearest of the points (all where there are fewer), nearest first, into `found`.
    void nearest(Point target, std::size_t count, std::vector<Neighbour>& found) const;

  private:
    /// A node covers m_order[first, last); leaves have no children.
    struct Node {
        std::uint32_t first = 0, last = 0;
        std::uint32_t left = 0, right = 0;
        double split = 0.0;
        bool by_x = true;
        bool leaf = true;
    };
    std::uint32_t build(std::uint32_t first, std::uint32_t last);
    void search(std::uint32_t node, Point target, std::size_t count,
                std::vector<Neighbour>& found) const;

    std::vector<Point> m_points;
    std::vector<std::uint32_t> m_order;
    std::vector<Node> m_nodes;
};

}  // namespace catchfield::compaction
