// SPDX-License-Identifier: MIT
// Parts of a job that run on their own, side by side or on several machines.
#pragma once

#include "gis/crs.hpp"
#include "plan/inputs.hpp"

#include <cstddef>
#include <string>
#include <vector>

namespace catchfield::plan {

/// The index-th of count parts, counted from 1.
struct Share {
    std::size_t index = 1, count = 1;
    bool operator==(const Share&) const = default;
};

/// "3/8". Throws Error(usage) where it is not that, or out of range.
Share parse_share(const std::string& text);
/// "3 of 8".
std::string share_name(const Share& share);

/// Share (from 1) of every field: contiguous in the order of the file, so that neighbours stay
/// together, and balanced by area: a field weighs its area by the mean area, plus a quarter for
/// what every field costs, and goes to the share in which the middle of its weight falls. Each
/// share weighs at most one n-th of all and one field more. The same on every machine: no library
/// functions take part. A share may be empty.
std::vector<std::size_t> shares_of(const FieldList& fields, const gis::Crs& crs,
                                   std::size_t count);

}  // namespace catchfield::plan
