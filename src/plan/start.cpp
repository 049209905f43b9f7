// SPDX-License-Identifier: MIT
#include "plan/start.hpp"

#include "base/error.hpp"
#include "base/text.hpp"
#include "base/units.hpp"
#include "gis/crs.hpp"
#include "gis/files.hpp"
#include "gis/start.hpp"
#include "plan/job.hpp"
#include "plan/keys.hpp"
#include "plan/recognise.hpp"
#include "weather/places.hpp"

#include <algorithm>
#include <cmath>
#include <filesystem>
#include <map>

namespace catchfield::plan {

namespace {

namespace fs = std::filesystem;

constexpr std::size_t most_files = 2000;
constexpr int deepest = 4;

/// Values for the job file, with a remark over a value that needs a look.
struct Proposal {
    JobValues values;
    std::map<std::string, std::string> remarks;
    std::map<std::string, std::string> examples;  ///< of keys that stay commented out
    bool has(const std::string& key) const { return values.contains(key); }
    void set(const std::string& key, const std::string& value, const std::string& remark = {}) {
        if (!values.emplace(key, value).second) return;
        if (!remark.empty()) remarks[key] = remark;
    }
};

/// Files of a folder and of those in it; hidden ones and plan folders are passed over.
void add_folder(const fs::path& folder, std::vector<fs::path>& files) {
    if (fs::exists(folder / "run.json") && fs::exists(folder / "zones.csv")) return;
    for (auto entry = fs::recursive_directory_iterator(
             folder, fs::directory_options::skip_permission_denied);
         entry != fs::recursive_directory_iterator(); ++entry) {
        const fs::path& path = entry->path();
        const bool hidden = path.filename().string().starts_with(".");
        if (entry->is_directory()) {
            if (lower_case(path.extension().string()) == ".gdb") {
                files.push_back(path);
                entry.disable_recursion_pending();
            } else if (hidden || entry.depth() >= deepest || fs::exists(path / "run.json")) {
                entry.disable_recursion_pending();
            }
        } else if (!hidden && entry->is_regular_file()) {
            files.push_back(path);
        }
        if (files.size() > most_files) {
            throw Error(ErrorKind::input,
                        "more than " + std::to_string(most_files) + " files lie there",
                        {.path = folder.string(),
                         .hint = "Name the folder of one farm, or the files themselves."});
        }
    }
}

std::vector<fs::path> files_of(const std::vector<std::string>& inputs) {
    std::vector<fs::path> files;
    for (const std::string& input : inputs) {
        if (fs::is_directory(input) && lower_case(fs::path(input).extension().string()) != ".gdb") {
            add_folder(input, files);
        } else if (fs::exists(input)) {
            files.emplace_back(input);
        } else {
            throw Error(ErrorKind::input, "there is no such file or folder",
                        {.path = input, .hint = "Check the name, or the folder you are in."});
        }
    }
    std::sort(files.begin(), files.end());
    files.erase(std::unique(files.begin(), files.end()), files.end());
    return files;
}

/// Share of box `a` that lies in `b`.
double share_within(const Box& a, const Box& b) {
    const double width = std::min(a.max_x, b.max_x) - std::max(a.min_x, b.min_x);
    const double height = std::min(a.max_y, b.max_y) - std::max(a.min_y, b.min_y);
    if (width < 0.0 || height < 0.0) return 0.0;
    const double area = (a.max_x - a.min_x) * (a.max_y - a.min_y);
    return area > 0.0 ? width * height / area : 1.0;
}

bool meet(const Box& a, const Box& b) {
    return a.min_x <= b.max_x && b.min_x <= a.max_x && a.min_y <= b.max_y && b.min_y <= a.max_y;
}

/// Chooses among the finds and fills the proposal.
class Chooser {
  public:
    Chooser(std::vector<Find> finds, fs::path folder, Proposal& proposal, StartResult& result)
        : m_finds(std::move(finds)),
          m_folder(std::move(folder)),
          m_proposal(proposal),
          m_result(result) {}

