// SPDX-License-Identifier: MIT
// The page over all fields: a table and an outline map, light enough for thousands of fields.
#pragma once

#include "base/shapes.hpp"
#include "plan/inputs.hpp"
#include "plan/result.hpp"
#include "plan/run_head.hpp"

#include <string>
#include <vector>

namespace catchfield::plan {

/// What the page holds of one field; text, so that it can be kept in a file and taken up again.
struct IndexEntry {
    std::string row;      ///< table row, HTML; "" for a skipped field
    std::string problem;  ///< why it was left out or is partly covered, plain text; "" for none
    std::string outline;  ///< SVG path data: degrees east and south times 100,000; "" for none
    std::string href;     ///< the field's own page
    std::string label;    ///< what the outline says, plain text
    int shade = 0;        ///< class of present soil loss over tolerance, 0 (not known) to 4
    Box box{};            ///< of the outline
    /// For the sums: planned area, area with a known soil loss, its loss a year, nitrogen.
    double area_ha = 0.0, known_ha = 0.0, loss_now_mg = 0.0, loss_cover_mg = 0.0, n_kg = 0.0;
};

/// Safe from any thread.
IndexEntry index_entry(const Inputs& inputs, const FieldResult& result);

/// The whole page; entries in the order of the fields. Takes the head alone, because they may come
/// from fields that were planned before.
std::string index_page(const RunHead& head, const std::vector<IndexEntry>& entries);

}  // namespace catchfield::plan
