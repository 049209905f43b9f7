// SPDX-License-Identifier: MIT
#include "gis/taskdata.hpp"

#include "base/text.hpp"
#include "support.hpp"

#include <pugixml.hpp>

#include <cstring>
#include <map>
#include <regex.h>
#include <set>

namespace catchfield::gis {
namespace {

using testing::box_shape;
using testing::error_of;
using testing::has;

// Resolutions and units: ISO 11783-11 data dictionary (public list at isobus.net; memory: high).
// 1 kg/ha = 100 mg/m2; 1 l/ha = 100 mm3/m2 at a resolution of 0.01; 1 seed/m2 at 0.001.
TEST(RawRate, FollowsTheDataDictionary) {
    EXPECT_EQ(raw_rate(RateQuantity::mass_kg_ha, 370.37), 37037);
    EXPECT_EQ(raw_rate(RateQuantity::nitrogen_kg_ha, 100.0), 10000);
    EXPECT_EQ(raw_rate(RateQuantity::volume_l_ha, 1.0), 10000);
    EXPECT_EQ(raw_rate(RateQuantity::volume_l_ha, 9.3539562), 93540);  // one US gallon to the acre
    EXPECT_EQ(raw_rate(RateQuantity::count_per_m2, 8.0), 8000);
    EXPECT_EQ(raw_rate(RateQuantity::mass_kg_ha, 0.0), 0);
    for (const RateQuantity quantity :
         {RateQuantity::mass_kg_ha, RateQuantity::volume_l_ha, RateQuantity::count_per_m2}) {
        for (const double rate : {0.013, 1.0, 99.99, 1234.5}) {
            EXPECT_NEAR(rate_of_raw(quantity, raw_rate(quantity, rate)), rate, 0.00501);
        }
    }
    for (const double bad : {-1.0, std::nan(""), 2.2e7, std::numeric_limits<double>::infinity()}) {
        EXPECT_EQ(error_of([&] { raw_rate(RateQuantity::mass_kg_ha, bad); }).kind(),
                  ErrorKind::data);
    }
}

TEST(CutText, CountsCharacters) {
    EXPECT_EQ(cut_text("äöü", 2), "äö");
    EXPECT_EQ(cut_text("äöü", 3), "äöü");
    EXPECT_EQ(cut_text("a\xff\tb", 9), "a? b");
    EXPECT_EQ(cut_text("", 3), "");
}

TaskData sample(TaskDataVersion version) {
    TaskData data;
    data.version = version;
    data.customer = "Müller & \"Söhne\" <KG>";
    TaskField field;
    field.name = std::string(40, 'N') + "ä";
    field.area_m2 = 2951.6;
    field.boundary = box_shape(9.0, 51.0, 9.00084, 51.00045);
    field.boundary[0].holes.push_back(testing::box_ring(9.0003, 51.0001, 9.0004, 51.0002));
    field.boundary.push_back(box_shape(9.001, 51.0, 9.0011, 51.0001)[0]);

    Task zones;
    zones.name = "N 2026";
    zones.form = TaskForm::grid_type_1;
    zones.products = {{"N fertiliser", RateQuantity::mass_kg_ha, false},
                      {"Rye seed", RateQuantity::count_per_m2, true}};
    zones.zones = {{"Low", {100.0, 250.0}, {}}, {"High", {150.5, 300.0}, {}}};
    zones.grid = {51.0, 9.0, 0.00009, 0.00014, 5, 6};
    for (int i = 0; i < 30; ++i) zones.cell_zone.push_back(i % 6 == 0 ? -1 : i % 2);
    Task rates = zones;
    rates.name = "Rates";
    rates.form = TaskForm::grid_type_2;
    rates.zones.clear();
    rates.cell_zone.clear();
    for (int i = 0; i < 30; ++i) {
        rates.cell_rates.push_back(i);
        rates.cell_rates.push_back(2 * i);
    }
    Task polygons = zones;
    polygons.name = "Zones";
    polygons.form = TaskForm::polygons;
    polygons.cell_zone.clear();
    polygons.zones[0].shape = field.boundary;
    polygons.zones[1].shape = box_shape(9.002, 51.0, 9.003, 51.001);
    polygons.default_rates = {50.0, 0.0};
    field.tasks = {zones, rates, polygons};
    data.fields = {field};
    return data;
}

/// Limits of each attribute: ISO 11783-10 task file schemas 3.3 and 4.3, as listed in the method
/// notes.
struct Attribute {
    std::string pattern;
    bool required;
};
using Element = std::map<std::string, Attribute>;

const std::map<std::string, Element>& schema() {
    const std::string text = "[^[:cntrl:]]{0,128}";  // bytes; characters are counted apart
    const std::string decimal = "-?[0-9]{1,3}[.][0-9]{1,9}";
    const std::string positive = "[0-9]+([.][0-9]+)?";
    const std::string code = "(0|[1-9][0-9]?|1[0-9][0-9]|2[0-4][0-9]|25[0-4])";
    const auto id = [](const std::string& element) { return element + "[0-9]{1,11}"; };
    static const std::map<std::string, Element> made = {
        {"ISO11783_TaskData",
         {{"VersionMajor", {"[34]", true}},
          {"VersionMinor", {"3", true}},
          {"ManagementSoftwareManufacturer", {text, true}},
          {"ManagementSoftwareVersion", {text, true}},
          {"DataTransferOrigin", {"1", true}}}},
        {"CTR", {{"A", {id("CTR"), true}}, {"B", {text, true}}}},
        {"FRM", {{"A", {id("FRM"), true}}, {"B", {text, true}}, {"I", {id("CTR"), false}}}},
        {"PDT", {{"A", {id("PDT"), true}}, {"B", {text, true}}}},
        {"PFD",
         {{"A", {id("PFD"), true}},
          {"B", {text, false}},
          {"C", {text, true}},
          {"D", {"[0-9]{1,10}", true}},
          {"E", {id("CTR"), false}},
          {"F", {id("FRM"), false}}}},
        {"PLN", {{"A", {"[1-8]", true}}, {"B", {text, false}}, {"C", {"[0-9]{1,10}", false}}}},
        {"LSG", {{"A", {"[12]", true}}}},
        {"PNT", {{"A", {"2", true}}, {"C", {decimal, true}}, {"D", {decimal, true}}}},
        {"VPN",
         {{"A", {id("VPN"), true}},
          {"B", {"-?[0-9]+", true}},
          {"C", {positive, true}},
          {"D", {"[0-7]", true}},
          {"E", {text, false}}}},
        {"TSK",
         {{"A", {id("TSK"), true}},
          {"B", {text, false}},
          {"C", {id("CTR"), false}},
          {"D", {id("FRM"), false}},
          {"E", {id("PFD"), false}},
          {"G", {"[1-4]", true}},
          {"H", {code, false}},
          {"I", {code, false}},
          {"J", {code, false}}}},
        {"TZN", {{"A", {code, true}}, {"B", {text, false}}}},
        {"PDV",
         {{"A", {"[0-9A-F]{4}", true}},
          {"B", {"-?[0-9]{1,10}", true}},
          {"C", {id("PDT"), false}},
          {"E", {id("VPN"), false}}}},
        {"GRD",
         {{"A", {decimal, true}},
          {"B", {decimal, true}},
          {"C", {positive, true}},
          {"D", {positive, true}},
          {"E", {"[1-9][0-9]*", true}},
          {"F", {"[1-9][0-9]*", true}},
          {"G", {"GRD[0-9]{5}", true}},
          {"H", {"[0-9]+", false}},
          {"I", {"[12]", true}},
          {"J", {code, false}}}}};
    return made;
}

/// The whole text matches the POSIX extended pattern.
bool matches(const std::string& text, const std::string& pattern) {
    regex_t compiled;
    if (regcomp(&compiled, ("^(" + pattern + ")$").c_str(), REG_EXTENDED | REG_NOSUB) != 0) {
        ADD_FAILURE() << "bad pattern " << pattern;
        return false;
    }
    const bool found = regexec(&compiled, text.c_str(), 0, nullptr, 0) == 0;
    regfree(&compiled);
    return found;
}

std::size_t characters(const std::string& text) {
    std::size_t count = 0;
    for (const char c : text) count += (static_cast<unsigned char>(c) & 0xC0) != 0x80 ? 1U : 0U;
    return count;
}

struct Check {
    std::set<std::string> ids;
    std::vector<std::string> references;

