// SPDX-License-Identifier: MIT
// The readiness table: what it finds on the demo farm, what stops a run, what costs confidence.
#include "plan/check.hpp"

#include "base/error.hpp"
#include "plan/job.hpp"
#include "support/temporary_folder.hpp"

#include <gtest/gtest.h>
#include <nlohmann/json.hpp>

#include <sstream>

namespace catchfield::plan {
namespace {

using testing::has;
using testing::TemporaryFolder;

const std::string samples = std::string(CATCHFIELD_SOURCE_DIR) + "/geodata-samples";

/// The demo job with some keys changed; "" takes a key away.
Readiness check(const JobValues& changes) {
    JobValues values = read_job_values(samples + "/job.ini");
    for (const auto& [key, value] : changes) {
        values[key] = value;
        if (value.empty()) values.erase(key);
    }
    return check_job(make_job(values, samples), false, false);
}

const ReadinessRow& row(const Readiness& readiness, const std::string& input) {
    for (const ReadinessRow& one : readiness.rows) {
        if (one.input == input) return one;
    }
    ADD_FAILURE() << "no row " << input;
    return readiness.rows.front();
}

// README.md of geodata-samples: 4 fields, 102 stops, 32 samples; a corner of Ridge has no soil.
TEST(Readiness, DemoFarm) {
    const Readiness readiness = check({});
    EXPECT_TRUE(readiness.ready());
    EXPECT_TRUE(readiness.complete());  // the nearest polygon stands in at the corner
    EXPECT_EQ(readiness.best_confidence(), "high");
    ASSERT_EQ(readiness.fields.size(), 4u);
    std::size_t stops = 0, tests = 0;
    for (const FieldReadiness& field : readiness.fields) {
        EXPECT_EQ(field.refused, "");
        EXPECT_DOUBLE_EQ(field.terrain, 1.0);
        EXPECT_NEAR(field.mapped + field.filled, 1.0, 1e-12) << field.field;
        EXPECT_EQ(field.mapped < 1.0, field.field == "Ridge") << field.field;
        stops += field.stops;
        tests += field.tests;
    }
    EXPECT_EQ(stops, 102u);
    EXPECT_EQ(tests, 32u);
    const std::string text = readiness.text();
    EXPECT_TRUE(has(text, "Ready for 'catchfield plan'")) << text;
    std::istringstream lines(text);
    for (std::string line; std::getline(lines, line);) EXPECT_LE(line.size(), 90u) << line;
    const auto json = nlohmann::json::parse(readiness.json());
    EXPECT_EQ(json["fields"].size(), 4u);
    EXPECT_EQ(json["best_confidence"], "high");
}

TEST(Readiness, EverythingThatStopsTheRunIsNamedAtOnce) {
    const Readiness readiness = check({{"compaction.probes", "soils.gpkg"},
                                       {"nitrogen.soil-tests", "absent.csv"},
                                       {"terrain.elevation", "probes.csv"}});
    EXPECT_FALSE(readiness.ready());
    for (const char* input : {"stops", "soil tests", "terrain"})
        EXPECT_TRUE(row(readiness, input).blocks) << input;
    EXPECT_FALSE(row(readiness, "soil map").blocks);
    EXPECT_TRUE(has(readiness.text(), "Not ready yet"));
    try {
        check({{"terrain.elevation", ""}, {"soil.map", ""}});
        ADD_FAILURE() << "no error";
    } catch (const Error& error) {
        EXPECT_EQ(error.kind(), ErrorKind::usage);
        EXPECT_TRUE(has(error.what(), "soil.map, terrain.elevation (or terrain.slope)"))
            << error.what();
    }
}

TEST(Readiness, SaysWhatMissingInputsCost) {
    const Readiness rough = check({{"weather.monthly", ""}, {"weather.erosivity", ""}});
    EXPECT_EQ(row(rough, "weather").at_best, "low");
    EXPECT_EQ(row(rough, "erosivity").at_best, "medium");
    EXPECT_EQ(rough.best_confidence(), "low");
    EXPECT_TRUE(has(rough.text(), "low at best (weather)")) << rough.text();
    const Readiness bare = check({{"compaction.probes", ""},
                                  {"compaction.probe-columns", ""},
                                  {"nitrogen.soil-tests", ""},
                                  {"soil.horizons", ""}});
    EXPECT_TRUE(has(row(bare, "stops").missing, "taproot"));
    EXPECT_TRUE(has(row(bare, "soil tests").missing, "assumed"));
    EXPECT_TRUE(has(row(bare, "horizons").missing, "compaction"));
    const Readiness narrow = check({{"soil.fill-distance", "0 m"}});
    EXPECT_FALSE(narrow.complete());
    EXPECT_TRUE(has(row(narrow, "soil map").missing, "no soil values at all"));
    EXPECT_EQ(row(narrow, "soil map").at_best, "medium");
    EXPECT_TRUE(has(row(check({{"compaction.probe-moisture", ""}}), "stops").missing,
                    "near field capacity"));
}

}  // namespace
}  // namespace catchfield::plan
