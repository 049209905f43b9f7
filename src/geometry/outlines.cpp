// SPDX-License-Identifier: MIT
#include "geometry/outlines.hpp"

#include "base/error.hpp"
#include "base/text.hpp"
#include "geometry/cells.hpp"
#include "geometry/geos.hpp"
#include "geometry/overlay.hpp"
#include "geometry/validity.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdint>
#include <limits>
#include <map>
#include <optional>
#include <queue>
#include <set>
#include <tuple>
#include <utility>

namespace catchfield::geometry {

namespace {

// ---- Labels on a window that reaches past the boundary ------------------------------------------

/// Labels over the boundary and two cells beyond it; 0 elsewhere.
struct Window {
    GridFrame frame;
    std::vector<int> label;

    int at(int row, int col) const {
        return frame.contains(row, col) ? label[frame.index(row, col)] : 0;
    }
};

GridFrame window_frame(const GridFrame& frame, const Box& box) {
    constexpr int margin = 3;
    const double col0 = std::floor((box.min_x - frame.west) / frame.cell) - margin;
    const double col1 = std::ceil((box.max_x - frame.west) / frame.cell) + margin;
    const double row0 = std::floor((frame.north - box.max_y) / frame.cell) - margin;
    const double row1 = std::ceil((frame.north - box.min_y) / frame.cell) + margin;
    const double cells = (col1 - col0) * (row1 - row0);
    // A boundary far larger than its grid is a mix-up of fields, not a field with missing cells.
    if (cells > 16.0 * static_cast<double>(frame.size()) + 1e5) {
        throw Error(ErrorKind::data, "the grid covers only a small part of the boundary's extent",
                    {.hint = "Check that grid and boundary belong to the same field."});
    }
    return {frame.west + col0 * frame.cell, frame.north - row0 * frame.cell, frame.cell,
            static_cast<int>(col1 - col0), static_cast<int>(row1 - row0)};
}

/// 1 on cells that hold some of the boundary and two cells around them.
std::vector<std::uint8_t> near_cells(const MultiPolygon& boundary, const GridFrame& frame) {
    std::vector<std::uint8_t> near(frame.size(), 0);
    for (const CellShare& cell : covered_cells(boundary, frame)) near[cell.cell] = 1;
    // The margin of the window is wider than the two steps, so indices stay inside.
    const auto grow = [&](std::ptrdiff_t step) {
        for (int pass = 0; pass < 2; ++pass) {
            std::vector<std::uint8_t> wider = near;
            const auto size = static_cast<std::ptrdiff_t>(near.size());
            for (std::ptrdiff_t i = step; i < size - step; ++i) {
                wider[static_cast<std::size_t>(i)] = near[static_cast<std::size_t>(i)] |
                                                     near[static_cast<std::size_t>(i - step)] |
                                                     near[static_cast<std::size_t>(i + step)];
            }
            near.swap(wider);
        }
    };
    grow(1);
    grow(frame.cols);
    return near;
}

/// Hands the nearest label on to cells without one, wave by wave over eight neighbours; among the
/// sources a cell's neighbours know, the nearest wins, then the lower label. Cells where `allowed`
/// is 0 neither get nor pass on a label.
void spread_labels(Window& window, const std::vector<std::uint8_t>& allowed) {
    const GridFrame& frame = window.frame;
    struct Source {
        int row = 0, col = 0;
    };
    std::vector<Source> source(frame.size());
    for (int row = 0; row < frame.rows; ++row) {
        for (int col = 0; col < frame.cols; ++col) source[frame.index(row, col)] = {row, col};
    }
    const auto for_each_neighbour = [&](std::size_t i, auto visit) {
        const int row = static_cast<int>(i / static_cast<std::size_t>(frame.cols));
        const int col = static_cast<int>(i % static_cast<std::size_t>(frame.cols));
        for (int r = row - 1; r <= row + 1; ++r) {
            for (int c = col - 1; c <= col + 1; ++c) {
                if ((r != row || c != col) && frame.contains(r, c)) visit(frame.index(r, c));
            }
        }
    };
    const auto waits = [&](std::size_t i) { return window.label[i] <= 0 && allowed[i]; };
    std::vector<std::uint8_t> queued(frame.size(), 0);
    std::vector<std::size_t> wave;
    for (std::size_t i = 0; i < frame.size(); ++i) {
        if (!waits(i)) continue;
        for_each_neighbour(i, [&](std::size_t j) {
            if (window.label[j] <= 0 || !allowed[j] || queued[i]) return;
            queued[i] = 1;
            wave.push_back(i);
        });
    }
    while (!wave.empty()) {
        std::vector<std::pair<int, Source>> chosen;
        chosen.reserve(wave.size());
        for (const std::size_t j : wave) {
            const int row = static_cast<int>(j / static_cast<std::size_t>(frame.cols));
            const int col = static_cast<int>(j % static_cast<std::size_t>(frame.cols));
            int best_label = 0;
            Source best;
            long long best2 = std::numeric_limits<long long>::max();
            for_each_neighbour(j, [&](std::size_t i) {
                if (window.label[i] <= 0 || !allowed[i]) return;
                const long long dr = source[i].row - row;
                const long long dc = source[i].col - col;
                const long long d2 = dr * dr + dc * dc;
                if (d2 < best2 || (d2 == best2 && window.label[i] < best_label)) {
                    best2 = d2;
                    best_label = window.label[i];
                    best = source[i];
                }
            });
            chosen.emplace_back(best_label, best);
        }
        for (std::size_t k = 0; k < wave.size(); ++k) {
            window.label[wave[k]] = chosen[k].first;
            source[wave[k]] = chosen[k].second;
        }
        std::vector<std::size_t> next;
        for (const std::size_t i : wave) {
            for_each_neighbour(i, [&](std::size_t j) {
                if (queued[j] || !waits(j)) return;
                queued[j] = 1;
                next.push_back(j);
            });
        }
        wave.swap(next);
    }
}

Window make_window(const Raster<int>& labels, const MultiPolygon& boundary) {
    Window window;
    window.frame = window_frame(labels.frame, bounds(boundary));
    window.label.assign(window.frame.size(), 0);
    const int col0 =
        static_cast<int>(std::lround((window.frame.west - labels.frame.west) / labels.frame.cell));
    const int row0 = static_cast<int>(
        std::lround((labels.frame.north - window.frame.north) / labels.frame.cell));
    const std::vector<std::uint8_t> near = near_cells(boundary, window.frame);
    if (std::find(near.begin(), near.end(), 1) == near.end()) {
        throw Error(ErrorKind::data, "the boundary encloses no ground",
                    {.hint = "Draw it again, or leave the field out."});
    }
    bool any = false;
    bool any_near = false;
    for (int row = 0; row < window.frame.rows; ++row) {
        for (int col = 0; col < window.frame.cols; ++col) {
            if (!labels.frame.contains(row0 + row, col0 + col)) continue;
            const int label = labels.at(row0 + row, col0 + col);
            if (label <= 0) continue;
            const std::size_t i = window.frame.index(row, col);
            window.label[i] = label;
            any = true;
            any_near = any_near || near[i] != 0;
        }
    }
    if (!any) {
        throw Error(ErrorKind::data, "no cell inside the boundary's extent belongs to a zone",
                    {.hint = "Check that grid and boundary belong to the same field."});
    }
    if (any_near) spread_labels(window, near);
    bool all = true;
    for (std::size_t i = 0; i < near.size(); ++i) all = all && (!near[i] || window.label[i] > 0);
    // A part of the field without any label of its own: across the ground between the parts.
    if (!all) spread_labels(window, std::vector<std::uint8_t>(window.frame.size(), 1));
    for (std::size_t i = 0; i < near.size(); ++i) {
        if (!near[i]) window.label[i] = 0;
    }
    return window;
}

// ---- Arcs on the lattice ------------------------------------------------------------------------

/// In half cells from the window's north-west corner, y southwards: corners are even, middles of
/// cell edges have one odd coordinate. Integers, so that geometry on the lattice is exact.
struct Corner {
    int x = 0, y = 0;
    auto operator<=>(const Corner&) const = default;
};

/// An edge between two zones, from one node to another (or to itself).
struct Arc {
    int left = 0, right = 0;  ///< labels, seen in the direction of travel; 0 is outside
    std::vector<Corner> points;
    bool closed() const { return points.front() == points.back(); }
};

enum Direction { east, south, west, north };
constexpr std::array<int, 4> k_step_x{1, 0, -1, 0};
constexpr std::array<int, 4> k_step_y{0, 1, 0, -1};

class ArcTracer {
  public:
    explicit ArcTracer(const Window& window)
        : m_window(window),
          m_width(window.frame.cols + 1),
          m_seen(
              static_cast<std::size_t>(m_width) * (static_cast<std::size_t>(window.frame.rows) + 1),
              0) {}