    void visit(const pugi::xml_node& node) {
        const std::string name = node.name();
        const auto element = schema().find(name);
        ASSERT_NE(element, schema().end()) << name;
        for (const pugi::xml_attribute& attribute : node.attributes()) {
            const auto rule = element->second.find(attribute.name());
            ASSERT_NE(rule, element->second.end()) << name << "@" << attribute.name();
            const std::string value = attribute.value();
            EXPECT_TRUE(matches(value, rule->second.pattern))
                << name << "@" << attribute.name() << "=" << value;
            EXPECT_LE(characters(value), 32U) << value;
            const bool reference = matches(value, "(CTR|FRM|PFD|PDT|VPN)[0-9]+");
            const bool own =
                std::string(attribute.name()) == "A" && matches(value, "[A-Z]{3}[0-9]+");
            if (own || (name == "GRD" && std::string(attribute.name()) == "G")) {
                EXPECT_TRUE(ids.insert(value).second) << "doubled " << value;
            } else if (reference) {
                references.push_back(value);
            }
        }
        for (const auto& [key, rule] : element->second) {
            EXPECT_TRUE(!rule.required || node.attribute(key.c_str())) << name << " lacks " << key;
        }
        for (const pugi::xml_node& child : node.children()) visit(child);
    }
};

class TaskDataFile : public ::testing::TestWithParam<TaskDataVersion> {};

TEST_P(TaskDataFile, KeepsToTheLimitsOfTheStandard) {
    const TaskDataResult result = taskdata_bytes(sample(GetParam()));
    EXPECT_EQ(taskdata_bytes(sample(GetParam())).files[0].bytes, result.files[0].bytes);
    ASSERT_EQ(result.files.size(), 3U);
    EXPECT_EQ(result.files[0].name, "TASKDATA.XML");
    EXPECT_EQ(result.files[1].name, "GRD00001.bin");
    EXPECT_EQ(result.files[0].bytes.rfind("<?xml version=\"1.0\" encoding=\"UTF-8\"?>", 0), 0U);
    pugi::xml_document document;
    ASSERT_TRUE(document.load_string(result.files[0].bytes.c_str()));
    const pugi::xml_node root = document.child("ISO11783_TaskData");
    Check check;
    check.visit(root);
    for (const std::string& reference : check.references)
        EXPECT_TRUE(check.ids.contains(reference)) << reference;
    EXPECT_STREQ(root.child("CTR").attribute("B").value(), "Müller & \"Söhne\" <KG>");
    EXPECT_EQ(std::string(root.child("PFD").attribute("C").value()), std::string(32, 'N'));
    EXPECT_EQ(result.warnings.size(), 1U);
    EXPECT_STREQ(root.child("PFD").attribute("D").value(), "2952");
    const bool v4 = GetParam() == TaskDataVersion::v4_3;
    // Two parts: two polygons in version 4, one with two exterior rings in version 3.
    const pugi::xml_node field = root.child("PFD");
    std::size_t polygons = 0;
    for (const pugi::xml_node& polygon : field.children("PLN")) {
        ++polygons;
        std::size_t outer = 0;
        for (const pugi::xml_node& line : polygon.children("LSG")) {
            outer += std::string(line.attribute("A").value()) == "1" ? 1U : 0U;
            const pugi::xml_node first = line.first_child();
            const pugi::xml_node last = line.last_child();
            EXPECT_STREQ(first.attribute("C").value(), last.attribute("C").value());
            EXPECT_STREQ(first.attribute("D").value(), last.attribute("D").value());
        }
        EXPECT_EQ(outer, v4 ? 1U : 2U);
    }
    EXPECT_EQ(polygons, v4 ? 2U : 1U);
    // H, I, J of each task name one of its zones; zone codes are distinct; a grid excludes
    // polygons.
    for (const pugi::xml_node& task : root.children("TSK")) {
        std::set<std::string> codes;
        for (const pugi::xml_node& zone : task.children("TZN")) {
            EXPECT_TRUE(codes.insert(zone.attribute("A").value()).second);
            EXPECT_FALSE(task.child("GRD") && zone.child("PLN"));
        }
        for (const char* key : {"H", "I", "J"})
            EXPECT_TRUE(codes.contains(task.attribute(key).value())) << key;
        if (const pugi::xml_node grid = task.child("GRD"); grid.attribute("J")) {
            EXPECT_TRUE(codes.contains(grid.attribute("J").value()));
        }
    }
}

TEST_P(TaskDataFile, GridsHoldTheRates) {
    const TaskData data = sample(GetParam());
    const TaskDataResult result = taskdata_bytes(data);
    pugi::xml_document document;
    ASSERT_TRUE(document.load_string(result.files[0].bytes.c_str()));
    std::vector<pugi::xml_node> tasks;
    for (const pugi::xml_node& task : document.child("ISO11783_TaskData").children("TSK"))
        tasks.push_back(task);
    ASSERT_EQ(tasks.size(), 3U);
    // Type 1: the code of a cell leads to its zone's rates.
    const std::string& codes = result.files[1].bytes;
    ASSERT_EQ(codes.size(), 30U);
    EXPECT_STREQ(tasks[0].child("GRD").attribute("H").value(), "30");
    const Task& zones = data.fields[0].tasks[0];
    for (std::size_t i = 0; i < codes.size(); ++i) {
        const std::string code =
            std::to_string(static_cast<int>(static_cast<unsigned char>(codes[i])));
        const pugi::xml_node zone = tasks[0].find_child_by_attribute("TZN", "A", code.c_str());
        ASSERT_TRUE(zone);
        const int position = zones.cell_zone[i];
        const double rate =
            position < 0 ? 0.0 : zones.zones[static_cast<std::size_t>(position)].rates[0];
        EXPECT_EQ(zone.child("PDV").attribute("B").as_int(),
                  raw_rate(RateQuantity::mass_kg_ha, rate));
    }
    // Type 2: little-endian values, products of a cell in the order of the values of zone J.
    const std::string& bytes = result.files[2].bytes;
    ASSERT_EQ(bytes.size(), 30U * 2U * 4U);
    const pugi::xml_node zone = tasks[1].find_child_by_attribute("TZN", "A", "1");
    EXPECT_STREQ(zone.child("PDV").attribute("A").value(), "0006");
    EXPECT_STREQ(zone.child("PDV").next_sibling().attribute("A").value(), "000B");
    for (std::size_t i = 0; i < 30; ++i) {
        std::int32_t mass = 0;
        std::int32_t count = 0;
        std::memcpy(&mass, bytes.data() + 8 * i, 4);
        std::memcpy(&count, bytes.data() + 8 * i + 4, 4);
        EXPECT_EQ(mass, static_cast<int>(100 * i));
        EXPECT_EQ(count, static_cast<int>(2000 * i));
    }
    EXPECT_STREQ(tasks[1].child("GRD").attribute("A").value(), "51.000000000");
    EXPECT_STREQ(tasks[1].child("GRD").attribute("E").value(), "6");
    EXPECT_STREQ(tasks[1].child("GRD").attribute("F").value(), "5");
    // Rates without a position differ from those outside: a zone of their own.
    EXPECT_STREQ(tasks[2].attribute("I").value(), "254");
    EXPECT_STREQ(tasks[2].attribute("J").value(), "0");
}

INSTANTIATE_TEST_SUITE_P(Versions, TaskDataFile,
                         ::testing::Values(TaskDataVersion::v3_3, TaskDataVersion::v4_3));

TEST(TaskDataErrors, RefusesWhatMachinesCannotTake) {
    TaskData data = sample(TaskDataVersion::v3_3);
    data.fields[0].tasks[0].zones.resize(251, {"z", {1.0, 1.0}, {}});
    EXPECT_EQ(error_of([&] { taskdata_bytes(data); }).kind(), ErrorKind::data);
    data = sample(TaskDataVersion::v3_3);
    data.fields[0].tasks[0].zones[0].rates[0] = -5.0;
    EXPECT_EQ(error_of([&] { taskdata_bytes(data); }).kind(), ErrorKind::data);
    data = sample(TaskDataVersion::v3_3);
    data.fields[0].tasks[0].grid.cell_lon = 1.5;
    EXPECT_EQ(error_of([&] { taskdata_bytes(data); }).kind(), ErrorKind::data);
    data = sample(TaskDataVersion::v3_3);
    data.fields[0].tasks[0].cell_zone[3] = 2;
    EXPECT_EQ(error_of([&] { taskdata_bytes(data); }).kind(), ErrorKind::internal);
    data = sample(TaskDataVersion::v3_3);
    data.fields[0].tasks[1].cell_rates.pop_back();
    EXPECT_EQ(error_of([&] { taskdata_bytes(data); }).kind(), ErrorKind::internal);
    data = sample(TaskDataVersion::v3_3);
    data.fields[0].boundary[0].outer.pop_back();
    EXPECT_EQ(error_of([&] { taskdata_bytes(data); }).kind(), ErrorKind::internal);
}

TEST(TaskDataZip, HoldsTheFolder) {
    const std::string zip = taskdata_zip_bytes(taskdata_bytes(sample(TaskDataVersion::v4_3)));
    EXPECT_TRUE(has(zip, "TASKDATA/TASKDATA.XML"));
    EXPECT_TRUE(has(zip, "TASKDATA/GRD00002.bin"));
}

}  // namespace
}  // namespace catchfield::gis
