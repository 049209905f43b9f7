// SPDX-License-Identifier: MIT
// Yield response to nitrogen: curves fitted to trials, the economic optimum with its interval, and
// the average response of many trials.
#pragma once

#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

namespace catchfield::nitrogen {

enum class CurveForm { flat, linear_plateau, quadratic, quadratic_plateau };

/// "flat", "linear-plateau", "quadratic", "quadratic-plateau".
std::string_view curve_form_name(CurveForm form);

/// Yield, kg/ha, as a function of N, kg/ha: a + b N (+ c N2), constant from `join` on for plateaus.
struct Curve {
    CurveForm form = CurveForm::flat;
    double a = 0.0;     ///< kg/ha at N = 0, mean over blocks
    double b = 0.0;     ///< kg/kg
    double c = 0.0;     ///< kg/kg per kg/ha; 0 or less where there is an optimum
    double join = 0.0;  ///< N where the plateau begins, kg/ha (plateau forms only)

    /// Value at n_kg_ha. Does not check the range of the trial: see predict().
    double yield_kg_ha(double n_kg_ha) const;
    /// Derivative; at a join the one from the left.
    double slope(double n_kg_ha) const;

    static Curve quadratic_plateau(double a, double b, double c);
    static Curve linear_plateau(double a, double b, double join);
};

/// One plot of a trial.
struct TrialPlot {
    double n_kg_ha = 0.0;
    double yield_kg_ha = 0.0;
    int block = 0;  ///< blocks (and years) that shift the whole curve
};

/// One fitted curve.
struct Fit {
    Curve curve;
    bool usable = false;  ///< has an optimum: slope falls, and rises from 0
    std::string reason;   ///< why not
    int plots = 0;
    int blocks = 1;
    int parameters = 0;        ///< of the mean: curve and block effects
    double rss = 0.0;          ///< (kg/ha)2
    double sigma_kg_ha = 0.0;  ///< residual standard deviation, sqrt(rss / (plots - parameters))
    double r2 = 0.0;
    double aicc =
        0.0;  ///< full Gaussian likelihood, sigma counted as a parameter (Hurvich & Tsai 1989)
    double lowest_rate_kg_ha = 0.0, highest_rate_kg_ha = 0.0;  ///< tested
    /// Covariance of (b, c) for quadratic forms, of (b, join) for linear-plateau: v11, v12, v22.
    double v11 = 0.0, v12 = 0.0, v22 = 0.0;
    std::vector<double> block_effects_kg_ha;  ///< difference to the mean, in order of block number
    std::vector<std::string> warnings;
};

/// Least squares with blocks as fixed effects. Quadratic and flat by QR; plateaus by profiling the
/// join (for a given join the model is linear), looked for from the second lowest rate to the
/// highest (quadratic-plateau: twice the highest), to about a millionth of it.
/// Units: kg/ha. Throws Error(data): fewer than three different rates (four for plateaus), no
/// residual degree of freedom, yields or rates negative or not finite, rates above 1000 kg/ha,
/// yields above 200,000 kg/ha. Source: ordinary least squares; model forms as in Cerrato & Blackmer
/// 1990, Agron. J. 82:138-143.
Fit fit_curve(std::span<const TrialPlot> plots, CurveForm form);

/// All forms that the data allow, best AICc first. Two rates only: throws Error(data).
/// Forms that cannot be fitted (too few rates) are left out.
std::vector<Fit> fit_all(std::span<const TrialPlot> plots);

/// The first usable fit, or the flat one where it has the lowest AICc of all; null for an empty
/// list. A plain quadratic is passed over for a plateau form within 2 AICc units of it, because it
/// overstates the optimum (Cerrato & Blackmer 1990).
const Fit* preferred(const std::vector<Fit>& fits);

/// Yield inside the tested range. Throws Error(data) outside it: no extrapolation.
double predict(const Fit& fit, double n_kg_ha);

/// Prices in one currency.
struct Prices {
    double n_per_kg = 0.0;     ///< per kg N
    double crop_per_kg = 0.0;  ///< per kg grain
};

/// Price ratio, kg grain per kg N. Throws Error(usage) where a price is zero, negative or not
/// finite.
double price_ratio(const Prices& prices);

/// Optimum on a curve without limits of a trial: clamp((r - b) / 2c, 0, join); linear-plateau: join
/// where b > r, else 0; flat: 0. Check values N24, N25.
double optimum_kg_ha(const Curve& curve, double ratio);

/// An economic optimum.
struct Optimum {
    double n_kg_ha = 0.0;        ///< within the tested rates
    double curve_n_kg_ha = 0.0;  ///< where the curve alone has it; to be shown, not to be used
    /// Limits of the interval, cut to the tested rates (with a warning); nothing where the trial
    /// cannot bound the optimum.
    std::optional<double> low_kg_ha, high_kg_ha;
    std::string_view interval_method;  ///< "Fieller", "Fieller, linearised", "delta", "none"
    double yield_kg_ha = 0.0;
    double return_over_none_kg_ha =
        0.0;  ///< yield gain less N cost against N = 0 (or lowest rate), kg grain/ha
    std::optional<double> loss_below_kg_ha,
        loss_above_kg_ha;        ///< kg grain/ha lost `off_by` below / above
    bool beyond_tested = false;  ///< still paying at the highest rate tested; n_kg_ha is that rate
    std::vector<std::string> warnings;
};

/// Economic optimum of a fit at a price ratio (kg grain per kg N).
///
/// Interval at `level` (0.5-0.999): for quadratic forms the set of N where the fitted slope does
/// not differ from the ratio by Student's t, which is Fieller's theorem and exact for the plain
/// quadratic (Bachmaier 2009, Statistical Papers 50:649-660), cut to the tested range (for
/// quadratic-plateau the slope's variance comes from the linearised fit: delta); for linear-plateau
/// the delta method on the join. Never beyond the tested rates. `off_by_kg_ha`: for the cost of
/// being off; nothing where the shifted rate was not tested. Throws Error(data) for an unusable fit
/// that is not flat, Error(usage) for a level outside its range.
Optimum economic_optimum(const Fit& fit, double ratio, double level = 0.95,
                         double off_by_kg_ha = 20.0);

/// Average response of many trial sites.
struct AverageResponse {
    double n_kg_ha = 0.0;
    double low_kg_ha = 0.0, high_kg_ha = 0.0;  ///< profitable range
    double net_gain_per_ha = 0.0;  ///< mean over sites, against N = 0, in the prices' currency
    int sites = 0;
    std::vector<std::string> warnings;
};

/// The N with the highest mean net return over the sites' curves and the range within
/// `tolerance_per_ha` of it (Sawyer et al. 2006; Nafziger et al. 2022, Crops & Soils). The default
/// is 1 currency unit an acre. Solved exactly; a 1-lb grid differs by under 1 lb. max_kg_ha:
/// highest rate that all trials tested. Curves are kg/ha over kg/ha and must have falling slopes.
/// Check values N26, N27. Throws Error(data): no curves, a curve that bends upwards, max not
/// positive; Error(usage): prices.
AverageResponse average_response(std::span<const Curve> sites, const Prices& prices,
                                 double max_kg_ha, double tolerance_per_ha = 2.4710538);

/// Two-sided Student quantile t with P(|T| <= t) = level, df >= 1 (found by bisection of the
/// incomplete beta function; to 1e-9).
double student_t(double level, int df);

}  // namespace catchfield::nitrogen
