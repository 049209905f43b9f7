// SPDX-License-Identifier: MIT
// Variograms, ordinary kriging in a moving neighbourhood, inverse distance.
#include "compaction/interpolation.hpp"

#include "base/error.hpp"
#include "base/random.hpp"
#include "base/text.hpp"
#include "compaction/nearest.hpp"

#include <tbb/blocked_range.h>
#include <tbb/parallel_for.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <numeric>
#include <utility>

namespace catchfield::compaction {

namespace {

constexpr double same_point_m = 1e-9;
constexpr std::size_t most_kriged_from_all = 1000;
/// Above this, a seeded part of the samples makes the variogram.
constexpr std::size_t most_for_variogram = 5000;

double shape(VariogramModel model, double scaled) {
    if (model == VariogramModel::exponential) return 1.0 - std::exp(-scaled);
    return scaled < 1.0 ? scaled * (1.5 - 0.5 * scaled * scaled) : 1.0;
}

double covariance(const Variogram& variogram, double distance_m) {
    if (distance_m < same_point_m) return variogram.sill();
    return variogram.partial_sill * (1.0 - shape(variogram.model, distance_m / variogram.range_m));
}

/// Linear terms and error for one range.
struct LinearFit {
    double nugget = 0.0, partial_sill = 0.0;
    double sse = std::numeric_limits<double>::infinity();
};

LinearFit fit_linear(const std::vector<VariogramBin>& bins, VariogramModel model, double range_m) {
    double w = 0.0, wg = 0.0, wgg = 0.0, wy = 0.0, wgy = 0.0;
    for (const VariogramBin& bin : bins) {
        const double weight = static_cast<double>(bin.pairs) / (bin.distance_m * bin.distance_m);
        const double g = shape(model, bin.distance_m / range_m);
        w += weight;
        wg += weight * g;
        wgg += weight * g * g;
        wy += weight * bin.gamma;
        wgy += weight * g * bin.gamma;
    }
    LinearFit best;
    const auto consider = [&](double nugget, double partial_sill) {
        if (!(nugget >= 0.0 && partial_sill >= 0.0)) return;
        double sse = 0.0;
        for (const VariogramBin& bin : bins) {
            const double weight =
                static_cast<double>(bin.pairs) / (bin.distance_m * bin.distance_m);
            const double off =
                bin.gamma - nugget - partial_sill * shape(model, bin.distance_m / range_m);
            sse += weight * off * off;
        }
        if (sse < best.sse) best = {nugget, partial_sill, sse};
    };
    consider(wy / w, 0.0);
    if (wgg > 0.0) consider(0.0, wgy / wgg);
    const double determinant = w * wgg - wg * wg;
    if (determinant > 1e-12 * w * wgg) {
        const double partial_sill = (w * wgy - wg * wy) / determinant;
        consider((wy - partial_sill * wg) / w, partial_sill);
    }
    return best;
}

/// Ordinary kriging from one set of samples: C = L L', and what every target shares.
///
/// With covariances c0 to the target and C among the samples, s = 1' C^-1 1 and the generalised
/// mean m = 1' C^-1 z / s: value = m + c0' C^-1 (z - m 1), variance = sill - c0' C^-1 c0 + (1 - 1'
/// C^-1 c0)^2 / s. The same as the system with a Lagrange multiplier (Isaaks & Srivastava 1989,
/// chapter 12), at half the work.
class KrigingSystem {
  public:
    /// False where C is not positive definite: two samples at one place.
    bool prepare(const std::vector<Sample>& samples, const std::vector<std::uint32_t>& chosen,
                 const Variogram& variogram) {
        m_size = chosen.size();
        m_points.resize(m_size);
        m_lower.resize(m_size * m_size);
        m_ones.assign(m_size, 1.0);
        m_dual.resize(m_size);
        m_work.resize(m_size);
        for (std::size_t i = 0; i < m_size; ++i) {
            const Sample& sample = samples[chosen[i]];
            m_points[i] = {sample.x, sample.y};
            m_dual[i] = sample.value;
        }
        for (std::size_t i = 0; i < m_size; ++i) {
            double* row = &m_lower[i * m_size];
            for (std::size_t j = 0; j < i; ++j) {
                const double dx = m_points[i].x - m_points[j].x;
                const double dy = m_points[i].y - m_points[j].y;
                double sum = covariance(variogram, std::sqrt(dx * dx + dy * dy));
                const double* other = &m_lower[j * m_size];
                for (std::size_t k = 0; k < j; ++k) sum -= row[k] * other[k];
                row[j] = sum / other[j];
            }
            double pivot = variogram.sill();
            for (std::size_t k = 0; k < i; ++k) pivot -= row[k] * row[k];
            if (!(pivot > 1e-12 * variogram.sill())) return false;
            row[i] = std::sqrt(pivot);
        }
        solve(m_ones);
        m_sum = std::accumulate(m_ones.begin(), m_ones.end(), 0.0);
        double weighted = 0.0;
        for (std::size_t i = 0; i < m_size; ++i) weighted += m_ones[i] * m_dual[i];
        m_mean = weighted / m_sum;
        for (double& value : m_dual) value -= m_mean;
        solve(m_dual);
        return true;
    }

