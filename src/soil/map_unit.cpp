// SPDX-License-Identifier: MIT
// Reading a soil map's attributes.
#include "soil/map_unit.hpp"

#include "base/error.hpp"
#include "base/text.hpp"

#include <array>
#include <utility>

namespace catchfield::soil {

namespace {

constexpr std::array<std::string_view, 7> drainage_names = {
    "excessively drained",     "somewhat excessively drained", "well drained",
    "moderately well drained", "somewhat poorly drained",      "poorly drained",
    "very poorly drained"};

std::optional<HydrologicGroup> group_of(std::string_view letter) {
    if (letter.size() != 1) return std::nullopt;
    switch (letter.front()) {
        case 'a':
            return HydrologicGroup::a;
        case 'b':
            return HydrologicGroup::b;
        case 'c':
            return HydrologicGroup::c;
        case 'd':
            return HydrologicGroup::d;
        default:
            return std::nullopt;
    }
}

char letter_of(HydrologicGroup group) {
    return static_cast<char>('A' + static_cast<int>(group));
}

template <typename Columns>
using Members = std::vector<std::pair<std::string, std::string Columns::*>>;

template <typename Columns>
void assign(Columns& columns, const Members<Columns>& members, std::string_view text) {
    for (const std::string& pair : split(text, ',')) {
        if (trim(pair).empty()) continue;
        const std::size_t equals = pair.find('=');
        const std::string name{trim(std::string_view(pair).substr(0, equals))};
        const std::string value{equals == std::string::npos
                                    ? std::string_view()
                                    : trim(std::string_view(pair).substr(equals + 1))};
        if (value.empty())
            throw Error(ErrorKind::usage,
                        "'" + std::string(trim(pair)) + "' is no name=column pair",
                        {.hint = "Write for example k=kffact, t=tfact."});
        std::vector<std::string> known;
        std::string Columns::*member = nullptr;
        for (const auto& [short_name, pointer] : members) {
            known.push_back(short_name);
            if (same_ignoring_case(short_name, name)) member = pointer;
        }
        if (member == nullptr) {
            const std::string nearest = nearest_name(name, known);
            throw Error(ErrorKind::usage, "unknown soil column name '" + name + "'",
                        {.hint = nearest.empty()
                                     ? "Known names are key, k, t, sand, silt, clay, om and others."
                                     : "Did you mean '" + nearest + "'?"});
        }
        columns.*member = value;
    }
}

/// Reads attributes of one feature strictly.
class Reader {
  public:
    Reader(const AttributeLookup& lookup, const std::string& what,
           std::vector<std::string>& warnings)
        : m_lookup(lookup), m_what(what), m_warnings(warnings) {}

    std::string text(const std::string& column) const {
        const auto value = m_lookup(column);
        return value ? std::string(trim(*value)) : std::string();
    }

    std::optional<double> number(const std::string& column) const {
        const std::string value = text(column);
        if (value.empty()) return std::nullopt;
        const auto parsed = parse_number(value);
        if (!parsed)
            throw Error(ErrorKind::data, "'" + value + "' is not a number",
                        {.layer = column,
                         .feature = m_what,
                         .hint = "Numbers are written with a decimal point and without a unit."});
        return parsed;
    }

    /// As number(), but outside the range it is left out with a warning.
    std::optional<double> number(const std::string& column, double low, double high) const {
        const auto value = number(column);
        if (!value || (*value >= low && *value <= high)) return value;
        m_warnings.push_back(m_what + ": " + column + " is " + shortest(*value) + ", outside " +
                             shortest(low) + " to " + shortest(high) + "; it was not used.");
        return std::nullopt;
    }

