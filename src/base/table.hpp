// SPDX-License-Identifier: MIT
// CSV tables (RFC 4180): the built-in data, what users give in the same form, and what is written.
#pragma once

#include <initializer_list>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace catchfield {

/// A table of text cells with a header row. Lines starting with '#' before the header are skipped.
class Table {
  public:
    /// Reads CSV text: comma separated (or semicolon or tab, told from the header line), double
    /// quotes around cells that hold separators, quotes or line ends; UTF-8, a byte order mark is
    /// skipped. name: path or table name for messages. Throws Error(data) for rows with more cells
    /// than the header, doubled or empty column names, an open quote, more than 2000 columns; Error(input) for no header, zero bytes or UTF-16.
    static Table parse(std::string_view text, const std::string& name);

    const std::string& name() const { return m_name; }
    const std::vector<std::string>& columns() const { return m_columns; }
    std::size_t rows() const { return m_cells.size(); }
    /// Line in the file where the row begins, for messages.
    std::size_t line(std::size_t row) const { return m_lines[row]; }

    bool has(std::string_view column) const;
    /// Position of a column. Throws Error(data) that names the nearest known one.
    std::size_t column(std::string_view column) const;
    /// Throws Error(data) naming every column of the list that is missing.
    void require(std::initializer_list<std::string_view> columns) const;

    /// Trimmed cell; "" for cells that a short row leaves out.
    const std::string& text(std::size_t row, std::size_t column) const;
    const std::string& text(std::size_t row, std::string_view column) const;
    /// Empty cell: nothing. Throws Error(data) with line and column where it is not a finite
    /// number.
    std::optional<double> number(std::size_t row, std::string_view column) const;
    /// As number(), but an empty cell is an error too.
    double required_number(std::size_t row, std::string_view column) const;
    /// Throws Error(data) for this row and column.
    [[noreturn]] void fail(std::size_t row, std::string_view column, const std::string& reason,
                           const std::string& hint = {}) const;

  private:
    std::string m_name;
    std::vector<std::string> m_columns;
    std::vector<std::vector<std::string>> m_cells;
    std::vector<std::size_t> m_lines;
};

/// One CSV cell, quoted where it must be. Text that a spreadsheet would run as a formula (first
/// character = + - @ tab or carriage return, unless it is a number) gets a leading apostrophe.
std::string csv_cell(std::string_view text);

/// Cells of one row joined, with a line end.
std::string csv_row(const std::vector<std::string>& cells);

}  // namespace catchfield
