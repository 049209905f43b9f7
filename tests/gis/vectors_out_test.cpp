// SPDX-License-Identifier: MIT
#include "base/random.hpp"
#include "base/table.hpp"
#include "gis/files.hpp"
#include "gis/geojson.hpp"
#include "gis/geopackage.hpp"
#include "gis/points.hpp"
#include "gis/shapefile.hpp"
#include "gis/vector.hpp"
#include "support.hpp"

#include <pugixml.hpp>

#include <cmath>

namespace catchfield::gis {
namespace {

using testing::box_ring;
using testing::box_shape;
using testing::error_of;
using testing::has;
using testing::TemporaryFolder;
using testing::write_text;

const std::vector<FieldSpec>& columns() {
    static const std::vector<FieldSpec> made = {{"field_id", FieldType::text, 16},
                                                {"zone", FieldType::integer, 9},
                                                {"n_rate_kg_ha", FieldType::real, 10, 3},
                                                {"n_rate_kg_ha_next", FieldType::real, 10, 3}};
    return made;
}

/// A field of two parts, one with a hole, wound the wrong way; and a row without values.
std::vector<PolygonRow> rows() {
    MultiPolygon shape = box_shape(500000, 4400000, 500400, 4400300);
    shape[0].holes.push_back(box_ring(500100, 4400100, 500200, 4400200));
    shape.push_back(box_shape(500500, 4400000, 500600, 4400100)[0]);
    std::reverse(shape[0].outer.begin(), shape[0].outer.end());
    return {{shape, {std::string("Öst \"&\" <5>\n=1+1"), 7LL, 120.5, std::monostate{}}, 3},
            {box_shape(500400, 4400000, 500500, 4400300),
             {std::monostate{}, std::monostate{}, 0.0, 1.0 / 3.0}}};
}

const Crs& utm15() {
    static const Crs crs = Crs::from_epsg(32615);
    return crs;
}

TEST(GeoJson, FollowsTheStandard) {
    const TemporaryFolder folder;
    const std::string text = geojson_bytes(columns(), rows(), utm15());
    EXPECT_EQ(text, geojson_bytes(columns(), rows(), utm15()));
    EXPECT_FALSE(has(text, "crs"));
    EXPECT_TRUE(has(
        text,
        R"("field_id":"Öst \"&\" <5>\n=1+1","zone":7,"n_rate_kg_ha":120.5,"n_rate_kg_ha_next":null)"))
        << text;
    EXPECT_TRUE(has(text, R"("n_rate_kg_ha":0,"n_rate_kg_ha_next":0.333)"));
    EXPECT_TRUE(has(text, "\"id\":3"));
    write_text(folder / "a.geojson", text);
    const VectorLayer layer = read_layer(folder / "a.geojson");
    ASSERT_EQ(layer.features.size(), 2U);
    EXPECT_TRUE(layer.warnings.empty());
    ASSERT_EQ(layer.features[0].polygons.size(), 2U);
    ASSERT_EQ(layer.features[1].polygons.size(), 1U);
    for (const Feature& feature : layer.features) {
        for (const Polygon& polygon : feature.polygons) {
            EXPECT_GT(signed_area(polygon.outer), 0.0);  // RFC 7946, 3.1.6: right-hand rule
            EXPECT_EQ(polygon.outer.front(), polygon.outer.back());
            for (const Ring& hole : polygon.holes) EXPECT_LT(signed_area(hole), 0.0);
        }
    }
    EXPECT_NEAR(geodesic_area_m2(layer.features[0].polygons, Crs::wgs84()),
                120000.0 / (0.9996 * 0.9996), 5.0);
    // Neighbours share their vertices to the digit.
    std::size_t shared = 0;
    for (const Point& a : layer.features[0].polygons[0].outer) {
        for (const Point& b : layer.features[1].polygons[0].outer) shared += a == b ? 1U : 0U;
    }
    EXPECT_GE(shared, 2U);
    // No coordinate has more than seven decimals.
    const std::size_t begin = text.find("coordinates");
    int decimals = -1;
    int most = 0;
    for (std::size_t i = begin; i < text.size(); ++i) {
        if (text[i] == '.')
            decimals = 0;
        else if (text[i] >= '0' && text[i] <= '9')
            most = std::max(most, decimals < 0 ? 0 : ++decimals);
        else
            decimals = -1;
    }
    EXPECT_EQ(most, 7);
}

TEST(GeoJson, NumbersPrintAsTheyAre) {
    Random random(4);
    for (int trial = 0; trial < 500; ++trial) {
        const double scale = std::pow(10.0, -8.0 * random.uniform());
        const Point point{random.uniform(-180, 180) * scale, random.uniform(-90, 90) * scale};
        const std::string text =
            geojson_bytes({}, std::vector<PointRow>{{point, {}}}, Crs::wgs84());
        const std::size_t at = text.find("\"coordinates\":[") + 15;
        double x = 0.0, y = 0.0;
        ASSERT_EQ(std::sscanf(text.c_str() + at, "%lf,%lf", &x, &y), 2);
        ASSERT_NEAR(x, point.x, 0.5000001e-7) << text;
        ASSERT_NEAR(y, point.y, 0.5000001e-7) << text;
        ASSERT_FALSE(has(text, "e-")) << text;
    }
    EXPECT_TRUE(
        has(geojson_bytes({}, std::vector<PointRow>{{{-0.00000001, 10.0}, {}}}, Crs::wgs84()),
            "[0,10]"));
}

TEST(GeoJson, CutsAtTheAntimeridian) {
    const TemporaryFolder folder;
    const Crs utm60 = Crs::from_epsg(32760);
    const Point middle = transformer(Crs::wgs84(), utm60).apply(Point{180.0, -17.0});
    const std::vector<PolygonRow> field = {
        {box_shape(middle.x - 300, middle.y - 200, middle.x + 200, middle.y + 200), {}}};
    GeoJsonOptions options;
    options.bbox = true;
    write_text(folder / "a.geojson", geojson_bytes({}, field, utm60, options));
    const VectorLayer layer = read_layer(folder / "a.geojson");
    ASSERT_EQ(layer.features[0].polygons.size(), 2U);
    for (const Polygon& part : layer.features[0].polygons) {
        const Box box = bounds({part});
        EXPECT_LT(box.max_x - box.min_x, 0.01);
        EXPECT_GT(signed_area(part.outer), 0.0);
    }
    EXPECT_NEAR(geodesic_area_m2(layer.features[0].polygons, Crs::wgs84()),
                geodesic_area_m2(field[0].shape, utm60), 20.0);
}

TEST(GeoJson, VanishingShapesBecomeNull) {
    const std::string text =
        geojson_bytes({},
                      std::vector<PolygonRow>{
                          {box_shape(500000, 4400000, 500000.001, 4400000.001), {}}, {{}, {}}},
                      utm15());
    EXPECT_TRUE(has(text, "\"geometry\":null"));
    EXPECT_FALSE(has(text, "Polygon"));
    EXPECT_EQ(geojson_bytes({}, std::vector<PolygonRow>{}, utm15()),
              geojson_head() + geojson_tail());
}

TEST(GeoJson, JoinsFeaturesOfManyFields) {
    const auto all = rows();
    const std::string joined = geojson_head() + geojson_features(columns(), {all[0]}, utm15()) +
                               ",\n" + geojson_features(columns(), {all[1]}, utm15()) +
                               geojson_tail();
    EXPECT_EQ(joined, geojson_bytes(columns(), all, utm15()));
}

TEST(Writers, RefuseValuesThatDoNotFit) {
    auto bad = rows();
    bad[0].values[1] = std::string("seven");
    EXPECT_EQ(error_of([&] { geojson_bytes(columns(), bad, utm15()); }).kind(),
              ErrorKind::internal);
    bad = rows();
    bad[0].values[2] = std::nan("");
    EXPECT_EQ(error_of([&] { geojson_bytes(columns(), bad, utm15()); }).kind(),
              ErrorKind::internal);
    bad = rows();
    bad[0].values.pop_back();
    EXPECT_EQ(error_of([&] { shapefile_bytes("a", columns(), bad, utm15()); }).kind(),
              ErrorKind::internal);
}

void write_package(const std::string& path, int fields) {
    const std::vector<LayerSpec> layers = {
        {"zones", LayerGeometry::multi_polygon, columns(), utm15(), {}},
        {"cover_options", LayerGeometry::none, {columns()[0], columns()[2]}, {}, {}},
        {"probes", LayerGeometry::point, {columns()[1]}, utm15(), "stops"}};
    GeoPackageWriter writer(path, layers);
    for (int i = 0; i < fields; ++i) {
        for (const PolygonRow& row : rows()) writer.add(0, row);
        writer.add(1, std::vector<Value>{std::string("f") + std::to_string(i), 0.1 * i});
        writer.add(2, PointRow{{500000.0 + i, 4400000.0}, {static_cast<long long>(i)}});
    }
    writer.commit();
}

TEST(GeoPackage, ComesBackAsWritten) {
    const TemporaryFolder folder;
    write_package(folder / "plan.gpkg", 50);
    write_package(folder / "again.gpkg", 50);
    EXPECT_EQ(testing::slurp(folder / "plan.gpkg"), testing::slurp(folder / "again.gpkg"));
    EXPECT_EQ(testing::entries_of(folder.path()).size(), 2U);
    const VectorLayer zones = read_layer(folder / "plan.gpkg", "zones");
    ASSERT_EQ(zones.features.size(), 100U);
    EXPECT_EQ(zones.features[0].polygons, rows()[0].shape);
    EXPECT_EQ(zones.features[0].values[0], "Öst \"&\" <5>\n=1+1");
    EXPECT_EQ(zones.features[0].values[1], "7");
    EXPECT_EQ(zones.features[0].values[3], "");
    EXPECT_EQ(zones.features[1].values[3], "0.3333333333333333");
    EXPECT_TRUE(Crs::from_wkt(zones.crs_wkt, "x").same_as(utm15()));
    ReadOptions near;
    near.box = Box{500010.5, 4399999, 500012.5, 4400001};
    EXPECT_EQ(read_layer(folder / "plan.gpkg", "probes", near).features.size(), 2U);
    EXPECT_EQ(read_layer(folder / "plan.gpkg", "cover_options").features.size(), 50U);
}

TEST(GeoPackage, LeavesOnlyTheFileOnceCommitted) {
    const TemporaryFolder folder;
    GeoPackageWriter writer(folder / "plan.gpkg",
                            {{"zones", LayerGeometry::multi_polygon, columns(), utm15(), {}}});
    writer.add(0, rows()[0]);
    writer.commit();
    // While the writer still lives: a plan folder is renamed before its writers end.
    EXPECT_EQ(testing::entries_of(folder.path()).size(), 1U);
}

TEST(GeoPackage, LeavesNothingWithoutCommit) {
    const TemporaryFolder folder;
    {
        GeoPackageWriter writer(folder / "plan.gpkg",
                                {{"zones", LayerGeometry::multi_polygon, columns(), utm15(), {}}});
        writer.add(0, rows()[0]);
        EXPECT_EQ(error_of([&] { writer.add(0, std::vector<Value>{1LL}); }).kind(),
                  ErrorKind::internal);
    }
    EXPECT_TRUE(testing::entries_of(folder.path()).empty());
    EXPECT_EQ(error_of([&] { GeoPackageWriter(folder / "no/plan.gpkg", {}); }).kind(),
              ErrorKind::output);
    EXPECT_EQ(error_of([&] {
                  GeoPackageWriter(folder / "x.gpkg", {{"a", LayerGeometry::none, {}, {}, {}},
                                                       {"a", LayerGeometry::none, {}, {}, {}}});
              }).kind(),
              ErrorKind::internal);
    EXPECT_TRUE(testing::entries_of(folder.path()).empty());
}

TEST(Shapefile, NamesAreShortAndDistinct) {
    EXPECT_EQ(shapefile_names(columns()),
              (std::vector<std::string>{"field_id", "zone", "n_rate_kg_", "n_rate_k_1"}));
    EXPECT_EQ(shapefile_names({{"Straße"}, {"1st"}, {""}, {"RATE"}, {"rate"}, {"a b-c"}}),
              (std::vector<std::string>{"Stra__e", "c1st", "c", "RATE", "rate_1", "a_b_c"}));
}

TEST(Shapefile, ComesBackAsWritten) {
    const TemporaryFolder folder;
    const ShapefileResult result = shapefile_bytes("north", columns(), rows(), utm15());
    EXPECT_EQ(result.records, 3U);
    ASSERT_EQ(result.files.size(), 5U);
    const ShapefileResult again = shapefile_bytes("north", columns(), rows(), utm15());
    for (std::size_t i = 0; i < 5; ++i)
        EXPECT_EQ(result.files[i].bytes, again.files[i].bytes) << result.files[i].name;
    EXPECT_EQ(result.warnings.size(), 3U);  // two names, one column of texts
    for (const NamedBytes& file : result.files)
        write_file_atomically(folder / file.name, file.bytes);
    EXPECT_EQ(testing::slurp(folder / "north.cpg"), "UTF-8");
    EXPECT_TRUE(has(testing::slurp(folder / "north.prj"), "GCS_WGS_1984"));
    const std::string dbf = testing::slurp(folder / "north.dbf");
    EXPECT_EQ(dbf.substr(1, 3), std::string("\x64\x01\x01", 3));  // year 100 since 1900, January 1
    const VectorLayer layer = read_layer(folder / "north.shp");
    ASSERT_EQ(layer.features.size(), 3U);
    for (const Feature& feature : layer.features) {
        ASSERT_EQ(feature.polygons.size(), 1U);
        EXPECT_LT(signed_area(feature.polygons[0].outer), 0.0);  // clockwise
        for (const Ring& hole : feature.polygons[0].holes) EXPECT_GT(signed_area(hole), 0.0);
    }
    EXPECT_EQ(layer.features[0].values[0], "Öst \"&\" <5>\n=1+");  // 16 bytes, whole characters
    EXPECT_EQ(layer.features[0].values[2], "120.5");
    EXPECT_EQ(layer.features[1].values[2], "120.5");
    EXPECT_EQ(layer.features[2].values[0], "");
    EXPECT_EQ(layer.features[2].values[3], "0.333");
    // Zipped, it opens as it is.
    write_file_atomically(folder / "z.zip", zip_bytes(result.files));
    EXPECT_EQ(read_layer(folder / "z.zip").features.size(), 3U);
}

TEST(Shapefile, RefusesNumbersThatDoNotFit) {
    auto wide = rows();
    wide[0].values[2] = 1234567.5;  // 1234567.500 is 11 characters
    EXPECT_EQ(error_of([&] { shapefile_bytes("a", columns(), wide, utm15()); }).kind(),
              ErrorKind::internal);
    EXPECT_EQ(error_of([&] { shapefile_bytes("../a", columns(), rows(), utm15()); }).kind(),
              ErrorKind::internal);
}

TEST(Zip, RefusesUnsafeNames) {
    for (const char* name : {"", "/etc/x", "../x", "a/../../x", "a\\b"}) {
        EXPECT_EQ(error_of([&] { zip_bytes({{name, "x"}}); }).kind(), ErrorKind::internal) << name;
    }
    EXPECT_EQ(error_of([] { zip_bytes({{"a", "x"}, {"a", "y"}}); }).kind(), ErrorKind::internal);
    const TemporaryFolder folder;
    const std::string big(300000, 'q');
    write_file_atomically(folder / "a.zip",
                          zip_bytes({{"TASKDATA/ä.txt", "x"}, {"b", ""}, {"c", big}}));
    start();
    for (const auto& [name, bytes] :
         {std::pair<std::string, std::string>{"TASKDATA/ä.txt", "x"}, {"c", big}}) {
        VSILFILE* file = VSIFOpenL(("/vsizip/" + folder.path() + "/a.zip/" + name).c_str(), "rb");
        ASSERT_NE(file, nullptr) << name;
        std::string got(bytes.size() + 1, '\0');
        got.resize(VSIFReadL(got.data(), 1, got.size(), file));
        VSIFCloseL(file);
        EXPECT_EQ(got, bytes);
    }
}

TEST(Points, GpxAndCsv) {
    const std::vector<Point> points = {{500000, 4650000}, {500100, 4650000}};
    const std::string gpx = gpx_bytes(points, utm15(), {"A & <B>", "C\x01"}, {"first", "second"});
    pugi::xml_document document;
    ASSERT_TRUE(document.load_string(gpx.c_str()));
    const pugi::xml_node point = document.child("gpx").child("wpt");
    EXPECT_STREQ(point.child("name").text().get(), "A & <B>");
    EXPECT_NEAR(point.attribute("lon").as_double(), -93.0, 1e-6);
    const TemporaryFolder folder;
    write_text(folder / "p.gpx", gpx);
    EXPECT_EQ(read_layer(folder / "p.gpx", "waypoints").features.size(), 2U);
    EXPECT_EQ(error_of([&] { gpx_bytes(points, utm15(), {"one"}); }).kind(), ErrorKind::internal);
    const std::string csv = points_csv_bytes(
        {{"name", FieldType::text}, {"depth_cm", FieldType::real, 0, 1}},
        {{points[0], {std::string("=cmd()"), 12.34}}, {points[1], {std::monostate{}, 5LL}}},
        utm15());
    const Table table = Table::parse(csv, "p.csv");
    EXPECT_EQ(table.rows(), 2U);
    EXPECT_NEAR(table.required_number(0, "longitude"), -93.0, 1e-6);
    EXPECT_EQ(table.text(0, "name"), "'=cmd()");
    EXPECT_EQ(table.text(0, "depth_cm"), "12.3");
    EXPECT_EQ(table.text(1, "depth_cm"), "5");
}

}  // namespace
}  // namespace catchfield::gis
