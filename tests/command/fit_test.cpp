// SPDX-License-Identifier: MIT
// catchfield fit as a user runs it: published optima of open trials, files it writes, bad input.
#include "base/text.hpp"
#include "program.hpp"

#include <nlohmann/json.hpp>

namespace catchfield::testing {
namespace {

using Json = nlohmann::json;

class FitCommand : public ::testing::Test {
  protected:
    static Outcome run(const std::string& arguments) { return run_line("fit " + arguments); }
    std::string trial(const std::string& text) const {
        return write_text(m_folder / "trial.csv", text);
    }
    std::string file(const std::string& name) const { return m_folder / name; }

  private:
    TemporaryFolder m_folder;
};

/// Folder of the open trials, or a skip.
#define OPEN_TRIALS(folder)                                                      \
    const char* open_data = std::getenv("CATCHFIELD_OPEN_DATA");                 \
    if (open_data == nullptr) GTEST_SKIP() << "CATCHFIELD_OPEN_DATA is not set"; \
    const std::string folder = std::string(open_data) + "/n-response/";          \
    if (!fs::exists(folder + "bachmaier.nitrogen.txt")) GTEST_SKIP() << folder << " is missing"

const std::string in_metric = " --rate-unit kg/ha --yield-unit Mg/ha ";

// Bachmaier 2009, Statistical Papers 50:649-660: quadratic optima of the low- and the high-yielding
// zone at a price ratio of 0.005454 Mg/kg, and the interval 173 to 260 kg/ha of the low zone.
TEST_F(FitCommand, FindsThePublishedOptimaOfBachmaier) {
    OPEN_TRIALS(folder);
    const Outcome ran =
        run(folder + "bachmaier.nitrogen.txt" + in_metric +
            "--crop wheat --price-n '0.5454 /kg' --price-crop '100 /Mg' --form quadratic --json");
    ASSERT_EQ(ran.code, 0) << ran.err;
    const Json json = Json::parse(ran.out);
    ASSERT_EQ(json["groups"].size(), 2U);
    EXPECT_EQ(json["groups"][0]["zone"], "low");
    EXPECT_NEAR(json["groups"][0]["optimum"]["n_kg_ha"].get<double>(), 199.1, 0.05);
    EXPECT_NEAR(json["groups"][0]["optimum"]["low_kg_ha"].get<double>(), 173.0, 0.5);
    EXPECT_NEAR(json["groups"][0]["optimum"]["high_kg_ha"].get<double>(), 260.0, 0.5);
    EXPECT_NEAR(json["groups"][1]["optimum"]["n_kg_ha"].get<double>(), 239.8, 0.05);
}

// Hernandez & Mulla 2008, Agron. J. 100:1221-1229: site S5, corn at 118.1 $/Mg, N at 0.6615 $/kg,
// quadratic optimum 192 kg/ha. The file has rates to 168 kg/ha: the tool shows where the curve has
// it, but does not use it.
TEST_F(FitCommand, ShowsButDoesNotUseAnOptimumBeyondTheTestedRates) {
    OPEN_TRIALS(folder);
    const std::string job =
        folder + "hernandez.nitrogen.txt" + in_metric +
        "--price-n '0.6615 /kg' --price-crop '118.1 /Mg' --only site=S5 --form quadratic ";
    const Outcome ran = run(job + "--json");
    ASSERT_EQ(ran.code, 0) << ran.err;
    const Json optimum = Json::parse(ran.out)["groups"][0]["optimum"];
    EXPECT_NEAR(optimum["curve_n_kg_ha"].get<double>(), 192.0, 0.5);
    EXPECT_DOUBLE_EQ(optimum["n_kg_ha"].get<double>(), 168.0);
    EXPECT_TRUE(optimum["beyond_tested"].get<bool>());
    EXPECT_TRUE(optimum["loss_above_kg_ha"].is_null());
    EXPECT_NE(run(job).out.find("no plot has tested"), std::string::npos);
}

const std::string small_trial = [] {
    // Y = 4000 + 50 N - 0.15 N2 kg/ha, +-40 by block: the optimum at ratio 5 is (50 - 5) / 0.3 =
    // 150.
    std::string csv = "n_rate,yield,rep\n";
    for (int n = 0; n <= 200; n += 25) {
        for (const int block : {1, 2}) {
            const double y = 4000.0 + 50.0 * n - 0.15 * n * n + (block == 1 ? 40.0 : -40.0) +
                             ((n / 25 + block) % 2 == 0 ? 5.0 : -5.0);
            csv += std::to_string(n) + "," + catchfield::fixed(y, 1) + "," + std::to_string(block) +
                   "\n";
        }
    }
    return csv;
}();

TEST_F(FitCommand, WritesCurvesAndAPageAndKeepsFilesThatExist) {
    const std::string job =
        trial(small_trial) +
        " --rate-unit kg/ha --yield-unit kg/ha --price-n '0.5 /kg' --price-crop '100 /Mg' "
        "--form quadratic -o " +
        file("curves.json") + " --page " + file("page.html");
    const Outcome ran = run(job + " --json");
    ASSERT_EQ(ran.code, 0) << ran.err;
    EXPECT_NEAR(Json::parse(ran.out)["groups"][0]["optimum"]["n_kg_ha"].get<double>(), 150.0, 1.0);
    const Json curves = Json::parse(slurp(file("curves.json")));
    EXPECT_EQ(curves["curves"][0]["blocks"], 2);
    EXPECT_NEAR(curves["curves"][0]["b"].get<double>(), 50.0, 0.5);
    const std::string page = slurp(file("page.html"));
    EXPECT_NE(page.find("<svg"), std::string::npos);
    EXPECT_EQ(page.find("://"), std::string::npos);  // works offline
    const Outcome again = run(job);
    EXPECT_EQ(again.code, 2);
    EXPECT_NE(again.err.find("--overwrite"), std::string::npos);
    EXPECT_EQ(run(job + " --overwrite").code, 0);
}

TEST_F(FitCommand, UnitsOfTheTrialDoNotMoveTheOptimum) {
    std::string us = "rate;yield;block\n";
    std::stringstream lines(small_trial);
    std::string line;
    std::getline(lines, line);
    while (std::getline(lines, line)) {
        const auto cells = catchfield::split(line, ',');
        // 1 lb/ac = 1.120851 kg/ha; corn 56 lb a bushel: 62.768 kg/ha a bu/ac.
        us += catchfield::fixed(*catchfield::parse_number(cells[0]) / 1.12085116, 6) + ";" +
              catchfield::fixed(*catchfield::parse_number(cells[1]) / 62.76766, 6) + ";" +
              cells[2] + "\n";
    }
    const Outcome ran = run(trial(us) +
                            " --rate-unit lb/ac --yield-unit bu/ac --price-n '0.5 /kg' "
                            "--price-crop '100 /Mg' --form quadratic --json");
    ASSERT_EQ(ran.code, 0) << ran.err;
    EXPECT_NEAR(Json::parse(ran.out)["groups"][0]["optimum"]["n_kg_ha"].get<double>(), 150.0, 1.0);
}

TEST_F(FitCommand, ReadsTablesOfBlanksWithRowNames) {
    std::string text = "\"nitro\" \"grain yield\"\n";
    int row = 0;
    std::stringstream lines(small_trial);
    std::string line;
    std::getline(lines, line);
    while (std::getline(lines, line)) {
        const auto cells = catchfield::split(line, ',');
        text += "\"" + std::to_string(++row) + "\"  " + cells[0] + "   " + cells[1] + "\n";
    }
    const Outcome ran =
        run(trial(text) + " --rate-unit kg/ha --yield-unit kg/ha --yield 'grain yield' --json");
    ASSERT_EQ(ran.code, 0) << ran.err;
    EXPECT_EQ(Json::parse(ran.out)["groups"][0]["plots"], 18);
}

TEST_F(FitCommand, RefusesWhatCannotBeRight) {
    const std::string path = trial(small_trial);
    const std::string units = " --rate-unit kg/ha --yield-unit kg/ha ";
    const auto refused = [&](const std::string& arguments, int code, const std::string& words) {
        const Outcome ran = run(arguments);
        EXPECT_EQ(ran.code, code) << arguments;
        EXPECT_NE(ran.err.find(words), std::string::npos) << ran.err;
        EXPECT_EQ(ran.out, "");
    };
    refused(path + " --yield-unit kg/ha", 2, "--rate-unit is missing");
    refused(path + " --rate-unit kg/ha", 2, "--yield-unit is missing");
    refused(path + units + "--price-n '0 /kg' --price-crop '100 /Mg'", 2, "above zero");
    refused(path + units + "--price-n '0.5 /kg' --price-crop '0 /Mg'", 2, "above zero");
    refused(path + units + "--price-n '0.5 /kg'", 2, "--price-crop is missing");
    refused(path + units + "--price-n 0.5 --price-crop '100 /Mg'", 2, "unit");
    refused(path + units + "--rate n_rat", 2, "Did you mean 'n_rate'");
    refused(path + units + "--form cubic", 2, "not one of");
    refused(trial("rate,yield\n0,4\n100,-1\n200,5\n"), 2, "missing");
    refused(trial("rate,yield\n0,4\n100,-1\n200,5\n") + units, 1, "below zero");
    refused(trial("rate,yield\n0,4\n100,9\n0,5\n100,8\n") + units, 1, "rates");
    refused(trial("rate,yield\n0,4\n50,x\n100,8\n") + units, 1, "line 3");
    refused(trial("n,rate,yield\n0,0,4\n") + units, 2, "several columns");
    refused(file("none.csv") + units, 1, "none.csv");
}

}  // namespace
}  // namespace catchfield::testing
