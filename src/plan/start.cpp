// SPDX-License-Identifier: MIT
#include "plan/start.hpp"

#include "base/error.hpp"
#include "base/table.hpp"
#include "base/text.hpp"
#include "base/units.hpp"
#include "gis/files.hpp"
#include "gis/raster_source.hpp"
#include "gis/start.hpp"
#include "gis/vector.hpp"
#include "plan/job.hpp"
#include "plan/keys.hpp"
#include "weather/places.hpp"

#include <algorithm>
#include <cmath>
#include <filesystem>
#include <map>

namespace catchfield::plan {

namespace {

namespace fs = std::filesystem;

/// Values for the job file, with a remark behind a value that needs a look.
struct Proposal {
    JobValues values;
    std::map<std::string, std::string> remarks;
    void set(const std::string& key, const std::string& value, const std::string& remark = {}) {
        if (values.contains(key)) return;
        values[key] = value;
        if (!remark.empty()) remarks[key] = remark;
    }
};

std::vector<fs::path> files_of(const std::vector<std::string>& inputs) {
    std::vector<fs::path> files;
    for (const std::string& input : inputs) {
        if (fs::is_directory(input)) {
            for (const auto& entry : fs::directory_iterator(input)) {
                if (entry.is_regular_file()) files.push_back(entry.path());
            }
        } else if (fs::exists(input)) {
            files.emplace_back(input);
        } else {
            throw Error(ErrorKind::input, "there is no such file or folder", {.path = input});
        }
    }
    std::sort(files.begin(), files.end());
    return files;
}

bool has_all(const std::vector<std::string>& columns, std::initializer_list<const char*> names) {
    return std::all_of(names.begin(), names.end(), [&](const char* name) {
        return std::any_of(columns.begin(), columns.end(),
                           [&](const std::string& c) { return same_ignoring_case(c, name); });
    });
}

bool has_any(const std::vector<std::string>& columns, std::initializer_list<const char*> names) {
    return std::any_of(names.begin(), names.end(),
                       [&](const char* name) { return has_all(columns, {name}); });
}

/// Columns whose values differ between features and read like names.
std::string id_column_of(const gis::VectorLayer& layer) {
    for (const char* wanted : {"field", "field_id", "name", "id", "fieldname"}) {
        if (const auto position = layer.find_column(wanted)) return layer.columns[*position];
    }
    for (std::size_t c = 0; c < layer.columns.size(); ++c) {
        std::vector<std::string> values;
        for (const gis::Feature& feature : layer.features) values.push_back(feature.values[c]);
        std::sort(values.begin(), values.end());
        const bool distinct = std::adjacent_find(values.begin(), values.end()) == values.end();
        if (distinct && !values.empty() && !values.front().empty() && !parse_number(values.front()))
            return layer.columns[c];
    }
    return {};
}

class Recogniser {
  public:
    Recogniser(Proposal& proposal, StartResult& result, const fs::path& folder)
        : m_proposal(proposal), m_result(result), m_folder(folder) {}

    void look_at(const fs::path& file) {
        const std::string extension = lower_case(file.extension().string());
        if (extension == ".csv" || extension == ".txt") return look_at_table(file);
        if (extension == ".ini" || extension == ".md" || extension == ".prj" ||
            extension == ".dbf" || extension == ".shx" || extension == ".cpg" ||
            extension == ".xml" || extension == ".json") {
            return;
        }
        if (extension == ".tif" || extension == ".tiff" || extension == ".asc" ||
            extension == ".img" || extension == ".hgt") {
            return look_at_raster(file);
        }
        look_at_vector(file);
    }

    std::optional<Point> centre() const { return m_centre; }

  private:
    std::string relative(const fs::path& file) const {
        return fs::relative(file, m_folder.empty() ? fs::path(".") : m_folder).generic_string();
    }
    void found(const fs::path& file, const std::string& what) {
        m_result.found.push_back(file.filename().string() + ": " + what);
    }

    void look_at_table(const fs::path& file) {
        Table table;
        try {
            table = Table::parse(gis::read_file(file.string(), 256u << 20), file.string());
        } catch (const Error& error) {
            m_result.unsure.push_back(file.filename().string() +
                                      " was not read: " + error.reason());
            return;
        }
        const auto& columns = table.columns();
        const auto take = [&](const char* key, const char* what) {
            m_proposal.set(key, relative(file));
            found(file, what);
        };
        if (has_all(columns, {"month", "tmean_c", "precip_mm"}))
            return take("weather.monthly", "monthly normals");
        if (has_all(columns, {"date", "tmax_c", "tmin_c"}))
            return take("weather.daily", "daily weather");
        if (has_all(columns, {"time", "depth_mm"})) return take("weather.rain", "rain record");
        if (has_all(columns, {"hzdept_r", "hzdepb_r"}))
            return take("soil.horizons", "soil horizons");
        if (has_any(columns, {"ci_mpa", "ci_kpa", "ci_psi", "strength_psi", "strength_mpa",
                              "strength_kpa", "psi"})) {
            take("compaction.probes", "penetrometer stops");
            m_result.unsure.push_back(
                "say in compaction.probe-moisture whether the stops were pushed near field "
                "capacity.");
            return;
        }
        if (has_all(columns, {"sample"}) && has_any(columns, {"nitrate_ppm", "om_pct"}))
            return take("nitrogen.soil-tests", "soil tests");
        m_result.unsure.push_back(file.filename().string() +
                                  ": a table of none of the known kinds, left out.");
    }

