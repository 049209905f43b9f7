// SPDX-License-Identifier: MIT
#include "plan/keys.hpp"

#include <array>
#include <utility>

namespace catchfield::plan {

namespace {

using enum KeyType;

constexpr auto keys = std::to_array<Key>({
    // ---- field
    {"field.boundary", path, "FILE", "", "",
     "Field boundaries: any vector file (GeoJSON, GeoPackage, Shapefile, FlatGeobuf, KML)."},
    {"field.layer", text, "NAME", "", "",
     "Layer of the boundary file; needed only where it has several."},
    {"field.id-column", text, "NAME", "", "",
     "Column with the field's name; without it fields are numbered."},
    {"field.crs", text, "CRS", "", "",
     "Coordinate system of the boundary, only where the file has none (EPSG:4326)."},
    {"field.repair", yes_no, "yes|no", "no", "",
     "Repair invalid boundaries (self-crossings) instead of refusing them; what changed is "
     "reported."},
    {"field.customer", text, "NAME", "", "", "Customer's name, for the machine's task data."},
    {"field.farm", text, "NAME", "", "",
     "Farm's name, for the report and the machine's task data."},
    // ---- terrain
    {"terrain.elevation", path, "FILE", "", "", "Elevation raster. Give this or slope."},
    {"terrain.elevation-unit", choice, "m|ft|us-ft", "", "m|ft|us-ft",
     "Unit of the elevations; needed where the raster does not state one other than metres."},
    {"terrain.slope", path, "FILE", "", "", "Slope raster, where there is no elevation."},
    {"terrain.slope-unit", choice, "percent|degrees|ratio", "", "percent|degrees|ratio",
     "Unit of the slope raster; never guessed."},
    {"terrain.resolution", length, "m|ft", "", "",
     "Cell of the work grid; by default the terrain raster's own, not finer than 2 m."},
    {"terrain.smooth", length, "m|ft", "0 m", "",
     "Radius within which elevation noise is smoothed before slopes are taken; 0 m for none."},
    {"terrain.slope-length", length, "m|ft", "", "",
     "Slope length for a slope raster; by default a table by slope."},
    {"terrain.max-slope-length", length, "m|ft", "120 m", "",
     "Longest slope length counted; beyond it flow is a channel. At most 305 m."},
    {"terrain.routing", choice, "multiple|d-infinity", "multiple", "multiple|d-infinity",
     "How water is shared among the cells below."},
    {"terrain.run-on", choice, "none|upslope", "none", "none|upslope",
     "Whether water from above the field's edge runs onto it."},
    {"terrain.run-on-distance", length, "m|ft", "120 m", "",
     "How far above the edge run-on is followed."},
    {"terrain.barriers", path, "FILE", "", "",
     "Lines or polygons that stop flow: terraces, ditches, roads, grassed waterways."},
    // ---- soil
    {"soil.map", path, "FILE", "", "", "Soil-map polygons."},
    {"soil.layer", text, "NAME", "", "",
     "Layer of the soil map; needed only where it has several."},
    {"soil.crs", text, "CRS", "", "",
     "Coordinate system of the soil map, only where the file has none."},
    {"soil.horizons", path, "FILE", "", "", "Table of soil horizons by map-unit key (CSV)."},
    {"soil.columns", list, "NAME=COLUMN,...", "", "",
     "Other column names: k=erod,t=tol,key=unit_id. By default the US soil survey's names."},
    {"soil.k-unit", choice, "us|si", "us", "us|si", "Unit of the soil map's erodibility."},
    {"soil.t-unit", choice, "us|si", "us", "us|si",
     "Unit of the soil map's tolerance: us tons an acre, or Mg/ha."},
    {"soil.fill-distance", length, "m|ft", "100 m", "",
     "How far the nearest polygon's values may reach over ground that the map leaves out."},
    // ---- weather
    {"weather.erosivity", erosivity, "us|si", "", "",
     "Rainfall erosivity R with its unit: 150 us."},
    {"weather.erosivity-unit", choice, "us|si", "", "us|si", "Unit of a bare erosivity figure."},
    {"weather.erosivity-shares", text, "FILE|24 SHARES", "", "",
     "Shares of R in the 24 half-months: a CSV (half_month, share) or 24 numbers."},
    {"weather.monthly", path, "FILE", "", "", "Monthly normals, CSV: month,tmean_c,precip_mm."},
    {"weather.daily", path, "FILE", "", "", "Daily weather, CSV: date,tmax_c,tmin_c,precip_mm."},
    {"weather.rain", path, "FILE", "", "",
     "Rain records for R, CSV: time,depth_mm at breakpoints or fixed steps."},
    {"weather.winter-low", temperature, "degC|degF", "", "",
     "Average coldest temperature of the year, for winterkill."},
    {"weather.wind-speed", number, "M/S", "", "",
     "Mean annual wind speed at 9 m (30 ft), m/s, for wind screening."},
    // ---- season
    {"season.harvest", date, "DATE", "", "", "Harvest of the crop before the cover."},
    {"season.sow", date, "DATE", "", "", "Sowing of the cover crop."},
    {"season.hard-frost", date, "DATE", "", "",
     "Usual first hard frost (-2.2 degC); by default from the weather."},
    {"season.terminate", date, "DATE", "", "",
     "When a surviving cover is ended; by default 14 days before the next planting."},
    {"season.next-planting", date, "DATE", "", "", "Planting of the next crop."},
    {"season.previous-crop", text, "CROP", "wheat", "",
     "Crop before the cover: wheat, oat, barley, corn, soybean, early-vegetables, pea, ..."},
    {"season.residue", rate, "kg/ha|lb/ac", "", "",
     "Residue of the previous crop after harvest; by default a table by crop."},
    {"season.residue-removed", number, "SHARE", "0", "",
     "Share of that residue taken off (straw baled), 0 to 1."},
    {"season.tillage-before-sowing", text, "TOOL", "none", "",
     "Tillage between harvest and sowing: none, disk, chisel, field-cultivator, moldboard, ..."},
    {"season.tillage-before-planting", text, "TOOL", "none", "", "Tillage before the next crop."},
    {"season.practice", choice, "none|contour|strip|terrace", "none", "none|contour|strip|terrace",
     "Support practice, for the P factor."},
    // ---- zones
    {"zones.count", text, "auto|N", "auto", "", "How many zones: auto, or a number."},
    {"zones.max-count", integer, "N", "5", "", "Most zones that auto may take."},
    {"zones.features", list, "NAME[=WEIGHT],...", "slope,ls,k,om,density", "",
     "What zones are made from: slope, ls, k, om, density, depth, elevation, wetness, aspect, "
     "clay, awc, or names of layers in zones.layers."},
    {"zones.layers", list, "NAME=FILE,...", "", "",
     "Your own rasters or points (CSV: lon,lat,value) as features: ec=ec.csv,yield=y23.tif;y24.tif "
     "(years are put on one scale)."},
    {"zones.min-area", area, "ha|ac", "0.5 ha", "", "Smallest patch that a machine can work."},
    {"zones.working-width", length, "m|ft", "", "",
     "Width of the spreader or drill; necks narrower than this are closed."},
    {"zones.method", choice, "kmeans|fuzzy", "kmeans", "kmeans|fuzzy", "How cells are grouped."},
    {"zones.norm", choice, "euclidean|diagonal|mahalanobis", "euclidean",
     "euclidean|diagonal|mahalanobis", "Distance of the fuzzy method, on standardised features."},
    {"zones.exponent", number, "M", "1.3", "", "Exponent of the fuzzy method, above 1; near 1 zones are crisp."},
    {"zones.components", number, "SHARE", "", "",
     "Group by the principal components that hold this share of the variance (0.85) instead of the features."},
    {"zones.drawn", path, "FILE|PLAN", "", "",
     "The user's own zone polygons, or an earlier plan folder whose zones are kept."},
    {"zones.drawn-column", text, "NAME", "", "", "Column with the zone number of drawn polygons."},
    {"zones.merge", list, "A+B,...", "", "", "Zones to merge after they are made, by number: 2+3."},
    {"zones.renumber", list, "N,...", "", "",
     "New numbers of zones 1, 2, ... after merging: 3,1,2. Fields with another number of zones keep theirs."},
    // ---- cover
    {"cover.candidates", list, "SPECIES,...", "all", "",
     "Species and mixtures to consider (see catchfield species), or all."},
    {"cover.catalogue", path, "FILE", "", "",
     "Your own species table, of the same form; its rows add to or replace the built-in ones."},
    {"cover.aims", list, "AIM=WEIGHT,...",
     "erosion=3,catch-n=2,supply-n=1,compaction=2,organic-matter=1,ends-itself=1,cost=1", "",
     "What the cover is for, with weights."},
    {"cover.by", text, "zone|field|N", "zone", "",
     "One cover by zone, one for the whole field, or at most N different ones."},
    {"cover.seeding", choice, "drilled|broadcast", "drilled", "drilled|broadcast",
     "How the cover is sown."},
    {"cover.purity", number, "SHARE", "0.98", "", "Purity of the seed, 0 to 1."},
    {"cover.germination", number, "SHARE", "0.90", "", "Germination of the seed, 0 to 1."},
    {"cover.scouting", path, "FILE", "", "",
     "What grew, found in the field: zone or lon,lat; species, height_cm, stand_pct, "
     "biomass_kg_ha, frost_damage_pct."},
    // ---- compaction
    {"compaction.probes", path, "FILE", "", "", "Penetrometer stops: CSV or vector layer."},
    {"compaction.probe-columns", list, "NAME=COLUMN,...", "", "",
     "Other column names: stop=id,x=lon,y=lat,depth=z,strength=ci."},
    {"compaction.probe-unit", choice, "MPa|kPa|psi", "", "MPa|kPa|psi",
     "Unit of the readings where the column name does not state it."},
    {"compaction.probe-crs", text, "CRS", "EPSG:4326", "",
     "Coordinate system of the stops in a CSV."},
    {"compaction.probe-moisture", choice, "field-capacity|dry|wet|unknown", "unknown",
     "field-capacity|dry|wet|unknown", "Soil moisture when the stops were pushed."},
    {"compaction.off-moisture", choice, "refuse|warn", "warn", "refuse|warn",
     "What to do with readings not taken near field capacity."},
    {"compaction.threshold", strength, "MPa|psi", "300 psi", "",
     "Resistance that roots hardly pass."},
    // ---- nitrogen
    {"nitrogen.crop", text, "CROP", "corn", "", "The next crop: corn, wheat, ..."},
    {"nitrogen.method", text, "METHOD", "balance", "",
     "balance, balance-full, corn-balance, late-spring, response, average-response or fixed."},
    {"nitrogen.yield-goal", text, "YIELD UNIT", "", "",
     "Yield goal with unit: 180 bu/ac or 11.3 Mg/ha."},
    {"nitrogen.yield-column", text, "NAME", "", "",
     "Column of the soil map or drawn zones with the yield goal."},
    {"nitrogen.yield-unit", choice, "bu/ac|Mg/ha|kg/ha", "", "bu/ac|Mg/ha|kg/ha",
     "Unit of the yield column or raster."},
    {"nitrogen.yield-raster", path, "FILE", "", "", "Raster of yield goals."},
    {"nitrogen.fixed-rate", rate, "kg/ha|lb/ac", "", "", "The rate of method fixed."},
    {"nitrogen.response", path, "FILE", "", "",
     "Fitted responses from catchfield fit (JSON), for response and average-response."},
    {"nitrogen.soil-tests", path, "FILE", "", "",
     "Soil tests, CSV: sample,lon,lat,top_cm,bottom_cm,nitrate_ppm,om_pct."},
    {"nitrogen.soil-tests-taken", choice, "fall|spring", "fall", "fall|spring",
     "When the soil tests were taken: fall, before the cover, or spring, before the next crop."},
    {"nitrogen.region", text, "NAME", "common-practice", "",
     "Which region's credit table applies (see docs/methods/nitrogen.md)."},
    {"nitrogen.cold-dry", yes_no, "yes|no", "no", "",
     "A cold, dry region, where low covers gave the next crop no nitrogen in trials."},
    {"nitrogen.credits-table", path, "FILE", "", "",
     "Your own credit table, of the same form as the built-in ones."},
    {"nitrogen.manure", rate, "kg/ha|lb/ac", "0 kg/ha", "", "Nitrogen credit of manure."},
    {"nitrogen.irrigation", rate, "kg/ha|lb/ac", "0 kg/ha", "",
     "Nitrogen credit of irrigation water nitrate."},
    {"nitrogen.price-n", number, "MONEY/kg|MONEY/lb", "", "",
     "Price of nitrogen with its unit: 0.90 /kg or 0.41 /lb."},
    {"nitrogen.price-crop", number, "MONEY/Mg|MONEY/bu", "", "",
     "Price of the crop with its unit: 170 /Mg or 4.30 /bu."},
    {"nitrogen.min-rate", rate, "kg/ha|lb/ac", "0 kg/ha", "", "Lowest rate other than none."},
    {"nitrogen.max-rate", rate, "kg/ha|lb/ac", "250 kg/ha", "", "Highest rate allowed."},
    {"nitrogen.step", rate, "kg/ha|lb/ac", "", "",
     "Step of the machine; by default 5 lb/ac or 5 kg/ha."},
    {"nitrogen.no-apply", path, "FILE", "", "",
     "Polygons, lines or points where no nitrogen goes."},
    {"nitrogen.setback", length, "m|ft", "0 m", "", "Distance kept from the no-apply features."},
    {"nitrogen.split", list, "SHARES", "1", "", "Shares of split applications: 0.3,0.7."},
    {"nitrogen.response-zones", list, "ZONE=NAME,...", "", "",
     "Which zone of the trial stands for which zone of the field: 1=low,2=high. By default the "
     "trial's zones are numbers, or it has only one."},
    {"nitrogen.late-spring-critical", number, "PPM", "", "",
     "Nitrate at which no nitrogen is needed, for late-spring, ppm; by default the method's 25."},
    {"nitrogen.rate-count", integer, "N", "0", "",
     "Most different rates in a field, for machines that cannot hold more; 0 for any number."},
    {"nitrogen.least-difference", rate, "kg/ha|lb/ac", "", "",
     "Zones side by side whose rates differ by less are named; by default two steps."},
    {"nitrogen.machine-speed", speed, "km/h|mph", "", "",
     "Working speed; with it the map is checked for stretches too short for the machine."},
    {"nitrogen.machine-lag", number, "SECONDS", "2", "",
     "Time from the command to the new rate on the ground."},
    {"nitrogen.machine-width", length, "m|ft", "", "",
     "Working width of the spreader or sprayer; by default zones.working-width, else 12 m."},
    // ---- output
    {"output.units", choice, "us|metric", "us", "us|metric", "Units of reports and prescriptions."},
    {"output.cell", length, "m|ft", "", "",
     "Cell of the prescription rasters; by default the work grid's."},
    {"output.crs", text, "CRS", "", "",
     "Coordinate system of the prescription rasters; by default the work grid's."},
    {"output.product", text, "PRODUCT", "nitrogen", "",
     "What the nitrogen rates are written as: nitrogen itself, urea, uan-28, uan-32, "
     "anhydrous-ammonia, ammonium-sulfate, or an analysis 0.27."},
    {"output.seed-product", text, "NAME", "", "", "Name of the seed product in the prescriptions."},
    {"output.layers", yes_no, "yes|no", "no", "",
     "Also write slope, LS, K, soil loss and zone rasters."},
    {"output.reports", yes_no, "yes|no", "yes", "", "Write the reports."},
    {"output.uncertainty", integer, "DRAWS", "200", "", "Draws for the intervals; 0 for none."},
});

constexpr auto sections = std::to_array<std::pair<std::string_view, std::string_view>>({
    {"field", "Where the fields are."},
    {"terrain", "Elevation or slope."},
    {"soil", "Soil map and horizons."},
    {"weather", "Erosivity, temperature and rain."},
    {"season", "What is done when, from harvest to the next planting."},
    {"zones", "How the field is divided."},
    {"cover", "The cover crop."},
    {"compaction", "Penetrometer stops."},
    {"nitrogen", "The next crop's nitrogen."},
    {"output", "How results are written."},
});

}  // namespace

std::span<const Key> job_keys() {
    return keys;
}

const Key* find_key(std::string_view name) {
    for (const Key& key : keys) {
        if (key.name == name) return &key;
    }
    return nullptr;
}

std::string_view section_help(std::string_view section) {
    for (const auto& [name, help] : sections) {
        if (name == section) return help;
    }
    return {};
}

}  // namespace catchfield::plan
