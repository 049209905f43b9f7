// SPDX-License-Identifier: MIT
#include "gis/vector.hpp"

#include "base/random.hpp"
#include "gis/box_index.hpp"
#include "gis/polygon_map.hpp"
#include "support.hpp"

#include <algorithm>
#include <cstdlib>
#include <filesystem>
#include <set>
#include <stdexcept>
#include <thread>
#include <unistd.h>

namespace catchfield::gis {
namespace {

using testing::error_of;
using testing::has;
using testing::TemporaryFolder;
using testing::write_text;

/// Two fields: one with a hole, in 3D; one without geometry; numbers that need all their digits.
constexpr const char* two_fields = R"({"type":"FeatureCollection","features":[
{"type":"Feature","properties":{"name":"Nord & \"Süd\"","n":0.1,"k":9007199254740993,"day":"2025-07-15"},
 "geometry":{"type":"Polygon","coordinates":[[[9,51,3],[9.01,51,3],[9.01,51.01,3],[9,51.01,3],[9,51,3]],
 [[9.002,51.002,3],[9.002,51.004,3],[9.004,51.004,3],[9.002,51.002,3]]]}},
{"type":"Feature","properties":{"name":null,"n":-1e-7,"k":null,"day":null},"geometry":null}]})";

/// Writes the GeoJSON through an OGR driver.
void convert(const std::string& from, const std::string& to, const char* driver) {
    start();
    const GDALDatasetUniquePtr source(GDALDataset::Open(from.c_str(), GDAL_OF_VECTOR));
    ASSERT_NE(source, nullptr);
    GDALDriver* writer = GetGDALDriverManager()->GetDriverByName(driver);
    ASSERT_NE(writer, nullptr) << driver;
    const GDALDatasetUniquePtr copy(writer->Create(to.c_str(), 0, 0, 0, GDT_Unknown, nullptr));
    ASSERT_NE(copy, nullptr) << driver;
    ASSERT_NE(copy->CopyLayer(source->GetLayer(0), "fields"), nullptr) << driver;
}

TEST(ReadLayer, ReadsShapesAndExactTexts) {
    const TemporaryFolder folder;
    write_text(folder / "a.geojson", two_fields);
    const VectorLayer layer = read_layer(folder / "a.geojson");
    ASSERT_EQ(layer.features.size(), 2U);
    EXPECT_EQ(layer.driver, "GeoJSON");
    EXPECT_EQ(layer.null_geometries, 1U);
    EXPECT_TRUE(Crs::from_wkt(layer.crs_wkt, "a").same_as(Crs::wgs84()));
    const Feature& first = layer.features[0];
    EXPECT_EQ(first.kind, GeometryKind::polygons);
    ASSERT_EQ(first.polygons.size(), 1U);
    EXPECT_EQ(first.polygons[0].outer.size(), 5U);
    EXPECT_EQ(first.polygons[0].outer[1], (Point{9.01, 51.0}));
    ASSERT_EQ(first.polygons[0].holes.size(), 1U);
    EXPECT_EQ(first.box(), (Box{9.0, 51.0, 9.01, 51.01}));
    EXPECT_EQ(first.values[layer.column("name")], "Nord & \"Süd\"");
    EXPECT_EQ(first.values[layer.column("n")], "0.1");
    EXPECT_EQ(first.values[layer.column("K")], "9007199254740993");
    EXPECT_EQ(first.values[layer.column("day")], "2025-07-15");
    EXPECT_EQ(layer.features[1].kind, GeometryKind::none);
    EXPECT_EQ(layer.features[1].values[layer.column("name")], "");
    EXPECT_EQ(layer.features[1].values[layer.column("n")], "-1e-07");
    const Error error = error_of([&] { layer.column("nmae"); });
    EXPECT_TRUE(has(error.what(), "Did you mean 'name'")) << error.what();
}

