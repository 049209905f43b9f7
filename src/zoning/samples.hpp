// SPDX-License-Identifier: MIT
// Points in feature space, stored column by column, that the clustering functions work on.
#pragma once

#include <cstddef>
#include <cstdint>
#include <span>
#include <vector>

namespace catchfield::zoning {

/// `count` points with `dims` coordinates; column-major: values[d * count + i].
struct Samples {
    std::size_t count = 0;
    std::size_t dims = 0;
    std::vector<double> values;

    Samples() = default;
    Samples(std::size_t n, std::size_t p) : count(n), dims(p), values(n * p, 0.0) {}

    double& at(std::size_t i, std::size_t d) { return values[d * count + i]; }
    double at(std::size_t i, std::size_t d) const { return values[d * count + i]; }
    const double* column(std::size_t d) const { return values.data() + d * count; }
    double* column(std::size_t d) { return values.data() + d * count; }
};

/// Points of `samples` at `rows`, in that order.
Samples select(const Samples& samples, std::span<const std::uint32_t> rows);

/// Row numbers in lexicographic order of the coordinates. This order depends on what the points
/// are, not on how they were listed, so whatever draws from it does not depend on cell order.
std::vector<std::uint32_t> canonical_order(const Samples& samples);

/// At most `size` entries of `order`, evenly spaced from a seeded start (systematic sample,
/// stratified along the order). All of `order` where it is not longer than `size`.
std::vector<std::uint32_t> systematic_sample(std::span<const std::uint32_t> order, std::size_t size,
                                             std::uint64_t seed);

/// Number of different points, counted up to `limit`; `order` is canonical_order(samples).
std::size_t distinct_points(const Samples& samples, std::span<const std::uint32_t> order,
                            std::size_t limit);

/// Sum of squared distances to the overall mean, T.
double total_sum_of_squares(const Samples& samples);

}  // namespace catchfield::zoning
