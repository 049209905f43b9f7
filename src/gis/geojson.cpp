// SPDX-License-Identifier: MIT
#include "gis/geojson.hpp"

#include "base/error.hpp"
#include "base/text.hpp"

#include <algorithm>
#include <array>
#include <charconv>
#include <cmath>
#include <cstdint>

namespace catchfield::gis {

namespace {

/// A position in whole units of the last decimal, so that equal points print equal text.
struct Place {
    std::int64_t x = 0;
    std::int64_t y = 0;
    bool operator==(const Place&) const = default;
};

using PlaceRing = std::vector<Place>;

struct Extent {
    Place low{INT64_MAX, INT64_MAX};
    Place high{INT64_MIN, INT64_MIN};
};

/// Prints whole units of 10^-decimals degrees without trailing zeros.
void append_number(std::string& text, std::int64_t units, int decimals) {
    std::array<char, 24> digits{};
    if (units < 0) text += '-';
    const std::uint64_t magnitude =
        units < 0 ? static_cast<std::uint64_t>(-units) : static_cast<std::uint64_t>(units);
    const auto [end, error] =
        std::to_chars(digits.data(), digits.data() + digits.size(), magnitude);
    auto count = static_cast<int>(end - digits.data());
    if (count <= decimals) {  // 0.00123
        text += '0';
        int last = count;
        while (last > 0 && digits[static_cast<std::size_t>(last - 1)] == '0') --last;
        if (last == 0) return;
        text += '.';
        text.append(static_cast<std::size_t>(decimals - count), '0');
        text.append(digits.data(), static_cast<std::size_t>(last));
        return;
    }
    const int whole = count - decimals;
    text.append(digits.data(), static_cast<std::size_t>(whole));
    while (count > whole && digits[static_cast<std::size_t>(count - 1)] == '0') --count;
    if (count == whole) return;
    text += '.';
    text.append(digits.data() + whole, static_cast<std::size_t>(count - whole));
}

void append_text(std::string& out, std::string_view text) {
    constexpr char hex[] = "0123456789abcdef";
    out += '"';
    for (std::size_t i = 0; i < text.size(); ++i) {
        const auto c = static_cast<unsigned char>(text[i]);
        if (c == '"' || c == '\\') {
            out += '\\';
            out += text[i];
        } else if (c == '\n') {
            out += "\\n";
        } else if (c < 0x20 || c == 0x7F) {
            out += "\\u00";
            out += hex[c >> 4];
            out += hex[c & 15];
        } else {
            out += text[i];
        }
    }
    out += '"';
}

void append_value(std::string& out, const Value& value, const FieldSpec& column) {
    if (const auto* text = std::get_if<std::string>(&value)) {
        append_text(out, valid_utf8(*text));
    } else if (const auto* whole = std::get_if<long long>(&value)) {
        out += std::to_string(*whole);
    } else if (const auto* real = std::get_if<double>(&value)) {
        std::string number = fixed(*real, column.decimals);
        if (number.find('.') != std::string::npos) {
            number.erase(number.find_last_not_of('0') + 1);
            if (number.back() == '.') number.pop_back();
        }
        out += number;
    } else {
        out += "null";
    }
}

/// Twice the signed area in units squared; exact enough in long double for rings of degrees.
long double doubled_area(const PlaceRing& ring) {
    long double sum = 0.0L;
    for (std::size_t i = 1; i < ring.size(); ++i) {
        const long double ax = static_cast<long double>(ring[i - 1].x - ring[0].x);
        const long double ay = static_cast<long double>(ring[i - 1].y - ring[0].y);
        const long double bx = static_cast<long double>(ring[i].x - ring[0].x);
        const long double by = static_cast<long double>(ring[i].y - ring[0].y);
        sum += ax * by - bx * ay;
    }
    return sum;
}

/// Rounded, without repeated points, wound as asked; empty where nothing is left of it.
PlaceRing rounded(const Ring& ring, double scale, bool counter_clockwise) {
    PlaceRing result;
    result.reserve(ring.size());
    for (const Point& point : ring) {
        const Place place{std::llround(point.x * scale), std::llround(point.y * scale)};
        if (result.empty() || !(result.back() == place)) result.push_back(place);
    }
    if (result.size() > 1 && !(result.front() == result.back())) result.push_back(result.front());
    if (result.size() < 4) return {};
    const long double area = doubled_area(result);
    if (area == 0.0L) return {};
    if ((area > 0.0L) != counter_clockwise) std::reverse(result.begin(), result.end());
    return result;
}

class FeatureWriter {
  public:
    FeatureWriter(const std::vector<FieldSpec>& columns, const Crs& crs,
                  const GeoJsonOptions& options)
        : m_columns(columns),
          m_options(options),
          m_scale(std::pow(10.0, options.decimals)),
          m_move(transformer(crs, Crs::wgs84())) {
        if (options.decimals < 0 || options.decimals > 12) {
            throw Error(ErrorKind::internal, "GeoJSON decimals lie outside 0 to 12");
        }
        for (const FieldSpec& column : columns) {
            std::string key;
            append_text(key, valid_utf8(column.name));
            m_keys.push_back(key + ":");
        }
    }

    void add(const PolygonRow& row, std::string& out) {
        begin(row.id, out);
        properties(row.values, out);
        Extent extent;
        std::string geometry = polygons(split_at_antimeridian(m_move.apply(row.shape)), extent);
        if (m_options.bbox && geometry != "null") bbox(extent, out);
        out += ",\"geometry\":" + geometry + "}";
        merge(extent);
    }

