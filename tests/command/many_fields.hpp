// SPDX-License-Identifier: MIT
// Many small fields over the demo's ground, and runs that are ended from outside.
#pragma once

#include "program.hpp"

#include <nlohmann/json.hpp>

#include <csignal>
#include <time.h>

namespace catchfield::testing {

/// A copy of the demo whose boundary file has `columns` x `rows` fields of about a hectare, one
/// bow-tie (skipped) and one field beyond the elevation raster (skipped).
inline void make_many_fields(const std::string& folder, int columns, int rows) {
    copy_samples(folder, {{"layers", "layers = no"}});
    using nlohmann::json;
    json features = json::array();
    const auto add = [&](const std::string& name, const json& ring) {
        features.push_back({{"type", "Feature"},
                            {"properties", {{"field", name}}},
                            {"geometry", {{"type", "Polygon"}, {"coordinates", {ring}}}}});
    };
    // The elevation covers 95.0019 W to 94.9833 W, 40.1942 N to 40.2045 N.
    const double west = -95.0010, south = 40.1955, pitch_x = 0.0168 / columns,
                 pitch_y = 0.0084 / rows;
    for (int row = 0; row < rows; ++row) {
        for (int column = 0; column < columns; ++column) {
            // Sizes differ, so that shares by area are not shares by number.
            const double side = 0.55 + 0.35 * ((row * 7 + column * 3) % 5) / 4.0;
            const double x = west + column * pitch_x, y = south + row * pitch_y;
            const double x1 = x + side * pitch_x, y1 = y + side * pitch_y;
            add("parcel " + std::to_string(row) + "/" + std::to_string(column),
                {{x, y}, {x1, y}, {x1, y1}, {x, y1}, {x, y}});
            if (row == 0 && column == 1) {
                add("bow-tie", {{x, y}, {x1, y1}, {x1, y}, {x, y1}, {x, y}});
                add("far away", {{-94.0, 40.0},
                                 {-93.999, 40.0},
                                 {-93.999, 40.001},
                                 {-94.0, 40.001},
                                 {-94.0, 40.0}});
            }
        }
    }
    write_text(folder + "/fields.geojson",
               json{{"type", "FeatureCollection"}, {"features", features}}.dump());
}

/// A run of the program that can be ended from outside.
class Process {
  public:
    Process(std::vector<std::string> words, const std::string& where) {
        words.insert(words.begin(), CATCHFIELD_PROGRAM);
        std::vector<char*> argv;
        for (std::string& word : words) argv.push_back(word.data());
        argv.push_back(nullptr);
        const std::string out = m_pipes / "out", err = m_pipes / "err";
        for (const std::string& name : {out, err}) write_text(name, "");
        m_child = fork();
        if (m_child < 0) throw std::runtime_error("fork failed");
        if (m_child == 0) {
            const int out_file = open(out.c_str(), O_WRONLY | O_CLOEXEC);
            const int err_file = open(err.c_str(), O_WRONLY | O_CLOEXEC);
            if (chdir(where.c_str()) != 0 || dup2(out_file, 1) < 0 || dup2(err_file, 2) < 0)
                _exit(126);
            execvp(argv[0], argv.data());
            _exit(127);
        }
    }
    void signal(int number) const { ::kill(m_child, number); }
    std::string err() const { return slurp(m_pipes / "err"); }
    Outcome wait() {
        int status = 0;
        waitpid(m_child, &status, 0);
        Outcome outcome;
        outcome.code = WIFEXITED(status) ? WEXITSTATUS(status) : 128 + WTERMSIG(status);
        outcome.out = slurp(m_pipes / "out");
        outcome.err = slurp(m_pipes / "err");
        return outcome;
    }

  private:
    const TemporaryFolder m_pipes;
    pid_t m_child = -1;
};

inline void sleep_s(double seconds) {
    const timespec time{
        static_cast<time_t>(seconds),
        static_cast<long>((seconds - static_cast<double>(static_cast<time_t>(seconds))) * 1e9)};
    nanosleep(&time, nullptr);
}

inline double now_s() {
    timespec time{};
    clock_gettime(CLOCK_MONOTONIC, &time);
    return static_cast<double>(time.tv_sec) + static_cast<double>(time.tv_nsec) * 1e-9;
}

/// How many field files with this ending stand in the folder of an unfinished run.
inline std::size_t finished_in(const std::string& partial, const std::string& ending) {
    std::size_t count = 0;
    std::error_code failure;
    for (const auto& entry : fs::directory_iterator(partial + "/rates", failure))
        count += entry.path().filename().string().ends_with(ending);
    return count;
}

/// Waits until that many fields are finished (or two minutes have gone).
inline void wait_for_fields(const std::string& partial, std::size_t count) {
    for (const double end = now_s() + 120.0; now_s() < end; sleep_s(0.002)) {
        if (finished_in(partial, "-nitrogen.tif") >= count) return;
    }
}

}  // namespace catchfield::testing