    /// False where there is no boundary.
    bool choose() {
        const Find* boundary = choose_boundary();
        if (boundary == nullptr) return false;
        choose_terrain();
        const Find* soil = choose_one(FindKind::soil_map, "soil.map", "soil.layer");
        if (soil != nullptr && !soil->crs_stated) state_crs(*soil, "soil.crs");
        const Find* horizons = choose_one(FindKind::horizons, "soil.horizons");
        choose_soil_columns(soil, horizons);
        choose_one(FindKind::monthly, "weather.monthly");
        choose_one(FindKind::daily, "weather.daily");
        choose_one(FindKind::rain, "weather.rain");
        choose_one(FindKind::barriers, "terrain.barriers");
        choose_one(FindKind::no_apply, "nitrogen.no-apply");
        choose_one(FindKind::soil_tests, "nitrogen.soil-tests");
        choose_one(FindKind::scouting, "cover.scouting");
        choose_one(FindKind::response, "nitrogen.response");
        const Find* probes = choose_one(FindKind::probes, "compaction.probes");
        if (probes != nullptr && probes->box && !probes->lon_lat)
            state_crs(*probes, "compaction.probe-crs");
        choose_layers();
        tell_of_others();
        tell_place(*boundary);
        return true;
    }

    std::optional<Point> centre() const {
        if (!m_fields) return std::nullopt;
        return Point{(m_fields->min_x + m_fields->max_x) / 2.0,
                     (m_fields->min_y + m_fields->max_y) / 2.0};
    }
    const std::vector<Find>& finds() const { return m_finds; }

  private:
    static std::string name_of(const Find& find) {
        return find.file.filename().string() +
               (find.layer.empty() ? "" : ", layer '" + find.layer + "'");
    }
    void look_at(const Find& find, const std::string& doubt) {
        m_result.unsure.push_back(name_of(find) + ": " + doubt);
    }

    /// As it is written into the job: relative to its folder where that is the shorter way.
    std::string path_of(const Find& find) {
        const std::string near =
            fs::relative(find.file, m_folder.empty() ? fs::path(".") : m_folder).generic_string();
        const std::string far = fs::absolute(find.file).lexically_normal().generic_string();
        const std::string path = near.empty() || near.size() > far.size() ? far : near;
        if (path.find('#') != std::string::npos) {
            look_at(find, "its name holds '#', which starts a comment in the job file: rename it.");
        }
        return path;
    }

    /// Share of the fields that the find covers; 0.5 where its place is not known.
    double cover(const Find& find) const {
        if (!m_fields || !find.lon_lat) return 0.5;
        return share_within(*m_fields, *find.lon_lat);
    }
    bool elsewhere(const Find& find) const {
        return m_fields && find.lon_lat && !meet(*m_fields, *find.lon_lat);
    }

    /// Usable finds of a kind, the best first.
    std::vector<const Find*> ranked(FindKind kind) const {
        std::vector<const Find*> list;
        for (const Find& find : m_finds) {
            if (find.kind == kind && find.usable) list.push_back(&find);
        }
        std::stable_sort(list.begin(), list.end(), [&](const Find* a, const Find* b) {
            const double ca = std::round(cover(*a) * 50.0), cb = std::round(cover(*b) * 50.0);
            if (ca != cb) return ca > cb;
            if (a->score != b->score) return a->score > b->score;
            return a->cell_m < b->cell_m;
        });
        return list;
    }

    void take(const Find& find, const std::string& path_key, const std::string& layer_key = {}) {
        m_proposal.set(path_key, path_of(find));
        if (!find.layer.empty() && !layer_key.empty()) m_proposal.set(layer_key, find.layer);
        for (const auto& [key, value] : find.keys) m_proposal.set(key, value);
        m_result.found.push_back(name_of(find) + ": " + find.what);
        for (const std::string& doubt : find.doubts) look_at(find, doubt);
    }

    const Find* choose_one(FindKind kind, const std::string& path_key,
                           const std::string& layer_key = {}) {
        const auto list = ranked(kind);
        const Find* chosen = nullptr;
        for (const Find* find : list) {
            if (elsewhere(*find)) {
                look_at(*find, find->what +
                                   ", but it lies elsewhere: it does not meet the fields. "
                                   "Left out.");
            } else if (!find->layer.empty() && layer_key.empty()) {
                look_at(*find, find->what +
                                   ", but one layer of several: save it as a file of its "
                                   "own. Left out.");
            } else if (chosen == nullptr) {
                chosen = find;
                take(*find, path_key, layer_key);
            } else {
                look_at(*find, find->what + " too; " + name_of(*chosen) + " was taken. Change " +
                                   path_key + " if that is wrong.");
            }
        }
        return chosen;
    }

