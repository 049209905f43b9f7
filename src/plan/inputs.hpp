// SPDX-License-Identifier: MIT
// Everything that all fields of a run share, read once.
#pragma once

#include "base/shapes.hpp"
#include "compaction/penetrometer.hpp"
#include "cover/scouting.hpp"
#include "gis/raster_source.hpp"
#include "gis/vector.hpp"
#include "nitrogen/credits.hpp"
#include "nitrogen/crops.hpp"
#include "nitrogen/methods.hpp"
#include "nitrogen/soil_test.hpp"
#include "plan/climate.hpp"
#include "plan/cover_book.hpp"
#include "plan/field_list.hpp"
#include "plan/job.hpp"
#include "plan/response_rates.hpp"
#include "plan/soils.hpp"
#include "prescription/products.hpp"
#include "prescription/rate_rule.hpp"
#include "zoning/monitor_points.hpp"

#include <map>
#include <memory>
#include <optional>
#include <string>
#include <vector>

namespace catchfield::plan {

/// One soil-test sample: its layers stacked.
struct TestSample {
    std::string name;
    Point lon_lat;
    nitrogen::NitrateProfile nitrate;
    bool has_nitrate = false;
    std::optional<double> nitrate_0_30_kg_ha;
    std::optional<double> om_pct;
};

struct ProbeStops {
    std::vector<compaction::Stop> stops;  ///< coordinates in `crs`
    gis::Crs crs;
};

/// A scouting record, with the field it names ("" where it has none). Places are lon, lat.
struct ScoutRecord {
    cover::Scouting record;
    std::string field;
};

/// A file whose content went into the run.
struct Fingerprint {
    std::string key;    ///< job key
    std::string path;   ///< as given
    std::string xxh64;  ///< of the bytes; "" for folders and remote data
    std::size_t bytes = 0;
};

struct Inputs {
    Job job;
    FieldList fields;
    gis::Crs boundary_crs;
    std::size_t boundary_null_geometries = 0;
    std::optional<gis::RasterInfo> terrain_info;
    Soils soils;
    SeasonDates dates;
    Climate climate;
    std::unique_ptr<CoverBook> covers;
    ProbeStops probes;
    std::map<std::string, std::vector<zoning::MonitorPoint>> point_layers;  ///< by file
    std::vector<TestSample> tests;
    std::vector<ScoutRecord> scouting;
    nitrogen::CreditTable credits;
    const nitrogen::Method* method = nullptr;
    std::optional<double> yield_goal_kg_ha;
    std::optional<Responses> responses;            ///< for response and average-response
    std::optional<prescription::Product> product;  ///< empty: nitrogen itself
    prescription::RateUnit rate_unit = prescription::RateUnit::n_lb_ac;
    gis::Crs rate_crs;  ///< of the prescription rasters; empty: each field's work CRS
    prescription::RateRule rate_rule;  ///< in rate_unit's nitrogen, lb/ac or kg/ha
    std::optional<gis::VectorSource> barriers, no_apply;
    std::vector<Fingerprint> fingerprints;
    std::vector<std::string> warnings;

    bool us() const { return job.output.units == UnitSystem::us; }
};

/// Opens and reads all inputs. Throws Error for whatever makes the run impossible; what only lowers
/// confidence goes into `warnings`.
Inputs load_inputs(const Job& job);

/// One input tried by itself; why it cannot be used, "" where it can.
struct InputTrial {
    std::string name;
    std::string failure;
};

/// Tries boundary, terrain, soil map, weather, stops, soil tests and the rest one by one, so that
/// all that is wrong is known at once. Inputs that the job does not name are left out.
std::vector<InputTrial> try_inputs(const Job& job);

/// Fields of the job's boundary file, with ids and safe names.
FieldList read_boundaries(const Job& job, gis::Crs& crs, std::size_t& null_geometries,
                          std::vector<std::string>& warnings);

}  // namespace catchfield::plan
