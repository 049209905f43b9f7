// SPDX-License-Identifier: MIT
// Points as they come off a yield or EC monitor: outliers out, for counted reasons; block averages.
#include "zoning/monitor_points.hpp"

#include "base/error.hpp"
#include "zoning/assumptions.hpp"

#include <algorithm>
#include <cmath>
#include <numeric>
#include <utility>

namespace catchfield::zoning {

namespace {

constexpr double robust_sd_per_mad = 1.4826;  // of a normal distribution: 1 / 0.67449

// Of values in any order, which are reordered; the mean of the middle two for an even number.
double median(std::vector<double>& values) {
    const std::size_t half = values.size() / 2;
    const auto middle = values.begin() + static_cast<std::ptrdiff_t>(half);
    std::nth_element(values.begin(), middle, values.end());
    if (values.size() % 2 == 1) return *middle;
    return (*middle + *std::max_element(values.begin(), middle)) / 2.0;
}

struct Spread {
    double median = 0.0;
    double mad = 0.0;
};

Spread robust_spread(std::vector<double>& values) {
    // Reorders and overwrites the values.
    Spread spread;
    spread.median = median(values);
    for (double& v : values) v = std::abs(v - spread.median);
    spread.mad = median(values);
    return spread;
}

std::ptrdiff_t cell_at(const GridFrame& frame, double x, double y) {
    const double col = std::floor((x - frame.west) / frame.cell);
    const double row = std::floor((frame.north - y) / frame.cell);
    if (!(col >= 0.0 && row >= 0.0 && col < frame.cols && row < frame.rows)) return -1;
    return static_cast<std::ptrdiff_t>(frame.index(static_cast<int>(row), static_cast<int>(col)));
}

// Points by square bins of the local radius, for neighbours within it.
class Bins {
  public:
    Bins(const std::vector<MonitorPoint>& points, const std::vector<std::size_t>& members,
         double side)
        : m_side(side) {
        for (const std::size_t i : members) {
            m_west = m_entries.empty() ? points[i].x : std::min(m_west, points[i].x);
            m_south = m_entries.empty() ? points[i].y : std::min(m_south, points[i].y);
            m_entries.push_back({0, i});
        }
        for (Entry& entry : m_entries) {
            entry.bin = bin(column(points[entry.point].x), row(points[entry.point].y));
        }
        std::sort(m_entries.begin(), m_entries.end());
    }
    template <typename Visit>
    void around(double x, double y, Visit&& visit) const {
        for (std::int64_t r = row(y) - 1; r <= row(y) + 1; ++r) {
            const Entry from{bin(column(x) - 1, r), 0};
            const std::int64_t last = bin(column(x) + 1, r);
            for (auto e = std::lower_bound(m_entries.begin(), m_entries.end(), from);
                 e != m_entries.end() && e->bin <= last; ++e) {
                visit(e->point);
            }
        }
    }

  private:
    struct Entry {
        std::int64_t bin = 0;
        std::size_t point = 0;
        auto operator<=>(const Entry&) const = default;
    };
    std::int64_t column(double x) const {
        return static_cast<std::int64_t>(std::floor((x - m_west) / m_side));
    }
    std::int64_t row(double y) const {
        return static_cast<std::int64_t>(std::floor((y - m_south) / m_side));
    }
    static std::int64_t bin(std::int64_t col, std::int64_t row) {
        return (row << 32) + col + (std::int64_t{1} << 31);
    }
    double m_side;
    double m_west = 0.0;
    double m_south = 0.0;
    std::vector<Entry> m_entries;
};

double distance(const MonitorPoint& a, const MonitorPoint& b) {
    return std::hypot(a.x - b.x, a.y - b.y);
}

// For the whole field: a field of two levels has a small MAD about the larger half, so half the
// distance between the quartiles, which equals the MAD where the distribution is symmetric, is
// taken where it is more.
Spread field_spread(std::vector<double> values) {
    std::sort(values.begin(), values.end());
    const std::size_t last = values.size() - 1;
    const double half_range = (values[3 * last / 4] - values[last / 4]) / 2.0;
    Spread spread = robust_spread(values);
    spread.mad = std::max(spread.mad, half_range);
    return spread;
}

// Everything about one cleaning run; the rules are its members, in the order they are applied.
struct Cleaning {
    const MonitorRules& rules;
    std::vector<MonitorPoint> points;
    std::vector<DropReason>& reason;
    std::vector<std::pair<std::size_t, std::size_t>> passes;  // [begin, end)