    const Find* choose_boundary() {
        const auto list = ranked(FindKind::boundary);
        if (list.empty()) return nullptr;
        const Find* chosen = list.front();
        m_fields = chosen->lon_lat;
        if (!chosen->crs_stated) state_crs(*chosen, "field.crs");
        take(*chosen, "field.boundary", "field.layer");
        for (std::size_t i = 1; i < list.size(); ++i) {
            look_at(*list[i], "polygons too; " + name_of(*chosen) +
                                  " was taken for the boundaries. Change field.boundary if that is "
                                  "wrong.");
        }
        return chosen;
    }

    void choose_terrain() {
        // The slope raster of an elevation raster here is known for what it is, whatever its name.
        for (Find& slope : m_finds) {
            if (slope.kind != FindKind::slope && slope.kind != FindKind::elevation) continue;
            for (const Find& ground : m_finds) {
                if (&ground == &slope || ground.kind != FindKind::elevation) continue;
                const auto unit = slope_of_elevation(ground.file, slope.file);
                if (!unit) continue;
                slope.kind = FindKind::slope;
                slope.what = "slope raster in " + *unit + ", the slope of " + name_of(ground);
                slope.keys = {{"terrain.slope-unit", *unit}};
                slope.doubts.clear();
                break;
            }
        }
        if (choose_one(FindKind::elevation, "terrain.elevation") == nullptr) {
            choose_one(FindKind::slope, "terrain.slope");
            return;
        }
        for (const Find& find : m_finds) {
            if (find.kind == FindKind::slope)
                m_result.found.push_back(name_of(find) + ": " + find.what +
                                         "; not used, elevation says more");
        }
    }

    /// Column names that differ from the survey's, where map and horizons agree on them.
    void choose_soil_columns(const Find* soil, const Find* horizons) {
        static const std::map<std::string, std::string> own = {{"key", "mukey"},
                                                               {"name", "muname"},
                                                               {"k", "kffact"},
                                                               {"t", "tfact"},
                                                               {"hydrologic_group", "hydgrp"},
                                                               {"drainage", "drainagecl"},
                                                               {"top", "hzdept_r"},
                                                               {"bottom", "hzdepb_r"},
                                                               {"sand", "sandtotal_r"},
                                                               {"silt", "silttotal_r"},
                                                               {"clay", "claytotal_r"},
                                                               {"om", "om_r"},
                                                               {"bulk_density", "dbthirdbar_r"},
                                                               {"ksat", "ksat_r"},
                                                               {"awc", "awc_r"}};
        std::map<std::string, std::string> chosen;
        for (const Find* find : {soil, horizons}) {
            if (find == nullptr) continue;
            for (const auto& [name, column] : find->soil_columns) {
                const auto [at, fresh] = chosen.emplace(name, column);
                if (!fresh && !same_ignoring_case(at->second, column)) {
                    look_at(*find, "its column '" + column + "' is called '" + at->second +
                                       "' in " + name_of(*soil) + ": give both the same name.");
                }
            }
        }
        std::string list;
        for (const auto& [name, column] : chosen) {
            if (!same_ignoring_case(own.at(name), column))
                list += (list.empty() ? "" : ",") + name + "=" + column;
        }
        if (!list.empty())
            m_proposal.set("soil.columns", list, "read off the columns' names; check");
    }

    /// A coordinate system for a file without one: degrees, or that of a file it lies on.
    void state_crs(const Find& find, const std::string& key) {
        if (find.lon_lat) {
            m_proposal.set(key, "EPSG:4326", "the file states none; check");
            look_at(find,
                    "it states no coordinate system; its coordinates look like degrees "
                    "(EPSG:4326). Check " +
                        key + ".");
            return;
        }
        for (const Find& other : m_finds) {
            if (!other.crs_stated || other.crs_code.empty() || !other.box || !find.box ||
                !meet(*find.box, *other.box)) {
                continue;
            }
            m_proposal.set(key, other.crs_code, "the file states none; as " + name_of(other));
            look_at(find, "it states no coordinate system; it fits on " + name_of(other) + " in " +
                              other.crs_code + ". Check " + key + ".");
            if (key == "field.crs") {
                const gis::Crs crs = gis::Crs::from_user_input(other.crs_code, key);
                m_fields = gis::transformer(crs, gis::Crs::wgs84()).apply(*find.box);
            }
            return;
        }
        look_at(find, "it states no coordinate system and none can be told from it: set " + key +
                          ", for instance EPSG:26917.");
    }

