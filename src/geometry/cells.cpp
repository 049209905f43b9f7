// SPDX-License-Identifier: MIT
#include "geometry/cells.hpp"

#include "base/error.hpp"

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <limits>

namespace catchfield::geometry {

namespace {

/// Rounding of coordinates in the millions, in cells: shares closer than this to 0 or 1 are that.
constexpr double k_share_rounding = 1e-9;

void require_finite(const MultiPolygon& shape) {
    const auto check = [](const Ring& ring) {
        for (const Point& point : ring) {
            if (!std::isfinite(point.x) || !std::isfinite(point.y)) {
                throw Error(ErrorKind::data,
                            "a shape has a coordinate that is not a finite number");
            }
        }
    };
    for (const Polygon& polygon : shape) {
        check(polygon.outer);
        for (const Ring& hole : polygon.holes) check(hole);
    }
}

/// Part of the frame a shape's box touches, as cell ranges [first, last).
struct Window {
    int row0 = 0, row1 = 0, col0 = 0, col1 = 0;
    bool empty() const { return row0 >= row1 || col0 >= col1; }
    int cols() const { return col1 - col0; }
    int rows() const { return row1 - row0; }
};

int clamp_to(double value, int limit) {
    return static_cast<int>(std::clamp(value, 0.0, static_cast<double>(limit)));
}

Window window_of(const Box& box, const GridFrame& frame) {
    if (!(box.min_x <= box.max_x)) return {};
    return {clamp_to(std::floor((frame.north - box.max_y) / frame.cell), frame.rows),
            clamp_to(std::ceil((frame.north - box.min_y) / frame.cell), frame.rows),
            clamp_to(std::floor((box.min_x - frame.west) / frame.cell), frame.cols),
            clamp_to(std::ceil((box.max_x - frame.west) / frame.cell), frame.cols)};
}

/// Calls visit(from, to) for every edge, outer rings counter-clockwise, holes clockwise.
template <typename Visit>
void for_each_edge(const MultiPolygon& shape, Visit visit) {
    const auto ring_edges = [&](const Ring& ring, bool counter_clockwise) {
        if (ring.size() < 4) return;
        const bool forward = (signed_area(ring) > 0.0) == counter_clockwise;
        for (std::size_t i = 0; i + 1 < ring.size(); ++i) {
            if (forward) {
                visit(ring[i], ring[i + 1]);
            } else {
                visit(ring[i + 1], ring[i]);
            }
        }
    };
    for (const Polygon& polygon : shape) {
        ring_edges(polygon.outer, true);
        for (const Ring& hole : polygon.holes) ring_edges(hole, false);
    }
}

/// Signed heights of edges per cell of a window; the running sum along a row gives shares.
class AreaSums {
  public:
    AreaSums(const GridFrame& frame, const Window& window)
        : m_frame(frame),
          m_window(window),
          m_stride(static_cast<std::size_t>(window.cols()) + 1),
          m_sums(m_stride * static_cast<std::size_t>(window.rows()), 0.0) {}

    void add_edge(const Point& from, const Point& to) {
        // Columns and rows as real numbers, rows counted southwards.
        double u0 = (from.x - m_frame.west) / m_frame.cell - m_window.col0;
        double v0 = (m_frame.north - from.y) / m_frame.cell - m_window.row0;
        double u1 = (to.x - m_frame.west) / m_frame.cell - m_window.col0;
        double v1 = (m_frame.north - to.y) / m_frame.cell - m_window.row0;
        if (v0 == v1) return;
        const double sign = v1 > v0 ? 1.0 : -1.0;
        if (v1 < v0) {
            std::swap(u0, u1);
            std::swap(v0, v1);
        }
        const double slope = (u1 - u0) / (v1 - v0);
        const double top = std::max(v0, 0.0);
        const double bottom = std::min(v1, static_cast<double>(m_window.rows()));
        if (top >= bottom) return;
        const auto u_at = [&](double v) {
            if (v == v0) return u0;
            if (v == v1) return u1;
            return u0 + (v - v0) * slope;
        };
        const int last_row = m_window.rows() - 1;
        int row = std::min(static_cast<int>(top), last_row);
        double v = top;
        double u = u_at(v);
        while (v < bottom) {
            const double next_v = std::min(static_cast<double>(row + 1), bottom);
            const double next_u = u_at(next_v);
            add_in_row(row, u, next_u, sign * (next_v - v));
            v = next_v;
            u = next_u;
            if (++row > last_row) break;
        }
    }

