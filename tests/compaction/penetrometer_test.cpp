// SPDX-License-Identifier: MIT
// Reading stops, averaging pushes, layers, shares; bad input row by row.
#include "compaction/penetrometer.hpp"

#include "base/error.hpp"
#include "base/random.hpp"
#include "support/messages.hpp"

#include <gtest/gtest.h>

#include <algorithm>

namespace catchfield::compaction {
namespace {

using tests::mentions;
using tests::message_of;

bool any_mentions(const std::vector<std::string>& lines, const std::string& part) {
    return std::any_of(lines.begin(), lines.end(),
                       [&](const std::string& line) { return mentions(line, part); });
}

ProbeSet read(const std::string& csv, const ProbeOptions& options = {}) {
    return read_probes(Table::parse(csv, "probes.csv"), options);
}

const ProbeOptions moist{.moisture = Moisture::field_capacity};

TEST(Probes, LongAndWideFormsAgree) {
    const ProbeSet rows = read(
        "stop,x,y,depth_cm,strength_psi\nA,1,2,10,100\nA,1,2,20,200\nA,1,2,30,400\nB,5,6,10,150\nB,"
        "5,6,20,150\n"
        "B,5,6,30,150\n",
        moist);
    const ProbeSet columns = read("stop,x,y,10cm,20cm,30cm\nA,1,2,100,200,400\nB,5,6,150,150,150\n",
                                  {.strength_unit = "psi", .moisture = Moisture::field_capacity});
    ASSERT_EQ(rows.stops.size(), 2u);
    ASSERT_EQ(columns.stops.size(), 2u);
    for (std::size_t i = 0; i < 2; ++i) {
        EXPECT_EQ(rows.stops[i].id, columns.stops[i].id);
        EXPECT_EQ(rows.stops[i].depth_cm, columns.stops[i].depth_cm);
        EXPECT_EQ(rows.stops[i].strength_mpa, columns.stops[i].strength_mpa);
        EXPECT_EQ(*rows.stops[i].at, *columns.stops[i].at);
    }
    EXPECT_NEAR(rows.stops[0].strength_mpa[2], 2.7579, 1e-4);
    EXPECT_TRUE(rows.problems.empty());
    EXPECT_TRUE(rows.warnings.empty());
}

TEST(Probes, UnitsGiveTheSameStops) {
    const ProbeSet psi = read("stop,ci_3in_psi,ci_6in_psi,ci_9in_psi\nA,100,200,400\n", moist);
    const ProbeSet kpa =
        read("stop,depth,strength\nA,76.2,689.4757\nA,152.4,1378.9515\nA,228.6,2757.9029\n",
             {.strength_unit = "kPa", .depth_unit = "mm", .moisture = Moisture::field_capacity});
    for (std::size_t i = 0; i < 3; ++i) {
        EXPECT_NEAR(psi.stops[0].depth_cm[i], kpa.stops[0].depth_cm[i], 1e-9);
        EXPECT_NEAR(psi.stops[0].strength_mpa[i], kpa.stops[0].strength_mpa[i], 1e-6);
    }
    EXPECT_EQ(read("stop,d10,d20,d30\nA,1,2,3\n", {.strength_unit = "MPa", .depth_unit = "cm"})
                  .stops.size(),
              1u);
}

TEST(Probes, UnitsAreNeverGuessed) {
    EXPECT_TRUE(mentions(message_of([] { read("stop,depth_cm,strength\nA,10,100\n"); }),
                         "the unit of the strength is not stated"));
    EXPECT_TRUE(mentions(message_of([] { read("stop,depth,strength_psi\nA,10,100\n"); }),
                         "the unit of the depth is not stated"));
    EXPECT_TRUE(mentions(message_of([] {
                             read("stop,depth_cm,strength_psi\nA,10,100\n",
                                  {.strength_unit = "kPa"});
                         }),
                         "is in kpa (the option) and in psi (column 'strength_psi')"));
    EXPECT_TRUE(mentions(
        message_of([] { read("stop,depth_cm,strength,unit\nA,10,100,psi\nA,20,1.2,MPa\n"); }),
        "psi (line 2) and in mpa (line 3)"));
    EXPECT_TRUE(
        mentions(message_of([] { read("stop,10cm,6in\nA,100,100\n", {.strength_unit = "psi"}); }),
                 "column '6in'"));
    EXPECT_FALSE(message_of([] {
                     read("stop,depth_cm,strength\nA,10,1\n", {.strength_unit = "bar"});
                 }).empty());
    EXPECT_TRUE(mentions(message_of([] { read("stop,value\nA,10\n"); }),
                         "no columns of depth and strength"));
}

TEST(Probes, BadRowsCostTheirPushAndAreNamed) {
    const ProbeSet set = read(
        "stop,push,depth_cm,strength_mpa\n"
        "A,1,10,1\nA,1,20,1.2\nA,1,30,2.4\n"        // good
        "A,2,10,1\nA,2,20,-0.5\nA,2,30,2.4\n"       // line 6 negative
        "B,1,10,1\nB,1,10,1.2\nB,1,30,2.4\n"        // line 9 does not increase
        "C,1,10,300\nC,1,20,1.2\nC,1,30,1.2\n"      // line 11 absurd
        "D,1,10,1\nD,1,20,x\nD,1,30,1.2\n"          // line 15 no number
        "E,1,10,1\nE,1,20,1.5\n"                    // line 17 too few
        "F,1,10,0.01\nF,1,20,0.02\nF,1,30,0.02\n",  // line 19 faint
        moist);
    ASSERT_EQ(set.stops.size(), 1u);
    EXPECT_EQ(set.stops[0].id, "A");
    EXPECT_EQ(set.stops[0].pushes, 1);
    ASSERT_EQ(set.problems.size(), 6u);
    EXPECT_TRUE(
        mentions(set.problems[0], "line 6, stop A, push 2: strength -0.500 MPa is negative"));
    EXPECT_TRUE(mentions(set.problems[1], "line 9, stop B: depth 10.00 cm does not increase"));
    EXPECT_TRUE(mentions(set.problems[2], "line 11, stop C: strength 300 MPa is over 10 MPa"));
    EXPECT_TRUE(mentions(set.problems[3], "line 15, stop D: strength_mpa 'x' is not a number"));
    EXPECT_TRUE(mentions(set.problems[4], "line 17, stop E: only 2 depths"));
    EXPECT_TRUE(mentions(set.problems[5], "check the unit"));
    EXPECT_TRUE(mentions(message_of([] { read("stop,depth_cm,strength_mpa\nA,10,-1\n"); }),
                         "no penetrometer stop can be used: line 2, stop A"));
}

TEST(Probes, PushesAreAveragedWhereTheyReach) {
    const ProbeSet set = read(
        "stop,push,depth_cm,strength_mpa\nA,1,10,1\nA,1,20,2\nA,1,30,3\nA,2,10,2\nA,2,15,2\nA,2,20,"
        "4\n",
        moist);
    const Stop& stop = set.stops[0];
    EXPECT_EQ(stop.pushes, 2);
    EXPECT_EQ(stop.depth_cm, (std::vector<double>{10, 15, 20, 30}));
    EXPECT_EQ(stop.strength_mpa, (std::vector<double>{1.5, 1.75, 3, 3}));
    ASSERT_EQ(set.warnings.size(), 1u);
    EXPECT_TRUE(mentions(set.warnings[0], "not all pushes go below 20"));
}

TEST(Probes, MoistureIsSaidOrRefused) {
    const std::string csv =
        "stop,depth_cm,strength_mpa,moisture\nA,10,1,dry\nA,20,1,dry\nA,30,1,dry\nB,10,1,field "
        "capacity\n"
        "B,20,1,field capacity\nB,30,1,field capacity\n";
    const ProbeSet warned = read(csv);
    EXPECT_EQ(warned.stops.size(), 2u);
    EXPECT_TRUE(any_mentions(warned.warnings, "1 of 2 stops were read in dry soil"));
    EXPECT_TRUE(any_mentions(warned.warnings, "different moisture states"));
    const ProbeSet refused = read(csv, {.policy = MoisturePolicy::refuse});
    ASSERT_EQ(refused.stops.size(), 1u);
    EXPECT_EQ(refused.stops[0].id, "B");
    EXPECT_TRUE(any_mentions(refused.problems, "stop A: moisture is dry"));
    EXPECT_TRUE(mentions(message_of([] {
                             read("stop,depth_cm,strength_mpa\nA,10,1\nA,20,1\nA,30,1\n",
                                  {.policy = MoisturePolicy::refuse});
                         }),
                         "no penetrometer stop can be used"));
    EXPECT_EQ(parse_moisture("Field capacity"), Moisture::field_capacity);
    EXPECT_FALSE(parse_moisture("damp"));
}

TEST(Probes, AStopInAnotherUnitIsDoubted) {
    std::string csv = "stop,depth_cm,strength_psi\n";
    for (const char* stop : {"A", "B", "C", "D"})
        for (int depth = 10; depth <= 40; depth += 10)
            csv += std::string(stop) + "," + std::to_string(depth) + "," +
                   (stop[0] == 'D' ? "1200" : "170") + "\n";
    const ProbeSet set = read(csv, moist);
    ASSERT_EQ(set.warnings.size(), 1u);
    EXPECT_TRUE(mentions(set.warnings[0], "stop D"));
    EXPECT_TRUE(mentions(set.warnings[0], "another unit"));
}

TEST(Probes, ColumnsFromAJobFile) {
    ProbeOptions options = moist;
    set_columns(options.columns, "stop=id, depth=tiefe_cm, strength=ci_psi");
    EXPECT_EQ(read("id,tiefe_cm,ci_psi\nA,10,100\nA,20,100\nA,30,100\n", options).stops.size(), 1u);
    EXPECT_TRUE(mentions(message_of([&] { set_columns(options.columns, "depht=x"); }),
                         "names no probe column"));
}

Stop stop_of(std::vector<double> strength, double step = 5) {
    Stop stop{.id = "s", .moisture = Moisture::field_capacity};
    for (std::size_t i = 0; i < strength.size(); ++i) stop.depth_cm.push_back(step * double(i + 1));
    stop.strength_mpa = std::move(strength);
    return stop;
}

TEST(Layers, NeedTwoDepthsRunning) {
    EXPECT_TRUE(layers_above(stop_of({1, 1, 3, 1, 1}), 2).empty());
    const auto layers = layers_above(stop_of({1, 1, 3, 3, 1, 1, 3, 3}), 2);
    ASSERT_EQ(layers.size(), 2u);
    EXPECT_DOUBLE_EQ(layers[0].top_cm, 12.5);
    EXPECT_DOUBLE_EQ(layers[0].bottom_cm, 22.5);
    EXPECT_FALSE(layers[0].to_last);
    EXPECT_TRUE(layers[1].to_last);
    EXPECT_DOUBLE_EQ(layers[1].bottom_cm, 40);
    const auto surface = layers_above(stop_of({3, 3.5, 1}), 2);
    EXPECT_TRUE(surface[0].from_first);
    EXPECT_DOUBLE_EQ(surface[0].top_cm, 5);
    EXPECT_DOUBLE_EQ(surface[0].peak_mpa, 3.5);
    EXPECT_TRUE(summarise(stop_of({1, 1, 3}), 2).last_alone);
    EXPECT_TRUE(layers_above(stop_of({2, 2, 2}), 2).empty());  // at the limit is not above it
}

// A higher limit never makes more hard depth, and tops lie between the readings that bracket them.
TEST(Layers, ShrinkAsTheLimitRises) {
    const std::uint64_t seed = 300;
    SCOPED_TRACE("seed " + std::to_string(seed));
    Random random(seed);
    for (int round = 0; round < 500; ++round) {
        std::vector<double> strength;
        for (int i = 0; i < 16; ++i) strength.push_back(random.uniform(0, 4));
        const Stop stop = stop_of(strength, 2.5);
        double before = 1e9;
        for (double limit = 0.5; limit < 4; limit += 0.5) {
            double thickness = 0;
            for (const Layer& layer : layers_above(stop, limit)) {
                EXPECT_GE(layer.thickness_cm(), 0);
                EXPECT_GT(layer.peak_mpa, limit);
                thickness += layer.thickness_cm();
            }
            EXPECT_LE(thickness, before + 1e-9);
            before = thickness;
        }
    }
}

TEST(Rating, HighestReadingIn38Centimetres) {
    const Stop stop = stop_of({1, 1, 1, 1, 1, 1, 1, 3});  // 35 cm: 1, 40 cm: 3
    EXPECT_NEAR(*highest_within_mpa(stop), 1 + 2 * 3.1 / 5, 1e-12);
    EXPECT_FALSE(highest_within_mpa(stop_of({1, 2}, 50)));
    std::vector<StopSummary> stops;
    for (int i = 0; i < 10; ++i)
        stops.push_back(summarise(stop_of(std::vector<double>(9, i < 6 ? 2.5 : 1.5))));
    stops.push_back(summarise(stop_of({1, 1, 1})));  // ends at 15 cm: does not count
    stops.push_back(summarise(stop_of({1, 3, 3})));  // ends early, but is hard already
    const auto rating = rate_stops(stops);
    EXPECT_EQ(rating->stops, 11u);
    EXPECT_EQ(rating->above, 7u);
    EXPECT_EQ(rating->rating, Rating::moderate);
    EXPECT_TRUE(rating->deep_loosening);
    ASSERT_EQ(rating->warnings.size(), 1u);
    EXPECT_TRUE(mentions(rating->warnings[0], "1 stops end above 38 cm"));
    EXPECT_FALSE(rate_stops({}));
    stops.resize(3);
    EXPECT_EQ(rate_stops(stops)->confidence, Confidence::assumption);
    EXPECT_TRUE(any_mentions(rate_stops(stops)->warnings, "Only 3 stops"));
}

}  // namespace
}  // namespace catchfield::compaction