TEST(ReadLayer, ReadsTheCommonFormats) {
    const TemporaryFolder folder;
    write_text(folder / "a.geojson", two_fields);
    const std::vector<std::pair<const char*, const char*>> formats = {
        {"GPKG", "b.gpkg"}, {"FlatGeobuf", "b.fgb"}, {"ESRI Shapefile", "b.shp"}, {"KML", "b.kml"}};
    for (const auto& [driver, file] : formats) {
        const std::string path = folder / file;
        convert(folder / "a.geojson", path, driver);
        const VectorLayer layer = read_layer(path);
        ASSERT_GE(layer.features.size(), 1U) << driver;
        bool found = false;
        for (const Feature& feature : layer.features) {
            if (feature.kind != GeometryKind::polygons) continue;
            found = true;
            EXPECT_EQ(feature.polygons[0].holes.size(), 1U) << driver;
            const Box box = feature.box();
            EXPECT_NEAR(box.min_x, 9.0, 1e-5) << driver;
            EXPECT_NEAR(box.max_y, 51.01, 1e-5) << driver;
        }
        EXPECT_TRUE(found) << driver;
        EXPECT_FALSE(layer.crs_wkt.empty()) << driver;
    }
    std::filesystem::remove(folder / "b.prj");
    EXPECT_TRUE(read_layer(folder / "b.shp").crs_wkt.empty());
}

TEST(ReadLayer, ReadsPointsOfTables) {
    const TemporaryFolder folder;
    write_text(folder / "p.csv",
               "id,longitude,latitude,mpa\n1,9.5,51.25,\"2,5\"\n2,9.6,51.5,1.75\n");
    const VectorLayer layer = read_layer(folder / "p.csv");
    ASSERT_EQ(layer.features.size(), 2U);
    ASSERT_EQ(layer.features[0].points.size(), 1U);
    EXPECT_EQ(layer.features[0].points[0], (Point{9.5, 51.25}));
    EXPECT_EQ(layer.features[0].values[layer.column("mpa")], "2,5");  // for the caller to refuse
    EXPECT_TRUE(layer.crs_wkt.empty());
}

TEST(ReadLayer, MakesCurvesAndCollectionsPlain) {
    const TemporaryFolder folder;
    write_text(folder / "w.csv",
               "id,WKT\n1,\"CURVEPOLYGON(CIRCULARSTRING(0 0,10 0,0 0))\"\n"
               "2,\"GEOMETRYCOLLECTION(POINT(1 1),POLYGON((0 0,1 0,1 1,0 0)))\"\n"
               "3,\"MULTILINESTRING((0 0,1 1),(2 2,3 3))\"\n4,\"POLYGON EMPTY\"\n"
               "5,\"MULTISURFACE(((0 0,1 0,1 1,0 0)))\"\n6,\"TIN(((0 0,1 0,1 1,0 0)))\"\n");
    const VectorLayer layer = read_layer(folder / "w.csv");
    ASSERT_EQ(layer.features.size(), 6U);
    // A full circle of diameter 10 given by its opposite points.
    EXPECT_NEAR(area(layer.features[0].polygons), 78.54, 0.2);
    EXPECT_EQ(layer.features[1].kind, GeometryKind::polygons);
    EXPECT_TRUE(layer.features[1].points.empty());
    EXPECT_EQ(layer.features[2].lines.size(), 2U);
    EXPECT_EQ(layer.features[3].kind, GeometryKind::none);
    EXPECT_EQ(layer.null_geometries, 1U);
    EXPECT_EQ(layer.features[4].polygons.size(), 1U);
    EXPECT_EQ(layer.features[5].polygons.size(), 1U);
}

TEST(ReadLayer, ChoosesLayersAndBoxes) {
    const TemporaryFolder folder;
    write_text(folder / "a.geojson", two_fields);
    convert(folder / "a.geojson", folder / "a.gpkg", "GPKG");
    {
        const GDALDatasetUniquePtr dataset(
            GDALDataset::Open((folder / "a.gpkg").c_str(), GDAL_OF_VECTOR | GDAL_OF_UPDATE));
        dataset->CreateLayer("soils", nullptr, wkbPolygon, nullptr);
    }
    const auto layers = list_layers(folder / "a.gpkg");
    ASSERT_EQ(layers.size(), 2U);
    EXPECT_EQ(layers[0].name, "fields");
    EXPECT_EQ(layers[0].features, 2);
    EXPECT_EQ(read_layer(folder / "a.gpkg", "fields").features.size(), 2U);
    const Error several = error_of([&] { read_layer(folder / "a.gpkg"); });
    EXPECT_EQ(several.kind(), ErrorKind::usage);
    EXPECT_TRUE(has(several.what(), "'fields', 'soils'")) << several.what();
    EXPECT_TRUE(has(error_of([&] { read_layer(folder / "a.gpkg", "soil"); }).what(),
                    "Did you mean 'soils'"));
    ReadOptions away;
    away.box = Box{20, 20, 21, 21};
    EXPECT_TRUE(read_layer(folder / "a.gpkg", "fields", away).features.empty());
    away.box = Box{9.0, 51.0, 9.001, 51.001};
    EXPECT_EQ(read_layer(folder / "a.gpkg", "fields", away).features.size(), 1U);
}

