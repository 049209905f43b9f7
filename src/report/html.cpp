// SPDX-License-Identifier: MIT
#include "report/html.hpp"

#include "report/page_parts.hpp"

namespace catchfield::report {

std::string escape(std::string_view text) {
    std::string safe;
    safe.reserve(text.size());
    for (const char c : text) {
        switch (c) {
            case '&':
                safe += "&amp;";
                break;
            case '<':
                safe += "&lt;";
                break;
            case '>':
                safe += "&gt;";
                break;
            case '"':
                safe += "&quot;";
                break;
            case '\'':
                safe += "&#39;";
                break;
            default:
                safe += static_cast<unsigned char>(c) < 0x20 && c != '\n' ? ' ' : c;
        }
    }
    return safe;
}

namespace {

std::string cell_class(const std::vector<bool>& numeric, std::size_t i) {
    return i < numeric.size() && numeric[i] ? " class=\"n\"" : "";
}

}  // namespace

std::string table_row(const std::vector<std::string>& cells, const std::vector<bool>& numeric,
                      const std::string& attributes) {
    std::string html = "<tr" + (attributes.empty() ? "" : " " + attributes) + ">";
    for (std::size_t i = 0; i < cells.size(); ++i) {
        html += i == 0 ? "<th scope=\"row\">" + cells[i] + "</th>"
                       : "<td" + cell_class(numeric, i) + ">" + cells[i] + "</td>";
    }
    return html + "</tr>\n";
}

std::string table(const HtmlTable& table) {
    std::string html =
        "<div class=\"scroll\"><table><caption>" + table.caption + "</caption><thead><tr>";
    for (std::size_t i = 0; i < table.heads.size(); ++i) {
        html += "<th scope=\"col\"" + cell_class(table.numeric, i) + ">" + table.heads[i] + "</th>";
    }
    html += "</tr></thead><tbody>";
    for (std::size_t r = 0; r < table.rows.size(); ++r) {
        html += table_row(table.rows[r], table.numeric,
                          r < table.row_attributes.size() ? table.row_attributes[r] : "");
    }
    return html + table.body + "</tbody></table></div>\n";
}

std::string bullet_list(const std::vector<std::string>& sentences) {
    if (sentences.empty()) return {};
    std::string html = "<ul>";
    for (const std::string& sentence : sentences) html += "<li>" + escape(sentence) + "</li>";
    return html + "</ul>\n";
}

std::string page(std::string_view title, std::string_view body) {
    std::string html =
        "<!DOCTYPE html>\n<html lang=\"en\"><head><meta charset=\"utf-8\">"
        "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">"
        "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; img-src data:; "
        "style-src 'unsafe-inline'; script-src 'unsafe-inline'\">"
        "<title>";
    html += escape(title);
    html += "</title><style>";
    html += page_style;
    html += "</style></head><body><main>\n";
    html += body;
    html += "</main><script>";
    html += page_script;
    html += "</script></body></html>\n";
    return html;
}

}  // namespace catchfield::report
