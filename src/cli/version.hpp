// SPDX-License-Identifier: MIT
// Version and build, for bug reports.
#pragma once

#include <string>

namespace catchfield::cli {

/// "catchfield 0.1.0"; verbose adds compiler, build type and library versions.
std::string version_text(bool verbose);

}  // namespace catchfield::cli
