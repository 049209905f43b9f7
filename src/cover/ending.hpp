// SPDX-License-Identifier: MIT
// How a cover crop ends: killed by winter, or by the grower, and what to watch.
#pragma once

#include "base/dates.hpp"
#include "cover/season.hpp"

#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace catchfield::cover {

/// Outcome of a winter by the chance of kill: killed >= 0.9, likely >= 0.6, uncertain > 0.25, else
/// survives (limits in constants.csv, assumption).
enum class Winterkill { killed, likely, uncertain, survives };
/// "killed", "likely", "uncertain", "survives".
std::string_view winterkill_name(Winterkill winterkill);

struct Ending {
    Winterkill winterkill = Winterkill::uncertain;
    std::optional<double> kill_chance{};  ///< 0 to 1; nothing where the winter is not known
    /// Winterkill: killed "from" this day, the first at or below the killing temperature (one night
    /// just below it often does not kill). Else the termination date.
    Date date{};
    bool by_winter = false;  ///< planned as ended by winter (chance 0.5 and more)
};

/// Killing threshold of a stand in the field, degC: the catalogue's no-snow killing temperature and
/// the lower bound of its hardiness zone, weighted (snow and hardening protect) [assumption].
double kill_threshold_c(const Species& species, const Constants& constants = Constants::built_in());

Ending how_it_ends(const Species& species, const Season& season,
                   const Constants& constants = Constants::built_in());

/// The next crop, as far as a cover crop matters to it.
struct NextCrop {
    std::string name{};         ///< as shown, "corn"
    bool stands_tie_up = true;  ///< false: cannot wait for N that a late grass ties up
    bool small_grain = false;   ///< volunteers of rye, ryegrass, vetch spoil it
    bool grass = false;         ///< corn and small grains
    bool legume = false;
    bool brassica = false;
};

/// Means of ending a cover that survives, timing and the label caution, weed and volunteer risk,
/// regrowth and host cautions for the next crop, in plain words. One sentence each.
std::vector<std::string> ending_advice(const Species& species, const Ending& ending,
                                       const NextCrop& next);

/// Said wherever termination by herbicide is named.
inline constexpr std::string_view label_caution =
    "Follow the product label and local rules; a licensed adviser decides.";

}  // namespace catchfield::cover
