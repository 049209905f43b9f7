// SPDX-License-Identifier: MIT
// The first part of a field's page: what to do zone by zone, and what to be careful about.
#pragma once

#include "plan/inputs.hpp"
#include "plan/result.hpp"

#include <string>

namespace catchfield::plan {

/// The field's decision in four sentences. HTML.
std::string glance_section(const Inputs& inputs, const FieldResult& result);

/// One row a zone: what to sow, when it ends, the nitrogen rate, what it saves, why, how sure.
/// HTML.
std::string decision_section(const Inputs& inputs, const FieldResult& result);

/// Cautions and assumptions, each once with the zones it holds for. HTML.
std::string caution_section(const Inputs& inputs, const FieldResult& result);

}  // namespace catchfield::plan
