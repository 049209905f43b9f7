// SPDX-License-Identifier: MIT
// Compaction through the whole program: the demo farm's four cases, forms of stop tables, bad
// input, maps between the stops, stop plans.
#include "base/table.hpp"
#include "base/text.hpp"
#include "program.hpp"

#include <gtest/gtest.h>

#include <filesystem>
#include <map>
#include <string>
#include <vector>

namespace catchfield::testing {
namespace {

using Folder = TemporaryFolder;

Outcome plan(const Folder& folder, std::vector<std::string> more = {}) {
    std::vector<std::string> arguments = {
        "plan",        samples() + "/job.ini", "--output", folder / "p",
        "--overwrite", "--output.uncertainty", "0"};
    arguments.insert(arguments.end(), more.begin(), more.end());
    return run_program(arguments);
}

Table zones_of(const Folder& folder) {
    return Table::parse(slurp(folder / "p/zones.csv"), "zones.csv");
}

/// The advice of all zones of a field, each once.
std::map<std::string, std::string> advice_of(const Table& zones) {
    std::map<std::string, std::string> advice;
    for (std::size_t row = 0; row < zones.rows(); ++row) {
        std::string& all = advice[zones.text(row, "field_id")];
        const std::string& one = zones.text(row, "taproot_advice");
        if (!has("|" + all + "|", "|" + one + "|")) all += (all.empty() ? "" : "|") + one;
    }
    return advice;
}

/// Result cells of a report's condition rows: "nitrogen" -> "fail".
std::string result_of(const std::string& html, const std::string& condition) {
    const std::size_t at = html.find("<th scope=\"row\">" + condition + "<");
    if (at == std::string::npos) return {};
    for (const char* outcome : {"pass", "fail", "unknown"}) {
        const std::size_t found = html.find(std::string(">") + outcome + "<", at);
        if (found != std::string::npos && found < at + condition.size() + 60) return outcome;
    }
    return {};
}

struct ProbeRow {
    std::string stop, lon, lat;
    double depth_cm, mpa;
};

std::vector<ProbeRow> demo_stops() {
    const Table table = Table::parse(slurp(samples() + "/probes.csv"), "probes.csv");
    std::vector<ProbeRow> rows;
    for (std::size_t i = 0; i < table.rows(); ++i) {
        rows.push_back({table.text(i, "stop"), table.text(i, "lon"), table.text(i, "lat"),
                        table.required_number(i, "depth_cm"), table.required_number(i, "ci_mpa")});
    }
    return rows;
}

TEST(DemoFarm, EveryFieldHasItsOutcome) {
    Folder folder;
    const Outcome outcome = plan(folder);
    ASSERT_EQ(outcome.code, 0) << outcome.all();
    const auto advice = advice_of(zones_of(folder));
    EXPECT_EQ(advice.at("Ridge"), "recommended");
    EXPECT_EQ(advice.at("Pond"), "not recommended");
    EXPECT_EQ(advice.at("Bottom"), "not recommended");
    EXPECT_EQ(advice.at("Upland"), "not recommended");

    const auto page = [&](const char* field) {
        return slurp(folder / (std::string("p/report/") + field + ".html"));
    };
    const std::string ridge = page("Ridge"), pond = page("Pond"), bottom = page("Bottom"),
                      upland = page("Upland");
    for (const char* condition :
         {"layer within reach", "extent", "season", "nitrogen", "drainage", "nature of the pan"}) {
        EXPECT_EQ(result_of(ridge, condition), "pass") << condition;
    }
    EXPECT_TRUE(has(ridge, "taproot_advice\">recommended<"));
    EXPECT_TRUE(
        has(ridge, "Taproot seed for this zone: forage radish alone, 8 to 13 lb/ac drilled"));
    EXPECT_TRUE(has(pond, "taproot_advice\">not recommended<"));
    EXPECT_EQ(result_of(pond, "nitrogen"), "fail");
    EXPECT_EQ(result_of(pond, "layer within reach"), "pass");
    EXPECT_EQ(result_of(pond, "drainage"), "pass");
    EXPECT_EQ(result_of(bottom, "drainage"), "fail");
    EXPECT_EQ(result_of(bottom, "nitrogen"), "pass");
    EXPECT_EQ(result_of(upland, "layer within reach"), "fail");
    EXPECT_TRUE(has(upland, "too deep for an annual taproot"));
    EXPECT_FALSE(has(pond, "Taproot seed for this zone"));
}

TEST(DemoFarm, NitrateOfTheConditionIsOfTheTopThirtyCentimetres) {
    Folder folder;
    ASSERT_EQ(plan(folder).code, 0);
    const Table zones = zones_of(folder);
    for (std::size_t row = 0; row < zones.rows(); ++row) {
        const double top = zones.required_number(row, "soil_nitrate_0_30_kg_ha");
        EXPECT_LT(top, zones.required_number(row, "soil_nitrate_kg_ha"));
        if (zones.text(row, "field_id") == "Ridge") {
            // 11 ppm +- 20 % in 30 cm: 0.1 x 11 x 1.324 x 30 = 43.7 kg/ha (the field rule).
            EXPECT_NEAR(top, 43.7, 0.2 * 43.7);
        }
    }
}

TEST(DemoFarm, MapsBetweenTheStops) {
    Folder folder;
    ASSERT_EQ(plan(folder, {"--output.layers", "yes"}).code, 0);
    for (const char* field : {"Ridge", "Pond", "Bottom", "Upland"}) {
        for (const char* name : {"compaction-depth", "compaction-strength"}) {
            EXPECT_TRUE(
                fs::exists(folder / (std::string("p/layers/") + field + "-" + name + ".tif")))
                << field << name;
        }
    }
    // Ridge has 60 stops, enough for a variogram; the others have not.
    EXPECT_TRUE(fs::exists(folder / "p/layers/Ridge-compaction-strength-error.tif"));
    EXPECT_FALSE(fs::exists(folder / "p/layers/Pond-compaction-strength-error.tif"));
    const std::string ridge = slurp(folder / "p/report/Ridge.html");
    EXPECT_TRUE(has(ridge, "ordinary kriging"));
    EXPECT_TRUE(has(ridge, "Leave-one-out error"));
    EXPECT_TRUE(has(ridge, "class=\"chart profiles\""));
    EXPECT_TRUE(has(ridge, "What is known of a hard layer"));
    const std::string pond = slurp(folder / "p/report/Pond.html");
    EXPECT_TRUE(has(pond, "inverse distance"));
    EXPECT_TRUE(has(pond, "without a standard error"));
}

TEST(ProbeForms, WideFormInPsiAndInchesGivesTheSameAdvice) {
    Folder folder;
    std::map<std::string, std::string> lines;
    std::vector<std::string> order;
    std::string header = "stop,lon,lat";
    for (const ProbeRow& row : demo_stops()) {
        if (!lines.contains(row.stop)) {
            order.push_back(row.stop);
            lines[row.stop] = row.stop + "," + row.lon + "," + row.lat;
        }
        if (order.size() == 1) header += ",ci_" + fixed(row.depth_cm, 0) + "cm_psi";
        lines[row.stop] += "," + fixed(row.mpa / 0.006894757293168361, 3);
    }
    std::string text = header + "\n";
    for (const std::string& stop : order) text += lines[stop] + "\n";
    write_text(folder / "wide.csv", text);
    ASSERT_EQ(plan(folder).code, 0);
    const Table before = zones_of(folder);
    const Outcome outcome = plan(folder, {"--compaction.probes", folder / "wide.csv",
                                          "--compaction.probe-columns", "x=lon,y=lat"});
    ASSERT_EQ(outcome.code, 0) << outcome.all();
    const Table after = zones_of(folder);
    ASSERT_EQ(after.rows(), before.rows());
    for (std::size_t row = 0; row < after.rows(); ++row) {
        EXPECT_NEAR(after.required_number(row, "compaction_top_cm"),
                    before.required_number(row, "compaction_top_cm"), 0.05);
        EXPECT_EQ(after.text(row, "taproot_advice"), before.text(row, "taproot_advice"));
    }
}

TEST(ProbeForms, VectorLayerInKilopascalGivesTheSameAdvice) {
    Folder folder;
    std::string text = "{\"type\":\"FeatureCollection\",\"features\":[";
    bool first = true;
    for (const ProbeRow& row : demo_stops()) {
        text += std::string(first ? "" : ",\n") +
                "{\"type\":\"Feature\",\"geometry\":{\"type\":\"Point\",\"coordinates\":[" +
                row.lon + "," + row.lat + "]},\"properties\":{\"stop\":\"" + row.stop +
                "\",\"depth_cm\":" + fixed(row.depth_cm, 0) +
                ",\"strength_kpa\":" + fixed(row.mpa * 1000.0, 1) + "}}";
        first = false;
    }
    write_text(folder / "stops.geojson", text + "]}");
    ASSERT_EQ(plan(folder).code, 0);
    const Table before = zones_of(folder);
    const Outcome outcome =
        plan(folder, {"--compaction.probes", folder / "stops.geojson", "--compaction.probe-columns",
                      "depth=depth_cm,strength=strength_kpa"});
    ASSERT_EQ(outcome.code, 0) << outcome.all();
    const Table after = zones_of(folder);
    for (std::size_t row = 0; row < after.rows(); ++row) {
        EXPECT_NEAR(after.required_number(row, "compaction_top_cm"),
                    before.required_number(row, "compaction_top_cm"), 0.05);
    }
}

/// Long form with readings of the demo farm; `change` may alter a line or drop it ("").
template <typename Change>
void write_long(const std::string& path, const std::string& header, Change change) {
    std::string text = header + "\n";
    for (const ProbeRow& row : demo_stops()) text += change(row);
    write_text(path, text);
}
std::string plain(const ProbeRow& row) {
    return row.stop + "," + row.lon + "," + row.lat + "," + fixed(row.depth_cm, 0) + "," +
           fixed(row.mpa, 2) + "\n";
}
const std::string long_header = "stop,lon,lat,depth_cm,ci_mpa";

TEST(BadProbes, StrayStopsAreNamed) {
    Folder folder;
    write_long(folder / "probes.csv", long_header, [](ProbeRow row) {
        if (row.stop == "R05") row.lat = "40.30";
        return plain(row);
    });
    const Outcome outcome = plan(folder, {"--compaction.probes", folder / "probes.csv"});
    ASSERT_EQ(outcome.code, 0) << outcome.all();
    EXPECT_TRUE(has(outcome.all(), "stop R05 at -94.9")) << outcome.all();
    EXPECT_TRUE(has(outcome.all(), "lies outside every field"));
    EXPECT_FALSE(has(outcome.all(), "stop R06"));

    write_long(folder / "probes.csv", long_header, [](ProbeRow row) {
        row.lat = "41.5";
        return plain(row);
    });
    const Outcome all_out = plan(folder, {"--compaction.probes", folder / "probes.csv"});
    EXPECT_EQ(all_out.code, 0);
    EXPECT_TRUE(has(all_out.all(), "none lies in a field")) << all_out.all();
    EXPECT_NE(advice_of(zones_of(folder)).at("Ridge"), "recommended");
}

TEST(BadProbes, BadRowsAreListedWithTheirLine) {
    Folder folder;
    write_long(folder / "probes.csv", long_header, [](ProbeRow row) {
        if (row.stop == "R01" && row.depth_cm == 15.0) row.mpa = 21.0;
        if (row.stop == "R02" && row.depth_cm == 15.0) row.mpa = -1.0;
        if (row.stop == "R03" && row.depth_cm == 15.0) row.depth_cm = 5.0;
        return plain(row);
    });
    const Outcome outcome = plan(folder, {"--compaction.probes", folder / "probes.csv"});
    ASSERT_EQ(outcome.code, 0) << outcome.all();
    for (const char* line : {"line 4", "line 16", "line 28"}) {
        EXPECT_TRUE(has(outcome.all(), line)) << line << "\n" << outcome.all();
    }
}

TEST(BadProbes, UnitsThatDisagreeOrAreMissingStopTheRun) {
    Folder folder;
    write_long(folder / "probes.csv", "stop,lon,lat,depth_cm,strength", plain);
    const Outcome none = plan(folder, {"--compaction.probes", folder / "probes.csv",
                                       "--compaction.probe-columns", "x=lon,y=lat"});
    EXPECT_EQ(none.code, 1) << none.all();
    EXPECT_TRUE(has(none.err, "unit of the")) << none.err;
    EXPECT_TRUE(has(none.err, "not stated")) << none.err;
    EXPECT_FALSE(fs::exists(folder / "p"));
    const Outcome stated =
        plan(folder, {"--compaction.probes", folder / "probes.csv", "--compaction.probe-columns",
                      "x=lon,y=lat", "--compaction.probe-unit", "MPa"});
    EXPECT_EQ(stated.code, 0) << stated.all();

    write_long(folder / "probes.csv", long_header, plain);
    const Outcome two = plan(
        folder, {"--compaction.probes", folder / "probes.csv", "--compaction.probe-unit", "psi"});
    EXPECT_EQ(two.code, 1) << two.all();
    EXPECT_TRUE(has(two.err, "in mpa")) << two.err;
    EXPECT_TRUE(has(two.err, "psi")) << two.err;
}

TEST(BadProbes, TooFewStopsAreSaid) {
    Folder folder;
    write_long(folder / "probes.csv", long_header, [](const ProbeRow& row) {
        return row.stop == "R01" || row.stop == "R30" ? plain(row) : std::string();
    });
    const Outcome outcome = plan(folder, {"--compaction.probes", folder / "probes.csv"});
    ASSERT_EQ(outcome.code, 0) << outcome.all();
    EXPECT_NE(advice_of(zones_of(folder)).at("Ridge"), "recommended");
    const std::string ridge = slurp(folder / "p/report/Ridge.html");
    EXPECT_TRUE(has(ridge, "too few for a map"));
    EXPECT_TRUE(has(ridge, "stops stand behind the share of hard stops"));
}

TEST(ProbeMoisture, PolicyDecides) {
    Folder folder;
    const Outcome warned = plan(folder, {"--compaction.probe-moisture", "dry"});
    ASSERT_EQ(warned.code, 0) << warned.all();
    EXPECT_TRUE(has(slurp(folder / "p/report/Ridge.html"), "near field capacity"));
    const Outcome refused =
        plan(folder, {"--compaction.probe-moisture", "dry", "--compaction.off-moisture", "refuse"});
    EXPECT_EQ(refused.code, 1) << refused.all();
    EXPECT_TRUE(has(refused.err, "field capacity")) << refused.err;
}

TEST(StopPlan, FromJobAndFromPlanFolder) {
    Folder folder;
    const Outcome first =
        run_program({"start", samples() + "/job.ini", "--stops", "12", "--output", folder / "a"});
    ASSERT_EQ(first.code, 0) << first.all();
    const std::string json = slurp(folder / "a.geojson"), gpx = slurp(folder / "a.gpx");
    EXPECT_TRUE(has(gpx, "http://www.topografix.com/GPX/1/1"));
    std::size_t points = 0, waypoints = 0;
    for (std::size_t at = 0; (at = json.find("\"Point\"", at)) != std::string::npos; ++at) ++points;
    for (std::size_t at = 0; (at = gpx.find("<wpt", at)) != std::string::npos; ++at) ++waypoints;
    EXPECT_EQ(points, waypoints);
    EXPECT_GE(points, 4U * 12U);
    EXPECT_EQ(
        run_program({"start", samples() + "/job.ini", "--stops", "12", "-o", folder / "a"}).code,
        2);

    ASSERT_EQ(plan(folder).code, 0);
    const Outcome again =
        run_program({"start", folder / "p", "--stops", "12", "--output", folder / "b"});
    ASSERT_EQ(again.code, 0) << again.all();
    // The same zones and seed: the same places.
    EXPECT_EQ(slurp(folder / "b.geojson"), json);
    ASSERT_EQ(
        run_program({"start", folder / "p", "--stops", "12", "--seed", "2", "-o", folder / "c"})
            .code,
        0);
    EXPECT_NE(slurp(folder / "c.geojson"), json);
}

TEST(OpenData, HorizonsAloneNeverRecommend) {
    const char* data = std::getenv("CATCHFIELD_OPEN_DATA");
    if (data == nullptr || !fs::exists(std::string(data) + "/ohio-field")) {
        GTEST_SKIP() << "CATCHFIELD_OPEN_DATA has no ohio-field";
    }
    Folder folder;
    const Outcome start =
        run_program({"start", std::string(data) + "/ohio-field", "-o", folder / "ohio.ini"});
    ASSERT_EQ(start.code, 0) << start.all();
    const Outcome outcome = run_program({"plan", folder / "ohio.ini", "-o", folder / "p"});
    ASSERT_TRUE(outcome.code == 0 || outcome.code == 3) << outcome.all();
    const Table zones = zones_of(folder);
    ASSERT_GT(zones.rows(), 0U);
    for (std::size_t row = 0; row < zones.rows(); ++row) {
        EXPECT_NE(zones.text(row, "taproot_advice"), "recommended");
        EXPECT_TRUE(has(zones.text(row, "compaction_class"), "soil map"));
    }
    std::string pages;
    for (const auto& entry : fs::directory_iterator(folder / "p/report")) {
        pages += slurp(entry.path().string());
    }
    EXPECT_TRUE(has(pages, "no stops; a soil map does not show how far a layer extends"));
    EXPECT_TRUE(has(pages, "typical densities, not measured in this field"));
}

}  // namespace
}  // namespace catchfield::testing
