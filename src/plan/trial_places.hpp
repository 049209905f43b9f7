// SPDX-License-Identifier: MIT
// Trials as tables or as map layers, and the zone each plot lies in.
#pragma once

#include "base/shapes.hpp"
#include "base/table.hpp"
#include "gis/crs.hpp"

#include <optional>
#include <string>
#include <vector>

namespace catchfield::plan {

/// A trial's plots, one a row, with their places where they have any.
struct TrialTable {
    Table table;
    std::vector<std::optional<Point>> places;  ///< in `crs`, one a row; empty where none are known
    gis::Crs crs;
};

/// Reads a table (.csv, .txt, .tsv, .dat, .tab; places from columns lon and lat, or longitude and
/// latitude, in WGS 84) or any vector layer (points; strips as lines or polygons, whose middle
/// counts). Throws Error(input), Error(data) as its readers do.
TrialTable read_trial(const std::string& path);

/// Field and zone of one plot, "" where it lies in none.
struct PlotZone {
    std::string field, zone;
};

/// Zones at the plots' places. zones: a plan folder (field and zone number) or a polygon layer with
/// a column `zone` (else numbered from 1). One entry a row. Throws Error(usage) where the plots
/// have no places; Error(input), Error(data) for the layer.
std::vector<PlotZone> zones_of_plots(const TrialTable& trial, const std::string& zones);

}  // namespace catchfield::plan
