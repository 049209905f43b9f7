// SPDX-License-Identifier: MIT
#include "cli/job_input.hpp"

#include "plan/keys.hpp"

#include <filesystem>

namespace catchfield::cli {

namespace fs = std::filesystem;

plan::Job job_of(const ParsedOptions& options) {
    plan::JobValues values;
    fs::path file;
    fs::path folder = ".";
    if (!options.positional.empty()) {
        file = options.positional.front();
        values = plan::read_job_values(file);
        folder = file.has_parent_path() ? file.parent_path() : fs::path(".");
    }
    for (const auto& [name, value] : options.job) {
        const bool path = plan::find_key(name)->type == plan::KeyType::path && !value.empty() &&
                          value.find("://") == std::string::npos && !value.starts_with("/vsi") &&
                          !value.starts_with("PG:");
        values[name] = path ? fs::absolute(value).lexically_normal().string() : value;
    }
    plan::Job job = plan::make_job(values, folder);
    job.file = file;
    return job;
}

}  // namespace catchfield::cli
