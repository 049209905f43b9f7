// SPDX-License-Identifier: MIT
// Reference pages made from the tables the program uses.
#pragma once

#include <string>

namespace catchfield::plan {

/// Markdown of the job file's keys, or of the outputs' columns.
std::string job_file_reference();
std::string outputs_reference();

}  // namespace catchfield::plan
