// SPDX-License-Identifier: MIT
#include "plan/finished_field.hpp"

#include "base/error.hpp"
#include "gis/files.hpp"
#include "plan/bytes.hpp"
#include "plan/fingerprint.hpp"
#include "plan/manifest.hpp"
#include "plan/short_line.hpp"
#include "plan/writer.hpp"

#include <chrono>

namespace catchfield::plan {

namespace {

/// "rates/north-seed.tif": a plain file in one of the folders, so that no record leads elsewhere.
bool is_field_file(const std::string& name) {
    const std::size_t slash = name.find('/');
    const std::string folder = name.substr(0, slash);
    return slash != std::string::npos && name.find('/', slash + 1) == std::string::npos &&
           slash + 1 < name.size() && name[slash + 1] != '.' &&
           (folder == "rates" || folder == "layers" || folder == "report");
}

void put(ByteWriter& out, const MultiPolygon& shape) {
    out.whole(shape.size());
    for (const Polygon& polygon : shape) {
        out.array(polygon.outer);
        out.whole(polygon.holes.size());
        for (const Ring& hole : polygon.holes) out.array(hole);
    }
}

MultiPolygon take_shape(ByteReader& in) {
    MultiPolygon shape(in.count());
    for (Polygon& polygon : shape) {
        polygon.outer = in.array<Point>();
        polygon.holes.resize(in.count());
        for (Ring& hole : polygon.holes) hole = in.array<Point>();
    }
    return shape;
}

void put(ByteWriter& out, const std::vector<gis::Value>& values) {
    out.whole(values.size());
    for (const gis::Value& value : values) {
        out.whole(value.index());
        if (const auto* text = std::get_if<std::string>(&value)) out.text(*text);
        if (const auto* whole = std::get_if<long long>(&value))
            out.whole(static_cast<std::uint64_t>(*whole));
        if (const auto* real = std::get_if<double>(&value)) out.real(*real);
    }
}

std::vector<gis::Value> take_values(ByteReader& in) {
    std::vector<gis::Value> values(in.count());
    for (gis::Value& value : values) {
        switch (in.whole()) {
            case 0:
                break;
            case 1:
                value = in.text();
                break;
            case 2:
                value = static_cast<long long>(in.whole());
                break;
            case 3:
                value = in.real();
                break;
            default:
                throw Damaged{};
        }
    }
    return values;
}

void put(ByteWriter& out, const FieldRows& rows) {
    put(out, rows.field.shape);
    put(out, rows.field.values);
    out.whole(rows.zones.size());
    for (const gis::PolygonRow& zone : rows.zones) {
        put(out, zone.shape);
        put(out, zone.values);
    }
    out.whole(rows.options.size());
    for (const std::vector<gis::Value>& option : rows.options) put(out, option);
    out.whole(rows.probes.size());
    for (const gis::PointRow& probe : rows.probes) {
        out.real(probe.point.x);
        out.real(probe.point.y);
        put(out, probe.values);
    }
}

FieldRows take_rows(ByteReader& in) {
    FieldRows rows;
    rows.field.shape = take_shape(in);
    rows.field.values = take_values(in);
    rows.zones.resize(in.count());
    for (gis::PolygonRow& zone : rows.zones) {
        zone.shape = take_shape(in);
        zone.values = take_values(in);
    }
    rows.options.resize(in.count());
    for (std::vector<gis::Value>& option : rows.options) option = take_values(in);
    rows.probes.resize(in.count());
    for (gis::PointRow& probe : rows.probes) {
        probe.point.x = in.real();
        probe.point.y = in.real();
        probe.values = take_values(in);
    }
    return rows;
}

void put(ByteWriter& out, const FieldRecord& record) {
    for (const std::string* text : {&record.id, &record.stem, &record.product, &record.rate_unit,
                                    &record.total_unit, &record.zone_reason}) {
        out.text(*text);
    }
    out.texts(record.reasons);
    out.texts(record.warnings);
    out.whole(static_cast<std::uint64_t>(record.status));
    out.whole(record.zones);
    for (const double value :
         {record.area_ha, record.zones_ha, record.n_total_kg, record.product_total,
          record.seed_total_kg, record.raster_total, record.lowest_rate, record.highest_rate}) {
        out.real(value);
    }
}

FieldRecord take_record(ByteReader& in) {
    FieldRecord record;
    for (std::string* text : {&record.id, &record.stem, &record.product, &record.rate_unit,
                              &record.total_unit, &record.zone_reason}) {
        *text = in.text();
    }
    record.reasons = in.texts();
    record.warnings = in.texts();
    const std::uint64_t status = in.whole();
    if (status > static_cast<std::uint64_t>(FieldStatus::skipped)) throw Damaged{};
    record.status = static_cast<FieldStatus>(status);
    record.zones = in.whole();
    for (double* value :
         {&record.area_ha, &record.zones_ha, &record.n_total_kg, &record.product_total,
          &record.seed_total_kg, &record.raster_total, &record.lowest_rate, &record.highest_rate}) {
        *value = in.real();
    }
    return record;
}

void put(ByteWriter& out, const IndexEntry& entry) {
    for (const std::string* text :
         {&entry.row, &entry.problem, &entry.outline, &entry.href, &entry.label}) {
        out.text(*text);
    }
    out.whole(static_cast<std::uint64_t>(entry.shade));
    for (const double value :
         {entry.box.min_x, entry.box.min_y, entry.box.max_x, entry.box.max_y, entry.area_ha,
          entry.known_ha, entry.loss_now_mg, entry.loss_cover_mg, entry.n_kg}) {
        out.real(value);
    }
}

IndexEntry take_index(ByteReader& in) {
    IndexEntry entry;
    for (std::string* text :
         {&entry.row, &entry.problem, &entry.outline, &entry.href, &entry.label}) {
        *text = in.text();
    }
    entry.shade = static_cast<int>(in.whole());
    for (double* value :
         {&entry.box.min_x, &entry.box.min_y, &entry.box.max_x, &entry.box.max_y, &entry.area_ha,
          &entry.known_ha, &entry.loss_now_mg, &entry.loss_cover_mg, &entry.n_kg}) {
        *value = in.real();
    }
    return entry;
}

}  // namespace

FinishedField finish_field(const Inputs& inputs, const RunHead& head, const FieldResult& result,
                           const std::string& folder) {
    const auto start = std::chrono::steady_clock::now();
    FinishedField field;
    FieldFiles made = make_field_files(inputs, result);
    const auto write = [&](const std::vector<std::pair<std::string, std::string>>& files) {
        for (const auto& [name, bytes] : files) {
            gis::write_staged_file(folder + "/" + name, bytes);
            field.files.push_back({name, bytes.size(), xxh64(bytes)});
        }
    };
    write(result.layer_files);
    write(made.files);
    made.files.clear();
    field.rows = in_crs(std::move(made.rows), result.crs, head.package_crs);
    field.zone_rows = std::move(made.zone_rows);
    field.zone_features = std::move(made.zone_features);
    field.budget_rows = std::move(made.budget_rows);
    field.record = record_of(result);
    field.json = field_json(field.record);
    field.index = std::move(made.index);
    field.line = short_line(inputs, result);
    field.seconds = result.seconds;
    field.seconds["files"] +=
        std::chrono::duration<double>(std::chrono::steady_clock::now() - start).count();
    return field;
}

std::string encode(const FinishedField& field) {
    ByteWriter out;
    out.whole(field.files.size());
    for (const FilePrint& file : field.files) {
        out.text(file.name);
        out.whole(file.bytes);
        out.whole(file.xxh64);
    }
    put(out, field.record);
    put(out, field.rows);
    out.text(field.zone_rows);
    out.text(field.zone_features);
    out.text(field.budget_rows);
    out.text(field.json);
    put(out, field.index);
    out.text(field.line);
    return out.take();
}

FinishedField decode_finished_field(std::string_view bytes) {
    ByteReader in(bytes);
    FinishedField field;
    field.files.resize(in.count());
    for (FilePrint& file : field.files) {
        file.name = in.text();
        if (!is_field_file(file.name)) throw Damaged{};
        file.bytes = in.whole();
        file.xxh64 = in.whole();
    }
    field.record = take_record(in);
    field.rows = take_rows(in);
    field.zone_rows = in.text();
    field.zone_features = in.text();
    field.budget_rows = in.text();
    field.json = in.text();
    field.index = take_index(in);
    field.line = in.text();
    in.end();
    return field;
}

bool files_agree(const std::vector<FilePrint>& files, const std::string& folder) {
    for (const FilePrint& file : files) {
        try {
            const FilePrint now = print_of_file(folder, file.name);
            if (now.bytes != file.bytes || now.xxh64 != file.xxh64) return false;
        } catch (const Error&) {
            return false;
        }
    }
    return true;
}

std::vector<std::string> field_folders(const Job& job) {
    std::vector<std::string> folders = {"rates"};
    if (job.output.layers) folders.emplace_back("layers");
    if (job.output.reports) folders.emplace_back("report");
    return folders;
}

}  // namespace catchfield::plan
