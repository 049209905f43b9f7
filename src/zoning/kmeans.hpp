// SPDX-License-Identifier: MIT
// k-means: careful seeding, Lloyd iterations, single-point exchange to a better optimum.
#pragma once

#include "zoning/samples.hpp"

#include <cstddef>
#include <cstdint>
#include <span>
#include <vector>

namespace catchfield::zoning {

struct KMeansOptions {
    int count = 2;    ///< clusters, 1 to 254
    int starts = 20;  ///< the start with the smallest W is kept
    std::uint64_t seed = 1;
    int max_iterations = 100;
    /// After Lloyd, move single points while that lowers W (Hartigan's exchange test; Hartigan &
    /// Wong 1979, Appl. Stat. 28:100-108 [memory: high]).
    bool exchange = true;
    bool parallel = true;  ///< oneTBB over starts where there is enough work; same result without
};

struct KMeansResult {
    std::vector<std::uint8_t> labels;  ///< 0 to count - 1, one per point
    std::vector<double> centres;       ///< row-major, count x dims
    std::vector<std::size_t> sizes;
    double within_ss = 0.0;  ///< W = sum of squared distances to the own centre
};

/// Minimises W = sum |x - v|^2. Seeding by k-means++ (Arthur & Vassilvitskii 2007, SODA
/// [memory: high]): the first centre uniform, each next with probability D^2 / sum D^2. Clusters
/// are numbered by their centres (lexicographic), so equal partitions have equal labels. Points are
/// visited in canonical_order: the result does not depend on how they are listed, nor on the number
/// of threads. Throws Error(data) where the points have fewer distinct values than clusters, and
/// Error(usage) for a count or number of starts out of range.
KMeansResult kmeans(const Samples& samples, const KMeansOptions& options);

/// The same for points that are in canonical order already (kmeans sorts first); whether they are
/// distinct enough is not checked.
KMeansResult kmeans_in_order(const Samples& ordered, const KMeansOptions& options);

/// Label of the nearest centre (ties: the lower number) for every point; centres row-major.
std::vector<std::uint8_t> assign_nearest(const Samples& samples, std::span<const double> centres);

/// W for given labels and the mean of each cluster as its centre.
double within_sum_of_squares(const Samples& samples, std::span<const std::uint8_t> labels,
                             int count);

/// Lloyd steps over all points from given centres, at most `iterations`, ended by assigning every
/// point to its nearest centre; centres of clusters that run empty stay where they are. Fixed
/// chunks and ordered sums: the same on any number of threads.
KMeansResult refine_centres(const Samples& samples, std::vector<double> centres, int count,
                            int iterations, bool parallel);

/// k-means++ seeding alone: `count` rows of `samples`.
std::vector<std::size_t> plus_plus_seeds(const Samples& samples, int count, std::uint64_t seed);

}  // namespace catchfield::zoning
