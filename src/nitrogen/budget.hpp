// SPDX-License-Identifier: MIT
// A zone's nitrogen rate as a sum that can be read line by line, with its interval.
#pragma once

#include "base/confidence.hpp"
#include "nitrogen/credits.hpp"
#include "nitrogen/crops.hpp"
#include "nitrogen/methods.hpp"
#include "nitrogen/soil_test.hpp"

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

namespace catchfield::nitrogen {

/// One signed line: positive adds to the rate, negative takes from it. kg N/ha.
struct BudgetLine {
    std::string label;
    double n_kg_ha = 0.0;
    double low_kg_ha = 0.0, high_kg_ha = 0.0;  ///< low <= n <= high
    std::string source;
    Confidence confidence = Confidence::assumption;
    std::string note;
};

/// A zone's rate. need = sum of lines; rate = need + sum of settling lines.
struct Budget {
    std::vector<BudgetLine> lines;
    std::vector<BudgetLine>
        settling;             ///< floor at 0, method's cap; then bounds and rounding by settle()
    double need_kg_ha = 0.0;  ///< unrounded, may be negative
    double rate_kg_ha = 0.0;
    double rate_without_cover_credit_kg_ha = 0.0;  ///< cover credit left out (tie-up kept)
    double rate_with_full_cover_credit_kg_ha = 0.0;
    double low_kg_ha = 0.0,
           high_kg_ha = 0.0;  ///< 5th and 95th percentile of the need, floored at 0
    Confidence confidence = Confidence::verified;
    std::vector<std::string> cautions;
};

/// What a zone brings to its rate. Nothing where not known.
struct ZoneNeeds {
    const Method* method = nullptr;
    std::string crop = "corn";
    std::optional<double> yield_goal_kg_ha{};  ///< balance forms; must be positive
    /// Ready-made rate of the response, average-response and fixed methods.
    std::optional<double> base_kg_ha{}, base_low_kg_ha{}, base_high_kg_ha{};
    std::string base_source;
    Confidence base_confidence = Confidence::verified;
    std::optional<NitrateProfile> nitrate{};  ///< spring profile; late-spring test: 0-30 cm
    std::optional<double> organic_matter_pct{};
    bool coarse_soil = false;
    std::optional<double> critical_ppm{};            ///< late-spring: other than the method's
    bool manured_or_after_alfalfa = false;           ///< late-spring: cap
    double price_adjust = 1.0, timing_adjust = 1.0;  ///< corn balance
    std::optional<CoverCredit> cover{};
    std::optional<OtherCredit> previous_crop{}, manure{}, irrigation{};
};

/// Interval settings: triangular draws of every line, summed, with a seeded generator.
struct IntervalSettings {
    int draws = 200;  ///< 0: low and high are those of the summed variances (normal, 90 %)
    std::uint64_t seed = 1;
};

/// Puts a zone's rate together (section "Putting it together" of docs/methods/nitrogen.md). Credits
/// of a kind that the method contains are left out and said in a zero line; tie-up is added except
/// for the late-spring test. Throws Error(usage): no method, a yield goal, base or test that the
/// method needs is missing, crop without coefficient; Error(data): yield goal not positive or above
/// 40,000 kg/ha, negative base, organic matter outside 0-100.
Budget zone_budget(const ZoneNeeds& zone, const IntervalSettings& settings = {});

/// Appends a settling line that takes the rate to applied_kg_ha (bounds, machine step), and sets
/// rate_kg_ha. No line where nothing changes (by less than 1e-9).
void settle(Budget& budget, double applied_kg_ha, const std::string& label,
            const std::string& note = {});

}  // namespace catchfield::nitrogen
