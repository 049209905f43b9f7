// SPDX-License-Identifier: MIT
#include "plan/budget_table.hpp"

#include "base/table.hpp"
#include "base/text.hpp"
#include "base/units.hpp"

namespace catchfield::plan {

std::string budget_header() {
    return csv_row({"field_id", "zone", "part", "line", "amount", "low", "high", "unit", "source",
                    "confidence", "note"});
}

std::string budget_rows(const Inputs& inputs, const FieldResult& result) {
    const double unit = inputs.us() ? units::kg_ha_per_lb_ac : 1.0;
    const std::string unit_name = inputs.us() ? "lb N/ac" : "kg N/ha";
    std::string rows;
    for (const ZoneResult& zone : result.zones) {
        const auto add = [&](const char* part, const nitrogen::BudgetLine& line) {
            rows += csv_row({result.id, std::to_string(zone.zone), part, line.label,
                             fixed(line.n_kg_ha / unit, 2), fixed(line.low_kg_ha / unit, 2),
                             fixed(line.high_kg_ha / unit, 2), unit_name, line.source,
                             std::string(confidence_name(line.confidence)), line.note});
        };
        for (const nitrogen::BudgetLine& line : zone.budget.lines) add("need", line);
        for (const nitrogen::BudgetLine& line : zone.budget.settling) add("settling", line);
        add("rate", {"Rate", zone.n_rate_kg_ha, zone.budget.low_kg_ha, zone.budget.high_kg_ha,
                     "sum of the lines above; low and high are the need's 90 % interval",
                     zone.budget.confidence, ""});
        const auto other = [&](const char* label, double n_kg_ha) {
            add("for comparison", {label, n_kg_ha, n_kg_ha, n_kg_ha,
                                   "before bounds and machine step", zone.budget.confidence, ""});
        };
        other("Without the cover's credit", zone.budget.rate_without_cover_credit_kg_ha);
        other("With the full credit", zone.budget.rate_with_full_cover_credit_kg_ha);
    }
    return rows;
}

}  // namespace catchfield::plan
