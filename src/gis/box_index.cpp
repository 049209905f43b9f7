// SPDX-License-Identifier: MIT
#include "gis/box_index.hpp"

#include "base/error.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

namespace catchfield::gis {

namespace {

float at_most(double value) {
    const auto nearest = static_cast<float>(value);
    if (static_cast<double>(nearest) <= value) return nearest;
    return std::nextafter(nearest, -std::numeric_limits<float>::infinity());
}

}  // namespace

BoxIndex::Bounds BoxIndex::bounds_of(const Box& box) {
    return {at_most(box.min_x), at_most(box.min_y), -at_most(-box.max_x), -at_most(-box.max_y)};
}

BoxIndex::Bounds BoxIndex::joined(const Bounds& a, const Bounds& b) {
    return {std::min(a.min_x, b.min_x), std::min(a.min_y, b.min_y), std::max(a.max_x, b.max_x),
            std::max(a.max_y, b.max_y)};
}

bool BoxIndex::meet(const Bounds& a, const Bounds& b) {
    return a.min_x <= b.max_x && b.min_x <= a.max_x && a.min_y <= b.max_y && b.min_y <= a.max_y;
}

BoxIndex::BoxIndex(const std::vector<Box>& boxes) {
    if (boxes.size() > std::numeric_limits<std::uint32_t>::max())
        throw Error(ErrorKind::data, "too many boxes for an index");
    m_order.reserve(boxes.size());
    for (std::size_t i = 0; i < boxes.size(); ++i) {
        if (boxes[i].min_x <= boxes[i].max_x) m_order.push_back(static_cast<std::uint32_t>(i));
    }
    const auto by_x = [&](std::uint32_t a, std::uint32_t b) {
        return boxes[a].min_x + boxes[a].max_x < boxes[b].min_x + boxes[b].max_x;
    };
    const auto by_y = [&](std::uint32_t a, std::uint32_t b) {
        return boxes[a].min_y + boxes[a].max_y < boxes[b].min_y + boxes[b].max_y;
    };
    std::stable_sort(m_order.begin(), m_order.end(), by_x);
    const double leaves = std::ceil(static_cast<double>(m_order.size()) / fan);
    const std::size_t slice = fan * static_cast<std::size_t>(std::ceil(std::sqrt(leaves)));
    for (std::size_t begin = 0; begin < m_order.size(); begin += slice) {
        const std::size_t end = std::min(begin + slice, m_order.size());
        std::stable_sort(m_order.begin() + static_cast<std::ptrdiff_t>(begin),
                         m_order.begin() + static_cast<std::ptrdiff_t>(end), by_y);
    }
    m_levels.emplace_back();
    m_levels[0].reserve(m_order.size());
    for (const std::uint32_t i : m_order) m_levels[0].push_back(bounds_of(boxes[i]));
    while (m_levels.back().size() > fan) {
        const std::vector<Bounds>& below = m_levels.back();
        std::vector<Bounds> above;
        above.reserve(below.size() / fan + 1);
        for (std::size_t begin = 0; begin < below.size(); begin += fan) {
            Bounds box = below[begin];
            for (std::size_t i = begin; i < std::min(begin + fan, below.size()); ++i)
                box = joined(box, below[i]);
            above.push_back(box);
        }
        m_levels.push_back(std::move(above));
    }
}

void BoxIndex::visit(std::size_t level, std::size_t begin, std::size_t end, const Bounds& box,
                     std::vector<std::size_t>& found) const {
    for (std::size_t i = begin; i < std::min(end, m_levels[level].size()); ++i) {
        if (!meet(m_levels[level][i], box)) continue;
        if (level == 0) {
            found.push_back(m_order[i]);
        } else {
            visit(level - 1, i * fan, (i + 1) * fan, box, found);
        }
    }
}

std::vector<std::size_t> BoxIndex::query(const Box& box) const {
    std::vector<std::size_t> found;
    if (m_levels.empty()) return found;
    const std::size_t top = m_levels.size() - 1;
    visit(top, 0, m_levels[top].size(), bounds_of(box), found);
    std::sort(found.begin(), found.end());
    return found;
}

}  // namespace catchfield::gis
