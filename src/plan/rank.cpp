// SPDX-License-Identifier: MIT
#include "plan/rank.hpp"

#include "base/error.hpp"
#include "base/table.hpp"
#include "base/text.hpp"
#include "gis/crs.hpp"
#include "gis/files.hpp"
#include "gis/geopackage.hpp"
#include "gis/start.hpp"
#include "gis/vector.hpp"
#include "plan/columns.hpp"
#include "plan/job.hpp"

#include <fmt/core.h>
#include <nlohmann/json.hpp>

#include <algorithm>
#include <filesystem>
#include <set>

namespace catchfield::plan {

namespace {

using erosion::RankBy;
using erosion::RankedRow;
using gis::FieldType;
using gis::Value;

/// What a plan says of a zone or field beside the figures that are ranked.
struct Facts {
    std::string plan;   ///< folder
    std::string cover;  ///< zones only
    std::string confidence;
    MultiPolygon shape;  ///< in the CRS of the first plan
};
using FactsBook = std::map<std::pair<std::string, int>, Facts>;  ///< zone 0: the field

struct Plans {
    gis::Crs crs;
    std::vector<erosion::RankInput> rows;
    std::vector<Unranked> unranked;
    FactsBook facts;
    std::set<std::string> covers;
    UnitSystem units = UnitSystem::us;
};

gis::VectorLayer plan_layer(const std::string& folder, const std::string& name) {
    const std::filesystem::path package = std::filesystem::path(folder) / "plan.gpkg";
    const char* hint = "Give a folder that 'catchfield plan' has written.";
    if (!std::filesystem::is_directory(folder)) {
        throw Error(ErrorKind::input,
                    std::filesystem::exists(folder) ? "not a folder" : "there is no such folder",
                    {.path = folder, .hint = hint});
    }
    if (!std::filesystem::exists(package)) {
        throw Error(ErrorKind::input, "not a plan folder: there is no plan.gpkg in it",
                    {.path = folder, .hint = hint});
    }
    try {
        return gis::read_layer(package.string(), name);
    } catch (const Error& error) {
        if (error.kind() != ErrorKind::usage) throw;
        throw Error(ErrorKind::input, "not a plan: it has no layer '" + name + "'",
                    {.path = package.string(), .hint = hint});
    }
}

/// The units that the plan was made in; US where it does not say.
UnitSystem units_of(const std::string& folder) {
    const std::filesystem::path run = std::filesystem::path(folder) / "run.json";
    if (!std::filesystem::exists(run)) return UnitSystem::us;
    const auto json = nlohmann::json::parse(gis::read_file(run.string()), nullptr, false);
    if (!json.is_object() || !json.contains("settings")) return UnitSystem::us;
    return json["settings"].value("output.units", "us") == "metric" ? UnitSystem::metric
                                                                    : UnitSystem::us;
}

/// Cells of one feature by column name.
class Row {
  public:
    Row(const gis::VectorLayer& layer, const gis::Feature& feature)
        : m_layer(layer), m_feature(feature) {}
    const std::string& text(const char* column) const {
        return m_feature.values[m_layer.column(column)];
    }
    /// Nothing for null. Throws Error(data) for what is not a number.
    std::optional<double> number(const char* column) const {
        const std::string& value = text(column);
        if (value.empty()) return std::nullopt;
        const auto parsed = parse_number(value);
        if (!parsed) fail(std::string(column) + " is '" + value + "', not a number");
        return parsed;
    }
    [[noreturn]] void fail(const std::string& reason) const {
        throw Error(ErrorKind::data, reason,
                    {.path = m_layer.path,
                     .layer = m_layer.name,
                     .feature = std::to_string(m_feature.fid)});
    }