    void choose_layers() {
        std::string list, names;
        for (const Find& find : m_finds) {
            if (find.kind != FindKind::layer || !find.usable || elsewhere(find)) continue;
            const std::string& name = find.keys.at("zones.layers");
            list += (list.empty() ? "" : ",") + name + "=" + path_of(find);
            names += (names.empty() ? "" : ", ") + name;
            m_result.found.push_back(name_of(find) + ": " + find.what + ", for zones");
        }
        if (list.empty()) return;
        m_proposal.set("zones.layers", list);
        m_result.unsure.push_back(
            "add " + names +
            " to zones.features if the zones shall follow it; the layer alone "
            "changes nothing.");
    }

    void tell_of_others() {
        for (const Find& find : m_finds) {
            if (find.kind == FindKind::drawn_zones) {
                look_at(find, find.what + ": set zones.drawn to it (and zones.drawn-column = " +
                                  find.keys.at("zones.drawn-column") +
                                  ") to plan these zones instead of new ones.");
            } else if (find.kind == FindKind::trial) {
                look_at(find, find.what + ": 'catchfield fit " + find.file.filename().string() +
                                  "' makes response curves of it, for nitrogen.method = response.");
            } else if (find.kind == FindKind::unknown || !find.usable) {
                const std::string what = find.usable || find.what.empty() ? "" : find.what + "; ";
                for (const std::string& doubt : find.doubts) look_at(find, what + doubt);
            } else if (find.kind == FindKind::response) {
                look_at(find, "the curves count with nitrogen.method = response.");
            }
        }
    }

    void tell_place(const Find& boundary) {
        std::string text =
            std::to_string(boundary.features) + (boundary.features == 1 ? " field" : " fields");
        if (boundary.area_ha > 0.0)
            text += ", " + fixed(boundary.area_ha, 1) + " ha (" +
                    fixed(boundary.area_ha / units::ha_per_ac, 1) + " ac)";
        if (const auto middle = centre()) {
            text += ", around " + fixed(std::abs(middle->y), 3) +
                    (middle->y < 0.0 ? " S, " : " N, ") + fixed(std::abs(middle->x), 3) +
                    (middle->x < 0.0 ? " W" : " E");
            text += "; work grid WGS 84 / UTM zone " +
                    std::to_string(gis::utm_zone(middle->x, middle->y)) +
                    (middle->y < 0.0 ? "S" : "N");
        }
        m_result.place = text;
    }

