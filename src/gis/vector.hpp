// SPDX-License-Identifier: MIT
// Reading vector layers into plain shapes and text attributes.
#pragma once

#include "base/shapes.hpp"
#include "gis/box_index.hpp"
#include "gis/crs.hpp"

#include <cstdint>
#include <functional>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace catchfield::gis {

/// Refused beyond these, with a message that says which.
struct ReadLimits {
    std::size_t features = 2'000'000;
    std::size_t vertices = 100'000'000;     ///< of the whole layer
    std::size_t vertices_each = 5'000'000;  ///< of one feature
    std::size_t text_bytes = 65'536;        ///< of one attribute
    std::size_t columns = 2'000;
};

struct ReadOptions {
    std::optional<Box> box{};  ///< only features whose bounding box meets it; in the layer's CRS
    ReadLimits limits{};
    bool geometry = true;  ///< false: attributes only
};

enum class GeometryKind : std::uint8_t { none, points, lines, polygons };

/// One feature. Only the member named by `kind` is filled. Curves are made of short segments, 3D
/// and measures are dropped, rings are closed; nothing else is repaired or checked (`geometry` does
/// that). A collection keeps its areas, or its lines where it has none, or its points.
struct Feature {
    long long fid = 0;
    GeometryKind kind = GeometryKind::none;
    MultiPolygon polygons{};
    std::vector<Line> lines{};
    std::vector<Point> points{};
    /// Text of each column: "" for null, shortest round-trip text for numbers, ISO 8601 for dates.
    std::vector<std::string> values{};

    /// Around the geometry; min > max where there is none.
    Box box() const;
};

struct VectorLayer {
    std::string path;
    std::string name;
    std::string driver;
    std::vector<std::string> columns;
    std::vector<Feature> features;    ///< in the order of the file
    std::string crs_wkt;              ///< "" where the data state none: see require_crs
    std::size_t null_geometries = 0;  ///< features without geometry, or with an empty one
    std::vector<std::string> warnings;

    /// Position of a column, case ignored where no exact match is there; nothing where absent.
    std::optional<std::size_t> find_column(std::string_view column) const;
    /// As find_column. Throws Error(data) that names the nearest known one.
    std::size_t column(std::string_view column) const;
};

/// What a data set holds, without reading its features.
struct LayerInfo {
    std::string name;
    std::string geometry;     ///< "Polygon", "Multi Polygon", "3D Point", ...
    long long features = -1;  ///< -1 where it would take a full read
    std::vector<std::string> columns;
    std::string crs_wkt;
};

/// Layers of a data set, in order. Throws Error(input) where it cannot be opened.
std::vector<LayerInfo> list_layers(const std::string& path);

/// Reads a layer. layer: its name, or "" where the data set has one layer only (or one with
/// geometry). CSV: columns x/lon/longitude/easting and y/lat/latitude/northing make points, a
/// column WKT any shape. Throws Error(input) for what cannot be opened, has no layer, or stops in
/// the middle; Error(usage) for a layer that is not there or not unique (the message lists them);
/// Error(data) beyond the limits and for coordinates that are not finite.
VectorLayer read_layer(const std::string& path, const std::string& layer = "",
                       const ReadOptions& options = {});

/// Called with the layer as far as it is known (without features) and each feature in its order.
using VisitFeature = std::function<void(const VectorLayer& layer, Feature&& feature)>;

/// As read_layer for a layer that is too large to be held: features pass by one at a time. Returns
/// the layer without features.
VectorLayer visit_layer(const std::string& path, const std::string& layer,
                        const VisitFeature& visit, const ReadOptions& options = {});

/// Throws Error(data) for a feature in degrees whose coordinates are none: metres without a CRS of
/// their own, swapped digits. Projected coordinates are left to the transformation.
void require_place(const VectorLayer& layer, const Feature& feature, const Crs& crs);
/// The same for every feature of a layer.
void require_places(const VectorLayer& layer, const Crs& crs);

/// The same layer in another CRS (polygons, lines, points). crs: of the layer.
VectorLayer transformed(VectorLayer layer, const Crs& from, const Crs& to);

/// A layer in memory with an index over the features' boxes, for many small windows. Immutable once
/// built; queries may run from any number of threads. PolygonMap does the same for large maps.
class VectorSource {
  public:
    /// Throws Error(data) as require_places does.
    VectorSource(VectorLayer layer, Crs crs);

    const VectorLayer& layer() const { return m_layer; }
    const Crs& crs() const { return m_crs; }
    /// Positions in layer().features, ascending, of those whose box meets `box` (in crs()).
    std::vector<std::size_t> query(const Box& box) const;

  private:
    VectorLayer m_layer;
    Crs m_crs;
    BoxIndex m_index;
};

}  // namespace catchfield::gis
