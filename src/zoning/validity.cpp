// SPDX-License-Identifier: MIT
// Indices that judge how many clusters there are.
#include "zoning/validity.hpp"

#include "base/vector_clones.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <vector>

namespace catchfield::zoning {

double fuzziness_performance(std::span<const double> memberships, int count) {
    const double c = count;
    const double n = static_cast<double>(memberships.size()) / c;
    double sum = 0.0;
    for (const double u : memberships) sum += u * u;
    return c / (c - 1.0) * (1.0 - sum / n);
}

double partition_entropy(std::span<const double> memberships, int count) {
    const double n = static_cast<double>(memberships.size()) / count;
    double sum = 0.0;
    for (const double u : memberships) {
        if (u > 0.0) sum -= u * std::log(u);
    }
    return sum / n;
}

double entropy_over_log_count(std::span<const double> memberships, int count) {
    return partition_entropy(memberships, count) / std::log(static_cast<double>(count));
}

double entropy_over_degrees(std::span<const double> memberships, int count) {
    const double n = static_cast<double>(memberships.size()) / count;
    return partition_entropy(memberships, count) / (1.0 - count / n);
}

double calinski_harabasz(double total_ss, double within_ss, std::size_t n, int count) {
    if (!(within_ss > 0.0)) return std::numeric_limits<double>::max();
    const double k = count;
    return (total_ss - within_ss) / (k - 1.0) / (within_ss / (static_cast<double>(n) - k));
}

CATCHFIELD_VECTOR_CLONES
double mean_silhouette(const Samples& samples, std::span<const std::uint8_t> labels, int count) {
    const std::size_t n = samples.count;
    const auto clusters = static_cast<std::size_t>(count);
    // Points of one cluster beside each other: mean distances become sums over ranges.
    std::vector<std::size_t> begin(clusters + 1, 0);
    for (std::size_t i = 0; i < n; ++i) ++begin[labels[i] + std::size_t{1}];
    std::size_t occupied = 0;
    for (std::size_t k = 0; k < clusters; ++k) {
        occupied += begin[k + 1] > 0;
        begin[k + 1] += begin[k];
    }
    if (occupied < 2) return 0.0;
    std::vector<std::uint32_t> rows(n);
    std::vector<std::size_t> next(begin.begin(), begin.end() - 1);
    for (std::size_t i = 0; i < n; ++i) rows[next[labels[i]]++] = static_cast<std::uint32_t>(i);
    const Samples grouped = select(samples, rows);

    std::vector<double> distance(n);
    double total = 0.0;
    for (std::size_t own = 0; own < clusters; ++own) {
        const std::size_t size = begin[own + 1] - begin[own];
        if (size < 2) continue;  // a singleton counts 0
        for (std::size_t i = begin[own]; i < begin[own + 1]; ++i) {
            std::fill(distance.begin(), distance.end(), 0.0);
            for (std::size_t d = 0; d < grouped.dims; ++d) {
                const double* x = grouped.column(d);
                const double v = x[i];
                for (std::size_t j = 0; j < n; ++j) distance[j] += (x[j] - v) * (x[j] - v);
            }
            for (std::size_t j = 0; j < n; ++j) distance[j] = std::sqrt(distance[j]);
            double a = 0.0;
            double b = std::numeric_limits<double>::max();
            for (std::size_t k = 0; k < clusters; ++k) {
                if (begin[k] == begin[k + 1]) continue;
                double sum = 0.0;
                for (std::size_t j = begin[k]; j < begin[k + 1]; ++j) sum += distance[j];
                if (k == own) {
                    a = sum / static_cast<double>(size - 1);
                } else {
                    b = std::min(b, sum / static_cast<double>(begin[k + 1] - begin[k]));
                }
            }
            const double larger = std::max(a, b);
            if (larger > 0.0) total += (b - a) / larger;
        }
    }
    return total / static_cast<double>(n);
}

double relative_variance(double total_ss, double within_ss) {
    return total_ss > 0.0 ? 1.0 - within_ss / total_ss : 0.0;
}

double relative_variance(std::span<const double> values, std::span<const std::uint8_t> labels,
                         int count) {
    if (values.empty()) return 0.0;
    std::vector<double> mean(static_cast<std::size_t>(count), 0.0);
    std::vector<double> size(static_cast<std::size_t>(count), 0.0);
    double overall = 0.0;
    for (std::size_t i = 0; i < values.size(); ++i) {
        mean[labels[i]] += values[i];
        size[labels[i]] += 1.0;
        overall += values[i];
    }
    overall /= static_cast<double>(values.size());
    for (std::size_t k = 0; k < mean.size(); ++k) {
        if (size[k] > 0.0) mean[k] /= size[k];
    }
    double within = 0.0;
    double total = 0.0;
    for (std::size_t i = 0; i < values.size(); ++i) {
        within += (values[i] - mean[labels[i]]) * (values[i] - mean[labels[i]]);
        total += (values[i] - overall) * (values[i] - overall);
    }
    return relative_variance(total, within);
}

double pooled_relative_variance(double total_ss, double within_ss, std::size_t n, int count) {
    const double points = static_cast<double>(n);
    if (!(total_ss > 0.0) || points <= count) return 0.0;
    return 1.0 - (within_ss / (points - count)) / (total_ss / (points - 1.0));
}

}  // namespace catchfield::zoning
