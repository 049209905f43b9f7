// SPDX-License-Identifier: MIT
// Which GEOS does the geometry, for bug reports.
#pragma once

#include <string>

namespace catchfield::geometry {

/// "3.11.1-CAPI-1.17.1".
std::string geos_version();

}  // namespace catchfield::geometry
