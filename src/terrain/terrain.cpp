// SPDX-License-Identifier: MIT
// One field: slope, flow, LS and what to be careful about.
#include "terrain/terrain.hpp"

#include "base/error.hpp"
#include "base/text.hpp"
#include "terrain/ground.hpp"
#include "terrain/ls_kernel.hpp"
#include "terrain/parallel.hpp"
#include "terrain/route.hpp"
#include "terrain/slope.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

namespace catchfield::terrain {

namespace {

constexpr float least_tangent = 0.001F;  // wetness index of level ground

void require_length(double length_m, const char* what) {
    if (!std::isfinite(length_m) || length_m <= 0.0 || length_m > longest_length_m) {
        throw Error(ErrorKind::usage,
                    std::string(what) + " of " + shortest(length_m) + " m is outside 0 to 305 m",
                    {.hint = "Overland flow ends within 305 m (1000 ft); 120 m is usual."});
    }
}

std::size_t count_cells(const Mask& mask) {
    return static_cast<std::size_t>(std::count_if(mask.values.begin(), mask.values.end(),
                                                  [](std::uint8_t cell) { return cell != 0; }));
}

/// Sums of one row; added up in the order of rows, so that threads change nothing.
struct RowSums {
    double slope_pct = 0.0;
    double ls = 0.0;
    std::size_t cells = 0;
    std::size_t channel = 0;
    std::size_t steep = 0;
    std::size_t clamped = 0;
    float lowest_m = std::numeric_limits<float>::max();
    float highest_m = std::numeric_limits<float>::lowest();
};

std::string share_text(std::size_t part, std::size_t whole) {
    const double pct = 100.0 * static_cast<double>(part) / static_cast<double>(whole);
    return pct < 0.1 ? "less than 0.1 %" : fixed(pct, 1) + " %";
}

void warn_of_steep_slopes(TerrainResult& result) {
    if (result.steep_cells > 0) {
        result.warnings.push_back(share_text(result.steep_cells, result.cells) +
                                  " of the field is steeper than 20 %, beyond the plots behind the "
                                  "slope factor: soil loss there is extrapolated");
    }
    if (result.clamped_cells > 0) {
        result.warnings.push_back(share_text(result.clamped_cells, result.cells) +
                                  " of the field is steeper than 50 % and was computed as 50 %: do "
                                  "not use its soil loss");
    }
}

void finish_sums(const std::vector<RowSums>& rows, TerrainResult& result) {
    std::size_t channel = 0;
    double slope_sum = 0.0;
    double ls_sum = 0.0;
    for (const RowSums& row : rows) {
        result.cells += row.cells;
        result.steep_cells += row.steep;
        result.clamped_cells += row.clamped;
        channel += row.channel;
        slope_sum += row.slope_pct;
        ls_sum += row.ls;
    }
    if (result.cells == 0) return;
    const auto cells = static_cast<double>(result.cells);
    result.mean_slope_pct = slope_sum / cells;
    result.mean_ls = ls_sum / cells;
    result.channel_share = static_cast<double>(channel) / cells;
}

void warn_of_missing(TerrainResult& result, const char* what) {
    if (result.missing_cells == 0) return;
    result.warnings.push_back(
        share_text(result.missing_cells, result.missing_cells + result.cells) +
        " of the field has no " + what + " and is left out");
}

/// Slope, elevation and (in `result.ls`, until the area is known) the flow width factor.
void slope_pass(const Ground& ground, const Mask& field, const TerrainOptions& options,
                std::vector<RowSums>& sums, TerrainResult& result) {
    const GridFrame& frame = ground.frame;
    for_rows(frame.rows, frame.cols, [&](int first, int end) {
        std::vector<Gradient> gradients(static_cast<std::size_t>(frame.cols));
        std::vector<std::uint8_t> valid(gradients.size());
        for (int row = first; row < end; ++row) {
            gradient_row(ground, row, gradients.data(), valid.data());
            RowSums& sum = sums[static_cast<std::size_t>(row)];
            for (int col = 0; col < frame.cols; ++col) {
                const std::size_t i = frame.index(row, col);
                const auto c = static_cast<std::size_t>(col);
                if (field[i] == 0 || valid[c] == 0) continue;
                const float pct = slope_pct(gradients[c]);
                float sine = 0.0F;
                float cosine = 0.0F;
                if (pct > 0.0F) {
                    sine = -100.0F * gradients[c].east / pct;
                    cosine = -100.0F * gradients[c].north / pct;
                }
                result.mask[i] = 1;
                result.slope_pct[i] = pct;
                if (options.aspect) {
                    result.aspect_sine[i] = sine;
                    result.aspect_cosine[i] = cosine;
                }
                const double width =
                    options.flow_width == FlowWidth::routing
                        ? flow_width_factor(options.routing, static_cast<double>(sine),
                                            static_cast<double>(cosine))
                        : desmet_govers_aspect_factor(static_cast<double>(sine),
                                                      static_cast<double>(cosine));
                result.ls[i] = static_cast<float>(width);
                const float z = ground.z[ground.position(row, col)];
                result.relative_elevation[i] = z;
                sum.lowest_m = std::min(sum.lowest_m, z);
                sum.highest_m = std::max(sum.highest_m, z);
                sum.slope_pct += static_cast<double>(pct);
                ++sum.cells;
            }
        }
    });
}

/// LS, wetness and position from slope, width factor, elevation and flow.
void length_pass(const Ground& ground, const Flow& flow, const TerrainOptions& options,
                 float lowest_m, float highest_m, std::vector<RowSums>& sums,
                 TerrainResult& result) {
    const GridFrame& frame = ground.frame;
    const auto cell_m = static_cast<float>(frame.cell);
    const float per_cell_m2 = static_cast<float>(1.0 / frame.cell_area_m2());
    const auto longest_cells = static_cast<float>(options.max_length_m / frame.cell);
    const auto rills = kernel::rill_coefficient<float>(options.rills);
    const float range_m = highest_m - lowest_m;
    const float per_range = range_m > 0.0F ? 1.0F / range_m : 0.0F;
    for_rows(frame.rows, frame.cols, [&](int first, int end) {
        for (int row = first; row < end; ++row) {
            RowSums& sum = sums[static_cast<std::size_t>(row)];
            for (int col = 0; col < frame.cols; ++col) {
                const std::size_t i = frame.index(row, col);
                if (result.mask[i] == 0) continue;
                const std::size_t p = ground.position(row, col);
                const float width = result.ls[i];
                // A barrier cell starts anew: nothing runs on.
                const float area_cells =
                    ground.is_inside(p)
                        ? static_cast<float>(inflow_m2(ground, flow, p)) * per_cell_m2
                        : 0.0F;
                const float most_cells = longest_cells * width;
                const bool channel = area_cells > most_cells;
                const float pct = result.slope_pct[i];
                const float used_pct = std::min(pct, static_cast<float>(clamp_slope_pct));
                const float sine = kernel::sine_of_slope(used_pct);
                const float m = kernel::exponent(sine, rills);
                const float ls =
                    kernel::steepness(used_pct, sine, options.steepness) *
                    kernel::cell_length(std::min(area_cells, most_cells), cell_m, width, m);
                result.ls[i] = ls;
                result.wetness[i] = std::log((area_cells + 1.0F) * cell_m / width /
                                             std::max(pct * 0.01F, least_tangent));
                result.relative_elevation[i] =
                    (result.relative_elevation[i] - lowest_m) * per_range;
                result.channel[i] = channel ? 1 : 0;
                sum.ls += static_cast<double>(ls);
                sum.channel += channel ? 1 : 0;
                sum.steep += pct > static_cast<float>(warn_slope_pct) ? 1 : 0;
                sum.clamped += pct > static_cast<float>(clamp_slope_pct) ? 1 : 0;
            }
        }
    });
}

/// The working grid of the field: elevations (smoothed where asked for), and where water flows.
Ground field_ground(const Raster<float>& dem_m, const Mask& field, const TerrainOptions& options,
                    const TerrainLayers& layers) {
    std::optional<Mask> joined;
    if (layers.upslope != nullptr) {
        joined = field;
        for (std::size_t i = 0; i < field.size(); ++i) (*joined)[i] |= (*layers.upslope)[i];
    }
    std::optional<Mask> closed;
    if (layers.barriers != nullptr) closed = close_corners(*layers.barriers);
    const Mask* domain = joined ? &*joined : &field;
    const Mask* blocked = closed ? &*closed : nullptr;
    if (options.smoothing_radius_m > 0.0) {
        return make_ground(smooth(dem_m, layers.known, options.smoothing_radius_m), layers.known,
                           domain, blocked);
    }
    return make_ground(dem_m, layers.known, domain, blocked);
}

}  // namespace

TerrainResult analyse(const Raster<float>& dem_m, const Mask& field, const TerrainOptions& options,
                      const TerrainLayers& layers) {
    require_length(options.max_length_m, "greatest slope length");
    require_elevations(dem_m, layers.known);
    require_same_frame(dem_m.frame, field, "field mask");
    if (layers.upslope != nullptr) require_same_frame(dem_m.frame, *layers.upslope, "run-on mask");
    if (layers.barriers != nullptr)
        require_same_frame(dem_m.frame, *layers.barriers, "barrier mask");
    const std::size_t field_cells = count_cells(field);
    if (field_cells == 0) throw Error(ErrorKind::data, "the field covers no cell");

    const GridFrame& frame = dem_m.frame;
    Ground ground = field_ground(dem_m, field, options, layers);
    TerrainResult result;
    result.mask = Mask(frame);
    result.channel = Mask(frame);
    for (auto* raster :
         {&result.slope_pct, &result.ls, &result.wetness, &result.relative_elevation}) {
        *raster = Raster<float>(frame);
    }
    if (options.aspect) {
        result.aspect_sine = Raster<float>(frame);
        result.aspect_cosine = Raster<float>(frame);
    }
    std::vector<RowSums> sums(static_cast<std::size_t>(frame.rows));
    slope_pass(ground, field, options, sums, result);  // before the flood levels the ground
    float lowest_m = std::numeric_limits<float>::max();
    float highest_m = std::numeric_limits<float>::lowest();
    std::size_t cells = 0;
    for (const RowSums& row : sums) {
        lowest_m = std::min(lowest_m, row.lowest_m);
        highest_m = std::max(highest_m, row.highest_m);
        cells += row.cells;
    }
    if (cells == 0) {
        throw Error(ErrorKind::data, "no cell of the field has an elevation",
                    {.hint = "Check that the elevation raster covers the field."});
    }
    flood(ground);
    const Flow flow = route(ground, options.routing);
    length_pass(ground, flow, options, lowest_m, highest_m, sums, result);

    finish_sums(sums, result);
    result.missing_cells = field_cells - result.cells;
    result.domain_m2 = flow.domain_m2;
    result.outflow_m2 = flow.outflow_m2;
    warn_of_missing(result, "elevation");
    if (needs_smoothing(frame.cell, options.smoothing_radius_m)) {
        result.warnings.push_back(
            "the elevation model is finer than 2 m and was not smoothed: tillage "
            "marks and noise make slopes and soil loss too high");
    }
    warn_of_steep_slopes(result);
    if (result.channel_share > 0.0) {
        result.warnings.push_back(
            fixed(100.0 * result.channel_share, 1) +
            " % of the field collects flow from beyond the greatest slope length of " +
            shortest(options.max_length_m) +
            " m: water may concentrate there, and gully erosion is not in the soil loss");
    }
    return result;
}

TerrainResult analyse_slope(const Raster<float>& slope_pct, const Mask& field,
                            const SlopeOnlyOptions& options, const Mask* slope_known) {
    if (options.length_m) require_length(*options.length_m, "slope length");
    const GridFrame& frame = slope_pct.frame;
    require_same_frame(frame, field, "field mask");
    if (slope_pct.values.size() != frame.size()) {
        throw Error(ErrorKind::data, "slope raster does not have as many cells as its frame");
    }
    if (slope_known != nullptr) require_same_frame(frame, *slope_known, "mask of known slopes");
    const std::size_t field_cells = count_cells(field);
    if (field_cells == 0) throw Error(ErrorKind::data, "the field covers no cell");

    const std::vector<DefaultLength> lengths =
        options.length_m ? std::vector<DefaultLength>{} : default_lengths();
    TerrainResult result;
    result.mask = Mask(frame);
    result.channel = Mask(frame);
    result.slope_pct = Raster<float>(frame);
    result.ls = Raster<float>(frame);
    std::vector<RowSums> sums(static_cast<std::size_t>(frame.rows));
    for (int row = 0; row < frame.rows; ++row) {
        RowSums& sum = sums[static_cast<std::size_t>(row)];
        for (int col = 0; col < frame.cols; ++col) {
            const std::size_t i = frame.index(row, col);
            if (field[i] == 0 || (slope_known != nullptr && (*slope_known)[i] == 0)) continue;
            const auto pct = static_cast<double>(slope_pct[i]);
            if (!std::isfinite(pct) || pct < 0.0) {
                throw Error(
                    ErrorKind::data, "a slope of " + shortest(pct) + " % cannot be right",
                    {.hint = "Declare the raster's no-data value, and check the slope unit."});
            }
            const double used_pct = std::min(pct, clamp_slope_pct);
            double length_m = options.length_m.value_or(0.0);
            if (!options.length_m) {
                const DefaultLength& fallback = default_length(lengths, pct);
                length_m = fallback.length_m;
                result.confidence = weakest(result.confidence, fallback.confidence);
            }
            const double ls = ls_uniform(used_pct, length_m, options.rills, options.steepness);
            result.mask[i] = 1;
            result.slope_pct[i] = slope_pct[i];
            result.ls[i] = static_cast<float>(ls);
            sum.slope_pct += pct;
            sum.ls += ls;
            ++sum.cells;
            sum.steep += pct > warn_slope_pct ? 1 : 0;
            sum.clamped += pct > clamp_slope_pct ? 1 : 0;
        }
    }
    finish_sums(sums, result);
    if (result.cells == 0) {
        throw Error(ErrorKind::data, "no cell of the field has a slope",
                    {.hint = "Check that the slope raster covers the field."});
    }
    result.missing_cells = field_cells - result.cells;
    warn_of_missing(result, "slope");
    if (!options.length_m) {
        result.warnings.push_back(
            "slope lengths are default lengths by steepness, not measured: give "
            "a slope length or an elevation model");
    }
    warn_of_steep_slopes(result);
    return result;
}

}  // namespace catchfield::terrain
