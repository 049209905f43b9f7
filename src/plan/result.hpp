// SPDX-License-Identifier: MIT
// What a field's plan holds: plain values from which every output is written.
#pragma once

#include "base/raster.hpp"
#include "base/shapes.hpp"
#include "compaction/advice.hpp"
#include "compaction/interpolation.hpp"
#include "compaction/penetrometer.hpp"
#include "cover/choice.hpp"
#include "erosion/soil_loss.hpp"
#include "erosion/uncertainty.hpp"
#include "erosion/wind.hpp"
#include "gis/crs.hpp"
#include "nitrogen/budget.hpp"
#include "nitrogen/leaching.hpp"
#include "plan/cover_book.hpp"
#include "zoning/zones.hpp"

#include <map>
#include <memory>
#include <optional>
#include <string>
#include <vector>

namespace catchfield::plan {

enum class FieldStatus { done, partly, skipped };
/// "done", "partly covered", "skipped".
std::string field_status_name(FieldStatus status);

/// One candidate cover in one zone.
struct CoverOption {
    std::size_t candidate = 0;  ///< index in CoverBook::candidates()
    std::shared_ptr<const CoverCase> with;
    cover::Score score;
    bool taken = false;
    double soil_loss_mg_ha = 0.0;
    double erosion_cut = 0.0;  ///< share of present soil loss, 0 to 1 (negative where it adds)
    nitrogen::CoverCredit credit;
};

/// Shares of a zone's area.
struct Coverage {
    double mapped = 0.0;   ///< under a soil polygon
    double filled = 0.0;   ///< values of the nearest polygon
    double without = 0.0;  ///< no soil values at all
    double no_terrain = 0.0;
};

/// What the soil map says of a dense layer.
struct SoilMapLayer {
    bool known = false;  ///< the map has densities
    std::optional<double> top_cm, thickness_cm;
    std::string text;  ///< figures and nature in words
    Confidence confidence = Confidence::assumption;
};

struct ZoneResult {
    int zone = 0;
    MultiPolygon shape;
    double area_ha = 0.0;
    std::size_t vertices = 0;

    double slope_pct = 0.0;
    double ls = 0.0;
    double slope_length_m = 0.0;  ///< length whose L and the zone's mean slope give the mean LS
    Coverage coverage;
    std::optional<double> k_si, t_mg_ha, om_pct, clay_pct, density_g_cm3, rooting_depth_cm;
    std::optional<double> available_water_mm;
    std::string soil;            ///< map unit with the largest area
    std::string k_route;         ///< how K came about, of that map unit
    std::string t_route;         ///< where T comes from, of that map unit
    double channel_share = 0.0;  ///< of the area: inflow beyond the greatest slope length
    double steep_share = 0.0;    ///< of the area: slope above 20 %
    std::string drainage;
    std::string hydrologic_group;
    bool coarse = false;

    double c_now = 1.0, c_cover = 1.0;
    erosion::SupportPractice practice;
    std::optional<double> loss_bare_mg_ha, loss_now_mg_ha, loss_cover_mg_ha;
    std::optional<erosion::Uncertainty> uncertainty;
    std::optional<double> erosion_cut_pct, loss_over_t, erodibility_index;
    std::optional<erosion::WindCut> wind;
    std::string wind_group;

    std::vector<CoverOption> options;  ///< in the order of the candidates
    std::optional<std::size_t> chosen;
    std::vector<std::string> visit_notes;  ///< what a scouting visit found against the forecast
    cover::ZoneNeeds needs;
    cover::SiteInputs site;

    compaction::TaprootAdvice taproot;
    std::optional<double> compaction_top_cm;
    std::string compaction_class;  ///< rating of the stops, or the density class of the map
    std::vector<compaction::StopSummary> stops;
    std::vector<compaction::Stop> profiles;  ///< the readings of `stops`, in the same order
    SoilMapLayer soil_layer;                 ///< the soil map's own evidence, with or without stops
    std::vector<std::string> map_doubts;     ///< why the maps between the stops are less sure here

    std::optional<nitrogen::LeachingIndex> leaching;
    std::optional<nitrogen::WinterNitrate> winter_nitrate;
    std::optional<double> nitrate_kg_ha;       ///< soil test, sampled depth
    std::optional<double> nitrate_0_30_kg_ha;  ///< soil test, top 30 cm
    nitrogen::Budget budget;
    double n_rate_kg_ha = 0.0;           ///< applied, after bounds and step
    std::vector<double> n_passes_kg_ha;  ///< its split applications, in order
    double seed_rate_kg_ha = 0.0;        ///< bulk seed

    std::string confidence;  ///< "high", "medium", "low"
    std::vector<std::string> confidence_reasons;
    std::vector<std::string> cautions;

    const CoverOption* cover() const { return chosen ? &options[*chosen] : nullptr; }
};

/// A named raster of the field's grid.
struct FieldLayer {
    std::string name;  ///< "slope"
    std::string title;
    std::string unit;
    Raster<float> values;
    Mask valid;
};

/// A map between the field's penetrometer stops.
struct CompactionMap {
    FieldLayer layer;     ///< "compaction-depth" in cm, "compaction-strength" in MPa
    bool kriged = false;  ///< else inverse distance
    std::string choice;   ///< the method, and why, in a sentence
    std::size_t stops = 0;
    double spread = 0.0;  ///< standard deviation of the stops' values
    compaction::CrossValidation check;
    Raster<float> error;  ///< kriging standard error, in the layer's unit; empty without kriging
    double sill = 0.0;
    std::vector<std::string> warnings;
};

struct FieldResult {
    std::string id;
    std::string stem;  ///< safe file name
    FieldStatus status = FieldStatus::done;
    std::vector<std::string> reasons;       ///< why partly covered or skipped
    std::vector<std::string> warnings;      ///< everything else to know
    std::map<std::string, double> seconds;  ///< per stage

    gis::Crs crs;  ///< of the work grid
    MultiPolygon boundary;
    double area_ha = 0.0;
    GridFrame frame;
    Raster<std::int32_t> zone_cells;  ///< zone at each cell's centre, 0 outside
    std::vector<ZoneResult> zones;
    zoning::ZoningResult zoning;
    std::vector<compaction::StopSummary> stops;
    std::vector<CompactionMap> compaction_maps;
    std::vector<std::pair<std::string, std::string>> layer_files;  ///< path, bytes; output.layers

    /// Nitrogen as prescribed, in `rate_unit`; zones cut by no-apply ground.
    std::string rate_unit;
    std::string product;
    std::vector<double> zone_rates;               ///< per zone, in rate_unit
    std::vector<std::vector<double>> pass_rates;  ///< per zone and pass, in rate_unit
    std::vector<MultiPolygon> rate_shapes;        ///< per zone, no-apply ground taken out
    MultiPolygon no_apply;                        ///< ground without nitrogen, within the field
    gis::Crs rate_crs;                            ///< of the prescription grid
    Raster<float> rate_cells, seed_cells;         ///< on the prescription grid
    Mask rate_mask;
    std::string seed_unit;
    std::vector<double> zone_seed_rates;
    double n_total_kg = 0.0, product_total = 0.0, seed_total_kg = 0.0;
    std::string total_unit;
};

}  // namespace catchfield::plan
