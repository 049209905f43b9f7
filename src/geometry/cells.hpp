// SPDX-License-Identifier: MIT
// From shapes to grid cells: exact shares, masks, which polygon holds a cell, barriers.
#pragma once

#include "base/raster.hpp"
#include "base/shapes.hpp"

#include <cstddef>
#include <span>
#include <vector>

namespace catchfield::geometry {

/// Exact share (0 to 1) of every cell that lies inside the shape. Method: every edge adds its
/// signed height to the cells it crosses and to all cells east of them, a running sum along the row
/// turns that into areas (Green's theorem, cell by cell). Cost: cells crossed by the outline plus
/// cells of its box. Exact to rounding (below 1e-9 of a cell, then stored as float: 6e-8).
/// The shape must be valid (see require_valid); parts outside the frame count for nothing.
/// Throws Error(data) where a coordinate is not finite.
Raster<float> cell_shares(const MultiPolygon& shape, const GridFrame& frame);

struct CellShare {
    std::size_t cell = 0;  ///< GridFrame::index
    double share = 0.0;    ///< > 0, at most 1
};
/// The same, only the cells that hold some of the shape, by rising index. The memory is that of the
/// shape's box, whatever the size of the frame.
std::vector<CellShare> covered_cells(const MultiPolygon& shape, const GridFrame& frame);

/// Cells side by side that hold the same share: a shape's inside is a few runs a row.
struct CellRun {
    std::size_t first = 0;  ///< GridFrame::index
    std::size_t count = 0;
    double share = 0.0;  ///< of each
};
/// covered_cells, packed; for_cells gives them back in the same order.
std::vector<CellRun> covered_runs(const MultiPolygon& shape, const GridFrame& frame);
template <typename Visit>
void for_cells(const std::vector<CellRun>& runs, Visit visit) {
    for (const CellRun& run : runs) {
        for (std::size_t i = 0; i < run.count; ++i) visit(run.first + i, run.share);
    }
}

enum class CellRule {
    centre,  ///< the cell's centre is inside: cells of neighbouring shapes never overlap
    half,    ///< at least half of the cell is inside
};

/// The cells of a field. Where no cell passes the rule (a field smaller than a cell, a narrow
/// strip), the cells with the largest share count instead, so that a shape that touches the frame
/// never loses all its cells. All zero only where the shape lies off the frame.
Mask field_mask(const MultiPolygon& shape, const GridFrame& frame,
                CellRule rule = CellRule::centre);

/// Cells whose centre is inside, by counting crossings along each row; a centre on an edge belongs
/// to the shape on its east (or, on a level edge, south) side, so it is never in two neighbours.
Mask centre_mask(const MultiPolygon& shape, const GridFrame& frame);

/// Which of several polygons (soil map units, drawn zones) each cell belongs to.
struct CellOwners {
    Raster<int> owner;               ///< index into the shapes; -1: none
    Raster<float> distance_m;        ///< from the cell's centre to its owner; 0 where it is covered
    std::size_t covered = 0;         ///< cells with an owner that covers them
    std::size_t filled = 0;          ///< cells taken over from a polygon nearby
    std::size_t without = 0;         ///< cells in `wanted` left without an owner
    std::size_t doubly_covered = 0;  ///< cells claimed by more than one (the first listed has them)
};
enum class OwnerRule {
    centre,         ///< the polygon that holds the cell's centre
    largest_share,  ///< the polygon with the largest part of the cell; ties to the first listed
};
/// Cells outside `wanted` (where given) have no owner and are not counted. A cell that no polygon
/// covers goes to the polygon nearest to its centre, where that is within `fill_distance_m`
/// (0: none is filled), ties to the first listed. Throws Error(data) for coordinates or a fill
/// distance that are not finite, Error(internal) where the mask has another frame.
CellOwners assign_cells(std::span<const MultiPolygon> shapes, const GridFrame& frame,
                        OwnerRule rule = OwnerRule::centre, double fill_distance_m = 0.0,
                        const Mask* wanted = nullptr);

/// Barrier cells (1) of lines: every cell a line passes through, corner cells included, so that the
/// cells hang together by their sides and flow to any of eight neighbours cannot slip through.
/// Lines may run out of the frame and back. Lines of one point mark its cell.
Mask barrier_cells(std::span<const Line> lines, const GridFrame& frame);
/// Barrier cells of areas: their outline as above, and everything inside.
Mask barrier_cells(const MultiPolygon& areas, const GridFrame& frame);

}  // namespace catchfield::geometry
