// SPDX-License-Identifier: MIT
// Which bytes went into a run.
#pragma once

#include "plan/job.hpp"

#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

namespace catchfield::plan {

struct Fingerprint;

/// One entry per input file of the job, in the order of the keys. Rasters above 64 MiB are
/// fingerprinted by size, first and last MiB ("xxh64-ends").
std::vector<Fingerprint> fingerprints_of(const Job& job);

/// Of one file; xxh64 is "" where there is no plain file.
Fingerprint fingerprint_of(const std::string& key, const std::string& path);

/// Size and XXH64 of a file's bytes.
struct FileHash {
    std::uint64_t bytes = 0;
    std::uint64_t xxh64 = 0;
};
/// Read block by block: takes little memory whatever the size. Throws Error(input) where the file
/// cannot be read.
FileHash hash_of_file(const std::string& path);

/// XXH64 of some bytes.
std::uint64_t xxh64(std::string_view bytes);
/// The same as 16 hexadecimal digits.
std::string xxh64_of(std::string_view bytes);
std::string xxh64_text(std::uint64_t value);

}  // namespace catchfield::plan
