// SPDX-License-Identifier: MIT
// Points in feature space: selection, an order that does not depend on how they are listed,
// sampling.
#include "zoning/samples.hpp"

#include "base/random.hpp"

#include <algorithm>
#include <utility>

namespace catchfield::zoning {

Samples select(const Samples& samples, std::span<const std::uint32_t> rows) {
    Samples out(rows.size(), samples.dims);
    for (std::size_t d = 0; d < samples.dims; ++d) {
        const double* from = samples.column(d);
        double* to = out.column(d);
        for (std::size_t i = 0; i < rows.size(); ++i) to[i] = from[rows[i]];
    }
    return out;
}

std::vector<std::uint32_t> canonical_order(const Samples& samples) {
    using Keyed = std::pair<double, std::uint32_t>;
    const std::size_t n = samples.count;
    std::vector<std::uint32_t> order(n);
    if (n == 0 || samples.dims == 0) {
        for (std::size_t i = 0; i < n; ++i) order[i] = static_cast<std::uint32_t>(i);
        return order;
    }
    std::vector<Keyed> keyed(n);
    const double* first = samples.column(0);
    for (std::size_t i = 0; i < n; ++i) keyed[i] = {first[i], static_cast<std::uint32_t>(i)};
    std::sort(keyed.begin(), keyed.end());

    // Runs with the same first coordinate are sorted by the others; equal points by their number.
    const auto later_columns = [&](const Keyed& a, const Keyed& b) {
        for (std::size_t d = 1; d < samples.dims; ++d) {
            const double xa = samples.at(a.second, d);
            const double xb = samples.at(b.second, d);
            if (xa != xb) return xa < xb;
        }
        return a.second < b.second;
    };
    for (std::size_t i = 0; i < n;) {
        std::size_t j = i + 1;
        while (j < n && keyed[j].first == keyed[i].first) ++j;
        if (j - i > 1 && samples.dims > 1) {
            std::sort(keyed.begin() + static_cast<std::ptrdiff_t>(i),
                      keyed.begin() + static_cast<std::ptrdiff_t>(j), later_columns);
        }
        i = j;
    }
    for (std::size_t i = 0; i < n; ++i) order[i] = keyed[i].second;
    return order;
}

std::vector<std::uint32_t> systematic_sample(std::span<const std::uint32_t> order, std::size_t size,
                                             std::uint64_t seed) {
    if (size == 0 || order.size() <= size) return {order.begin(), order.end()};
    const double step = static_cast<double>(order.size()) / static_cast<double>(size);
    const double start = Random(seed).uniform() * step;
    std::vector<std::uint32_t> out(size);
    for (std::size_t i = 0; i < size; ++i) {
        const auto at = static_cast<std::size_t>(start + static_cast<double>(i) * step);
        out[i] = order[std::min(at, order.size() - 1)];
    }
    return out;
}

std::size_t distinct_points(const Samples& samples, std::span<const std::uint32_t> order,
                            std::size_t limit) {
    std::size_t distinct = order.empty() ? 0 : 1;
    for (std::size_t i = 1; i < order.size() && distinct < limit; ++i) {
        for (std::size_t d = 0; d < samples.dims; ++d) {
            if (samples.at(order[i], d) != samples.at(order[i - 1], d)) {
                ++distinct;
                break;
            }
        }
    }
    return std::min(distinct, limit);
}

double total_sum_of_squares(const Samples& samples) {
    double total = 0.0;
    for (std::size_t d = 0; d < samples.dims; ++d) {
        const double* x = samples.column(d);
        double sum = 0.0;
        for (std::size_t i = 0; i < samples.count; ++i) sum += x[i];
        const double mean = sum / static_cast<double>(samples.count);
        for (std::size_t i = 0; i < samples.count; ++i) total += (x[i] - mean) * (x[i] - mean);
    }
    return total;
}

}  // namespace catchfield::zoning
