// SPDX-License-Identifier: MIT
// Looks at files and writes a commented job file with what they seem to be.
#pragma once

#include "base/dates.hpp"

#include <optional>
#include <string>
#include <vector>

namespace catchfield::plan {

struct StartRequest {
    std::vector<std::string> inputs;  ///< files and folders, folders with what is below them
    std::string output;               ///< job file to write
    bool overwrite = false;
    bool metric = false;  ///< metric units wherever the fields lie
    /// The proposed season is the next one to sow a cover in, seen from this day.
    Date today = make_date(2025, 7, 1);
};

struct StartResult {
    std::string job;                  ///< text of the job file
    std::string place;                ///< how many fields, how large, where, which work grid
    std::vector<std::string> found;   ///< what each file was taken for
    std::vector<std::string> unsure;  ///< what the user should look at
};

/// Recognises boundary, elevation or slope, soil map, horizons, weather, stops, soil tests and more
/// by their content, chooses among files of one kind by how much of the fields they cover, proposes
/// dates and defaults for the place, and writes the job file. Reaches no network.
/// Throws Error(usage) where the output exists, Error(input) where no boundary is found.
StartResult start_job(const StartRequest& request);

}  // namespace catchfield::plan
