// SPDX-License-Identifier: MIT
#include "plan/shown.hpp"

#include <algorithm>

namespace catchfield::plan {

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
