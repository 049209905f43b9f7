// SPDX-License-Identifier: MIT
#include "gis/postgis.hpp"

#include "base/error.hpp"
#include "base/text.hpp"
#include "gis/detail/features.hpp"
#include "gis/detail/gdal.hpp"

#include <cpl_conv.h>
#include <gdal_priv.h>
#include <ogrsf_frmts.h>

#include <algorithm>
#include <array>
#include <functional>
#include <map>

// A GDAL may have been built without this driver.
#pragma weak RegisterOGRPG

namespace catchfield::gis {

namespace {

std::string quoted_name(const std::string& name) {
    return "\"" + name + "\"";  // names are this program's own or checked
}

std::string quoted_text(const std::string& text) {
    std::string quoted = "'";
    for (const char c : valid_utf8(text))
        quoted += c == '\'' ? std::string("''") : std::string(1, c);
    return quoted + "'";
}

std::string type_name(FieldType type) {
    switch (type) {
        case FieldType::integer:
            return "bigint";
        case FieldType::real:
            return "double precision";
        case FieldType::text:
            break;
    }
    return "text";
}

std::string geometry_type(const LayerSpec& layer) {
    const std::string& code = layer.crs.code();
    if (!code.starts_with("EPSG:")) {
        throw Error(ErrorKind::internal, "a database layer has no EPSG code");
    }
    return std::string("geometry(") +
           (layer.geometry == LayerGeometry::point ? "Point," : "MultiPolygon,") + code.substr(5) +
           ")";
}

/// Waits for its turn; given back when the transaction ends.
std::string lock(const std::string& first, const std::vector<std::string>& seconds) {
    std::string body = "BEGIN";
    for (const std::string& second : seconds) {
        body += " PERFORM pg_advisory_xact_lock(hashtext(" + quoted_text(first) + "), hashtext(" +
                quoted_text(second) + "));";
    }
    return "DO " + quoted_text(body + " END");
}

/// Column name to type as the database prints it, without the number that the database gives.
std::vector<std::pair<std::string, std::string>> columns_of(const LayerSpec& layer) {
    std::vector<std::pair<std::string, std::string>> columns;
    for (const FieldSpec& column : layer.columns) {
        columns.emplace_back(column.name, type_name(column.type));
    }
    if (layer.geometry != LayerGeometry::none) columns.emplace_back("geom", geometry_type(layer));
    return columns;
}

struct Words {
    std::vector<std::pair<std::string, std::string>> pairs;
    bool whole = true;  ///< nothing was left over
};

/// KEY=VALUE words as libpq reads them: a value with spaces stands between quotes, a backslash
/// keeps the character behind it.
Words words_of(const std::string& connection) {
    constexpr std::string_view blank = " \t\r\n";
    Words words;
    std::size_t at = connection.find_first_not_of(blank, std::string_view("PG:").size());
    while (at < connection.size()) {
        words.whole = false;
        const std::size_t key_end = connection.find_first_of(" \t\r\n=", at);
        std::size_t sign = connection.find_first_not_of(blank, key_end);
        if (key_end == at || sign == std::string::npos || connection[sign] != '=') return words;
        std::size_t value = connection.find_first_not_of(blank, sign + 1);
        if (value == std::string::npos) value = connection.size();
        const bool quoted = value < connection.size() && connection[value] == '\'';
        if (quoted) ++value;
        std::string read;
        for (; value < connection.size(); ++value) {
            const char c = connection[value];
            if (quoted ? c == '\'' : blank.find(c) != std::string_view::npos) break;
            if (c == '\\' && value + 1 < connection.size()) ++value;
            read += connection[value];
        }
        if (quoted && value++ == connection.size()) return words;  // no closing quote
        words.pairs.emplace_back(lower_case(connection.substr(at, key_end - at)), read);
        words.whole = true;
        at = connection.find_first_not_of(blank, value);
    }
    return words;
}

std::vector<std::string> passwords_of(const std::string& connection) {
    std::vector<std::string> found;
    for (const auto& [key, value] : words_of(connection).pairs) {
        if (key.ends_with("password") && !value.empty()) found.push_back(value);
    }
    return found;
}

std::string without(std::string text, const std::vector<std::string>& secrets) {
    for (const std::string& secret : secrets) {
        for (std::size_t at = text.find(secret); at != std::string::npos;
             at = text.find(secret, at + 3)) {
            text.replace(at, secret.size(), "***");
        }
    }
    return text;
}

/// What the user may do about the server's words.
std::string next_step(const std::string& words, const PostgisTarget& target) {
    const auto says = [&](std::string_view part) { return words.find(part) != std::string::npos; };
    if (says("permission denied") || says("must be owner") || says("read-only")) {
        return "Let the database's owner create the schema and run once, or grant this role USAGE "
               "on schema " +
               target.schema + " and SELECT, INSERT, DELETE on its tables.";
    }
    if (says("does not exist") && says("database")) {
        return "Create the database (createdb, then CREATE EXTENSION postgis), or correct dbname.";
    }
    if (says("password") || says("authentication")) {
        return "Check user and password; a password is best kept in ~/.pgpass or PGPASSWORD.";
    }
    if (says("unknown word")) return "Check the words of --results.";
    return "Check that the server runs and can be reached, and run the same command again: fields "
           "already there are replaced, not doubled.";
}

}  // namespace

void require_postgis_target(const PostgisTarget& target) {
    if (!target.connection.starts_with("PG:")) {
        throw Error(
            ErrorKind::usage, "--results does not begin with PG:",
            {.hint = "Write --results \"PG:dbname=NAME host=NAME\"; plan.gpkg is written in "
                     "any case."});
    }
    if (!words_of(target.connection).whole) {
        // The text is not shown: the part that is out of place may belong to a password.
        throw Error(ErrorKind::usage, "--results has no KEY=VALUE words behind PG:",
                    {.hint = "Write for example \"PG:dbname=farm host=db user=me\", a value with "
                             "spaces as key='two words'."});
    }
    constexpr std::string_view allowed = "abcdefghijklmnopqrstuvwxyz0123456789_";
    const std::string& schema = target.schema;
    const bool fits = !schema.empty() && schema.size() <= 63 &&
                      (schema[0] < '0' || schema[0] > '9') &&
                      schema.find_first_not_of(allowed) == std::string::npos;
    if (!fits) {
        throw Error(ErrorKind::usage, "'" + schema + "' is no name for a schema",
                    {.hint = "Use small letters, digits and underscores."});
    }
}

std::string shown_connection(const std::string& connection) {
    // Only what is known to be harmless.
    constexpr std::array<std::string_view, 6> harmless = {"service", "dbname",   "host",
                                                          "port",    "hostaddr", "user"};
    std::string shown = "PG:";
    for (const auto& [key, value] : words_of(connection).pairs) {
        if (std::find(harmless.begin(), harmless.end(), key) == harmless.end()) continue;
        shown += (shown.back() == ':' ? "" : " ") + key + "=" + value;
    }
    return without(shown, passwords_of(connection));
}

struct PostgisWriter::State {
    struct Table {
        OGRLayer* layer = nullptr;   // owned by the dataset
        std::vector<int> positions;  // of the columns: a table may have others, in another order
    };
    PostgisTarget target;
    std::string shown;
    std::vector<std::string> secrets;
    std::vector<LayerSpec> specs;
    GDALDatasetUniquePtr dataset;
    std::vector<Table> tables;

