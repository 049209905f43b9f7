// SPDX-License-Identifier: MIT
// The fields of a job.
#pragma once

#include "base/shapes.hpp"
#include "gis/polygon_map.hpp"

#include <cstddef>
#include <string>
#include <vector>

namespace catchfield::plan {

struct FieldBoundary {
    std::string id;
    std::string stem;  ///< of its files
    long long fid = 0;
    MultiPolygon shape;  ///< in Inputs::boundary_crs
};

/// Fields in the order of the boundary layer. Names are in memory, shapes in a temporary file, so
/// fields are given by value. Once finished, any number of threads may read.
class FieldList {
  public:
    /// Throws as gis::ShapeFile does, as add and finish do.
    FieldList() = default;
    void add(long long fid, const MultiPolygon& shape);
    /// No more fields come. One id and one stem a field.
    void finish(const std::vector<std::string>& ids, const std::vector<std::string>& stems);

    /// 0 before finish().
    std::size_t size() const { return m_names.size(); }
    bool empty() const { return m_names.empty(); }
    /// Throws Error(input) where its shape cannot be read back.
    FieldBoundary operator[](std::size_t position) const;
    FieldBoundary front() const { return (*this)[0]; }

    struct Iterator {
        const FieldList* list;
        std::size_t position;
        FieldBoundary operator*() const { return (*list)[position]; }
        Iterator& operator++() {
            ++position;
            return *this;
        }
        bool operator==(const Iterator& other) const { return position == other.position; }
    };
    Iterator begin() const { return {this, 0}; }
    Iterator end() const { return {this, size()}; }

  private:
    /// Where they end in m_text, in which all stand one after the other: a district has many
    /// fields, with short names.
    struct Names {
        std::size_t id_end = 0, stem_end = 0;
    };
    std::string m_text;
    std::vector<Names> m_names;
    std::vector<long long> m_fids;
    gis::ShapeFile m_shapes;
};

}  // namespace catchfield::plan