    Prediction predict(Point target, const Variogram& variogram) {
        double value = m_mean, ones = 0.0, explained = 0.0;
        for (std::size_t i = 0; i < m_size; ++i) {
            const double dx = m_points[i].x - target.x;
            const double dy = m_points[i].y - target.y;
            const double c0 = covariance(variogram, std::sqrt(dx * dx + dy * dy));
            value += c0 * m_dual[i];
            ones += c0 * m_ones[i];
            const double* row = &m_lower[i * m_size];
            double sum = c0;
            for (std::size_t k = 0; k < i; ++k) sum -= row[k] * m_work[k];
            m_work[i] = sum / row[i];
            explained += m_work[i] * m_work[i];
        }
        const double rest = 1.0 - ones;
        return {value, std::max(0.0, variogram.sill() - explained + rest * rest / m_sum)};
    }

    /// w = C^-1 (c0 + 1 (1 - 1' C^-1 c0) / s).
    std::vector<double> weights(Point target, const Variogram& variogram) const {
        std::vector<double> result(m_size);
        double ones = 0.0;
        for (std::size_t i = 0; i < m_size; ++i) {
            result[i] = covariance(variogram,
                                   std::hypot(m_points[i].x - target.x, m_points[i].y - target.y));
            ones += result[i] * m_ones[i];
        }
        solve(result);
        for (std::size_t i = 0; i < m_size; ++i) result[i] += m_ones[i] * (1.0 - ones) / m_sum;
        return result;
    }

    /// Leave-one-out by Q = C^-1 - C^-1 1 1' C^-1 / s: error_i = (Q z)_i / Q_ii, variance_i = 1 /
    /// Q_ii (Dubrule 1983, Math. Geol. 15:687-699). Q z is the dual vector.
    std::vector<Prediction> leave_one_out_errors() const {
        std::vector<Prediction> errors(m_size);
        std::vector<double> column(m_size);
        for (std::size_t i = 0; i < m_size; ++i) {
            std::fill(column.begin(), column.end(), 0.0);
            column[i] = 1.0;
            solve(column);
            const double q = column[i] - m_ones[i] * m_ones[i] / m_sum;
            errors[i] = {m_dual[i] / q, 1.0 / q};
        }
        return errors;
    }

  private:
    void solve(std::vector<double>& b) const {
        for (std::size_t i = 0; i < m_size; ++i) {
            const double* row = &m_lower[i * m_size];
            for (std::size_t k = 0; k < i; ++k) b[i] -= row[k] * b[k];
            b[i] /= row[i];
        }
        for (std::size_t i = m_size; i-- > 0;) {
            b[i] /= m_lower[i * m_size + i];
            for (std::size_t k = 0; k < i; ++k) b[k] -= m_lower[i * m_size + k] * b[i];
        }
    }

