// SPDX-License-Identifier: MIT
// Slope, aspect and smoothing of a digital elevation model (DEM).
//
// All rasters are north-up with square cells in a projected CRS; elevations and cells in metres.
// A `known` mask says which DEM cells have a value; a null pointer means all of them.
#pragma once

#include "base/raster.hpp"

#include <optional>

namespace catchfield::terrain {

/// Rise per metre towards east and north (dimensionless).
struct Gradient {
    float east = 0.0F;
    float north = 0.0F;
};

/// Throws Error(data) where the two frames differ or a raster's array does not fit its frame.
void require_same_frame(const GridFrame& frame, const Mask& mask, const char* what);

/// Throws Error(data) where a known cell is not finite or not within -500 to 9,000 m, where the array does
/// not fit the frame, or the cell is not positive.
void require_elevations(const Raster<float>& dem_m, const Mask* known);

/// Gradient of one cell by Horn 1981 (Proc. IEEE 69:14-47): the 3 x 3 window with weights 1, 2, 1.
///
/// Horn's formula is the least-squares plane through the centre with weight 2 for the four nearest
/// and 1 for the four diagonal neighbours. Where neighbours are missing (outside the grid or not
/// known) that same plane is fitted to those that are left, so a plane keeps its exact slope up to
/// the edge. Neighbours on one line give the gradient along that line; no neighbour gives nothing.
std::optional<Gradient> horn_gradient(const Raster<float>& dem_m, const Mask* known, int row,
                                      int col);

/// 100 times the length of the gradient.
float slope_pct(const Gradient& gradient);

/// Direction the slope faces (downhill), radians clockwise from north in [0, 2 pi); none on level
/// ground.
std::optional<double> aspect_rad(const Gradient& gradient);

/// Slope and the zoning features of aspect, at the cells of `mask`; 0 elsewhere.
struct SlopeResult {
    Raster<float> slope_pct;
    Raster<float> aspect_sine;    ///< east-facing 1, west-facing -1; 0 on level ground
    Raster<float> aspect_cosine;  ///< north-facing 1, south-facing -1; 0 on level ground
    Mask mask;                    ///< wanted, known, and with at least one known neighbour
};

/// Horn slope and aspect for the cells of `wanted`.
/// Throws Error(data) for frames that differ or elevations that are not finite.
SlopeResult slope_and_aspect(const Raster<float>& dem_m, const Mask& wanted,
                             const Mask* known = nullptr);

/// Gaussian-weighted local plane fit, evaluated at each cell (local linear regression, Cleveland
/// 1979, J. Am. Stat. Assoc. 74:829). The standard deviation is half of `radius_m`, weights end at
/// `radius_m` (in rows and columns). With all cells known this is a Gaussian filter; where some are
/// missing the fitted plane keeps the slope unbiased up to the edge. Cells that are not known keep
/// their value. A radius below one cell changes nothing.
/// Throws Error(usage) for a negative, non-finite or larger than 100-cell radius.
Raster<float> smooth(const Raster<float>& dem_m, const Mask* known, double radius_m);

/// Elevation above the Gaussian mean of the surroundings within `radius_m`, m (positive on crests,
/// negative in hollows; the topographic position index of Weiss 2001 with Gaussian weights).
Raster<float> topographic_position_m(const Raster<float>& dem_m, const Mask* known,
                                     double radius_m);

/// Whether noise of the DEM has to be feared: a cell below 2 m, and a smoothing radius below 2 m.
/// Slopes of 1 to 2 m lidar models are biased upward on tilled ground.
bool needs_smoothing(double cell_m, double smoothing_radius_m);

}  // namespace catchfield::terrain
