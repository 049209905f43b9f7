// SPDX-License-Identifier: MIT
// k-d tree with median splits along the longer side (Bentley 1975, Commun. ACM 18:509-517).
#include "compaction/nearest.hpp"

#include <algorithm>
#include <numeric>
#include <utility>

namespace catchfield::compaction {

namespace {
constexpr std::uint32_t leaf_size = 8;
}

NearestPoints::NearestPoints(std::vector<Point> points)
    : m_points(std::move(points)), m_order(m_points.size()) {
    std::iota(m_order.begin(), m_order.end(), 0U);
    if (!m_points.empty()) build(0, static_cast<std::uint32_t>(m_points.size()));
}

std::uint32_t NearestPoints::build(std::uint32_t first, std::uint32_t last) {
    const auto at = static_cast<std::uint32_t>(m_nodes.size());
    m_nodes.push_back({.first = first, .last = last});
    if (last - first <= leaf_size) return at;
    Box box{m_points[m_order[first]].x, m_points[m_order[first]].y, m_points[m_order[first]].x,
            m_points[m_order[first]].y};
    for (std::uint32_t i = first; i < last; ++i) {
        const Point& p = m_points[m_order[i]];
        box = {std::min(box.min_x, p.x), std::min(box.min_y, p.y), std::max(box.max_x, p.x),
               std::max(box.max_y, p.y)};
    }
    const bool by_x = box.max_x - box.min_x >= box.max_y - box.min_y;
    const std::uint32_t middle = first + (last - first) / 2;
    const auto begin = m_order.begin();
    std::nth_element(begin + first, begin + middle, begin + last,
                     [this, by_x](std::uint32_t a, std::uint32_t b) {
                         const double va = by_x ? m_points[a].x : m_points[a].y;
                         const double vb = by_x ? m_points[b].x : m_points[b].y;
                         return va != vb ? va < vb : a < b;
                     });
    const Point& pivot = m_points[m_order[middle]];
    const std::uint32_t left = build(first, middle);
    const std::uint32_t right = build(middle, last);
    Node& node = m_nodes[at];
    node.left = left;
    node.right = right;
    node.split = by_x ? pivot.x : pivot.y;
    node.by_x = by_x;
    node.leaf = false;
    return at;
}

void NearestPoints::nearest(Point target, std::size_t count, std::vector<Neighbour>& found) const {
    found.clear();
    if (!m_nodes.empty() && count > 0) search(0, target, count, found);
}

void NearestPoints::search(std::uint32_t at, Point target, std::size_t count,
                           std::vector<Neighbour>& found) const {
    const Node& node = m_nodes[at];
    if (node.leaf) {
        for (std::uint32_t i = node.first; i < node.last; ++i) {
            const std::uint32_t index = m_order[i];
            const double dx = m_points[index].x - target.x;
            const double dy = m_points[index].y - target.y;
            const Neighbour candidate{dx * dx + dy * dy, index};
            if (found.size() == count) {
                if (!(candidate < found.back())) continue;
                found.pop_back();
            }
            found.insert(std::upper_bound(found.begin(), found.end(), candidate), candidate);
        }
        return;
    }
    const double off = (node.by_x ? target.x : target.y) - node.split;
    search(off < 0.0 ? node.left : node.right, target, count, found);
    // Not strictly farther: an equal distance may hide a lower index.
    if (found.size() < count || off * off <= found.back().distance2)
        search(off < 0.0 ? node.right : node.left, target, count, found);
}

}  // namespace catchfield::compaction
