// SPDX-License-Identifier: MIT
// Reference pages made from the tables the program uses.
#pragma once

#include <string>

namespace catchfield::plan {

/// Markdown of the job file's keys, or of the outputs' columns.
std::string job_file_reference();
std::string outputs_reference();

/// The built-in tables of species and of nitrogen credits as CSV, to change and to give back with
/// cover.catalogue and nitrogen.credits-table.
std::string species_table();
std::string credits_table();

}  // namespace catchfield::plan
