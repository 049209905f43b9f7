// SPDX-License-Identifier: MIT
// Nitrate and organic matter from soil tests: what lies in the ground, what it will release, and
// which figure stands for a zone.
#pragma once

#include "base/confidence.hpp"
#include "base/shapes.hpp"

#include <optional>
#include <string>
#include <vector>

namespace catchfield::nitrogen {

/// Bulk density, g/cm3, at which the field rule N[lb/ac] = 0.3 x ppm x depth[in] is exact (1.324):
/// 2 lb/ac for every ppm in a plough layer of 6 2/3 in, which weighs 2,000,000 lb an acre.
inline constexpr double field_rule_density_g_cm3 = 0.3 * 1.12085115 / 0.254;

/// Nitrate-N of a layer, kg/ha = 0.1 x ppm x density x depth (exact). nitrate_n_ppm: mg NO3-N per
/// kg of dry soil; depth_cm: thickness; bulk_density_g_cm3: dry. Check values N2, N3.
double nitrate_n_kg_ha(double nitrate_n_ppm, double depth_cm,
                       double bulk_density_g_cm3 = field_rule_density_g_cm3);

/// ppm of nitrate-N (NO3-N) from ppm of nitrate (NO3): x 14.007 / 62.005.
double nitrate_n_from_nitrate(double nitrate_ppm);

/// One layer of one sample.
struct NitrateLayer {
    double top_cm = 0.0;
    double bottom_cm = 0.0;
    double nitrate_n_ppm = 0.0;                  ///< mg NO3-N / kg
    std::optional<double> bulk_density_g_cm3{};  ///< field rule where there is none
};

/// Layers of one sample taken together.
struct NitrateProfile {
    double depth_cm = 0.0;    ///< sum of the layers' thickness
    double mean_ppm = 0.0;    ///< depth-weighted, mg NO3-N / kg
    double n_kg_ha = 0.0;     ///< nitrate-N in the sampled layers
    bool field_rule = false;  ///< a layer had no density, the field rule stood in
    std::vector<std::string> warnings;
};

/// Stacks the layers (any order). Depth-weighted, not a plain mean, as Nebraska Extension asks.
/// Throws Error(data): no layers, bottom not below top, layers that overlap, density outside
/// 0.5-2.2 g/cm3, nitrate below 0 or above 500 ppm. Warns: above 100 ppm (nitrate in place of
/// nitrate-N, or kg/ha in place of ppm?), gaps between layers, no sample of the surface, less than
/// 60 cm in all.
NitrateProfile stack_layers(std::vector<NitrateLayer> layers);

/// Nitrate-N from the surface to `depth_cm`, kg/ha. A layer that reaches deeper counts with the
/// part above (its nitrate taken as even), and layers that end above it stand for the rest by their
/// mean where they cover at least half of the depth; none otherwise, because nitrate falls off
/// quickly below the plough layer. Throws Error(data) as stack_layers does.
std::optional<double> nitrate_to_depth_kg_ha(const std::vector<NitrateLayer>& layers,
                                             double depth_cm);

/// Nitrogen that organic matter releases in a season, kg/ha: low, typical, high.
struct OrganicMatterSupply {
    double low_kg_ha = 0.0;
    double n_kg_ha = 0.0;
    double high_kg_ha = 0.0;
};

/// 20 lb/ac (range 10-40) for each percent of organic matter in the plough layer [memory: high;
/// arithmetic: 2,000,000 lb x 1 % x 5 % N x 2 % a year]. om_pct: 0-100, limited to 6 % because the
/// rule is not meant for organic soils [assumption]. lb_ac_per_pct: the method's own coefficient
/// where it has one. Throws Error(data) outside 0-100. Check value N34. Only for methods that do
/// not contain it (see Method::contains).
OrganicMatterSupply organic_matter_supply(double om_pct, double lb_ac_per_pct = 20.0);

/// A test value at a place, work grid coordinates in m.
struct TestPoint {
    Point at;
    double value = 0.0;
    int zone = 0;  ///< zone the point lies in, 0 for none
};

/// How a zone's test value was found.
enum class ZoneValueKind { zone_mean, interpolated, field_mean };

struct ZoneValue {
    double value = 0.0;
    double low = 0.0;   ///< value - standard error of the mean (zone mean) or - standard deviation
                        ///< of the points
    double high = 0.0;  ///< the same above
    ZoneValueKind kind = ZoneValueKind::field_mean;
    int points = 0;  ///< points in the zone
    std::vector<std::string> warnings;
};

/// A zone's value from the field's points: the mean of the zone's own points where it has at least
/// `enough` (3) of them [assumption]; else inverse-distance-squared from the field's points to the
/// zone's `centre` where the field has at least 3; else the field mean with a warning. Nothing
/// where there are no points. Values must be finite.
std::optional<ZoneValue> zone_value(const std::vector<TestPoint>& points, int zone, Point centre,
                                    int enough = 3);

}  // namespace catchfield::nitrogen
