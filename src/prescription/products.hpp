// SPDX-License-Identifier: MIT
// Fertiliser products and seed: nitrogen or seed per hectare to and from what the machine meters.
#pragma once

#include "base/confidence.hpp"
#include "base/units.hpp"

#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace catchfield::prescription {

/// What a rate is written in. Mass and volume are of product, n_* of nitrogen.
enum class RateUnit { kg_ha, lb_ac, l_ha, gal_ac, n_kg_ha, n_lb_ac, seeds_m2, seeds_ac };

/// "kg/ha", "lb/ac", "L/ha", "gal/ac", "kg N/ha", "lb N/ac", "seeds/m2", "seeds/ac".
std::string_view unit_name(RateUnit unit);
/// The unit of totals over an area: "kg", "lb", "L", "gal", "kg N", "lb N", "seeds", "seeds".
std::string_view total_unit_name(RateUnit unit);
/// Reads unit_name's words, case ignored. Throws Error(usage) with the list.
RateUnit parse_rate_unit(std::string_view text);

enum class ProductForm { dry, liquid, gas };

/// One row of data/products.csv.
struct Product {
    std::string id;     ///< "urea", "uan-28"
    std::string title;  ///< "UAN solution 28-0-0"
    ProductForm form = ProductForm::dry;
    double n_share = 0.0;                  ///< mass of N per mass of product, 0-1
    std::optional<double> density_kg_l{};  ///< needed for volume rates; changes with temperature
    std::string note;                      ///< "surface loss risk", "injected"
    std::string source;
    Confidence confidence = Confidence::assumption;
};

/// Built-in products.
const std::vector<Product>& products();
/// By id. Throws Error(usage) that names the nearest known one.
const Product& product(std::string_view id);
/// Rows of a table in the form of data/products.csv (density in lb_gal or kg_l). Throws Error(data)
/// with line and column: share outside 0.01-1, density outside 0.4-2.5 kg/L, a liquid without
/// density, doubled ids.
std::vector<Product> parse_products(std::string_view csv, const std::string& name);
/// The user's own analysis. Throws Error(usage) as parse_products.
Product own_product(const std::string& title, ProductForm form, double n_share,
                    std::optional<double> density_kg_l);

/// The unit a product is metered in: gal/ac or L/ha for liquids, lb/ac or kg/ha otherwise.
RateUnit default_unit(const Product& product, UnitSystem system);

/// Rate of product in `unit` for n_kg_ha of nitrogen, and back. Throws Error(usage) for a volume
/// unit without density and for seed units. Check values N28-N30.
double product_rate(double n_kg_ha, const Product& product, RateUnit unit);
double n_kg_ha_from(double rate, const Product& product, RateUnit unit);

/// Seed metered by mass or by count. thousand_seed_g: weight of 1000 seeds, for counts.
struct SeedLot {
    std::string species;
    std::optional<double> thousand_seed_g{};
    double pure_live_share = 1.0;  ///< purity x germination; rates are of pure live seed
};
/// Bulk seed rate in `unit` for a pure live seed rate, kg/ha, and back. Throws Error(usage): count
/// without seed weight, N or volume units, share outside 0.05-1.
double seed_rate(double pls_kg_ha, const SeedLot& lot, RateUnit unit);
double pls_kg_ha_from(double rate, const SeedLot& lot, RateUnit unit);

/// Total over an area in total_unit_name(unit): rate x area, with the area in ac or m2 where the
/// unit asks.
double total_amount(double rate, double area_ha, RateUnit unit);

}  // namespace catchfield::prescription
