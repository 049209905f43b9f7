// SPDX-License-Identifier: MIT
// Layers that zones are made from: checked, completed cell by cell, logged where skewed,
// standardised.
#include "zoning/features.hpp"

#include "base/error.hpp"
#include "base/text.hpp"

#include <algorithm>
#include <cmath>
#include <numeric>

namespace catchfield::zoning {

namespace {

struct Moments {
    double base = 0.0;    // smallest value
    double offset = 0.0;  // mean - base
    double sd = 0.0;      // n - 1
    double skewness = 0.0;
};

// Relative to the smallest value, so that a constant shift changes nothing but the base.
Moments moments(const std::vector<double>& x) {
    Moments m;
    const double n = static_cast<double>(x.size());
    const double base = *std::min_element(x.begin(), x.end());
    double sum = 0.0;
    for (const double v : x) sum += v - base;
    const double mean = sum / n;
    double m2 = 0.0;
    double m3 = 0.0;
    for (const double v : x) {
        const double d = (v - base) - mean;
        m2 += d * d;
        m3 += d * d * d;
    }
    m.base = base;
    m.offset = mean;
    m.sd = x.size() > 1 ? std::sqrt(m2 / (n - 1.0)) : 0.0;
    if (m2 > 0.0) m.skewness = (m3 / n) / std::pow(m2 / n, 1.5);
    return m;
}

void check_feature(const Feature& feature, const Mask& field) {
    const ErrorContext where{.layer = feature.name};
    if (feature.values.frame != field.frame || feature.valid.frame != field.frame ||
        feature.values.size() != field.size() || feature.valid.size() != field.size()) {
        throw Error(ErrorKind::data, "the feature is on another grid than the field", where);
    }
    if (!(feature.weight >= 0.0) || !std::isfinite(feature.weight)) {
        throw Error(ErrorKind::data, "the weight of a feature must be 0 or more", where);
    }
}

std::string percent(std::size_t part, std::size_t whole) {
    return fixed(100.0 * static_cast<double>(part) / static_cast<double>(whole), 1) + " %";
}

// A float carries about seven digits; a spread below that is rounding.
bool is_constant(double low, double high) {
    return high - low <= 1e-6 * std::max(std::abs(low), std::abs(high));
}

}  // namespace

PreparedFeatures prepare_features(std::span<const Feature> features, const Mask& field,
                                  const PrepareOptions& options) {
    PreparedFeatures out;
    std::vector<std::uint32_t> field_cells;
    for (std::size_t i = 0; i < field.size(); ++i) {
        if (field[i]) field_cells.push_back(static_cast<std::uint32_t>(i));
    }
    out.field_cells = field_cells.size();
    if (field_cells.empty()) {
        throw Error(ErrorKind::data, "the field has no cell on the grid",
                    {.hint = "Use smaller cells or check the boundary."});
    }

    out.features.resize(features.size());
    const auto exclude = [&](std::size_t f, const std::string& reason, bool warn) {
        out.features[f].used = false;
        out.features[f].excluded_because = reason;
        if (warn) {
            out.warnings.push_back("feature '" + features[f].name + "' is left out: " + reason);
        }
    };
    for (std::size_t f = 0; f < features.size(); ++f) {
        const Feature& feature = features[f];
        check_feature(feature, field);
        for (std::size_t g = 0; g < f; ++g) {
            if (features[g].name == feature.name) {
                throw Error(ErrorKind::data, "two features have the same name",
                            {.layer = feature.name});
            }
        }
        FeatureUse& use = out.features[f];
        use.name = feature.name;
        use.weight = feature.weight;
        use.used = true;
        float low = 0.0F;
        float high = 0.0F;
        bool any = false;
        for (const std::uint32_t cell : field_cells) {
            if (!feature.valid[cell]) {
                ++use.missing_cells;
                continue;
            }
            const float v = feature.values[cell];
            if (!std::isfinite(v)) {
                throw Error(
                    ErrorKind::data, "a cell said to have a value holds no finite number",
                    {.layer = feature.name, .hint = "Mark cells without a value as missing."});
            }
            low = any ? std::min(low, v) : v;
            high = any ? std::max(high, v) : v;
            any = true;
        }
        if (feature.weight == 0.0) {
            exclude(f, "its weight is 0", false);
        } else if (!any) {
            exclude(f, "it has no value anywhere in the field", true);
        } else if (is_constant(static_cast<double>(low), static_cast<double>(high))) {
            exclude(f, "it is the same everywhere in the field", true);
        }
    }

    std::vector<std::size_t> by_name(features.size());
    std::iota(by_name.begin(), by_name.end(), std::size_t{0});
    std::sort(by_name.begin(), by_name.end(),
              [&](std::size_t a, std::size_t b) { return features[a].name < features[b].name; });

    // A feature can turn out constant on the cells that have all the others: once more without it.
    for (bool again = true; again;) {
        again = false;
        out.columns.clear();
        for (const std::size_t f : by_name) {
            if (out.features[f].used) out.columns.push_back(f);
        }
        if (out.columns.empty()) {
            out.warnings.push_back("no feature is left to make zones from");
            out.cells.clear();
            out.dropped_cells = 0;
            return out;
        }
        out.cells.clear();
        for (const std::uint32_t cell : field_cells) {
            bool complete = true;
            for (const std::size_t f : out.columns) {
                complete = complete && features[f].valid[cell] != 0;
            }
            if (complete) out.cells.push_back(cell);
        }
        if (out.cells.empty()) {
            std::string names;
            for (const std::size_t f : out.columns) {
                if (out.features[f].missing_cells == 0) continue;
                names += (names.empty() ? "'" : ", '") + features[f].name + "'";
            }
            throw Error(ErrorKind::data,
                        "no cell of the field has all features; these miss cells: " + names,
                        {.hint = "Leave one of them out or fill it before."});
        }
        for (const std::size_t f : out.columns) {
            const Raster<float>& values = features[f].values;
            float low = values[out.cells.front()];
            float high = low;
            for (const std::uint32_t cell : out.cells) {
                low = std::min(low, values[cell]);
                high = std::max(high, values[cell]);
            }
            if (!is_constant(static_cast<double>(low), static_cast<double>(high))) continue;
            exclude(f, "it is the same on all cells that have every feature", true);
            again = true;
        }
    }

    out.dropped_cells = field_cells.size() - out.cells.size();
    for (std::size_t f = 0; f < features.size(); ++f) {
        const FeatureUse& use = out.features[f];
        if (!use.used || use.missing_cells == 0) continue;
        out.warnings.push_back("feature '" + use.name + "' has no value on " +
                               std::to_string(use.missing_cells) + " cells of the field (" +
                               percent(use.missing_cells, out.field_cells) + ")");
    }
    if (out.dropped_cells > 0) {
        out.warnings.push_back(std::to_string(out.dropped_cells) +
                               " cells lack a feature and were not used to make zones (" +
                               percent(out.dropped_cells, out.field_cells) + " of the field)");
    }

    out.samples = Samples(out.cells.size(), out.columns.size());
    std::vector<double> x(out.cells.size());
    std::vector<double> logs;
    for (std::size_t d = 0; d < out.columns.size(); ++d) {
        const std::size_t f = out.columns[d];
        FeatureUse& use = out.features[f];
        const Raster<float>& values = features[f].values;
        for (std::size_t i = 0; i < x.size(); ++i) {
            x[i] = static_cast<double>(values[out.cells[i]]);
        }
        Moments m = moments(x);
        use.skewness = m.skewness;
        if (features[f].ratio_scale && m.skewness > options.log_skewness) {
            if (*std::min_element(x.begin(), x.end()) > 0.0) {
                logs.resize(x.size());
                for (std::size_t i = 0; i < x.size(); ++i) logs[i] = std::log(x[i]);
                const Moments log_moments = moments(logs);
                if (std::abs(log_moments.skewness) < std::abs(m.skewness)) {
                    use.logged = true;
                    m = log_moments;
                    x.swap(logs);
                }
            } else {
                out.warnings.push_back("feature '" + use.name +
                                       "' is skewed but holds zeros or negative values, so no "
                                       "logarithm was taken");
            }
        }
        use.mean = m.base + m.offset;
        use.sd = m.sd;
        const double factor = std::sqrt(features[f].weight) / m.sd;
        double* z = out.samples.column(d);
        for (std::size_t i = 0; i < x.size(); ++i) z[i] = ((x[i] - m.base) - m.offset) * factor;
    }
    return out;
}

}  // namespace catchfield::zoning
