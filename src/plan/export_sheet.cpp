// SPDX-License-Identifier: MIT
#include "base/text.hpp"
#include "plan/export.hpp"
#include "report/html.hpp"

#include <nlohmann/json.hpp>

namespace catchfield::plan {

namespace {

std::string area_text(const HandOff& sheet, double ha) {
    return sheet.units == UnitSystem::us
               ? fixed(ha / units::ha_per_ac, 2) + " ac (" + fixed(ha, 3) + " ha)"
               : fixed(ha, 3) + " ha";
}

std::string joined_names(const std::vector<std::string>& names) {
    std::string text;
    for (const std::string& name : names) text += (text.empty() ? "" : ", ") + name;
    return text;
}

/// Names come from users: no line ends or control characters in a text sheet.
std::string one_line(const std::string& text) {
    return gis::cut_text(text, 1000);
}

/// Two decimals, none for large figures such as seeds.
std::string rate_text(double rate) {
    return fixed(rate, rate < 1000.0 ? 2 : 0);
}
std::string total_text(double total) {
    return fixed(total, total < 1e6 ? 1 : 0);
}

constexpr const char* closing =
    "Before you start: load it, look whether map, unit and product on the display are those on "
    "this sheet, and weigh the first tank or bin against the total. This tool screens. Follow "
    "product labels and local rules; a licensed adviser decides.";

}  // namespace

std::string hand_off_text(const HandOff& sheet) {
    std::string text = "Hand-off sheet\n\nWritten as:   " + sheet.format +
                       "\nCoordinates:  " + sheet.crs + "\nPlan:         run.json, xxh64 " +
                       sheet.plan_fingerprint + "\n";
    for (const HandOffEntry& entry : sheet.entries) {
        text += "\nField " + one_line(entry.field) + ": " + entry.quantity + "\n";
        const auto line = [&](const std::string& name, const std::string& value) {
            text += "  " + name + std::string(name.size() < 16 ? 16 - name.size() : 1, ' ') +
                    value + "\n";
        };
        line("product", one_line(entry.product));
        line("unit", entry.unit);
        line("total", total_text(entry.total) + " " + entry.total_unit);
        line("total in files", total_text(entry.file_total) + " " + entry.total_unit);
        line("highest rate", rate_text(entry.highest) + " " + entry.unit);
        line("lowest rate", rate_text(entry.lowest) + " " + entry.unit);
        line("different rates", std::to_string(entry.rates));
        line("area", area_text(sheet, entry.area_ha));
        if (entry.none_ha > 0.0) line("of it without", area_text(sheet, entry.none_ha));
        line("files", joined_names(entry.files));
        for (const std::string& caution : entry.cautions) text += "  ! " + one_line(caution) + "\n";
    }
    text += "\nFiles\n";
    for (const HandOffFile& file : sheet.files) {
        text += "  " + file.name + "  " + std::to_string(file.bytes) + " bytes  xxh64 " +
                file.xxh64 + "\n";
    }
    text += "\nLook-ahead\n  " + sheet.look_ahead + "\n";
    if (!sheet.cautions.empty()) text += "\nCautions\n";
    for (const std::string& caution : sheet.cautions) text += "  ! " + one_line(caution) + "\n";
    return text + "\n" + closing + "\n";
}

std::string hand_off_html(const HandOff& sheet) {
    using report::escape;
    std::string body = "<div class=\"sheet\"><h1>Hand-off sheet</h1><p>Written as " +
                       escape(sheet.format) + ". Coordinates: " + escape(sheet.crs) +
                       ". Plan: run.json, xxh64 <code>" + escape(sheet.plan_fingerprint) +
                       "</code>.</p>\n";
    report::HtmlTable rates{
        "What is applied",
        {"Field", "What", "Product", "Unit", "Lowest rate", "Highest rate", "Rates", "Area",
         "Without", "Total", "Total in files", "Files"},
        {false, false, false, false, true, true, true, true, true, true, true, false},
        {}};
    std::vector<std::string> cautions = sheet.cautions;
    for (const HandOffEntry& entry : sheet.entries) {
        rates.rows.push_back({escape(entry.field), escape(entry.quantity), escape(entry.product),
                              escape(entry.unit), rate_text(entry.lowest), rate_text(entry.highest),
                              std::to_string(entry.rates), area_text(sheet, entry.area_ha),
                              area_text(sheet, entry.none_ha),
                              total_text(entry.total) + " " + entry.total_unit,
                              total_text(entry.file_total) + " " + entry.total_unit,
                              escape(joined_names(entry.files))});
        for (const std::string& caution : entry.cautions)
            cautions.push_back(entry.field + ", " + entry.quantity + ": " + caution);
    }
    body += report::table(rates);
    body += "<h2>Look-ahead</h2><p>" + escape(sheet.look_ahead) + "</p>\n";
    if (!cautions.empty())
        body +=
            "<h2>Cautions</h2><div class=\"caution\">" + report::bullet_list(cautions) + "</div>\n";
    report::HtmlTable files{"Files", {"Name", "Bytes", "xxh64"}, {false, true, false}, {}};
    for (const HandOffFile& file : sheet.files) {
        files.rows.push_back({escape(file.name), std::to_string(file.bytes),
                              "<code>" + escape(file.xxh64) + "</code>"});
    }
    body += report::table(files);
    body += std::string("<p class=\"soft\">") + closing + "</p></div>\n";
    return report::page("Hand-off sheet", body);
}

std::string hand_off_json(const HandOff& sheet) {
    using Json = nlohmann::ordered_json;
    Json root;
    root["command"] = "export";
    root["format"] = sheet.format;
    root["crs"] = sheet.crs;
    root["plan_xxh64"] = sheet.plan_fingerprint;
    root["look_ahead"] = sheet.look_ahead;
    Json entries = Json::array();
    for (const HandOffEntry& entry : sheet.entries) {
        entries.push_back({{"field", entry.field},
                           {"what", entry.quantity},
                           {"product", entry.product},
                           {"unit", entry.unit},
                           {"total", entry.total},
                           {"total_in_files", entry.file_total},
                           {"total_unit", entry.total_unit},
                           {"highest_rate", entry.highest},
                           {"lowest_rate", entry.lowest},
                           {"rates", entry.rates},
                           {"area_ha", entry.area_ha},
                           {"without_ha", entry.none_ha},
                           {"files", entry.files},
                           {"cautions", entry.cautions}});
    }
    root["entries"] = entries;
    Json files = Json::array();
    for (const HandOffFile& file : sheet.files)
        files.push_back({{"name", file.name}, {"bytes", file.bytes}, {"xxh64", file.xxh64}});
    root["files"] = files;
    root["cautions"] = sheet.cautions;
    return root.dump(2, ' ', false, Json::error_handler_t::replace) + "\n";
}

}  // namespace catchfield::plan
