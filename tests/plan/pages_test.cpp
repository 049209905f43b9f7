// SPDX-License-Identifier: MIT
// Pages made from a planned field: many fields stay light, what is not known is said, names of
// zones.
#include "plan/field_plan.hpp"
#include "plan/index_page.hpp"
#include "plan/inputs.hpp"
#include "plan/report_pages.hpp"
#include "plan/run_head.hpp"
#include "plan/shown.hpp"

#include <gtest/gtest.h>

#include <filesystem>

namespace catchfield::plan {
namespace {

const std::filesystem::path samples =
    std::filesystem::path(CATCHFIELD_SOURCE_DIR) / "geodata-samples";

Inputs demo_inputs() {
    return load_inputs(make_job(read_job_values(samples / "job.ini"), samples));
}

FieldBoundary pond(const Inputs& inputs) {
    for (const FieldBoundary& field : inputs.fields) {
        if (field.id == "Pond") return field;
    }
    throw std::out_of_range("no such field");
}

std::size_t count_of(const std::string& text, const std::string& part) {
    std::size_t count = 0;
    for (std::size_t at = 0; (at = text.find(part, at)) != std::string::npos; at += part.size()) {
        ++count;
    }
    return count;
}

TEST(Shown, ZonesInWords) {
    EXPECT_EQ(zone_list({1}), "1");
    EXPECT_EQ(zone_list({1, 2}), "1 and 2");
    EXPECT_EQ(zone_list({1, 2, 3, 5}), "1 to 3 and 5");
    EXPECT_EQ(zone_list({1, 3, 4, 6, 7, 8}), "1, 3, 4 and 6 to 8");
    EXPECT_EQ(zones_name({2}, 3), "Zone 2");
    EXPECT_EQ(zones_name({2, 3}, 3), "Zones 2 and 3");
    EXPECT_EQ(zones_name({1, 2, 3}, 3), "The whole field");
    EXPECT_EQ(zones_name({1}, 1), "The whole field");
    EXPECT_EQ(one_decimal(200.04), "200");
    EXPECT_EQ(one_decimal(56.12), "56.1");
}

// 1 lb/ac = 1.120851 kg/ha, 1 in = 2.54 cm (NIST SP 811, appendix B.8).
TEST(Shown, SentencesInUsUnits) {
    EXPECT_EQ(in_us_units("9 kg/ha nitrate-N in the top 30 cm"),
              "8 lb/ac nitrate-N in the top 11.8 in");
    EXPECT_EQ(in_us_units("credit of 0 kg/ha instead of 25 kg/ha."),
              "credit of 0 lb/ac instead of 22 lb/ac.");
    EXPECT_EQ(in_us_units("top of the layer at 10 to 40 cm"), "top of the layer at 3.9 to 15.7 in");
    EXPECT_EQ(in_us_units("put 34 to 56 kg N/ha (30 to 50 lb/ac) on"),
              "put 34 to 56 kg N/ha (30 to 50 lb/ac) on");
    EXPECT_EQ(in_us_units("56.5 kg N/ha"), "50.4 lb N/ac");
    EXPECT_EQ(in_us_units("standard error 0.59 MPa"), "standard error 86 psi");
    for (const char* same : {"from 2025-11-15 on", "K, Mg ha h/(ha MJ mm)", "no kg/ha here",
                             "5 cmolc/kg", "x12 cm", " cm", ""}) {
        EXPECT_EQ(in_us_units(same), same);
    }
    EXPECT_EQ(Shown{false}.words("9 kg/ha"), "9 kg/ha");
}

TEST(Shown, ZonesOfTheSameTextAreOneGroup) {
    FieldResult result;
    for (int number = 1; number <= 5; ++number) {
        result.zones.emplace_back();
        result.zones.back().zone = number;
    }
    const auto groups = zone_groups(result, [](const ZoneResult& zone) -> std::string {
        return zone.zone == 4 ? "" : zone.zone % 2 == 0 ? "even" : "odd";
    });
    ASSERT_EQ(groups.size(), 2U);
    EXPECT_EQ(groups[0].zones, (std::vector<int>{1, 3, 5}));
    EXPECT_EQ(groups[1].zones, (std::vector<int>{2}));
    EXPECT_EQ(groups[0].attribute(), "data-zones=\"1 3 5\"");
}

TEST(IndexPage, AThousandFieldsStayUnderFiveMegabytes) {
    const Inputs inputs = demo_inputs();
    FieldResult result = plan_field(inputs, pond(inputs));
    std::vector<IndexEntry> entries;
    for (int i = 0; i < 1000; ++i) {
        result.id = "North-western corner field number " + std::to_string(i);
        result.stem = safe_file_stem(result.id);
        entries.push_back(index_entry(inputs, result));
    }
    const std::string page = index_page(run_head(inputs, {}), entries);
    EXPECT_LT(page.size(), 5'000'000U);
    EXPECT_EQ(count_of(page, "<tr>"), 1001U);
    EXPECT_EQ(count_of(page, "class=\"edge outline\""), 1000U);
    RecordProperty("bytes", std::to_string(page.size()));
}

TEST(IndexPage, SkippedFieldsAreSaidAndCountForNothing) {
    const Inputs inputs = demo_inputs();
    FieldResult result = plan_field(inputs, pond(inputs));
    const IndexEntry good = index_entry(inputs, result);
    FieldResult skipped;
    skipped.id = "<b>";
    skipped.status = FieldStatus::skipped;
    skipped.reasons = {"no soil"};
    const IndexEntry bad = index_entry(inputs, skipped);
    EXPECT_EQ(bad.row, "");
    EXPECT_EQ(bad.outline, "");
    const std::string page = index_page(run_head(inputs, {}), {good, bad});
    EXPECT_NE(page.find("&lt;b&gt;: skipped. no soil"), std::string::npos);
    EXPECT_NE(page.find("1 field<"), std::string::npos);
    // Nothing but skipped fields makes a page as well.
    const std::string empty = index_page(run_head(inputs, {}), {bad});
    EXPECT_EQ(empty.find(">nan"), std::string::npos);
    EXPECT_EQ(empty.find("class=\"edge outline\""), std::string::npos);
}

TEST(FieldPage, WhatIsNotKnownIsSaid) {
    const Inputs inputs = demo_inputs();
    FieldResult result = plan_field(inputs, pond(inputs));
    for (ZoneResult& zone : result.zones) {
        zone.loss_bare_mg_ha = zone.loss_now_mg_ha = zone.loss_cover_mg_ha = std::nullopt;
        zone.k_si = zone.t_mg_ha = zone.erosion_cut_pct = zone.loss_over_t = std::nullopt;
        zone.erodibility_index = zone.compaction_top_cm = zone.om_pct = std::nullopt;
        zone.uncertainty.reset();
        zone.wind.reset();
        zone.leaching.reset();
        zone.winter_nitrate.reset();
        zone.chosen.reset();
        zone.stops.clear();
        zone.profiles.clear();
        zone.soil.clear();
    }
    const std::string page = field_page(inputs, result);
    EXPECT_GT(count_of(page, "not known"), 40U);
    EXPECT_NE(page.find("no cover fits"), std::string::npos);
    EXPECT_NE(page.find("No candidate cover fits"), std::string::npos);
    for (const char* wrong : {">nan", "-nan", ">inf", "inf "}) {
        EXPECT_EQ(page.find(wrong), std::string::npos) << wrong;
    }
}

TEST(FieldPage, CautionsOfAllZonesAreSaidOnce) {
    const Inputs inputs = demo_inputs();
    FieldResult result = plan_field(inputs, pond(inputs));
    ASSERT_EQ(result.zones.size(), 4U);
    for (ZoneResult& zone : result.zones) zone.cautions.emplace_back("Mind the <pond>.");
    result.zones[1].cautions.emplace_back("Wet in spring.");
    const std::string page = field_page(inputs, result);
    EXPECT_EQ(count_of(page, "Mind the &lt;pond&gt;."), 1U);
    EXPECT_NE(page.find("<strong>Zone 2:</strong> <bdi>Wet in spring."), std::string::npos);
}

}  // namespace
}  // namespace catchfield::plan
