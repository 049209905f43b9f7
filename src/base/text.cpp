// SPDX-License-Identifier: MIT
#include "base/text.hpp"

#include <charconv>
#include <cmath>
#include <set>

namespace catchfield {

namespace {

char lower(char c) {
    return c >= 'A' && c <= 'Z' ? static_cast<char>(c - 'A' + 'a') : c;
}

bool is_digit(char c) {
    return c >= '0' && c <= '9';
}

bool is_alnum(char c) {
    const char l = lower(c);
    return is_digit(c) || (l >= 'a' && l <= 'z');
}

}  // namespace

std::string_view trim(std::string_view text) {
    constexpr std::string_view blank = " \t\r\n";
    const std::size_t first = text.find_first_not_of(blank);
    if (first == std::string_view::npos) return {};
    return text.substr(first, text.find_last_not_of(blank) - first + 1);
}

bool same_ignoring_case(std::string_view a, std::string_view b) {
    if (a.size() != b.size()) return false;
    for (std::size_t i = 0; i < a.size(); ++i) {
        if (lower(a[i]) != lower(b[i])) return false;
    }
    return true;
}

std::string lower_case(std::string_view text) {
    std::string result(text);
    for (char& c : result) c = lower(c);
    return result;
}

std::vector<std::string> split(std::string_view text, char separator) {
    std::vector<std::string> parts;
    std::size_t begin = 0;
    while (true) {
        const std::size_t end = text.find(separator, begin);
        parts.emplace_back(text.substr(begin, end - begin));
        if (end == std::string_view::npos) return parts;
        begin = end + 1;
    }
}

std::optional<double> parse_number(std::string_view text) {
    text = trim(text);
    if (text.size() > 1 && text[0] == '+' && (is_digit(text[1]) || text[1] == '.')) {
        text.remove_prefix(1);
    }
    double value = 0.0;
    const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), value);
    if (error != std::errc() || end != text.data() + text.size() || !std::isfinite(value)) {
        return std::nullopt;
    }
    return value;
}

std::optional<long long> parse_integer(std::string_view text) {
    text = trim(text);
    long long value = 0;
    const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), value);
    if (text.empty() || error != std::errc() || end != text.data() + text.size()) {
        return std::nullopt;
    }
    return value;
}

std::string fixed(double value, int decimals) {
    if (!std::isfinite(value)) return "";
    char buffer[400];
    const auto [end, error] =
        std::to_chars(buffer, buffer + sizeof buffer, value, std::chars_format::fixed, decimals);
    std::string text(buffer, end);
    if (text[0] == '-' && text.find_first_not_of("-0.") == std::string::npos) text.erase(0, 1);
    return text;
}

std::string significant(double value, int digits) {
    if (!std::isfinite(value)) return "";
    if (value == 0.0) return "0";
    const int magnitude = static_cast<int>(std::floor(std::log10(std::abs(value))));
    const double scale = std::pow(10.0, digits - 1 - magnitude);
    const double rounded = std::round(value * scale) / scale;
    const int rounded_magnitude =
        rounded == 0.0 ? magnitude : static_cast<int>(std::floor(std::log10(std::abs(rounded))));
    const int decimals = digits - 1 - rounded_magnitude;
    return fixed(rounded, decimals > 0 ? decimals : 0);
}

namespace {

/// Bytes of the UTF-8 sequence at the front of the text; 0 where it is none (Unicode 15, table
/// 3-7).
std::size_t utf8_length(std::string_view text) {
    const auto byte = [&](std::size_t i) {
        return i < text.size() ? static_cast<unsigned char>(text[i]) : 0U;
    };
    const auto tail = [&](std::size_t i, unsigned low = 0x80, unsigned high = 0xBF) {
        return byte(i) >= low && byte(i) <= high;
    };
    const unsigned first = byte(0);
    if (first < 0x80) return first == 0 ? 0 : 1;
    if (first >= 0xC2 && first <= 0xDF) return tail(1) ? 2 : 0;
    if (first >= 0xE0 && first <= 0xEF) {
        return tail(1, first == 0xE0 ? 0xA0 : 0x80, first == 0xED ? 0x9F : 0xBF) && tail(2) ? 3 : 0;
    }
    if (first >= 0xF0 && first <= 0xF4) {
        const bool second = tail(1, first == 0xF0 ? 0x90 : 0x80, first == 0xF4 ? 0x8F : 0xBF);
        return second && tail(2) && tail(3) ? 4 : 0;
    }
    return 0;
}

}  // namespace

std::string valid_utf8(std::string_view text) {
    unsigned char all = 0;
    for (const char c : text) all |= static_cast<unsigned char>(c);
    if (all < 0x80) return std::string(text);  // ASCII, the usual case
    std::string result;
    result.reserve(text.size());
    while (!text.empty()) {
        const std::size_t length = utf8_length(text);
        if (length == 0) {
            result += '?';
            text.remove_prefix(1);
        } else {
            result.append(text.substr(0, length));
            text.remove_prefix(length);
        }
    }
    return result;
}

std::string one_line(std::string_view text) {
    const std::string valid = valid_utf8(text);
    std::string result;
    result.reserve(valid.size());
    for (std::size_t i = 0; i < valid.size(); ++i) {
        const auto c = static_cast<unsigned char>(valid[i]);
        const auto next = i + 1 < valid.size() ? static_cast<unsigned char>(valid[i + 1]) : 0;
        const auto third = i + 2 < valid.size() ? static_cast<unsigned char>(valid[i + 2]) : 0;
        // U+200E, U+200F, U+2028 to U+202E and U+2066 to U+2069; C1 controls are C2 80 to C2 9F.
        const bool mark = c == 0xE2 && ((next == 0x80 && (third == 0x8E || third == 0x8F ||
                                                          (third >= 0xA8 && third <= 0xAE))) ||
                                        (next == 0x81 && third >= 0xA6 && third <= 0xA9));
        const bool late_control = c == 0xC2 && next >= 0x80 && next <= 0x9F;
        if (c < 0x20 || c == 0x7F || mark || late_control) {
            result += ' ';
            i += mark ? 2 : late_control ? 1 : 0;
        } else {
            result += valid[i];
        }
    }
    return std::string(trim(result));
}

std::string shortest(double value) {
    if (!std::isfinite(value)) return "";
    char buffer[64];
    const auto [end, error] = std::to_chars(buffer, buffer + sizeof buffer, value + 0.0);
    return std::string(buffer, end);
}

constexpr std::size_t longest_stem = 80;

std::string safe_file_stem(std::string_view id) {
    std::string stem;
    for (const char c : id) {
        const bool keep = is_alnum(c) || c == '-' || c == '_' || c == '.';
        if (keep) {
            stem += c;
        } else if (!stem.empty() && stem.back() != '-') {
            stem += '-';
        }
        if (stem.size() == longest_stem) break;
    }
    const std::size_t first = stem.find_first_not_of(".-");
    if (first == std::string::npos) return "field";
    return stem.substr(first, stem.find_last_not_of(".-") - first + 1);
}

std::vector<std::string> unique_file_stems(const std::vector<std::string>& ids) {
    std::set<std::string> taken;
    std::vector<std::string> stems;
    stems.reserve(ids.size());
    for (const std::string& id : ids) {
        const std::string stem = safe_file_stem(id);
        std::string candidate = stem;
        for (int n = 2; !taken.insert(lower_case(candidate)).second; ++n) {
            const std::string end = "-" + std::to_string(n);
            candidate = stem.substr(0, longest_stem - end.size()) + end;
        }
        stems.push_back(candidate);
    }
    return stems;
}

}  // namespace catchfield
