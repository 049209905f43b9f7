// SPDX-License-Identifier: MIT
// Shell completion, made from the tables of commands, options, job keys and species.
#pragma once

#include <string>

namespace catchfield::cli {

/// A script for bash: words of commands, options, job keys, choices, species and files.
std::string bash_completion();

/// A function for zsh's completion system, to be stored as _catchfield in a folder of fpath.
std::string zsh_completion();

}  // namespace catchfield::cli
