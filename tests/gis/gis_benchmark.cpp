// SPDX-License-Identifier: MIT
// What a field of a district costs in this room.
#include "base/raster.hpp"
#include "gis/files.hpp"
#include "gis/geojson.hpp"
#include "gis/geotiff.hpp"
#include "gis/raster_source.hpp"

#include <benchmark/benchmark.h>

#include <filesystem>

namespace {

using namespace catchfield;
using namespace catchfield::gis;

const Crs& crs() {
    static const Crs made = Crs::from_epsg(32615);
    return made;
}

GridFrame field_frame(int side) {
    GridFrame frame;
    frame.west = 500000;
    frame.north = 4400000;
    frame.cell = 10;
    frame.cols = side;
    frame.rows = side;
    return frame;
}

Raster<float> surface(int side) {
    Raster<float> made(field_frame(side));
    for (std::size_t i = 0; i < made.size(); ++i) made[i] = static_cast<float>(i % 97) * 0.37F;
    return made;
}

std::string district_file() {
    static const std::string path = [] {
        const std::string name =
            (std::filesystem::temp_directory_path() / "gis-benchmark.tif").string();
        const Raster<float> dem = surface(2000);
        write_file_atomically(name, geotiff_bytes(dem, Mask(dem.frame, 1), crs()));
        return name;
    }();
    return path;
}

void read_aligned(benchmark::State& state) {
    const RasterSource source(district_file());
    GridFrame frame = field_frame(40);
    int i = 0;
    for (auto _ : state) {
        frame.west = 500000 + 10 * (++i * 37 % 1900);
        benchmark::DoNotOptimize(source.read<float>(frame, crs(), Resampling::bilinear));
    }
}
BENCHMARK(read_aligned)->Unit(benchmark::kMicrosecond);

void read_warped(benchmark::State& state) {
    const RasterSource source(district_file());
    const Crs other = Crs::from_epsg(32616);
    const Point corner = transformer(crs(), other).apply(Point{508000, 4392000});
    GridFrame frame = field_frame(static_cast<int>(state.range(0)));
    frame.west = corner.x;
    frame.north = corner.y;
    for (auto _ : state) {
        benchmark::DoNotOptimize(source.read<float>(frame, other, Resampling::bilinear));
    }
}
BENCHMARK(read_warped)->Arg(40)->Arg(1000)->Unit(benchmark::kMicrosecond);

void write_geotiff(benchmark::State& state) {
    const Raster<float> values = surface(static_cast<int>(state.range(0)));
    const Mask valid(values.frame, 1);
    for (auto _ : state) {
        benchmark::DoNotOptimize(
            geotiff_bytes(values, valid, crs(), {.description = "nitrogen_rate", .unit = "kg/ha"}));
    }
}
BENCHMARK(write_geotiff)->Arg(40)->Arg(1000)->Unit(benchmark::kMicrosecond);

void write_geojson(benchmark::State& state) {
    const std::vector<FieldSpec> columns = {{"zone", FieldType::integer},
                                            {"rate", FieldType::real, 0, 1}};
    std::vector<PolygonRow> rows;
    for (int zone = 0; zone < 4; ++zone) {
        Ring ring;
        for (int i = 0; i < 60; ++i)
            ring.push_back({500000.0 + 10 * i, 4400000.0 + 100 * zone + 10 * (i % 2)});
        for (int i = 60; i > 0; --i) ring.push_back({500000.0 + 10 * i, 4400050.0 + 100 * zone});
        ring.push_back(ring.front());
        rows.push_back({{Polygon{ring, {}}}, {static_cast<long long>(zone), 100.0}});
    }
    for (auto _ : state) benchmark::DoNotOptimize(geojson_bytes(columns, rows, crs()));
}
BENCHMARK(write_geojson)->Unit(benchmark::kMicrosecond);

void put_to_disk(benchmark::State& state) {
    const std::string path =
        (std::filesystem::temp_directory_path() / "gis-benchmark.bin").string();
    const std::string bytes(6000, 'x');
    for (auto _ : state) write_file_atomically(path, bytes);
}
BENCHMARK(put_to_disk)->Unit(benchmark::kMicrosecond);

}  // namespace
