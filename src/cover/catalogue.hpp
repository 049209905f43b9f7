// SPDX-License-Identifier: MIT
// The catalogue: species, mixtures and nurse pairs, each value with its source and how sure it is.
#pragma once

#include "base/confidence.hpp"
#include "base/table.hpp"

#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

namespace catchfield::cover {

/// Low, typical and high of one quantity, low <= typical <= high.
struct Range {
    double low = 0.0;
    double typical = 0.0;
    double high = 0.0;
    bool operator==(const Range&) const = default;
};

enum class Group { grass, legume, brassica };
std::string_view group_name(Group group);

enum class Taproot { none, weak, strong };
std::string_view taproot_name(Taproot taproot);

/// What the catalogue says of winters of hardiness zones 4 to 6.
enum class WinterClass { killed, usually_killed, variable, usually_survives, survives };
std::string_view winter_class_name(WinterClass winter_class);

/// Which growth curve stands for a species (growth.hpp).
enum class GrowthCurve {
    brassica_line,  ///< Bjorkman 2012, straight line above 1000 degree-days (32 F base)
    vetch_line,     ///< Mirsky et al. 2017 in spring, the catalogue curve in autumn
    catalogue,      ///< curve laid through the catalogue's own biomass bounds
};
std::string_view growth_curve_name(GrowthCurve curve);

/// Source code (see Catalogue::sources) and how sure the values are.
struct Tag {
    std::string source{};
    Confidence confidence = Confidence::assumption;
};

/// A source of the catalogue: code as used in the tables, and the citation.
struct Source {
    std::string code{};
    std::string citation{};
    Confidence confidence = Confidence::assumption;
};

/// One species. Values that do not apply are empty (std::nullopt), never zero.
struct Species {
    std::string id{};    ///< "rye", "forage-radish"
    std::string name{};  ///< common name
    std::string latin{};
    std::string life_cycle{};
    Group group = Group::grass;
    Taproot taproot = Taproot::none;

    // Seed. Rates are those of a pure stand, of pure live seed.
    double depth_min_cm = 0.0, depth_max_cm = 0.0;
    double drill_min_kg_ha = 0.0, drill_max_kg_ha = 0.0;
    double broadcast_min_kg_ha = 0.0, broadcast_max_kg_ha = 0.0;
    double min_germination_c = 0.0;             ///< soil temperature
    std::optional<double> seed_price_per_kg{};  ///< in the user's money; empty = not known
    double window_early_weeks = 0.0;            ///< weeks before the first hard frost (-2.2 C)
    double window_late_weeks = 0.0;             ///< negative: weeks after it

    // Winter.
    WinterClass winter_class = WinterClass::variable;
    double kill_temp_c = 0.0;  ///< air temperature that mostly kills a hardened stand without snow
    int hardiness_zone = 0;    ///< coldest zone where it normally overwinters

    // Growth.
    double base_temp_c = 0.0;
    GrowthCurve curve = GrowthCurve::catalogue;
    double curve_factor = 1.0;  ///< slope factor r of the brassica line, else 1
    Range fall_kg_ha;           ///< dry matter at freeze-up, sown about 8 weeks before frost
    std::optional<Range> spring_kg_ha{};  ///< at spring termination; empty = does not overwinter
    double height_cm = 0.0;               ///< at the typical full mass
    double root_share = 0.0;              ///< root mass per unit of shoot mass
    double alpha_ha_kg = 0.0;             ///< Gregory 1982 residue cover coefficient
    int persistence = 1;                  ///< 1 gone in weeks ... 4 lasts most of the season
    double root_depth_cm = 0.0;

    // Nitrogen.
    double n_pct_young = 0.0, n_pct_late = 0.0;    ///< of shoot dry matter
    std::optional<Range> fixed_share{};            ///< share of shoot N from the air; legumes only
    std::optional<double> n_to_establish_kg_ha{};  ///< soil nitrate-N, 0-30 cm; brassicas only

    std::string weed_flag{};                 ///< volunteer and weed risk in words, may be empty
    std::vector<std::string> termination{};  ///< ways to end it, the most usual first
    std::string host_flag{};                 ///< pests or diseases it may carry to the next crop

    Tag seed_tag, winter_tag, growth_tag, biomass_tag, nitrogen_tag, form_tag, other_tag;

    bool overwinters() const { return spring_kg_ha.has_value(); }
};

/// A species in a stand with its share of the seeding: the rate sown is share x pure-stand rate.
struct Component {
    Species species;
    double share = 1.0;
};

/// What a user can choose: a pure stand, a mixture or a nurse pair. Shares add to 1.
struct Cover {
    std::string id{};
    std::string name{};
    std::string use{};  ///< one line: what it is for; empty for pure stands
    std::vector<Component> components{};
    Tag tag;  ///< of the shares; for pure stands that of the seed values

    bool pure() const { return components.size() == 1; }
    bool has(Group group) const;
};

/// Which rows `list` returns; empty members do not filter.
struct CatalogueFilter {
    std::optional<Group> group{};
    std::optional<Taproot> taproot{};
    std::optional<bool> overwinters{};
    std::optional<bool> mixtures{};  ///< true: only mixtures, false: only pure stands
    std::string text{};              ///< part of id, common or Latin name, ASCII case ignored
};

/// Species, mixtures and sources.
class Catalogue {
  public:
    /// The tables built into the program.
    static const Catalogue& built_in();

