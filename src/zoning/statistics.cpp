// SPDX-License-Identifier: MIT
// Zone statistics in which every cell counts by the share of it that lies in the zone.
#include "zoning/statistics.hpp"

#include "base/error.hpp"

#include <algorithm>
#include <cmath>
#include <map>
#include <utility>

namespace catchfield::zoning {

namespace {

void check_share(const CellShare& share, std::size_t cells) {
    if (share.cell >= cells) {
        throw Error(ErrorKind::data, "a zone has a cell outside the grid of the layer");
    }
    if (!(share.share >= 0.0) || !std::isfinite(share.share)) {
        throw Error(ErrorKind::data, "the share of a cell must be 0 or more");
    }
}

}  // namespace

std::optional<ZoneStatistics> zone_statistics(std::span<const CellShare> shares,
                                              const Raster<float>& values, const Mask& valid,
                                              std::span<const double> quantiles) {
    for (const double q : quantiles) {
        if (!(q >= 0.0 && q <= 1.0)) {
            throw Error(ErrorKind::usage, "a quantile must be asked for as a share of 0 to 1");
        }
    }
    if (values.frame != valid.frame) {
        throw Error(ErrorKind::data, "a layer and its mask are on different grids");
    }
    double weight = 0.0;
    double missing = 0.0;
    double sum = 0.0;
    ZoneStatistics out;
    bool any = false;
    for (const CellShare& share : shares) {
        check_share(share, values.size());
        if (share.share == 0.0) continue;
        if (!valid[share.cell]) {
            missing += share.share;
            continue;
        }
        const auto x = static_cast<double>(values[share.cell]);
        weight += share.share;
        sum += share.share * x;
        out.min = any ? std::min(out.min, x) : x;
        out.max = any ? std::max(out.max, x) : x;
        any = true;
    }
    if (!any) return std::nullopt;
    out.mean = sum / weight;
    out.weight_cells = weight;
    out.missing_share = missing / (missing + weight);
    double squares = 0.0;
    for (const CellShare& share : shares) {
        if (share.share == 0.0 || !valid[share.cell]) continue;
        const double d = static_cast<double>(values[share.cell]) - out.mean;
        squares += share.share * d * d;
    }
    out.sd = std::sqrt(squares / weight);
    if (quantiles.empty()) return out;

    std::vector<std::pair<double, double>> sorted;  // value, share
    for (const CellShare& share : shares) {
        if (share.share == 0.0 || !valid[share.cell]) continue;
        sorted.emplace_back(static_cast<double>(values[share.cell]), share.share);
    }
    std::sort(sorted.begin(), sorted.end());
    for (const double q : quantiles) {
        // The margin keeps a total such as 0.1 + 0.2 + 0.7 from missing its own quantile.
        const double target = q * weight * (1.0 - 1e-12);
        double reached = 0.0;
        double value = sorted.back().first;
        for (const auto& [x, share] : sorted) {
            reached += share;
            if (reached >= target) {
                value = x;
                break;
            }
        }
        out.quantiles.push_back(value);
    }
    return out;
}

std::optional<CategoryMajority> category_majority(std::span<const CellShare> shares,
                                                  const Raster<std::int32_t>& categories,
                                                  const Mask& valid) {
    if (categories.frame != valid.frame) {
        throw Error(ErrorKind::data, "a layer and its mask are on different grids");
    }
    std::map<std::int32_t, double> areas;
    double weight = 0.0;
    double missing = 0.0;
    for (const CellShare& share : shares) {
        check_share(share, categories.size());
        if (share.share == 0.0) continue;
        if (!valid[share.cell]) {
            missing += share.share;
            continue;
        }
        areas[categories[share.cell]] += share.share;
        weight += share.share;
    }
    if (areas.empty()) return std::nullopt;
    const auto largest =
        std::max_element(areas.begin(), areas.end(),
                         [](const auto& a, const auto& b) { return a.second < b.second; });
    return CategoryMajority{largest->first, largest->second / weight, missing / (missing + weight)};
}

std::vector<std::vector<CellShare>> shares_from_labels(const Labels& labels) {
    std::vector<std::vector<CellShare>> out(static_cast<std::size_t>(zone_count(labels)));
    for (std::size_t i = 0; i < labels.size(); ++i) {
        if (labels[i] <= 0) continue;
        out[static_cast<std::size_t>(labels[i]) - 1].push_back(
            {static_cast<std::uint32_t>(i), 1.0});
    }
    return out;
}

}  // namespace catchfield::zoning
