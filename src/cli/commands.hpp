// SPDX-License-Identifier: MIT
// Makers of the commands, one a file.
#pragma once

#include "cli/command.hpp"

#include <memory>

namespace catchfield::cli {

std::unique_ptr<Command> start_command();
std::unique_ptr<Command> check_command();
std::unique_ptr<Command> plan_command();
std::unique_ptr<Command> gather_command();
std::unique_ptr<Command> rank_command();
std::unique_ptr<Command> export_command();
std::unique_ptr<Command> fit_command();
std::unique_ptr<Command> species_command();
std::unique_ptr<Command> reference_command();

}  // namespace catchfield::cli
