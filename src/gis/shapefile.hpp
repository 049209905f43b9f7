// SPDX-License-Identifier: MIT
// Shapefiles as rate controllers take them: short names, single parts, WGS 84, .prj and .cpg.
#pragma once

#include "gis/crs.hpp"
#include "gis/table_fields.hpp"

#include <string>
#include <utility>
#include <vector>

namespace catchfield::gis {

/// One file of a set: name without folder, and its bytes.
struct NamedBytes {
    std::string name;
    std::string bytes;
};

struct ShapefileOptions {
    Crs output_crs = Crs::wgs84();
    std::string date = "2000-01-01";  ///< of the last update, in the .dbf header
};

struct ShapefileResult {
    std::vector<NamedBytes> files;      ///< .cpg .dbf .prj .shp .shx
    std::size_t records = 0;            ///< single-part polygons
    std::vector<std::string> warnings;  ///< names and texts that were cut
};

/// Column names as a shapefile can hold them: ASCII letters, digits and '_', at most 10 characters,
/// distinct (case ignored). Returned in the order of the columns.
std::vector<std::string> shapefile_names(const std::vector<FieldSpec>& columns);

/// Every part of a shape becomes a record of its own with the row's values. Shapes are in `crs`.
/// stem: file name without extension (letters, digits, '-', '_'). Throws Error(internal) for values
/// that do not fit their column's width or type, Error(output) with GDAL's words.
ShapefileResult shapefile_bytes(const std::string& stem, const std::vector<FieldSpec>& columns,
                                const std::vector<PolygonRow>& rows, const Crs& crs,
                                const ShapefileOptions& options = {});

/// A zip archive of the files (deflate), same bytes for the same files: entries carry 1980-01-01.
/// Names may hold '/' for folders. Throws Error(internal) for doubled or unsafe names.
std::string zip_bytes(const std::vector<NamedBytes>& files);

}  // namespace catchfield::gis
