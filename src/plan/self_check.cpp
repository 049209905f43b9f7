// SPDX-License-Identifier: MIT
#include "plan/self_check.hpp"

#include "base/error.hpp"
#include "base/text.hpp"
#include "gis/files.hpp"
#include "gis/raster_source.hpp"
#include "gis/vector.hpp"

#include <cmath>

namespace catchfield::plan {

namespace {

[[noreturn]] void fail(const std::string& file, const std::string& field,
                       const std::string& reason) {
    throw Error(ErrorKind::output, "self-check failed: " + reason,
                {.path = file,
                 .feature = field,
                 .hint = "No plan was written. Please report this with the job file."});
}

/// At most this many fields have their rasters opened again; all have their tables checked.
constexpr std::size_t most_rasters = 200;

}  // namespace

void self_check(const Job& job, const std::string& folder, const std::vector<FieldRecord>& fields) {
    std::size_t zones = 0;
    std::size_t planned = 0;
    for (const FieldRecord& field : fields) {
        if (field.status == FieldStatus::skipped) continue;
        zones += field.zones;
        if (std::abs(field.zones_ha - field.area_ha) > 0.005 * field.area_ha) {
            fail("zones", field.id,
                 "zones cover " + fixed(field.zones_ha, 4) + " of " + fixed(field.area_ha, 4) +
                     " ha");
        }
        const double high = job.nitrogen.max_rate_kg_ha * field.zones_ha * (1.0 + 1e-9);
        if (!(field.n_total_kg >= 0.0) || field.n_total_kg > high) {
            fail("rates", field.id,
                 "the nitrogen total of " + fixed(field.n_total_kg, 1) + " kg is out of bounds");
        }
        if (planned++ < most_rasters) {
            const std::string path = folder + "/rates/" + field.stem + "-nitrogen.tif";
            const gis::RasterSource raster(path);
            if (raster.info().nodata != -9999.0)
                fail(path, field.id, "the raster has lost its nodata value");
        }
    }
    const std::string csv = folder + "/zones.csv";
    const Table table = Table::parse(gis::read_file(csv), csv);
    if (table.rows() != zones) {
        fail(csv, "",
             std::to_string(table.rows()) + " rows for " + std::to_string(zones) + " zones");
    }
    for (std::size_t row = 0; row < table.rows(); ++row) {
        const double rate = table.required_number(row, "n_rate_kg_ha");
        if (rate < 0.0 || rate > job.nitrogen.max_rate_kg_ha + 0.01) {
            fail(csv, table.text(row, "field_id"),
                 "rate " + fixed(rate, 2) + " kg/ha is out of bounds");
        }
    }
    const std::string package = folder + "/plan.gpkg";
    for (const gis::LayerInfo& layer : gis::list_layers(package)) {
        if (layer.name == "zones" && layer.features != static_cast<long long>(zones)) {
            fail(package, "", "layer zones has " + std::to_string(layer.features) + " rows");
        }
    }
}

}  // namespace catchfield::plan
