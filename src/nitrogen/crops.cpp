// SPDX-License-Identifier: MIT
#include "nitrogen/crops.hpp"

#include "base/error.hpp"
#include "base/table.hpp"
#include "base/text.hpp"
#include "base/units.hpp"
#include "nitrogen/data.hpp"

namespace catchfield::nitrogen {

const std::vector<Crop>& crops() {
    static const std::vector<Crop> rows = [] {
        const Table table = Table::parse(data::crops, "built-in table crops");
        std::vector<Crop> list;
        for (std::size_t row = 0; row < table.rows(); ++row) {
            list.push_back({table.text(row, "crop"), table.required_number(row, "bushel_lb"),
                            table.text(row, "source"),
                            parse_confidence(table.text(row, "confidence"))});
        }
        return list;
    }();
    return rows;
}

const Crop& crop(std::string_view name) {
    std::vector<std::string> names;
    for (const Crop& one : crops()) {
        if (same_ignoring_case(one.name, name)) return one;
        names.push_back(one.name);
    }
    const std::string near = nearest_name(std::string(name), names);
    throw Error(ErrorKind::usage, "unknown crop '" + std::string(name) + "'",
                {.hint = near.empty() ? "Known crops begin with corn, wheat, soybean."
                                      : "Did you mean '" + near + "'?"});
}

double yield_kg_ha(double bu_ac, const Crop& crop) {
    return bu_ac * crop.bushel_lb * units::kg_ha_per_lb_ac;
}

double yield_bu_ac(double kg_ha, const Crop& crop) {
    return kg_ha / (crop.bushel_lb * units::kg_ha_per_lb_ac);
}

}  // namespace catchfield::nitrogen
