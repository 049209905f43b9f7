// SPDX-License-Identifier: MIT
#include "plan/rasters.hpp"

#include "base/units.hpp"
#include "gis/start.hpp"

#include <cmath>
#include <map>
#include <memory>
#include <numbers>

namespace catchfield::plan {

namespace {

std::map<std::string, std::unique_ptr<gis::RasterSource>>& sources() {
    thread_local std::map<std::string, std::unique_ptr<gis::RasterSource>> open;
    return open;
}

}  // namespace

const gis::RasterSource& raster_for_thread(const std::string& path) {
    gis::prepare_thread();
    auto& slot = sources()[path];
    if (!slot) {
        gis::RasterOptions options;
        options.crs_key = "the raster's own CRS (gdal_edit.py -a_srs)";
        slot = std::make_unique<gis::RasterSource>(path, options);
    }
    return *slot;
}

void close_rasters_of_thread() {
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
