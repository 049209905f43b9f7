// SPDX-License-Identifier: MIT
// GeoPackage with several layers, written field by field.
#pragma once

#include "gis/crs.hpp"
#include "gis/table_fields.hpp"

#include <memory>
#include <string>
#include <vector>

namespace catchfield::gis {

/// Date that stands in the file for the day of the last change, so that the bytes are the same on
/// every run. SOURCE_DATE_EPOCH of the environment replaces it where it is set.
inline constexpr const char* fixed_file_date = "2000-01-01T00:00:00Z";

enum class LayerGeometry { none, point, multi_polygon };

struct LayerSpec {
    std::string name;
    LayerGeometry geometry = LayerGeometry::multi_polygon;
    std::vector<FieldSpec> columns;
    Crs crs;  ///< ignored for LayerGeometry::none
    std::string description{};
};

/// Writes rows in the order they are given; layers may take turns. Memory does not grow with the
/// rows. Use from one thread. The file stands under a temporary name until commit().
class GeoPackageWriter {
  public:
    /// Throws Error(output) where the file cannot be made, Error(internal) for doubled names.
    GeoPackageWriter(const std::string& path, const std::vector<LayerSpec>& layers);
    ~GeoPackageWriter();
    GeoPackageWriter(const GeoPackageWriter&) = delete;
    GeoPackageWriter& operator=(const GeoPackageWriter&) = delete;

    /// layer: position in the list given. The shape is in the layer's CRS. Throws Error(output)
    /// with GDAL's words, Error(internal) where values do not fit the columns.
    void add(std::size_t layer, const PolygonRow& row);
    void add(std::size_t layer, const PointRow& row);
    /// A row of a layer without geometry.
    void add(std::size_t layer, const std::vector<Value>& values);

    /// Ends the transaction, builds the spatial indexes, closes, re-opens and compares the row
    /// counts, renames. Throws Error(output). Without it nothing remains.
    void commit();

  private:
    struct State;
    std::unique_ptr<State> m_state;
};

/// Reads a layer of a GeoPackage back: read_layer(path, name) of vector.hpp.

}  // namespace catchfield::gis
