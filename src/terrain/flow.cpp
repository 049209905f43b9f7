// SPDX-License-Identifier: MIT
// Priority-flood, multiple-flow and D-infinity routing.
#include "terrain/flow.hpp"

#include "terrain/parallel.hpp"
#include "terrain/route.hpp"

#include <algorithm>
#include <array>
#include <atomic>
#include <bit>
#include <cmath>
#include <numbers>
#include <oneapi/tbb/parallel_for.h>

namespace catchfield::terrain {

namespace {

using Position = std::uint32_t;  // grids have fewer than 2^32 cells

std::uint8_t with_direction(std::uint8_t flags, int k) {
    return static_cast<std::uint8_t>((flags & ~flag::direction) | k);
}

bool is_waiting(const Ground& ground, std::size_t p) {
    return (ground.flags[p] & (flag::inside | flag::done)) == flag::inside;
}

// ---------------------------------------------------------------------------------------------
// Flood

/// Radix heap (Ahuja, Mehlhorn, Orlin & Tarjan 1990, J. ACM 37:213-223). Fits here because the
/// flood never adds a cell below the level it has reached.
class SpillQueue {
  public:
    void push(float z, Position p) {
        const Item item{ordered(z), p};
        m_buckets[bucket(item.key)].push_back(item);
        ++m_size;
    }
    bool empty() const { return m_size == 0; }
    /// Takes all cells of the lowest elevation.
    void pop_lowest(std::vector<Position>& cells) {
        if (m_buckets[0].empty()) settle();
        cells.clear();
        for (const Item& item : m_buckets[0]) cells.push_back(item.position);
        m_size -= m_buckets[0].size();
        m_buckets[0].clear();
    }

  private:
    struct Item {
        std::uint32_t key;
        Position position;
    };
    /// Unsigned integers in the order of the floats. Adding 0 turns -0 into 0.
    static std::uint32_t ordered(float z) {
        const auto bits = std::bit_cast<std::uint32_t>(z + 0.0F);
        return (bits & 0x80000000U) != 0 ? ~bits : bits | 0x80000000U;
    }
    std::size_t bucket(std::uint32_t key) const {
        return static_cast<std::size_t>(std::bit_width(key ^ m_last));
    }
    void settle() {
        std::size_t b = 1;
        while (m_buckets[b].empty()) ++b;
        m_last = std::min_element(m_buckets[b].begin(), m_buckets[b].end(),
                                  [](const Item& x, const Item& y) { return x.key < y.key; })
                     ->key;
        for (const Item& item : m_buckets[b]) m_buckets[bucket(item.key)].push_back(item);
        m_buckets[b].clear();
    }

