// SPDX-License-Identifier: MIT
#include "plan/shown.hpp"

#include <algorithm>
#include <array>
#include <cctype>
#include <string_view>

namespace catchfield::plan {

namespace {

struct WordUnit {
    std::string_view si, us;
    double factor;      ///< SI in one US unit
    int more_decimals;  ///< a larger unit needs more, a smaller fewer
};
constexpr std::array word_units = {WordUnit{" kg/ha", " lb/ac", units::kg_ha_per_lb_ac, 0},
                                   WordUnit{" kg N/ha", " lb N/ac", units::kg_ha_per_lb_ac, 0},
                                   WordUnit{" cm", " in", units::cm_per_in, 1},
                                   WordUnit{" MPa", " psi", units::mpa_per_psi, -2}};

bool letter_or_digit(char c) {
    return std::isalnum(static_cast<unsigned char>(c)) != 0;
}

/// Where the number that ends at `end` starts; `end` where there is none.
std::size_t number_start(const std::string& text, std::size_t end) {
    std::size_t start = end;
    while (start > 0 && (std::isdigit(static_cast<unsigned char>(text[start - 1])) != 0 ||
                         (text[start - 1] == '.' && start < end))) {
        --start;
    }
    // Part of a word or of a date is no amount.
    if (start > 0 && (letter_or_digit(text[start - 1]) || text[start - 1] == '-')) return end;
    return start;
}

std::string converted(const std::string& number, const WordUnit& unit) {
    const std::size_t point = number.find('.');
    const int decimals =
        point == std::string::npos ? 0 : static_cast<int>(number.size() - point - 1);
    return fixed(*parse_number(number) / unit.factor, std::max(0, decimals + unit.more_decimals));
}

}  // namespace

std::string in_us_units(const std::string& sentence) {
    std::string text = sentence;
    for (const WordUnit& unit : word_units) {
        for (std::size_t at = 0; (at = text.find(unit.si, at)) != std::string::npos;) {
            const std::size_t behind = at + unit.si.size();
            const bool whole = behind >= text.size() || !letter_or_digit(text[behind]);
            // "(30 to 50 lb/ac)" behind it: both units are said.
            const std::size_t closing =
                text.compare(behind, 2, " (") == 0 ? text.find(')', behind) : std::string::npos;
            const bool both = closing != std::string::npos &&
                              (text.substr(behind, closing - behind).ends_with("lb/ac") ||
                               text.substr(behind, closing - behind).ends_with(" in") ||
                               text.substr(behind, closing - behind).ends_with(" ft"));
            const std::size_t start = number_start(text, at);
            if (!whole || both || start == at) {
                at = behind;
                continue;
            }
            std::string amount = converted(text.substr(start, at - start), unit);
            std::size_t from = start;
            if (start >= 4 && text.compare(start - 4, 4, " to ") == 0) {
                const std::size_t low = number_start(text, start - 4);
                if (low != start - 4) {
                    amount = converted(text.substr(low, start - 4 - low), unit) + " to " + amount;
                    from = low;
                }
            }
            amount += unit.us;
            text.replace(from, behind - from, amount);
            at = from + amount.size();
        }
    }
    return text;
}

std::string Shown::words(const std::string& sentence) const {
    return us ? in_us_units(sentence) : sentence;
}

std::vector<std::string> Shown::words(const std::vector<std::string>& sentences) const {
    std::vector<std::string> shown;
    for (const std::string& sentence : sentences) shown.push_back(words(sentence));
    return shown;
}

std::vector<std::string> input_warnings(const std::vector<std::string>& warnings) {
    constexpr std::string_view part = "season: ";
    std::vector<std::string> shown;
    for (const std::string& warning : warnings) {
        shown.push_back(warning.starts_with(part) ? warning.substr(part.size()) : warning);
    }
    return shown;
}

std::string one_decimal(double value) {
    std::string text = fixed(value, 1);
    if (text.ends_with(".0")) text.resize(text.size() - 2);
    return text;
}

std::string cover_name(const Inputs& inputs, const ZoneResult& zone) {
    return zone.cover() != nullptr ? inputs.covers->candidates()[zone.cover()->candidate].cover.name
                                   : "no cover fits";
}

std::string zone_list(const std::vector<int>& zones) {
    std::vector<std::string> parts;
    for (std::size_t i = 0; i < zones.size();) {
        std::size_t end = i + 1;
        while (end < zones.size() && zones[end] == zones[end - 1] + 1) ++end;
        const std::string first = std::to_string(zones[i]), last = std::to_string(zones[end - 1]);
        if (end - i > 2) {
            parts.push_back(first + " to " + last);
        } else {
            parts.push_back(first);
            if (end - i == 2) parts.push_back(last);
        }
        i = end;
    }
    std::string text;
    for (std::size_t i = 0; i < parts.size(); ++i) {
        text += (i == 0 ? "" : i + 1 == parts.size() ? " and " : ", ") + parts[i];
    }
    return text;
}

std::string zones_name(const std::vector<int>& zones, std::size_t of) {
    if (zones.size() == of) return "The whole field";
    return (zones.size() == 1 ? "Zone " : "Zones ") + zone_list(zones);
}

std::string ZoneGroup::attribute() const {
    std::string numbers;
    for (const int zone : zones) numbers += (numbers.empty() ? "" : " ") + std::to_string(zone);
    return "data-zones=\"" + numbers + "\"";
}

std::vector<ZoneGroup> zone_groups(const FieldResult& result,
                                   const std::function<std::string(const ZoneResult&)>& text) {
    std::vector<ZoneGroup> groups;
    for (const ZoneResult& zone : result.zones) {
        std::string own = text(zone);
        if (own.empty()) continue;
        const auto same = std::find_if(groups.begin(), groups.end(),
                                       [&](const ZoneGroup& group) { return group.text == own; });
        if (same == groups.end()) {
            groups.push_back({{zone.zone}, std::move(own)});
        } else {
            same->zones.push_back(zone.zone);
        }
    }
    return groups;
}

}  // namespace catchfield::plan
