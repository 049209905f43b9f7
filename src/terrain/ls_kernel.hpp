// SPDX-License-Identifier: MIT
// The LS equations as templates: double for the public functions, float for rasters. Internal.
// Sources and validity stand in slope_length.hpp.
#pragma once

#include "terrain/slope_length.hpp"

#include <cmath>

namespace catchfield::terrain::kernel {

template <typename T>
T sine_of_slope(T slope_pct) {
    const T tangent = slope_pct * T(0.01);
    return tangent / std::sqrt(T(1) + tangent * tangent);
}

template <typename T>
T steepness(T slope_pct, T sine, SteepnessFormula formula) {
    if (slope_pct < T(9)) return T(10.8) * sine + T(0.03);
    if (formula == SteepnessFormula::liu) return T(21.91) * sine - T(0.96);
    return T(16.8) * sine - T(0.50);
}

template <typename T>
T rill_coefficient(RillRatio rills) {
    switch (rills) {
        case RillRatio::low:
            return T(0.5);
        case RillRatio::high:
            return T(2);
        case RillRatio::moderate:
            break;
    }
    return T(1);
}

template <typename T>
T rill_ratio(T sine, T coefficient) {
    return coefficient * (sine / T(0.0896)) / (T(3) * std::pow(sine, T(0.8)) + T(0.56));
}

template <typename T>
T exponent(T sine, T coefficient) {
    const T beta = rill_ratio(sine, coefficient);
    return beta / (T(1) + beta);
}

/// Desmet & Govers with the area in cells: u = A / D^2, so that
/// L = ((u + 1)^(m + 1) - u^(m + 1)) (D / (22.13 x))^m.
template <typename T>
T cell_length(T inflow_cells, T cell_m, T width_factor, T m) {
    const T whole = std::pow(inflow_cells + T(1), m + T(1)) - std::pow(inflow_cells, m + T(1));
    return whole * std::pow(cell_m / (T(unit_plot_length_m) * width_factor), m);
}

}  // namespace catchfield::terrain::kernel