    std::array<std::vector<Item>, 33> m_buckets;
    std::uint32_t m_last = 0;
    std::size_t m_size = 0;
};

/// Settles all cells that rise from those of `cells` (which grows by them): they drain by
/// themselves. Then queues those that still touch a waiting cell, which cannot be higher: there
/// water may spill.
void climb(Ground& ground, std::vector<Position>& cells, SpillQueue& spills) {
    for (std::size_t next = 0; next < cells.size(); ++next) {
        const Position p = cells[next];
        const float z = ground.z[p];
        for (int k = 0; k < 8; ++k) {
            const std::size_t n = ground.neighbour(p, k);
            if (!is_waiting(ground, n) || ground.z[n] <= z) continue;
            ground.flags[n] |= flag::done;
            cells.push_back(static_cast<Position>(n));
        }
    }
    for (const Position p : cells) {
        for (int k = 0; k < 8; ++k) {
            if (is_waiting(ground, ground.neighbour(p, k))) {
                spills.push(ground.z[p], p);
                break;
            }
        }
    }
    cells.clear();
}

}  // namespace

void flood(Ground& ground) {
    SpillQueue spills;
    std::vector<Position> slope_cells;
    for (int row = 0; row < ground.frame.rows; ++row) {
        std::size_t p = ground.position(row, 0);
        for (int col = 0; col < ground.frame.cols; ++col, ++p) {
            if ((ground.flags[p] & flag::edge) == 0) continue;
            ground.flags[p] |= flag::done;
            slope_cells.push_back(static_cast<Position>(p));
        }
    }
    climb(ground, slope_cells, spills);

    std::vector<Position> level_cells;
    while (!spills.empty()) {
        // All spill points of a level at once and their surroundings by distance, so that flats
        // drain along shortest ways, to all sides that are open.
        spills.pop_lowest(level_cells);
        const float level = ground.z[level_cells.front()];
        for (std::size_t next = 0; next < level_cells.size(); ++next) {
            const Position p = level_cells[next];
            for (int k = 0; k < 8; ++k) {
                const std::size_t n = ground.neighbour(p, k);
                if (!is_waiting(ground, n)) continue;
                if (ground.z[n] > level) {
                    ground.flags[n] |= flag::done;
                    slope_cells.push_back(static_cast<Position>(n));
                } else {
                    ground.z[n] = level;
                    ground.flags[n] =
                        with_direction(ground.flags[n] | flag::done | flag::flat, opposite(k));
                    level_cells.push_back(static_cast<Position>(n));
                }
            }
        }
        if (!slope_cells.empty()) climb(ground, slope_cells, spills);
    }
}

namespace {

// ---------------------------------------------------------------------------------------------
// Routing

/// Elevation of a neighbour outside the domain; the slope goes straight on where it is not known.
float outside_z(const Ground& ground, std::size_t p, int k) {
    const std::size_t n = ground.neighbour(p, k);
    if (ground.is_known(n)) return ground.z[n];
    const std::size_t behind = ground.neighbour(p, opposite(k));
    return ground.is_known(behind) ? 2.0F * ground.z[p] - ground.z[behind] : ground.z[p];
}

float neighbour_z(const Ground& ground, std::size_t p, int k) {
    const std::size_t n = ground.neighbour(p, k);
    return ground.is_inside(n) ? ground.z[n] : outside_z(ground, p, k);
}

/// Drop times contour length over distance, but for a common factor: 1/2 and 0.354 = sqrt(2)/4
/// over D and sqrt(2) D (Quinn et al. 1991).
float quinn_weight(float drop, int k) {
    return k % 2 == 0 ? drop : 0.5F * drop;
}

bool drains_here(const Ground& ground, std::size_t from, int direction_to_it) {
    constexpr std::uint8_t mask = flag::inside | flag::flat | flag::direction;
    return (ground.flags[from] & mask) == (flag::inside | flag::flat | opposite(direction_to_it));
}

/// What a cell gets from flat neighbours, which give all they have.
double from_flats(const Ground& ground, const std::vector<double>& value, std::size_t p) {
    double sum = 0.0;
    for (int k = 0; k < 8; ++k) {
        const std::size_t n = ground.neighbour(p, k);
        if (drains_here(ground, n, k)) sum += value[n];
    }
    return sum;
}

struct Exchange {
    double inflow = 0.0;       ///< from higher neighbours, m2
    double weights = 0.0;      ///< to lower neighbours inside the domain
    double weights_out = 0.0;  ///< to lower neighbours outside
};

// Multiple flow is seen from the receiving cell: each share is the same product of the same numbers
// whoever computes it, so no order of the cells changes a result.

/// Where all neighbours are inside; no branches. Values of lower neighbours are multiplied by 0.
Exchange exchange_inside(const Ground& ground, const std::vector<double>& value, std::size_t p) {
    Exchange e;
    const float z = ground.z[p];
    for (int k = 0; k < 8; ++k) {
        const std::size_t n = ground.neighbour(p, k);
        const float weight = quinn_weight(ground.z[n] - z, k);
        e.inflow += static_cast<double>(std::max(weight, 0.0F)) * value[n];
        e.weights += static_cast<double>(std::max(-weight, 0.0F));
    }
    return e;
}

/// Anywhere; values of lower neighbours are not touched.
Exchange exchange_anywhere(const Ground& ground, const std::vector<double>& value, std::size_t p) {
    Exchange e;
    const float z = ground.z[p];
    for (int k = 0; k < 8; ++k) {
        const std::size_t n = ground.neighbour(p, k);
        const bool inside = ground.is_inside(n);
        const float weight = quinn_weight((inside ? ground.z[n] : outside_z(ground, p, k)) - z, k);
        if (weight < 0.0F) {
            (inside ? e.weights : e.weights_out) -= static_cast<double>(weight);
        } else if (inside && weight > 0.0F) {
            e.inflow += static_cast<double>(weight) * value[n];
        }
    }
    return e;
}

/// The two receivers of D-infinity: a facet's nearest and diagonal neighbour.
struct Split {
    int near = -1;  ///< direction, or -1 for a cell without lower neighbour
    int diagonal = 0;
    double near_share = 0.0;
};

Split d_infinity(const Ground& ground, std::size_t p) {
    std::array<double, 8> z{};
    for (int k = 0; k < 8; ++k) {
        z[static_cast<std::size_t>(k)] = static_cast<double>(neighbour_z(ground, p, k));
    }
    const double centre = static_cast<double>(ground.z[p]);
    Split best;
    double steepest = 0.0;  // squared
    double along = 0.0;     // slopes of the steepest facet, towards and past the near neighbour
    double across = 0.0;
    for (int near = 0; near < 8; near += 2) {
        for (const int turn : {1, 7}) {
            const int diagonal = (near + turn) % 8;
            double s1 = centre - z[static_cast<std::size_t>(near)];
            double s2 = z[static_cast<std::size_t>(near)] - z[static_cast<std::size_t>(diagonal)];
            if (s2 < 0.0) s2 = 0.0;  // the facet turns away: along its straight edge
            if (s2 > s1) s1 = s2 = 0.5 * (s1 + s2);  // or along its diagonal edge
            const double slope = s1 * s1 + s2 * s2;
            if (s1 > 0.0 && slope > steepest) {
                steepest = slope;
                along = s1;
                across = s2;
                best = {near, diagonal, 0.0};
            }
        }
    }
    if (best.near < 0) return best;
    best.near_share = 1.0 - std::atan2(across, along) / (std::numbers::pi / 4.0);
    return best;
}

/// Count of neighbours a cell waits for, and marks, one byte a cell.
namespace wait {
constexpr std::uint8_t count = 0x0F;
constexpr std::uint8_t source = 0x40;      ///< waits for none from the start
constexpr std::uint8_t takes_flat = 0x80;  ///< a flat neighbour drains here
}  // namespace wait

/// The flood marks every cell it levels as flat; those with a lower neighbour are not.
void unmark_sloping(Ground& ground) {
    const int cols = ground.frame.cols;
    for_rows(ground.frame.rows, cols, [&](int first, int end) {
        for (int row = first; row < end; ++row) {
            std::size_t p = ground.position(row, 0);
            for (int col = 0; col < cols; ++col, ++p) {
                if ((ground.flags[p] & flag::flat) == 0) continue;
                bool lower = false;
                for (int k = 0; k < 8; ++k) {
                    lower |= ground.z[ground.neighbour(p, k)] < ground.z[p];
                }
                if (lower)
                    ground.flags[p] = static_cast<std::uint8_t>(ground.flags[p] & ~flag::flat);
            }
        }
    });
}

/// Bands of rows that are worked on at the same time.
struct Bands {
    int rows = 0;
    int count = 1;
    int height = 0;

