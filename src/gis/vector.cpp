// SPDX-License-Identifier: MIT
#include "gis/vector.hpp"

#include "base/error.hpp"
#include "base/text.hpp"
#include "gis/detail/gdal.hpp"

#include <gdal_priv.h>
#include <ogrsf_frmts.h>

#include <algorithm>
#include <array>
#include <charconv>
#include <cmath>
#include <limits>
#include <numeric>

namespace catchfield::gis {

namespace {

constexpr double infinity = std::numeric_limits<double>::infinity();

void grow(Box& box, const std::vector<Point>& points) {
    for (const Point& point : points) {
        box.min_x = std::min(box.min_x, point.x);
        box.min_y = std::min(box.min_y, point.y);
        box.max_x = std::max(box.max_x, point.x);
        box.max_y = std::max(box.max_y, point.y);
    }
}

GDALDatasetUniquePtr open_vector(const std::string& path) {
    detail::ensure_started();
    const std::string name = detail::open_path(path);
    const detail::ErrorScope scope;
    // Names under which coordinates stand in CSV files; other drivers do not know these options.
    const bool csv = name.size() > 4 && same_ignoring_case(name.substr(name.size() - 4), ".csv");
    const char* const csv_options[] = {"X_POSSIBLE_NAMES=x,lon,long,longitude,easting",
                                       "Y_POSSIBLE_NAMES=y,lat,latitude,northing",
                                       "GEOM_POSSIBLE_NAMES=wkt", "KEEP_GEOM_COLUMNS=YES", nullptr};
    GDALDatasetUniquePtr dataset(
        GDALDataset::Open(name.c_str(), GDAL_OF_VECTOR | GDAL_OF_READONLY | GDAL_OF_VERBOSE_ERROR,
                          detail::vector_drivers(), csv ? csv_options : nullptr, nullptr));
    if (dataset == nullptr) {
        scope.fail(ErrorKind::input, "cannot be opened as vector data", {.path = path});
    }
    return dataset;
}

std::vector<std::string> columns_of(OGRFeatureDefn& definition) {
    std::vector<std::string> names;
    for (int i = 0; i < definition.GetFieldCount(); ++i) {
        names.emplace_back(definition.GetFieldDefn(i)->GetNameRef());
    }
    return names;
}

std::string layer_wkt(OGRLayer& layer) {
    return detail::wkt_of(layer.GetSpatialRef());
}

OGRLayer& choose_layer(GDALDataset& dataset, const std::string& path, const std::string& wanted) {
    std::vector<std::string> names;
    std::vector<OGRLayer*> with_geometry;
    for (OGRLayer* layer : dataset.GetLayers()) {
        names.emplace_back(layer->GetName());
        if (wanted == names.back() && !wanted.empty()) return *layer;
        if (layer->GetGeomType() != wkbNone) with_geometry.push_back(layer);
    }
    if (names.empty()) throw Error(ErrorKind::input, "holds no layer", {.path = path});
    std::string listed;
    for (const std::string& name : names) listed += (listed.empty() ? "'" : ", '") + name + "'";
    if (!wanted.empty()) {
        const std::string near = nearest_name(wanted, names);
        throw Error(ErrorKind::usage, "there is no layer '" + wanted + "'",
                    {.path = path,
                     .hint = (near.empty() ? "" : "Did you mean '" + near + "'? ") +
                             ("Layers: " + listed + ".")});
    }
    if (names.size() == 1) return *dataset.GetLayer(0);
    if (with_geometry.size() == 1) return *with_geometry.front();
    throw Error(ErrorKind::usage, "holds several layers",
                {.path = path, .hint = "Name one of " + listed + "."});
}

template <typename Number>
std::string number_text(Number value) {
    if (std::isnan(value)) return "nan";
    if (std::isinf(value)) return value < 0 ? "-inf" : "inf";
    char buffer[64];
    const auto [end, error] = std::to_chars(buffer, buffer + sizeof buffer, value);
    return std::string(buffer, end);
}

std::string date_text(const OGRFeature& feature, int column, OGRFieldType type) {
    int year = 0, month = 0, day = 0, hour = 0, minute = 0, zone = 0;
    float second = 0.0F;
    if (feature.GetFieldAsDateTime(column, &year, &month, &day, &hour, &minute, &second, &zone) ==
        FALSE) {
        return feature.GetFieldAsString(column);
    }
    const std::string date = CPLSPrintf("%04d-%02d-%02d", year, month, day);
    if (type == OFTDate) return date;
    const int whole = static_cast<int>(second);
    const std::string clock = CPLSPrintf("%02d:%02d:%02d", hour, minute, whole);
    return type == OFTTime ? clock : date + "T" + clock;
}

std::string value_text(const OGRFeature& feature, int column, const OGRFieldDefn& definition) {
    if (!feature.IsFieldSetAndNotNull(column)) return {};
    switch (definition.GetType()) {
        case OFTInteger:
        case OFTInteger64:
            return std::to_string(feature.GetFieldAsInteger64(column));
        case OFTReal: {
            const double value = feature.GetFieldAsDouble(column);
            return definition.GetSubType() == OFSTFloat32 ? number_text(static_cast<float>(value))
                                                          : number_text(value);
        }
        case OFTDate:
        case OFTTime:
        case OFTDateTime:
            return date_text(feature, column, definition.GetType());
        case OFTBinary:
            return {};
        default:
            return valid_utf8(feature.GetFieldAsString(column));
    }
}

Line points_of(const OGRSimpleCurve& curve) {
    Line points(static_cast<std::size_t>(curve.getNumPoints()));
    for (std::size_t i = 0; i < points.size(); ++i) {
        const int at = static_cast<int>(i);
        points[i] = {curve.getX(at), curve.getY(at)};
    }
    return points;
}

Ring ring_of(const OGRSimpleCurve& curve) {
    Ring ring = points_of(curve);
    if (!ring.empty() && !(ring.front() == ring.back())) ring.push_back(ring.front());
    return ring;
}

/// Shapes of a geometry by kind. Geometry is linear.
struct Shapes {
    MultiPolygon polygons;
    std::vector<Line> lines;
    std::vector<Point> points;
    bool unknown = false;
};

void collect(const OGRGeometry& geometry, Shapes& shapes, int depth = 0) {
    if (geometry.IsEmpty()) return;
    const auto type = wkbFlatten(geometry.getGeometryType());
    if (depth > 32) {
        shapes.unknown = true;
    } else if (type == wkbPoint) {
        const OGRPoint* point = geometry.toPoint();
        shapes.points.push_back({point->getX(), point->getY()});
    } else if (type == wkbLineString) {
        shapes.lines.push_back(points_of(*geometry.toLineString()));
    } else if (type == wkbPolygon || type == wkbTriangle) {
        const OGRPolygon* polygon = geometry.toPolygon();
        Polygon part;
        part.outer = ring_of(*polygon->getExteriorRing());
        for (int i = 0; i < polygon->getNumInteriorRings(); ++i) {
            const OGRLinearRing* hole = polygon->getInteriorRing(i);
            if (!hole->IsEmpty()) part.holes.push_back(ring_of(*hole));
        }
        shapes.polygons.push_back(std::move(part));
    } else if (type == wkbPolyhedralSurface || type == wkbTIN) {
        for (const OGRPolygon* member : *geometry.toPolyhedralSurface()) {
            collect(*member, shapes, depth + 1);
        }
    } else if (OGR_GT_IsSubClassOf(type, wkbGeometryCollection)) {
        for (const OGRGeometry* member : *geometry.toGeometryCollection()) {
            collect(*member, shapes, depth + 1);
        }
    } else {
        shapes.unknown = true;
    }
}

std::size_t count_and_check(const std::vector<Point>& points, bool& finite) {
    for (const Point& point : points) {
        finite = finite && std::isfinite(point.x) && std::isfinite(point.y);
    }
    return points.size();
}

/// Fills the feature's geometry; returns its number of vertices.
std::size_t set_geometry(Feature& feature, const OGRGeometry* geometry, const ErrorContext& context,
                         bool& unknown) {
    if (geometry == nullptr || geometry->IsEmpty()) return 0;
    std::unique_ptr<OGRGeometry> linear;
    if (geometry->hasCurveGeometry(TRUE)) {
        linear.reset(geometry->getLinearGeometry());
        geometry = linear.get();
        if (geometry == nullptr) return 0;
    }
    Shapes shapes;
    collect(*geometry, shapes);
    unknown = unknown || shapes.unknown;
    bool finite = true;
    std::size_t vertices = 0;
    if (!shapes.polygons.empty()) {
        feature.kind = GeometryKind::polygons;
        feature.polygons = std::move(shapes.polygons);
        for (const Polygon& polygon : feature.polygons) {
            vertices += count_and_check(polygon.outer, finite);
            for (const Ring& hole : polygon.holes) vertices += count_and_check(hole, finite);
        }
    } else if (!shapes.lines.empty()) {
        feature.kind = GeometryKind::lines;
        feature.lines = std::move(shapes.lines);
        for (const Line& line : feature.lines) vertices += count_and_check(line, finite);
    } else if (!shapes.points.empty()) {
        feature.kind = GeometryKind::points;
        feature.points = std::move(shapes.points);
        vertices = count_and_check(feature.points, finite);
    }
    if (!finite) {
        throw Error(ErrorKind::data, "has a coordinate that is not a finite number", context);
    }
    return vertices;
}

}  // namespace

Box Feature::box() const {
    Box box{infinity, infinity, -infinity, -infinity};
    for (const Polygon& polygon : polygons) grow(box, polygon.outer);
    for (const Line& line : lines) grow(box, line);
    grow(box, points);
    return box;
}

std::optional<std::size_t> VectorLayer::find_column(std::string_view wanted) const {
    for (std::size_t i = 0; i < columns.size(); ++i) {
        if (columns[i] == wanted) return i;
    }
    for (std::size_t i = 0; i < columns.size(); ++i) {
        if (same_ignoring_case(columns[i], wanted)) return i;
    }
    return std::nullopt;
}

std::size_t VectorLayer::column(std::string_view wanted) const {
    if (const auto found = find_column(wanted)) return *found;
    std::string listed;
    for (std::size_t i = 0; i < columns.size() && i < 30; ++i) {
        listed += (listed.empty() ? "" : ", ") + columns[i];
    }
    const std::string near = nearest_name(std::string(wanted), columns);
    throw Error(ErrorKind::data, "there is no column '" + std::string(wanted) + "'",
                {.path = path,
                 .layer = name,
                 .hint = (near.empty() ? "" : "Did you mean '" + near + "'? ") +
                         "Columns: " + (listed.empty() ? "none" : listed) + "."});
}

std::vector<LayerInfo> list_layers(const std::string& path) {
    const GDALDatasetUniquePtr dataset = open_vector(path);
    const detail::ErrorScope scope;
    std::vector<LayerInfo> result;
    for (OGRLayer* layer : dataset->GetLayers()) {
        LayerInfo info;
        info.name = layer->GetName();
        info.geometry = OGRGeometryTypeToName(layer->GetGeomType());
        info.features = layer->GetFeatureCount(FALSE);
        info.columns = columns_of(*layer->GetLayerDefn());
        info.crs_wkt = layer_wkt(*layer);
        result.push_back(std::move(info));
    }
    return result;
}

VectorLayer visit_layer(const std::string& path, const std::string& layer_name,
                        const VisitFeature& visit, const ReadOptions& options) {
    const GDALDatasetUniquePtr dataset = open_vector(path);
    OGRLayer& layer = choose_layer(*dataset, path, layer_name);
    const detail::ErrorScope scope;
    OGRFeatureDefn& definition = *layer.GetLayerDefn();
    VectorLayer result;
    result.path = path;
    result.name = layer.GetName();
    result.driver = dataset->GetDriver()->GetDescription();
    result.columns = columns_of(definition);
    result.crs_wkt = layer_wkt(layer);
    const ReadLimits& limits = options.limits;
    const auto too_many = [&](const std::string& what, std::size_t limit) {
        throw Error(ErrorKind::data, "has more than " + std::to_string(limit) + " " + what,
                    {.path = path, .layer = result.name, .hint = "Split the data."});
    };
    if (result.columns.size() > limits.columns) too_many("columns", limits.columns);
    // Where the file knows, it need not be read to be refused; the count may lie, so both.
    const GIntBig stated = layer.GetFeatureCount(FALSE);
    if (!options.box && stated > static_cast<GIntBig>(limits.features))
        too_many("features", limits.features);
    if (options.box) {
        layer.SetSpatialFilterRect(options.box->min_x, options.box->min_y, options.box->max_x,
                                   options.box->max_y);
    }
    layer.ResetReading();
    std::size_t features = 0;
    std::size_t vertices = 0;
    std::size_t unknown_shapes = 0;
    while (const OGRFeatureUniquePtr source{layer.GetNextFeature()}) {
        if (features++ == limits.features) too_many("features", limits.features);
        Feature feature;
        feature.fid = source->GetFID();
        const ErrorContext context{
            .path = path, .layer = result.name, .feature = std::to_string(feature.fid)};
        if (options.geometry) {
            bool unknown = false;
            const std::size_t count =
                set_geometry(feature, source->GetGeometryRef(), context, unknown);
            if (unknown) ++unknown_shapes;
            if (count > limits.vertices_each) {
                throw Error(ErrorKind::data,
                            "has more than " + std::to_string(limits.vertices_each) + " vertices",
                            context);
            }
            vertices += count;
            if (vertices > limits.vertices) too_many("vertices", limits.vertices);
            if (feature.kind == GeometryKind::none) ++result.null_geometries;
        }
        feature.values.reserve(result.columns.size());
        for (int i = 0; i < definition.GetFieldCount(); ++i) {
            feature.values.push_back(value_text(*source, i, *definition.GetFieldDefn(i)));
            if (feature.values.back().size() > limits.text_bytes) {
                throw Error(ErrorKind::data,
                            "column '" + result.columns[static_cast<std::size_t>(i)] +
                                "' holds more than " + std::to_string(limits.text_bytes) + " bytes",
                            context);
            }
        }
        visit(result, std::move(feature));
    }
    if (scope.failed()) {
        scope.fail(ErrorKind::input, "could not be read to the end",
                   {.path = path, .layer = result.name});
    }
    result.warnings = scope.warnings();
    if (unknown_shapes > 0) {
        result.warnings.push_back(std::to_string(unknown_shapes) +
                                  " feature(s) with a kind of geometry that is not read");
    }
    return result;
}

VectorLayer read_layer(const std::string& path, const std::string& layer_name,
                       const ReadOptions& options) {
    std::vector<Feature> features;
    VectorLayer layer = visit_layer(
        path, layer_name,
        [&](const VectorLayer&, Feature&& feature) { features.push_back(std::move(feature)); },
        options);
    layer.features = std::move(features);
    return layer;
}

void require_place(const VectorLayer& layer, const Feature& feature, const Crs& crs) {
    if (!crs.is_geographic()) return;
    const Box box = feature.box();
    if (box.min_x > box.max_x) return;
    // Longitudes may run past the antimeridian or count from 0 to 360.
    if (box.min_x < -361.0 || box.max_x > 541.0 || box.min_y < -90.0001 || box.max_y > 90.0001) {
        throw Error(ErrorKind::data,
                    "is in degrees, but a coordinate is " +
                        shortest(box.min_x < -361.0 ? box.min_x : box.max_x) + ", " +
                        shortest(box.min_y < -90.0 ? box.min_y : box.max_y),
                    {.path = layer.path,
                     .layer = layer.name,
                     .feature = std::to_string(feature.fid),
                     .hint = "Check its coordinate reference system."});
    }
}

void require_places(const VectorLayer& layer, const Crs& crs) {
    for (const Feature& feature : layer.features) require_place(layer, feature, crs);
}

VectorLayer transformed(VectorLayer layer, const Crs& from, const Crs& to) {
    const Transformer& move = transformer(from, to);
    layer.crs_wkt = to.wkt();
    if (move.identity()) return layer;
    for (Feature& feature : layer.features) {
        try {
            for (Polygon& polygon : feature.polygons) {
                move.apply(polygon.outer);
                for (Ring& hole : polygon.holes) move.apply(hole);
            }
            for (Line& line : feature.lines) move.apply(line);
            move.apply(feature.points);
        } catch (const Error& error) {
            throw Error(error.kind(), error.reason(),
                        {.path = layer.path,
                         .layer = layer.name,
                         .feature = std::to_string(feature.fid),
                         .hint = error.context().hint});
        }
    }
    return layer;
}

namespace {

std::vector<Box> boxes_of(const std::vector<Feature>& features) {
    std::vector<Box> boxes;
    boxes.reserve(features.size());
    for (const Feature& feature : features) boxes.push_back(feature.box());
    return boxes;
}

}  // namespace

VectorSource::VectorSource(VectorLayer layer, Crs crs)
    : m_layer(std::move(layer)), m_crs(std::move(crs)), m_index(boxes_of(m_layer.features)) {
    require_places(m_layer, m_crs);
}

std::vector<std::size_t> VectorSource::query(const Box& box) const {
    return m_index.query(box);
}

}  // namespace catchfield::gis
