// SPDX-License-Identifier: MIT
// The as-applied check: logged rates against the prescription, zone by zone.
#pragma once

#include "plan/export.hpp"

#include <string>
#include <vector>

namespace catchfield::plan {

struct CompareRequest {
    ExportRequest prescription;  ///< plan, product, unit, fields, limits: what was to be applied
    std::string log;             ///< points: GeoPackage, shapefile, GeoJSON, or CSV with lon, lat
    std::string layer{};
    std::string rate_column = "rate";
    std::string log_crs{};        ///< only where the log states none; "" EPSG:4326 for CSV
    double tolerance_pct = 10.0;  ///< of the prescribed rate
};

/// One zone of one field. Areas are those of the cells that hold a logged point; a cell has the
/// mean of its points, so that slow driving or overlap does not weigh more.
struct ZoneComparison {
    std::string field;
    std::string zone;
    double prescribed = 0.0;  ///< in the unit
    std::size_t points = 0;
    double mean = 0.0;        ///< of the cells
    double spread = 0.0;      ///< standard deviation of the cells
    double area_ha = 0.0;     ///< of the zone
    double logged_pct = 0.0;  ///< share of the zone's area with a logged point
    double off_pct = 0.0;     ///< share of the logged area off by more than the tolerance
};

struct Comparison {
    std::string unit;
    double tolerance_pct = 0.0;
    std::vector<ZoneComparison> zones;
    std::size_t outside = 0;   ///< points in no zone
    std::size_t unusable = 0;  ///< rows without a number or a place
    std::vector<std::string> warnings;
};

/// Throws Error(input) or Error(data) for a log that cannot be read, Error(usage) for options that
/// do not fit. A cell off by more than tolerance_pct of the prescribed rate counts as off; where
/// nothing was prescribed, any rate above zero does.
Comparison compare_applied(const CompareRequest& request);

std::string comparison_text(const Comparison& comparison);
std::string comparison_json(const Comparison& comparison);

}  // namespace catchfield::plan