    Bands(int rows_, int cols) : rows(rows_) {
        constexpr int least_height = 128;
        if (static_cast<std::size_t>(rows) * static_cast<std::size_t>(cols) >= parallel_cells) {
            count = std::clamp(rows / least_height, 1, 32);
        }
        height = (rows + count - 1) / count;
        count = (rows + height - 1) / height;
    }
    int first(int band) const { return band * height; }
    int end(int band) const { return std::min(rows, (band + 1) * height); }
};

/// One byte a cell: how many neighbours have to be done first.
std::vector<std::uint8_t> count_higher(const Ground& ground) {
    std::vector<std::uint8_t> waits(ground.z.size(), 0);
    const int cols = ground.frame.cols;
    for_rows(ground.frame.rows, cols, [&](int first, int end) {
        for (int row = first; row < end; ++row) {
            std::size_t p = ground.position(row, 0);
            for (int col = 0; col < cols; ++col, ++p) {
                if (!ground.is_inside(p)) continue;
                int higher = 0;
                int flats = 0;
                for (int k = 0; k < 8; ++k) {
                    const std::size_t n = ground.neighbour(p, k);
                    higher += static_cast<int>(ground.is_inside(n)) &
                              static_cast<int>(ground.z[n] > ground.z[p]);
                    flats += static_cast<int>(drains_here(ground, n, k));
                }
                const int all = higher + flats;
                waits[p] = static_cast<std::uint8_t>((all == 0 ? wait::source : all) |
                                                     (flats > 0 ? wait::takes_flat : 0));
            }
        }
    });
    return waits;
}

/// One band of rows: does every cell whose upslope neighbours are done, as long as there are any.
class BandWorker {
  public:
    std::vector<Position> ready;      ///< cells of this band to begin with
    std::vector<Position> for_above;  ///< cells of the band above that became ready
    std::vector<Position> for_below;

