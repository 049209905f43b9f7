// SPDX-License-Identifier: MIT
#include "plan/yields.hpp"

#include "base/error.hpp"
#include "base/text.hpp"
#include "nitrogen/crops.hpp"

namespace catchfield::plan {

double parse_yield_kg_ha(const std::string& text, const std::string& what,
                         const std::string& crop) {
    const double bushel = nitrogen::yield_kg_ha(1.0, nitrogen::crop(crop));
    const double yield = parse_quantity(text, what,
                                        {{"bu/ac", bushel},
                                         {"Mg/ha", 1000.0},
                                         {"t/ha", 1000.0},
                                         {"kg/ha", 1.0},
                                         {"lb/ac", units::kg_ha_per_lb_ac}});
    // Beets and sugar cane reach 100 to 150 Mg/ha fresh; nothing in a field yields more.
    constexpr double most_kg_ha = 200'000.0;
    if (!(yield > 0.0) || yield > most_kg_ha) {
        throw Error(ErrorKind::usage, what + " = " + text + ": no crop yields that",
                    {.hint = "Check the figure and its unit."});
    }
    return yield;
}

double yield_of_cell(const std::string& text, const Job& job, const std::string& path,
                     const std::string& feature) {
    if (job.nitrogen.yield_unit.empty()) {
        throw Error(ErrorKind::usage, "nitrogen.yield-unit is not given",
                    {.hint = "Say whether the yields are in bu/ac, Mg/ha or kg/ha."});
    }
    const auto number = parse_number(text);
    if (!number || *number <= 0.0) {
        throw Error(ErrorKind::data, "yield '" + text + "' is not a number above zero",
                    {.path = path, .feature = feature});
    }
    return parse_yield_kg_ha(text + " " + job.nitrogen.yield_unit, "nitrogen.yield-column",
                             job.nitrogen.crop);
}

double parse_crop_price_per_kg(const std::string& text, const std::string& crop) {
    const double bushel_kg = nitrogen::crop(crop).bushel_lb * units::kg_per_lb;
    const double price =
        parse_quantity(text, "nitrogen.price-crop",
                       {{"/kg", 1.0}, {"/Mg", 0.001}, {"/t", 0.001}, {"/bu", 1.0 / bushel_kg}});
    if (!(price > 0.0)) {
        throw Error(ErrorKind::usage,
                    "nitrogen.price-crop = " + text + ": a price must be above zero");
    }
    return price;
}

}  // namespace catchfield::plan
