// SPDX-License-Identifier: MIT
// Terrain of one field in one call: slope, LS, wetness, position, and what to be careful about.
#pragma once

#include "base/confidence.hpp"
#include "base/raster.hpp"
#include "terrain/flow.hpp"
#include "terrain/slope_length.hpp"

#include <optional>
#include <string>
#include <vector>

namespace catchfield::terrain {

/// Which width the contributing area is divided by (see flow.hpp).
enum class FlowWidth {
    routing,        ///< exact on planes of any orientation (default)
    desmet_govers,  ///< |sin| + |cos| as printed
};

struct TerrainOptions {
    Routing routing = Routing::multiple;
    FlowWidth flow_width = FlowWidth::routing;
    RillRatio rills = RillRatio::moderate;
    SteepnessFormula steepness = SteepnessFormula::mccool;
    double max_length_m = default_max_length_m;  ///< above 0, at most 305
    double smoothing_radius_m = 0.0;             ///< 0: none; see smooth() in slope.hpp
    bool aspect = false;                         ///< fill aspect_sine and aspect_cosine
};

/// Optional layers on the DEM's frame; null: none.
struct TerrainLayers {
    const Mask* known = nullptr;     ///< DEM cells with a value; null: all
    const Mask* upslope = nullptr;   ///< land whose water may run on (the field is always part);
                                     ///< null: the field's edge is a barrier
    const Mask* barriers = nullptr;  ///< terraces, ditches, roads, waterways: flow ends there and
                                     ///< starts anew below
};

struct TerrainResult {
    Mask mask;                         ///< field cells that have values; rasters are 0 elsewhere
    Raster<float> slope_pct;           ///< Horn, after smoothing
    Raster<float> ls;                  ///< per cell, capped by the greatest slope length
    Raster<float> wetness;             ///< topographic wetness index ln(a / tan), a in m
    Raster<float> relative_elevation;  ///< 0 lowest to 1 highest cell of the field
    Raster<float> aspect_sine;         ///< only with options.aspect, see slope.hpp
    Raster<float> aspect_cosine;       ///< only with options.aspect
    Mask channel;           ///< inflow beyond the cap: concentrated flow, not sheet and rill
    std::size_t cells = 0;  ///< cells of `mask`
    double mean_slope_pct = 0.0;
    double mean_ls = 0.0;           ///< mean of the cells' LS (not LS of the mean slope)
    double channel_share = 0.0;     ///< of the cells
    std::size_t steep_cells = 0;    ///< above 20 %
    std::size_t clamped_cells = 0;  ///< above 50 %: S taken at 50 %
    std::size_t missing_cells = 0;  ///< field cells without elevation or slope
    double domain_m2 = 0.0;         ///< contributing area, and what of it left: equal
    double outflow_m2 = 0.0;
    Confidence confidence = Confidence::recalled;
    std::vector<std::string> warnings;
};

/// Slope, LS, wetness index and relative elevation of a field from a DEM.
///
/// dem_m: elevations in m, best with a margin around the field; field: wanted cells, same frame.
/// Working memory is below 16 bytes a cell beyond `dem_m` and the result. Results do not depend on
/// the number of threads.
/// Wetness: a = (inflow + cell area) / (cell * width factor), tan at least 0.001 (Beven & Kirkby
/// 1979, Hydrol. Sci. Bull. 24:43-69).
/// Throws Error(usage) for a max_length_m outside (0, 305] or a bad smoothing radius, Error(data)
/// for frames that differ, an empty field, no field cell with elevation, elevations that are not
/// finite.
TerrainResult analyse(const Raster<float>& dem_m, const Mask& field,
                      const TerrainOptions& options = {}, const TerrainLayers& layers = {});

/// How long slopes are where no DEM says so.
struct SlopeOnlyOptions {
    std::optional<double> length_m{};  ///< none: the default length of each cell's slope
    RillRatio rills = RillRatio::moderate;
    SteepnessFormula steepness = SteepnessFormula::mccool;
};

/// Slope and closed-form LS from a slope raster (already in percent). Wetness and relative
/// elevation stay empty (no frame). confidence is `unchecked` with default lengths. slope_known:
/// slope cells with a value; null: all. Throws Error(data) for a negative or non-finite slope in a
/// known field cell, frames that differ, an empty field; Error(usage) for a length outside (0,
/// 305].
TerrainResult analyse_slope(const Raster<float>& slope_pct, const Mask& field,
                            const SlopeOnlyOptions& options = {},
                            const Mask* slope_known = nullptr);

}  // namespace catchfield::terrain