    /// visit(row, col, share) for every cell of the window with some share.
    template <typename Visit>
    void finish(Visit visit) const {
        for (int row = 0; row < m_window.rows(); ++row) {
            const double* sums = m_sums.data() + static_cast<std::size_t>(row) * m_stride;
            double share = 0.0;
            for (int col = 0; col < m_window.cols(); ++col) {
                share += sums[col];
                if (share < k_share_rounding) continue;
                visit(m_window.row0 + row, m_window.col0 + col,
                      share > 1.0 - k_share_rounding ? 1.0 : share);
            }
        }
    }

  private:
    /// A piece of an edge within one row, from column position u0 to u1, of signed height h.
    void add_in_row(int row, double u0, double u1, double h) {
        double* sums = m_sums.data() + static_cast<std::size_t>(row) * m_stride;
        const double width = m_window.cols();
        double left = std::min(u0, u1);
        double right = std::max(u0, u1);
        if (left >= width) return;
        if (right <= 0.0) {
            sums[0] += h;
            return;
        }
        const double per_column = right > left ? h / (right - left) : 0.0;
        if (left < 0.0) {
            sums[0] += per_column * -left;
            h -= per_column * -left;
            left = 0.0;
        }
        if (right > width) {
            h -= per_column * (right - width);
            right = width;
        }
        int col = std::min(static_cast<int>(left), m_window.cols() - 1);
        if (right <= col + 1.0) {
            add_in_cell(sums, col, h, 0.5 * (left + right) - col);
            return;
        }
        while (left < right && col < m_window.cols()) {
            const double end = std::min(col + 1.0, right);
            add_in_cell(sums, col, per_column * (end - left), 0.5 * (left + end) - col);
            left = end;
            ++col;
        }
    }

    /// The piece covers the cell east of its mean position, and every cell further east whole.
    static void add_in_cell(double* sums, int col, double h, double offset) {
        sums[col] += h * (1.0 - offset);
        sums[col + 1] += h * offset;
    }

    const GridFrame& m_frame;
    Window m_window;
    std::size_t m_stride;
    std::vector<double> m_sums;
};

template <typename Visit>
void visit_shares(const MultiPolygon& shape, const GridFrame& frame, Visit visit) {
    require_finite(shape);
    const Window window = window_of(bounds(shape), frame);
    if (window.empty()) return;
    AreaSums sums(frame, window);
    for_each_edge(shape, [&](const Point& from, const Point& to) { sums.add_edge(from, to); });
    sums.finish(visit);
}

/// visit(row, first, last) for the runs of columns whose centres are inside.
template <typename Visit>
void visit_centres(const MultiPolygon& shape, const GridFrame& frame, Visit visit) {
    require_finite(shape);
    const Window window = window_of(bounds(shape), frame);
    if (window.empty()) return;
    std::vector<std::vector<double>> crossings(static_cast<std::size_t>(window.rows()));
    for_each_edge(shape, [&](const Point& from, const Point& to) {
        const Point& low = from.y < to.y ? from : to;
        const Point& high = from.y < to.y ? to : from;
        if (low.y == high.y) return;
        // Rows whose centre line y lies in [low.y, high.y): half open, so that a vertex on a centre
        // line is crossed once. One row of slack on both sides takes up rounding.
        const int first =
            std::max(window.row0,
                     clamp_to(std::floor((frame.north - high.y) / frame.cell - 0.5), frame.rows));
        const int last = std::min(
            window.row1,
            clamp_to(std::ceil((frame.north - low.y) / frame.cell - 0.5) + 1.0, frame.rows));
        for (int row = first; row < last; ++row) {
            const double y = frame.y_centre(row);
            if (y < low.y || y >= high.y) continue;
            crossings[static_cast<std::size_t>(row - window.row0)].push_back(
                low.x + (y - low.y) / (high.y - low.y) * (high.x - low.x));
        }
    });
    for (int row = window.row0; row < window.row1; ++row) {
        std::vector<double>& xs = crossings[static_cast<std::size_t>(row - window.row0)];
        std::sort(xs.begin(), xs.end());
        for (std::size_t i = 0; i + 1 < xs.size(); i += 2) {
            // A centre exactly on the western crossing is inside, on the eastern one outside.
            const auto first_centre = [&](double x) {
                int col = clamp_to(std::ceil((x - frame.west) / frame.cell - 0.5), frame.cols);
                while (col > 0 && frame.x_centre(col - 1) >= x) --col;
                while (col < frame.cols && frame.x_centre(col) < x) ++col;
                return col;
            };
            const int first = first_centre(xs[i]);
            const int last = first_centre(xs[i + 1]);
            if (first < last) visit(row, first, last);
        }
    }
}

double squared_distance(const Point& p, const Point& a, const Point& b) {
    const double dx = b.x - a.x;
    const double dy = b.y - a.y;
    const double length2 = dx * dx + dy * dy;
    double t = length2 > 0.0 ? ((p.x - a.x) * dx + (p.y - a.y) * dy) / length2 : 0.0;
    t = std::clamp(t, 0.0, 1.0);
    const double ex = a.x + t * dx - p.x;
    const double ey = a.y + t * dy - p.y;
    return ex * ex + ey * ey;
}

/// Edges of shapes in square bins of at least the search distance, so that the bin of a point and
/// its eight neighbours hold every edge within that distance.
class EdgeBins {
  public:
    EdgeBins(std::span<const MultiPolygon> shapes, const GridFrame& frame, double reach)
        : m_reach(reach), m_west(frame.west - reach), m_south(frame.south() - reach) {
        const double width = frame.east() + reach - m_west;
        const double height = frame.north + reach - m_south;
        // A few edges per bin at best; more than some thousand bins would cost more than they save.
        m_side = std::max({reach, 4.0 * frame.cell, width / 256.0, height / 256.0});
        m_cols = static_cast<int>(width / m_side) + 1;
        m_rows = static_cast<int>(height / m_side) + 1;
        m_bins.resize(static_cast<std::size_t>(m_cols) * static_cast<std::size_t>(m_rows));
        for (std::size_t s = 0; s < shapes.size(); ++s) {
            for_each_edge(shapes[s], [&](const Point& a, const Point& b) {
                insert(static_cast<int>(s), a, b);
            });
        }
    }