    /// From tables of the forms src/cover/data/species.csv, mixtures.csv, sources.csv.
    /// Throws Error(data) naming line and column of a bad row.
    Catalogue(const Table& species, const Table& mixtures, const Table& sources);

    /// Adds rows of a user's species table, or replaces those with a known species_id. The table
    /// needs species_id; for a known species, columns left out or empty keep the built-in value,
    /// and the confidence columns say how sure the user's values are ("common practice" where the
    /// table has none). A new species needs every required column. Mixtures pick the change up.
    void add_species(const Table& user);
    /// Adds or replaces mixtures. Throws Error(data) where shares do not add to 1 (to 0.001), a
    /// share is not in (0, 1], or a species is unknown (names the nearest).
    void add_mixtures(const Table& user);

    std::span<const Species> species() const { return m_species; }
    std::span<const Source> sources() const { return m_sources; }
    /// Ids of species, then of mixtures.
    std::vector<std::string> ids() const;
    /// Citation of a code; the code itself where it is not listed (a user's own).
    std::string citation(std::string_view code) const;

    /// Case ignored, '_' and blank count as '-'. Throws Error(usage) for an unknown id, with the
    /// nearest known one.
    const Species& find_species(std::string_view id) const;
    /// A species or mixture as a cover, ready for forecast(). Throws as find_species.
    Cover find(std::string_view id) const;
    /// Covers in catalogue order.
    std::vector<Cover> list(const CatalogueFilter& filter = {}) const;

    /// A mixture that is not in the catalogue, from "rye=0.6+hairy-vetch=0.4". Throws Error(usage)
    /// for unknown species, shares outside (0, 1] or not adding to 1.
    Cover parse_cover(std::string_view text) const;

  private:
    struct MixtureRow {
        std::string id, name, use;
        std::vector<std::pair<std::string, double>> parts;
        Tag tag;
    };
    Cover build(const MixtureRow& row) const;

    std::vector<Species> m_species{};
    std::vector<MixtureRow> m_mixtures{};
    std::vector<Source> m_sources{};
};

/// Model constants that are not properties of a species (src/cover/data/constants.csv), each with
/// source and confidence there and in docs/methods/cover.md.
struct Constants {
    double reference_weeks = 0.0;        ///< weeks from sowing to frost behind fall_kg_ha
    double reference_autumn_c = 0.0;     ///< mean temperature of those weeks
    double establishment_c_d = 0.0;      ///< lag of the catalogue curve, degree-days above the base
    double curve_softness_c_d = 0.0;     ///< exponential phase of the catalogue curve
    double reference_spring_days = 0.0;  ///< days of spring growth behind spring_kg_ha
    double reference_spring_c = 0.0;     ///< mean temperature of those days
    double establishment_half_share =
        0.0;                            ///< of typical fall mass, at which spring growth is half
    double winter_retention = 0.0;      ///< share of fall shoot mass alive in spring
    double useful_mass_kg_ha = 0.0;     ///< least typical mass worth sowing a killed species for
    double mixture_gain = 0.0;          ///< relative gain of an even mixture over its parts
    double n_recovery = 0.0;            ///< most of the soil N supply that a stand can take up
    double default_supply_kg_ha = 0.0;  ///< soil N supply where none is given
    double default_spring_supply_kg_ha = 0.0;  ///< more N mineralised until spring termination
    double dilution_start_share = 0.0;         ///< of full mass, where %N begins to fall
    double n_floor_share = 0.0;                ///< lowest %N as a share of the stage's usual %N
    double fixation_mid_supply_kg_ha = 0.0;    ///< supply at which the fixed share is typical
    double fixation_high_supply_kg_ha = 0.0;   ///< supply at which the fixed share is lowest
    double root_n_share = 0.0;                 ///< of plant N in roots
    double carbon_share = 0.0;                 ///< C of dry matter
    double light_k_grass = 0.0, light_k_broadleaf = 0.0;  ///< extinction coefficients
    double leaf_area_m2_kg = 0.0;                         ///< leaf area per shoot mass
    double kill_spread_c = 0.0;    ///< standard deviation of the killing temperature
    double winter_spread_c = 0.0;  ///< of the yearly minimum about its mean
    double zone_weight = 0.0;      ///< weight of the hardiness zone in the killing threshold
    double winter_killed_chance = 0.0, winter_likely_chance = 0.0, winter_survives_chance = 0.0;
    double brassica_least_heat_c_d = 0.0;   ///< base 0 C, sowing to frost: least for a brassica
    double taproot_heat_c_d = 0.0;          ///< least for a radish taproot
    double brassica_most_heat_c_d = 0.0;    ///< more makes seed
    double residue_half_life_days[4] = {};  ///< by persistence 1 to 4, in warm months
    double release_k_per_day = 0.0;         ///< 0.055: 90 % in 42 days
    double release_reference_c = 0.0;       ///< temperature that rate belongs to
    double tie_up_cap_kg_ha = 0.0;          ///< 56 (50 lb/ac)
    double humification_tops = 0.0, humification_roots = 0.0;
    double killed_catch_share = 0.0;  ///< worth of N caught by a killed cover under high leaching
    double sample_error = 0.0, height_error = 0.0;  ///< half widths of measured mass ranges, shares
    double full_credit_kg_ha = 0.0;                 ///< release that scores 1 on supply-n
    double full_humus_kg_ha = 0.0;  ///< humus carbon that scores 1 on organic-matter
    double full_cost_per_ha = 0.0;  ///< seed cost that scores 0 on cost

    static const Constants& built_in();
};

}  // namespace catchfield::cover
