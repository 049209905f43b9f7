// SPDX-License-Identifier: MIT
// Principal components by the cyclic Jacobi method, with fixed signs.
#include "zoning/pca.hpp"

#include "base/error.hpp"

#include <algorithm>
#include <cmath>
#include <numeric>

namespace catchfield::zoning {

namespace {

// One Jacobi rotation that makes a(p, q) zero; v collects the rotations (its columns become the
// eigenvectors).
void rotate(std::vector<double>& a, std::vector<double>& v, std::size_t n, std::size_t p,
            std::size_t q) {
    const double apq = a[p * n + q];
    const double theta = (a[q * n + q] - a[p * n + p]) / (2.0 * apq);
    const double t = (theta >= 0.0 ? 1.0 : -1.0) / (std::abs(theta) + std::hypot(theta, 1.0));
    const double c = 1.0 / std::hypot(t, 1.0);
    const double s = t * c;
    for (std::size_t i = 0; i < n; ++i) {
        const double aip = a[i * n + p];
        const double aiq = a[i * n + q];
        a[i * n + p] = c * aip - s * aiq;
        a[i * n + q] = s * aip + c * aiq;
    }
    for (std::size_t i = 0; i < n; ++i) {
        const double api = a[p * n + i];
        const double aqi = a[q * n + i];
        a[p * n + i] = c * api - s * aqi;
        a[q * n + i] = s * api + c * aqi;
    }
    for (std::size_t i = 0; i < n; ++i) {
        const double vip = v[i * n + p];
        const double viq = v[i * n + q];
        v[i * n + p] = c * vip - s * viq;
        v[i * n + q] = s * vip + c * viq;
    }
}

}  // namespace

Eigen symmetric_eigen(std::vector<double> a, std::size_t n) {
    if (n == 0 || a.size() != n * n) {
        throw Error(ErrorKind::internal, "an eigen decomposition needs a square matrix");
    }
    std::vector<double> v(n * n, 0.0);
    for (std::size_t i = 0; i < n; ++i) v[i * n + i] = 1.0;
    double norm = 0.0;
    for (const double x : a) norm += x * x;
    // Converges quadratically; six to ten sweeps are usual.
    for (int sweep = 0; sweep < 60; ++sweep) {
        double off = 0.0;
        for (std::size_t p = 0; p < n; ++p) {
            for (std::size_t q = p + 1; q < n; ++q) off += a[p * n + q] * a[p * n + q];
        }
        if (off <= 1e-30 * norm) break;
        for (std::size_t p = 0; p < n; ++p) {
            for (std::size_t q = p + 1; q < n; ++q) {
                if (a[p * n + q] != 0.0) rotate(a, v, n, p, q);
            }
        }
    }
    std::vector<std::size_t> order(n);
    std::iota(order.begin(), order.end(), std::size_t{0});
    std::stable_sort(order.begin(), order.end(),
                     [&](std::size_t i, std::size_t j) { return a[i * n + i] > a[j * n + j]; });
    Eigen eigen;
    for (const std::size_t k : order) {
        eigen.values.push_back(a[k * n + k]);
        std::vector<double> vector(n);
        std::size_t largest = 0;
        for (std::size_t i = 0; i < n; ++i) {
            vector[i] = v[i * n + k];
            // A margin keeps the choice stable where two loadings are equal but for rounding.
            if (std::abs(vector[i]) > std::abs(vector[largest]) * (1.0 + 1e-9)) largest = i;
        }
        if (vector[largest] < 0.0) {
            for (double& x : vector) x = -x;
        }
        eigen.vectors.push_back(std::move(vector));
    }
    return eigen;
}

std::vector<double> covariance(const Samples& samples) {
    const std::size_t n = samples.count;
    const std::size_t p = samples.dims;
    std::vector<double> mean(p, 0.0);
    for (std::size_t d = 0; d < p; ++d) {
        const double* x = samples.column(d);
        for (std::size_t i = 0; i < n; ++i) mean[d] += x[i];
        mean[d] /= static_cast<double>(n);
    }
    std::vector<double> matrix(p * p, 0.0);
    for (std::size_t d = 0; d < p; ++d) {
        for (std::size_t e = d; e < p; ++e) {
            const double* x = samples.column(d);
            const double* y = samples.column(e);
            double sum = 0.0;
            for (std::size_t i = 0; i < n; ++i) sum += (x[i] - mean[d]) * (y[i] - mean[e]);
            matrix[d * p + e] = matrix[e * p + d] = sum / static_cast<double>(n - 1);
        }
    }
    return matrix;
}

PrincipalComponents principal_components(const Samples& samples, double keep_share) {
    if (samples.count < 2 || samples.dims == 0) {
        throw Error(ErrorKind::data, "principal components need two points or more");
    }
    if (!(keep_share > 0.0 && keep_share <= 1.0)) {
        throw Error(ErrorKind::usage,
                    "the share of variance to keep must be above 0 and at most 1");
    }
    const std::size_t n = samples.count;
    const std::size_t p = samples.dims;
    Eigen eigen = symmetric_eigen(covariance(samples), p);
    double total = 0.0;
    for (double& value : eigen.values) {
        value = std::max(value, 0.0);
        total += value;
    }
    if (!(total > 0.0)) {
        throw Error(ErrorKind::data, "principal components need features that vary");
    }
    PrincipalComponents pc;
    pc.eigenvalues = eigen.values;
    pc.loadings = std::move(eigen.vectors);
    double sum = 0.0;
    for (const double value : pc.eigenvalues) {
        pc.shares.push_back(value / total);
        if (sum < keep_share * (1.0 - 1e-12)) ++pc.kept;
        sum += value / total;
    }
    pc.scores = Samples(n, pc.kept);
    for (std::size_t d = 0; d < p; ++d) {
        const double* x = samples.column(d);
        double mean = 0.0;
        for (std::size_t i = 0; i < n; ++i) mean += x[i];
        mean /= static_cast<double>(n);
        for (std::size_t k = 0; k < pc.kept; ++k) {
            const double loading = pc.loadings[k][d];
            double* score = pc.scores.column(k);
            for (std::size_t i = 0; i < n; ++i) score[i] += loading * (x[i] - mean);
        }
    }
    return pc;
}

}  // namespace catchfield::zoning
