// SPDX-License-Identifier: MIT
#include "plan/rasters.hpp"

#include "base/units.hpp"
#include "gis/start.hpp"

#include <tbb/task_arena.h>

#include <algorithm>
#include <cmath>
#include <map>
#include <memory>
#include <mutex>
#include <numbers>
#include <utility>

namespace catchfield::plan {

namespace {

/// By file and group of threads. They share unpacked blocks, which neighbouring fields have in
/// common, and wait for each other while one reads (which takes long where the file is remote).
using Sources = std::map<std::pair<std::string, int>, std::unique_ptr<gis::RasterSource>>;
constexpr int threads_per_source = 4;

std::mutex opening;

/// Never taken down: when a program ends, what GDAL keeps for its threads goes first.
Sources& sources() {
    static Sources& open = *new Sources;
    return open;
}

}  // namespace

const gis::RasterSource& open_raster(const std::string& path) {
    gis::prepare_thread();
    const int thread = std::max(0, tbb::this_task_arena::current_thread_index());
    const std::lock_guard alone(opening);
    auto& source = sources()[{path, thread / threads_per_source}];
    if (!source) {
        gis::RasterOptions options;
        options.crs_key = "the raster's own CRS (gdal_edit.py -a_srs)";
        source = std::make_unique<gis::RasterSource>(path, options);
    }
    return *source;
}

void close_rasters() {
    const std::lock_guard alone(opening);
    sources().clear();
}

double metres_per_elevation(const Job& job, const gis::RasterSource& source, bool& assumed) {
    assumed = false;
    const std::string& stated = job.terrain.elevation_unit;
    if (stated == "m") return 1.0;
    if (stated == "ft") return units::m_per_ft;
    if (stated == "us-ft") return units::m_per_us_survey_ft;
    if (const auto own = source.metres_per_value()) return *own;
    assumed = true;
    return 1.0;
}

float slope_percent(float value, const std::string& unit) {
    if (unit == "ratio") return value * 100.0F;
    if (unit == "degrees") {
        return static_cast<float>(100.0 *
                                  std::tan(static_cast<double>(value) * std::numbers::pi / 180.0));
    }
    return value;
}

}  // namespace catchfield::plan