    /// Arcs between zones in `inner`; the outer edge of the labelled cells, cell side by cell side,
    /// in `hull`.
    void trace(std::vector<Arc>& inner, std::vector<Arc>& hull) {
        for (int y = 0; y <= m_window.frame.rows; ++y) {
            for (int x = 0; x <= m_window.frame.cols; ++x) {
                if (is_uniform(x, y)) continue;
                collect_hull(x, y, hull);
                if (!is_node(x, y)) continue;
                for (int d = east; d <= north; ++d) {
                    if (is_inner(x, y, d) && !seen(x, y, d)) inner.push_back(follow(x, y, d));
                }
            }
        }
        for (int y = 0; y <= m_window.frame.rows; ++y) {
            for (int x = 0; x <= m_window.frame.cols; ++x) {
                if (is_uniform(x, y)) continue;
                for (const int d : {east, south}) {
                    if (is_inner(x, y, d) && !seen(x, y, d)) inner.push_back(follow(x, y, d));
                }
            }
        }
    }

    bool is_node(int x, int y) const {
        int inner = 0;
        bool outer = false;
        for (int d = east; d <= north; ++d) {
            const auto [left, right] = sides(x, y, d);
            if (left == right) continue;
            if (left > 0 && right > 0) {
                ++inner;
            } else {
                outer = true;
            }
        }
        return inner > 0 && (inner != 2 || outer);
    }

