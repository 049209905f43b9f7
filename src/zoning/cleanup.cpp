// SPDX-License-Identifier: MIT
// From cluster labels to zones a machine can drive: smoothing, small patches, narrow necks,
// numbers.
#include "zoning/cleanup.hpp"

#include "base/error.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <numeric>
#include <queue>
#include <tuple>
#include <utility>

namespace catchfield::zoning {

namespace {

std::size_t to_size(int value) {
    return static_cast<std::size_t>(value);
}

// Patches of the neighbourhood graph, joined as they are merged.
class PatchGraph {
  public:
    struct Edge {
        std::int32_t to = 0;
        std::int64_t shared = 0;  // cell edges
    };

    PatchGraph(const Labels& labels, const Patches& patches)
        : m_parent(patches.sizes.size()),
          m_size(patches.sizes),
          m_label(patches.labels),
          m_edges(patches.sizes.size()) {
        std::iota(m_parent.begin(), m_parent.end(), 0);
        const GridFrame& frame = labels.frame;
        std::vector<std::uint64_t> pairs;
        const auto add = [&](std::size_t i, std::size_t j) {
            const std::int32_t a = patches.patch[i];
            const std::int32_t b = patches.patch[j];
            if (a < 0 || b < 0 || a == b) return;
            pairs.push_back(static_cast<std::uint64_t>(std::min(a, b)) << 32 |
                            static_cast<std::uint64_t>(std::max(a, b)));
        };
        for (int row = 0; row < frame.rows; ++row) {
            for (int col = 0; col < frame.cols; ++col) {
                const std::size_t i = frame.index(row, col);
                if (col + 1 < frame.cols) add(i, i + 1);
                if (row + 1 < frame.rows) add(i, i + to_size(frame.cols));
            }
        }
        std::sort(pairs.begin(), pairs.end());
        for (std::size_t i = 0; i < pairs.size();) {
            std::size_t j = i;
            while (j < pairs.size() && pairs[j] == pairs[i]) ++j;
            const auto a = static_cast<std::int32_t>(pairs[i] >> 32);
            const auto b = static_cast<std::int32_t>(pairs[i] & 0xFFFFFFFFU);
            const auto shared = static_cast<std::int64_t>(j - i);
            m_edges[to_size(a)].push_back({b, shared});
            m_edges[to_size(b)].push_back({a, shared});
            i = j;
        }
    }

    std::int32_t find(std::int32_t patch) {
        while (m_parent[to_size(patch)] != patch) {
            m_parent[to_size(patch)] = m_parent[to_size(m_parent[to_size(patch)])];
            patch = m_parent[to_size(patch)];
        }
        return patch;
    }
    std::size_t size(std::int32_t root) const { return m_size[to_size(root)]; }
    std::int16_t label(std::int32_t root) const { return m_label[to_size(root)]; }

    // Current neighbours of a root with their shared edges summed, by patch number.
    const std::vector<Edge>& neighbours(std::int32_t root) {
        std::vector<Edge>& edges = m_edges[to_size(root)];
        for (Edge& edge : edges) edge.to = find(edge.to);
        std::sort(edges.begin(), edges.end(),
                  [](const Edge& a, const Edge& b) { return a.to < b.to; });
        std::size_t kept = 0;
        for (std::size_t i = 0; i < edges.size();) {
            Edge sum{edges[i].to, 0};
            for (; i < edges.size() && edges[i].to == sum.to; ++i) sum.shared += edges[i].shared;
            if (sum.to != root) edges[kept++] = sum;
        }
        edges.resize(kept);
        return edges;
    }

    // Joins two roots under `label`, the shorter edge list to the longer.
    std::int32_t join(std::int32_t a, std::int32_t b, std::int16_t label) {
        if (m_edges[to_size(a)].size() < m_edges[to_size(b)].size()) std::swap(a, b);
        m_parent[to_size(b)] = a;
        m_size[to_size(a)] += m_size[to_size(b)];
        m_label[to_size(a)] = label;
        std::vector<Edge>& from = m_edges[to_size(b)];
        m_edges[to_size(a)].insert(m_edges[to_size(a)].end(), from.begin(), from.end());
        from = {};
        return a;
    }

