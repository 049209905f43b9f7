// SPDX-License-Identifier: MIT
// What the geometry of one small field costs: 40 x 40 cells, four zones, ten soil polygons.
#include "geometry/cells.hpp"
#include "geometry/outlines.hpp"
#include "shapes_for_tests.hpp"

#include <benchmark/benchmark.h>

namespace catchfield::geometry {
namespace {

struct SmallField {
    GridFrame frame{500000, 4450400, 10, 40, 40};
    MultiPolygon boundary;
    std::vector<MultiPolygon> soils;
    Raster<int> labels{frame, 1};

    SmallField() {
        Random random(1);
        boundary = {{star_ring(random, {500200, 4450200}, 150, 195, 60), {}}};
        for (int row = 0; row < 40; ++row) {
            for (int col = 0; col < 40; ++col) {
                const double wave = std::sin(row / 7.0) + std::sin(col / 9.0 + row / 15.0);
                labels.at(row, col) = wave < -0.4 ? 1 : wave < 0.4 ? 2 : wave < 1.2 ? 3 : 4;
            }
        }
        // Ten strips with wavy edges of some 80 points, a gap in the east.
        for (int i = 0; i < 10; ++i) {
            Ring ring;
            for (int k = 0; k <= 40; ++k) {
                ring.push_back({500000 + 36.0 * i + 8 * std::sin(k / 3.0), 4450000 + 10.0 * k});
            }
            for (int k = 40; k >= 0; --k) {
                ring.push_back({500036 + 36.0 * i + 8 * std::sin(k / 3.0), 4450000 + 10.0 * k});
            }
            ring.push_back(ring.front());
            soils.push_back({{ring, {}}});
        }
    }
};

void zones(benchmark::State& state, double tolerance) {
    const SmallField field;
    for (auto _ : state) {
        benchmark::DoNotOptimize(
            zone_outlines(field.labels, field.boundary, {.tolerance_cells = tolerance}));
    }
}
BENCHMARK_CAPTURE(zones, simplified, 0.75)->Unit(benchmark::kMicrosecond);
BENCHMARK_CAPTURE(zones, exact_cells, 0.0)->Unit(benchmark::kMicrosecond);

void shares(benchmark::State& state) {
    const SmallField field;
    for (auto _ : state) benchmark::DoNotOptimize(cell_shares(field.boundary, field.frame));
}
BENCHMARK(shares)->Unit(benchmark::kMicrosecond);

void owners(benchmark::State& state, OwnerRule rule) {
    const SmallField field;
    for (auto _ : state) {
        benchmark::DoNotOptimize(assign_cells(field.soils, field.frame, rule, 50.0));
    }
}
BENCHMARK_CAPTURE(owners, centre, OwnerRule::centre)->Unit(benchmark::kMicrosecond);
BENCHMARK_CAPTURE(owners, largest_share, OwnerRule::largest_share)->Unit(benchmark::kMicrosecond);

void dissolve(benchmark::State& state) {
    const SmallField field;
    for (auto _ : state) benchmark::DoNotOptimize(dissolve_cells(field.labels));
}
BENCHMARK(dissolve)->Unit(benchmark::kMicrosecond);

}  // namespace
}  // namespace catchfield::geometry
