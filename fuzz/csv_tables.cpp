// SPDX-License-Identifier: MIT
// Any bytes as each of the tables a user may give. The first byte picks the table.
#include "base/table.hpp"
#include "compaction/penetrometer.hpp"
#include "cover/catalogue.hpp"
#include "cover/scouting.hpp"
#include "nitrogen/credits.hpp"
#include "plan/rain_record.hpp"
#include "prescription/products.hpp"
#include "soil/profile.hpp"
#include "target.hpp"
#include "weather/erosivity.hpp"
#include "weather/series.hpp"

#include <cmath>

namespace {

using namespace catchfield;

/// Text that is written with an apostrophe in front, so that no spreadsheet runs it.
bool is_marked(const std::string& text) {
    const std::string written = csv_cell(text);
    return !text.starts_with('\'') && (written.starts_with('\'') || written.starts_with("\"'"));
}

/// Bytes that say how a file is encoded where it opens with them; after a comment they may open a
/// header.
bool is_byte_order_mark(const std::string& text) {
    return text.starts_with("\xEF\xBB\xBF") || text.starts_with("\xFF\xFE") ||
           text.starts_with("\xFE\xFF");
}

/// A parsed table written out again reads as the same table (cells that a spreadsheet would run are
/// marked on the way out, so those tables are left aside).
void check_round_trip(const Table& table) {
    if (is_byte_order_mark(table.columns().front())) return;
    std::string text = csv_row(table.columns());
    for (const std::string& name : table.columns()) {
        if (name.starts_with('#') || is_marked(name)) return;
    }
    for (std::size_t row = 0; row < table.rows(); ++row) {
        std::vector<std::string> cells;
        for (std::size_t column = 0; column < table.columns().size(); ++column) {
            cells.push_back(table.text(row, column));
            if (is_marked(cells.back())) return;
        }
        text += csv_row(cells);
    }
    Table again;
    const bool read = fuzz::fair([&] { again = Table::parse(text, "again.csv"); });
    fuzz::require(read, "a table written out can be read");
    fuzz::require(again.columns() == table.columns(), "columns survive writing");
    // A row of one empty cell is an empty line, which readers skip.
    if (table.columns().size() == 1) return;
    fuzz::require(again.rows() == table.rows(), "rows survive writing");
    for (std::size_t row = 0; row < table.rows(); ++row) {
        for (std::size_t column = 0; column < table.columns().size(); ++column) {
            fuzz::require(again.text(row, column) == table.text(row, column),
                          "cells survive writing");
        }
    }
}

void check_probes(const Table& table) {
    const compaction::ProbeSet set = compaction::read_probes(table);
    for (const compaction::Stop& stop : set.stops) {
        fuzz::require(stop.depth_cm.size() == stop.strength_mpa.size(), "a reading at every depth");
        for (std::size_t i = 0; i < stop.depth_cm.size(); ++i) {
            fuzz::require(std::isfinite(stop.strength_mpa[i]) && stop.strength_mpa[i] >= 0.0,
                          "strengths are numbers");
            fuzz::require(i == 0 || stop.depth_cm[i] > stop.depth_cm[i - 1], "depths increase");
        }
        compaction::summarise(stop);
    }
}

void check_catalogue(const Table& table) {
    cover::Catalogue catalogue = cover::Catalogue::built_in();
    catalogue.add_species(table);
    for (const std::string& id : catalogue.ids()) catalogue.find(id);
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    fuzz::Bytes bytes(data, size);
    const int form = bytes.below(10);
    const std::string_view text = bytes.rest();
    fuzz::fair([&] {
        if (form == 1) {
            nitrogen::CreditTable::parse(text, "credits.csv");
            return;
        }
        if (form == 2) {
            prescription::parse_products(text, "products.csv");
            return;
        }
        const Table table = Table::parse(text, "table.csv");
        switch (form) {
            case 3:
                weather::check(weather::parse_monthly(table), "monthly.csv");
                break;
            case 4:
                weather::check(weather::parse_daily(table), "daily.csv");
                break;
            case 5:
                check_probes(table);
                break;
            case 6:
                check_catalogue(table);
                break;
            case 7:
                cover::parse_scouting(table, cover::Catalogue::built_in());
                break;
            case 8:
                soil::read_profiles(table);
                break;
            case 9:
                plan::erosivity_from_record(table);
                break;
            default:
                check_round_trip(table);
        }
    });
    return 0;
}
