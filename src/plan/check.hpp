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
    std::string missing;  ///< what is missing or doubtful and what that means; "" where nothing
    /// The best confidence a zone can have without it: "medium" or "low"; "" where it costs none.
    std::string at_best;
    bool blocks = false;  ///< the run cannot be done
};

/// What lies on one field.
struct FieldReadiness {
    std::string field;
    double area_ha = 0.0;
    double terrain = 0.0;  ///< shares of the area
    double mapped = 0.0;   ///< under a soil polygon
    double filled = 0.0;   ///< soil of the nearest polygon
    std::size_t stops = 0, tests = 0;
    std::string refused;  ///< why it cannot be planned; "" where it can
};

struct Readiness {
    std::vector<ReadinessRow> rows;
    std::vector<FieldReadiness> fields;
    std::vector<std::string> notes;
    bool us = false;  ///< areas in acres in the text; JSON always has ha

    bool ready() const;  ///< nothing blocks
    /// Terrain and soil values on all of every field, the nearest polygon's included, as `plan`
    /// counts it.
    bool complete() const;
    /// The best confidence that zones can have with these inputs: high, medium or low.
    std::string best_confidence() const;
    std::string text() const;
    std::string json() const;
};

/// Opens and reads everything, reads each field's window, writes nothing. Errors of single inputs
/// become rows; Error(usage) is thrown where the job itself is wrong.
Readiness check_job(const Job& job, bool allow_virtual, bool allow_remote);

}  // namespace catchfield::plan
