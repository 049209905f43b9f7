// SPDX-License-Identifier: MIT
// Speed of zoning: a small field, a large one, and (with --compare) figures for
// scripts/bench-zoning.
#include "grids.hpp"
#include "zoning/kmeans.hpp"

#include <benchmark/benchmark.h>

#include <chrono>
#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <fstream>
#include <string>
#include <vector>

namespace catchfield::zoning {
namespace {

void small_field(benchmark::State& state) {
    const GridFrame frame = testing::frame_of(40, 40);
    const std::vector<Feature> features = testing::landscape(frame, 7, 5);
    const Mask field(frame, 1);
    const ZoningOptions options = state.range(0) == 0 ? quick_options() : default_options();
    for (auto _ : state) benchmark::DoNotOptimize(make_zones(features, field, options));
}
BENCHMARK(small_field)->ArgName("thorough")->Arg(0)->Arg(1)->Unit(benchmark::kMicrosecond);

void large_field(benchmark::State& state) {
    const GridFrame frame = testing::frame_of(1000, 1000);
    const std::vector<Feature> features = testing::landscape(frame, 7, 6);
    const Mask field(frame, 1);
    ZoningOptions options = default_options();
    options.max_count = 6;
    for (auto _ : state) benchmark::DoNotOptimize(make_zones(features, field, options));
}
BENCHMARK(large_field)->Unit(benchmark::kMillisecond)->Iterations(2);

double seconds_since(std::chrono::steady_clock::time_point start) {
    return std::chrono::duration<double>(std::chrono::steady_clock::now() - start).count();
}

// File of doubles, column by column. One line per count: seconds and W for clustering all points,
// and for fitting a sample, refined on all points.
int compare(const char* path, std::size_t count, std::size_t dims, int starts) {
    Samples samples(count, dims);
    std::ifstream file(path, std::ios::binary);
    file.read(reinterpret_cast<char*>(samples.values.data()),
              static_cast<std::streamsize>(samples.values.size() * sizeof(double)));
    if (!file) {
        std::fprintf(stderr, "bench_zoning: %s is too short\n", path);
        return 1;
    }
    for (int k = 2; k <= 6; ++k) {
        KMeansOptions options;
        options.count = k;
        options.starts = starts;
        auto start = std::chrono::steady_clock::now();
        const std::vector<std::uint32_t> rows =
            systematic_sample(canonical_order(samples), 20'000, 1);
        const KMeansResult fit = kmeans_in_order(select(samples, rows), options);
        const double sampled = refine_centres(samples, fit.centres, k, 10, true).within_ss;
        const double sample_s = seconds_since(start);
        start = std::chrono::steady_clock::now();
        options.exchange = false;
        const double whole = kmeans(samples, options).within_ss;
        std::printf("%d %.4f %.6f %.4f %.6f\n", k, sample_s, sampled, seconds_since(start), whole);
    }
    return 0;
}

}  // namespace
}  // namespace catchfield::zoning

int main(int argc, char** argv) {
    if (argc == 6 && std::strcmp(argv[1], "--compare") == 0) {
        return catchfield::zoning::compare(argv[2], std::strtoull(argv[3], nullptr, 10),
                                           std::strtoull(argv[4], nullptr, 10), std::atoi(argv[5]));
    }
    benchmark::Initialize(&argc, argv);
    if (benchmark::ReportUnrecognizedArguments(argc, argv)) return 1;
    benchmark::RunSpecifiedBenchmarks();
    return 0;
}
