// SPDX-License-Identifier: MIT
#include "plan/self_check.hpp"

#include "base/error.hpp"
#include "base/raster.hpp"
#include "base/text.hpp"
#include "geometry/overlay.hpp"
#include "geometry/validity.hpp"
#include "gis/files.hpp"
#include "gis/geotiff.hpp"
#include "gis/raster_source.hpp"
#include "gis/start.hpp"
#include "gis/vector.hpp"
#include "plan/columns.hpp"
#include "plan/fingerprint.hpp"
#include "plan/json_values.hpp"
#include "prescription/products.hpp"

#include <nlohmann/json.hpp>
#include <tbb/parallel_for.h>

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <fstream>

namespace catchfield::plan {

namespace {

constexpr std::size_t most_lines = 100;
constexpr double area_share = 0.005;     // of a field, that its zones may be off
constexpr double overlap_share = 0.001;  // of a field; coordinates in degrees are rounded
constexpr double total_share = 0.002;    // totals are written with two decimals
constexpr double least_ha = 0.001;

/// What does not hold, in the order in which it is found.
class Findings {
  public:
    void add(const std::string& line) {
        if (m_lines.size() < most_lines) m_lines.push_back(line);
    }
    void add(const std::vector<std::string>& lines) {
        for (const std::string& line : lines) add(line);
    }
    std::vector<std::string> take() { return std::move(m_lines); }

  private:
    std::vector<std::string> m_lines;
};

bool far(double a, double b, double share, double least) {
    return !(std::abs(a - b) <= std::max(share * std::max(std::abs(a), std::abs(b)), least));
}

struct ZoneRow {
    double area_ha = 0.0, n_rate_kg_ha = 0.0;
};

/// zones.csv, as far as other files are compared with it.
struct ZoneTable {
    /// Of a field, by the hash of its name.
    struct Sum {
        std::uint64_t field = 0;
        std::size_t zones = 0;
        double area_ha = 0.0;
    };
    std::size_t count = 0;
    std::vector<ZoneRow> rows;  ///< only where the other tables are compared row by row
    std::vector<Sum> sums;      ///< ascending by hash