  private:
    std::vector<std::int32_t> m_parent;
    std::vector<std::size_t> m_size;
    std::vector<std::int16_t> m_label;
    std::vector<std::vector<Edge>> m_edges;
};

std::int16_t most_common_label(const Labels& labels, std::span<const std::size_t> cells) {
    std::vector<std::size_t> count(to_size(zone_count(labels)) + 1, 0);
    for (const std::size_t cell : cells) ++count[to_size(labels[cell])];
    count[0] = 0;
    return static_cast<std::int16_t>(std::max_element(count.begin(), count.end()) - count.begin());
}

// Parts of the field below min_cells: see merge_small_patches.
void settle_islands(Labels& labels, std::size_t min_cells) {
    Labels part_labels(labels.frame, 0);
    for (std::size_t i = 0; i < labels.size(); ++i) part_labels[i] = labels[i] > 0 ? 1 : 0;
    const Patches parts = find_patches(part_labels);
    bool any_small = false;
    bool any_large = false;
    for (const std::size_t size : parts.sizes) (size < min_cells ? any_small : any_large) = true;
    if (!any_small) return;

    std::vector<std::vector<std::size_t>> cells(parts.sizes.size());
    for (std::size_t i = 0; i < labels.size(); ++i) {
        if (parts.patch[i] < 0) continue;
        const std::size_t part = to_size(parts.patch[i]);
        if (!any_large) {
            cells[0].push_back(i);
        } else if (parts.sizes[part] < min_cells) {
            cells[part].push_back(i);
        }
    }
    Labels source = labels;
    if (any_large) {
        Mask field(labels.frame, 0);
        for (std::size_t i = 0; i < labels.size(); ++i) field[i] = labels[i] > 0;
        for (const auto& part : cells) {
            for (const std::size_t cell : part) source[cell] = 0;
        }
        source = fill_from_nearest(source, field);
    }
    for (const auto& part : cells) {
        if (part.empty()) continue;
        const std::int16_t label = most_common_label(source, part);
        for (const std::size_t cell : part) labels[cell] = label;
    }
}

}  // namespace

int zone_count(const Labels& labels) {
    std::int16_t largest = 0;
    for (const std::int16_t label : labels.values) largest = std::max(largest, label);
    return largest;
}

Labels majority_pass(const Labels& labels) {
    const GridFrame& frame = labels.frame;
    Labels out = labels;
    std::vector<int> votes(to_size(zone_count(labels)) + 1, 0);
    for (int row = 0; row < frame.rows; ++row) {
        const int top = std::max(row - 1, 0);
        const int bottom = std::min(row + 1, frame.rows - 1);
        for (int col = 0; col < frame.cols; ++col) {
            const std::int16_t centre = labels.at(row, col);
            if (centre == 0) continue;
            const int left = std::max(col - 1, 0);
            const int right = std::min(col + 1, frame.cols - 1);
            std::array<std::int16_t, 9> window;
            std::size_t size = 0;
            bool same = true;
            for (int r = top; r <= bottom; ++r) {
                for (int c = left; c <= right; ++c) {
                    const std::int16_t label = labels.at(r, c);
                    if (label == 0) continue;
                    window[size++] = label;
                    same = same && label == centre;
                }
            }
            if (same) continue;
            for (std::size_t i = 0; i < size; ++i) ++votes[to_size(window[i])];
            std::int16_t best = centre;
            for (std::size_t i = 0; i < size; ++i) {
                const int lead = votes[to_size(window[i])] - votes[to_size(best)];
                if (lead > 0 || (lead == 0 && best != centre && window[i] < best)) {
                    best = window[i];
                }
            }
            if (votes[to_size(best)] == votes[to_size(centre)]) best = centre;
            for (std::size_t i = 0; i < size; ++i) votes[to_size(window[i])] = 0;
            out.at(row, col) = best;
        }
    }
    return out;
}

Patches find_patches(const Labels& labels) {
    const GridFrame& frame = labels.frame;
    Patches out;
    out.patch.assign(labels.size(), -1);
    std::vector<std::size_t> stack;
    const std::size_t cols = to_size(frame.cols);
    for (std::size_t start = 0; start < labels.size(); ++start) {
        if (labels[start] == 0 || out.patch[start] >= 0) continue;
        const auto number = static_cast<std::int32_t>(out.sizes.size());
        const std::int16_t label = labels[start];
        std::size_t size = 0;
        const auto visit = [&](std::size_t i) {
            if (labels[i] != label || out.patch[i] >= 0) return;
            out.patch[i] = number;
            stack.push_back(i);
        };
        visit(start);
        while (!stack.empty()) {
            const std::size_t i = stack.back();
            stack.pop_back();
            ++size;
            const std::size_t col = i % cols;
            if (col > 0) visit(i - 1);
            if (col + 1 < cols) visit(i + 1);
            if (i >= cols) visit(i - cols);
            if (i + cols < labels.size()) visit(i + cols);
        }
        out.sizes.push_back(size);
        out.labels.push_back(label);
    }
    return out;
}

Labels merge_small_patches(const Labels& labels, std::size_t min_cells) {
    const Patches patches = find_patches(labels);
    if (std::all_of(patches.sizes.begin(), patches.sizes.end(),
                    [&](std::size_t size) { return size >= min_cells; })) {
        return labels;
    }
    PatchGraph graph(labels, patches);
    using Entry = std::pair<std::size_t, std::int32_t>;  // size, root
    std::priority_queue<Entry, std::vector<Entry>, std::greater<>> queue;
    for (std::size_t p = 0; p < patches.sizes.size(); ++p) {
        if (patches.sizes[p] < min_cells) {
            queue.emplace(patches.sizes[p], static_cast<std::int32_t>(p));
        }
    }
    std::vector<std::int32_t> joined;
    while (!queue.empty()) {
        const auto [size, small] = queue.top();
        queue.pop();
        if (graph.find(small) != small || graph.size(small) != size) continue;  // out of date
        const std::vector<PatchGraph::Edge>& neighbours = graph.neighbours(small);
        if (neighbours.empty()) continue;  // a part of the field of its own
        PatchGraph::Edge best = neighbours.front();
        for (const PatchGraph::Edge& edge : neighbours) {
            const auto key = [&](const PatchGraph::Edge& e) {
                return std::tuple(-e.shared, -static_cast<std::int64_t>(graph.size(e.to)),
                                  graph.label(e.to), e.to);
            };
            if (key(edge) < key(best)) best = edge;
        }
        const std::int16_t label = graph.label(best.to);
        joined.clear();
        for (const PatchGraph::Edge& edge : neighbours) {
            // Others of the same label now touch each other through the merged patch.
            if (graph.label(edge.to) == label) joined.push_back(edge.to);
        }
        std::int32_t root = small;
        for (const std::int32_t other : joined) root = graph.join(root, other, label);
        if (graph.size(root) < min_cells) queue.emplace(graph.size(root), root);
    }
    Labels out = labels;
    for (std::size_t i = 0; i < out.size(); ++i) {
        if (patches.patch[i] >= 0) out[i] = graph.label(graph.find(patches.patch[i]));
    }
    settle_islands(out, min_cells);
    return out;
}

Labels remove_necks(const Labels& labels, int width_cells) {
    if (width_cells < 2) return labels;
    const GridFrame& frame = labels.frame;
    const int w = width_cells;
    const int rows = frame.rows;
    const int cols = frame.cols;
    // Squares are named by their upper left corner, which may lie up to w - 1 cells off the grid.
    // A square stands for one zone where its smallest and largest label agree; ground outside the
    // field counts for neither.
    constexpr std::int16_t none_low = std::numeric_limits<std::int16_t>::max();
    const int wide = cols + w - 1;
    const int high = rows + w - 1;
    std::vector<std::int16_t> row_low(to_size(rows) * to_size(wide), none_low);
    std::vector<std::int16_t> row_high(row_low.size(), 0);
    for (int row = 0; row < rows; ++row) {
        for (int col = 0; col < cols; ++col) {
            const std::int16_t label = labels.at(row, col);
            if (label == 0) continue;
            const std::size_t base = to_size(row) * to_size(wide) + to_size(col);
            for (std::size_t s = base; s < base + to_size(w); ++s) {
                row_low[s] = std::min(row_low[s], label);
                row_high[s] = std::max(row_high[s], label);
            }
        }
    }
    std::vector<std::uint8_t> uniform(to_size(high) * to_size(wide), 0);
    for (int corner = 0; corner < high; ++corner) {
        const int from = std::max(corner - (w - 1), 0);
        const int to = std::min(corner, rows - 1);
        for (std::size_t c = 0; c < to_size(wide); ++c) {
            std::int16_t low = none_low;
            std::int16_t top = 0;
            for (int row = from; row <= to; ++row) {
                low = std::min(low, row_low[to_size(row) * to_size(wide) + c]);
                top = std::max(top, row_high[to_size(row) * to_size(wide) + c]);
            }
            uniform[to_size(corner) * to_size(wide) + c] = low == top;
        }
    }
    Labels kept(frame, 0);
    std::vector<std::size_t> open;
    for (int row = 0; row < rows; ++row) {
        for (int col = 0; col < cols; ++col) {
            const std::size_t i = frame.index(row, col);
            if (labels[i] == 0) continue;
            bool covered = false;
            for (int corner = row; corner < row + w && !covered; ++corner) {
                const std::size_t base = to_size(corner) * to_size(wide) + to_size(col);
                for (std::size_t s = base; s < base + to_size(w) && !covered; ++s) {
                    covered = uniform[s] != 0;
                }
            }
            if (covered) {
                kept[i] = labels[i];
            } else {
                open.push_back(i);
            }
        }
    }
    // From the kept ground inwards, one ring of cells a round: all cells of a round look at the
    // state before it.
    const std::size_t width = to_size(cols);
    std::vector<std::pair<std::size_t, std::int16_t>> given;
    while (!open.empty()) {
        given.clear();
        for (const std::size_t i : open) {
            std::array<std::int16_t, 4> beside{};
            const std::size_t col = i % width;
            if (col > 0) beside[0] = kept[i - 1];
            if (col + 1 < width) beside[1] = kept[i + 1];
            if (i >= width) beside[2] = kept[i - width];
            if (i + width < labels.size()) beside[3] = kept[i + width];
            std::int16_t best = 0;
            std::ptrdiff_t most = 0;
            for (const std::int16_t label : beside) {
                if (label == 0 || label == labels[i]) continue;
                const auto shared = std::count(beside.begin(), beside.end(), label);
                if (shared > most || (shared == most && label < best)) {
                    most = shared;
                    best = label;
                }
            }
            if (best != 0) given.emplace_back(i, best);
        }
        if (given.empty()) break;
        for (const auto& [i, label] : given) kept[i] = label;
        std::erase_if(open, [&](std::size_t i) { return kept[i] != 0; });
    }
    for (const std::size_t i : open) kept[i] = labels[i];
    return kept;
}

Labels fill_from_nearest(const Labels& labels, const Mask& field) {
    const GridFrame& frame = labels.frame;
    if (field.frame != frame || field.size() != labels.size()) {
        throw Error(ErrorKind::data, "labels and field are on different grids");
    }
    bool any_open = false;
    bool any_label = false;
    for (std::size_t i = 0; i < labels.size(); ++i) {
        any_open = any_open || (field[i] && labels[i] == 0);
        any_label = any_label || labels[i] != 0;
    }
    if (!any_open) return labels;
    if (!any_label) throw Error(ErrorKind::data, "no cell of the field has a zone");

    // Nearest labelled cell in each column (distance in rows, and its label), then along the rows:
    // exact, and no farther than the nearest label.
    constexpr std::int64_t far = std::int64_t{1} << 30;
    struct Nearest {
        std::int64_t rows = far;
        std::int16_t label = 0;
    };
    std::vector<Nearest> column(labels.size());
    const auto sweep = [&](int row, int previous) {
        for (int col = 0; col < frame.cols; ++col) {
            const std::size_t i = frame.index(row, col);
            Nearest& here = column[i];
            if (labels[i] != 0) {
                here = {0, labels[i]};
            } else if (previous >= 0 && previous < frame.rows) {
                const Nearest& beside = column[frame.index(previous, col)];
                if (beside.rows >= far) continue;
                if (beside.rows + 1 < here.rows ||
                    (beside.rows + 1 == here.rows && beside.label < here.label)) {
                    here = {beside.rows + 1, beside.label};
                }
            }
        }
    };
    for (int row = 0; row < frame.rows; ++row) sweep(row, row - 1);
    for (int row = frame.rows - 1; row >= 0; --row) sweep(row, row + 1);

    Labels out = labels;
    for (int row = 0; row < frame.rows; ++row) {
        for (int col = 0; col < frame.cols; ++col) {
            const std::size_t i = frame.index(row, col);
            if (!field[i] || labels[i] != 0) continue;
            std::int64_t best = std::numeric_limits<std::int64_t>::max();
            std::int16_t label = 0;
            for (int step = 0; step < frame.cols; ++step) {
                const std::int64_t across = static_cast<std::int64_t>(step) * step;
                if (across > best) break;
                for (const int c : {col - step, col + step}) {
                    if (c < 0 || c >= frame.cols) continue;
                    const Nearest& there = column[frame.index(row, c)];
                    if (there.rows >= far) continue;
                    const std::int64_t distance = across + there.rows * there.rows;
                    if (distance < best || (distance == best && there.label < label)) {
                        best = distance;
                        label = there.label;
                    }
                }
            }
            out[i] = label;
        }
    }
    return out;
}

Labels clean_up(const Labels& labels, const CleanupOptions& options) {
    if (options.majority_passes < 0 || !(options.min_area_ha >= 0.0) ||
        !(options.working_width_m >= 0.0)) {
        throw Error(ErrorKind::usage,
                    "majority passes, minimum area and working width must be 0 or more");
    }
    Labels out = labels;
    for (int pass = 0; pass < options.majority_passes; ++pass) out = majority_pass(out);
    const auto min_cells = static_cast<std::size_t>(
        std::ceil(options.min_area_ha / labels.frame.cell_area_ha() * (1.0 - 1e-12)));
    const int width_cells =
        static_cast<int>(std::ceil(options.working_width_m / labels.frame.cell * (1.0 - 1e-12)));
    out = merge_small_patches(out, min_cells);
    for (int round = 0; round < 3 && width_cells > 1; ++round) {
        const Labels before = out;
        out = merge_small_patches(remove_necks(out, width_cells), min_cells);
        if (out.values == before.values) break;
    }
    return out;
}

Labels number_by_score(const Labels& labels, std::span<const double> mean_score) {
    const std::size_t count = to_size(zone_count(labels));
    if (mean_score.size() <= count) {
        throw Error(ErrorKind::internal, "a zone has no score to be numbered by");
    }
    std::vector<std::uint8_t> seen(count + 1, 0);
    for (const std::int16_t label : labels.values) seen[to_size(label)] = 1;
    std::vector<std::int16_t> order;
    for (std::size_t label = 1; label <= count; ++label) {
        if (seen[label]) order.push_back(static_cast<std::int16_t>(label));
    }
    std::stable_sort(order.begin(), order.end(), [&](std::int16_t a, std::int16_t b) {
        return mean_score[to_size(a)] > mean_score[to_size(b)];
    });
    std::vector<std::int16_t> number(count + 1, 0);
    for (std::size_t i = 0; i < order.size(); ++i) {
        number[to_size(order[i])] = static_cast<std::int16_t>(i + 1);
    }
    Labels out = labels;
    for (std::int16_t& label : out.values) label = number[to_size(label)];
    return out;
}

Labels merge_zones(const Labels& labels, std::span<const int> zones) {
    const int count = zone_count(labels);
    std::vector<std::uint8_t> named(to_size(count) + 1, 0);
    for (const int zone : zones) {
        if (zone < 1 || zone > count) {
            throw Error(ErrorKind::usage, "there is no zone " + std::to_string(zone),
                        {.hint = "Zones are numbered 1 to " + std::to_string(count) + "."});
        }
        named[to_size(zone)] = 1;
    }
    if (std::accumulate(named.begin(), named.end(), 0) < 2) {
        throw Error(ErrorKind::usage, "merging needs two different zones");
    }
    std::vector<std::int16_t> number(to_size(count) + 1, 0);
    std::int16_t next = 0;
    std::int16_t merged = 0;
    for (int zone = 1; zone <= count; ++zone) {
        if (!named[to_size(zone)]) {
            number[to_size(zone)] = ++next;
        } else {
            if (merged == 0) merged = ++next;
            number[to_size(zone)] = merged;
        }
    }
    Labels out = labels;
    for (std::int16_t& label : out.values) label = number[to_size(label)];
    return out;
}

Labels renumber_zones(const Labels& labels, std::span<const int> new_numbers) {
    const int count = zone_count(labels);
    std::vector<std::uint8_t> taken(to_size(count) + 1, 0);
    bool good = new_numbers.size() == to_size(count);
    for (const int number : new_numbers) {
        good = good && number >= 1 && number <= count && !taken[to_size(number)];
        if (!good) break;
        taken[to_size(number)] = 1;
    }
    if (!good) {
        throw Error(ErrorKind::usage,
                    "the new zone numbers must be 1 to " + std::to_string(count) + ", each once");
    }
    Labels out = labels;
    for (std::int16_t& label : out.values) {
        if (label > 0) label = static_cast<std::int16_t>(new_numbers[to_size(label) - 1]);
    }
    return out;
}

}  // namespace catchfield::zoning