  private:
    /// Whether the four cells around corner (x, y) belong together, so that no edge meets there.
    bool is_uniform(int x, int y) const {
        const int label = m_window.at(y, x);
        return m_window.at(y - 1, x - 1) == label && m_window.at(y - 1, x) == label &&
               m_window.at(y, x - 1) == label;
    }
    /// Labels left and right of the cell edge that leaves corner (x, y) in direction d.
    std::pair<int, int> sides(int x, int y, int d) const {
        switch (d) {
            case east:
                return {m_window.at(y - 1, x), m_window.at(y, x)};
            case south:
                return {m_window.at(y, x), m_window.at(y, x - 1)};
            case west:
                return {m_window.at(y, x - 1), m_window.at(y - 1, x - 1)};
            default:
                return {m_window.at(y - 1, x - 1), m_window.at(y - 1, x)};
        }
    }
    bool is_inner(int x, int y, int d) const {
        const auto [left, right] = sides(x, y, d);
        return left != right && left > 0 && right > 0;
    }

    /// Every cell edge is kept at its western or northern end: bit 0 for east, bit 1 for south.
    std::pair<std::size_t, std::uint8_t> slot(int x, int y, int d) const {
        if (d == west) --x;
        if (d == north) --y;
        const auto i = static_cast<std::size_t>(y) * static_cast<std::size_t>(m_width) +
                       static_cast<std::size_t>(x);
        return {i, d == east || d == west ? std::uint8_t{1} : std::uint8_t{2}};
    }
    bool seen(int x, int y, int d) const {
        const auto [i, bit] = slot(x, y, d);
        return (m_seen[i] & bit) != 0;
    }

    Arc follow(int x, int y, int d) {
        const int x0 = x;
        const int y0 = y;
        Arc arc;
        std::tie(arc.left, arc.right) = sides(x, y, d);
        arc.points.push_back({2 * x, 2 * y});
        while (true) {
            const auto [i, bit] = slot(x, y, d);
            m_seen[i] |= bit;
            x += k_step_x[static_cast<std::size_t>(d)];
            y += k_step_y[static_cast<std::size_t>(d)];
            arc.points.push_back({2 * x, 2 * y});
            if ((x == x0 && y == y0) || is_node(x, y)) break;
            // Two edges meet in a corner that is no node: leave by the other one.
            const int back = (d + 2) % 4;
            for (int next = east; next <= north; ++next) {
                if (next != back && is_inner(x, y, next)) {
                    d = next;
                    break;
                }
            }
        }
        return arc;
    }

    void collect_hull(int x, int y, std::vector<Arc>& hull) const {
        for (const int d : {east, south}) {
            const auto [left, right] = sides(x, y, d);
            if (left == right || (left > 0 && right > 0)) continue;
            const int x1 = x + k_step_x[static_cast<std::size_t>(d)];
            const int y1 = y + k_step_y[static_cast<std::size_t>(d)];
            hull.push_back({left, right, {{2 * x, 2 * y}, {2 * x1, 2 * y1}}});
        }
    }

