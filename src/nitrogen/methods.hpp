// SPDX-License-Identifier: MIT
// Rate methods as data: which form each has, its coefficients, and what it already contains.
#pragma once

#include "base/confidence.hpp"
#include "nitrogen/soil_test.hpp"

#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace catchfield::nitrogen {

enum class MethodForm { balance, corn_balance, late_spring, response, average_response, fixed };

/// What a method's figure already holds; a credit of that kind is not taken again.
struct Contains {
    bool soil_nitrate = false;
    bool organic_matter = false;
    bool previous_crop = false;
    bool manure = false;
    bool irrigation = false;
    bool cover = false;
};

/// One coefficient with its range.
struct Coefficient {
    std::string name;  ///< "n_lb_per_bu", ...
    std::string crop;  ///< crop it holds for, or "any"
    double value = 0.0, low = 0.0, high = 0.0;
    std::string unit;
    std::string source;
    Confidence confidence = Confidence::assumption;
};

/// A rate method (data/methods.csv, data/method_values.csv).
struct Method {
    std::string id;  ///< "balance", "balance-full", "corn-balance", "late-spring", "response", ...
    std::string title;
    MethodForm form = MethodForm::fixed;
    Contains contains;
    std::string valid_for;
    std::string source;
    Confidence confidence = Confidence::assumption;
    std::vector<Coefficient> values;

    /// Coefficient for a crop (the crop's own before "any"), or null.
    const Coefficient* find(std::string_view name, std::string_view crop) const;
    /// As find(). Throws Error(usage) saying for which crops the method has one.
    const Coefficient& require(std::string_view name, std::string_view crop) const;
};

/// The built-in methods.
const std::vector<Method>& methods();
/// By id. Throws Error(usage) that names the nearest known one.
const Method& method(std::string_view id);

/// Yield-goal balance before credits, lb/ac = a [lb/bu] x yield goal [bu/ac] (Stanford 1973).
double balance_need_lb_ac(double n_lb_per_bu, double yield_goal_bu_ac);

/// Nebraska corn form, lb/ac, before the floor at 0 [verified, Nebraska Extension newsletter
/// 2021-03-01]:
///   [35 + 1.2 EY - 8 NO3 - 0.14 EY OM - other credits] x price_adjust x timing_adjust
/// expected_yield_bu_ac: about 105 % of the five-year mean; nitrate_ppm: depth-weighted over 2-4
/// ft; om_pct: limited to 0.5-3. Coefficients from data/method_values.csv. Check values N18-N21.
double corn_balance_need_lb_ac(const Method& method, double expected_yield_bu_ac,
                               double nitrate_ppm, double om_pct, double other_credits_lb_ac = 0.0,
                               double price_adjust = 1.0, double timing_adjust = 1.0);

/// Late-spring (pre-sidedress) nitrate test, lb/ac = 8 x (Nc - ppm), floor 0; sample 0-12 in with
/// corn 6-12 in tall [verified, Iowa]. critical_ppm: 25; 20-22 after a spring more than 20 % wetter
/// than normal. cap_lb_ac: 90 where manured or after alfalfa [memory: check]. Check values N22,
/// N23. Throws Error(data) for ppm outside 0-500, critical outside 10-30.
double late_spring_need_lb_ac(const Method& method, double nitrate_ppm, double critical_ppm,
                              std::optional<double> cap_lb_ac = {});

}  // namespace catchfield::nitrogen
