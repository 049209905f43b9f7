// SPDX-License-Identifier: MIT
#include "nitrogen/methods.hpp"

#include "base/error.hpp"
#include "base/table.hpp"
#include "base/text.hpp"
#include "nitrogen/data.hpp"

#include <algorithm>

namespace catchfield::nitrogen {

namespace {

MethodForm parse_form(const Table& table, std::size_t row) {
    const std::string& text = table.text(row, "form");
    if (text == "balance") return MethodForm::balance;
    if (text == "corn-balance") return MethodForm::corn_balance;
    if (text == "late-spring") return MethodForm::late_spring;
    if (text == "response") return MethodForm::response;
    if (text == "average-response") return MethodForm::average_response;
    if (text == "fixed") return MethodForm::fixed;
    table.fail(row, "form", "unknown form '" + text + "'");
}

Contains parse_contains(const Table& table, std::size_t row) {
    Contains contains;
    for (const std::string& word : split(table.text(row, "contains"), ' ')) {
        if (word.empty()) continue;
        if (word == "soil-nitrate")
            contains.soil_nitrate = true;
        else if (word == "organic-matter")
            contains.organic_matter = true;
        else if (word == "previous-crop")
            contains.previous_crop = true;
        else if (word == "manure")
            contains.manure = true;
        else if (word == "irrigation")
            contains.irrigation = true;
        else if (word == "cover")
            contains.cover = true;
        else
            table.fail(row, "contains", "unknown word '" + word + "'");
    }
    return contains;
}

std::vector<Method> load() {
    const Table table = Table::parse(data::methods, "built-in table methods");
    const Table values = Table::parse(data::method_values, "built-in table method_values");
    std::vector<Method> list;
    for (std::size_t row = 0; row < table.rows(); ++row) {
        Method method;
        method.id = table.text(row, "method");
        method.title = table.text(row, "title");
        method.form = parse_form(table, row);
        method.contains = parse_contains(table, row);
        method.valid_for = table.text(row, "valid_for");
        method.source = table.text(row, "source");
        method.confidence = parse_confidence(table.text(row, "confidence"));
        for (std::size_t v = 0; v < values.rows(); ++v) {
            if (values.text(v, "method") != method.id && values.text(v, "method") != "any") {
                continue;
            }
            method.values.push_back(
                {values.text(v, "name"), values.text(v, "crop"), values.required_number(v, "value"),
                 values.required_number(v, "low"), values.required_number(v, "high"),
                 values.text(v, "unit"), values.text(v, "source"),
                 parse_confidence(values.text(v, "confidence"))});
        }
        list.push_back(std::move(method));
    }
    return list;
}

double checked_ppm(double ppm) {
    if (!(ppm >= 0.0 && ppm <= 500.0)) {
        throw Error(ErrorKind::data, "nitrate of " + shortest(ppm) + " ppm is not possible",
                    {.hint = "Give mg nitrate-N per kg of dry soil; field soils hold 1 to 100."});
    }
    return ppm;
}

}  // namespace

const Coefficient* Method::find(std::string_view name, std::string_view crop) const {
    const Coefficient* general = nullptr;
    for (const Coefficient& one : values) {
        if (one.name != name) continue;
        if (same_ignoring_case(one.crop, crop)) return &one;
        if (one.crop == "any") general = &one;
    }
    return general;
}

const Coefficient& Method::require(std::string_view name, std::string_view crop) const {
    if (const Coefficient* one = find(name, crop)) return *one;
    std::string known;
    for (const Coefficient& one : values) {
        if (one.name == name) known += (known.empty() ? "" : ", ") + one.crop;
    }
    throw Error(ErrorKind::usage,
                "method '" + id + "' has no coefficients for crop '" + std::string(crop) + "'",
                {.hint = known.empty() ? "Choose another method." : "It covers " + known + "."});
}

const std::vector<Method>& methods() {
    static const std::vector<Method> list = load();
    return list;
}

const Method& method(std::string_view id) {
    std::vector<std::string> names;
    std::string all;
    for (const Method& one : methods()) {
        if (same_ignoring_case(one.id, id)) return one;
        names.push_back(one.id);
        all += (all.empty() ? "" : ", ") + one.id;
    }
    const std::string near = nearest_name(std::string(id), names);
    throw Error(
        ErrorKind::usage, "unknown nitrogen method '" + std::string(id) + "'",
        {.hint = near.empty() ? "Known methods: " + all + "." : "Did you mean '" + near + "'?"});
}

double balance_need_lb_ac(double n_lb_per_bu, double yield_goal_bu_ac) {
    return n_lb_per_bu * yield_goal_bu_ac;
}

double corn_balance_need_lb_ac(const Method& method, double expected_yield_bu_ac,
                               double nitrate_ppm, double om_pct, double other_credits_lb_ac,
                               double price_adjust, double timing_adjust) {
    const auto value = [&](std::string_view name) { return method.require(name, "corn").value; };
    const double om = std::clamp(om_pct, value("om_min_pct"), value("om_max_pct"));
    const double bracket = value("constant_lb") + value("n_lb_per_bu") * expected_yield_bu_ac -
                           value("nitrate_lb_per_ppm") * checked_ppm(nitrate_ppm) -
                           value("om_lb_per_bu_pct") * expected_yield_bu_ac * om -
                           other_credits_lb_ac;
    return bracket * price_adjust * timing_adjust;
}

double late_spring_need_lb_ac(const Method& method, double nitrate_ppm, double critical_ppm,
                              std::optional<double> cap_lb_ac) {
    if (!(critical_ppm >= 10.0 && critical_ppm <= 30.0)) {
        throw Error(ErrorKind::data,
                    "critical nitrate of " + shortest(critical_ppm) + " ppm is outside 10 to 30");
    }
    const double slope = method.require("n_lb_per_ppm", "corn").value;
    const double need = std::max(0.0, slope * (critical_ppm - checked_ppm(nitrate_ppm)));
    return cap_lb_ac ? std::min(need, *cap_lb_ac) : need;
}

}  // namespace catchfield::nitrogen
