// SPDX-License-Identifier: MIT
// What goes wrong: exit code, message with the next step, and nothing left behind.
#include "base/table.hpp"
#include "gis/start.hpp"
#include "map_files.hpp"

#include <gdal_priv.h>
#include <ogrsf_frmts.h>

namespace catchfield::testing {
namespace {

class Failures : public ::testing::Test {
  protected:
    void SetUp() override {
        gis::start({});
        copy_samples(folder / "farm");
        before = files_of(folder.path());
    }

    Outcome plan(const std::vector<std::string>& more = {}) {
        std::vector<std::string> arguments = {"plan", "farm/job.ini", "--output", "plan",
                                              "--output.layers=no"};
        arguments.insert(arguments.end(), more.begin(), more.end());
        return run_program(arguments, folder.path());
    }

    /// Ends with `code` and a message that has all the parts; only the inputs are there afterwards.
    void expect_failure(int code, const std::vector<std::string>& more,
                        const std::vector<std::string>& parts) {
        const Outcome outcome = plan(more);
        EXPECT_EQ(outcome.code, code) << outcome.err;
        EXPECT_EQ(outcome.out, "");
        EXPECT_TRUE(outcome.err.starts_with("catchfield: plan: ")) << outcome.err;
        for (const std::string& part : parts)
            EXPECT_TRUE(has(outcome.err, part)) << "'" << part << "' is not in: " << outcome.err;
        expect_nothing_left();
    }
    void expect_nothing_left() {
        EXPECT_EQ(entries_of(folder.path()), std::vector<std::string>{"farm"});
        const auto after = files_of(folder.path());
        EXPECT_TRUE(after == before) << "an input was changed or a file left behind";
    }
    /// The job file with one line more under its last section, [output].
    void add_to_job(const std::string& text) {
        write_text(folder / "farm/job.ini", slurp(folder / "farm/job.ini") + text);
        before = files_of(folder.path());
    }
    void add_input(const std::string& name, const std::string& text) {
        write_text(folder / ("farm/" + name), text);
        before = files_of(folder.path());
    }

    /// The demo's elevation moved by `shift` metres, with or without its CRS.
    void write_elevation(const std::string& name, double shift_m, bool with_crs,
                         double rotation = 0.0) {
        const GDALDatasetUniquePtr from(
            GDALDataset::Open((samples() + "/elevation.tif").c_str(), GDAL_OF_RASTER));
        ASSERT_NE(from, nullptr);
        const int cols = from->GetRasterXSize(), rows = from->GetRasterYSize();
        std::vector<float> values(static_cast<std::size_t>(cols) * static_cast<std::size_t>(rows));
        ASSERT_EQ(from->GetRasterBand(1)->RasterIO(GF_Read, 0, 0, cols, rows, values.data(), cols,
                                                   rows, GDT_Float32, 0, 0, nullptr),
                  CE_None);
        GDALDriver* driver = GetGDALDriverManager()->GetDriverByName("GTiff");
        const GDALDatasetUniquePtr to(driver->Create((folder / ("farm/" + name)).c_str(), cols,
                                                     rows, 1, GDT_Float32, nullptr));
        ASSERT_NE(to, nullptr);
        double transform[6];
        from->GetGeoTransform(transform);
        transform[0] += shift_m;
        transform[2] += rotation;
        to->SetGeoTransform(transform);
        if (with_crs) to->SetSpatialRef(from->GetSpatialRef());
        ASSERT_EQ(to->GetRasterBand(1)->RasterIO(GF_Write, 0, 0, cols, rows, values.data(), cols,
                                                 rows, GDT_Float32, 0, 0, nullptr),
                  CE_None);
    }
    void remember() { before = files_of(folder.path()); }

