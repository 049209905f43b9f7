// SPDX-License-Identifier: MIT
#include "plan/run_json.hpp"

#include "base/error.hpp"
#include "base/text.hpp"
#include "gis/files.hpp"
#include "plan/columns.hpp"
#include "plan/json_values.hpp"
#include "plan/libraries.hpp"
#include "prescription/surface.hpp"

#include <nlohmann/json.hpp>

#include <algorithm>
#include <filesystem>
#include <fstream>

namespace catchfield::plan {

namespace {

using Json = nlohmann::ordered_json;

/// Printed with fixed decimals so that the bytes are the same everywhere.
Json number(double value, int decimals) {
    const std::string text = fixed(value, decimals);
    return text.empty() ? Json() : Json::parse(text);
}

std::string dumped(const Json& json) {
    return json.dump(2, ' ', false, Json::error_handler_t::replace);
}

/// Which way K and T of every map unit came about; polygons of one unit that agree are one entry.
Json soils_json(const Soils& soils) {
    Json list = Json::array();
    for (const SoilFacts& facts : soils.facts) {
        Json entry;
        entry["map_unit"] = facts.unit.key;
        entry["name"] = facts.unit.name;
        if (facts.erodibility) {
            entry["k_si"] = number(facts.erodibility->k_si, 5);
            entry["k_route"] = soil::erodibility_route_name(facts.erodibility->route);
            entry["k_basis"] = facts.erodibility->basis;
            entry["k_confidence"] = confidence_name(facts.erodibility->confidence);
        }
        if (facts.t_mg_ha) {
            entry["t_mg_ha"] = number(*facts.t_mg_ha, 3);
            entry["t_route"] = facts.t_note;
        }
        if (std::find(list.begin(), list.end(), entry) == list.end()) list.push_back(entry);
    }
    return list;
}

FieldRecord record_of(const nlohmann::json& entry) {
    FieldRecord record;
    record.id = text_of(entry, "field_id");
    // The stem becomes part of a path; only what this program writes is followed.
    record.stem = safe_file_stem(text_of(entry, "file_stem"));
    const std::string status = text_of(entry, "status");
    record.status = status == field_status_name(FieldStatus::skipped)  ? FieldStatus::skipped
                    : status == field_status_name(FieldStatus::partly) ? FieldStatus::partly
                                                                       : FieldStatus::done;
    const double zones = number_of(entry, "zones");
    record.zones = zones > 0.0 && zones < 1e6 ? static_cast<std::size_t>(zones) : 0;
    record.area_ha = number_of(entry, "area_ha");
    record.n_total_kg = number_of(entry, "nitrogen_total_kg");
    record.product_total = number_of(entry, "product_total");
    record.raster_total = number_of(entry, "product_total_on_raster");
    record.lowest_rate = number_of(entry, "lowest_rate");
    record.highest_rate = number_of(entry, "highest_rate");
    record.rate_unit = text_of(entry, "rate_unit");
    record.total_unit = text_of(entry, "total_unit");
    return record;
}

}  // namespace

void for_records(const std::string& path, const std::function<void(FieldRecord)>& visit) {
    std::ifstream file(path, std::ios::binary);
    std::string member;
    using nlohmann::json;
    const json rest = json::parse(
        file,
        [&](int depth, json::parse_event_t event, json& value) {
            if (depth == 1 && event == json::parse_event_t::key) member = value;
            const bool entry =
                depth == 2 && event == json::parse_event_t::object_end && member == "fields";
            if (entry) visit(record_of(value));
            return !entry;
        },
        false);
    if (!rest.is_object()) throw Error(ErrorKind::input, "is not JSON", {.path = path});
}

FieldRecord record_of(const FieldResult& result) {
    FieldRecord record;
    record.id = result.id;
    record.stem = result.stem;
    record.status = result.status;
    record.reasons = result.reasons;
    record.warnings = result.warnings;
    record.area_ha = result.area_ha;
    record.zones = result.zones.size();
    for (const ZoneResult& zone : result.zones) record.zones_ha += zone.area_ha;
    record.n_total_kg = result.n_total_kg;
    record.product_total = result.product_total;
    record.seed_total_kg = result.seed_total_kg;
    record.product = result.product;
    record.rate_unit = result.rate_unit;
    record.total_unit = result.total_unit;
    record.zone_reason = result.zoning.reason;
    if (!result.zone_rates.empty()) {
        const auto [low, high] =
            std::minmax_element(result.zone_rates.begin(), result.zone_rates.end());
        record.lowest_rate = *low;
        record.highest_rate = *high;
    }
    for (std::size_t i = 0; i < result.rate_mask.size(); ++i) {
        if (result.rate_mask[i]) record.raster_total += static_cast<double>(result.rate_cells[i]);
    }
    if (result.rate_mask.size() > 0) {
        const double unit_m = result.rate_crs.metres_per_unit();
        record.raster_total = prescription::total_amount(
            record.raster_total, result.rate_mask.frame.cell_area_ha() * unit_m * unit_m,
            prescription::parse_rate_unit(result.rate_unit));
    }
    return record;
}

std::string run_json_head(const Inputs& inputs) {
    Json root;
    root["program"] = "catchfield";
    root["version"] = CATCHFIELD_VERSION;
    root["command"] = "plan";
    Json libraries;
    for (const auto& [name, version] : library_versions()) libraries[name] = version;
    root["libraries"] = libraries;
    Json settings;
    for (const auto& [key, value] : resolved_values(inputs.job)) settings[key] = value;
    root["settings"] = settings;
    Json prints = Json::array();
    for (const Fingerprint& print : inputs.fingerprints) {
        prints.push_back({{"key", print.key},
                          {"file", std::filesystem::path(print.path).filename().string()},
                          {"bytes", print.bytes},
                          {"xxh64", print.xxh64}});
    }
    root["inputs"] = prints;
    root["season"] = {{"harvest", iso_date(inputs.dates.harvest)},
                      {"sow", iso_date(inputs.dates.sow)},
                      {"hard_frost", iso_date(inputs.dates.hard_frost)},
                      {"terminate", iso_date(inputs.dates.terminate)},
                      {"next_planting", iso_date(inputs.dates.next_planting)}};
    root["erosivity"] = {{"r_si", number(inputs.climate.year.r_si, 1)},
                         {"unit", "MJ mm/(ha h yr)"},
                         {"source", inputs.climate.erosivity_source},
                         {"shares", inputs.climate.shares_source},
                         {"temperature", inputs.climate.temperature_source},
                         {"confidence", confidence_name(inputs.climate.confidence)}};
    root["soils"] = soils_json(inputs.soils);
    root["nitrogen_method"] = {{"id", inputs.method->id},
                               {"valid_for", inputs.method->valid_for},
                               {"source", inputs.method->source},
                               {"confidence", confidence_name(inputs.method->confidence)}};
    root["warnings"] = inputs.warnings;
    std::string text = dumped(root);
    text.resize(text.size() - std::string_view("\n}").size());
    return text + ",\n  \"fields\": [\n";
}

std::string field_json(const FieldRecord& field) {
    Json entry;
    entry["field_id"] = field.id;
    entry["file_stem"] = field.stem;
    entry["status"] = field_status_name(field.status);
    entry["reasons"] = field.reasons;
    entry["warnings"] = field.warnings;
    if (field.status != FieldStatus::skipped) {
        entry["area_ha"] = number(field.area_ha, 4);
        entry["zones"] = field.zones;
        entry["zones_reason"] = field.zone_reason;
        entry["nitrogen_total_kg"] = number(field.n_total_kg, 2);
        entry["product"] = field.product;
        entry["rate_unit"] = field.rate_unit;
        entry["lowest_rate"] = number(field.lowest_rate, 3);
        entry["highest_rate"] = number(field.highest_rate, 3);
        entry["product_total"] = number(field.product_total, 2);
        entry["product_total_on_raster"] = number(field.raster_total, 2);
        entry["total_unit"] = field.total_unit;
        entry["seed_total_kg"] = number(field.seed_total_kg, 2);
    }
    const std::string text = dumped(entry);
    std::string indented = "    ";
    for (const char c : text) {
        indented += c;
        if (c == '\n') indented += "    ";
    }
    return indented;
}

std::string run_json_tail() {
    return "\n  ],\n  \"caution\": \"This tool screens. Follow product labels and local rules; a "
           "licensed adviser decides.\"\n}\n";
}

std::string with_share(const std::string& head, const std::optional<Share>& share) {
    if (!share) return head;
    const std::string before = "\"command\": \"plan\",\n";
    std::string text = head;
    text.insert(text.find(before) + before.size(),
                "  \"share\": \"" + share_name(*share) + "\",\n");
    return text;
}

}  // namespace catchfield::plan
