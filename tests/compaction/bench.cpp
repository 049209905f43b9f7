// SPDX-License-Identifier: MIT
// Time of interpolation: 5,000 stops to 1,000,000 cells.
#include "base/random.hpp"
#include "compaction/interpolation.hpp"

#include <benchmark/benchmark.h>

#include <cmath>

namespace catchfield::compaction {
namespace {

std::vector<Sample> stops(std::size_t count) {
    Random random(1);
    std::vector<Sample> samples;
    for (std::size_t i = 0; i < count; ++i) {
        const double x = random.uniform(0, 5000), y = random.uniform(0, 5000);
        samples.push_back(
            {x, y, 30 + 8 * std::sin(x / 400) + 5 * std::cos(y / 300) + random.normal()});
    }
    return samples;
}

void interpolate(benchmark::State& state, Method method) {
    const auto samples = stops(5000);
    const GridFrame frame{.west = 0, .north = 5000, .cell = 5, .cols = 1000, .rows = 1000};
    for (auto _ : state) {  // variogram, fit and all cells
        const Interpolator map(
            samples, {.method = method, .neighbours = static_cast<std::size_t>(state.range(0))});
        benchmark::DoNotOptimize(map.grid(frame).values.values.data());
    }
}

void kriging(benchmark::State& state) {
    interpolate(state, Method::kriging);
}
void inverse_distance(benchmark::State& state) {
    interpolate(state, Method::inverse_distance);
}

BENCHMARK(kriging)->Arg(16)->Arg(32)->Unit(benchmark::kSecond)->UseRealTime()->Iterations(1);
BENCHMARK(inverse_distance)->Arg(16)->Unit(benchmark::kSecond)->UseRealTime()->Iterations(1);

}  // namespace
}  // namespace catchfield::compaction
