// SPDX-License-Identifier: MIT
// Whether a strong taproot is worth sowing in a zone: condition by condition, with the figure
// behind each.
#pragma once

#include "base/confidence.hpp"
#include "base/table.hpp"

#include <cstddef>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace catchfield::compaction {

/// A limit of the rules, from data/advice_limits.csv.
struct Limit {
    double value = 0.0;
    std::string source{};
    Confidence confidence = Confidence::assumption;
};

/// All limits of the advice; a user's table of the same form replaces them.
struct AdviceLimits {
    Limit layer_top_min_cm{};  ///< shallower layers are a matter of crust or tillage
    Limit layer_top_max_cm{};  ///< deeper ones are out of reach
    Limit share_min{};         ///< 0-1, stops above 300 psi
    Limit gdd_min{};           ///< degC d above 0 degC, sowing to hard frost
    Limit gdd_max{};           ///< beyond it the stand is past its best
    Limit soil_n_min_kg_ha{};  ///< nitrate-N in the rooted soil
    Limit seed_drilled_min_kg_ha{}, seed_drilled_max_kg_ha{};
    Limit seed_broadcast_min_kg_ha{}, seed_broadcast_max_kg_ha{};
};
/// Columns key, value, unit, source, confidence. Throws Error(data) for a missing or unknown key.
AdviceLimits read_advice_limits(const Table& table);
/// The built-in table.
AdviceLimits default_advice_limits();

/// What the layer was found by.
enum class LayerEvidence { none, soil_map, stops };

/// What is known of the nature of the hard layer.
enum class PanNature {
    unknown,
    traffic_possible,  ///< no natural pan described within reach
    natural,           ///< fragipan, bedrock, cemented, dense till: no root mends it
};

/// Facts of one zone, in plain values; empty is unknown.
struct ZoneFacts {
    LayerEvidence evidence = LayerEvidence::none;
    /// Top and thickness of the layer: of the stops (median over those that have one) or the map.
    std::optional<double> layer_top_cm{};
    std::optional<double> layer_thickness_cm{};
    std::string
        layer_source{};  ///< figure in words: "median of 12 of 15 stops", "horizon Bt, 1.60 g/cm3"
    /// Sure that there is no layer: stops were taken and none shows one, or every density is low.
    bool no_layer = false;
    std::optional<double> share_above{};  ///< 0-1, stops above 300 psi within 38 cm
    std::size_t stops = 0;
    std::optional<double> gdd{};                 ///< degC d above 0 degC, sowing to hard frost
    std::optional<double> soil_nitrate_kg_ha{};  ///< nitrate-N, top 30 cm
    std::optional<bool> legume_or_manure{};      ///< a legume in the mix, or manure, supplies N
    std::string drainage{};                      ///< drainage class in words, "" unknown
    std::optional<bool> poorly_drained{};  ///< poorly or very poorly drained, undrained by tile
    std::optional<bool> somewhat_poor{};   ///< somewhat poorly drained
    std::optional<double> water_table_cm{};
    PanNature nature = PanNature::unknown;
    std::string nature_reason{};
    /// Natural restriction where known: must lie below the layer.
    std::optional<double> natural_pan_top_cm{};
    bool dry_or_wet_readings = false;              ///< stops not near field capacity
    Confidence confidence = Confidence::verified;  ///< of the facts, joined with the rules' own
};

enum class Outcome { pass, fail, unknown };
std::string_view outcome_name(Outcome outcome);

/// One documented condition.
struct Condition {
    std::string name{};  ///< "layer within reach"
    Outcome outcome = Outcome::unknown;
    std::string figure{};  ///< "top at 22 cm, median of 12 of 15 stops"
    std::string rule{};    ///< "10 to 40 cm"
    std::string source{};
    Confidence confidence = Confidence::assumption;
};

enum class Advice { recommended, not_recommended, unclear };
std::string_view advice_name(Advice advice);

struct TaprootAdvice {
    Advice advice = Advice::unclear;
    /// Layer within reach, extent, season, nitrogen, drainage, nature of the pan: in this order.
    std::vector<Condition> conditions{};
    std::string summary{};                   ///< one sentence
    std::vector<std::string> instead{};      ///< what to do where a condition fails, or find out
    std::optional<double> seed_min_kg_ha{};  ///< drilled, where recommended
    std::optional<double> seed_max_kg_ha{};
    std::string seeding{};  ///< hint in words, where recommended
    std::vector<std::string> cautions{};
    Confidence confidence = Confidence::assumption;
};

/// Recommended where all six conditions pass; not recommended where one fails; unclear otherwise.
/// A layer from the soil map alone leaves the extent unknown, so that the answer is never more than
/// unclear without stops.
TaprootAdvice advise_taproot(const ZoneFacts& facts,
                             const AdviceLimits& limits = default_advice_limits());

/// Root counts in compacted soil, most first (Chen & Weil 2010, Plant and Soil 331:31-43), by
/// species id of the catalogue: forage_radish, canola_rape, rye.
std::vector<std::string> penetration_order();

}  // namespace catchfield::compaction
