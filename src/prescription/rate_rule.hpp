// SPDX-License-Identifier: MIT
// From the rate a zone needs to the rate a machine applies: bounds, step, least rate, number of
// rates, passes.
#pragma once

#include <limits>
#include <optional>
#include <string>
#include <vector>

namespace catchfield::prescription {

/// Limits in the unit of the rates they are used with. 0 or infinity where there is none.
struct RateRule {
    double floor = 0.0;  ///< agronomic or chosen minimum; does not lift a rate that is below half
                         ///< the least applicable
    double cap = std::numeric_limits<double>::infinity();
    double step = 0.0;              ///< smallest change the controller makes
    double least_applicable = 0.0;  ///< the machine cannot meter less; below half of it: zero
};

/// Throws Error(usage): negative, not finite, floor above cap, no multiple of the step within the
/// bounds.
void check_rule(const RateRule& rule);

/// A rate after the rule.
struct SettledRate {
    double value = 0.0;
    std::string note;  ///< what changed it, in words; empty where nothing did
};

/// The rule: (1) below half the least applicable rate: 0; (2) clamped to [max(floor, least
/// applicable), cap]; (3) to the nearest multiple of the step, halves up, that lies within these
/// bounds. Never falls when the need rises. The rule must have passed check_rule. rate: finite.
SettledRate apply_rule(double rate, const RateRule& rule);

/// Rates of zones, by position; areas in ha.
struct ZoneRates {
    std::vector<double> rates;
    std::vector<std::string> warnings;
};

/// No more than `limit` (1 or more) different rates: the two neighbouring rates whose merging moves
/// the least product are joined at their area-weighted mean, put on the rule again, until the
/// number fits. Zeros are never merged with other rates unless limit is 1.
ZoneRates limit_distinct(const std::vector<double>& rates, const std::vector<double>& areas_ha,
                         int limit, const RateRule& rule);

/// Pairs of zones that touch, by position in `rates`, first < second.
struct Neighbours {
    int first = 0, second = 0;
};
/// Warnings for neighbours whose rates differ, but by less than `least_difference` (a machine step
/// or what the controller can tell apart). names: zone names for the text.
std::vector<std::string> close_neighbours(const std::vector<double>& rates,
                                          const std::vector<Neighbours>& pairs,
                                          double least_difference,
                                          const std::vector<std::string>& names);

/// A total applied in passes.
struct SplitPass {
    std::string label;   ///< "planting", "side-dress"
    double share = 1.0;  ///< of the total; the shares add to 1
};
/// Rates of the passes for one zone: each share on the rule's step, the pass with the largest share
/// takes the remainder, so that the passes add to `rate`. While a pass would come below the least
/// applicable rate, the pass with the smallest share is dropped and the others share its part.
/// Throws Error(usage): no pass, shares outside 0-1 or not adding to 1 (within 0.001).
std::vector<double> split_rate(double rate, const std::vector<SplitPass>& passes,
                               const RateRule& rule);

/// A machine that drives and changes its rate.
struct Machine {
    double speed_km_h = 10.0;
    double lag_s = 2.0;     ///< from the command to the new rate on the ground
    double width_m = 12.0;  ///< working width
};
/// Ground covered while a rate changes, m = speed x lag. Throws Error(usage) where a figure is not
/// positive (lag may be 0).
double transition_distance_m(const Machine& machine);

}  // namespace catchfield::prescription
