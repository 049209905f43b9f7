// SPDX-License-Identifier: MIT
// HTML text: escaping, tables, what can be opened, and the frame of a page that works offline.
#pragma once

#include <string>
#include <string_view>
#include <vector>

namespace catchfield::report {

/// Text as it may stand in an element or a quoted attribute; control characters become spaces.
std::string escape(std::string_view text);

/// A name that somebody gave (field, soil, species, product): escaped, and kept from turning the
/// words around it where it is written from right to left.
std::string name(std::string_view text);

/// A figure that stands in a column of zones.csv or budget.csv as well. text: escaped.
std::string figure(std::string_view column, const std::string& text);

/// A table with a caption, column heads, and rows of already escaped cells; the first cell of a row
/// is its head. Numbers are right-aligned where `numeric` says so.
struct HtmlTable {
    std::string caption;
    std::vector<std::string> heads;
    std::vector<bool> numeric{};
    std::vector<std::vector<std::string>> rows{};
    std::vector<std::string> row_attributes{};  ///< raw, one per row, or empty
    std::string body{};                         ///< more rows, as table_row makes them
    std::vector<std::string> how{};  ///< id of the working that a column's figures lead to, or ""
    std::string style{};             ///< class: "cards" stacks the cells on a phone, "findable"
};
/// Its rows can be sorted, and copied as tab-separated text, where scripts run.
std::string table(const HtmlTable& table);

/// One row; attributes: raw, after "tr". labels: with them, each cell names its column (for style
/// "cards").
std::string table_row(const std::vector<std::string>& cells, const std::vector<bool>& numeric,
                      const std::string& attributes = {},
                      const std::vector<std::string>& labels = {});

/// A list of sentences, or nothing where there are none.
std::string bullet_list(const std::vector<std::string>& sentences);

/// Something that opens on demand. id: "" for none; summary and body: escaped.
std::string disclosure(const std::string& id, const std::string& summary, const std::string& body);

/// A complete page: one file, no network, own style and script, and no other script can run (the
/// policy names their digests). body: escaped HTML without style attributes.
std::string page(std::string_view title, std::string_view body);

}  // namespace catchfield::report
