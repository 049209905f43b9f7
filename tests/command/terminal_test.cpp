// SPDX-License-Identifier: MIT
// What the terminal shows: progress, colour, names from files, settings, suggestions.
#include "program.hpp"

#include <nlohmann/json.hpp>

#include <algorithm>

namespace catchfield::testing {
namespace {

const std::string escape = "\x1b[";

/// What a person sees: the program on a pseudo-terminal of `script` (util-linux), both streams.
Outcome on_terminal(const std::string& arguments, const std::string& where,
                    const std::string& environment = "TERM=xterm") {
    return run({"sh", "-c",
                "env -u NO_COLOR " + environment + " script -qec \"'" CATCHFIELD_PROGRAM "' " +
                    arguments + "\" /dev/null </dev/null"},
               where);
}

class Terminal : public ::testing::Test {
  protected:
    void SetUp() override {
        if (run({"sh", "-c", "command -v script"}).code != 0)
            GTEST_SKIP() << "script (util-linux) is not installed";
        copy_samples(folder.path());
    }
    const std::string plan =
        "plan job.ini -o p --overwrite --output.uncertainty 0 "
        "--output.reports no --output.layers no";
    const TemporaryFolder folder;
};

TEST_F(Terminal, ProgressOnATerminalOnly) {
    const Outcome seen = on_terminal(plan, folder.path());
    EXPECT_EQ(seen.code, 0) << seen.out;
    for (const char* part : {"25% 1/4 (", "100% 4/4 (", " s left) Ridge", "\r\x1b[K"})
        EXPECT_TRUE(has(seen.out, part)) << part << "\n" << seen.out;
    // The bar is gone before the table.
    const std::size_t table = seen.out.find("4 fields: ");
    ASSERT_NE(table, std::string::npos) << seen.out;
    EXPECT_EQ(seen.out.find("s left", table), std::string::npos);

    const Outcome piped = run_line(plan, folder.path());
    EXPECT_EQ(piped.code, 0);
    EXPECT_EQ(piped.out, "");
    EXPECT_FALSE(has(piped.err, "left)"));
    EXPECT_FALSE(has(piped.err, "\r"));
    EXPECT_TRUE(has(piped.err, "4 fields: "));
}

TEST_F(Terminal, QuietAndJsonKeepItClean) {
    const Outcome quiet = on_terminal(plan + " --quiet", folder.path());
    EXPECT_EQ(quiet.code, 0);
    EXPECT_EQ(quiet.out, "");
    const Outcome json = run_line(plan + " --json --quiet", folder.path());
    EXPECT_EQ(json.err, "");
    EXPECT_EQ(nlohmann::json::parse(json.out)["fields"].size(), 4u);
    const Outcome bar = on_terminal(plan + " --json", folder.path());
    EXPECT_FALSE(has(bar.out, "left)"));
}

TEST_F(Terminal, ColourOnATerminalUnlessRefused) {
    const std::string wrong = "plan absent.ini -o p";
    const std::string red = escape + "31mcatchfield:" + escape + "0m plan: ";
    const std::string yellow = escape + "33mnote:" + escape + "0m ";
    EXPECT_TRUE(has(on_terminal(wrong, folder.path()).out, red));
    EXPECT_TRUE(has(on_terminal(plan, folder.path()).out, yellow));
    for (const char* refused : {"TERM=xterm NO_COLOR=1", "TERM=dumb", "-u TERM"}) {
        EXPECT_FALSE(has(on_terminal(wrong, folder.path(), refused).out, escape)) << refused;
        const std::string seen = on_terminal(plan, folder.path(), refused).out;
        EXPECT_TRUE(has(seen, "note: ")) << refused;
        EXPECT_FALSE(has(seen, escape + "33m")) << refused;
    }
    EXPECT_TRUE(has(on_terminal(wrong, folder.path(), "TERM=xterm NO_COLOR=").out, red));
    EXPECT_FALSE(has(run_line(wrong, folder.path()).err, escape));
}

TEST_F(Terminal, NamesFromFilesCannotSteerIt) {
    // A field whose name clears the screen and sets the title.
    std::string fields = slurp(folder / "fields.geojson");
    const std::size_t at = fields.find("Ridge");
    ASSERT_NE(at, std::string::npos);
    fields.replace(at, 5, "R\\u001b[2J\\u009b31m\\u0007idge");
    write_text(folder / "fields.geojson", fields);
    const Outcome seen = on_terminal(plan, folder.path());
    EXPECT_TRUE(has(seen.out, "R [2J 31m idge")) << seen.out;
    EXPECT_FALSE(has(seen.out, "\x1b[2J"));
    EXPECT_FALSE(has(seen.out, "\x07"));
    const Outcome piped = run_line("check job.ini", folder.path());
    EXPECT_TRUE(has(piped.out, "R [2J 31m idge")) << piped.out;
}

TEST_F(Terminal, LongNamesStayInOneLine) {
    std::string fields = slurp(folder / "fields.geojson");
    fields.replace(fields.find("Ridge"), 5, std::string(300, 'r'));
    write_text(folder / "fields.geojson", fields);
    const std::string out = on_terminal(plan, folder.path()).out;
    const std::size_t bar = out.find(" s left) rrr");
    ASSERT_NE(bar, std::string::npos);
    const std::size_t begin = out.rfind("\x1b[K", bar) + 3;
    EXPECT_LT(out.find('\r', bar) - begin, 80u);
}

TEST_F(Terminal, VerboseShowsTheSettingsInForce) {
    for (const std::string& line : {plan, std::string("check job.ini")}) {
        const Outcome shown =
            run_line(line + " --verbose --nitrogen.max-rate '111 lb/ac'", folder.path());
        EXPECT_TRUE(has(shown.err, "nitrogen.max-rate = 111 lb/ac")) << shown.err;
        EXPECT_TRUE(has(shown.err, "zones.exponent = 1.3")) << "a default";
        EXPECT_TRUE(has(shown.err, " s] ")) << "the time";
    }
}

TEST_F(Terminal, NearestNames) {
    const std::pair<const char*, const char*> slips[] = {
        {"plan job.ini -o p --nitrogen.max-rat 1", "'--nitrogen.max-rate'"},
        {"plan job.ini -o p --cover.candidates rey", "'rye'"},
        {"plan job.ini -o p --field.id-column feild", "'field'"},
        {"plan job.ini -o p --season.previous-crop wheet", "'wheat'"},
        {"plan job.ini -o p --zones.features slopee", "'slope'"},
        {"plan job.ini -o p --nitrogen.max-rate '100 lb/acre'", "'lb/ac'"},
        {"species ryee", "'rye'"},
        {"species --group gras", "'grass'"},
        {"export p --to shapfile -o x", "'shapefile'"},
        {"chek job.ini", "'check'"}};
    for (const auto& [line, near] : slips) {
        const Outcome outcome = run_line(line, folder.path());
        EXPECT_NE(outcome.code, 0) << line;
        EXPECT_TRUE(has(outcome.err, std::string("Did you mean ") + near)) << outcome.err;
    }
    // In the file: with its line.
    write_text(folder / "slip.ini", "[field]\nboundry = fields.geojson\n");
    const Outcome slip = run_line("check slip.ini", folder.path());
    EXPECT_EQ(slip.code, 2);
    EXPECT_TRUE(has(slip.err, "slip.ini")) << slip.err;
    EXPECT_TRUE(has(slip.err, "line 2")) << slip.err;
    EXPECT_TRUE(has(slip.err, "boundary")) << slip.err;
}

TEST_F(Terminal, ErrorsNameFilePlaceReasonAndNextStep) {
    write_text(folder / "tests.csv",
               "sample,lon,lat,top_cm,bottom_cm,nitrate_ppm\nA,-94.99,40.2,0,"
               "30,many\n");
    const std::pair<const char*, std::vector<const char*>> cases[] = {
        {"plan job.ini -o p --nitrogen.soil-tests tests.csv",
         {"tests.csv", "nitrate_ppm", "line 2", "many"}},
        {"plan job.ini -o p --soil.map absent.gpkg", {"absent.gpkg", "No such file"}},
        {"plan job.ini -o p --terrain.elevation probes.csv", {"probes.csv", "raster"}},
        {"plan job.ini -o p --soil.layer nosuch", {"soils.gpkg", "nosuch"}},
        {"plan absent.ini -o p", {"absent.ini", "catchfield start"}}};
    for (const auto& [line, parts] : cases) {
        const Outcome outcome = run_line(line, folder.path());
        EXPECT_NE(outcome.code, 0) << line;
        EXPECT_TRUE(outcome.err.starts_with("catchfield: plan: ")) << outcome.err;
        for (const char* part : parts) EXPECT_TRUE(has(outcome.err, part)) << outcome.err;
        EXPECT_EQ(std::count(outcome.err.begin(), outcome.err.end(), '\n'), 1) << outcome.err;
        EXPECT_FALSE(fs::exists(folder / "p"));
    }
}

}  // namespace
}  // namespace catchfield::testing