TEST(ReadLayer, KeepsToItsLimits) {
    const TemporaryFolder folder;
    write_text(folder / "a.geojson", two_fields);
    const auto limited = [&](const ReadLimits& limits) {
        ReadOptions options;
        options.limits = limits;
        return error_of([&] { read_layer(folder / "a.geojson", "", options); });
    };
    ReadLimits limits;
    limits.features = 1;
    EXPECT_TRUE(has(limited(limits).what(), "more than 1 features"));
    limits = {};
    limits.vertices = 8;
    EXPECT_TRUE(has(limited(limits).what(), "more than 8 vertices"));
    limits = {};
    limits.vertices_each = 8;
    EXPECT_TRUE(has(limited(limits).what(), "feature 0")) << limited(limits).what();
    limits = {};
    limits.text_bytes = 5;
    EXPECT_TRUE(has(limited(limits).what(), "more than 5 bytes"));
    limits = {};
    limits.columns = 2;
    EXPECT_TRUE(has(limited(limits).what(), "more than 2 columns"));
}

TEST(ReadLayer, RefusesBadFilesWithGdalsWords) {
    const TemporaryFolder folder;
    write_text(folder / "garbage.gpkg", std::string(5000, 'x'));
    write_text(folder / "empty.geojson", "");
    write_text(folder / "broken.geojson", std::string(two_fields).substr(0, 300));
    write_text(folder / "garbage.shp", std::string(200, '\xff'));
    write_text(folder / "nan.csv", "id,WKT\n1,\"POLYGON((0 0,1e999 0,1 1,0 0))\"\n");
    for (const char* name :
         {"garbage.gpkg", "empty.geojson", "broken.geojson", "garbage.shp", "none.gpkg"}) {
        const Error error = error_of([&] { read_layer(folder / name); });
        EXPECT_EQ(error.kind(), ErrorKind::input) << name << ": " << error.what();
        EXPECT_TRUE(has(error.what(), name)) << error.what();
    }
    const Error nan = error_of([&] { read_layer(folder / "nan.csv"); });
    EXPECT_EQ(nan.kind(), ErrorKind::data);
    EXPECT_TRUE(has(nan.what(), "feature 1")) << nan.what();
    EXPECT_EQ(error_of([] { read_layer("{\"type\":\"Point\",\"coordinates\":[1,2]}"); }).kind(),
              ErrorKind::usage);
}

TEST(ReadLayer, RefusesDeepNesting) {
    const TemporaryFolder folder;
    write_text(folder / "deep.geojson", std::string(100000, '['));
    EXPECT_EQ(error_of([&] { read_layer(folder / "deep.geojson"); }).kind(), ErrorKind::input);
}

TEST(Access, RefusesRemotePathsAndVirtualFilesByDefault) {
    start();
    for (const char* path :
         {"/vsicurl/http://localhost/a.gpkg", "http://localhost/a.geojson",
          "HTTPS://localhost/a.json", "/vsizip//vsicurl/http://localhost/a.zip/a.shp",
          "/vsis3/bucket/a.tif", "/vsistdin/"}) {
        EXPECT_EQ(error_of([&] { read_layer(path); }).kind(), ErrorKind::usage) << path;
    }
    const TemporaryFolder folder;
    write_text(folder / "a.geojson", two_fields);
    write_text(folder / "v.vrt", "<OGRVRTDataSource><OGRVRTLayer name=\"a\"><SrcDataSource>" +
                                     folder.path() +
                                     "/a.geojson</SrcDataSource></OGRVRTLayer></OGRVRTDataSource>");
    EXPECT_EQ(error_of([&] { read_layer(folder / "v.vrt"); }).kind(), ErrorKind::input);
    const auto names = formats();
    EXPECT_TRUE(std::find(names.begin(), names.end(), "GTiff") != names.end());
    EXPECT_TRUE(std::find(names.begin(), names.end(), "WMS") == names.end());
    EXPECT_EQ(library_versions().size(), 3U);
}

