// SPDX-License-Identifier: MIT
#include "cover/catalogue.hpp"

#include "base/error.hpp"
#include "base/text.hpp"
#include "cover/data.hpp"

#include <algorithm>
#include <array>
#include <cmath>

namespace catchfield::cover {

namespace {

constexpr std::array<std::string_view, 3> group_names = {"grass", "legume", "brassica"};
constexpr std::array<std::string_view, 3> taproot_names = {"none", "weak", "strong"};
constexpr std::array<std::string_view, 5> winter_names = {"killed", "usually-killed", "variable",
                                                          "usually-survives", "survives"};
constexpr std::array<std::string_view, 3> curve_names = {"brassica-line", "vetch-line",
                                                         "catalogue"};

/// Ids are compared in lower case with '-' for '_' and blanks.
std::string key_of(std::string_view id) {
    std::string key = lower_case(trim(id));
    std::replace(key.begin(), key.end(), '_', '-');
    std::replace(key.begin(), key.end(), ' ', '-');
    return key;
}

/// One row of a species table over the values it may keep.
class Row {
  public:
    Row(const Table& table, std::size_t row, bool known)
        : m_table(table), m_row(row), m_known(known) {}

    void words(std::string_view column, std::string& value, bool needed) const {
        if (const std::string* cell = given(column)) {
            value = *cell;
        } else if (needed) {
            need(column);
        }
    }
    void number(std::string_view column, double& value, double low, double high) const {
        if (const std::optional<double> cell = bounded(column, low, high)) {
            value = *cell;
        } else {
            need(column);
        }
    }
    void number(std::string_view column, std::optional<double>& value, double low,
                double high) const {
        if (const std::optional<double> cell = bounded(column, low, high)) value = cell;
    }
    template <typename Enum, std::size_t N>
    void word(std::string_view column, const std::array<std::string_view, N>& names,
              Enum& value) const {
        const std::string* cell = given(column);
        if (!cell) return need(column);
        const auto found = std::find(names.begin(), names.end(), key_of(*cell));
        if (found == names.end()) {
            std::string list;
            for (const auto name : names) list += (list.empty() ? "" : ", ") + std::string(name);
            m_table.fail(m_row, column, "'" + *cell + "' is not known",
                         "Use one of: " + list + ".");
        }
        value = static_cast<Enum>(found - names.begin());
    }
    /// Source and confidence of a group of columns. A user's values without a tag are common
    /// practice.
    void tag(const std::string& prefix, std::initializer_list<std::string_view> columns,
             Tag& value) const {
        const std::string* source = given(prefix + "_source");
        const std::string* confidence = given(prefix + "_confidence");
        if (source) value.source = *source;
        if (confidence) {
            try {
                value.confidence = parse_confidence(*confidence);
            } catch (const Error& error) {
                m_table.fail(m_row, prefix + "_confidence", error.reason(), error.context().hint);
            }
        }
        const bool changed =
            std::any_of(columns.begin(), columns.end(), [&](auto c) { return given(c); });
        if (changed && !source && !confidence)
            value = {m_table.name(), Confidence::common_practice};
    }
    /// All three or none; low <= typical <= high.
    void range(std::string_view low, std::string_view typical, std::string_view high, double most,
               std::optional<Range>& value) const {
        const auto a = bounded(low, 0.0, most);
        const auto b = bounded(typical, 0.0, most);
        const auto c = bounded(high, 0.0, most);
        if (!a && !b && !c) return;
        Range r = value.value_or(Range{});
        if (!value && !(a && b && c)) {
            m_table.fail(m_row,
                         !a   ? low
                         : !b ? typical
                              : high,
                         "low, typical and high belong together");
        }
        r = {a.value_or(r.low), b.value_or(r.typical), c.value_or(r.high)};
        if (!(r.low <= r.typical && r.typical <= r.high)) {
            m_table.fail(m_row, typical, "low, typical and high are not in order");
        }
        value = r;
    }
    [[noreturn]] void fail(std::string_view column, const std::string& reason) const {
        m_table.fail(m_row, column, reason);
    }
    /// Fails where the column is in the table; says the same of the whole row where it is not.
    void check(bool good, std::string_view column, const std::string& reason) const {
        if (!good) m_table.fail(m_row, column, reason);
    }
    const std::string* given(std::string_view column) const {
        if (!m_table.has(column)) return nullptr;
        const std::string& cell = m_table.text(m_row, column);
        return cell.empty() ? nullptr : &cell;
    }

