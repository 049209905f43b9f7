// SPDX-License-Identifier: MIT
// From a planned field to the areas and rates that a machine gets.
#pragma once

#include "plan/export_source.hpp"
#include "prescription/products.hpp"
#include "prescription/rate_rule.hpp"
#include "prescription/surface.hpp"

#include <optional>
#include <string>
#include <vector>

namespace catchfield::plan {

enum class Quantity { nitrogen, seed };
/// "nitrogen", "seed".
std::string quantity_name(Quantity quantity);

/// What is metered, and in which unit.
struct ExportProduct {
    Quantity quantity = Quantity::nitrogen;
    std::string name;
    prescription::Product product;            ///< of nitrogen
    std::optional<double> thousand_seed_g{};  ///< of seed, for rates in seeds
    prescription::RateUnit unit = prescription::RateUnit::n_kg_ha;
    prescription::RateRule rule{};          ///< in `unit`
    std::optional<double> headland_rate{};  ///< in `unit`
};

/// What is done to the map for the machine's sake. 0: left out.
struct MachineLimits {
    double headland_width_m = 0.0;
    double smallest_area_m2 = 0.0;  ///< smaller pieces go to the neighbour
    double smooth_width_m = 0.0;    ///< tongues narrower than this go to the neighbour
    int most_rates = 0;
};

/// One area with one rate of every product.
struct RateArea {
    int zone = 0;        ///< of the plan; 0: no nitrogen here; headland: one above the last zone
    std::string name;    ///< "zone 2", "no nitrogen", "headland"
    MultiPolygon shape;  ///< in RateMap::crs; areas do not overlap
    std::vector<double> rates;
};

struct RateMap {
    std::string field;
    std::string stem;
    gis::Crs crs;
    MultiPolygon boundary;
    double cell_m = 0.0;
    std::vector<ExportProduct> products;
    std::vector<RateArea> areas;
    std::vector<std::string> warnings;
};

/// The map of one field. Rates are converted, put on the product's rule (a rate of zero stays
/// zero), joined to at most `most_rates` different ones. Throws Error(usage) for units that do not
/// fit the product.
RateMap make_rate_map(const PlannedField& field, const std::vector<ExportProduct>& products,
                      const MachineLimits& limits);

/// Position in `areas` of the one that holds a cell's centre, -1 outside.
Raster<int> area_cells(const RateMap& map, const GridFrame& frame);

/// One product's rates on a frame, as `prescription` works with them.
prescription::RateSurface surface_of(const RateMap& map, const Raster<int>& cells,
                                     std::size_t product);

/// The work grid of a map.
GridFrame frame_of(const RateMap& map);

}  // namespace catchfield::plan
