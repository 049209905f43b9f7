// SPDX-License-Identifier: MIT
#include "report/html.hpp"

#include "report/data.hpp"
#include "report/sha256.hpp"

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

std::string name(std::string_view text) {
    return "<bdi>" + escape(text) + "</bdi>";
}

std::string figure(std::string_view column, const std::string& text) {
    return "<span data-csv=\"" + std::string(column) + "\">" + text + "</span>";
}

namespace {

std::string cell_class(const std::vector<bool>& numeric, std::size_t i) {
    return i < numeric.size() && numeric[i] ? " class=\"n\"" : "";
}

/// Text of a piece of HTML: tags taken out.
std::string without_tags(std::string_view html) {
    std::string text;
    bool inside = false;
    for (const char c : html) {
        if (c == '<') inside = true;
        if (!inside) text += c;
        if (c == '>') inside = false;
    }
    return text;
}

}  // namespace

std::string table_row(const std::vector<std::string>& cells, const std::vector<bool>& numeric,
                      const std::string& attributes, const std::vector<std::string>& labels) {
    std::string html = "<tr" + (attributes.empty() ? "" : " " + attributes) + ">";
    for (std::size_t i = 0; i < cells.size(); ++i) {
        if (i == 0) {
            html += "<th scope=\"row\">" + cells[i] + "</th>";
            continue;
        }
        html += "<td" + cell_class(numeric, i);
        if (i < labels.size()) html += " data-label=\"" + without_tags(labels[i]) + "\"";
        html += ">" + cells[i] + "</td>";
    }
    return html + "</tr>\n";
}

std::string table(const HtmlTable& table) {
    // The part that scrolls sideways on a small screen can be reached with the keyboard.
    std::string html =
        "<div class=\"table\"><div class=\"tools\"></div><div class=\"scroll\" role=\"region\" "
        "tabindex=\"0\" aria-label=\"" +
        without_tags(table.caption) + "\"><table" +
        (table.style.empty() ? "" : " class=\"" + table.style + "\"") + "><caption>" +
        table.caption + "</caption><thead><tr>";
    for (std::size_t i = 0; i < table.heads.size(); ++i) {
        html += "<th scope=\"col\"" + cell_class(table.numeric, i) + ">" + table.heads[i];
        if (i < table.how.size() && !table.how[i].empty()) {
            html += " <a class=\"how\" href=\"#" + table.how[i] +
                    "\">how?<span class=\"unseen\"> " + without_tags(table.heads[i]) +
                    "</span></a>";
        }
        html += "</th>";
    }
    html += "</tr></thead><tbody>\n";
    const std::vector<std::string> labels =
        table.style == "cards" ? table.heads : std::vector<std::string>();
    for (std::size_t r = 0; r < table.rows.size(); ++r) {
        html += table_row(table.rows[r], table.numeric,
                          r < table.row_attributes.size() ? table.row_attributes[r] : "", labels);
    }
    return html + table.body + "</tbody></table></div></div>\n";
}

std::string bullet_list(const std::vector<std::string>& sentences) {
    if (sentences.empty()) return {};
    std::string html = "<ul>";
    for (const std::string& sentence : sentences) html += "<li>" + name(sentence) + "</li>";
    return html + "</ul>\n";
}

std::string disclosure(const std::string& id, const std::string& summary, const std::string& body) {
    return "<details class=\"work\"" + (id.empty() ? "" : " id=\"" + id + "\"") + "><summary>" +
           summary + "</summary>" + body + "</details>\n";
}

std::string page(std::string_view title, std::string_view body) {
    static const std::string policy = "default-src 'none'; img-src data:; style-src 'sha256-" +
                                      sha256_base64(data::page_style) + "'; script-src 'sha256-" +
                                      sha256_base64(data::page_script) + "'";
    std::string html =
        "<!DOCTYPE html>\n<html lang=\"en\"><head><meta charset=\"utf-8\">"
        "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">"
        "<meta http-equiv=\"Content-Security-Policy\" content=\"";
    html += policy;
    html += "\"><title>" + escape(title) + "</title>\n<style>";
    html += data::page_style;
    html += "</style></head><body><main>\n";
    html += body;
    html += "</main>\n<script>";
    html += data::page_script;
    html += "</script></body></html>\n";
    return html;
}

}  // namespace catchfield::report
