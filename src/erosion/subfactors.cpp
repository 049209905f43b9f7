// SPDX-License-Identifier: MIT
// Subfactor equations and their tables.
#include "erosion/subfactors.hpp"

#include "base/error.hpp"
#include "base/text.hpp"
#include "base/units.hpp"
#include "erosion/data.hpp"

#include <algorithm>
#include <cmath>
#include <utility>

namespace catchfield::erosion {

namespace {

/// lb/(ac in) in one kg/ha per mm.
constexpr double lb_ac_in_per_kg_ha_mm = units::mm_per_in / units::kg_ha_per_lb_ac;

/// An id as it is compared: lower case, blanks and dashes as underscores.
std::string plain(std::string_view id) {
    std::string text = lower_case(trim(id));
    std::replace(text.begin(), text.end(), ' ', '_');
    std::replace(text.begin(), text.end(), '-', '_');
    return text;
}

/// Rows of one table with the names they are found by.
template <typename Row>
struct Catalogue {
    std::vector<Row> rows;
    std::vector<std::pair<std::string, std::size_t>> names;
};

std::vector<std::string> names_of(const Table& table, std::size_t row) {
    std::vector<std::string> names{plain(table.text(row, "id"))};
    if (table.has("aliases"))
        for (const std::string& alias : split(table.text(row, "aliases"), ';'))
            if (!trim(alias).empty()) names.push_back(plain(alias));
    return names;
}

template <typename Row>
Catalogue<Row> catalogue(const Table& table, std::vector<Row> rows) {
    Catalogue<Row> result;
    result.rows = std::move(rows);
    for (std::size_t row = 0; row < table.rows(); ++row)
        for (const std::string& name : names_of(table, row)) result.names.emplace_back(name, row);
    return result;
}

template <typename Row>
const Row& find(const Catalogue<Row>& known, std::string_view id, const std::string& what) {
    const std::string name = plain(id);
    std::vector<std::string> names;
    for (const auto& [known_name, row] : known.names) {
        if (known_name == name) return known.rows[row];
        names.push_back(known_name);
    }
    std::string all;
    for (const Row& row : known.rows) all += (all.empty() ? "" : ", ") + row.id;
    const std::string near = nearest_name(name, names);
    throw Error(
        ErrorKind::usage, "unknown " + what + " '" + std::string(id) + "'",
        {.hint = (near.empty() ? "" : "Did you mean '" + near + "'? ") + "Known: " + all + "."});
}

double number_between(const Table& table, std::size_t row, const char* column, double low,
                      double high) {
    const double value = table.required_number(row, column);
    if (value < low || value > high)
        table.fail(row, column,
                   "must lie between " + shortest(low) + " and " + shortest(high) + ", but is " +
                       shortest(value));
    return value;
}

void require_unique(const Table& table) {
    if (table.rows() == 0)
        throw Error(ErrorKind::data, "the table has no rows", {.path = table.name()});
    std::vector<std::string> seen;
    for (std::size_t row = 0; row < table.rows(); ++row) {
        const std::string id = plain(table.text(row, "id"));
        if (id.empty()) table.fail(row, "id", "the id is empty");
        if (std::find(seen.begin(), seen.end(), id) != seen.end())
            table.fail(row, "id", "'" + id + "' is there twice");
        seen.push_back(id);
    }
}

std::vector<Crop> parse_crops(const Table& table, const Table& canopies) {
    require_unique(table);
    std::vector<Crop> crops;
    for (std::size_t row = 0; row < table.rows(); ++row) {
        Crop crop;
        crop.id = table.text(row, "id");
        crop.name = table.text(row, "name");
        crop.residue_kind = table.text(row, "residue_kind");
        crop.typical_residue_kg_ha = number_between(table, row, "typical_residue_kg_ha", 0, 30000);
        crop.roots_top_kg_ha = number_between(table, row, "roots_top_kg_ha", 0, 10000);
        crop.years_since_tillage = number_between(table, row, "years_since_tillage", 0, 50);
        crop.source = table.text(row, "source");
        crop.confidence = parse_confidence(table.text(row, "confidence"));
        for (std::size_t i = 0; i < canopies.rows(); ++i) {
            if (canopies.text(i, "crop") != crop.id) continue;
            const CanopyPoint point{number_between(canopies, i, "days", 0, 366),
                                    number_between(canopies, i, "canopy_fraction", 0, 1),
                                    number_between(canopies, i, "fall_height_m", 0, 5),
                                    number_between(canopies, i, "roots_top_kg_ha", 0, 10000)};
            if (!crop.canopy.empty() && point.days <= crop.canopy.back().days)
                canopies.fail(i, "days", "days of one crop must rise");
            crop.canopy.push_back(point);
            crop.confidence =
                weakest(crop.confidence, parse_confidence(canopies.text(i, "confidence")));
        }
        crops.push_back(crop);
    }
    return crops;
}

const Catalogue<ResidueKind>& residue_catalogue() {
    static const Catalogue<ResidueKind> all = [] {
        const Table table = Table::parse(data::residue, "residue.csv");
        return catalogue(table, parse_residue_kinds(table));
    }();
    return all;
}

const Catalogue<Tool>& tool_catalogue() {
    static const Catalogue<Tool> all = [] {
        const Table table = Table::parse(data::tillage, "tillage.csv");
        return catalogue(table, parse_tools(table));
    }();
    return all;
}

const Catalogue<Crop>& crop_catalogue() {
    static const Catalogue<Crop> all = [] {
        const Table table = Table::parse(data::crops, "crops.csv");
        return catalogue(table, parse_crops(table, Table::parse(data::canopies, "canopies.csv")));
    }();
    return all;
}

Coefficients read_coefficients(const Table& table, Coefficients c) {
    table.require({"name", "value", "confidence"});
    const std::pair<const char*, double Coefficients::*> fields[] = {
        {"cover_b", &Coefficients::cover_b},
        {"plu_cb", &Coefficients::plu_cb},
        {"plu_cur_ha_mm_kg", &Coefficients::plu_cur_ha_mm_kg},
        {"plu_cus_ha_mm_kg", &Coefficients::plu_cus_ha_mm_kg},
        {"plu_cuf", &Coefficients::plu_cuf},
        {"consolidated_cf", &Coefficients::consolidated_cf},
        {"consolidation_per_year", &Coefficients::consolidation_per_year},
        {"root_share_top", &Coefficients::root_share_top},
        {"fall_height_share", &Coefficients::fall_height_share}};
    for (std::size_t row = 0; row < table.rows(); ++row) {
        const std::string& name = table.text(row, "name");
        std::vector<std::string> known;
        bool found = false;
        for (const auto& [field, member] : fields) {
            known.emplace_back(field);
            if (name != field) continue;
            found = true;
            const double value = table.required_number(row, "value");
            if (value <= 0.0) table.fail(row, "value", name + " must be above 0");
            c.*member = value;
            c.confidence = weakest(c.confidence, parse_confidence(table.text(row, "confidence")));
        }
        if (!found) {
            const std::string near = nearest_name(name, known);
            table.fail(row, "name", "unknown coefficient '" + name + "'",
                       near.empty() ? "" : "Did you mean '" + near + "'?");
        }
    }
    return c;
}

}  // namespace

const Coefficients& coefficients() {
    static const Coefficients c =
        read_coefficients(Table::parse(data::coefficients, "coefficients.csv"), {});
    return c;
}

Coefficients parse_coefficients(const Table& table) {
    return read_coefficients(table, coefficients());
}

double canopy_subfactor(double canopy_fraction, double fall_height_m) {
    // 0.1 per foot
    return 1.0 - canopy_fraction * std::exp(-0.1 * fall_height_m / units::m_per_ft);
}

double surface_cover_subfactor(double cover_pct, double roughness_mm, double b) {
    return std::exp(-b * cover_pct * std::pow(unit_roughness_mm / roughness_mm, 0.08));
}

double roughness_subfactor(double roughness_mm) {
    return std::exp(-0.66 * (roughness_mm - unit_roughness_mm) / units::mm_per_in);
}

double prior_land_use_subfactor(double cf, double roots_kg_ha_mm, double buried_kg_ha_mm,
                                const Coefficients& c) {
    return cf * c.plu_cb *
           std::exp(-(c.plu_cur_ha_mm_kg * roots_kg_ha_mm +
                      c.plu_cus_ha_mm_kg * buried_kg_ha_mm / std::pow(cf, c.plu_cuf)));
}

double consolidation(double years, const Coefficients& c) {
    return c.consolidated_cf +
           (1.0 - c.consolidated_cf) * std::exp(-c.consolidation_per_year * years);
}

double roughness_decay(double rain_mm, double ei_si) {
    const double rain_in = rain_mm / units::mm_per_in;
    const double ei_us = ei_si / units::r_si_per_us;
    return std::exp(0.5 * (-0.14 * rain_in) + 0.5 * (-0.012 * ei_us));
}

double roughness_after_tillage_mm(double initial_mm, double biomass_kg_ha_mm) {
    const double biomass_us = biomass_kg_ha_mm * lb_ac_in_per_kg_ha_mm;
    return unit_roughness_mm +
           (initial_mm - unit_roughness_mm) * (0.8 * (1.0 - std::exp(-0.0012 * biomass_us)) + 0.2);
}

double residue_cover_pct(double alpha_times_mass) {
    return 100.0 * (1.0 - std::exp(-alpha_times_mass));
}

double decay_moisture(double half_month_rain_mm) {
    return std::clamp(half_month_rain_mm / (2.6 * units::mm_per_in), 0.0, 1.0);
}

double decay_temperature(double tmean_c) {
    constexpr double offset = 8.0;
    constexpr double best = 32.0 + offset;
    const double t = tmean_c + offset;
    if (t <= 0.0) return 0.0;
    const double best2 = best * best;
    return std::max(0.0, (2.0 * t * t * best2 - t * t * t * t) / (best2 * best2));
}

double decay_weather(double half_month_rain_mm, double tmean_c) {
    return std::min(decay_moisture(half_month_rain_mm), decay_temperature(tmean_c));
}

std::vector<ResidueKind> parse_residue_kinds(const Table& table) {
    table.require({"id", "name", "alpha_ha_kg", "decay_per_day", "flat_share", "fall_per_day",
                   "source", "confidence"});
    require_unique(table);
    std::vector<ResidueKind> kinds;
    for (std::size_t row = 0; row < table.rows(); ++row)
        kinds.push_back({table.text(row, "id"), table.text(row, "name"),
                         number_between(table, row, "alpha_ha_kg", 1e-5, 0.01),
                         number_between(table, row, "decay_per_day", 0, 0.5),
                         number_between(table, row, "flat_share", 0, 1),
                         number_between(table, row, "fall_per_day", 0, 1),
                         table.text(row, "source"),
                         parse_confidence(table.text(row, "confidence"))});
    return kinds;
}

std::vector<Tool> parse_tools(const Table& table) {
    table.require({"id", "name", "roughness_mm", "buried_share", "buried_top_share",
                   "disturbed_share", "flattened_share", "source", "confidence"});
    require_unique(table);
    std::vector<Tool> tools;
    for (std::size_t row = 0; row < table.rows(); ++row)
        tools.push_back({table.text(row, "id"), table.text(row, "name"),
                         number_between(table, row, "roughness_mm", 6.0, 150),
                         number_between(table, row, "buried_share", 0, 1),
                         number_between(table, row, "buried_top_share", 0, 1),
                         number_between(table, row, "disturbed_share", 0, 1),
                         number_between(table, row, "flattened_share", 0, 1),
                         table.text(row, "source"),
                         parse_confidence(table.text(row, "confidence"))});
    return tools;
}

const std::vector<ResidueKind>& residue_kinds() {
    return residue_catalogue().rows;
}
const std::vector<Tool>& tools() {
    return tool_catalogue().rows;
}
const std::vector<Crop>& crops() {
    return crop_catalogue().rows;
}

const ResidueKind& residue_kind(std::string_view id) {
    return find(residue_catalogue(), id, "residue kind");
}
const Tool& tool(std::string_view id) {
    return find(tool_catalogue(), id, "tool");
}
const Crop& crop(std::string_view id) {
    return find(crop_catalogue(), id, "crop");
}

}  // namespace catchfield::erosion
