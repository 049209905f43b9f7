// SPDX-License-Identifier: MIT
// Principal components by the cyclic Jacobi method, with fixed signs.
#pragma once

#include "zoning/samples.hpp"

#include <cstddef>
#include <vector>

namespace catchfield::zoning {

/// Eigenvalues in falling order; vectors[k] is the unit eigenvector of values[k].
struct Eigen {
    std::vector<double> values;
    std::vector<std::vector<double>> vectors;
};

/// Eigen decomposition of a symmetric matrix (row-major, n x n) by cyclic Jacobi rotations
/// (Golub & Van Loan, Matrix Computations, section 8.5 [memory: high]). The component with the
/// largest absolute value in every vector is made positive (the first of equals), because the sign
/// is arbitrary. Throws Error(internal) for a matrix of the wrong size.
Eigen symmetric_eigen(std::vector<double> matrix, std::size_t n);

/// Covariance matrix with n - 1, row-major dims x dims. Needs two points or more.
std::vector<double> covariance(const Samples& samples);

struct PrincipalComponents {
    std::vector<double> eigenvalues;            ///< all of them, falling
    std::vector<double> shares;                 ///< of the total variance, sum 1
    std::vector<std::vector<double>> loadings;  ///< loadings[k][d], unit length
    std::size_t kept = 0;
    Samples scores;  ///< count x kept
};

/// Components of the covariance of `samples` (of z-scores that is the correlation matrix); the
/// first ones that together hold at least `keep_share` (0-1] of the variance are kept.
/// Throws Error(data) where the samples hold no variance.
PrincipalComponents principal_components(const Samples& samples, double keep_share);

}  // namespace catchfield::zoning