    const Window& m_window;
    int m_width;
    std::vector<std::uint8_t> m_seen;
};

long long cross(const Corner& a, const Corner& b, const Corner& c) {
    return static_cast<long long>(b.x - a.x) * (c.y - a.y) -
           static_cast<long long>(b.y - a.y) * (c.x - a.x);
}

/// Corners where the direction does not change are left out. A loop without a node starts anywhere.
void drop_collinear(std::vector<Corner>& points, bool free_loop) {
    std::vector<Corner> kept;
    for (std::size_t i = 0; i < points.size(); ++i) {
        const bool end = i == 0 || i + 1 == points.size();
        if (end || cross(kept.back(), points[i], points[i + 1]) != 0) kept.push_back(points[i]);
    }
    if (free_loop && kept.size() > 4 && cross(kept[kept.size() - 2], kept[0], kept[1]) == 0) {
        kept.erase(kept.begin());
        kept.back() = kept.front();
    }
    points.swap(kept);
}

/// Replaces the corners of an arc by the middles of its cell edges; its nodes stay.
void take_middles(std::vector<Corner>& points, bool free_loop) {
    std::vector<Corner> middles;
    middles.reserve(points.size() + 1);
    if (!free_loop) middles.push_back(points.front());
    for (std::size_t i = 0; i + 1 < points.size(); ++i) {
        middles.push_back(
            {(points[i].x + points[i + 1].x) / 2, (points[i].y + points[i + 1].y) / 2});
    }
    middles.push_back(free_loop ? middles.front() : points.back());
    points.swap(middles);
}

/// Thins arcs by Visvalingam & Whyatt 1993 with two vetoes: tolerance and foreign vertices.
class Thinner {
  public:
    Thinner(const GridFrame& frame, double tolerance_cells)
        : m_width(2 * frame.cols + 1),
          m_height(2 * frame.rows + 1),
          m_tolerance(2.0 * tolerance_cells),
          m_occupied(static_cast<std::size_t>(m_width) * static_cast<std::size_t>(m_height), 0) {}

    /// Vertices of `fixed` lines block like those of arcs, and stay.
    void run(std::vector<Arc>& arcs, const std::vector<Arc>& fixed) {
        for (const auto* group : {&fixed, static_cast<const std::vector<Arc>*>(&arcs)}) {
            for (const Arc& arc : *group) {
                for (const Corner& point : arc.points) occupied(point) = 1;
            }
        }
        for (const Arc& arc : arcs) {
            if (arc.points.size() == 2) m_straight.insert(ends(arc));
        }
        for (Arc& arc : arcs) thin(arc);
    }

  private:
    std::uint8_t& occupied(const Corner& p) {
        return m_occupied[static_cast<std::size_t>(p.y) * static_cast<std::size_t>(m_width) +
                          static_cast<std::size_t>(p.x)];
    }

    static std::pair<Corner, Corner> ends(const Arc& arc) {
        return std::minmax(arc.points.front(), arc.points.back());
    }

    void thin(Arc& arc) {
        const std::vector<Corner>& points = arc.points;
        const std::size_t count = points.size();
        // A ring keeps four different points (a one-cell island stays a diamond).
        const std::size_t least = arc.closed() ? 5 : 2;
        if (count <= least) return;
        m_before.resize(count);
        m_after.resize(count);
        for (std::size_t i = 0; i < count; ++i) {
            m_before[i] = i - 1;
            m_after[i] = i + 1;
        }
        std::vector<std::uint8_t> gone(count, 0);
        using Entry = std::tuple<long long, std::size_t, std::size_t, std::size_t>;
        std::priority_queue<Entry, std::vector<Entry>, std::greater<>> queue;
        const auto push = [&](std::size_t i) {
            if (i == 0 || i + 1 == count) return;
            const std::size_t a = m_before[i];
            const std::size_t c = m_after[i];
            queue.emplace(std::abs(cross(points[a], points[i], points[c])), i, a, c);
        };
        for (std::size_t i = 1; i + 1 < count; ++i) push(i);
        std::size_t left = count;
        while (!queue.empty() && left > least) {
            const auto [twice_area, b, a, c] = queue.top();
            queue.pop();
            // An entry from before a neighbour went is out of date.
            if (gone[b] || m_before[b] != a || m_after[b] != c) continue;
            const bool becomes_straight = left == 3;
            if (becomes_straight && m_straight.contains(ends(arc))) continue;
            if (!within_tolerance(points, a, c)) continue;
            if (twice_area > 0 && holds_vertex(points[a], points[b], points[c])) continue;
            gone[b] = 1;
            --left;
            occupied(points[b]) = 0;
            m_after[a] = c;
            m_before[c] = a;
            push(a);
            push(c);
            if (becomes_straight) m_straight.insert(ends(arc));
        }
        std::vector<Corner> kept;
        kept.reserve(left);
        for (std::size_t i = 0; i < count; ++i) {
            if (!gone[i]) kept.push_back(points[i]);
        }
        arc.points.swap(kept);
    }

    /// Every point skipped between a and c stays within the tolerance of the segment a-c.
    bool within_tolerance(const std::vector<Corner>& points, std::size_t a, std::size_t c) const {
        const double ax = points[a].x;
        const double ay = points[a].y;
        const double dx = points[c].x - ax;
        const double dy = points[c].y - ay;
        const double length2 = dx * dx + dy * dy;
        if (length2 == 0.0) return false;
        const double limit2 = m_tolerance * m_tolerance;
        for (std::size_t i = a + 1; i < c; ++i) {
            const double px = points[i].x - ax;
            const double py = points[i].y - ay;
            const double t = std::clamp((px * dx + py * dy) / length2, 0.0, 1.0);
            const double ex = px - t * dx;
            const double ey = py - t * dy;
            if (ex * ex + ey * ey > limit2) return false;
        }
        return true;
    }