    std::size_t m_size = 0;
    std::vector<Point> m_points;
    std::vector<double> m_lower;  // row-major lower triangle of the Cholesky factor
    std::vector<double> m_ones;   // C^-1 1
    std::vector<double> m_dual;   // C^-1 (z - m 1)
    std::vector<double> m_work;
    double m_sum = 0.0;
    double m_mean = 0.0;
};

/// What one thread needs for target after target. Neighbouring targets often have the same nearest
/// samples; the factor is then kept, and is the same as if made anew.
struct Workspace {
    std::vector<Neighbour> found;
    std::vector<std::uint32_t> chosen;
    std::vector<std::uint32_t> prepared;
    KrigingSystem system;
};

Error singular(Point near) {
    return Error(ErrorKind::data,
                 "samples near (" + fixed(near.x, 1) + ", " + fixed(near.y, 1) +
                     ") lie so close together that kriging has no single answer",
                 {.hint = "Raise the distance below which samples are joined."});
}

/// Samples nearer than `distance` to an earlier one are averaged into it; returns how many were.
std::size_t join_same_place(std::vector<Sample>& samples, double distance) {
    std::vector<Point> points;
    points.reserve(samples.size());
    for (const Sample& sample : samples) points.push_back({sample.x, sample.y});
    const NearestPoints nearest(points);
    const double limit2 = distance * distance;
    std::vector<std::uint8_t> used(samples.size(), 0);
    std::vector<Sample> joined;
    joined.reserve(samples.size());
    std::vector<Neighbour> found;
    for (std::size_t i = 0; i < samples.size(); ++i) {
        if (used[i]) continue;
        used[i] = 1;
        std::size_t count = 2;
        do {  // as many as lie within the distance
            nearest.nearest(points[i], count, found);
            count *= 2;
        } while (found.size() < samples.size() && found.back().distance2 < limit2);
        double sum = samples[i].value;
        std::size_t here = 1;
        for (const Neighbour& neighbour : found) {
            if (neighbour.distance2 >= limit2 || used[neighbour.index]) continue;
            used[neighbour.index] = 1;
            sum += samples[neighbour.index].value;
            ++here;
        }
        joined.push_back({samples[i].x, samples[i].y, sum / static_cast<double>(here)});
    }
    const std::size_t lost = samples.size() - joined.size();
    samples = std::move(joined);
    return lost;
}

std::vector<Point> places_of(const std::vector<Sample>& samples) {
    std::vector<Point> points;
    points.reserve(samples.size());
    for (const Sample& sample : samples) points.push_back({sample.x, sample.y});
    return points;
}

}  // namespace

std::string_view variogram_model_name(VariogramModel model) {
    return model == VariogramModel::spherical ? "spherical" : "exponential";
}

std::string_view method_name(Method method) {
    return method == Method::kriging ? "ordinary kriging" : "inverse distance";
}

double Variogram::gamma(double distance_m) const {
    if (distance_m < same_point_m) return 0.0;
    return nugget + partial_sill * shape(model, distance_m / range_m);
}

std::vector<VariogramBin> empirical_variogram(const std::vector<Sample>& samples, double cutoff_m,
                                              double width_m) {
    if (samples.empty()) return {};
    if (cutoff_m <= 0.0) {
        Box box{samples[0].x, samples[0].y, samples[0].x, samples[0].y};
        for (const Sample& s : samples)
            box = {std::min(box.min_x, s.x), std::min(box.min_y, s.y), std::max(box.max_x, s.x),
                   std::max(box.max_y, s.y)};
        cutoff_m = std::hypot(box.max_x - box.min_x, box.max_y - box.min_y) / 3.0;
    }
    if (width_m <= 0.0) width_m = cutoff_m / 15.0;
    if (!(width_m > 0.0)) return {};
    struct Sums {
        std::size_t pairs = 0;
        double distance = 0.0, squares = 0.0;
    };
    std::vector<Sums> sums(static_cast<std::size_t>(std::ceil(cutoff_m / width_m - 1e-9)));
    const double cutoff2 = cutoff_m * cutoff_m;
    for (std::size_t i = 0; i < samples.size(); ++i) {
        for (std::size_t j = 0; j < i; ++j) {
            const double dx = samples[i].x - samples[j].x;
            const double dy = samples[i].y - samples[j].y;
            const double d2 = dx * dx + dy * dy;
            if (d2 > cutoff2 || d2 <= 0.0) continue;
            const double distance = std::sqrt(d2);
            // Classes are open below and closed above.
            const double place = std::ceil(distance / width_m) - 1.0;
            const auto at =
                std::min(sums.size() - 1, static_cast<std::size_t>(std::max(0.0, place)));
            const double off = samples[i].value - samples[j].value;
            ++sums[at].pairs;
            sums[at].distance += distance;
            sums[at].squares += off * off;
        }
    }
    std::vector<VariogramBin> bins;
    for (const Sums& sum : sums) {
        if (sum.pairs == 0) continue;
        const double pairs = static_cast<double>(sum.pairs);
        bins.push_back({sum.pairs, sum.distance / pairs, 0.5 * sum.squares / pairs});
    }
    return bins;
}

VariogramFit fit_variogram(const std::vector<VariogramBin>& bins, VariogramModel model) {
    if (bins.size() < 3)
        throw Error(ErrorKind::data,
                    "a variogram needs at least three distance classes, there are " +
                        std::to_string(bins.size()));
    // Search log(range) over the distances seen; a sill that lies beyond them cannot be told.
    constexpr int steps = 200;
    const double low = std::log(bins.front().distance_m *
                                (model == VariogramModel::exponential ? 1.0 / 3.0 : 1.0));
    const double high = std::log(bins.back().distance_m * 3.0);
    const double step = (high - low) / steps;
    const auto error = [&](double log_range) {
        return fit_linear(bins, model, std::exp(log_range)).sse;
    };
    int best = 0;
    double best_error = std::numeric_limits<double>::infinity();
    for (int i = 0; i <= steps; ++i) {
        const double here = error(low + i * step);
        if (here < best_error) {
            best_error = here;
            best = i;
        }
    }
    // Golden section between the neighbours of the best.
    double a = low + std::max(0, best - 1) * step;
    double b = low + std::min(steps, best + 1) * step;
    constexpr double golden = 0.6180339887498949;
    double c = b - golden * (b - a), d = a + golden * (b - a);
    double error_c = error(c), error_d = error(d);
    for (int i = 0; i < 60; ++i) {
        if (error_c < error_d) {
            b = d;
            d = c;
            error_d = error_c;
            c = b - golden * (b - a);
            error_c = error(c);
        } else {
            a = c;
            c = d;
            error_c = error_d;
            d = a + golden * (b - a);
            error_d = error(d);
        }
    }
    const double range_m = std::exp(0.5 * (a + b));
    const LinearFit linear = fit_linear(bins, model, range_m);
    return {{model, linear.nugget, linear.partial_sill, range_m},
            linear.sse,
            best == steps && linear.partial_sill > 0.0};
}

VariogramFit fit_variogram(const std::vector<VariogramBin>& bins) {
    const VariogramFit spherical = fit_variogram(bins, VariogramModel::spherical);
    const VariogramFit exponential = fit_variogram(bins, VariogramModel::exponential);
    return exponential.weighted_sse < spherical.weighted_sse ? exponential : spherical;
}

KrigingWeights kriging_weights(const std::vector<Sample>& samples, const Variogram& variogram,
                               Point target) {
    if (samples.empty()) throw Error(ErrorKind::data, "there are no samples");
    std::vector<std::uint32_t> all(samples.size());
    std::iota(all.begin(), all.end(), 0U);
    KrigingSystem system;
    if (!system.prepare(samples, all, variogram)) throw singular(target);
    const Prediction prediction = system.predict(target, variogram);
    return {system.weights(target, variogram), prediction.value, prediction.variance};
}

struct Interpolator::State {
    std::vector<Sample> samples;
    InterpolationOptions options;
    Method method = Method::inverse_distance;
    Variogram variogram{};
    std::optional<VariogramFit> fit;
    std::string choice;
    std::vector<std::string> warnings;
    std::size_t count = 0;  // neighbours in use
    double lowest = 0.0, highest = 0.0;
    NearestPoints nearest{{}};
    Workspace whole;  // prepared once where every target uses all samples

