// SPDX-License-Identifier: MIT
// Time and memory of the terrain room on a ground made here: hills of many sizes with noise.
//
// bench_terrain --benchmark_filter=Whole runs the 25-million-cell case; scripts/bench-terrain
// compares it with gdaldem in the same run.
#include "base/random.hpp"
#include "terrain/flow.hpp"
#include "terrain/terrain.hpp"

#include <benchmark/benchmark.h>

#include <cmath>
#include <cstdlib>
#include <fstream>
#include <sys/resource.h>

namespace {

using namespace catchfield;
using namespace catchfield::terrain;

/// Value noise: random values on lattices of halving spacing, joined bilinearly, amplitude falling
/// with the spacing (fractal relief), on a gentle slope; white noise of 2 cm on top.
Raster<float> make_dem(int side, double cell_m) {
    const GridFrame frame{500000.0, 4500000.0, cell_m, side, side};
    Raster<float> dem(frame, 250.0F);
    Random random(2024);
    for (int spacing = 1024; spacing >= 4; spacing /= 2) {
        const int nodes = side / spacing + 2;
        std::vector<float> value(static_cast<std::size_t>(nodes) * static_cast<std::size_t>(nodes));
        const double amplitude = 12.0 * std::pow(spacing / 1024.0, 0.9);
        for (float& v : value) v = static_cast<float>(amplitude * random.normal());
        for (int row = 0; row < side; ++row) {
            const int r = row / spacing;
            const float v = static_cast<float>(row % spacing) / static_cast<float>(spacing);
            const float* up = &value[static_cast<std::size_t>(r) * static_cast<std::size_t>(nodes)];
            const float* down = up + nodes;
            float* out = &dem.at(row, 0);
            for (int col = 0; col < side; ++col) {
                const int c = col / spacing;
                const float u = static_cast<float>(col % spacing) / static_cast<float>(spacing);
                out[col] += (1 - v) * ((1 - u) * up[c] + u * up[c + 1]) +
                            v * ((1 - u) * down[c] + u * down[c + 1]);
            }
        }
    }
    for (int row = 0; row < side; ++row) {
        for (int col = 0; col < side; ++col) {
            dem.at(row, col) += static_cast<float>(0.01 * cell_m * row + 0.02 * random.normal());
        }
    }
    return dem;
}

double peak_bytes() {
    rusage usage{};
    getrusage(RUSAGE_SELF, &usage);
    return 1024.0 * static_cast<double>(usage.ru_maxrss);
}

/// Filling, multiple flow, LS, wetness and slope of a whole grid.
void whole_field(benchmark::State& state) {
    const auto side = static_cast<int>(state.range(0));
    const double cell_m = side > 100 ? 1.0 : 10.0;
    const Raster<float> dem = make_dem(side, cell_m);
    const Mask field(dem.frame, 1);
    TerrainOptions options;
    options.routing = state.range(1) == 0 ? Routing::multiple : Routing::d_infinity;
    const auto cells = static_cast<double>(dem.size());
    for (auto _ : state) {
        const TerrainResult result = analyse(dem, field, options);
        benchmark::DoNotOptimize(result.mean_ls);
        state.counters["mean_ls"] = result.mean_ls;
        state.counters["mean_slope_pct"] = result.mean_slope_pct;
    }
    // DEM 4 and field mask 1; results: four float rasters and two masks, 18 bytes a cell.
    state.counters["work_bytes_a_cell"] = peak_bytes() / cells - 23.0;
    state.SetItemsProcessed(state.iterations() * static_cast<std::int64_t>(dem.size()));
}

void filling(benchmark::State& state) {
    const Raster<float> dem = make_dem(static_cast<int>(state.range(0)), 1.0);
    const Mask all(dem.frame, 1);
    for (auto _ : state) benchmark::DoNotOptimize(fill_depressions(dem, all).values.data());
    state.SetItemsProcessed(state.iterations() * static_cast<std::int64_t>(dem.size()));
}

/// Not timed: writes the ground as a raw grid with an ENVI header, for other programs.
void write_dem(benchmark::State& state) {
    const char* path = std::getenv("BENCH_TERRAIN_DEM");
    if (path == nullptr) {
        state.SkipWithError("set BENCH_TERRAIN_DEM to a path");
        return;
    }
    const auto side = static_cast<int>(state.range(0));
    const Raster<float> dem = make_dem(side, 1.0);
    for (auto _ : state) {
        std::ofstream raw(path, std::ios::binary);
        raw.write(reinterpret_cast<const char*>(dem.values.data()),
                  static_cast<std::streamsize>(dem.size() * sizeof(float)));
        std::ofstream header(std::string(path) + ".hdr");
        header << "ENVI\nsamples = " << side << "\nlines = " << side
               << "\nbands = 1\nheader offset = 0\nfile type = ENVI Standard\ndata type = 4\n"
               << "interleave = bsq\nbyte order = 0\nmap info = {UTM, 1, 1, 500000, 4500000, 1, 1, "
                  "16, North, WGS-84}\n";
    }
}

BENCHMARK(whole_field)
    ->Name("Field")
    ->Args({40, 0})
    ->Args({40, 1})
    ->Args({1000, 0})
    ->Unit(benchmark::kMillisecond)
    ->UseRealTime();
BENCHMARK(whole_field)
    ->Name("Whole")
    ->Args({5000, 0})
    ->Unit(benchmark::kMillisecond)
    ->UseRealTime()
    ->Iterations(1)
    ->Repetitions(3);
BENCHMARK(filling)
    ->Name("Filling")
    ->Arg(5000)
    ->Unit(benchmark::kMillisecond)
    ->UseRealTime()
    ->Iterations(1);
BENCHMARK(write_dem)->Name("WriteDem")->Arg(5000)->Iterations(1);

}  // namespace
