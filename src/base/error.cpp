// SPDX-License-Identifier: MIT
#include "base/error.hpp"

#include <algorithm>
#include <utility>
#include <vector>

namespace catchfield {

namespace {

std::string full_message(const std::string& reason, const ErrorContext& context) {
    std::string text = context.path;
    if (!context.layer.empty())
        text += (text.empty() ? "" : ", ") + std::string("layer '") + context.layer + "'";
    if (!context.feature.empty()) {
        const bool bare = context.feature.find(' ') == std::string::npos;
        text +=
            (text.empty() ? "" : ", ") + (bare ? "feature " + context.feature : context.feature);
    }
    if (!text.empty()) text += ": ";
    text += reason;
    if (!context.hint.empty()) {
        if (!text.empty() && text.back() != '.' && text.back() != '?') text += '.';
        text += ' ' + context.hint;
    }
    return text;
}

char lower(char c) {
    return c >= 'A' && c <= 'Z' ? static_cast<char>(c - 'A' + 'a') : c;
}

}  // namespace

Error::Error(ErrorKind kind, const std::string& reason, ErrorContext context)
    : std::runtime_error(full_message(reason, context)),
      m_kind(kind),
      m_reason(reason),
      m_context(std::move(context)) {}

std::size_t edit_distance(const std::string& a, const std::string& b) {
    // Optimal string alignment, three rows kept.
    std::vector<std::size_t> before(b.size() + 1), last(b.size() + 1), row(b.size() + 1);
    for (std::size_t j = 0; j <= b.size(); ++j) last[j] = j;
    for (std::size_t i = 1; i <= a.size(); ++i) {
        row[0] = i;
        for (std::size_t j = 1; j <= b.size(); ++j) {
            const std::size_t cost = lower(a[i - 1]) == lower(b[j - 1]) ? 0 : 1;
            row[j] = std::min({last[j] + 1, row[j - 1] + 1, last[j - 1] + cost});
            if (i > 1 && j > 1 && lower(a[i - 1]) == lower(b[j - 2]) &&
                lower(a[i - 2]) == lower(b[j - 1])) {
                row[j] = std::min(row[j], before[j - 2] + 1);
            }
        }
        before = last;
        last = row;
    }
    return last[b.size()];
}

}  // namespace catchfield
