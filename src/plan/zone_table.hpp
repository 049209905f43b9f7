// SPDX-License-Identifier: MIT
// A table of a field's page with one row a zone.
#pragma once

#include "base/text.hpp"
#include "plan/result.hpp"
#include "report/html.hpp"

#include <functional>
#include <optional>
#include <string>
#include <utility>
#include <vector>

namespace catchfield::plan {

/// Columns are added one by one; cells are escaped HTML.
class ZoneTable {
  public:
    using Cell = std::function<std::string(const ZoneResult&)>;

    explicit ZoneTable(const std::string& caption) {
        m_table.caption = caption;
        m_table.heads = {"Zone"};
        m_table.numeric = {false};
    }
    ZoneTable& numbers(const std::string& head, Cell cell) {
        return add(head, true, std::move(cell));
    }
    ZoneTable& words(const std::string& head, Cell cell) {
        return add(head, false, std::move(cell));
    }
    /// Its figures stay in SI units, whatever the page's units.
    ZoneTable& in_si() {
        m_attribute = " data-si";
        return *this;
    }
    std::string html(const FieldResult& result) {
        for (const ZoneResult& zone : result.zones) {
            std::vector<std::string> row = {std::to_string(zone.zone)};
            for (const Cell& cell : m_cells) row.push_back(cell(zone));
            m_table.rows.push_back(std::move(row));
            m_table.row_attributes.push_back("data-zone=\"" + std::to_string(zone.zone) + "\"" +
                                             m_attribute);
        }
        return report::table(m_table);
    }

  private:
    ZoneTable& add(const std::string& head, bool numeric, Cell cell) {
        m_table.heads.push_back(head);
        m_table.numeric.push_back(numeric);
        m_cells.push_back(std::move(cell));
        return *this;
    }
    report::HtmlTable m_table;
    std::vector<Cell> m_cells;
    std::string m_attribute;
};

/// A number with so many decimals, or "not known".
inline std::string known(const std::optional<double>& value, int decimals) {
    return value ? fixed(*value, decimals) : "not known";
}

}  // namespace catchfield::plan
