// SPDX-License-Identifier: MIT
// ISO 11783-10 task data: prescriptions as task controllers read them.
#pragma once

#include "gis/degree_grid.hpp"
#include "gis/shapefile.hpp"

#include <cstdint>
#include <string>
#include <vector>

namespace catchfield::gis {

/// What a rate is a rate of. The data dictionary number (DDI), its resolution and the factor from
/// the unit named to the raw integer follow from it.
enum class RateQuantity {
    mass_kg_ha,      ///< product mass, DDI 0006, mg/m2: raw = kg/ha * 100
    volume_l_ha,     ///< product volume, DDI 0001, 0.01 mm3/m2: raw = l/ha * 10 000
    count_per_m2,    ///< seeds, DDI 000B, 0.001/m2: raw = seeds/m2 * 1000
    nitrogen_kg_ha,  ///< nitrogen, DDI 01B0, mg/m2: raw = kg N/ha * 100
};

/// Raw integer of a rate, rounded half away from zero. Throws Error(data) where it is negative, not
/// finite or beyond 32 bits.
std::int32_t raw_rate(RateQuantity quantity, double rate);
/// The rate back from the raw integer.
double rate_of_raw(RateQuantity quantity, std::int32_t raw);

struct TaskProduct {
    std::string name;
    RateQuantity quantity = RateQuantity::mass_kg_ha;
    bool us_units = false;  ///< shown as lb/ac, gal/ac, seeds/ac instead of kg/ha, l/ha, seeds/ha
};

/// A treatment zone: one rate for each product of the task. Rates in the unit of the quantity.
struct TaskZone {
    std::string name;
    std::vector<double> rates;
    MultiPolygon shape{};  ///< WGS 84 degrees; only for TaskForm::polygons
};

enum class TaskForm {
    grid_type_1,  ///< zone codes on a grid
    grid_type_2,  ///< rates on a grid
    polygons,     ///< zones as polygons
};

struct Task {
    std::string name;
    TaskForm form = TaskForm::grid_type_1;
    std::vector<TaskProduct> products;
    std::vector<double> out_of_field_rates{};  ///< one for each product; empty: 0
    std::vector<double> default_rates{};       ///< while no position is known; empty: 0
    /// Type 1 and polygons: at most 250 zones; codes 1.. in this order.
    std::vector<TaskZone> zones{};
    DegreeGrid grid{};
    /// Type 1: position in `zones` for each cell, or -1 outside; row 0 southernmost.
    std::vector<int> cell_zone{};
    /// Type 2: rates of all products of a cell, cell after cell (size = cells * products); 0
    /// outside.
    std::vector<double> cell_rates{};
};

struct TaskField {
    std::string name;
    std::string code{};
    double area_m2 = 0.0;
    MultiPolygon boundary;  ///< WGS 84 degrees
    std::vector<Task> tasks;
};

enum class TaskDataVersion { v3_3, v4_3 };

struct TaskData {
    std::string customer = "Customer";
    std::string farm = "Farm";
    std::string software_version = "0.1.0";
    TaskDataVersion version = TaskDataVersion::v3_3;
    std::vector<TaskField> fields;
};

struct TaskDataResult {
    std::vector<NamedBytes> files;      ///< "TASKDATA.XML", "GRD00001.bin", ...
    std::vector<std::string> warnings;  ///< names that were cut
};

/// The files of a TASKDATA folder. Throws Error(data) for rates that cannot be written, too many
/// zones, grids beyond the limits (cells over 1 degree, lengths over 2^32 - 2), and Error(internal)
/// where sizes do not match.
TaskDataResult taskdata_bytes(const TaskData& data);

/// The first `max_characters` code points of UTF-8 text; bytes that are no UTF-8 become '?',
/// control characters blanks.
std::string cut_text(const std::string& text, std::size_t max_characters);

/// Adds "TASKDATA/" before the names and zips: what terminals import from a stick.
std::string taskdata_zip_bytes(const TaskDataResult& result);

}  // namespace catchfield::gis
