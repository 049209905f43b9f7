// SPDX-License-Identifier: MIT
// The INI job file, read with Boost.Program_options.
#include "base/error.hpp"
#include "base/text.hpp"
#include "plan/job.hpp"
#include "plan/keys.hpp"

#include <boost/program_options.hpp>

#include <fstream>
#include <set>
#include <sstream>

namespace catchfield::plan {

namespace {

constexpr std::uintmax_t max_job_bytes = 1 << 20;

/// "line 12": where a key stands for the n-th time.
std::string place_of(const std::string& text, const std::string& name, int nth) {
    std::istringstream lines(text);
    std::string section;
    int number = 0;
    for (std::string line; std::getline(lines, line);) {
        ++number;
        const std::string_view bare = trim(std::string_view(line).substr(0, line.find('#')));
        if (bare.starts_with("[") && bare.ends_with("]")) {
            section = std::string(bare.substr(1, bare.size() - 2)) + ".";
        } else if (section + std::string(trim(bare.substr(0, bare.find('=')))) == name &&
                   --nth == 0) {
            return "line " + std::to_string(number);
        }
    }
    return {};
}

[[noreturn]] void unknown_key(const std::string& name, const std::filesystem::path& file,
                              const std::string& place) {
    std::vector<std::string> known;
    for (const Key& key : job_keys()) known.emplace_back(key.name);
    std::string near = nearest_name(name, known);
    if (near.empty()) {
        // A right key in a wrong section: compare what stands after the dot.
        const std::string tail = name.substr(name.find('.') + 1);
        for (const std::string& candidate : known) {
            if (candidate.substr(candidate.find('.') + 1) == tail) near = candidate;
        }
    }
    const std::size_t dot = near.find('.');
    throw Error(ErrorKind::usage, "unknown key '" + name + "'",
                {.path = file.string(),
                 .feature = place,
                 .hint = near.empty() ? "See docs/job-file.md for all keys."
                                      : "Did you mean '" + near.substr(dot + 1) + "' in section [" +
                                            near.substr(0, dot) + "]?"});
}

}  // namespace

JobValues read_job_values(const std::filesystem::path& file) {
    std::error_code failure;
    // Pipes and devices are not opened: they may never end.
    const bool plain = std::filesystem::is_regular_file(file, failure);
    const std::uintmax_t bytes = plain ? std::filesystem::file_size(file, failure) : 0;
    std::ifstream stream;
    if (plain) stream.open(file, std::ios::binary);
    if (failure || !plain || !stream) {
        throw Error(ErrorKind::usage, "the job file cannot be read",
                    {.path = file.string(),
                     .hint = "Check the path, or make a job file with 'catchfield start'."});
    }
    if (bytes > max_job_bytes) {
        throw Error(ErrorKind::input, "this is too large for a job file (over 1 MiB)",
                    {.path = file.string(), .hint = "Give the job file, not a data file."});
    }
    std::stringstream content;
    content << stream.rdbuf();
    return parse_job_values(content.str(), file);
}

JobValues parse_job_values(std::string text, const std::filesystem::path& file) {
    if (text.substr(0, 3) == "\xEF\xBB\xBF") text.erase(0, 3);
    if (text.find('\0') != std::string::npos) {
        throw Error(ErrorKind::input, "this is not a text file", {.path = file.string()});
    }

    namespace po = boost::program_options;
    const po::options_description none;
    JobValues values;
    try {
        std::istringstream lines(text);
        const auto parsed = po::parse_config_file(lines, none, true);
        for (const auto& option : parsed.options) {
            if (find_key(option.string_key) == nullptr) {
                unknown_key(option.string_key, file, place_of(text, option.string_key, 1));
            }
            const std::string value =
                option.value.empty() ? "" : std::string(trim(option.value.front()));
            if (!values.emplace(option.string_key, value).second) {
                throw Error(ErrorKind::usage, "key '" + option.string_key + "' is given twice",
                            {.path = file.string(),
                             .feature = place_of(text, option.string_key, 2),
                             .hint = "Keep one of the two lines."});
            }
        }
    } catch (const po::error& error) {
        throw Error(ErrorKind::usage, error.what(),
                    {.path = file.string(),
                     .hint = "Each line is 'key = value', a [section], or a comment after '#'."});
    }
    // An empty value means the default.
    std::erase_if(values, [](const auto& entry) { return entry.second.empty(); });
    return values;
}

}  // namespace catchfield::plan
