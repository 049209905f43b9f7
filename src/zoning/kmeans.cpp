// SPDX-License-Identifier: MIT
// k-means: careful seeding, Lloyd iterations, single-point exchange to a better optimum.
#include "zoning/kmeans.hpp"

#include "base/error.hpp"
#include "base/random.hpp"
#include "base/vector_clones.hpp"

#include <tbb/parallel_for.h>

#include <algorithm>
#include <array>
#include <limits>
#include <numeric>

namespace catchfield::zoning {

namespace {

constexpr std::size_t block_size = 128;     // points whose distances fit in the first-level cache
constexpr std::size_t chunk_size = 16'384;  // unit of parallel work and of ordered sums

// Nearest centre of up to block_size points from `begin`. Coordinates are read column by column, so
// the inner loops are vectors without branches. Labels are doubles for the same reason.
struct Block {
    std::array<double, block_size> best;
    std::array<double, block_size> label;
    std::array<double, block_size> distance;

    CATCHFIELD_VECTOR_CLONES
    void nearest(const Samples& samples, std::size_t begin, std::size_t size, const double* centres,
                 int count) {
        const std::size_t dims = samples.dims;
        for (int k = 0; k < count; ++k) {
            const double* centre = centres + static_cast<std::size_t>(k) * dims;
            double* out = k == 0 ? best.data() : distance.data();
            const auto clear = [&](std::size_t d) {
                const double* x = samples.column(d) + begin;
                const double v = centre[d];
                for (std::size_t i = 0; i < size; ++i) out[i] = (x[i] - v) * (x[i] - v);
            };
            // Two columns at a time: half the traffic on `out`.
            const auto add_two = [&](std::size_t d) {
                const double* x = samples.column(d) + begin;
                const double* y = samples.column(d + 1) + begin;
                const double v = centre[d];
                const double w = centre[d + 1];
                for (std::size_t i = 0; i < size; ++i) {
                    out[i] += (x[i] - v) * (x[i] - v) + (y[i] - w) * (y[i] - w);
                }
            };
            std::size_t d = dims % 2;
            if (d == 1) {
                clear(0);
            } else {
                std::fill(out, out + size, 0.0);
            }
            for (; d < dims; d += 2) add_two(d);
            if (k == 0) {
                for (std::size_t i = 0; i < size; ++i) label[i] = 0.0;
                continue;
            }
            const double number = k;
            for (std::size_t i = 0; i < size; ++i) {
                // Loads and stores without a condition, so the compiler makes vectors of this.
                const double here = distance[i];
                const double before = best[i];
                const double old = label[i];
                const double chosen = here < before ? number : old;
                best[i] = here < before ? here : before;
                label[i] = chosen;
            }
        }
    }
};

// State of one run. sums and sizes follow every change of label, so a step costs little once few
// points move.
struct Run {
    const Samples& samples;
    std::size_t count;
    std::vector<std::uint8_t> labels;
    std::vector<double> sums;  // count x dims
    std::vector<std::size_t> sizes;
    std::vector<double> centres;

    Run(const Samples& s, std::size_t k)
        : samples(s),
          count(k),
          labels(s.count, 0),
          sums(k * s.dims, 0.0),
          sizes(k, 0),
          centres(k * s.dims, 0.0) {}