    Sum sum_of(const std::string& field) const {
        const std::uint64_t hash = xxh64(field);
        const auto at = std::lower_bound(sums.begin(), sums.end(), hash,
                                         [](const Sum& a, std::uint64_t b) { return a.field < b; });
        return at != sums.end() && at->field == hash ? *at : Sum{};
    }
};

/// Calls `look` with tables of at most about 256 kB, cut between rows, so that a table of any
/// length takes little memory.
template <typename Look>
void for_parts(const std::string& path, Look look) {
    constexpr std::size_t most_bytes = 1u << 18;
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
    if (!file.eof() || header.empty())
        throw Error(ErrorKind::input, "the table cannot be read back", {.path = path});
    look(Table::parse(header + part, path));
}

/// rows: whether they are kept one by one.
ZoneTable read_zones(const Job& job, const std::string& path, bool rows, Findings& wrong) {
    ZoneTable zones;
    for_parts(path, [&](const Table& table) {
        std::vector<std::size_t> numbers;
        for (const ZoneColumn& column : zone_columns()) {
            if (column.type != gis::FieldType::text)
                numbers.push_back(table.column(std::string(column.name)));
        }
        const std::size_t id_column = table.column("field_id");
        for (std::size_t row = 0; row < table.rows(); ++row) {
            const std::string& id = table.text(row, id_column);
            for (const std::size_t column : numbers) {
                const std::string& cell = table.text(row, column);
                if (!cell.empty() && !parse_number(cell)) {
                    wrong.add("zones.csv, " + id + ": " + table.columns()[column] + " is '" + cell +
                              "', which is not a number");
                }
            }
            ZoneRow zone;
            zone.area_ha = table.number(row, "area_ha").value_or(0.0);
            zone.n_rate_kg_ha = table.number(row, "n_rate_kg_ha").value_or(-1.0);
            if (zone.n_rate_kg_ha < 0.0 || zone.n_rate_kg_ha > job.nitrogen.max_rate_kg_ha + 0.01) {
                wrong.add("zones.csv, " + id + ": the rate " + fixed(zone.n_rate_kg_ha, 2) +
                          " kg/ha is out of bounds");
            }
            ++zones.count;
            if (rows) zones.rows.push_back(zone);
            const std::uint64_t hash = xxh64(id);
            if (zones.sums.empty() || zones.sums.back().field != hash)
                zones.sums.push_back({hash, 0, 0.0});
            ++zones.sums.back().zones;
            zones.sums.back().area_ha += zone.area_ha;
        }
    });
    std::sort(zones.sums.begin(), zones.sums.end(),
              [](const ZoneTable::Sum& a, const ZoneTable::Sum& b) { return a.field < b.field; });
    return zones;
}

/// A planned field's rows of zones.csv and its totals.
void check_sums(const Job& job, const ZoneTable& zones, const FieldRecord& field, Findings& wrong) {
    ZoneTable::Sum sum = zones.sum_of(field.id);
    // Names that a spreadsheet would run as a formula are written with an apostrophe.
    if (sum.zones == 0) sum = zones.sum_of("'" + field.id);
    if (sum.zones != field.zones) {
        wrong.add("zones.csv, " + field.id + ": " + std::to_string(sum.zones) + " rows for " +
                  std::to_string(field.zones) + " zones");
    } else if (far(sum.area_ha, field.area_ha, area_share, least_ha)) {
        wrong.add("zones.csv, " + field.id + ": zones cover " + fixed(sum.area_ha, 4) + " of " +
                  fixed(field.area_ha, 4) + " ha");
    }
    const double most = job.nitrogen.max_rate_kg_ha * field.area_ha * (1.0 + area_share) + 0.01;
    if (!(field.n_total_kg >= 0.0) || field.n_total_kg > most) {
        wrong.add("run.json, " + field.id + ": the nitrogen total of " +
                  fixed(field.n_total_kg, 1) + " kg is out of bounds");
    }
}

/// Cells of a rate map: no-data value, unit, bounds, and the total that run.json states.
void check_raster(const std::string& folder, const FieldRecord& field,
                  std::vector<std::string>& wrong) {
    const std::string name = "rates/" + field.stem + "-nitrogen.tif";
    gis::RasterOptions alone;
    alone.companions = false;
    const gis::RasterSource source(folder + "/" + name, alone);
    const gis::RasterInfo& info = source.info();
    if (info.nodata != -9999.0) wrong.push_back(name + ": the raster has lost its no-data value");
    if (info.unit != field.rate_unit) {
        wrong.push_back(name + ": the unit is '" + info.unit + "', not '" + field.rate_unit + "'");
    }
    const GridFrame frame{info.bounds.min_x, info.bounds.max_y, info.cell_x, info.cols, info.rows};
    const gis::RasterWindow<float> cells =
        source.read<float>(frame, source.crs(), gis::Resampling::nearest);
    const double slack = 1e-3 + 1e-4 * std::abs(field.highest_rate);
    double sum = 0.0, low = 0.0, high = 0.0;
    for (std::size_t i = 0; i < cells.values.size(); ++i) {
        if (!cells.valid[i]) continue;
        const auto value = static_cast<double>(cells.values[i]);
        sum += value;
        low = std::min(low, value);
        high = std::max(high, value);
    }
    if (low < 0.0 || high > field.highest_rate + slack) {
        wrong.push_back(name + ": rates of " + significant(low, 4) + " to " + significant(high, 4) +
                        " " + field.rate_unit + ", planned are " +
                        significant(field.lowest_rate, 4) + " to " +
                        significant(field.highest_rate, 4));
    }
    const double metres = source.crs().metres_per_unit();
    const double total = prescription::total_amount(sum, frame.cell_area_ha() * metres * metres,
                                                    prescription::parse_rate_unit(field.rate_unit));
    if (far(total, field.raster_total, total_share, 0.02)) {
        wrong.push_back(name + ": holds " + fixed(total, 2) + " " + field.total_unit +
                        ", run.json states " + fixed(field.raster_total, 2));
    }
}

using Json = nlohmann::json;

/// The features of a GeoJSON file. Throws Error(input) where it is none.
Json features_of(const std::string& path) {
    Json root = Json::parse(gis::read_file(path), nullptr, false);
    if (!root.is_object() || !root.contains("features") || !root["features"].is_array())
        throw Error(ErrorKind::input, "is not GeoJSON", {.path = path});
    return std::move(root["features"]);
}

Polygon polygon_of(const Json& rings) {
    const auto ring_of = [](const Json& positions) {
        Ring ring;
        for (const Json& position : positions)
            ring.push_back({position.at(0).get<double>(), position.at(1).get<double>()});
        return ring;
    };
    Polygon polygon{ring_of(rings.at(0)), {}};
    for (std::size_t i = 1; i < rings.size(); ++i) polygon.holes.push_back(ring_of(rings[i]));
    return polygon;
}

/// The polygons of a geometry (RFC 7946, section 3.1), none of null, which stands where a map's
/// decimals have left nothing. Throws Json::exception where it has others.
MultiPolygon polygons_of(const Json& geometry) {
    if (geometry.is_null()) return {};
    const Json& coordinates = geometry.at("coordinates");
    if (geometry.at("type") == "Polygon") return {polygon_of(coordinates)};
    MultiPolygon polygons;
    for (const Json& rings : coordinates) polygons.push_back(polygon_of(rings));
    return polygons;
}

/// Areas of a map as its file draws them, and how much ground they draw and cover.
struct Drawn {
    std::vector<MultiPolygon> areas;  ///< WGS 84
    double drawn_ha = 0.0;
    double covered_ha = 0.0;  ///< ground drawn twice counted once
};

Drawn measured(std::vector<MultiPolygon> areas) {
    Drawn drawn;
    const gis::Crs& crs = gis::Crs::wgs84();
    gis::Crs work;
    std::vector<MultiPolygon> shapes;
    for (const MultiPolygon& outline : areas) {
        if (outline.empty()) continue;
        if (work.empty()) work = gis::work_crs(outline, crs);
        // Rounded coordinates may make an outline cross itself by a centimetre; what that changes
        // shows in the area.
        shapes.push_back(geometry::repair(gis::transformer(crs, work).apply(outline)).shape);
        drawn.drawn_ha += area(shapes.back()) * 1e-4;
    }
    drawn.covered_ha = area(geometry::unite(shapes)) * 1e-4;
    drawn.areas = std::move(areas);
    return drawn;
}

/// Areas of a rate map: bounds, unit, the stated total, and no ground with two rates. last: the
/// areas of the map before, which are not measured again where these are the same.
void check_polygons(const std::string& folder, const FieldRecord& field, const char* kind,
                    Drawn& last, std::vector<std::string>& wrong) {
    const std::string name = "rates/" + field.stem + "-" + kind + ".geojson";
    const bool nitrogen = std::string_view(kind) == "nitrogen";
    const Json features = features_of(folder + "/" + name);
    if (features.empty()) {
        wrong.push_back(name + ": has no areas");
        return;
    }
    std::vector<MultiPolygon> areas;
    double total = 0.0, stated_ha = 0.0;
    for (const Json& feature : features) {
        const Json& properties = feature.at("properties");
        const double rate = properties.at("rate").get<double>();
        const double area_ha = properties.at("area_ha").get<double>();
        const auto unit = properties.at("unit").get<std::string>();
        if (rate < 0.0) {
            wrong.push_back(name + ": the rate " + significant(rate, 5) + " " + unit +
                            " is below 0");
            return;
        }
        if (unit.empty() || (nitrogen && unit != field.rate_unit)) {
            wrong.push_back(name + ": the unit is '" + unit + "', not '" + field.rate_unit + "'");
            return;
        }
        if (nitrogen && rate > field.highest_rate + 1e-3) {
            wrong.push_back(name + ": the rate " + significant(rate, 5) + " " + unit +
                            " is above the planned ones");
        }
        stated_ha += area_ha;
        if (nitrogen) {
            total += prescription::total_amount(rate, area_ha,
                                                prescription::parse_rate_unit(field.rate_unit));
        }
        areas.push_back(polygons_of(feature.at("geometry")));
    }
    if (nitrogen && far(total, field.product_total, total_share, 0.02)) {
        wrong.push_back(name + ": holds " + fixed(total, 2) + " " + field.total_unit +
                        ", run.json states " + fixed(field.product_total, 2));
    }
    if (areas != last.areas) last = measured(std::move(areas));
    const double twice_ha = last.drawn_ha - last.covered_ha;
    if (twice_ha > std::max(overlap_share * field.area_ha, least_ha)) {
        wrong.push_back(name + ": areas overlap on " + fixed(twice_ha, 4) + " ha");
    }
    if (far(last.drawn_ha, stated_ha, area_share, least_ha) ||
        far(stated_ha, field.area_ha, area_share, least_ha)) {
        wrong.push_back(name + ": areas of " + fixed(last.drawn_ha, 4) + " ha, stated are " +
                        fixed(stated_ha, 4) + " ha of a field of " + fixed(field.area_ha, 4) +
                        " ha");
    }
}

std::vector<std::string> check_maps(const std::string& folder, const FieldRecord& field) {
    gis::prepare_thread();
    std::vector<std::string> wrong;
    const auto attempt = [&](const auto& check) {
        try {
            check();
        } catch (const Error& error) {
            wrong.emplace_back(error.what());
        }
    };
    attempt([&] { check_raster(folder, field, wrong); });
    Drawn last;
    for (const char* kind : {"nitrogen", "seed"}) {
        attempt([&] {
            try {
                check_polygons(folder, field, kind, last, wrong);
            } catch (const Json::exception&) {
                wrong.push_back("rates/" + field.stem + "-" + kind +
                                ".geojson: is not a map of areas with rates");
            }
        });
    }
    return wrong;
}

/// The GeoPackage's zones against those of zones.csv.
void check_package(const std::string& folder, const ZoneTable& zones, bool rows, Findings& wrong) {
    const std::string path = folder + "/plan.gpkg";
    bool found = false;
    for (const gis::LayerInfo& layer : gis::list_layers(path)) {
        if (layer.name != "zones") continue;
        found = true;
        if (layer.features != static_cast<long long>(zones.count)) {
            wrong.add("plan.gpkg: layer zones has " + std::to_string(layer.features) +
                      " rows for " + std::to_string(zones.count) + " zones");
            return;
        }
    }
    if (!found) wrong.add("plan.gpkg: there is no layer zones");
    if (!found || !rows) return;
    gis::ReadOptions options;
    options.geometry = false;
    const gis::VectorLayer layer = gis::read_layer(path, "zones", options);
    const std::size_t area_column = layer.column("area_ha");
    const std::size_t rate_column = layer.column("n_rate_kg_ha");
    for (std::size_t i = 0; i < layer.features.size() && i < zones.rows.size(); ++i) {
        const auto area_ha = parse_number(layer.features[i].values[area_column]);
        const auto rate = parse_number(layer.features[i].values[rate_column]);
        if (!area_ha || far(*area_ha, zones.rows[i].area_ha, 1e-6, 1e-3) || !rate ||
            far(*rate, zones.rows[i].n_rate_kg_ha, 1e-6, 1e-2)) {
            wrong.add("plan.gpkg and zones.csv differ in row " + std::to_string(i + 1));
        }
    }
}

/// zones.geojson has a line for every feature, one before and one after.
void check_geojson(const std::string& folder, const ZoneTable& zones, bool rows, Findings& wrong) {
    const std::string path = folder + "/zones.geojson";
    if (!rows) {
        std::ifstream file(path, std::ios::binary);
        std::size_t lines = 0;
        std::string line;
        bool closed = false;
        for (; std::getline(file, line); ++lines) closed = line == "]}";
        // An empty share has an empty line between the two.
        const std::size_t expected = std::max<std::size_t>(zones.count, 1) + 2;
        if (lines != expected || !closed) {
            wrong.add("zones.geojson: " + std::to_string(lines) + " lines for " +
                      std::to_string(zones.count) + " zones");
        }
        return;
    }
    const Json features = features_of(path);
    if (features.size() != zones.count) {
        wrong.add("zones.geojson: " + std::to_string(features.size()) + " features for " +
                  std::to_string(zones.count) + " zones");
        return;
    }
    for (std::size_t i = 0; i < features.size(); ++i) {
        static const Json none;
        const Json& feature = features[i];
        const Json& properties =
            feature.is_object() && feature.contains("properties") ? feature["properties"] : none;
        if (far(number_of(properties, "area_ha"), zones.rows[i].area_ha, 1e-6, 1e-3) ||
            far(number_of(properties, "n_rate_kg_ha"), zones.rows[i].n_rate_kg_ha, 1e-6, 1e-2)) {
            wrong.add("zones.geojson and zones.csv differ in row " + std::to_string(i + 1));
        }
    }
}

}  // namespace

Examined examine(const Job& job, const std::string& folder, const CheckDepth& depth) {
    Examined seen;
    Findings wrong;
    std::size_t opened = 0;
    const auto check_fields = [&](const std::vector<FieldRecord>& fields) {
        std::vector<std::vector<std::string>> found(fields.size());
        tbb::parallel_for(std::size_t{0}, fields.size(), [&](std::size_t i) {
            if (opened + i < depth.fields) {
                found[i] = check_maps(folder, fields[i]);
                return;
            }
            const std::string path = folder + "/rates/" + fields[i].stem + "-nitrogen.tif";
            if (gis::nodata_of_geotiff(path) != static_cast<double>(gis::tiff_nodata))
                found[i].push_back(path + ": the raster has lost its no-data value");
        });
        for (const std::vector<std::string>& lines : found) wrong.add(lines);
        opened += fields.size();
    };
    try {
        const ZoneTable zones = read_zones(job, folder + "/zones.csv", depth.tables_agree, wrong);
        std::size_t expected = 0;
        std::vector<FieldRecord> planned;
        for_records(folder + "/run.json", [&](FieldRecord field) {
            constexpr std::size_t at_once = 128;
            ++seen.fields;
            if (field.status == FieldStatus::skipped) return;
            expected += field.zones;
            check_sums(job, zones, field, wrong);
            planned.push_back(std::move(field));
            if (planned.size() < at_once) return;
            check_fields(planned);
            planned.clear();
        });
        check_fields(planned);
        if (zones.count != expected) {
            wrong.add("zones.csv: " + std::to_string(zones.count) + " rows for " +
                      std::to_string(expected) + " zones");
        }
        check_package(folder, zones, depth.tables_agree, wrong);
        check_geojson(folder, zones, depth.tables_agree, wrong);
    } catch (const Error& error) {
        wrong.add(error.what());
    }
    seen.wrong = wrong.take();
    return seen;
}

void self_check(const Job& job, const std::string& folder) {
    const std::vector<std::string> wrong = examine(job, folder, {}).wrong;
    if (wrong.empty()) return;
    throw Error(ErrorKind::output, "self-check failed: " + wrong.front(),
                {.hint = "No plan was written. Please report this with the job file."});
}

}  // namespace catchfield::plan
