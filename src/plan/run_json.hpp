// SPDX-License-Identifier: MIT
// run.json: what was done with what, for people who ask later and for machines.
#pragma once

#include "plan/inputs.hpp"
#include "plan/result.hpp"
#include "plan/shares.hpp"

#include <functional>
#include <optional>
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

/// run.json is written piece by piece, so that no run holds all of it: head, entries joined with
/// ",\n", tail. No clock time: the same inputs give the same bytes. Timings go to --verbose
/// instead.
std::string run_json_head(const Inputs& inputs);
std::string field_json(const FieldRecord& field);
std::string run_json_tail();
/// Calls `visit` with every field that a run.json lists, in order, without the words that only
/// people read. One record is held at a time. Throws Error(input) where the file is not JSON.
void for_records(const std::string& path, const std::function<void(FieldRecord)>& visit);
/// The head of a share's run.json, which says so; the same head for a whole job.
std::string with_share(const std::string& head, const std::optional<Share>& share);

}  // namespace catchfield::plan
