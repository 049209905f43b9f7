// SPDX-License-Identifier: MIT
#include "plan/shown.hpp"

namespace catchfield::plan {

std::string cover_name(const Inputs& inputs, const ZoneResult& zone) {
    return zone.cover() != nullptr ? inputs.covers->candidates()[zone.cover()->candidate].cover.name
                                   : "no cover fits";
}

}  // namespace catchfield::plan
