// SPDX-License-Identifier: MIT
// A small seeded generator with the same numbers on every machine and library (the standard
// library's distributions are not specified to the bit).
#pragma once

#include <cmath>
#include <cstddef>
#include <cstdint>
#include <utility>
#include <vector>

namespace catchfield {

/// SplitMix64 (Steele, Lea & Flood 2014, OOPSLA, "Fast splittable pseudorandom number generators").
class Random {
  public:
    explicit Random(std::uint64_t seed) : m_state(seed) {}

    std::uint64_t next() {
        m_state += 0x9E3779B97F4A7C15ULL;
        std::uint64_t z = m_state;
        z = (z ^ (z >> 30)) * 0xBF58476D1CE4E5B9ULL;
        z = (z ^ (z >> 27)) * 0x94D049BB133111EBULL;
        return z ^ (z >> 31);
    }
    /// In [0, 1).
    double uniform() { return static_cast<double>(next() >> 11) * 0x1.0p-53; }
    double uniform(double low, double high) { return low + (high - low) * uniform(); }
    /// In [0, n), n > 0.
    std::size_t below(std::size_t n) {
        return static_cast<std::size_t>(uniform() * static_cast<double>(n));
    }
    /// Standard normal by Box & Muller 1958.
    double normal() {
        const double u = 1.0 - uniform();
        return std::sqrt(-2.0 * std::log(u)) * std::cos(6.283185307179586 * uniform());
    }
    template <typename T>
    void shuffle(std::vector<T>& items) {
        for (std::size_t i = items.size(); i > 1; --i) std::swap(items[i - 1], items[below(i)]);
    }

  private:
    std::uint64_t m_state;
};

}  // namespace catchfield
