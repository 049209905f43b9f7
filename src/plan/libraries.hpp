// SPDX-License-Identifier: MIT
// Versions of the libraries in use.
#pragma once

#include <string>
#include <utility>
#include <vector>

namespace catchfield::plan {

std::vector<std::pair<std::string, std::string>> library_versions();

}  // namespace catchfield::plan
