// SPDX-License-Identifier: MIT
#include "base/confidence.hpp"
#include "base/dates.hpp"
#include "base/error.hpp"
#include "base/grid.hpp"
#include "base/random.hpp"
#include "base/shapes.hpp"
#include "base/table.hpp"
#include "base/text.hpp"
#include "base/units.hpp"
#include "support/messages.hpp"

#include <gtest/gtest.h>

#include <cmath>
#include <limits>

namespace catchfield {
namespace {

using tests::message_of;

TEST(Error, NamesPlaceReasonAndNextStep) {
    const Error error(
        ErrorKind::data, "polygon self-intersects near (5, 5)",
        {.path = "fields.gpkg", .layer = "parcels", .feature = "12", .hint = "Repair it."});
    EXPECT_STREQ(error.what(),
                 "fields.gpkg, layer 'parcels', feature 12: polygon self-intersects near (5, 5). "
                 "Repair it.");
    EXPECT_EQ(error.kind(), ErrorKind::data);
}

TEST(Error, NearestName) {
    const std::vector<std::string> known = {"boundary", "elevation", "slope"};
    EXPECT_EQ(nearest_name("boundry", known), "boundary");
    EXPECT_EQ(nearest_name("elevaiton", known), "elevation");
    EXPECT_EQ(nearest_name("xyz", known), "");
    EXPECT_EQ(edit_distance("ab", "ba"), 1u);
}

// Exact definitions: NIST SP 811, appendix B; rounded values as printed in AH-703 appendix A.
TEST(Units, Factors) {
    EXPECT_NEAR(units::kg_ha_per_lb_ac, 1.120851, 1e-6);  // N1
    EXPECT_NEAR(units::l_ha_per_gal_ac, 9.353956, 1e-6);  // N1
    EXPECT_NEAR(units::mg_ha_per_ton_ac, 2.24170, 1e-5);
    EXPECT_NEAR(185 * units::r_si_per_us, 3149, 3149e-3);   // U-1
    EXPECT_NEAR(0.37 * units::k_si_per_us, 0.04873, 5e-5);  // U-1
    EXPECT_NEAR(96.51 * units::mg_ha_per_ton_ac, 216.4, 0.22);
    EXPECT_NEAR(300 * units::mpa_per_psi, 2.0684, 1e-4);  // P1
    EXPECT_NEAR(200 * units::mpa_per_psi, 1.3790, 1e-4);  // P1
    EXPECT_NEAR(2.0 / units::mpa_per_psi, 290.08, 0.01);  // P2
    EXPECT_NEAR(2.5 / units::mpa_per_psi, 362.59, 0.01);  // P2
}

TEST(Units, QuantitiesCarryTheirUnit) {
    EXPECT_DOUBLE_EQ(parse_length_m("3 m", "key"), 3.0);
    EXPECT_DOUBLE_EQ(parse_length_m("10ft", "key"), 3.048);
    EXPECT_NEAR(parse_rate_kg_ha("40 lb/ac", "key"), 44.834, 1e-3);
    EXPECT_NEAR(parse_erosivity_si("150 US", "key"), 2552.9, 0.1);
    EXPECT_DOUBLE_EQ(parse_temperature_c("50 degF", "key"), 10.0);
    EXPECT_DOUBLE_EQ(parse_temperature_c("-2.5 C", "key"), -2.5);
    EXPECT_DOUBLE_EQ(parse_quantity("1e3 m", "key", {{"m", 1.0}}), 1000.0);
}

TEST(Units, BareOrWrongIsRefusedWithTheAcceptedUnits) {
    const std::string bare = message_of([] { parse_length_m("3", "max-slope-length"); });
    EXPECT_NE(bare.find("max-slope-length = 3: a bare number has no unit"), std::string::npos)
        << bare;
    EXPECT_NE(bare.find("m, ft"), std::string::npos);
    const std::string wrong = message_of([] { parse_rate_kg_ha("40 lbs/ac", "step"); });
    EXPECT_NE(wrong.find("Did you mean 'lb/ac'?"), std::string::npos) << wrong;
    EXPECT_THROW(parse_length_m("nan m", "key"), Error);
    EXPECT_THROW(parse_length_m("m", "key"), Error);
    EXPECT_THROW(parse_length_m("1,5 m", "key"), Error);
}

TEST(Text, NumbersAreStrictAndLocaleFree) {
    EXPECT_EQ(parse_number("12.5"), 12.5);
    EXPECT_EQ(parse_number(" +3 "), 3.0);
    for (const char* bad : {"12,5", "nan", "inf", "1e999", "3 m", "", "+-3", "0x10"}) {
        EXPECT_FALSE(parse_number(bad)) << bad;
    }
    EXPECT_EQ(fixed(-0.001, 2), "0.00");
    EXPECT_EQ(fixed(2.345, 1), "2.3");
    EXPECT_EQ(fixed(std::nan(""), 1), "");
    EXPECT_EQ(significant(1234.0, 2), "1200");
    EXPECT_EQ(significant(0.01234, 2), "0.012");
    EXPECT_EQ(significant(9.96, 2), "10");
    EXPECT_EQ(shortest(0.1), "0.1");
}

TEST(Text, FileStemsAreSafeAndDistinct) {
    EXPECT_EQ(safe_file_stem("../../x"), "x");
    EXPECT_EQ(safe_file_stem(""), "field");
    EXPECT_EQ(safe_file_stem("North 40 / east"), "North-40-east");
    EXPECT_LE(safe_file_stem(std::string(300, 'a')).size(), 80u);
    const auto stems = unique_file_stems({"a", "A", "a", "../a"});
    EXPECT_EQ(stems, (std::vector<std::string>{"a", "A-2", "a-3", "a-4"}));
    // Whoever reads a stem back asks whether it is a safe one: long ones, too, stay as they are.
    const std::string common(90, 'a');
    for (const std::string& stem : unique_file_stems({common + "x", common + "y", common}))
        EXPECT_EQ(safe_file_stem(stem), stem);
}

TEST(Grid, SnapsToTheLattice) {
    const GridFrame frame = snapped_frame(12.0, 7.0, 31.0, 18.0, 5.0, 1);
    EXPECT_DOUBLE_EQ(frame.west, 5.0);
    EXPECT_DOUBLE_EQ(frame.north, 25.0);
    EXPECT_EQ(frame.cols, 7);
    EXPECT_EQ(frame.rows, 5);
    EXPECT_DOUBLE_EQ(frame.x_centre(0), 7.5);
    EXPECT_DOUBLE_EQ(frame.y_centre(0), 22.5);
    EXPECT_THROW(snapped_frame(0, 0, 1e9, 1e9, 1.0), Error);
    EXPECT_THROW(snapped_frame(0, 0, 1, 1, 0.0), Error);
    EXPECT_THROW(snapped_frame(0, 0, std::nan(""), 1, 1.0), Error);
}

TEST(Shapes, AreaTakesHolesOff) {
    const Ring outer = {{0, 0}, {10, 0}, {10, 10}, {0, 10}, {0, 0}};
    const Ring hole = {{2, 2}, {2, 4}, {4, 4}, {4, 2}, {2, 2}};
    EXPECT_DOUBLE_EQ(signed_area(outer), 100.0);
    EXPECT_DOUBLE_EQ(signed_area(hole), -4.0);
    EXPECT_DOUBLE_EQ(area({{outer, {hole}}}), 96.0);
    EXPECT_EQ(bounds({{outer, {}}}), (Box{0, 0, 10, 10}));
}

TEST(Table, ReadsQuotedCellsAndNamesLines) {
    const Table table =
        Table::parse("\xEF\xBB\xBF# note\na,b\n1,\"x, \"\"y\"\"\"\n\n2,\r\n", "t.csv");
    EXPECT_EQ(table.rows(), 2u);
    EXPECT_EQ(table.text(0, "b"), "x, \"y\"");
    EXPECT_EQ(table.number(1, "b"), std::nullopt);
    EXPECT_EQ(table.line(1), 5u);
    EXPECT_EQ(
        message_of([&] { table.required_number(0, "b"); }),
        "t.csv, line 3, column 'b': 'x, \"y\"' is not a number. Use a decimal point and no unit.");
    EXPECT_NE(message_of([&] { table.column("aa"); }).find("Is it 'a'?"), std::string::npos);
    EXPECT_NE(message_of([&] {
                  table.require({"a", "c", "d"});
              }).find("missing columns: c, d"),
              std::string::npos);
}

TEST(Table, SeparatorsAndFaults) {
    EXPECT_EQ(Table::parse("a;b\n1;2\n", "t").text(0, "b"), "2");
    EXPECT_EQ(Table::parse("a\tb\n1\t2\n", "t").text(0, "b"), "2");
    // What is in quotes does not count, nor does a mark of inches open them.
    const Table quoted = Table::parse("\"depth, \"\"cm\"\"\";\"strength,\nMPa\"\n10;1.5\n", "t");
    EXPECT_EQ(quoted.columns(), (std::vector<std::string>{"depth, \"cm\"", "strength,\nMPa"}));
    EXPECT_EQ(quoted.text(0, "strength,\nMPa"), "1.5");
    EXPECT_EQ(Table::parse("at 5\";b\n1;2\n", "t").text(0, "b"), "2");
    EXPECT_THROW(Table::parse("", "t"), Error);
    EXPECT_THROW(Table::parse("a,a\n", "t"), Error);
    EXPECT_THROW(Table::parse("a,b\n1,2,3\n", "t"), Error);
    EXPECT_THROW(Table::parse("a,b\n\"1,2\n", "t"), Error);
}

TEST(Table, CellsDoNotRunInASpreadsheet) {
    EXPECT_EQ(csv_cell("=1+1"), "'=1+1");
    EXPECT_EQ(csv_cell("-2.5"), "-2.5");
    EXPECT_EQ(csv_cell("a,b"), "\"a,b\"");
    EXPECT_EQ(csv_row({"a", "b \"c\""}), "a,\"b \"\"c\"\"\"\n");
}

TEST(Dates, ParseAndHalfMonths) {
    EXPECT_EQ(iso_date(*parse_date("2024-02-29")), "2024-02-29");
    for (const char* bad : {"2023-02-29", "2024-13-01", "15.07.2024", "2024-7-15", ""}) {
        EXPECT_FALSE(parse_date(bad)) << bad;
    }
    EXPECT_EQ(half_month_of(make_date(2024, 3, 15)), 4);
    EXPECT_EQ(half_month_of(make_date(2024, 3, 16)), 5);
    EXPECT_EQ(iso_date(half_month_start(2024, 25)), "2025-01-16");
    EXPECT_EQ(iso_date(half_month_start(2024, -1)), "2023-12-16");
    EXPECT_EQ(iso_date(half_month_start(2024, -24)), "2023-01-01");
    EXPECT_EQ(half_month_name(5), "late March");
    EXPECT_EQ(day_of_year(make_date(2024, 12, 31)), 366);
}

TEST(Confidence, WeakestWins) {
    EXPECT_EQ(weakest(Confidence::verified, Confidence::unchecked), Confidence::unchecked);
    EXPECT_EQ(parse_confidence("Memory: high"), Confidence::recalled);
    EXPECT_THROW(parse_confidence("sure"), Error);
}

TEST(Random, SameNumbersEverywhere) {
    Random random(42);
    EXPECT_EQ(random.next(), 13679457532755275413ULL);
    double sum = 0, squares = 0;
    for (int i = 0; i < 20000; ++i) {
        const double z = random.normal();
        sum += z;
        squares += z * z;
    }
    EXPECT_NEAR(sum / 20000, 0.0, 0.03);
    EXPECT_NEAR(squares / 20000, 1.0, 0.04);
}

}  // namespace
}  // namespace catchfield
