// SPDX-License-Identifier: MIT
// Every refusal, warning and limit of the soil room from both sides, and its tables against the
// published ones, written here again.
// SSM: Soil Survey Manual (USDA Handbook 18), ch. 3. NSSH: National Soil Survey Handbook, part 618.
#include "base/error.hpp"
#include "base/units.hpp"
#include "soil/density.hpp"
#include "soil/erodibility.hpp"
#include "soil/map_unit.hpp"
#include "soil/profile.hpp"
#include "soil/texture.hpp"
#include "support/messages.hpp"

#include <gtest/gtest.h>

#include <map>

namespace catchfield::soil {
namespace {

using tests::mentions;
using tests::message_of;

using Strings = std::vector<std::string>;

bool refuses(const std::string& message) {
    return !message.empty();
}

MapUnit unit_of(std::map<std::string, std::string> values) {
    const AttributeLookup lookup = [&](std::string_view column) -> std::optional<std::string> {
        const auto found = values.find(std::string(column));
        if (found == values.end()) return std::nullopt;
        return found->second;
    };
    return read_map_unit(lookup, {}, "polygon 3");
}

Horizon mineral(const std::string& name, double top_cm, double bottom_cm, double sand, double clay,
                double density) {
    return {.name = name,
            .top_cm = top_cm,
            .bottom_cm = bottom_cm,
            .sand_pct = sand,
            .silt_pct = 100.0 - sand - clay,
            .clay_pct = clay,
            .bulk_density_g_cm3 = density};
}

// --- texture -------------------------------------------------------------------------------------

/// The twelve definitions of the SSM, each by its own words; exactly one holds.
std::vector<TextureClass> textures_by_definition(double sand, double silt, double clay) {
    const double a = silt + 1.5 * clay;
    const double b = silt + 2 * clay;
    std::vector<TextureClass> all;
    const auto add = [&](bool holds, TextureClass texture) {
        if (holds) all.push_back(texture);
    };
    add(a < 15, TextureClass::sand);
    add(a >= 15 && b < 30, TextureClass::loamy_sand);
    add(b >= 30 && ((clay >= 7 && clay < 20 && sand > 52) || (clay < 7 && silt < 50)),
        TextureClass::sandy_loam);
    add(clay >= 7 && clay < 27 && silt >= 28 && silt < 50 && sand <= 52, TextureClass::loam);
    add((silt >= 50 && clay >= 12 && clay < 27) || (silt >= 50 && silt < 80 && clay < 12),
        TextureClass::silt_loam);
    add(silt >= 80 && clay < 12, TextureClass::silt);
    add(clay >= 20 && clay < 35 && silt < 28 && sand > 45, TextureClass::sandy_clay_loam);
    add(clay >= 27 && clay < 40 && sand > 20 && sand <= 45, TextureClass::clay_loam);
    add(clay >= 27 && clay < 40 && sand <= 20, TextureClass::silty_clay_loam);
    add(clay >= 35 && sand > 45, TextureClass::sandy_clay);
    add(clay >= 40 && silt >= 40, TextureClass::silty_clay);
    add(clay >= 40 && sand <= 45 && silt < 40, TextureClass::clay);
    return all;
}

TEST(TextureLimits, EveryHalfPercentAgainstTheTwelveDefinitions) {
    for (int i = 0; i <= 200; ++i) {
        for (int j = 0; i + j <= 200; ++j) {
            const double sand = 0.5 * i, clay = 0.5 * j, silt = 0.5 * (200 - i - j);
            const auto expected = textures_by_definition(sand, silt, clay);
            ASSERT_EQ(expected.size(), 1u) << sand << " " << clay;
            ASSERT_EQ(texture_class({sand, silt, clay}), expected[0]) << sand << " " << clay;
        }
    }
}

// SSM, general terms of texture.
TEST(TextureLimits, GeneralTerms) {
    const std::pair<TextureClass, std::string_view> terms[] = {
        {TextureClass::sand, "coarse"},
        {TextureClass::loamy_sand, "coarse"},
        {TextureClass::sandy_loam, "moderately coarse"},
        {TextureClass::loam, "medium"},
        {TextureClass::silt_loam, "medium"},
        {TextureClass::silt, "medium"},
        {TextureClass::sandy_clay_loam, "moderately fine"},
        {TextureClass::clay_loam, "moderately fine"},
        {TextureClass::silty_clay_loam, "moderately fine"},
        {TextureClass::sandy_clay, "fine"},
        {TextureClass::silty_clay, "fine"},
        {TextureClass::clay, "fine"},
    };
    for (const auto& [texture, term] : terms) {
        EXPECT_EQ(texture_group_name(texture_group(texture)), term) << texture_name(texture);
        EXPECT_EQ(is_sandy(texture), term == "coarse") << texture_name(texture);
    }
}

// Soil-survey codes and modifiers (SSM and NSSH 618 texture terms).
TEST(TextureLimits, SurveyCodesAndModifiers) {
    const std::pair<const char*, TextureClass> codes[] = {
        {"S", TextureClass::sand},
        {"COS", TextureClass::sand},
        {"FS", TextureClass::sand},
        {"VFS", TextureClass::sand},
        {"LS", TextureClass::loamy_sand},
        {"LCOS", TextureClass::loamy_sand},
        {"LFS", TextureClass::loamy_sand},
        {"LVFS", TextureClass::loamy_sand},
        {"SL", TextureClass::sandy_loam},
        {"COSL", TextureClass::sandy_loam},
        {"FSL", TextureClass::sandy_loam},
        {"VFSL", TextureClass::sandy_loam},
        {"L", TextureClass::loam},
        {"SIL", TextureClass::silt_loam},
        {"SI", TextureClass::silt},
        {"SCL", TextureClass::sandy_clay_loam},
        {"CL", TextureClass::clay_loam},
        {"SICL", TextureClass::silty_clay_loam},
        {"SC", TextureClass::sandy_clay},
        {"SIC", TextureClass::silty_clay},
        {"C", TextureClass::clay},
        {"GRV-L", TextureClass::loam},
        {" very gravelly silt loam ", TextureClass::silt_loam},
        {"extremely channery loam", TextureClass::loam},
        {"cobbly clay", TextureClass::clay},
        {"flaggy silty clay", TextureClass::silty_clay},
        {"stony sand", TextureClass::sand},
        {"shaly silty clay loam", TextureClass::silty_clay_loam},
        {"mucky sandy loam", TextureClass::sandy_loam},
        {"coarse sand", TextureClass::sand},
        {"coarse sandy loam", TextureClass::sandy_loam},
        {"loamy very fine sand", TextureClass::loamy_sand},
        {"loamy coarse sand", TextureClass::loamy_sand},
    };
    for (const auto& [code, texture] : codes) EXPECT_EQ(parse_texture(code), texture) << code;
    for (const char* code : {"", "  ", "very", "fine", "peat", "MUCK", "GR-", "sandy"})
        EXPECT_FALSE(parse_texture(code)) << code;
}

TEST(TextureLimits, SharesAreRefusedScaledOrTaken) {
    Strings warnings;
    const auto taken = [&](std::optional<double> sand, std::optional<double> silt,
                           std::optional<double> clay) {
        warnings.clear();
        return message_of([&] { checked_separates(sand, silt, clay, "soil 1", warnings); });
    };
    EXPECT_FALSE(refuses(taken(100.0, 0.0, 0.0)));
    EXPECT_TRUE(mentions(taken(100.1, 0.0, 0.0), "sand is 100.1 %, outside 0 to 100"));
    EXPECT_TRUE(mentions(taken(50.0, -0.1, 50.0), "silt is -0.1 %, outside 0 to 100"));
    EXPECT_TRUE(mentions(taken(50.0, 0.0, 100.5), "clay is 100.5 %, outside 0 to 100"));
    // Two shares up to 100, no more.
    EXPECT_FALSE(refuses(taken(60.0, {}, 40.0)));
    EXPECT_TRUE(mentions(taken(60.0, {}, 40.5), "two of sand, silt and clay add to 100.5 %"));
    // A sum off by 1 is rounding, by 5 is scaled with a warning, farther off is refused.
    for (const double off : {-1.0, 1.0}) {
        EXPECT_FALSE(refuses(taken(40.0, 40.0 + off, 20.0)));
        EXPECT_TRUE(warnings.empty());
        EXPECT_FALSE(refuses(taken(40.0, 40.0 + 1.25 * off, 20.0)));
        ASSERT_EQ(warnings.size(), 1u);
        EXPECT_TRUE(mentions(warnings[0], "they were scaled to 100"));
        EXPECT_FALSE(refuses(taken(40.0, 40.0 + 5 * off, 20.0)));
        EXPECT_EQ(warnings.size(), 1u);
        EXPECT_TRUE(mentions(taken(40.0, 40.0 + 5.25 * off, 20.0), ", not 100"));
    }
    const auto scaled = checked_separates(42.0, 42.0, 21.0, "soil 1", warnings);
    EXPECT_NEAR(scaled->sand_pct, 40.0, 1e-12);  // 42 of 105
    EXPECT_NEAR(scaled->clay_pct, 20.0, 1e-12);
    EXPECT_DOUBLE_EQ(checked_separates({}, 60.0, 15.0, "soil 1", warnings)->sand_pct, 25.0);
    EXPECT_DOUBLE_EQ(checked_separates(25.0, 60.0, {}, "soil 1", warnings)->clay_pct, 15.0);
    EXPECT_FALSE(checked_separates({}, 60.0, {}, "soil 1", warnings));
    // van Bemmelen: organic matter holds 58 % carbon.
    EXPECT_NEAR(carbon_pct_from_om(1.724), 1.0, 1e-12);
    EXPECT_NEAR(om_pct_from_carbon(0.58), 1.0, 1e-3);
}

// --- profile -------------------------------------------------------------------------------------

/// One value of a horizon with the ends of what is taken, and a step beyond them.
struct ValueRange {
    std::optional<double> Horizon::*value;
    double low, high;
    const char* name;
};

TEST(ProfileLimits, ValuesThatCannotBeAreRefused) {
    const ValueRange ranges[] = {
        {&Horizon::very_fine_sand_pct, 0, 100, "very fine sand (%)"},
        {&Horizon::om_pct, 0, 100, "organic matter (%)"},
        {&Horizon::bulk_density_g_cm3, 0.1, 2.65, "bulk density (g/cm3)"},
        {&Horizon::ksat_um_s, 0, 1e5, "saturated conductivity (um/s)"},
        {&Horizon::awc_cm_cm, 0, 0.6, "available water (cm/cm)"},
        {&Horizon::fragments_pct, 0, 100, "rock fragments (%)"},
        {&Horizon::kf_us, 0, 1, "K (US units)"},
    };
    for (const ValueRange& range : ranges) {
        const auto made = [&](double value) {
            Horizon horizon{.name = "A", .top_cm = 0, .bottom_cm = 20};
            horizon.*range.value = value;
            return message_of([&] { checked_profile("9", {horizon}); });
        };
        EXPECT_FALSE(refuses(made(range.low))) << range.name;
        EXPECT_FALSE(refuses(made(range.high))) << range.name;
        EXPECT_TRUE(mentions(made(range.low - 0.01), range.name));
        EXPECT_TRUE(mentions(made(range.high + 0.01), range.name));
        EXPECT_TRUE(mentions(made(range.high + 0.01), "soil 9: horizon A (0-20 cm)"));
    }
}

TEST(ProfileLimits, Depths) {
    const auto made = [](std::vector<Horizon> horizons) {
        return message_of([&] { checked_profile("9", horizons); });
    };
    EXPECT_FALSE(refuses(made({{.top_cm = 0, .bottom_cm = 2000}})));
    EXPECT_TRUE(mentions(made({{.top_cm = 0, .bottom_cm = 2000.5}}), "0-2000.5 cm has impossible"));
    EXPECT_TRUE(mentions(made({{.top_cm = -0.1, .bottom_cm = 20}}), "impossible depths"));
    EXPECT_TRUE(mentions(made({{.top_cm = 20, .bottom_cm = 20}}), "impossible depths"));
    // Touching horizons neither overlap nor leave a gap.
    EXPECT_TRUE(
        checked_profile("9", {{.top_cm = 0, .bottom_cm = 20}, {.top_cm = 20, .bottom_cm = 40}})
            .warnings.empty());
    EXPECT_TRUE(mentions(made({{.top_cm = 0, .bottom_cm = 20}, {.top_cm = 19.9, .bottom_cm = 40}}),
                         "overlap"));
    const Profile gap =
        checked_profile("9", {{.top_cm = 0, .bottom_cm = 20}, {.top_cm = 20.1, .bottom_cm = 40}});
    ASSERT_EQ(gap.warnings.size(), 1u);
    EXPECT_EQ(gap.warnings[0], "soil 9: nothing is described from 20 to 20.1 cm.");
    EXPECT_EQ(checked_profile("9", {{.top_cm = 0.5, .bottom_cm = 20}}).warnings,
              Strings{"soil 9: the description starts at 0.5 cm."});
}

// Very fine sand is a part of sand; 1 % is rounding of the two.
TEST(ProfileLimits, MoreVeryFineSandThanSandIsLeftOut) {
    Horizon horizon = mineral("Ap", 0, 20, 10, 20, 1.3);
    horizon.very_fine_sand_pct = 11.0;
    Profile profile = checked_profile("9", {horizon});
    EXPECT_TRUE(profile.warnings.empty());
    EXPECT_DOUBLE_EQ(*profile.horizons[0].very_fine_sand_pct, 11.0);
    horizon.very_fine_sand_pct = 11.1;
    profile = checked_profile("9", {horizon});
    EXPECT_EQ(
        profile.warnings,
        Strings{"soil 9, horizon Ap (0-20 cm): more very fine sand than sand; it was left out."});
    EXPECT_FALSE(profile.horizons[0].very_fine_sand_pct);

    MapUnit unit = unit_of({{"sandtotal_r", "10"}, {"sandvf_r", "11"}});
    EXPECT_TRUE(unit.warnings.empty());
    EXPECT_TRUE(unit.surface.very_fine_sand_pct);
    unit = unit_of({{"sandtotal_r", "10"}, {"sandvf_r", "11.1"}});
    EXPECT_EQ(unit.warnings, Strings{"polygon 3: more very fine sand than sand; it was not used."});
    EXPECT_FALSE(unit.surface.very_fine_sand_pct);
}

TEST(ProfileLimits, RowsWithoutAKeyAreRefusedByTheirLine) {
    EXPECT_TRUE(mentions(message_of([] {
                             read_profiles(Table::parse("mukey,hzdept_r,hzdepb_r\n1,0,20\n,20,40\n",
                                                        "h.csv"));
                         }),
                         "Every horizon needs the key of its soil."));
}

// Sums of a table by hand: 0.20 over 30 cm and 0.10 over the next 30 cm.
TEST(ProfileLimits, AvailableWaterNeedsNineTenthsOfTheDepth) {
    const Profile profile =
        checked_profile("9", {{.top_cm = 0, .bottom_cm = 30, .awc_cm_cm = 0.20},
                              {.top_cm = 30, .bottom_cm = 90, .awc_cm_cm = 0.10}});
    EXPECT_NEAR(*available_water_mm(profile, 60), 90.0, 1e-9);
    EXPECT_NEAR(*available_water_mm(profile, 100), 120.0, 1e-9);  // 90 of 100 cm
    EXPECT_FALSE(available_water_mm(profile, 100.5));
    EXPECT_FALSE(available_water_mm(checked_profile("8", {}), 60));
    EXPECT_FALSE(depth_mean(profile, &Horizon::awc_cm_cm, 90, 120));
    EXPECT_FALSE(limiting_ksat_um_s(profile));
}

TEST(ProfileLimits, RootingDepth) {
    const Profile profile = checked_profile("9", {{.top_cm = 0, .bottom_cm = 200}});
    EXPECT_DOUBLE_EQ(*rooting_depth_cm(profile, {}), 150.0);
    EXPECT_DOUBLE_EQ(*rooting_depth_cm(profile, {}, 220.0), 200.0);
    EXPECT_DOUBLE_EQ(*rooting_depth_cm(profile, Restriction{NaturalPan::dense_till, 180, 200, ""}),
                     150.0);
    EXPECT_DOUBLE_EQ(*rooting_depth_cm(profile, Restriction{NaturalPan::dense_till, 90, 200, ""}),
                     90.0);
    EXPECT_FALSE(rooting_depth_cm(checked_profile("8", {}), {}));
    EXPECT_DOUBLE_EQ(checked_profile("8", {}).bottom_cm(), 0.0);
}

// SSM: R bedrock, Cr weathered bedrock, x fragipan, m cemented, d densic; NSSH 618 restriction
// kinds.
TEST(ProfileLimits, PansByDesignationAndByWords) {
    const std::pair<const char*, const char*> words[] = {
        {"Bedrock, lithic", "hard bedrock"}, {"Lithic bedrock", "hard bedrock"},
        {"Bedrock", "hard bedrock"},         {"Paralithic bedrock", "soft bedrock"},
        {"soft bedrock", "soft bedrock"},    {"FRAGIPAN", "fragipan"},
        {"Densic material", "dense till"},   {"Dense material", "dense till"},
        {"dense till", "dense till"},        {"Duripan", "cemented layer"},
        {"Petrocalcic", "cemented layer"},   {"Petrogypsic", "cemented layer"},
        {"Petroferric", "cemented layer"},   {"Placic", "cemented layer"},
        {"Ortstein", "cemented layer"},      {"Strongly cemented layer", "cemented layer"},
        {"ironstone", "cemented layer"},     {"hardpan", "cemented layer"},
    };
    for (const auto& [text, pan] : words)
        EXPECT_EQ(natural_pan_name(pan_from_words(text).value()), pan) << text;
    for (const char* text : {"", "Abrupt textural change", "Strongly contrasting textural",
                             "Natric", "Salic", "Sulfuric", "Permafrost"})
        EXPECT_FALSE(pan_from_words(text)) << text;

    const std::pair<const char*, const char*> designations[] = {
        {"R", "hard bedrock"}, {"2Cr", "soft bedrock"}, {"CBr", "soft bedrock"},
        {"Btx2", "fragipan"},  {"^Bx", "fragipan"},     {"Bkqm", "cemented layer"},
        {"Cd2", "dense till"}, {"BCd", "dense till"},
    };
    for (const auto& [name, pan] : designations)
        EXPECT_EQ(natural_pan_name(pan_from_horizon_name(name).value()), pan) << name;
    // d marks plough pans in A and B horizons, r gleying in B horizons: they tell nothing.
    for (const char* name : {"Apd", "Bd", "Br", "1", "12", "h3", "H", " "})
        EXPECT_FALSE(pan_from_horizon_name(name)) << name;
    EXPECT_TRUE(is_bare_designation("h3"));
    EXPECT_TRUE(is_bare_designation(" H "));
    EXPECT_FALSE(is_bare_designation("HA"));
}

TEST(ProfileLimits, TheShallowestPanCounts) {
    const Profile profile = checked_profile("9", {{.name = "Ap", .top_cm = 0, .bottom_cm = 25},
                                                  {.name = "Cd", .top_cm = 25, .bottom_cm = 80},
                                                  {.name = "R", .top_cm = 80, .bottom_cm = 100}});
    const auto described = natural_restriction(profile);
    EXPECT_EQ(described->kind, NaturalPan::dense_till);
    EXPECT_EQ(described->evidence, "horizon Cd");
    EXPECT_DOUBLE_EQ(described->bottom_cm, 80.0);
    // At the same depth the description, which has a bottom too; above it the map.
    EXPECT_EQ(natural_restriction(profile, "Fragipan", 25.0)->kind, NaturalPan::dense_till);
    const auto mapped = natural_restriction(profile, " Fragipan ", 24.0);
    EXPECT_EQ(mapped->kind, NaturalPan::fragipan);
    EXPECT_EQ(mapped->evidence, "restriction 'Fragipan' of the soil map");
    EXPECT_DOUBLE_EQ(mapped->bottom_cm, 24.0);
    // Words that name no pan, and a pan of no known depth, change nothing.
    EXPECT_EQ(natural_restriction(profile, "Natric", 10.0)->kind, NaturalPan::dense_till);
    EXPECT_EQ(natural_restriction(profile, "Fragipan")->kind, NaturalPan::dense_till);
    EXPECT_FALSE(natural_restriction(checked_profile("8", {}), "Fragipan"));
    EXPECT_TRUE(natural_restriction(checked_profile("8", {}), "Fragipan", 40.0));
}

// --- map attributes ------------------------------------------------------------------------------

/// A number of a soil map with the ends of what is taken.
struct AttributeRange {
    const char* column;
    double low, high;
    std::optional<double> (*value)(const MapUnit&);
};

TEST(MapUnitLimits, NumbersOutOfRangeAreLeftOutWithAWarning) {
    const AttributeRange ranges[] = {
        {"comppct_r", 0, 100, [](const MapUnit& u) { return u.component_pct; }},
        {"kffact", 0.001, 1, [](const MapUnit& u) { return u.kf_us; }},
        {"kwfact", 0.001, 1, [](const MapUnit& u) { return u.kw_us; }},
        {"tfact", 1, 5, [](const MapUnit& u) { return u.t_us; }},  // NSSH 618: T is 1 to 5
        {"wei", 0, 400, [](const MapUnit& u) { return u.wind_index_us; }},
        {"slope_r", 0, 999, [](const MapUnit& u) { return u.slope_pct; }},
        {"wtdepannmin", 0, 1000, [](const MapUnit& u) { return u.water_table_cm; }},
        {"resdept_r", 0, 1000, [](const MapUnit& u) { return u.restriction_top_cm; }},
        {"ph1to1h2o_r", 0, 14, [](const MapUnit& u) { return u.ph; }},
        {"cec7_r", 0, 400, [](const MapUnit& u) { return u.cec_cmol_kg; }},
        {"sandvf_r", 0, 100, [](const MapUnit& u) { return u.surface.very_fine_sand_pct; }},
        {"om_r", 0, 100, [](const MapUnit& u) { return u.surface.om_pct; }},
        {"dbthirdbar_r", 0.1, 2.65, [](const MapUnit& u) { return u.surface.bulk_density_g_cm3; }},
        {"ksat_r", 0, 1e5, [](const MapUnit& u) { return u.surface.ksat_um_s; }},
        {"awc_r", 0, 0.6, [](const MapUnit& u) { return u.surface.awc_cm_cm; }},
        {"fragvol_r", 0, 100, [](const MapUnit& u) { return u.surface.fragments_pct; }},
    };
    for (const AttributeRange& range : ranges) {
        const double step = range.high * 0.0005;
        for (const double taken : {range.low, range.high}) {
            const MapUnit unit = unit_of({{range.column, std::to_string(taken)}});
            EXPECT_TRUE(unit.warnings.empty()) << range.column;
            ASSERT_TRUE(range.value(unit)) << range.column;
            EXPECT_NEAR(*range.value(unit), taken, 1e-6) << range.column;
        }
        for (const double beyond : {range.low - step, range.high + step}) {
            const MapUnit unit = unit_of({{range.column, std::to_string(beyond)}});
            ASSERT_EQ(unit.warnings.size(), 1u) << range.column << " " << beyond;
            EXPECT_TRUE(mentions(unit.warnings[0], std::string("polygon 3: ") + range.column));
            EXPECT_FALSE(range.value(unit)) << range.column;
        }
    }
}

TEST(MapUnitLimits, SeparatesOffOneHundredAreNotUsed) {
    const auto unit = [](const char* silt) {
        return unit_of({{"sandtotal_r", "40"}, {"silttotal_r", silt}, {"claytotal_r", "20"}});
    };
    EXPECT_TRUE(unit("41").warnings.empty());
    EXPECT_TRUE(mentions(unit("45").warnings.at(0), "scaled to 100"));
    EXPECT_NEAR(*unit("45").surface.silt_pct, 45 / 1.05, 1e-9);
    EXPECT_TRUE(mentions(unit("45.1").warnings.at(0), "the three were not used"));
    EXPECT_FALSE(unit("45.1").surface.silt_pct);
    EXPECT_FALSE(unit("45.1").texture());
    EXPECT_TRUE(mentions(unit("101").warnings.at(0), "outside 0 to 100"));
}

TEST(MapUnitLimits, Words) {
    // NSSH 618: A to D, and A/D, B/D, C/D for soils that a water table makes wet.
    for (const char* group : {"A", "B", "C", "D", "A/D", "B/D", "C/D"}) {
        ASSERT_TRUE(parse_hydrologic_group(group)) << group;
        EXPECT_EQ(hydrologic_group_name(*parse_hydrologic_group(group)), group);
    }
    for (const char* group : {"", "E", "AB", "D/D", "A/C", "/D", "B/"})
        EXPECT_FALSE(parse_hydrologic_group(group)) << group;
    EXPECT_EQ(parse_hydrologic_group("b/d")->when(true), HydrologicGroup::b);
    EXPECT_EQ(parse_hydrologic_group("b/d")->when(false), HydrologicGroup::d);

    // The seven natural drainage classes of the SSM, dry to wet.
    const char* drainage[] = {
        "excessively drained",     "somewhat excessively drained", "well drained",
        "moderately well drained", "somewhat poorly drained",      "poorly drained",
        "very poorly drained"};
    for (int i = 0; i < 7; ++i) {
        const auto parsed = parse_drainage(drainage[i]);
        ASSERT_TRUE(parsed) << drainage[i];
        EXPECT_EQ(static_cast<int>(*parsed), i);
        EXPECT_EQ(drainage_name(*parsed), drainage[i]);
    }
    for (const char* word : {"", "drained", "subaqueous", "well drained soil"})
        EXPECT_FALSE(parse_drainage(word)) << word;

    const MapUnit unit = unit_of({{"hydgrp", "E"}, {"drainagecl", "wet"}});
    EXPECT_EQ(unit.warnings, (Strings{"polygon 3: 'E' is no hydrologic soil group.",
                                      "polygon 3: 'wet' is no drainage class."}));
    EXPECT_FALSE(unit.hydrologic_group || unit.drainage);
    // A name without a texture gives none, and neither does one that is a texture alone.
    EXPECT_EQ(unit_of({{"muname", "Miami clay loam, 6 to 12 percent"}}).texture(),
              TextureClass::clay_loam);
    EXPECT_FALSE(unit_of({{"muname", "Urban land, 0 to 2 percent slopes"}}).texture());
    EXPECT_FALSE(unit_of({{"muname", "Water"}}).texture());
}

TEST(MapUnitLimits, EveryShortNameSetsItsColumn) {
    std::map<std::string, std::string MapUnitColumns::*> names = {
        {"key", &MapUnitColumns::key},
        {"symbol", &MapUnitColumns::symbol},
        {"name", &MapUnitColumns::name},
        {"component", &MapUnitColumns::component},
        {"component_pct", &MapUnitColumns::component_pct},
        {"k", &MapUnitColumns::k},
        {"kw", &MapUnitColumns::kw},
        {"t", &MapUnitColumns::t},
        {"wind_group", &MapUnitColumns::wind_group},
        {"wind_index", &MapUnitColumns::wind_index},
        {"hydrologic_group", &MapUnitColumns::hydrologic_group},
        {"drainage", &MapUnitColumns::drainage},
        {"slope", &MapUnitColumns::slope},
        {"water_table", &MapUnitColumns::water_table},
        {"restriction", &MapUnitColumns::restriction},
        {"restriction_top", &MapUnitColumns::restriction_top},
        {"sand", &MapUnitColumns::sand},
        {"very_fine_sand", &MapUnitColumns::very_fine_sand},
        {"ph", &MapUnitColumns::ph},
        {"cec", &MapUnitColumns::cec},
    };
    for (const auto& [name, member] : names) {
        MapUnitColumns columns;
        set_columns(columns, " " + name + " = mine ,");
        EXPECT_EQ(columns.*member, "mine") << name;
    }
    MapUnitColumns columns;
    EXPECT_FALSE(refuses(message_of([&] { set_columns(columns, ""); })));
    EXPECT_TRUE(
        mentions(message_of([&] { set_columns(columns, "k="); }), "'k=' is no name=column"));
    EXPECT_TRUE(mentions(message_of([&] { set_columns(columns, "qqqqqqqqqq=x"); }),
                         "Known names are key, k, t, sand, silt, clay, om and others."));
    HorizonColumns horizon;
    set_columns(horizon, "FRAGMENTS=stones");
    EXPECT_EQ(horizon.fragments, "stones");
    EXPECT_TRUE(mentions(message_of([&] { set_columns(horizon, "slope=x"); }),
                         "unknown soil column name 'slope'"));
}

// --- erodibility ---------------------------------------------------------------------------------

TEST(ErodibilityLimits, NomographInputs) {
    const auto refused = [](Nomograph input) { return message_of([&] { nomograph_k_us(input); }); };
    EXPECT_FALSE(refuses(refused({70, 30, 2, 1, 1})));
    EXPECT_FALSE(refuses(refused({0, 100, 0, 4, 6})));
    EXPECT_FALSE(refuses(refused({0, 0, 100, 2, 3})));
    EXPECT_TRUE(mentions(refused({70.1, 10, 2, 2, 3}), "silt + very fine sand (%) is 70.1"));
    EXPECT_TRUE(mentions(refused({-0.1, 10, 2, 2, 3}), "silt + very fine sand (%) is -0.1"));
    EXPECT_TRUE(mentions(refused({0, 100.1, 2, 2, 3}), "clay (%) is 100.1"));
    EXPECT_TRUE(mentions(refused({10, -1, 2, 2, 3}), "clay (%) is -1"));
    EXPECT_TRUE(mentions(refused({70, 30.1, 2, 2, 3}), "silt + very fine sand + clay (%)"));
    EXPECT_TRUE(mentions(refused({60, 20, 100.1, 2, 3}), "organic matter (%) is 100.1"));
    EXPECT_TRUE(mentions(refused({60, 20, -0.1, 2, 3}), "organic matter (%) is -0.1"));
    EXPECT_TRUE(mentions(refused({60, 20, 2, 0, 3}), "structure code is 0"));
    EXPECT_TRUE(mentions(refused({60, 20, 2, 5, 3}), "structure code is 5"));
    EXPECT_TRUE(mentions(refused({60, 20, 2, 2, 0}), "permeability class is 0"));
    EXPECT_TRUE(mentions(refused({60, 20, 2, 2, 7}), "permeability class is 7"));
    EXPECT_FALSE(refuses(message_of([] { permeability_class(0.0); })));
    EXPECT_TRUE(refuses(message_of([] { permeability_class(-0.1); })));
    EXPECT_TRUE(refuses(message_of([] { permeability_class(1.1e6); })));
    EXPECT_FALSE(refuses(message_of([] { williams_k_us({40, 39, 20}, 0.0); })));
    EXPECT_FALSE(refuses(message_of([] { williams_k_us({40, 41, 20}, 100.0); })));
    EXPECT_TRUE(refuses(message_of([] { williams_k_us({40, 38.9, 20}, 1.0); })));
    EXPECT_TRUE(refuses(message_of([] { williams_k_us({40, 41.1, 20}, 1.0); })));
    EXPECT_TRUE(refuses(message_of([] { williams_k_us({40, 40, 20}, -0.1); })));
    EXPECT_TRUE(refuses(message_of([] { williams_k_us({40, 40, 20}, 100.1); })));
    // No fines, no silt among them: f2 and with it K is 0.
    EXPECT_DOUBLE_EQ(williams_k_us({100, 0, 0}, 1.0), 0.0);
}

// NSSH 618.92, the whole table; below 15 % by volume fragments do not count.
TEST(ErodibilityLimits, WholeFragmentTable) {
    const std::pair<double, double> table[] = {
        {15, .68}, {20, .61}, {25, .54}, {30, .48}, {35, .43}, {40, .38},
        {45, .34}, {50, .30}, {55, .26}, {60, .22}, {65, .19}, {70, .16},
        {75, .13}, {80, .10}, {85, .08}, {90, .06}, {95, .04}, {100, .03},
    };
    for (const auto& [pct, factor] : table) EXPECT_NEAR(fragment_factor(pct), factor, 1e-12);
    EXPECT_DOUBLE_EQ(fragment_factor(0), 1.0);
    EXPECT_DOUBLE_EQ(fragment_factor(14.99), 1.0);
    EXPECT_NEAR(fragment_factor(22), 0.61 - 0.4 * 0.07, 1e-12);
    EXPECT_TRUE(refuses(message_of([] { fragment_factor(-0.1); })));
    EXPECT_TRUE(refuses(message_of([] { fragment_factor(100.1); })));
}

// NSSH 618: class values of K; the nearest is taken.
TEST(ErodibilityLimits, ClassValues) {
    const double classes[] = {.02, .05, .10, .15, .17, .20, .24, .28, .32, .37, .43, .49, .55, .64};
    for (std::size_t i = 0; i < std::size(classes); ++i) {
        EXPECT_DOUBLE_EQ(nearest_k_class(classes[i]), classes[i]);
        if (i == 0) continue;
        const double middle = 0.5 * (classes[i - 1] + classes[i]);
        EXPECT_DOUBLE_EQ(nearest_k_class(middle - 1e-6), classes[i - 1]);
        EXPECT_DOUBLE_EQ(nearest_k_class(middle + 1e-6), classes[i]);
    }
    EXPECT_DOUBLE_EQ(nearest_k_class(0.0), 0.02);
    EXPECT_DOUBLE_EQ(nearest_k_class(1.0), 0.64);
}

// AH-703 chapter 3 after Rawls et al. 1982: permeability class by texture.
TEST(ErodibilityLimits, PermeabilityByTexture) {
    const std::pair<TextureClass, int> classes[] = {
        {TextureClass::sand, 1},
        {TextureClass::loamy_sand, 2},
        {TextureClass::sandy_loam, 2},
        {TextureClass::loam, 3},
        {TextureClass::silt_loam, 3},
        {TextureClass::silt, 3},
        {TextureClass::sandy_clay_loam, 4},
        {TextureClass::clay_loam, 4},
        {TextureClass::silty_clay_loam, 5},
        {TextureClass::sandy_clay, 5},
        {TextureClass::silty_clay, 6},
        {TextureClass::clay, 6},
    };
    for (const auto& [texture, expected] : classes)
        EXPECT_EQ(permeability_class(texture), expected) << texture_name(texture);
}

/// 30 % sand with 8 % very fine sand, 50 % silt, 20 % clay, 2.5 % organic matter: loam edge of the
/// silt loams, structure 2.
Horizon plain_surface() {
    Horizon surface = mineral("Ap", 0, 25, 30, 20, 1.4);
    surface.very_fine_sand_pct = 8;
    surface.om_pct = 2.5;
    return surface;
}

// Figures from the equations of AH-537 and Williams 1995, worked out apart from this program.
TEST(ErodibilityLimits, EveryRouteNamesItself) {
    Strings warnings;
    MapUnit unit;
    unit.surface = plain_surface();
    const auto by_texture = erodibility(unit, nullptr, Stones::in_cover, warnings);
    EXPECT_EQ(erodibility_route_name(by_texture->route), "nomograph, permeability from texture");
    EXPECT_NEAR(by_texture->k_us, 0.3018, 5e-5);  // silt + vfs 58, clay 20, b 2, c 3
    EXPECT_NEAR(by_texture->k_si, 0.3018 * 0.1317, 2e-5);
    EXPECT_EQ(by_texture->basis,
              "silt + very fine sand 58 %, clay 20 %, organic matter 2.5 %, structure 2 (assumed), "
              "permeability 3 (from texture)");

    // 45 of 50 cm with a conductivity are enough, a little less is not.
    Horizon surface = plain_surface();
    surface.ksat_um_s = 9.0;
    Horizon below{.name = "Bt", .top_cm = 25, .bottom_cm = 45, .ksat_um_s = 2.0};
    const Profile described = checked_profile("9", {surface, below});
    const auto by_ksat = erodibility({}, &described, Stones::in_cover, warnings);
    EXPECT_EQ(erodibility_route_name(by_ksat->route), "nomograph, permeability from conductivity");
    EXPECT_NEAR(by_ksat->k_us, 0.3268, 5e-5);  // 2 um/s: class 4
    EXPECT_TRUE(mentions(by_ksat->basis, "permeability 4 (lowest conductivity 2.00 um/s"));
    below.bottom_cm = 44.9;
    const Profile shallow = checked_profile("9", {surface, below});
    EXPECT_EQ(erodibility({}, &shallow, Stones::in_cover, warnings)->route,
              ErodibilityRoute::nomograph_texture);
    EXPECT_TRUE(warnings.empty());

    // Horizon K before the nomograph, map K before both.
    Horizon stated = surface;
    stated.kf_us = 0.37;
    const Profile with_k = checked_profile("9", {stated});
    const auto by_horizon = erodibility({}, &with_k, Stones::in_cover, warnings);
    EXPECT_EQ(erodibility_route_name(by_horizon->route), "horizon table");
    EXPECT_DOUBLE_EQ(by_horizon->k_us, 0.37);
    MapUnit mapped;
    mapped.kf_us = 0.43;
    const auto by_map = erodibility(mapped, &with_k, Stones::in_cover, warnings);
    EXPECT_EQ(erodibility_route_name(by_map->route), "soil map");
    EXPECT_DOUBLE_EQ(by_map->k_us, 0.43);

    // 70 % silt + very fine sand is the last the nomograph is good for.
    Horizon silty = mineral("Ap", 0, 25, 8, 22, 1.3);
    silty.om_pct = 3;
    silty.very_fine_sand_pct = 0.0;
    MapUnit silt_unit;
    silt_unit.surface = silty;
    EXPECT_NEAR(erodibility(silt_unit, nullptr, Stones::in_cover, warnings)->k_us, 0.3442, 5e-5);
    EXPECT_TRUE(warnings.empty());
    silt_unit.surface = mineral("Ap", 0, 25, 10, 18, 1.3);
    silt_unit.surface.om_pct = 3;
    silt_unit.surface.very_fine_sand_pct = 2;
    const auto by_carbon = erodibility(silt_unit, nullptr, Stones::in_cover, warnings);
    EXPECT_EQ(erodibility_route_name(by_carbon->route), "texture and carbon");
    EXPECT_NEAR(by_carbon->k_us, 0.3499, 5e-5);
    EXPECT_EQ(by_carbon->basis, "sand 10, silt 72, clay 18 %, organic carbon 1.74 %");
    ASSERT_EQ(warnings.size(), 1u);
    EXPECT_TRUE(mentions(warnings[0], "Silt and very fine sand are 74 %, over the 70 %"));
}

TEST(ErodibilityLimits, WhatTheMapLacksComesFromTheHorizons) {
    Strings warnings;
    Horizon described = plain_surface();
    described.fragments_pct = 30;
    const Profile profile = checked_profile("9", {described});
    const auto whole = erodibility({}, &profile, Stones::in_k, warnings);
    EXPECT_NEAR(whole->k_us, 0.3018 * 0.48, 5e-5);  // NSSH 618.92: 30 % is 0.48
    EXPECT_TRUE(mentions(whole->basis, ", rock fragments 30 %"));
    EXPECT_EQ(whole->stones, Stones::in_k);
    EXPECT_TRUE(warnings.empty());
    // The map's own texture, organic matter and stones stay.
    MapUnit unit;
    unit.surface = mineral("", 0, 20, 60, 27, 1.4);
    unit.surface.very_fine_sand_pct = 12;
    unit.surface.om_pct = 1.5;
    unit.surface.fragments_pct = 0;
    const auto own = erodibility(unit, &profile, Stones::in_k, warnings);
    EXPECT_NEAR(own->k_us, 0.1726, 5e-5);  // silt + vfs 25, clay 27, b 3, c 4
    // Nothing known of stones is said; of texture or organic matter gives no K.
    unit.surface.fragments_pct.reset();
    erodibility(unit, nullptr, Stones::in_k, warnings);
    EXPECT_EQ(warnings, Strings{"Rock fragments are not known; K is that of the fine earth."});
    unit.surface.om_pct.reset();
    EXPECT_FALSE(erodibility(unit, nullptr, Stones::in_k, warnings));
    EXPECT_TRUE(erodibility({}, &profile, Stones::in_cover, warnings));
    const Profile empty = checked_profile("8", {});
    EXPECT_FALSE(erodibility({}, &empty, Stones::in_cover, warnings));
}

// NSSH 618: measured K lies in 0.02 to 0.69.
TEST(ErodibilityLimits, StatedKOutsideTheMeasuredRangeIsNotUsed) {
    const auto route = [](double k, Strings& warnings) {
        MapUnit unit;
        unit.surface = plain_surface();
        unit.kf_us = k;
        return erodibility(unit, nullptr, Stones::in_cover, warnings)->route;
    };
    Strings warnings;
    EXPECT_EQ(route(0.02, warnings), ErodibilityRoute::map);
    EXPECT_EQ(route(0.69, warnings), ErodibilityRoute::map);
    EXPECT_TRUE(warnings.empty());
    EXPECT_EQ(route(0.691, warnings), ErodibilityRoute::nomograph_texture);
    ASSERT_EQ(warnings.size(), 1u);
    EXPECT_TRUE(mentions(warnings[0], "K on the map is 0.691 (US units)"));
    EXPECT_FALSE(mentions(warnings[0], "SI units"));
    warnings.clear();
    EXPECT_EQ(route(0.019, warnings), ErodibilityRoute::nomograph_texture);
    ASSERT_EQ(warnings.size(), 1u);
    EXPECT_TRUE(mentions(warnings[0], "If it is in SI units, divide it by 0.1317."));

    // Sand: silt 3, clay 2, b 1, c 1 comes out below 0 and is brought to 0.02.
    warnings.clear();
    MapUnit sand;
    sand.surface = mineral("Ap", 0, 25, 95, 2, 1.5);
    sand.surface.very_fine_sand_pct = 0;
    sand.surface.om_pct = 4;
    const auto k = erodibility(sand, nullptr, Stones::in_cover, warnings);
    EXPECT_DOUBLE_EQ(k->k_us, 0.02);
    EXPECT_DOUBLE_EQ(k->k_si, 0.02 * units::k_si_per_us);
    ASSERT_EQ(warnings.size(), 1u);
    EXPECT_TRUE(mentions(warnings[0], "K comes out at -0.072 (US units)"));
}

// --- density -------------------------------------------------------------------------------------

/// A row of the NRCS table, Soil Quality Indicators: Bulk Density.
struct LimitRow {
    TextureClass texture;
    double clay_pct;
    double ideal, affects, restricts;
};

TEST(DensityLimits, WholeTableFromBothSides) {
    const LimitRow rows[] = {
        {TextureClass::sand, 3, 1.60, 1.69, 1.80},
        {TextureClass::loamy_sand, 6, 1.60, 1.69, 1.80},
        {TextureClass::sandy_loam, 12, 1.40, 1.63, 1.80},
        {TextureClass::loam, 20, 1.40, 1.60, 1.75},
        {TextureClass::sandy_clay_loam, 27, 1.40, 1.60, 1.75},
        {TextureClass::clay_loam, 34.9, 1.40, 1.60, 1.75},
        {TextureClass::clay_loam, 35, 1.10, 1.49, 1.58},
        {TextureClass::silt, 8, 1.30, 1.60, 1.75},
        {TextureClass::silt_loam, 17.9, 1.30, 1.60, 1.75},
        {TextureClass::silt_loam, 18, 1.40, 1.55, 1.65},
        {TextureClass::silty_clay_loam, 33, 1.40, 1.55, 1.65},
        {TextureClass::sandy_clay, 45, 1.10, 1.49, 1.58},
        {TextureClass::sandy_clay, 45.1, 1.10, 1.39, 1.47},
        {TextureClass::silty_clay, 45, 1.10, 1.49, 1.58},
        {TextureClass::silty_clay, 45.1, 1.10, 1.39, 1.47},
        {TextureClass::clay, 45, 1.10, 1.49, 1.58},
        {TextureClass::clay, 45.1, 1.10, 1.39, 1.47},
    };
    for (const LimitRow& row : rows) {
        const DensityLimits limits = density_limits(row.texture, row.clay_pct);
        const auto name = [&](double density) {
            return density_class_name(density_class(density, limits));
        };
        SCOPED_TRACE(std::string(texture_name(row.texture)) + " " + std::to_string(row.clay_pct));
        EXPECT_EQ(name(row.ideal - 0.001), "ideal");
        EXPECT_EQ(name(row.ideal), "acceptable");
        EXPECT_EQ(name(row.affects - 0.001), "acceptable");
        EXPECT_EQ(name(row.affects), "affects roots");
        EXPECT_EQ(name(row.restricts), "affects roots");
        EXPECT_EQ(name(row.restricts + 0.001), "restricts roots");
    }
}

// USDA list of densities where root problems begin.
TEST(DensityLimits, OnsetList) {
    const std::pair<TextureClass, double> list[] = {
        {TextureClass::sand, 1.80},
        {TextureClass::loamy_sand, 1.80},
        {TextureClass::sandy_loam, 1.75},
        {TextureClass::loam, 1.70},
        {TextureClass::sandy_clay_loam, 1.70},
        {TextureClass::clay_loam, 1.65},
        {TextureClass::sandy_clay, 1.60},
        {TextureClass::silt, 1.55},
        {TextureClass::silt_loam, 1.55},
        {TextureClass::silty_clay_loam, 1.50},
        {TextureClass::silty_clay, 1.45},
        {TextureClass::clay, 1.40},
    };
    for (const auto& [texture, onset] : list)
        EXPECT_DOUBLE_EQ(onset_density_g_cm3(texture), onset) << texture_name(texture);
    // SSM: very fine sand is sand with at least half very fine sand; loamy sands keep their own.
    EXPECT_DOUBLE_EQ(onset_density_g_cm3(TextureClass::sand, 49.9), 1.80);
    EXPECT_DOUBLE_EQ(onset_density_g_cm3(TextureClass::sand, 50), 1.77);
    EXPECT_DOUBLE_EQ(onset_density_g_cm3(TextureClass::loamy_sand, 50), 1.80);
}

// Saxton & Rawls 2006 give their equations for up to 60 % clay and 8 % organic matter. The
// densities are their equations worked out apart from this program.
TEST(DensityLimits, SaxtonRawlsFromBothSidesOfItsLimits) {
    EXPECT_NEAR(saxton_rawls(20, 60, 8)->density_g_cm3, 1.31496, 1e-5);
    EXPECT_FALSE(saxton_rawls(20, 60.1, 2));
    EXPECT_FALSE(saxton_rawls(20, 60, 8.1));
    EXPECT_FALSE(saxton_rawls(-0.1, 20, 2));
    EXPECT_FALSE(saxton_rawls(20, -0.1, 2));
    EXPECT_FALSE(saxton_rawls(20, 20, -0.1));
    EXPECT_TRUE(saxton_rawls(60, 40, 2));
    EXPECT_FALSE(saxton_rawls(60, 40.1, 2));
    EXPECT_NEAR(saxton_rawls(0, 0, 0)->density_g_cm3, 1.72122, 1e-5);
    // Sand without clay or humus: a wilting point below 0. Clay with much sand and humus: field
    // capacity above saturation.
    EXPECT_FALSE(saxton_rawls(90, 0, 0));
    EXPECT_FALSE(saxton_rawls(40, 60, 8));
}

TEST(DensityLimits, NatureOfALayer) {
    const auto nature = [](const std::string& name, double top_cm,
                           const std::optional<Restriction>& restriction = {}) {
        const Profile profile =
            checked_profile("9", {mineral(name, top_cm, top_cm + 20, 40, 20, 1.7)});
        const HorizonDensity layer = horizon_densities(profile, restriction).at(0);
        return std::string(layer_nature_name(layer.nature)) + ": " + layer.why;
    };
    EXPECT_EQ(nature("Bw", 45),
              "traffic possible: at plough or wheel depth, and no natural pan is "
              "described");
    EXPECT_EQ(nature("Bw", 45.1),
              "unknown: below the reach of most traffic, and no natural pan is described");
    EXPECT_EQ(nature("H2", 25), "unknown: the horizon's designation does not tell what it is");
    EXPECT_EQ(nature("2C", 25), "natural: parent material below the soil");
    EXPECT_TRUE(mentions(nature("Bt", 25), "unknown: clay-enriched subsoil"));
    EXPECT_TRUE(mentions(nature("BCt", 25), "unknown: clay-enriched subsoil"));
    EXPECT_TRUE(mentions(nature("AC", 25), "traffic possible"));
    EXPECT_TRUE(mentions(nature("EC", 25), "traffic possible"));
    // A layer that reaches below the top of a pan is natural, one that ends there is not.
    const Restriction pan{NaturalPan::fragipan, 45, 60, "horizon Bx"};
    EXPECT_TRUE(mentions(nature("Bw", 25, pan), "traffic possible"));
    EXPECT_EQ(nature("Bw", 25.1, pan), "natural: fragipan from 45 cm (horizon Bx)");
}

TEST(DensityLimits, OnlyHorizonsWithDensityAndTextureAreJudged) {
    Horizon bare{.name = "A", .top_cm = 0, .bottom_cm = 10, .bulk_density_g_cm3 = 1.4};
    Horizon light = mineral("E", 10, 20, 40, 20, 1.4);
    light.bulk_density_g_cm3.reset();
    Horizon full = mineral("Bw", 20, 40, 40, 20, 1.68);
    full.om_pct = 1;
    Horizon organic = mineral("Oa", 40, 50, 40, 20, 1.0);
    organic.om_pct = 8.5;
    const auto layers = horizon_densities(checked_profile("9", {bare, light, full, organic}));
    ASSERT_EQ(layers.size(), 2u);
    // Saxton & Rawls for sand 40, clay 20, organic matter 1: 1.5369 g/cm3, theta_33 0.2632.
    EXPECT_NEAR(*layers[0].expected_g_cm3, 1.5369, 5e-5);
    EXPECT_NEAR(*layers[0].excess_g_cm3, 0.1431, 5e-5);
    EXPECT_NEAR(*layers[0].air_porosity, 0.1028, 5e-5);  // 1 - 1.68 / 2.65 - 0.2632
    EXPECT_DOUBLE_EQ(layers[0].onset_g_cm3, 1.70);
    EXPECT_FALSE(layers[1].expected_g_cm3 || layers[1].excess_g_cm3 || layers[1].air_porosity);
}

TEST(DensityLimits, NeighboursJoinGapsDoNot) {
    const auto layer = [](std::vector<Horizon> horizons,
                          DensityClass at_least = DensityClass::affects) {
        return dense_layer(horizon_densities(checked_profile("9", std::move(horizons))), at_least);
    };
    const Horizon plough = mineral("Ap", 0, 20, 40, 20, 1.35);
    const Horizon pan = mineral("Bw1", 20, 35, 40, 20, 1.65);
    const Horizon hard = mineral("", 35, 60, 40, 20, 1.80);
    const Horizon loose = mineral("C", 60, 100, 40, 20, 1.40);
    const auto joined = layer({plough, pan, hard, loose});
    ASSERT_TRUE(joined);
    EXPECT_DOUBLE_EQ(joined->top_cm, 20);
    EXPECT_DOUBLE_EQ(joined->bottom_cm, 60);
    EXPECT_EQ(joined->horizons, "Bw1, unnamed");
    EXPECT_EQ(joined->level, DensityClass::restricts);  // worst of the two, table: above 1.75
    EXPECT_EQ(joined->nature, LayerNature::traffic_possible);
    EXPECT_FALSE(joined->to_bottom);
    EXPECT_EQ(joined->reason,
              "horizon Bw1 at 20 cm has 1.65 g/cm3; loam may affect roots from 1.60 and restricts "
              "them above 1.75; at plough or wheel depth, and no natural pan is described");
    EXPECT_TRUE(layer({plough, pan, hard})->to_bottom);
    // Only what restricts: the unnamed horizon alone.
    const auto worst = layer({plough, pan, hard, loose}, DensityClass::restricts);
    EXPECT_DOUBLE_EQ(worst->top_cm, 35);
    EXPECT_TRUE(mentions(worst->reason, "horizon without a name at 35 cm"));
    // Ten undescribed centimetres end the layer.
    Horizon deeper = hard;
    deeper.top_cm = 45;
    EXPECT_DOUBLE_EQ(layer({plough, pan, deeper})->bottom_cm, 35);
    EXPECT_FALSE(layer({plough, loose}));
    EXPECT_FALSE(layer({}));
}

}  // namespace
}  // namespace catchfield::soil
