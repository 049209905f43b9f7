// SPDX-License-Identifier: MIT
#include "gis/crs.hpp"

#include "base/error.hpp"
#include "base/text.hpp"
#include "gis/detail/gdal.hpp"
#include "gis/detail/shapes.hpp"

#include <ogr_geometry.h>
#include <ogr_spatialref.h>
#include <proj.h>

#include <algorithm>
#include <cmath>
#include <geodesic.h>
#include <limits>
#include <map>
#include <mutex>
#include <utility>

namespace catchfield::gis {

struct Crs::Data {
    std::string wkt;
    std::string name;
    std::string code;
    bool geographic = false;
    double metres_per_unit = 1.0;
};

namespace {

/// One Data for each WKT, so that equal systems share a pointer.
class Interned {
  public:
    std::shared_ptr<const Crs::Data> find(const std::string& key) {
        const std::lock_guard lock(m_mutex);
        const auto found = m_by_key.find(key);
        return found == m_by_key.end() ? nullptr : found->second;
    }
    std::shared_ptr<const Crs::Data> keep(const std::string& key, Crs::Data data) {
        const std::lock_guard lock(m_mutex);
        auto& by_wkt = m_by_key[data.wkt];
        if (!by_wkt) by_wkt = std::make_shared<const Crs::Data>(std::move(data));
        return m_by_key.emplace(key, by_wkt).first->second;
    }