  private:
    const AttributeLookup& m_lookup;
    const std::string& m_what;
    std::vector<std::string>& m_warnings;
};

void check_separates(MapUnit& unit, const std::string& what) {
    Horizon& surface = unit.surface;
    try {
        if (const auto soil = checked_separates(surface.sand_pct, surface.silt_pct,
                                                surface.clay_pct, what, unit.warnings)) {
            surface.sand_pct = soil->sand_pct;
            surface.silt_pct = soil->silt_pct;
            surface.clay_pct = soil->clay_pct;
        }
    } catch (const Error& error) {
        unit.warnings.push_back(what + ": " + error.reason() + "; the three were not used.");
        surface.sand_pct = surface.silt_pct = surface.clay_pct = std::nullopt;
    }
    if (surface.very_fine_sand_pct && surface.sand_pct &&
        *surface.very_fine_sand_pct > *surface.sand_pct + 1.0) {
        unit.warnings.push_back(what + ": more very fine sand than sand; it was not used.");
        surface.very_fine_sand_pct.reset();
    }
}

}  // namespace

std::optional<HydrologicGroups> parse_hydrologic_group(std::string_view text) {
    const std::string word = lower_case(trim(text));
    const std::size_t slash = word.find('/');
    const auto first = group_of(std::string_view(word).substr(0, slash));
    if (!first) return std::nullopt;
    if (slash == std::string::npos) return HydrologicGroups{*first, *first};
    const auto second = group_of(std::string_view(word).substr(slash + 1));
    if (second != HydrologicGroup::d || *first == HydrologicGroup::d) return std::nullopt;
    return HydrologicGroups{*first, *second};
}

std::string hydrologic_group_name(const HydrologicGroups& groups) {
    std::string name(1, letter_of(groups.drained));
    if (groups.dual()) name += std::string("/") + letter_of(groups.undrained);
    return name;
}

std::optional<Drainage> parse_drainage(std::string_view text) {
    const std::string word = lower_case(trim(text));
    for (std::size_t i = 0; i < drainage_names.size(); ++i) {
        const std::string_view name = drainage_names[i];
        if (word == name ||
            word == name.substr(0, name.size() - std::string_view(" drained").size()))
            return static_cast<Drainage>(i);
    }
    return std::nullopt;
}

std::string_view drainage_name(Drainage drainage) {
    return drainage_names[static_cast<std::size_t>(drainage)];
}

std::optional<TextureClass> MapUnit::texture() const {
    if (const auto measured = horizon_texture(surface)) return measured;
    // "Cardington silt loam, 2 to 6 percent slopes": the longest run of words that ends before the
    // comma and names a class.
    const std::string head(trim(std::string_view(name).substr(0, name.find(','))));
    for (std::size_t space = head.find(' '); space != std::string::npos;
         space = head.find(' ', space + 1))
        if (const auto named = parse_texture(std::string_view(head).substr(space + 1)))
            return named;
    return std::nullopt;
}

void set_columns(MapUnitColumns& columns, std::string_view text) {
    using C = MapUnitColumns;
    static const Members<C> members = {
        {"key", &C::key},
        {"symbol", &C::symbol},
        {"name", &C::name},
        {"component", &C::component},
        {"component_pct", &C::component_pct},
        {"k", &C::k},
        {"kw", &C::kw},
        {"t", &C::t},
        {"wind_group", &C::wind_group},
        {"wind_index", &C::wind_index},
        {"hydrologic_group", &C::hydrologic_group},
        {"drainage", &C::drainage},
        {"slope", &C::slope},
        {"water_table", &C::water_table},
        {"restriction", &C::restriction},
        {"restriction_top", &C::restriction_top},
        {"top", &C::top},
        {"bottom", &C::bottom},
        {"sand", &C::sand},
        {"silt", &C::silt},
        {"clay", &C::clay},
        {"very_fine_sand", &C::very_fine_sand},
        {"om", &C::om},
        {"bulk_density", &C::bulk_density},
        {"ksat", &C::ksat},
        {"awc", &C::awc},
        {"fragments", &C::fragments},
        {"ph", &C::ph},
        {"cec", &C::cec},
    };
    assign(columns, members, text);
}

void set_columns(HorizonColumns& columns, std::string_view text) {
    using C = HorizonColumns;
    static const Members<C> members = {
        {"key", &C::key},   {"name", &C::name},
        {"top", &C::top},   {"bottom", &C::bottom},
        {"sand", &C::sand}, {"silt", &C::silt},
        {"clay", &C::clay}, {"very_fine_sand", &C::very_fine_sand},
        {"om", &C::om},     {"bulk_density", &C::bulk_density},
        {"ksat", &C::ksat}, {"awc", &C::awc},
        {"k", &C::k},       {"fragments", &C::fragments},
    };
    assign(columns, members, text);
}

MapUnit read_map_unit(const AttributeLookup& lookup, const MapUnitColumns& columns,
                      const std::string& what) {
    MapUnit unit;
    const Reader read(lookup, what, unit.warnings);
    unit.key = read.text(columns.key);
    unit.symbol = read.text(columns.symbol);
    unit.name = read.text(columns.name);
    unit.component = read.text(columns.component);
    unit.component_pct = read.number(columns.component_pct, 0.0, 100.0);
    unit.kf_us = read.number(columns.k, 1e-3, 1.0);
    unit.kw_us = read.number(columns.kw, 1e-3, 1.0);
    unit.t_us = read.number(columns.t, 1.0, 5.0);
    unit.wind_group = read.text(columns.wind_group);
    unit.wind_index_us = read.number(columns.wind_index, 0.0, 400.0);
    unit.slope_pct = read.number(columns.slope, 0.0, 999.0);
    unit.water_table_cm = read.number(columns.water_table, 0.0, 1000.0);
    unit.restriction = read.text(columns.restriction);
    unit.restriction_top_cm = read.number(columns.restriction_top, 0.0, 1000.0);
    unit.ph = read.number(columns.ph, 0.0, 14.0);
    unit.cec_cmol_kg = read.number(columns.cec, 0.0, 400.0);

    if (const std::string group = read.text(columns.hydrologic_group); !group.empty()) {
        unit.hydrologic_group = parse_hydrologic_group(group);
        if (!unit.hydrologic_group)
            unit.warnings.push_back(what + ": '" + group + "' is no hydrologic soil group.");
    }
    if (const std::string drainage = read.text(columns.drainage); !drainage.empty()) {
        unit.drainage = parse_drainage(drainage);
        if (!unit.drainage)
            unit.warnings.push_back(what + ": '" + drainage + "' is no drainage class.");
    }

    Horizon& surface = unit.surface;
    surface.top_cm = read.number(columns.top, 0.0, 1000.0).value_or(0.0);
    surface.bottom_cm = read.number(columns.bottom, 0.0, 1000.0).value_or(0.0);
    surface.sand_pct = read.number(columns.sand, 0.0, 100.0);
    surface.silt_pct = read.number(columns.silt, 0.0, 100.0);
    surface.clay_pct = read.number(columns.clay, 0.0, 100.0);
    surface.very_fine_sand_pct = read.number(columns.very_fine_sand, 0.0, 100.0);
    surface.om_pct = read.number(columns.om, 0.0, 100.0);
    surface.bulk_density_g_cm3 = read.number(columns.bulk_density, 0.1, 2.65);
    surface.ksat_um_s = read.number(columns.ksat, 0.0, 1e5);
    surface.awc_cm_cm = read.number(columns.awc, 0.0, 0.6);
    surface.fragments_pct = read.number(columns.fragments, 0.0, 100.0);
    surface.kf_us = unit.kf_us;
    check_separates(unit, what);
    return unit;
}

}  // namespace catchfield::soil
