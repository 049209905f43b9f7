// SPDX-License-Identifier: MIT
#include "plan/libraries.hpp"

#include "geometry/version.hpp"
#include "gis/start.hpp"

#include <boost/version.hpp>
#include <fmt/core.h>
#include <nlohmann/json.hpp>
#include <tbb/version.h>

namespace catchfield::plan {

std::vector<std::pair<std::string, std::string>> library_versions() {
    auto versions = gis::library_versions();
    versions.emplace_back("GEOS", geometry::geos_version());
    const auto dotted = [](int value, int high, int low) {
        return std::to_string(value / high) + "." + std::to_string(value / low % (high / low)) +
               "." + std::to_string(value % low);
    };
    versions.emplace_back("Boost", dotted(BOOST_VERSION, 100'000, 100));
    versions.emplace_back("fmt", dotted(FMT_VERSION, 10'000, 100));
    versions.emplace_back("nlohmann-json", std::to_string(NLOHMANN_JSON_VERSION_MAJOR) + "." +
                                               std::to_string(NLOHMANN_JSON_VERSION_MINOR) + "." +
                                               std::to_string(NLOHMANN_JSON_VERSION_PATCH));
    versions.emplace_back(
        "oneTBB", std::to_string(TBB_VERSION_MAJOR) + "." + std::to_string(TBB_VERSION_MINOR));
    return versions;
}

}  // namespace catchfield::plan
