// SPDX-License-Identifier: MIT
// From labelled cells to polygons that share their edges exactly.
#pragma once

#include "base/raster.hpp"
#include "base/shapes.hpp"

#include <cstddef>
#include <string>
#include <vector>

namespace catchfield::geometry {

struct OutlineSettings {
    /// How far a shared edge may leave the middle line of its cell edges, in cells. 0: no
    /// simplification, zones follow the cell edges exactly. At most 1.
    double tolerance_cells = 0.75;
    /// Pieces smaller than this that the boundary cuts off a zone are given to the neighbour with
    /// the longest common edge, in cells (area). 0: keep them all.
    double min_piece_cells = 0.25;
};

struct ZoneOutline {
    int label = 0;
    MultiPolygon shape;  ///< valid; outer rings counter-clockwise, holes clockwise
    double area_m2 = 0.0;
    std::size_t vertices = 0;  ///< closing points not counted
};

struct ZoneOutlines {
    std::vector<ZoneOutline> zones;  ///< by rising label; only labels with some ground
    double covered_m2 = 0.0;         ///< sum of the zones' areas
    double boundary_m2 = 0.0;        ///< area of the boundary
    std::size_t pieces_moved = 0;    ///< small pieces given to a neighbour
    std::vector<std::string> warnings;
};

/// Outlines of labelled cells, cut to the exact boundary. Labels from 1 up; 0 and below mean "no
/// zone": ground of the boundary there (and off the grid) goes to the nearest labelled cell's zone.
///
/// Edges between zones are traced once on the lattice, as arcs between the corners where three or
/// more zones meet; an arc runs through the middles of its cell edges (so a staircase is replaced
/// by its mean line, without bias) and is thinned by Visvalingam & Whyatt 1993 (smallest triangle
/// first) as long as every skipped point stays within the tolerance and the triangle taken away
/// holds no other vertex. The second condition means that edges can neither cross nor jump over one
/// another. Arcs and boundary are then noded together and the faces between them handed out, so
/// that zones have the same vertices along a shared edge: no gap, no overlap. Farthest distance of
/// a shared edge from the cell edges: (tolerance_cells + 0.36) * cell.
///
/// The sum of areas equals the boundary's within 1e-6 of it and a micrometre along its edges (to
/// which vertices are snapped; more than the former only for needles), which is checked;
/// Error(internal) otherwise.
/// Error(data) where the boundary is not valid or encloses no ground, where no cell has a label, or
/// where grid and boundary do not meet.
ZoneOutlines zone_outlines(const Raster<int>& labels, const MultiPolygon& boundary,
                           const OutlineSettings& settings = {});

/// Cells of equal label dissolved into polygons along the cell edges, not cut to any boundary
/// (rate polygons of a prescription grid). Cells that meet only at a corner are separate parts.
/// Labels below 1 are left out. By rising label. Cost: linear in the cells.
std::vector<ZoneOutline> dissolve_cells(const Raster<int>& labels);

}  // namespace catchfield::geometry