    void look_at_raster(const fs::path& file) {
        try {
            const gis::RasterSource source(file.string());
            const std::string name = lower_case(file.stem().string());
            const std::string unit = lower_case(source.info().unit);
            const bool says_slope = name.find("slope") != std::string::npos || unit == "%" ||
                                    unit == "percent" || unit == "degrees";
            if (says_slope) {
                found(file, "slope raster (by its name or unit)");
                m_slope = relative(file);
                m_slope_degrees = name.find("deg") != std::string::npos || unit == "degrees";
                return;
            }
            m_proposal.set("terrain.elevation", relative(file));
            found(file, "elevation raster, cells of " + significant(source.cell_m(), 3) + " m");
            if (!source.metres_per_value()) {
                m_proposal.set("terrain.elevation-unit", "m", "the raster does not say; check");
                m_result.unsure.push_back(
                    "the elevation raster does not state its unit: metres are written, check "
                    "that.");
            }
        } catch (const Error& error) {
            m_result.unsure.push_back(file.filename().string() +
                                      " was not used: " + error.reason());
        }
    }

    void look_at_vector(const fs::path& file) {
        std::vector<gis::LayerInfo> layers;
        try {
            layers = gis::list_layers(file.string());
        } catch (const Error&) {
            m_result.unsure.push_back(file.filename().string() +
                                      ": not a format that is read, left out.");
            return;
        }
        for (const gis::LayerInfo& info : layers) {
            try {
                look_at_layer(file, info, layers.size() > 1);
            } catch (const Error& error) {
                m_result.unsure.push_back(file.filename().string() +
                                          " was not used: " + error.reason());
            }
        }
    }

    void look_at_layer(const fs::path& file, const gis::LayerInfo& info, bool several) {
        const std::string name = lower_case(file.stem().string() + " " + info.name);
        const gis::VectorLayer layer = gis::read_layer(file.string(), several ? info.name : "");
        const auto with_layer = [&](const char* path_key, const char* layer_key) {
            m_proposal.set(path_key, relative(file));
            if (several) m_proposal.set(layer_key, info.name);
        };
        if (has_any(layer.columns, {"kffact", "kwfact", "mukey", "tfact", "musym"})) {
            with_layer("soil.map", "soil.layer");
            found(file, "soil map, " + std::to_string(layer.features.size()) + " polygons");
            return;
        }
        if (name.find("barrier") != std::string::npos ||
            name.find("terrace") != std::string::npos) {
            m_proposal.set("terrain.barriers", relative(file));
            found(file, "features that stop flow (by the name)");
            return;
        }
        if (name.find("no-apply") != std::string::npos ||
            name.find("noapply") != std::string::npos ||
            name.find("setback") != std::string::npos) {
            m_proposal.set("nitrogen.no-apply", relative(file));
            m_proposal.set("nitrogen.setback", "10 m", "check local rules");
            found(file, "ground without nitrogen (by the name)");
            return;
        }
        const bool areas = std::any_of(
            layer.features.begin(), layer.features.end(),
            [](const gis::Feature& f) { return f.kind == gis::GeometryKind::polygons; });
        if (!areas) {
            m_result.unsure.push_back(file.filename().string() +
                                      ": points or lines of no known kind, left out.");
            return;
        }
        if (m_proposal.values.contains("field.boundary")) {
            m_result.unsure.push_back(file.filename().string() + ": polygons too; " +
                                      m_proposal.values["field.boundary"] +
                                      " was taken as the boundary.");
            return;
        }
        with_layer("field.boundary", "field.layer");
        const std::string column = id_column_of(layer);
        if (!column.empty()) m_proposal.set("field.id-column", column);
        found(file, "field boundaries, " + std::to_string(layer.features.size()) +
                        (column.empty() ? ", no name column" : ", named by '" + column + "'"));
        if (layer.crs_wkt.empty()) {
            m_proposal.set("field.crs", "EPSG:4326", "the file states none; check");
            m_result.unsure.push_back(
                "the boundary file states no coordinate system: degrees (EPSG:4326) are written, "
                "check that.");
        }
        const gis::Crs crs =
            gis::require_crs(layer.crs_wkt, "EPSG:4326", file.string(), "field.crs");
        Box box = layer.features.front().box();
        for (const gis::Feature& feature : layer.features) {
            const Box one = feature.box();
            box = {std::min(box.min_x, one.min_x), std::min(box.min_y, one.min_y),
                   std::max(box.max_x, one.max_x), std::max(box.max_y, one.max_y)};
        }
        m_centre = gis::transformer(crs, gis::Crs::wgs84())
                       .apply(Point{(box.min_x + box.max_x) / 2.0, (box.min_y + box.max_y) / 2.0});
    }

