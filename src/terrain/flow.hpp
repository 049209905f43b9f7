// SPDX-License-Identifier: MIT
// Depressions and flow routing: the contributing area of every cell.
//
// The flow domain is a mask. Cells outside it (outside the grid, the mask, or without elevation)
// and barrier cells are outlets: water that gets there has left. Nothing enters over the edge.
#pragma once

#include "base/raster.hpp"

#include <cstdint>

namespace catchfield::terrain {

enum class Routing {
    /// Quinn, Beven, Chevallier & Planchon 1991 (Hydrol. Process. 5:59-79): shares to every lower
    /// neighbour in proportion to tan(slope) times contour length (1/2 nearest, 0.354 diagonal).
    /// On a plane its mean direction is exactly the steepest descent, at any orientation.
    multiple,
    /// Tarboton 1997 (Water Resour. Res. 33:309-319): steepest of eight triangular facets, split
    /// between the facet's two neighbours by angle.
    d_infinity,
};

/// Priority-flood of the DEM: the lowest surface at or above it from which every cell of the domain
/// can reach an outlet without climbing. Depressions become level at their spill elevation.
///
/// dem_m: elevations, m; domain: cells that hold water (must have finite elevations).
/// Returns the filled DEM; cells outside the domain keep their value. Method: Barnes, Lehman &
/// Mulla 2014 (Comput. Geosci. 62:117-127) in the order of Zhou, Sun & Fu 2016 (Comput. Geosci.
/// 90:87-96): slopes are settled with plain stacks, only spill points pass a priority queue.
/// Throws Error(data) for frames that differ or elevations that are not finite.
Raster<float> fill_depressions(const Raster<float>& dem_m, const Mask& domain);

struct FlowResult {
    Raster<float> filled_m;    ///< depression-free elevations, m
    Raster<double> inflow_m2;  ///< contributing area at the cell's inlet (own cell excluded), m2
    double domain_m2 = 0.0;    ///< area of the domain
    double outflow_m2 = 0.0;   ///< area that left over the edge or into barriers; equals domain_m2
};

/// Fills depressions and routes one unit of area from every cell of the domain downhill.
///
/// dem_m: elevations, m; domain: contributing cells; known: DEM cells with a value (null: all); the
/// elevations beyond the edge of the domain decide how much of an edge cell's flow leaves. Where
/// the elevation beyond the edge is not known the slope is continued straight (mirrored from the
/// opposite neighbour).
/// Rule for flats: a cell without a lower neighbour after filling drains wholly to the neighbour
/// that flooded it, which is one step nearer to the spill point; an edge cell drains over the edge.
/// So every cell drains, without artificial gradients.
/// Results do not depend on the number of threads. Throws as fill_depressions.
FlowResult route_flow(const Raster<float>& dem_m, const Mask& domain, const Mask* known,
                      Routing routing);

/// Width across the flow that one cell's contributing area passes, in cells, such that
/// area / (cell * width factor) is the slope length on a plane of any orientation: one over the
/// mean downslope step of the routing's shares.
///   multiple:   max(|sin|, |cos|) + min(|sin|, |cos|) / 2     (1 to 1.118)
///   d_infinity: 1 / (cos a + a / 45 deg * sin a), a the angle to the nearest axis (0.707 to 1)
double flow_width_factor(Routing routing, double aspect_sine, double aspect_cosine);

/// The aspect factor of Desmet & Govers 1996: |sin| + |cos|, 1 to 1.414: the cell's own extent
/// across the slope. With the routings above it makes L too small off the axes: by 13 % for
/// multiple flow at 45 degrees and 8 % slope; see docs/methods/terrain.md.
double desmet_govers_aspect_factor(double aspect_sine, double aspect_cosine);

/// Barrier cells thickened to be connected by edges, so that no flow slips between two cells that
/// touch at a corner only.
Mask close_corners(const Mask& barriers);

}  // namespace catchfield::terrain
