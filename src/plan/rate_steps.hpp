// SPDX-License-Identifier: MIT
// From zone rates to a map that a machine can follow: number of rates, passes, lone cells, and what
// to be told about.
#pragma once

#include "plan/inputs.hpp"
#include "plan/result.hpp"

namespace catchfield::plan {

/// n_kg_ha as it stands in the prescription: nitrogen or product, in inputs.rate_unit.
double prescribed_rate(const Inputs& inputs, double n_kg_ha);

/// Before the map is made: no more different rates than nitrogen.rate-count (a settling line in the
/// budget says so), and the passes of nitrogen.split for every zone.
void settle_field_rates(const Inputs& inputs, FieldResult& result);

/// After the map is made: rates of the passes in the prescription's unit; lone cells take the rate
/// around them; warnings for zones side by side with nearly the same rate
/// (nitrogen.least-difference) and, where nitrogen.machine-speed is given, for stretches too short
/// for the machine.
void finish_rate_map(const Inputs& inputs, FieldResult& result);

}  // namespace catchfield::plan
