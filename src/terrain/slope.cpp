// SPDX-License-Identifier: MIT
// Horn's gradient, aspect and smoothing.
#include "terrain/slope.hpp"

#include "base/error.hpp"
#include "base/text.hpp"
#include "terrain/ground.hpp"
#include "terrain/parallel.hpp"

#include <algorithm>
#include <atomic>
#include <cmath>
#include <numbers>
#include <string>

namespace catchfield::terrain {

namespace {

// No land lies lower (the Dead Sea's shore: -430 m) or higher; -9999 is a no-data value that nobody
// declared.
constexpr float lowest_elevation_m = -500.0F;
constexpr float highest_elevation_m = 9'000.0F;

template <typename T>
void require_array(const Raster<T>& raster, const char* what) {
    if (!(raster.frame.cell > 0.0) || !std::isfinite(raster.frame.cell) || raster.frame.cols < 1 ||
        raster.frame.rows < 1 || raster.values.size() != raster.frame.size()) {
        throw Error(ErrorKind::data,
                    std::string(what) + " has no cells, or not as many as its frame");
    }
}

bool has_value(const Mask* known, std::size_t i) {
    return known == nullptr || (*known)[i] != 0;
}

/// Least-squares gradient from sums over neighbours; east and north offsets in cells.
std::optional<Gradient> solve_plane(double ee, double en, double nn, double ez, double nz,
                                    double cell_m) {
    const double determinant = ee * nn - en * en;
    if (determinant > 1e-9 * (ee + nn) * (ee + nn)) {
        return Gradient{static_cast<float>((ez * nn - nz * en) / determinant / cell_m),
                        static_cast<float>((nz * ee - ez * en) / determinant / cell_m)};
    }
    // All on one line through the centre: the gradient along that line, none across.
    if (ee + nn <= 0.0) return std::nullopt;
    const double scale = 1.0 / ((ee + nn) * cell_m);
    return Gradient{static_cast<float>(ez * scale), static_cast<float>(nz * scale)};
}

}  // namespace

void require_same_frame(const GridFrame& frame, const Mask& mask, const char* what) {
    require_array(mask, what);
    if (mask.frame != frame) {
        throw Error(ErrorKind::data, std::string(what) + " is not on the grid of the elevations");
    }
}

void require_elevations(const Raster<float>& dem_m, const Mask* known) {
    require_array(dem_m, "elevation raster");
    if (known != nullptr) require_same_frame(dem_m.frame, *known, "mask of known elevations");
    std::atomic<bool> good = true;
    const int cols = dem_m.frame.cols;
    for_rows(dem_m.frame.rows, cols, [&](int first, int end) {
        bool all = true;
        const std::size_t stop = dem_m.frame.index(end, 0);
        for (std::size_t i = dem_m.frame.index(first, 0); i < stop; ++i) {
            // Written so that NaN fails.
            all &= ((dem_m[i] >= lowest_elevation_m) & (dem_m[i] <= highest_elevation_m)) |
                   !has_value(known, i);
        }
        if (!all) good = false;
    });
    if (!good) {
        throw Error(ErrorKind::data,
                    "elevations that are not finite or not between -500 and 9,000 m",
                    {.hint = "Declare the raster's no-data value, and check the elevation unit."});
    }
}

Ground make_ground(const Raster<float>& dem_m, const Mask* known, const Mask* domain,
                   const Mask* blocked) {
    Ground ground;
    ground.frame = dem_m.frame;
    const int rows = dem_m.frame.rows;
    const int cols = dem_m.frame.cols;
    ground.stride = static_cast<std::size_t>(cols) + 2;
    for (std::size_t k = 0; k < 8; ++k) {
        ground.step[k] = row_step[k] * static_cast<std::ptrdiff_t>(ground.stride) + col_step[k];
    }
    const std::size_t size = ground.stride * (static_cast<std::size_t>(rows) + 2);
    ground.z.assign(size, 0.0F);
    ground.flags.assign(size, 0);
    for_rows(rows, cols, [&](int first, int end) {
        for (int row = first; row < end; ++row) {
            std::size_t p = ground.position(row, 0);
            std::size_t i = dem_m.frame.index(row, 0);
            for (int col = 0; col < cols; ++col, ++p, ++i) {
                if (!has_value(known, i)) continue;
                ground.z[p] = dem_m[i];
                const bool in = domain != nullptr && (*domain)[i] != 0 &&
                                (blocked == nullptr || (*blocked)[i] == 0);
                ground.flags[p] = in ? flag::inside : flag::known_outside;
            }
        }
    });
    for_rows(rows, cols, [&](int first, int end) {
        for (int row = first; row < end; ++row) {
            std::size_t p = ground.position(row, 0);
            for (int col = 0; col < cols; ++col, ++p) {
                if (!ground.is_inside(p)) continue;
                std::uint8_t all = flag::inside;
                for (int k = 0; k < 8; ++k) {
                    // Only bits that never change here are read: other rows run at the same time.
                    const std::size_t n = ground.neighbour(p, k);
                    all &= static_cast<std::uint8_t>(
                        std::atomic_ref(ground.flags[n]).load(std::memory_order_relaxed));
                }
                if (all == 0) {
                    std::atomic_ref(ground.flags[p])
                        .store(flag::inside | flag::edge, std::memory_order_relaxed);
                }
            }
        }
    });
    return ground;
}

std::optional<Gradient> fit_gradient(const Ground& ground, std::size_t p) {
    double ee = 0.0;
    double en = 0.0;
    double nn = 0.0;
    double ez = 0.0;
    double nz = 0.0;
    for (int k = 0; k < 8; ++k) {
        const std::size_t n = ground.neighbour(p, k);
        if (!ground.is_known(n)) continue;
        const auto i = static_cast<std::size_t>(k);
        const double weight = k % 2 == 0 ? 2.0 : 1.0;
        const double east = col_step[i];
        const double north = -row_step[i];
        const double rise = static_cast<double>(ground.z[n]) - static_cast<double>(ground.z[p]);
        ee += weight * east * east;
        en += weight * east * north;
        nn += weight * north * north;
        ez += weight * east * rise;
        nz += weight * north * rise;
    }
    // The full window: ee = nn = 8 and en = 0, which is Horn's formula.
    return solve_plane(ee, en, nn, ez, nz, ground.frame.cell);
}

void gradient_row(const Ground& ground, int row, Gradient* out, std::uint8_t* valid) {
    const int cols = ground.frame.cols;
    const auto eighth_per_m = static_cast<float>(0.125 / ground.frame.cell);
    const auto stride = static_cast<std::ptrdiff_t>(ground.stride);
    const std::size_t start = ground.position(row, 0);
    const float* z = ground.z.data() + start;
    for (int col = 0; col < cols; ++col) out[col] = full_gradient(z + col, stride, eighth_per_m);
    for (int col = 0; col < cols; ++col) {
        const std::size_t p = start + static_cast<std::size_t>(col);
        valid[col] = 1;
        if ((ground.flags[p] & (flag::inside | flag::edge)) == flag::inside) continue;
        std::optional<Gradient> fitted;
        if (ground.is_known(p)) fitted = fit_gradient(ground, p);
        out[col] = fitted.value_or(Gradient{});
        valid[col] = fitted.has_value() ? 1 : 0;
    }
}

std::optional<Gradient> horn_gradient(const Raster<float>& dem_m, const Mask* known, int row,
                                      int col) {
    if (!dem_m.frame.contains(row, col) || !has_value(known, dem_m.frame.index(row, col))) {
        return std::nullopt;
    }
    GridFrame frame = dem_m.frame;
    frame.rows = 3;
    frame.cols = 3;
    Raster<float> window(frame);
    Mask window_known(frame);
    for (int r = 0; r < 3; ++r) {
        for (int c = 0; c < 3; ++c) {
            if (!dem_m.frame.contains(row + r - 1, col + c - 1)) continue;
            const std::size_t i = dem_m.frame.index(row + r - 1, col + c - 1);
            if (!has_value(known, i)) continue;
            window.at(r, c) = dem_m[i];
            window_known.at(r, c) = 1;
        }
    }
    const Ground ground = make_ground(window, &window_known, nullptr);
    return fit_gradient(ground, ground.position(1, 1));
}

float slope_pct(const Gradient& gradient) {
    return 100.0F * std::sqrt(gradient.east * gradient.east + gradient.north * gradient.north);
}

std::optional<double> aspect_rad(const Gradient& gradient) {
    if (gradient.east == 0.0F && gradient.north == 0.0F) return std::nullopt;
    const double angle =
        std::atan2(-static_cast<double>(gradient.east), -static_cast<double>(gradient.north));
    return angle < 0.0 ? angle + 2.0 * std::numbers::pi : angle;
}

SlopeResult slope_and_aspect(const Raster<float>& dem_m, const Mask& wanted, const Mask* known) {
    require_elevations(dem_m, known);
    require_same_frame(dem_m.frame, wanted, "mask of wanted cells");
    const GridFrame& frame = dem_m.frame;
    SlopeResult result{Raster<float>(frame), Raster<float>(frame), Raster<float>(frame),
                       Mask(frame)};
    const Ground ground = make_ground(dem_m, known, &wanted);
    for_rows(frame.rows, frame.cols, [&](int first, int end) {
        std::vector<Gradient> gradients(static_cast<std::size_t>(frame.cols));
        std::vector<std::uint8_t> valid(gradients.size());
        for (int row = first; row < end; ++row) {
            gradient_row(ground, row, gradients.data(), valid.data());
            for (int col = 0; col < frame.cols; ++col) {
                const std::size_t i = frame.index(row, col);
                const auto c = static_cast<std::size_t>(col);
                if (wanted[i] == 0 || valid[c] == 0) continue;
                const float pct = slope_pct(gradients[c]);
                result.mask[i] = 1;
                result.slope_pct[i] = pct;
                if (pct > 0.0F) {
                    result.aspect_sine[i] = -100.0F * gradients[c].east / pct;
                    result.aspect_cosine[i] = -100.0F * gradients[c].north / pct;
                }
            }
        }
    });
    return result;
}

namespace {

/// Half of a symmetric Gaussian, weights[0] in the middle; the whole sums to 1.
std::vector<float> gaussian_weights(double radius_cells) {
    const double sigma = 0.5 * radius_cells;
    std::vector<double> half;
    double sum = 0.0;
    for (int k = 0; k <= static_cast<int>(radius_cells); ++k) {
        half.push_back(std::exp(-0.5 * k * k / (sigma * sigma)));
        sum += k == 0 ? half.back() : 2.0 * half.back();
    }
    std::vector<float> weights;
    for (const double weight : half) weights.push_back(static_cast<float>(weight / sum));
    return weights;
}

/// Weighted plane through the known cells of the window, its height at the centre. Where they lie
/// on one line, or the centre is alone, the slope across is taken as none (ridge term).
float plane_at(const Raster<float>& dem_m, const Mask* known, const std::vector<float>& weights,
               int row, int col) {
    const int reach = static_cast<int>(weights.size()) - 1;
    const double centre = static_cast<double>(dem_m.at(row, col));
    double w = 0.0, wx = 0.0, wy = 0.0, wxx = 0.0, wxy = 0.0, wyy = 0.0;
    double wz = 0.0, wxz = 0.0, wyz = 0.0;
    for (int dy = -reach; dy <= reach; ++dy) {
        for (int dx = -reach; dx <= reach; ++dx) {
            if (!dem_m.frame.contains(row + dy, col + dx)) continue;
            const std::size_t i = dem_m.frame.index(row + dy, col + dx);
            if (!has_value(known, i)) continue;
            const double weight =
                static_cast<double>(weights[static_cast<std::size_t>(std::abs(dx))]) *
                static_cast<double>(weights[static_cast<std::size_t>(std::abs(dy))]);
            const double z = static_cast<double>(dem_m[i]) - centre;
            w += weight;
            wx += weight * dx;
            wy += weight * dy;
            wxx += weight * dx * dx;
            wxy += weight * dx * dy;
            wyy += weight * dy * dy;
            wz += weight * z;
            wxz += weight * dx * z;
            wyz += weight * dy * z;
        }
    }
    const double mx = wx / w;
    const double my = wy / w;
    const double mz = wz / w;
    const double ridge = 1e-9 * w;
    const double xx = wxx - w * mx * mx + ridge;
    const double yy = wyy - w * my * my + ridge;
    const double xy = wxy - w * mx * my;
    const double xz = wxz - w * mx * mz;
    const double yz = wyz - w * my * mz;
    const double determinant = xx * yy - xy * xy;
    const double slope_x = (xz * yy - yz * xy) / determinant;
    const double slope_y = (yz * xx - xz * xy) / determinant;
    return static_cast<float>(centre + mz - slope_x * mx - slope_y * my);
}

}  // namespace

Raster<float> smooth(const Raster<float>& dem_m, const Mask* known, double radius_m) {
    require_elevations(dem_m, known);
    const GridFrame& frame = dem_m.frame;
    const double radius_cells = radius_m / frame.cell;
    if (!std::isfinite(radius_m) || radius_m < 0.0 || radius_cells > 100.0) {
        throw Error(ErrorKind::usage,
                    "smoothing radius of " + shortest(radius_m) + " m is outside 0 to 100 cells");
    }
    if (radius_cells < 1.0) return dem_m;
    const std::vector<float> weights = gaussian_weights(radius_cells);
    const int reach = static_cast<int>(weights.size()) - 1;
    const int cols = frame.cols;
    Raster<float> smoothed(frame);
    for_rows(frame.rows, cols, [&](int first, int end) {
        const auto width = static_cast<std::size_t>(cols);
        std::vector<float> column_sum(width);          // filtered along columns
        std::vector<std::uint8_t> column_full(width);  // all known along columns
        for (int row = first; row < end; ++row) {
            const bool rows_fit = row >= reach && row + reach < frame.rows;
            if (rows_fit) {
                const float* middle = &dem_m.values[frame.index(row, 0)];
                for (std::size_t c = 0; c < width; ++c) {
                    column_sum[c] = weights[0] * middle[c];
                    column_full[c] = 1;
                }
                for (int k = 1; k <= reach; ++k) {
                    const float* up = &dem_m.values[frame.index(row - k, 0)];
                    const float* down = &dem_m.values[frame.index(row + k, 0)];
                    const float weight = weights[static_cast<std::size_t>(k)];
                    for (std::size_t c = 0; c < width; ++c)
                        column_sum[c] += weight * (up[c] + down[c]);
                }
                for (int k = -reach; known != nullptr && k <= reach; ++k) {
                    const std::uint8_t* line = &known->values[frame.index(row + k, 0)];
                    for (std::size_t c = 0; c < width; ++c) {
                        column_full[c] = static_cast<std::uint8_t>(column_full[c] & (line[c] != 0));
                    }
                }
            }
            int full_columns = 0;  // in the window [col - reach, col + reach]
            for (int c = 0; rows_fit && c < std::min(reach, cols); ++c) {
                full_columns += column_full[static_cast<std::size_t>(c)];
            }
            for (int col = 0; col < cols; ++col) {
                const std::size_t i = frame.index(row, col);
                if (rows_fit && col + reach < cols) {
                    full_columns += column_full[static_cast<std::size_t>(col + reach)];
                }
                if (rows_fit && col - reach > 0) {
                    full_columns -= column_full[static_cast<std::size_t>(col - reach - 1)];
                }
                if (!has_value(known, i)) {
                    smoothed[i] = dem_m[i];
                } else if (rows_fit && full_columns == 2 * reach + 1) {
                    const float* centre = &column_sum[static_cast<std::size_t>(col)];
                    float sum = weights[0] * centre[0];
                    for (int k = 1; k <= reach; ++k) {
                        sum += weights[static_cast<std::size_t>(k)] * (centre[-k] + centre[k]);
                    }
                    smoothed[i] = sum;
                } else {
                    smoothed[i] = plane_at(dem_m, known, weights, row, col);
                }
            }
        }
    });
    return smoothed;
}

Raster<float> topographic_position_m(const Raster<float>& dem_m, const Mask* known,
                                     double radius_m) {
    Raster<float> position = smooth(dem_m, known, radius_m);
    for (std::size_t i = 0; i < position.size(); ++i) {
        position[i] = has_value(known, i) ? dem_m[i] - position[i] : 0.0F;
    }
    return position;
}

bool needs_smoothing(double cell_m, double smoothing_radius_m) {
    return cell_m < 2.0 && smoothing_radius_m < 2.0;
}

}  // namespace catchfield::terrain
