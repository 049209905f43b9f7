// SPDX-License-Identifier: MIT
// Nitrogen inputs that cannot be right, given to the whole command: exit code, reason, and nothing
// left behind.
#include "program.hpp"
#include "tilted_field.hpp"

namespace catchfield::testing {
namespace {

class NitrogenCommand : public ::testing::Test {
  protected:
    Outcome plan(const std::string& arguments) const {
        return run_line("plan " + samples() + "/job.ini -o " + out() + " " + arguments);
    }
    std::string out() const { return m_folder / "plan"; }
    std::string file(const std::string& name, const std::string& text) const {
        return write_text(m_folder / name, text);
    }

  private:
    TemporaryFolder m_folder;
};

TEST_F(NitrogenCommand, RefusesInputThatCannotBeRight) {
    const auto refused = [&](const std::string& arguments, int code, const std::string& words) {
        const Outcome ran = plan(arguments);
        EXPECT_EQ(ran.code, code) << arguments << "\n" << ran.all();
        EXPECT_NE(ran.all().find(words), std::string::npos) << ran.all();
        EXPECT_FALSE(fs::exists(out())) << arguments;
    };
    refused("--nitrogen.price-n '0 /lb'", 2, "above zero");
    refused("--nitrogen.price-crop '0 /bu'", 2, "above zero");
    refused("--nitrogen.yield-goal '-20 bu/ac'", 2, "yield");
    refused("--nitrogen.method responses", 2, "Did you mean 'response'");
    refused("--nitrogen.method response", 2, "nitrogen.response is not given");
    refused("--nitrogen.split 0.3,0.3", 2, "do not add to one");
    refused("--nitrogen.machine-speed 10", 2, "km/h");
    refused("--nitrogen.soil-tests " +
                file("tests.csv",
                     "sample,lon,lat,top_cm,bottom_cm,nitrate_ppm\nA,-94.99,40.2,0,30,2400\n"),
            1, "not possible");
    refused("--nitrogen.soil-tests " +
                file("tests.csv",
                     "sample,lon,lat,top_cm,bottom_cm,nitrate_ppm\nA,-94.99,40.2,0,30,-4\n"),
            1, "sample A");
    std::ifstream table(CATCHFIELD_SOURCE_DIR "/src/nitrogen/data/credits.csv", std::ios::binary);
    std::stringstream credits;
    credits << table.rdbuf();
    refused(
        "--nitrogen.credits-table " + file("credits.csv", credits.str() + "nowhere,clover,a,b\n"),
        1, "line");
}

TEST_F(NitrogenCommand, SetbackThatTakesTheFieldsLeavesThePlanAndSaysSo) {
    const Outcome ran = plan("--nitrogen.setback '1000 m'");
    EXPECT_EQ(ran.code, 3) << ran.all();
    EXPECT_NE(ran.all().find("take the whole field"), std::string::npos) << ran.all();
    EXPECT_TRUE(fs::exists(out() + "/budget.csv"));
}

TEST_F(NitrogenCommand, GroundThinnerThanTheMapsDecimalsDoesNotStopThePlan) {
    const TemporaryFolder folder;
    const std::string job = make_tilted_field(folder, {});
    const gis::Crs crs = gis::Crs::from_epsg(32617);
    {
        // A ditch drawn half a millimetre into the field: maps are written to the centimetre.
        gis::GeoPackageWriter writer(folder / "ditch.gpkg",
                                     {{"ditch", gis::LayerGeometry::multi_polygon, {}, crs, ""}});
        writer.add(0,
                   gis::PolygonRow{
                       {box_polygon(329'990.0, 4'430'000.0, 330'000.0005, 4'430'300.0)}, {}, -1});
        writer.commit();
    }
    const Outcome ran = run_line("plan " + job + " -o " + (folder / "out") +
                                 " --nitrogen.no-apply " + (folder / "ditch.gpkg"));
    EXPECT_EQ(ran.code, 0) << ran.all();
    EXPECT_EQ(run_line("check " + (folder / "out")).code, 0);
}

TEST_F(NitrogenCommand, FitServesThePlan) {
    std::string trial = "rate,yield\n";
    for (int n = 0; n <= 240; n += 20) {
        // Two plots a rate about 6000 + 50 N - 0.14 N2 kg/ha.
        for (const int off : {-60, 60}) {
            const double y = 6000.0 + 50.0 * n - 0.14 * n * n + off;
            trial += std::to_string(n) + "," + std::to_string(static_cast<int>(y)) + "\n";
        }
    }
    const std::string curves = file("curves.json", "");
    const Outcome fit =
        run_line("fit " + file("trial.csv", trial) +
                 " --rate-unit kg/ha --yield-unit kg/ha --form quadratic --overwrite -o " + curves);
    ASSERT_EQ(fit.code, 0) << fit.all();
    const Outcome ran = plan("--nitrogen.method response --nitrogen.response " + curves);
    ASSERT_EQ(ran.code, 0) << ran.all();
    std::ifstream budget(out() + "/budget.csv");
    std::string line;
    std::getline(budget, line);
    std::getline(budget, line);
    // (50 - 6.512) / 0.28 = 155.3 kg/ha = 138.6 lb/ac at 0.50 $/lb and 4.30 $/bu.
    const std::size_t at = line.find(",138.");
    EXPECT_NE(at, std::string::npos) << line;
    EXPECT_NE(line.find("quadratic fit, 26 plots"), std::string::npos) << line;
}

}  // namespace
}  // namespace catchfield::testing
