// SPDX-License-Identifier: MIT
// How sure a zone's soil loss and its reduction are: a seeded Latin hypercube over the uncertain
// inputs (McKay, Beckman & Conover 1979, Technometrics 21:239-245).
#pragma once

#include "base/confidence.hpp"
#include "base/table.hpp"
#include "erosion/management.hpp"
#include "erosion/soil_loss.hpp"

#include <array>
#include <cstdint>
#include <string_view>
#include <vector>

namespace catchfield::erosion {

enum class UncertainInput {
    erosivity,
    erodibility,
    slope_length,
    cover_mass,
    residue_alpha,
    residue_decay,
    cover_effect,  ///< b of the surface-cover subfactor
};
inline constexpr int uncertain_inputs = 7;
/// "erosivity R", "soil erodibility K", "slope length", "cover crop mass", "residue cover per
/// mass", "residue decay", "effect of surface cover".
std::string_view uncertain_input_name(UncertainInput input);

/// Coefficients of variation of the lognormal factors on the inputs: table spreads.csv.
struct Spreads {
    std::array<double, uncertain_inputs> cv{};
    Confidence confidence = Confidence::assumption;
    double of(UncertainInput input) const { return cv[static_cast<std::size_t>(input)]; }
};
/// Built-in, or a user's table (input, cv, source, confidence). Throws Error(data) for an unknown
/// input or a cv outside 0-2.
Spreads parse_spreads(const Table& table);
const Spreads& spreads();

/// Standard normal scores of a Latin hypercube and their ranks; made once and used for every zone,
/// so that zones are compared on the same draws.
struct Design {
    std::size_t draws = 0;
    std::vector<double> score;        ///< draws x 7, row by row
    std::vector<std::uint32_t> rank;  ///< the same shape, 0 to draws - 1
};
/// The same seed and count give the same design everywhere. Throws Error(usage) for draws < 20 or
/// > 100000.
Design latin_hypercube(std::size_t draws = 64, std::uint64_t seed = 1);

struct Interval {
    double low = 0.0;   ///< 10 % quantile
    double mid = 0.0;   ///< median
    double high = 0.0;  ///< 90 % quantile
};

struct Uncertainty {
    Interval loss_now_mg_ha;
    Interval loss_cover_mg_ha;
    Interval cut_pct;  ///< reduction by cover
    /// Squared rank correlation of each input with the loss under cover and with the reduction,
    /// scaled to sum 1 (all zero where the output does not vary).
    std::array<double, uncertain_inputs> loss_weight{};
    std::array<double, uncertain_inputs> cut_weight{};
    UncertainInput loss_driver = UncertainInput::erosivity;
    UncertainInput cut_driver = UncertainInput::cover_mass;
    std::size_t draws = 0;
};

/// One zone. `now` holds R, K, LS, P (its c is not used); `slope_length_exponent` m carries a
/// change of slope length to LS by its m-th power. Both scenarios share the draws. Throws
/// Error(data) for m outside 0-1.
Uncertainty soil_loss_uncertainty(const Factors& now, double slope_length_exponent,
                                  const Schedule& without, const Schedule& with,
                                  const Design& design, const Spreads& spread = spreads());

/// C of both scenarios for every draw: shared by all zones that have the same management and cover,
/// so that a zone costs only its own factors.
struct CDraws {
    std::vector<double> without;
    std::vector<double> with;
};
CDraws c_draws(const Schedule& without, const Schedule& with, const Design& design,
               const Spreads& spread = spreads());
Uncertainty soil_loss_uncertainty(const Factors& now, double slope_length_exponent, const CDraws& c,
                                  const Design& design, const Spreads& spread = spreads());

}  // namespace catchfield::erosion