    /// Nearest shape within reach: index (lowest on ties) and distance; -1 where there is none.
    std::pair<int, double> nearest(const Point& point) const {
        const int col = bin_col(point.x);
        const int row = bin_row(point.y);
        int best = -1;
        double best2 = m_reach * m_reach;
        for (int r = std::max(row - 1, 0); r <= std::min(row + 1, m_rows - 1); ++r) {
            for (int c = std::max(col - 1, 0); c <= std::min(col + 1, m_cols - 1); ++c) {
                for (const Edge& edge : bin(r, c)) {
                    const double d2 = squared_distance(point, edge.a, edge.b);
                    if (d2 < best2 || (d2 == best2 && (best < 0 || edge.shape < best))) {
                        best2 = d2;
                        best = edge.shape;
                    }
                }
            }
        }
        return {best, std::sqrt(best2)};
    }

  private:
    struct Edge {
        int shape;
        Point a, b;
    };

    int bin_col(double x) const { return static_cast<int>(std::floor((x - m_west) / m_side)); }
    int bin_row(double y) const { return static_cast<int>(std::floor((y - m_south) / m_side)); }
    std::vector<Edge>& bin(int r, int c) {
        return m_bins[static_cast<std::size_t>(r) * static_cast<std::size_t>(m_cols) +
                      static_cast<std::size_t>(c)];
    }
    const std::vector<Edge>& bin(int r, int c) const {
        return m_bins[static_cast<std::size_t>(r) * static_cast<std::size_t>(m_cols) +
                      static_cast<std::size_t>(c)];
    }

    void insert(int shape, const Point& a, const Point& b) {
        const double east = m_west + m_side * m_cols;
        const double north = m_south + m_side * m_rows;
        if (std::max(a.x, b.x) < m_west || std::min(a.x, b.x) > east ||
            std::max(a.y, b.y) < m_south || std::min(a.y, b.y) > north) {
            return;
        }
        const auto to_range = [](double value, int limit) {
            return static_cast<int>(std::clamp(value, 0.0, limit - 1.0));
        };
        const int c0 = to_range((std::min(a.x, b.x) - m_west) / m_side, m_cols);
        const int c1 = to_range((std::max(a.x, b.x) - m_west) / m_side, m_cols);
        const int r0 = to_range((std::min(a.y, b.y) - m_south) / m_side, m_rows);
        const int r1 = to_range((std::max(a.y, b.y) - m_south) / m_side, m_rows);
        for (int r = r0; r <= r1; ++r) {
            for (int c = c0; c <= c1; ++c) bin(r, c).push_back({shape, a, b});
        }
    }

