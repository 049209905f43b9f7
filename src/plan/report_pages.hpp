// SPDX-License-Identifier: MIT
// A field's plan in words and pictures: one page a field. The page over all fields: index_page.hpp.
#pragma once

#include "plan/inputs.hpp"
#include "plan/result.hpp"

#include <string>

namespace catchfield::plan {

/// The report of one field, a complete HTML file.
std::string field_page(const Inputs& inputs, const FieldResult& result);

}  // namespace catchfield::plan
