// SPDX-License-Identifier: MIT
#include "support.hpp"

#include <cmath>
#include <thread>

namespace catchfield::gis {
namespace {

using testing::box_shape;
using testing::error_of;
using testing::has;

TEST(Crs, UnderstandsCodesAndTexts) {
    const Crs utm = Crs::from_user_input(" EPSG:26915 ", "field.crs");
    EXPECT_EQ(utm.name(), "NAD83 / UTM zone 15N");
    EXPECT_EQ(utm.code(), "EPSG:26915");
    EXPECT_TRUE(utm.is_projected());
    EXPECT_DOUBLE_EQ(utm.metres_per_unit(), 1.0);
    EXPECT_TRUE(Crs::from_wkt(utm.wkt(), "x").same_as(utm));
    EXPECT_TRUE(Crs::from_user_input(utm.esri_wkt(), "field.crs").same_as(utm));
    EXPECT_TRUE(Crs::wgs84().is_geographic());
    // US survey foot: 1200/3937 m (NIST SP 811).
    EXPECT_NEAR(Crs::from_epsg(2249).metres_per_unit(), 1200.0 / 3937.0, 1e-12);
    // A compound system loses its heights.
    EXPECT_EQ(Crs::from_user_input("EPSG:26915+5703", "crs").code(), "EPSG:26915");
    EXPECT_TRUE(Crs::from_user_input("EPSG:4979", "crs").same_as(Crs::wgs84()));
}

TEST(Crs, RefusesWhatIsOfNoUse) {
    for (const char* text : {"", "EPSG:1", "nonsense", "EPSG:4978", "/etc/passwd", "http://x/y",
                             "LOCAL_CS[\"barn\",UNIT[\"metre\",1]]"}) {
        const Error error = error_of([&] { Crs::from_user_input(text, "field.crs"); });
        EXPECT_EQ(error.kind(), ErrorKind::usage) << text;
        EXPECT_TRUE(has(error.what(), "field.crs")) << error.what();
    }
    EXPECT_EQ(error_of([] { Crs::from_wkt("PROJCS[", "a.tif"); }).kind(), ErrorKind::data);
    const Error missing = error_of([] { require_crs("", "", "a.shp", "field.crs"); });
    EXPECT_TRUE(has(missing.what(), "a.shp") && has(missing.what(), "field.crs = EPSG:26915"));
    EXPECT_EQ(require_crs("", "EPSG:4326", "a.shp", "field.crs").code(), "EPSG:4326");
    EXPECT_EQ(require_crs(Crs::from_epsg(32615).wkt(), "EPSG:4326", "a", "k").code(), "EPSG:32615");
}

// Zones and their exceptions: Snyder 1987, USGS Professional Paper 1395, p. 62.
TEST(Crs, UtmZones) {
    EXPECT_EQ(utm_zone(-93.0, 42.0), 15);
    EXPECT_EQ(utm_zone(-180.0, 0.0), 1);
    EXPECT_EQ(utm_zone(180.0, 0.0), 1);
    EXPECT_EQ(utm_zone(179.99, 0.0), 60);
    EXPECT_EQ(utm_zone(181.0, 0.0), 1);
    EXPECT_EQ(utm_zone(-181.0, 0.0), 60);
    EXPECT_EQ(utm_zone(5.0, 60.0), 32);
    EXPECT_EQ(utm_zone(2.9, 60.0), 31);
    EXPECT_EQ(utm_zone(8.0, 75.0), 31);
    EXPECT_EQ(utm_zone(10.0, 75.0), 33);
    EXPECT_EQ(utm_zone(22.0, 75.0), 35);
    EXPECT_EQ(utm_zone(34.0, 75.0), 37);
}

TEST(Crs, WorkCrsFollowsTheField) {
    EXPECT_EQ(work_crs(box_shape(-83.01, 40.0, -83.0, 40.01), Crs::wgs84()).code(), "EPSG:32617");
    EXPECT_EQ(work_crs(box_shape(151.0, -33.01, 151.01, -33.0), Crs::wgs84()).code(), "EPSG:32756");
    EXPECT_EQ(work_crs(box_shape(500000, 4400000, 500400, 4400400), Crs::from_epsg(26915)).code(),
              "EPSG:32615");
    // Fiji: one ring past 180, one that jumps, and two parts on both sides; most of it in the east.
    EXPECT_EQ(work_crs(box_shape(179.99, -17.0, 180.004, -16.99), Crs::wgs84()).code(),
              "EPSG:32760");
    const MultiPolygon jumping{Polygon{
        {{179.99, -17.0}, {-179.996, -17.0}, {-179.996, -16.99}, {179.99, -16.99}, {179.99, -17.0}},
        {}}};
    EXPECT_EQ(work_crs(jumping, Crs::wgs84()).code(), "EPSG:32760");
    MultiPolygon parts = box_shape(179.999, -17.0, 180.0, -16.99);
    parts.push_back(box_shape(-180.0, -17.0, -179.98, -16.99)[0]);
    EXPECT_EQ(work_crs(parts, Crs::wgs84()).code(), "EPSG:32701");
    const Error swapped =
        error_of([] { work_crs(box_shape(40.0, -93.1, 40.1, -93.0), Crs::wgs84()); });
    EXPECT_TRUE(has(swapped.what(), "order of the coordinates") ||
                has(swapped.what(), "no degrees"));
    EXPECT_EQ(error_of([] { work_crs(box_shape(0, 85, 1, 86), Crs::wgs84()); }).kind(),
              ErrorKind::data);
    EXPECT_EQ(error_of([] { work_crs(box_shape(5e5, 4e6, 6e5, 5e6), Crs::wgs84()); }).kind(),
              ErrorKind::data);
}

// A point on the central meridian of zone 15 has easting 500 000 by definition; northing is the
// meridian arc times 0.9996. Arc from the equator to 45 N on WGS 84: 4 984 944.378 m (Snyder 1987,
// eq. 3-21, evaluated; memory: high).
TEST(Transformer, PutsLongitudeFirst) {
    const Transformer& move = transformer(Crs::wgs84(), Crs::from_epsg(32615));
    const Point point = move.apply(Point{-93.0, 45.0});
    EXPECT_NEAR(point.x, 500000.0, 1e-3);
    EXPECT_NEAR(point.y, 0.9996 * 4984944.378, 2e-3);
    const Point back = transformer(Crs::from_epsg(32615), Crs::wgs84()).apply(point);
    EXPECT_NEAR(back.x, -93.0, 1e-9);
    EXPECT_NEAR(back.y, 45.0, 1e-9);
    EXPECT_FALSE(move.identity());
    EXPECT_TRUE(transformer(Crs::wgs84(), Crs::wgs84()).identity());
    EXPECT_EQ(&move, &transformer(Crs::wgs84(), Crs::from_epsg(32615)));
    EXPECT_TRUE(has(move.description(), "UTM zone 15N")) << move.description();
    const Error none = error_of([&] { move.apply(Point{-93.0, 95.0}); });
    EXPECT_EQ(none.kind(), ErrorKind::data);
    EXPECT_TRUE(has(none.what(), "95"));
}

TEST(Transformer, AgreesBetweenThreads) {
    const Crs utm = Crs::from_epsg(32615);
    const Point here = transformer(Crs::wgs84(), utm).apply(Point{-93.2, 42.0});
    Point there;
    std::thread([&] { there = transformer(Crs::wgs84(), utm).apply(Point{-93.2, 42.0}); }).join();
    EXPECT_EQ(here, there);
}

TEST(Transformer, BoxHoldsTheImageOfItsEdges) {
    const Transformer& move = transformer(Crs::from_epsg(32615), Crs::wgs84());
    const Box box = move.apply(Box{300000, 4300000, 700000, 4800000});
    for (const double x : {300000.0, 450000.0, 500000.0, 700000.0}) {
        for (const double y : {4300000.0, 4600000.0, 4800000.0}) {
            const Point point = move.apply(Point{x, y});
            EXPECT_TRUE(point.x >= box.min_x - 1e-9 && point.x <= box.max_x + 1e-9);
            EXPECT_TRUE(point.y >= box.min_y - 1e-9 && point.y <= box.max_y + 1e-9);
        }
    }
}

// A square of one degree at the equator: 12 308 778 361 m2 on WGS 84 (Karney 2013 through
// GeographicLib's Planimeter; memory: high). The grid area of a field in UTM differs by the square
// of the scale.
TEST(GeodesicArea, MatchesKnownFigures) {
    EXPECT_NEAR(geodesic_area_m2(box_shape(0, 0, 1, 1), Crs::wgs84()), 12308778361.469, 2e3);
    const MultiPolygon field = box_shape(500000, 4400000, 500400, 4400400);
    EXPECT_NEAR(geodesic_area_m2(field, Crs::from_epsg(32615)), 160000.0 / (0.9996 * 0.9996), 0.5);
    MultiPolygon with_hole = field;
    with_hole[0].holes.push_back(testing::box_ring(500100, 4400100, 500200, 4400200));
    EXPECT_NEAR(geodesic_area_m2(with_hole, Crs::from_epsg(32615)), 150000.0 / (0.9996 * 0.9996),
                0.5);
}

TEST(Antimeridian, CutsInTwo) {
    MultiPolygon shape = box_shape(179.99, -17.0, 180.02, -16.99);
    shape[0].holes.push_back(testing::box_ring(179.995, -16.998, 180.005, -16.992));
    const MultiPolygon cut = split_at_antimeridian(shape);
    ASSERT_EQ(cut.size(), 2U);
    double total = 0.0;
    for (const Polygon& part : cut) {
        for (const Point& point : part.outer) EXPECT_LE(std::abs(point.x), 180.0);
        total += std::abs(signed_area(part.outer));
        for (const Ring& hole : part.holes) total -= std::abs(signed_area(hole));
    }
    EXPECT_NEAR(total, 0.03 * 0.01 - 0.01 * 0.006, 1e-12);
    // The same ring, jumping.
    MultiPolygon jumping = shape;
    for (Point& point : jumping[0].outer) point.x -= point.x > 180.0 ? 360.0 : 0.0;
    for (Point& point : jumping[0].holes[0]) point.x -= point.x > 180.0 ? 360.0 : 0.0;
    double again = 0.0;
    for (const Polygon& part : split_at_antimeridian(jumping)) again += area({part});
    EXPECT_NEAR(again, total, 1e-12);
    const MultiPolygon plain = box_shape(10, 50, 10.1, 50.1);
    EXPECT_EQ(split_at_antimeridian(plain), plain);
}

TEST(WorkCrs, OfABowTieIsThatOfItsPlace) {
    // Two triangles whose areas cancel but for the rounding: the centroid by area lies anywhere.
    const MultiPolygon bow_tie = {{{{-82.991591485, 40.003090987},
                                    {-82.989275912, 40.004031655},
                                    {-82.989249769, 40.003131219},
                                    {-82.991617658, 40.003991421},
                                    {-82.991591485, 40.003090987}},
                                   {}}};
    EXPECT_EQ(work_crs(bow_tie, Crs::wgs84()).code(), "EPSG:32617");
}

}  // namespace
}  // namespace catchfield::gis
