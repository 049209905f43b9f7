// SPDX-License-Identifier: MIT
// Flooding and routing on the working grid. Internal; what they do is said in flow.hpp.
#pragma once

#include "terrain/flow.hpp"
#include "terrain/ground.hpp"

#include <cstdint>
#include <vector>

namespace catchfield::terrain {

/// Fills the depressions of the domain in place and leaves in every filled or level cell the
/// neighbour that flooded it.
void flood(Ground& ground);

/// Routed flow, one double a cell. multiple: area that leaves the cell, divided by the sum of its
/// weights (so that a lower neighbour's share is the weight times this); d_infinity: area that
/// leaves.
struct Flow {
    Routing routing = Routing::multiple;
    std::vector<double> value;
    double domain_m2 = 0.0;
    double outflow_m2 = 0.0;
};

/// Needs a flooded ground.
Flow route(Ground& ground, Routing routing);

/// Area at the inlet of a cell of the domain, own cell excluded, m2.
double inflow_m2(const Ground& ground, const Flow& flow, std::size_t p);

}  // namespace catchfield::terrain
