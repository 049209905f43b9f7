// SPDX-License-Identifier: MIT
// Writes a plan folder field by field, in the order of the fields.
#pragma once

#include "plan/field_rows.hpp"
#include "plan/finished_field.hpp"
#include "plan/inputs.hpp"
#include "plan/result.hpp"
#include "plan/run_head.hpp"

#include <memory>
#include <string>
#include <vector>

namespace catchfield::plan {

/// The files of one field that do not depend on other fields, ready to be put to disk.
struct FieldFiles {
    FieldRows rows;                                          ///< in the CRS of the field
    std::vector<std::pair<std::string, std::string>> files;  ///< path in the folder, bytes
    std::string zone_rows;                                   ///< lines of zones.csv
    std::string zone_features;                               ///< features of zones.geojson
    std::string budget_rows;                                 ///< lines of budget.csv
    IndexEntry index;                                        ///< of report.html
};

/// Makes them; safe from any thread.
FieldFiles make_field_files(const Inputs& inputs, const FieldResult& result);

class PlanWriter {
  public:
    /// folder: where the plan is built.
    PlanWriter(const RunHead& head, const std::string& folder);
    ~PlanWriter();
    /// In the order of the fields, whose own files are in the folder already.
    void add(const FinishedField& field);
    /// Writes what concerns the whole run and closes.
    void finish();

  private:
    struct State;
    std::unique_ptr<State> m_state;
};

}  // namespace catchfield::plan
