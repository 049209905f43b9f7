// SPDX-License-Identifier: MIT
// Reads the room's table of limits and defaults that have no firm source.
#include "zoning/assumptions.hpp"

#include "base/error.hpp"
#include "base/table.hpp"
#include "zoning/data.hpp"

#include <map>
#include <string>

namespace catchfield::zoning {

Assumption assumption(std::string_view name) {
    static const std::map<std::string, Assumption, std::less<>> rows = [] {
        const Table table = Table::parse(data::assumptions, "zoning assumptions");
        table.require({"name", "value", "unit", "source", "confidence"});
        std::map<std::string, Assumption, std::less<>> out;
        for (std::size_t row = 0; row < table.rows(); ++row) {
            out[table.text(row, "name")] = {table.required_number(row, "value"),
                                            parse_confidence(table.text(row, "confidence"))};
        }
        return out;
    }();
    const auto found = rows.find(name);
    if (found == rows.end()) {
        throw Error(ErrorKind::internal, "no zoning assumption is named " + std::string(name));
    }
    return found->second;
}

}  // namespace catchfield::zoning
