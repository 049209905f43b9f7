// SPDX-License-Identifier: MIT
// The whole job on the project's own farm: every file of the plan folder, and whether the files
// agree with each other.
#include "base/table.hpp"
#include "gis/raster_source.hpp"
#include "gis/start.hpp"
#include "gis/vector.hpp"
#include "map_files.hpp"

#include <cmath>
#include <memory>

namespace catchfield::testing {
namespace {

/// One plan for all tests of this file.
class DemoPlan : public ::testing::Test {
  protected:
    static void SetUpTestSuite() {
        gis::start({});
        s_folder = std::make_unique<TemporaryFolder>();
        copy_samples(s_folder->path() + "/farm");
        s_outcome = run_program({"plan", "farm/job.ini", "--output", "plan"}, s_folder->path());
    }
    static void TearDownTestSuite() { s_folder.reset(); }
    void SetUp() override {
        ASSERT_TRUE(s_outcome.code == 0 || s_outcome.code == 3) << s_outcome.err;
    }

    static std::string plan() { return *s_folder / "plan"; }
    static Json run() { return Json::parse(slurp(plan() + "/run.json")); }
    static Json fields_of_run() { return run().at("fields"); }
    static Table zones() { return Table::parse(slurp(plan() + "/zones.csv"), "zones.csv"); }
    static gis::VectorLayer boundary() { return gis::read_layer(samples() + "/fields.geojson"); }

