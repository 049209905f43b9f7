// SPDX-License-Identifier: MIT
// Rate maps: one rate for every cell of the field, and what a machine makes of them.
#pragma once

#include "base/raster.hpp"
#include "prescription/products.hpp"
#include "prescription/rate_rule.hpp"

#include <cstdint>
#include <span>
#include <string>
#include <vector>

namespace catchfield::prescription {

/// A rate for every cell inside, in any one unit; 0 is a rate (nothing applied), outside has mask 0
/// and value 0.
struct RateSurface {
    Raster<float> rates;
    Mask inside;
};

/// Cells of zone z (1..n) get rates[z - 1]; label 0 is outside. Throws Error(internal) for a label
/// above the number of rates or negative.
RateSurface rate_surface(const Raster<std::int16_t>& zones, std::span<const double> rates);

/// Sets the rate to 0 where no_apply is 1 (wells, water, setbacks). Same frame, else
/// Error(internal). Returns the area cut, ha. Throws Error(data) where no cell with a rate above 0
/// is left.
double cut_no_apply(RateSurface& surface, const Mask& no_apply);

/// Gives every lone cell (no neighbour of its rate among its 8 inside neighbours) the commonest
/// rate around it, ties to the lower rate; repeated until none is left, at most 10 times. Cells in
/// `keep` (may be empty) are left alone, as are zeros. Returns the number of cells changed. Result
/// does not depend on the order of cells.
int smooth_islands(RateSurface& surface, const Mask& keep = {});

/// Totals of a surface.
struct SurfaceTotals {
    double area_ha = 0.0;                ///< inside
    double applied_area_ha = 0.0;        ///< inside and above 0
    double total = 0.0;                  ///< in total_unit_name(unit)
    double lowest = 0.0, highest = 0.0;  ///< of rates inside, zeros included
    double mean = 0.0;                   ///< over the area inside
    int distinct_rates = 0;              ///< zero counted where it occurs
};
SurfaceTotals surface_totals(const RateSurface& surface, RateUnit unit);

/// Whether a machine can follow the map along rows and columns.
struct TransitionCheck {
    double distance_m = 0.0;      ///< ground covered during a change
    double largest_change = 0.0;  ///< between cells side by side
    double short_area_ha = 0.0;   ///< in runs, along the better of the two directions, shorter than
                                  ///< the distance or the width
    double changes_per_km = 0.0;  ///< along the better direction
    std::vector<std::string> warnings;
};
TransitionCheck check_transitions(const RateSurface& surface, const Machine& machine);

}  // namespace catchfield::prescription
