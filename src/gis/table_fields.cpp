// SPDX-License-Identifier: MIT
#include "gis/table_fields.hpp"

#include "base/error.hpp"

#include <cmath>

namespace catchfield::gis {

void require_fit(const std::vector<FieldSpec>& columns, const std::vector<Value>& values) {
    if (values.size() != columns.size()) {
        throw Error(ErrorKind::internal, "a row has " + std::to_string(values.size()) +
                                             " values for " + std::to_string(columns.size()) +
                                             " columns");
    }
    for (std::size_t i = 0; i < values.size(); ++i) {
        const Value& value = values[i];
        const double* real = std::get_if<double>(&value);
        const bool fits =
            std::holds_alternative<std::monostate>(value) ||
            (std::holds_alternative<std::string>(value) && columns[i].type == FieldType::text) ||
            (std::holds_alternative<long long>(value) && columns[i].type != FieldType::text) ||
            (real != nullptr && columns[i].type == FieldType::real && std::isfinite(*real));
        if (!fits) {
            throw Error(ErrorKind::internal,
                        "a value does not fit the column '" + columns[i].name + "'");
        }
    }
}

}  // namespace catchfield::gis
