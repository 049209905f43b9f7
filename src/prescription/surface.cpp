// SPDX-License-Identifier: MIT
#include "prescription/surface.hpp"

#include "base/error.hpp"
#include "base/text.hpp"

#include <algorithm>
#include <array>

namespace catchfield::prescription {

namespace {

/// What a cell's neighbours say: whether one has its rate, and the commonest rate above 0.
struct Around {
    bool lone = true;
    bool found = false;
    float commonest = 0.0F;
};

Around look_around(const RateSurface& surface, int row, int col) {
    const GridFrame& frame = surface.rates.frame;
    const float own = surface.rates.at(row, col);
    std::array<float, 8> near{};
    std::size_t count = 0;
    Around around;
    for (int dr = -1; dr <= 1; ++dr) {
        for (int dc = -1; dc <= 1; ++dc) {
            if ((dr == 0 && dc == 0) || !frame.contains(row + dr, col + dc)) continue;
            if (surface.inside.at(row + dr, col + dc) == 0) continue;
            const float rate = surface.rates.at(row + dr, col + dc);
            if (rate == own) around.lone = false;
            if (rate > 0.0F) near[count++] = rate;
        }
    }
    if (!around.lone || count == 0) return around;
    std::sort(near.begin(), near.begin() + static_cast<std::ptrdiff_t>(count));
    std::size_t best = 0;
    for (std::size_t i = 0; i < count;) {
        std::size_t end = i;
        while (end < count && near[end] == near[i]) ++end;
        if (end - i > best) {  // rising order: a tie keeps the lower rate
            best = end - i;
            around.commonest = near[i];
        }
        i = end;
    }
    around.found = true;
    return around;
}

/// Runs of one rate along rows or columns.
struct Runs {
    double short_cells = 0.0;
    double changes = 0.0;
    double cells = 0.0;
    double largest_change = 0.0;
};

Runs count_runs(const RateSurface& surface, bool along_rows, double shortest_cells) {
    const GridFrame& frame = surface.rates.frame;
    const int lines = along_rows ? frame.rows : frame.cols;
    const int length = along_rows ? frame.cols : frame.rows;
    const auto index = [&](int line, int at) {
        return along_rows ? frame.index(line, at) : frame.index(at, line);
    };
    Runs runs;
    for (int line = 0; line < lines; ++line) {
        int at = 0;
        while (at < length) {
            if (surface.inside[index(line, at)] == 0) {
                ++at;
                continue;
            }
            // A stretch inside the field: its runs, and whether it has more than one.
            double short_here = 0.0;
            int runs_here = 0;
            while (at < length && surface.inside[index(line, at)] != 0) {
                const float rate = surface.rates[index(line, at)];
                int cells = 0;
                while (at < length && surface.inside[index(line, at)] != 0 &&
                       surface.rates[index(line, at)] == rate) {
                    ++cells;
                    ++at;
                }
                ++runs_here;
                runs.cells += cells;
                if (cells < shortest_cells) short_here += cells;
                if (at < length && surface.inside[index(line, at)] != 0) {
                    const double next = static_cast<double>(surface.rates[index(line, at)]);
                    runs.changes += 1.0;
                    runs.largest_change =
                        std::max(runs.largest_change, std::abs(next - static_cast<double>(rate)));
                }
            }
            if (runs_here > 1) runs.short_cells += short_here;
        }
    }
    return runs;
}

}  // namespace

RateSurface rate_surface(const Raster<std::int16_t>& zones, std::span<const double> rates) {
    RateSurface surface{Raster<float>(zones.frame, 0.0F), Mask(zones.frame, 0)};
    for (std::size_t i = 0; i < zones.size(); ++i) {
        const int label = zones[i];
        if (label == 0) continue;
        if (label < 0 || static_cast<std::size_t>(label) > rates.size()) {
            throw Error(ErrorKind::internal, "zone " + std::to_string(label) + " has no rate");
        }
        surface.rates[i] = static_cast<float>(rates[static_cast<std::size_t>(label) - 1]);
        surface.inside[i] = 1;
    }
    return surface;
}

double cut_no_apply(RateSurface& surface, const Mask& no_apply) {
    if (!(no_apply.frame == surface.rates.frame)) {
        throw Error(ErrorKind::internal, "the no-apply mask has another grid than the rates");
    }
    std::size_t cut = 0;
    bool left = false, any = false;
    for (std::size_t i = 0; i < no_apply.size(); ++i) {
        if (surface.inside[i] == 0) continue;
        any = any || surface.rates[i] > 0.0F;
        if (no_apply[i] != 0) {
            ++cut;
            surface.rates[i] = 0.0F;
        }
        left = left || surface.rates[i] > 0.0F;
    }
    if (any && !left) {
        throw Error(ErrorKind::data, "the no-apply areas and setbacks leave nothing to apply on",
                    {.hint = "Check the setback distance and its unit."});
    }
    return static_cast<double>(cut) * surface.rates.frame.cell_area_ha();
}

int smooth_islands(RateSurface& surface, const Mask& keep) {
    const GridFrame& frame = surface.rates.frame;
    if (keep.size() != 0 && !(keep.frame == frame)) {
        throw Error(ErrorKind::internal, "the mask of kept cells has another grid than the rates");
    }
    int changed = 0;
    std::vector<std::pair<std::size_t, float>> changes;
    for (int pass = 0; pass < 10; ++pass) {
        changes.clear();
        for (int row = 0; row < frame.rows; ++row) {
            for (int col = 0; col < frame.cols; ++col) {
                const std::size_t i = frame.index(row, col);
                if (surface.inside[i] == 0 || !(surface.rates[i] > 0.0F)) continue;
                if (keep.size() != 0 && keep[i] != 0) continue;
                const Around around = look_around(surface, row, col);
                if (around.lone && around.found) changes.emplace_back(i, around.commonest);
            }
        }
        for (const auto& [i, rate] : changes) surface.rates[i] = rate;
        changed += static_cast<int>(changes.size());
        if (changes.empty()) break;
    }
    return changed;
}

SurfaceTotals surface_totals(const RateSurface& surface, RateUnit unit) {
    SurfaceTotals totals;
    std::vector<float> inside;
    double sum = 0.0;
    std::size_t applied = 0;
    for (std::size_t i = 0; i < surface.rates.size(); ++i) {
        if (surface.inside[i] == 0) continue;
        const float rate = surface.rates[i];
        sum += static_cast<double>(rate);
        if (rate > 0.0F) ++applied;
        inside.push_back(rate);
    }
    if (inside.empty()) return totals;
    const double cell_ha = surface.rates.frame.cell_area_ha();
    const double count = static_cast<double>(inside.size());
    totals.area_ha = count * cell_ha;
    totals.applied_area_ha = static_cast<double>(applied) * cell_ha;
    totals.mean = sum / count;
    totals.total = total_amount(totals.mean, totals.area_ha, unit);
    std::sort(inside.begin(), inside.end());
    totals.lowest = static_cast<double>(inside.front());
    totals.highest = static_cast<double>(inside.back());
    totals.distinct_rates =
        static_cast<int>(std::unique(inside.begin(), inside.end()) - inside.begin());
    return totals;
}

TransitionCheck check_transitions(const RateSurface& surface, const Machine& machine) {
    TransitionCheck check;
    check.distance_m = transition_distance_m(machine);
    const GridFrame& frame = surface.rates.frame;
    const double least_m = std::max(check.distance_m, machine.width_m);
    const Runs rows = count_runs(surface, true, least_m / frame.cell);
    const Runs cols = count_runs(surface, false, least_m / frame.cell);
    const bool rows_better = rows.short_cells < cols.short_cells ||
                             (rows.short_cells == cols.short_cells && rows.changes <= cols.changes);
    const Runs& better = rows_better ? rows : cols;
    check.largest_change = std::max(rows.largest_change, cols.largest_change);
    if (better.cells == 0.0) return check;
    check.short_area_ha = better.short_cells * frame.cell_area_ha();
    check.changes_per_km = better.changes / (better.cells * frame.cell) * 1000.0;
    if (check.distance_m > frame.cell && better.changes > 0.0) {
        check.warnings.push_back("a rate change takes " + fixed(check.distance_m, 1) +
                                 " m at this speed and lag, more than a cell of " +
                                 significant(frame.cell, 3) + " m: set the look-ahead to " +
                                 fixed(machine.lag_s, 1) + " s");
    }
    const double short_share = better.short_cells / better.cells;
    if (short_share > 0.05) {
        check.warnings.push_back(fixed(100.0 * short_share, 0) +
                                 " % of the area lies in stretches shorter than " +
                                 fixed(least_m, 0) + " m, which the machine cannot follow");
    }
    return check;
}

}  // namespace catchfield::prescription
