// SPDX-License-Identifier: MIT
// Ranking plan folders: order, price, units, and what is refused.
#include "plan/rank.hpp"

#include "base/error.hpp"
#include "base/table.hpp"
#include "gis/crs.hpp"
#include "gis/files.hpp"
#include "gis/geopackage.hpp"
#include "gis/start.hpp"
#include "gis/vector.hpp"
#include "support/temporary_folder.hpp"

#include <gtest/gtest.h>
#include <nlohmann/json.hpp>

#include <cstdlib>
#include <filesystem>
#include <optional>

namespace catchfield::plan {
namespace {

struct ZoneRow {
    std::string field;
    int zone;
    double area_ha;
    std::optional<double> now, cover, t;
    std::string species;
    double seed_kg_ha;
};

MultiPolygon square(double west, double south, double side) {
    Polygon polygon;
    polygon.outer = {{west, south},
                     {west, south + side},
                     {west + side, south + side},
                     {west + side, south},
                     {west, south}};
    return {polygon};
}

class Rank : public ::testing::Test {
  protected:
    void SetUp() override { gis::start({}); }

    std::string path(const std::string& name) const { return m_folder / name; }

    /// A plan folder with the layers and columns that ranking reads.
    std::string plan(const std::string& name, const std::vector<ZoneRow>& rows,
                     const std::string& crs_code = "EPSG:32617") const {
        const std::string folder = path(name);
        std::filesystem::create_directories(folder);
        const gis::Crs crs = gis::Crs::from_user_input(crs_code, "test");
        using gis::FieldType;
        const auto real = [](const char* column) {
            return gis::FieldSpec{column, FieldType::real, 0, 3};
        };
        gis::GeoPackageWriter writer(
            folder + "/plan.gpkg",
            {{"fields", gis::LayerGeometry::multi_polygon, {{"field_id"}}, crs, ""},
             {"zones",
              gis::LayerGeometry::multi_polygon,
              {{"field_id"},
               {"zone", FieldType::integer, 0, 0},
               real("area_ha"),
               real("soil_loss_now_mg_ha"),
               real("soil_loss_cover_mg_ha"),
               real("t_mg_ha"),
               {"cover"},
               real("seed_rate_kg_ha"),
               {"confidence"}},
              crs,
              ""}});
        const auto value = [](const std::optional<double>& number) {
            return number ? gis::Value(*number) : gis::Value();
        };
        std::string last;
        double west = 330'000.0;
        for (const ZoneRow& row : rows) {
            west += 200.0;
            if (row.field != last)
                writer.add(0, gis::PolygonRow{square(west, 4'430'000.0, 100.0), {row.field}, -1});
            last = row.field;
            writer.add(1, gis::PolygonRow{square(west, 4'430'000.0, 100.0),
                                          {row.field, static_cast<long long>(row.zone), row.area_ha,
                                           value(row.now), value(row.cover), value(row.t),
                                           row.species, row.seed_kg_ha, std::string("medium")},
                                          -1});
        }
        writer.commit();
        return folder;
    }

