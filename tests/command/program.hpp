// SPDX-License-Identifier: MIT
// What tests of whole commands share: the program run, its files compared, the demo scenario.
#pragma once

#include "support/temporary_folder.hpp"

#include <gtest/gtest.h>

#include <cstdlib>
#include <fcntl.h>
#include <filesystem>
#include <fstream>
#include <map>
#include <sstream>
#include <stdexcept>
#include <string>
#include <sys/wait.h>
#include <unistd.h>
#include <utility>
#include <vector>

namespace catchfield::testing {

namespace fs = std::filesystem;

struct Outcome {
    int code = -1;  ///< exit code; 128 + signal where a signal ended it
    std::string out;
    std::string err;
    std::string all() const { return out + err; }
};

/// Runs a program, found as the shell finds it, in the folder `where`.
inline Outcome run(std::vector<std::string> words, const std::string& where = ".") {
    const TemporaryFolder pipes;
    const std::string out = pipes / "out";
    const std::string err = pipes / "err";
    std::vector<char*> argv;
    for (std::string& word : words) argv.push_back(word.data());
    argv.push_back(nullptr);
    const pid_t child = fork();
    if (child < 0) throw std::runtime_error("fork failed");
    if (child == 0) {
        const int out_file = open(out.c_str(), O_WRONLY | O_CREAT | O_CLOEXEC, 0600);
        const int err_file = open(err.c_str(), O_WRONLY | O_CREAT | O_CLOEXEC, 0600);
        if (chdir(where.c_str()) != 0 || dup2(out_file, 1) < 0 || dup2(err_file, 2) < 0) _exit(126);
        execvp(argv[0], argv.data());
        _exit(127);
    }
    int status = 0;
    waitpid(child, &status, 0);
    Outcome outcome;
    outcome.code = WIFEXITED(status) ? WEXITSTATUS(status) : 128 + WTERMSIG(status);
    outcome.out = slurp(out);
    outcome.err = slurp(err);
    return outcome;
}

/// Runs the built program with these arguments.
inline Outcome run_program(std::vector<std::string> arguments, const std::string& where = ".") {
    arguments.insert(arguments.begin(), CATCHFIELD_PROGRAM);
    return run(std::move(arguments), where);
}

/// Runs the built program with arguments as typed in a shell.
inline Outcome run_line(const std::string& arguments, const std::string& where = ".") {
    return run({"sh", "-c", std::string("exec '") + CATCHFIELD_PROGRAM + "' " + arguments}, where);
}

/// Path in the folder to bytes, for all files below it.
inline std::map<std::string, std::string> files_of(const std::string& folder) {
    std::map<std::string, std::string> files;
    for (const auto& entry : fs::recursive_directory_iterator(folder)) {
        if (entry.is_regular_file())
            files[fs::relative(entry.path(), folder).string()] = slurp(entry.path().string());
    }
    return files;
}

/// The same names and the same bytes.
inline void expect_same_files(const std::string& a, const std::string& b) {
    const auto left = files_of(a);
    const auto right = files_of(b);
    for (const auto& [name, bytes] : left) {
        const auto other = right.find(name);
        if (other == right.end()) {
            ADD_FAILURE() << name << " is missing in " << b;
        } else {
            EXPECT_TRUE(bytes == other->second) << name << " differs";
        }
    }
    EXPECT_EQ(left.size(), right.size());
}

/// The project's demo scenario.
inline std::string samples() {
    return std::string(CATCHFIELD_SOURCE_DIR) + "/geodata-samples";
}

/// Open data that is not part of the project: the folder named by CATCHFIELD_OPEN_DATA, or "".
inline std::string open_data(const std::string& name) {
    const char* folder = std::getenv("CATCHFIELD_OPEN_DATA");
    if (folder == nullptr) return {};
    const std::string path = std::string(folder) + "/" + name;
    return fs::exists(path) ? path : std::string();
}

/// A copy of the demo scenario, with the job file's text changed: each pair replaces the line that
/// begins with its first part ("max-rate") by its second; an empty second part removes it.
inline void copy_samples(const std::string& folder,
                         const std::vector<std::pair<std::string, std::string>>& changes = {}) {
    fs::copy(samples(), folder, fs::copy_options::recursive | fs::copy_options::overwrite_existing);
    std::ifstream in(folder + "/job.ini");
    std::string text;
    std::vector<bool> used(changes.size(), false);
    for (std::string line; std::getline(in, line);) {
        bool keep = true;
        for (std::size_t i = 0; i < changes.size(); ++i) {
            if (!line.starts_with(changes[i].first)) continue;
            used[i] = true;
            line = changes[i].second;
            keep = !line.empty();
        }
        if (keep) text += line + "\n";
    }
    for (std::size_t i = 0; i < changes.size(); ++i)
        EXPECT_TRUE(used[i]) << "no line begins with " << changes[i].first;
    write_text(folder + "/job.ini", text);
}

}  // namespace catchfield::testing