    bool from_all() const { return count == samples.size(); }

    /// Into work.found, nearest first; with all samples, in their own order.
    void neighbours(Point target, std::size_t wanted, Workspace& work) const {
        if (wanted < samples.size()) {
            nearest.nearest(target, wanted, work.found);
            return;
        }
        work.found.resize(samples.size());
        for (std::size_t i = 0; i < samples.size(); ++i) {
            const double dx = samples[i].x - target.x, dy = samples[i].y - target.y;
            work.found[i] = {dx * dx + dy * dy, static_cast<std::uint32_t>(i)};
        }
    }

    double weighted_mean(const std::vector<Neighbour>& found) const {
        double sum = 0.0, weights = 0.0;
        for (const Neighbour& neighbour : found) {
            if (neighbour.distance2 < same_point_m * same_point_m)
                return samples[neighbour.index].value;
            const double weight = options.power == 2.0
                                      ? 1.0 / neighbour.distance2
                                      : std::pow(neighbour.distance2, -0.5 * options.power);
            sum += weight * samples[neighbour.index].value;
            weights += weight;
        }
        return sum / weights;
    }

    double clipped(double value) const {
        return options.clip_to_data ? std::clamp(value, lowest, highest) : value;
    }

    /// From work.found.
    Prediction kriged(Point target, Workspace& work) const {
        work.chosen.clear();
        for (const Neighbour& neighbour : work.found) work.chosen.push_back(neighbour.index);
        std::sort(work.chosen.begin(), work.chosen.end());
        if (work.chosen != work.prepared) {
            if (!work.system.prepare(samples, work.chosen, variogram)) throw singular(target);
            work.prepared = work.chosen;
        }
        return work.system.predict(target, variogram);
    }

