// SPDX-License-Identifier: MIT
// The job file: reading, checks of values, messages. Units by their definitions (NIST SP 811).
#include "plan/job.hpp"

#include "base/error.hpp"
#include "plan/keys.hpp"
#include "plan/yields.hpp"
#include "support/temporary_folder.hpp"

#include <gtest/gtest.h>

#include <filesystem>
#include <fstream>
#include <functional>
#include <set>

namespace catchfield::plan {
namespace {

JobValues read(const std::string& text) {
    const testing::TemporaryFolder folder;
    return read_job_values(testing::write_text(folder / "job.ini", text));
}

Error error_of(const std::function<void()>& call) {
    try {
        call();
    } catch (const Error& error) {
        return error;
    }
    ADD_FAILURE() << "no error was thrown";
    return Error(ErrorKind::internal, "none");
}

JobValues least() {
    return {{"field.boundary", "fields.geojson"}, {"terrain.elevation", "dem.tif"},
            {"soil.map", "soils.gpkg"},           {"weather.erosivity", "175 us"},
            {"season.harvest", "2025-07-15"},     {"season.next-planting", "2026-05-10"},
            {"nitrogen.yield-goal", "180 bu/ac"}};
}

Job job_with(const std::string& key, const std::string& value) {
    JobValues values = least();
    values[key] = value;
    return make_job(values, "farm");
}

/// The message of a job with this one value.
std::string refusal(const std::string& key, const std::string& value) {
    const Error error = error_of([&] { job_with(key, value); });
    EXPECT_EQ(error.kind(), ErrorKind::usage) << key << " = " << value;
    EXPECT_NE(std::string(error.what()).find(key), std::string::npos) << error.what();
    return error.what();
}

bool has(const std::string& text, const std::string& part) {
    return text.find(part) != std::string::npos;
}

TEST(JobFileReading, SectionsCommentsAndByteOrderMark) {
    const JobValues values = read(
        "\xEF\xBB\xBF# a comment\r\n[field]\r\nboundary = my fields.geojson  # the farm\r\n"
        "\r\n[terrain]\r\nelevation=dem.tif\r\nbarriers =\r\n");
    EXPECT_EQ(values, (JobValues{{"field.boundary", "my fields.geojson"},
                                 {"terrain.elevation", "dem.tif"}}));
    EXPECT_TRUE(read("").empty());
}

TEST(JobFileReading, UnknownKeyNamesTheNearest) {
    const Error misspelt = error_of([] { read("[terrain]\nelevatoin = dem.tif\n"); });
    EXPECT_EQ(misspelt.kind(), ErrorKind::usage);
    EXPECT_TRUE(has(misspelt.what(), "unknown key 'terrain.elevatoin'")) << misspelt.what();
    EXPECT_TRUE(has(misspelt.what(), "'elevation' in section [terrain]")) << misspelt.what();
    EXPECT_TRUE(has(misspelt.what(), "job.ini")) << misspelt.what();
    const Error misplaced = error_of([] { read("[compaction]\nerosivity-shares = a.csv\n"); });
    EXPECT_TRUE(has(misplaced.what(), "[weather]")) << misplaced.what();
}

TEST(JobFileReading, TwiceAndNoKeyAndNoFile) {
    const Error twice =
        error_of([] { read("[field]\nboundary = a.geojson\nboundary = b.geojson\n"); });
    EXPECT_EQ(twice.kind(), ErrorKind::usage);
    EXPECT_TRUE(has(twice.what(), "'field.boundary' is given twice")) << twice.what();
    EXPECT_EQ(error_of([] { read("[field]\nboundary\n"); }).kind(), ErrorKind::usage);
    EXPECT_EQ(error_of([] { read(std::string("[field]\0\n", 9)); }).kind(), ErrorKind::input);
    EXPECT_EQ(error_of([] { read(std::string((1 << 20) + 1, '#')); }).kind(), ErrorKind::input);
    EXPECT_EQ(error_of([] { read_job_values("no/such/job.ini"); }).kind(), ErrorKind::usage);
}

TEST(JobChecks, NeedsTheInputsOfTheChain) {
    for (const char* key : {"field.boundary", "terrain.elevation", "soil.map", "season.harvest",
                            "season.next-planting"}) {
        JobValues values = least();
        values.erase(key);
        const Error error = error_of([&] { make_job(values, "farm"); });
        EXPECT_EQ(error.kind(), ErrorKind::usage);
        EXPECT_TRUE(has(error.what(), key)) << error.what();
        EXPECT_FALSE(error.context().hint.empty()) << key;
    }
    EXPECT_TRUE(has(refusal("terrain.slope", "slope.tif"), "both"));
    JobValues slope = least();
    slope.erase("terrain.elevation");
    slope["terrain.slope"] = "slope.tif";
    const Error unit = error_of([&] { make_job(slope, "farm"); });
    EXPECT_TRUE(has(unit.what(), "terrain.slope-unit")) << unit.what();
    slope["terrain.slope-unit"] = "percent";
    EXPECT_EQ(make_job(slope, "farm").terrain.source, TerrainSource::slope);
}

TEST(JobChecks, PathsAreRelativeToTheJobFile) {
    const Job job = job_with("soil.horizons", "../shared/./horizons.csv");
    EXPECT_EQ(job.field.boundary, "farm/fields.geojson");
    EXPECT_EQ(job.soil.horizons, "shared/horizons.csv");
    EXPECT_EQ(job_with("soil.horizons", "/data/h.csv").soil.horizons, "/data/h.csv");
    EXPECT_EQ(job_with("zones.layers", "ec=ec.tif,yield=a.tif;b.tif").zones.layers,
              (NamedValues{{"ec", "farm/ec.tif"}, {"yield", "farm/a.tif;farm/b.tif"}}));
}

TEST(JobChecks, QuantitiesNeedTheirUnits) {
    const std::pair<const char*, const char*> bare[] = {
        {"terrain.resolution", "ft"},    {"terrain.max-slope-length", "ft"},
        {"weather.erosivity", "us, si"}, {"weather.winter-low", "degC"},
        {"season.residue", "lb/ac"},     {"zones.min-area", "ac"},
        {"nitrogen.max-rate", "kg/ha"},  {"nitrogen.step", "lb/ac"},
        {"nitrogen.price-n", "/lb"},     {"compaction.threshold", "psi"},
        {"output.cell", "ft"},           {"nitrogen.setback", "ft"}};
    for (const auto& [key, unit] : bare) {
        const std::string message = refusal(key, "100");
        EXPECT_TRUE(has(message, "unit")) << message;
        EXPECT_TRUE(has(message, unit)) << message;
    }
    EXPECT_TRUE(has(refusal("nitrogen.max-rate", "200 lbs/ac"), "Did you mean 'lb/ac'?"));
    EXPECT_NEAR(job_with("nitrogen.max-rate", "200 lb/ac").nitrogen.max_rate_kg_ha, 224.17, 0.01);
    EXPECT_NEAR(*job_with("output.cell", "10 ft").output.cell_m, 3.048, 1e-12);
    EXPECT_NEAR(*job_with("weather.winter-low", "-4 degF").weather.winter_low_c, -20.0, 1e-9);
    // AH-703 appendix A: 1 hundred ft tonf in/(ac h yr) = 17.02 MJ mm/(ha h yr).
    EXPECT_NEAR(*job_with("weather.erosivity", "100 us").weather.erosivity_si, 1702.0, 0.5);
    // The unit may stand in its own key.
    JobValues values = least();
    values["weather.erosivity"] = "3000";
    values["weather.erosivity-unit"] = "si";
    EXPECT_DOUBLE_EQ(*make_job(values, "").weather.erosivity_si, 3000.0);
}

TEST(JobChecks, ChoicesSuggestTheNearest) {
    EXPECT_TRUE(has(refusal("output.units", "metrik"), "Did you mean 'metric'?"));
    EXPECT_TRUE(has(refusal("terrain.run-on", "above"), "none, upslope"));
    EXPECT_EQ(job_with("output.units", "Metric").output.units, UnitSystem::metric);
    EXPECT_TRUE(has(refusal("output.layers", "maybe"), "yes nor no"));
    EXPECT_TRUE(job_with("output.layers", "Yes").output.layers);
}

TEST(JobChecks, DatesAreRealAndInOrder) {
    EXPECT_TRUE(has(refusal("season.sow", "2025-02-30"), "2025-07-15"));
    EXPECT_TRUE(has(refusal("season.sow", "15.8.2025"), "not a date"));
    EXPECT_TRUE(has(refusal("season.sow", "2025-07-01"), "comes before season.harvest"));
    EXPECT_TRUE(has(refusal("season.terminate", "2026-06-01"), "season.next-planting"));
    EXPECT_TRUE(has(refusal("season.next-planting", "2028-05-10"), "18 months"));
    // Rye may be sown after the first hard frost.
    JobValues late = least();
    late["season.sow"] = "2025-11-05";
    late["season.hard-frost"] = "2025-10-20";
    EXPECT_NO_THROW(make_job(late, ""));
}

TEST(JobChecks, RangesAndShares) {
    refusal("season.residue-removed", "1.5");
    refusal("season.residue-removed", "10 %");
    refusal("zones.count", "three");
    refusal("zones.count", "0");
    refusal("zones.max-count", "2.5");
    refusal("nitrogen.split", "0.3,0.6");
    refusal("nitrogen.max-rate", "-10 kg/ha");
    refusal("terrain.max-slope-length", "2000 m");
    refusal("weather.erosivity", "100000 si");
    refusal("cover.aims", "erosion=much");
    refusal("zones.features", "slope=-1");
    JobValues values = least();
    values["nitrogen.min-rate"] = "100 kg/ha";
    values["nitrogen.max-rate"] = "80 kg/ha";
    EXPECT_TRUE(has(error_of([&] { make_job(values, ""); }).what(), "below nitrogen.min-rate"));
    EXPECT_EQ(job_with("nitrogen.split", "0.3, 0.7").nitrogen.split, (std::vector{0.3, 0.7}));
    EXPECT_EQ(job_with("zones.count", "auto").zones.count, 0);
    EXPECT_EQ(job_with("cover.by", "field").cover.at_most, 1);
}

TEST(JobChecks, ResolvedValuesHoldEveryKey) {
    const JobValues all = resolved_values(job_with("nitrogen.max-rate", "200 lb/ac"));
    EXPECT_EQ(all.size(), job_keys().size());
    EXPECT_EQ(all.at("nitrogen.max-rate"), "200 lb/ac");
    EXPECT_EQ(all.at("zones.count"), "auto");
    // The job they make is the same one.
    const Job again = make_job(all, "farm");
    EXPECT_EQ(resolved_values(again), all);
}

TEST(Keys, TableIsConsistent) {
    std::set<std::string_view> names;
    std::string section;
    std::set<std::string> closed;
    for (const Key& key : job_keys()) {
        const std::string name(key.name);
        EXPECT_TRUE(names.insert(key.name).second) << name << " stands twice";
        EXPECT_EQ(find_key(name), &key);
        const std::size_t dot = name.find('.');
        ASSERT_NE(dot, std::string::npos) << name;
        if (name.substr(0, dot) != section) {
            section = name.substr(0, dot);
            EXPECT_TRUE(closed.insert(section).second) << section << " is not in one piece";
            EXPECT_FALSE(section_help(section).empty()) << section;
        }
        EXPECT_EQ(name.find_first_not_of("abcdefghijklmnopqrstuvwxyz-.0123456789"),
                  std::string::npos)
            << name;
        EXPECT_FALSE(key.help.empty()) << name;
        EXPECT_TRUE(key.help.ends_with(".")) << name;
        EXPECT_FALSE(key.metavar.empty()) << name;
        EXPECT_EQ(key.type == KeyType::choice, !key.choices.empty()) << name;
        if (key.type == KeyType::choice && !key.fallback.empty()) {
            EXPECT_TRUE(
                has("|" + std::string(key.choices) + "|", "|" + std::string(key.fallback) + "|"))
                << name;
        }
    }
    EXPECT_EQ(find_key("terrain.elevatoin"), nullptr);
    // Every default is a value that the key itself accepts.
    for (const Key& key : job_keys()) {
        if (!key.fallback.empty()) {
            EXPECT_NO_THROW(job_with(std::string(key.name), std::string(key.fallback))) << key.name;
        }
    }
}

TEST(Lists, CutAtCommasOutsideQuotes) {
    EXPECT_EQ(split_list(" a, b ,,\"c, d\","), (std::vector<std::string>{"a", "b", "c, d"}));
    EXPECT_TRUE(split_list("").empty());
    EXPECT_EQ(split_named("slope=2, ls ,k = 0.5"),
              (NamedValues{{"slope", "2"}, {"ls", ""}, {"k", "0.5"}}));
}

TEST(Yields, BushelsByTheCropsOwnWeight) {
    // US trade bushels (NIST Handbook 130): corn 56 lb, wheat 60 lb, oat 32 lb.
    EXPECT_NEAR(parse_yield_kg_ha("100 bu/ac", "goal", "corn"), 6277.0, 1.0);
    EXPECT_NEAR(parse_yield_kg_ha("100 bu/ac", "goal", "wheat"), 6725.0, 1.0);
    EXPECT_NEAR(parse_yield_kg_ha("100 bu/ac", "goal", "oat"), 3587.0, 1.0);
    EXPECT_DOUBLE_EQ(parse_yield_kg_ha("11.3 Mg/ha", "goal", "corn"), 11300.0);
    EXPECT_DOUBLE_EQ(parse_yield_kg_ha("11300 kg/ha", "goal", "corn"), 11300.0);
    EXPECT_EQ(error_of([] { parse_yield_kg_ha("180", "goal", "corn"); }).kind(), ErrorKind::usage);
    EXPECT_EQ(error_of([] { parse_yield_kg_ha("180 bushels", "goal", "corn"); }).kind(),
              ErrorKind::usage);
    EXPECT_EQ(error_of([] { parse_yield_kg_ha("180 bu/ac", "goal", "cron"); }).kind(),
              ErrorKind::usage);
}

TEST(Yields, ColumnsHaveAStatedUnit) {
    Job job = job_with("nitrogen.yield-unit", "bu/ac");
    EXPECT_NEAR(yield_of_cell("180", job, "soils.gpkg", "7"), 11298.0, 2.0);
    const Error text = error_of([&] { yield_of_cell("high", job, "soils.gpkg", "7"); });
    EXPECT_EQ(text.kind(), ErrorKind::data);
    EXPECT_TRUE(has(text.what(), "soils.gpkg, feature 7")) << text.what();
    EXPECT_EQ(error_of([&] { yield_of_cell("-5", job, "s", "1"); }).kind(), ErrorKind::data);
    job.nitrogen.yield_unit.clear();
    EXPECT_TRUE(has(error_of([&] { yield_of_cell("180", job, "s", "1"); }).what(), "yield-unit"));
}

TEST(Yields, Prices) {
    EXPECT_NEAR(parse_crop_price_per_kg("170 /Mg", "corn"), 0.17, 1e-12);
    // 4.30 a bushel of 56 lb (25.40 kg) is 0.1693 a kg.
    EXPECT_NEAR(parse_crop_price_per_kg("4.30 /bu", "corn"), 0.16929, 1e-5);
    EXPECT_EQ(error_of([] { parse_crop_price_per_kg("4.30", "corn"); }).kind(), ErrorKind::usage);
    EXPECT_EQ(error_of([] { parse_crop_price_per_kg("0 /bu", "corn"); }).kind(), ErrorKind::usage);
    EXPECT_NEAR(*job_with("nitrogen.price-n", "0.50 /lb").nitrogen.price_n_per_kg, 1.1023, 1e-4);
}

}  // namespace
}  // namespace catchfield::plan