    void add(const PointRow& row, std::string& out) {
        begin(-1, out);
        properties(row.values, out);
        const Point at = m_move.apply(row.point);
        const Place place = place_of(at);
        Extent extent;
        grow(extent, place);
        out += ",\"geometry\":{\"type\":\"Point\",\"coordinates\":";
        position(place, out);
        out += "}}";
        merge(extent);
    }

    /// Of all features so far, as a member; "" where there are none.
    std::string total_bbox() const {
        std::string text;
        if (m_options.bbox && m_total.low.x <= m_total.high.x) bbox(m_total, text);
        return text;
    }

  private:
    Place place_of(const Point& point) const {
        double x = point.x;
        if (x > 180.0) x -= 360.0;
        if (x < -180.0) x += 360.0;
        return {std::llround(x * m_scale), std::llround(point.y * m_scale)};
    }
    static void grow(Extent& extent, const Place& place) {
        extent.low.x = std::min(extent.low.x, place.x);
        extent.low.y = std::min(extent.low.y, place.y);
        extent.high.x = std::max(extent.high.x, place.x);
        extent.high.y = std::max(extent.high.y, place.y);
    }
    void merge(const Extent& extent) {
        if (extent.low.x > extent.high.x) return;
        grow(m_total, extent.low);
        grow(m_total, extent.high);
    }
    static void begin(long long id, std::string& out) {
        out += "{\"type\":\"Feature\"";
        if (id >= 0) out += ",\"id\":" + std::to_string(id);
    }
    void properties(const std::vector<Value>& values, std::string& out) const {
        require_fit(m_columns, values);
        out += ",\"properties\":{";
        for (std::size_t i = 0; i < values.size(); ++i) {
            if (i > 0) out += ',';
            out += m_keys[i];
            append_value(out, values[i], m_columns[i]);
        }
        out += '}';
    }
    void position(const Place& place, std::string& out) const {
        out += '[';
        append_number(out, place.x, m_options.decimals);
        out += ',';
        append_number(out, place.y, m_options.decimals);
        out += ']';
    }
    void bbox(const Extent& extent, std::string& out) const {
        out += ",\"bbox\":[";
        append_number(out, extent.low.x, m_options.decimals);
        out += ',';
        append_number(out, extent.low.y, m_options.decimals);
        out += ',';
        append_number(out, extent.high.x, m_options.decimals);
        out += ',';
        append_number(out, extent.high.y, m_options.decimals);
        out += ']';
    }
    void ring(const PlaceRing& places, Extent& extent, std::string& out) const {
        out += '[';
        for (std::size_t i = 0; i < places.size(); ++i) {
            if (i > 0) out += ',';
            position(places[i], out);
            grow(extent, places[i]);
        }
        out += ']';
    }
    std::string polygons(const MultiPolygon& shape, Extent& extent) const {
        std::vector<std::string> parts;
        for (const Polygon& polygon : shape) {
            const PlaceRing outer = rounded(polygon.outer, m_scale, true);
            if (outer.empty()) continue;
            std::string part = "[";
            ring(outer, extent, part);
            for (const Ring& hole : polygon.holes) {
                const PlaceRing inner = rounded(hole, m_scale, false);
                if (inner.empty()) continue;
                part += ',';
                ring(inner, extent, part);
            }
            parts.push_back(part + "]");
        }
        if (parts.empty()) return "null";
        if (parts.size() == 1)
            return "{\"type\":\"Polygon\",\"coordinates\":" + parts.front() + "}";
        std::string text = "{\"type\":\"MultiPolygon\",\"coordinates\":[";
        for (std::size_t i = 0; i < parts.size(); ++i) {
            if (i > 0) text += ',';
            text += parts[i];
        }
        return text + "]}";
    }

    const std::vector<FieldSpec>& m_columns;
    const GeoJsonOptions& m_options;
    double m_scale;
    const Transformer& m_move;
    std::vector<std::string> m_keys;
    Extent m_total;
};

template <typename Row>
std::string lines(FeatureWriter& writer, const std::vector<Row>& rows) {
    std::string out;
    for (std::size_t i = 0; i < rows.size(); ++i) {
        if (i > 0) out += ",\n";
        writer.add(rows[i], out);
    }
    return out;
}

template <typename Row>
std::string collection(const std::vector<FieldSpec>& columns, const std::vector<Row>& rows,
                       const Crs& crs, const GeoJsonOptions& options) {
    FeatureWriter writer(columns, crs, options);
    const std::string features = lines(writer, rows);
    return "{\"type\":\"FeatureCollection\"" + writer.total_bbox() + ",\"features\":[\n" +
           features + geojson_tail();
}

}  // namespace

std::string geojson_bytes(const std::vector<FieldSpec>& columns,
                          const std::vector<PolygonRow>& rows, const Crs& crs,
                          const GeoJsonOptions& options) {
    return collection(columns, rows, crs, options);
}

std::string geojson_bytes(const std::vector<FieldSpec>& columns, const std::vector<PointRow>& rows,
                          const Crs& crs, const GeoJsonOptions& options) {
    return collection(columns, rows, crs, options);
}

std::string geojson_features(const std::vector<FieldSpec>& columns,
                             const std::vector<PolygonRow>& rows, const Crs& crs,
                             const GeoJsonOptions& options) {
    FeatureWriter writer(columns, crs, options);
    return lines(writer, rows);
}

std::string geojson_head() {
    return "{\"type\":\"FeatureCollection\",\"features\":[\n";
}

std::string geojson_tail() {
    return "\n]}\n";
}

}  // namespace catchfield::gis
