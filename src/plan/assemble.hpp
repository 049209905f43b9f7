// SPDX-License-Identifier: MIT
// Makes a plan folder from fields that come in any order: tables, checks, the folder put in place.
#pragma once

#include "gis/files.hpp"
#include "plan/finished_field.hpp"
#include "plan/monitor.hpp"
#include "plan/run.hpp"
#include "plan/run_head.hpp"

#include <functional>
#include <string>

namespace catchfield::plan {

struct AssembleRequest {
    std::size_t fields = 0;  ///< how many
    int threads = 0;         ///< 0: all cores
    bool strict = false;
    std::string output;        ///< the target folder, for the last line
    std::string working_file;  ///< in the folder, removed at the very end; "" for none
    std::function<void(const FinishedField&)> also{};  ///< in order, after the writer
    std::function<void()> sealed{};                    ///< once all fields are written
};

/// Calls make_field for 0 .. fields - 1 side by side and writes the results in their order; a few
/// are held in memory at a time. Ends with the self-check and folder.commit(). Throws Error, or
/// Stopped where the monitor asks for it; calls of make_field that have begun are ended first.
RunSummary assemble(const RunHead& head, gis::StagedFolder& folder, const AssembleRequest& request,
                    const std::function<FinishedField(std::size_t)>& make_field,
                    const Monitor& monitor);

}  // namespace catchfield::plan
