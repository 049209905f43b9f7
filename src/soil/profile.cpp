// SPDX-License-Identifier: MIT
// Checks of horizons, means with depth, and natural pans.
#include "soil/profile.hpp"

#include "base/error.hpp"
#include "base/text.hpp"

#include <algorithm>
#include <array>
#include <cctype>
#include <utility>

namespace catchfield::soil {

namespace {

constexpr double deepest_cm = 2000.0;

std::string label(const Horizon& horizon) {
    const std::string span = shortest(horizon.top_cm) + "-" + shortest(horizon.bottom_cm) + " cm";
    return horizon.name.empty() ? span : horizon.name + " (" + span + ")";
}

void check_range(const Profile& profile, const Horizon& horizon, const std::optional<double>& value,
                 std::string_view what, double low, double high) {
    if (value && !(*value >= low && *value <= high))
        throw Error(ErrorKind::data,
                    "horizon " + label(horizon) + ": " + std::string(what) + " is " +
                        shortest(*value) + ", outside " + shortest(low) + " to " + shortest(high),
                    {.feature = "soil " + profile.key, .hint = "Check the column and its unit."});
}

void check_values(Profile& profile, Horizon& horizon) {
    const auto separates =
        checked_separates(horizon.sand_pct, horizon.silt_pct, horizon.clay_pct,
                          "soil " + profile.key + ", horizon " + label(horizon), profile.warnings);
    if (separates) {
        horizon.sand_pct = separates->sand_pct;
        horizon.silt_pct = separates->silt_pct;
        horizon.clay_pct = separates->clay_pct;
    }
    check_range(profile, horizon, horizon.very_fine_sand_pct, "very fine sand (%)", 0.0, 100.0);
    check_range(profile, horizon, horizon.om_pct, "organic matter (%)", 0.0, 100.0);
    check_range(profile, horizon, horizon.bulk_density_g_cm3, "bulk density (g/cm3)", 0.1, 2.65);
    check_range(profile, horizon, horizon.ksat_um_s, "saturated conductivity (um/s)", 0.0, 1e5);
    check_range(profile, horizon, horizon.awc_cm_cm, "available water (cm/cm)", 0.0, 0.6);
    check_range(profile, horizon, horizon.fragments_pct, "rock fragments (%)", 0.0, 100.0);
    check_range(profile, horizon, horizon.kf_us, "K (US units)", 0.0, 1.0);
    if (horizon.very_fine_sand_pct && horizon.sand_pct &&
        *horizon.very_fine_sand_pct > *horizon.sand_pct + 1.0) {
        profile.warnings.push_back("soil " + profile.key + ", horizon " + label(horizon) +
                                   ": more very fine sand than sand; it was left out.");
        horizon.very_fine_sand_pct.reset();
    }
}

double overlap_cm(const Horizon& horizon, double top_cm, double bottom_cm) {
    return std::min(horizon.bottom_cm, bottom_cm) - std::max(horizon.top_cm, top_cm);
}

std::optional<double> cell(const Table& table, std::size_t row, const std::string& column) {
    return table.has(column) ? table.number(row, column) : std::nullopt;
}

/// Master letters and suffixes of a designation: "2Btx1" has "B" and "tx".
std::pair<std::string, std::string> designation_parts(std::string_view name) {
    std::string master, suffix;
    std::size_t i = 0;
    while (i < name.size() && (std::isdigit(static_cast<unsigned char>(name[i])) || name[i] == '^'))
        ++i;
    for (; i < name.size(); ++i) {
        const auto letter = static_cast<unsigned char>(name[i]);
        if (std::isupper(letter))
            master += name[i];
        else if (std::islower(letter))
            suffix += name[i];
    }
    return {master, suffix};
}

}  // namespace

Profile checked_profile(std::string key, std::vector<Horizon> horizons) {
    Profile profile{.key = std::move(key), .horizons = std::move(horizons)};
    const ErrorContext context{.feature = "soil " + profile.key,
                               .hint = "Depths are cm from the surface, top above bottom."};
    for (Horizon& horizon : profile.horizons) {
        if (!(horizon.top_cm >= 0.0 && horizon.top_cm < horizon.bottom_cm &&
              horizon.bottom_cm <= deepest_cm))
            throw Error(ErrorKind::data, "horizon " + label(horizon) + " has impossible depths",
                        context);
        check_values(profile, horizon);
    }
    std::stable_sort(profile.horizons.begin(), profile.horizons.end(),
                     [](const Horizon& a, const Horizon& b) { return a.top_cm < b.top_cm; });
    for (std::size_t i = 1; i < profile.horizons.size(); ++i) {
        const Horizon& upper = profile.horizons[i - 1];
        const Horizon& lower = profile.horizons[i];
        if (lower.top_cm < upper.bottom_cm)
            throw Error(ErrorKind::data,
                        "horizons " + label(upper) + " and " + label(lower) + " overlap", context);
        if (lower.top_cm > upper.bottom_cm)
            profile.warnings.push_back("soil " + profile.key + ": nothing is described from " +
                                       shortest(upper.bottom_cm) + " to " + shortest(lower.top_cm) +
                                       " cm.");
    }
    if (!profile.horizons.empty() && profile.horizons.front().top_cm > 0.0)
        profile.warnings.push_back("soil " + profile.key + ": the description starts at " +
                                   shortest(profile.horizons.front().top_cm) + " cm.");
    return profile;
}

std::map<std::string, Profile> read_profiles(const Table& table, const HorizonColumns& columns) {
    for (const std::string& column : {columns.key, columns.top, columns.bottom})
        table.column(column);
    std::map<std::string, std::vector<Horizon>> rows;
    for (std::size_t row = 0; row < table.rows(); ++row) {
        const std::string& key = table.text(row, columns.key);
        if (key.empty())
            table.fail(row, columns.key, "no key", "Every horizon needs the key of its soil.");
        rows[key].push_back({
            .name = table.has(columns.name) ? table.text(row, columns.name) : std::string(),
            .top_cm = table.required_number(row, columns.top),
            .bottom_cm = table.required_number(row, columns.bottom),
            .sand_pct = cell(table, row, columns.sand),
            .silt_pct = cell(table, row, columns.silt),
            .clay_pct = cell(table, row, columns.clay),
            .very_fine_sand_pct = cell(table, row, columns.very_fine_sand),
            .om_pct = cell(table, row, columns.om),
            .bulk_density_g_cm3 = cell(table, row, columns.bulk_density),
            .ksat_um_s = cell(table, row, columns.ksat),
            .awc_cm_cm = cell(table, row, columns.awc),
            .kf_us = cell(table, row, columns.k),
            .fragments_pct = cell(table, row, columns.fragments),
        });
    }
    std::map<std::string, Profile> profiles;
    for (auto& [key, horizons] : rows) {
        try {
            profiles.emplace(key, checked_profile(key, std::move(horizons)));
        } catch (const Error& error) {
            ErrorContext context = error.context();
            context.path = table.name();
            throw Error(error.kind(), error.reason(), context);
        }
    }
    return profiles;
}

std::optional<DepthMean> depth_mean(const Profile& profile,
                                    std::optional<double> Horizon::*property, double top_cm,
                                    double bottom_cm) {
    double sum = 0.0, covered = 0.0;
    for (const Horizon& horizon : profile.horizons) {
        const double thickness = overlap_cm(horizon, top_cm, bottom_cm);
        const std::optional<double>& value = horizon.*property;
        if (thickness <= 0.0 || !value) continue;
        sum += thickness * *value;
        covered += thickness;
    }
    if (covered <= 0.0) return std::nullopt;
    return DepthMean{sum / covered, covered};
}

std::optional<double> available_water_mm(const Profile& profile, double depth_cm) {
    const auto mean = depth_mean(profile, &Horizon::awc_cm_cm, 0.0, depth_cm);
    if (!mean || mean->covered_cm < 0.9 * depth_cm) return std::nullopt;
    return mean->value * mean->covered_cm * 10.0;
}

std::optional<double> limiting_ksat_um_s(const Profile& profile, double top_cm, double bottom_cm) {
    std::optional<double> lowest;
    for (const Horizon& horizon : profile.horizons) {
        if (overlap_cm(horizon, top_cm, bottom_cm) <= 0.0 || !horizon.ksat_um_s) continue;
        lowest = std::min(lowest.value_or(*horizon.ksat_um_s), *horizon.ksat_um_s);
    }
    return lowest;
}

std::string_view natural_pan_name(NaturalPan pan) {
    switch (pan) {
        case NaturalPan::hard_bedrock:
            return "hard bedrock";
        case NaturalPan::soft_bedrock:
            return "soft bedrock";
        case NaturalPan::fragipan:
            return "fragipan";
        case NaturalPan::cemented:
            return "cemented layer";
        case NaturalPan::dense_till:
            break;
    }
    return "dense till";
}

std::optional<NaturalPan> pan_from_horizon_name(std::string_view name) {
    if (is_bare_designation(name)) return std::nullopt;
    const auto [master, suffix] = designation_parts(trim(name));
    const auto has = [&suffix = suffix](char letter) {
        return suffix.find(letter) != std::string::npos;
    };
    if (master == "R") return NaturalPan::hard_bedrock;
    const bool parent = master.find('C') != std::string::npos;
    if (parent && has('r')) return NaturalPan::soft_bedrock;
    if (has('x')) return NaturalPan::fragipan;
    if (has('m')) return NaturalPan::cemented;
    if (parent && has('d')) return NaturalPan::dense_till;
    return std::nullopt;
}

bool is_bare_designation(std::string_view name) {
    name = trim(name);
    if (!name.empty() && (name.front() == 'H' || name.front() == 'h')) name.remove_prefix(1);
    return std::all_of(name.begin(), name.end(),
                       [](unsigned char letter) { return std::isdigit(letter) != 0; });
}

std::optional<NaturalPan> pan_from_words(std::string_view words) {
    const std::string text = lower_case(words);
    constexpr std::array<std::pair<std::string_view, NaturalPan>, 17> known = {{
        {"paralithic", NaturalPan::soft_bedrock},
        {"soft bedrock", NaturalPan::soft_bedrock},
        {"lithic", NaturalPan::hard_bedrock},
        {"bedrock", NaturalPan::hard_bedrock},
        {"fragipan", NaturalPan::fragipan},
        {"densic", NaturalPan::dense_till},
        {"dense material", NaturalPan::dense_till},
        {"dense till", NaturalPan::dense_till},
        {"duripan", NaturalPan::cemented},
        {"petrocalcic", NaturalPan::cemented},
        {"petrogypsic", NaturalPan::cemented},
        {"petroferric", NaturalPan::cemented},
        {"placic", NaturalPan::cemented},
        {"ortstein", NaturalPan::cemented},
        {"cemented", NaturalPan::cemented},
        {"ironstone", NaturalPan::cemented},
        {"hardpan", NaturalPan::cemented},
    }};
    for (const auto& [word, pan] : known)
        if (text.find(word) != std::string::npos) return pan;
    return std::nullopt;
}

std::optional<Restriction> natural_restriction(const Profile& profile, std::string_view map_words,
                                               std::optional<double> map_top_cm) {
    std::optional<Restriction> found;
    for (const Horizon& horizon : profile.horizons) {
        if (const auto pan = pan_from_horizon_name(horizon.name)) {
            found = Restriction{*pan, horizon.top_cm, horizon.bottom_cm, "horizon " + horizon.name};
            break;
        }
    }
    if (const auto pan = pan_from_words(map_words);
        pan && map_top_cm && (!found || *map_top_cm < found->top_cm))
        found = Restriction{*pan, *map_top_cm, *map_top_cm,
                            "restriction '" + std::string(trim(map_words)) + "' of the soil map"};
    return found;
}

std::optional<double> rooting_depth_cm(const Profile& profile,
                                       const std::optional<Restriction>& restriction,
                                       double cap_cm) {
    if (profile.horizons.empty()) return std::nullopt;
    const double depth = std::min(profile.bottom_cm(), cap_cm);
    return restriction ? std::min(depth, restriction->top_cm) : depth;
}

std::optional<TextureClass> horizon_texture(const Horizon& horizon) {
    if (!horizon.sand_pct || !horizon.silt_pct || !horizon.clay_pct) return std::nullopt;
    return texture_class({*horizon.sand_pct, *horizon.silt_pct, *horizon.clay_pct});
}

}  // namespace catchfield::soil
