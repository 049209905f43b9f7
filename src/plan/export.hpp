// SPDX-License-Identifier: MIT
// From a plan folder to files that a machine loads, with a hand-off sheet.
#pragma once

#include "gis/geotiff.hpp"
#include "gis/taskdata.hpp"
#include "plan/export_map.hpp"
#include "plan/monitor.hpp"

#include <optional>
#include <string>
#include <vector>

namespace catchfield::plan {

enum class ExportFormat { geotiff, geojson, shapefile, taskdata };
/// "geotiff", "geojson", "shapefile", "taskdata".
std::string export_format_name(ExportFormat format);

struct ExportRequest {
    std::string plan;
    std::string output;
    bool overwrite = false;
    ExportFormat format = ExportFormat::geotiff;
    bool nitrogen = true, seed = false;
    std::string unit{};          ///< of nitrogen where it is exported, else of seed; "" default
    std::string seed_unit{};     ///< of seed where both are exported
    std::string product{};       ///< id, or share of nitrogen ("0.27"); "" the plan's
    std::string seed_product{};  ///< name
    std::optional<double> thousand_seed_g{};
    std::string min_rate{}, max_rate{}, step{}, headland_rate{};  ///< "40 lb/ac", in the unit
    MachineLimits limits{};
    prescription::Machine machine{};
    double cell_m = 0.0;       ///< 0: the plan's
    std::string fields{};      ///< an id, or ids with commas between; empty: all
    bool merged = false;       ///< all fields in one file (task data: one data set)
    bool cell_blocks = false;  ///< polygons follow cell edges
    std::string rate_column = "rate";
    gis::TiffLayout layout = gis::TiffLayout::tiled;
    bool degrees = false;  ///< rasters in EPSG:4326
    bool zip = false;
    gis::TaskDataVersion task_version = gis::TaskDataVersion::v3_3;
    gis::TaskForm task_form = gis::TaskForm::grid_type_1;
};

/// One product of one field, as handed over.
struct HandOffEntry {
    std::string field;
    std::string quantity;
    std::string product;
    std::string unit;
    std::string total_unit;
    double area_ha = 0.0;                ///< of the field
    double none_ha = 0.0;                ///< with rate 0
    double total = 0.0;                  ///< over the polygons
    double file_total = 0.0;             ///< over what was written (cells, or the polygons again)
    double lowest = 0.0, highest = 0.0;  ///< of rates above 0; 0 where there are none
    int rates = 0;                       ///< different ones above 0
    std::vector<std::string> files;
    std::vector<std::string> cautions;
};

struct HandOffFile {
    std::string name;  ///< within the export folder
    std::size_t bytes = 0;
    std::string xxh64;
};

struct HandOff {
    std::string plan_fingerprint;  ///< xxh64 of run.json
    std::string format;            ///< in words
    std::string crs;
    std::string look_ahead;
    UnitSystem units = UnitSystem::us;
    std::vector<HandOffEntry> entries;
    std::vector<HandOffFile> files;
    std::vector<std::string> cautions;
};

std::string hand_off_text(const HandOff& sheet);
/// One printable page, no network, no script needed.
std::string hand_off_html(const HandOff& sheet);
std::string hand_off_json(const HandOff& sheet);

/// Writes the folder whole or not at all and returns its sheet (stored as hand-off.txt and
/// hand-off.html). Throws Error(usage) for options that do not fit, an existing target without
/// overwrite; Error(output) where it cannot be written.
HandOff run_export(const ExportRequest& request, const Monitor& monitor);

/// The maps of one product, as an export of this request would write them (for the as-applied
/// check). Throws as run_export; Error(usage) where nitrogen and seed are both asked for.
std::vector<RateMap> rate_maps(const ExportRequest& request);

/// Sums of product over what the written file holds are compared with the polygons': beyond this
/// share a caution says so. Cells whose centre lies in the field count whole, so the sums of small
/// fields with coarse cells differ by their edges.
inline constexpr double total_tolerance = 0.001;

/// The product named in an export or a job: "nitrogen", an id, or a share of nitrogen ("0.27").
prescription::Product product_named(const std::string& name);

}  // namespace catchfield::plan
