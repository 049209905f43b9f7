// SPDX-License-Identifier: MIT
#include "plan/export_map.hpp"

#include "base/error.hpp"
#include "base/text.hpp"
#include "geometry/cells.hpp"
#include "geometry/overlay.hpp"

#include <algorithm>
#include <set>

namespace catchfield::plan {

namespace {

/// Slivers of rounding, m2.
constexpr double nothing_m2 = 0.05;

double rate_of(const PlannedZone& zone, const ExportProduct& product) {
    if (product.quantity == Quantity::nitrogen)
        return prescription::product_rate(zone.n_kg_ha, product.product, product.unit);
    const prescription::SeedLot lot{product.name, product.thousand_seed_g, 1.0};
    return prescription::seed_rate(zone.seed_kg_ha, lot, product.unit);
}

MultiPolygon without_slivers(const MultiPolygon& shape) {
    MultiPolygon kept;
    for (const Polygon& part : shape) {
        if (area({part}) > nothing_m2) kept.push_back(part);
    }
    return kept;
}

void add_area(RateMap& map, int zone, const std::string& name, const MultiPolygon& shape,
              std::vector<double> rates) {
    MultiPolygon kept = without_slivers(shape);
    if (!kept.empty()) map.areas.push_back({zone, name, std::move(kept), std::move(rates)});
}

void divide(const PlannedField& field, const MachineLimits& limits, RateMap& map) {
    const bool nitrogen =
        std::any_of(map.products.begin(), map.products.end(),
                    [](const ExportProduct& p) { return p.quantity == Quantity::nitrogen; });
    MultiPolygon inner = field.boundary;
    if (limits.headland_width_m > 0.0)
        inner = geometry::buffer_areas(field.boundary, -limits.headland_width_m);
    MultiPolygon headland;
    if (limits.headland_width_m > 0.0) headland = geometry::difference(field.boundary, inner);
    // Ground without nitrogen keeps the other product's rate, zone by zone.
    const auto add = [&](int zone, const std::string& name, const MultiPolygon& shape,
                         const std::vector<double>& rates) {
        if (!nitrogen || field.no_apply.empty()) {
            add_area(map, zone, name, shape, rates);
            return;
        }
        add_area(map, zone, name, geometry::difference(shape, field.no_apply), rates);
        std::vector<double> none = rates;
        for (std::size_t p = 0; p < none.size(); ++p) {
            if (map.products[p].quantity == Quantity::nitrogen) none[p] = 0.0;
        }
        const MultiPolygon cut = geometry::intersection(shape, field.no_apply);
        const auto same = std::find_if(map.areas.begin(), map.areas.end(), [&](const RateArea& a) {
            return a.zone == 0 && a.rates == none;
        });
        if (same == map.areas.end()) {
            add_area(map, 0, "no nitrogen", cut, none);
        } else {
            same->shape = geometry::unite(std::vector{same->shape, cut});
        }
    };
    int last = 0;
    for (const PlannedZone& zone : field.zones) {
        last = std::max(last, zone.zone);
        std::vector<double> rates;
        for (const ExportProduct& product : map.products) rates.push_back(rate_of(zone, product));
        const MultiPolygon shape =
            limits.headland_width_m > 0.0 ? geometry::intersection(zone.shape, inner) : zone.shape;
        add(zone.zone, "zone " + std::to_string(zone.zone), shape, rates);
        if (headland.empty()) continue;
        // Products without a headland rate keep their zone's; the headland then has several areas.
        bool changed = false;
        for (std::size_t p = 0; p < rates.size(); ++p) {
            if (!map.products[p].headland_rate) continue;
            rates[p] = *map.products[p].headland_rate;
            changed = true;
        }
        const MultiPolygon strip = geometry::intersection(zone.shape, headland);
        if (changed) add(-zone.zone, "headland", strip, rates);
    }
    // Headland strips of equal rates are one area.
    std::vector<RateArea> joined;
    for (RateArea& part : map.areas) {
        if (part.zone >= 0) {
            joined.push_back(std::move(part));
            continue;
        }
        part.zone = last + 1;
        const auto same = std::find_if(joined.begin(), joined.end(), [&](const RateArea& a) {
            return a.zone == part.zone && a.rates == part.rates;
        });
        if (same == joined.end()) {
            joined.push_back(std::move(part));
        } else {
            same->shape = geometry::unite(std::vector{same->shape, part.shape});
        }
    }
    map.areas = std::move(joined);
}

void set_rates(const MachineLimits& limits, RateMap& map) {
    for (std::size_t p = 0; p < map.products.size(); ++p) {
        const prescription::RateRule& rule = map.products[p].rule;
        std::set<std::string> notes;
        std::vector<double> rates, areas;
        for (RateArea& part : map.areas) {
            double& rate = part.rates[p];
            if (rate > 0.0) {
                const prescription::SettledRate settled = prescription::apply_rule(rate, rule);
                if (!settled.note.empty())
                    notes.insert(part.name + ": " + significant(rate, 4) + " became " +
                                 significant(settled.value, 4) + " (" + settled.note + ")");
                rate = settled.value;
            }
            rates.push_back(rate);
            areas.push_back(area(part.shape) * 1e-4);
        }
        map.warnings.insert(map.warnings.end(), notes.begin(), notes.end());
        if (limits.most_rates > 0) {
            const prescription::ZoneRates few =
                prescription::limit_distinct(rates, areas, limits.most_rates, rule);
            map.warnings.insert(map.warnings.end(), few.warnings.begin(), few.warnings.end());
            for (std::size_t i = 0; i < rates.size(); ++i) map.areas[i].rates[p] = few.rates[i];
        }
    }
}

/// Gives a piece of area `from` to the neighbour it touches most; false where none touches.
bool give_away(RateMap& map, std::size_t from, const MultiPolygon& piece) {
    const MultiPolygon around = geometry::buffer_areas(piece, 0.5, 2);
    std::size_t best = from;
    double most = 0.0;
    for (std::size_t i = 0; i < map.areas.size(); ++i) {
        if (i == from || map.areas[i].zone == 0) continue;
        const double touched = area(geometry::intersection(around, map.areas[i].shape));
        if (touched > most) {
            most = touched;
            best = i;
        }
    }
    if (best == from) return false;
    map.areas[best].shape = geometry::unite(std::vector{map.areas[best].shape, piece});
    map.areas[from].shape = geometry::difference(map.areas[from].shape, piece);
    return true;
}

void tidy(const MachineLimits& limits, RateMap& map) {
    std::size_t moved = 0;
    double moved_m2 = 0.0;
    for (std::size_t i = 0; i < map.areas.size(); ++i) {
        // Ground without nitrogen is never given a rate.
        if (map.areas[i].zone == 0) continue;
        std::vector<MultiPolygon> pieces;
        if (limits.smooth_width_m > 0.0) {
            const double half = 0.5 * limits.smooth_width_m;
            const MultiPolygon core = geometry::buffer_areas(map.areas[i].shape, -half);
            const MultiPolygon kept =
                core.empty() ? MultiPolygon{} : geometry::buffer_areas(core, half);
            const MultiPolygon narrow =
                kept.empty() ? map.areas[i].shape : geometry::difference(map.areas[i].shape, kept);
            // Corners that only lose their point are left as they are.
            const double corner = 0.25 * limits.smooth_width_m * limits.smooth_width_m;
            for (const Polygon& part : narrow) {
                if (area({part}) > corner) pieces.push_back({part});
            }
        }
        for (const MultiPolygon& piece : pieces) {
            const double size = area(piece);
            if (give_away(map, i, piece)) {
                ++moved;
                moved_m2 += size;
            }
        }
        if (limits.smallest_area_m2 <= 0.0) continue;
        const MultiPolygon parts = map.areas[i].shape;
        for (const Polygon& part : parts) {
            const double size = area({part});
            if (size < limits.smallest_area_m2 && give_away(map, i, {part})) {
                ++moved;
                moved_m2 += size;
            }
        }
    }
    for (RateArea& part : map.areas) part.shape = without_slivers(part.shape);
    std::erase_if(map.areas, [](const RateArea& part) { return part.shape.empty(); });
    if (moved > 0) {
        map.warnings.push_back(std::to_string(moved) +
                               " small or narrow pieces took their neighbour's rate, " +
                               fixed(moved_m2 * 1e-4, 3) + " ha in all");
    }
}

}  // namespace

std::string quantity_name(Quantity quantity) {
    return quantity == Quantity::nitrogen ? "nitrogen" : "seed";
}

RateMap make_rate_map(const PlannedField& field, const std::vector<ExportProduct>& products,
                      const MachineLimits& limits) {
    RateMap map{field.id, field.stem, field.crs, field.boundary, field.cell_m, products, {}, {}};
    divide(field, limits, map);
    set_rates(limits, map);
    tidy(limits, map);
    if (map.areas.empty())
        throw Error(ErrorKind::data, "nothing is left of the field", {.feature = field.id});
    return map;
}

GridFrame frame_of(const RateMap& map) {
    const Box box = bounds(map.boundary);
    return snapped_frame(box.min_x, box.min_y, box.max_x, box.max_y, map.cell_m, 0, 100'000'000);
}

Raster<int> area_cells(const RateMap& map, const GridFrame& frame) {
    std::vector<MultiPolygon> shapes;
    for (const RateArea& part : map.areas) shapes.push_back(part.shape);
    return geometry::assign_cells(shapes, frame).owner;
}

prescription::RateSurface surface_of(const RateMap& map, const Raster<int>& cells,
                                     std::size_t product) {
    prescription::RateSurface surface{Raster<float>(cells.frame), Mask(cells.frame)};
    for (std::size_t i = 0; i < cells.size(); ++i) {
        if (cells[i] < 0) continue;
        surface.inside[i] = 1;
        surface.rates[i] =
            static_cast<float>(map.areas[static_cast<std::size_t>(cells[i])].rates[product]);
    }
    return surface;
}

}  // namespace catchfield::plan
