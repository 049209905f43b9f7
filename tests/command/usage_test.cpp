// SPDX-License-Identifier: MIT
// Help, version and wrong command lines. Nothing is opened for writing by any of them.
#include "program.hpp"

namespace catchfield::testing {
namespace {

const std::vector<std::string> commands = {"start", "check", "plan", "species"};

TEST(Usage, OverviewNamesEveryCommand) {
    const TemporaryFolder folder;
    for (const char* word : {"--help", "-h", "help"}) {
        const Outcome outcome = run_program({word}, folder.path());
        EXPECT_EQ(outcome.code, 0) << word;
        EXPECT_EQ(outcome.err, "");
        for (const std::string& command : commands) EXPECT_TRUE(has(outcome.out, "  " + command));
    }
    const Outcome nothing = run_program({}, folder.path());
    EXPECT_EQ(nothing.code, 2);
}

TEST(Usage, EveryCommandExplainsItself) {
    const TemporaryFolder folder;
    const Outcome overview = run_program({"--help"}, folder.path());
    std::size_t found = 0;
    std::istringstream lines(overview.out);
    bool listed = false;
    for (std::string line; std::getline(lines, line);) {
        if (line == "commands:") {
            listed = true;
        } else if (listed && line.empty()) {
            listed = false;
        } else if (listed) {
            const std::string command = line.substr(2, line.find(' ', 2) - 2);
            const Outcome outcome = run_program({command, "--help"}, folder.path());
            EXPECT_EQ(outcome.code, 0) << command;
            EXPECT_EQ(outcome.err, "") << command;
            EXPECT_TRUE(has(outcome.out, "usage: catchfield " + command)) << outcome.out;
            for (const char* part : {"--help", "--quiet", "--verbose", "exit codes:\n  0 "})
                EXPECT_TRUE(has(outcome.out, part)) << command << " " << part;
            std::istringstream help(outcome.out);
            for (std::string text; std::getline(help, text);)
                EXPECT_LE(text.size(), 90U) << command << ": " << text;
            ++found;
        }
    }
    EXPECT_GE(found, commands.size());
}

TEST(Usage, VersionListsLibraries) {
    const TemporaryFolder folder;
    const Outcome brief = run_program({"--version"}, folder.path());
    EXPECT_EQ(brief.code, 0);
    EXPECT_TRUE(brief.out.starts_with("catchfield ")) << brief.out;
    EXPECT_EQ(std::count(brief.out.begin(), brief.out.end(), '\n'), 1);
    const Outcome full = run_program({"--version", "--verbose"}, folder.path());
    EXPECT_EQ(full.code, 0);
    for (const char* library : {"GDAL", "PROJ", "GEOS"})
        EXPECT_TRUE(has(full.out, library)) << full.out;
}

TEST(Usage, UnknownCommandNamesTheNearest) {
    const TemporaryFolder folder;
    const Outcome outcome = run_program({"plam", "job.ini"}, folder.path());
    EXPECT_EQ(outcome.code, 2);
    EXPECT_EQ(outcome.out, "");
    EXPECT_TRUE(has(outcome.err, "unknown command 'plam'")) << outcome.err;
    EXPECT_TRUE(has(outcome.err, "Did you mean 'plan'?")) << outcome.err;
}

TEST(Usage, UnknownOptionNamesTheNearest) {
    const TemporaryFolder folder;
    const Outcome outcome = run_program({"plan", "job.ini", "--outputt", "x"}, folder.path());
    EXPECT_EQ(outcome.code, 2);
    EXPECT_TRUE(has(outcome.err, "unknown option")) << outcome.err;
    EXPECT_TRUE(has(outcome.err, "'--output'")) << outcome.err;
    // Not taken for --output from its first letters either.
    EXPECT_EQ(run_program({"plan", "job.ini", "--outp", "x"}, folder.path()).code, 2);
    EXPECT_TRUE(entries_of(folder.path()).empty());
}

TEST(Usage, WrongValuesAndCounts) {
    const TemporaryFolder folder;
    copy_samples(folder.path());
    const auto wrong = [&](const std::vector<std::string>& arguments, const std::string& part) {
        const Outcome outcome = run_program(arguments, folder.path());
        EXPECT_EQ(outcome.code, 2) << outcome.err;
        EXPECT_TRUE(has(outcome.err, part)) << outcome.err;
        EXPECT_TRUE(outcome.err.starts_with("catchfield: plan: ")) << outcome.err;
    };
    wrong({"plan", "job.ini", "--output", "p", "--threads", "two"}, "--threads two");
    wrong({"plan", "job.ini", "--output", "p", "--threads", "-1"}, "--threads -1");
    wrong({"plan", "job.ini", "again.ini", "--output", "p"}, "again.ini");
    wrong({"plan", "job.ini"}, "--output is missing");
    wrong({"plan", "job.ini", "--output", "p", "--output", "q"}, "output");
    wrong({"plan", "job.ini", "--output"}, "output");
    wrong({"plan", "job.ini", "--output", "p", "--nitrogen.max-rate", "200"}, "nitrogen.max-rate");
    EXPECT_FALSE(fs::exists(folder / "p"));
}

TEST(Usage, OptionsOverrideTheJobFile) {
    const TemporaryFolder folder;
    copy_samples(folder.path());
    const Outcome outcome =
        run_program({"plan", "job.ini", "--output", "p", "--nitrogen.max-rate", "100 lb/ac",
                     "--output.reports", "no", "--output.layers=no"},
                    folder.path());
    EXPECT_TRUE(outcome.code == 0 || outcome.code == 3) << outcome.err;
    EXPECT_FALSE(fs::exists(folder / "p/report.html"));
    EXPECT_FALSE(fs::exists(folder / "p/layers"));
    EXPECT_TRUE(has(slurp(folder / "p/run.json"), "100 lb/ac"));
}

}  // namespace
}  // namespace catchfield::testing
