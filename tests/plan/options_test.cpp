// SPDX-License-Identifier: MIT
// Command lines into options and jobs, without a process.
#include "cli/options.hpp"

#include "base/error.hpp"
#include "cli/command.hpp"
#include "cli/job_input.hpp"
#include "support/temporary_folder.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <filesystem>
#include <functional>
#include <set>

namespace catchfield::cli {
namespace {

const std::vector<OptionSpec> specs = {
    {"output", 'o', "DIR", "", "Folder."},
    {"overwrite", '\0', "", "", "Replace."},
    {"threads", '\0', "N", "all cores", "How many."},
    {"help", 'h', "", "", "Explain."},
};
const PositionalSpec one_job{"JOB", "Job file.", 0, 1};

ParsedOptions parse(const std::vector<std::string>& arguments, bool keys = true) {
    return parse_options(arguments, specs, one_job, keys);
}

std::string refusal(const std::vector<std::string>& arguments, bool keys = true) {
    try {
        parse(arguments, keys);
    } catch (const Error& error) {
        EXPECT_EQ(error.kind(), ErrorKind::usage);
        return error.what();
    }
    ADD_FAILURE() << "no error was thrown";
    return {};
}

using testing::has;

TEST(Options, NamesLettersFlagsAndPlaces) {
    for (const auto& arguments : {std::vector<std::string>{"job.ini", "--output", "plan"},
                                  {"--output=plan", "job.ini"},
                                  {"-o", "plan", "job.ini"},
                                  {"job.ini", "-oplan"}}) {
        const ParsedOptions parsed = parse(arguments);
        EXPECT_EQ(parsed.text("output"), "plan");
        EXPECT_EQ(parsed.positional, std::vector<std::string>{"job.ini"});
        EXPECT_FALSE(parsed.flag("overwrite"));
    }
    EXPECT_TRUE(parse({"--overwrite"}).flag("overwrite"));
    EXPECT_EQ(parse({}).text("output", "there"), "there");
    EXPECT_EQ(parse({"--", "--odd-name"}).positional, std::vector<std::string>{"--odd-name"});
}

TEST(Options, JobKeysAreOptionsWhereAsked) {
    const ParsedOptions parsed = parse({"--nitrogen.max-rate", "100 lb/ac", "job.ini"});
    EXPECT_EQ(parsed.job, (std::map<std::string, std::string>{{"nitrogen.max-rate", "100 lb/ac"}}));
    EXPECT_TRUE(has(refusal({"--nitrogen.max-rate", "1"}, false), "unknown option"));
    EXPECT_TRUE(has(refusal({"--nitrogen.max-rat", "1"}), "--nitrogen.max-rate"));
    EXPECT_EQ(parse({"--weather.winter-low", "-20 degC"}).job.at("weather.winter-low"), "-20 degC");
}

TEST(Options, WrongOnesAreNamed) {
    EXPECT_TRUE(has(refusal({"--outptu", "x"}), "'--output'"));
    EXPECT_TRUE(has(refusal({"--out", "x"}), "--out"));
    EXPECT_TRUE(has(refusal({"--output", "a", "--output", "b"}), "--output is given twice"));
    EXPECT_TRUE(has(refusal({"--output"}), "output"));
    EXPECT_TRUE(has(refusal({"--overwrite=yes"}), "overwrite"));
    EXPECT_TRUE(has(refusal({"a.ini", "b.ini"}), "'b.ini'"));
    EXPECT_TRUE(has(refusal({"--", "a.ini", "b.ini"}), "'b.ini'"));
    EXPECT_THROW(parse_options({}, specs, {"JOB", "Job file.", 1, 1}, false), Error);
    EXPECT_NO_THROW(parse_options({"--help"}, specs, {"JOB", "Job file.", 1, 1}, false));
}

TEST(Options, WholeNumbersWithinBounds) {
    EXPECT_EQ(parse({"--threads", "2"}).integer("threads", 0, 0, 8), 2);
    EXPECT_EQ(parse({}).integer("threads", 5, 0, 8), 5);
    for (const char* wrong : {"9", "-1", "2.0", "two", "1e3", "", "99999999999999999999"}) {
        EXPECT_THROW(parse({std::string("--threads=") + wrong}).integer("threads", 0, 0, 8), Error)
            << wrong;
    }
}

TEST(Options, HelpFitsTheTerminal) {
    const std::string help = options_help(specs);
    EXPECT_TRUE(has(help, "  -o, --output DIR"));
    EXPECT_TRUE(has(help, "[all cores]"));
    for (const auto& command : all_commands()) {
        std::istringstream lines(options_help(command->options()));
        for (std::string line; std::getline(lines, line);) EXPECT_LE(line.size(), 80U) << line;
    }
}

TEST(Commands, NamesAndOptionsAreDistinctAndExplained) {
    std::set<std::string_view> names;
    for (const auto& command : all_commands()) {
        EXPECT_TRUE(names.insert(command->name()).second) << command->name();
        EXPECT_FALSE(command->summary().empty());
        EXPECT_TRUE(command->description().ends_with(".")) << command->name();
        std::vector<OptionSpec> options = command->options();
        options.insert(options.end(), common_options().begin(), common_options().end());
        std::set<std::string_view> option_names;
        std::set<char> letters;
        for (const OptionSpec& option : options) {
            EXPECT_TRUE(option_names.insert(option.name).second) << option.name;
            if (option.letter != '\0') {
                EXPECT_TRUE(letters.insert(option.letter).second) << option.letter;
            }
            EXPECT_TRUE(option.help.ends_with(".")) << option.name;
        }
        EXPECT_TRUE(has(command_help(*command), std::string(command->name())));
    }
}

TEST(JobOfOptions, FilePathsByTheFileOptionPathsByTheWorkingFolder) {
    const testing::TemporaryFolder folder;
    const std::string file =
        testing::write_text(folder / "job.ini",
                            "[field]\nboundary = fields.geojson\n[terrain]\nelevation = dem.tif\n"
                            "[soil]\nmap = soils.gpkg\n[weather]\nerosivity = 175 us\n"
                            "[season]\nharvest = 2025-07-15\nnext-planting = 2026-05-10\n"
                            "[nitrogen]\nmax-rate = 200 kg/ha\n");
    const plan::Job job =
        job_of(parse({file, "--soil.map", "other.gpkg", "--nitrogen.max-rate", "150 kg/ha"}));
    EXPECT_EQ(job.file, file);
    EXPECT_EQ(job.field.boundary, folder / "fields.geojson");
    EXPECT_EQ(job.soil.map, (std::filesystem::current_path() / "other.gpkg").string());
    EXPECT_DOUBLE_EQ(job.nitrogen.max_rate_kg_ha, 150.0);
    // An empty option puts the default back.
    EXPECT_DOUBLE_EQ(job_of(parse({file, "--nitrogen.max-rate", ""})).nitrogen.max_rate_kg_ha,
                     250.0);
}

}  // namespace
}  // namespace catchfield::cli
