// SPDX-License-Identifier: MIT
// S, L, LS in closed form and the default slope lengths.
#include "terrain/slope_length.hpp"

#include "base/error.hpp"
#include "base/table.hpp"
#include "base/text.hpp"
#include "base/units.hpp"
#include "terrain/data.hpp"
#include "terrain/ls_kernel.hpp"

#include <cmath>
#include <limits>

namespace catchfield::terrain {

namespace {

constexpr double ah537_unit_plot_ft = 72.6;

double checked_sine(double slope_pct) {
    if (!std::isfinite(slope_pct) || slope_pct < 0.0 || slope_pct > clamp_slope_pct) {
        throw Error(ErrorKind::data, "slope of " + shortest(slope_pct) + " % is outside 0 to 50 %",
                    {.hint = "The slope factor has no data behind it there."});
    }
    return kernel::sine_of_slope(slope_pct);
}

double checked_length(double length_m) {
    // The tolerance lets 1000 ft (304.8 m) and 305 m through whatever the rounding on the way.
    if (!std::isfinite(length_m) || length_m <= 0.0 || length_m > longest_length_m + 1e-6) {
        throw Error(ErrorKind::data,
                    "slope length of " + shortest(length_m) + " m is outside 0 to 305 m",
                    {.hint = "Overland flow ends within 305 m (1000 ft); end the slope where it "
                             "meets a channel or deposition begins."});
    }
    return std::max(length_m, shortest_length_m);
}

double ah537_steepness(double slope_pct) {
    const double sine = checked_sine(slope_pct);
    return (430.0 * sine * sine + 30.0 * sine + 0.43) / 6.574;
}

/// Mean over the slope of S_j L_j, weighted by length (Foster & Wischmeier 1974).
template <typename Exponent, typename Steepness>
double irregular(std::span<const SlopeSegment> segments, double unit_length_m, Exponent exponent,
                 Steepness steepness) {
    if (segments.empty()) throw Error(ErrorKind::data, "an irregular slope has no segments");
    double end_m = 0.0;
    double weighted = 0.0;
    for (const SlopeSegment& segment : segments) {
        checked_length(segment.length_m);
        const double m = exponent(segment.slope_pct);
        const double start_m = end_m;
        end_m += segment.length_m;
        weighted += steepness(segment.slope_pct) *
                    (std::pow(end_m, m + 1.0) - std::pow(start_m, m + 1.0)) /
                    std::pow(unit_length_m, m);
    }
    checked_length(end_m);
    return weighted / end_m;
}

}  // namespace

double steepness_factor(double slope_pct, SteepnessFormula formula) {
    return kernel::steepness(slope_pct, checked_sine(slope_pct), formula);
}

double interrill_steepness_factor(double slope_pct) {
    return 3.0 * std::pow(checked_sine(slope_pct), 0.8) + 0.56;
}

double rill_interrill_ratio(double slope_pct, RillRatio rills) {
    return kernel::rill_ratio(checked_sine(slope_pct), kernel::rill_coefficient<double>(rills));
}

double length_exponent(double slope_pct, RillRatio rills) {
    return kernel::exponent(checked_sine(slope_pct), kernel::rill_coefficient<double>(rills));
}

double length_factor(double length_m, double exponent) {
    return std::pow(checked_length(length_m) / unit_plot_length_m, exponent);
}

double ls_uniform(double slope_pct, double length_m, RillRatio rills, SteepnessFormula formula) {
    return length_factor(length_m, length_exponent(slope_pct, rills)) *
           steepness_factor(slope_pct, formula);
}

double ls_ah537(double slope_pct, double length_m) {
    const double m = slope_pct < 1.0 ? 0.2 : slope_pct < 3.5 ? 0.3 : slope_pct < 5.0 ? 0.4 : 0.5;
    const double length_ft = checked_length(length_m) / units::m_per_ft;
    return std::pow(length_ft / ah537_unit_plot_ft, m) * ah537_steepness(slope_pct);
}

double ls_stream_power(double specific_area_m, double slope_pct) {
    if (!std::isfinite(specific_area_m) || specific_area_m < 0.0) {
        throw Error(ErrorKind::data, "specific catchment area of " + shortest(specific_area_m) +
                                         " m is not a finite positive number");
    }
    return std::pow(specific_area_m / unit_plot_length_m, 0.4) *
           std::pow(checked_sine(slope_pct) / 0.0896, 1.3);
}

double ls_irregular(std::span<const SlopeSegment> segments, RillRatio rills,
                    SteepnessFormula formula) {
    return irregular(
        segments, unit_plot_length_m,
        [rills](double slope_pct) { return length_exponent(slope_pct, rills); },
        [formula](double slope_pct) { return steepness_factor(slope_pct, formula); });
}

double ls_irregular_ah537(std::span<const SlopeSegment> segments, double exponent) {
    return irregular(
        segments, ah537_unit_plot_ft * units::m_per_ft, [exponent](double) { return exponent; },
        ah537_steepness);
}

double cell_length_factor(double inflow_m2, double cell_m, double width_factor, double exponent) {
    if (!(inflow_m2 >= 0.0) || !(cell_m > 0.0) || !(width_factor > 0.0)) {
        throw Error(ErrorKind::data,
                    "the length factor of a cell needs an area of 0 or more and a positive cell "
                    "size and width");
    }
    return kernel::cell_length(inflow_m2 / (cell_m * cell_m), cell_m, width_factor, exponent);
}

std::vector<DefaultLength> read_default_lengths(std::string_view csv, const std::string& path) {
    const Table table = Table::parse(csv, path);
    table.require({"slope_up_to_pct", "length_ft", "confidence"});
    if (table.rows() == 0) throw Error(ErrorKind::data, "no slope lengths in the table", {path});
    std::vector<DefaultLength> lengths;
    double below = 0.0;
    for (std::size_t row = 0; row < table.rows(); ++row) {
        const bool last = row + 1 == table.rows();
        const auto limit = table.number(row, "slope_up_to_pct");
        if (!limit && !last) {
            table.fail(row, "slope_up_to_pct", "only the last row may have no upper slope");
        }
        const double up_to = last ? std::numeric_limits<double>::infinity() : *limit;
        if (up_to <= below) table.fail(row, "slope_up_to_pct", "slopes do not ascend");
        const double length_m = table.required_number(row, "length_ft") * units::m_per_ft;
        if (length_m <= 0.0 || length_m > longest_length_m) {
            table.fail(row, "length_ft", "length is outside 0 to 1000 ft");
        }
        lengths.push_back({up_to, length_m, parse_confidence(table.text(row, "confidence"))});
        below = up_to;
    }
    return lengths;
}

std::vector<DefaultLength> default_lengths() {
    return read_default_lengths(data::default_lengths, "default_lengths.csv");
}

const DefaultLength& default_length(const std::vector<DefaultLength>& table, double slope_pct) {
    for (const DefaultLength& row : table) {
        if (slope_pct <= row.slope_up_to_pct) return row;
    }
    throw Error(ErrorKind::data, "no default slope length for a slope of " + shortest(slope_pct));
}

}  // namespace catchfield::terrain