    std::vector<Find> m_finds;
    fs::path m_folder;
    Proposal& m_proposal;
    StartResult& m_result;
    std::optional<Box> m_fields;
};

/// Day of the year with the days of Hopkins' rule of thumb added, to the next five days: spring and
/// summer come four days later for each degree of latitude (Hopkins 1918, Mon. Weather Rev.
/// Supplement 9), from 40 degrees on, at most a month.
Date shifted(Date day, double latitude) {
    const double days = std::clamp(4.0 * (std::abs(latitude) - 40.0), -30.0, 30.0);
    return day + std::chrono::days(5 * std::lround(days / 5.0));
}

void propose_dates(Proposal& proposal, double latitude, Date today) {
    const std::string check = "a proposal by the latitude; write your own date";
    const bool south = latitude < 0.0;
    // The first year whose sowing is still to come.
    for (int year = year_of(today);; ++year) {
        const Date harvest = shifted(make_date(year, south ? 1 : 7, 15), latitude);
        const Date sow = harvest + std::chrono::days(25);
        if (sow < today - std::chrono::days(30)) continue;
        proposal.set("season.harvest", iso_date(harvest), check);
        proposal.set("season.sow", iso_date(sow), check);
        proposal.set(
            "season.next-planting",
            iso_date(shifted(south ? make_date(year, 11, 5) : make_date(year + 1, 5, 5), latitude)),
            check);
        return;
    }
}

void propose_weather(Proposal& proposal, StartResult& result, const Point& centre) {
    const bool normals = proposal.has("weather.monthly") || proposal.has("weather.daily");
    try {
        const weather::NearPlace place = weather::nearest_place(centre.y, centre.x);
        const std::string near =
            place.place.name + " (" + fixed(place.distance_km, 0) + " km away)";
        if (!proposal.has("weather.erosivity") && !proposal.has("weather.rain")) {
            // Left as a comment: what is set counts as the user's own, published figure.
            const std::string r = fixed(place.place.r_si / units::r_si_per_us, 0) + " us";
            proposal.examples["weather.erosivity"] = r;
            proposal.remarks["weather.erosivity"] =
                "not set: a rough reading near " + near + " or from rain stands in";
            result.unsure.push_back("weather.erosivity is not set: about " + r + " near " + near +
                                    " by a rough reading; write the published R of your county.");
        }
        if (!normals) {
            result.unsure.push_back("there is no weather file: built-in normals near " + near +
                                    " stand in, and confidence is low. Give weather.monthly "
                                    "(month,tmean_c,precip_mm).");
        }
    } catch (const Error&) {
        if (!normals) {
            result.unsure.push_back(
                "no built-in weather is near: give weather.monthly, a CSV with 12 rows "
                "month,tmean_c,precip_mm. No plan can be made without.");
        }
        if (!proposal.has("weather.erosivity") && !proposal.has("weather.rain")) {
            result.unsure.push_back(
                "no built-in erosivity is near: give weather.erosivity from a published map (150 "
                "us "
                "or 2500 si); without it a rough estimate from monthly rain is used.");
        }
    }
}

void propose_defaults(Proposal& proposal, StartResult& result, const std::optional<Point>& centre,
                      const StartRequest& request) {
    propose_dates(proposal, centre ? centre->y : 40.0, request.today);
    const bool in_us = !centre || (centre->x > -125.0 && centre->x < -66.0 && centre->y > 24.0 &&
                                   centre->y < 49.5);
    const bool metric = request.metric || !in_us;
    proposal.set("season.previous-crop", "wheat", "the crop just harvested");
    proposal.set("nitrogen.crop", "corn", "the next crop");
    proposal.set("nitrogen.yield-goal", metric ? "10.5 Mg/ha" : "170 bu/ac", "your own goal");
    proposal.set("nitrogen.price-n", metric ? "1.10 /kg" : "0.50 /lb",
                 "an example; write your own price");
    proposal.set("nitrogen.price-crop", metric ? "170 /Mg" : "4.30 /bu",
                 "an example; write your own price");
    proposal.set("output.units", metric ? "metric" : "us");
    result.unsure.push_back(
        "write your own dates (season), crops, yield goal and prices (nitrogen); those in the job "
        "file are examples.");
    if (centre) propose_weather(proposal, result, *centre);
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
        const auto remark = proposal.remarks.find(name);
        if (remark != proposal.remarks.end()) text += "# " + remark->second + "\n";
        if (value != proposal.values.end()) {
            text += short_name + " = " + value->second + "\n";
        } else {
            const auto example = proposal.examples.find(name);
            const std::string_view shown = example != proposal.examples.end()
                                               ? std::string_view(example->second)
                                           : key.fallback.empty() ? key.metavar
                                                                  : key.fallback;
            text += "# " + short_name + " = " + std::string(shown) + "    " +
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
    const std::vector<fs::path> files = files_of(request.inputs);
    std::vector<Find> finds;
    for (const fs::path& file : files) {
        std::vector<Find> some = recognise(file);
        std::move(some.begin(), some.end(), std::back_inserter(finds));
    }
    StartResult result;
    Proposal proposal;
    Chooser chooser(std::move(finds), fs::path(request.output).parent_path(), proposal, result);
    if (!chooser.choose()) {
        std::string seen;
        for (const Find& find : chooser.finds()) {
            seen += (seen.empty() ? "" : "; ") + find.file.filename().string() + ": " +
                    (find.what.empty() && !find.doubts.empty() ? find.doubts.front() : find.what);
        }
        throw Error(ErrorKind::input,
                    files.empty()  ? "there are no files"
                    : seen.empty() ? "no field boundary was found, and no other map or table"
                                   : "no field boundary was found (" + seen + ")",
                    {.path = request.inputs.front(),
                     .hint = "Give a vector file with polygons (GeoJSON, GeoPackage, Shapefile, "
                             "KML)."});
    }
    if (!proposal.has("terrain.elevation") && !proposal.has("terrain.slope")) {
        result.unsure.push_back(
            "no elevation or slope raster was found: terrain.elevation must be set before a plan "
            "can be made.");
    }
    if (!proposal.has("soil.map")) {
        result.unsure.push_back(
            "no soil map was found: soil.map must be set before a plan can be made.");
    }
    propose_defaults(proposal, result, chooser.centre(), request);
    result.job = job_text(proposal);
    gis::write_file_atomically(request.output, result.job);
    return result;
}

}  // namespace catchfield::plan
