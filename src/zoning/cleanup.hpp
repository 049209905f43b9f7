// SPDX-License-Identifier: MIT
// From cluster labels to zones a machine can drive: smoothing, small patches, narrow necks,
// numbers.
#pragma once

#include "base/raster.hpp"

#include <cstddef>
#include <cstdint>
#include <span>
#include <vector>

namespace catchfield::zoning {

/// Zone numbers: 0 outside the field, 1 to n inside.
using Labels = Raster<std::int16_t>;

/// One pass of a 3x3 majority filter. Windows are clipped at the grid's edge and at cells labelled
/// 0, which never change and never count. A tie keeps the centre class where it is among the tied,
/// else the lowest number.
Labels majority_pass(const Labels& labels);

/// Cells per patch, for patches (4-connected cells of one label), with the patch of every cell.
struct Patches {
    std::vector<std::int32_t> patch;  ///< per cell, -1 outside
    std::vector<std::size_t> sizes;
    std::vector<std::int16_t> labels;
};
Patches find_patches(const Labels& labels);

/// Merges every patch with fewer than `min_cells` cells, smallest first, into the neighbouring
/// patch with the longest shared edge (ties: the larger patch, then the lower label). A part of the
/// field that is itself smaller has no neighbour: it takes the label of the nearest cell of
/// a part that is large enough, or, where no part is, the whole field becomes the most common
/// label.
Labels merge_small_patches(const Labels& labels, std::size_t min_cells);

/// Gives away cells that a square of `width_cells` x `width_cells` within their zone cannot cover
/// (morphological opening of every zone, ground outside the field counts as passable), to the
/// neighbouring zone they share most edges with. Cells with no other zone beside them stay.
/// width_cells < 2 changes nothing.
Labels remove_necks(const Labels& labels, int width_cells);

/// Gives cells of `field` that have label 0 the label of the nearest labelled cell by distance
/// between cell centres (ties: the lower label). Throws Error(data) where no cell has a label.
Labels fill_from_nearest(const Labels& labels, const Mask& field);

struct CleanupOptions {
    int majority_passes = 2;
    double min_area_ha = 0.4;
    double working_width_m = 0.0;  ///< necks narrower than this are removed; 0: none
};

/// Majority passes, then necks and small patches in turn (at most three times, until nothing
/// changes), small patches last, so the minimum area always holds.
Labels clean_up(const Labels& labels, const CleanupOptions& options);

/// Numbers 1 to n without gaps, in falling order of `mean_score[old label]` (ties: the older number
/// first); labels without a cell vanish. mean_score has an entry for every old label, [0] unused.
Labels number_by_score(const Labels& labels, std::span<const double> mean_score);

/// Edit: gives every zone in `zones` the smallest number among them, and closes the gaps in the
/// numbers. Throws Error(usage) for a number no cell has, or fewer than two zones.
Labels merge_zones(const Labels& labels, std::span<const int> zones);

/// Edit: zone i becomes new_numbers[i - 1]. Throws Error(usage) unless it is a permutation of 1..n.
Labels renumber_zones(const Labels& labels, std::span<const int> new_numbers);

/// Largest label.
int zone_count(const Labels& labels);

}  // namespace catchfield::zoning
