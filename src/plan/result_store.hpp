// SPDX-License-Identifier: MIT
// The tables of a plan in a shared database, beside the plan folder.
#pragma once

#include "gis/postgis.hpp"
#include "plan/field_rows.hpp"
#include "plan/run_head.hpp"

#include <memory>
#include <string>

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

    /// Replaces what the database has of this field and run, in one transaction. From one thread at
    /// a time. Throws Error(output); the database then keeps what it had of this field.
    void add(const FieldRows& rows);

    /// "PG:dbname=farm, schema catchfield, run home-1a2b3c4d", without passwords.
    const std::string& place() const { return m_place; }

  private:
    std::string m_run, m_place;
    gis::Crs m_crs;  // of the rows
    gis::PostgisWriter m_writer;
};

}  // namespace catchfield::plan
