// SPDX-License-Identifier: MIT
// Which cover fits: hard limits first, then a plain weighted sum over the user's aims.
#pragma once

#include "cover/forecast.hpp"

#include <array>
#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

namespace catchfield::cover {

enum class Aim { erosion, catch_n, supply_n, compaction, organic_matter, ends_itself, cost };
inline constexpr std::size_t aim_count = 7;
/// "erosion", "catch-n", "supply-n", "compaction", "organic-matter", "ends-itself", "cost".
std::string_view aim_name(Aim aim);

/// Weights of the aims, >= 0; those left out are 0.
using AimValues = std::array<double, aim_count>;
struct Aims {
    AimValues weight{};
    double& operator[](Aim aim) { return weight[static_cast<std::size_t>(aim)]; }
    double operator[](Aim aim) const { return weight[static_cast<std::size_t>(aim)]; }
    /// erosion 3, catch-n 2, supply-n 1, compaction 2, organic-matter 1.
    static Aims usual();
};
/// "erosion=3, catch-n=2". Throws Error(usage) for unknown aims (nearest named), negative weights,
/// or no weight above zero.
Aims parse_aims(std::string_view text);

/// How much a zone needs each aim, and its limits. Plain values from other rooms.
struct ZoneNeeds {
    double area_ha = 1.0;
    double loss_over_t = 1.0;  ///< soil loss now over tolerable loss
    enum class Leaching { low, moderate, high } leaching = Leaching::moderate;
    enum class Compaction { none, slight, moderate, severe } compaction = Compaction::none;
    bool wet_subsoil = false;  ///< poorly drained or water table in the root zone
    bool root_stop = false;    ///< bedrock, fragipan, cemented layer: no taproot mends it
    std::optional<double> nitrate_0_30_kg_ha{};  ///< soil nitrate-N now; brassicas need some
    double next_crop_n_need = 1.0;  ///< 0 (a legume) to 1 (corn): what supply-n is worth
    NextCrop next;
    bool must_end_itself = false;  ///< no herbicide and no tillage in spring
};

/// Why a candidate cannot stand in a zone.
enum class Limit : std::uint8_t {
    none,
    season_too_short,  ///< sown after the latest sensible date, or nothing worth having grows
    too_little_n,      ///< brassica on too little nitrate
    wet_subsoil,       ///< only a taproot, and it would rot
    tie_up,            ///< late grass ahead of a crop that cannot wait
    volunteers,        ///< seeds itself into the next small grain
    does_not_end,      ///< must end by itself and does not
};
std::string_view limit_name(Limit limit);

/// One cover in one zone, ready to be scored. The pointers must outlive the choice.
struct Candidate {
    const Cover* cover = nullptr;
    const Forecast* forecast = nullptr;
    std::optional<double> erosion_cut{};  ///< fraction of soil loss saved, from the erosion room
    std::optional<double> cost_per_ha{};  ///< seed cost (seeding.hpp)
};

/// Parts are 0 to 1 (supply-n down to -1 for tie-up): what the cover does; needs are 0 to 1: what
/// the zone asks. score = sum(weight need part)/sum(weight).
struct Score {
    AimValues part{};
    AimValues need{};
    double total = 0.0;
    Limit limit = Limit::none;
    bool accepted() const { return limit == Limit::none; }
};

/// Needs of a zone as weights 0 to 1, documented in docs/methods/cover.md [assumption].
AimValues zone_need(const ZoneNeeds& needs);
Score score(const Candidate& candidate, const ZoneNeeds& needs, const Aims& aims,
            const Constants& constants = Constants::built_in());

/// Every candidate of a zone scored, and the best accepted one (ties: the first).
struct Choice {
    std::vector<Score> scores{};          ///< in the order of the candidates
    std::optional<std::size_t> chosen{};  ///< nothing: all refused, or none scores above 0
};
Choice choose(std::span<const Candidate> candidates, const ZoneNeeds& needs, const Aims& aims,
              const Constants& constants = Constants::built_in());

/// How many different covers a field may have.
struct ChoiceMode {
    int most_covers = 0;  ///< 0: as many as zones ask for; 1: one for the whole field; n: at most n
};
/// Sets `chosen` of every zone so that the area-weighted sum of scores is greatest under the mode;
/// zones where none of the picked covers is accepted get none. Candidate i must be the same cover
/// in every zone. areas_ha: one per zone. All subsets are tried up to three covers, beyond that the
/// set is grown one by one (each step the best gain).
void choose_for_field(std::span<Choice> zones, std::span<const double> areas_ha, ChoiceMode mode);

/// Why it was taken or refused, in a grower's words with figures, ranges and how sure they are.
std::string reason(const Candidate& candidate, const Score& score, const ZoneNeeds& needs,
                   const Season& season, bool taken, UnitSystem units);

}  // namespace catchfield::cover
