// SPDX-License-Identifier: MIT
#include "cli/version.hpp"

#include "plan/libraries.hpp"

namespace catchfield::cli {

std::string version_text(bool verbose) {
    std::string text = "catchfield " CATCHFIELD_VERSION "\n";
    if (!verbose) return text;
    text += "build: " CATCHFIELD_BUILD ", " CATCHFIELD_COMPILER "\n";
    for (const auto& [name, version] : plan::library_versions())
        text += name + ": " + version + "\n";
    return text;
}

}  // namespace catchfield::cli