    ~State() {
        const detail::ErrorScope quiet;
        if (dataset != nullptr) dataset->RollbackTransaction();
        dataset.reset();
    }

    [[noreturn]] void fail(const detail::ErrorScope& scope, const std::string& reason) const {
        std::string words = without(scope.words(), secrets);
        // libpq repeats what it does not understand, which may be a part of a password.
        if (words.find("connection option") != std::string::npos) words = "an unknown word in it";
        const std::string hint = next_step(words, target);
        for (char& c : words) c = c == '\n' || c == '\t' ? ' ' : c;
        while (!words.empty() && (words.back() == '.' || words.back() == ' ')) words.pop_back();
        throw Error(ErrorKind::output, words.empty() ? reason : reason + ": " + words,
                    {.path = shown, .hint = hint});
    }

    void command(const std::string& sql) {
        const detail::ErrorScope scope;
        OGRLayer* none = dataset->ExecuteSQL(sql.c_str(), nullptr, nullptr);
        if (none != nullptr) dataset->ReleaseResultSet(none);
        if (scope.failed()) fail(scope, "the database refuses a command");
    }

    /// First two columns of all rows, as text.
    std::vector<std::pair<std::string, std::string>> query(const std::string& sql) {
        const detail::ErrorScope scope;
        std::vector<std::pair<std::string, std::string>> rows;
        OGRLayer* layer = dataset->ExecuteSQL(sql.c_str(), nullptr, nullptr);
        if (layer != nullptr) {
            const int columns = layer->GetLayerDefn()->GetFieldCount();
            while (const OGRFeatureUniquePtr feature{layer->GetNextFeature()}) {
                rows.emplace_back(columns > 0 ? feature->GetFieldAsString(0) : "",
                                  columns > 1 ? feature->GetFieldAsString(1) : "");
            }
            dataset->ReleaseResultSet(layer);
        }
        if (scope.failed()) fail(scope, "the database refuses a question");
        return rows;
    }

