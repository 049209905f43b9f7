// SPDX-License-Identifier: MIT
// Erosion through the whole program: LS on planes, practices, ranking, and bad input.
#include "base/table.hpp"
#include "base/text.hpp"
#include "erosion/soil_loss.hpp"
#include "gis/raster_source.hpp"
#include "terrain/slope_length.hpp"
#include "tilted_field.hpp"

#include <gtest/gtest.h>
#include <nlohmann/json.hpp>

namespace catchfield::testing {
namespace {

Table zones_of(const std::string& plan) {
    return Table::parse(slurp(plan + "/zones.csv"), "zones.csv");
}

/// Plans the field; the output folder is `plan`.
Outcome plan(const TemporaryFolder& folder, const TiltedField& field,
             const std::map<std::string, std::string>& more = {}) {
    const std::string job = make_tilted_field(folder, field, more);
    return run_line("plan '" + job + "' --output '" + folder / "plan" + "'");
}

/// Mean of a layer's cells.
double layer_mean(const std::string& path) {
    const gis::RasterSource source(path);
    const auto& info = source.info();
    GridFrame frame;
    frame.cell = info.cell_x;
    frame.west = info.bounds.min_x;
    frame.north = info.bounds.max_y;
    frame.cols = static_cast<int>(std::lround((info.bounds.max_x - frame.west) / frame.cell));
    frame.rows = static_cast<int>(std::lround((frame.north - info.bounds.min_y) / frame.cell));
    const auto window = source.read<float>(frame, source.crs(), gis::Resampling::nearest);
    double sum = 0.0;
    std::size_t cells = 0;
    for (std::size_t i = 0; i < frame.size(); ++i) {
        if (!window.valid[i]) continue;
        sum += static_cast<double>(window.values[i]);
        ++cells;
    }
    return sum / static_cast<double>(cells);
}

// On a plane the mean of the cells' LS is the uniform slope's LS (exact self-test of Desmet &
// Govers 1996): here from the elevation file to the layer file and the zone's row.
TEST(TiltedPlane, MeanLsIsTheUniformSlopes) {
    for (const char* routing : {"multiple", "d-infinity"}) {
        for (const double slope : {3.0, 6.0, 12.0}) {
            const TemporaryFolder folder;
            TiltedField field;
            field.slope_pct = slope;
            field.width_m = 800.0;
            const Outcome run =
                plan(folder, field, {{"terrain", std::string("routing = ") + routing + "\n"}});
            ASSERT_EQ(run.code, 0) << run.err;
            const double expected = terrain::ls_uniform(slope, field.length_m);
            EXPECT_NEAR(layer_mean(folder / "plan/layers/slope-ls.tif"), expected, 0.01 * expected)
                << routing << ", " << slope << " %";
            const Table zones = zones_of(folder / "plan");
            ASSERT_EQ(zones.rows(), 1u);
            EXPECT_NEAR(zones.required_number(0, "ls"), expected, 0.01 * expected);
            EXPECT_NEAR(zones.required_number(0, "slope_pct"), slope, 0.01 * slope);
            EXPECT_NEAR(zones.required_number(0, "slope_length_m"), field.length_m,
                        0.03 * field.length_m);
            // A = R K LS: 125 US, K .32 US (AH-703 App. A factors).
            EXPECT_NEAR(zones.required_number(0, "soil_loss_bare_mg_ha"),
                        125.0 * 0.32 * expected * 2.2417, 0.011 * 125.0 * 0.32 * expected * 2.2417);
            EXPECT_NEAR(layer_mean(folder / "plan/layers/slope-soil-loss-bare.tif"),
                        zones.required_number(0, "soil_loss_bare_mg_ha"),
                        1e-3 * zones.required_number(0, "soil_loss_bare_mg_ha"));
        }
    }
}

TEST(TiltedPlane, FlowBeyondTheGreatestLengthIsReported) {
    // The greatest slope length caps what collects: 240 m of slope, counted as at most 120 m.
    const TemporaryFolder folder;
    TiltedField field;
    field.length_m = 240.0;
    field.width_m = 800.0;  // at the sides some flow leaves, as multiple-flow routing spreads it
    const Outcome run = plan(folder, field);
    ASSERT_EQ(run.code, 0) << run.err;
    const Table zones = zones_of(folder / "plan");
    EXPECT_NEAR(zones.required_number(0, "channel_pct"), 50.0, 5.0);
    EXPECT_NE(zones.text(0, "cautions").find("gullies"), std::string::npos);
    EXPECT_NE(slurp(folder / "plan/run.json").find("greatest slope length of 120 m"),
              std::string::npos);
}

TEST(Practice, WithinAndBeyondItsLimits) {
    // AH-537 table 13, 6 %: P 0.5 up to 200 ft (61 m); beyond it 1, and said so.
    for (const auto& [length, p] : {std::pair{60.0, 0.5}, std::pair{120.0, 1.0}}) {
        const TemporaryFolder folder;
        TiltedField field;
        field.length_m = length;
        field.width_m = 800.0;
        const Outcome run = plan(folder, field, {{"season", "practice = contour\n"}});
        ASSERT_EQ(run.code, 0) << run.err;
        const Table zones = zones_of(folder / "plan");
        EXPECT_DOUBLE_EQ(zones.required_number(0, "p"), p) << zones.text(0, "p_note");
        EXPECT_FALSE(zones.text(0, "p_note").empty());
        const bool said =
            zones.text(0, "cautions").find("Support practice not counted") != std::string::npos;
        EXPECT_EQ(said, p == 1.0);
        const double now = zones.required_number(0, "soil_loss_now_mg_ha");
        EXPECT_NEAR(now,
                    zones.required_number(0, "soil_loss_bare_mg_ha") *
                        zones.required_number(0, "c_now") * p,
                    0.002 * now + 0.001);
    }
}

TEST(Routes, OfErodibilityToleranceAndErosivity) {
    const TemporaryFolder folder;
    TiltedField field;
    // K by the nomograph, T by depth: loam without K and T on the map.
    field.soil["kffact"] = "";
    field.soil["tfact"] = "";
    field.soil["sandtotal_r"] = "40";
    field.soil["silttotal_r"] = "40";
    field.soil["claytotal_r"] = "20";
    field.soil["om_r"] = "2";
    field.soil["resdept_r"] = "80";
    const Outcome run = plan(folder, field,
                             {{"weather", "erosivity = 125\nerosivity-unit = us\n"},
                              {"soil", "columns = restriction_top=resdept_r\n"}});
    ASSERT_EQ(run.code, 0) << run.err;
    const Table zones = zones_of(folder / "plan");
    EXPECT_EQ(zones.text(0, "k_route"), "nomograph, permeability from texture");
    EXPECT_NE(zones.text(0, "t_route").find("guide"), std::string::npos);
    // NSSH 618.93, group 2, 50 to 100 cm: 3 ton/ac.
    EXPECT_NEAR(zones.required_number(0, "t_mg_ha"), 3.0 * 2.2417, 0.001 * 3.0 * 2.2417);
    const auto json = nlohmann::json::parse(slurp(folder / "plan/run.json"));
    EXPECT_EQ(json["soils"][0]["k_route"], "nomograph, permeability from texture");
    EXPECT_NEAR(json["erosivity"]["r_si"].get<double>(), 125.0 * 17.02, 1.0);
}

TEST(Routes, StonesOnceInK) {
    // NSSH 618.92: Kf .32 with 30 % fragments: .48 x .32 = .154 US.
    const TemporaryFolder folder;
    TiltedField field;
    field.soil["fragvol_r"] = "30";
    const Outcome run = plan(folder, field, {{"soil", "columns = fragments=fragvol_r\n"}});
    ASSERT_EQ(run.code, 0) << run.err;
    EXPECT_NEAR(zones_of(folder / "plan").required_number(0, "k_si"), 0.1536 * 0.1317, 0.00005);
}

TEST(Routes, SharesAsGivenAreUsed) {
    // All of the year's erosivity in late July, right after the harvest.
    const TemporaryFolder folder;
    std::string shares;
    for (int i = 0; i < 24; ++i) shares += std::string(i > 0 ? "," : "") + (i == 13 ? "1" : "0");
    const Outcome run = plan(folder, {}, {{"weather", "erosivity-shares = " + shares + "\n"}});
    ASSERT_EQ(run.code, 0) << run.err;
    const Table rows =
        Table::parse(slurp(folder / "plan/report/slope-half-months.csv"), "half-months.csv");
    double late_july = -1.0;
    for (std::size_t i = 0; i < rows.rows(); ++i) {
        if (rows.text(i, "management") == "now" && rows.text(i, "half_month") == "late July")
            late_july = rows.required_number(i, "slr");
    }
    EXPECT_NEAR(zones_of(folder / "plan").required_number(0, "c_now"), late_july, 1e-4);
}

// --- bad input: each ends in an error or a warning that names what is wrong ----------------------

struct Bad {
    const char* what;
    TiltedField field;
    std::map<std::string, std::string> more;
    int code;           ///< expected exit code
    const char* words;  ///< in the message, or in run.json where the run goes on
};

TiltedField with_slope(double slope_pct) {
    TiltedField field;
    field.slope_pct = slope_pct;
    field.length_m = 60.0;
    field.width_m = 100.0;
    return field;
}

TiltedField with_soil(const std::map<std::string, std::string>& soil) {
    TiltedField field = with_slope(6.0);
    for (const auto& [name, value] : soil) field.soil[name] = value;
    return field;
}

TEST(BadInput, IsNeverAQuietNumber) {
    const TemporaryFolder files;
    write_text(files / "gap.csv",
               "date,tmax_c,tmin_c,precip_mm\n2025-07-01,30,18,0\n2025-07-03,30,18,0\n");
    write_text(files / "eleven.csv",
               "month,tmean_c,precip_mm\n1,0,60\n2,1,60\n3,5,60\n4,10,60\n5,16,60\n6,20,60\n7,23,"
               "60\n8,22,60\n9,18,60\n10,12,60\n11,6,60\n");
    const std::vector<Bad> cases = {
        {"slope over 50 %", with_slope(60.0), {}, 0, "50 %"},
        {"slope over 20 %", with_slope(25.0), {}, 0, "20 %"},
        {"greatest slope length over 305 m",
         with_slope(6.0),
         {{"terrain", "max-slope-length = 400 m\n"}},
         2,
         "305"},
        {"R without unit", with_slope(6.0), {{"weather", "erosivity = 125\n"}}, 2, "us, si"},
        {"R of nothing", with_slope(6.0), {{"weather", "erosivity = 0 us\n"}}, 2, "erosivity"},
        {"K above its range", with_soil({{"kffact", "0.9"}}), {}, 1, "0.02 to 0.69"},
        {"K in SI taken for US, texture known",
         with_soil({{"kffact", "0.015"},
                    {"sandtotal_r", "40"},
                    {"silttotal_r", "40"},
                    {"claytotal_r", "20"},
                    {"om_r", "2"}}),
         {},
         0,
         "0.02 to 0.69"},
        {"T of 0", with_soil({{"tfact", "0"}}), {}, 0, "tfact is 0"},
        {"gap in daily weather",
         with_slope(6.0),
         {{"weather", "erosivity = 125 us\ndaily = " + files / "gap.csv" + "\n"}},
         1,
         "missing before 2025-07-03"},
        {"month missing",
         with_slope(6.0),
         {{"weather", "erosivity = 125 us\nmonthly = " + files / "eleven.csv" + "\n"}},
         1,
         "month 12 is missing"},
        {"separates that do not add up",
         with_soil({{"sandtotal_r", "40"}, {"silttotal_r", "40"}, {"claytotal_r", "40"}}),
         {},
         0,
         "the three were not used"},
    };
    for (const Bad& bad : cases) {
        SCOPED_TRACE(bad.what);
        const TemporaryFolder folder;
        const Outcome run = plan(folder, bad.field, bad.more);
        EXPECT_EQ(run.code, bad.code) << run.err;
        const std::string said = bad.code == 0 ? slurp(folder / "plan/run.json") : run.err;
        EXPECT_NE(said.find(bad.words), std::string::npos) << said.substr(0, 4000);
        EXPECT_EQ(std::filesystem::exists(folder / "plan"), bad.code == 0);
    }
}

// --- rank ----------------------------------------------------------------------------------------

TEST(RankCommand, OrdersTwoPlans) {
    const TemporaryFolder one, two;
    ASSERT_EQ(plan(one, with_slope(3.0)).code, 0);
    const std::string both =
        "rank '" + one / "plan" + "' '" + two / "plan" + "' --seed-price '0.5 /lb' ";
    EXPECT_EQ(run_line(both).code, 1);  // the second is not there yet
    ASSERT_EQ(plan(two, with_slope(12.0)).code, 0);
    const Outcome doubled = run_line(both);
    EXPECT_EQ(doubled.code, 1);
    EXPECT_NE(doubled.err.find("field 'slope' is also in"), std::string::npos) << doubled.err;

    const std::string only = "rank '" + two / "plan" + "' ";
    const Outcome run = run_line(only + "--json --by saved-per-cost --seed-price '0.5 /lb'");
    ASSERT_EQ(run.code, 0) << run.err;
    const auto json = nlohmann::json::parse(run.out);
    const Table zones = zones_of(two / "plan");
    const double saved = (zones.required_number(0, "soil_loss_now_mg_ha") -
                          zones.required_number(0, "soil_loss_cover_mg_ha")) *
                         zones.required_number(0, "area_ha");
    EXPECT_NEAR(json["zones"][0]["saved_mg_yr"].get<double>(), saved, 0.002);
    const double cost = zones.required_number(0, "seed_rate_kg_ha") *
                        zones.required_number(0, "area_ha") * 0.5 / 0.45359237;
    EXPECT_NEAR(json["zones"][0]["seed_cost"].get<double>(), cost, 0.02);
    EXPECT_NEAR(json["zones"][0]["saved_mg_per_cost"].get<double>(), saved / cost, 0.0002);

    EXPECT_EQ(run_line("rank").code, 2);
    EXPECT_EQ(run_line(only + "--by size").code, 2);
    const Outcome bare = run_line(only + "--seed-price 0.5");
    EXPECT_EQ(bare.code, 2);
    EXPECT_NE(bare.err.find("/kg, /lb"), std::string::npos) << bare.err;
    EXPECT_EQ(run_line(only + "--output '" + two / "out" + "'").code, 0);
    EXPECT_TRUE(std::filesystem::exists(two / "out/ranking.gpkg"));
    EXPECT_EQ(run_line(only + "--output '" + two / "out" + "'").code, 2);  // it exists
}

}  // namespace
}  // namespace catchfield::testing
