// SPDX-License-Identifier: MIT
// A map of polygons that is read by small windows.
#pragma once

#include "base/shapes.hpp"
#include "gis/box_index.hpp"
#include "gis/crs.hpp"

#include <cstddef>
#include <cstdint>
#include <string>
#include <vector>

namespace catchfield::gis {

/// Shapes in a temporary file without a name, so that memory does not grow with them. Filled by one
/// thread; after finish() any number of threads may read.
class ShapeFile {
  public:
    /// In the folder for temporary files (TMPDIR, else /tmp). Throws Error(output).
    ShapeFile();
    ~ShapeFile();
    ShapeFile(ShapeFile&& other) noexcept;
    ShapeFile& operator=(ShapeFile&& other) noexcept;

    /// Keeps a shape; its number is the size before. Throws Error(output) with the system's reason
    /// (disk full, ...).
    void add(const MultiPolygon& shape);
    /// No more shapes come. Throws as add does.
    void finish();
    /// Shape number `position`, point by point as it was added. Throws Error(input) where it cannot
    /// be read back.
    MultiPolygon shape(std::size_t position) const;
    std::size_t size() const { return m_ends.size(); }

  private:
    void flush();

    int m_descriptor = -1;
    std::string m_folder;
    std::string m_pending;              // not yet in the file
    std::uint64_t m_written = 0;        // bytes in the file
    std::vector<std::uint64_t> m_ends;  // where each shape ends in the file
};

/// Polygons with an index over their boxes: boxes in memory, shapes in a ShapeFile. Immutable once
/// built; queries may run from any number of threads.
class PolygonMap {
  public:
    /// crs: of the shapes. boxes: of each shape; one without points (min > max) is never found.
    /// Throws as ShapeFile::finish does.
    PolygonMap(ShapeFile shapes, const std::vector<Box>& boxes, Crs crs);
    std::size_t size() const { return m_shapes.size(); }
    const Crs& crs() const { return m_crs; }
    /// Positions of the polygons whose box meets `box`, ascending, with their shapes moved into the
    /// box's CRS.
    struct Hit {
        std::size_t position;
        MultiPolygon shape;
    };
    std::vector<Hit> query(const Box& box, const Crs& box_crs) const;

  private:
    ShapeFile m_shapes;
    Crs m_crs;
    BoxIndex m_index;
};

}  // namespace catchfield::gis
