// SPDX-License-Identifier: MIT
// Looks at files and writes a commented job file with what they seem to be.
#pragma once

#include <string>
#include <vector>

namespace catchfield::plan {

struct StartRequest {
    std::vector<std::string> inputs;  ///< files and folders
    std::string output;               ///< job file to write
    bool overwrite = false;
    bool metric = false;
};

struct StartResult {
    std::string job;                  ///< text of the job file
    std::vector<std::string> found;   ///< what each file was taken for
    std::vector<std::string> unsure;  ///< what the user should look at
};

/// Recognises boundary, elevation or slope, soil map, horizons, weather, stops and soil tests by
/// their content, proposes dates and defaults for the place, and writes the job file. Reaches no
/// network. Throws Error(usage) where the output exists, Error(input) where no boundary is found.
StartResult start_job(const StartRequest& request);

}  // namespace catchfield::plan
