// SPDX-License-Identifier: MIT
// A field on its work grid: boundary, terrain and soil of every cell.
#pragma once

#include "base/raster.hpp"
#include "base/shapes.hpp"
#include "geometry/cells.hpp"
#include "gis/crs.hpp"
#include "plan/inputs.hpp"
#include "terrain/terrain.hpp"

#include <functional>
#include <optional>
#include <string>
#include <vector>

namespace catchfield::plan {

struct Ground {
    gis::Crs crs;
    MultiPolygon boundary;
    double area_ha = 0.0;
    GridFrame frame;
    Mask field;
    terrain::TerrainResult terrain;
    Raster<int> soil;               ///< index into Soils::facts, -1 where none
    Raster<float> soil_distance_m;  ///< 0 under a polygon; empty where the map leaves nothing out
    bool whole_terrain = true;      ///< every cell of the field has a slope
    std::vector<std::string> warnings;

    /// The cell's soil is that of the nearest polygon, not of one over it.
    bool is_filled(std::size_t cell) const {
        return soil_distance_m.size() > 0 && soil_distance_m[cell] > 0.0F;
    }
    /// The facts of a cell's soil, or null.
    const SoilFacts* soil_at(std::size_t cell, const Soils& soils) const {
        const int index = soil[cell];
        return index < 0 ? nullptr : &soils.facts[static_cast<std::size_t>(index)];
    }
};

/// Puts a field on its grid. Throws Error for an unusable boundary, a boundary that no raster cell
/// or no soil polygon meets, coordinates that make no sense.
Ground make_ground(const Inputs& inputs, const FieldBoundary& field);

/// The same field on cells `step` times as large: means of terrain over the cells that have it, the
/// soil at the middle. For zones of very large fields; without channels and soil distances.
Ground coarser(const Ground& ground, int step);

/// One value per cell from the soil under it.
using SoilValue = std::function<std::optional<double>(const SoilFacts&)>;

/// A layer of soil values; cells without soil or value are masked out.
void soil_layer(const Ground& ground, const Soils& soils, const SoilValue& value,
                Raster<float>& values, Mask& valid);

}  // namespace catchfield::plan
