// SPDX-License-Identifier: MIT
// manifest.csv: size and fingerprint of every file of a plan, to find what has changed since.
#pragma once

#include "plan/finished_field.hpp"

#include <string>
#include <vector>

namespace catchfield::plan {

/// It names every other file of a plan folder: those of the fields in their order, then those of
/// the whole run. The same plan gives the same bytes.
inline constexpr const char* manifest_name = "manifest.csv";

std::string manifest_header();
/// file, bytes, xxh64 as 16 hexadecimal digits.
std::string manifest_row(const FilePrint& file);

/// Size and fingerprint of a file as it stands on disk. Throws Error(input).
FilePrint print_of_file(const std::string& folder, const std::string& name);

/// The rows of a plan's manifest. Throws Error(input) where it is missing, Error(data) where it is
/// none.
std::vector<FilePrint> read_manifest(const std::string& folder);

}  // namespace catchfield::plan
