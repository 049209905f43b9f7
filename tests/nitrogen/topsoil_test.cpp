// SPDX-License-Identifier: MIT
// Nitrate of the topsoil out of a sample's layers.
#include "base/error.hpp"
#include "nitrogen/soil_test.hpp"

#include <gtest/gtest.h>

namespace catchfield::nitrogen {
namespace {

// Amounts by N = 0.1 x ppm x density x depth, which is exact.
TEST(TopsoilNitrate, TakesThePartAbove) {
    const std::vector<NitrateLayer> two = {{0, 30, 10.0, 1.3}, {30, 60, 6.0, 1.4}};
    EXPECT_NEAR(*nitrate_to_depth_kg_ha(two, 30.0), 0.1 * 10.0 * 1.3 * 30.0, 1e-9);
    EXPECT_NEAR(*nitrate_to_depth_kg_ha(two, 60.0), stack_layers(two).n_kg_ha, 1e-9);
    const std::vector<NitrateLayer> one = {{0, 60, 8.0, 1.3}};
    EXPECT_NEAR(*nitrate_to_depth_kg_ha(one, 30.0), 0.1 * 8.0 * 1.3 * 30.0, 1e-9);
}

TEST(TopsoilNitrate, ShallowSamplesStandForTheRestFromHalfOn) {
    EXPECT_NEAR(*nitrate_to_depth_kg_ha({{0, 20, 10.0, 1.3}}, 30.0), 0.1 * 10.0 * 1.3 * 30.0, 1e-9);
    EXPECT_FALSE(nitrate_to_depth_kg_ha({{0, 10, 10.0, 1.3}}, 30.0));
    EXPECT_FALSE(nitrate_to_depth_kg_ha({{30, 60, 10.0, 1.3}}, 30.0));
    EXPECT_THROW(nitrate_to_depth_kg_ha({}, 30.0), Error);
}

}  // namespace
}  // namespace catchfield::nitrogen