    testing::TemporaryFolder m_folder;
};

// Two plans, three fields. A/T: east 1: 20/10 = 2; east 2: 5/10 = 0.5; west 1: 12/4 = 3;
// hill 1: 30/10 = 3. Saved: (20-8)4 = 48, (5-4)6 = 6, (12-6)1 = 6, (30-10)2 = 40 Mg a year.
std::vector<ZoneRow> first_plan() {
    return {{"east", 1, 4.0, 20.0, 8.0, 10.0, "rye", 60.0},
            {"east", 2, 6.0, 5.0, 4.0, 10.0, "oat", 80.0}};
}
std::vector<ZoneRow> second_plan() {
    return {{"west", 1, 1.0, 12.0, 6.0, 4.0, "rye", 60.0},
            {"hill", 1, 2.0, 30.0, 10.0, 10.0, "rye", 60.0}};
}

std::string error_of(const RankRequest& request) {
    try {
        run_rank(request);
    } catch (const Error& error) {
        return error.what();
    }
    return "";
}

TEST_F(Rank, OrdersByLossOverTolerance) {
    RankRequest request;
    request.folders = {plan("a", first_plan()), plan("b", second_plan())};
    const RankSummary summary = run_rank(request);
    ASSERT_EQ(summary.ranking.zones.size(), 4u);
    const auto& zones = summary.ranking.zones;
    EXPECT_EQ(zones[0].field, "hill");  // equal to west, named first
    EXPECT_EQ(zones[1].field, "west");
    EXPECT_EQ(zones[0].rank, 1);
    EXPECT_EQ(zones[1].rank, 1);
    EXPECT_EQ(zones[2].field, "east");
    EXPECT_EQ(zones[2].zone, 1);
    EXPECT_NEAR(zones[3].loss_over_t, 0.5, 1e-12);
    // east: (20 4 + 5 6)/(10 10) = 1.1; 4 of its 10 ha above tolerance.
    const auto& fields = summary.ranking.fields;
    ASSERT_EQ(fields.size(), 3u);
    EXPECT_EQ(fields[2].field, "east");
    EXPECT_NEAR(fields[2].loss_over_t, 1.1, 1e-12);
    EXPECT_NEAR(fields[2].over_t_share, 0.4, 1e-12);
    EXPECT_NEAR(summary.ranking.over_t_share, 7.0 / 13.0, 1e-12);
    EXPECT_NEAR(summary.ranking.over_t_cover_ha, 1.0, 1e-12);  // west: 6 > 4
    EXPECT_TRUE(summary.complete);
    EXPECT_NE(summary.table.find("(54 %) now"), std::string::npos) << summary.table;
}

TEST_F(Rank, OrdersBySavingAndByMoney) {
    RankRequest request;
    request.folders = {plan("a", first_plan()), plan("b", second_plan())};
    request.by = erosion::RankBy::saved;
    RankSummary summary = run_rank(request);
    EXPECT_EQ(summary.ranking.zones[0].field, "east");
    EXPECT_NEAR(summary.ranking.zones[0].saved_mg, 48.0, 1e-12);
    EXPECT_NEAR(summary.ranking.saved_mg, 100.0, 1e-12);

    request.by = erosion::RankBy::saved_per_cost;
    request.prices = parse_seed_prices("1 /kg,oat=0.1 /kg");
    summary = run_rank(request);
    // east 1: 48/(60 4) = 0.2; east 2: 6/(0.1 80 6) = 0.125; west: 6/60 = 0.1; hill: 40/120 =
    // 0.333.
    const auto& zones = summary.ranking.zones;
    EXPECT_EQ(zones[0].field, "hill");
    EXPECT_NEAR(*zones[0].saved_per_cost, 1.0 / 3.0, 1e-12);
    EXPECT_NEAR(*zones[1].saved_per_cost, 0.2, 1e-12);
    EXPECT_NEAR(*zones[2].saved_per_cost, 0.125, 1e-12);
    EXPECT_NEAR(*zones[3].saved_per_cost, 0.1, 1e-12);
}

TEST_F(Rank, WritesTablesAndLayers) {
    RankRequest request;
    // The second plan lies in the next UTM zone; the layer has one CRS.
    request.folders = {plan("a", first_plan()), plan("b", second_plan(), "EPSG:32616")};
    request.output = path("ranking");
    const RankSummary summary = run_rank(request);
    const Table csv = Table::parse(gis::read_file(request.output + "/zones.csv"), "zones.csv");
    ASSERT_EQ(csv.rows(), 4u);
    EXPECT_EQ(csv.text(0, "field_id"), "hill");
    EXPECT_DOUBLE_EQ(csv.required_number(0, "loss_over_t"), 3.0);
    EXPECT_EQ(csv.text(2, "cover"), "rye");
    const gis::VectorLayer zones = gis::read_layer(request.output + "/ranking.gpkg", "zones");
    ASSERT_EQ(zones.features.size(), 4u);
    for (const gis::Feature& feature : zones.features) {
        EXPECT_NEAR(area(feature.polygons), 1e4, 150.0);  // six degrees off its zone, 1 % larger
    }
    EXPECT_EQ(gis::read_layer(request.output + "/ranking.gpkg", "fields").features.size(), 3u);
    EXPECT_EQ(Table::parse(gis::read_file(request.output + "/fields.csv"), "f").rows(), 3u);
    EXPECT_EQ(nlohmann::json::parse(summary.json)["zones"].size(), 4u);
    EXPECT_NE(error_of(request).find("ranking"), std::string::npos);  // not without --overwrite
    request.overwrite = true;
    EXPECT_EQ(error_of(request), "");
}

TEST_F(Rank, TopCutsWhatIsPrintedOnly) {
    RankRequest request;
    request.folders = {plan("a", first_plan()), plan("b", second_plan())};
    request.top = 1;
    request.output = path("ranking");
    const RankSummary summary = run_rank(request);
    EXPECT_NE(summary.table.find("... and 3 more"), std::string::npos) << summary.table;
    EXPECT_EQ(nlohmann::json::parse(summary.json)["zones"].size(), 1u);
    EXPECT_EQ(Table::parse(gis::read_file(request.output + "/zones.csv"), "z").rows(), 4u);
}

TEST_F(Rank, LeavesOutWhatIsNotKnownAndSaysSo) {
    RankRequest request;
    std::vector<ZoneRow> rows = first_plan();
    rows[0].t.reset();
    request.folders = {plan("a", rows)};
    const RankSummary summary = run_rank(request);
    EXPECT_FALSE(summary.complete);
    ASSERT_EQ(summary.unranked.size(), 1u);
    EXPECT_EQ(summary.ranking.zones.size(), 1u);
    EXPECT_NE(summary.notes.front().find("tolerance T is not known"), std::string::npos);
}

TEST_F(Rank, RefusesWhatIsNoPlan) {
    RankRequest request;
    request.folders = {path("nowhere")};
    EXPECT_NE(error_of(request).find("there is no such folder"), std::string::npos);
    std::filesystem::create_directories(path("empty"));
    request.folders = {path("empty")};
    EXPECT_NE(error_of(request).find("not a plan folder"), std::string::npos);
    const std::string a = plan("a", first_plan());
    request.folders = {a, a + "/"};
    EXPECT_NE(error_of(request).find("given twice"), std::string::npos);
    request.folders = {a, plan("c", first_plan())};
    EXPECT_NE(error_of(request).find("field 'east' is also in"), std::string::npos)
        << error_of(request);
    request.folders = {a};
    request.by = erosion::RankBy::saved_per_cost;
    EXPECT_NE(error_of(request).find("needs the price of seed"), std::string::npos);
    request.prices = parse_seed_prices("ry=2 /kg");
    EXPECT_NE(error_of(request).find("no zone has the cover 'ry'"), std::string::npos);
}

TEST(SeedPrices, NeedAUnit) {
    EXPECT_NEAR(parse_seed_prices("0.45359237 /lb").at(""), 1.0, 1e-12);
    EXPECT_THROW(parse_seed_prices("0.6"), Error);
    EXPECT_THROW(parse_seed_prices("-1 /kg"), Error);
    EXPECT_THROW(parse_seed_prices("rye=1 /kg,rye=2 /kg"), Error);
    EXPECT_TRUE(parse_seed_prices("").empty());
}

}  // namespace
}  // namespace catchfield::plan
