// SPDX-License-Identifier: MIT
// The job file's keys as one table: reading, command-line options, help, the commented job file of
// `start` and the reference page all come from it.
#pragma once

#include <span>
#include <string_view>

namespace catchfield::plan {

enum class KeyType {
    text,    ///< free text
    path,    ///< file or folder, relative to the job file
    date,    ///< ISO date, 2025-07-15
    number,  ///< plain number without a unit
    integer,
    yes_no,
    choice,       ///< one of `choices`
    length,       ///< quantity: m, ft
    depth,        ///< quantity: cm, in
    area,         ///< quantity: ha, ac
    rate,         ///< quantity: kg/ha, lb/ac
    erosivity,    ///< quantity: us, si
    strength,     ///< quantity: MPa, kPa, psi
    temperature,  ///< quantity: degC, degF
    speed,        ///< quantity: km/h, mph
    list,         ///< comma-separated
};

struct Key {
    std::string_view name;  ///< "terrain.elevation"
    KeyType type;
    std::string_view metavar;   ///< what stands for the value in help: "FILE", "m|ft"
    std::string_view fallback;  ///< the default as it would be written; "" for none
    std::string_view choices;   ///< for choice: "percent|degrees|ratio"
    std::string_view help;      ///< one sentence
};

/// All keys, grouped by section in the order of the job file.
std::span<const Key> job_keys();

/// The key of that name, or null.
const Key* find_key(std::string_view name);

/// One sentence about a section ("terrain"), for the commented job file and the reference.
std::string_view section_help(std::string_view section);

}  // namespace catchfield::plan