    const TemporaryFolder folder;
    std::map<std::string, std::string> before;
};

TEST_F(Failures, MissingFilesAreNamed) {
    for (const char* key : {"field.boundary", "terrain.elevation", "soil.map", "soil.horizons",
                            "weather.monthly", "compaction.probes", "nitrogen.soil-tests"}) {
        expect_failure(1, {std::string("--") + key, "farm/missing.gpkg"}, {"missing.gpkg"});
    }
    const Outcome outcome =
        run_program({"plan", "farm/jab.ini", "--output", "plan"}, folder.path());
    EXPECT_EQ(outcome.code, 2);
    EXPECT_TRUE(has(outcome.err, "farm/jab.ini")) << outcome.err;
    EXPECT_TRUE(has(outcome.err, "catchfield start")) << outcome.err;
    expect_nothing_left();
}

TEST_F(Failures, MissingCrsSaysHowToStateIt) {
    write_elevation("no-crs.tif", 0.0, false);
    // A shapefile without .prj.
    GDALDriver* driver = GetGDALDriverManager()->GetDriverByName("ESRI Shapefile");
    {
        const GDALDatasetUniquePtr shapes(
            driver->Create((folder / "farm/no-crs.shp").c_str(), 0, 0, 0, GDT_Unknown, nullptr));
        ASSERT_NE(shapes, nullptr);
        OGRLayer* layer = shapes->CreateLayer("no-crs", nullptr, wkbPolygon, nullptr);
        OGRFeature feature(layer->GetLayerDefn());
        OGRGeometry* square = nullptr;
        OGRGeometryFactory::createFromWkt(
            "POLYGON ((330000 4451700, 330300 4451700, 330300 4452000, 330000 4452000, 330000 "
            "4451700))",
            nullptr, &square);
        feature.SetGeometryDirectly(square);
        ASSERT_EQ(layer->CreateFeature(&feature), OGRERR_NONE);
    }
    remember();
    expect_failure(1, {"--terrain.elevation", "farm/no-crs.tif"}, {"no-crs.tif", "CRS"});
    expect_failure(1, {"--field.boundary", "farm/no-crs.shp", "--field.id-column", ""},
                   {"no-crs.shp", "field.crs"});
    const Outcome stated = plan({"--field.boundary", "farm/no-crs.shp", "--field.id-column", "",
                                 "--field.crs", "EPSG:32615"});
    EXPECT_TRUE(stated.code == 0 || stated.code == 3) << stated.err;
}

TEST_F(Failures, RasterThatMeetsNoField) {
    write_elevation("far.tif", 200'000.0, true);
    remember();
    expect_failure(1, {"--terrain.elevation", "farm/far.tif"}, {"far.tif"});
}

TEST_F(Failures, RotatedRasterIsRefused) {
    write_elevation("rotated.tif", 0.0, true, 1.0);
    remember();
    expect_failure(1, {"--terrain.elevation", "farm/rotated.tif"}, {"rotated.tif", "rotated"});
}

TEST_F(Failures, UnknownKeyNamesTheNearest) {
    add_to_job("prodcut = urea\n");
    expect_failure(2, {}, {"unknown key 'output.prodcut'", "'product'", "[output]"});
}

TEST_F(Failures, KeyGivenTwice) {
    add_to_job("units = metric\n");
    expect_failure(2, {}, {"'output.units' is given twice"});
}

TEST_F(Failures, BareNumberSaysWhichUnits) {
    add_to_job("cell = 10\n");
    expect_failure(2, {}, {"output.cell = 10", "no unit", "m, ft"});
}

TEST_F(Failures, WrongNamesInTheJob) {
    expect_failure(2, {"--nitrogen.crop", "maise"}, {"maise"});
    expect_failure(2, {"--nitrogen.method", "balanced"}, {"balanced", "balance"});
    expect_failure(2, {"--output.product", "ureaa"}, {"ureaa", "urea"});
    expect_failure(2, {"--cover.candidates", "cereal-rie"}, {"cereal-rie"});
    expect_failure(2, {"--zones.features", "slop,ls"}, {"slop", "slope"});
    expect_failure(2, {"--season.previous-crop", "wheet"}, {"wheet", "wheat"});
    expect_failure(2, {"--cover.aims", "erosoin=1"}, {"erosoin", "erosion"});
    expect_failure(2, {"--output.crs", "EPSG:4326"}, {"output.crs", "projected"});
    expect_failure(2, {"--output.crs", "EPSG:1"}, {"output.crs"});
}

TEST_F(Failures, OutputFolderExists) {
    fs::create_directory(folder / "plan");
    write_text(folder / "plan/mine.txt", "keep");
    const Outcome refused = plan();
    EXPECT_EQ(refused.code, 2);
    EXPECT_TRUE(has(refused.err, "exists")) << refused.err;
    EXPECT_TRUE(has(refused.err, "--overwrite")) << refused.err;
    EXPECT_EQ(entries_of(folder / "plan"), std::vector<std::string>{"mine.txt"});
    EXPECT_EQ(entries_of(folder.path()), (std::vector<std::string>{"farm", "plan"}));
    // A run that fails leaves the old folder as it was.
    EXPECT_EQ(plan({"--overwrite", "--soil.map", "farm/missing.gpkg"}).code, 1);
    EXPECT_EQ(entries_of(folder / "plan"), std::vector<std::string>{"mine.txt"});
    const Outcome replaced = plan({"--overwrite"});
    EXPECT_TRUE(replaced.code == 0 || replaced.code == 3) << replaced.err;
    EXPECT_FALSE(fs::exists(folder / "plan/mine.txt"));
    EXPECT_TRUE(fs::exists(folder / "plan/zones.csv"));
    EXPECT_EQ(entries_of(folder.path()), (std::vector<std::string>{"farm", "plan"}));
}

TEST_F(Failures, InvalidFieldIsSkippedAndTheOthersDone) {
    Json fields = Json::parse(slurp(folder / "farm/fields.geojson"));
    // The first field becomes a bow-tie: two opposite corners of its box change places.
    double x0 = 1e9, y0 = 1e9, x1 = -1e9, y1 = -1e9;
    for (const Loops& loops : polygons_of(fields["features"][0]["geometry"])) {
        for (const Vertex& at : loops.front()) {
            x0 = std::min(x0, at.x), x1 = std::max(x1, at.x);
            y0 = std::min(y0, at.y), y1 = std::max(y1, at.y);
        }
    }
    fields["features"][0]["geometry"] = {
        {"type", "Polygon"}, {"coordinates", {{{x0, y0}, {x1, y1}, {x1, y0}, {x0, y1}, {x0, y0}}}}};
    const std::string id = fields["features"][0]["properties"]["field"];
    add_input("fields.geojson", fields.dump());

    const Outcome outcome = plan();
    EXPECT_EQ(outcome.code, 3) << outcome.err;
    EXPECT_TRUE(has(outcome.err, id)) << outcome.err;
    EXPECT_TRUE(has(outcome.err, "skipped")) << outcome.err;
    EXPECT_TRUE(has(outcome.err, "repair = yes")) << outcome.err;
    // The place is told to about a metre.
    EXPECT_TRUE(has(outcome.err, "longitude " + std::to_string((x0 + x1) / 2).substr(0, 9)))
        << outcome.err;
    const Json run = Json::parse(slurp(folder / "plan/run.json"));
    std::size_t done = 0;
    for (const Json& field : run.at("fields")) {
        if (field.at("field_id") == id) {
            EXPECT_EQ(field.at("status"), "skipped");
            EXPECT_FALSE(field.at("reasons").empty());
        } else {
            EXPECT_NE(field.at("status"), "skipped") << field.dump();
            ++done;
        }
    }
    EXPECT_EQ(done, fields["features"].size() - 1);
    EXPECT_TRUE(has(slurp(folder / "plan/report.html"), "skipped"));
    fs::remove_all(folder / "plan");

    expect_failure(1, {"--strict"}, {"--strict"});
    const Outcome repaired = plan({"--field.repair", "yes"});
    EXPECT_TRUE(repaired.code == 0 || repaired.code == 3) << repaired.err;
    const Json after = Json::parse(slurp(folder / "plan/run.json"));
    EXPECT_NE(after.at("fields").at(0).at("status"), "skipped");
    EXPECT_FALSE(after.at("fields").at(0).at("warnings").empty());
}

TEST_F(Failures, PartlyCoveredFieldIsSaid) {
    const Outcome outcome = plan({"--soil.fill-distance", "0 m"});
    EXPECT_EQ(outcome.code, 3) << outcome.err;
    EXPECT_TRUE(has(outcome.err, "partly covered")) << outcome.err;
    fs::remove_all(folder / "plan");
    expect_failure(1, {"--soil.fill-distance", "0 m", "--strict"}, {"--strict"});
}

TEST_F(Failures, FolderThatIsNotThereOrNotWritable) {
    const Outcome outcome =
        run_program({"plan", "farm/job.ini", "--output", "no/such/plan"}, folder.path());
    EXPECT_EQ(outcome.code, 1);
    EXPECT_TRUE(has(outcome.err, "no/such/plan")) << outcome.err;
    expect_nothing_left();
}

TEST_F(Failures, TruncatedRaster) {
    const std::string whole = slurp(samples() + "/elevation.tif");
    add_input("cut.tif", whole.substr(0, whole.size() / 2));
    expect_failure(1, {"--terrain.elevation", "farm/cut.tif"}, {"cut.tif"});
}

TEST_F(Failures, OutputCrsMovesTheCells) {
    // North American Albers (ESRI:102008): another grid, other coordinates, the same ground.
    const Outcome outcome = plan({"--output.crs", "EPSG:5070"});
    ASSERT_TRUE(outcome.code == 0 || outcome.code == 3) << outcome.err;
    const Json run = Json::parse(slurp(folder / "plan/run.json"));
    for (const Json& field : run.at("fields")) {
        EXPECT_NEAR(field.at("product_total_on_raster").get<double>() /
                        field.at("product_total").get<double>(),
                    1.0, 0.02)
            << field.at("field_id");
        const std::string path =
            folder / ("plan/rates/" + field.at("file_stem").get<std::string>() + "-nitrogen.tif");
        const GDALDatasetUniquePtr raster(GDALDataset::Open(path.c_str(), GDAL_OF_RASTER));
        ASSERT_NE(raster, nullptr);
        EXPECT_STREQ(raster->GetSpatialRef()->GetAuthorityCode(nullptr), "5070");
        double transform[6];
        raster->GetGeoTransform(transform);
        // 95 W 40.2 N lies at about x = 84 km, y = 1916 km there.
        EXPECT_NEAR(transform[0], 84'000.0, 10'000.0);
        EXPECT_NEAR(transform[3], 1'916'000.0, 20'000.0);
    }
}

}  // namespace
}  // namespace catchfield::testing
