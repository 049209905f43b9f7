// SPDX-License-Identifier: MIT
#include "plan/ground.hpp"

#include "base/error.hpp"
#include "base/text.hpp"
#include "geometry/overlay.hpp"
#include "geometry/validity.hpp"
#include "plan/rasters.hpp"

#include <algorithm>
#include <cmath>
#include <map>

namespace catchfield::plan {

namespace {

constexpr int margin_cells = 2;
/// Of one field's work grid: 1000 km2 at 3 m, far beyond any field, within a computer's memory.
constexpr std::size_t max_cells = 100'000'000;

/// The terrain raster's own CRS where it is UTM of the field's zone on a near-identical datum, so
/// that its cells can be used as they are; else UTM on WGS 84.
gis::Crs choose_crs(const MultiPolygon& shape, const gis::Crs& from, const gis::Crs& raster) {
    const gis::Crs utm = gis::work_crs(shape, from);
    const std::string& code = raster.code();
    if (code.size() != 10 || utm.code().size() != 10) return utm;
    const std::string zone = utm.code().substr(8);
    const std::string family = code.substr(0, 8);
    const bool north = utm.code().substr(0, 8) == "EPSG:326";
    const bool same =
        code == utm.code() ||
        (north && (family == "EPSG:269" || family == "EPSG:258") && code.substr(8) == zone);
    return same ? raster : utm;
}

/// Degrees need more decimals than metres to lead to the place.
std::string flaw_text(const geometry::Flaw& flaw, const gis::Crs& crs) {
    if (!flaw.place || !crs.is_geographic()) return geometry::describe(flaw);
    return flaw.reason + " at longitude " + fixed(flaw.place->x, 6) + ", latitude " +
           fixed(flaw.place->y, 6);
}

/// The boundary in `crs`, mended where the job asks for it. Throws Error(data).
MultiPolygon valid_boundary(const Inputs& inputs, const FieldBoundary& field, const gis::Crs& crs,
                            std::vector<std::string>& warnings) {
    const auto refuse = [&](const std::string& what, const geometry::Flaw& flaw, const gis::Crs& in,
                            const std::string& hint) {
        throw Error(ErrorKind::data, what + ": " + flaw_text(flaw, in),
                    {.path = inputs.job.field.boundary, .feature = field.id, .hint = hint});
    };
    const std::string hint = "Mend it, or set repair = yes in [field].";
    const bool may_repair = inputs.job.field.repair;
    if (const auto flaw = geometry::find_flaw(field.shape); flaw && !may_repair)
        refuse("the boundary is not valid", *flaw, inputs.boundary_crs, hint);
    MultiPolygon moved = gis::transformer(inputs.boundary_crs, crs).apply(field.shape);
    // Moving it can bring points together that were apart.
    const auto flaw = geometry::find_flaw(moved);
    if (!flaw) return moved;
    if (!may_repair) refuse("the boundary is not valid", *flaw, crs, hint);
    geometry::Repair repair = geometry::repair(moved);
    if (repair.shape.empty()) refuse("the boundary cannot be repaired", *flaw, crs, "");
    for (const std::string& change : repair.changes)
        warnings.push_back("boundary repaired: " + change);
    return std::move(repair.shape);
}

double work_cell_m(const Job& job, const gis::RasterSource& raster,
                   std::vector<std::string>& warnings) {
    const double own = raster.cell_m();
    constexpr double coarsest_m = 500.0;
    if (!(own <= coarsest_m)) {
        throw Error(
            ErrorKind::data,
            "has cells of " + significant(own, 3) + " m, which say nothing about a field",
            {.path = raster.info().path, .hint = "Use a raster with cells of 30 m or less."});
    }
    if (job.terrain.resolution_m) return *job.terrain.resolution_m;
    if (own < 2.0) {
        warnings.push_back("the terrain raster's cell is " + fixed(own, 2) +
                           " m; the work grid is 2 m (set terrain.resolution to change that).");
        return 2.0;
    }
    if (own > 10.0) {
        warnings.push_back(
            "the terrain raster is coarse (" + fixed(own, 0) +
            " m): slopes are smoothed by it, and the work grid of 10 m only looks finer.");
        return 10.0;
    }
    // Whole centimetres, so that neighbouring fields share a lattice.
    return std::round(own * 100.0) / 100.0;
}

/// Snapped to the raster's lattice where its cells can be taken as they are.
GridFrame frame_for(const Box& box, double cell, double margin_m, const gis::Crs& crs,
                    const gis::RasterSource& raster) {
    const int margin = margin_cells + static_cast<int>(std::ceil(margin_m / cell));
    const gis::RasterInfo& info = raster.info();
    const bool own_cells = raster.crs().same_as(crs) &&
                           std::abs(info.cell_x - cell) < 1e-9 * cell &&
                           std::abs(info.cell_y - cell) < 1e-9 * cell;
    const double shift_x = own_cells ? std::remainder(info.bounds.min_x, cell) : 0.0;
    const double shift_y = own_cells ? std::remainder(info.bounds.max_y, cell) : 0.0;
    GridFrame frame = snapped_frame(box.min_x - shift_x, box.min_y - shift_y, box.max_x - shift_x,
                                    box.max_y - shift_y, cell, margin, max_cells);
    frame.west += shift_x;
    frame.north += shift_y;
    return frame;
}

std::size_t count(const Mask& mask) {
    return static_cast<std::size_t>(
        std::count(mask.values.begin(), mask.values.end(), std::uint8_t{1}));
}

void read_terrain(const Inputs& inputs, const FieldBoundary& field, Ground& ground) {
    const Job& job = inputs.job;
    const bool elevation = job.terrain.source == TerrainSource::elevation;
    const std::string& path = elevation ? job.terrain.elevation : job.terrain.slope;
    const gis::RasterSource& source = open_raster(path);
    gis::RasterWindow<float> window =
        source.read<float>(ground.frame, ground.crs, gis::Resampling::bilinear);
    std::size_t covered = 0;
    for (std::size_t i = 0; i < ground.field.size(); ++i) {
        if (ground.field[i] && window.valid[i]) ++covered;
    }
    if (covered == 0) {
        throw Error(
            ErrorKind::data, "the terrain raster and the field do not overlap",
            {.path = path,
             .feature = field.id,
             .hint = "Check both coordinate systems: the raster is in " + source.crs().name() +
                     ", the boundary in " + inputs.boundary_crs.name() + "."});
    }
    if (!elevation) {
        for (float& value : window.values.values)
            value = slope_percent(value, job.terrain.slope_unit);
        terrain::SlopeOnlyOptions options;
        options.length_m = job.terrain.slope_length_m;
        ground.terrain =
            terrain::analyse_slope(window.values, ground.field, options, &window.valid);
        return;
    }
    bool assumed = false;
    const double metres = metres_per_elevation(job, source, assumed);
    if (assumed) {
        ground.warnings.push_back(
            "the elevation raster does not state its unit: metres are taken "
            "(set terrain.elevation-unit).");
    }
    if (metres != 1.0) {
        for (float& value : window.values.values) value *= static_cast<float>(metres);
    }
    terrain::TerrainOptions options;
    options.routing = job.terrain.routing == "d-infinity" ? terrain::Routing::d_infinity
                                                          : terrain::Routing::multiple;
    options.max_length_m = job.terrain.max_slope_length_m;
    options.smoothing_radius_m = job.terrain.smooth_m;
    for (const auto& [name, weight] : job.zones.features)
        options.aspect = options.aspect || name == "aspect";
    terrain::TerrainLayers layers;
    layers.known = &window.valid;
    Mask upslope;
    if (job.terrain.run_on) {
        upslope = window.valid;
        layers.upslope = &upslope;
    }
    Mask barriers;
    if (inputs.barriers) {
        barriers = Mask(ground.frame);
        const Box box{ground.frame.west, ground.frame.south(), ground.frame.east(),
                      ground.frame.north};
        const gis::Transformer& to_work = gis::transformer(inputs.barriers->crs(), ground.crs);
        const Box there = gis::transformer(ground.crs, inputs.barriers->crs()).apply(box);
        for (const std::size_t index : inputs.barriers->query(there)) {
            const gis::Feature& feature = inputs.barriers->layer().features[index];
            Mask cells;
            if (feature.kind == gis::GeometryKind::polygons) {
                cells = geometry::barrier_cells(to_work.apply(feature.polygons), ground.frame);
            } else {
                std::vector<Line> lines = feature.lines;
                for (Line& line : lines) to_work.apply(line);
                cells = geometry::barrier_cells(lines, ground.frame);
            }
            for (std::size_t i = 0; i < cells.size(); ++i) barriers[i] |= cells[i];
        }
        layers.barriers = &barriers;
    }
    try {
        ground.terrain = terrain::analyse(window.values, ground.field, options, layers);
    } catch (const Error& error) {
        throw Error(error.kind(), error.reason(),
                    {.path = path, .feature = field.id, .hint = error.context().hint});
    }
    if (source.cell_m() < 2.0 && job.terrain.smooth_m < 2.0) {
        ground.warnings.push_back(
            "the elevation raster is finer than 2 m and not smoothed: slopes of "
            "such models run high on tilled ground (set terrain.smooth).");
    }
}

/// Soil polygons in the ground's CRS, mended, and the facts that each stands for.
struct SoilShapes {
    std::vector<MultiPolygon> shapes;
    std::vector<int> facts;
    std::size_t repaired = 0;
};

/// Those within distance_m of the grid.
SoilShapes soil_shapes(const Soils& soils, const Ground& ground, double distance_m) {
    const GridFrame& frame = ground.frame;
    const Box box{frame.west - distance_m, frame.south() - distance_m, frame.east() + distance_m,
                  frame.north + distance_m};
    SoilShapes near;
    for (gis::PolygonMap::Hit& hit : soils.map->query(box, ground.crs)) {
        if (geometry::find_flaw(hit.shape)) {
            hit.shape = geometry::repair(hit.shape).shape;
            ++near.repaired;
        }
        if (hit.shape.empty()) continue;
        near.shapes.push_back(std::move(hit.shape));
        near.facts.push_back(soils.facts_of[hit.position]);
    }
    return near;
}

void read_soil(const Inputs& inputs, const FieldBoundary& field, Ground& ground) {
    const auto owners = [&](const SoilShapes& near, double fill_m) {
        return geometry::assign_cells(near.shapes, ground.frame, geometry::OwnerRule::centre,
                                      fill_m, &ground.field);
    };
    SoilShapes near = soil_shapes(inputs.soils, ground, 0.0);
    geometry::CellOwners cells = owners(near, 0.0);
    const double fill_m = inputs.job.soil.fill_distance_m;
    if (cells.without > 0 && fill_m > 0.0) {
        near = soil_shapes(inputs.soils, ground, fill_m);
        cells = owners(near, fill_m);
    }
    if (near.repaired > 0) {
        ground.warnings.push_back(
            std::to_string(near.repaired) +
            " soil polygons near the field are not valid (outlines that cross "
            "themselves) and were repaired.");
    }
    if (cells.covered + cells.filled == 0) {
        throw Error(ErrorKind::data, "the soil map and the field do not overlap",
                    {.path = inputs.job.soil.map,
                     .feature = field.id,
                     .hint = "Check both coordinate systems, or raise soil.fill-distance."});
    }
    for (int& owner : cells.owner.values) {
        if (owner >= 0) owner = near.facts[static_cast<std::size_t>(owner)];
    }
    ground.soil = std::move(cells.owner);
    if (cells.filled > 0) ground.soil_distance_m = std::move(cells.distance_m);
    if (cells.doubly_covered > 0) {
        ground.warnings.push_back("soil polygons overlap on " +
                                  std::to_string(cells.doubly_covered) +
                                  " cells; the first one listed is taken there.");
    }
}

}  // namespace

Ground make_ground(const Inputs& inputs, const FieldBoundary& field) {
    Ground ground;
    const Job& job = inputs.job;
    const bool elevation = job.terrain.source == TerrainSource::elevation;
    const gis::RasterSource& raster =
        open_raster(elevation ? job.terrain.elevation : job.terrain.slope);
    ground.crs = choose_crs(field.shape, inputs.boundary_crs, raster.crs());
    ground.boundary = valid_boundary(inputs, field, ground.crs, ground.warnings);
    ground.area_ha = area(ground.boundary) * 1e-4;
    const double cell = work_cell_m(job, raster, ground.warnings);
    if (ground.area_ha * 1e4 < cell * cell) {
        throw Error(ErrorKind::data,
                    "the field is smaller than one cell of the work grid (" +
                        significant(ground.area_ha * 1e4, 2) + " of " +
                        significant(cell * cell, 3) + " m2)",
                    {.path = job.field.boundary,
                     .feature = field.id,
                     .hint = "Check the boundary, or use a finer terrain.resolution."});
    }
    ground.frame =
        frame_for(bounds(ground.boundary), cell,
                  job.terrain.run_on ? job.terrain.run_on_distance_m : 0.0, ground.crs, raster);
    ground.field = geometry::field_mask(ground.boundary, ground.frame);
    read_terrain(inputs, field, ground);
    ground.whole_terrain = count(ground.terrain.mask) == count(ground.field);
    read_soil(inputs, field, ground);
    return ground;
}

void soil_layer(const Ground& ground, const Soils& soils, const SoilValue& value,
                Raster<float>& values, Mask& valid) {
    // Each polygon's value once, then spread over its cells.
    std::map<int, std::optional<double>> by_soil;
    int last = -1;
    const std::optional<double>* known = nullptr;
    values = Raster<float>(ground.frame);
    valid = Mask(ground.frame);
    for (std::size_t i = 0; i < ground.soil.size(); ++i) {
        const int soil = ground.soil[i];
        if (soil < 0) continue;
        if (soil != last) {
            const auto [entry, fresh] = by_soil.try_emplace(soil);
            if (fresh) entry->second = value(soils.facts[static_cast<std::size_t>(soil)]);
            known = &entry->second;
            last = soil;
        }
        if (!*known) continue;
        values[i] = static_cast<float>(**known);
        valid[i] = 1;
    }
}

namespace {

/// Every step-th row and column of a grid, from the middle of the first block on.
GridFrame coarser_frame(const GridFrame& frame, int step) {
    GridFrame coarse = frame;
    coarse.cell = frame.cell * step;
    coarse.cols = (frame.cols + step - 1) / step;
    coarse.rows = (frame.rows + step - 1) / step;
    return coarse;
}

/// visit(cell of the coarse grid, cell of the fine one) for all cells, block by block.
template <typename Visit>
void for_blocks(const GridFrame& fine, const GridFrame& coarse, int step, Visit visit) {
    for (int row = 0; row < fine.rows; ++row) {
        for (int col = 0; col < fine.cols; ++col)
            visit(coarse.index(row / step, col / step), fine.index(row, col));
    }
}

/// Mean over the block's cells that count.
Raster<float> block_means(const Raster<float>& values, const Mask& counts, const GridFrame& coarse,
                          int step) {
    if (values.size() == 0) return {};
    Raster<float> means(coarse);
    std::vector<float> cells(coarse.size());
    for_blocks(values.frame, coarse, step, [&](std::size_t block, std::size_t cell) {
        if (!counts[cell]) return;
        means[block] += values[cell];
        cells[block] += 1.0F;
    });
    for (std::size_t i = 0; i < cells.size(); ++i) {
        if (cells[i] > 0.0F) means[i] /= cells[i];
    }
    return means;
}

}  // namespace

Ground coarser(const Ground& ground, int step) {
    Ground coarse;
    coarse.crs = ground.crs;
    coarse.boundary = ground.boundary;
    coarse.area_ha = ground.area_ha;
    coarse.frame = coarser_frame(ground.frame, step);
    coarse.field = geometry::field_mask(ground.boundary, coarse.frame);
    const terrain::TerrainResult& fine = ground.terrain;
    terrain::TerrainResult& terrain = coarse.terrain;
    terrain.mask = Mask(coarse.frame);
    for_blocks(ground.frame, coarse.frame, step, [&](std::size_t block, std::size_t cell) {
        terrain.mask[block] |= static_cast<std::uint8_t>(fine.mask[cell] & coarse.field[block]);
    });
    const auto means = [&](const Raster<float>& values) {
        return block_means(values, fine.mask, coarse.frame, step);
    };
    terrain.slope_pct = means(fine.slope_pct);
    terrain.ls = means(fine.ls);
    terrain.wetness = means(fine.wetness);
    terrain.relative_elevation = means(fine.relative_elevation);
    terrain.aspect_sine = means(fine.aspect_sine);
    terrain.aspect_cosine = means(fine.aspect_cosine);
    coarse.soil = Raster<int>(coarse.frame, -1);
    for (int row = 0; row < coarse.frame.rows; ++row) {
        for (int col = 0; col < coarse.frame.cols; ++col) {
            const int middle_row = std::min(row * step + step / 2, ground.frame.rows - 1);
            const int middle_col = std::min(col * step + step / 2, ground.frame.cols - 1);
            coarse.soil.at(row, col) = ground.soil.at(middle_row, middle_col);
        }
    }
    return coarse;
}

}  // namespace catchfield::plan