    void start_transaction() {
        const detail::ErrorScope scope;
        if (dataset->StartTransaction() != OGRERR_NONE || scope.failed()) {
            fail(scope, "the database starts no transaction");
        }
    }

    void end_transaction() {
        const detail::ErrorScope scope;
        // Rows under way are sent first; the scope hears when one is refused.
        if (dataset->CommitTransaction() != OGRERR_NONE || scope.failed()) {
            fail(scope, "the database does not take the rows");
        }
    }

    std::string table_name(const LayerSpec& layer) const {
        return quoted_name(target.schema) + "." + quoted_name(layer.name);
    }

    void connect() {
        const detail::ErrorScope scope;
        static const char* const drivers[] = {"PostgreSQL", nullptr};
        if (RegisterOGRPG != nullptr) RegisterOGRPG();
        if (GetGDALDriverManager()->GetDriverByName(drivers[0]) == nullptr) {
            throw Error(ErrorKind::output, "this build of GDAL has no PostgreSQL driver",
                        {.hint = "Install a GDAL that has, or leave --results out."});
        }
        dataset.reset(GDALDataset::Open(target.connection.c_str(),
                                        GDAL_OF_VECTOR | GDAL_OF_UPDATE | GDAL_OF_VERBOSE_ERROR,
                                        drivers, nullptr, nullptr));
        if (dataset == nullptr) fail(scope, "the database cannot be opened");
        command(
            "SET standard_conforming_strings = on; SET SESSION CHARACTERISTICS AS TRANSACTION "
            "ISOLATION LEVEL READ COMMITTED");
    }

    void make_table(const LayerSpec& layer) {
        std::string sql = "CREATE TABLE " + table_name(layer) +
                          " (fid bigint GENERATED BY DEFAULT AS IDENTITY PRIMARY KEY";
        for (const auto& [name, type] : columns_of(layer)) {
            const bool key = name == layer.columns[0].name || name == layer.columns[1].name;
            sql += ", " + quoted_name(name) + " " + type + (key ? " NOT NULL" : "");
        }
        command(sql + ")");
        command("CREATE INDEX ON " + table_name(layer) + " (" + quoted_name(layer.columns[0].name) +
                ", " + quoted_name(layer.columns[1].name) + ")");
        if (layer.geometry != LayerGeometry::none) {
            command("CREATE INDEX ON " + table_name(layer) + " USING gist (geom)");
        }
        command("COMMENT ON TABLE " + table_name(layer) + " IS " + quoted_text(layer.description));
    }

    /// Tables of an earlier version get the columns that are new.
    void check_table(const LayerSpec& layer) {
        const auto rows = query(
            "SELECT attname::text, format_type(atttypid, atttypmod) FROM pg_attribute WHERE "
            "attrelid = to_regclass(" +
            quoted_text(table_name(layer)) + ") AND attnum > 0 AND NOT attisdropped");
        if (rows.empty()) return make_table(layer);
        const std::map<std::string, std::string> found(rows.begin(), rows.end());
        for (const auto& [name, type] : columns_of(layer)) {
            const auto column = found.find(name);
            if (column == found.end()) {
                command("ALTER TABLE " + table_name(layer) + " ADD COLUMN " + quoted_name(name) +
                        " " + type);
            } else if (column->second != type) {
                throw Error(ErrorKind::output,
                            "table " + layer.name + " has a column '" + name + "' of type " +
                                column->second + " where " + type + " is needed",
                            {.path = shown,
                             .layer = target.schema,
                             .hint = "Name another schema with --results-schema."});
            }
        }
    }

