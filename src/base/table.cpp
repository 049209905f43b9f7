// SPDX-License-Identifier: MIT
#include "base/table.hpp"

#include "base/error.hpp"
#include "base/text.hpp"

#include <algorithm>

namespace catchfield {

namespace {

constexpr std::size_t most_columns = 2000;

/// Bytes that are no text, or text that would be read as something else.
void require_text(std::string_view text, const std::string& name) {
    const std::string_view mark = text.substr(0, 2);
    if (mark == "\xFF\xFE" || mark == "\xFE\xFF") {
        throw Error(ErrorKind::input, "is UTF-16 text",
                    {.path = name, .hint = "Save it as CSV in UTF-8."});
    }
    const std::size_t zero = text.find('\0');
    if (zero == std::string_view::npos) return;
    const auto line =
        1 + std::count(text.begin(), text.begin() + static_cast<std::ptrdiff_t>(zero), '\n');
    throw Error(ErrorKind::input, "is not a text file: it holds zero bytes",
                {.path = name, .feature = "line " + std::to_string(line)});
}

/// Of the record that `text` begins with. What is in quotes does not count; they open where a cell
/// does.
char separator_of(std::string_view text) {
    bool quoted = false, at_start = true, semicolon = false, tab = false;
    for (const char c : text) {
        if (quoted) {
            quoted = c != '"';  // one that is doubled opens again, after nothing
            at_start = !quoted;
            continue;
        }
        if (c == '\n' || c == '\r') break;
        if (c == ',') return ',';
        quoted = c == '"' && at_start;
        semicolon = semicolon || c == ';';
        tab = tab || c == '\t';
        at_start = c == ';' || c == '\t' || (at_start && c == ' ');
    }
    return semicolon ? ';' : tab ? '\t' : ',';
}

/// Reads one record from `text` at `position`; counts the line ends it passed.
std::vector<std::string> read_record(std::string_view text, std::size_t& position, char separator,
                                     std::size_t& lines, const std::string& name,
                                     std::size_t line) {
    std::vector<std::string> cells(1);
    bool quoted = false;
    while (position < text.size()) {
        const char c = text[position++];
        if (quoted) {
            if (c == '"' && position < text.size() && text[position] == '"') {
                cells.back() += '"';
                ++position;
            } else if (c == '"') {
                quoted = false;
            } else {
                if (c == '\n') ++lines;
                cells.back() += c;
            }
        } else if (c == '"' && trim(cells.back()).empty()) {
            cells.back().clear();
            quoted = true;
        } else if (c == separator) {
            if (cells.size() == most_columns) {
                throw Error(ErrorKind::data,
                            "has more than " + std::to_string(most_columns) + " columns",
                            {.path = name, .feature = "line " + std::to_string(line)});
            }
            cells.emplace_back();
        } else if (c == '\n') {
            ++lines;
            break;
        } else if (c == '\r' && (position == text.size() || text[position] != '\n')) {
            ++lines;
            break;
        } else {
            cells.back() += c;
        }
    }
    if (quoted) {
        throw Error(ErrorKind::data, "a quotation mark is opened and never closed",
                    {.path = name, .feature = "line " + std::to_string(line)});
    }
    for (std::string& cell : cells) cell = std::string(trim(cell));
    return cells;
}

}  // namespace

Table Table::parse(std::string_view text, const std::string& name) {
    Table table;
    table.m_name = name;
    if (text.substr(0, 3) == "\xEF\xBB\xBF") text.remove_prefix(3);
    require_text(text, name);
    std::size_t position = 0;
    std::size_t line = 1;
    char separator = ',';
    while (position < text.size()) {
        const std::string_view rest = text.substr(position);
        const std::string_view this_line = rest.substr(0, rest.find_first_of("\r\n"));
        const bool header = table.m_columns.empty();
        if (header && (this_line.empty() || this_line.front() == '#')) {
            position += std::min(this_line.size() + 1, rest.size());
            if (position < text.size() && text[position - 1] == '\r' && text[position] == '\n')
                ++position;
            ++line;
            continue;
        }
        if (header) separator = separator_of(rest);
        const std::size_t first_line = line;
        std::vector<std::string> cells =
            read_record(text, position, separator, line, name, first_line);
        if (header) {
            for (std::size_t i = 0; i < cells.size(); ++i) {
                const bool twice =
                    std::find(cells.begin(), cells.begin() + static_cast<std::ptrdiff_t>(i),
                              cells[i]) != cells.begin() + static_cast<std::ptrdiff_t>(i);
                if (cells[i].empty() || twice) {
                    throw Error(ErrorKind::data,
                                cells[i].empty()
                                    ? "column " + std::to_string(i + 1) + " has no name"
                                    : "column '" + cells[i] + "' stands twice",
                                {.path = name, .feature = "line " + std::to_string(first_line)});
                }
            }
            table.m_columns = std::move(cells);
            continue;
        }
        const bool blank =
            std::all_of(cells.begin(), cells.end(), [](const auto& c) { return c.empty(); });
        if (blank) continue;
        if (cells.size() > table.m_columns.size()) {
            throw Error(ErrorKind::data,
                        std::to_string(cells.size()) + " cells, but the header has " +
                            std::to_string(table.m_columns.size()),
                        {.path = name,
                         .feature = "line " + std::to_string(first_line),
                         .hint = "Put quotation marks around text that holds the separator."});
        }
        cells.resize(table.m_columns.size());
        table.m_cells.push_back(std::move(cells));
        table.m_lines.push_back(first_line);
    }
    if (table.m_columns.empty()) {
        throw Error(ErrorKind::input, "the table is empty: no header line",
                    {.path = name, .hint = "The first line must name the columns."});
    }
    return table;
}

bool Table::has(std::string_view column) const {
    return std::find(m_columns.begin(), m_columns.end(), column) != m_columns.end();
}

std::size_t Table::column(std::string_view column) const {
    const auto found = std::find(m_columns.begin(), m_columns.end(), column);
    if (found != m_columns.end()) return static_cast<std::size_t>(found - m_columns.begin());
    const std::string near = nearest_name(std::string(column), m_columns);
    throw Error(ErrorKind::data, "no column '" + std::string(column) + "'",
                {.path = m_name, .hint = near.empty() ? "" : "Is it '" + near + "'?"});
}

void Table::require(std::initializer_list<std::string_view> columns) const {
    std::string missing;
    for (const std::string_view name : columns) {
        if (!has(name)) missing += (missing.empty() ? "" : ", ") + std::string(name);
    }
    if (missing.empty()) return;
    std::string present;
    for (const std::string& name : m_columns) present += (present.empty() ? "" : ", ") + name;
    throw Error(ErrorKind::data, "missing columns: " + missing,
                {.path = m_name, .hint = "The table has: " + present + "."});
}

const std::string& Table::text(std::size_t row, std::size_t column) const {
    return m_cells[row][column];
}

const std::string& Table::text(std::size_t row, std::string_view name) const {
    return m_cells[row][column(name)];
}

std::optional<double> Table::number(std::size_t row, std::string_view name) const {
    const std::string& cell = text(row, name);
    if (cell.empty()) return std::nullopt;
    const std::optional<double> value = parse_number(cell);
    if (!value)
        fail(row, name, "'" + cell + "' is not a number", "Use a decimal point and no unit.");
    return value;
}

double Table::required_number(std::size_t row, std::string_view name) const {
    const std::optional<double> value = number(row, name);
    if (!value) fail(row, name, "the cell is empty, a number is needed");
    return *value;
}

void Table::fail(std::size_t row, std::string_view name, const std::string& reason,
                 const std::string& hint) const {
    throw Error(
        ErrorKind::data, reason,
        {.path = m_name,
         .feature = "line " + std::to_string(m_lines[row]) + ", column '" + std::string(name) + "'",
         .hint = hint});
}

std::string csv_cell(std::string_view text) {
    std::string cell(text);
    constexpr std::string_view risky = "=+-@\t\r";
    if (!cell.empty() && risky.find(cell[0]) != std::string_view::npos && !parse_number(cell)) {
        cell.insert(0, 1, '\'');
    }
    if (cell.find_first_of(",;\"\r\n\t") == std::string::npos) return cell;
    std::string quoted = "\"";
    for (const char c : cell) {
        if (c == '"') quoted += '"';
        quoted += c;
    }
    return quoted + '"';
}

std::string csv_row(const std::vector<std::string>& cells) {
    std::string row;
    for (std::size_t i = 0; i < cells.size(); ++i) {
        if (i > 0) row += ',';
        row += csv_cell(cells[i]);
    }
    return row + '\n';
}

}  // namespace catchfield
