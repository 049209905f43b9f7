// SPDX-License-Identifier: MIT
// Joins the shares of a job into the plan that one run would have made.
#pragma once

#include "plan/monitor.hpp"
#include "plan/run.hpp"

#include <string>
#include <vector>

namespace catchfield::plan {

struct GatherRequest {
    std::vector<std::string> shares;  ///< folders made with a share, in any order
    std::string output;               ///< folder
    bool overwrite = false;
    bool strict = false;
    int threads = 0;       ///< 0: all cores
    ResultTarget results;  ///< a database that takes the tables too
};

/// The result has the same bytes as a run of the whole job; the shares stay as they are. Throws
/// Error where a share or a field is missing or there twice, where shares come from other settings,
/// inputs or versions, or where a file was changed since; nothing is then left. Throws Stopped.
RunSummary run_gather(const GatherRequest& request, const Monitor& monitor);

}  // namespace catchfield::plan
