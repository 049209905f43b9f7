// SPDX-License-Identifier: MIT
// --results and what belongs to it, the same in every command that writes a plan.
#pragma once

#include "cli/options.hpp"
#include "plan/result_store.hpp"

namespace catchfield::cli {

/// Puts the options behind what is there.
void add_results_options(std::vector<OptionSpec>& options);

/// Nothing where --results is not given. Throws Error(usage); nothing is connected.
plan::ResultTarget results_of(const ParsedOptions& options);

}  // namespace catchfield::cli
