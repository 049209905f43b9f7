// SPDX-License-Identifier: MIT
// Exports of unusual fields, planned on the spot from made-up ground: the antimeridian, the
// southern hemisphere, holes, 0.2 and 2000 ha, names and ids of every kind; and what is left when
// writing fails.
#include "plan/export.hpp"

#include "base/error.hpp"
#include "base/text.hpp"
#include "gis/files.hpp"
#include "gis/geotiff.hpp"
#include "gis/raster_source.hpp"
#include "gis/vector.hpp"
#include "plan/compare.hpp"
#include "plan/run.hpp"
#include "support/temporary_folder.hpp"

#include <gtest/gtest.h>
#include <nlohmann/json.hpp>
#include <pugixml.hpp>

#include <cmath>
#include <cstdlib>
#include <filesystem>
#include <random>
#include <stdlib.h>
#include <sys/mount.h>
#include <unistd.h>

namespace catchfield::plan {
namespace {

namespace fs = std::filesystem;
using Json = nlohmann::json;

using Folder = testing::TemporaryFolder;

struct TestField {
    std::string id;
    MultiPolygon shape;  ///< in the UTM zone of the test
};

MultiPolygon rectangle(double west, double south, double width, double height) {
    return {Polygon{{{west, south},
                     {west + width, south},
                     {west + width, south + height},
                     {west, south + height},
                     {west, south}},
                    {}}};
}

Json ring_json(const Ring& ring, const gis::Crs& crs) {
    Json list = Json::array();
    for (const Point& point : ring) {
        Point place = gis::transformer(crs, gis::Crs::wgs84()).apply(point);
        // One side of the antimeridian: longitudes run past 180.
        if (crs.code() == "EPSG:32760" && place.x < 0.0) place.x += 360.0;
        list.push_back({place.x, place.y});
    }
    return list;
}

Json feature(const MultiPolygon& shape, const gis::Crs& crs, const Json& properties) {
    Json parts = Json::array();
    for (const Polygon& part : shape) {
        Json rings = Json::array({ring_json(part.outer, crs)});
        for (const Ring& hole : part.holes) rings.push_back(ring_json(hole, crs));
        parts.push_back(rings);
    }
    return {{"type", "Feature"},
            {"properties", properties},
            {"geometry", {{"type", "MultiPolygon"}, {"coordinates", parts}}}};
}

void write_collection(const std::string& path, const Json& features) {
    gis::write_file_atomically(path,
                               Json{{"type", "FeatureCollection"}, {"features", features}}.dump());
}

/// Plans the fields on a slope with two soils, west and east, of different yield; a zone for each.
std::string make_plan(const Folder& folder, const gis::Crs& crs,
                      const std::vector<TestField>& fields) {
    Json boundaries = Json::array(), soils = Json::array(), zones = Json::array();
    Box all{1e12, 1e12, -1e12, -1e12};
    for (const TestField& field : fields) {
        boundaries.push_back(feature(field.shape, crs, {{"name", field.id}}));
        const Box box = bounds(field.shape);
        all = {std::min(all.min_x, box.min_x), std::min(all.min_y, box.min_y),
               std::max(all.max_x, box.max_x), std::max(all.max_y, box.max_y)};
        const double width = box.max_x - box.min_x, height = box.max_y - box.min_y;
        const double middle = box.min_x + 0.43 * width;
        const MultiPolygon west =
            rectangle(box.min_x - 1, box.min_y - 1, middle - box.min_x + 1, height + 2);
        const MultiPolygon east =
            rectangle(middle, box.min_y - 1, box.max_x - middle + 1, height + 2);
        for (int i = 0; i < 2; ++i) {
            soils.push_back(feature(i == 0 ? west : east, crs,
                                    {{"mukey", "90010" + std::to_string(i + 1)},
                                     {"tfact", 5},
                                     {"hydgrp", "B"},
                                     {"drainagecl", "Well drained"},
                                     {"goal", i == 0 ? 120 : 190}}));
            zones.push_back(feature(i == 0 ? west : east, crs, {{"zone", i + 1}}));
        }
    }
    write_collection(folder / "fields.geojson", boundaries);
    write_collection(folder / "soils.geojson", soils);
    write_collection(folder / "zones.geojson", zones);
    const double cell = std::max(2.0, std::round((all.max_x - all.min_x) / 300.0));
    Raster<float> ground(snapped_frame(all.min_x, all.min_y, all.max_x, all.max_y, cell, 20));
    for (int row = 0; row < ground.frame.rows; ++row) {
        for (int col = 0; col < ground.frame.cols; ++col) {
            const double x = col * cell, y = row * cell;
            ground.at(row, col) =
                static_cast<float>(100.0 + 0.03 * x + 0.02 * y + std::sin(x / 90.0));
        }
    }
    gis::write_file_atomically(folder / "ground.tif",
                               gis::geotiff_bytes(ground, Mask(ground.frame, 1), crs, {}));
    const std::string samples = std::string(CATCHFIELD_SOURCE_DIR) + "/geodata-samples/";
    PlanRequest request;
    JobValues values = read_job_values(samples + "job.ini");
    for (const char* key : {"terrain.barriers", "compaction.probes", "compaction.probe-columns",
                            "nitrogen.soil-tests", "nitrogen.no-apply", "nitrogen.setback"}) {
        values.erase(key);
    }
    values["field.boundary"] = folder / "fields.geojson";
    values["field.id-column"] = "name";
    values["field.customer"] = "Kundin & Söhne <GbR> mit einem sehr langen Namen";
    values["terrain.elevation"] = folder / "ground.tif";
    values["soil.map"] = folder / "soils.geojson";
    values["soil.horizons"] = samples + "horizons.csv";
    values["weather.monthly"] = samples + "weather-monthly.csv";
    values["zones.drawn"] = folder / "zones.geojson";
    values["zones.min-area"] = "0.01 ha";
    values["nitrogen.yield-column"] = "goal";
    values["nitrogen.yield-unit"] = "bu/ac";
    values["output.reports"] = "no";
    values["output.layers"] = "no";
    values["output.uncertainty"] = "0";
    request.job = make_job(values, folder.path());
    request.output = folder / "plan";
    run_plan(request, {});
    return request.output;
}

ExportRequest request_for(const std::string& plan, ExportFormat format, const std::string& output,
                          double cell_m) {
    ExportRequest request;
    request.plan = plan;
    request.format = format;
    request.output = output;
    request.cell_m = cell_m;
    request.merged = format == ExportFormat::taskdata;
    return request;
}

std::vector<std::string> files_below(const std::string& path) {
    std::vector<std::string> names;
    for (const auto& entry : fs::recursive_directory_iterator(path)) {
        names.push_back(fs::relative(entry.path(), path).string());
    }
    std::sort(names.begin(), names.end());
    return names;
}

void expect_safe(const std::string& folder) {
    for (const std::string& name : files_below(folder)) {
        for (const auto& part : fs::path(name)) {
            const std::string text = part.string();
            EXPECT_EQ(text.find_first_not_of("abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ"
                                             "0123456789._-"),
                      std::string::npos)
                << name;
            EXPECT_NE(text.front(), '.') << name;
            EXPECT_LE(text.size(), 100U) << name;
        }
    }
}

/// The raster's cells against polygons of the shapefile, burnt by gdal_rasterize.
void expect_burnt_equal(const Folder& folder, const std::string& shape, const std::string& tiff) {
    const gis::RasterSource raster(tiff);
    const gis::RasterInfo& info = raster.info();
    const std::string moved = folder / "moved.gpkg", burnt = folder / "burnt.tif";
    fs::remove(moved);
    fs::remove(burnt);
    const auto number = [](double value) { return fixed(value, 6); };
    const std::string command =
        "ogr2ogr -t_srs " + raster.crs().code() + " -nlt PROMOTE_TO_MULTI '" + moved + "' '" +
        shape + "' >/dev/null 2>&1 && gdal_rasterize -q -a rate -init -9999 -a_nodata -9999 -ot " +
        "Float32 -te " + number(info.bounds.min_x) + " " + number(info.bounds.min_y) + " " +
        number(info.bounds.max_x) + " " + number(info.bounds.max_y) + " -ts " +
        std::to_string(info.cols) + " " + std::to_string(info.rows) + " '" + moved + "' '" + burnt +
        "'";
    if (std::system("command -v gdal_rasterize ogr2ogr >/dev/null") != 0) {
        GTEST_SKIP() << "gdal-bin is not installed";
    }
    ASSERT_EQ(std::system(command.c_str()), 0) << command;
    GridFrame frame;
    frame.west = info.bounds.min_x;
    frame.north = info.bounds.max_y;
    frame.cell = info.cell_x;
    frame.cols = info.cols;
    frame.rows = info.rows;
    const auto mine = raster.read<float>(frame, raster.crs(), gis::Resampling::nearest);
    const gis::RasterSource other(burnt);
    const auto theirs = other.read<float>(frame, other.crs(), gis::Resampling::nearest);
    std::size_t different = 0, filled = 0;
    for (std::size_t i = 0; i < frame.size(); ++i) {
        filled += mine.valid[i];
        // The table holds three decimals.
        different += mine.valid[i] != theirs.valid[i] ||
                     std::abs(mine.values[i] - theirs.values[i]) > 0.00051F;
    }
    EXPECT_GT(filled, 0U);
    // Centres that lie on an edge to the last micrometre may fall to either side.
    EXPECT_LE(different, filled / 1000) << tiff;
}

/// Every format of a plan: safe names, totals, and the same rates in raster and polygons.
void check_exports(const Folder& folder, const std::string& plan, double cell_m) {
    int number = 0;
    const auto out = [&] { return folder / ("out" + std::to_string(++number)); };
    const auto before = files_below(plan);
    ExportRequest request = request_for(plan, ExportFormat::geotiff, out(), cell_m);
    const HandOff tiff = run_export(request, {});
    const std::string tiff_folder = request.output;
    expect_safe(request.output);
    std::vector<HandOff> sheets{tiff};
    request.degrees = true;
    request.output = out();
    sheets.push_back(run_export(request, {}));
    for (const gis::TaskForm form :
         {gis::TaskForm::grid_type_1, gis::TaskForm::grid_type_2, gis::TaskForm::polygons}) {
        request = request_for(plan, ExportFormat::taskdata, out(), cell_m);
        request.task_form = form;
        sheets.push_back(run_export(request, {}));
        expect_safe(request.output);
        pugi::xml_document document;
        ASSERT_TRUE(document.load_file((request.output + "/TASKDATA/TASKDATA.XML").c_str()));
        std::size_t partfields = 0;
        for (const pugi::xml_node& node : document.document_element().children()) {
            partfields += std::string(node.name()) == "PFD";
            const std::string designator = node.attribute("B").value();
            EXPECT_EQ(gis::cut_text(designator, 32), designator);
        }
        EXPECT_EQ(partfields, tiff.entries.size());
    }
    request = request_for(plan, ExportFormat::shapefile, out(), cell_m);
    sheets.push_back(run_export(request, {}));
    expect_safe(request.output);
    for (std::size_t i = 0; i < tiff.entries.size(); ++i) {
        expect_burnt_equal(folder, request.output + "/" + sheets.back().entries[i].files.front(),
                           tiff_folder + "/" + tiff.entries[i].files.front());
    }
    request = request_for(plan, ExportFormat::geojson, out(), cell_m);
    sheets.push_back(run_export(request, {}));
    expect_safe(request.output);
    for (const HandOffEntry& entry : sheets.back().entries) {
        const gis::VectorLayer layer = gis::read_layer(request.output + "/" + entry.files.front());
        double total = 0.0;
        for (const gis::Feature& row : layer.features) {
            EXPECT_EQ(row.values[layer.column("field")], entry.field);
            const Box box = row.box();
            EXPECT_GE(box.min_x, -180.0);
            EXPECT_LE(box.max_x, 180.0);
            total += *parse_number(row.values[layer.column("rate")]) *
                     gis::geodesic_area_m2(row.polygons, gis::Crs::wgs84()) / 4046.8564224;
        }
        // The plan's areas are those of the UTM plane, up to 0.25 % from the ellipsoid's.
        EXPECT_NEAR(total / entry.total, 1.0, 0.0027) << entry.field;
    }
    for (const HandOff& sheet : sheets) {
        ASSERT_EQ(sheet.entries.size(), tiff.entries.size());
        for (std::size_t i = 0; i < sheet.entries.size(); ++i) {
            const HandOffEntry& entry = sheet.entries[i];
            EXPECT_GT(entry.total, 0.0);
            EXPECT_DOUBLE_EQ(entry.total, tiff.entries[i].total);
            EXPECT_NEAR(entry.file_total / entry.total, 1.0, total_tolerance)
                << sheet.format << ", " << entry.field;
        }
        for (const HandOffFile& file : sheet.files) EXPECT_EQ(file.xxh64.size(), 16U);
    }
    EXPECT_EQ(files_below(plan), before) << "an export changed the plan";
    EXPECT_FALSE(fs::exists(folder / "x"));
    EXPECT_FALSE(fs::exists(fs::path(folder.path()).parent_path() / "x"));
}

const gis::Crs& utm(int code) {
    static std::map<int, gis::Crs> known;
    if (!known.contains(code)) known[code] = gis::Crs::from_epsg(code);
    return known[code];
}

TEST(Export, NamesAndIds) {
    const Folder folder;
    std::string hundreds;
    for (int i = 0; i < 40; ++i) hundreds += "länge";
    ASSERT_EQ(gis::cut_text(hundreds, 200), hundreds);
    const std::vector<std::string> ids = {"Große Wiese", "\"Quotes\" 'n' & <tags>",
                                          hundreds,      "../../x",
                                          "/etc/x",      "",
                                          "Acker",       "Acker",
                                          "CON",         "a.b",
                                          "a-b",         "=1+1"};
    std::vector<TestField> fields;
    for (std::size_t i = 0; i < ids.size(); ++i) {
        fields.push_back(
            {ids[i], rectangle(500000.0 + 130.0 * static_cast<double>(i), 4450000.0, 100.0, 80.0)});
    }
    const std::string plan = make_plan(folder, utm(32615), fields);
    check_exports(folder, plan, 0.5);

    // The sheet, the page and the task data hold names as text, not as markup.
    ExportRequest request = request_for(plan, ExportFormat::taskdata, folder / "names", 1.0);
    const HandOff sheet = run_export(request, {});
    EXPECT_EQ(sheet.entries.size(), ids.size());
    const std::string page = gis::read_file(request.output + "/hand-off.html");
    EXPECT_EQ(page.find("<tags>"), std::string::npos);
    EXPECT_NE(page.find("&amp; &lt;tags&gt;"), std::string::npos);
    EXPECT_EQ(gis::read_file(request.output + "/hand-off.txt"), hand_off_text(sheet));
    pugi::xml_document document;
    ASSERT_TRUE(document.load_file((request.output + "/TASKDATA/TASKDATA.XML").c_str()));
    bool quoted = false;
    for (const pugi::xml_node& node : document.document_element().children("PFD"))
        quoted = quoted || std::string(node.attribute("C").value()) == ids[1];
    EXPECT_TRUE(quoted);

    // One file for all, the same totals; and one field by its name.
    request = request_for(plan, ExportFormat::shapefile, folder / "merged", 1.0);
    request.merged = true;
    request.zip = true;
    run_export(request, {});
    EXPECT_EQ(files_below(request.output),
              (std::vector<std::string>{"fields-nitrogen.zip", "hand-off.html", "hand-off.txt"}));
    request.output = folder / "one";
    request.fields = "../../x";
    EXPECT_EQ(run_export(request, {}).entries.size(), 1U);
    request.fields = "Aker";
    request.output = folder / "none";
    EXPECT_THROW(run_export(request, {}), Error);
    EXPECT_FALSE(fs::exists(request.output));
}

TEST(Export, Antimeridian) {
    // Fiji's longitude: the field lies on both sides of 180 degrees, one of its zones wholly beyond
    // it, south of the equator.
    const Folder folder;
    const Point middle =
        gis::transformer(gis::Crs::wgs84(), utm(32760)).apply(Point{179.9999, -17.0});
    const std::string plan = make_plan(
        folder, utm(32760), {{"Dateline", rectangle(middle.x - 130, middle.y, 420.0, 300.0)}});
    check_exports(folder, plan, 1.0);
    ExportRequest request = request_for(plan, ExportFormat::geojson, folder / "sides", 1.0);
    run_export(request, {});
    const gis::VectorLayer layer = gis::read_layer(request.output + "/Dateline-nitrogen.geojson");
    bool east = false, west = false;
    for (const gis::Feature& row : layer.features) {
        for (const Polygon& part : row.polygons) {
            const Box box = bounds({part});
            EXPECT_LT(box.max_x - box.min_x, 1.0) << "a polygon runs around the globe";
            east = east || box.max_x > 179.9;
            west = west || box.min_x < -179.9;
        }
    }
    EXPECT_TRUE(east && west);
}

TEST(Export, SouthWithHole) {
    const Folder folder;
    MultiPolygon shape = rectangle(610000.0, 6110000.0, 400.0, 350.0);
    Ring hole = rectangle(610150.0, 6110100.0, 90.0, 120.0).front().outer;
    shape.front().holes.push_back(Ring(hole.rbegin(), hole.rend()));
    const std::string plan = make_plan(folder, utm(32755), {{"Ring", shape}});
    check_exports(folder, plan, 1.0);
    // Nothing in the hole.
    ExportRequest request = request_for(plan, ExportFormat::geotiff, folder / "hole", 1.0);
    const HandOff sheet = run_export(request, {});
    EXPECT_NEAR(sheet.entries.front().area_ha, 12.92, 0.001);
    const gis::RasterSource raster(request.output + "/Ring-nitrogen.tif");
    const auto values = raster.sample({{610195.5, 6110160.5}, {610050.5, 6110160.5}}, utm(32755),
                                      gis::Resampling::nearest);
    EXPECT_FALSE(values[0].has_value());
    EXPECT_TRUE(values[1].has_value());
}

TEST(Export, SmallestAndLargest) {
    const Folder small;
    check_exports(
        small,
        make_plan(small, utm(32632), {{"Garden", rectangle(600000.3, 5400000.7, 50.0, 40.0)}}),
        0.25);
    const Folder large;
    check_exports(
        large,
        make_plan(large, utm(32632), {{"Estate", rectangle(600000.0, 5400000.0, 5000.0, 4000.0)}}),
        10.0);
}

TEST(Export, MachineLimitsAndUnits) {
    const Folder folder;
    const std::string plan =
        make_plan(folder, utm(32615), {{"Home", rectangle(500000.0, 4450000.0, 500.0, 400.0)}});
    ExportRequest request = request_for(plan, ExportFormat::geojson, folder / "a", 2.0);
    const HandOff plain = run_export(request, {});
    ASSERT_EQ(plain.entries.front().rates, 2);

    // 46 % nitrogen, and back: product and nitrogen differ by the share alone.
    request.product = "urea";
    request.unit = "kg/ha";
    request.output = folder / "b";
    const HandOff urea = run_export(request, {});
    EXPECT_NEAR(urea.entries.front().total * 0.46 / 0.45359237, plain.entries.front().total,
                1e-6 * plain.entries.front().total);

    // A number of steps, bounds, a headland.
    request = request_for(plan, ExportFormat::geojson, folder / "c", 2.0);
    request.limits.most_rates = 1;
    EXPECT_EQ(run_export(request, {}).entries.front().rates, 1);
    request = request_for(plan, ExportFormat::geojson, folder / "d", 2.0);
    request.max_rate = "100 lb N/ac";
    request.headland_rate = "50 lb N/ac";
    request.limits.headland_width_m = 20.0;
    const HandOff headland = run_export(request, {});
    EXPECT_DOUBLE_EQ(headland.entries.front().lowest, 50.0);
    EXPECT_LE(headland.entries.front().highest, 100.0);
    EXPECT_NEAR(headland.entries.front().area_ha, plain.entries.front().area_ha, 1e-3);
    request.max_rate = "100 kg/ha";
    request.output = folder / "e";
    EXPECT_THROW(run_export(request, {}), Error);
    request.max_rate = "100";
    EXPECT_THROW(run_export(request, {}), Error);

    // Seeds need their weight.
    request = request_for(plan, ExportFormat::geojson, folder / "f", 2.0);
    request.nitrogen = false;
    request.seed = true;
    request.unit = "seeds/m2";
    EXPECT_THROW(run_export(request, {}), Error);
    request.thousand_seed_g = 20.0;
    const HandOff seeds = run_export(request, {});
    request.unit = "kg/ha";
    request.output = folder / "g";
    const HandOff mass = run_export(request, {});
    EXPECT_NEAR(seeds.entries.front().total * 20.0 / 1e6, mass.entries.front().total,
                1e-6 * mass.entries.front().total);
}

TEST(Export, AsApplied) {
    const Folder folder;
    const std::string plan =
        make_plan(folder, utm(32615), {{"Home", rectangle(500000.0, 4450000.0, 400.0, 400.0)}});
    CompareRequest request;
    request.prescription = request_for(plan, ExportFormat::geojson, "", 10.0);
    const std::vector<RateMap> maps = rate_maps(request.prescription);
    const double west = maps.front().areas[0].rates[0], east = maps.front().areas[1].rates[0];
    ASSERT_NE(west, east);
    // A point in every cell: the west as prescribed, the east 20 % high in its northern half.
    std::string log = "lon,lat,rate\n";
    for (int col = 0; col < 41; ++col) {
        for (int row = 0; row < 40; ++row) {
            const Point at{500005.0 + 10.0 * col, 4450005.0 + 10.0 * row};
            const Point place = gis::transformer(utm(32615), gis::Crs::wgs84()).apply(at);
            const bool in_west = at.x < 500172.0;
            const double rate = in_west ? west : row < 20 ? east : 1.2 * east;
            log += shortest(place.x) + "," + shortest(place.y) + "," + shortest(rate) + "\n";
        }
    }
    log += ",,5\n";
    gis::write_file_atomically(folder / "log.csv", log);
    request.log = folder / "log.csv";
    const Comparison found = compare_applied(request);
    ASSERT_EQ(found.zones.size(), 2U);
    EXPECT_NEAR(found.zones[0].mean, west, 1e-9);
    EXPECT_NEAR(found.zones[0].off_pct, 0.0, 1e-9);
    EXPECT_NEAR(found.zones[1].mean, 1.1 * east, 1e-6 * east);
    // Half the cells 10 % above and half 10 % below the mean.
    EXPECT_NEAR(found.zones[1].spread, 0.1 * east, 0.001 * east);
    EXPECT_NEAR(found.zones[1].off_pct, 50.0, 1e-9);
    EXPECT_GT(found.zones[1].logged_pct, 97.0);
    EXPECT_EQ(found.outside, 40U);
    EXPECT_EQ(found.unusable, 1U);
    EXPECT_NE(comparison_text(found).find("50.0 % of the logged area off"), std::string::npos);
}

ErrorKind kind_of_failure(const ExportRequest& request) {
    try {
        run_export(request, {});
    } catch (const Error& error) {
        EXPECT_FALSE(error.reason().empty());
        return error.kind();
    }
    ADD_FAILURE() << "the export to " << request.output << " did not fail";
    return ErrorKind::internal;
}

TEST(Export, NothingHalfWritten) {
    const Folder folder;
    const std::string plan =
        make_plan(folder, utm(32615), {{"Home", rectangle(500000.0, 4450000.0, 300.0, 300.0)}});
    fs::create_directory(folder / "there");
    gis::write_file_atomically(folder / "there/keep.txt", "mine");
    ExportRequest request = request_for(plan, ExportFormat::geotiff, folder / "there", 2.0);
    EXPECT_EQ(kind_of_failure(request), ErrorKind::usage);
    EXPECT_EQ(files_below(folder / "there"), std::vector<std::string>{"keep.txt"});
    request.overwrite = true;
    run_export(request, {});
    EXPECT_FALSE(fs::exists(folder / "there/keep.txt"));

    request = request_for(plan, ExportFormat::shapefile, folder / "there/hand-off.txt/out", 2.0);
    EXPECT_EQ(kind_of_failure(request), ErrorKind::output);
    fs::create_directory(folder / "locked");
    if (geteuid() != 0) {
        fs::permissions(folder / "locked", fs::perms::owner_read | fs::perms::owner_exec);
        request.output = folder / "locked/out";
        EXPECT_EQ(kind_of_failure(request), ErrorKind::output);
        fs::permissions(folder / "locked", fs::perms::owner_all);
        EXPECT_TRUE(files_below(folder / "locked").empty());
    }
    const auto mounted = [&](const char* options, unsigned long flags) {
        return geteuid() == 0 &&
               mount("tmpfs", (folder / "locked").c_str(), "tmpfs", flags, options) == 0;
    };
    if (!mounted("size=64k", 0)) GTEST_SKIP() << "a small file system cannot be mounted here";
    request = request_for(plan, ExportFormat::geotiff, folder / "locked/out", 0.5);
    request.layout = gis::TiffLayout::plain;
    EXPECT_EQ(kind_of_failure(request), ErrorKind::output);
    EXPECT_TRUE(files_below(folder / "locked").empty()) << files_below(folder / "locked").front();
    umount((folder / "locked").c_str());
    if (mounted("size=64k", MS_RDONLY)) {
        EXPECT_EQ(kind_of_failure(request), ErrorKind::output);
        EXPECT_TRUE(files_below(folder / "locked").empty());
        umount((folder / "locked").c_str());
    }
}

}  // namespace
}  // namespace catchfield::plan
