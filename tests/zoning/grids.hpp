// SPDX-License-Identifier: MIT
// Small fields and layers for the zoning tests.
#pragma once

#include "base/random.hpp"
#include "zoning/zones.hpp"

#include <cmath>
#include <cstdint>
#include <functional>
#include <string>
#include <utility>

namespace catchfield::zoning::testing {

inline GridFrame frame_of(int rows, int cols, double cell_m = 10.0) {
    return {500000.0, 4500000.0, cell_m, cols, rows};
}

inline Mask full(const GridFrame& frame) {
    return Mask(frame, 1);
}

/// An ellipse with a bite taken out, inside the frame.
inline Mask odd_field(const GridFrame& frame) {
    Mask field(frame, 0);
    for (int r = 0; r < frame.rows; ++r) {
        for (int c = 0; c < frame.cols; ++c) {
            const double y = (r + 0.5) / frame.rows * 2.0 - 1.0;
            const double x = (c + 0.5) / frame.cols * 2.0 - 1.0;
            field.at(r, c) = x * x + y * y < 1.0 && !(x > 0.3 && y > 0.4);
        }
    }
    return field;
}

inline Feature layer(const std::string& name, const GridFrame& frame,
                     const std::function<double(int, int)>& value) {
    Feature feature{name, Raster<float>(frame), Mask(frame, 1)};
    for (int r = 0; r < frame.rows; ++r) {
        for (int c = 0; c < frame.cols; ++c) {
            feature.values.at(r, c) = static_cast<float>(value(r, c));
        }
    }
    return feature;
}

/// Field-like features: smooth waves of different length with a little noise.
inline std::vector<Feature> landscape(const GridFrame& frame, std::uint64_t seed, int count = 5) {
    std::vector<Feature> features;
    Random random(seed);
    for (int f = 0; f < count; ++f) {
        const double a = random.uniform(2.0, 6.0) / frame.rows;
        const double b = random.uniform(2.0, 6.0) / frame.cols;
        const double phase = random.uniform(0.0, 6.0);
        std::string name = "layer ";
        name += static_cast<char>('a' + f);
        features.push_back(layer(name, frame, [&](int r, int c) {
            return 50.0 + 10.0 * std::sin(a * r + phase) + 8.0 * std::cos(b * c + phase) +
                   random.normal();
        }));
    }
    return features;
}

}  // namespace catchfield::zoning::testing
