// SPDX-License-Identifier: MIT
// Ranking: the zones and fields of plan folders in the order of their need for cover.
#pragma once

#include "base/units.hpp"
#include "erosion/ranking.hpp"

#include <map>
#include <optional>
#include <string>
#include <vector>

namespace catchfield::plan {

/// Price of seed, money for one kg: by catalogue id of the cover, "" for all others.
using SeedPrices = std::map<std::string, double>;

/// Reads "0.60 /lb" or "0.60 /lb,rye=0.35 /lb". Throws Error(usage) for a price without a
/// unit (/kg or /lb), not above zero, or a name that is there twice.
SeedPrices parse_seed_prices(const std::string& text);

struct RankRequest {
    std::vector<std::string> folders;  ///< plan folders
    erosion::RankBy by = erosion::RankBy::loss_over_t;
    SeedPrices prices;
    std::string output;  ///< folder to write; "" for none
    bool overwrite = false;
    std::optional<UnitSystem> units;  ///< of the printed table; none: as in the first plan
    int top = 0;                      ///< rows printed of each list; 0: all
};

/// A zone that cannot be ranked, and why.
struct Unranked {
    std::string field;
    int zone = 0;
    double area_ha = 0.0;
    std::string reason;
};

struct RankSummary {
    erosion::Ranking ranking;
    std::vector<Unranked> unranked;
    std::string table;  ///< for people
    std::string json;
    std::vector<std::string> notes;
    bool complete = true;  ///< every zone was ranked
};

/// Reads layer `zones` of every folder's plan.gpkg, ranks, and writes the folder `output`:
/// zones.csv, fields.csv (SI) and ranking.gpkg with layers `zones` and `fields` in the CRS of the
/// first plan. A field's cost is that of the seed: seed_rate_kg_ha times the price.
///
/// Throws Error(input) for a folder that is no plan, Error(usage) for saved-per-cost without a
/// price or a folder given twice, Error(data) for a field that is in two folders or where no zone
/// can be ranked.
RankSummary run_rank(const RankRequest& request);

}  // namespace catchfield::plan