    BandWorker(const Ground& ground, std::vector<std::uint8_t>& waits, std::vector<double>& value,
               int first_row, int end_row)
        : m_ground(ground),
          m_waits(waits),
          m_value(value),
          m_begin(ground.position(first_row, 0)),
          m_end(ground.position(end_row, 0)),
          m_shared_begin(ground.position(first_row + 1, 0)),
          m_shared_end(ground.position(end_row - 1, 0)),
          m_cell_m2(ground.frame.cell_area_m2()) {}

    void start() {
        for (std::size_t p = m_begin; p < m_end; ++p) {
            if ((load(p) & wait::source) == 0) continue;
            ready.push_back(static_cast<Position>(p));
            run();
        }
    }
    void run() {
        while (!ready.empty()) {
            const Position p = ready.back();
            ready.pop_back();
            finish(p);
        }
    }

  private:
    /// Only the first and last row of a band are seen by two threads.
    bool is_own(std::size_t p) const { return p >= m_shared_begin && p < m_shared_end; }
    std::uint8_t load(std::size_t p) const {
        if (is_own(p)) return m_waits[p];
        return std::atomic_ref(m_waits[p]).load(std::memory_order_acquire);
    }

    void finish(std::size_t p) {
        const bool simple = is_own(p) && (m_ground.flags[p] & flag::edge) == 0;
        Exchange e = simple ? exchange_inside(m_ground, m_value, p)
                            : exchange_anywhere(m_ground, m_value, p);
        if ((load(p) & wait::takes_flat) != 0) e.inflow += from_flats(m_ground, m_value, p);
        const double weights = e.weights + e.weights_out;
        const double area = m_cell_m2 + e.inflow;
        m_value[p] = weights > 0.0 ? area / weights : area;

        if (e.weights > 0.0) {
            const float z = m_ground.z[p];
            for (int k = 0; k < 8; ++k) {
                const std::size_t n = m_ground.neighbour(p, k);
                if (m_ground.z[n] < z && m_ground.is_inside(n)) release(n);
            }
        } else if ((m_ground.flags[p] & flag::flat) != 0) {
            release(m_ground.neighbour(p, m_ground.flags[p] & flag::direction));
        }
    }

    void release(std::size_t p) {
        std::uint8_t left = 0;
        if (is_own(p)) {
            left = --m_waits[p];
        } else {
            left = static_cast<std::uint8_t>(
                std::atomic_ref(m_waits[p]).fetch_sub(1, std::memory_order_acq_rel) - 1);
        }
        if ((left & wait::count) != 0) return;
        auto& list = p < m_begin ? for_above : p >= m_end ? for_below : ready;
        list.push_back(static_cast<Position>(p));
    }

