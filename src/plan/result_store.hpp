// SPDX-License-Identifier: MIT
// The tables of a plan in a shared database, beside the plan folder.
#pragma once

#include "gis/postgis.hpp"
#include "plan/field_rows.hpp"
#include "plan/run_head.hpp"

#include <chrono>
#include <string>
#include <vector>

namespace catchfield::plan {

struct ResultTarget {
    gis::PostgisTarget database;  ///< no connection: no database
    std::string run;              ///< names the plan in it; empty: default_run_name()

    explicit operator bool() const { return !database.connection.empty(); }
};

/// Throws Error(usage) where it cannot be one; nothing is connected.
void require_result_target(const ResultTarget& target);

/// The farm's or the boundary file's name and the first eight digits of the boundary's fingerprint:
/// the same for all shares of a plan and for its repetitions, another for other fields.
std::string default_run_name(const RunHead& head);

/// The tables have the columns of plan.gpkg with the run's name before them. Shapes are in WGS 84
/// (EPSG:4326): fields of a district lie in several UTM zones, and shares that know nothing of each
/// other must agree.
class ResultStore {
  public:
    /// Connects and makes missing tables. Rows will be in the CRS of the head's plan.gpkg. Throws
    /// Error(output).
    ResultStore(const RunHead& head, const ResultTarget& target);

    /// Takes the rows of a field. Some fields are sent together, in one transaction that replaces
    /// what the database has of them and this run: a dozen round trips for all. From one thread at
    /// a time, in the order of the boundary file. Throws Error(output); the database then keeps
    /// what it had of the fields that were to be sent.
    void add(const FieldRows& rows);
    /// Sends what is left. Throws as add().
    void finish();

    /// "PG:dbname=farm, schema catchfield, run home-1a2b3c4d", without passwords.
    const std::string& place() const { return m_place; }

  private:
    std::string m_run, m_place;
    gis::Crs m_crs;  // of the rows
    gis::PostgisWriter m_writer;
    std::vector<FieldRows> m_waiting;  // in WGS 84
    std::chrono::steady_clock::time_point m_since;
};

}  // namespace catchfield::plan