    bool kept(std::size_t i) const { return reason[i] == DropReason::kept; }
    void drop(std::size_t i, DropReason why) {
        if (kept(i)) reason[i] = why;
    }

    void values() {
        for (std::size_t i = 0; i < points.size(); ++i) {
            const MonitorPoint& p = points[i];
            if (!std::isfinite(p.value) || !std::isfinite(p.x) || !std::isfinite(p.y) ||
                (p.time_s && !std::isfinite(*p.time_s)) ||
                (p.speed_m_s && !std::isfinite(*p.speed_m_s))) {
                drop(i, DropReason::not_finite);
            } else if (p.value <= rules.min_value || p.value > rules.max_value) {
                drop(i, DropReason::out_of_range);
            }
        }
    }
    bool timed(std::pair<std::size_t, std::size_t> pass) const {
        for (std::size_t i = pass.first; i < pass.second; ++i) {
            if (!points[i].time_s) return false;
        }
        return true;
    }
    void speeds(std::pair<std::size_t, std::size_t> pass) {
        for (std::size_t i = pass.first + 1; i < pass.second; ++i) {
            if (points[i].speed_m_s) continue;
            const double seconds = *points[i].time_s - *points[i - 1].time_s;
            if (seconds > 0.0) {
                points[i].speed_m_s = distance(points[i], points[i - 1]) / seconds;
            }
        }
        if (pass.second - pass.first > 1 && !points[pass.first].speed_m_s) {
            points[pass.first].speed_m_s = points[pass.first + 1].speed_m_s;
        }
    }
    // The value read now was cut delay_s ago: it belongs to the place passed then.
    void move_back(std::pair<std::size_t, std::size_t> pass) {
        if (rules.delay_s <= 0.0) return;
        const std::vector<MonitorPoint> track(
            points.begin() + static_cast<std::ptrdiff_t>(pass.first),
            points.begin() + static_cast<std::ptrdiff_t>(pass.second));
        std::size_t j = 0;
        for (std::size_t i = pass.first; i < pass.second; ++i) {
            const double then = *points[i].time_s - rules.delay_s;
            if (then < *track.front().time_s) {
                drop(i, DropReason::lag);
                continue;
            }
            while (j + 2 < track.size() && *track[j + 1].time_s <= then) ++j;
            if (track.size() < 2) continue;
            const double span = *track[j + 1].time_s - *track[j].time_s;
            const double share = span > 0.0 ? (then - *track[j].time_s) / span : 0.0;
            points[i].x = track[j].x + share * (track[j + 1].x - track[j].x);
            points[i].y = track[j].y + share * (track[j + 1].y - track[j].y);
        }
    }
    void pass_ends(std::pair<std::size_t, std::size_t> pass) {
        const double first = *points[pass.first].time_s;
        const double last = *points[pass.second - 1].time_s;
        for (std::size_t i = pass.first; i < pass.second; ++i) {
            if (*points[i].time_s - first < rules.start_s ||
                last - *points[i].time_s < rules.end_s) {
                drop(i, DropReason::lag);
            }
        }
    }
    void field_only(const Mask& field) {
        for (std::size_t i = 0; i < points.size(); ++i) {
            if (!kept(i)) continue;
            const std::ptrdiff_t cell = cell_at(field.frame, points[i].x, points[i].y);
            if (cell < 0 || !field[static_cast<std::size_t>(cell)]) {
                drop(i, DropReason::outside_field);
            }
        }
    }
    void speed_rules(std::pair<std::size_t, std::size_t> pass) {
        for (std::size_t i = pass.first; i < pass.second; ++i) {
            if (!points[i].speed_m_s) continue;
            const double speed = *points[i].speed_m_s;
            if (speed < rules.min_speed_m_s || speed > rules.max_speed_m_s) {
                drop(i, DropReason::speed);
            } else if (i > pass.first && points[i - 1].speed_m_s) {
                const double before = *points[i - 1].speed_m_s;
                if (std::abs(speed - before) > rules.max_speed_change * before) {
                    drop(i, DropReason::speed_change);
                }
            }
        }
    }
    // A reading that leaves its neighbours in the pass by a jump while those agree with each other.
    void flow_rule(std::pair<std::size_t, std::size_t> pass, double global_median) {
        const double limit = rules.max_flow_change * std::abs(global_median);
        std::vector<std::size_t> members;
        for (std::size_t i = pass.first; i < pass.second; ++i) {
            if (kept(i)) members.push_back(i);
        }
        std::vector<std::size_t> jumps;
        for (std::size_t m = 1; m + 1 < members.size(); ++m) {
            const double before = points[members[m - 1]].value;
            const double here = points[members[m]].value;
            const double after = points[members[m + 1]].value;
            if (std::abs(here - before) > limit && std::abs(here - after) > limit &&
                std::abs(after - before) <= limit) {
                jumps.push_back(members[m]);
            }
        }
        for (const std::size_t i : jumps) drop(i, DropReason::flow_change);
    }
    std::vector<std::size_t> members() const {
        std::vector<std::size_t> out;
        for (std::size_t i = 0; i < points.size(); ++i) {
            if (kept(i)) out.push_back(i);
        }
        return out;
    }
    std::vector<double> kept_values() const {
        std::vector<double> out;
        for (const std::size_t i : members()) out.push_back(points[i].value);
        return out;
    }
    void global_rule(const Spread& all) {
        if (!(all.mad > 0.0)) return;
        const double limit = rules.global_mads * robust_sd_per_mad * all.mad;
        for (const std::size_t i : members()) {
            if (std::abs(points[i].value - all.median) > limit) {
                drop(i, DropReason::global_outlier);
            }
        }
    }
    void local_rule(const Spread& all) {
        if (!(rules.local_radius_m > 0.0)) return;
        const std::vector<std::size_t> candidates = members();
        const Bins bins(points, candidates, rules.local_radius_m);
        std::vector<double> around;
        std::vector<std::size_t> outliers;
        for (const std::size_t i : candidates) {
            around.clear();
            bins.around(points[i].x, points[i].y, [&](std::size_t j) {
                if (j != i && distance(points[i], points[j]) <= rules.local_radius_m) {
                    around.push_back(points[j].value);
                }
            });
            if (around.size() < static_cast<std::size_t>(rules.local_min_points)) continue;
            const Spread local = robust_spread(around);
            const double mad = std::max(local.mad, 0.1 * all.mad);
            if (std::abs(points[i].value - local.median) >
                rules.local_mads * robust_sd_per_mad * mad) {
                outliers.push_back(i);
            }
        }
        for (const std::size_t i : outliers) drop(i, DropReason::local_outlier);
    }
};

}  // namespace

std::string_view drop_reason_name(DropReason reason) {
    switch (reason) {
        case DropReason::kept:
            return "kept";
        case DropReason::not_finite:
            return "not a number";
        case DropReason::out_of_range:
            return "value out of range";
        case DropReason::outside_field:
            return "outside the field";
        case DropReason::lag:
            return "start or end of a pass";
        case DropReason::speed:
            return "too slow or too fast";
        case DropReason::speed_change:
            return "sudden change of speed";
        case DropReason::flow_change:
            return "sudden change of flow";
        case DropReason::global_outlier:
            return "far from the field's median";
        case DropReason::local_outlier:
            return "far from the median around it";
    }
    return "";
}

MonitorRules default_monitor_rules() {
    MonitorRules rules;
    rules.start_s = assumption("monitor_start_s").value;
    rules.end_s = assumption("monitor_end_s").value;
    rules.min_speed_m_s = assumption("monitor_min_speed").value;
    rules.max_speed_m_s = assumption("monitor_max_speed").value;
    rules.max_speed_change = assumption("monitor_max_speed_change").value;
    rules.max_flow_change = assumption("monitor_max_flow_change").value;
    rules.global_mads = assumption("monitor_global_mads").value;
    rules.local_mads = assumption("monitor_local_mads").value;
    rules.local_radius_m = assumption("monitor_local_radius").value;
    return rules;
}

CleanPoints clean_monitor_points(std::span<const MonitorPoint> points, const Mask& field,
                                 const MonitorRules& rules) {
    if (points.empty()) throw Error(ErrorKind::data, "there are no monitor points");
    for (const double limit :
         {rules.delay_s, rules.start_s, rules.end_s, rules.max_speed_change, rules.max_flow_change,
          rules.global_mads, rules.local_mads, rules.local_radius_m}) {
        if (!(limit >= 0.0)) {
            throw Error(ErrorKind::usage, "the limits of the monitor rules must be 0 or more");
        }
    }
    if (!(rules.min_value < rules.max_value) || !(rules.min_speed_m_s < rules.max_speed_m_s)) {
        throw Error(ErrorKind::usage,
                    "the lower limits of the monitor rules must be below the upper");
    }
    CleanPoints out;
    out.reason.assign(points.size(), DropReason::kept);
    Cleaning cleaning{rules, {points.begin(), points.end()}, out.reason, {}};
    for (std::size_t begin = 0; begin < points.size();) {
        std::size_t end = begin + 1;
        while (end < points.size() && points[end].pass == points[begin].pass) ++end;
        cleaning.passes.emplace_back(begin, end);
        begin = end;
    }
    cleaning.values();
    std::size_t untimed = 0;
    for (const auto& pass : cleaning.passes) {
        if (!cleaning.timed(pass)) {
            ++untimed;
            continue;
        }
        cleaning.speeds(pass);
        cleaning.move_back(pass);
    }
    cleaning.field_only(field);
    for (const auto& pass : cleaning.passes) {
        if (cleaning.timed(pass)) cleaning.pass_ends(pass);
        cleaning.speed_rules(pass);
    }
    std::vector<double> values = cleaning.kept_values();
    if (!values.empty()) {
        const double middle = median(values);
        for (const auto& pass : cleaning.passes) cleaning.flow_rule(pass, middle);
    }
    values = cleaning.kept_values();
    if (!values.empty()) {
        const Spread all = field_spread(std::move(values));
        cleaning.global_rule(all);
        cleaning.local_rule(all);
    }
    if (untimed > 0) {
        out.warnings.push_back(std::to_string(untimed) + " of " +
                               std::to_string(cleaning.passes.size()) +
                               " passes have points without a time: their starts and ends were not "
                               "cut and their delay not corrected");
    }
    for (std::size_t i = 0; i < points.size(); ++i) {
        ++out.counts[static_cast<std::size_t>(out.reason[i])];
        if (cleaning.kept(i)) out.kept.push_back(cleaning.points[i]);
    }
    if (out.kept.empty()) {
        out.warnings.push_back("no monitor point is left after cleaning");
    } else if (2 * out.kept.size() < points.size()) {
        out.warnings.push_back("cleaning took " + std::to_string(points.size() - out.kept.size()) +
                               " of " + std::to_string(points.size()) +
                               " monitor points: check units and limits");
    }
    return out;
}

GriddedPoints block_average(std::span<const MonitorPoint> points, const GridFrame& frame,
                            int min_points) {
    if (min_points < 1) throw Error(ErrorKind::usage, "a cell needs one point or more");
    GriddedPoints out{Raster<float>(frame, 0.0F), Mask(frame, 0), Raster<std::uint32_t>(frame, 0)};
    std::vector<double> sum(frame.size(), 0.0);
    for (const MonitorPoint& point : points) {
        const std::ptrdiff_t cell = cell_at(frame, point.x, point.y);
        if (cell < 0) continue;
        sum[static_cast<std::size_t>(cell)] += point.value;
        ++out.points[static_cast<std::size_t>(cell)];
    }
    for (std::size_t i = 0; i < frame.size(); ++i) {
        if (out.points[i] < static_cast<std::uint32_t>(min_points)) continue;
        out.values[i] = static_cast<float>(sum[i] / out.points[i]);
        out.valid[i] = 1;
    }
    return out;
}

}  // namespace catchfield::zoning
