// SPDX-License-Identifier: MIT
// K by its routes, and rock fragments.
#include "soil/erodibility.hpp"

#include "base/error.hpp"
#include "base/table.hpp"
#include "base/text.hpp"
#include "base/units.hpp"
#include "soil/data.hpp"

#include <algorithm>
#include <cmath>
#include <map>

namespace catchfield::soil {

namespace {

constexpr double nomograph_silt_vfs_max = 70.0;
constexpr double nomograph_om_cap = 4.0;
/// Depth below the top of the soil in which the slowest layer sets the permeability class.
constexpr double permeability_depth_cm = 50.0;

struct Codes {
    int permeability = 3;
    int structure = 2;
};

const Codes& codes_of(TextureClass texture) {
    static const std::map<std::string, Codes, std::less<>> codes = [] {
        const Table table = Table::parse(data::texture_codes, "texture_codes.csv");
        std::map<std::string, Codes, std::less<>> read;
        for (std::size_t row = 0; row < table.rows(); ++row)
            read[table.text(row, "texture")] = {
                static_cast<int>(table.required_number(row, "permeability")),
                static_cast<int>(table.required_number(row, "structure"))};
        return read;
    }();
    return codes.find(texture_name(texture))->second;
}

struct FactorPoint {
    double fragments_pct = 0.0;
    double factor = 1.0;
};

const std::vector<FactorPoint>& factor_points() {
    static const std::vector<FactorPoint> points = [] {
        const Table table = Table::parse(data::fragment_factor, "fragment_factor.csv");
        std::vector<FactorPoint> read;
        for (std::size_t row = 0; row < table.rows(); ++row)
            read.push_back({table.required_number(row, "fragments_pct"),
                            table.required_number(row, "factor")});
        return read;
    }();
    return points;
}

void require_range(double value, double low, double high, const std::string& what) {
    if (!(value >= low && value <= high))
        throw Error(ErrorKind::data, what + " is " + shortest(value) + ", outside " +
                                         shortest(low) + " to " + shortest(high));
}

bool in_range(double k_us) {
    return k_us >= k_us_min && k_us <= k_us_max;
}

/// A K that the map or the horizon table states, where it can be one.
std::optional<double> stated_k(const std::optional<double>& k_us, const std::string& whose,
                               std::vector<std::string>& warnings) {
    if (!k_us || in_range(*k_us)) return k_us;
    std::string line = whose + " is " + shortest(*k_us) +
                       " (US units), outside the measured range 0.02 to 0.69; it was not used.";
    if (*k_us < k_us_min) line += " If it is in SI units, divide it by 0.1317.";
    warnings.push_back(line);
    return std::nullopt;
}

/// What the surface horizon of a polygon is known to be: the map first, then the horizon table.
Horizon surface_of(const MapUnit& unit, const Profile* profile) {
    Horizon surface = unit.surface;
    if (profile == nullptr || profile->horizons.empty()) return surface;
    const Horizon& described = profile->horizons.front();
    if (!horizon_texture(surface)) {
        surface.sand_pct = described.sand_pct;
        surface.silt_pct = described.silt_pct;
        surface.clay_pct = described.clay_pct;
        surface.very_fine_sand_pct = described.very_fine_sand_pct;
    }
    if (!surface.very_fine_sand_pct) surface.very_fine_sand_pct = described.very_fine_sand_pct;
    if (!surface.om_pct) surface.om_pct = described.om_pct;
    if (!surface.fragments_pct) surface.fragments_pct = described.fragments_pct;
    surface.kf_us = described.kf_us;
    return surface;
}

/// Lowest conductivity of the top 50 cm, only where (nearly) all of it is described.
std::optional<double> limiting_ksat(const Profile* profile) {
    if (profile == nullptr) return std::nullopt;
    const auto known = depth_mean(*profile, &Horizon::ksat_um_s, 0.0, permeability_depth_cm);
    if (!known || known->covered_cm < 0.9 * permeability_depth_cm) return std::nullopt;
    return limiting_ksat_um_s(*profile, 0.0, permeability_depth_cm);
}

/// K of the fine earth from what is measured, where texture and organic matter are known.
std::optional<Erodibility> computed(const Horizon& surface, const Profile* profile,
                                    std::vector<std::string>& warnings) {
    const auto texture = horizon_texture(surface);
    if (!texture || !surface.om_pct) return std::nullopt;
    Erodibility result;
    double vfs = surface.very_fine_sand_pct.value_or(0.0);
    if (!surface.very_fine_sand_pct) {
        vfs = assumed_very_fine_sand_pct(*surface.sand_pct);
        warnings.push_back("Very fine sand is not known; 20 % of the sand was taken for it.");
    }
    const double silt_vfs = *surface.silt_pct + vfs;
    if (silt_vfs > nomograph_silt_vfs_max) {
        warnings.push_back("Silt and very fine sand are " + fixed(silt_vfs, 0) +
                           " %, over the 70 % the K nomograph is good for; K is from texture and "
                           "carbon instead.");
        result.k_us = williams_k_us({*surface.sand_pct, *surface.silt_pct, *surface.clay_pct},
                                    carbon_pct_from_om(*surface.om_pct));
        result.route = ErodibilityRoute::texture_carbon;
        result.basis = "sand " + fixed(*surface.sand_pct, 0) + ", silt " +
                       fixed(*surface.silt_pct, 0) + ", clay " + fixed(*surface.clay_pct, 0) +
                       " %, organic carbon " + fixed(carbon_pct_from_om(*surface.om_pct), 2) + " %";
        result.confidence = Confidence::recalled;
        return result;
    }
    const auto ksat = limiting_ksat(profile);
    const Nomograph input{silt_vfs, *surface.clay_pct, *surface.om_pct, assumed_structure(*texture),
                          ksat ? permeability_class(*ksat) : permeability_class(*texture)};
    result.k_us = nomograph_k_us(input);
    result.route = ksat ? ErodibilityRoute::nomograph_ksat : ErodibilityRoute::nomograph_texture;
    result.basis = "silt + very fine sand " + fixed(silt_vfs, 0) + " %, clay " +
                   fixed(input.clay_pct, 0) + " %, organic matter " + fixed(input.om_pct, 1) +
                   " %, structure " + std::to_string(input.structure) +
                   " (assumed), permeability " + std::to_string(input.permeability) +
                   (ksat ? " (lowest conductivity " + significant(*ksat, 3) + " um/s within 50 cm)"
                         : " (from texture)");
    result.confidence = Confidence::assumption;  // the structure code
    return result;
}

}  // namespace

std::string_view erodibility_route_name(ErodibilityRoute route) {
    switch (route) {
        case ErodibilityRoute::map:
            return "soil map";
        case ErodibilityRoute::horizon:
            return "horizon table";
        case ErodibilityRoute::nomograph_ksat:
            return "nomograph, permeability from conductivity";
        case ErodibilityRoute::nomograph_texture:
            return "nomograph, permeability from texture";
        case ErodibilityRoute::texture_carbon:
            break;
    }
    return "texture and carbon";
}

double nomograph_k_us(const Nomograph& input) {
    require_range(input.silt_vfs_pct, 0.0, nomograph_silt_vfs_max, "silt + very fine sand (%)");
    require_range(input.clay_pct, 0.0, 100.0, "clay (%)");
    require_range(input.silt_vfs_pct + input.clay_pct, 0.0, 100.0 + 1e-9,
                  "silt + very fine sand + clay (%)");
    require_range(input.om_pct, 0.0, 100.0, "organic matter (%)");
    require_range(input.structure, 1, 4, "structure code");
    require_range(input.permeability, 1, 6, "permeability class");
    const double m = input.silt_vfs_pct * (100.0 - input.clay_pct);
    const double om = std::min(input.om_pct, nomograph_om_cap);
    return (2.1e-4 * std::pow(m, 1.14) * (12.0 - om) + 3.25 * (input.structure - 2) +
            2.5 * (input.permeability - 3)) /
           100.0;
}

int permeability_class(double ksat_um_s) {
    require_range(ksat_um_s, 0.0, 1e6, "saturated conductivity (um/s)");
    if (ksat_um_s >= 30.0) return 1;
    if (ksat_um_s >= 15.0) return 2;
    if (ksat_um_s >= 4.8) return 3;
    if (ksat_um_s >= 1.2) return 4;
    if (ksat_um_s >= 0.3) return 5;
    return 6;
}

int permeability_class(TextureClass texture) {
    return codes_of(texture).permeability;
}

int assumed_structure(TextureClass texture) {
    return codes_of(texture).structure;
}

double assumed_very_fine_sand_pct(double sand_pct) {
    return 0.2 * sand_pct;
}

double williams_k_us(const Separates& soil, double carbon_pct) {
    const auto [sand, silt, clay] = soil;
    require_range(sand + silt + clay, 99.0, 101.0, "sand + silt + clay (%)");
    require_range(carbon_pct, 0.0, 100.0, "organic carbon (%)");
    const double fines = clay + silt;
    const double f1 = 0.2 + 0.3 * std::exp(-0.0256 * sand * (1.0 - silt / 100.0));
    const double f2 = fines > 0.0 ? std::pow(silt / fines, 0.3) : 0.0;
    const double f3 = 1.0 - 0.25 * carbon_pct / (carbon_pct + std::exp(3.72 - 2.95 * carbon_pct));
    const double sn1 = 1.0 - sand / 100.0;
    const double f4 = 1.0 - 0.7 * sn1 / (sn1 + std::exp(-5.51 + 22.9 * sn1));
    return f1 * f2 * f3 * f4;
}

double fragment_factor(double fragments_pct) {
    require_range(fragments_pct, 0.0, 100.0, "rock fragments (% by volume)");
    if (fragments_pct < 15.0) return 1.0;
    const auto& points = factor_points();
    for (std::size_t i = 1; i < points.size(); ++i) {
        if (fragments_pct > points[i].fragments_pct) continue;
        const FactorPoint& a = points[i - 1];
        const FactorPoint& b = points[i];
        const double share =
            (fragments_pct - a.fragments_pct) / (b.fragments_pct - a.fragments_pct);
        return a.factor + share * (b.factor - a.factor);
    }
    return points.back().factor;
}

double kw_from_kf(double kf_us, double fragments_pct) {
    return kf_us * fragment_factor(fragments_pct);
}

double nearest_k_class(double k_us) {
    constexpr std::array<double, 14> classes = {0.02, 0.05, 0.10, 0.15, 0.17, 0.20, 0.24,
                                                0.28, 0.32, 0.37, 0.43, 0.49, 0.55, 0.64};
    return *std::min_element(classes.begin(), classes.end(), [k_us](double a, double b) {
        return std::abs(a - k_us) < std::abs(b - k_us);
    });
}

std::optional<Erodibility> erodibility(const MapUnit& unit, const Profile* profile, Stones stones,
                                       std::vector<std::string>& warnings) {
    const Horizon surface = surface_of(unit, profile);
    std::optional<Erodibility> result;
    bool stones_counted = false;
    if (stones == Stones::in_k) {
        if (const auto k = stated_k(unit.kw_us, "K of the whole soil on the map", warnings)) {
            result = Erodibility{.k_us = *k,
                                 .route = ErodibilityRoute::map,
                                 .basis = "K of the whole soil",
                                 .confidence = Confidence::verified};
            stones_counted = true;
        }
    }
    if (!result) {
        if (const auto k = stated_k(unit.kf_us, "K on the map", warnings))
            result = Erodibility{.k_us = *k,
                                 .route = ErodibilityRoute::map,
                                 .basis = "K of the fine earth",
                                 .confidence = Confidence::verified};
    }
    if (!result && profile != nullptr) {
        if (const auto k = stated_k(surface.kf_us, "K of the surface horizon", warnings))
            result = Erodibility{.k_us = *k,
                                 .route = ErodibilityRoute::horizon,
                                 .basis = "K of the fine earth, surface horizon",
                                 .confidence = Confidence::verified};
    }
    if (!result) result = computed(surface, profile, warnings);
    if (!result) return std::nullopt;
    result->stones = stones;
    if (stones == Stones::in_k && !stones_counted) {
        if (surface.fragments_pct) {
            result->k_us = kw_from_kf(result->k_us, *surface.fragments_pct);
            result->basis += ", rock fragments " + fixed(*surface.fragments_pct, 0) + " %";
        } else {
            warnings.push_back("Rock fragments are not known; K is that of the fine earth.");
        }
    }
    if (!in_range(result->k_us)) {
        const double kept = std::clamp(result->k_us, k_us_min, k_us_max);
        warnings.push_back("K comes out at " + fixed(result->k_us, 3) +
                           " (US units), outside the measured range 0.02 to 0.69; " +
                           fixed(kept, 2) + " was taken.");
        result->k_us = kept;
    }
    result->k_si = result->k_us * units::k_si_per_us;
    return result;
}

}  // namespace catchfield::soil
