// SPDX-License-Identifier: MIT
#include "plan/self_check.hpp"

#include "base/error.hpp"
#include "base/text.hpp"
#include "gis/files.hpp"
#include "gis/geotiff.hpp"
#include "gis/vector.hpp"

#include <tbb/parallel_for.h>

#include <algorithm>
#include <cmath>
#include <fstream>

namespace catchfield::plan {

namespace {

[[noreturn]] void fail(const std::string& file, const std::string& field,
                       const std::string& reason) {
    throw Error(ErrorKind::output, "self-check failed: " + reason,
                {.path = file,
                 .feature = field,
                 .hint = "No plan was written. Please report this with the job file."});
}

/// Calls `look` with tables of at most about 1 MB, cut between rows, so that a table of any length
/// takes little memory.
template <typename Look>
void for_parts(const std::string& path, Look look) {
    constexpr std::size_t most_bytes = 1u << 20;
    std::ifstream file(path, std::ios::binary);
    std::string header, part, line;
    bool quoted = false;
    while (std::getline(file, line)) {
        // A quoted cell may run over lines; doubled quotes cancel out.
        quoted ^= std::count(line.begin(), line.end(), '"') % 2 == 1;
        std::string& to = header.empty() ? header : part;
        to += line + '\n';
        if (quoted || part.size() < most_bytes) continue;
        look(Table::parse(header + part, path));
        part.clear();
    }
    if (!file.eof() || header.empty()) fail(path, "", "the table cannot be read back");
    look(Table::parse(header + part, path));
}

}  // namespace

void self_check(const Job& job, const std::string& folder, const std::vector<FieldRecord>& fields) {
    std::size_t zones = 0;
    std::vector<std::string> rasters;
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
        rasters.push_back(folder + "/rates/" + field.stem + "-nitrogen.tif");
    }
    tbb::parallel_for(std::size_t{0}, rasters.size(), [&](std::size_t i) {
        if (gis::nodata_of_geotiff(rasters[i]) != static_cast<double>(gis::tiff_nodata))
            fail(rasters[i], "", "the raster has lost its nodata value");
    });
    const std::string csv = folder + "/zones.csv";
    std::size_t rows = 0;
    for_parts(csv, [&](const Table& table) {
        rows += table.rows();
        for (std::size_t row = 0; row < table.rows(); ++row) {
            const double rate = table.required_number(row, "n_rate_kg_ha");
            if (rate < 0.0 || rate > job.nitrogen.max_rate_kg_ha + 0.01) {
                fail(csv, table.text(row, "field_id"),
                     "rate " + fixed(rate, 2) + " kg/ha is out of bounds");
            }
        }
    });
    if (rows != zones) {
        fail(csv, "", std::to_string(rows) + " rows for " + std::to_string(zones) + " zones");
    }
    const std::string package = folder + "/plan.gpkg";
    for (const gis::LayerInfo& layer : gis::list_layers(package)) {
        if (layer.name == "zones" && layer.features != static_cast<long long>(zones)) {
            fail(package, "", "layer zones has " + std::to_string(layer.features) + " rows");
        }
    }
}

}  // namespace catchfield::plan
