// SPDX-License-Identifier: MIT
// The whole job on a real field: open data of The Carpentries (CC BY 4.0, "Data Harvesting for
// Agriculture"), found through CATCHFIELD_OPEN_DATA. Figures to compare with are an independent
// calculation on the part that the soil map covers (R 125 US, slope length 120 m, edge as barrier):
// mean slope 1.61 %, mean LS 0.28 by multiple-flow routing, bare-fallow loss about 30.6 Mg/ha.
#include "base/table.hpp"
#include "gis/start.hpp"
#include "gis/vector.hpp"
#include "map_files.hpp"

#include <memory>

namespace catchfield::testing {
namespace {

class OhioField : public ::testing::Test {
  protected:
    static void SetUpTestSuite() {
        if (open_data("ohio-field").empty()) return;
        gis::start({});
        s_folder = std::make_unique<TemporaryFolder>();
        s_start = run_program({"start", open_data("ohio-field"), "--output", "job.ini"},
                              s_folder->path());
        s_plan =
            run_program({"plan", "job.ini", "--output", "plan", "--weather.erosivity", "125 us",
                         "--output.layers", "yes", "--nitrogen.max-rate", "200 lb/ac"},
                        s_folder->path());
    }
    static void TearDownTestSuite() { s_folder.reset(); }
    void SetUp() override {
        if (!s_folder) GTEST_SKIP() << "CATCHFIELD_OPEN_DATA has no ohio-field";
        ASSERT_EQ(s_start.code, 0) << s_start.err;
        ASSERT_TRUE(s_plan.code == 0 || s_plan.code == 3) << s_plan.err;
    }
    static Table zones() { return Table::parse(slurp(*s_folder / "plan/zones.csv"), "zones.csv"); }

    static std::unique_ptr<TemporaryFolder> s_folder;
    static Outcome s_start, s_plan;
};
std::unique_ptr<TemporaryFolder> OhioField::s_folder;
Outcome OhioField::s_start;
Outcome OhioField::s_plan;

TEST_F(OhioField, TwoToSixZonesCoverTheBoundary) {
    const Table table = zones();
    EXPECT_GE(table.rows(), 2U);
    EXPECT_LE(table.rows(), 6U);
    double total_ha = 0.0;
    for (std::size_t row = 0; row < table.rows(); ++row)
        total_ha += table.required_number(row, "area_ha");
    const gis::VectorLayer boundary =
        gis::read_layer(open_data("ohio-field") + "/boundary.geojson");
    const double field_ha =
        gis::geodesic_area_m2(boundary.features.at(0).polygons, gis::Crs::wgs84()) * 1e-4;
    EXPECT_NEAR(field_ha, 34.4, 0.1);
    EXPECT_NEAR(total_ha / field_ha, 1.0, 0.005);
}

TEST_F(OhioField, SlopeAndSoilLossAreThoseOfTheFieldsOhio) {
    const Table table = zones();
    double area = 0.0, slope = 0.0, ls = 0.0, bare = 0.0, bare_area = 0.0;
    for (std::size_t row = 0; row < table.rows(); ++row) {
        const double ha = table.required_number(row, "area_ha");
        area += ha;
        slope += ha * table.required_number(row, "slope_pct");
        ls += ha * table.required_number(row, "ls");
        if (const auto loss = table.number(row, "soil_loss_bare_mg_ha")) {
            bare += ha * *loss;
            bare_area += ha;
            EXPECT_LE(table.required_number(row, "soil_loss_cover_mg_ha"),
                      table.required_number(row, "soil_loss_now_mg_ha"));
            EXPECT_LT(table.required_number(row, "soil_loss_now_mg_ha"), *loss);
        }
    }
    // The whole field, not the covered part alone: hence the room.
    EXPECT_NEAR(slope / area, 1.61, 0.16);
    EXPECT_NEAR(ls / area, 0.28, 0.04);
    EXPECT_NEAR(bare / bare_area, 30.6, 5.0);
}

TEST_F(OhioField, GroundWithoutSoilMapIsSaidAndCostsConfidence) {
    const Table table = zones();
    double mapped = 0.0, elsewhere = 0.0;
    for (std::size_t row = 0; row < table.rows(); ++row) {
        const double ha = table.required_number(row, "area_ha");
        const double filled = table.required_number(row, "soil_filled_pct");
        const double without = table.required_number(row, "soil_without_pct");
        const double share = table.required_number(row, "soil_mapped_pct");
        EXPECT_NEAR(share + filled + without, 100.0, 0.3);
        mapped += ha * share / 100.0;
        elsewhere += ha * (filled + without) / 100.0;
        if (filled + without > 20.0) {
            EXPECT_NE(table.text(row, "confidence"), "high");
        }
    }
    // By overlay of the two files in GEOS: the map covers 25.15 of 34.40 ha.
    EXPECT_NEAR(mapped, 25.15, 0.1);
    EXPECT_NEAR(elsewhere, 9.25, 0.1);
}

TEST_F(OhioField, RatesLieInsideTheBounds) {
    const Table table = zones();
    for (std::size_t row = 0; row < table.rows(); ++row) {
        const double rate = table.required_number(row, "n_rate_kg_ha");
        EXPECT_GE(rate, 0.0);
        EXPECT_LE(rate, 200.0 * 1.120851 + 0.01);
    }
}

// The newcomer's way: start, check, plan; only dates and prices are edited.
TEST_F(OhioField, PlansAfterEditingNothingButDatesAndPrices) {
    const TemporaryFolder folder;
    ASSERT_EQ(run_program({"start", open_data("ohio-field"), "-o", "job.ini"}, folder.path()).code,
              0);
    std::string job, line;
    std::size_t edited = 0;
    std::istringstream lines(slurp(folder / "job.ini"));
    while (std::getline(lines, line)) {
        for (const auto& [key, value] : {std::pair{"harvest = ", "2025-07-12"},
                                         {"sow = ", "2025-08-15"},
                                         {"next-planting = ", "2026-05-08"},
                                         {"price-n = ", "0.55 /lb"},
                                         {"price-crop = ", "4.10 /bu"}}) {
            if (!line.starts_with(key)) continue;
            line = std::string(key) + value;
            ++edited;
        }
        job += line + "\n";
    }
    EXPECT_EQ(edited, 5u) << job;
    write_text(folder / "job.ini", job);
    const Outcome check = run_program({"check", "job.ini"}, folder.path());
    EXPECT_EQ(check.code, 0) << check.all();
    EXPECT_TRUE(has(check.out, "low at best (weather)")) << check.out;
    const Outcome plan = run_program({"plan", "job.ini", "-o", "plan"}, folder.path());
    EXPECT_EQ(plan.code, 0) << plan.all();
    EXPECT_TRUE(has(plan.err, "1 field: 1 done")) << plan.err;
    EXPECT_TRUE(fs::exists(folder / "plan/report.html"));
}

}  // namespace
}  // namespace catchfield::testing
