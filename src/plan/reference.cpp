// SPDX-License-Identifier: MIT
#include "plan/reference.hpp"

#include "base/text.hpp"
#include "cover/data.hpp"
#include "nitrogen/data.hpp"
#include "plan/columns.hpp"
#include "plan/keys.hpp"

namespace catchfield::plan {

namespace {

/// '|' would end a Markdown cell.
std::string cell(std::string_view text) {
    std::string safe;
    for (const char c : text) {
        if (c == '|') safe += '\\';
        safe += c;
    }
    return safe;
}

template <typename Columns>
std::string columns_table(const Columns& columns) {
    std::string text = "| column | unit | meaning |\n| --- | --- | --- |\n";
    for (const auto& column : columns) {
        text += "| `" + std::string(column.name) + "` | " + cell(column.unit) + " | " +
                cell(column.meaning) + " |\n";
    }
    return text;
}

}  // namespace

std::string job_file_reference() {
    std::string text =
        "# The job file\n\n"
        "An INI file; `catchfield start` writes one with comments. Every key is also an option "
        "that goes over the file:\n"
        "`--terrain.elevation dem.tif`. Paths in the file are relative to it. A quantity carries "
        "its unit (`150 us`,\n"
        "`40 lb/ac`, `3 m`); a bare number is refused. An unknown key is refused, with the nearest "
        "known one named.\n"
        "Text after `#` is a comment.\n\n"
        "This page is made from the program's own table by `scripts/make-reference`.\n";
    std::string section;
    for (const Key& key : job_keys()) {
        const std::string name(key.name);
        const std::size_t dot = name.find('.');
        if (name.substr(0, dot) != section) {
            section = name.substr(0, dot);
            text += "\n## [" + section + "]\n\n" + std::string(section_help(section)) +
                    "\n\n| key | value | default | meaning |\n| --- | --- | --- | --- |\n";
        }
        text += "| `" + name.substr(dot + 1) + "` | " +
                cell(key.choices.empty() ? key.metavar : key.choices) + " | " + cell(key.fallback) +
                " | " + cell(key.help) + " |\n";
    }
    return text;
}

std::string outputs_reference() {
    return "# Outputs\n\n"
           "| file | content |\n| --- | --- |\n"
           "| `plan.gpkg` | layers `fields`, `zones`, `cover_options`, `probes`; UTM of the first "
           "field |\n"
           "| `zones.geojson` | the zones, RFC 7946 |\n"
           "| `zones.csv` | one row per zone, SI units |\n"
           "| `budget.csv` | every zone's nitrogen rate as a sum, one line of the sum a row, in "
           "the user's units |\n"
           "| `rates/<field>-nitrogen.tif`, `.geojson` | nitrogen prescription in the user's "
           "units, nodata -9999; rate_1, rate_2, ... where it is split |\n"
           "| `rates/<field>-seed.tif`, `.geojson` | seed prescription |\n"
           "| `layers/<field>-<name>.tif` | with `layers = yes`: slope, ls, k, soil-loss-bare, "
           "soil-loss-now, soil-loss-cover, zone |\n"
           "| `report.html`, `report/<field>.html` | for people |\n"
           "| `report/<field>-half-months.csv` | soil loss ratios by half-month, zone and "
           "management: what C is made from |\n"
           "| `run.json` | version, libraries, settings, input fingerprints, warnings, one outcome "
           "per field; `share` where the plan is a part |\n"
           "| `manifest.csv` | size and XXH64 of every other file; `catchfield check PLAN` "
           "compares "
           "them |\n"
           "| `fields.journal` | only in a share: what `gather` needs "
           "([large-runs.md](large-runs.md)) |\n\n"
           "An empty cell means \"not known\" or \"does not apply\", never zero. The same inputs "
           "give the same bytes: no clock\n"
           "time, fixed number formats, independent of the number of threads.\n\n"
           "This page is made from the program's own table by `scripts/make-reference`.\n\n"
           "## Zones (`zones.csv`, `zones.geojson`, `plan.gpkg`)\n\n" +
           columns_table(zone_columns()) +
           "\n## Cover options (`plan.gpkg`, layer `cover_options`)\n\n" +
           columns_table(option_columns());
}

std::string species_table() {
    return std::string(cover::data::species);
}

std::string credits_table() {
    return std::string(nitrogen::data::credits);
}

}  // namespace catchfield::plan
