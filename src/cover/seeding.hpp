// SPDX-License-Identifier: MIT
// Seed prescription: rates by species and method, pure live seed, shares, totals, cost.
#pragma once

#include "cover/catalogue.hpp"

#include <optional>
#include <string>
#include <vector>

namespace catchfield::cover {

enum class SowingMethod { drilled, broadcast };

/// Quality of a seed lot, fractions in (0, 1].
struct SeedLot {
    double purity = 1.0;
    double germination = 1.0;
    double pure_live() const { return purity * germination; }
};

struct SeedOrder {
    SowingMethod method = SowingMethod::drilled;
    double rate_position = 0.5;   ///< 0 lowest to 1 highest rate of the catalogue's range
    std::vector<SeedLot> lots{};  ///< one per component, or empty for pure seed
    std::vector<std::optional<double>>
        prices_per_kg{};  ///< one per component, or empty: catalogue's
};

struct SeedLine {
    std::string species_id{};
    double pure_live_kg_ha = 0.0;  ///< share x pure-stand rate
    double bulk_kg_ha = 0.0;  ///< what goes through the drill: pure live / (purity x germination)
    std::optional<double> cost_per_ha{};
    double depth_min_cm = 0.0, depth_max_cm = 0.0;
};

struct SeedPrescription {
    std::vector<SeedLine> lines{};
    double pure_live_kg_ha = 0.0;
    double bulk_kg_ha = 0.0;
    std::optional<double> cost_per_ha{};  ///< only where every component has a price
    std::vector<std::string> warnings{};  ///< poor lots, depths that do not go together, rates
};

/// Rate of a pure stand, kg/ha pure live seed, between the catalogue's least and most.
double pure_rate_kg_ha(const Species& species, SowingMethod method, double position);

/// Throws Error(usage) for lots or prices that are not one per component, fractions outside (0, 1],
/// negative prices or a position outside 0 to 1.
SeedPrescription seed_prescription(const Cover& cover, const SeedOrder& order);

/// Seed and money for zones: area x rate, by component.
struct SeedTotal {
    std::string species_id{};
    double bulk_kg = 0.0;
    std::optional<double> cost{};
};
struct ZoneSeeding {
    const SeedPrescription* prescription = nullptr;
    double area_ha = 0.0;
};
/// By species in order of first appearance; cost only where every zone's line has one.
std::vector<SeedTotal> seed_totals(const std::vector<ZoneSeeding>& zones);

}  // namespace catchfield::cover
