// SPDX-License-Identifier: MIT
// Zones of whole fields: coverage, minimum area, invariance, drawn zones, points as features.
#include "base/error.hpp"
#include "base/text.hpp"
#include "geometry/overlay.hpp"
#include "geometry/validity.hpp"
#include "gis/files.hpp"
#include "gis/start.hpp"
#include "plan/columns.hpp"
#include "plan/field_plan.hpp"
#include "plan/field_zones.hpp"
#include "plan/point_layers.hpp"
#include "plan/run.hpp"
#include "support/temporary_folder.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <numeric>

namespace catchfield::plan {
namespace {

namespace fs = std::filesystem;

const std::string samples = CATCHFIELD_SOURCE_DIR "/geodata-samples";

JobValues demo_values() {
    return read_job_values(samples + "/job.ini");
}

Inputs demo_inputs(const JobValues& changes = {}) {
    gis::start();
    JobValues values = demo_values();
    for (const auto& [key, value] : changes) values[key] = value;
    return load_inputs(make_job(values, samples));
}

FieldBoundary field_named(const Inputs& inputs, const std::string& id) {
    for (const FieldBoundary& field : inputs.fields) {
        if (field.id == id) return field;
    }
    throw std::out_of_range("no such field");
}

using Scratch = testing::TemporaryFolder;

TEST(FieldZones, CoverTheBoundaryWithoutOverlapAndKeepTheMinimumArea) {
    const Inputs inputs = demo_inputs();
    for (const FieldBoundary& field : inputs.fields) {
        const FieldResult result = plan_field(inputs, field);
        ASSERT_NE(result.status, FieldStatus::skipped) << field.id;
        EXPECT_GE(result.zones.size(), 1U);
        EXPECT_LE(result.zones.size(), 5U);
        std::vector<MultiPolygon> shapes;
        for (const ZoneResult& zone : result.zones) {
            shapes.push_back(zone.shape);
            EXPECT_FALSE(geometry::find_flaw(zone.shape)) << field.id << " zone " << zone.zone;
            EXPECT_GE(zone.area_ha, 0.95 * inputs.job.zones.min_area_ha) << field.id;
        }
        const geometry::Coverage coverage = geometry::check_coverage(shapes, result.boundary);
        EXPECT_NEAR(coverage.union_m2, coverage.whole_m2, 1e-6 * coverage.whole_m2) << field.id;
        EXPECT_LT(coverage.overlap_m2, 1e-6 * coverage.whole_m2) << field.id;
        EXPECT_FALSE(result.zoning.reason.empty());
        EXPECT_FALSE(result.zoning.variance.empty());
    }
}

TEST(FieldZones, DoNotDependOnTheOrderOfFeatures) {
    const Inputs one = demo_inputs({{"zones.features", "slope,ls,k,om,density"}});
    const Inputs other = demo_inputs({{"zones.features", "density,om,k,ls,slope"}});
    for (std::size_t i = 0; i < one.fields.size(); ++i) {
        const FieldResult a = plan_field(one, one.fields[i]);
        const FieldResult b = plan_field(other, other.fields[i]);
        EXPECT_EQ(a.zone_cells.values, b.zone_cells.values) << a.id;
    }
}

TEST(FieldZones, MeansEqualAnIndependentExactOverlay) {
    const Inputs inputs = demo_inputs();
    const FieldBoundary field = field_named(inputs, "Ridge");
    const Ground ground = make_ground(inputs, field);
    const FieldZones zones = make_field_zones(inputs, field, ground);
    const FieldResult result = plan_field(inputs, field);
    // Cell by cell with GEOS: every 7th zone cell, so that the test stays quick, for the shares.
    for (std::size_t z = 0; z < zones.outlines.size(); ++z) {
        std::vector<geometry::CellShare> cells;
        geometry::for_cells(zones.cells[z], [&](std::size_t cell, double share) {
            cells.push_back({cell, share});
        });
        for (std::size_t i = 0; i < cells.size(); i += 97) {
            const geometry::CellShare& cell = cells[i];
            const int row = static_cast<int>(cell.cell) / ground.frame.cols;
            const int col = static_cast<int>(cell.cell) % ground.frame.cols;
            const double x = ground.frame.west + col * ground.frame.cell;
            const double y = ground.frame.north - row * ground.frame.cell;
            const double d = ground.frame.cell;
            const MultiPolygon square = {
                {{{x, y - d}, {x + d, y - d}, {x + d, y}, {x, y}, {x, y - d}}, {}}};
            EXPECT_NEAR(area(geometry::intersection(square, zones.outlines[z].shape)) / (d * d),
                        cell.share, 1e-6);
        }
        ZoneMean slope;
        for (const geometry::CellShare& cell : cells) {
            if (ground.field[cell.cell] && ground.terrain.mask[cell.cell]) {
                slope.add(static_cast<double>(ground.terrain.slope_pct[cell.cell]), cell.share);
            }
        }
        EXPECT_NEAR(*slope.value(), result.zones[z].slope_pct, 1e-9);
    }
}

TEST(FieldZones, AnEarlierPlansZonesAreKept) {
    const Scratch scratch;
    PlanRequest request;
    request.job = make_job(demo_values(), samples);
    request.output = scratch / "autumn";
    run_plan(request, {});
    const Inputs first = demo_inputs();
    const Inputs again = demo_inputs({{"zones.drawn", scratch / "autumn"}});
    for (std::size_t i = 0; i < first.fields.size(); ++i) {
        const FieldResult a = plan_field(first, first.fields[i]);
        const FieldResult b = plan_field(again, again.fields[i]);
        ASSERT_EQ(a.zones.size(), b.zones.size()) << a.id;
        for (std::size_t z = 0; z < a.zones.size(); ++z) {
            EXPECT_NEAR(a.zones[z].area_ha, b.zones[z].area_ha, 1e-4 * a.zones[z].area_ha);
            EXPECT_NEAR(a.zones[z].slope_pct, b.zones[z].slope_pct, 0.05);
        }
    }
}

/// Runs with one drawn rectangle, in degrees, and returns the reason for which the first field is
/// left out.
std::string refusal_of_drawn(double west, double south, double east, double north) {
    const Scratch scratch;
    const auto point = [](double x, double y) {
        return "[" + shortest(x) + "," + shortest(y) + "]";
    };
    std::ofstream(scratch / "drawn.geojson")
        << R"({"type":"FeatureCollection","features":[{"type":"Feature","properties":{"zone":1},)"
        << R"("geometry":{"type":"Polygon","coordinates":[[)" << point(west, south) << ","
        << point(east, south) << "," << point(east, north) << "," << point(west, north) << ","
        << point(west, south) << "]]}}]}";
    const Inputs inputs = demo_inputs({{"zones.drawn", scratch / "drawn.geojson"}});
    const FieldResult result = plan_field(inputs, inputs.fields.front());
    return result.status == FieldStatus::skipped ? result.reasons.front() : "";
}

TEST(FieldZones, DrawnZonesThatLeaveGroundOutAreRefused) {
    const Inputs inputs = demo_inputs();
    const Box box = bounds(inputs.fields.front().shape);
    const std::string half =
        refusal_of_drawn(box.min_x, box.min_y, (box.min_x + box.max_x) / 2.0, box.max_y);
    EXPECT_NE(half.find("ha"), std::string::npos) << half;
    const std::string elsewhere = refusal_of_drawn(-180.0, -1.0, -179.0, 0.0);
    EXPECT_NE(elsewhere.find("no drawn zone meets the field"), std::string::npos) << elsewhere;
    // One that covers it all is fine.
    EXPECT_EQ(
        refusal_of_drawn(box.min_x - 0.01, box.min_y - 0.01, box.max_x + 0.01, box.max_y + 0.01),
        "");
}

TEST(FieldZones, MergeJoinsZonesAndKeepsTheRest) {
    const Inputs inputs = demo_inputs({{"zones.count", "3"}});
    const Inputs merged = demo_inputs({{"zones.count", "3"}, {"zones.merge", "2+3"}});
    const FieldBoundary field = field_named(inputs, "Ridge");
    const FieldResult a = plan_field(inputs, field);
    ASSERT_EQ(a.zones.size(), 3U);
    const FieldResult b = plan_field(merged, field);
    ASSERT_EQ(b.zones.size(), 2U);
    EXPECT_NEAR(b.zones[1].area_ha, a.zones[1].area_ha + a.zones[2].area_ha, 0.02 * a.area_ha);
}

TEST(FieldZones, RenumberGivesTheNumbersAsked) {
    const Inputs inputs = demo_inputs({{"zones.count", "3"}});
    const Inputs changed = demo_inputs({{"zones.count", "3"}, {"zones.renumber", "3,1,2"}});
    const FieldBoundary field = field_named(inputs, "Ridge");
    const FieldResult a = plan_field(inputs, field);
    const FieldResult b = plan_field(changed, field);
    EXPECT_NEAR(b.zones[2].area_ha, a.zones[0].area_ha, 1e-3);
    EXPECT_NEAR(b.zones[0].area_ha, a.zones[1].area_ha, 1e-3);
    EXPECT_THROW(demo_inputs({{"zones.renumber", "1,1,2"}}), Error);
}

TEST(FieldZones, FuzzyAndComponentsMakeValidZonesToo) {
    for (const JobValues& changes :
         {JobValues{{"zones.method", "fuzzy"},
                    {"zones.norm", "mahalanobis"},
                    {"zones.count", "2"},
                    {"zones.features", "slope,ls"}},
          JobValues{{"zones.method", "fuzzy"}, {"zones.exponent", "2"}, {"zones.count", "2"}},
          JobValues{{"zones.components", "0.85"}, {"zones.count", "2"}}}) {
        const Inputs inputs = demo_inputs(changes);
        const FieldResult result = plan_field(inputs, field_named(inputs, "Ridge"));
        ASSERT_EQ(result.zones.size(), 2U) << changes.begin()->second;
        EXPECT_NEAR(result.zones[0].area_ha + result.zones[1].area_ha, result.area_ha,
                    1e-6 * result.area_ha);
        EXPECT_GT(result.zones[0].vertices, 3U);
    }
    EXPECT_THROW(demo_inputs({{"zones.exponent", "1"}}), Error);
}

TEST(FieldZones, UnknownFeatureNamesTheNearest) {
    try {
        demo_inputs({{"zones.features", "slop,ls"}});
        FAIL() << "no error";
    } catch (const Error& error) {
        EXPECT_EQ(error.kind(), ErrorKind::usage);
        EXPECT_NE(std::string(error.what()).find("Did you mean 'slope'?"), std::string::npos)
            << error.what();
    }
}

TEST(FieldZones, AFieldSmallerThanTheMinimumAreaIsOneZone) {
    const Inputs inputs = demo_inputs({{"zones.min-area", "100 ha"}});
    const FieldResult result = plan_field(inputs, field_named(inputs, "Upland"));
    EXPECT_EQ(result.zones.size(), 1U);
}

TEST(PointLayers, PointsBecomeALayerAndOutliersAreCounted) {
    const Inputs inputs = demo_inputs();
    const FieldBoundary field = field_named(inputs, "Ridge");
    const Ground ground = make_ground(inputs, field);
    const gis::Transformer& to_degrees = gis::transformer(ground.crs, gis::Crs::wgs84());
    const Scratch scratch;
    std::string csv = "lon,lat,ec\n";
    // A plane from west to east, and one absurd reading.
    const GridFrame& frame = ground.frame;
    std::size_t written = 0;
    for (int row = 0; row < frame.rows; row += 3) {
        for (int col = 0; col < frame.cols; col += 3) {
            if (!ground.field.at(row, col)) continue;
            const Point place = to_degrees.apply(Point{frame.x_centre(col), frame.y_centre(row)});
            const double value = ++written == 100 ? 9000.0 : 20.0 + 0.1 * col;
            csv += shortest(place.x) + "," + shortest(place.y) + "," + shortest(value) + "\n";
        }
    }
    std::ofstream(scratch / "ec.csv") << csv;
    std::vector<std::string> warnings;
    const zoning::Feature feature =
        point_feature("ec", read_points(scratch / "ec.csv", "ec"), ground, warnings);
    double largest_error = 0.0;
    for (int row = 0; row < frame.rows; ++row) {
        for (int col = 0; col < frame.cols; ++col) {
            if (!ground.field.at(row, col)) continue;
            ASSERT_EQ(feature.valid.at(row, col), 1);
            largest_error = std::max(
                largest_error,
                std::abs(static_cast<double>(feature.values.at(row, col)) - (20.0 + 0.1 * col)));
        }
    }
    EXPECT_LT(largest_error, 0.5);
    const std::string all = std::accumulate(warnings.begin(), warnings.end(), std::string());
    EXPECT_NE(all.find("dropped: 1 "), std::string::npos) << all;
}

TEST(PointLayers, BadRowsAreNamed) {
    const Scratch scratch;
    std::ofstream(scratch / "ec.csv") << "lon,lat,ec\n-95,40,31\n-95,140,32\n";
    try {
        read_points(scratch / "ec.csv", "ec");
        FAIL() << "no error";
    } catch (const Error& error) {
        EXPECT_NE(std::string(error.what()).find("line 3, column 'lat'"), std::string::npos)
            << error.what();
    }
    EXPECT_THROW(read_points(scratch / "ec.csv", "yield"), Error);
}

TEST(Scouting, WhatWasFoundReplacesTheForecast) {
    const Scratch scratch;
    std::ofstream(scratch / "visit.csv")
        << "field,zone,date,species,height_cm,stand_pct,biomass_kg_ha\n"
           "Ridge,1,2026-04-10,,20,70,\n"
           "Ridge,2,2026-04-10,red-clover,10,90,800\n";
    const Inputs autumn = demo_inputs();
    const Inputs spring = demo_inputs({{"cover.scouting", scratch / "visit.csv"}});
    const FieldResult before = plan_field(autumn, field_named(autumn, "Ridge"));
    const FieldResult after = plan_field(spring, field_named(spring, "Ridge"));
    ASSERT_EQ(after.zones.size(), 2U);
    EXPECT_LT(after.zones[0].cover()->with->forecast.end_kg_ha.typical,
              before.zones[0].cover()->with->forecast.end_kg_ha.typical);
    EXPECT_EQ(spring.covers->candidates()[after.zones[1].cover()->candidate].cover.id,
              "red-clover");
    // A legume under 15 cm: 40 lb/ac by common practice, no more than the N in the cover (N13).
    EXPECT_GT(after.zones[1].cover()->credit.full_credit_kg_ha, 0.0);
    EXPECT_LE(after.zones[1].cover()->credit.full_credit_kg_ha, 44.84);
    EXPECT_FALSE(after.zones[0].visit_notes.empty());
    EXPECT_TRUE(before.zones[0].visit_notes.empty());
}

TEST(Scouting, AZoneNumberAloneIsNotEnoughWithSeveralFields) {
    const Scratch scratch;
    std::ofstream(scratch / "visit.csv") << "zone,date,height_cm\n1,2026-04-10,20\n";
    EXPECT_THROW(demo_inputs({{"cover.scouting", scratch / "visit.csv"}}), Error);
}

/// The real field, with the given harvest and sowing. Nothing where the open data are not there.
std::optional<Inputs> ohio_inputs(const std::string& harvest, const std::string& sow) {
    const char* folder = std::getenv("CATCHFIELD_OPEN_DATA");
    if (folder == nullptr) return std::nullopt;
    gis::start();
    return load_inputs(make_job({{"field.boundary", "boundary.geojson"},
                                 {"terrain.elevation", "dem_5m.tif"},
                                 {"terrain.elevation-unit", "m"},
                                 {"soil.map", "soils.gpkg"},
                                 {"soil.horizons", "horizons.csv"},
                                 {"weather.erosivity", "125 us"},
                                 {"season.harvest", harvest},
                                 {"season.sow", sow},
                                 {"season.next-planting", "2026-05-05"},
                                 {"nitrogen.yield-goal", "170 bu/ac"}},
                                std::string(folder) + "/ohio-field"));
}

TEST(OhioField, ZonesAreFewAndLargeEnough) {
    const std::optional<Inputs> inputs = ohio_inputs("2025-07-15", "2025-08-05");
    if (!inputs) GTEST_SKIP() << "CATCHFIELD_OPEN_DATA is not set";
    const FieldResult result = plan_field(*inputs, inputs->fields.front());
    EXPECT_GE(result.zones.size(), 2U);
    EXPECT_LE(result.zones.size(), 5U);
    double filled_ha = 0.0, area_ha = 0.0;
    for (const ZoneResult& zone : result.zones) {
        EXPECT_GE(zone.area_ha, inputs->job.zones.min_area_ha);
        filled_ha += zone.coverage.filled * zone.area_ha;
        area_ha += zone.area_ha;
    }
    EXPECT_NEAR(area_ha, result.area_ha, 1e-6 * result.area_ha);
    EXPECT_NEAR(filled_ha, 9.1, 0.6);  // the map covers 25.1 of 34.4 ha
    EXPECT_EQ(result.zones.front().confidence, "low");
}

TEST(OhioField, TheHarvestDateChangesTheCoverAndTheReasonSaysWhy) {
    const std::optional<Inputs> early = ohio_inputs("2025-07-15", "2025-08-05");
    const std::optional<Inputs> late = ohio_inputs("2025-09-25", "2025-10-01");
    if (!early) GTEST_SKIP() << "CATCHFIELD_OPEN_DATA is not set";
    const FieldResult after_july = plan_field(*early, early->fields.front());
    const FieldResult after_september = plan_field(*late, late->fields.front());
    const auto chosen = [](const Inputs& inputs, const FieldResult& result) {
        return inputs.covers->candidates()[result.zones.front().cover()->candidate].cover.id;
    };
    EXPECT_NE(chosen(*early, after_july), chosen(*late, after_september));
    EXPECT_EQ(chosen(*late, after_september), "rye");
    std::size_t too_short = 0;
    for (const CoverOption& option : after_september.zones.front().options) {
        if (option.score.limit == cover::Limit::season_too_short) ++too_short;
        EXPECT_FALSE(option_reason(*late, after_september.zones.front(), option).empty());
    }
    EXPECT_GT(too_short, 10U);
    // More cover, more soil held.
    EXPECT_GT(*after_july.zones.front().erosion_cut_pct,
              *after_september.zones.front().erosion_cut_pct);
}

}  // namespace
}  // namespace catchfield::plan
