// SPDX-License-Identifier: MIT
#include "plan/result_store.hpp"

#include "base/text.hpp"
#include "plan/fingerprint.hpp"

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

std::string default_run_name(const Inputs& inputs) {
    std::string name = inputs.job.field.farm.empty()
                           ? std::filesystem::path(inputs.job.field.boundary).stem().string()
                           : inputs.job.field.farm;
    for (const Fingerprint& print : inputs.fingerprints) {
        if (print.key == "field.boundary") name += "-" + print.xxh64.substr(0, 8);
    }
    return valid_utf8(name);
}

ResultStore::ResultStore(const Inputs& inputs, const ResultTarget& target)
    : m_run(target.run.empty() ? default_run_name(inputs) : valid_utf8(target.run)),
      m_place(gis::shown_connection(target.database.connection) + ", schema " +
              target.database.schema + ", run " + m_run),
      m_writer(target.database, database_layers()) {}

void ResultStore::add(const FieldRows& rows, const gis::Crs& crs) {
    FieldRows degrees = in_crs(rows, crs, gis::Crs::wgs84());
    const auto named = [&](std::vector<gis::Value>& values) {
        values.insert(values.begin(), gis::Value(m_run));
    };
    m_writer.begin(m_run, std::get<std::string>(degrees.field.values.front()));
    named(degrees.field.values);
    m_writer.add(fields_layer, degrees.field);
    for (gis::PolygonRow& zone : degrees.zones) {
        named(zone.values);
        m_writer.add(zones_layer, zone);
    }
    for (std::vector<gis::Value>& option : degrees.options) {
        named(option);
        m_writer.add(options_layer, option);
    }
    for (gis::PointRow& probe : degrees.probes) {
        named(probe.values);
        m_writer.add(probes_layer, probe);
    }
    m_writer.commit();
}

}  // namespace catchfield::plan
