// SPDX-License-Identifier: MIT
// Fuzzy c-means with three distance norms, safe for exponents near 1.
#pragma once

#include "zoning/samples.hpp"

#include <cstddef>
#include <cstdint>
#include <span>
#include <vector>

namespace catchfield::zoning {

/// d^2 = (x - v)' A (x - v). Euclidean: A = I. Diagonal: inverse variances. Mahalanobis: inverse
/// covariance of all points, which can destroy the structure looked for when clusters are
/// elongated together. Fridgen et al. 2004, Agron. J. 96:100-108 [memory: high].
enum class Norm { euclidean, diagonal, mahalanobis };

struct FuzzyOptions {
    int count = 2;
    double exponent = 1.3;  ///< m > 1; near 1 the partition is crisp
    Norm norm = Norm::euclidean;
    int starts = 5;
    std::uint64_t seed = 1;
    int max_iterations = 300;
    double tolerance = 1e-6;  ///< largest change of a membership between iterations
};

struct FuzzyResult {
    std::vector<double> memberships;   ///< row-major, points x count, rows sum to 1
    std::vector<double> centres;       ///< row-major, count x dims, in the units of the samples
    std::vector<std::uint8_t> labels;  ///< largest membership (ties: the lower number)
    double objective = 0.0;            ///< J = sum u^m d^2
    int iterations = 0;
    bool converged = false;
};

/// Fuzzy c-means (Bezdek 1981 [memory: high]):
///   u_ik = 1 / sum_j (d_ik / d_jk)^(2/(m-1)),  v_i = sum_k u_ik^m x_k / sum_k u_ik^m.
/// Started from k-means++ seeds; the start with the smallest J is kept; clusters are numbered
/// by their centres. Throws Error(usage) for an exponent not above 1, Error(data) for too few
/// distinct points, or a covariance that cannot be inverted.
FuzzyResult fuzzy_c_means(const Samples& samples, const FuzzyOptions& options);

/// Memberships from one point's squared distances, written to `out` (same length). Distances are
/// divided by the smallest before the power is taken, so nothing over- or underflows; a point on
/// one or more centres is shared among those.
void memberships_from_distances(std::span<const double> squared_distances, double exponent,
                                std::span<double> out);

/// Memberships of every point for given centres (row-major, count x dims), Euclidean; points x
/// count.
std::vector<double> memberships_for_centres(const Samples& samples, std::span<const double> centres,
                                            double exponent);

/// Points transformed so that Euclidean distance equals `norm` on the originals (diagonal: each
/// column over its sd; Mahalanobis: inverse of the Cholesky factor of the covariance).
Samples transform_for_norm(const Samples& samples, Norm norm);

}  // namespace catchfield::zoning