  private:
    std::optional<double> bounded(std::string_view column, double low, double high) const {
        if (!given(column)) return std::nullopt;
        const std::optional<double> value = m_table.number(m_row, column);
        if (value && (*value < low || *value > high)) {
            m_table.fail(m_row, column,
                         significant(*value, 6) + " is outside " + significant(low, 4) + " to " +
                             significant(high, 4));
        }
        return value;
    }
    void need(std::string_view column) const {
        if (!m_known) {
            m_table.fail(m_row, column, "a new species needs a value here",
                         "The built-in species table shows every column.");
        }
    }

    const Table& m_table;
    std::size_t m_row;
    bool m_known;
};

std::vector<std::string> list_of(const std::string& text) {
    std::vector<std::string> items;
    for (const std::string& part : split(text, ';')) {
        if (!trim(part).empty()) items.emplace_back(trim(part));
    }
    return items;
}

void read_species(const Row& row, Species& s) {
    row.words("common_name", s.name, true);
    row.words("latin", s.latin, false);
    row.words("life_cycle", s.life_cycle, false);
    row.word("group", group_names, s.group);

    row.number("depth_min_cm", s.depth_min_cm, 0.0, 15.0);
    row.number("depth_max_cm", s.depth_max_cm, 0.0, 15.0);
    row.check(s.depth_min_cm <= s.depth_max_cm, "depth_max_cm", "least depth is above greatest");
    row.number("drill_min_kg_ha", s.drill_min_kg_ha, 0.1, 500.0);
    row.number("drill_max_kg_ha", s.drill_max_kg_ha, 0.1, 500.0);
    row.check(s.drill_min_kg_ha <= s.drill_max_kg_ha, "drill_max_kg_ha",
              "least rate is above greatest");
    row.number("broadcast_min_kg_ha", s.broadcast_min_kg_ha, 0.1, 500.0);
    row.number("broadcast_max_kg_ha", s.broadcast_max_kg_ha, 0.1, 500.0);
    row.check(s.broadcast_min_kg_ha <= s.broadcast_max_kg_ha, "broadcast_max_kg_ha",
              "least rate is above greatest");
    row.number("min_germination_c", s.min_germination_c, -5.0, 30.0);
    row.number("seed_price_per_kg", s.seed_price_per_kg, 0.0, 1e6);
    row.tag("seed",
            {"drill_min_kg_ha", "drill_max_kg_ha", "broadcast_min_kg_ha", "broadcast_max_kg_ha"},
            s.seed_tag);

    row.number("window_early_weeks", s.window_early_weeks, -30.0, 40.0);
    row.number("window_late_weeks", s.window_late_weeks, -30.0, 40.0);
    row.check(s.window_late_weeks <= s.window_early_weeks, "window_late_weeks",
              "the window ends before it begins");
    row.word("winter_class", winter_names, s.winter_class);
    row.number("kill_temp_c", s.kill_temp_c, -60.0, 5.0);
    double zone = s.hardiness_zone;
    row.number("hardiness_zone", zone, 1.0, 13.0);
    row.check(zone == std::floor(zone), "hardiness_zone", "a whole number is needed");
    s.hardiness_zone = static_cast<int>(zone);
    row.tag("winter", {"winter_class", "kill_temp_c", "hardiness_zone"}, s.winter_tag);

    row.number("base_temp_c", s.base_temp_c, -10.0, 20.0);
    row.word("growth_curve", curve_names, s.curve);
    row.number("curve_factor", s.curve_factor, 0.01, 10.0);
    row.tag("growth", {"base_temp_c", "growth_curve", "curve_factor"}, s.growth_tag);
    std::optional<Range> fall;
    if (s.fall_kg_ha.high > 0.0) fall = s.fall_kg_ha;
    row.range("fall_min_kg_ha", "fall_typical_kg_ha", "fall_max_kg_ha", 40000.0, fall);
    row.check(fall && fall->low > 0.0, "fall_typical_kg_ha",
              "autumn dry matter must be above zero");
    s.fall_kg_ha = *fall;
    row.range("spring_min_kg_ha", "spring_typical_kg_ha", "spring_max_kg_ha", 40000.0,
              s.spring_kg_ha);
    row.check(!s.spring_kg_ha || s.spring_kg_ha->low > 0.0, "spring_typical_kg_ha",
              "spring dry matter must be above zero, or empty");
    row.tag("biomass",
            {"fall_min_kg_ha", "fall_typical_kg_ha", "fall_max_kg_ha", "spring_min_kg_ha",
             "spring_typical_kg_ha", "spring_max_kg_ha"},
            s.biomass_tag);

    row.number("n_pct_young", s.n_pct_young, 0.3, 7.0);
    row.number("n_pct_late", s.n_pct_late, 0.3, 7.0);
    row.check(s.n_pct_late <= s.n_pct_young, "n_pct_late", "late %N is above young %N");
    row.range("fixed_min", "fixed_typical", "fixed_max", 1.0, s.fixed_share);
    row.check(s.group != Group::legume || s.fixed_share, "fixed_typical",
              "a legume needs the share of N it fixes");
    row.check(s.group == Group::legume || !s.fixed_share, "fixed_typical", "only legumes fix N");
    row.number("n_to_establish_kg_ha", s.n_to_establish_kg_ha, 0.0, 300.0);
    row.tag("nitrogen",
            {"n_pct_young", "n_pct_late", "fixed_min", "fixed_typical", "fixed_max",
             "n_to_establish_kg_ha"},
            s.nitrogen_tag);

    row.number("height_cm", s.height_cm, 1.0, 400.0);
    row.number("root_share", s.root_share, 0.0, 5.0);
    row.tag("form", {"height_cm", "root_share"}, s.form_tag);
    row.word("taproot", taproot_names, s.taproot);
    row.number("root_depth_cm", s.root_depth_cm, 1.0, 400.0);
    row.number("alpha_ha_kg", s.alpha_ha_kg, 1e-5, 0.01);
    double persistence = s.persistence;
    row.number("persistence", persistence, 1.0, 4.0);
    row.check(persistence == std::floor(persistence), "persistence", "1, 2, 3 or 4 is needed");
    s.persistence = static_cast<int>(persistence);
    row.words("weed_flag", s.weed_flag, false);
    if (const std::string* cell = row.given("termination")) s.termination = list_of(*cell);
    row.words("host_flag", s.host_flag, false);
    row.tag("other", {"taproot", "root_depth_cm", "alpha_ha_kg", "persistence"}, s.other_tag);
}

}  // namespace

std::string_view group_name(Group group) {
    return group_names[static_cast<std::size_t>(group)];
}
std::string_view taproot_name(Taproot taproot) {
    return taproot_names[static_cast<std::size_t>(taproot)];
}
std::string_view winter_class_name(WinterClass winter_class) {
    return winter_names[static_cast<std::size_t>(winter_class)];
}
std::string_view growth_curve_name(GrowthCurve curve) {
    return curve_names[static_cast<std::size_t>(curve)];
}

bool Cover::has(Group group) const {
    return std::any_of(components.begin(), components.end(),
                       [&](const Component& c) { return c.species.group == group; });
}

const Catalogue& Catalogue::built_in() {
    static const Catalogue catalogue(Table::parse(data::species, "built-in species.csv"),
                                     Table::parse(data::mixtures, "built-in mixtures.csv"),
                                     Table::parse(data::sources, "built-in sources.csv"));
    return catalogue;
}

Catalogue::Catalogue(const Table& species, const Table& mixtures, const Table& sources) {
    sources.require({"code", "citation", "confidence"});
    for (std::size_t r = 0; r < sources.rows(); ++r) {
        m_sources.push_back({sources.text(r, "code"), sources.text(r, "citation"),
                             parse_confidence(sources.text(r, "confidence"))});
    }
    species.require({"species_id", "common_name", "group", "base_temp_c", "fall_typical_kg_ha",
                     "n_pct_young", "kill_temp_c", "drill_min_kg_ha"});
    add_species(species);
    add_mixtures(mixtures);
}

void Catalogue::add_species(const Table& user) {
    user.require({"species_id"});
    std::vector<Species> changed = m_species;
    std::vector<std::string> seen;
    for (std::size_t r = 0; r < user.rows(); ++r) {
        const std::string id = key_of(user.text(r, "species_id"));
        if (id.empty()) user.fail(r, "species_id", "the species has no id");
        if (id.find_first_of("=+,;") != std::string::npos) {
            user.fail(r, "species_id", "an id must not hold = + , ;");
        }
        if (std::find(seen.begin(), seen.end(), id) != seen.end()) {
            user.fail(r, "species_id", "'" + id + "' stands twice");
        }
        seen.push_back(id);
        const auto found = std::find_if(changed.begin(), changed.end(),
                                        [&](const Species& s) { return s.id == id; });
        const bool known = found != changed.end();
        Species species = known ? *found : Species{};
        species.id = id;
        read_species(Row(user, r, known), species);
        if (known) {
            *found = std::move(species);
        } else {
            changed.push_back(std::move(species));
        }
    }
    m_species = std::move(changed);
}

void Catalogue::add_mixtures(const Table& user) {
    user.require({"mixture_id", "species_id", "share"});
    struct Pending {
        MixtureRow row;
        std::size_t first = 0;
        double sum = 0.0;
    };
    std::vector<Pending> pending;
    for (std::size_t r = 0; r < user.rows(); ++r) {
        const std::string id = key_of(user.text(r, "mixture_id"));
        if (id.empty()) user.fail(r, "mixture_id", "the mixture has no id");
        const std::string part = key_of(user.text(r, "species_id"));
        try {
            find_species(part);
        } catch (const Error& error) {
            user.fail(r, "species_id", error.reason(), error.context().hint);
        }
        const double share = user.required_number(r, "share");
        if (share <= 0.0 || share > 1.0) user.fail(r, "share", "a share is above 0 and at most 1");
        if (std::any_of(m_species.begin(), m_species.end(),
                        [&](const auto& s) { return s.id == id; })) {
            user.fail(r, "mixture_id", "'" + id + "' is already the id of a species");
        }
        auto found = std::find_if(pending.begin(), pending.end(),
                                  [&](const Pending& p) { return p.row.id == id; });
        if (found == pending.end()) {
            pending.push_back(
                {{id, id, "", {}, {user.name(), Confidence::common_practice}}, r, 0.0});
            found = pending.end() - 1;
        }
        const auto take = [&](std::string_view column, std::string& value) {
            if (user.has(column) && !user.text(r, column).empty()) value = user.text(r, column);
        };
        take("name", found->row.name);
        take("use", found->row.use);
        take("source", found->row.tag.source);
        std::string confidence;
        take("confidence", confidence);
        if (!confidence.empty()) {
            try {
                found->row.tag.confidence = parse_confidence(confidence);
            } catch (const Error& error) {
                user.fail(r, "confidence", error.reason(), error.context().hint);
            }
        }
        for (const auto& [other, ignored] : found->row.parts) {
            if (other == part)
                user.fail(r, "species_id", "'" + part + "' stands twice in this mixture");
        }
        found->row.parts.emplace_back(part, share);
        found->sum += share;
    }
    for (const Pending& p : pending) {
        if (std::abs(p.sum - 1.0) > 0.001) {
            user.fail(
                p.first, "share",
                "the shares of '" + p.row.id + "' add to " + significant(p.sum, 4) + ", not to 1");
        }
    }
    for (Pending& p : pending) {
        const auto found = std::find_if(m_mixtures.begin(), m_mixtures.end(),
                                        [&](const MixtureRow& m) { return m.id == p.row.id; });
        if (found == m_mixtures.end()) {
            m_mixtures.push_back(std::move(p.row));
        } else {
            *found = std::move(p.row);
        }
    }
}

std::vector<std::string> Catalogue::ids() const {
    std::vector<std::string> ids;
    for (const Species& s : m_species) ids.push_back(s.id);
    for (const MixtureRow& m : m_mixtures) ids.push_back(m.id);
    return ids;
}

std::string Catalogue::citation(std::string_view code) const {
    for (const Source& source : m_sources) {
        if (source.code == code) return source.citation;
    }
    return std::string(code);
}

const Species& Catalogue::find_species(std::string_view id) const {
    const std::string key = key_of(id);
    for (const Species& s : m_species) {
        if (s.id == key || key_of(s.name) == key) return s;
    }
    std::vector<std::string> known;
    for (const Species& s : m_species) known.push_back(s.id);
    const std::string near = nearest_name(key, known);
    throw Error(ErrorKind::usage, "unknown cover-crop species '" + std::string(id) + "'",
                {.hint = near.empty() ? "The command 'species' lists the known ones."
                                      : "Did you mean '" + near + "'?"});
}

Cover Catalogue::build(const MixtureRow& row) const {
    Cover cover{row.id, row.name, row.use, {}, row.tag};
    for (const auto& [id, share] : row.parts) cover.components.push_back({find_species(id), share});
    return cover;
}

Cover Catalogue::find(std::string_view id) const {
    const std::string key = key_of(id);
    for (const MixtureRow& m : m_mixtures) {
        if (m.id == key) return build(m);
    }
    for (const Species& s : m_species) {
        if (s.id == key || key_of(s.name) == key) return {s.id, s.name, "", {{s, 1.0}}, s.seed_tag};
    }
    const std::string near = nearest_name(key, ids());
    throw Error(ErrorKind::usage, "unknown cover crop '" + std::string(id) + "'",
                {.hint = near.empty() ? "The command 'species' lists the known ones."
                                      : "Did you mean '" + near + "'?"});
}

std::vector<Cover> Catalogue::list(const CatalogueFilter& filter) const {
    const std::string wanted = lower_case(trim(filter.text));
    std::vector<Cover> covers;
    for (const std::string& id : ids()) {
        Cover cover = find(id);
        const auto any = [&](auto test) {
            return std::any_of(cover.components.begin(), cover.components.end(),
                               [&](const Component& c) { return test(c.species); });
        };
        if (filter.mixtures && *filter.mixtures == cover.pure()) continue;
        if (filter.group && !cover.has(*filter.group)) continue;
        if (filter.taproot && !any([&](const Species& s) { return s.taproot == *filter.taproot; }))
            continue;
        if (filter.overwinters &&
            any([](const Species& s) { return s.overwinters(); }) != *filter.overwinters) {
            continue;
        }
        if (!wanted.empty() && lower_case(cover.id).find(wanted) == std::string::npos &&
            lower_case(cover.name).find(wanted) == std::string::npos && !any([&](const Species& s) {
                return lower_case(s.latin).find(wanted) != std::string::npos;
            })) {
            continue;
        }
        covers.push_back(std::move(cover));
    }
    return covers;
}

Cover Catalogue::parse_cover(std::string_view text) const {
    if (text.find('=') == std::string_view::npos) return find(text);
    Cover cover;
    cover.id = key_of(text);
    cover.tag = {"user", Confidence::common_practice};
    double sum = 0.0;
    for (const std::string& part : split(text, '+')) {
        const std::size_t equal = part.find('=');
        const std::optional<double> share =
            equal == std::string::npos ? std::nullopt : parse_number(trim(part.substr(equal + 1)));
        if (!share || *share <= 0.0 || *share > 1.0) {
            throw Error(ErrorKind::usage, "'" + std::string(trim(part)) + "' is not species=share",
                        {.hint = "Write for example rye=0.6+hairy-vetch=0.4; shares add to 1."});
        }
        const Species& species = find_species(part.substr(0, equal));
        for (const Component& c : cover.components) {
            if (c.species.id == species.id) {
                throw Error(ErrorKind::usage,
                            "'" + species.id + "' stands twice in '" + std::string(text) + "'");
            }
        }
        cover.name += (cover.name.empty() ? "" : " and ") + species.name;
        cover.components.push_back({species, *share});
        sum += *share;
    }
    if (std::abs(sum - 1.0) > 0.001) {
        throw Error(ErrorKind::usage, "the shares of '" + std::string(text) + "' add to " +
                                          significant(sum, 4) + ", not to 1");
    }
    return cover;
}

const Constants& Constants::built_in() {
    static const Constants constants = [] {
        const Table table = Table::parse(data::constants, "built-in constants.csv");
        const auto value = [&](std::string_view name) {
            for (std::size_t r = 0; r < table.rows(); ++r) {
                if (table.text(r, "name") == name) return table.required_number(r, "value");
            }
            throw Error(ErrorKind::internal, "no constant '" + std::string(name) + "'");
        };
        Constants c;
        c.reference_weeks = value("reference_weeks");
        c.reference_autumn_c = value("reference_autumn_c");
        c.establishment_c_d = value("establishment_c_d");
        c.curve_softness_c_d = value("curve_softness_c_d");
        c.reference_spring_days = value("reference_spring_days");
        c.reference_spring_c = value("reference_spring_c");
        c.establishment_half_share = value("establishment_half_share");
        c.winter_retention = value("winter_retention");
        c.useful_mass_kg_ha = value("useful_mass_kg_ha");
        c.mixture_gain = value("mixture_gain");
        c.n_recovery = value("n_recovery");
        c.default_supply_kg_ha = value("default_supply_kg_ha");
        c.default_spring_supply_kg_ha = value("default_spring_supply_kg_ha");
        c.dilution_start_share = value("dilution_start_share");
        c.n_floor_share = value("n_floor_share");
        c.fixation_mid_supply_kg_ha = value("fixation_mid_supply_kg_ha");
        c.fixation_high_supply_kg_ha = value("fixation_high_supply_kg_ha");
        c.root_n_share = value("root_n_share");
        c.carbon_share = value("carbon_share");
        c.light_k_grass = value("light_k_grass");
        c.light_k_broadleaf = value("light_k_broadleaf");
        c.leaf_area_m2_kg = value("leaf_area_m2_kg");
        c.kill_spread_c = value("kill_spread_c");
        c.winter_spread_c = value("winter_spread_c");
        c.zone_weight = value("zone_weight");
        for (std::size_t i = 0; i < 4; ++i) {
            c.residue_half_life_days[i] =
                value("residue_half_life_" + std::to_string(i + 1) + "_days");
        }
        c.winter_killed_chance = value("winter_killed_chance");
        c.winter_likely_chance = value("winter_likely_chance");
        c.winter_survives_chance = value("winter_survives_chance");
        c.brassica_least_heat_c_d = value("brassica_least_heat_c_d");
        c.taproot_heat_c_d = value("taproot_heat_c_d");
        c.brassica_most_heat_c_d = value("brassica_most_heat_c_d");
        c.release_k_per_day = value("release_k_per_day");
        c.release_reference_c = value("release_reference_c");
        c.tie_up_cap_kg_ha = value("tie_up_cap_kg_ha");
        c.humification_tops = value("humification_tops");
        c.humification_roots = value("humification_roots");
        c.killed_catch_share = value("killed_catch_share");
        c.sample_error = value("sample_error");
        c.height_error = value("height_error");
        c.full_credit_kg_ha = value("full_credit_kg_ha");
        c.full_humus_kg_ha = value("full_humus_kg_ha");
        c.full_cost_per_ha = value("full_cost_per_ha");
        return c;
    }();
    return constants;
}

}  // namespace catchfield::cover
