// SPDX-License-Identifier: MIT
#include "prescription/products.hpp"

#include "base/error.hpp"
#include "base/table.hpp"
#include "base/text.hpp"
#include "prescription/data.hpp"

#include <array>
#include <utility>

namespace catchfield::prescription {

namespace {

constexpr double m2_per_ha = 10000.0;
constexpr double m2_per_ac = m2_per_ha * units::ha_per_ac;

struct UnitWords {
    RateUnit unit;
    std::string_view name, total;
};
constexpr std::array<UnitWords, 8> unit_words{{{RateUnit::kg_ha, "kg/ha", "kg"},
                                               {RateUnit::lb_ac, "lb/ac", "lb"},
                                               {RateUnit::l_ha, "L/ha", "L"},
                                               {RateUnit::gal_ac, "gal/ac", "gal"},
                                               {RateUnit::n_kg_ha, "kg N/ha", "kg N"},
                                               {RateUnit::n_lb_ac, "lb N/ac", "lb N"},
                                               {RateUnit::seeds_m2, "seeds/m2", "seeds"},
                                               {RateUnit::seeds_ac, "seeds/ac", "seeds"}}};

/// Why a product cannot be right, or nothing.
std::string fault_of(const Product& product) {
    if (!(product.n_share >= 0.01 && product.n_share <= 1.0)) {
        return "a nitrogen share of " + shortest(100.0 * product.n_share) +
               " % is outside 1 to 100";
    }
    if (product.density_kg_l && !(*product.density_kg_l >= 0.4 && *product.density_kg_l <= 2.5)) {
        return "a density of " + shortest(*product.density_kg_l) + " kg/L is outside 0.4 to 2.5";
    }
    if (product.form == ProductForm::liquid && !product.density_kg_l) {
        return "a liquid needs its density";
    }
    return {};
}

double needed_density(const Product& product, RateUnit unit) {
    if (!product.density_kg_l) {
        throw Error(ErrorKind::usage,
                    product.title + " has no density, so it cannot be written in " +
                        std::string(unit_name(unit)),
                    {.hint = "Give its density or use a unit of mass."});
    }
    return *product.density_kg_l;
}

[[noreturn]] void wrong_unit(const std::string& what, RateUnit unit) {
    throw Error(ErrorKind::usage, what + " cannot be written in " + std::string(unit_name(unit)));
}

/// kg of product per ha that one unit of rate is.
double kg_ha_per_unit(const Product& product, RateUnit unit) {
    switch (unit) {
        case RateUnit::kg_ha:
            return 1.0;
        case RateUnit::lb_ac:
            return units::kg_ha_per_lb_ac;
        case RateUnit::l_ha:
            return needed_density(product, unit);
        case RateUnit::gal_ac:
            return units::l_ha_per_gal_ac * needed_density(product, unit);
        case RateUnit::n_kg_ha:
            return 1.0 / product.n_share;
        case RateUnit::n_lb_ac:
            return units::kg_ha_per_lb_ac / product.n_share;
        case RateUnit::seeds_m2:
        case RateUnit::seeds_ac:
            break;
    }
    wrong_unit(product.title, unit);
}

/// kg of bulk seed per ha that one unit of rate is.
double seed_kg_ha_per_unit(const SeedLot& lot, RateUnit unit) {
    if (unit == RateUnit::kg_ha) return 1.0;
    if (unit == RateUnit::lb_ac) return units::kg_ha_per_lb_ac;
    if (unit != RateUnit::seeds_m2 && unit != RateUnit::seeds_ac) {
        wrong_unit("seed of " + lot.species, unit);
    }
    if (!lot.thousand_seed_g || !(*lot.thousand_seed_g > 0.0)) {
        throw Error(ErrorKind::usage, "a seed count needs the weight of 1000 seeds",
                    {.feature = lot.species});
    }
    const double kg_per_seed = *lot.thousand_seed_g * 1e-6;
    return kg_per_seed * m2_per_ha / (unit == RateUnit::seeds_m2 ? 1.0 : m2_per_ac);
}

double live_share(const SeedLot& lot) {
    if (!(lot.pure_live_share >= 0.05 && lot.pure_live_share <= 1.0)) {
        throw Error(ErrorKind::usage, "the share of pure live seed must lie between 0.05 and 1",
                    {.feature = lot.species});
    }
    return lot.pure_live_share;
}

}  // namespace

std::string_view unit_name(RateUnit unit) {
    for (const UnitWords& words : unit_words) {
        if (words.unit == unit) return words.name;
    }
    return "";
}

std::string_view total_unit_name(RateUnit unit) {
    for (const UnitWords& words : unit_words) {
        if (words.unit == unit) return words.total;
    }
    return "";
}

RateUnit parse_rate_unit(std::string_view text) {
    std::string known;
    for (const UnitWords& words : unit_words) {
        if (same_ignoring_case(words.name, trim(text))) return words.unit;
        known += (known.empty() ? "" : ", ") + std::string(words.name);
    }
    throw Error(ErrorKind::usage, "unknown rate unit '" + std::string(text) + "'",
                {.hint = "Accepted: " + known + "."});
}

std::vector<Product> parse_products(std::string_view csv, const std::string& name) {
    const Table table = Table::parse(csv, name);
    table.require({"product", "title", "form", "n_pct", "source", "confidence"});
    const bool metric = table.has("density_kg_l");
    if (metric && table.has("density_lb_gal")) {
        throw Error(ErrorKind::data, "densities are given in kg/L or in lb/gal, not both",
                    {.path = name, .layer = "density_kg_l"});
    }
    const std::string density = metric ? "density_kg_l" : "density_lb_gal";
    std::vector<Product> list;
    for (std::size_t row = 0; row < table.rows(); ++row) {
        Product one;
        one.id = lower_case(table.text(row, "product"));
        if (one.id.empty()) table.fail(row, "product", "the product's id is missing");
        for (const Product& other : list) {
            if (other.id == one.id) {
                table.fail(row, "product", "'" + one.id + "' occurs twice");
            }
        }
        one.title = table.text(row, "title");
        const std::string form = lower_case(table.text(row, "form"));
        if (form == "dry") {
            one.form = ProductForm::dry;
        } else if (form == "liquid") {
            one.form = ProductForm::liquid;
        } else if (form == "gas") {
            one.form = ProductForm::gas;
        } else {
            table.fail(row, "form", "unknown form '" + form + "'", "Use dry, liquid or gas.");
        }
        one.n_share = table.required_number(row, "n_pct") / 100.0;
        if (table.has(density)) {
            one.density_kg_l = table.number(row, density);
            if (one.density_kg_l && !metric) *one.density_kg_l *= units::kg_l_per_lb_gal;
        }
        const std::string fault = fault_of(one);
        if (!fault.empty()) {
            const bool share = !(one.n_share >= 0.01 && one.n_share <= 1.0);
            table.fail(row, share || !table.has(density) ? "n_pct" : density, fault);
        }
        if (table.has("note")) one.note = table.text(row, "note");
        one.source = table.text(row, "source");
        try {
            one.confidence = parse_confidence(table.text(row, "confidence"));
        } catch (const Error& error) {
            table.fail(row, "confidence", error.reason(), error.context().hint);
        }
        list.push_back(std::move(one));
    }
    return list;
}

const std::vector<Product>& products() {
    static const std::vector<Product> list =
        parse_products(data::products, "built-in table products");
    return list;
}

const Product& product(std::string_view id) {
    std::vector<std::string> names;
    std::string known;
    for (const Product& one : products()) {
        if (same_ignoring_case(one.id, id)) return one;
        names.push_back(one.id);
        known += (known.empty() ? "" : ", ") + one.id;
    }
    const std::string near = nearest_name(std::string(id), names);
    throw Error(
        ErrorKind::usage, "unknown product '" + std::string(id) + "'",
        {.hint = near.empty() ? "Known products: " + known + "." : "Did you mean '" + near + "'?"});
}

Product own_product(const std::string& title, ProductForm form, double n_share,
                    std::optional<double> density_kg_l) {
    Product one{.id = "own",
                .title = title,
                .form = form,
                .n_share = n_share,
                .density_kg_l = density_kg_l,
                .note = {},
                .source = "the user's analysis",
                .confidence = Confidence::verified};
    const std::string fault = fault_of(one);
    if (!fault.empty()) throw Error(ErrorKind::usage, fault, {.feature = title});
    return one;
}

RateUnit default_unit(const Product& product, UnitSystem system) {
    if (product.form == ProductForm::liquid) {
        return system == UnitSystem::us ? RateUnit::gal_ac : RateUnit::l_ha;
    }
    return system == UnitSystem::us ? RateUnit::lb_ac : RateUnit::kg_ha;
}

double product_rate(double n_kg_ha, const Product& product, RateUnit unit) {
    return n_kg_ha / product.n_share / kg_ha_per_unit(product, unit);
}

double n_kg_ha_from(double rate, const Product& product, RateUnit unit) {
    return rate * kg_ha_per_unit(product, unit) * product.n_share;
}

double seed_rate(double pls_kg_ha, const SeedLot& lot, RateUnit unit) {
    return pls_kg_ha / live_share(lot) / seed_kg_ha_per_unit(lot, unit);
}

double pls_kg_ha_from(double rate, const SeedLot& lot, RateUnit unit) {
    return rate * seed_kg_ha_per_unit(lot, unit) * live_share(lot);
}

double total_amount(double rate, double area_ha, RateUnit unit) {
    switch (unit) {
        case RateUnit::kg_ha:
        case RateUnit::l_ha:
        case RateUnit::n_kg_ha:
            return rate * area_ha;
        case RateUnit::lb_ac:
        case RateUnit::gal_ac:
        case RateUnit::n_lb_ac:
        case RateUnit::seeds_ac:
            return rate * area_ha / units::ha_per_ac;
        case RateUnit::seeds_m2:
            return rate * area_ha * m2_per_ha;
    }
    return 0.0;
}

}  // namespace catchfield::prescription