    static std::unique_ptr<TemporaryFolder> s_folder;
    static Outcome s_outcome;
};
std::unique_ptr<TemporaryFolder> DemoPlan::s_folder;
Outcome DemoPlan::s_outcome;

TEST_F(DemoPlan, FolderHoldsWhatTheContractNames) {
    std::vector<std::string> expected = {"plan.gpkg", "zones.geojson", "zones.csv", "report.html",
                                         "run.json"};
    for (const Json& field : fields_of_run()) {
        if (field.at("status") == "skipped") continue;
        const std::string stem = field.at("file_stem");
        for (const char* name : {"nitrogen", "seed"}) {
            for (const char* ending : {".tif", ".geojson"})
                expected.push_back("rates/" + stem + "-" + name + ending);
        }
        for (const char* layer : {"slope", "ls", "k", "soil-loss-bare", "soil-loss-cover", "zone"})
            expected.push_back("layers/" + stem + "-" + layer + ".tif");
        expected.push_back("report/" + stem + ".html");
    }
    const auto files = files_of(plan());
    for (const std::string& name : expected) {
        ASSERT_TRUE(files.contains(name)) << name;
        EXPECT_FALSE(files.at(name).empty()) << name;
    }
    // Nothing hidden or half-written stands beside them, not in the folder and not around it.
    for (const auto& entry : fs::recursive_directory_iterator(plan()))
        EXPECT_NE(entry.path().filename().string().front(), '.') << entry.path();
    EXPECT_EQ(entries_of(s_folder->path()), (std::vector<std::string>{"farm", "plan"}));
}

TEST_F(DemoPlan, ZoneColumnsOfTheContract) {
    const std::vector<std::string> contract = {"field_id",
                                               "zone",
                                               "area_ha",
                                               "slope_pct",
                                               "ls",
                                               "k_si",
                                               "t_mg_ha",
                                               "soil_loss_bare_mg_ha",
                                               "soil_loss_now_mg_ha",
                                               "soil_loss_cover_mg_ha",
                                               "erosion_cut_pct",
                                               "loss_over_t",
                                               "erodibility_index",
                                               "wind_cut_pct",
                                               "cover",
                                               "biomass_kg_ha",
                                               "ground_cover_pct",
                                               "n_uptake_kg_ha",
                                               "n_fixed_kg_ha",
                                               "cn_ratio",
                                               "winterkill",
                                               "n_credit_kg_ha",
                                               "compaction_top_cm",
                                               "compaction_class",
                                               "taproot_advice",
                                               "leaching_index",
                                               "n_rate_kg_ha",
                                               "seed_rate_kg_ha",
                                               "confidence",
                                               "cautions"};
    const Table table = zones();
    const Json geojson = Json::parse(slurp(plan() + "/zones.geojson"));
    const gis::VectorLayer layer = gis::read_layer(plan() + "/plan.gpkg", "zones");
    ASSERT_GT(table.rows(), 0U);
    for (const std::string& name : contract) {
        EXPECT_TRUE(table.has(name)) << name;
        EXPECT_TRUE(geojson.at("features").at(0).at("properties").contains(name)) << name;
        EXPECT_TRUE(layer.find_column(name)) << name;
    }
    // One row per zone everywhere, in the same order, with the same values.
    ASSERT_EQ(geojson.at("features").size(), table.rows());
    ASSERT_EQ(layer.features.size(), table.rows());
    for (std::size_t row = 0; row < table.rows(); ++row) {
        const Json& properties = geojson.at("features").at(row).at("properties");
        const auto& values = layer.features[row].values;
        EXPECT_EQ(properties.at("field_id"), table.text(row, "field_id"));
        EXPECT_EQ(values[*layer.find_column("field_id")], table.text(row, "field_id"));
        for (const char* name : {"area_ha", "ls", "soil_loss_now_mg_ha", "n_rate_kg_ha"}) {
            const double value = table.required_number(row, name);
            EXPECT_NEAR(properties.at(name).get<double>(), value, 1e-9) << name;
            EXPECT_NEAR(std::stod(values[*layer.find_column(name)]), value, 0.01) << name;
        }
    }
}

TEST_F(DemoPlan, PackageHasItsLayersInTheWorkGridsSystem) {
    std::vector<std::string> names;
    for (const gis::LayerInfo& layer : gis::list_layers(plan() + "/plan.gpkg")) {
        names.push_back(layer.name);
        if (layer.name == "cover_options") continue;
        EXPECT_EQ(gis::Crs::from_wkt(layer.crs_wkt, layer.name).code(), "EPSG:32615") << layer.name;
    }
    std::sort(names.begin(), names.end());
    EXPECT_EQ(names, (std::vector<std::string>{"cover_options", "fields", "probes", "zones"}));
    const gis::VectorLayer fields = gis::read_layer(plan() + "/plan.gpkg", "fields");
    EXPECT_EQ(fields.features.size(), boundary().features.size());
    const gis::VectorLayer options = gis::read_layer(plan() + "/plan.gpkg", "cover_options");
    EXPECT_EQ(options.features.size() % zones().rows(), 0U);
    EXPECT_GT(gis::read_layer(plan() + "/plan.gpkg", "probes").features.size(), 0U);
}

TEST_F(DemoPlan, ZonesCoverTheBoundary) {
    // Areas by geodesics on the ellipsoid (Karney 2013), which no step of the program uses.
    const gis::VectorLayer fields = boundary();
    const Json geojson = Json::parse(slurp(plan() + "/zones.geojson"));
    const Table table = zones();
    std::map<std::string, double> grid_ha;
    for (std::size_t row = 0; row < table.rows(); ++row)
        grid_ha[table.text(row, "field_id")] += table.required_number(row, "area_ha");
    const gis::VectorLayer outlines = gis::read_layer(plan() + "/zones.geojson");
    for (const gis::Feature& field : fields.features) {
        const std::string& id = field.values[fields.column("field")];
        const double field_ha = gis::geodesic_area_m2(field.polygons, gis::Crs::wgs84()) * 1e-4;
        double zones_ha = 0.0;
        for (const gis::Feature& zone : outlines.features) {
            if (zone.values[outlines.column("field_id")] == id)
                zones_ha += gis::geodesic_area_m2(zone.polygons, gis::Crs::wgs84()) * 1e-4;
        }
        EXPECT_NEAR(zones_ha / field_ha, 1.0, 1e-4) << id;
        EXPECT_NEAR(grid_ha[id] / field_ha, 1.0, 0.005) << id;
    }
}

TEST_F(DemoPlan, GeoJsonByRfc7946) {
    std::size_t looked_at = 0;
    for (const auto& [name, bytes] : files_of(plan())) {
        if (!name.ends_with(".geojson")) continue;
        ++looked_at;
        const Json root = Json::parse(bytes);
        EXPECT_EQ(root.at("type"), "FeatureCollection") << name;
        EXPECT_FALSE(root.contains("crs")) << name;  // section 4
        for (const Json& feature : root.at("features")) {
            EXPECT_EQ(feature.at("type"), "Feature");
            EXPECT_TRUE(feature.at("properties").is_object());
            ASSERT_TRUE(feature.contains("geometry"));
            EXPECT_FALSE(feature.at("geometry").is_null()) << name;
            for (const Loops& loops : polygons_of(feature.at("geometry"))) {
                for (std::size_t i = 0; i < loops.size(); ++i) {
                    const Loop& loop = loops[i];
                    ASSERT_GE(loop.size(), 4U) << name;  // section 3.1.6
                    EXPECT_EQ(loop.front().x, loop.back().x);
                    EXPECT_EQ(loop.front().y, loop.back().y);
                    // Right-hand rule: outer rings counter-clockwise, holes clockwise.
                    EXPECT_TRUE(i == 0 ? turn(loop) > 0.0 : turn(loop) < 0.0) << name;
                    for (const Vertex& at : loop) {
                        // North-west Missouri; x is the longitude.
                        EXPECT_TRUE(at.x > -96.0 && at.x < -94.0) << name << " " << at.x;
                        EXPECT_TRUE(at.y > 39.0 && at.y < 41.0) << name << " " << at.y;
                    }
                }
            }
        }
    }
    EXPECT_GE(looked_at, 3U);
}

TEST_F(DemoPlan, RateRastersAndPolygonsAgreeCellByCell) {
    std::size_t compared = 0;
    for (const Json& field : fields_of_run()) {
        if (field.at("status") == "skipped") continue;
        for (const char* kind : {"nitrogen", "seed"}) {
            const std::string base =
                plan() + "/rates/" + field.at("file_stem").get<std::string>() + "-" + kind;
            const gis::RasterSource raster(base + ".tif");
            GridFrame frame;
            frame.cols = raster.info().cols;
            frame.rows = raster.info().rows;
            frame.cell = raster.info().cell_x;
            frame.west = raster.info().bounds.min_x;
            frame.north = raster.info().bounds.max_y;
            const auto window = raster.read<double>(frame, raster.crs(), gis::Resampling::nearest);
            ASSERT_TRUE(window.exact);
            struct Part {
                std::vector<Loops> shape;
                double rate;
            };
            std::vector<Part> parts;
            const Json root = Json::parse(slurp(base + ".geojson"));
            for (const Json& feature : root.at("features")) {
                const Json& properties = feature.at("properties");
                EXPECT_EQ(properties.at("unit"), raster.info().unit);
                parts.push_back(
                    {polygons_of(feature.at("geometry")), properties.at("rate").get<double>()});
            }
            const gis::Transformer& to_degrees = gis::transformer(raster.crs(), gis::Crs::wgs84());
            std::size_t wrong = 0;
            for (int row = 0; row < frame.rows; ++row) {
                for (int col = 0; col < frame.cols; ++col) {
                    const Point at =
                        to_degrees.apply(Point{frame.x_centre(col), frame.y_centre(row)});
                    const Part* part = nullptr;
                    double edge_m = 1e9;
                    for (const Part& candidate : parts) {
                        if (inside(candidate.shape, at.x, at.y)) part = &candidate;
                        edge_m = std::min(edge_m, edge_distance_m(candidate.shape, at.x, at.y));
                    }
                    // GeoJSON is rounded to 7 decimals, about 1 cm.
                    if (edge_m < 0.02) continue;
                    const std::size_t cell = frame.index(row, col);
                    const bool valid = window.valid[cell] != 0;
                    if (valid) ++compared;
                    if (valid != (part != nullptr)) {
                        ++wrong;
                    } else if (valid && std::abs(window.values[cell] - part->rate) > 0.001) {
                        ++wrong;
                    }
                }
            }
            EXPECT_EQ(wrong, 0U) << base;
        }
    }
    EXPECT_GT(compared, 10'000U);
}

TEST_F(DemoPlan, AppliedTotalsAreRateTimesArea) {
    const double kg_ha_per_lb_ac = 0.45359237 / 0.40468564224;
    double raster_total = 0.0, polygon_total = 0.0;
    for (const Json& field : fields_of_run()) {
        if (field.at("status") == "skipped") continue;
        ASSERT_EQ(field.at("rate_unit"), "lb N/ac");
        const std::string path =
            plan() + "/rates/" + field.at("file_stem").get<std::string>() + "-nitrogen.geojson";
        // rate x area, with areas by geodesics on the ellipsoid.
        const gis::VectorLayer layer = gis::read_layer(path);
        double stated_kg = 0.0, geodesic_kg = 0.0;
        for (const gis::Feature& feature : layer.features) {
            const double rate_kg_ha =
                std::stod(feature.values[layer.column("rate")]) * kg_ha_per_lb_ac;
            stated_kg += rate_kg_ha * std::stod(feature.values[layer.column("area_ha")]);
            geodesic_kg +=
                rate_kg_ha * gis::geodesic_area_m2(feature.polygons, gis::Crs::wgs84()) * 1e-4;
        }
        const double total_kg = field.at("nitrogen_total_kg");
        EXPECT_NEAR(stated_kg / total_kg, 1.0, 0.001) << path;
        // UTM's scale makes areas differ by at most 0.08 % from those on the ellipsoid.
        EXPECT_NEAR(geodesic_kg / total_kg, 1.0, 0.001) << path;
        raster_total += field.at("product_total_on_raster").get<double>();
        polygon_total += field.at("product_total").get<double>();
    }
    EXPECT_GT(polygon_total, 0.0);
    // Cells at the edge count whole or not at all; over the farm that evens out.
    EXPECT_NEAR(raster_total / polygon_total, 1.0, 0.005);
}

TEST_F(DemoPlan, RatesKeepTheirBoundsAndSteps) {
    const Table table = zones();
    const double kg_ha_per_lb_ac = 0.45359237 / 0.40468564224;
    for (std::size_t row = 0; row < table.rows(); ++row) {
        const double lb_ac = table.required_number(row, "n_rate_kg_ha") / kg_ha_per_lb_ac;
        if (lb_ac > 0.0) {
            EXPECT_GE(lb_ac, 40.0 - 0.01);
        }
        EXPECT_LE(lb_ac, 220.0 + 0.01);
        EXPECT_NEAR(lb_ac / 5.0, std::round(lb_ac / 5.0), 0.01);
        const double bare = table.required_number(row, "soil_loss_bare_mg_ha");
        const double now = table.required_number(row, "soil_loss_now_mg_ha");
        const double cover = table.required_number(row, "soil_loss_cover_mg_ha");
        EXPECT_GE(bare, now);
        EXPECT_GE(now, cover);
    }
}

TEST_F(DemoPlan, RunRecordTracesItsInputs) {
    const Json record = run();
    EXPECT_EQ(record.at("program"), "catchfield");
    for (const char* library : {"GDAL", "PROJ", "GEOS"})
        EXPECT_TRUE(record.at("libraries").contains(library)) << library;
    EXPECT_EQ(record.at("settings").at("nitrogen.max-rate"), "220 lb/ac");
    EXPECT_EQ(record.at("settings").at("zones.max-count"), "5");
    bool elevation = false;
    for (const Json& input : record.at("inputs")) {
        if (input.at("key") != "terrain.elevation") continue;
        elevation = true;
        EXPECT_EQ(input.at("bytes"), fs::file_size(samples() + "/elevation.tif"));
        EXPECT_EQ(input.at("xxh64").get<std::string>().size(), 16U);
    }
    EXPECT_TRUE(elevation);
    EXPECT_FALSE(has(record.dump(), s_folder->path())) << "a machine's path is in run.json";
}

TEST_F(DemoPlan, ReportsStandAlone) {
    for (const auto& [name, bytes] : files_of(plan())) {
        if (!name.ends_with(".html")) continue;
        EXPECT_TRUE(bytes.starts_with("<!DOCTYPE html>") || bytes.starts_with("<!doctype html>"))
            << name;
        EXPECT_TRUE(has(bytes, "licensed adviser")) << name;
        EXPECT_FALSE(has(bytes, "http://") && !has(bytes, "http://www.w3.org")) << name;
        EXPECT_FALSE(has(bytes, "<script src")) << name;
        for (const char* none : {">nan", ">-nan", ">inf", " nan ", "\"nan"}) {
            EXPECT_FALSE(has(bytes, none)) << name << " shows a number that is none";
        }
    }
}

}  // namespace
}  // namespace catchfield::testing
