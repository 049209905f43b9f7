// SPDX-License-Identifier: MIT
// Cost of one C and of one zone's interval.
#include "erosion/uncertainty.hpp"

#include <benchmark/benchmark.h>

namespace catchfield::erosion {
namespace {

struct Case {
    Case() {
        weather.r_si = 2400;
        for (std::size_t h = 0; h < 24; ++h) {
            weather.ei_share[h] = 1.0 / 24.0;
            weather.precip_mm[h] = 42;
            weather.tmean_c[h] = 12;
            cover.by_half_month[h] = {0.5, 0.2, 1500, 600};
        }
        season.harvest = make_date(2025, 7, 15);
        season.previous_crop = "wheat";
        season.next_planting = make_date(2026, 5, 6);
        season.next_crop = "corn";
        season.tillage = {{make_date(2026, 5, 3), "field_cultivator"}};
        cover.sown = make_date(2025, 8, 16);
        cover.ends = make_date(2026, 5, 1);
    }
    YearWeather weather;
    Season season;
    CoverGrowth cover;
};

void one_c(benchmark::State& state) {
    const Case one;
    const Schedule schedule(operations_of(one.season, &one.cover), &one.cover, one.season.start,
                            one.weather);
    for (auto _ : state) benchmark::DoNotOptimize(schedule.c());
}
BENCHMARK(one_c);

void one_zone(benchmark::State& state) {
    const Case one;
    const Design design = latin_hypercube(static_cast<std::size_t>(state.range(0)));
    for (auto _ : state) {
        const Schedule without(operations_of(one.season, nullptr), nullptr, one.season.start,
                               one.weather);
        const Schedule with(operations_of(one.season, &one.cover), &one.cover, one.season.start,
                            one.weather);
        benchmark::DoNotOptimize(
            soil_loss_uncertainty({2400, 0.045, 1, 1, 1}, 0.45, without, with, design));
    }
}
BENCHMARK(one_zone)->Arg(32)->Arg(64)->Arg(200);

void one_zone_shared_cover(benchmark::State& state) {
    const Case one;
    const Design design = latin_hypercube();
    const Schedule without(operations_of(one.season, nullptr), nullptr, one.season.start,
                           one.weather);
    const Schedule with(operations_of(one.season, &one.cover), &one.cover, one.season.start,
                        one.weather);
    const CDraws c = c_draws(without, with, design);
    for (auto _ : state)
        benchmark::DoNotOptimize(soil_loss_uncertainty({2400, 0.045, 1, 1, 1}, 0.45, c, design));
}
BENCHMARK(one_zone_shared_cover);

}  // namespace
}  // namespace catchfield::erosion
