// SPDX-License-Identifier: MIT
#include "plan/inputs.hpp"

#include "base/error.hpp"
#include "base/text.hpp"
#include "cover/catalogue.hpp"
#include "gis/files.hpp"
#include "gis/start.hpp"
#include "plan/field_zones.hpp"
#include "plan/fingerprint.hpp"
#include "plan/notes.hpp"
#include "plan/point_layers.hpp"
#include "plan/point_tables.hpp"
#include "plan/probe_places.hpp"
#include "plan/scouting_visit.hpp"
#include "plan/yields.hpp"

#include <tbb/info.h>

#include <algorithm>
#include <map>

namespace catchfield::plan {

namespace {

Table read_table(const std::string& path) {
    return Table::parse(gis::read_file(path, 256u << 20), path);
}

/// Centre of all fields in degrees.
Point centre_of(const FieldList& fields, const gis::Crs& crs) {
    Box all = bounds(fields.front().shape);
    for (const FieldBoundary& field : fields) {
        const Box box = bounds(field.shape);
        all.min_x = std::min(all.min_x, box.min_x);
        all.min_y = std::min(all.min_y, box.min_y);
        all.max_x = std::max(all.max_x, box.max_x);
        all.max_y = std::max(all.max_y, box.max_y);
    }
    const Point middle{(all.min_x + all.max_x) / 2.0, (all.min_y + all.max_y) / 2.0};
    return gis::transformer(crs, gis::Crs::wgs84()).apply(middle);
}

ProbeStops load_probes(const Job& job, std::vector<std::string>& warnings) {
    ProbeStops probes;
    if (job.compaction.probes.empty()) return probes;
    const std::string& path = job.compaction.probes;
    Table table = lower_case(path).ends_with(".csv") ? read_table(path)
                                                     : probe_table_of_layer(path, job, probes.crs);
    compaction::ProbeOptions options;
    // Usual names of coordinates in point tables, unless the user says otherwise.
    for (const char* name : {"lon", "longitude", "easting"}) {
        if (table.has(name)) options.columns.x = name;
    }
    for (const char* name : {"lat", "latitude", "northing"}) {
        if (table.has(name)) options.columns.y = name;
    }
    for (const char* name : {"ci", "ci_mpa", "ci_kpa", "ci_psi"}) {
        if (table.has(name)) options.columns.strength = name;
    }
    std::string columns;
    for (const auto& [name, column] : job.compaction.columns) {
        columns += (columns.empty() ? "" : ",") + name + "=" + column;
    }
    if (!columns.empty()) compaction::set_columns(options.columns, columns);
    options.strength_unit = job.compaction.unit;
    options.moisture = *compaction::parse_moisture(job.compaction.moisture);
    options.policy = job.compaction.refuse_off_moisture ? compaction::MoisturePolicy::refuse
                                                        : compaction::MoisturePolicy::warn;
    compaction::ProbeSet set = compaction::read_probes(table, options);
    for (const std::string& problem : set.problems)
        warnings.push_back("penetrometer stops: " + problem);
    for (const std::string& warning : set.warnings)
        warnings.push_back("penetrometer stops: " + warning);
    probes.stops = std::move(set.stops);
    if (!probes.crs)
        probes.crs = gis::Crs::from_user_input(job.compaction.crs, "compaction.probe-crs");
    return probes;
}

std::vector<TestSample> load_tests(const Job& job, std::vector<std::string>& warnings) {
    std::vector<TestSample> samples;
    if (job.nitrogen.soil_tests.empty()) return samples;
    const Table table = read_table(job.nitrogen.soil_tests);
    table.require({"sample", "lon", "lat"});
    struct Raw {
        TestSample sample;
        std::vector<nitrogen::NitrateLayer> layers;
    };
    std::vector<std::string> order;
    std::map<std::string, Raw> by_name;
    for (std::size_t row = 0; row < table.rows(); ++row) {
        const std::string& name = table.text(row, "sample");
        if (!by_name.contains(name)) order.push_back(name);
        Raw& raw = by_name[name];
        raw.sample.name = name;
        raw.sample.lon_lat = {table.required_number(row, "lon"), table.required_number(row, "lat")};
        if (table.has("nitrate_ppm")) {
            if (const auto ppm = table.number(row, "nitrate_ppm")) {
                nitrogen::NitrateLayer layer;
                layer.top_cm = table.required_number(row, "top_cm");
                layer.bottom_cm = table.required_number(row, "bottom_cm");
                layer.nitrate_n_ppm = *ppm;
                if (table.has("bulk_density_g_cm3")) {
                    layer.bulk_density_g_cm3 = table.number(row, "bulk_density_g_cm3");
                }
                raw.layers.push_back(layer);
            }
        }
        if (table.has("om_pct")) {
            if (const auto om = table.number(row, "om_pct")) {
                if (*om < 0.0 || *om > 100.0) table.fail(row, "om_pct", "outside 0 to 100");
                if (!raw.sample.om_pct) raw.sample.om_pct = om;
            }
        }
    }
    for (const std::string& name : order) {
        Raw& raw = by_name[name];
        if (!raw.layers.empty()) {
            try {
                raw.sample.nitrate = nitrogen::stack_layers(raw.layers);
                raw.sample.nitrate_0_30_kg_ha = nitrogen::nitrate_to_depth_kg_ha(raw.layers, 30.0);
            } catch (const Error& error) {
                throw Error(error.kind(), error.reason(),
                            {.path = job.nitrogen.soil_tests,
                             .feature = "sample " + name,
                             .hint = error.context().hint});
            }
            raw.sample.has_nitrate = true;
            for (const std::string& warning : raw.sample.nitrate.warnings) {
                warnings.push_back("soil test " + name + ": " + warning);
            }
        }
        samples.push_back(std::move(raw.sample));
    }
    return samples;
}

/// What a method needs that no field can bring by itself.
void check_method(const Inputs& inputs) {
    using nitrogen::MethodForm;
    const auto& job = inputs.job.nitrogen;
    const nitrogen::Method& method = *inputs.method;
    if (method.form == MethodForm::balance || method.form == MethodForm::corn_balance) {
        method.require("n_lb_per_bu", job.crop);
    }
    if (!job.price_crop.empty()) parse_crop_price_per_kg(job.price_crop, job.crop);
    if (!job.yield_raster.empty() && job.yield_unit.empty()) {
        throw Error(ErrorKind::usage,
                    "nitrogen.yield-unit is not given, and the yield raster needs it",
                    {.hint = "Say whether the yields are in bu/ac, Mg/ha or kg/ha."});
    }
    if (method.form != MethodForm::late_spring) return;
    method.require("critical_ppm", job.crop);
    const bool any = std::any_of(inputs.tests.begin(), inputs.tests.end(),
                                 [](const TestSample& test) { return test.has_nitrate; });
    if (!any) {
        throw Error(ErrorKind::usage,
                    "method late-spring needs nitrate tests, and nitrogen.soil-tests has none",
                    {.hint = "Sample 0 to 30 cm when the corn is 15 to 30 cm tall."});
    }
    if (!job.tests_in_spring) {
        throw Error(ErrorKind::usage, "method late-spring needs tests taken in spring, not in fall",
                    {.hint = "Write nitrogen.soil-tests-taken = spring if that is when they were "
                             "taken."});
    }
}

void load_prescription(Inputs& inputs) {
    const Job& job = inputs.job;
    const bool us = inputs.us();
    const std::string& name = job.output.product;
    using prescription::RateUnit;
    if (name == "nitrogen") {
        inputs.rate_unit = us ? RateUnit::n_lb_ac : RateUnit::n_kg_ha;
    } else if (const auto share = parse_number(name)) {
        inputs.product =
            prescription::own_product("own product, " + fixed(*share * 100.0, 1) + " % N",
                                      prescription::ProductForm::dry, *share, std::nullopt);
        inputs.rate_unit = us ? RateUnit::lb_ac : RateUnit::kg_ha;
    } else {
        inputs.product = prescription::product(name);
        inputs.rate_unit = prescription::default_unit(*inputs.product, job.output.units);
    }
    if (!job.output.crs.empty()) {
        inputs.rate_crs = gis::Crs::from_user_input(job.output.crs, "output.crs");
        if (!inputs.rate_crs.is_projected()) {
            throw Error(ErrorKind::usage,
                        "output.crs = " + job.output.crs + ": not a projected system",
                        {.hint = "The cells of a prescription raster are squares on the ground: "
                                 "give a system in metres or feet."});
        }
    }
    const double unit = us ? units::kg_ha_per_lb_ac : 1.0;
    auto& rule = inputs.rate_rule;
    rule.cap = job.nitrogen.max_rate_kg_ha / unit;
    rule.least_applicable = job.nitrogen.min_rate_kg_ha / unit;
    rule.step = job.nitrogen.step_kg_ha ? *job.nitrogen.step_kg_ha / unit : 5.0;
    prescription::check_rule(rule);
}

}  // namespace

FieldList read_boundaries(const Job& job, gis::Crs& crs, std::size_t& null_geometries,
                          std::vector<std::string>& warnings) {
    FieldList fields;
    std::optional<std::size_t> column;
    std::vector<std::string> ids;
    std::map<std::string, int> seen;
    RepeatedNotes notes;
    std::vector<std::pair<std::size_t, std::string>> nameless;  // position in ids, feature
    std::size_t features = 0;
    const auto begin = [&](const gis::VectorLayer& layer) {
        crs = gis::require_crs(layer.crs_wkt, job.field.crs, job.field.boundary, "field.crs");
        if (!job.field.id_column.empty()) column = layer.column(job.field.id_column);
    };
    const auto visit = [&](const gis::VectorLayer& layer, gis::Feature&& feature) {
        if (features++ == 0) begin(layer);
        gis::require_place(layer, feature, crs);
        const std::string what = "feature " + std::to_string(feature.fid);
        if (feature.kind == gis::GeometryKind::none) {
            notes.add(what, "has no geometry and is left out.");
            return;
        }
        if (feature.kind != gis::GeometryKind::polygons) {
            throw Error(ErrorKind::data, "not an area but a point or line",
                        {.path = job.field.boundary,
                         .layer = layer.name,
                         .feature = std::to_string(feature.fid),
                         .hint = "Field boundaries must be polygons."});
        }
        std::string id = column ? one_line(feature.values[*column]) : std::string();
        if (id.empty()) {
            nameless.emplace_back(ids.size(), what);
            id = "field " + std::to_string(ids.size() + 1);
        }
        if (const int again = seen[id]++; again > 0) {
            const std::string renamed = id + " (" + std::to_string(again + 1) + ")";
            notes.add(what, "the name '" + id + "' stands more than once; this one is called '" +
                                renamed + "'.");
            id = renamed;
        }
        fields.add(feature.fid, feature.polygons);
        ids.push_back(id);
    };
    const gis::VectorLayer layer = gis::visit_layer(job.field.boundary, job.field.layer, visit);
    if (features == 0) begin(layer);
    null_geometries = layer.null_geometries;
    if (ids.empty()) {
        throw Error(ErrorKind::input, "there is no field in it",
                    {.path = job.field.boundary,
                     .layer = layer.name,
                     .hint = "Give a layer with at least one polygon."});
    }
    if (features == 1 && !nameless.empty()) ids.front() = "field";
    for (const auto& [position, what] : nameless) {
        if (!column) break;
        notes.add(what, "has no name in '" + job.field.id_column + "' and is called '" +
                            ids[position] + "'.");
    }
    const auto said = notes.lines(job.field.boundary + ": ");
    warnings.insert(warnings.end(), said.begin(), said.end());
    fields.finish(ids, unique_file_stems(ids));
    return fields;
}

Inputs load_inputs(const Job& job) {
    Inputs inputs;
    inputs.job = job;
    require_known_features(job);
    inputs.fields =
        read_boundaries(job, inputs.boundary_crs, inputs.boundary_null_geometries, inputs.warnings);

    gis::RasterOptions raster;
    raster.crs_key = "terrain (the raster must state its CRS)";
    const std::string& terrain =
        job.terrain.source == TerrainSource::elevation ? job.terrain.elevation : job.terrain.slope;
    inputs.terrain_info = gis::RasterSource(terrain, raster).info();
    // A field lies in up to four blocks; those beside it, which threads work on, in the same.
    gis::keep_raster_blocks(4.0 * std::max(4, tbb::info::default_concurrency()) *
                            inputs.terrain_info->block_bytes);
    for (const auto& [name, files] : job.zones.layers) {
        for (const std::string& file : split(files, ';')) {
            if (is_point_file(file)) {
                inputs.point_layers.emplace(file, read_points(file, name));
            } else {
                gis::RasterSource(file, raster);
            }
        }
    }
    if (!job.nitrogen.yield_raster.empty()) gis::RasterSource(job.nitrogen.yield_raster, raster);

    inputs.soils = load_soils(job);
    inputs.warnings.insert(inputs.warnings.end(), inputs.soils.warnings.begin(),
                           inputs.soils.warnings.end());
    inputs.climate = load_climate(job, centre_of(inputs.fields, inputs.boundary_crs), inputs.dates);
    inputs.warnings.insert(inputs.warnings.end(), inputs.climate.warnings.begin(),
                           inputs.climate.warnings.end());
    inputs.warnings.insert(inputs.warnings.end(), inputs.dates.notes.begin(),
                           inputs.dates.notes.end());

    cover::Catalogue catalogue = cover::Catalogue::built_in();
    if (!job.cover.catalogue.empty()) catalogue.add_species(read_table(job.cover.catalogue));
    inputs.covers = std::make_unique<CoverBook>(job, catalogue, inputs.climate, inputs.dates);
    for (const std::string& warning : inputs.covers->season().warnings()) {
        inputs.warnings.push_back("season: " + warning);
    }

    inputs.probes = load_probes(job, inputs.warnings);
    inputs.scouting = read_scouting(job, catalogue, inputs.fields.size());
    const auto strays = stray_stops(inputs.probes, inputs.fields, inputs.boundary_crs);
    inputs.warnings.insert(inputs.warnings.end(), strays.begin(), strays.end());
    inputs.tests = load_tests(job, inputs.warnings);
    inputs.credits = job.nitrogen.credits_table.empty()
                         ? nitrogen::CreditTable::built_in()
                         : nitrogen::CreditTable::parse(gis::read_file(job.nitrogen.credits_table),
                                                        job.nitrogen.credits_table);
    inputs.credits.require_set(job.nitrogen.region);
    inputs.method = &nitrogen::method(job.nitrogen.method);
    nitrogen::crop(job.nitrogen.crop);
    if (!job.nitrogen.yield_goal.empty()) {
        inputs.yield_goal_kg_ha =
            parse_yield_kg_ha(job.nitrogen.yield_goal, "nitrogen.yield-goal", job.nitrogen.crop);
    }
    using nitrogen::MethodForm;
    const bool by_yield = inputs.method->form == MethodForm::balance ||
                          inputs.method->form == MethodForm::corn_balance;
    if (by_yield && !inputs.yield_goal_kg_ha && job.nitrogen.yield_column.empty() &&
        job.nitrogen.yield_raster.empty()) {
        throw Error(
            ErrorKind::usage,
            "nitrogen.yield-goal is not given, and method " + inputs.method->id + " needs it",
            {.hint = "Write it with its unit: yield-goal = 180 bu/ac."});
    }
    if (inputs.method->form == MethodForm::fixed && !job.nitrogen.fixed_rate_kg_ha) {
        throw Error(ErrorKind::usage, "nitrogen.fixed-rate is not given, and method fixed needs it",
                    {.hint = "Write it with its unit: fixed-rate = 150 lb/ac."});
    }
    if (inputs.method->form == MethodForm::response ||
        inputs.method->form == MethodForm::average_response) {
        inputs.responses = load_responses(job);
    }
    check_method(inputs);
    load_prescription(inputs);
    if (!job.terrain.barriers.empty()) {
        gis::VectorLayer layer = gis::read_layer(job.terrain.barriers);
        const gis::Crs crs =
            gis::require_crs(layer.crs_wkt, "", job.terrain.barriers, "terrain.barriers");
        inputs.barriers.emplace(std::move(layer), crs);
    }
    if (!job.nitrogen.no_apply.empty()) {
        gis::VectorLayer layer = gis::read_layer(job.nitrogen.no_apply);
        const gis::Crs crs =
            gis::require_crs(layer.crs_wkt, "", job.nitrogen.no_apply, "nitrogen.no-apply");
        inputs.no_apply.emplace(std::move(layer), crs);
    }
    inputs.fingerprints = fingerprints_of(job);
    return inputs;
}

std::vector<InputTrial> try_inputs(const Job& job) {
    std::vector<InputTrial> trials;
    const auto attempt = [&](const char* name, const auto& load) {
        std::string failure;
        try {
            load();
        } catch (const Error& error) {
            failure = error.what();
        }
        trials.push_back({name, failure});
    };
    const auto attempt_layer = [&](const char* name, const std::string& path) {
        if (path.empty()) return;
        attempt(name, [&] {
            const gis::VectorLayer layer = gis::read_layer(path);
            gis::require_crs(layer.crs_wkt, "", path, name);
        });
    };
    std::vector<std::string> ignored;
    FieldList fields;
    gis::Crs crs;
    attempt("fields", [&] {
        std::size_t null_geometries = 0;
        fields = read_boundaries(job, crs, null_geometries, ignored);
    });
    attempt("terrain", [&] {
        gis::RasterSource(job.terrain.source == TerrainSource::elevation ? job.terrain.elevation
                                                                         : job.terrain.slope);
    });
    attempt("soil map", [&] { load_soils(job); });
    if (!fields.empty()) {
        attempt("weather", [&] {
            SeasonDates dates;
            load_climate(job, centre_of(fields, crs), dates);
        });
    }
    if (!job.compaction.probes.empty()) attempt("stops", [&] { load_probes(job, ignored); });
    if (!job.nitrogen.soil_tests.empty()) attempt("soil tests", [&] { load_tests(job, ignored); });
    if (!job.nitrogen.credits_table.empty()) {
        attempt("credits", [&] {
            nitrogen::CreditTable::parse(gis::read_file(job.nitrogen.credits_table),
                                         job.nitrogen.credits_table);
        });
    }
    if (!job.cover.catalogue.empty()) {
        attempt("catalogue", [&] {
            cover::Catalogue catalogue = cover::Catalogue::built_in();
            catalogue.add_species(read_table(job.cover.catalogue));
        });
    }
    attempt_layer("barriers", job.terrain.barriers);
    attempt_layer("no-apply", job.nitrogen.no_apply);
    return trials;
}

}  // namespace catchfield::plan