    double m_reach, m_west, m_south, m_side = 1.0;
    int m_cols = 0, m_rows = 0;
    std::vector<std::vector<Edge>> m_bins;
};

/// Cuts a segment to the frame's box (Liang & Barsky 1984); false where it misses it.
bool cut_to_box(double& u0, double& v0, double& u1, double& v1, double cols, double rows) {
    double t0 = 0.0;
    double t1 = 1.0;
    const double du = u1 - u0;
    const double dv = v1 - v0;
    const auto side = [&](double p, double q) {
        if (p == 0.0) return q >= 0.0;
        const double t = q / p;
        if (p < 0.0) {
            t0 = std::max(t0, t);
        } else {
            t1 = std::min(t1, t);
        }
        return t0 <= t1;
    };
    if (!side(-du, u0) || !side(du, cols - u0) || !side(-dv, v0) || !side(dv, rows - v0)) {
        return false;
    }
    const double a = u0;
    const double b = v0;
    u0 = a + t0 * du;
    v0 = b + t0 * dv;
    u1 = a + t1 * du;
    v1 = b + t1 * dv;
    return true;
}

/// Marks every cell a segment touches; steps go over one cell side at a time (Amanatides & Woo
/// 1987), so the marked cells hang together by their sides.
void mark_segment(const Point& from, const Point& to, Mask& mask) {
    const GridFrame& frame = mask.frame;
    double u0 = (from.x - frame.west) / frame.cell;
    double v0 = (frame.north - from.y) / frame.cell;
    double u1 = (to.x - frame.west) / frame.cell;
    double v1 = (frame.north - to.y) / frame.cell;
    if (!cut_to_box(u0, v0, u1, v1, frame.cols, frame.rows)) return;
    const auto cell_of = [](double position, int limit) {
        return static_cast<int>(std::clamp(std::floor(position), 0.0, limit - 1.0));
    };
    int col = cell_of(u0, frame.cols);
    int row = cell_of(v0, frame.rows);
    const int last_col = cell_of(u1, frame.cols);
    const int last_row = cell_of(v1, frame.rows);
    const int step_col = last_col > col ? 1 : -1;
    const int step_row = last_row > row ? 1 : -1;
    const double du = u1 - u0;
    const double dv = v1 - v0;
    constexpr double infinity = std::numeric_limits<double>::infinity();
    const auto mark = [&](int r, int c) { mask.at(r, c) = 1; };
    mark(row, col);
    while (col != last_col || row != last_row) {
        const double to_col = col == last_col ? infinity : (col + (step_col > 0) - u0) / du;
        const double to_row = row == last_row ? infinity : (row + (step_row > 0) - v0) / dv;
        if (std::abs(to_col - to_row) < 1e-9) {
            // Through a corner: both cells beside it belong to the line.
            mark(row, col + step_col);
            mark(row + step_row, col);
            col += step_col;
            row += step_row;
        } else if (to_col < to_row) {
            col += step_col;
        } else {
            row += step_row;
        }
        mark(row, col);
    }
}

void mark_line(const std::vector<Point>& line, Mask& mask) {
    for (const Point& point : line) {
        if (!std::isfinite(point.x) || !std::isfinite(point.y)) {
            throw Error(ErrorKind::data, "a barrier has a coordinate that is not a finite number");
        }
    }
    if (line.size() == 1) mark_segment(line.front(), line.front(), mask);
    for (std::size_t i = 0; i + 1 < line.size(); ++i) mark_segment(line[i], line[i + 1], mask);
}

}  // namespace

Raster<float> cell_shares(const MultiPolygon& shape, const GridFrame& frame) {
    Raster<float> shares(frame, 0.0F);
    visit_shares(shape, frame, [&](int row, int col, double share) {
        shares.at(row, col) = static_cast<float>(share);
    });
    return shares;
}

std::vector<CellShare> covered_cells(const MultiPolygon& shape, const GridFrame& frame) {
    std::vector<CellShare> cells;
    visit_shares(shape, frame, [&](int row, int col, double share) {
        cells.push_back({frame.index(row, col), share});
    });
    return cells;
}

std::vector<CellRun> covered_runs(const MultiPolygon& shape, const GridFrame& frame) {
    std::vector<CellRun> runs;
    visit_shares(shape, frame, [&](int row, int col, double share) {
        const std::size_t cell = frame.index(row, col);
        if (!runs.empty() && runs.back().share == share &&
            runs.back().first + runs.back().count == cell) {
            ++runs.back().count;
        } else {
            runs.push_back({cell, 1, share});
        }
    });
    return runs;
}

Mask centre_mask(const MultiPolygon& shape, const GridFrame& frame) {
    Mask mask(frame, 0);
    visit_centres(shape, frame, [&](int row, int first, int last) {
        std::uint8_t* cells = mask.values.data() + frame.index(row, 0);
        std::fill(cells + first, cells + last, std::uint8_t{1});
    });
    return mask;
}

Mask field_mask(const MultiPolygon& shape, const GridFrame& frame, CellRule rule) {
    Mask mask = rule == CellRule::centre ? centre_mask(shape, frame) : Mask(frame, 0);
    const bool any = std::find(mask.values.begin(), mask.values.end(), 1) != mask.values.end();
    if (any) return mask;
    const std::vector<CellShare> cells = covered_cells(shape, frame);
    double largest = 0.0;
    for (const CellShare& cell : cells) largest = std::max(largest, cell.share);
    // The rounding of the largest share must not leave out its equals.
    const double least = rule == CellRule::half && largest >= 0.5 ? 0.5 : largest;
    for (const CellShare& cell : cells) {
        if (cell.share >= least - k_share_rounding) mask[cell.cell] = 1;
    }
    return mask;
}

CellOwners assign_cells(std::span<const MultiPolygon> shapes, const GridFrame& frame,
                        OwnerRule rule, double fill_distance_m, const Mask* wanted) {
    if (!std::isfinite(fill_distance_m) || fill_distance_m < 0.0) {
        throw Error(ErrorKind::data, "the fill distance is not a length of 0 m or more");
    }
    if (wanted != nullptr && !(wanted->frame == frame)) {
        throw Error(ErrorKind::internal, "the mask and the grid are not the same");
    }
    CellOwners result;
    result.owner = Raster<int>(frame, -1);
    result.distance_m = Raster<float>(frame, 0.0F);
    const auto is_wanted = [&](std::size_t i) { return wanted == nullptr || (*wanted)[i] != 0; };

    if (rule == OwnerRule::centre) {
        for (std::size_t s = 0; s < shapes.size(); ++s) {
            visit_centres(shapes[s], frame, [&](int row, int first, int last) {
                for (int col = first; col < last; ++col) {
                    const std::size_t i = frame.index(row, col);
                    if (!is_wanted(i)) continue;
                    if (result.owner[i] < 0) {
                        result.owner[i] = static_cast<int>(s);
                    } else {
                        ++result.doubly_covered;
                    }
                }
            });
        }
    } else {
        std::vector<float> best(frame.size(), 0.0F);
        std::vector<float> total(frame.size(), 0.0F);
        for (std::size_t s = 0; s < shapes.size(); ++s) {
            visit_shares(shapes[s], frame, [&](int row, int col, double share) {
                const std::size_t i = frame.index(row, col);
                if (!is_wanted(i)) return;
                const auto part = static_cast<float>(share);
                total[i] += part;
                // A hair of advantage is rounding, not a larger share.
                if (part > best[i] + 1e-6F) {
                    best[i] = part;
                    result.owner[i] = static_cast<int>(s);
                }
            });
        }
        for (const float sum : total) result.doubly_covered += sum > 1.0F + 1e-4F ? 1 : 0;
    }

    std::vector<std::size_t> open;
    for (std::size_t i = 0; i < frame.size(); ++i) {
        if (!is_wanted(i)) continue;
        if (result.owner[i] >= 0) {
            ++result.covered;
        } else {
            open.push_back(i);
        }
    }
    if (!open.empty() && fill_distance_m > 0.0) {
        for (const MultiPolygon& shape : shapes) require_finite(shape);
        const EdgeBins bins(shapes, frame, fill_distance_m);
        for (const std::size_t i : open) {
            const int row = static_cast<int>(i / static_cast<std::size_t>(frame.cols));
            const int col = static_cast<int>(i % static_cast<std::size_t>(frame.cols));
            const auto [shape, metres] = bins.nearest({frame.x_centre(col), frame.y_centre(row)});
            if (shape < 0) continue;
            result.owner[i] = shape;
            result.distance_m[i] = static_cast<float>(metres);
            ++result.filled;
        }
    }
    result.without = open.size() - result.filled;
    return result;
}

Mask barrier_cells(std::span<const Line> lines, const GridFrame& frame) {
    Mask mask(frame, 0);
    if (frame.size() == 0) return mask;
    for (const Line& line : lines) mark_line(line, mask);
    return mask;
}

Mask barrier_cells(const MultiPolygon& areas, const GridFrame& frame) {
    Mask mask = centre_mask(areas, frame);
    if (frame.size() == 0) return mask;
    for (const Polygon& polygon : areas) {
        mark_line(polygon.outer, mask);
        for (const Ring& hole : polygon.holes) mark_line(hole, mask);
    }
    return mask;
}

}  // namespace catchfield::geometry
