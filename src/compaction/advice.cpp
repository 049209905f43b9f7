// SPDX-License-Identifier: MIT
// The conditions of the taproot advice.
#include "compaction/advice.hpp"

#include "base/error.hpp"
#include "base/text.hpp"
#include "compaction/data.hpp"

#include <map>
#include <set>
#include <utility>

namespace catchfield::compaction {

namespace {

/// Fewer stops than this do not show how far a layer extends.
constexpr std::size_t fewest_for_extent = 3;

std::string cm(double value) {
    return fixed(value, 0) + " cm";
}
std::string percent(double share) {
    return fixed(100.0 * share, 0) + " %";
}

Condition reach(const ZoneFacts& facts, const AdviceLimits& limits) {
    Condition c;
    c.name = "layer within reach";
    c.rule = "top of the layer at " + fixed(limits.layer_top_min_cm.value, 0) + " to " +
             cm(limits.layer_top_max_cm.value);
    c.source = limits.layer_top_max_cm.source;
    c.confidence = weakest(limits.layer_top_min_cm.confidence, limits.layer_top_max_cm.confidence);
    if (facts.layer_top_cm) {
        c.figure = "top at " + cm(*facts.layer_top_cm);
        if (facts.layer_thickness_cm) c.figure += ", " + cm(*facts.layer_thickness_cm) + " thick";
        if (!facts.layer_source.empty()) c.figure += " (" + facts.layer_source + ")";
        const bool within = *facts.layer_top_cm >= limits.layer_top_min_cm.value &&
                            *facts.layer_top_cm <= limits.layer_top_max_cm.value;
        c.outcome = within ? Outcome::pass : Outcome::fail;
    } else if (facts.no_layer) {
        c.outcome = Outcome::fail;
        c.figure =
            "no layer found" + (facts.layer_source.empty() ? "" : " (" + facts.layer_source + ")");
    } else {
        c.figure = "no stops and no density of horizons";
    }
    return c;
}

Condition extent(const ZoneFacts& facts, const AdviceLimits& limits) {
    Condition c;
    c.name = "extent";
    c.rule = "at least " + percent(limits.share_min.value) + " of stops above 300 psi within 38 cm";
    c.source = limits.share_min.source;
    c.confidence = limits.share_min.confidence;
    if (!facts.share_above) {
        c.figure = "no stops; a soil map does not show how far a layer extends";
    } else {
        c.figure = percent(*facts.share_above) + " of " + std::to_string(facts.stops) + " stops";
        if (facts.stops >= fewest_for_extent)
            c.outcome =
                *facts.share_above >= limits.share_min.value ? Outcome::pass : Outcome::fail;
        else
            c.figure += ", too few to tell";
    }
    return c;
}

Condition season(const ZoneFacts& facts, const AdviceLimits& limits) {
    Condition c;
    c.name = "season";
    c.rule = "at least " + fixed(limits.gdd_min.value, 0) +
             " degree-days above 0 degC before hard frost";
    c.source = limits.gdd_min.source;
    c.confidence = limits.gdd_min.confidence;
    if (!facts.gdd) {
        c.figure = "degree-days not known";
        return c;
    }
    c.figure = fixed(*facts.gdd, 0) + " degree-days from sowing to hard frost";
    c.outcome = *facts.gdd >= limits.gdd_min.value ? Outcome::pass : Outcome::fail;
    return c;
}

Condition nitrogen(const ZoneFacts& facts, const AdviceLimits& limits) {
    Condition c;
    c.name = "nitrogen";
    c.rule = "nitrate-N of at least " + fixed(limits.soil_n_min_kg_ha.value, 0) +
             " kg/ha in the top 30 cm, or a legume or manure that supplies it";
    c.source = limits.soil_n_min_kg_ha.source;
    c.confidence = limits.soil_n_min_kg_ha.confidence;
    const bool supplied = facts.legume_or_manure.value_or(false);
    if (facts.soil_nitrate_kg_ha)
        c.figure = fixed(*facts.soil_nitrate_kg_ha, 0) + " kg/ha nitrate-N in the top 30 cm";
    else
        c.figure = "soil nitrate not known";
    if (supplied) c.figure += "; legume or manure";
    if (supplied)
        c.outcome = Outcome::pass;
    else if (facts.soil_nitrate_kg_ha)
        c.outcome = *facts.soil_nitrate_kg_ha >= limits.soil_n_min_kg_ha.value ? Outcome::pass
                                                                               : Outcome::fail;
    return c;
}

Condition drainage(const ZoneFacts& facts) {
    Condition c;
    c.name = "drainage";
    c.rule = "not poorly drained, water table deeper than the layer";
    c.source = "own rule; standing water kills the taproot";
    c.confidence = Confidence::assumption;
    c.figure = facts.drainage.empty() ? "drainage class not known" : facts.drainage;
    if (facts.water_table_cm) c.figure += ", water table at " + cm(*facts.water_table_cm);
    if (facts.poorly_drained.value_or(false)) {
        c.outcome = Outcome::fail;
        return c;
    }
    std::optional<double> needed = facts.layer_top_cm;
    if (needed && facts.layer_thickness_cm) *needed += *facts.layer_thickness_cm;
    if (facts.water_table_cm && needed && *facts.water_table_cm <= *needed) {
        // Between top and bottom of a thick layer the root has made part of its way.
        c.outcome = *facts.water_table_cm <= *facts.layer_top_cm ? Outcome::fail : Outcome::unknown;
        return c;
    }
    if (!facts.poorly_drained) return c;
    if (facts.somewhat_poor.value_or(false) && !facts.water_table_cm) {
        c.figure += "; whether its subsoil is wet in the season is not known";
        return c;
    }
    c.outcome = Outcome::pass;
    return c;
}

Condition nature(const ZoneFacts& facts) {
    Condition c;
    c.name = "nature of the pan";
    c.rule = "no bedrock, fragipan, cemented layer or dense till in the layer";
    c.source = "own rule; a root cannot mend a natural pan";
    c.confidence = Confidence::assumption;
    c.figure = facts.nature_reason;
    std::optional<double> bottom = facts.layer_top_cm;
    if (bottom && facts.layer_thickness_cm) *bottom += *facts.layer_thickness_cm;
    if (facts.natural_pan_top_cm) {
        if (!c.figure.empty()) c.figure += "; ";
        c.figure += "natural pan from " + cm(*facts.natural_pan_top_cm);
    }
    if (facts.nature == PanNature::natural || (facts.natural_pan_top_cm && facts.layer_top_cm &&
                                               *facts.natural_pan_top_cm <= *facts.layer_top_cm))
        c.outcome = Outcome::fail;
    else if (facts.natural_pan_top_cm && bottom && *facts.natural_pan_top_cm < *bottom)
        c.outcome = Outcome::unknown;  // the lower part of the layer is natural
    else if (facts.nature == PanNature::traffic_possible)
        c.outcome = Outcome::pass;
    if (c.figure.empty())
        c.figure = facts.nature == PanNature::traffic_possible ? "no natural pan is described"
                                                               : "not described";
    return c;
}

void add_instead(const ZoneFacts& facts, const AdviceLimits& limits,
                 const std::vector<Condition>& conditions, std::vector<std::string>& instead) {
    const auto outcome = [&conditions](std::size_t i) { return conditions[i].outcome; };
    if (outcome(0) == Outcome::fail) {
        if (facts.no_layer)
            instead.push_back("No layer to break: choose the cover by its other aims.");
        else if (*facts.layer_top_cm < limits.layer_top_min_cm.value)
            instead.push_back(
                "The layer is shallow: keep residue and living roots at the surface, and till or "
                "drive only "
                "when the soil is dry enough.");
        else
            instead.push_back(
                "The layer is too deep for an annual taproot: a deep-rooted perennial (alfalfa, "
                "sweetclover) for a year or more reaches it and fixes nitrogen.");
    }
    if (outcome(0) == Outcome::unknown || outcome(1) == Outcome::unknown)
        instead.push_back(
            "Push a penetrometer about a day after a soaking rain, three to four stops an acre "
            "(seven to "
            "ten a hectare), before seed is bought.");
    if (outcome(1) == Outcome::fail)
        instead.push_back("Too little of the zone is hard: watch traffic, and save the seed.");
    if (outcome(2) == Outcome::fail)
        instead.push_back(
            "The season is too short for a taproot: sow earlier next time, or rye for its cover.");
    if (outcome(2) == Outcome::unknown)
        instead.push_back(
            "Give sowing and hard-frost dates with temperatures for the season's degree-days.");
    if (outcome(3) == Outcome::fail)
        instead.push_back(
            "Radish stays small on low nitrogen: mix it with a legume, or place it after manure.");
    if (outcome(3) == Outcome::unknown)
        instead.push_back("Take a soil nitrate sample before sowing.");
    if (outcome(4) == Outcome::fail)
        instead.push_back(
            "The subsoil is wet: see to drainage first; cereal rye and grasses bear wet feet "
            "better.");
    if (outcome(4) == Outcome::unknown)
        instead.push_back("Look for standing water or mottles above the layer before sowing.");
    if (outcome(5) == Outcome::fail)
        instead.push_back(
            "The pan is natural and no root mends it: manage the depth above it (residue, organic "
            "matter, water).");
    if (outcome(5) == Outcome::unknown)
        instead.push_back(
            "Dig a hole through the layer to see whether it is a traffic pan or the soil's own.");
    const bool hard = facts.share_above && *facts.share_above >= 0.5;
    if (hard && outcome(5) != Outcome::fail)
        instead.push_back(
            "Whether to loosen mechanically is your own decision: only in dry soil, just below the "
            "layer, "
            "and of no lasting use unless traffic on wet soil ends.");
}

}  // namespace

AdviceLimits read_advice_limits(const Table& table) {
    AdviceLimits limits;
    const std::map<std::string, Limit*, std::less<>> members = {
        {"layer_top_min", &limits.layer_top_min_cm},
        {"layer_top_max", &limits.layer_top_max_cm},
        {"share_min", &limits.share_min},
        {"gdd_min", &limits.gdd_min},
        {"gdd_max", &limits.gdd_max},
        {"soil_n_min", &limits.soil_n_min_kg_ha},
        {"seed_drilled_min", &limits.seed_drilled_min_kg_ha},
        {"seed_drilled_max", &limits.seed_drilled_max_kg_ha},
        {"seed_broadcast_min", &limits.seed_broadcast_min_kg_ha},
        {"seed_broadcast_max", &limits.seed_broadcast_max_kg_ha},
    };
    table.require({"key", "value", "source", "confidence"});
    std::set<std::string> seen;
    for (std::size_t row = 0; row < table.rows(); ++row) {
        const std::string& key = table.text(row, "key");
        const auto member = members.find(key);
        if (member == members.end())
            table.fail(row, "key", "'" + key + "' is no limit of the advice");
        if (!seen.insert(key).second) table.fail(row, "key", "'" + key + "' is given twice");
        const double value = table.required_number(row, "value");
        if (value < 0.0) table.fail(row, "value", "a limit must not be negative");
        *member->second = {value, table.text(row, "source"),
                           parse_confidence(table.text(row, "confidence"))};
    }
    for (const auto& [key, member] : members)
        if (!seen.contains(key))
            throw Error(ErrorKind::data, "the limit '" + key + "' is missing",
                        {.path = table.name()});
    return limits;
}

AdviceLimits default_advice_limits() {
    static const AdviceLimits limits =
        read_advice_limits(Table::parse(data::advice_limits, "advice_limits.csv"));
    return limits;
}

std::string_view outcome_name(Outcome outcome) {
    switch (outcome) {
        case Outcome::pass:
            return "pass";
        case Outcome::fail:
            return "fail";
        case Outcome::unknown:
            break;
    }
    return "unknown";
}

std::string_view advice_name(Advice advice) {
    switch (advice) {
        case Advice::recommended:
            return "recommended";
        case Advice::not_recommended:
            return "not recommended";
        case Advice::unclear:
            break;
    }
    return "unclear";
}

TaprootAdvice advise_taproot(const ZoneFacts& facts, const AdviceLimits& limits) {
    TaprootAdvice advice;
    advice.conditions = {reach(facts, limits),    extent(facts, limits), season(facts, limits),
                         nitrogen(facts, limits), drainage(facts),       nature(facts)};
    std::string failed, open;
    advice.confidence = facts.confidence;
    for (const Condition& condition : advice.conditions) {
        if (condition.outcome == Outcome::fail)
            failed += (failed.empty() ? "" : ", ") + condition.name;
        if (condition.outcome == Outcome::unknown)
            open += (open.empty() ? "" : ", ") + condition.name;
        advice.confidence = weakest(advice.confidence, condition.confidence);
    }
    if (!failed.empty()) {
        advice.advice = Advice::not_recommended;
        advice.summary = "A strong taproot is not recommended here: " + failed +
                         (open.empty() ? "." : "; not known: " + open + ".");
    } else if (!open.empty()) {
        advice.advice = Advice::unclear;
        advice.summary = "Whether a strong taproot pays here is unclear; not known: " + open + ".";
    } else {
        advice.advice = Advice::recommended;
        advice.summary = "A strong taproot is worth sowing here: every condition is met.";
        advice.seed_min_kg_ha = limits.seed_drilled_min_kg_ha.value;
        advice.seed_max_kg_ha = limits.seed_drilled_max_kg_ha.value;
        advice.seeding = "Forage radish alone, drilled at " +
                         fixed(limits.seed_drilled_min_kg_ha.value, 0) + " to " +
                         fixed(limits.seed_drilled_max_kg_ha.value, 0) + " kg/ha (broadcast " +
                         fixed(limits.seed_broadcast_min_kg_ha.value, 0) + " to " +
                         fixed(limits.seed_broadcast_max_kg_ha.value, 0) +
                         "); in a mix about half (common practice, no source). Thin stands make "
                         "thicker roots: stay at the lower end.";
    }
    add_instead(facts, limits, advice.conditions, advice.instead);
    if (facts.evidence == LayerEvidence::soil_map)
        advice.cautions.push_back(
            "The layer is read from the soil map's typical densities, not measured in this field.");
    if (facts.dry_or_wet_readings)
        advice.cautions.push_back(
            "Stops were not taken near field capacity; the layer may not be what it seems.");
    if (facts.gdd && *facts.gdd > limits.gdd_max.value)
        advice.cautions.push_back(
            "The season is longer than radish needs: sown early it bolts and turns woody; sow "
            "later.");
    if (advice.advice == Advice::recommended)
        advice.cautions.push_back(
            "Taproots leave channels for the next crop's roots; they do not loosen the soil "
            "between them, "
            "and trials do not all show a yield gain.");
    return advice;
}

std::vector<std::string> penetration_order() {
    const Table table = Table::parse(data::penetration_order, "penetration_order.csv");
    std::vector<std::string> order;
    for (std::size_t row = 0; row < table.rows(); ++row)
        order.push_back(table.text(row, "species_id"));
    return order;
}

}  // namespace catchfield::compaction