  private:
    const gis::VectorLayer& m_layer;
    const gis::Feature& m_feature;
};

std::optional<double> price_of(const SeedPrices& prices, const std::string& cover) {
    auto found = prices.find(cover);
    if (found == prices.end()) found = prices.find("");
    return found == prices.end() ? std::nullopt : std::optional(found->second);
}

void read_zones(const std::string& folder, const RankRequest& request, Plans& plans) {
    const gis::VectorLayer layer = plan_layer(folder, "zones");
    const gis::Crs crs = gis::require_crs(layer.crs_wkt, "", layer.path, "the plan's own CRS");
    const gis::Transformer& to_first = gis::transformer(crs, plans.crs);
    for (const gis::Feature& feature : layer.features) {
        const Row row(layer, feature);
        erosion::RankInput input;
        input.field = row.text("field_id");
        const auto zone = parse_integer(row.text("zone"));
        const auto area = row.number("area_ha");
        if (!zone || *zone < 1 || !area) row.fail("the zone has no number or no area");
        input.zone = static_cast<int>(*zone);
        input.area_ha = *area;
        const auto now = row.number("soil_loss_now_mg_ha");
        const auto cover = row.number("soil_loss_cover_mg_ha");
        const auto t = row.number("t_mg_ha");
        Facts facts{folder, row.text("cover"), row.text("confidence"), {}};
        if (!facts.cover.empty()) plans.covers.insert(facts.cover);
        if (!now || !cover) {
            plans.unranked.push_back(
                {input.field, input.zone, input.area_ha, "its soil loss is not known"});
            continue;
        }
        if (!t || *t <= 0.0) {
            plans.unranked.push_back(
                {input.field, input.zone, input.area_ha, "its soil loss tolerance T is not known"});
            continue;
        }
        input.loss_now_mg_ha = *now;
        input.loss_cover_mg_ha = *cover;
        input.t_mg_ha = *t;
        const auto price = price_of(request.prices, facts.cover);
        const auto seed = row.number("seed_rate_kg_ha");
        if (price && seed && !facts.cover.empty()) input.cost_per_ha = *price * *seed;
        facts.shape = to_first.apply(feature.polygons);
        plans.facts[{input.field, input.zone}] = std::move(facts);
        plans.rows.push_back(std::move(input));
    }
}

void read_fields(const std::string& folder, std::map<std::string, std::string>& owner,
                 Plans& plans) {
    const gis::VectorLayer layer = plan_layer(folder, "fields");
    if (owner.empty()) {
        plans.crs = gis::require_crs(layer.crs_wkt, "", layer.path, "the plan's own CRS");
        plans.units = units_of(folder);
    }
    const gis::Crs crs = gis::require_crs(layer.crs_wkt, "", layer.path, "the plan's own CRS");
    const gis::Transformer& to_first = gis::transformer(crs, plans.crs);
    for (const gis::Feature& feature : layer.features) {
        const std::string& id = Row(layer, feature).text("field_id");
        const auto [before, is_new] = owner.emplace(id, folder);
        if (!is_new) {
            throw Error(ErrorKind::data, "field '" + id + "' is also in " + before->second,
                        {.path = folder,
                         .hint = "A field may be ranked once: leave one folder out, or give the "
                                 "fields different names (field.id-column)."});
        }
        plans.facts[{id, 0}] = {folder, "", "", to_first.apply(feature.polygons)};
    }
}

Plans read_plans(const RankRequest& request) {
    Plans plans;
    std::set<std::filesystem::path> seen;
    std::map<std::string, std::string> owner;
    for (const std::string& folder : request.folders) {
        if (!seen.insert(std::filesystem::weakly_canonical(folder)).second) {
            throw Error(ErrorKind::usage, "the folder is given twice", {.path = folder});
        }
        read_fields(folder, owner, plans);
        read_zones(folder, request, plans);
    }
    return plans;
}

// --- what is written -----------------------------------------------------------------------------

Value real(const std::optional<double>& value) {
    return value ? Value(*value) : Value();
}
Value text(const std::string& value) {
    return value.empty() ? Value() : Value(value);
}

struct RankColumn {
    std::string_view name;
    FieldType type;
    int decimals;
    bool of_zones, of_fields;
    Value (*value)(const RankedRow&, const Facts&);
};

const std::vector<RankColumn>& rank_columns() {
    static const std::vector<RankColumn> columns = {
        {"rank", FieldType::integer, 0, true, true,
         [](const RankedRow& row, const Facts&) -> Value {
             return static_cast<long long>(row.rank);
         }},
        {"field_id", FieldType::text, 0, true, true,
         [](const RankedRow& row, const Facts&) -> Value { return row.field; }},
        {"zone", FieldType::integer, 0, true, false,
         [](const RankedRow& row, const Facts&) -> Value {
             return static_cast<long long>(row.zone);
         }},
        {"area_ha", FieldType::real, 4, true, true,
         [](const RankedRow& row, const Facts&) -> Value { return row.area_ha; }},
        {"soil_loss_now_mg_ha", FieldType::real, 3, true, true,
         [](const RankedRow& row, const Facts&) -> Value { return row.loss_now_mg_ha; }},
        {"soil_loss_cover_mg_ha", FieldType::real, 3, true, true,
         [](const RankedRow& row, const Facts&) -> Value { return row.loss_cover_mg_ha; }},
        {"t_mg_ha", FieldType::real, 3, true, true,
         [](const RankedRow& row, const Facts&) -> Value { return row.t_mg_ha; }},
        {"loss_over_t", FieldType::real, 3, true, true,
         [](const RankedRow& row, const Facts&) -> Value { return row.loss_over_t; }},
        {"loss_cover_over_t", FieldType::real, 3, true, true,
         [](const RankedRow& row, const Facts&) -> Value {
             return row.loss_cover_mg_ha / row.t_mg_ha;
         }},
        {"area_over_t_pct", FieldType::real, 1, true, true,
         [](const RankedRow& row, const Facts&) -> Value { return 100.0 * row.over_t_share; }},
        {"saved_mg_yr", FieldType::real, 3, true, true,
         [](const RankedRow& row, const Facts&) -> Value { return row.saved_mg; }},
        {"seed_cost", FieldType::real, 2, true, true,
         [](const RankedRow& row, const Facts&) -> Value { return real(row.cost); }},
        {"saved_mg_per_cost", FieldType::real, 4, true, true,
         [](const RankedRow& row, const Facts&) -> Value { return real(row.saved_per_cost); }},
        {"cover", FieldType::text, 0, true, false,
         [](const RankedRow&, const Facts& facts) -> Value { return text(facts.cover); }},
        {"confidence", FieldType::text, 0, true, false,
         [](const RankedRow&, const Facts& facts) -> Value { return text(facts.confidence); }},
        {"plan", FieldType::text, 0, true, true,
         [](const RankedRow&, const Facts& facts) -> Value { return facts.plan; }},
    };
    return columns;
}

std::vector<RankColumn> columns_of(bool zones) {
    std::vector<RankColumn> columns;
    for (const RankColumn& column : rank_columns())
        if (zones ? column.of_zones : column.of_fields) columns.push_back(column);
    return columns;
}

std::vector<Value> values_of(const std::vector<RankColumn>& columns, const RankedRow& row,
                             const Facts& facts) {
    std::vector<Value> values;
    for (const RankColumn& column : columns) values.push_back(column.value(row, facts));
    return values;
}

std::string csv_of(const std::vector<RankColumn>& columns, const std::vector<RankedRow>& rows,
                   const FactsBook& book) {
    std::vector<std::string> cells;
    for (const RankColumn& column : columns) cells.emplace_back(column.name);
    std::string csv = csv_row(cells);
    for (const RankedRow& row : rows) {
        const auto values = values_of(columns, row, book.at({row.field, row.zone}));
        cells.clear();
        for (std::size_t i = 0; i < values.size(); ++i)
            cells.push_back(value_text(values[i], columns[i].decimals));
        csv += csv_row(cells);
    }
    return csv;
}

void write_folder(const RankRequest& request, const erosion::Ranking& ranking, const Plans& plans) {
    gis::StagedFolder folder(request.output, request.overwrite);
    const auto zone_columns = columns_of(true);
    const auto field_columns = columns_of(false);
    gis::write_staged_file(folder.path() + "/zones.csv",
                           csv_of(zone_columns, ranking.zones, plans.facts));
    gis::write_staged_file(folder.path() + "/fields.csv",
                           csv_of(field_columns, ranking.fields, plans.facts));
    gis::GeoPackageWriter package(
        folder.path() + "/ranking.gpkg",
        {{"zones", gis::LayerGeometry::multi_polygon, field_specs(zone_columns), plans.crs,
          "Zones, ranked by " + erosion::rank_by_name(request.by)},
         {"fields", gis::LayerGeometry::multi_polygon, field_specs(field_columns), plans.crs,
          "Fields, ranked by " + erosion::rank_by_name(request.by)}});
    for (const RankedRow& row : ranking.zones) {
        const Facts& facts = plans.facts.at({row.field, row.zone});
        package.add(0, gis::PolygonRow{facts.shape, values_of(zone_columns, row, facts), -1});
    }
    for (const RankedRow& row : ranking.fields) {
        const Facts& facts = plans.facts.at({row.field, 0});
        package.add(1, gis::PolygonRow{facts.shape, values_of(field_columns, row, facts), -1});
    }
    package.commit();
    folder.commit();
}

// --- what is printed -----------------------------------------------------------------------------

std::string padded(const std::string& cell, std::size_t width, bool right) {
    // Counts code points, so that letters beyond ASCII do not shift the columns.
    std::size_t shown = 0;
    for (const char c : cell) shown += (static_cast<unsigned char>(c) & 0xC0) != 0x80;
    const std::string gap(shown < width ? width - shown : 0, ' ');
    return right ? gap + cell : cell + gap;
}

std::string text_table(const std::vector<std::vector<std::string>>& rows,
                       const std::vector<bool>& right) {
    std::vector<std::size_t> width(right.size(), 0);
    for (const auto& row : rows) {
        for (std::size_t i = 0; i < row.size(); ++i) {
            std::size_t shown = 0;
            for (const char c : row[i]) shown += (static_cast<unsigned char>(c) & 0xC0) != 0x80;
            width[i] = std::max(width[i], shown);
        }
    }
    std::string out;
    for (const auto& row : rows) {
        std::string line;
        for (std::size_t i = 0; i < row.size(); ++i)
            line += (i > 0 ? "  " : "") + padded(row[i], width[i], right[i]);
        line.erase(line.find_last_not_of(' ') + 1);
        out += line + "\n";
    }
    return out;
}

std::string list_text(const std::vector<RankedRow>& rows, bool zones, bool priced, bool us, int top,
                      const FactsBook& book) {
    const double loss = us ? units::mg_ha_per_ton_ac : 1.0;
    const double mass = us ? units::mg_ha_per_ton_ac * units::ha_per_ac : 1.0;  // Mg in a short ton
    const double area = us ? units::ha_per_ac : 1.0;
    std::vector<std::vector<std::string>> cells;
    std::vector<std::string> head = {"rank", "field"};
    std::vector<bool> right = {true, false};
    const auto column = [&](const std::string& name, bool to_right) {
        head.push_back(name);
        right.push_back(to_right);
    };
    if (zones) column("zone", true);
    column(us ? "ac" : "ha", true);
    column(us ? "loss, ton/ac" : "loss, Mg/ha", true);
    column("with cover", true);
    column("T", true);
    column("loss/T", true);
    if (!zones) column("above T, %", true);
    column(us ? "saved, ton/yr" : "saved, Mg/yr", true);
    if (priced) {
        column("seed cost", true);
        column("saved per money", true);
    }
    if (zones) column("cover", false);
    cells.push_back(head);
    const std::size_t shown =
        top > 0 ? std::min<std::size_t>(rows.size(), static_cast<std::size_t>(top)) : rows.size();
    for (std::size_t i = 0; i < shown; ++i) {
        const RankedRow& row = rows[i];
        std::vector<std::string> line = {std::to_string(row.rank), row.field};
        if (zones) line.push_back(std::to_string(row.zone));
        line.push_back(fixed(row.area_ha / area, 1));
        line.push_back(significant(row.loss_now_mg_ha / loss, 2));
        line.push_back(significant(row.loss_cover_mg_ha / loss, 2));
        line.push_back(significant(row.t_mg_ha / loss, 2));
        line.push_back(significant(row.loss_over_t, 2));
        if (!zones) line.push_back(fixed(100.0 * row.over_t_share, 0));
        line.push_back(significant(row.saved_mg / mass, 2));
        if (priced) {
            line.push_back(row.cost ? fixed(*row.cost, 0) : "none");
            line.push_back(row.saved_per_cost ? significant(*row.saved_per_cost / mass, 2)
                                              : "none");
        }
        if (zones) {
            const std::string& cover = book.at({row.field, row.zone}).cover;
            line.push_back(cover.empty() ? "no cover fits" : cover);
        }
        cells.push_back(std::move(line));
    }
    std::string out = text_table(cells, right);
    if (shown < rows.size()) out += "... and " + std::to_string(rows.size() - shown) + " more\n";
    return out;
}

std::string summary_line(const erosion::Ranking& ranking, bool us) {
    const double area = us ? units::ha_per_ac : 1.0;
    const double mass = us ? units::mg_ha_per_ton_ac * units::ha_per_ac : 1.0;
    const double cover_share = ranking.over_t_cover_ha / ranking.area_ha;
    return fmt::format(
        "Above tolerance: {} of {} {} ({} %) now, {} {} ({} %) with cover. Cover saves {} {} a "
        "year.",
        fixed(ranking.over_t_ha / area, 1), fixed(ranking.area_ha / area, 1), us ? "ac" : "ha",
        fixed(100.0 * ranking.over_t_share, 0), fixed(ranking.over_t_cover_ha / area, 1),
        us ? "ac" : "ha", fixed(100.0 * cover_share, 0), significant(ranking.saved_mg / mass, 2),
        us ? "ton" : "Mg");
}

using Json = nlohmann::ordered_json;

Json json_value(const Value& value, int decimals) {
    if (const auto* words = std::get_if<std::string>(&value)) return *words;
    if (const auto* whole = std::get_if<long long>(&value)) return *whole;
    if (const auto* number = std::get_if<double>(&value))
        return Json::parse(fixed(*number, decimals));
    return nullptr;
}

Json json_rows(const std::vector<RankColumn>& columns, const std::vector<RankedRow>& rows, int top,
               const FactsBook& book) {
    Json list = Json::array();
    for (const RankedRow& row : rows) {
        if (top > 0 && list.size() == static_cast<std::size_t>(top)) break;
        const auto values = values_of(columns, row, book.at({row.field, row.zone}));
        Json entry;
        for (std::size_t i = 0; i < values.size(); ++i)
            entry[std::string(columns[i].name)] = json_value(values[i], columns[i].decimals);
        list.push_back(std::move(entry));
    }
    return list;
}

std::string json_of(const RankRequest& request, const RankSummary& summary, const Plans& plans) {
    const erosion::Ranking& ranking = summary.ranking;
    Json root;
    root["by"] = erosion::rank_by_name(request.by);
    root["area_ha"] = Json::parse(fixed(ranking.area_ha, 4));
    root["over_t_ha"] = Json::parse(fixed(ranking.over_t_ha, 4));
    root["over_t_share"] = Json::parse(fixed(ranking.over_t_share, 4));
    root["over_t_cover_ha"] = Json::parse(fixed(ranking.over_t_cover_ha, 4));
    root["saved_mg_yr"] = Json::parse(fixed(ranking.saved_mg, 3));
    root["fields"] = json_rows(columns_of(false), ranking.fields, request.top, plans.facts);
    root["zones"] = json_rows(columns_of(true), ranking.zones, request.top, plans.facts);
    Json unranked = Json::array();
    for (const Unranked& zone : summary.unranked) {
        unranked.push_back({{"field_id", zone.field},
                            {"zone", zone.zone},
                            {"area_ha", Json::parse(fixed(zone.area_ha, 4))},
                            {"reason", zone.reason}});
    }
    root["unranked"] = unranked;
    return root.dump(2, ' ', false, Json::error_handler_t::replace) + "\n";
}

}  // namespace

SeedPrices parse_seed_prices(const std::string& text) {
    SeedPrices prices;
    for (auto [name, value] : split_named(text)) {
        if (value.empty()) std::swap(name, value);  // a price for every cover
        const double price =
            parse_quantity(value, "--seed-price", {{"/kg", 1.0}, {"/lb", 1.0 / units::kg_per_lb}});
        if (!(price > 0.0)) {
            throw Error(ErrorKind::usage, "--seed-price " + value + ": a price must be above zero");
        }
        if (!prices.emplace(name, price).second) {
            throw Error(ErrorKind::usage, name.empty() ? "--seed-price has two prices for all"
                                                       : "--seed-price names " + name + " twice");
        }
    }
    return prices;
}

RankSummary run_rank(const RankRequest& request) {
    if (request.by == RankBy::saved_per_cost && request.prices.empty()) {
        throw Error(ErrorKind::usage, "--by saved-per-cost needs the price of seed",
                    {.hint = "Give it with its unit: --seed-price \"0.60 /lb\"."});
    }
    gis::start({});
    const Plans plans = read_plans(request);
    for (const auto& [name, price] : request.prices) {
        if (name.empty() || plans.covers.contains(name)) continue;
        const std::string near = nearest_name(name, plans.covers);
        throw Error(ErrorKind::usage, "--seed-price: no zone has the cover '" + name + "'",
                    {.hint = near.empty() ? "" : "Did you mean '" + near + "'?"});
    }
    if (plans.rows.empty()) {
        throw Error(ErrorKind::data, plans.unranked.empty() ? "the plans hold no zones"
                                                            : "no zone can be ranked; the first: " +
                                                                  plans.unranked.front().reason);
    }
    RankSummary summary;
    summary.unranked = plans.unranked;
    summary.complete = plans.unranked.empty();
    summary.ranking = erosion::rank_zones(plans.rows, request.by);
    if (!request.output.empty()) write_folder(request, summary.ranking, plans);

    const bool us = request.units.value_or(plans.units) == UnitSystem::us;
    const bool priced = !request.prices.empty();
    const std::string by = erosion::rank_by_name(request.by);
    summary.table = "Fields by " + by + "\n" +
                    list_text(summary.ranking.fields, false, priced, us, request.top, plans.facts) +
                    "\nZones by " + by + "\n" +
                    list_text(summary.ranking.zones, true, priced, us, request.top, plans.facts) +
                    "\n" + summary_line(summary.ranking, us) + "\n";
    for (const Unranked& zone : summary.unranked) {
        summary.notes.push_back(zone.field + ", zone " + std::to_string(zone.zone) +
                                " is not ranked: " + zone.reason + ".");
    }
    summary.json = json_of(request, summary, plans);
    return summary;
}

}  // namespace catchfield::plan