VectorLayer random_boxes(std::uint64_t seed, std::size_t count) {
    Random random(seed);
    VectorLayer layer;
    for (std::size_t i = 0; i < count; ++i) {
        Feature feature;
        feature.fid = static_cast<long long>(i);
        if (i % 17 != 3) {
            const double x = random.uniform(0, 100);
            const double y = random.uniform(0, 100);
            feature.kind = GeometryKind::polygons;
            feature.polygons =
                testing::box_shape(x, y, x + random.uniform(0, 9), y + random.uniform(0, 9));
        }
        layer.features.push_back(feature);
    }
    return layer;
}

TEST(VectorSource, FindsWhatALinearSearchFinds) {
    for (const std::size_t count : {0UL, 1UL, 8UL, 9UL, 500UL}) {
        const VectorSource source(random_boxes(7, count), Crs::from_epsg(32615));
        Random random(11);
        for (int trial = 0; trial < 200; ++trial) {
            const double x = random.uniform(-10, 110);
            const double y = random.uniform(-10, 110);
            const Box box{x, y, x + random.uniform(0, 30), y + random.uniform(0, 30)};
            std::vector<std::size_t> expected;
            for (std::size_t i = 0; i < count; ++i) {
                const Box b = source.layer().features[i].box();
                if (b.min_x <= box.max_x && b.max_x >= box.min_x && b.min_y <= box.max_y &&
                    b.max_y >= box.min_y) {
                    expected.push_back(i);
                }
            }
            ASSERT_EQ(source.query(box), expected) << "seed 7/11, trial " << trial;
        }
    }
}

/// A map of the layer's polygons.
PolygonMap map_of(const VectorLayer& layer, const Crs& crs) {
    ShapeFile shapes;
    std::vector<Box> boxes;
    for (const Feature& feature : layer.features) {
        shapes.add(feature.polygons);
        boxes.push_back(feature.box());
    }
    return {std::move(shapes), boxes, crs};
}

TEST(ShapeFile, GivesBackEveryPointOfMoreShapesThanItBuffers) {
    Random random(3);
    std::vector<MultiPolygon> shapes;
    ShapeFile file;
    for (int i = 0; i < 20'000; ++i) {
        MultiPolygon shape(random.below(3));  // some without any polygon
        for (Polygon& polygon : shape) {
            polygon.outer.resize(random.below(9));
            polygon.holes.resize(random.below(3));
            for (Ring& hole : polygon.holes) hole.resize(4);
            for (Point& point : polygon.outer) point = {random.uniform(), -random.uniform()};
            for (Ring& hole : polygon.holes) hole[1] = {random.uniform(), 1e300};
        }
        file.add(shape);
        shapes.push_back(std::move(shape));
    }
    file.finish();
    ASSERT_EQ(file.size(), shapes.size());
    for (std::size_t i = shapes.size(); i-- > 0;) ASSERT_EQ(file.shape(i), shapes[i]) << i;
    EXPECT_THROW(file.shape(shapes.size()), std::out_of_range);
}

TEST(ShapeFile, NamesTheFolderThatCannotBeWritten) {
    const TemporaryFolder folder;
    const char* before = std::getenv("TMPDIR");
    const std::string kept = before != nullptr ? before : "";
    std::filesystem::create_directory(folder / "there");
    ::setenv("TMPDIR", (folder / "there").c_str(), 1);
    {
        const ShapeFile file;
        EXPECT_TRUE(std::filesystem::is_empty(folder / "there")) << "the file has no name";
    }
    std::filesystem::permissions(folder / "there", std::filesystem::perms::owner_read);
    if (::geteuid() != 0) {
        const Error refused = error_of([] { const ShapeFile file; });
        EXPECT_EQ(refused.kind(), ErrorKind::output);
        EXPECT_EQ(refused.context().path, folder / "there");
    }
    before != nullptr ? ::setenv("TMPDIR", kept.c_str(), 1) : ::unsetenv("TMPDIR");
}