    /// One process at a time; the others then find everything there.
    void make_tables() {
        start_transaction();
        command(lock("catchfield tables", {target.schema}));
        if (query("SELECT to_regtype('geometry')::text WHERE to_regtype('geometry') IS NOT NULL")
                .empty()) {
            throw Error(
                ErrorKind::output, "the database has no PostGIS",
                {.path = shown, .hint = "Run CREATE EXTENSION postgis in it, as its owner."});
        }
        if (query("SELECT nspname::text FROM pg_namespace WHERE nspname = " +
                  quoted_text(target.schema))
                .empty()) {
            command("CREATE SCHEMA " + quoted_name(target.schema));
        }
        for (const LayerSpec& layer : specs) check_table(layer);
        end_transaction();
    }

    void find_layers() {
        const detail::ErrorScope scope;
        for (const LayerSpec& spec : specs) {
            Table found;
            found.layer = dataset->GetLayerByName((target.schema + "." + spec.name).c_str());
            if (found.layer == nullptr) fail(scope, "table " + spec.name + " cannot be opened");
            for (const FieldSpec& column : spec.columns) {
                const int at = found.layer->GetLayerDefn()->GetFieldIndex(column.name.c_str());
                if (at < 0) fail(scope, "table " + spec.name + " has no column " + column.name);
                found.positions.push_back(at);
            }
            tables.push_back(std::move(found));
        }
    }

    void add(std::size_t layer, const std::vector<Value>& values,
             const std::function<void(OGRFeature&)>& set_shape) {
        const detail::ErrorScope scope;
        const CPLConfigOptionSetter bulk("PG_USE_COPY", "YES", false);
        const Table& table = tables.at(layer);
        require_fit(specs[layer].columns, values);
        OGRFeature feature(table.layer->GetLayerDefn());
        for (std::size_t i = 0; i < values.size(); ++i) {
            detail::set_value(feature, table.positions[i], values[i]);
        }
        set_shape(feature);
        if (table.layer->CreateFeature(&feature) != OGRERR_NONE || scope.failed()) {
            fail(scope, "a row cannot be written to table " + specs[layer].name);
        }
    }
};

PostgisWriter::PostgisWriter(const PostgisTarget& target, const std::vector<LayerSpec>& layers)
    : m_state(std::make_unique<State>()) {
    require_postgis_target(target);
    detail::ensure_started();
    State& state = *m_state;
    state.target = target;
    state.shown = shown_connection(target.connection);
    state.secrets = passwords_of(target.connection);
    state.specs = layers;
    state.connect();
    state.make_tables();
    state.find_layers();
}

PostgisWriter::~PostgisWriter() = default;

void PostgisWriter::begin(const std::string& first, const std::vector<std::string>& seconds) {
    State& state = *m_state;
    state.start_transaction();
    std::string list;
    for (const std::string& second : seconds)
        list += (list.empty() ? "" : ", ") + quoted_text(second);
    // Each command sees what was committed before it began, so the removal sees the rows of
    // whoever held the locks before.
    std::string sql = lock(state.target.schema + "/" + first, seconds);
    for (const LayerSpec& layer : state.specs) {
        sql += "; DELETE FROM " + state.table_name(layer) + " WHERE " +
               quoted_name(layer.columns[0].name) + " = " + quoted_text(first) + " AND " +
               quoted_name(layer.columns[1].name) + " IN (" + list + ")";
    }
    state.command(sql);
}

void PostgisWriter::add(std::size_t layer, const PolygonRow& row) {
    m_state->add(layer, row.values,
                 [&](OGRFeature& feature) { detail::set_shape(feature, row.shape); });
}

void PostgisWriter::add(std::size_t layer, const PointRow& row) {
    m_state->add(layer, row.values,
                 [&](OGRFeature& feature) { detail::set_shape(feature, row.point); });
}

void PostgisWriter::add(std::size_t layer, const std::vector<Value>& values) {
    m_state->add(layer, values, [](OGRFeature&) {});
}

void PostgisWriter::commit() {
    m_state->end_transaction();
}

}  // namespace catchfield::gis
