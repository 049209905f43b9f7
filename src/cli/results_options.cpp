// SPDX-License-Identifier: MIT
#include "cli/results_options.hpp"

#include "base/error.hpp"

namespace catchfield::cli {

void add_results_options(std::vector<OptionSpec>& options) {
    options.insert(options.end(),
                   {{"results", '\0', "PG:...", "",
                     "Database that takes the tables too: \"PG:dbname=NAME host=NAME\" (PostGIS)."},
                    {"results-schema", '\0', "NAME", "catchfield", "Schema of its tables."},
                    {"results-run", '\0', "NAME", "",
                     "Name of this plan in them; by default made of the boundary."}});
}

plan::ResultTarget results_of(const ParsedOptions& options) {
    plan::ResultTarget results;
    if (options.values.contains("results")) {
        results.database.connection = options.text("results");
        results.database.schema = options.text("results-schema", results.database.schema);
        results.run = options.text("results-run");
        plan::require_result_target(results);
    } else if (options.values.contains("results-schema") ||
               options.values.contains("results-run")) {
        throw Error(ErrorKind::usage, "--results is missing",
                    {.hint = "Name the database that takes the tables."});
    }
    return results;
}

}  // namespace catchfield::cli
