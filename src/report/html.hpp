// SPDX-License-Identifier: MIT
// HTML text: escaping, tables, and the frame of a page that works offline.
#pragma once

#include <string>
#include <string_view>
#include <vector>

namespace catchfield::report {

/// Text as it may stand in an element or a quoted attribute; control characters become spaces.
std::string escape(std::string_view text);

/// A table with a caption, column heads, and rows of already escaped cells. Rows whose first cell
/// is a row head are marked so. Numbers are right-aligned where `numeric` says so.
struct HtmlTable {
    std::string caption;
    std::vector<std::string> heads;
    std::vector<bool> numeric;
    std::vector<std::vector<std::string>> rows;
    std::vector<std::string> row_attributes{};  ///< raw, one per row, or empty
    std::string body{};                         ///< more rows, as table_row makes them
};
/// One row; attributes: raw, after "tr".
std::string table_row(const std::vector<std::string>& cells, const std::vector<bool>& numeric,
                      const std::string& attributes = {});
std::string table(const HtmlTable& table);

/// A list of sentences, or nothing where there are none.
std::string bullet_list(const std::vector<std::string>& sentences);

/// A complete page: one file, no network, own style and script. body: escaped HTML.
std::string page(std::string_view title, std::string_view body);

}  // namespace catchfield::report
