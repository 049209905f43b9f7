// SPDX-License-Identifier: MIT
// Stratified stop locations.
#include "compaction/sampling.hpp"

#include "base/error.hpp"
#include "base/random.hpp"
#include "base/text.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <map>

namespace catchfield::compaction {

namespace {

/// Random candidates a stop is chosen from (best-candidate sampling, Mitchell 1991, SIGGRAPH
/// 25:157).
constexpr std::size_t candidates = 64;

struct Zone {
    std::vector<std::size_t> cells;
    std::vector<std::size_t> inner;  ///< away from the zone's edge
    std::size_t stops = 0;
};

/// Steps of 4-neighbours to another label or the raster's edge, at most `most`.
std::vector<int> steps_to_edge(const Raster<std::int32_t>& zones, int most) {
    const GridFrame& frame = zones.frame;
    std::vector<int> steps(zones.size(), most);
    for (int round = 0; round < most; ++round) {
        for (int row = 0; row < frame.rows; ++row) {
            for (int col = 0; col < frame.cols; ++col) {
                const std::size_t i = frame.index(row, col);
                if (zones[i] <= 0 || steps[i] < most) continue;
                constexpr int moves[4][2] = {{-1, 0}, {1, 0}, {0, -1}, {0, 1}};
                for (const auto& move : moves) {
                    const int r = row + move[0], c = col + move[1];
                    const bool outside = !frame.contains(r, c) || zones.at(r, c) != zones[i];
                    if (round == 0 ? outside : !outside && steps[frame.index(r, c)] == round - 1) {
                        steps[i] = round;
                        break;
                    }
                }
            }
        }
    }
    return steps;
}

/// Shares out stops by area, largest remainder first (ties to the lower label), then the least.
void share_out(std::map<std::int32_t, Zone>& zones, const SamplingOptions& options) {
    std::size_t total = 0, given = 0;
    for (const auto& [label, zone] : zones) total += zone.cells.size();
    std::vector<std::pair<double, std::int32_t>> remainders;
    for (auto& [label, zone] : zones) {
        const double exact = static_cast<double>(options.stops) *
                             static_cast<double>(zone.cells.size()) / static_cast<double>(total);
        zone.stops = static_cast<std::size_t>(exact);
        given += zone.stops;
        remainders.emplace_back(static_cast<double>(zone.stops) - exact, label);
    }
    std::sort(remainders.begin(), remainders.end());
    for (std::size_t i = 0; given < options.stops && i < remainders.size(); ++i, ++given)
        ++zones[remainders[i].second].stops;
    for (auto& [label, zone] : zones) zone.stops = std::max(zone.stops, options.min_per_zone);
}

double nearest_distance(Point at, const std::vector<PlannedStop>& stops) {
    double nearest = std::numeric_limits<double>::infinity();
    for (const PlannedStop& stop : stops)
        nearest = std::min(nearest, std::hypot(stop.at.x - at.x, stop.at.y - at.y));
    return nearest;
}

/// Nearest next, from the south-westernmost stop.
void number_by_walk(std::vector<PlannedStop>& stops) {
    const auto south_west = [](const PlannedStop& a, const PlannedStop& b) {
        return a.at.x + a.at.y < b.at.x + b.at.y;
    };
    if (stops.empty()) return;
    std::iter_swap(stops.begin(), std::min_element(stops.begin(), stops.end(), south_west));
    for (std::size_t i = 0; i < stops.size(); ++i) {
        stops[i].number = static_cast<int>(i) + 1;
        if (i + 1 == stops.size()) break;
        const auto here = stops[i].at;
        const auto next =
            std::min_element(stops.begin() + static_cast<std::ptrdiff_t>(i) + 1, stops.end(),
                             [here](const PlannedStop& a, const PlannedStop& b) {
                                 return std::hypot(a.at.x - here.x, a.at.y - here.y) <
                                        std::hypot(b.at.x - here.x, b.at.y - here.y);
                             });
        std::iter_swap(stops.begin() + static_cast<std::ptrdiff_t>(i) + 1, next);
    }
}

}  // namespace

SamplingPlan plan_stops(const Raster<std::int32_t>& zones, const SamplingOptions& options) {
    if (options.stops == 0)
        throw Error(ErrorKind::usage, "a sampling plan needs at least one stop");
    if (!(options.min_distance_m >= 0.0) || !(options.edge_m >= 0.0))
        throw Error(ErrorKind::usage, "distances of a sampling plan must not be negative");
    const GridFrame& frame = zones.frame;
    const int margin = static_cast<int>(std::ceil(options.edge_m / frame.cell - 0.5));
    const std::vector<int> steps = steps_to_edge(zones, std::max(0, margin));
    std::map<std::int32_t, Zone> by_label;
    for (std::size_t i = 0; i < zones.size(); ++i) {
        if (zones[i] <= 0) continue;
        Zone& zone = by_label[zones[i]];
        zone.cells.push_back(i);
        if (steps[i] >= margin) zone.inner.push_back(i);
    }
    if (by_label.empty()) throw Error(ErrorKind::data, "there is no zone to sample");
    share_out(by_label, options);

    SamplingPlan plan;
    Random random(options.seed);
    const auto centre = [&frame](std::size_t cell) {
        const auto cols = static_cast<std::size_t>(frame.cols);
        return Point{frame.x_centre(static_cast<int>(cell % cols)),
                     frame.y_centre(static_cast<int>(cell / cols))};
    };
    for (const auto& [label, zone] : by_label) {
        const std::string name = "zone " + std::to_string(label);
        const bool narrow = zone.inner.size() < 4 * zone.stops;
        const std::vector<std::size_t>& cells = narrow ? zone.cells : zone.inner;
        if (narrow && margin > 0)
            plan.warnings.push_back(name + " is too narrow to keep " + shortest(options.edge_m) +
                                    " m from its edge.");
        std::size_t placed = 0;
        while (placed < zone.stops) {
            Point best{};
            double best_distance = -1.0;
            const auto consider = [&](std::size_t cell) {
                const Point at = centre(cell);
                const double distance = nearest_distance(at, plan.stops);
                if (distance > best_distance) {
                    best = at;
                    best_distance = distance;
                }
            };
            for (std::size_t i = 0; i < candidates; ++i)
                consider(cells[random.below(cells.size())]);
            // Chance may miss the last free corner: look at every cell before giving up.
            if (best_distance < options.min_distance_m || best_distance <= 0.0)
                for (const std::size_t cell : cells) consider(cell);
            if (best_distance < options.min_distance_m || best_distance <= 0.0) break;
            plan.stops.push_back({0, label, best});
            ++placed;
        }
        if (placed < zone.stops)
            plan.warnings.push_back(name + " has room for " + std::to_string(placed) + " of " +
                                    std::to_string(zone.stops) + " stops at " +
                                    shortest(options.min_distance_m) + " m from each other.");
    }
    number_by_walk(plan.stops);
    return plan;
}

}  // namespace catchfield::compaction
