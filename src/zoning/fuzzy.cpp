// SPDX-License-Identifier: MIT
// Fuzzy c-means with three distance norms, safe for exponents near 1.
#include "zoning/fuzzy.hpp"

#include "base/error.hpp"
#include "base/random.hpp"
#include "zoning/kmeans.hpp"
#include "zoning/pca.hpp"

#include <algorithm>
#include <cmath>
#include <numeric>

namespace catchfield::zoning {

namespace {

// Lower triangular L with L L' = matrix (Cholesky). Throws where it is not positive definite.
std::vector<double> cholesky(const std::vector<double>& matrix, std::size_t p) {
    std::vector<double> lower(p * p, 0.0);
    for (std::size_t j = 0; j < p; ++j) {
        for (std::size_t i = j; i < p; ++i) {
            double sum = matrix[i * p + j];
            for (std::size_t k = 0; k < j; ++k) sum -= lower[i * p + k] * lower[j * p + k];
            if (i == j) {
                if (!(sum > 1e-12 * matrix[j * p + j])) {
                    throw Error(ErrorKind::data,
                                "the features are linearly dependent, so the Mahalanobis distance "
                                "does not exist",
                                {.hint = "Use the diagonal norm or leave one feature out."});
                }
                lower[j * p + j] = std::sqrt(sum);
            } else {
                lower[i * p + j] = sum / lower[j * p + j];
            }
        }
    }
    return lower;
}

std::vector<double> squared_distances(const Samples& samples, std::span<const double> centres,
                                      std::size_t count) {
    std::vector<double> out(samples.count * count, 0.0);
    for (std::size_t d = 0; d < samples.dims; ++d) {
        const double* x = samples.column(d);
        for (std::size_t i = 0; i < samples.count; ++i) {
            for (std::size_t k = 0; k < count; ++k) {
                const double difference = x[i] - centres[k * samples.dims + d];
                out[i * count + k] += difference * difference;
            }
        }
    }
    return out;
}

// v = sum u^m x / sum u^m on any samples that share the memberships.
std::vector<double> weighted_centres(const Samples& samples, std::span<const double> powers,
                                     std::size_t count) {
    std::vector<double> weight(count, 0.0);
    std::vector<double> centres(count * samples.dims, 0.0);
    for (std::size_t i = 0; i < samples.count; ++i) {
        for (std::size_t k = 0; k < count; ++k) weight[k] += powers[i * count + k];
    }
    for (std::size_t d = 0; d < samples.dims; ++d) {
        const double* x = samples.column(d);
        for (std::size_t i = 0; i < samples.count; ++i) {
            for (std::size_t k = 0; k < count; ++k) {
                centres[k * samples.dims + d] += powers[i * count + k] * x[i];
            }
        }
    }
    for (std::size_t k = 0; k < count; ++k) {
        for (std::size_t d = 0; d < samples.dims; ++d) centres[k * samples.dims + d] /= weight[k];
    }
    return centres;
}

std::vector<double> powers_of(std::span<const double> memberships, double exponent) {
    std::vector<double> powers(memberships.size());
    if (exponent == 2.0) {
        for (std::size_t i = 0; i < powers.size(); ++i) {
            powers[i] = memberships[i] * memberships[i];
        }
    } else {
        for (std::size_t i = 0; i < powers.size(); ++i) {
            powers[i] = std::pow(memberships[i], exponent);
        }
    }
    return powers;
}

struct Partition {
    std::vector<double> memberships;
    double objective = 0.0;
    int iterations = 0;
    bool converged = false;
};

Partition one_start(const Samples& samples, const FuzzyOptions& options, std::uint64_t seed) {
    const auto count = static_cast<std::size_t>(options.count);
    std::vector<double> centres(count * samples.dims);
    const std::vector<std::size_t> seeds = plus_plus_seeds(samples, options.count, seed);
    for (std::size_t k = 0; k < count; ++k) {
        for (std::size_t d = 0; d < samples.dims; ++d) {
            centres[k * samples.dims + d] = samples.at(seeds[k], d);
        }
    }
    Partition partition;
    partition.memberships = memberships_for_centres(samples, centres, options.exponent);
    for (int iteration = 1; iteration <= options.max_iterations; ++iteration) {
        centres =
            weighted_centres(samples, powers_of(partition.memberships, options.exponent), count);
        std::vector<double> next = memberships_for_centres(samples, centres, options.exponent);
        double change = 0.0;
        for (std::size_t j = 0; j < next.size(); ++j) {
            change = std::max(change, std::abs(next[j] - partition.memberships[j]));
        }
        partition.memberships = std::move(next);
        partition.iterations = iteration;
        if (change <= options.tolerance) {
            partition.converged = true;
            break;
        }
    }
    const std::vector<double> powers = powers_of(partition.memberships, options.exponent);
    centres = weighted_centres(samples, powers, count);
    const std::vector<double> distances = squared_distances(samples, centres, count);
    for (std::size_t j = 0; j < powers.size(); ++j) {
        partition.objective += powers[j] * distances[j];
    }
    return partition;
}

}  // namespace

void memberships_from_distances(std::span<const double> squared_distances, double exponent,
                                std::span<double> out) {
    const double least = *std::min_element(squared_distances.begin(), squared_distances.end());
    const double power = 1.0 / (exponent - 1.0);
    double sum = 0.0;
    for (std::size_t k = 0; k < out.size(); ++k) {
        double u = 0.0;
        if (squared_distances[k] == least) {
            u = 1.0;
        } else if (least > 0.0) {
            const double ratio = least / squared_distances[k];
            u = power == 1.0 ? ratio : std::pow(ratio, power);
        }
        out[k] = u;
        sum += u;
    }
    for (double& u : out) u /= sum;
}

std::vector<double> memberships_for_centres(const Samples& samples, std::span<const double> centres,
                                            double exponent) {
    const std::size_t count = centres.size() / samples.dims;
    std::vector<double> distances = squared_distances(samples, centres, count);
    std::vector<double> row(count);
    for (std::size_t i = 0; i < samples.count; ++i) {
        const std::span<double> at(distances.data() + i * count, count);
        memberships_from_distances(at, exponent, row);
        std::copy(row.begin(), row.end(), at.begin());
    }
    return distances;
}

Samples transform_for_norm(const Samples& samples, Norm norm) {
    if (norm == Norm::euclidean) return samples;
    const std::size_t p = samples.dims;
    if (samples.count < 2) throw Error(ErrorKind::data, "this norm needs two points or more");
    std::vector<double> matrix = covariance(samples);
    if (norm == Norm::diagonal) {
        for (std::size_t d = 0; d < p; ++d) {
            for (std::size_t e = 0; e < p; ++e) {
                if (d != e) matrix[d * p + e] = 0.0;
            }
        }
    }
    const std::vector<double> lower = cholesky(matrix, p);
    // y = L^-1 x, so |y|^2 = x' (L L')^-1 x: forward substitution, column by column.
    Samples out(samples.count, p);
    for (std::size_t d = 0; d < p; ++d) {
        double* y = out.column(d);
        const double* x = samples.column(d);
        std::copy(x, x + samples.count, y);
        for (std::size_t k = 0; k < d; ++k) {
            const double factor = lower[d * p + k];
            if (factor == 0.0) continue;
            const double* before = out.column(k);
            for (std::size_t i = 0; i < samples.count; ++i) y[i] -= factor * before[i];
        }
        for (std::size_t i = 0; i < samples.count; ++i) y[i] /= lower[d * p + d];
    }
    return out;
}

FuzzyResult fuzzy_c_means(const Samples& samples, const FuzzyOptions& options) {
    if (!(options.exponent > 1.0) || !std::isfinite(options.exponent)) {
        throw Error(ErrorKind::usage, "the exponent of fuzzy c-means must be above 1",
                    {.hint = "1.3 is usual for zones."});
    }
    if (options.count < 1 || options.count > 254 || options.starts < 1 ||
        options.max_iterations < 1) {
        throw Error(ErrorKind::usage,
                    "fuzzy c-means needs 1 to 254 clusters, a start and an iteration");
    }
    if (samples.count == 0 || samples.dims == 0) {
        throw Error(ErrorKind::data, "fuzzy c-means needs points");
    }
    const auto count = static_cast<std::size_t>(options.count);
    const std::vector<std::uint32_t> order = canonical_order(samples);
    if (const std::size_t distinct = distinct_points(samples, order, count); distinct < count) {
        throw Error(ErrorKind::data,
                    std::to_string(count) + " clusters asked for, but there are only " +
                        std::to_string(distinct) + " different points",
                    {.hint = "Ask for fewer."});
    }
    const Samples ordered = select(samples, order);
    const Samples work = transform_for_norm(ordered, options.norm);

    Partition best;
    Random seeds(options.seed);
    for (int start = 0; start < options.starts; ++start) {
        Partition partition = one_start(work, options, seeds.next());
        if (best.memberships.empty() || partition.objective < best.objective * (1.0 - 1e-12)) {
            best = std::move(partition);
        }
    }

    // Numbered by the centres in the units of the samples.
    const std::vector<double> centres =
        weighted_centres(ordered, powers_of(best.memberships, options.exponent), count);
    std::vector<std::size_t> rank(count);
    std::iota(rank.begin(), rank.end(), std::size_t{0});
    const auto row = [&](std::size_t k) {
        return std::span<const double>(centres.data() + k * samples.dims, samples.dims);
    };
    std::sort(rank.begin(), rank.end(), [&](std::size_t a, std::size_t b) {
        return std::lexicographical_compare(row(a).begin(), row(a).end(), row(b).begin(),
                                            row(b).end());
    });
    FuzzyResult result;
    result.objective = best.objective;
    result.iterations = best.iterations;
    result.converged = best.converged;
    result.memberships.resize(samples.count * count);
    result.labels.resize(samples.count);
    for (std::size_t k = 0; k < count; ++k) {
        result.centres.insert(result.centres.end(), row(rank[k]).begin(), row(rank[k]).end());
    }
    for (std::size_t i = 0; i < samples.count; ++i) {
        double* out = result.memberships.data() + order[i] * count;
        for (std::size_t k = 0; k < count; ++k) out[k] = best.memberships[i * count + rank[k]];
        result.labels[order[i]] =
            static_cast<std::uint8_t>(std::max_element(out, out + count) - out);
    }
    return result;
}

}  // namespace catchfield::zoning