TEST(BoxIndex, MissesNothingAndFindsLittleElse) {
    // Northings of projected coordinates, whose last digits single precision does not hold; boxes
    // that share edges, as soil polygons and fields do.
    Random random(4);
    std::vector<Box> boxes;
    for (int i = 0; i < 3'000; ++i) {
        const double x = 300'000.1 + 10.0 * static_cast<double>(random.below(500));
        const double y = 4'400'000.1 + 10.0 * static_cast<double>(random.below(500));
        boxes.push_back({x, y, x + 10.0 * static_cast<double>(random.below(9)),
                         y + 10.0 * static_cast<double>(random.below(9))});
    }
    boxes.push_back({-1e300, -1e300, 1e300, 1e300});
    boxes.push_back({1.0, 1.0, 0.0, 0.0});  // a shape without points
    const BoxIndex index(boxes);
    const auto meet = [](const Box& a, const Box& b, double apart) {
        return a.min_x <= b.max_x + apart && b.min_x <= a.max_x + apart &&
               a.min_y <= b.max_y + apart && b.min_y <= a.max_y + apart;
    };
    for (std::size_t trial = 0; trial < boxes.size() - 2; trial += 10) {
        const Box& box = boxes[trial];
        const std::vector<std::size_t> found = index.query(box);
        const std::set<std::size_t> set(found.begin(), found.end());
        ASSERT_EQ(set.size(), found.size());
        ASSERT_TRUE(std::is_sorted(found.begin(), found.end()));
        for (std::size_t i = 0; i + 1 < boxes.size(); ++i) {
            const bool meets = meet(boxes[i], box, 0.0);
            const bool near = meet(boxes[i], box, 2e-7 * 4.4e6);
            ASSERT_TRUE(set.contains(i) ? near : !meets) << i;
        }
        ASSERT_FALSE(set.contains(boxes.size() - 1));
    }
}

TEST(PolygonMap, FindsWhatTheLayerHas) {
    const Crs crs = Crs::from_epsg(32615);
    const VectorLayer layer = random_boxes(5, 300);
    const PolygonMap map = map_of(layer, crs);
    const VectorSource source(layer, crs);
    ASSERT_EQ(map.size(), 300U);
    Random random(13);
    for (int trial = 0; trial < 100; ++trial) {
        const double x = random.uniform(-10, 110);
        const double y = random.uniform(-10, 110);
        const Box box{x, y, x + random.uniform(0, 30), y + random.uniform(0, 30)};
        const std::vector<std::size_t> expected = source.query(box);
        const auto hits = map.query(box, crs);
        ASSERT_EQ(hits.size(), expected.size());
        for (std::size_t i = 0; i < hits.size(); ++i) {
            ASSERT_EQ(hits[i].position, expected[i]);
            ASSERT_EQ(hits[i].shape, layer.features[expected[i]].polygons);
        }
    }
}

TEST(PolygonMap, MovesHitsIntoTheBoxesCrs) {
    const Crs utm = Crs::from_epsg(32615);
    VectorLayer layer;
    Feature feature;
    feature.kind = GeometryKind::polygons;
    feature.polygons = testing::box_shape(-93.01, 41.99, -92.99, 42.01);
    layer.features.push_back(feature);
    const PolygonMap map = map_of(layer, Crs::wgs84());
    const Point here = transformer(Crs::wgs84(), utm).apply(Point{-93.0, 42.0});
    std::vector<PolygonMap::Hit> hits;
    std::thread([&] {
        hits = map.query(Box{here.x - 50, here.y - 50, here.x + 50, here.y + 50}, utm);
    }).join();
    ASSERT_EQ(hits.size(), 1U);
    const Box box = bounds(hits[0].shape);
    EXPECT_TRUE(box.min_x < here.x && here.x < box.max_x && box.min_y < here.y &&
                here.y < box.max_y);
    EXPECT_TRUE(map.query(Box{here.x + 5000, here.y, here.x + 5100, here.y + 9}, utm).empty());
    const VectorLayer moved = transformed(layer, Crs::wgs84(), utm);
    EXPECT_EQ(moved.features[0].polygons, hits[0].shape);
    EXPECT_EQ(moved.crs_wkt, utm.wkt());
}

TEST(PolygonMap, WorksOverTheAntimeridian) {
    const Crs utm = Crs::from_epsg(32760);
    VectorLayer layer;
    for (const double x : {179.99, -179.999}) {
        Feature feature;
        feature.kind = GeometryKind::polygons;
        feature.polygons = testing::box_shape(x, -17.0, x + 0.005, -16.99);
        layer.features.push_back(feature);
    }
    const PolygonMap map = map_of(layer, Crs::wgs84());
    const Point middle = transformer(Crs::wgs84(), utm).apply(Point{180.0, -16.995});
    const auto hits =
        map.query(Box{middle.x - 2000, middle.y - 500, middle.x + 2000, middle.y + 500}, utm);
    ASSERT_EQ(hits.size(), 2U);
    EXPECT_LT(bounds(hits[0].shape).max_x, middle.x);
    EXPECT_GT(bounds(hits[1].shape).min_x, middle.x);
}

}  // namespace
}  // namespace catchfield::gis
