// SPDX-License-Identifier: MIT
// run.json: what was done with what, for people who ask later and for machines.
#pragma once

#include "plan/inputs.hpp"
#include "plan/result.hpp"

#include <string>
#include <vector>

namespace catchfield::plan {

/// What is kept of a field once its files are written.
struct FieldRecord {
    std::string id, stem;
    FieldStatus status = FieldStatus::done;
    std::vector<std::string> reasons, warnings;
    double area_ha = 0.0;
    std::size_t zones = 0;
    double zones_ha = 0.0;
    double n_total_kg = 0.0, product_total = 0.0, seed_total_kg = 0.0;
    double raster_total = 0.0;  ///< product over the rate raster's cells
    double lowest_rate = 0.0, highest_rate = 0.0;
    std::string product, rate_unit, total_unit, zone_reason;
};

FieldRecord record_of(const FieldResult& result);

/// No clock time: the same inputs give the same bytes. Timings go to --verbose instead.
std::string run_json(const Inputs& inputs, const std::vector<FieldRecord>& fields);

}  // namespace catchfield::plan
