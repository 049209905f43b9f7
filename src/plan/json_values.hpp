// SPDX-License-Identifier: MIT
// Members of a JSON object that may be missing or of another kind.
#pragma once

#include <nlohmann/json.hpp>

#include <limits>
#include <string>

namespace catchfield::plan {

/// "" where there is no such text.
inline std::string text_of(const nlohmann::json& object, const char* name) {
    return object.is_object() && object.contains(name) && object[name].is_string()
               ? object[name].get<std::string>()
               : std::string();
}

/// Not a number where there is none, so that no comparison holds.
inline double number_of(const nlohmann::json& object, const char* name) {
    return object.is_object() && object.contains(name) && object[name].is_number()
               ? object[name].get<double>()
               : std::numeric_limits<double>::quiet_NaN();
}

}  // namespace catchfield::plan
