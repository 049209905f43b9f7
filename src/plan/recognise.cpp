// SPDX-License-Identifier: MIT
#include "plan/recognise.hpp"

#include "base/error.hpp"
#include "base/table.hpp"
#include "base/text.hpp"
#include "gis/crs.hpp"
#include "gis/files.hpp"
#include "gis/raster_source.hpp"
#include "gis/vector.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <set>

namespace catchfield::plan {

namespace {

namespace fs = std::filesystem;
using Names = std::vector<std::string>;

/// Letters and digits in lower case: "NO3-N (ppm)" is "no3nppm".
std::string squashed(std::string_view text) {
    std::string kept;
    for (const char c : lower_case(text)) {
        if ((c >= 'a' && c <= 'z') || (c >= '0' && c <= '9')) kept += c;
    }
    return kept;
}

bool holds_any(const std::string& text, const Names& parts) {
    return std::any_of(parts.begin(), parts.end(), [&](const std::string& part) {
        return text.find(part) != std::string::npos;
    });
}

/// The first column of any of these squashed names, in the order of the names.
std::optional<std::string> like(const Names& columns, const Names& names) {
    for (const std::string& name : names) {
        for (const std::string& column : columns) {
            if (squashed(column) == name) return column;
        }
    }
    return std::nullopt;
}

bool has(const Names& columns, const std::string& name) {
    return std::find(columns.begin(), columns.end(), name) != columns.end();
}

const Names lon_names = {"lon", "longitude", "long", "lng", "x", "xcoord", "easting", "east"};
const Names lat_names = {"lat", "latitude", "y", "ycoord", "northing", "north"};

/// A column that must have its name, and the names under which it is also met.
struct Wanted {
    std::string name;
    Names also;
};

/// What to rename so that every wanted column has its name; nothing where one is not there at all.
std::optional<Names> renamings(const Names& columns, const std::vector<Wanted>& wanted) {
    Names list;
    for (const Wanted& one : wanted) {
        if (has(columns, one.name)) continue;
        Names names = one.also;
        names.push_back(squashed(one.name));
        const auto found = like(columns, names);
        if (!found) return std::nullopt;
        list.push_back("'" + *found + "' to " + one.name);
    }
    return list;
}

std::string joined(const Names& parts, const char* between = ", ") {
    std::string text;
    for (const std::string& part : parts) text += (text.empty() ? "" : between) + part;
    return text;
}

/// "1 polygon", "14 polygons".
std::string counted(std::size_t count, const std::string& what) {
    return std::to_string(count) + " " + what + (count == 1 ? "" : "s");
}

double median(std::vector<double> values) {
    const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
    std::nth_element(values.begin(), middle, values.end());
    return *middle;
}

// ---- tables

/// Names of soil.columns with what they are called elsewhere; the first is the survey's own.
const std::vector<Wanted>& soil_names() {
    static const std::vector<Wanted> names = {
        {"key", {"mukey", "mapunitkey", "mapunit", "unitid", "unit", "soilid", "profile"}},
        {"name", {"muname", "mapunitname", "soilname", "soiltype", "soil", "series"}},
        {"k", {"kffact", "kf", "kfactor", "kfact", "erodibility", "erod", "k"}},
        {"t", {"tfact", "tfactor", "tolerance", "tol", "t"}},
        {"hydrologic_group", {"hydgrp", "hydgroup", "hydrologicgroup", "hsg"}},
        {"drainage", {"drainagecl", "drainageclass", "drainage"}},
        {"top", {"hzdeptr", "topcm", "top", "topdepth", "depthtop", "upper", "from"}},
        {"bottom", {"hzdepbr", "bottomcm", "bottom", "bottomdepth", "depthbottom", "lower", "to"}},
        {"sand", {"sandtotalr", "sandpct", "sand", "sandtotal"}},
        {"silt", {"silttotalr", "siltpct", "silt", "silttotal"}},
        {"clay", {"claytotalr", "claypct", "clay", "claytotal"}},
        {"om", {"omr", "ompct", "om", "organicmatter", "organicmatterpct"}},
        {"bulk_density", {"dbthirdbarr", "bulkdensity", "bulkdens", "bd", "db", "bdgcm3"}},
        {"ksat", {"ksatr", "ksat"}},
        {"awc", {"awcr", "awc"}},
    };
    return names;
}

std::map<std::string, std::string> soil_columns_of(const Names& columns) {
    std::map<std::string, std::string> found;
    for (const Wanted& name : soil_names()) {
        if (const auto column = like(columns, name.also)) found[name.name] = *column;
    }
    return found;
}

std::vector<double> numbers(const Table& table, const std::string& column) {
    std::vector<double> values;
    const std::size_t position = table.column(column);
    for (std::size_t row = 0; row < table.rows(); ++row) {
        if (const auto value = parse_number(table.text(row, position))) values.push_back(*value);
    }
    return values;
}

/// "10cm", "d_6_in", "ci_20_cm": a depth in a column's name.
bool is_depth_name(const std::string& column) {
    const std::string name = squashed(column);
    std::size_t at = 0;
    for (const char* lead : {"depth", "ci", "d"}) {
        if (name.starts_with(lead)) {
            at = std::string(lead).size();
            break;
        }
    }
    const std::size_t digits = at;
    while (at < name.size() && name[at] >= '0' && name[at] <= '9') ++at;
    const std::string rest = name.substr(at);
    return at > digits && (rest.starts_with("cm") || rest.starts_with("in"));
}

std::optional<Box> box_of_points(const Table& table, const std::string& x, const std::string& y) {
    const std::vector<double> xs = numbers(table, x), ys = numbers(table, y);
    if (xs.empty() || ys.empty()) return std::nullopt;
    const auto [x0, x1] = std::minmax_element(xs.begin(), xs.end());
    const auto [y0, y1] = std::minmax_element(ys.begin(), ys.end());
    return Box{*x0, *y0, *x1, *y1};
}

bool are_degrees(const Box& box) {
    return box.min_x >= -180.0 && box.max_x <= 180.0 && box.min_y >= -90.0 && box.max_y <= 90.0;
}

/// Readings at stops; false where it is no such table.
bool look_for_probes(const Table& table, Find& find) {
    const Names& columns = table.columns();
    const auto wide = std::count_if(columns.begin(), columns.end(), is_depth_name);
    const auto depth = like(columns, {"depthcm", "depthin", "depthmm", "depth", "z"});
    std::optional<std::string> strength;
    for (const std::string& column : columns) {
        const std::string name = squashed(column);
        if (holds_any(name, {"coneindex", "penetr", "resist", "strength"}) || name == "ci" ||
            name == "cimpa" || name == "cikpa" || name == "cipsi" || name == "psi" ||
            name == "kpa" || name == "mpa") {
            strength = column;
            break;
        }
    }
    if (wide < 3 && !(depth && strength)) return false;
    find.kind = FindKind::probes;
    const auto x = like(columns, lon_names), y = like(columns, lat_names);
    if (!x || !y) {
        find.usable = false;
        find.what = "penetrometer stops without a place";
        find.doubts.push_back("add columns lon and lat to it.");
        return true;
    }
    const auto stop = like(columns, {"stop", "stopid", "id", "point", "pointid", "probe", "site",
                                     "sample", "location", "name"});
    Names pairs;
    const auto map = [&](const char* name, const std::string& column, const Names& known) {
        if (!has(known, lower_case(column))) pairs.push_back(std::string(name) + "=" + column);
    };
    if (stop) map("stop", *stop, {"stop"});
    map("x", *x, {"x", "lon", "longitude", "easting"});
    map("y", *y, {"y", "lat", "latitude", "northing"});
    if (wide < 3) {
        map("depth", *depth, {"depth", "depth_cm", "depth_in", "depth_mm"});
        map("strength", *strength,
            {"strength", "strength_psi", "strength_kpa", "strength_mpa", "ci", "ci_mpa", "ci_kpa",
             "ci_psi"});
        const bool depth_unit = holds_any(squashed(*depth), {"cm", "in", "mm"});
        if (!depth_unit) {
            find.doubts.push_back(
                "the depths' unit is not in the column's name: call it depth_cm "
                "or depth_in.");
        }
        const std::string name = squashed(*strength);
        if (!holds_any(name, {"psi", "kpa", "mpa"}) && !has(columns, "unit")) {
            const std::vector<double> values = numbers(table, *strength);
            if (!values.empty()) {
                const double middle = median(values);
                const char* unit = middle < 15.0 ? "MPa" : middle < 700.0 ? "psi" : "kPa";
                find.keys["compaction.probe-unit"] = unit;
                find.doubts.push_back(std::string("readings are taken as ") + unit +
                                      " by their size; check compaction.probe-unit.");
            }
        }
    }
    if (!pairs.empty()) find.keys["compaction.probe-columns"] = joined(pairs, ",");
    find.box = box_of_points(table, *x, *y);
    if (find.box && are_degrees(*find.box)) find.lon_lat = find.box;
    find.what = "penetrometer stops";
    if (stop) {
        std::set<std::string> stops;
        for (std::size_t row = 0; row < table.rows(); ++row) stops.insert(table.text(row, *stop));
        find.what += ", " + std::to_string(stops.size());
    }
    if (!like(columns, {"moisture"})) {
        find.doubts.push_back(
            "say in compaction.probe-moisture whether the stops were pushed near "
            "field capacity; readings count only then.");
    }
    return true;
}

/// A table of a kind whose columns have fixed names.
bool look_for_fixed(const Table& table, Find& find) {
    struct Kind {
        FindKind kind;
        const char* what;
        std::vector<Wanted> wanted;
    };
    const Wanted precip{"precip_mm",
                        {"precipmm", "precip", "precipitation", "prcp", "rain", "rainmm",
                         "rainfall", "rainfallmm"}};
    const Wanted lon{"lon", lon_names}, lat{"lat", lat_names};
    const Wanted sample{"sample", {"sampleid", "sampleno", "id", "site", "point", "labid"}};
    const std::vector<Kind> kinds = {
        {FindKind::daily,
         "daily weather",
         {{"date", {"day", "datum"}},
          {"tmax_c", {"tmaxc", "tmax", "tempmax", "maxtemp", "maxt"}},
          {"tmin_c", {"tminc", "tmin", "tempmin", "mintemp", "mint"}},
          precip}},
        {FindKind::monthly,
         "monthly normals",
         {{"month", {"mon", "monat", "mes"}},
          {"tmean_c", {"tmeanc", "tmean", "tavg", "tavgc", "temp", "tempc", "temperature"}},
          precip}},
        {FindKind::rain,
         "rain record",
         {{"time", {"datetime", "timestamp"}},
          {"depth_mm", {"depthmm", "rainmm", "rain", "precipmm", "precip"}}}},
        {FindKind::soil_tests,
         "soil tests",
         {sample,
          lon,
          lat,
          {"nitrate_ppm",
           {"nitrateppm", "nitrate", "no3nppm", "no3n", "no3ppm", "no3", "nitraten"}},
          {"top_cm", {"topcm", "top", "from", "fromcm"}},
          {"bottom_cm", {"bottomcm", "bottom", "to", "tocm"}}}},
        {FindKind::soil_tests,
         "soil tests",
         {sample, lon, lat, {"om_pct", {"ompct", "om", "organicmatter", "organicmatterpct"}}}},
    };
    for (const Kind& kind : kinds) {
        const auto rename = renamings(table.columns(), kind.wanted);
        if (!rename) continue;
        find.kind = kind.kind;
        find.what = kind.what;
        if (kind.kind == FindKind::monthly && table.rows() != 12) {
            find.what += ", but " + std::to_string(table.rows()) + " rows";
            find.usable = false;
            find.doubts.push_back("it must have 12 rows, one a month.");
        }
        if (!rename->empty()) {
            find.usable = false;
            find.doubts.push_back("rename its columns: " + joined(*rename) +
                                  "; temperatures in degC, rain in mm, depths in cm.");
        }
        if (kind.kind == FindKind::soil_tests && rename->empty()) {
            find.box = find.lon_lat = box_of_points(table, "lon", "lat");
            std::set<std::string> samples;
            for (std::size_t row = 0; row < table.rows(); ++row)
                samples.insert(table.text(row, "sample"));
            find.what += ", " + counted(samples.size(), "sample");
            find.doubts.push_back(
                "say in nitrogen.soil-tests-taken whether they were taken in "
                "fall (before the cover) or in spring.");
        }
        return true;
    }
    return false;
}

bool look_for_scouting(const Names& columns, Find& find) {
    const bool measured = has(columns, "height_cm") || has(columns, "stand_pct") ||
                          has(columns, "biomass_kg_ha") || has(columns, "frost_damage_pct");
    if (!measured || !has(columns, "date") || !(has(columns, "zone") || has(columns, "lon")))
        return false;
    find.kind = FindKind::scouting;
    find.what = "scouting records: they replace the forecast where they lie";
    return true;
}

/// Values at many places: yield monitor, conductivity.
bool look_for_points(const Table& table, Find& find) {
    const Names& columns = table.columns();
    const auto x = like(columns, lon_names), y = like(columns, lat_names);
    if (!x || !y) return false;
    std::optional<std::string> value;
    for (const std::string& column : columns) {
        const std::string name = squashed(column);
        if (holds_any(name, {"yield", "yld", "ndvi", "conduct"}) || name.starts_with("ec")) {
            value = column;
            break;
        }
    }
    if (!value) return false;
    find.kind = FindKind::layer;
    find.what = std::to_string(table.rows()) + " points of '" + *value + "'";
    find.box = box_of_points(table, *x, *y);
    if (find.box && are_degrees(*find.box)) find.lon_lat = find.box;
    Names wrong;
    if (*x != "lon") wrong.push_back("'" + *x + "' to lon");
    if (*y != "lat") wrong.push_back("'" + *y + "' to lat");
    if (find.box && !find.lon_lat) {
        find.usable = false;
        find.doubts.push_back("its coordinates are no degrees: give lon and lat.");
    } else if (!wrong.empty()) {
        find.usable = false;
        find.doubts.push_back("rename its columns: " + joined(wrong) + ".");
    }
    find.keys["zones.layers"] = *value;
    return true;
}

bool look_for_trial(const Names& columns, Find& find) {
    const auto rate = like(columns, {"rate", "nrate", "ratekgha", "ratelbac", "nkgha", "nlbac",
                                     "nitro", "nitrogen", "napplied", "n"});
    const bool yield = std::any_of(columns.begin(), columns.end(), [](const std::string& column) {
        return holds_any(squashed(column), {"yield", "yld"});
    });
    if (!rate || !yield) return false;
    find.kind = FindKind::trial;
    find.what = "plots with nitrogen rates and yields";
    return true;
}

bool look_for_horizons(const Table& table, Find& find) {
    auto columns = soil_columns_of(table.columns());
    if (!columns.contains("key") || !columns.contains("top") || !columns.contains("bottom"))
        return false;
    if (!columns.contains("clay") && !columns.contains("sand") && !columns.contains("bulk_density"))
        return false;
    for (const char* of_map : {"name", "t", "hydrologic_group", "drainage"}) columns.erase(of_map);
    find.kind = FindKind::horizons;
    find.soil_columns = std::move(columns);
    std::set<std::string> keys;
    for (std::size_t row = 0; row < table.rows(); ++row)
        keys.insert(table.text(row, find.soil_columns["key"]));
    find.what = "soil horizons of " + counted(keys.size(), "profile");
    return true;
}

void look_at_table(Find& find) {
    const std::string path = find.file.string();
    Table table;
    try {
        table = Table::parse(gis::read_file(path, 256u << 20), path);
    } catch (const Error& error) {
        find.doubts.push_back("not read: " + error.reason() + ".");
        return;
    }
    find.columns = table.columns();
    if (find.columns.size() == 1) {
        // Columns set apart by blanks, as trials often are.
        Names words;
        for (const std::string& word : split(find.columns.front(), ' ')) {
            if (!word.empty()) words.push_back(word);
        }
        if (!look_for_trial(words, find)) find.doubts.push_back("a text of no known kind.");
        return;
    }
    if (look_for_horizons(table, find) || look_for_fixed(table, find) ||
        look_for_scouting(find.columns, find) || look_for_probes(table, find) ||
        look_for_trial(find.columns, find) || look_for_points(table, find)) {
        return;
    }
    find.doubts.push_back("a table of none of the known kinds (columns " + joined(find.columns) +
                          ").");
}

// ---- rasters

/// Values of the middle of a raster on its own lattice.
gis::RasterWindow<float> middle_of(const gis::RasterSource& source, int most) {
    const gis::RasterInfo& info = source.info();
    GridFrame frame;
    frame.cell = info.cell_x;
    frame.cols = std::min(info.cols, most);
    frame.rows = std::min(info.rows, most);
    frame.west = info.bounds.min_x + (info.cols - frame.cols) / 2 * info.cell_x;
    frame.north = info.bounds.max_y - (info.rows - frame.rows) / 2 * info.cell_y;
    return source.read<float>(frame, source.crs(), gis::Resampling::nearest);
}

struct Look {
    double least = 0.0, most = 0.0, middle = 0.0;
    double roughness = 0.0;  ///< mean step between neighbours by the standard deviation
    std::size_t cells = 0;
};

Look look_of(const gis::RasterSource& source) {
    const gis::RasterWindow<float> window = middle_of(source, 512);
    const GridFrame& frame = window.values.frame;
    std::vector<double> values;
    double sum = 0.0, squares = 0.0, steps = 0.0;
    std::size_t pairs = 0;
    for (int row = 0; row < frame.rows; ++row) {
        for (int col = 0; col < frame.cols; ++col) {
            if (!window.valid.at(row, col)) continue;
            const double value = static_cast<double>(window.values.at(row, col));
            values.push_back(value);
            sum += value;
            squares += value * value;
            if (col > 0 && window.valid.at(row, col - 1)) {
                steps += std::abs(value - static_cast<double>(window.values.at(row, col - 1)));
                ++pairs;
            }
        }
    }
    Look look;
    look.cells = values.size();
    if (values.empty()) return look;
    const auto [least, most] = std::minmax_element(values.begin(), values.end());
    look.least = *least;
    look.most = *most;
    const double n = static_cast<double>(values.size());
    const double deviation = std::sqrt(std::max(0.0, squares / n - sum / n * sum / n));
    if (pairs > 0 && deviation > 0.0)
        look.roughness = steps / static_cast<double>(pairs) / deviation;
    look.middle = median(std::move(values));
    return look;
}

void look_at_raster(Find& find) {
    try {
        const gis::RasterSource source(find.file.string());
        const gis::RasterInfo& info = source.info();
        find.box = info.bounds;
        find.lon_lat = source.bounds_in(gis::Crs::wgs84());
        find.crs_code = source.crs().code();
        find.crs_stated = true;
        find.cell_m = source.cell_m();
        const std::string cells = "cells of " + significant(find.cell_m, 3) + " m";
        if (info.bands > 2) {
            find.doubts.push_back("a picture of " + std::to_string(info.bands) +
                                  " bands, left out.");
            return;
        }
        const std::string name = lower_case(find.file.stem().string() + " " + info.description);
        const std::string unit = lower_case(info.unit);
        const Look look = look_of(source);
        if (look.cells == 0) {
            find.doubts.push_back("no values in its middle, left out.");
            return;
        }
        const bool named_slope = holds_any(name, {"slope", "slp", "gradient"}) || unit == "%" ||
                                 unit == "percent" || unit.starts_with("deg");
        const bool named_layer = holds_any(name, {"yield", "ndvi", "conduct", "biomass"}) ||
                                 name.starts_with("ec_") || name.starts_with("ec ") || name == "ec";
        const bool named_elevation = source.metres_per_value().has_value() ||
                                     holds_any(name, {"dem", "dtm", "dsm", "elev", "height",
                                                      "lidar", "terrain", "altitude"});
        // Slopes start at zero, stay low and change from cell to cell; ground does not.
        const bool like_slope =
            look.least >= 0.0 && look.most <= 200.0 && look.middle < 40.0 && look.roughness > 0.15;
        if (named_layer && !named_elevation && !named_slope) {
            find.kind = FindKind::layer;
            find.what = "raster by its name, " + cells;
            find.keys["zones.layers"] = squashed(find.file.stem().string());
            return;
        }
        if (named_slope || (like_slope && !named_elevation)) {
            find.kind = FindKind::slope;
            find.what = "slope raster, " + cells;
            std::string slope_unit, reason;
            if (unit == "%" || unit == "percent" || unit.starts_with("deg")) {
                slope_unit = unit.starts_with("deg") ? "degrees" : "percent";
            } else if (look.most > 90.0) {
                slope_unit = "percent";
                reason = "values above 90 are no degrees";
            } else if (look.most < 1.6 && look.middle < 0.4) {
                slope_unit = "ratio";
                reason = "by its values, at most " + significant(look.most, 3);
            } else if (holds_any(name, {"deg", "grad"})) {
                slope_unit = "degrees";
                reason = "by the file's name";
            } else if (holds_any(name, {"pct", "perc", "prc"})) {
                slope_unit = "percent";
                reason = "by the file's name";
            } else {
                slope_unit = "percent";
                reason = "nothing says whether percent or degrees";
            }
            find.keys["terrain.slope-unit"] = slope_unit;
            if (!reason.empty())
                find.doubts.push_back("its unit is taken as " + slope_unit + " (" + reason +
                                      "); check terrain.slope-unit.");
            if (!named_slope)
                find.doubts.push_back("it is taken for slope by its values; nothing else says so.");
            return;
        }
        find.kind = FindKind::elevation;
        find.what = "elevation raster, " + cells + ", " + fixed(look.least, 0) + " to " +
                    fixed(look.most, 0);
        if (const auto metres = source.metres_per_value()) {
            find.what += *metres == 1.0 ? " m" : " ft";
        } else if (source.crs().is_projected() && source.crs().metres_per_unit() < 0.9) {
            const bool survey = std::abs(source.crs().metres_per_unit() - 0.3048) > 1e-7;
            find.keys["terrain.elevation-unit"] = survey ? "us-ft" : "ft";
            find.doubts.push_back(
                "it does not state the unit of its heights; its coordinates are "
                "in feet, so feet are written. Check terrain.elevation-unit.");
        } else {
            find.keys["terrain.elevation-unit"] = "m";
            find.doubts.push_back(
                "it does not state the unit of its heights: metres are written. "
                "Check terrain.elevation-unit.");
        }
        if (!named_elevation)
            find.doubts.push_back("it is taken for elevation by its values; nothing else says so.");
    } catch (const Error& error) {
        find.kind = FindKind::unknown;
        find.doubts.push_back("not used: " + error.reason() +
                              (error.context().hint.empty() ? "." : ". " + error.context().hint));
    }
}

// ---- vectors

/// Columns whose values differ between features and read like names.
std::string id_column_of(const gis::VectorLayer& layer) {
    const auto distinct = [&](std::size_t column) {
        std::set<std::string> values;
        for (const gis::Feature& feature : layer.features) {
            if (feature.values[column].empty() || !values.insert(feature.values[column]).second)
                return false;
        }
        return true;
    };
    for (const char* wanted : {"field", "fieldname", "fieldid", "name", "id", "parcel", "label"}) {
        const auto column = like(layer.columns, {wanted});
        if (column && distinct(layer.column(*column))) return *column;
    }
    for (std::size_t c = 0; c < layer.columns.size(); ++c) {
        if (!layer.features.empty() && distinct(c) && !parse_number(layer.features[0].values[c]))
            return layer.columns[c];
    }
    return {};
}

/// Whether every feature has a text that holds one of the words.
bool all_hold(const gis::VectorLayer& layer, const Names& words) {
    return std::all_of(
        layer.features.begin(), layer.features.end(), [&](const gis::Feature& feature) {
            return std::any_of(
                feature.values.begin(), feature.values.end(),
                [&](const std::string& value) { return holds_any(lower_case(value), words); });
        });
}

void set_soil_units(const gis::VectorLayer& layer, Find& find) {
    const auto middle = [&](const char* name) -> std::optional<double> {
        const auto column = find.soil_columns.find(name);
        if (column == find.soil_columns.end()) return std::nullopt;
        std::vector<double> values;
        const std::size_t position = layer.column(column->second);
        for (const gis::Feature& feature : layer.features) {
            if (const auto value = parse_number(feature.values[position])) values.push_back(*value);
        }
        if (values.empty()) return std::nullopt;
        return median(std::move(values));
    };
    // K in US units runs from 0.02 to 0.7, in SI to 0.09; T from 1 to 5 tons an acre.
    if (const auto k = middle("k");
        k && *k < 0.08 && squashed(find.soil_columns["k"]) != "kffact") {
        find.keys["soil.k-unit"] = "si";
        find.doubts.push_back("erodibility is taken as SI by its size; check soil.k-unit.");
    }
    if (const auto t = middle("t"); t && *t > 5.0) {
        find.keys["soil.t-unit"] = "si";
        find.doubts.push_back("tolerance is taken as Mg/ha by its size; check soil.t-unit.");
    }
}

void look_at_layer(const gis::VectorLayer& layer, Find& find) {
    find.columns = layer.columns;
    find.features = layer.features.size();
    if (layer.features.empty()) {
        find.doubts.push_back("it has no features, left out.");
        return;
    }
    Box box{1e300, 1e300, -1e300, -1e300};
    bool areas = false, points = true;
    for (const gis::Feature& feature : layer.features) {
        areas = areas || feature.kind == gis::GeometryKind::polygons;
        points = points && feature.kind == gis::GeometryKind::points;
        if (feature.kind == gis::GeometryKind::none) continue;
        const Box one = feature.box();
        box = {std::min(box.min_x, one.min_x), std::min(box.min_y, one.min_y),
               std::max(box.max_x, one.max_x), std::max(box.max_y, one.max_y)};
    }
    if (box.min_x > box.max_x) {
        find.doubts.push_back("its features have no geometry, left out.");
        return;
    }
    find.box = box;
    gis::Crs crs;
    if (!layer.crs_wkt.empty()) {
        crs = gis::Crs::from_wkt(layer.crs_wkt, find.file.string());
        find.crs_stated = true;
        find.crs_code = crs.code();
    } else if (are_degrees(box)) {
        crs = gis::Crs::wgs84();
    }
    if (crs) find.lon_lat = gis::transformer(crs, gis::Crs::wgs84()).apply(box);

    const std::string name =
        lower_case(find.file.stem().string() + " " + find.layer + " " + layer.name);
    if (points) {
        std::string csv = "x,y";
        for (const std::string& column : layer.columns) csv += "," + csv_cell(column);
        csv += "\n";
        for (std::size_t i = 0; i < std::min<std::size_t>(layer.features.size(), 1000); ++i) {
            const gis::Feature& feature = layer.features[i];
            if (feature.points.empty()) continue;
            csv += shortest(feature.points[0].x) + "," + shortest(feature.points[0].y);
            for (const std::string& value : feature.values) csv += "," + csv_cell(value);
            csv += "\n";
        }
        const Table table = Table::parse(csv, find.file.string());
        Find as_table = find;
        if (look_for_probes(table, as_table)) {
            as_table.lon_lat = find.lon_lat;
            as_table.box = find.box;
            as_table.keys.erase("compaction.probe-columns");
            find = std::move(as_table);
            return;
        }
        if (look_for_points(table, as_table) || look_for_fixed(table, as_table)) {
            find.kind = as_table.kind;
            find.what = as_table.what + " as a map layer";
            find.usable = false;
            find.doubts.push_back("save it as CSV with columns lon and lat.");
            return;
        }
    }
    const bool named_fields = holds_any(name, {"bound", "field", "parcel", "outline", "perimeter"});
    if (holds_any(name, {"no-apply", "noapply", "no_apply", "setback", "buffer"}) ||
        (!named_fields &&
         all_hold(layer, {"sinkhole", "stream", "wellhead", "water well", "intake", "pond"}))) {
        find.kind = FindKind::no_apply;
        find.what = "places that take no nitrogen, " + std::to_string(find.features);
        find.keys["nitrogen.setback"] = "10 m";
        find.doubts.push_back("nitrogen.setback is a proposal of 10 m; check your local rules.");
        return;
    }
    if (!points && (holds_any(name, {"barrier", "terrace", "ditch", "waterway"}) ||
                    (!named_fields && all_hold(layer, {"terrace", "ditch", "waterway"})))) {
        find.kind = FindKind::barriers;
        find.what = "features that stop flow, " + std::to_string(find.features);
        return;
    }
    if (!areas) {
        find.doubts.push_back("points or lines of no known kind, left out.");
        return;
    }
    auto soil = soil_columns_of(layer.columns);
    const auto surveyed =
        std::count_if(layer.columns.begin(), layer.columns.end(), [](const std::string& column) {
            const std::string plain = lower_case(column);
            return plain == "mukey" || plain == "musym" || plain == "muname" || plain == "kffact" ||
                   plain == "kwfact" || plain == "tfact" || plain == "hydgrp";
        });
    soil.erase("top");
    soil.erase("bottom");
    std::size_t telling = 0;
    for (const char* one : {"k", "t", "hydrologic_group", "drainage", "sand", "clay", "om", "name"})
        telling += soil.contains(one) ? 1U : 0U;
    if (surveyed > 0 || telling >= 2) {
        find.kind = FindKind::soil_map;
        find.soil_columns = std::move(soil);
        find.what = "soil map, " + counted(find.features, "polygon");
        set_soil_units(layer, find);
        return;
    }
    const std::string id = id_column_of(layer);
    find.kind = FindKind::boundary;
    for (const gis::Feature& feature : layer.features) {
        if (crs) find.area_ha += gis::geodesic_area_m2(feature.polygons, crs) * 1e-4;
    }
    const auto zone = like(layer.columns, {"zone", "zoneid", "mz", "managementzone", "zonenumber"});
    if (zone && find.features > 1 && !named_fields) {
        find.kind = FindKind::drawn_zones;
        find.what =
            std::to_string(find.features) + " polygons with zone numbers in '" + *zone + "'";
        find.keys["zones.drawn-column"] = *zone;
        return;
    }
    if (!id.empty()) find.keys["field.id-column"] = id;
    find.what = "field boundaries, " + std::to_string(find.features) +
                (id.empty() ? ", no name column" : ", named by '" + id + "'");
    const double each = find.area_ha / static_cast<double>(find.features);
    find.score = (named_fields ? 4.0 : 0.0) + (id.empty() ? 0.0 : 1.0) +
                 (each > 0.2 && each < 2000.0 ? 2.0 : 0.0);
}

std::vector<Find> look_at_vector(const fs::path& file) {
    Find find;
    find.file = file;
    std::vector<gis::LayerInfo> layers;
    try {
        layers = gis::list_layers(file.string());
    } catch (const Error&) {
        find.doubts.push_back("not a format that is read, left out.");
        return {find};
    }
    std::vector<Find> finds;
    for (const gis::LayerInfo& info : layers) {
        Find one = find;
        if (layers.size() > 1) one.layer = info.name;
        try {
            look_at_layer(gis::read_layer(file.string(), one.layer), one);
        } catch (const Error& error) {
            one.kind = FindKind::unknown;
            one.doubts.push_back("not used: " + error.reason() + ".");
        }
        finds.push_back(std::move(one));
    }
    return finds;
}

}  // namespace

std::vector<Find> recognise(const fs::path& file) {
    static const std::set<std::string> beside = {
        "",      ".ini",  ".md",  ".prj", ".dbf", ".shx",  ".cpg", ".qpj", ".sbn",
        ".sbx",  ".qmd",  ".qml", ".xml", ".tfw", ".ovr",  ".pdf", ".jpg", ".png",
        ".html", ".docx", ".doc", ".sld", ".log", ".csvt", ".lnk"};
    static const std::set<std::string> rasters = {".tif", ".tiff", ".asc", ".img",
                                                  ".hgt", ".vrt",  ".bil", ".flt"};
    const std::string extension = lower_case(file.extension().string());
    if (beside.contains(extension)) return {};
    Find find;
    find.file = file;
    if (extension == ".csv" || extension == ".txt" || extension == ".tsv") {
        look_at_table(find);
        return {find};
    }
    if (rasters.contains(extension)) {
        look_at_raster(find);
        return {find};
    }
    if (extension == ".xlsx" || extension == ".xls" || extension == ".ods") {
        find.doubts.push_back("a spreadsheet, which is not read: save each sheet as CSV.");
        return {find};
    }
    if (extension == ".zip" || extension == ".7z" || extension == ".gz") {
        find.doubts.push_back("an archive, which is not opened: unpack it first.");
        return {find};
    }
    if (extension == ".json") {
        try {
            const std::string text = gis::read_file(file.string(), 256u << 20).substr(0, 4096);
            if (text.find("catchfield nitrogen response") != std::string::npos) {
                find.kind = FindKind::response;
                find.what = "nitrogen response curves of 'catchfield fit'";
                return {find};
            }
            if (text.find("Feature") == std::string::npos) return {};
        } catch (const Error& error) {
            find.doubts.push_back("not read: " + error.reason() + ".");
            return {find};
        }
    }
    return look_at_vector(file);
}

std::optional<std::string> slope_of_elevation(const fs::path& elevation, const fs::path& slope) {
    try {
        const gis::RasterSource ground(elevation.string());
        const gis::RasterSource other(slope.string());
        if (!ground.crs().is_projected()) return std::nullopt;
        const gis::RasterWindow<float> z = middle_of(ground, 256);
        const GridFrame& frame = z.values.frame;
        const auto s = other.read<float>(frame, ground.crs(), gis::Resampling::bilinear);
        // Slopes of the ground by central differences, as rise over run.
        std::vector<double> ours, theirs;
        for (int row = 1; row + 1 < frame.rows; ++row) {
            for (int col = 1; col + 1 < frame.cols; ++col) {
                if (!s.valid.at(row, col) || !z.valid.at(row, col - 1) ||
                    !z.valid.at(row, col + 1) || !z.valid.at(row - 1, col) ||
                    !z.valid.at(row + 1, col)) {
                    continue;
                }
                const auto at = [&](int r, int c) {
                    return static_cast<double>(z.values.at(r, c));
                };
                const double east = (at(row, col + 1) - at(row, col - 1)) / (2.0 * frame.cell);
                const double south = (at(row + 1, col) - at(row - 1, col)) / (2.0 * frame.cell);
                ours.push_back(std::hypot(east, south));
                theirs.push_back(static_cast<double>(s.values.at(row, col)));
            }
        }
        if (ours.size() < 100) return std::nullopt;
        const double n = static_cast<double>(ours.size());
        double mx = 0.0, my = 0.0, xx = 0.0, yy = 0.0, xy = 0.0;
        for (std::size_t i = 0; i < ours.size(); ++i) {
            mx += ours[i] / n;
            my += theirs[i] / n;
        }
        for (std::size_t i = 0; i < ours.size(); ++i) {
            xx += (ours[i] - mx) * (ours[i] - mx);
            yy += (theirs[i] - my) * (theirs[i] - my);
            xy += (ours[i] - mx) * (theirs[i] - my);
        }
        if (!(xx > 0.0) || !(yy > 0.0) || xy / std::sqrt(xx * yy) < 0.8) return std::nullopt;
        // Heights in feet over metres would be off by 3.3; units differ by 1.75 and 100.
        const double ratio = my / mx;
        const std::array<std::pair<double, const char*>, 3> units = {
            {{100.0, "percent"}, {180.0 / std::acos(-1.0), "degrees"}, {1.0, "ratio"}}};
        for (const auto& [factor, unit] : units) {
            if (std::abs(std::log(ratio / factor)) < 0.22) return unit;
        }
        return std::nullopt;
    } catch (const Error&) {
        return std::nullopt;
    }
}

}  // namespace catchfield::plan
