// SPDX-License-Identifier: MIT
// A plan made earlier: is it whole, is it what was written, and are its inputs still the same?
#pragma once

#include <cstddef>
#include <string>
#include <vector>

namespace catchfield::plan {

struct PlanCheck {
    std::vector<std::string> wrong;  ///< what does not hold, a line each
    std::vector<std::string> notes;  ///< what could not be looked at, and inputs that have changed
    std::size_t fields = 0, files = 0;

    bool fine() const { return wrong.empty(); }
    std::string text() const;
    std::string json() const;
};

/// Compares every file of the plan with manifest.csv (size and XXH64; missing and further files are
/// named), reads all tables and maps as the self-check of a run does (`examine`, every field), and
/// compares the inputs named in run.json where they can be found: by their path, or from the folder
/// above the plan. It finds what went wrong, not a forger, who would write a new manifest. Throws
/// Error(input) where the folder holds no plan at all.
PlanCheck check_plan(const std::string& folder);

}  // namespace catchfield::plan