    Prediction predict(Point target, Workspace& work) const {
        if (method == Method::inverse_distance) {
            neighbours(target, count, work);
            return {weighted_mean(work.found), 0.0};
        }
        if (from_all()) {
            nearest.nearest(target, 1, work.found);
        } else {
            neighbours(target, count, work);
        }
        const Neighbour& closest = work.found.front();
        if (closest.distance2 < same_point_m * same_point_m)
            return {samples[closest.index].value, 0.0};
        Prediction prediction =
            from_all() ? work.system.predict(target, variogram) : kriged(target, work);
        prediction.value = clipped(prediction.value);
        return prediction;
    }

    Workspace workspace() const { return from_all() ? whole : Workspace{}; }
};

namespace {

std::vector<Sample> thinned(const std::vector<Sample>& samples) {
    std::vector<Sample> part = samples;
    Random random(5000);
    random.shuffle(part);
    part.resize(most_for_variogram);
    return part;
}

std::string describe(const Variogram& variogram) {
    return std::string(variogram_model_name(variogram.model)) + " variogram, nugget " +
           significant(variogram.nugget, 3) + ", partial sill " +
           significant(variogram.partial_sill, 3) + ", range parameter " +
           significant(variogram.range_m, 3) + " m";
}

}  // namespace

Interpolator::Interpolator(std::vector<Sample> samples, InterpolationOptions options) {
    auto state = std::make_unique<State>();
    if (samples.empty())
        throw Error(ErrorKind::data, "there are no samples to interpolate",
                    {.hint = "Check that the points have values and a place."});
    for (const Sample& sample : samples)
        if (!std::isfinite(sample.x) || !std::isfinite(sample.y) || !std::isfinite(sample.value))
            throw Error(ErrorKind::data, "a sample has a place or value that is not a number");
    if (!(options.power > 0.0))
        throw Error(ErrorKind::usage, "the power of inverse distance must be positive");
    if (!(options.same_place_m >= 0.0))
        throw Error(ErrorKind::usage, "same_place_m must not be negative");
    if (options.variogram) {
        const Variogram& given = *options.variogram;
        if (!(given.range_m > 0.0 && given.nugget >= 0.0 && given.partial_sill >= 0.0 &&
              given.sill() > 0.0))
            throw Error(ErrorKind::usage, "the variogram needs a range and a sill above 0");
    }
    const std::size_t joined =
        join_same_place(samples, std::max(options.same_place_m, 2.0 * same_point_m));
    if (joined > 0)
        state->warnings.push_back(
            std::to_string(joined) +
            " samples lie at the place of another; values at one place were averaged.");
    const std::size_t n = samples.size();
    const auto [low, high] =
        std::minmax_element(samples.begin(), samples.end(),
                            [](const Sample& a, const Sample& b) { return a.value < b.value; });
    state->lowest = low->value;
    state->highest = high->value;
    state->options = options;
    state->samples = std::move(samples);
    state->nearest = NearestPoints(places_of(state->samples));
    state->count = options.neighbours == 0 ? n : std::min(options.neighbours, n);

    const std::string places = std::to_string(n) + (n == 1 ? " place" : " places");
    std::string why;
    state->method = options.method.value_or(Method::kriging);
    if (!options.method && n < options.min_for_kriging) {
        state->method = Method::inverse_distance;
        why = places + ", fewer than the " + std::to_string(options.min_for_kriging) +
              " that a trustworthy variogram needs";
    } else if (state->method == Method::kriging && !(state->lowest < state->highest)) {
        state->method = Method::inverse_distance;
        why = "all " + places + " have the same value";
    } else {
        why = places + (options.method ? ", method as asked" : "");
    }

    if (state->method == Method::kriging && !options.variogram) {
        const auto bins = n > most_for_variogram ? empirical_variogram(thinned(state->samples))
                                                 : empirical_variogram(state->samples);
        if (n > most_for_variogram)
            state->warnings.push_back("The variogram is from " +
                                      std::to_string(most_for_variogram) +
                                      " of the samples, drawn at random.");
        if (bins.size() < 3) {
            state->method = Method::inverse_distance;
            why = places + ", too few distances for a variogram";
        } else {
            state->fit = fit_variogram(bins);
            state->variogram = state->fit->variogram;
            if (state->fit->range_at_limit)
                state->warnings.push_back(
                    "The variogram shows no sill within the distances between samples; its range "
                    "is "
                    "the longest that was tried.");
            if (state->variogram.partial_sill <= 0.0)
                state->warnings.push_back(
                    "The samples show no pattern in space; the map is close to their mean.");
            if (n < 50)
                state->warnings.push_back("A variogram from " + places +
                                          " is not trustworthy (50 to 100 are needed).");
        }
    } else if (state->method == Method::kriging) {
        state->fit = VariogramFit{*options.variogram, 0.0, false};
        state->variogram = *options.variogram;
    }

    const std::string around = state->from_all()
                                   ? "all samples"
                                   : "the " + std::to_string(state->count) + " nearest samples";
    if (state->method == Method::kriging) {
        if (state->from_all() && n > most_kriged_from_all)
            throw Error(ErrorKind::usage,
                        "kriging from all of " + std::to_string(n) + " samples is too much work",
                        {.hint = "Give a number of nearest samples, such as 16."});
        state->choice = "Ordinary kriging from " + around + " (" + why + "; " +
                        describe(state->variogram) + ")";
        if (state->from_all()) {
            std::vector<std::uint32_t> all(n);
            std::iota(all.begin(), all.end(), 0U);
            if (!state->whole.system.prepare(state->samples, all, state->variogram))
                throw singular({state->samples[0].x, state->samples[0].y});
            state->whole.prepared = std::move(all);
        }
    } else {
        state->choice = "Inverse distance, power " + shortest(options.power) + ", from " + around +
                        " (" + why + ")";
    }
    m_state = std::move(state);
}

Interpolator::~Interpolator() = default;
Interpolator::Interpolator(Interpolator&&) noexcept = default;
Interpolator& Interpolator::operator=(Interpolator&&) noexcept = default;

Method Interpolator::method() const {
    return m_state->method;
}
const std::string& Interpolator::choice() const {
    return m_state->choice;
}
const std::vector<Sample>& Interpolator::samples() const {
    return m_state->samples;
}
const std::optional<VariogramFit>& Interpolator::fit() const {
    return m_state->fit;
}
const std::vector<std::string>& Interpolator::warnings() const {
    return m_state->warnings;
}

Prediction Interpolator::at(Point target) const {
    Workspace work = m_state->workspace();
    return m_state->predict(target, work);
}

std::vector<Prediction> Interpolator::at(const std::vector<Point>& targets) const {
    Workspace work = m_state->workspace();
    std::vector<Prediction> predictions;
    predictions.reserve(targets.size());
    for (const Point& target : targets) predictions.push_back(m_state->predict(target, work));
    return predictions;
}

InterpolatedGrid Interpolator::grid(const GridFrame& frame, const Mask* mask) const {
    if (mask != nullptr && mask->frame != frame)
        throw Error(ErrorKind::internal, "mask and grid have different frames");
    InterpolatedGrid grid{Raster<float>(frame), Raster<float>(frame)};
    tbb::parallel_for(
        tbb::blocked_range<int>(0, frame.rows), [&](const tbb::blocked_range<int>& rows) {
            Workspace work = m_state->workspace();
            for (int row = rows.begin(); row < rows.end(); ++row) {
                for (int col = 0; col < frame.cols; ++col) {
                    const std::size_t i = frame.index(row, col);
                    if (mask != nullptr && (*mask)[i] == 0) continue;
                    const Prediction prediction =
                        m_state->predict({frame.x_centre(col), frame.y_centre(row)}, work);
                    grid.values[i] = static_cast<float>(prediction.value);
                    grid.variance[i] = static_cast<float>(prediction.variance);
                }
            }
        });
    return grid;
}

CrossValidation Interpolator::leave_one_out() const {
    const State& state = *m_state;
    const std::size_t n = state.samples.size();
    CrossValidation result;
    if (n < 2) return result;
    std::vector<Prediction> errors(n);  // error and variance
    if (state.method == Method::kriging && state.from_all()) {
        errors = state.whole.system.leave_one_out_errors();
        if (state.options.clip_to_data)
            for (std::size_t i = 0; i < n; ++i) {
                const double value = state.samples[i].value;
                errors[i].value = value - state.clipped(value - errors[i].value);
            }
    } else {
        Workspace work;
        for (std::size_t i = 0; i < n; ++i) {
            const Sample& sample = state.samples[i];
            state.neighbours({sample.x, sample.y}, std::min(n, state.count + 1), work);
            std::erase_if(work.found, [i](const Neighbour& found) { return found.index == i; });
            if (state.method == Method::kriging) {
                const Prediction prediction = state.kriged({sample.x, sample.y}, work);
                errors[i] = {sample.value - state.clipped(prediction.value), prediction.variance};
            } else {
                errors[i].value = sample.value - state.weighted_mean(work.found);
            }
        }
    }
    const double count = static_cast<double>(n);
    double sum = 0.0, squares = 0.0, standard = 0.0;
    double mean_seen = 0.0, mean_predicted = 0.0;
    for (std::size_t i = 0; i < n; ++i) {
        const double error = errors[i].value;
        sum += error;
        squares += error * error;
        if (errors[i].variance > 0.0) standard += error * error / errors[i].variance;
        mean_seen += state.samples[i].value / count;
        mean_predicted += (state.samples[i].value - error) / count;
    }
    double cross = 0.0, seen = 0.0, predicted = 0.0;
    for (std::size_t i = 0; i < n; ++i) {
        const double a = state.samples[i].value - mean_seen;
        const double b = state.samples[i].value - errors[i].value - mean_predicted;
        cross += a * b;
        seen += a * a;
        predicted += b * b;
    }
    result.count = n;
    result.rmse = std::sqrt(squares / count);
    result.mean_error = sum / count;
    result.correlation = seen > 0.0 && predicted > 0.0 ? cross / std::sqrt(seen * predicted) : 0.0;
    if (state.method == Method::kriging) result.standardised = standard / count;
    return result;
}

}  // namespace catchfield::compaction
