// SPDX-License-Identifier: MIT
// Depression filling and routing: exactness, conservation, barriers, independence of threads.
#include "terrain/flow.hpp"

#include "base/error.hpp"
#include "surfaces.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>
#include <oneapi/tbb/global_control.h>
#include <queue>
#include <vector>

namespace {

using namespace catchfield;
using namespace catchfield::terrain;
using namespace catchfield::terrain::testing;

/// The definition, written plainly: the lowest maximum along any way to an outlet, by relaxation of
/// a priority queue over all cells (Barnes, Lehman & Mulla 2014, algorithm 1).
Raster<float> plain_fill(const Raster<float>& dem, const Mask& domain) {
    const GridFrame& f = dem.frame;
    Raster<float> filled = dem;
    std::vector<bool> seen(f.size(), false);
    using Item = std::pair<float, std::size_t>;
    std::priority_queue<Item, std::vector<Item>, std::greater<>> open;
    const auto inside = [&](int r, int c) { return f.contains(r, c) && domain.at(r, c) != 0; };
    for (int r = 0; r < f.rows; ++r) {
        for (int c = 0; c < f.cols; ++c) {
            if (!inside(r, c)) continue;
            bool edge = false;
            for (int dr = -1; dr <= 1; ++dr) {
                for (int dc = -1; dc <= 1; ++dc) edge |= !inside(r + dr, c + dc);
            }
            if (!edge) continue;
            seen[f.index(r, c)] = true;
            open.emplace(dem.at(r, c), f.index(r, c));
        }
    }
    while (!open.empty()) {
        const auto [z, i] = open.top();
        open.pop();
        const int r = static_cast<int>(i) / f.cols;
        const int c = static_cast<int>(i) % f.cols;
        for (int dr = -1; dr <= 1; ++dr) {
            for (int dc = -1; dc <= 1; ++dc) {
                if (!inside(r + dr, c + dc)) continue;
                const std::size_t n = f.index(r + dr, c + dc);
                if (seen[n]) continue;
                seen[n] = true;
                filled[n] = std::max(filled[n], z);
                open.emplace(filled[n], n);
            }
        }
    }
    return filled;
}

TEST(Flood, SameAsThePlainAlgorithm) {
    for (std::uint64_t seed = 1; seed <= 12; ++seed) {
        SCOPED_TRACE(seed);
        const GridFrame frame = frame_of(70, 90, 5);
        auto dem = rough_ground(frame, seed, seed % 3 == 0 ? 0.0 : 0.3);
        if (seed % 4 == 1) {  // steps: many flats and ties
            for (float& z : dem.values) z = std::round(z * 2.0F) / 2.0F;
        }
        Random random(seed + 100);
        Mask domain = everywhere(frame);
        if (seed % 2 == 0) {
            for (int hole = 0; hole < 40; ++hole) domain[random.below(domain.size())] = 0;
        }
        EXPECT_EQ(fill_depressions(dem, domain).values, plain_fill(dem, domain).values);
    }
}

TEST(Flood, BelowSeaLevelAndZero) {
    const GridFrame frame = frame_of(30, 30, 1);
    auto dem = rough_ground(frame, 3, 0.5);
    for (float& z : dem.values) z = std::round(z - 200.0F);  // negative, -0 and 0
    const Mask all = everywhere(frame);
    EXPECT_EQ(fill_depressions(dem, all).values, plain_fill(dem, all).values);
}

TEST(Routing, AreaIsConserved) {
    for (const Routing routing : {Routing::multiple, Routing::d_infinity}) {
        for (std::uint64_t seed = 1; seed <= 8; ++seed) {
            SCOPED_TRACE(seed);
            const GridFrame frame = frame_of(150, 130, 3);
            auto dem = rough_ground(frame, seed, seed % 2 == 0 ? 0.2 : 0.0);
            if (seed % 4 == 1) {
                for (float& z : dem.values) z = std::round(z);
            }
            const Mask field =
                mask_where(frame, [](double x, double y) { return std::hypot(x, y) < 170; });
            const bool known_outside = seed % 3 == 0;
            const FlowResult flow =
                route_flow(dem, field, known_outside ? nullptr : &field, routing);
            const auto cells = std::count(field.values.begin(), field.values.end(), 1);
            EXPECT_DOUBLE_EQ(flow.domain_m2, static_cast<double>(cells) * 9.0);
            EXPECT_NEAR(flow.outflow_m2 / flow.domain_m2, 1.0, 1e-9);
        }
    }
}

TEST(Routing, LevelGroundDrains) {
    const GridFrame frame = frame_of(101, 77, 2);
    const Raster<float> dem(frame, 50.0F);
    for (const Routing routing : {Routing::multiple, Routing::d_infinity}) {
        const FlowResult flow = route_flow(dem, everywhere(frame), nullptr, routing);
        EXPECT_NEAR(flow.outflow_m2 / flow.domain_m2, 1.0, 1e-12);
        // Shortest ways out to all sides: half of the width is 38 cells, and a way collects few
        // neighbours' ways.
        const double most =
            *std::max_element(flow.inflow_m2.values.begin(), flow.inflow_m2.values.end());
        EXPECT_LT(most, 0.05 * flow.domain_m2);
    }
}

TEST(Routing, CardinalPlaneByHand) {
    // Falls to the south; each row hands all it has to the next. Run-on land at both sides keeps
    // the middle free of edges, so the area at the inlet of row r is r cells.
    const GridFrame frame = frame_of(12, 101, 10);
    const auto dem = surface(frame, [](double, double y) { return 100.0 + 0.08 * y; });
    for (const Routing routing : {Routing::multiple, Routing::d_infinity}) {
        const FlowResult flow = route_flow(dem, everywhere(frame), nullptr, routing);
        for (int row = 0; row < 12; ++row) {
            EXPECT_NEAR(flow.inflow_m2.at(row, 50), row * 100.0, 1e-3) << row;
        }
    }
}

TEST(Routing, QuinnSharesByHand) {
    // Quinn et al. 1991 on a plane that falls to the south: weights 1/2 : 0.354/sqrt(2) twice,
    // which is 1/2, 1/4, 1/4. One cell of 1 m2 in the middle of the top row of three.
    const GridFrame frame = frame_of(5, 5, 1);
    const auto dem = surface(frame, [](double, double y) { return 10.0 + y; });
    Mask domain(frame);
    domain.at(1, 2) = 1;
    domain.at(2, 1) = domain.at(2, 2) = domain.at(2, 3) = 1;
    const FlowResult flow = route_flow(dem, domain, nullptr, Routing::multiple);
    EXPECT_NEAR(flow.inflow_m2.at(2, 1), 0.25, 1e-7);
    EXPECT_NEAR(flow.inflow_m2.at(2, 2), 0.50, 1e-7);
    EXPECT_NEAR(flow.inflow_m2.at(2, 3), 0.25, 1e-7);
}

TEST(Routing, DInfinityByHand) {
    // Tarboton 1997: on a plane facing 30 degrees off south towards east, a cell gives 30/45 to the
    // diagonal and 15/45 to the nearest neighbour.
    const GridFrame frame = frame_of(7, 7, 1);
    const double angle = std::numbers::pi / 6;
    const auto dem = surface(frame, [&](double x, double y) {
        return 10.0 - 0.1 * (x * std::sin(angle) - y * std::cos(angle));
    });
    Mask domain(frame);
    domain.at(2, 2) = 1;
    domain.at(3, 2) = domain.at(3, 3) = 1;
    const FlowResult flow = route_flow(dem, domain, nullptr, Routing::d_infinity);
    EXPECT_NEAR(flow.inflow_m2.at(3, 2), 1.0 / 3.0, 1e-4);
    EXPECT_NEAR(flow.inflow_m2.at(3, 3), 2.0 / 3.0, 1e-4);
}

TEST(Routing, ConeHasHalfTheRadius) {
    // On a cone the contributing area per width is half the distance from the top, in every
    // direction (sector: r^2/2 over r).
    const GridFrame frame = frame_of(201, 201, 5);
    const auto dem =
        surface(frame, [](double x, double y) { return 300.0 - 0.06 * std::hypot(x, y); });
    for (const Routing routing : {Routing::multiple, Routing::d_infinity}) {
        const FlowResult flow = route_flow(dem, everywhere(frame), nullptr, routing);
        std::vector<double> ratio_sum(4, 0.0);
        std::vector<int> ratio_count(4, 0);
        for (int row = 0; row < frame.rows; ++row) {
            for (int col = 0; col < frame.cols; ++col) {
                const double x = (col - 100) * 5.0;
                const double y = (100 - row) * 5.0;
                const double r = std::hypot(x, y);
                if (r < 100 || r > 400) continue;
                const double width = 5.0 * flow_width_factor(routing, x / r, y / r);
                // The area at the middle of the cell.
                const double length = (flow.inflow_m2.at(row, col) + 12.5) / width;
                const double off_axis = std::atan2(std::min(std::fabs(x), std::fabs(y)),
                                                   std::max(std::fabs(x), std::fabs(y)));
                const auto sector = std::min<std::size_t>(
                    3, static_cast<std::size_t>(off_axis / (std::numbers::pi / 16)));
                ratio_sum[sector] += length / (0.5 * r);
                ++ratio_count[sector];
            }
        }
        for (std::size_t s = 0; s < 4; ++s) {
            // D-infinity splits by angle, which turns flow up to 4 degrees towards the diagonals
            // and gathers it there (atan(1/2) for 22.5 degrees); multiple flow has no such turn.
            EXPECT_NEAR(ratio_sum[s] / ratio_count[s], 1.0,
                        routing == Routing::multiple ? .05 : .16)
                << "sector " << s << " routing " << static_cast<int>(routing);
        }
    }
}

TEST(Routing, WidthFactors) {
    const double half = std::numbers::sqrt2 / 2;
    EXPECT_DOUBLE_EQ(flow_width_factor(Routing::multiple, 0, -1), 1.0);
    EXPECT_NEAR(flow_width_factor(Routing::multiple, half, half), 1.0607, 1e-4);
    EXPECT_NEAR(flow_width_factor(Routing::multiple, -0.4472136, 0.8944272), 1.1180, 1e-4);
    EXPECT_DOUBLE_EQ(flow_width_factor(Routing::d_infinity, 1, 0), 1.0);
    EXPECT_NEAR(flow_width_factor(Routing::d_infinity, half, -half), 0.7071, 1e-4);
    EXPECT_DOUBLE_EQ(flow_width_factor(Routing::multiple, 0, 0), 1.0);
    EXPECT_DOUBLE_EQ(desmet_govers_aspect_factor(0, 0), 1.0);
}

TEST(Routing, BarrierStopsFlow) {
    // A terrace across the slope: area below it starts anew; a line that touches only at corners
    // holds as well once its corners are closed.
    const GridFrame frame = frame_of(40, 61, 5);
    const auto dem = surface(frame, [](double, double y) { return 100.0 + 0.05 * y; });
    Mask barrier(frame);
    for (int col = 0; col < 61; ++col) barrier.at(20 + (col % 2), col) = 1;  // zigzag
    const Mask closed = close_corners(barrier);
    Mask domain = everywhere(frame);
    for (std::size_t i = 0; i < domain.size(); ++i) domain[i] = closed[i] == 0 ? 1 : 0;
    const FlowResult flow = route_flow(dem, domain, nullptr, Routing::multiple);
    for (int col = 0; col < 61; ++col) {
        for (int row = 22; row < 40; ++row) {
            EXPECT_LE(flow.inflow_m2.at(row, col), (row - 21) * 25.0 + 1e-3);
        }
    }
    EXPECT_NEAR(flow.inflow_m2.at(39, 30), 17 * 25.0, 25.0);
    EXPECT_NEAR(flow.outflow_m2 / flow.domain_m2, 1.0, 1e-9);
}

TEST(Routing, SameOnAnyNumberOfThreads) {
    const GridFrame frame = frame_of(700, 600, 2);  // large enough for parallel bands
    const auto dem = rough_ground(frame, 77, 0.1);
    const Mask field = mask_where(frame, [](double x, double y) { return std::hypot(x, y) < 650; });
    std::vector<FlowResult> results;
    for (const std::size_t threads : {std::size_t{1}, std::size_t{2}, std::size_t{5}}) {
        const oneapi::tbb::global_control limit(
            oneapi::tbb::global_control::max_allowed_parallelism, threads);
        results.push_back(route_flow(dem, field, nullptr, Routing::multiple));
        EXPECT_NEAR(results.back().outflow_m2 / results.back().domain_m2, 1.0, 1e-9);
    }
    EXPECT_EQ(results[0].inflow_m2.values, results[1].inflow_m2.values);
    EXPECT_EQ(results[0].inflow_m2.values, results[2].inflow_m2.values);
    EXPECT_EQ(results[0].outflow_m2, results[2].outflow_m2);
}

TEST(Routing, BadInput) {
    const GridFrame frame = frame_of(4, 4, 10);
    Raster<float> dem(frame, 1.0F);
    EXPECT_THROW(route_flow(dem, everywhere(frame_of(4, 5, 10)), nullptr, Routing::multiple),
                 Error);
    dem[5] = std::numeric_limits<float>::infinity();
    EXPECT_THROW(route_flow(dem, everywhere(frame), nullptr, Routing::multiple), Error);
    EXPECT_THROW(fill_depressions(dem, everywhere(frame)), Error);
}

}  // namespace
