// SPDX-License-Identifier: MIT
#include "plan/shares.hpp"

#include "base/error.hpp"
#include "base/text.hpp"

#include <algorithm>
#include <cmath>

namespace catchfield::plan {

namespace {

constexpr long long most_shares = 1'000'000;

/// Relative area: all that balance asks for. The cosine of the latitude is the parabola of Bhaskara
/// (7th century; within 0.0016), because a library's cosine may differ in the last bit between
/// processors.
double weight_of(const FieldBoundary& field, bool degrees) {
    double area = 0.0;
    for (const Polygon& polygon : field.shape) area += std::abs(signed_area(polygon.outer));
    if (degrees) {
        const Box box = bounds(field.shape);
        const double latitude = (box.min_y + box.max_y) / 2.0;
        area *=
            std::max(0.01, (32400.0 - 4.0 * latitude * latitude) / (32400.0 + latitude * latitude));
    }
    return std::isfinite(area) ? area : 0.0;
}

}  // namespace

Share parse_share(const std::string& text) {
    const std::vector<std::string> parts = split(text, '/');
    const auto index = parse_integer(parts.front());
    const auto count = parse_integer(parts.back());
    if (parts.size() != 2 || !index || !count || *count < 1 || *count > most_shares || *index < 1 ||
        *index > *count) {
        throw Error(ErrorKind::usage, "--share = " + text + ": not a share",
                    {.hint = "Write which of how many: 3/8 is the third of eight."});
    }
    return {static_cast<std::size_t>(*index), static_cast<std::size_t>(*count)};
}

std::string share_name(const Share& share) {
    return std::to_string(share.index) + " of " + std::to_string(share.count);
}

std::vector<std::size_t> shares_of(const FieldList& fields, const gis::Crs& crs,
                                   std::size_t count) {
    std::vector<double> weights;
    double sum = 0.0;
    for (const FieldBoundary& field : fields) {
        weights.push_back(weight_of(field, crs.is_geographic()));
        sum += weights.back();
    }
    const double mean = sum > 0.0 ? sum / static_cast<double>(fields.size()) : 1.0;
    double total = 0.0;
    for (double& weight : weights) {
        weight = weight / mean + 0.25;
        total += weight;
    }
    std::vector<std::size_t> shares;
    double before = 0.0;
    for (const double weight : weights) {
        const double middle = (before + weight / 2.0) / total * static_cast<double>(count);
        shares.push_back(std::min(count, static_cast<std::size_t>(middle) + 1));
        before += weight;
    }
    return shares;
}

}  // namespace catchfield::plan
