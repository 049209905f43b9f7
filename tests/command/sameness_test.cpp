// SPDX-License-Identifier: MIT
// What must not change results: a second run, the number of threads, the order of the fields in
// their file, the units shown.
#include "base/table.hpp"
#include "map_files.hpp"

namespace catchfield::testing {
namespace {

TEST(Sameness, TwoRunsAndAnyThreadsGiveTheSameBytes) {
    const TemporaryFolder folder;
    copy_samples(folder / "farm");
    const std::pair<const char*, const char*> runs[] = {{"one", "1"}, {"two", "2"}, {"again", "2"}};
    for (const auto& [name, threads] : runs) {
        const Outcome outcome = run_program(
            {"plan", "farm/job.ini", "--output", name, "--threads", threads}, folder.path());
        ASSERT_TRUE(outcome.code == 0 || outcome.code == 3) << outcome.err;
    }
    expect_same_files(folder / "one", folder / "two");
    expect_same_files(folder / "two", folder / "again");
    EXPECT_GT(files_of(folder / "one").size(), 20U);
}

TEST(Sameness, RealFieldGivesTheSameBytes) {
    if (open_data("ohio-field").empty()) GTEST_SKIP() << "CATCHFIELD_OPEN_DATA has no ohio-field";
    const TemporaryFolder folder;
    ASSERT_EQ(
        run_program({"start", open_data("ohio-field"), "--output", "job.ini"}, folder.path()).code,
        0);
    for (const char* threads : {"1", "2"}) {
        const Outcome outcome = run_program(
            {"plan", "job.ini", "--output", threads, "--threads", threads, "--output.layers=yes"},
            folder.path());
        ASSERT_TRUE(outcome.code == 0 || outcome.code == 3) << outcome.err;
    }
    expect_same_files(folder / "1", folder / "2");
}

TEST(Sameness, JobFileMayBeNamedFromAnywhere) {
    const TemporaryFolder folder;
    copy_samples(folder / "farm");
    fs::create_directories(folder / "elsewhere/deep");
    const std::vector<std::string> brief = {"--output.layers=no", "--output.reports=no"};
    const auto plan = [&](const std::string& job, const std::string& output,
                          const std::string& where) {
        const Outcome outcome =
            run_program({"plan", job, "--output", output, brief[0], brief[1]}, folder / where);
        EXPECT_TRUE(outcome.code == 0 || outcome.code == 3) << outcome.err;
    };
    plan("job.ini", "../a", "farm");
    const fs::path deep = folder / "elsewhere/deep";
    plan(fs::relative(folder / "farm/job.ini", deep).string(),
         fs::relative(folder / "b", deep).string(), "elsewhere/deep");
    plan(folder / "farm/job.ini", folder / "c", "elsewhere");
    expect_same_files(folder / "a", folder / "b");
    expect_same_files(folder / "a", folder / "c");
}

TEST(Sameness, OrderOfTheFieldsChangesNoField) {
    const TemporaryFolder folder;
    copy_samples(folder / "farm");
    copy_samples(folder / "turned");
    Json fields = Json::parse(slurp(folder / "turned/fields.geojson"));
    std::reverse(fields["features"].begin(), fields["features"].end());
    write_text(folder / "turned/fields.geojson", fields.dump());
    for (const char* name : {"farm", "turned"}) {
        const Outcome outcome = run_program(
            {"plan", std::string(name) + "/job.ini", "--output", std::string(name) + "-plan"},
            folder.path());
        ASSERT_TRUE(outcome.code == 0 || outcome.code == 3) << outcome.err;
    }
    // The files of each field have the same bytes.
    const auto a = files_of(folder / "farm-plan");
    const auto b = files_of(folder / "turned-plan");
    std::size_t compared = 0;
    for (const auto& [name, bytes] : a) {
        if (name.find('/') == std::string::npos) continue;
        ASSERT_TRUE(b.contains(name)) << name;
        EXPECT_TRUE(bytes == b.at(name)) << name << " differs";
        ++compared;
    }
    EXPECT_GT(compared, 20U);
    // The common table has the same rows in the other order.
    const auto sorted_lines = [](const std::string& text) {
        std::istringstream in(text);
        std::vector<std::string> lines;
        for (std::string line; std::getline(in, line);) lines.push_back(line);
        std::sort(lines.begin(), lines.end());
        return lines;
    };
    EXPECT_EQ(sorted_lines(a.at("zones.csv")), sorted_lines(b.at("zones.csv")));
    EXPECT_NE(a.at("zones.csv"), b.at("zones.csv"));
}

TEST(Sameness, UnitsShownChangeNoRate) {
    const TemporaryFolder folder;
    copy_samples(folder / "farm");
    for (const char* units : {"us", "metric"}) {
        // Bounds and step are stated, so that both round to the same machine step.
        const Outcome outcome = run_program({"plan", "farm/job.ini", "--output", units,
                                             "--output.units", units, "--output.layers=no"},
                                            folder.path());
        ASSERT_TRUE(outcome.code == 0 || outcome.code == 3) << outcome.err;
    }
    EXPECT_EQ(slurp(folder / "us/zones.csv"), slurp(folder / "metric/zones.csv"));
    const Json us = Json::parse(slurp(folder / "us/run.json"));
    const Json metric = Json::parse(slurp(folder / "metric/run.json"));
    for (std::size_t i = 0; i < us.at("fields").size(); ++i) {
        const Json& left = us.at("fields").at(i);
        const Json& right = metric.at("fields").at(i);
        EXPECT_EQ(left.at("nitrogen_total_kg"), right.at("nitrogen_total_kg"));
        EXPECT_EQ(left.at("rate_unit"), "lb N/ac");
        EXPECT_EQ(right.at("rate_unit"), "kg N/ha");
        // 1 lb/ac = 1.120851 kg/ha (NIST SP 811, appendix B.8: pound 0.45359237 kg, acre
        // 4046.856 m2).
        EXPECT_NEAR(right.at("highest_rate").get<double>() / left.at("highest_rate").get<double>(),
                    1.120851, 1e-4);
    }
}

}  // namespace
}  // namespace catchfield::testing
