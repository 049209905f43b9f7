// SPDX-License-Identifier: MIT
// What must not change zones: order of features and cells, threads, units, a shift of the DEM.
#include "grids.hpp"
#include "zoning/kmeans.hpp"
#include "zoning/zones.hpp"

#include <gtest/gtest.h>
#include <tbb/global_control.h>

#include <algorithm>

namespace catchfield::zoning {
namespace {

using testing::frame_of;
using testing::landscape;
using testing::odd_field;

struct Scene {
    GridFrame frame;
    Mask field;
    std::vector<Feature> features;
};

Scene scene(std::uint64_t seed, int side = 60) {
    Scene s;
    s.frame = frame_of(side, side + 7);
    s.field = odd_field(s.frame);
    s.features = landscape(s.frame, seed, 4);
    // Heights on a lattice of 1/64 m, so that shifts and powers of two are exact in a float.
    for (float& v : s.features[0].values.values) v = std::round(v * 64.0F) / 64.0F;
    return s;
}

class ZoneInvariance : public ::testing::TestWithParam<int> {
  protected:
    static ZoningOptions options() {
        ZoningOptions o = GetParam() == 0 ? default_options() : quick_options();
        if (GetParam() == 2) {
            o.method = Method::fuzzy;
            o.count = 4;
        }
        return o;
    }
};

TEST_P(ZoneInvariance, OrderOfFeatures) {
    for (std::uint64_t seed = 1; seed <= 5; ++seed) {
        Scene s = scene(seed);
        const ZoningResult before = make_zones(s.features, s.field, options());
        std::reverse(s.features.begin(), s.features.end());
        EXPECT_EQ(make_zones(s.features, s.field, options()).labels.values, before.labels.values);
        std::swap(s.features[0], s.features[2]);
        EXPECT_EQ(make_zones(s.features, s.field, options()).labels.values, before.labels.values);
    }
}

TEST_P(ZoneInvariance, UnitsAndShifts) {
    for (std::uint64_t seed = 1; seed <= 5; ++seed) {
        SCOPED_TRACE("seed " + std::to_string(seed));
        const Scene s = scene(seed);
        const ZoningResult before = make_zones(s.features, s.field, options());
        Scene shifted = s;
        for (float& v : shifted.features[0].values.values) v += 128.0F;
        EXPECT_EQ(make_zones(shifted.features, s.field, options()).labels.values,
                  before.labels.values);
        Scene scaled = s;
        for (float& v : scaled.features[1].values.values) v *= 0.25F;
        EXPECT_EQ(make_zones(scaled.features, s.field, options()).labels.values,
                  before.labels.values);
        // A factor that rounds, as feet to metres do: labels may differ only where a cell lies on
        // the line between two clusters to within that rounding. None does here.
        Scene metres = s;
        for (float& v : metres.features[1].values.values) v *= 0.3048F;
        EXPECT_EQ(make_zones(metres.features, s.field, options()).labels.values,
                  before.labels.values);
    }
}

INSTANTIATE_TEST_SUITE_P(Options, ZoneInvariance, ::testing::Values(0, 1, 2));

TEST(ZoneInvariances, Threads) {
    const Scene s = scene(11, 200);
    std::vector<std::int16_t> serial;
    std::vector<double> within;
    for (const std::size_t threads : {1U, 2U, 5U}) {
        tbb::global_control limit(tbb::global_control::max_allowed_parallelism, threads);
        ZoningOptions o = default_options();
        o.fit_sample = 4000;
        const ZoningResult result = make_zones(s.features, s.field, o);
        o.parallel = false;
        const ZoningResult plain = make_zones(s.features, s.field, o);
        EXPECT_EQ(result.labels.values, plain.labels.values);
        if (serial.empty()) {
            serial = result.labels.values;
            for (const CountIndices& i : result.curve) within.push_back(i.within_ss);
        }
        EXPECT_EQ(result.labels.values, serial);
        for (std::size_t i = 0; i < within.size(); ++i) {
            EXPECT_EQ(result.curve[i].within_ss, within[i]);  // to the bit
        }
    }
}

// Points listed in another order get the same labels; so does a field seen in a mirror.
TEST(ZoneInvariances, OrderOfCells) {
    for (std::uint64_t seed = 1; seed <= 5; ++seed) {
        SCOPED_TRACE("seed " + std::to_string(seed));
        Random random(seed);
        Samples x(500, 3);
        for (double& v : x.values) v = random.normal();
        std::vector<std::uint32_t> order(x.count);
        for (std::size_t i = 0; i < order.size(); ++i) order[i] = static_cast<std::uint32_t>(i);
        random.shuffle(order);
        const Samples shuffled = select(x, order);
        const auto a = kmeans(x, {.count = 4, .starts = 5, .seed = seed});
        const auto b = kmeans(shuffled, {.count = 4, .starts = 5, .seed = seed});
        const auto fa = fuzzy_c_means(x, {.count = 3, .starts = 2, .seed = seed});
        const auto fb = fuzzy_c_means(shuffled, {.count = 3, .starts = 2, .seed = seed});
        for (std::size_t i = 0; i < order.size(); ++i) {
            ASSERT_EQ(b.labels[i], a.labels[order[i]]);
            ASSERT_EQ(fb.labels[i], fa.labels[order[i]]);
        }

        const Scene s = scene(seed);
        const auto mirrored = [&](const auto& raster) {
            auto out = raster;
            for (int r = 0; r < s.frame.rows; ++r) {
                for (int c = 0; c < s.frame.cols; ++c) {
                    out.at(r, c) = raster.at(s.frame.rows - 1 - r, s.frame.cols - 1 - c);
                }
            }
            return out;
        };
        Scene m = s;
        m.field = mirrored(s.field);
        for (Feature& feature : m.features) {
            feature.values = mirrored(feature.values);
            feature.valid = mirrored(feature.valid);
        }
        EXPECT_EQ(make_zones(m.features, m.field, default_options()).labels.values,
                  mirrored(make_zones(s.features, s.field, default_options()).labels).values);
    }
}

TEST(ZoneInvariances, SeedAloneDoesNotDecide) {
    const Scene s = scene(21);
    ZoningOptions o = default_options();
    const ZoningResult first = make_zones(s.features, s.field, o);
    o.seed = 77;
    const ZoningResult second = make_zones(s.features, s.field, o);
    EXPECT_EQ(first.count, second.count);
    EXPECT_EQ(first.labels.values, second.labels.values);
}

}  // namespace
}  // namespace catchfield::zoning
