// SPDX-License-Identifier: MIT
// Tables in a PostGIS database, where rows of one key are replaced in one transaction.
#pragma once

#include "gis/geopackage.hpp"

#include <memory>
#include <string>
#include <vector>

namespace catchfield::gis {

/// Where the tables stand.
struct PostgisTarget {
    std::string connection;             ///< "PG:" and libpq's words: "PG:dbname=farm host=db"
    std::string schema = "catchfield";  ///< made where it is missing
};

/// Throws Error(usage) where the connection is not "PG:" and KEY=VALUE words, or the schema's name
/// is not made of small letters, digits and underscores (63 at most, no digit first).
void require_postgis_target(const PostgisTarget& target);

/// The connection as it may be shown: database, host, port, user and service; never a password.
std::string shown_connection(const std::string& connection);

/// Writes through one connection, from one thread at a time. Several processes may write into the
/// same tables at the same time.
class PostgisWriter {
  public:
    /// Connects and makes what is missing: schema, tables, columns, indexes. The first two columns
    /// of every layer are texts, the key of its rows. Layers with a shape have an EPSG code.
    /// Throws Error(output) with the server's words and the next step, never with a password.
    PostgisWriter(const PostgisTarget& target, const std::vector<LayerSpec>& layers);
    ~PostgisWriter();
    PostgisWriter(const PostgisWriter&) = delete;
    PostgisWriter& operator=(const PostgisWriter&) = delete;

    /// Starts a transaction, waits for others that replace the same keys, and removes the rows of
    /// the keys (first, one of seconds) from all layers. Processes that replace the same keys at
    /// the same time give them in the same order.
    void begin(const std::string& first, const std::vector<std::string>& seconds);
    /// As in GeoPackageWriter. All rows of a layer in one go are fastest.
    void add(std::size_t layer, const PolygonRow& row);
    void add(std::size_t layer, const PointRow& row);
    void add(std::size_t layer, const std::vector<Value>& values);
    /// Without it the database keeps the rows it had.
    void commit();

  private:
    struct State;
    std::unique_ptr<State> m_state;
};

}  // namespace catchfield::gis
