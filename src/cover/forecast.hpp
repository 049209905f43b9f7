// SPDX-License-Identifier: MIT
// One cover on one site in one season: everything the rest of the program asks about it.
#pragma once

#include "base/confidence.hpp"
#include "base/units.hpp"
#include "cover/ending.hpp"
#include "cover/growth.hpp"
#include "cover/uptake.hpp"

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace catchfield::cover {

/// What a zone gives a cover crop. Plain values from the caller.
struct SiteInputs {
    /// Soil nitrate-N in rooted depth plus what mineralises until frost, kg/ha; nothing = not known
    /// (a default from constants.csv is used and said).
    std::optional<double> n_supply_kg_ha{};
    std::optional<double>
        spring_n_supply_kg_ha{};  ///< more by spring termination; nothing = default
    double stand = 1.0;           ///< share of a full stand, 0 to 1
    bool coarse_soil = false;     ///< sands: killed brassicas leak N early, credits are lower
    /// Dry matter taken off the field with the previous crop (straw, silage), kg/ha.
    double removed_kg_ha = 0.0;
    bool operator==(const SiteInputs&) const = default;
};

/// Doubts and warnings as bits; `caution_text` has the words.
enum class Caution : std::uint32_t {
    supply_assumed = 1u << 0,    ///< no soil N given
    n_limited = 1u << 1,         ///< N, not season, sets the mass
    sown_late = 1u << 2,         ///< after the latest sensible date
    sown_early = 1u << 3,        ///< before the window: bolting, seed set
    may_set_seed = 1u << 4,      ///< brassica or oat with more heat than it needs
    winter_unknown = 1u << 5,    ///< no winter minimum: the catalogue's class
    winter_uncertain = 1u << 6,  ///< may or may not survive: plan for both
    weed_risk = 1u << 7,         ///< see the weed flag
    early_leak = 1u << 8,    ///< killed residue on coarse soil leaks N before the crop can use it
    tie_up = 1u << 9,        ///< ties up N after its end
    high_carbon = 1u << 10,  ///< C:N above 30 at the end
    weak_evidence_credit = 1u << 11,  ///< trials disagree about N from winterkilled covers
    extrapolated = 1u << 12,          ///< outside the range behind the growth curve
    carbon_loss = 1u << 13,  ///< more carbon removed with straw or silage than the cover returns
    measured = 1u << 14,     ///< scouting figures replaced the model's
};
using Cautions = std::uint32_t;
inline Cautions bit(Caution caution) {
    return static_cast<Cautions>(caution);
}
inline bool has(Cautions set, Caution caution) {
    return (set & bit(caution)) != 0;
}
/// One sentence in plain words.
std::string_view caution_text(Caution caution);
/// Sentences of all bits that are set, in the order of the list.
std::vector<std::string> caution_texts(Cautions cautions);

/// Carbon in and out, screening only (h tops 0.125, roots 0.30: memory: check).
struct CarbonBalance {
    double returned_dm_kg_ha = 0.0;  ///< shoots and roots of the cover
    double returned_c_kg_ha = 0.0;
    double humus_c_kg_ha = 0.0;    ///< that lasts as humus
    double removed_c_kg_ha = 0.0;  ///< with straw or silage
    double removed_humus_c_kg_ha = 0.0;
    double balance_kg_ha = 0.0;  ///< humus_c - removed_humus_c
};
CarbonBalance carbon_balance(double shoot_kg_ha, double root_kg_ha, double removed_kg_ha,
                             const Constants& constants = Constants::built_in());

/// A forecast. No text inside, so that it is cheap; words on demand from choice.hpp.
struct Forecast {
    Range frost_kg_ha;  ///< shoot dry matter at the hard frost (radishes: fleshy root included)
    Range end_kg_ha;    ///< when it ends (winterkill or termination)
    double root_kg_ha = 0.0;
    double cover_at_frost = 0.0;  ///< live ground cover, fraction
    double cover_at_end = 0.0;
    double height_at_frost_cm = 0.0;
    double height_at_end_cm = 0.0;
    double stand = 1.0;

    /// By half-month of the rotation year (July to June after a July sowing, indexed by calendar
    /// half-month, value at its middle), for the erosion room.
    HalfMonths live_kg_ha{};       ///< live shoots
    HalfMonths dead_kg_ha{};       ///< cover-crop residue on the ground after its end
    HalfMonths root_half_kg_ha{};  ///< roots of the living stand
    HalfMonths canopy_cover{};     ///< live, fraction
    HalfMonths residue_cover{};    ///< by dead_kg_ha, fraction
    HalfMonths ground_cover{};     ///< both, 1 - (1 - canopy)(1 - residue)
    HalfMonths height_m{};         ///< live canopy height

    double n_uptake_kg_ha = 0.0;  ///< in shoots at the end = soil + fixed
    double n_soil_kg_ha = 0.0;
    double n_fixed_kg_ha = 0.0;
    double n_root_kg_ha = 0.0;  ///< more in roots
    double n_pct = 0.0;
    double cn_ratio = 0.0;               ///< 0 where nothing grew
    double fall_n_caught_kg_ha = 0.0;    ///< soil N in shoots at the end of autumn growth
    std::optional<Date> catches_from{};  ///< live cover reaches 30 %
    Date catches_until{};                ///< it ends
    Release release;

    Ending ending;            ///< of the hardiest component
    bool ends_mixed = false;  ///< parts of a mixture end differently
    Date latest_sowing{};     ///< of the component that must be sown first
    double week_cost_kg_ha = 0.0;
    double heat_to_frost_c_d = 0.0;   ///< base 0 C
    Taproot taproot = Taproot::none;  ///< strongest component with a share of 0.25 and more
    CarbonBalance carbon;

    Confidence confidence = Confidence::assumption;  ///< weakest table value behind it
    Cautions cautions = 0;
};

/// Growth of every component; depends on season alone, so keep it for all zones and fields that
/// share the season.
struct CoverGrowth {
    std::vector<Growth> components{};
    double heat_to_frost_c_d = 0.0;  ///< base 0 C, sowing to hard frost
};
CoverGrowth grow(const Cover& cover, const Season& season,
                 const Constants& constants = Constants::built_in());

/// Forecast of a cover on a site. Mixtures: masses by seeding share, N and C by mass; the grass and
/// brassica parts divide the soil N by their shares, legumes take what is left. Throws Error(usage)
/// for a site with negative or not finite values or a stand outside 0 to 1.
Forecast forecast(const Cover& cover, const CoverGrowth& growth, const Season& season,
                  const SiteInputs& site, const Constants& constants = Constants::built_in());
/// The same in one step.
Forecast forecast(const Cover& cover, const Season& season, const SiteInputs& site,
                  const Constants& constants = Constants::built_in());

}  // namespace catchfield::cover
