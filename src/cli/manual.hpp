// SPDX-License-Identifier: MIT
// The man page, made from the tables of commands, options and job keys.
#pragma once

#include <string>

namespace catchfield::cli {

/// catchfield(1) in the man macros, for man(1), groff and mandoc.
std::string man_page();

}  // namespace catchfield::cli