  public:
    /// A slope raster counts only where there is no elevation.
    void settle_terrain() {
        if (m_proposal.values.contains("terrain.elevation") || m_slope.empty()) return;
        m_proposal.set("terrain.slope", m_slope);
        m_proposal.set("terrain.slope-unit", m_slope_degrees ? "degrees" : "percent",
                       "by the file's name; check");
        m_result.unsure.push_back("check terrain.slope-unit: it was read off the file's name.");
    }

  private:
    Proposal& m_proposal;
    StartResult& m_result;
    fs::path m_folder;
    std::optional<Point> m_centre;
    std::string m_slope;
    bool m_slope_degrees = false;
};

void propose_defaults(Proposal& proposal, StartResult& result, const std::optional<Point>& centre,
                      bool metric) {
    const std::string check = "a proposal; write your own date";
    const bool south = centre && centre->y < 0.0;
    proposal.set("season.harvest", south ? "2026-01-15" : "2025-07-15", check);
    proposal.set("season.sow", south ? "2026-02-10" : "2025-08-10", check);
    proposal.set("season.next-planting", south ? "2026-11-05" : "2026-05-05", check);
    proposal.set("season.previous-crop", "wheat", "the crop just harvested");
    proposal.set("nitrogen.crop", "corn", "the next crop");
    proposal.set("nitrogen.yield-goal", metric ? "10.5 Mg/ha" : "170 bu/ac", "your own goal");
    proposal.set("output.units", metric ? "metric" : "us");
    if (!centre || proposal.values.contains("weather.erosivity")) return;
    try {
        const weather::NearPlace place = weather::nearest_place(centre->y, centre->x);
        proposal.set("weather.erosivity", fixed(place.place.r_si / units::r_si_per_us, 0) + " us",
                     "rough: " + place.place.name + ", " + fixed(place.distance_km, 0) +
                         " km away, memory: check");
        result.unsure.push_back("weather.erosivity is a rough reading near " + place.place.name +
                                " (" + fixed(place.distance_km, 0) +
                                " km away); a published R for your county is better.");
        if (!proposal.values.contains("weather.monthly") &&
            !proposal.values.contains("weather.daily")) {
            result.unsure.push_back("there is no weather file: built-in normals near " +
                                    place.place.name +
                                    " stand in, and confidence is low. Give weather.monthly "
                                    "(month,tmean_c,precip_mm).");
        }
    } catch (const Error&) {
        result.unsure.push_back(
            "weather.erosivity and weather.monthly are not known here: give both.");
    }
}

std::string job_text(const Proposal& proposal) {
    std::string text =
        "# Catchfield job file. A line that starts with '#' is a comment; remove the '#' to set a "
        "key.\n"
        "# Quantities carry their unit: 150 us, 40 lb/ac, 3 m. All keys: docs/job-file.md\n";
    std::string section;
    for (const Key& key : job_keys()) {
        const std::string name(key.name);
        const std::string this_section = name.substr(0, name.find('.'));
        if (this_section != section) {
            section = this_section;
            text += "\n# " + std::string(section_help(section)) + "\n[" + section + "]\n";
        }
        const std::string short_name = name.substr(section.size() + 1);
        const auto value = proposal.values.find(name);
        if (value != proposal.values.end()) {
            const auto remark = proposal.remarks.find(name);
            if (remark != proposal.remarks.end()) text += "# " + remark->second + "\n";
            text += short_name + " = " + value->second + "\n";
        } else {
            text += "# " + short_name + " = " +
                    std::string(key.fallback.empty() ? key.metavar : key.fallback) + "    " +
                    std::string(key.help) + "\n";
        }
    }
    return text;
}

}  // namespace

StartResult start_job(const StartRequest& request) {
    gis::start();
    if (!request.overwrite && fs::exists(request.output)) {
        throw Error(ErrorKind::usage, "the file exists already",
                    {.path = request.output, .hint = "Give another name, or --overwrite."});
    }
    StartResult result;
    Proposal proposal;
    const fs::path folder = fs::path(request.output).parent_path();
    Recogniser recogniser(proposal, result, folder);
    for (const fs::path& file : files_of(request.inputs)) recogniser.look_at(file);
    recogniser.settle_terrain();
    if (!proposal.values.contains("field.boundary")) {
        throw Error(
            ErrorKind::input, "no field boundary was found among the files",
            {.hint = "Give a vector file with polygons (GeoJSON, GeoPackage, Shapefile, KML)."});
    }
    for (const auto& [key, what] : {std::pair{"terrain.elevation", "an elevation or slope raster"},
                                    std::pair{"soil.map", "a soil map"}}) {
        if (!proposal.values.contains(key) && !(std::string(key) == "terrain.elevation" &&
                                                proposal.values.contains("terrain.slope"))) {
            result.unsure.push_back(std::string(what) + " was not found; " + key +
                                    " must be set before a plan can be made.");
        }
    }
    propose_defaults(proposal, result, recogniser.centre(), request.metric);
    result.job = job_text(proposal);
    gis::write_file_atomically(request.output, result.job);
    return result;
}

}  // namespace catchfield::plan
