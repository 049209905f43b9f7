// SPDX-License-Identifier: MIT
// Layers that zones are made from: checked, completed cell by cell, log-transformed where skewed,
// standardised and weighted.
#pragma once

#include "base/raster.hpp"
#include "zoning/samples.hpp"

#include <cstddef>
#include <cstdint>
#include <span>
#include <string>
#include <vector>

namespace catchfield::zoning {

/// One layer. `values` and `valid` share the field's frame.
struct Feature {
    std::string name;      ///< distinct among the features of a call
    Raster<float> values;  ///< any unit: features are standardised
    Mask valid;            ///< 1 where `values` holds a value
    /// > 0: factor on this feature's squared distance. 0: not used to make zones, but they are
    /// judged by it (relative variance on something that did not make them).
    double weight = 1.0;
    /// Zero means "none" (EC, nitrate, yield), so a logarithm has a meaning. Leave false for
    /// elevation, aspect and whatever has an arbitrary zero: they are never logged.
    bool ratio_scale = false;
};

/// What became of a feature.
struct FeatureUse {
    std::string name;
    double weight = 1.0;
    bool used = false;
    std::string excluded_because;   ///< empty where used
    std::size_t missing_cells = 0;  ///< cells of the field without a value
    bool logged = false;            ///< natural logarithm taken before standardising
    double skewness = 0.0;          ///< moment skewness g1 of the raw values
    double mean = 0.0;              ///< of the (logged) values over the complete cells
    double sd = 0.0;                ///< same, with n - 1
};

struct PrepareOptions {
    /// Ratio-scale features with all values > 0 and a skewness above this are logged, if that
    /// lowers the absolute skewness.
    double log_skewness = 1.0;
};

/// Standardised features of the cells that have them all.
struct PreparedFeatures {
    std::vector<std::uint32_t> cells;  ///< frame indices, ascending, one per sample
    /// z = (x - mean) / sd, sd with n - 1, times sqrt(weight); columns in order of feature name,
    /// so the caller's order does not matter.
    Samples samples;
    std::vector<std::size_t> columns;  ///< feature (caller's index) behind each column
    std::vector<FeatureUse> features;  ///< in the caller's order
    std::size_t field_cells = 0;       ///< cells of the field mask
    std::size_t dropped_cells = 0;     ///< of those, cells that lack a used feature
    std::vector<std::string> warnings;
};

/// Checks and standardises features over the cells of `field`.
///
/// Excluded with a named reason: weight 0; and with a warning too: a feature without any value
/// in the field, a constant feature. Cells that lack any used feature are dropped and counted,
/// never filled. Values are taken relative to the smallest one before summing, so a constant shift
/// of a feature leaves the result as it is. Throws Error(data) for frames that differ, doubled
/// names, negative or non-finite weights, non-finite values in valid cells, an empty field, and
/// where no feature or no complete cell is left.
PreparedFeatures prepare_features(std::span<const Feature> features, const Mask& field,
                                  const PrepareOptions& options = {});

}  // namespace catchfield::zoning
