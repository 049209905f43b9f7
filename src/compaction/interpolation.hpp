// SPDX-License-Identifier: MIT
// From values at points to values anywhere: variograms, ordinary kriging, inverse distance. For
// penetrometer stops, soil tests and electrical-conductivity readings alike.
#pragma once

#include "base/raster.hpp"
#include "base/shapes.hpp"

#include <cstddef>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace catchfield::compaction {

/// A value at a place; coordinates in m of a projected CRS.
struct Sample {
    double x = 0.0;
    double y = 0.0;
    double value = 0.0;
};

enum class VariogramModel {
    spherical,    ///< nugget + psill (1.5 h/a - 0.5 (h/a)^3) for h < a, nugget + psill beyond
    exponential,  ///< nugget + psill (1 - exp(-h/a)); practical range 3 a
};
std::string_view variogram_model_name(VariogramModel model);

struct Variogram {
    VariogramModel model = VariogramModel::spherical;
    double nugget = 0.0;        ///< square of the value's unit
    double partial_sill = 0.0;  ///< the same
    double range_m = 1.0;       ///< parameter a

    double sill() const { return nugget + partial_sill; }
    /// Semivariance at a distance; gamma(0) = 0, so kriging is exact at the data.
    double gamma(double distance_m) const;
};

/// One distance class of the empirical variogram (Matheron's estimator).
struct VariogramBin {
    std::size_t pairs = 0;
    double distance_m = 0.0;  ///< mean of the pairs
    double gamma = 0.0;
};

/// Pairs to `cutoff_m` in classes of `width_m`, empty classes left out. 0: cutoff a third of the
/// bounding box's diagonal, width a fifteenth of the cutoff.
std::vector<VariogramBin> empirical_variogram(const std::vector<Sample>& samples,
                                              double cutoff_m = 0.0, double width_m = 0.0);

struct VariogramFit {
    Variogram variogram{};
    double weighted_sse = 0.0;
    bool range_at_limit = false;  ///< no sill within the distances seen; the range is a bound
};

/// Weighted least squares with weights pairs / distance^2 and nugget, partial sill >= 0. For every
/// range the two linear terms are solved exactly, and the range is searched over the whole span of
/// distances before it is refined, so that no start value can lead astray. Throws Error(data) for
/// fewer than three classes.
VariogramFit fit_variogram(const std::vector<VariogramBin>& bins, VariogramModel model);
/// The better of spherical and exponential (spherical where equal).
VariogramFit fit_variogram(const std::vector<VariogramBin>& bins);

enum class Method { inverse_distance, kriging };
std::string_view method_name(Method method);

struct InterpolationOptions {
    /// None: kriging where there are at least `min_for_kriging` places and they vary, inverse
    /// distance otherwise.
    std::optional<Method> method{};
    std::size_t min_for_kriging = 50;
    /// Nearest samples used for a target; 0: all, which is refused above 1000 samples for kriging.
    std::size_t neighbours = 16;
    double power = 2.0;  ///< of inverse distance
    /// None: fitted to the samples.
    std::optional<Variogram> variogram{};
    /// Keep results within the range of the data (kriging weights can be negative).
    bool clip_to_data = true;
    /// Samples nearer than this are one place: averaged, with a message.
    double same_place_m = 0.01;
};

struct Prediction {
    double value = 0.0;
    double variance = 0.0;  ///< kriging variance; 0 for inverse distance, which has none
};

/// Leave-one-out figures, with the variogram kept.
struct CrossValidation {
    std::size_t count = 0;
    double rmse = 0.0;
    double mean_error = 0.0;   ///< observed minus predicted
    double correlation = 0.0;  ///< observed with predicted; 0 where one does not vary
    /// Mean of error^2 / variance, near 1 where the variances are right; kriging only.
    std::optional<double> standardised{};
};

/// Kriging weights at one target, for a given set of samples.
struct KrigingWeights {
    std::vector<double> weights{};
    double value = 0.0;
    double variance = 0.0;
};
/// Ordinary kriging from all given samples. Throws Error(data) for none, or for two at one place.
KrigingWeights kriging_weights(const std::vector<Sample>& samples, const Variogram& variogram,
                               Point target);

/// Values on a grid. Cells outside the mask keep 0 in both.
struct InterpolatedGrid {
    Raster<float> values{};
    Raster<float> variance{};  ///< all 0 for inverse distance
};

/// Interpolates one set of samples; immutable and safe to share between threads.
class Interpolator {
  public:
    /// Throws Error(data) for no samples or values that are not finite, Error(usage) for options
    /// that make no sense (power, neighbours, variogram not positive).
    explicit Interpolator(std::vector<Sample> samples, InterpolationOptions options = {});
    ~Interpolator();
    Interpolator(Interpolator&&) noexcept;
    Interpolator& operator=(Interpolator&&) noexcept;

    Method method() const;
    /// Why this method, how many places, which neighbourhood and variogram: one sentence for
    /// reports.
    const std::string& choice() const;
    /// Samples after those at one place were joined.
    const std::vector<Sample>& samples() const;
    /// Empty for inverse distance.
    const std::optional<VariogramFit>& fit() const;
    /// Joined duplicates, a range at its limit, few samples.
    const std::vector<std::string>& warnings() const;

    /// A sample within 1e-9 m returns its own value with variance 0.
    Prediction at(Point target) const;
    std::vector<Prediction> at(const std::vector<Point>& targets) const;
    /// Cell centres of the frame where mask is 1 (all without a mask). Runs in parallel; every cell
    /// is computed by itself, so results do not depend on threads.
    InterpolatedGrid grid(const GridFrame& frame, const Mask* mask = nullptr) const;
    CrossValidation leave_one_out() const;

  private:
    struct State;
    std::unique_ptr<const State> m_state;
};

}  // namespace catchfield::compaction