    void recount() {
        std::fill(sums.begin(), sums.end(), 0.0);
        std::fill(sizes.begin(), sizes.end(), std::size_t{0});
        for (std::size_t i = 0; i < samples.count; ++i) ++sizes[labels[i]];
        for (std::size_t d = 0; d < samples.dims; ++d) {
            const double* x = samples.column(d);
            for (std::size_t i = 0; i < samples.count; ++i) {
                sums[labels[i] * samples.dims + d] += x[i];
            }
        }
    }
    void update_centres() {
        for (std::size_t k = 0; k < count; ++k) {
            if (sizes[k] == 0) continue;
            for (std::size_t d = 0; d < samples.dims; ++d) {
                centres[k * samples.dims + d] =
                    sums[k * samples.dims + d] / static_cast<double>(sizes[k]);
            }
        }
    }
    void move(std::size_t i, std::size_t from, std::size_t to) {
        for (std::size_t d = 0; d < samples.dims; ++d) {
            const double x = samples.at(i, d);
            sums[from * samples.dims + d] -= x;
            sums[to * samples.dims + d] += x;
        }
        --sizes[from];
        ++sizes[to];
        labels[i] = static_cast<std::uint8_t>(to);
    }
    double squared_distance(std::size_t i, std::size_t k) const {
        double sum = 0.0;
        for (std::size_t d = 0; d < samples.dims; ++d) {
            const double difference = samples.at(i, d) - centres[k * samples.dims + d];
            sum += difference * difference;
        }
        return sum;
    }
    // A cluster without points takes the point farthest from its own centre.
    void fill_empty() {
        for (std::size_t k = 0; k < count; ++k) {
            if (sizes[k] != 0) continue;
            std::size_t farthest = 0;
            double most = -1.0;
            for (std::size_t i = 0; i < samples.count; ++i) {
                const double distance =
                    sizes[labels[i]] > 1 ? squared_distance(i, labels[i]) : -1.0;
                if (distance > most) {
                    most = distance;
                    farthest = i;
                }
            }
            if (most < 0.0) return;
            move(farthest, labels[farthest], k);
        }
    }
    void lloyd(int max_iterations) {
        Block block;
        bool first = true;
        for (int iteration = 0; iteration < max_iterations; ++iteration) {
            std::size_t moved = 0;
            for (std::size_t begin = 0; begin < samples.count; begin += block_size) {
                const std::size_t size = std::min(block_size, samples.count - begin);
                block.nearest(samples, begin, size, centres.data(), static_cast<int>(count));
                if (first) {
                    for (std::size_t i = 0; i < size; ++i) {
                        labels[begin + i] = static_cast<std::uint8_t>(block.label[i]);
                    }
                    continue;
                }
                for (std::size_t i = 0; i < size; ++i) {
                    const auto label = static_cast<std::uint8_t>(block.label[i]);
                    if (label == labels[begin + i]) continue;
                    move(begin + i, labels[begin + i], label);
                    ++moved;
                }
            }
            if (first) {
                recount();
            } else if (moved == 0) {
                break;
            }
            first = false;
            fill_empty();
            update_centres();
        }
    }
    // Moving point i from cluster a to b changes W by n_b/(n_b+1) d_b^2 - n_a/(n_a-1) d_a^2.
    void exchange() {
        for (int pass = 0; pass < 100; ++pass) {
            bool moved = false;
            for (std::size_t i = 0; i < samples.count; ++i) {
                const std::size_t a = labels[i];
                if (sizes[a] < 2) continue;
                const double n_a = static_cast<double>(sizes[a]);
                const double gain = n_a / (n_a - 1.0) * squared_distance(i, a);
                std::size_t best = a;
                double least = gain * (1.0 - 1e-9);
                for (std::size_t b = 0; b < count; ++b) {
                    if (b == a) continue;
                    const double n_b = static_cast<double>(sizes[b]);
                    const double cost = n_b / (n_b + 1.0) * squared_distance(i, b);
                    if (cost < least) {
                        least = cost;
                        best = b;
                    }
                }
                if (best == a) continue;
                move(i, a, best);
                for (const std::size_t k : {a, best}) {
                    for (std::size_t d = 0; d < samples.dims; ++d) {
                        centres[k * samples.dims + d] =
                            sums[k * samples.dims + d] / static_cast<double>(sizes[k]);
                    }
                }
                moved = true;
            }
            if (!moved) break;
        }
    }
    double within() const {
        std::vector<double> total(samples.count, 0.0);
        for (std::size_t d = 0; d < samples.dims; ++d) {
            const double* x = samples.column(d);
            for (std::size_t i = 0; i < samples.count; ++i) {
                const double difference = x[i] - centres[labels[i] * samples.dims + d];
                total[i] += difference * difference;
            }
        }
        return std::accumulate(total.begin(), total.end(), 0.0);
    }
};

// Clusters in lexicographic order of their centres.
void number_by_centres(KMeansResult& result, std::size_t dims) {
    const std::size_t count = result.sizes.size();
    std::vector<std::size_t> order(count);
    std::iota(order.begin(), order.end(), std::size_t{0});
    const auto row = [&](std::size_t k) {
        return result.centres.begin() + static_cast<std::ptrdiff_t>(k * dims);
    };
    const auto width = static_cast<std::ptrdiff_t>(dims);
    std::sort(order.begin(), order.end(), [&](std::size_t a, std::size_t b) {
        return std::lexicographical_compare(row(a), row(a) + width, row(b), row(b) + width);
    });
    std::vector<std::uint8_t> number(count);
    std::vector<double> centres(result.centres.size());
    std::vector<std::size_t> sizes(count);
    for (std::size_t k = 0; k < count; ++k) {
        number[order[k]] = static_cast<std::uint8_t>(k);
        sizes[k] = result.sizes[order[k]];
        std::copy(row(order[k]), row(order[k]) + width,
                  centres.begin() + static_cast<std::ptrdiff_t>(k * dims));
    }
    for (std::uint8_t& label : result.labels) label = number[label];
    result.centres = std::move(centres);
    result.sizes = std::move(sizes);
}

KMeansResult one_start(const Samples& samples, const KMeansOptions& options, std::uint64_t seed) {
    const auto count = static_cast<std::size_t>(options.count);
    Run run(samples, count);
    const std::vector<std::size_t> seeds = plus_plus_seeds(samples, options.count, seed);
    for (std::size_t k = 0; k < count; ++k) {
        for (std::size_t d = 0; d < samples.dims; ++d) {
            run.centres[k * samples.dims + d] = samples.at(seeds[k], d);
        }
    }
    run.lloyd(options.max_iterations);
    if (options.exchange) run.exchange();
    run.recount();
    run.update_centres();
    KMeansResult result;
    result.within_ss = run.within();
    result.labels = std::move(run.labels);
    result.centres = std::move(run.centres);
    result.sizes = std::move(run.sizes);
    return result;
}

std::uint64_t start_seed(std::uint64_t seed, int count, int start) {
    Random mix(seed ^ (static_cast<std::uint64_t>(count) << 32) ^
               static_cast<std::uint64_t>(start));
    return mix.next();
}

void check(const Samples& samples, const KMeansOptions& options) {
    if (options.count < 1 || options.count > 254) {
        throw Error(ErrorKind::usage, "the number of clusters must be 1 to 254, not " +
                                          std::to_string(options.count));
    }
    if (options.starts < 1) throw Error(ErrorKind::usage, "k-means needs one start or more");
    if (options.max_iterations < 1) {
        throw Error(ErrorKind::usage, "k-means needs one iteration or more");
    }
    if (samples.count == 0 || samples.dims == 0) {
        throw Error(ErrorKind::data, "k-means needs points");
    }
}

}  // namespace

CATCHFIELD_VECTOR_CLONES
std::vector<std::size_t> plus_plus_seeds(const Samples& samples, int count, std::uint64_t seed) {
    Random random(seed);
    const std::size_t n = samples.count;
    std::vector<std::size_t> seeds{random.below(n)};
    std::vector<double> nearest(n, std::numeric_limits<double>::max());
    std::vector<double> distance(n);
    while (seeds.size() < static_cast<std::size_t>(count)) {
        std::fill(distance.begin(), distance.end(), 0.0);
        for (std::size_t d = 0; d < samples.dims; ++d) {
            const double* x = samples.column(d);
            const double v = x[seeds.back()];
            for (std::size_t i = 0; i < n; ++i) distance[i] += (x[i] - v) * (x[i] - v);
        }
        double sum = 0.0;
        for (std::size_t i = 0; i < n; ++i) {
            nearest[i] = std::min(nearest[i], distance[i]);
            sum += nearest[i];
        }
        const double target = random.uniform() * sum;
        double reached = 0.0;
        std::size_t chosen = n;
        for (std::size_t i = 0; i < n; ++i) {
            reached += nearest[i];
            if (nearest[i] > 0.0 && reached > target) {
                chosen = i;
                break;
            }
        }
        seeds.push_back(chosen < n ? chosen : random.below(n));
    }
    return seeds;
}

KMeansResult kmeans_in_order(const Samples& ordered, const KMeansOptions& options) {
    check(ordered, options);
    const auto starts = static_cast<std::size_t>(options.count == 1 ? 1 : options.starts);
    KMeansResult best;
    const auto consider = [&](KMeansResult&& result) {
        // Equal optima reached on different ways differ in the last bits: the first one stays.
        if (best.labels.empty() || result.within_ss < best.within_ss * (1.0 - 1e-12)) {
            best = std::move(result);
        }
    };
    const auto run = [&](std::size_t start) {
        return one_start(ordered, options,
                         start_seed(options.seed, options.count, static_cast<int>(start)));
    };
    const std::size_t work =
        ordered.count * starts * ordered.dims * static_cast<std::size_t>(options.count);
    if (options.parallel && starts > 1 && work > 1'000'000) {
        std::vector<KMeansResult> results(starts);
        tbb::parallel_for(std::size_t{0}, starts, [&](std::size_t s) { results[s] = run(s); });
        for (KMeansResult& result : results) consider(std::move(result));
    } else {
        for (std::size_t s = 0; s < starts; ++s) consider(run(s));
    }
    number_by_centres(best, ordered.dims);
    return best;
}

KMeansResult kmeans(const Samples& samples, const KMeansOptions& options) {
    check(samples, options);
    const std::vector<std::uint32_t> order = canonical_order(samples);
    const auto count = static_cast<std::size_t>(options.count);
    const std::size_t distinct = distinct_points(samples, order, count);
    if (distinct < count) {
        throw Error(ErrorKind::data,
                    std::to_string(count) + " clusters asked for, but there are only " +
                        std::to_string(distinct) + " different points",
                    {.hint = "Ask for fewer."});
    }
    KMeansResult result = kmeans_in_order(select(samples, order), options);
    std::vector<std::uint8_t> labels(samples.count);
    for (std::size_t i = 0; i < order.size(); ++i) labels[order[i]] = result.labels[i];
    result.labels = std::move(labels);
    return result;
}

KMeansResult refine_centres(const Samples& samples, std::vector<double> centres, int count,
                            int iterations, bool parallel) {
    const std::size_t n = samples.count;
    const std::size_t dims = samples.dims;
    const auto k_count = static_cast<std::size_t>(count);
    const std::size_t chunks = (n + chunk_size - 1) / chunk_size;
    struct Part {
        std::vector<double> sums;
        std::vector<std::size_t> sizes;
        double within = 0.0;
        std::size_t moved = 0;
    };
    std::vector<Part> parts(chunks);
    KMeansResult result;
    result.labels.assign(n, 0);

    const auto step = [&](std::size_t chunk) {
        Part& part = parts[chunk];
        part.sums.assign(k_count * dims, 0.0);
        part.sizes.assign(k_count, 0);
        part.within = 0.0;
        part.moved = 0;
        Block block;
        const std::size_t end = std::min(n, (chunk + 1) * chunk_size);
        for (std::size_t begin = chunk * chunk_size; begin < end; begin += block_size) {
            const std::size_t size = std::min(block_size, end - begin);
            block.nearest(samples, begin, size, centres.data(), count);
            std::array<std::uint8_t, block_size> label;
            for (std::size_t i = 0; i < size; ++i) {
                label[i] = static_cast<std::uint8_t>(block.label[i]);
                part.within += block.best[i];
                ++part.sizes[label[i]];
                part.moved += label[i] != result.labels[begin + i];
                result.labels[begin + i] = label[i];
            }
            for (std::size_t d = 0; d < dims; ++d) {
                const double* x = samples.column(d) + begin;
                for (std::size_t i = 0; i < size; ++i) part.sums[label[i] * dims + d] += x[i];
            }
        }
    };
    for (int iteration = 0;; ++iteration) {
        if (parallel && chunks > 1) {
            tbb::parallel_for(std::size_t{0}, chunks, step);
        } else {
            for (std::size_t chunk = 0; chunk < chunks; ++chunk) step(chunk);
        }
        std::vector<double> sums(k_count * dims, 0.0);
        result.sizes.assign(k_count, 0);
        result.within_ss = 0.0;
        std::size_t moved = 0;
        for (const Part& part : parts) {
            for (std::size_t j = 0; j < sums.size(); ++j) sums[j] += part.sums[j];
            for (std::size_t k = 0; k < k_count; ++k) result.sizes[k] += part.sizes[k];
            result.within_ss += part.within;
            moved += part.moved;
        }
        if (iteration >= iterations || (iteration > 0 && moved == 0)) break;
        for (std::size_t k = 0; k < k_count; ++k) {
            if (result.sizes[k] == 0) continue;
            for (std::size_t d = 0; d < dims; ++d) {
                centres[k * dims + d] = sums[k * dims + d] / static_cast<double>(result.sizes[k]);
            }
        }
    }
    result.centres = std::move(centres);
    return result;
}

std::vector<std::uint8_t> assign_nearest(const Samples& samples, std::span<const double> centres) {
    const auto count = static_cast<int>(centres.size() / std::max<std::size_t>(samples.dims, 1));
    return refine_centres(samples, {centres.begin(), centres.end()}, count, 0, true).labels;
}

double within_sum_of_squares(const Samples& samples, std::span<const std::uint8_t> labels,
                             int count) {
    Run run(samples, static_cast<std::size_t>(count));
    run.labels.assign(labels.begin(), labels.end());
    run.recount();
    run.update_centres();
    return run.within();
}

}  // namespace catchfield::zoning
