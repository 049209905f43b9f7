// SPDX-License-Identifier: MIT
// What a run would do, what covers the fields, and what is missing.
#pragma once

#include "plan/job.hpp"

#include <string>
#include <vector>

namespace catchfield::plan {

struct ReadinessRow {
    std::string input;    ///< "soil map"
    std::string found;    ///< what was found, in words
    std::string covers;   ///< "100 %", "" where it does not apply
    std::string missing;  ///< what is missing and what that costs; "" where nothing
    bool blocks = false;  ///< the run cannot be done
};

struct Readiness {
    std::vector<ReadinessRow> rows;
    std::vector<std::string> notes;

    bool ready() const;     ///< nothing blocks
    bool complete() const;  ///< every input covers every field
    std::string text() const;
    std::string json() const;
};

/// Opens and reads everything, reads each field's window, writes nothing. Errors of single inputs
/// become rows; Error(usage) is thrown where the job itself is wrong.
Readiness check_job(const Job& job, bool allow_virtual, bool allow_remote);

}  // namespace catchfield::plan
