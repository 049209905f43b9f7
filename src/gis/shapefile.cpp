// SPDX-License-Identifier: MIT
#include "gis/shapefile.hpp"

#include "base/error.hpp"
#include "base/text.hpp"
#include "gis/detail/gdal.hpp"
#include "gis/detail/shapes.hpp"

#include <cpl_conv.h>
#include <cpl_string.h>
#include <cpl_vsi.h>
#include <gdal_priv.h>
#include <ogrsf_frmts.h>

#include <array>
#include <cstdint>
#include <set>

namespace catchfield::gis {

std::vector<std::string> shapefile_names(const std::vector<FieldSpec>& columns) {
    constexpr std::size_t longest = 10;
    std::set<std::string> taken;
    std::vector<std::string> names;
    for (const FieldSpec& column : columns) {
        std::string name;
        for (const char c : column.name) {
            const char l = lower_case(std::string(1, c))[0];
            const bool keep = (l >= 'a' && l <= 'z') || (c >= '0' && c <= '9');
            name += keep ? c : '_';
            if (name.size() == longest) break;
        }
        if (name.empty() || (name[0] >= '0' && name[0] <= '9') || name[0] == '_') {
            name = ("c" + name).substr(0, longest);
        }
        std::string candidate = name;
        for (int n = 1; !taken.insert(lower_case(candidate)).second; ++n) {
            const std::string number = "_" + std::to_string(n);
            candidate = name.substr(0, longest - number.size()) + number;
        }
        names.push_back(candidate);
    }
    return names;
}

namespace {

int width_of(const FieldSpec& column) {
    if (column.width > 0) return column.width;
    switch (column.type) {
        case FieldType::text:
            return 254;
        case FieldType::integer:
            return 9;
        case FieldType::real:
            break;
    }
    return 24;
}

/// At most `width` bytes, ending at a code point.
std::string cut_bytes(const std::string& text, std::size_t width) {
    if (text.size() <= width) return text;
    std::size_t end = width;
    while (end > 0 && (static_cast<unsigned char>(text[end]) & 0xC0) == 0x80) --end;
    return text.substr(0, end);
}

/// The row's values as the .dbf will hold them.
void set_values(OGRFeature& feature, const std::vector<FieldSpec>& columns,
                const std::vector<Value>& values, std::set<std::string>& cut) {
    require_fit(columns, values);
    for (std::size_t i = 0; i < values.size(); ++i) {
        const int at = static_cast<int>(i);
        const auto width = static_cast<std::size_t>(width_of(columns[i]));
        if (const auto* text = std::get_if<std::string>(&values[i])) {
            const std::string whole = valid_utf8(*text);
            const std::string kept = cut_bytes(whole, width);
            if (kept.size() < whole.size()) cut.insert(columns[i].name);
            feature.SetField(at, kept.c_str());
            continue;
        }
        std::string number;
        if (const auto* whole = std::get_if<long long>(&values[i])) {
            number = columns[i].type == FieldType::real
                         ? fixed(static_cast<double>(*whole), columns[i].decimals)
                         : std::to_string(*whole);
        } else if (const auto* real = std::get_if<double>(&values[i])) {
            number = fixed(*real, columns[i].decimals);
        } else {
            feature.SetFieldNull(at);
            continue;
        }
        if (number.size() > width) {
            throw Error(ErrorKind::internal, "the number " + number + " does not fit the column '" +
                                                 columns[i].name + "' of " + std::to_string(width) +
                                                 " characters");
        }
        if (const auto* whole = std::get_if<long long>(&values[i])) {
            feature.SetField(at, static_cast<GIntBig>(*whole));
        } else {
            feature.SetField(at, std::get<double>(values[i]));
        }
    }
}

}  // namespace

ShapefileResult shapefile_bytes(const std::string& stem, const std::vector<FieldSpec>& columns,
                                const std::vector<PolygonRow>& rows, const Crs& crs,
                                const ShapefileOptions& options) {
    detail::ensure_started();
    if (stem.empty() || safe_file_stem(stem) != stem || stem.find('.') != std::string::npos) {
        throw Error(ErrorKind::internal, "'" + stem + "' is no name for a shapefile");
    }
    const detail::MemoryFile place("x");
    const std::string base = place.folder() + "/" + stem;
    ShapefileResult result;
    std::set<std::string> cut;
    const std::vector<std::string> names = shapefile_names(columns);
    const detail::ErrorScope scope;
    const auto fail = [&] { scope.fail(ErrorKind::output, "a shapefile cannot be written", {}); };
    GDALDriver* driver = GetGDALDriverManager()->GetDriverByName("ESRI Shapefile");
    GDALDatasetUniquePtr dataset(
        driver == nullptr ? nullptr
                          : driver->Create((base + ".shp").c_str(), 0, 0, 0, GDT_Unknown, nullptr));
    if (dataset == nullptr) fail();
    CPLStringList settings;
    settings.SetNameValue("ENCODING", "UTF-8");
    settings.SetNameValue("DBF_DATE_LAST_UPDATE", options.date.c_str());
    OGRSpatialReference reference = detail::spatial_reference(options.output_crs);
    OGRLayer* layer = dataset->CreateLayer(stem.c_str(), &reference, wkbPolygon, settings.List());
    if (layer == nullptr) fail();
    for (std::size_t i = 0; i < columns.size(); ++i) {
        const FieldType type = columns[i].type;
        OGRFieldDefn definition(names[i].c_str(), type == FieldType::text      ? OFTString
                                                  : type == FieldType::integer ? OFTInteger64
                                                                               : OFTReal);
        definition.SetWidth(width_of(columns[i]));
        if (type == FieldType::real) definition.SetPrecision(columns[i].decimals);
        if (layer->CreateField(&definition) != OGRERR_NONE) fail();
        if (names[i] != columns[i].name) {
            result.warnings.push_back("column '" + columns[i].name + "' is named '" + names[i] +
                                      "' in the shapefile");
        }
    }
    const Transformer& move = transformer(crs, options.output_crs);
    for (const PolygonRow& row : rows) {
        MultiPolygon shape = move.apply(row.shape);
        if (options.output_crs.is_geographic()) shape = split_at_antimeridian(shape);
        for (const Polygon& part : shape) {
            OGRFeature feature(layer->GetLayerDefn());
            set_values(feature, columns, row.values, cut);
            feature.SetGeometryDirectly(detail::to_ogr(part).release());
            if (layer->CreateFeature(&feature) != OGRERR_NONE) fail();
            ++result.records;
        }
    }
    dataset.reset();
    if (scope.failed()) fail();
    for (const std::string& name : cut) {
        result.warnings.push_back("texts of column '" + name + "' were cut to its width");
    }
    for (const char* extension : {".cpg", ".dbf", ".prj", ".shp", ".shx"}) {
        result.files.push_back({stem + extension, detail::take_memory_file(base + extension)});
    }
    return result;
}

namespace {

std::uint32_t crc32(const std::string& bytes) {
    static const std::array<std::uint32_t, 256> table = [] {
        std::array<std::uint32_t, 256> made{};
        for (std::uint32_t i = 0; i < 256; ++i) {
            std::uint32_t value = i;
            for (int bit = 0; bit < 8; ++bit) {
                value = (value & 1U) != 0 ? 0xEDB88320U ^ (value >> 1) : value >> 1;
            }
            made[i] = value;
        }
        return made;
    }();
    std::uint32_t crc = 0xFFFFFFFFU;
    for (const char c : bytes)
        crc = table[(crc ^ static_cast<unsigned char>(c)) & 0xFF] ^ (crc >> 8);
    return ~crc;
}

void put(std::string& out, std::uint64_t value, int bytes) {
    for (int i = 0; i < bytes; ++i) out += static_cast<char>((value >> (8 * i)) & 0xFF);
}

/// Raw deflate stream: zlib's without its two bytes of head and four of checksum.
std::string deflated(const std::string& bytes) {
    std::size_t size = 0;
    void* packed = CPLZLibDeflate(bytes.data(), bytes.size(), 6, nullptr, 0, &size);
    if (packed == nullptr || size < 6)
        throw Error(ErrorKind::internal, "a zip entry cannot be packed");
    const std::unique_ptr<void, void (*)(void*)> owner(packed, VSIFree);
    return std::string(static_cast<const char*>(packed) + 2, size - 6);
}

bool safe_entry(const std::string& name) {
    return !name.empty() && name.front() != '/' && name.find('\\') == std::string::npos &&
           ("/" + name + "/").find("/../") == std::string::npos && name.size() < 60000;
}

}  // namespace

std::string zip_bytes(const std::vector<NamedBytes>& files) {
    constexpr std::uint64_t date_1980_01_01 = (1U << 5) | 1U;
    std::set<std::string> names;
    std::string out;
    std::string directory;
    for (const NamedBytes& file : files) {
        if (!safe_entry(file.name) || !names.insert(file.name).second) {
            throw Error(ErrorKind::internal, "'" + file.name + "' is no name for a zip entry");
        }
        const std::string packed = deflated(file.bytes);
        const std::uint64_t start = out.size();
        if (start + packed.size() > 0xFFFF0000ULL || file.bytes.size() > 0xFFFF0000ULL ||
            names.size() > 65000) {
            throw Error(ErrorKind::output, "a zip archive would grow beyond 4 GB");
        }
        std::string common;
        put(common, 20, 2);      // version needed: deflate
        put(common, 0x0800, 2);  // names are UTF-8
        put(common, 8, 2);       // deflate
        put(common, 0, 2);       // time
        put(common, date_1980_01_01, 2);
        put(common, crc32(file.bytes), 4);
        put(common, packed.size(), 4);
        put(common, file.bytes.size(), 4);
        put(common, file.name.size(), 2);
        put(common, 0, 2);  // no extra field
        put(out, 0x04034B50, 4);
        out += common + file.name + packed;
        put(directory, 0x02014B50, 4);
        put(directory, 20, 2);  // made by: version 2.0
        directory += common;
        put(directory, 0, 2);  // comment
        put(directory, 0, 2);  // disk
        put(directory, 0, 2);  // internal attributes
        put(directory, 0, 4);  // external attributes
        put(directory, start, 4);
        directory += file.name;
    }
    const std::uint64_t start = out.size();
    out += directory;
    put(out, 0x06054B50, 4);
    put(out, 0, 2);
    put(out, 0, 2);
    put(out, files.size(), 2);
    put(out, files.size(), 2);
    put(out, directory.size(), 4);
    put(out, start, 4);
    put(out, 0, 2);
    return out;
}

}  // namespace catchfield::gis
