// SPDX-License-Identifier: MIT
// Indices that judge how many clusters there are.
#pragma once

#include "zoning/samples.hpp"

#include <cstddef>
#include <cstdint>
#include <span>

namespace catchfield::zoning {

/// Fuzziness performance index, c/(c-1) (1 - F), F = sum u^2 / n; 0 crisp to 1 undecided, low is
/// good. Odeh, McBratney & Chittleborough 1992, Soil Sci. Soc. Am. J. 56:505-516.
/// memberships: row-major, n x count, count >= 2.
double fuzziness_performance(std::span<const double> memberships, int count);

/// H = -sum u ln u / n, with 0 ln 0 = 0.
double partition_entropy(std::span<const double> memberships, int count);

/// Normalised classification entropy as H / ln c, 0-1, low is good (the "modified partition
/// entropy" of Boydell & McBratney 2002, Precis. Agric. 3:3-23).
double entropy_over_log_count(std::span<const double> memberships, int count);

/// The other form in use, H / (1 - c/n); tends to grow with c. Needs n > count.
double entropy_over_degrees(std::span<const double> memberships, int count);

/// (B/(k-1)) / (W/(n-k)), high is good. Calinski & Harabasz 1974, Commun. Stat. 3:1-27
/// [memory: high]. Needs 2 <= count < n and W > 0; with W = 0 the largest finite double.
double calinski_harabasz(double total_ss, double within_ss, std::size_t n, int count);

/// Mean silhouette, (b - a) / max(a, b), singletons 0. Rousseeuw 1987, J. Comput. Appl. Math.
/// 20:53-65 [memory: high]. Costs n^2: give it a sample. Needs labels of two clusters or more,
/// else 0. Empty clusters are skipped.
double mean_silhouette(const Samples& samples, std::span<const std::uint8_t> labels, int count);

/// RV = 1 - W/T: the share of the sum of squares that the clusters explain; 0 where T is 0.
double relative_variance(double total_ss, double within_ss);

/// The same for one variable given as values and labels (0-based).
double relative_variance(std::span<const double> values, std::span<const std::uint8_t> labels,
                         int count);

/// The variance-weighted form, 1 - (W/(n-k)) / (T/(n-1)), which charges for the number of zones.
double pooled_relative_variance(double total_ss, double within_ss, std::size_t n, int count);

}  // namespace catchfield::zoning
