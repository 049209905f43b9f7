// SPDX-License-Identifier: MIT
#include "nitrogen/leaching.hpp"

#include "base/error.hpp"
#include "base/table.hpp"
#include "base/text.hpp"
#include "base/units.hpp"
#include "nitrogen/data.hpp"

#include <algorithm>
#include <array>
#include <cmath>

namespace catchfield::nitrogen {

namespace {

struct LossShare {
    double low = 0.0, typical = 0.0, high = 0.0;
    Confidence confidence = Confidence::assumption;
};

const LossShare& loss_share(LeachingClass leaching_class) {
    static const std::array<LossShare, 3> shares = [] {
        const Table table = Table::parse(data::leaching_loss, "built-in table leaching_loss");
        std::array<LossShare, 3> list;
        for (std::size_t row = 0; row < table.rows(); ++row) {
            for (const auto c :
                 {LeachingClass::low, LeachingClass::moderate, LeachingClass::high}) {
                if (table.text(row, "class") != leaching_class_name(c)) continue;
                list[static_cast<std::size_t>(c)] = {
                    table.required_number(row, "low_share"), table.required_number(row, "share"),
                    table.required_number(row, "high_share"),
                    parse_confidence(table.text(row, "confidence"))};
            }
        }
        return list;
    }();
    return shares[static_cast<std::size_t>(leaching_class)];
}

double index_in(double precip_in, double winter_in, double curve_number) {
    const double s = 1000.0 / curve_number - 10.0;
    if (precip_in <= 0.4 * s) return 0.0;
    const double percolation =
        (precip_in - 0.4 * s) * (precip_in - 0.4 * s) / (precip_in + 0.6 * s);
    return percolation * std::cbrt(2.0 * winter_in / precip_in);
}

}  // namespace

std::string_view leaching_class_name(LeachingClass leaching_class) {
    switch (leaching_class) {
        case LeachingClass::low:
            return "low";
        case LeachingClass::moderate:
            return "moderate";
        case LeachingClass::high:
            return "high";
    }
    return "";
}

LeachingIndex leaching_index(double precip_mm, double winter_mm, std::string_view group) {
    if (!(precip_mm >= 0.0 && precip_mm <= 6000.0)) {
        throw Error(ErrorKind::data,
                    "annual precipitation of " + shortest(precip_mm) + " mm is outside 0 to 6000");
    }
    if (!(winter_mm >= 0.0 && winter_mm <= precip_mm)) {
        throw Error(ErrorKind::data, "October to March precipitation of " + shortest(winter_mm) +
                                         " mm is not between 0 and the annual amount");
    }
    constexpr std::array<double, 4> curve_numbers{28.0, 21.0, 17.0, 15.0};
    const double precip_in = precip_mm / units::mm_per_in;
    const double winter_in = winter_mm / units::mm_per_in;
    LeachingIndex best;
    bool found = false;
    for (const std::string& part : split(group, '/')) {
        const std::string letter = lower_case(trim(part));
        if (letter.size() != 1 || letter[0] < 'a' || letter[0] > 'd') {
            throw Error(ErrorKind::data, "hydrologic group '" + std::string(group) + "' is unknown",
                        {.hint = "Use A, B, C, D or a dual group such as B/D."});
        }
        const auto position = static_cast<std::size_t>(letter[0] - 'a');
        const double index = index_in(precip_in, winter_in, curve_numbers[position]);
        if (!found || index > best.index_in) {
            best.index_in = index;
            best.group = static_cast<char>('A' + position);
        }
        found = true;
    }
    best.leaching_class = best.index_in < 2.0     ? LeachingClass::low
                          : best.index_in <= 10.0 ? LeachingClass::moderate
                                                  : LeachingClass::high;
    return best;
}

WinterNitrate winter_nitrate(const LeachingIndex& index, double residual_kg_ha,
                             double fall_supply_kg_ha, double cover_uptake_kg_ha,
                             bool winterkilled) {
    if (!(residual_kg_ha >= 0.0) || !(fall_supply_kg_ha >= 0.0) || !(cover_uptake_kg_ha >= 0.0)) {
        throw Error(ErrorKind::data, "nitrate left, supplied and taken up must be 0 or more kg/ha");
    }
    const LossShare& share = loss_share(index.leaching_class);
    WinterNitrate result;
    result.at_risk_kg_ha = residual_kg_ha + fall_supply_kg_ha;
    result.at_risk_with_cover_kg_ha = std::max(0.0, result.at_risk_kg_ha - cover_uptake_kg_ha);
    result.loss_low_kg_ha = share.low * result.at_risk_kg_ha;
    result.loss_kg_ha = share.typical * result.at_risk_kg_ha;
    result.loss_high_kg_ha = share.high * result.at_risk_kg_ha;
    result.loss_with_cover_kg_ha = share.typical * result.at_risk_with_cover_kg_ha;
    result.confidence = share.confidence;
    if (index.leaching_class != LeachingClass::low) {
        result.cautions.emplace_back("leaching class " +
                                     std::string(leaching_class_name(index.leaching_class)) +
                                     ": split the nitrogen and do not apply it in fall");
        if (winterkilled) {
            result.cautions.emplace_back(
                "the cover winterkills and gives nitrate back before spring; a hardy scavenger "
                "such as rye holds it longer on coarse soil (Dean & Weil 2009)");
        }
    }
    return result;
}

}  // namespace catchfield::nitrogen
