// SPDX-License-Identifier: MIT
// A field whose own files are on disk, with all that the tables of the plan take from it.
#pragma once

#include "plan/field_rows.hpp"
#include "plan/index_page.hpp"
#include "plan/run_head.hpp"
#include "plan/run_json.hpp"

#include <map>
#include <string>
#include <string_view>
#include <vector>

namespace catchfield::plan {

/// A file as it was written.
struct FilePrint {
    std::string name;  ///< path in the plan folder
    std::uint64_t bytes = 0;
    std::uint64_t xxh64 = 0;
};

struct FinishedField {
    FieldRecord record;
    std::vector<FilePrint> files;           ///< in rates/, layers/, report/
    FieldRows rows;                         ///< in the CRS of plan.gpkg
    std::string zone_rows;                  ///< lines of zones.csv
    std::string zone_features;              ///< features of zones.geojson
    std::string budget_rows;                ///< lines of budget.csv
    std::string json;                       ///< entry of run.json
    IndexEntry index;                       ///< of report.html
    std::string line;                       ///< for the terminal
    std::map<std::string, double> seconds;  ///< per stage; not recorded
};

/// Writes the field's own files into `folder` and makes its rows. Safe from any thread.
FinishedField finish_field(const Inputs& inputs, const RunHead& head, const FieldResult& result,
                           const std::string& folder);

/// For the journal: bytes of a finished field, and back. decode throws Damaged.
std::string encode(const FinishedField& field);
FinishedField decode_finished_field(std::string_view bytes);

/// Whether the files stand in `folder` with the bytes they were written with.
bool files_agree(const std::vector<FilePrint>& files, const std::string& folder);

/// Names, in a plan folder, of the folders that hold files of single fields.
std::vector<std::string> field_folders(const Job& job);

}  // namespace catchfield::plan
