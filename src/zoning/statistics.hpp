// SPDX-License-Identifier: MIT
// Zone statistics in which every cell counts by the share of it that lies in the zone.
#pragma once

#include "base/raster.hpp"
#include "zoning/cleanup.hpp"

#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <vector>

namespace catchfield::zoning {

/// The part of a cell that lies in a zone.
struct CellShare {
    std::uint32_t cell = 0;  ///< frame index
    double share = 1.0;      ///< of the cell's area, 0-1
};

/// Weighted by share; all in the unit of the layer.
struct ZoneStatistics {
    double mean = 0.0;
    double sd = 0.0;  ///< sqrt(sum w (x - mean)^2 / sum w)
    double min = 0.0;
    double max = 0.0;
    std::vector<double> quantiles;  ///< in the order asked for
    double weight_cells = 0.0;      ///< sum of shares with a value, in cells
    double missing_share = 0.0;     ///< of the zone's area, 0-1
};

/// Statistics of one zone; nothing where no cell of it has a value. Quantile q is the smallest
/// value at which the cumulated share reaches q of the total (inverse of the weighted distribution
/// function). Throws Error(usage) for q outside 0-1, Error(data) for a share that is negative or
/// not finite, or a cell outside the grid.
std::optional<ZoneStatistics> zone_statistics(std::span<const CellShare> shares,
                                              const Raster<float>& values, const Mask& valid,
                                              std::span<const double> quantiles = {});

struct CategoryMajority {
    int category = 0;
    double share = 0.0;          ///< of the zone's area with a category
    double missing_share = 0.0;  ///< of the zone's area
};

/// The category with the largest area (ties: the lower code); nothing where no cell has one.
std::optional<CategoryMajority> category_majority(std::span<const CellShare> shares,
                                                  const Raster<std::int32_t>& categories,
                                                  const Mask& valid);

/// Whole cells of each zone; element 0 is zone 1. For callers without polygons.
std::vector<std::vector<CellShare>> shares_from_labels(const Labels& labels);

}  // namespace catchfield::zoning
