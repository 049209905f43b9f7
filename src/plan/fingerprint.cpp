// SPDX-License-Identifier: MIT
#include "plan/fingerprint.hpp"

#define XXH_INLINE_ALL
#include "base/error.hpp"
#include "base/text.hpp"
#include "plan/inputs.hpp"
#include "plan/keys.hpp"

#include <filesystem>
#include <fstream>
#include <xxhash.h>

namespace catchfield::plan {

namespace {

constexpr std::uintmax_t whole_file_limit = 64u << 20;
constexpr std::size_t block = 1u << 20;

std::string hex(std::uint64_t value) {
    constexpr char digits[] = "0123456789abcdef";
    std::string text(16, '0');
    for (std::size_t i = 16; i-- > 0; value >>= 4) text[i] = digits[value & 15];
    return text;
}

}  // namespace

Fingerprint fingerprint_of(const std::string& key, const std::string& path) {
    Fingerprint print{key, path, "", 0};
    std::error_code failure;
    if (!std::filesystem::is_regular_file(path, failure)) return print;
    const std::uintmax_t bytes = std::filesystem::file_size(path, failure);
    std::ifstream stream(path, std::ios::binary);
    if (failure || !stream) return print;
    print.bytes = static_cast<std::size_t>(bytes);
    if (bytes <= whole_file_limit) {
        print.xxh64 = hex(hash_of_file(path).xxh64);
        return print;
    }
    XXH64_state_t state;
    XXH64_reset(&state, 0);
    std::vector<char> buffer(block);
    const auto feed = [&] {
        stream.read(buffer.data(), static_cast<std::streamsize>(block));
        XXH64_update(&state, buffer.data(), static_cast<std::size_t>(stream.gcount()));
    };
    feed();
    stream.seekg(-static_cast<std::streamoff>(block), std::ios::end);
    feed();
    print.xxh64 = "ends-" + hex(XXH64_digest(&state));
    return print;
}

FileHash hash_of_file(const std::string& path) {
    std::ifstream stream(path, std::ios::binary);
    XXH64_state_t state;
    XXH64_reset(&state, 0);
    std::vector<char> buffer(block);
    FileHash hash;
    while (stream) {
        stream.read(buffer.data(), static_cast<std::streamsize>(block));
        const auto count = static_cast<std::size_t>(stream.gcount());
        XXH64_update(&state, buffer.data(), count);
        hash.bytes += count;
    }
    if (!stream.eof()) throw Error(ErrorKind::input, "the file cannot be read", {.path = path});
    hash.xxh64 = XXH64_digest(&state);
    return hash;
}

std::string xxh64_text(std::uint64_t value) {
    return hex(value);
}

std::uint64_t xxh64(std::string_view bytes) {
    return XXH64(bytes.data(), bytes.size(), 0);
}

std::string xxh64_of(std::string_view bytes) {
    return hex(xxh64(bytes));
}

std::vector<Fingerprint> fingerprints_of(const Job& job) {
    std::vector<Fingerprint> prints;
    const auto add = [&](const std::string& key, const std::string& path) {
        if (!path.empty()) prints.push_back(fingerprint_of(key, path));
    };
    add("field.boundary", job.field.boundary);
    add("terrain.elevation", job.terrain.elevation);
    add("terrain.slope", job.terrain.slope);
    add("terrain.barriers", job.terrain.barriers);
    add("soil.map", job.soil.map);
    add("soil.horizons", job.soil.horizons);
    add("weather.monthly", job.weather.monthly);
    add("weather.daily", job.weather.daily);
    add("weather.rain", job.weather.rain);
    for (const auto& [name, files] : job.zones.layers) {
        for (const std::string& file : split(files, ';')) add("zones.layers." + name, file);
    }
    add("zones.drawn", job.zones.drawn);
    add("cover.catalogue", job.cover.catalogue);
    add("cover.scouting", job.cover.scouting);
    add("compaction.probes", job.compaction.probes);
    add("nitrogen.soil-tests", job.nitrogen.soil_tests);
    add("nitrogen.yield-raster", job.nitrogen.yield_raster);
    add("nitrogen.response", job.nitrogen.response);
    add("nitrogen.credits-table", job.nitrogen.credits_table);
    add("nitrogen.no-apply", job.nitrogen.no_apply);
    return prints;
}

}  // namespace catchfield::plan
