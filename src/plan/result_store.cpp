// SPDX-License-Identifier: MIT
#include "plan/result_store.hpp"

#include "base/text.hpp"

#include <nlohmann/json.hpp>

#include <filesystem>
#include <utility>

namespace catchfield::plan {

namespace {

std::vector<gis::LayerSpec> database_layers() {
    std::vector<gis::LayerSpec> layers = plan_layers(gis::Crs::wgs84());
    for (gis::LayerSpec& layer : layers) {
        layer.columns.insert(layer.columns.begin(), {"run", gis::FieldType::text, 0, 0});
    }
    return layers;
}

}  // namespace

void require_result_target(const ResultTarget& target) {
    gis::require_postgis_target(target.database);
}

std::string default_run_name(const RunHead& head) {
    std::string name = head.job.field.farm;
    const nlohmann::json root = nlohmann::json::parse(head.json + "]}");  // the list is still open
    for (const nlohmann::json& print : root.at("inputs")) {
        if (print.at("key") != "field.boundary") continue;
        if (name.empty())
            name = std::filesystem::path(print.at("file").get<std::string>()).stem().string();
        name += "-" + print.at("xxh64").get<std::string>().substr(0, 8);
    }
    return name;
}

ResultStore::ResultStore(const RunHead& head, const ResultTarget& target)
    : m_run(valid_utf8(target.run.empty() ? default_run_name(head) : target.run)),
      m_place(gis::shown_connection(target.database.connection) + ", schema " +
              target.database.schema + ", run " + m_run),
      m_crs(head.package_crs),
      m_writer(target.database, database_layers()) {}

void ResultStore::add(const FieldRows& rows) {
    constexpr std::size_t most = 16;
    constexpr std::chrono::seconds longest{1};  // fields do not wait long where they are slow
    if (m_waiting.empty()) m_since = std::chrono::steady_clock::now();
    m_waiting.push_back(in_crs(rows, m_crs, gis::Crs::wgs84()));
    if (m_waiting.size() >= most || std::chrono::steady_clock::now() - m_since > longest) finish();
}

void ResultStore::finish() {
    if (m_waiting.empty()) return;
    std::vector<std::string> ids;
    for (const FieldRows& rows : m_waiting) {
        ids.push_back(std::get<std::string>(rows.field.values.front()));
    }
    const auto named = [&](std::vector<gis::Value>& values) -> std::vector<gis::Value>& {
        values.insert(values.begin(), gis::Value(m_run));
        return values;
    };
    m_writer.begin(m_run, ids);
    for (FieldRows& rows : m_waiting) {
        named(rows.field.values);
        m_writer.add(fields_layer, rows.field);
    }
    for (FieldRows& rows : m_waiting) {
        for (gis::PolygonRow& zone : rows.zones) {
            named(zone.values);
            m_writer.add(zones_layer, zone);
        }
    }
    for (FieldRows& rows : m_waiting) {
        for (std::vector<gis::Value>& option : rows.options)
            m_writer.add(options_layer, named(option));
    }
    for (FieldRows& rows : m_waiting) {
        for (gis::PointRow& probe : rows.probes) {
            named(probe.values);
            m_writer.add(probes_layer, probe);
        }
    }
    m_writer.commit();
    m_waiting.clear();
}

}  // namespace catchfield::plan
