// SPDX-License-Identifier: MIT
#include "plan/plan_check.hpp"

#include "base/error.hpp"
#include "base/text.hpp"
#include "gis/files.hpp"
#include "gis/start.hpp"
#include "plan/fingerprint.hpp"
#include "plan/inputs.hpp"
#include "plan/journal.hpp"
#include "plan/json_values.hpp"
#include "plan/manifest.hpp"
#include "plan/self_check.hpp"

#include <nlohmann/json.hpp>
#include <tbb/parallel_for.h>

#include <algorithm>
#include <filesystem>
#include <limits>
#include <set>

namespace catchfield::plan {

namespace {

namespace fs = std::filesystem;
using Json = nlohmann::json;

Job job_of(const Json& run) {
    JobValues values;
    if (run.contains("settings") && run["settings"].is_object()) {
        for (const auto& [key, value] : run["settings"].items()) {
            if (value.is_string() && !value.get<std::string>().empty())
                values[key] = value.get<std::string>();
        }
    }
    return make_job(values, ".");
}

/// Every file against the manifest, and the manifest against what is there.
void compare_files(const std::string& folder, PlanCheck& check) {
    const std::vector<FilePrint> files = read_manifest(folder);
    check.files = files.size();
    std::vector<std::string> wrong(files.size());
    tbb::parallel_for(std::size_t{0}, files.size(), [&](std::size_t i) {
        const FilePrint& file = files[i];
        const fs::path name(file.name);
        const bool inside =
            name.is_relative() && std::none_of(name.begin(), name.end(),
                                               [](const fs::path& part) { return part == ".."; });
        std::error_code failure;
        const fs::path path = fs::path(folder) / name;
        if (!inside) {
            wrong[i] = std::string(manifest_name) + " names a file outside the plan: " + file.name;
        } else if (!fs::is_regular_file(fs::symlink_status(path, failure))) {
            wrong[i] = file.name + ": is missing";
        } else if (const auto bytes = fs::file_size(path, failure); bytes != file.bytes) {
            wrong[i] = file.name + ": has " + std::to_string(bytes) + " bytes, was written with " +
                       std::to_string(file.bytes);
        } else if (print_of_file(folder, file.name).xxh64 != file.xxh64) {
            wrong[i] = file.name + ": its content has been changed";
        }
    });
    std::set<std::string> known = {manifest_name, journal_name};
    for (const FilePrint& file : files) known.insert(file.name);
    std::vector<std::string> further;
    for (const auto& entry : fs::recursive_directory_iterator(folder)) {
        if (entry.is_directory() && !entry.is_symlink()) continue;
        const std::string name = entry.path().lexically_relative(folder).generic_string();
        if (!known.contains(name)) further.push_back(name + ": is not part of the plan");
    }
    std::sort(further.begin(), further.end());
    for (std::vector<std::string>* lines : {&wrong, &further}) {
        for (std::string& line : *lines) {
            if (!line.empty()) check.wrong.push_back(std::move(line));
        }
    }
}

/// Where an input may be found today: the paths in the job's value that end in its file name.
std::vector<std::string> places_of(const Json& run, const std::string& key, const std::string& file,
                                   const std::string& folder) {
    std::string setting = key;
    if (setting.starts_with("zones.layers.")) setting = "zones.layers";
    std::string value = run.contains("settings") ? text_of(run["settings"], setting.c_str()) : "";
    for (char& c : value) {
        if (setting == "zones.layers" && (c == ',' || c == ';' || c == '=')) c = '\n';
    }
    std::vector<std::string> places;
    for (const std::string& part : split(value, '\n')) {
        const fs::path path{std::string(trim(part))};
        if (path.filename() != file) continue;
        if (path.is_absolute()) {
            places.push_back(path.string());
        } else {
            places.push_back(path.string());
            places.push_back((fs::path(folder).parent_path() / path).string());
        }
    }
    return places;
}

void compare_inputs(const Json& run, const std::string& folder, PlanCheck& check) {
    if (!run.contains("inputs") || !run["inputs"].is_array()) return;
    for (const Json& entry : run["inputs"]) {
        const std::string key = text_of(entry, "key"), file = text_of(entry, "file");
        const std::string before = text_of(entry, "xxh64");
        if (before.empty()) continue;
        bool found = false, same = false;
        for (const std::string& place : places_of(run, key, file, folder)) {
            const Fingerprint now = fingerprint_of(key, place);
            found = found || !now.xxh64.empty();
            same = same || now.xxh64 == before;
        }
        if (!found) {
            check.notes.push_back("input " + key + " (" + file + ") is not found from here");
        } else if (!same) {
            check.notes.push_back("input " + key + " (" + file +
                                  ") has changed since the plan was made");
        }
    }
}

}  // namespace

std::string PlanCheck::text() const {
    std::string text;
    for (const std::string& line : wrong) text += "WRONG: " + line + "\n";
    for (const std::string& note : notes) text += "note: " + note + "\n";
    text += std::to_string(fields) + " fields, " + std::to_string(files) + " files: ";
    return text + (fine() ? "the plan is whole and as it was written.\n"
                          : "do not use this plan; make it again.\n");
}

std::string PlanCheck::json() const {
    const nlohmann::ordered_json root{
        {"fine", fine()}, {"fields", fields}, {"files", files}, {"wrong", wrong}, {"notes", notes}};
    return root.dump(2, ' ', false, nlohmann::ordered_json::error_handler_t::replace) + "\n";
}

PlanCheck check_plan(const std::string& folder_as_given) {
    gis::start();
    const std::string folder = fs::absolute(folder_as_given).lexically_normal().string();
    const std::string path = folder + "/run.json";
    std::error_code failure;
    if (!fs::is_regular_file(path, failure)) {
        throw Error(ErrorKind::input, "holds no plan: there is no run.json",
                    {.path = folder_as_given,
                     .hint = "Give a folder that 'catchfield plan' has written, or a job file."});
    }
    PlanCheck check;
    const auto attempt = [&](const auto& part) {
        try {
            part();
        } catch (const Error& error) {
            check.wrong.emplace_back(error.what());
        }
    };
    attempt([&] { compare_files(folder, check); });
    const Json run = Json::parse(gis::read_file(path), nullptr, false);
    if (run.is_discarded() || !run.is_object()) {
        check.wrong.push_back("run.json: is not JSON");
        return check;
    }
    attempt([&] {
        const CheckDepth all{.fields = std::numeric_limits<std::size_t>::max(),
                             .tables_agree = true};
        Examined found = examine(job_of(run), folder, all);
        check.fields = found.fields;
        for (std::string& line : found.wrong) check.wrong.push_back(std::move(line));
    });
    compare_inputs(run, folder, check);
    return check;
}

}  // namespace catchfield::plan
