// SPDX-License-Identifier: MIT
#include "base/text.hpp"
#include "report/axis.hpp"
#include "report/charts.hpp"
#include "report/colours.hpp"
#include "report/html.hpp"
#include "report/map.hpp"
#include "report/plot.hpp"
#include "report/profile_chart.hpp"
#include "report/sha256.hpp"

#include <gtest/gtest.h>

#include <regex>
#include <set>

namespace catchfield::report {
namespace {

std::vector<std::string> matches(const std::string& text, const std::string& pattern) {
    std::vector<std::string> found;
    const std::regex regex(pattern);
    for (std::sregex_iterator at(text.begin(), text.end(), regex), end; at != end; ++at) {
        found.push_back((*at)[1]);
    }
    return found;
}

// FIPS 180-4 examples (NIST, "SHA256.pdf" of the cryptographic standards' example values), written
// as base64; also `printf abc | openssl dgst -sha256 -binary | base64`.
TEST(Sha256, PublishedExamples) {
    EXPECT_EQ(sha256_base64(""), "47DEQpj8HBSa+/TImW+5JCeuQeRkm5NMpJWZG3hSuFU=");
    EXPECT_EQ(sha256_base64("abc"), "ungWv48Bz+pBQUDeXa4iI7ADYaOWF3qctBD/YfIAFa0=");
    EXPECT_EQ(sha256_base64("abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq"),
              "JI1qYdIGOLjlwCaTDD5gOaM85Flk/yFn9uzt1BnbBsE=");
    EXPECT_EQ(sha256_base64(std::string(1000000, 'a')),
              "zcduXJkU+5KBocfihNc+Z/GAmkiklyAOBG05zMcRLNA=");
}

TEST(Html, TextStaysText) {
    EXPECT_EQ(escape("<a href=\"x\">'&'</a>\x01"),
              "&lt;a href=&quot;x&quot;&gt;&#39;&amp;&#39;&lt;/a&gt; ");
    EXPECT_EQ(name("<b>"), "<bdi>&lt;b&gt;</bdi>");
    EXPECT_EQ(bullet_list({}), "");
    EXPECT_EQ(bullet_list({"<i>"}), "<ul><li><bdi>&lt;i&gt;</bdi></li></ul>\n");
}

TEST(Html, TableNamesItsColumnsOnAPhoneAndLeadsToWorkings) {
    HtmlTable table;
    table.caption = "Zones";
    table.heads = {"Zone", "Loss, <b>ton</b>"};
    table.numeric = {false, true};
    table.rows = {{"1", "2.5"}};
    table.how = {"", "how-loss"};
    table.style = "cards";
    const std::string html = report::table(table);
    EXPECT_NE(html.find("<td class=\"n\" data-label=\"Loss, ton\">2.5</td>"), std::string::npos);
    EXPECT_NE(html.find("<a class=\"how\" href=\"#how-loss\">"), std::string::npos);
    EXPECT_NE(html.find("<th scope=\"row\">1</th>"), std::string::npos);
    // The part that scrolls is reached with the keyboard and has a name.
    EXPECT_NE(html.find("role=\"region\" tabindex=\"0\" aria-label=\"Zones\""), std::string::npos);
}

TEST(Html, OnlyThePagesOwnScriptAndStyleMayRun) {
    const std::string html = page("<t>", "<p>body</p>");
    const auto between = [&](const std::string& from, const std::string& to) {
        const std::size_t start = html.find(from) + from.size();
        return html.substr(start, html.find(to, start) - start);
    };
    EXPECT_NE(
        html.find("script-src 'sha256-" + sha256_base64(between("<script>", "</script>")) + "'"),
        std::string::npos);
    EXPECT_NE(html.find("style-src 'sha256-" + sha256_base64(between("<style>", "</style>")) + "'"),
              std::string::npos);
    EXPECT_NE(html.find("default-src 'none'"), std::string::npos);
    EXPECT_EQ(html.find("unsafe"), std::string::npos);
    EXPECT_EQ(html.find("style=\""), std::string::npos);
    EXPECT_NE(html.find("<title>&lt;t&gt;</title>"), std::string::npos);
}

MultiPolygon square(double x) {
    return {{{{x, 0}, {x + 100, 0}, {x + 100, 100}, {x, 100}, {x, 0}}, {}}};
}

ZoneMap map_of(std::vector<MapView> views) {
    ZoneMap map;
    for (std::size_t z = 0; z < views.front().text.size(); ++z) {
        map.shapes.push_back(square(100.0 * static_cast<double>(z)));
        map.label_places.push_back({100.0 * static_cast<double>(z) + 50.0, 50.0});
    }
    map.views = std::move(views);
    return map;
}

MapView view(const std::string& id, std::vector<std::optional<double>> values) {
    MapView one{id, id, "kg/ha", ColourScale::yl_or_br, values, {}, {}, false};
    for (const auto& value : values)
        one.text.push_back(value ? significant(*value, 3) : "not known");
    return one;
}

/// Fills of a view in the page's data.
std::vector<std::string> fills(const std::string& html, const std::string& id) {
    const std::size_t start = html.find("\"fill\":[", html.find("{\"id\":\"" + id + "\""));
    return matches(html.substr(start, html.find(']', start) - start), "\"(#[0-9a-f]{6})\"");
}

TEST(Map, FiveEqualClassesAndGreyForTheUnknown) {
    const std::string html = map_figure(map_of({view("a", {0.0, 1.9, 2.1, 10.0, std::nullopt})}));
    EXPECT_EQ(fills(html, "a"),
              (std::vector<std::string>{
                  std::string(yl_or_br_colours[0]), std::string(yl_or_br_colours[0]),
                  std::string(yl_or_br_colours[1]), std::string(yl_or_br_colours[4]),
                  std::string(no_value_colour)}));
    EXPECT_NE(html.find("2.00 to 4.00"), std::string::npos);
    EXPECT_NE(html.find("not known"), std::string::npos);
}

TEST(Map, SharedLimitsGiveOneColourToOneValue) {
    MapView now = view("now", {2.0, 10.0}), cover = view("cover", {1.0, 2.0});
    EXPECT_NE(fills(map_figure(map_of({now, cover})), "now")[0],
              fills(map_figure(map_of({now, cover})), "cover")[1]);
    now.shared_limits = cover.shared_limits = "loss";
    const std::string html = map_figure(map_of({now, cover}));
    EXPECT_EQ(fills(html, "now")[0], fills(html, "cover")[1]);
}

TEST(Map, RatesInStepsAreShownAsThemselves) {
    MapView rates = view("rate", {180.0, 200.0, 205.0});
    rates.in_steps = true;
    const std::string html = map_figure(map_of({rates}));
    const auto colours = fills(html, "rate");
    EXPECT_EQ(std::set<std::string>(colours.begin(), colours.end()).size(), 3U);
    EXPECT_NE(html.find("[\"#ffffd4\",\"180\"]"), std::string::npos);
    EXPECT_NE(html.find("[\"#993404\",\"205\"]"), std::string::npos);
    // Alike within rounding: one colour, and said so.
    const std::string same = map_figure(map_of({view("rate", {0.1 + 0.2, 0.3})}));
    EXPECT_NE(same.find("0.300 everywhere"), std::string::npos);
    const std::string near = map_figure(map_of({view("depth", {7.45, 7.59})}));
    EXPECT_NE(near.find("7.45 to 7.59, much alike"), std::string::npos);
    EXPECT_EQ(fills(near, "depth")[0], fills(near, "depth")[1]);
}

TEST(Map, PointsThatFallTogetherAreSaidOnce) {
    const MultiPolygon shape = {
        {{{0, 0}, {10, 0}, {10.01, 0.02}, {10, 10}, {0, 0}}, {{{4, 2}, {5, 2}, {5, 3}, {4, 2}}}}};
    EXPECT_EQ(path_data(shape, 0.0, 10.0, 0), "M0 10L10 10L10 0ZM4 8L5 8L5 7Z");
    EXPECT_EQ(path_data(shape, 0.0, 10.0, 2),
              "M0.00 10.00L10.00 10.00L10.01 9.98L10.00 0.00ZM4.00 8.00L5.00 8.00L5.00 7.00Z");
}

TEST(Map, NoNameLeavesTheData) {
    MapView names{"n", "Names", "", ColourScale::classes, {}, {"</script><b>", "\"\\"}, {}, false};
    const std::string html = map_figure(map_of({names}));
    const std::size_t data = html.find("id=\"views\"");
    const std::string json = html.substr(data, html.find("</script>", data) - data);
    EXPECT_NE(json.find("\\u003c/script>\\u003cb>"), std::string::npos);
    EXPECT_NE(json.find("\"\\\"\\\\\""), std::string::npos);
    EXPECT_EQ(html.find("<b>"), std::string::npos);
}

TEST(Charts, NeedAndWhatMeetsItAreEquallyLong) {
    const std::string svg =
        budget_chart({{"Crop need", 216.0}, {"Tie-up", 8.0}, {"Cover", -14.5}, {"bounds", -3.9}},
                     205.6, "lb/ac", "Budget");
    double need = 0.0, met = 0.0;
    const std::regex bar("y=\"([0-9.]+)\" width=\"([0-9.]+)\" height=\"26.0\"");
    for (std::sregex_iterator at(svg.begin(), svg.end(), bar), end; at != end; ++at) {
        (std::stod((*at)[1]) < 10.0 ? need : met) += std::stod((*at)[2]);
    }
    EXPECT_NEAR(need, met, 0.5);
    EXPECT_GT(need, 300.0);
    EXPECT_EQ(budget_chart({{"Credit", -5.0}}, 0.0, "lb/ac", "Budget"), "");
}

TEST(Charts, NothingToShowIsNoChart) {
    EXPECT_EQ(range_chart({{"Zone 1", {}, {}, {}}}, "now", "cover", "T", "t", "Loss"), "");
    EXPECT_EQ(count_chart({2}, {}, 2, "Counts"), "");
    EXPECT_EQ(response_plot({}), "");
    EXPECT_EQ(profile_chart({}, {}, 2.0, "cm", "MPa", "Profiles"), "");
    EXPECT_EQ(profile_chart({{"s", {0.0}, {0.0}}}, {}, 0.0, "cm", "MPa", "Profiles"), "");
}

TEST(Charts, ValuesStandInOrderAlongTheAxis) {
    RangeRow row;
    row.label = "Zone 1";
    row.first = RangeValue{10.0, 4.0, 20.0};
    row.second = RangeValue{5.0, 2.0, 9.0};
    row.limit = 5.0;
    const std::string svg = range_chart({row}, "now", "cover", "T", "t", "Loss");
    const auto lines =
        matches(svg, "d=\"(M[0-9.]+ [0-9.]+H[0-9.]+)\" stroke-width=\"3\" stroke-op");
    ASSERT_EQ(lines.size(), 2U);
    const auto ends = [](const std::string& line) {
        return std::pair(std::stod(line.substr(1)), std::stod(line.substr(line.find('H') + 1)));
    };
    EXPECT_GT(ends(lines[0]).first, ends(lines[1]).first);
    EXPECT_GT(ends(lines[0]).second, ends(lines[1]).second);
    // The disc at 5 stands on the mark of the limit.
    const auto disc =
        matches(svg, "<circle cx=\"([0-9.]+)\" cy=\"[0-9.]+\" r=\"5\" fill=\"#0072b2\"");
    const auto limit = matches(svg, "d=\"M([0-9.]+) [0-9.]+v24\"");
    ASSERT_EQ(limit.size(), 1U);
    EXPECT_EQ(disc.back(), limit.front());
}

TEST(Axis, RoundNumbersAroundTheValues) {
    for (const double high : {0.003, 0.7, 1.0, 9.99, 10.0, 234.0, 98765.0}) {
        const Axis axis = axis_for(0.0, high, 0.0, 100.0);
        EXPECT_LE(axis.from, 0.0);
        EXPECT_GE(axis.to, high * (1.0 - 1e-9));
        EXPECT_LE(axis.to, high + axis.step * (1.0 + 1e-9));
        EXPECT_GE(axis.steps(), 3);
        EXPECT_LE(axis.steps(), 8);
        EXPECT_NEAR(axis.at(axis.to), 100.0, 1e-9);
    }
    EXPECT_EQ(axis_for(0.0, 0.5, 0.0, 1.0, 5).tick_text(1), "0.1");
    EXPECT_DOUBLE_EQ(round_step(10.0, 6), 2.0);
}

}  // namespace
}  // namespace catchfield::report
