// SPDX-License-Identifier: MIT
// The job of a command line: the job file with the options laid over it.
#pragma once

#include "cli/options.hpp"
#include "plan/job.hpp"

namespace catchfield::cli {

/// Reads the job file (first positional, may be absent when all keys are options) and lays the
/// options over it. Paths in options are relative to the working directory, paths in the file to
/// the file. Throws Error(usage) or Error(input).
plan::Job job_of(const ParsedOptions& options);

}  // namespace catchfield::cli