  private:
    std::mutex m_mutex;
    std::map<std::string, std::shared_ptr<const Crs::Data>> m_by_key;
};

Interned& interned() {
    static Interned instance;
    return instance;
}

/// Reduces to a horizontal CRS and describes it. Returns the reason where it is of no use.
std::string describe(OGRSpatialReference& reference, Crs::Data& data) {
    if (reference.IsLocal()) return "it is a local system without a place on Earth";
    if (reference.IsGeocentric()) return "it is geocentric (X, Y, Z)";
    if (reference.IsCompound()) reference.StripVertical();
    reference.DemoteTo2D(nullptr);
    reference.SetAxisMappingStrategy(OAMS_TRADITIONAL_GIS_ORDER);
    if (!reference.IsGeographic() && !reference.IsProjected()) {
        return "it is neither projected nor geographic";
    }
    data.geographic = reference.IsGeographic() != 0;
    data.metres_per_unit = data.geographic ? 0.0 : reference.GetLinearUnits(nullptr);
    if (!data.geographic && !(data.metres_per_unit > 0.0 && data.metres_per_unit < 1e6)) {
        return "its unit of length is not usable";
    }
    data.wkt = detail::wkt_of(&reference);
    if (data.wkt.empty()) return "it cannot be written as WKT";
    const char* name = reference.GetName();
    data.name = name != nullptr ? name : "unnamed";
    const char* authority = reference.GetAuthorityName(nullptr);
    const char* code = reference.GetAuthorityCode(nullptr);
    if (authority != nullptr && code != nullptr) data.code = std::string(authority) + ":" + code;
    return {};
}

std::shared_ptr<PJ_CONTEXT> thread_context() {
    static thread_local std::shared_ptr<PJ_CONTEXT> context = [] {
        std::shared_ptr<PJ_CONTEXT> made(proj_context_create(), proj_context_destroy);
        proj_log_level(made.get(), PJ_LOG_NONE);
        // Whatever rasters may come from: a grid that is fetched where there is a network, and not
        // where there is none, would make results differ, and fails offline.
        proj_context_set_enable_network(made.get(), 0);
        return made;
    }();
    return context;
}

struct PjDeleter {
    void operator()(PJ* pj) const { proj_destroy(pj); }
};
using PjPtr = std::unique_ptr<PJ, PjDeleter>;

}  // namespace

Crs Crs::from_user_input(const std::string& text, const std::string& key) {
    const std::string trimmed(trim(text));
    const std::string cache_key = "user:" + trimmed;
    Crs crs;
    crs.m_data = interned().find(cache_key);
    if (crs.m_data) return crs;
    const std::string hint = "Write a code such as EPSG:26915, or the WKT of the system.";
    if (trimmed.empty()) throw Error(ErrorKind::usage, key + " is empty", {.hint = hint});
    const detail::ErrorScope scope;
    OGRSpatialReference reference;
    const char* const options[] = {"ALLOW_NETWORK_ACCESS=NO", "ALLOW_FILE_ACCESS=NO", nullptr};
    const std::string shown = trimmed.size() > 60 ? trimmed.substr(0, 60) + "..." : trimmed;
    if (reference.SetFromUserInput(trimmed.c_str(), options) != OGRERR_NONE) {
        scope.fail(ErrorKind::usage, key + ": no such coordinate reference system '" + shown + "'",
                   {.hint = hint});
    }
    Data data;
    if (const std::string reason = describe(reference, data); !reason.empty()) {
        throw Error(ErrorKind::usage, key + ": '" + shown + "' cannot be used: " + reason,
                    {.hint = hint});
    }
    crs.m_data = interned().keep(cache_key, std::move(data));
    return crs;
}

Crs Crs::from_wkt(const std::string& wkt, const std::string& path) {
    const std::string cache_key = "wkt:" + wkt;
    Crs crs;
    crs.m_data = interned().find(cache_key);
    if (crs.m_data) return crs;
    const detail::ErrorScope scope;
    OGRSpatialReference reference;
    const ErrorContext context{.path = path, .hint = "Reproject the data into a known system."};
    if (reference.importFromWkt(wkt.c_str()) != OGRERR_NONE) {
        scope.fail(ErrorKind::data, "its coordinate reference system is not understood", context);
    }
    Data data;
    if (const std::string reason = describe(reference, data); !reason.empty()) {
        throw Error(ErrorKind::data, "its coordinate reference system cannot be used: " + reason,
                    context);
    }
    crs.m_data = interned().keep(cache_key, std::move(data));
    return crs;
}

Crs Crs::from_epsg(int code) {
    return from_user_input("EPSG:" + std::to_string(code), "crs");
}

const Crs& Crs::wgs84() {
    static const Crs crs = from_epsg(4326);
    return crs;
}

namespace {

const Crs::Data& data_of(const std::shared_ptr<const Crs::Data>& data) {
    if (!data) throw Error(ErrorKind::internal, "a coordinate reference system is empty");
    return *data;
}

}  // namespace

const std::string& Crs::wkt() const {
    return data_of(m_data).wkt;
}
const std::string& Crs::name() const {
    return data_of(m_data).name;
}
const std::string& Crs::code() const {
    return data_of(m_data).code;
}
bool Crs::is_geographic() const {
    return m_data && m_data->geographic;
}
double Crs::metres_per_unit() const {
    return data_of(m_data).metres_per_unit;
}

std::string Crs::esri_wkt() const {
    const detail::ErrorScope scope;
    char* text = nullptr;
    const char* const options[] = {"FORMAT=WKT1_ESRI", "MULTILINE=NO", nullptr};
    const OGRErr error = detail::spatial_reference(*this).exportToWkt(&text, options);
    const std::unique_ptr<char, void (*)(void*)> owner(text, VSIFree);
    if (error != OGRERR_NONE || text == nullptr) {
        scope.fail(ErrorKind::output, "the CRS '" + name() + "' has no form in the ESRI dialect",
                   {});
    }
    return text;
}

bool Crs::same_as(const Crs& other) const {
    if (m_data == other.m_data) return true;
    if (empty() || other.empty()) return false;
    if (m_data->geographic != other.m_data->geographic) return false;
    const detail::ErrorScope scope;
    return detail::spatial_reference(*this).IsSame(&detail::spatial_reference(other)) != 0;
}

Crs require_crs(const std::string& found_wkt, const std::string& stated, const std::string& path,
                const std::string& key) {
    // A GeoPackage says "undefined" with a system of that name.
    const bool undefined = found_wkt.find("[\"Undefined ") != std::string::npos ||
                           found_wkt.find("[\"undefined") != std::string::npos;
    if (!found_wkt.empty() && !undefined) return Crs::from_wkt(found_wkt, path);
    if (!trim(stated).empty()) return Crs::from_user_input(stated, key);
    throw Error(
        ErrorKind::data, "states no coordinate reference system",
        {.path = path, .hint = "State it with " + key + ", for example " + key + " = EPSG:26915."});
}

int utm_zone(double longitude, double latitude) {
    const double wrapped = longitude - 360.0 * std::floor((longitude + 180.0) / 360.0);
    const int zone = std::clamp(static_cast<int>(std::floor((wrapped + 180.0) / 6.0)) + 1, 1, 60);
    if (latitude >= 56.0 && latitude < 64.0 && wrapped >= 3.0 && wrapped < 12.0) return 32;
    if (latitude >= 72.0 && latitude <= 84.0 && wrapped >= 0.0 && wrapped < 42.0) {
        if (wrapped < 9.0) return 31;
        if (wrapped < 21.0) return 33;
        if (wrapped < 33.0) return 35;
        return 37;
    }
    return zone;
}

namespace {

/// Longitudes of a ring made continuous: neighbours never more than 180 degrees apart.
void unwrap(Ring& ring) {
    for (std::size_t i = 1; i < ring.size(); ++i) {
        const double step = ring[i].x - ring[i - 1].x;
        if (std::abs(step) > 180.0) ring[i].x -= 360.0 * std::round(step / 360.0);
    }
}

/// Centroid by area, in the shape's own units; the middle of the vertices' box where the area is
/// nil or says nothing.
Point centroid(const MultiPolygon& shape) {
    const Box box = bounds(shape);
    const Point origin{0.5 * (box.min_x + box.max_x), 0.5 * (box.min_y + box.max_y)};
    double area2 = 0.0;
    double sum_x = 0.0;
    double sum_y = 0.0;
    for (const Polygon& polygon : shape) {
        const double sign = signed_area(polygon.outer) < 0.0 ? -1.0 : 1.0;
        for (std::size_t i = 0; i + 1 < polygon.outer.size(); ++i) {
            const double ax = polygon.outer[i].x - origin.x;
            const double ay = polygon.outer[i].y - origin.y;
            const double bx = polygon.outer[i + 1].x - origin.x;
            const double by = polygon.outer[i + 1].y - origin.y;
            const double cross = sign * (ax * by - bx * ay);
            area2 += cross;
            sum_x += cross * (ax + bx);
            sum_y += cross * (ay + by);
        }
    }
    if (!(area2 > 0.0)) return origin;
    const Point centre{origin.x + sum_x / (3.0 * area2), origin.y + sum_y / (3.0 * area2)};
    // Rings that cross themselves have areas that cancel, and then a centroid anywhere.
    const bool within = centre.x >= box.min_x && centre.x <= box.max_x && centre.y >= box.min_y &&
                        centre.y <= box.max_y;
    return within ? centre : origin;
}

/// Parts that lie on both sides of the antimeridian are brought to one side.
MultiPolygon one_sided(MultiPolygon shape) {
    for (Polygon& polygon : shape) unwrap(polygon.outer);
    const Box box = bounds(shape);
    if (box.max_x - box.min_x <= 180.0) return shape;
    for (Polygon& polygon : shape) {
        if (polygon.outer.empty() || polygon.outer.front().x >= 0.0) continue;
        for (Point& point : polygon.outer) point.x += 360.0;
    }
    return shape;
}

}  // namespace

Crs work_crs(const MultiPolygon& shape, const Crs& crs) {
    if (shape.empty()) throw Error(ErrorKind::data, "an empty shape has no work CRS");
    Point centre;
    if (crs.is_geographic()) {
        const MultiPolygon continuous = one_sided(shape);
        const Box box = bounds(continuous);
        if (!(box.min_y >= -90.0 && box.max_y <= 90.0 && box.min_x >= -540.0 &&
              box.max_x <= 540.0)) {
            throw Error(
                ErrorKind::data,
                "the coordinates are no degrees, but the data say they are in " + crs.name(),
                {.hint = "State the right CRS, or check the order of the coordinates."});
        }
        centre = transformer(crs, Crs::wgs84()).apply(centroid(continuous));
    } else {
        centre = transformer(crs, Crs::wgs84()).apply(centroid(shape));
    }
    if (!(centre.y >= -80.0 && centre.y <= 84.0)) {
        throw Error(ErrorKind::data,
                    "its centre lies at latitude " + fixed(centre.y, 4) +
                        ", beyond the range of UTM (80 S to 84 N)",
                    {.hint = "Check the order of the coordinates and the CRS."});
    }
    return Crs::from_epsg((centre.y < 0.0 ? 32700 : 32600) + utm_zone(centre.x, centre.y));
}

struct Transformer::State {
    std::shared_ptr<PJ_CONTEXT> context;
    PjPtr operation;
    std::string from_name;
    std::string to_name;
};

Transformer::Transformer(const Crs& from, const Crs& to)
    : m_state(std::make_unique<State>()), m_identity(from.same_as(to)) {
    m_state->from_name = from.name();
    m_state->to_name = to.name();
    if (m_identity) return;
    m_state->context = thread_context();
    PJ_CONTEXT* context = m_state->context.get();
    const auto make = [&](const Crs& crs) {
        return PjPtr(
            proj_create(context, crs.code().empty() ? crs.wkt().c_str() : crs.code().c_str()));
    };
    const PjPtr source = make(from);
    const PjPtr target = make(to);
    if (source && target) {
        const PjPtr raw(
            proj_create_crs_to_crs_from_pj(context, source.get(), target.get(), nullptr, nullptr));
        if (raw) m_state->operation.reset(proj_normalize_for_visualization(context, raw.get()));
    }
    if (!m_state->operation) {
        const int error = proj_context_errno(context);
        throw Error(ErrorKind::data,
                    "no transformation from " + from.name() + " to " + to.name() +
                        (error != 0 ? std::string(": ") + proj_context_errno_string(context, error)
                                    : std::string()));
    }
}

Transformer::~Transformer() = default;
Transformer::Transformer(Transformer&&) noexcept = default;
Transformer& Transformer::operator=(Transformer&&) noexcept = default;

void Transformer::apply_unchecked(double* x, double* y, std::size_t count) const {
    if (m_identity || count == 0) return;
    PJ* operation = m_state->operation.get();
    proj_errno_reset(operation);
    proj_trans_generic(operation, PJ_FWD, x, sizeof(double), count, y, sizeof(double), count,
                       nullptr, 0, 0, nullptr, 0, 0);
}

namespace {

[[noreturn]] void no_image(const Point& point, const std::string& from, const std::string& to) {
    throw Error(ErrorKind::data,
                "the point (" + shortest(point.x) + ", " + shortest(point.y) + ") in " + from +
                    " has no place in " + to,
                {.hint = "Check the CRS and the order of the coordinates."});
}

}  // namespace

void Transformer::apply(std::vector<Point>& points) const {
    if (m_identity || points.empty()) return;
    static_assert(sizeof(Point) == 2 * sizeof(double));
    const std::vector<Point> before = points;
    PJ* operation = m_state->operation.get();
    proj_errno_reset(operation);
    proj_trans_generic(operation, PJ_FWD, &points[0].x, sizeof(Point), points.size(), &points[0].y,
                       sizeof(Point), points.size(), nullptr, 0, 0, nullptr, 0, 0);
    for (std::size_t i = 0; i < points.size(); ++i) {
        if (!std::isfinite(points[i].x) || !std::isfinite(points[i].y)) {
            no_image(before[i], m_state->from_name, m_state->to_name);
        }
    }
}

Point Transformer::apply(const Point& point) const {
    Point image = point;
    apply_unchecked(&image.x, &image.y, 1);
    if (!std::isfinite(image.x) || !std::isfinite(image.y)) {
        no_image(point, m_state->from_name, m_state->to_name);
    }
    return image;
}

MultiPolygon Transformer::apply(const MultiPolygon& shape) const {
    MultiPolygon image = shape;
    for (Polygon& polygon : image) {
        apply(polygon.outer);
        for (Ring& hole : polygon.holes) apply(hole);
    }
    return image;
}

Box Transformer::apply(const Box& box) const {
    if (m_identity) return box;
    Box image;
    if (proj_trans_bounds(m_state->context.get(), m_state->operation.get(), PJ_FWD, box.min_x,
                          box.min_y, box.max_x, box.max_y, &image.min_x, &image.min_y, &image.max_x,
                          &image.max_y, 21) == 0 ||
        !std::isfinite(image.min_x) || !std::isfinite(image.max_x) || !std::isfinite(image.min_y) ||
        !std::isfinite(image.max_y)) {
        no_image({box.min_x, box.min_y}, m_state->from_name, m_state->to_name);
    }
    return image;
}

std::string Transformer::description() const {
    if (m_identity) return "none (same system)";
    PJ* operation = m_state->operation.get();
    PjPtr used(proj_trans_get_last_used_operation(operation));
    const PJ* shown = used ? used.get() : operation;
    const PJ_PROJ_INFO info = proj_pj_info(const_cast<PJ*>(shown));
    std::string text = info.description != nullptr ? info.description : "unnamed operation";
    text += info.accuracy >= 0.0 ? " (accuracy " + significant(info.accuracy, 2) + " m)"
                                 : std::string(" (accuracy unknown)");
    return text;
}

const Transformer& transformer(const Crs& from, const Crs& to) {
    struct Entry {
        Crs from;
        Crs to;
        Transformer transformer;
    };
    static thread_local std::map<std::pair<std::string, std::string>, std::unique_ptr<Entry>> cache;
    static thread_local const Entry* last = nullptr;
    if (last != nullptr && &last->from.wkt() == &from.wkt() && &last->to.wkt() == &to.wkt()) {
        return last->transformer;
    }
    auto& entry = cache[{from.wkt(), to.wkt()}];
    if (!entry) entry.reset(new Entry{from, to, Transformer(from, to)});
    last = entry.get();
    return entry->transformer;
}

double geodesic_area_m2(const MultiPolygon& shape, const Crs& crs) {
    geod_geodesic ellipsoid;
    geod_init(&ellipsoid, 6378137.0, 1.0 / 298.257223563);
    const auto ring_area = [&](Ring ring) {
        transformer(crs, Crs::wgs84()).apply(ring);
        if (!ring.empty()) ring.pop_back();
        std::vector<double> latitudes;
        std::vector<double> longitudes;
        for (const Point& point : ring) {
            longitudes.push_back(point.x);
            latitudes.push_back(point.y);
        }
        double area_m2 = 0.0;
        double perimeter = 0.0;
        geod_polygonarea(&ellipsoid, latitudes.data(), longitudes.data(),
                         static_cast<int>(ring.size()), &area_m2, &perimeter);
        return std::abs(area_m2);
    };
    double total = 0.0;
    for (const Polygon& polygon : shape) {
        total += ring_area(polygon.outer);
        for (const Ring& hole : polygon.holes) total -= ring_area(hole);
    }
    return total;
}

namespace {

bool crosses(const MultiPolygon& shape) {
    for (const Polygon& polygon : shape) {
        for (std::size_t i = 0; i < polygon.outer.size(); ++i) {
            const double x = polygon.outer[i].x;
            if (x < -180.0 || x > 180.0) return true;
            if (i > 0 && std::abs(x - polygon.outer[i - 1].x) > 180.0) return true;
        }
    }
    return false;
}

Ring from_ogr(const OGRLinearRing& ring, double shift) {
    Ring result;
    for (int i = 0; i < ring.getNumPoints(); ++i) {
        const Point point{ring.getX(i) + shift, ring.getY(i)};
        if (result.empty() || !(result.back() == point)) result.push_back(point);
    }
    return result;
}

void append(const OGRGeometry* geometry, double shift, MultiPolygon& shape) {
    if (geometry == nullptr || geometry->IsEmpty()) return;
    const auto type = wkbFlatten(geometry->getGeometryType());
    if (type == wkbPolygon) {
        const OGRPolygon* polygon = geometry->toPolygon();
        Polygon part;
        part.outer = from_ogr(*polygon->getExteriorRing(), shift);
        for (int i = 0; i < polygon->getNumInteriorRings(); ++i) {
            part.holes.push_back(from_ogr(*polygon->getInteriorRing(i), shift));
        }
        shape.push_back(std::move(part));
    } else if (OGR_GT_IsSubClassOf(type, wkbGeometryCollection)) {
        for (const OGRGeometry* member : *geometry->toGeometryCollection()) {
            append(member, shift, shape);
        }
    }
}

}  // namespace

MultiPolygon split_at_antimeridian(const MultiPolygon& shape) {
    if (!crosses(shape)) return shape;
    const detail::ErrorScope scope;
    MultiPolygon result;
    for (Polygon polygon : shape) {
        unwrap(polygon.outer);
        const Box box = bounds({polygon});
        for (Ring& hole : polygon.holes) {
            unwrap(hole);
            if (hole.empty()) continue;
            const double middle = 0.5 * (box.min_x + box.max_x);
            const double shift = 360.0 * std::round((middle - hole.front().x) / 360.0);
            for (Point& point : hole) point.x += shift;
        }
        const std::unique_ptr<OGRPolygon> whole = detail::to_ogr(polygon);
        const int first = static_cast<int>(std::floor((box.min_x + 180.0) / 360.0));
        const int last = static_cast<int>(std::ceil((box.max_x + 180.0) / 360.0)) - 1;
        for (int turn = first; turn <= std::max(first, last); ++turn) {
            const double west = -180.0 + 360.0 * turn;
            OGRPolygon window;
            window.addRingDirectly(detail::to_ogr(Ring{{west, -90.0},
                                                       {west + 360.0, -90.0},
                                                       {west + 360.0, 90.0},
                                                       {west, 90.0},
                                                       {west, -90.0}})
                                       .release());
            const std::unique_ptr<OGRGeometry> part(whole->Intersection(&window));
            if (part == nullptr) {
                scope.fail(ErrorKind::data, "a shape cannot be cut at the antimeridian", {});
            }
            append(part.get(), -360.0 * turn, result);
        }
    }
    return result;
}

}  // namespace catchfield::gis
