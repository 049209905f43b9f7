// SPDX-License-Identifier: MIT
// A field cut into management zones, with their outlines and the exact share of every cell.
#pragma once

#include "geometry/cells.hpp"
#include "geometry/outlines.hpp"
#include "plan/ground.hpp"
#include "plan/inputs.hpp"
#include "zoning/zones.hpp"

#include <vector>

namespace catchfield::plan {

struct FieldZones {
    zoning::ZoningResult zoning;
    std::vector<geometry::ZoneOutline> outlines;        ///< by zone number, 1 first
    std::vector<std::vector<geometry::CellRun>> cells;  ///< per zone, exact shares
    std::vector<std::string> warnings;
};

/// Throws Error(usage) where zones.features names what is neither built in nor a layer of the job.
void require_known_features(const Job& job);

/// The layers that zones may be made from, by the job's names. Throws Error(usage) for a name that
/// is none.
std::vector<zoning::Feature> zone_features(const Inputs& inputs, const Ground& ground,
                                           std::vector<std::string>& warnings);

/// Clusters, or takes the drawn zones; outlines cover the boundary exactly.
FieldZones make_field_zones(const Inputs& inputs, const FieldBoundary& field, const Ground& ground);

/// Mean of a layer over a zone, cells weighted by their share; nothing where no cell has a value.
struct ZoneMean {
    double sum = 0.0;
    double weight = 0.0;
    void add(double value, double share) {
        sum += value * share;
        weight += share;
    }
    std::optional<double> value() const {
        return weight > 0.0 ? std::optional(sum / weight) : std::nullopt;
    }
};

}  // namespace catchfield::plan
