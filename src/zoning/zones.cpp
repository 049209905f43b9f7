// SPDX-License-Identifier: MIT
// Management zones from features in one call: prepare, cluster, choose how many, clean up, number.
#include "zoning/zones.hpp"

#include "base/error.hpp"
#include "base/text.hpp"
#include "zoning/assumptions.hpp"
#include "zoning/kmeans.hpp"
#include "zoning/pca.hpp"
#include "zoning/validity.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <utility>

namespace catchfield::zoning {

namespace {

std::string percent(double share) {
    return fixed(100.0 * share, 0) + " %";
}

std::string zones_text(int count) {
    return count == 1 ? "one zone" : std::to_string(count) + " zones";
}

void check(const ZoningOptions& o) {
    const auto usage = [](const std::string& reason) { throw Error(ErrorKind::usage, reason); };
    if (o.count && (*o.count < 1 || *o.count > 254)) usage("the number of zones must be 1 to 254");
    if (o.max_count < 1 || o.max_count > 20) usage("the largest number of zones must be 1 to 20");
    if (o.starts < 1) usage("clustering needs one start or more");
    if (o.fit_sample < 100 || o.index_sample < 50 || o.silhouette_sample < 50) {
        usage("clusters need a sample of 100 cells or more, indices one of 50 or more");
    }
    if (!(o.exponent > 1.0)) usage("the fuzzy exponent must be above 1");
    if (o.refine_iterations < 0) usage("the number of refining steps must be 0 or more");
}

// One feature's share of variance between zones, over cells that have it and a zone.
FeatureVariance variance_held(const Feature& feature, const Labels& labels, int count) {
    FeatureVariance out{feature.name, 0.0, 0};
    const auto zones = static_cast<std::size_t>(count) + 1;
    std::vector<double> sum(zones, 0.0);
    std::vector<double> size(zones, 0.0);
    double base = 0.0;  // keeps large offsets out of the sums
    for (std::size_t i = 0; i < labels.size(); ++i) {
        if (labels[i] == 0 || !feature.valid[i]) continue;
        if (out.cells++ == 0) base = static_cast<double>(feature.values[i]);
        const auto zone = static_cast<std::size_t>(labels[i]);
        sum[zone] += static_cast<double>(feature.values[i]) - base;
        size[zone] += 1.0;
    }
    if (out.cells == 0) return out;
    double overall = 0.0;
    for (std::size_t z = 1; z < zones; ++z) {
        overall += sum[z];
        if (size[z] > 0.0) sum[z] /= size[z];
    }
    overall /= static_cast<double>(out.cells);
    double within = 0.0;
    double total = 0.0;
    for (std::size_t i = 0; i < labels.size(); ++i) {
        if (labels[i] == 0 || !feature.valid[i]) continue;
        const double x = static_cast<double>(feature.values[i]) - base;
        const double d = x - sum[static_cast<std::size_t>(labels[i])];
        within += d * d;
        total += (x - overall) * (x - overall);
    }
    out.relative_variance = relative_variance(total, within);
    return out;
}

// Mean score of every label (element 0 unused); labels without a score get the lowest possible.
std::vector<double> mean_scores(const Labels& labels, const Raster<float>* score,
                                const Mask* valid) {
    const auto zones = static_cast<std::size_t>(zone_count(labels)) + 1;
    std::vector<double> mean(zones, 0.0);
    if (score == nullptr) return mean;
    std::vector<double> size(zones, 0.0);
    for (std::size_t i = 0; i < labels.size(); ++i) {
        if (labels[i] == 0 || !(*valid)[i]) continue;
        mean[static_cast<std::size_t>(labels[i])] += static_cast<double>((*score)[i]);
        size[static_cast<std::size_t>(labels[i])] += 1.0;
    }
    for (std::size_t z = 1; z < zones; ++z) {
        mean[z] = size[z] > 0.0 ? mean[z] / size[z] : std::numeric_limits<double>::lowest();
    }
    return mean;
}

// What zones are numbered by: the caller's need, else the used feature with the largest weight.
struct ScoreView {
    const Raster<float>* score = nullptr;
    const Mask* valid = nullptr;
};

ScoreView score_of(std::span<const Feature> features, const std::vector<FeatureUse>& uses,
                   const std::optional<Need>& need, const Mask& field) {
    if (need) {
        if (need->score.frame != field.frame || need->valid.frame != field.frame) {
            throw Error(ErrorKind::data, "the need of the zones is on another grid than the field");
        }
        return {&need->score, &need->valid};
    }
    const Feature* best = nullptr;
    for (std::size_t f = 0; f < features.size(); ++f) {
        if (!uses[f].used) continue;
        if (best == nullptr || features[f].weight > best->weight ||
            (features[f].weight == best->weight && features[f].name < best->name)) {
            best = &features[f];
        }
    }
    if (best == nullptr) return {};
    return {&best->values, &best->valid};
}

// Figures about finished labels.
void describe(ZoningResult& result, std::span<const Feature> features, const Mask* complete,
              const ScoreView& score) {
    result.count = zone_count(result.labels);
    const auto zones = static_cast<std::size_t>(result.count);
    result.variance.clear();
    for (std::size_t f = 0; f < features.size(); ++f) {
        FeatureVariance held = variance_held(features[f], result.labels, result.count);
        if (held.cells > 0) result.variance.push_back(std::move(held));
    }
    result.zones.assign(zones, {});
    const std::vector<double> need = mean_scores(result.labels, score.score, score.valid);
    for (std::size_t z = 0; z < zones; ++z) {
        result.zones[z].zone = static_cast<int>(z + 1);
        if (need[z + 1] != std::numeric_limits<double>::lowest()) {
            result.zones[z].mean_need = need[z + 1];
        } else {
            result.warnings.push_back("zone " + std::to_string(z + 1) +
                                      " has no value of the need that zones are numbered by");
        }
    }
    for (std::size_t i = 0; i < result.labels.size(); ++i) {
        if (result.labels[i] == 0) continue;
        ZoneInfo& zone = result.zones[static_cast<std::size_t>(result.labels[i]) - 1];
        ++zone.cells;
        if (complete != nullptr && !(*complete)[i]) ++zone.filled_cells;
    }
    const Patches patches = find_patches(result.labels);
    for (const std::int16_t label : patches.labels) {
        ++result.zones[static_cast<std::size_t>(label) - 1].patches;
    }
    for (ZoneInfo& zone : result.zones) {
        zone.area_ha = static_cast<double>(zone.cells) * result.labels.frame.cell_area_ha();
    }
}

Labels one_zone(const Mask& field) {
    Labels labels(field.frame, 0);
    for (std::size_t i = 0; i < field.size(); ++i) labels[i] = field[i] ? 1 : 0;
    return labels;
}

// Clusters of one count, on the fitted cells.
struct Fit {
    std::vector<std::uint8_t> labels;
    std::vector<double> centres;
    double within_ss = 0.0;
    std::vector<double> memberships;  // of the index rows
};

Fit fit_count(const Samples& sample, const Samples& index_sample,
              std::span<const std::uint32_t> index_rows, int count, const ZoningOptions& options) {
    Fit fit;
    const auto clusters = static_cast<std::size_t>(count);
    if (options.method == Method::fuzzy) {
        // The samples are transformed for the norm already.
        FuzzyOptions fuzzy;
        fuzzy.count = count;
        fuzzy.exponent = options.exponent;
        fuzzy.starts = std::max(1, options.starts / 4);
        fuzzy.seed = options.seed;
        fuzzy.tolerance = 1e-4;
        FuzzyResult result = fuzzy_c_means(sample, fuzzy);
        fit.labels = std::move(result.labels);
        fit.centres = std::move(result.centres);
        fit.within_ss = within_sum_of_squares(sample, fit.labels, count);
        fit.memberships.resize(index_rows.size() * clusters);
        for (std::size_t i = 0; i < index_rows.size(); ++i) {
            std::copy_n(
                result.memberships.begin() + static_cast<std::ptrdiff_t>(index_rows[i] * clusters),
                clusters, fit.memberships.begin() + static_cast<std::ptrdiff_t>(i * clusters));
        }
        return fit;
    }
    KMeansOptions k;
    k.count = count;
    k.starts = options.starts;
    k.seed = options.seed;
    k.parallel = options.parallel;
    k.exchange = options.exchange;
    k.max_iterations = options.max_iterations;
    KMeansResult result = kmeans_in_order(sample, k);
    fit.labels = std::move(result.labels);
    fit.centres = std::move(result.centres);
    fit.within_ss = result.within_ss;
    fit.memberships = memberships_for_centres(index_sample, fit.centres, options.exponent);
    return fit;
}

// Positions 0, 1, ... evenly spread over n, at most `size` of them.
std::vector<std::uint32_t> spread_rows(std::size_t n, std::size_t size) {
    std::vector<std::uint32_t> rows(std::min(n, size));
    for (std::size_t i = 0; i < rows.size(); ++i) {
        rows[i] = static_cast<std::uint32_t>(i * n / rows.size());
    }
    return rows;
}

constexpr std::array<const char*, 5> vote_names = {"FPI", "entropy", "Calinski-Harabasz",
                                                   "silhouette", "variance gain"};

// The count each index votes for, as positions in the curve. Ties go to fewer zones.
std::array<std::size_t, 5> vote(std::vector<CountIndices>& curve, double min_gain) {
    std::array<std::size_t, 5> winners{};
    for (std::size_t i = 1; i < curve.size(); ++i) {
        if (curve[i].fpi < curve[winners[0]].fpi) winners[0] = i;
        if (curve[i].entropy_log < curve[winners[1]].entropy_log) winners[1] = i;
        if (curve[i].calinski_harabasz > curve[winners[2]].calinski_harabasz) winners[2] = i;
        if (curve[i].silhouette > curve[winners[3]].silhouette) winners[3] = i;
    }
    while (winners[4] + 1 < curve.size() &&
           curve[winners[4] + 1].relative_variance - curve[winners[4]].relative_variance >=
               min_gain) {
        ++winners[4];
    }
    for (const std::size_t winner : winners) ++curve[winner].votes;
    return winners;
}

struct Work {
    const PreparedFeatures& prepared;
    const Mask& field;
    const ZoningOptions& options;
    Samples transformed;              // set where clusters are made in another space than z-scores
    const Samples* space = nullptr;   // what clusters are made in
    std::vector<std::uint32_t> rows;  // of the fitted sample
    double total_ss = 0.0;            // of prepared.samples
};

// Labels of the finished zones of one count.
Labels finished(const Work& work, const Fit& fit, int count) {
    std::vector<std::uint8_t> labels;
    if (work.rows.size() == work.space->count) {
        labels.resize(work.space->count);
        for (std::size_t i = 0; i < work.rows.size(); ++i) labels[work.rows[i]] = fit.labels[i];
    } else {
        const int steps =
            work.options.method == Method::kmeans ? work.options.refine_iterations : 0;
        labels =
            refine_centres(*work.space, fit.centres, count, steps, work.options.parallel).labels;
    }
    Labels map(work.field.frame, 0);
    for (std::size_t i = 0; i < labels.size(); ++i) {
        map[work.prepared.cells[i]] = static_cast<std::int16_t>(labels[i] + 1);
    }
    return clean_up(fill_from_nearest(map, work.field), work.options.cleanup);
}

double variance_held_by(const Work& work, const Labels& labels) {
    std::vector<std::uint8_t> zone(work.prepared.cells.size());
    for (std::size_t i = 0; i < zone.size(); ++i) {
        zone[i] = static_cast<std::uint8_t>(labels[work.prepared.cells[i]] - 1);
    }
    const double within = within_sum_of_squares(work.prepared.samples, zone, zone_count(labels));
    return relative_variance(work.total_ss, within);
}

int occupied_zones(const Labels& labels) {
    std::vector<std::uint8_t> seen(static_cast<std::size_t>(zone_count(labels)) + 1, 0);
    for (const std::int16_t label : labels.values) seen[static_cast<std::size_t>(label)] = 1;
    seen[0] = 0;
    return static_cast<int>(std::count(seen.begin(), seen.end(), std::uint8_t{1}));
}

}  // namespace

ZoningOptions default_options() {
    ZoningOptions options;
    options.exponent = assumption("fuzzy_exponent").value;
    options.prepare.log_skewness = assumption("log_skewness").value;
    options.cleanup.majority_passes = static_cast<int>(assumption("majority_passes").value);
    options.cleanup.min_area_ha = assumption("min_area_ha").value;
    options.min_relative_variance = assumption("min_relative_variance").value;
    options.min_variance_gain = assumption("min_variance_gain").value;
    return options;
}

ZoningOptions quick_options() {
    ZoningOptions options = default_options();
    options.starts = 3;
    options.fit_sample = 400;
    options.index_sample = 150;
    options.silhouette_sample = 100;
    options.refine_iterations = 10;
    options.max_iterations = 20;
    options.exchange = false;
    options.parallel = false;
    return options;
}

ZoningResult make_zones(std::span<const Feature> features, const Mask& field,
                        const ZoningOptions& options) {
    check(options);
    ZoningResult result;
    result.confidence = options.count ? assumption("min_area_ha").confidence
                                      : assumption("min_relative_variance").confidence;
    PreparedFeatures prepared = prepare_features(features, field, options.prepare);
    result.features = prepared.features;
    result.warnings = std::move(prepared.warnings);
    result.dropped_cells = prepared.dropped_cells;
    const ScoreView score = score_of(features, result.features, options.need, field);
    std::optional<Mask> complete;
    if (prepared.dropped_cells > 0) {
        complete = Mask(field.frame, 0);
        for (const std::uint32_t cell : prepared.cells) (*complete)[cell] = 1;
    }
    const Mask* complete_cells = complete ? &*complete : nullptr;

    const auto settle_for_one = [&](const std::string& reason) {
        result.labels = one_zone(field);
        result.reason = reason;
        result.relative_variance = 0.0;
        describe(result, features, complete_cells, score);
        return std::move(result);
    };
    if (prepared.columns.empty()) {
        return settle_for_one("one zone: no feature varies within the field");
    }
    const double field_ha = static_cast<double>(prepared.field_cells) * field.frame.cell_area_ha();
    if (field_ha < 2.0 * options.cleanup.min_area_ha && options.count.value_or(2) > 1) {
        result.warnings.push_back("the field has " + fixed(field_ha, 2) +
                                  " ha, too little for two zones of at least " +
                                  fixed(options.cleanup.min_area_ha, 2) + " ha");
        return settle_for_one("one zone: the field is too small to be divided");
    }
    if (options.count == 1) return settle_for_one("one zone: as asked for");
    if (!options.count && options.max_count == 1) {
        return settle_for_one("one zone: no more were allowed");
    }

    Work work{prepared, field, options, {}, &prepared.samples, {}, 0.0};
    work.total_ss = total_sum_of_squares(prepared.samples);
    if (options.pca_share) {
        PrincipalComponents pc = principal_components(prepared.samples, *options.pca_share);
        result.pca_shares = std::move(pc.shares);
        work.transformed = std::move(pc.scores);
        work.space = &work.transformed;
    }
    if (options.method == Method::fuzzy && options.norm != Norm::euclidean) {
        work.transformed = transform_for_norm(*work.space, options.norm);
        work.space = &work.transformed;
    }
    const std::vector<std::uint32_t> order = canonical_order(*work.space);
    const auto wanted = static_cast<std::size_t>(
        options.count ? std::max(*options.count, options.max_count) : options.max_count);
    work.rows = systematic_sample(order, options.fit_sample, options.seed);
    const std::size_t distinct = distinct_points(*work.space, work.rows, wanted);
    int count_asked = options.count.value_or(0);
    if (static_cast<std::size_t>(count_asked) > distinct) {
        count_asked = static_cast<int>(distinct);
        result.warnings.push_back(std::to_string(*options.count) +
                                  " zones were asked for, but the cells of the field have only " +
                                  std::to_string(distinct) +
                                  " different values: " + zones_text(count_asked) + " tried");
    }
    const int largest = static_cast<int>(
        std::min<std::size_t>(static_cast<std::size_t>(options.max_count), distinct));
    if (distinct < 2) return settle_for_one("one zone: all cells are alike");

    // Every count that is looked at, for the curve; the one asked for may lie beyond max_count.
    const Samples sample = select(*work.space, work.rows);
    const double sample_total = total_sum_of_squares(sample);
    const std::vector<std::uint32_t> index_rows = spread_rows(sample.count, options.index_sample);
    const std::vector<std::uint32_t> pair_rows =
        spread_rows(sample.count, options.silhouette_sample);
    const Samples index_sample = select(sample, index_rows);
    const Samples pair_sample = select(sample, pair_rows);
    std::vector<Fit> fits;
    std::vector<std::uint8_t> pair_labels(pair_rows.size());
    std::vector<int> counts;
    for (int k = 2; k <= largest; ++k) counts.push_back(k);
    if (count_asked > largest) counts.push_back(count_asked);
    for (const int k : counts) {
        Fit fit = fit_count(sample, index_sample, index_rows, k, options);
        CountIndices indices;
        indices.count = k;
        indices.within_ss = fit.within_ss;
        indices.relative_variance = relative_variance(sample_total, fit.within_ss);
        indices.fpi = fuzziness_performance(fit.memberships, k);
        const double entropy = partition_entropy(fit.memberships, k);
        indices.entropy_log = entropy / std::log(static_cast<double>(k));
        // Grows without bound as the count nears the number of cells.
        const double n = static_cast<double>(index_rows.size());
        indices.entropy_degrees = n > k ? entropy / (1.0 - k / n) : 0.0;
        indices.calinski_harabasz =
            sample.count > static_cast<std::size_t>(k)
                ? calinski_harabasz(sample_total, fit.within_ss, sample.count, k)
                : 0.0;
        for (std::size_t i = 0; i < pair_rows.size(); ++i) {
            pair_labels[i] = fit.labels[pair_rows[i]];
        }
        indices.silhouette = mean_silhouette(pair_sample, pair_labels, k);
        result.curve.push_back(indices);
        fits.push_back(std::move(fit));
    }
    const std::array<std::size_t, 5> winners = vote(result.curve, options.min_variance_gain);

    if (options.count) {
        const std::size_t at = static_cast<std::size_t>(
            std::find(counts.begin(), counts.end(), count_asked) - counts.begin());
        result.labels = finished(work, fits[at], count_asked);
        result.reason = zones_text(*options.count) + " asked for";
    } else {
        std::vector<std::size_t> candidates;
        for (std::size_t i = 0; i < result.curve.size(); ++i) {
            if (result.curve[i].votes > 0) candidates.push_back(i);
        }
        std::stable_sort(candidates.begin(), candidates.end(), [&](std::size_t a, std::size_t b) {
            return result.curve[a].votes > result.curve[b].votes;
        });
        double best_held = 0.0;
        for (const std::size_t at : candidates) {
            Labels labels = finished(work, fits[at], counts[at]);
            const int kept = occupied_zones(labels);
            const double held = kept > 1 ? variance_held_by(work, labels) : 0.0;
            best_held = std::max(best_held, held);
            if (kept < 2 || held < options.min_relative_variance) continue;
            std::string names;
            for (std::size_t v = 0; v < winners.size(); ++v) {
                if (winners[v] != at) continue;
                names += (names.empty() ? "" : ", ") + std::string(vote_names[v]);
            }
            result.labels = std::move(labels);
            result.reason = zones_text(counts[at]) + ": chosen by " +
                            std::to_string(result.curve[at].votes) + " of 5 indices (" + names +
                            "); the finished zones hold " + percent(held) +
                            " of the variance of the features";
            if (at != candidates.front()) {
                result.reason += "; " + zones_text(counts[candidates.front()]) +
                                 ", with more votes, hold too little of it";
            }
            break;
        }
        if (result.labels.size() == 0) {
            return settle_for_one(
                "one zone: divided, the field's zones would hold at most " + percent(best_held) +
                " of the variance of the features after clean-up, less than " +
                percent(options.min_relative_variance) + "; a uniform rate is honest");
        }
    }

    result.labels =
        number_by_score(result.labels, mean_scores(result.labels, score.score, score.valid));
    describe(result, features, complete_cells, score);
    result.relative_variance = variance_held_by(work, result.labels);
    const int tried = options.count ? count_asked : 0;
    if (options.count && result.count < tried) {
        result.warnings.push_back(zones_text(tried) + " were made, " + zones_text(result.count) +
                                  " are left after clean-up");
    }
    if (options.count && result.relative_variance < options.min_relative_variance) {
        result.warnings.push_back(
            "the zones hold only " + percent(result.relative_variance) +
            " of the variance of the features: a uniform rate may do as well");
    }
    return result;
}

ZoningResult describe_zones(const Labels& labels, std::span<const Feature> features,
                            const Mask& field, const std::optional<Need>& need) {
    if (labels.frame != field.frame || labels.size() != field.size()) {
        throw Error(ErrorKind::data, "zones and field are on different grids");
    }
    for (const Feature& feature : features) {
        if (feature.values.frame != field.frame || feature.valid.frame != field.frame) {
            throw Error(ErrorKind::data, "the feature is on another grid than the field",
                        {.layer = feature.name});
        }
    }
    std::size_t without = 0;
    std::size_t outside = 0;
    for (std::size_t i = 0; i < labels.size(); ++i) {
        without += field[i] && labels[i] <= 0;
        outside += !field[i] && labels[i] != 0;
    }
    if (without > 0) {
        throw Error(ErrorKind::data, std::to_string(without) + " cells of the field lie in no zone",
                    {.hint = "Draw zones that cover the whole field."});
    }
    if (outside > 0) {
        throw Error(ErrorKind::data,
                    std::to_string(outside) + " cells outside the field have a zone");
    }
    ZoningResult result;
    result.labels = labels;
    result.reason = "zones as given";
    result.confidence = Confidence::verified;
    for (const Feature& feature : features) {
        FeatureUse use;
        use.name = feature.name;
        use.weight = feature.weight;
        use.used = feature.weight > 0.0;
        if (!use.used) use.excluded_because = "its weight is 0";
        for (std::size_t i = 0; i < field.size(); ++i)
            use.missing_cells += field[i] && !feature.valid[i];
        result.features.push_back(std::move(use));
    }
    describe(result, features, nullptr, score_of(features, result.features, need, field));
    double weights = 0.0;
    for (const FeatureUse& use : result.features) {
        if (!use.used) continue;
        for (const FeatureVariance& held : result.variance) {
            if (held.name != use.name) continue;
            result.relative_variance += use.weight * held.relative_variance;
            weights += use.weight;
        }
    }
    if (weights > 0.0) result.relative_variance /= weights;
    return result;
}

}  // namespace catchfield::zoning