    /// Whether the triangle, its edges included, holds a vertex in use other than its own.
    bool holds_vertex(const Corner& a, Corner b, Corner c) {
        if (cross(a, b, c) < 0) std::swap(b, c);
        const int y0 = std::min({a.y, b.y, c.y});
        const int y1 = std::max({a.y, b.y, c.y});
        const std::array<std::pair<Corner, Corner>, 3> edges{{{a, b}, {b, c}, {c, a}}};
        for (int y = y0; y <= y1; ++y) {
            double low = std::numeric_limits<double>::infinity();
            double high = -low;
            for (const auto& [p, q] : edges) {
                if (std::min(p.y, q.y) > y || std::max(p.y, q.y) < y) continue;
                if (p.y == q.y) {
                    low = std::min<double>(low, std::min(p.x, q.x));
                    high = std::max<double>(high, std::max(p.x, q.x));
                } else {
                    const double x = p.x + static_cast<double>(q.x - p.x) * (y - p.y) / (q.y - p.y);
                    low = std::min(low, x);
                    high = std::max(high, x);
                }
            }
            // One column of slack for rounding; the exact test follows.
            const int x0 = std::max(static_cast<int>(std::floor(low)) - 1, 0);
            const int x1 = std::min(static_cast<int>(std::ceil(high)) + 1, m_width - 1);
            for (int x = x0; x <= x1; ++x) {
                const Corner p{x, y};
                if (!occupied(p) || p == a || p == b || p == c) continue;
                if (cross(a, b, p) >= 0 && cross(b, c, p) >= 0 && cross(c, a, p) >= 0) return true;
            }
        }
        return false;
    }

    int m_width, m_height;
    double m_tolerance;
    std::vector<std::uint8_t> m_occupied;
    std::set<std::pair<Corner, Corner>> m_straight;
    std::vector<std::size_t> m_before, m_after;
};

// ---- Faces between arcs and boundary ------------------------------------------------------------

/// Noding snaps to this grid, m: lines that run along one another but for rounding become one.
constexpr double k_snap_m = 1e-6;

/// Which zone a point lies in, from the first arc east of it.
class LabelFinder {
  public:
    LabelFinder(const GridFrame& frame) : m_rows(static_cast<std::size_t>(frame.rows)) {}

    void add(const Arc& arc) {
        for (std::size_t i = 0; i + 1 < arc.points.size(); ++i) {
            const Corner& p = arc.points[i];
            const Corner& q = arc.points[i + 1];
            if (p.y == q.y) continue;
            const int y0 = std::min(p.y, q.y);
            const int y1 = std::max(p.y, q.y);
            for (int row = y0 / 2; row < (y1 + 1) / 2; ++row) {
                m_rows[static_cast<std::size_t>(row)].push_back({p, q, arc.left, arc.right});
            }
        }
    }

    /// x and y in half cells.
    int label(double x, double y) const {
        const double row = std::floor(y / 2.0);
        if (row < 0.0 || row >= static_cast<double>(m_rows.size())) return 0;
        int found = 0;
        // Where arcs meet at this very height, the one that leads furthest west below it is next.
        constexpr double infinity = std::numeric_limits<double>::infinity();
        std::pair<double, double> nearest{infinity, infinity};
        for (const Side& side : m_rows[static_cast<std::size_t>(row)]) {
            const bool south = side.to.y > side.from.y;
            const Corner& upper = south ? side.from : side.to;
            const Corner& lower = south ? side.to : side.from;
            if (y < upper.y || y >= lower.y) continue;
            const double slope =
                static_cast<double>(lower.x - upper.x) / static_cast<double>(lower.y - upper.y);
            const std::pair<double, double> crossing{upper.x + slope * (y - upper.y), slope};
            if (crossing.first < x || crossing >= nearest) continue;
            nearest = crossing;
            // Going south, west is on the right.
            found = south ? side.right : side.left;
        }
        return found;
    }

