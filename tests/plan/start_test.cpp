// SPDX-License-Identifier: MIT
// What `start` makes of folders: the demo farm, an open field, and odd ones; and that `check` and a
// job follow from it.
#include "plan/start.hpp"

#include "base/error.hpp"
#include "base/text.hpp"
#include "gis/files.hpp"
#include "gis/geotiff.hpp"
#include "gis/start.hpp"
#include "plan/check.hpp"
#include "plan/job.hpp"
#include "support/temporary_folder.hpp"

#include <gtest/gtest.h>

#include <cmath>
#include <cstdlib>
#include <functional>

namespace catchfield::plan {
namespace {

using testing::has;
using testing::TemporaryFolder;
using testing::write_text;

const std::string samples = std::string(CATCHFIELD_SOURCE_DIR) + "/geodata-samples";

/// Made ground in UTM 17N, central Ohio, and what lies on it.
constexpr double west = 330'000.0, north = 4'430'000.0, side = 400.0;

/// Writes a raster over the field and 100 m around it.
void write_raster(const std::string& path, double cell,
                  const std::function<double(double, double)>& value,
                  const std::string& code = "EPSG:32617", double shift = 0.0) {
    GridFrame frame;
    frame.cell = cell;
    frame.west = west - 100.0 + shift;
    frame.north = north + 100.0;
    frame.cols = frame.rows = static_cast<int>((side + 200.0) / cell);
    Raster<float> raster(frame);
    for (int row = 0; row < frame.rows; ++row) {
        for (int col = 0; col < frame.cols; ++col) {
            raster.at(row, col) = static_cast<float>(value(col * cell, row * cell));
        }
    }
    gis::write_file_atomically(
        path,
        gis::geotiff_bytes(raster, Mask(frame, 1), gis::Crs::from_user_input(code, "test"), {}));
}

double hills(double x, double y) {
    return 250.0 + 0.03 * x + 6.0 * std::sin(x / 60.0) + 5.0 * std::cos(y / 80.0);
}
/// Rise over run of those hills.
double steepness(double x, double y) {
    return std::hypot(0.03 + 0.1 * std::cos(x / 60.0), 5.0 / 80.0 * std::sin(y / 80.0));
}

std::string corners(const std::string& code, double x0, double y0, double x1, double y1) {
    std::string text;
    for (const Point& corner :
         {Point{x0, y0}, Point{x0, y1}, Point{x1, y1}, Point{x1, y0}, Point{x0, y0}}) {
        const Point place =
            gis::transformer(gis::Crs::from_user_input(code, "test"), gis::Crs::wgs84())
                .apply(corner);
        text += (text.empty() ? "[" : ",[") + fixed(place.x, 7) + "," + fixed(place.y, 7) + "]";
    }
    return text;
}

std::string feature(const std::string& properties, const std::string& ring) {
    return R"({"type":"Feature","properties":{)" + properties +
           R"(},"geometry":{"type":"Polygon","coordinates":[[)" + ring + "]]}}";
}

std::string collection(const std::string& features) {
    return R"({"type":"FeatureCollection","features":[)" + features + "]}";
}

std::string field_ring(const std::string& code = "EPSG:32617") {
    return corners(code, west, north - side, west + side, north);
}

void write_boundary(const std::string& path) {
    write_text(path, collection(feature(R"("note":"")", field_ring())));
}

void write_soils(const std::string& path) {
    write_text(
        path,
        collection(feature(
            R"("mukey":"1","muname":"Made silt loam","kffact":0.32,"tfact":5,"hydgrp":"B")",
            corners("EPSG:32617", west - 60, north - side - 60, west + side + 60, north + 60))));
}

struct Started {
    StartResult result;
    JobValues values;
    std::string job;
    bool unsure(const std::string& part) const {
        for (const std::string& line : result.unsure) {
            if (has(line, part)) return true;
        }
        return false;
    }
    std::string all() const {
        std::string text = result.place + "\n";
        for (const std::string& line : result.found) text += "found " + line + "\n";
        for (const std::string& line : result.unsure) text += "look at " + line + "\n";
        return text;
    }
    std::string value(const std::string& key) const {
        const auto found = values.find(key);
        return found == values.end() ? std::string() : found->second;
    }
};

Started start(const TemporaryFolder& folder, const std::string& inputs,
              Date today = make_date(2025, 7, 1)) {
    static int count = 0;
    StartRequest request;
    request.inputs = {inputs};
    request.output = folder / ("job-" + std::to_string(++count) + ".ini");
    request.today = today;
    Started started;
    started.result = start_job(request);
    started.values = read_job_values(request.output);
    started.job = request.output;
    return started;
}

Readiness check(const Started& started, const TemporaryFolder& folder) {
    return check_job(make_job(started.values, folder.path()), false, false);
}

std::string error_of(const TemporaryFolder& folder, const std::string& inputs) {
    try {
        start(folder, inputs);
    } catch (const Error& error) {
        return error.what();
    }
    return "";
}

TEST(Start, DemoFarmIsRecognisedWhole) {
    const TemporaryFolder folder;
    const Started started = start(folder, samples);
    const std::pair<const char*, const char*> expected[] = {
        {"field.boundary", "fields.geojson"},
        {"field.id-column", "field"},
        {"terrain.elevation", "elevation.tif"},
        {"terrain.barriers", "barriers.geojson"},
        {"soil.map", "soils.gpkg"},
        {"soil.horizons", "horizons.csv"},
        {"weather.monthly", "weather-monthly.csv"},
        {"compaction.probes", "probes.csv"},
        {"nitrogen.soil-tests", "soil-tests.csv"},
        {"nitrogen.no-apply", "no-apply.geojson"}};
    for (const auto& [key, value] : expected)
        EXPECT_TRUE(started.value(key).ends_with(value)) << key << " = " << started.value(key);
    EXPECT_TRUE(has(started.result.place, "4 fields")) << started.result.place;
    EXPECT_TRUE(has(started.result.place, "UTM zone 15N")) << started.result.place;
    EXPECT_EQ(started.value("output.units"), "us");
    EXPECT_EQ(started.value("soil.columns"), "");
    EXPECT_TRUE(started.unsure("probe-moisture"));
    const Readiness readiness = check(started, folder);
    EXPECT_TRUE(readiness.ready()) << readiness.text();
}

TEST(Start, OpenField) {
    const char* data = std::getenv("CATCHFIELD_OPEN_DATA");
    if (data == nullptr) GTEST_SKIP() << "CATCHFIELD_OPEN_DATA is not set";
    const TemporaryFolder folder;
    const Started started = start(folder, std::string(data) + "/ohio-field");
    EXPECT_TRUE(started.value("terrain.elevation").ends_with("dem_5m.tif"));
    EXPECT_TRUE(has(started.all(), "slope raster in percent, the slope of dem_5m.tif"))
        << started.all();
    EXPECT_TRUE(has(started.result.place, "1 field, 34.4 ha")) << started.result.place;
    EXPECT_TRUE(has(started.result.place, "UTM zone 17N"));
    EXPECT_TRUE(started.unsure("Mansfield OH"));
    EXPECT_TRUE(check(started, folder).ready());
}

TEST(Start, TwoElevationRastersTheOneOnTheFieldsThenTheFiner) {
    const TemporaryFolder folder;
    write_boundary(folder / "farm.geojson");
    write_soils(folder / "soils.geojson");
    write_raster(folder / "a.tif", 10.0, hills);
    write_raster(folder / "b.tif", 5.0, hills);
    write_raster(folder / "c.tif", 2.0, hills, "EPSG:32617", 50'000.0);
    const Started started = start(folder, folder.path());
    EXPECT_EQ(started.value("terrain.elevation"), "b.tif") << started.all();
    EXPECT_TRUE(started.unsure("a.tif: elevation raster")) << started.all();
    EXPECT_TRUE(started.unsure("c.tif: elevation raster")) << started.all();
    EXPECT_TRUE(started.unsure("does not meet the fields")) << started.all();
    EXPECT_TRUE(started.unsure("nothing else says so")) << started.all();
}

TEST(Start, SlopeRastersAndTheirUnits) {
    const double to_degrees = 180.0 / std::acos(-1.0);
    struct Case {
        const char* name;
        std::function<double(double, double)> value;
        const char* unit;
    };
    const Case cases[] = {
        {"slope_deg.tif",
         [&](double x, double y) { return std::atan(steepness(x, y)) * to_degrees; }, "degrees"},
        {"slope-percent.tif", [](double x, double y) { return 100.0 * steepness(x, y); },
         "percent"},
        {"slope.tif", [](double x, double y) { return steepness(x, y); }, "ratio"}};
    for (const Case& one : cases) {
        const TemporaryFolder folder;
        write_boundary(folder / "farm.geojson");
        write_soils(folder / "soils.geojson");
        write_raster(folder / one.name, 5.0, one.value);
        const Started started = start(folder, folder.path());
        EXPECT_EQ(started.value("terrain.slope"), one.name) << started.all();
        EXPECT_EQ(started.value("terrain.slope-unit"), one.unit) << started.all();
        EXPECT_TRUE(started.unsure("check terrain.slope-unit")) << started.all();
        EXPECT_TRUE(check(started, folder).ready());
        // Beside the elevation it is known by its values, whatever its name.
        std::filesystem::rename(folder / one.name, folder / "x.tif");
        write_raster(folder / "y.tif", 5.0, hills);
        const Started both = start(folder, folder.path());
        EXPECT_EQ(both.value("terrain.elevation"), "y.tif") << both.all();
        EXPECT_EQ(both.value("terrain.slope"), "");
        EXPECT_TRUE(has(both.all(), std::string("slope raster in ") + one.unit)) << both.all();
    }
}

TEST(Start, SouthernHemisphere) {
    // Near Pergamino, Argentina: autumn cover, spring planting, metric units, no built-in weather.
    const TemporaryFolder folder;
    write_text(folder / "lotes.geojson", collection(feature(R"("lote":"Norte")",
                                                            "[-60.57,-33.90],[-60.57,-33.89],"
                                                            "[-60.56,-33.89],[-60.56,-33.90],"
                                                            "[-60.57,-33.90]")));
    const Started started = start(folder, folder.path(), make_date(2025, 12, 1));
    EXPECT_TRUE(has(started.result.place, "33.895 S, 60.565 W")) << started.result.place;
    EXPECT_TRUE(has(started.result.place, "UTM zone 20S")) << started.result.place;
    EXPECT_EQ(started.value("field.id-column"), "lote");
    EXPECT_EQ(started.value("output.units"), "metric");
    // Hopkins 1918: 4 days a degree of latitude, 4 x (33.9 - 40) = -24, to the nearest five -25.
    EXPECT_EQ(started.value("season.harvest"), "2025-12-21");
    EXPECT_EQ(started.value("season.sow"), "2026-01-15");
    EXPECT_EQ(started.value("season.next-planting"), "2026-10-11");
    EXPECT_TRUE(started.unsure("give weather.monthly")) << started.all();
    EXPECT_TRUE(started.unsure("terrain.elevation must be set"));
    EXPECT_TRUE(started.unsure("soil.map must be set"));
}

TEST(Start, DatesAreOfTheNextSeason) {
    const TemporaryFolder folder;
    write_boundary(folder / "farm.geojson");
    EXPECT_TRUE(start(folder, folder.path(), make_date(2025, 3, 1))
                    .value("season.sow")
                    .starts_with("2025-08"));
    EXPECT_TRUE(start(folder, folder.path(), make_date(2025, 11, 1))
                    .value("season.sow")
                    .starts_with("2026-08"));
}

TEST(Start, OtherColumnNames) {
    const TemporaryFolder folder;
    write_boundary(folder / "Paddock outline.geojson");
    write_text(
        folder / "ground types.geojson",
        collection(feature(
            R"("unit_id":"7","soil_name":"Made loam","erodibility":0.32,"tolerance":5,"hsg":"C")",
            corners("EPSG:32617", west - 60, north - side - 60, west + side + 60, north + 60))));
    write_text(folder / "layers.csv",
               "unit_id,top_cm,bottom_cm,sand,silt,clay,bulk_density\n7,0,25,30,50,20,1.35\n"
               "7,25,90,25,45,30,1.45\n");
    write_raster(folder / "heights.tif", 5.0, hills);
    const Point middle =
        gis::transformer(gis::Crs::from_user_input("EPSG:32617", "test"), gis::Crs::wgs84())
            .apply(Point{west + 200, north - 200});
    const std::string at = fixed(middle.x, 6) + "," + fixed(middle.y, 6);
    write_text(folder / "cone.csv", "Point,Longitude,Latitude,Depth_cm,Cone index\nA," + at +
                                        ",5,120\nA," + at + ",10,180\nA," + at + ",15,260\n");
    write_text(folder / "lab.csv", "Sample ID;Lon;Lat;NO3-N;from;to\n1;" + fixed(middle.x, 6) +
                                       ";" + fixed(middle.y, 6) + ";12;0;30\n");
    const Started started = start(folder, folder.path());
    EXPECT_EQ(started.value("soil.map"), "ground types.geojson") << started.all();
    EXPECT_EQ(started.value("soil.horizons"), "layers.csv") << started.all();
    EXPECT_TRUE(has(started.value("soil.columns"), "key=unit_id")) << started.value("soil.columns");
    EXPECT_TRUE(has(started.value("soil.columns"), "k=erodibility"));
    EXPECT_TRUE(has(started.value("soil.columns"), "bottom=bottom_cm"));
    EXPECT_EQ(started.value("compaction.probes"), "cone.csv");
    EXPECT_EQ(started.value("compaction.probe-unit"), "psi");
    EXPECT_TRUE(has(started.value("compaction.probe-columns"), "stop=Point")) << started.all();
    EXPECT_TRUE(has(started.value("compaction.probe-columns"), "strength=Cone index"));
    EXPECT_TRUE(started.unsure("taken as psi by their size"));
    // Soil tests have fixed names: what to rename is said.
    EXPECT_EQ(started.value("nitrogen.soil-tests"), "");
    EXPECT_TRUE(started.unsure("'NO3-N' to nitrate_ppm")) << started.all();
    const Readiness readiness = check(started, folder);
    EXPECT_TRUE(readiness.ready()) << readiness.text();
    EXPECT_TRUE(has(readiness.text(), "1 penetrometer stop")) << readiness.text();
}

TEST(Start, WeatherYieldScoutingTrialZonesAndTheRest) {
    const TemporaryFolder folder;
    write_boundary(folder / "field.geojson");
    write_raster(folder / "dem.tif", 5.0, hills);
    write_soils(folder / "soils.geojson");
    const Point middle =
        gis::transformer(gis::Crs::from_user_input("EPSG:32617", "test"), gis::Crs::wgs84())
            .apply(Point{west + 200, north - 200});
    const std::string at = fixed(middle.x, 6) + "," + fixed(middle.y, 6);
    write_text(folder / "daily.csv", "date,tmax_c,tmin_c,precip_mm\n2024-01-01,1,-5,0\n");
    write_text(folder / "normals.csv", "Month,Tavg,Rain\n1,-3,60\n");
    write_text(folder / "harvest 2024.csv", "lon,lat,yield\n" + at + ",9.1\n" + at + ",8.7\n");
    write_text(folder / "visit.csv", "date,zone,height_cm\n2025-10-01,1,20\n");
    write_text(folder / "strips.csv", "rate,yield,block\n0,100,1\n50,140,1\n");
    write_text(folder / "zones.geojson",
               collection(feature(R"("zone":1)",
                                  corners("EPSG:32617", west, north - side, west + 200, north)) +
                          "," +
                          feature(R"("zone":2)", corners("EPSG:32617", west + 200, north - side,
                                                         west + side, north))));
    write_text(folder / "prices.xlsx", "PK");
    write_text(folder / "everything.zip", "PK");
    write_text(folder / "odd.csv", "a,b\n1,2\n");
    write_text(folder / "notes.pdf", "%PDF");
    write_text(folder / "broken.tif", "II*");
    std::filesystem::create_directories(folder / "deeper/.hidden");
    write_text(folder / "deeper/rain.csv", "time,depth_mm\n2024-01-01T00:00,0.2\n");
    write_text(folder / "deeper/.hidden/other.csv", "date,tmax_c,tmin_c,precip_mm\n");
    const Started started = start(folder, folder.path());
    EXPECT_EQ(started.value("field.boundary"), "field.geojson") << started.all();
    EXPECT_EQ(started.value("weather.daily"), "daily.csv");
    EXPECT_EQ(started.value("weather.rain"), "deeper/rain.csv");
    EXPECT_EQ(started.value("weather.monthly"), "");
    EXPECT_TRUE(started.unsure("'Tavg' to tmean_c")) << started.all();
    EXPECT_EQ(started.value("zones.layers"), "yield=harvest 2024.csv") << started.all();
    EXPECT_EQ(started.value("cover.scouting"), "visit.csv");
    EXPECT_TRUE(started.unsure("catchfield fit strips.csv"));
    EXPECT_TRUE(started.unsure("set zones.drawn to it"));
    EXPECT_TRUE(started.unsure("save each sheet as CSV"));
    EXPECT_TRUE(started.unsure("unpack it first"));
    EXPECT_TRUE(started.unsure("odd.csv: a table of none of the known kinds"));
    EXPECT_TRUE(started.unsure("broken.tif: not used"));
    EXPECT_FALSE(has(started.all(), "notes.pdf"));
    EXPECT_FALSE(has(started.all(), "other.csv"));
}

TEST(Start, BoundaryWithoutACoordinateSystem) {
    // A shapefile's .prj got lost: coordinates in metres fit on the elevation raster.
    const TemporaryFolder folder;
    write_raster(folder / "dem.tif", 5.0, hills);
    write_soils(folder / "soils.geojson");
    write_boundary(folder / "whole.geojson");
    const std::string make = "cd '" + folder.path() +
                             "' && ogr2ogr -t_srs EPSG:32617 edge.shp whole.geojson && rm edge.prj "
                             "whole.geojson";
    ASSERT_EQ(std::system(make.c_str()), 0);
    const Started started = start(folder, folder.path());
    EXPECT_EQ(started.value("field.boundary"), "edge.shp") << started.all();
    EXPECT_EQ(started.value("field.crs"), "EPSG:32617") << started.all();
    EXPECT_TRUE(started.unsure("fits on dem.tif")) << started.all();
    EXPECT_TRUE(has(started.result.place, "UTM zone 17N")) << started.result.place;
    EXPECT_TRUE(check(started, folder).ready());
}

TEST(Start, LayersOfOneFile) {
    const TemporaryFolder folder;
    write_raster(folder / "dem.tif", 5.0, hills);
    write_boundary(folder / "a.geojson");
    write_soils(folder / "b.geojson");
    write_text(folder / "c.geojson",
               collection(R"({"type":"Feature","properties":{"kind":"terrace"},"geometry":)"
                          R"({"type":"LineString","coordinates":[[-82.99,40],[-82.985,40]]}})"));
    const std::string make =
        "cd '" + folder.path() +
        "' && for layer in a:fields b:ground c:lines; do "
        "ogr2ogr -update -append farm.gpkg ${layer%%:*}.geojson -nln ${layer##*:} 2>/dev/null || "
        "ogr2ogr farm.gpkg ${layer%%:*}.geojson -nln ${layer##*:}; done && rm *.geojson";
    ASSERT_EQ(std::system(make.c_str()), 0);
    const Started started = start(folder, folder.path());
    EXPECT_EQ(started.value("field.boundary"), "farm.gpkg") << started.all();
    EXPECT_EQ(started.value("field.layer"), "fields") << started.all();
    EXPECT_EQ(started.value("soil.map"), "farm.gpkg") << started.all();
    EXPECT_EQ(started.value("soil.layer"), "ground") << started.all();
    EXPECT_EQ(started.value("terrain.barriers"), "") << started.all();
    EXPECT_TRUE(started.unsure("save it as a file of its own")) << started.all();
    EXPECT_TRUE(check(started, folder).ready());
}

TEST(Start, WithoutABoundaryItSaysWhatItSaw) {
    const TemporaryFolder folder;
    std::filesystem::create_directories(folder / "empty");
    EXPECT_TRUE(has(error_of(folder, folder / "empty"), "there are no files"));
    EXPECT_TRUE(has(error_of(folder, folder / "absent"), "no such file or folder"));
    std::filesystem::create_directories(folder / "half");
    write_raster(folder / "half/dem.tif", 5.0, hills);
    const std::string half = error_of(folder, folder / "half");
    EXPECT_TRUE(has(half, "no field boundary was found")) << half;
    EXPECT_TRUE(has(half, "dem.tif: elevation raster")) << half;
    EXPECT_TRUE(has(half, "polygons")) << half;
}

TEST(Start, RefusesToReplaceAJob) {
    const TemporaryFolder folder;
    write_boundary(folder / "field.geojson");
    StartRequest request;
    request.inputs = {folder.path()};
    request.output = write_text(folder / "job.ini", "mine");
    EXPECT_THROW(start_job(request), Error);
    EXPECT_EQ(testing::slurp(request.output), "mine");
    request.overwrite = true;
    start_job(request);
    EXPECT_TRUE(has(testing::slurp(request.output), "boundary = field.geojson"));
}

}  // namespace
}  // namespace catchfield::plan
