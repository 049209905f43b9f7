// SPDX-License-Identifier: MIT
// What a run shares over its fields and still needs when its inputs are closed.
#pragma once

#include "gis/crs.hpp"
#include "plan/inputs.hpp"
#include "plan/job.hpp"
#include "plan/shares.hpp"
#include "prescription/products.hpp"

#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace catchfield::plan {

/// Enough to write a plan folder from fields that were planned before.
struct RunHead {
    Job job;
    prescription::RateUnit rate_unit = prescription::RateUnit::n_lb_ac;
    std::vector<std::string> warnings;  ///< of the inputs
    gis::Crs package_crs;               ///< of plan.gpkg: the first field's work CRS
    std::string json;                   ///< run.json as far as the list of fields, without a share
    std::size_t fields = 0;             ///< of the whole job, whatever the share
    std::optional<Share> share;         ///< nothing: the whole job

    bool us() const { return job.output.units == UnitSystem::us; }
};

RunHead run_head(const Inputs& inputs, const std::optional<Share>& share);

/// For the journal: bytes of a head, and back. decode throws Damaged (bytes.hpp), or Error where
/// the settings are none of this program's.
std::string encode(const RunHead& head);
RunHead decode_run_head(std::string_view bytes);

}  // namespace catchfield::plan
