// SPDX-License-Identifier: MIT
// The cover catalogue as text, for the species command.
#pragma once

#include <string>
#include <vector>

namespace catchfield::plan {

struct SpeciesRequest {
    std::string id;         ///< one entry in full; "" for the list
    std::string catalogue;  ///< the user's table, "" for none
    std::string group;      ///< grass, legume, brassica, mixture; "" for all
    std::string find;       ///< part of a name
    bool overwinters = false;
    bool metric = false;
};

/// A table for people, or JSON. Throws Error(usage) for an unknown id or group.
std::string species_text(const SpeciesRequest& request);
std::string species_json(const SpeciesRequest& request);

/// Ids of the built-in species and mixtures.
std::vector<std::string> species_ids();

}  // namespace catchfield::plan
