// SPDX-License-Identifier: MIT
// A run: all fields of a job planned and written into one folder.
#pragma once

#include "plan/job.hpp"
#include "plan/monitor.hpp"
#include "plan/result_store.hpp"
#include "plan/shares.hpp"

#include <optional>
#include <string>
#include <vector>

namespace catchfield::plan {

struct PlanRequest {
    Job job;
    std::string output;  ///< folder
    bool overwrite = false;
    bool strict = false;
    bool fresh = false;          ///< do not go on with an unfinished run
    std::optional<Share> share;  ///< only this part of the fields
    int threads = 0;             ///< 0: all cores
    bool allow_virtual = false;
    bool allow_remote = false;
    ResultTarget results;  ///< a database that takes the tables too
};

struct RunSummary {
    bool complete = true;              ///< no field skipped or partly covered
    std::string table;                 ///< for people, a few lines
    std::vector<std::string> timings;  ///< for --verbose
};

/// Plans every field (of the share) and writes the plan folder; it appears whole or not at all.
/// With `strict` nothing is written where a field is skipped or partly covered. The bytes do not
/// depend on the number of threads, nor on how often the run was stopped or killed on its way:
/// finished fields are kept in `.name.partial` beside the folder and taken up again where nothing
/// they were made from has changed. Throws Error, and leaves nothing of its own; Stopped where the monitor
/// asks for it, and leaves the finished fields.
RunSummary run_plan(const PlanRequest& request, const Monitor& monitor);

/// run.json of a plan folder. Throws Error(input).
std::string plan_json(const std::string& folder);

}  // namespace catchfield::plan
