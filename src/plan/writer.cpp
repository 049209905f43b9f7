// SPDX-License-Identifier: MIT
#include "plan/writer.hpp"

#include "base/table.hpp"
#include "base/text.hpp"
#include "gis/files.hpp"
#include "gis/geojson.hpp"
#include "gis/geopackage.hpp"
#include "gis/geotiff.hpp"
#include "plan/budget_table.hpp"
#include "plan/columns.hpp"
#include "plan/manifest.hpp"
#include "plan/report_pages.hpp"

#include <filesystem>

namespace catchfield::plan {

namespace {

/// rate_1, rate_2, ... where the nitrogen goes out in several passes.
std::vector<gis::FieldSpec> rate_columns(std::size_t passes) {
    std::vector<gis::FieldSpec> columns = {
        {"field_id", gis::FieldType::text, 0, 0}, {"zone", gis::FieldType::integer, 0, 0},
        {"product", gis::FieldType::text, 0, 0},  {"unit", gis::FieldType::text, 0, 0},
        {"rate", gis::FieldType::real, 0, 3},     {"area_ha", gis::FieldType::real, 0, 4}};
    for (std::size_t pass = 1; passes > 1 && pass <= passes; ++pass) {
        columns.push_back({"rate_" + std::to_string(pass), gis::FieldType::real, 0, 3});
    }
    return columns;
}

std::string seed_name(const Inputs& inputs, const ZoneResult& zone) {
    if (!inputs.job.output.seed_product.empty()) return inputs.job.output.seed_product;
    return zone.cover() != nullptr ? inputs.covers->candidates()[zone.cover()->candidate].cover.name
                                   : "none";
}

void add_rates(const Inputs& inputs, const FieldResult& result, FieldFiles& files) {
    std::vector<gis::PolygonRow> nitrogen, seed;
    const std::size_t passes = inputs.job.nitrogen.split.size();
    const auto add_passes = [&](gis::PolygonRow& row, const std::vector<double>& rates) {
        for (std::size_t pass = 0; passes > 1 && pass < passes; ++pass) {
            row.values.emplace_back(pass < rates.size() ? rates[pass] : 0.0);
        }
    };
    for (std::size_t z = 0; z < result.zones.size(); ++z) {
        const ZoneResult& zone = result.zones[z];
        const long long number = zone.zone;
        const double applied_ha = area(result.rate_shapes[z]) * 1e-4;
        if (!result.rate_shapes[z].empty()) {
            nitrogen.push_back({result.rate_shapes[z],
                                {result.id, number, result.product, result.rate_unit,
                                 result.zone_rates[z], applied_ha},
                                number});
            add_passes(nitrogen.back(), result.pass_rates[z]);
        }
        seed.push_back({zone.shape,
                        {result.id, number, seed_name(inputs, zone), result.seed_unit,
                         result.zone_seed_rates[z], zone.area_ha},
                        number});
    }
    if (!result.no_apply.empty()) {
        nitrogen.push_back(
            {result.no_apply,
             {result.id, 0LL, result.product, result.rate_unit, 0.0, area(result.no_apply) * 1e-4},
             0});
        add_passes(nitrogen.back(), {});
    }
    const std::string base = "rates/" + result.stem;
    files.files.emplace_back(base + "-nitrogen.geojson",
                             gis::geojson_bytes(rate_columns(passes), nitrogen, result.crs));
    files.files.emplace_back(base + "-seed.geojson",
                             gis::geojson_bytes(rate_columns(1), seed, result.crs));
    const auto tiff = [&](const Raster<float>& values, const std::string& name,
                          const std::string& unit) {
        gis::TiffOptions options;
        options.description = name;
        options.unit = unit;
        return gis::geotiff_bytes(values, result.rate_mask, result.rate_crs, options);
    };
    files.files.emplace_back(
        base + "-nitrogen.tif",
        tiff(result.rate_cells, lower_case(safe_file_stem(result.product)) + "_rate",
             result.rate_unit));
    files.files.emplace_back(base + "-seed.tif",
                             tiff(result.seed_cells, "seed_rate", result.seed_unit));
}

/// The rows behind every zone's C, with and without the cover: C = sum of EI share x SLR, SLR =
/// PLU CC SC SR SM.
std::string half_month_csv(const Inputs& inputs, const FieldResult& result) {
    std::string csv = csv_row({"field_id",
                               "zone",
                               "management",
                               "half_month",
                               "year",
                               "ei_share",
                               "precip_mm",
                               "tmean_c",
                               "flat_kg_ha",
                               "standing_kg_ha",
                               "cover_pct",
                               "crop_canopy",
                               "crop_fall_m",
                               "cover_canopy",
                               "cover_fall_m",
                               "roughness_mm",
                               "roots_kg_ha_mm",
                               "buried_kg_ha_mm",
                               "cf",
                               "plu",
                               "cc",
                               "sc",
                               "sr",
                               "sm",
                               "slr",
                               "operations"});
    for (const ZoneResult& zone : result.zones) {
        const auto add = [&](const erosion::CoverManagement& table, const char* management) {
            for (const erosion::HalfMonthRow& row : table.rows) {
                csv += csv_row({result.id,
                                std::to_string(zone.zone),
                                management,
                                half_month_name(row.half_month),
                                std::to_string(row.year),
                                fixed(row.ei_share, 6),
                                fixed(row.precip_mm, 2),
                                fixed(row.tmean_c, 2),
                                fixed(row.flat_kg_ha, 1),
                                fixed(row.standing_kg_ha, 1),
                                fixed(row.cover_pct, 2),
                                fixed(row.crop_canopy_fraction, 5),
                                fixed(row.crop_fall_height_m, 4),
                                fixed(row.cover_canopy_fraction, 5),
                                fixed(row.cover_fall_height_m, 4),
                                fixed(row.roughness_mm, 3),
                                fixed(row.roots_kg_ha_mm, 4),
                                fixed(row.buried_kg_ha_mm, 4),
                                fixed(row.cf, 6),
                                fixed(row.plu, 6),
                                fixed(row.cc, 6),
                                fixed(row.sc, 6),
                                fixed(row.sr, 6),
                                fixed(row.sm, 6),
                                fixed(row.slr, 7),
                                row.operations});
            }
        };
        add(inputs.covers->now_table(), "now");
        if (zone.cover() != nullptr) add(inputs.covers->cover_table(*zone.cover()->with), "cover");
    }
    return csv;
}

}  // namespace

FieldFiles make_field_files(const Inputs& inputs, const FieldResult& result) {
    FieldFiles files;
    files.rows = make_field_rows(inputs, result);
    if (inputs.job.output.reports) files.index = index_entry(inputs, result);
    if (result.status == FieldStatus::skipped) return files;
    for (const gis::PolygonRow& zone : files.rows.zones) {
        std::vector<std::string> cells;
        for (std::size_t i = 0; i < zone.values.size(); ++i) {
            cells.push_back(value_text(zone.values[i], zone_columns()[i].decimals));
        }
        files.zone_rows += csv_row(cells);
    }
    static const std::vector<gis::FieldSpec> specs = field_specs(zone_columns());
    files.zone_features = gis::geojson_features(specs, files.rows.zones, result.crs);
    files.budget_rows = budget_rows(inputs, result);
    add_rates(inputs, result, files);
    if (inputs.job.output.reports) {
        files.files.emplace_back("report/" + result.stem + ".html", field_page(inputs, result));
        files.files.emplace_back("report/" + result.stem + "-half-months.csv",
                                 half_month_csv(inputs, result));
    }
    return files;
}

struct PlanWriter::State {
    RunHead head;
    std::string folder;
    std::unique_ptr<gis::GeoPackageWriter> package;
    std::unique_ptr<gis::AtomicFile> csv, budget, geojson, json, manifest;
    bool first_field = true, first_feature = true;
    std::vector<IndexEntry> index;
};

PlanWriter::PlanWriter(const RunHead& head, const std::string& folder)
    : m_state(std::make_unique<State>()) {
    State& state = *m_state;
    state.head = head;
    state.folder = folder;
    for (const std::string& name : field_folders(head.job)) {
        std::filesystem::create_directories(std::filesystem::path(folder) / name);
    }
    state.package = std::make_unique<gis::GeoPackageWriter>(folder + "/plan.gpkg",
                                                            plan_layers(head.package_crs));
    state.csv = std::make_unique<gis::AtomicFile>(folder + "/zones.csv");
    std::vector<std::string> header;
    for (const ZoneColumn& column : zone_columns()) header.emplace_back(column.name);
    state.csv->write(csv_row(header));
    state.budget = std::make_unique<gis::AtomicFile>(folder + "/budget.csv");
    state.budget->write(budget_header());
    state.geojson = std::make_unique<gis::AtomicFile>(folder + "/zones.geojson");
    state.geojson->write(gis::geojson_head());
    state.json = std::make_unique<gis::AtomicFile>(folder + "/run.json");
    state.json->write(with_share(head.json, head.share));
    state.manifest = std::make_unique<gis::AtomicFile>(folder + "/" + manifest_name);
    state.manifest->write(manifest_header());
}

PlanWriter::~PlanWriter() = default;

void PlanWriter::add(const FinishedField& field) {
    State& state = *m_state;
    state.csv->write(field.zone_rows);
    state.budget->write(field.budget_rows);
    if (!field.zone_features.empty()) {
        if (!state.first_feature) state.geojson->write(",\n");
        state.geojson->write(field.zone_features);
        state.first_feature = false;
    }
    if (!state.first_field) state.json->write(",\n");
    state.json->write(field.json);
    std::string rows_of_files;
    for (const FilePrint& file : field.files) rows_of_files += manifest_row(file);
    state.manifest->write(rows_of_files);
    state.first_field = false;
    const FieldRows& rows = field.rows;
    state.package->add(fields_layer, rows.field);
    for (const gis::PolygonRow& zone : rows.zones) state.package->add(zones_layer, zone);
    for (const std::vector<gis::Value>& option : rows.options) {
        state.package->add(options_layer, option);
    }
    for (const gis::PointRow& probe : rows.probes) state.package->add(probes_layer, probe);
    if (state.head.job.output.reports) state.index.push_back(field.index);
}

void PlanWriter::finish() {
    State& state = *m_state;
    state.geojson->write(gis::geojson_tail());
    state.geojson->commit(false);
    state.csv->commit(false);
    state.budget->commit(false);
    state.package->commit();
    if (state.head.job.output.reports) {
        gis::write_staged_file(state.folder + "/report.html",
                               index_page(state.head, state.index));
    }
    state.json->write(run_json_tail());
    state.json->commit(false);
    std::vector<std::string> names = {"run.json", "zones.csv", "budget.csv", "zones.geojson",
                                      "plan.gpkg"};
    if (state.head.job.output.reports) names.emplace_back("report.html");
    for (const std::string& name : names)
        state.manifest->write(manifest_row(print_of_file(state.folder, name)));
    state.manifest->commit(false);
}

}  // namespace catchfield::plan