  private:
    struct Side {
        Corner from, to;
        int left, right;
    };
    std::vector<std::vector<Side>> m_rows;
};

struct Face {
    Polygon shape;
    int label = 0;
    double area_m2 = 0.0;
};

/// The faces of the arrangement of arcs and boundary that lie inside the boundary.
std::vector<Face> cut_faces(const std::vector<Arc>& inner, const std::vector<Arc>& hull,
                            const Window& window, const MultiPolygon& boundary) {
    const GridFrame& frame = window.frame;
    std::vector<Line> lines;
    for (const Arc& arc : inner) {
        Line line;
        line.reserve(arc.points.size());
        for (const Corner& p : arc.points) {
            line.push_back(
                {frame.west + 0.5 * p.x * frame.cell, frame.north - 0.5 * p.y * frame.cell});
        }
        lines.push_back(std::move(line));
    }
    for (const Polygon& polygon : boundary) {
        lines.push_back(polygon.outer);
        for (const Ring& hole : polygon.holes) lines.push_back(hole);
    }

    GeosContext& context = geos();
    const GeomPtr linework = make_lines(lines);
    const GeomPtr noded =
        context.own(GEOSUnaryUnionPrec_r(context.handle(), linework.get(), k_snap_m),
                    "cutting zones to the boundary");
    const GEOSGeometry* const one = noded.get();
    const GeomPtr faces = context.own(GEOSPolygonize_r(context.handle(), &one, 1),
                                      "making faces of zones and boundary");
    const GeomPtr areas = make_areas(boundary);
    const PreparedPtr prepared(GEOSPrepare_r(context.handle(), areas.get()),
                               PreparedDeleter{context.handle()});

    LabelFinder finder(frame);
    for (const Arc& arc : inner) finder.add(arc);
    for (const Arc& arc : hull) finder.add(arc);

    std::vector<Face> kept;
    const int count = GEOSGetNumGeometries_r(context.handle(), faces.get());
    for (int i = 0; i < count; ++i) {
        const GEOSGeometry* geometry = GEOSGetGeometryN_r(context.handle(), faces.get(), i);
        const GeomPtr inside = context.own(GEOSPointOnSurface_r(context.handle(), geometry),
                                           "finding a point inside a face");
        if (!context.truth(GEOSPreparedContains_r(context.handle(), prepared.get(), inside.get()),
                           "locating a face")) {
            continue;
        }
        const Point point = read_point(inside.get());
        Face face;
        face.label = finder.label((point.x - frame.west) / frame.cell * 2.0,
                                  (frame.north - point.y) / frame.cell * 2.0);
        MultiPolygon shape = read_areas(geometry);
        face.area_m2 = area(shape);
        face.shape = std::move(shape.front());
        kept.push_back(std::move(face));
    }
    return kept;
}

using SideKey = std::array<double, 4>;

SideKey side_key(const Point& a, const Point& b) {
    return std::tie(a.x, a.y) < std::tie(b.x, b.y) ? SideKey{a.x, a.y, b.x, b.y}
                                                   : SideKey{b.x, b.y, a.x, a.y};
}

template <typename Visit>
void for_each_side(const Polygon& polygon, Visit visit) {
    const auto walk = [&](const Ring& ring) {
        for (std::size_t i = 0; i + 1 < ring.size(); ++i) visit(ring[i], ring[i + 1]);
    };
    walk(polygon.outer);
    for (const Ring& hole : polygon.holes) walk(hole);
}

/// Gives pieces below the limit to the neighbour with the longest common edge, smallest first.
/// Returns the labels that gained ground.
std::set<int> move_small_pieces(std::vector<Face>& faces, double limit_m2, std::size_t& moved) {
    std::set<int> gained;
    std::vector<std::size_t> small;
    for (std::size_t i = 0; i < faces.size(); ++i) {
        if (faces[i].area_m2 < limit_m2) small.push_back(i);
    }
    if (small.empty()) return gained;
    std::sort(small.begin(), small.end(), [&](std::size_t i, std::size_t j) {
        return std::tie(faces[i].area_m2, i) < std::tie(faces[j].area_m2, j);
    });
    std::map<SideKey, std::vector<std::size_t>> owners;
    for (const std::size_t i : small) {
        for_each_side(faces[i].shape,
                      [&](const Point& a, const Point& b) { owners[side_key(a, b)]; });
    }
    for (std::size_t i = 0; i < faces.size(); ++i) {
        for_each_side(faces[i].shape, [&](const Point& a, const Point& b) {
            const auto entry = owners.find(side_key(a, b));
            if (entry != owners.end()) entry->second.push_back(i);
        });
    }
    for (const std::size_t i : small) {
        std::map<int, double> common;
        for_each_side(faces[i].shape, [&](const Point& a, const Point& b) {
            for (const std::size_t j : owners[side_key(a, b)]) {
                if (j != i) common[faces[j].label] += std::hypot(a.x - b.x, a.y - b.y);
            }
        });
        // Already next to ground of its own label: an earlier piece came here.
        if (common.empty() || common.contains(faces[i].label)) continue;
        const auto best =
            std::max_element(common.begin(), common.end(),
                             [](const auto& a, const auto& b) { return a.second < b.second; });
        faces[i].label = best->first;
        gained.insert(best->first);
        ++moved;
    }
    return gained;
}

void turn_rings(Polygon& polygon) {
    const auto turn = [](Ring& ring, bool counter_clockwise) {
        if ((signed_area(ring) > 0.0) != counter_clockwise) std::reverse(ring.begin(), ring.end());
    };
    turn(polygon.outer, true);
    for (Ring& hole : polygon.holes) turn(hole, false);
}

/// What snapping may change an area by: half a diagonal of the snapping grid at most for every
/// point of its edges.
double snapping_m2(const MultiPolygon& shape) {
    double length_m = 0.0;
    for (const Polygon& polygon : shape) {
        for_each_side(polygon, [&](const Point& a, const Point& b) {
            length_m += std::hypot(a.x - b.x, a.y - b.y);
        });
    }
    return length_m * k_snap_m;
}

ZoneOutline make_outline(int label, MultiPolygon shape) {
    ZoneOutline outline;
    outline.label = label;
    outline.shape = std::move(shape);
    outline.area_m2 = area(outline.shape);
    outline.vertices = vertex_count(outline.shape);
    return outline;
}

}  // namespace

ZoneOutlines zone_outlines(const Raster<int>& labels, const MultiPolygon& boundary,
                           const OutlineSettings& settings) {
    if (!(settings.tolerance_cells >= 0.0 && settings.tolerance_cells <= 1.0) ||
        !(settings.min_piece_cells >= 0.0 && settings.min_piece_cells < 1e6)) {
        throw Error(ErrorKind::data,
                    "the tolerance of zone outlines must lie between 0 and 1 cell");
    }
    require_valid(boundary, "the boundary");
    const Window window = make_window(labels, boundary);

    std::vector<Arc> inner;
    std::vector<Arc> hull;
    ArcTracer tracer(window);
    tracer.trace(inner, hull);

    ZoneOutlines result;
    result.boundary_m2 = area(boundary);
    std::map<int, MultiPolygon> zones;
    if (inner.empty() && std::all_of(hull.begin(), hull.end(), [&](const Arc& arc) {
            return std::max(arc.left, arc.right) == std::max(hull.front().left, hull.front().right);
        })) {
        MultiPolygon whole = boundary;
        for (Polygon& polygon : whole) turn_rings(polygon);
        zones[std::max(hull.front().left, hull.front().right)] = std::move(whole);
    } else {
        for (Arc& arc : inner) {
            const bool free_loop =
                arc.closed() && !tracer.is_node(arc.points[0].x / 2, arc.points[0].y / 2);
            if (settings.tolerance_cells > 0.0) take_middles(arc.points, free_loop);
            drop_collinear(arc.points, free_loop);
        }
        if (settings.tolerance_cells > 0.0) {
            Thinner(window.frame, settings.tolerance_cells).run(inner, hull);
        }
        std::vector<Face> faces = cut_faces(inner, hull, window, boundary);
        const std::set<int> gained = move_small_pieces(
            faces, settings.min_piece_cells * labels.frame.cell_area_m2(), result.pieces_moved);
        for (Face& face : faces) zones[face.label].push_back(std::move(face.shape));
        for (const int label : gained) {
            const GeomPtr parts = make_areas(zones[label]);
            zones[label] = read_areas(geos()
                                          .own(GEOSUnaryUnion_r(geos().handle(), parts.get()),
                                               "joining the pieces of a zone")
                                          .get());
        }
    }

    for (auto& [label, shape] : zones) {
        result.zones.push_back(make_outline(label, std::move(shape)));
        result.covered_m2 += result.zones.back().area_m2;
    }
    const double error_m2 = std::abs(result.covered_m2 - result.boundary_m2);
    if (error_m2 > 1e-6 * result.boundary_m2 + snapping_m2(boundary) || zones.contains(0)) {
        throw Error(ErrorKind::internal, "zone outlines cover " + fixed(result.covered_m2, 3) +
                                             " m2 of a boundary of " +
                                             fixed(result.boundary_m2, 3) + " m2");
    }
    const std::set<int> wanted = [&] {
        std::set<int> all(labels.values.begin(), labels.values.end());
        all.erase(all.begin(), all.upper_bound(0));
        return all;
    }();
    for (const int label : wanted) {
        if (!zones.contains(label)) {
            result.warnings.push_back("zone " + std::to_string(label) +
                                      " has no ground inside the boundary");
        }
    }
    return result;
}

std::vector<ZoneOutline> dissolve_cells(const Raster<int>& labels) {
    const GridFrame& frame = labels.frame;
    const auto label_at = [&](int row, int col) {
        if (!frame.contains(row, col)) return 0;
        return std::max(labels.at(row, col), 0);
    };

    // Patches: cells of one label that hang together by their sides.
    std::vector<int> patch(frame.size(), -1);
    std::vector<int> patch_label;
    std::vector<std::size_t> stack;
    for (std::size_t start = 0; start < frame.size(); ++start) {
        if (labels[start] <= 0 || patch[start] >= 0) continue;
        const int id = static_cast<int>(patch_label.size());
        patch_label.push_back(labels[start]);
        patch[start] = id;
        stack.push_back(start);
        while (!stack.empty()) {
            const std::size_t i = stack.back();
            stack.pop_back();
            const int row = static_cast<int>(i / static_cast<std::size_t>(frame.cols));
            const int col = static_cast<int>(i % static_cast<std::size_t>(frame.cols));
            for (std::size_t d = 0; d < 4; ++d) {
                const int r = row + k_step_y[d];
                const int c = col + k_step_x[d];
                if (label_at(r, c) != labels[i]) continue;
                const std::size_t j = frame.index(r, c);
                if (patch[j] >= 0) continue;
                patch[j] = id;
                stack.push_back(j);
            }
        }
    }
    const auto patch_at = [&](int row, int col) {
        return frame.contains(row, col) ? patch[frame.index(row, col)] : -1;
    };

    // Rings with the patch on their left. The cell left of the edge that leaves corner (x, y):
    const auto left_cell = [](int x, int y, int d) -> std::pair<int, int> {
        switch (d) {
            case east:
                return {y - 1, x};
            case south:
                return {y, x};
            case west:
                return {y, x - 1};
            default:
                return {y - 1, x - 1};
        }
    };
    const auto left_patch = [&](int x, int y, int d) {
        const auto [row, col] = left_cell(x, y, d);
        return patch_at(row, col);
    };
    const auto right_patch = [&](int x, int y, int d) {
        // Right of d at (x, y) is left of the same edge travelled back.
        return left_patch(x + k_step_x[static_cast<std::size_t>(d)],
                          y + k_step_y[static_cast<std::size_t>(d)], (d + 2) % 4);
    };
    // Four bits per corner: directions already travelled.
    const int width = frame.cols + 1;
    std::vector<std::uint8_t> seen(
        static_cast<std::size_t>(width) * (static_cast<std::size_t>(frame.rows) + 1), 0);
    const auto seen_at = [&](int x, int y) -> std::uint8_t& {
        return seen[static_cast<std::size_t>(y) * static_cast<std::size_t>(width) +
                    static_cast<std::size_t>(x)];
    };
    std::vector<Polygon> polygon(patch_label.size());
    for (int y0 = 0; y0 <= frame.rows; ++y0) {
        for (int x0 = 0; x0 <= frame.cols; ++x0) {
            for (int d0 = east; d0 <= north; ++d0) {
                const int id = left_patch(x0, y0, d0);
                if (id < 0 || right_patch(x0, y0, d0) == id || (seen_at(x0, y0) & (1U << d0))) {
                    continue;
                }
                std::vector<Corner> corners;
                int x = x0;
                int y = y0;
                int d = d0;
                do {
                    seen_at(x, y) = static_cast<std::uint8_t>(seen_at(x, y) | (1U << d));
                    corners.push_back({x, y});
                    x += k_step_x[static_cast<std::size_t>(d)];
                    y += k_step_y[static_cast<std::size_t>(d)];
                    const int left = (d + 3) % 4;
                    const int right = (d + 1) % 4;
                    const auto runs = [&](int next) {
                        return left_patch(x, y, next) == id && right_patch(x, y, next) != id;
                    };
                    // Where the patch meets itself at a corner, turning right keeps the ring from
                    // touching itself: what lies between becomes a hole of its own.
                    d = runs(right) ? right : runs(d) ? d : left;
                } while (x != x0 || y != y0 || d != d0);
                corners.push_back(corners.front());
                drop_collinear(corners, true);
                Ring ring;
                for (const Corner& p : corners) {
                    ring.push_back({frame.west + p.x * frame.cell, frame.north - p.y * frame.cell});
                }
                Polygon& target = polygon[static_cast<std::size_t>(id)];
                if (signed_area(ring) > 0.0) {
                    target.outer = std::move(ring);
                } else {
                    target.holes.push_back(std::move(ring));
                }
            }
        }
    }

    std::map<int, MultiPolygon> shapes;
    for (std::size_t id = 0; id < polygon.size(); ++id) {
        shapes[patch_label[id]].push_back(std::move(polygon[id]));
    }
    std::vector<ZoneOutline> outlines;
    for (auto& [label, shape] : shapes) outlines.push_back(make_outline(label, std::move(shape)));
    return outlines;
}

}  // namespace catchfield::geometry