    const Ground& m_ground;
    std::vector<std::uint8_t>& m_waits;
    std::vector<double>& m_value;
    std::size_t m_begin;
    std::size_t m_end;
    std::size_t m_shared_begin;
    std::size_t m_shared_end;
    double m_cell_m2;
};

void route_multiple(const Ground& ground, std::vector<double>& value) {
    std::vector<std::uint8_t> waits = count_higher(ground);
    const Bands bands(ground.frame.rows, ground.frame.cols);
    std::vector<BandWorker> workers;
    for (int band = 0; band < bands.count; ++band) {
        workers.emplace_back(ground, waits, value, bands.first(band), bands.end(band));
    }
    if (workers.size() == 1) {
        workers[0].start();
        return;
    }
    const auto for_all = [&workers](auto&& work) {
        oneapi::tbb::parallel_for(std::size_t{0}, workers.size(),
                                  [&](std::size_t i) { work(workers[i]); });
    };
    for_all([](BandWorker& worker) { worker.start(); });
    // Flow that crosses from band to band is handed over until none is left.
    bool handed_over = true;
    while (handed_over) {
        handed_over = false;
        for (std::size_t i = 0; i < workers.size(); ++i) {
            for (auto* list : {&workers[i].for_above, &workers[i].for_below}) {
                if (list->empty()) continue;
                auto& ready = workers[list == &workers[i].for_above ? i - 1 : i + 1].ready;
                ready.insert(ready.end(), list->begin(), list->end());
                list->clear();
                handed_over = true;
            }
        }
        if (handed_over) for_all([](BandWorker& worker) { worker.run(); });
    }
}

/// Receivers of a cell inside the domain with their shares; what is not given has left.
struct Receivers {
    std::array<std::size_t, 2> cell{};
    std::array<double, 2> share{};
    int count = 0;
};

Receivers receivers(const Ground& ground, std::size_t p) {
    Receivers result;
    const auto add = [&](int k, double share) {
        const std::size_t n = ground.neighbour(p, k);
        if (share <= 0.0 || !ground.is_inside(n)) return;
        const auto i = static_cast<std::size_t>(result.count++);
        result.cell[i] = n;
        result.share[i] = share;
    };
    if ((ground.flags[p] & flag::flat) != 0) {
        add(ground.flags[p] & flag::direction, 1.0);
        return result;
    }
    const Split split = d_infinity(ground, p);
    if (split.near < 0) return result;
    add(split.near, split.near_share);
    add(split.diagonal, 1.0 - split.near_share);
    return result;
}

/// Returns the area that left.
double route_d_infinity(const Ground& ground, std::vector<double>& value) {
    const int cols = ground.frame.cols;
    const double cell_m2 = ground.frame.cell_area_m2();
    std::vector<std::uint8_t> waits(ground.z.size(), 0);
    for_rows(ground.frame.rows, cols, [&](int first, int end) {
        for (int row = first; row < end; ++row) {
            std::size_t p = ground.position(row, 0);
            for (int col = 0; col < cols; ++col, ++p) {
                if (!ground.is_inside(p)) continue;
                value[p] = cell_m2;
                const Receivers to = receivers(ground, p);
                for (int i = 0; i < to.count; ++i) {
                    std::atomic_ref(waits[to.cell[static_cast<std::size_t>(i)]])
                        .fetch_add(1, std::memory_order_relaxed);
                }
            }
        }
    });
    // One thread in a fixed order: here a sum depends on who gives first.
    std::vector<Position> sources;
    for (std::size_t p = 0; p < waits.size(); ++p) {
        if (ground.is_inside(p) && waits[p] == 0) sources.push_back(static_cast<Position>(p));
    }
    double left_m2 = 0.0;
    while (!sources.empty()) {
        const Position p = sources.back();
        sources.pop_back();
        const Receivers to = receivers(ground, p);
        double given = 0.0;
        for (std::size_t i = 0; i < static_cast<std::size_t>(to.count); ++i) {
            value[to.cell[i]] += to.share[i] * value[p];
            given += to.share[i];
            if (--waits[to.cell[i]] == 0) sources.push_back(static_cast<Position>(to.cell[i]));
        }
        left_m2 += (1.0 - given) * value[p];
    }
    return left_m2;
}

}  // namespace

Flow route(Ground& ground, Routing routing) {
    unmark_sloping(ground);
    Flow flow;
    flow.routing = routing;
    flow.value.assign(ground.z.size(), 0.0);
    const int rows = ground.frame.rows;
    const int cols = ground.frame.cols;
    if (routing == Routing::d_infinity) {
        flow.outflow_m2 = route_d_infinity(ground, flow.value);
    } else {
        route_multiple(ground, flow.value);
    }
    std::vector<double> row_outflow(static_cast<std::size_t>(rows), 0.0);
    std::vector<std::size_t> row_cells(static_cast<std::size_t>(rows), 0);
    for_rows(rows, cols, [&](int first, int end) {
        for (int row = first; row < end; ++row) {
            const auto r = static_cast<std::size_t>(row);
            std::size_t p = ground.position(row, 0);
            for (int col = 0; col < cols; ++col, ++p) {
                if (!ground.is_inside(p)) continue;
                ++row_cells[r];
                if ((ground.flags[p] & flag::edge) == 0 || routing != Routing::multiple) continue;
                const Exchange e = exchange_anywhere(ground, flow.value, p);
                if (e.weights + e.weights_out > 0.0) {
                    row_outflow[r] += flow.value[p] * e.weights_out;
                } else {
                    row_outflow[r] += flow.value[p];
                }
            }
        }
    });
    std::size_t cells = 0;
    for (std::size_t r = 0; r < row_cells.size(); ++r) {
        cells += row_cells[r];
        flow.outflow_m2 += row_outflow[r];
    }
    flow.domain_m2 = static_cast<double>(cells) * ground.frame.cell_area_m2();
    return flow;
}

double inflow_m2(const Ground& ground, const Flow& flow, std::size_t p) {
    if (flow.routing == Routing::d_infinity) {
        return flow.value[p] - ground.frame.cell_area_m2();
    }
    const Exchange e = (ground.flags[p] & flag::edge) == 0
                           ? exchange_inside(ground, flow.value, p)
                           : exchange_anywhere(ground, flow.value, p);
    return e.inflow + from_flats(ground, flow.value, p);
}

Raster<float> fill_depressions(const Raster<float>& dem_m, const Mask& domain) {
    require_elevations(dem_m, &domain);
    Ground ground = make_ground(dem_m, &domain, &domain);
    flood(ground);
    Raster<float> filled = dem_m;
    for_rows(dem_m.frame.rows, dem_m.frame.cols, [&](int first, int end) {
        for (int row = first; row < end; ++row) {
            for (int col = 0; col < dem_m.frame.cols; ++col) {
                const std::size_t i = dem_m.frame.index(row, col);
                if (domain[i] != 0) filled[i] = ground.z[ground.position(row, col)];
            }
        }
    });
    return filled;
}

FlowResult route_flow(const Raster<float>& dem_m, const Mask& domain, const Mask* known,
                      Routing routing) {
    require_elevations(dem_m, known);
    require_same_frame(dem_m.frame, domain, "flow domain");
    Ground ground = make_ground(dem_m, known, &domain);
    flood(ground);
    const Flow flow = route(ground, routing);
    FlowResult result{dem_m, Raster<double>(dem_m.frame), flow.domain_m2, flow.outflow_m2};
    for_rows(dem_m.frame.rows, dem_m.frame.cols, [&](int first, int end) {
        for (int row = first; row < end; ++row) {
            for (int col = 0; col < dem_m.frame.cols; ++col) {
                const std::size_t p = ground.position(row, col);
                if (!ground.is_inside(p)) continue;
                const std::size_t i = dem_m.frame.index(row, col);
                result.filled_m[i] = ground.z[p];
                result.inflow_m2[i] = inflow_m2(ground, flow, p);
            }
        }
    });
    return result;
}

double flow_width_factor(Routing routing, double aspect_sine, double aspect_cosine) {
    const double longer = std::max(std::fabs(aspect_sine), std::fabs(aspect_cosine));
    const double shorter = std::min(std::fabs(aspect_sine), std::fabs(aspect_cosine));
    if (longer <= 0.0) return 1.0;
    if (routing == Routing::multiple) return longer + 0.5 * shorter;
    const double share = std::atan2(shorter, longer) / (std::numbers::pi / 4.0);
    return 1.0 / (longer + share * shorter);
}

double desmet_govers_aspect_factor(double aspect_sine, double aspect_cosine) {
    const double sum = std::fabs(aspect_sine) + std::fabs(aspect_cosine);
    return sum > 0.0 ? sum : 1.0;
}

Mask close_corners(const Mask& barriers) {
    Mask closed = barriers;
    for (int row = 0; row + 1 < barriers.frame.rows; ++row) {
        for (int col = 0; col + 1 < barriers.frame.cols; ++col) {
            const bool a = barriers.at(row, col) != 0;
            const bool b = barriers.at(row, col + 1) != 0;
            const bool c = barriers.at(row + 1, col) != 0;
            const bool d = barriers.at(row + 1, col + 1) != 0;
            if ((a && d && !b && !c) || (b && c && !a && !d)) {
                (a ? closed.at(row + 1, col) : closed.at(row, col)) = 1;
            }
        }
    }
    return closed;
}

}  // namespace catchfield::terrain
