// SPDX-License-Identifier: MIT
// The columns of zones and cover options: one table from which CSV, GeoPackage, GeoJSON and the
// reference page are made.
#pragma once

#include "gis/table_fields.hpp"
#include "plan/inputs.hpp"
#include "plan/result.hpp"

#include <functional>
#include <string>
#include <string_view>
#include <vector>

namespace catchfield::plan {

struct ZoneColumn {
    std::string_view name;
    gis::FieldType type;
    int decimals;
    std::string_view unit;
    std::string_view meaning;
    gis::Value (*value)(const Inputs&, const FieldResult&, const ZoneResult&);
};
const std::vector<ZoneColumn>& zone_columns();

struct OptionColumn {
    std::string_view name;
    gis::FieldType type;
    int decimals;
    std::string_view unit;
    std::string_view meaning;
    gis::Value (*value)(const Inputs&, const FieldResult&, const ZoneResult&, const CoverOption&);
};
const std::vector<OptionColumn>& option_columns();

/// Text of a value with the column's decimals; "" for null.
std::string value_text(const gis::Value& value, int decimals);

template <typename Column>
std::vector<gis::FieldSpec> field_specs(const std::vector<Column>& columns) {
    std::vector<gis::FieldSpec> specs;
    for (const Column& column : columns) {
        gis::FieldSpec spec;
        spec.name = std::string(column.name);
        spec.type = column.type;
        spec.decimals = column.decimals;
        specs.push_back(std::move(spec));
    }
    return specs;
}

std::vector<gis::Value> zone_values(const Inputs& inputs, const FieldResult& field,
                                    const ZoneResult& zone);
std::vector<gis::Value> option_values(const Inputs& inputs, const FieldResult& field,
                                      const ZoneResult& zone, const CoverOption& option);

/// "a; b; c".
std::string joined(const std::vector<std::string>& parts);

/// Why a candidate was taken or refused, in words.
std::string option_reason(const Inputs& inputs, const ZoneResult& zone, const CoverOption& option);

}  // namespace catchfield::plan
