// SPDX-License-Identifier: MIT
#include "cover/ending.hpp"

#include "base/text.hpp"
#include "base/units.hpp"

#include <algorithm>
#include <array>

namespace catchfield::cover {

namespace {

constexpr std::array<std::string_view, 4> winterkill_names = {"killed", "likely", "uncertain",
                                                              "survives"};

Winterkill class_of(double chance, const Constants& c) {
    if (chance >= c.winter_killed_chance) return Winterkill::killed;
    if (chance >= c.winter_likely_chance) return Winterkill::likely;
    if (chance > c.winter_survives_chance) return Winterkill::uncertain;
    return Winterkill::survives;
}

Winterkill class_of(WinterClass catalogue) {
    switch (catalogue) {
        case WinterClass::killed:
            return Winterkill::killed;
        case WinterClass::usually_killed:
            return Winterkill::likely;
        case WinterClass::variable:
            return Winterkill::uncertain;
        case WinterClass::usually_survives:
        case WinterClass::survives:
            break;
    }
    return Winterkill::survives;
}

std::string capital(std::string text) {
    if (!text.empty() && text[0] >= 'a' && text[0] <= 'z')
        text[0] = static_cast<char>(text[0] - 32);
    return text;
}

}  // namespace

std::string_view winterkill_name(Winterkill winterkill) {
    return winterkill_names[static_cast<std::size_t>(winterkill)];
}

double kill_threshold_c(const Species& species, const Constants& constants) {
    const double zone_bound =
        units::celsius_from_fahrenheit(-60.0 + 10.0 * (species.hardiness_zone - 1));
    const double hardy = std::min(zone_bound, species.kill_temp_c);
    return constants.zone_weight * hardy + (1.0 - constants.zone_weight) * species.kill_temp_c;
}

Ending how_it_ends(const Species& species, const Season& season, const Constants& constants) {
    Ending ending;
    ending.kill_chance = season.kill_chance(kill_threshold_c(species, constants), constants);
    ending.winterkill = ending.kill_chance ? class_of(*ending.kill_chance, constants)
                                           : class_of(species.winter_class);
    ending.date = season.inputs().terminate;
    const bool expect_kill =
        ending.kill_chance ? *ending.kill_chance >= 0.5 : ending.winterkill <= Winterkill::likely;
    if (!expect_kill) return ending;
    // With means no day may be cold enough although most winters are: then the middle of winter.
    // Sown after that night it counts as lost at once, so that sowing later never pays.
    const Date killed = std::max(
        season.first_kill(species.kill_temp_c).value_or(season.midwinter()), season.inputs().sow);
    if (killed < ending.date) {
        ending.date = killed;
        ending.by_winter = true;
    }
    return ending;
}

std::vector<std::string> ending_advice(const Species& species, const Ending& ending,
                                       const NextCrop& next) {
    std::vector<std::string> advice;
    const std::string crop = next.name.empty() ? "the next crop" : next.name;
    const std::string name = capital(species.name);
    if (ending.by_winter) {
        advice.push_back(name + " is expected to die in winter, from " + iso_date(ending.date) +
                         " on; one night just below its limit often does not kill it.");
    }
    if (!ending.by_winter || ending.winterkill != Winterkill::killed) {
        std::string means;
        bool sprayed = false;
        for (const std::string& way : species.termination) {
            if (way.rfind("winterkill", 0) == 0) continue;
            means += (means.empty() ? "" : ", ") + way;
            sprayed = sprayed || way.find("herbicide") != std::string::npos;
        }
        std::string sentence = ending.by_winter ? "Where it survives, end it by: " + means
                                                : "Has to be ended by the grower, planned for " +
                                                      iso_date(ending.date) + ": " + means;
        sentence += ".";
        if (sprayed) sentence += " " + std::string(label_caution);
        if (!means.empty()) advice.push_back(sentence);
        if (next.grass && species.group == Group::grass) {
            advice.push_back("End it 10 to 14 days before " + crop +
                             ": a fresh grass cover carries insects and root rots over to a grass "
                             "crop and ties up nitrogen (common practice, no source).");
        } else if (species.group == Group::legume) {
            advice.push_back("Nitrogen is highest near bloom; end it before seed sets.");
        }
    }
    if (!species.weed_flag.empty()) advice.push_back("Weed risk: " + species.weed_flag + ".");
    if (next.small_grain && species.weed_flag.find("small") != std::string::npos) {
        advice.push_back("Do not use it ahead of " + crop +
                         " grown for grain or seed: volunteers.");
    }
    if (!species.host_flag.empty()) advice.push_back(capital(species.host_flag) + ".");
    if (species.group == Group::legume && next.legume) {
        advice.push_back("Legume after legume: shared root rots and nematodes are a risk to " +
                         crop + ".");
    }
    if (species.group == Group::brassica && next.brassica) {
        advice.push_back("Brassica after brassica: clubroot and root maggots carry over to " +
                         crop + ".");
    }
    return advice;
}

}  // namespace catchfield::cover
