// SPDX-License-Identifier: MIT
// Management zones from features in one call: prepare, cluster, choose how many, clean up, number.
#pragma once

#include "base/confidence.hpp"
#include "base/raster.hpp"
#include "zoning/cleanup.hpp"
#include "zoning/features.hpp"
#include "zoning/fuzzy.hpp"

#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <vector>

namespace catchfield::zoning {

enum class Method { kmeans, fuzzy };

/// A score per cell by which zones are numbered; more is more need.
struct Need {
    Raster<float> score;
    Mask valid;
};

/// Take default_options() or quick_options(); their doubtful values come from data/assumptions.csv.
struct ZoningOptions {
    Method method = Method::kmeans;
    std::optional<int> count{};  ///< nothing: by vote; 1 to 254
    int max_count = 5;           ///< the vote looks at 1 to this, at most 20
    std::uint64_t seed = 1;

    int starts = 20;
    int max_iterations = 100;          ///< Lloyd steps of a start (k-means)
    bool exchange = true;              ///< finish every start of k-means by moving single points
    std::size_t fit_sample = 20'000;   ///< cells that clusters are fitted on
    std::size_t index_sample = 5'000;  ///< cells that FPI and entropy are computed on
    std::size_t silhouette_sample = 1'000;
    int refine_iterations = 10;  ///< Lloyd steps over all cells after fitting on a sample

    Norm norm =
        Norm::euclidean;  ///< fuzzy only; features are z-scores, so this is "diagonal" on raw data
    double exponent = 1.3;  ///< memberships behind FPI and entropy, and of the fuzzy method
    std::optional<double> pca_share{};  ///< cluster on the components that hold this share

    PrepareOptions prepare{};
    CleanupOptions cleanup{};
    /// Zones that hold less of the features' variance than this are not worth drawing.
    double min_relative_variance = 0.2;
    /// One more zone must add this much relative variance to be worth it (one of the votes).
    double min_variance_gain = 0.1;
    std::optional<Need>
        need{};            ///< nothing: the feature with the largest weight (ties: first by name)
    bool parallel = true;  ///< oneTBB for large fields; results are the same without
};

ZoningOptions default_options();
/// For many small fields: fewer starts, fitted on a small sample and refined on all cells.
ZoningOptions quick_options();

/// Indices for one number of clusters, before clean-up.
struct CountIndices {
    int count = 0;
    double within_ss = 0.0;          ///< on the fitted cells
    double relative_variance = 0.0;  ///< 1 - W/T
    double fpi = 0.0;
    double entropy_log = 0.0;      ///< H / ln c
    double entropy_degrees = 0.0;  ///< H / (1 - c/n)
    double calinski_harabasz = 0.0;
    double silhouette = 0.0;  ///< mean over a sample
    int votes = 0;            ///< of the five: FPI, H/ln c, CH, silhouette, variance gain
};

/// How much of a feature's variance the finished zones hold.
struct FeatureVariance {
    std::string name;
    double relative_variance = 0.0;  ///< RV = 1 - SS within / SS total of the raw values
    std::size_t cells = 0;           ///< cells with a value
};

struct ZoneInfo {
    int zone = 0;
    std::size_t cells = 0;
    std::size_t filled_cells = 0;  ///< cells that lacked a feature and took the nearest zone
    std::size_t patches = 0;       ///< separate parts
    double area_ha = 0.0;          ///< of its cells
    double mean_need = 0.0;
};

struct ZoningResult {
    Labels labels;  ///< 0 outside, 1..count on every cell of the field
    int count = 0;
    std::vector<CountIndices> curve;   ///< for every number tried, rising; empty for one zone asked
    std::string reason;                ///< why this number, in plain words
    std::vector<FeatureUse> features;  ///< caller's order
    std::vector<FeatureVariance> variance;  ///< every feature with values, caller's order
    double relative_variance = 0.0;         ///< of all used features together, finished zones
    std::vector<ZoneInfo> zones;            ///< zone 1 first: the greatest need
    std::vector<double> pca_shares;         ///< of variance, where components were used
    std::size_t dropped_cells = 0;          ///< cells that lacked a used feature
    Confidence confidence = Confidence::assumption;
    std::vector<std::string> warnings;
};

/// Makes zones.
///
/// features: on the frame of `field`; field: 1 inside. Every cell of the field gets a zone; cells
/// that lack a feature take the nearest zone and are counted. Features that are constant or
/// missing everywhere are left out with a warning; where none is left, the field is one zone
/// and the warning says why. `auto` takes the number with most votes (ties: fewer) whose finished
/// zones still hold min_relative_variance, else one zone. Counts above the number of distinct
/// cells are lowered with a warning. The result depends on neither the order of features, nor
/// threads, nor the units of a feature. Throws Error(data) as prepare_features does (except for no
/// usable feature), Error(usage) for options out of range.
ZoningResult make_zones(std::span<const Feature> features, const Mask& field,
                        const ZoningOptions& options);

/// Describes given zones (drawn by the user, or edited) with the figures make_zones reports:
/// relative variance per feature, cells, patches, mean need. labels: 0 outside, 1..n.
/// The number of every zone is kept. Throws Error(data) where the frames differ or a cell of the
/// field has no zone.
ZoningResult describe_zones(const Labels& labels, std::span<const Feature> features,
                            const Mask& field, const std::optional<Need>& need = {});

}  // namespace catchfield::zoning
