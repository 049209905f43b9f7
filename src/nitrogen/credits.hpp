// SPDX-License-Identifier: MIT
// What the cover crop, the previous crop, manure and irrigation water give to the next crop, and
// what a cover ties up: each from one named source, never a blend of several.
#pragma once

#include "base/confidence.hpp"

#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace catchfield::nitrogen {

enum class Stand { unknown, poor, fair, good };
enum class SowingSeason { unknown, late_summer, spring };

/// Reads "good", "fair", "poor", "" / "late-summer", "spring", "". Throws Error(usage) otherwise.
Stand parse_stand(std::string_view text);
SowingSeason parse_sowing_season(std::string_view text);

/// A cover crop as the field shows it or the cover room expects it. Amounts in kg/ha.
struct CoverEvidence {
    std::string species;              ///< catalogue id: "crimson-clover"
    std::string group;                ///< "legume", "grass", "brassica", "broadleaf" or "mix"
    std::optional<double> n_kg_ha{};  ///< N in the whole cover; caps every credit
    // Net release to the next crop, negative where it ties N up.
    double release_low_kg_ha = 0.0;
    double release_kg_ha = 0.0;
    double release_high_kg_ha = 0.0;
    Confidence release_confidence = Confidence::assumption;
    std::optional<double> cn_ratio{};
    std::optional<double> shoot_kg_ha{};  ///< shoot dry matter
    std::optional<double> height_cm{};
    Stand stand = Stand::unknown;
    SowingSeason season = SowingSeason::unknown;
    bool winterkilled = false;
    bool coarse_soil = false;  ///< sands and loamy sands
    bool cold_dry = false;     ///< region where low C:N fall covers gave the next crop nothing
    int years_after = 1;       ///< 1 for the season after the cover or forage
    double regrowth_cm =
        1000.0;  ///< of a forage stand before it was ended; large where it does not matter
};

/// One row of a credit table. Amounts in lb/ac, as the sources print them, or in kg/ha in a user's
/// table (columns low_kg_ha, high_kg_ha); held here in kg/ha.
struct CreditRow {
    std::string set;                              ///< source region: "wisconsin", "minnesota", ...
    std::string use;                              ///< "cover", "forage" or "previous-crop"
    std::string species;                          ///< catalogue id or crop name, or "any"
    std::string group;                            ///< "legume", "grass", ... or "any"
    Stand stand = Stand::unknown;                 ///< unknown: any
    SowingSeason season = SowingSeason::unknown;  ///< unknown: any
    double height_min_cm = 0.0;
    double height_max_cm = 1e9;  ///< row holds for height_min <= height < height_max
    bool coarse_only = false, fine_only = false;
    int year = 1;
    double low_kg_ha = 0.0;
    double high_kg_ha = 0.0;
    double coarse_change_kg_ha = 0.0;  ///< added on coarse soil, result not below 0
    double short_below_cm = 0.0;       ///< regrowth under this changes the credit by short_change
    double short_change_kg_ha = 0.0;
    std::string source;
    Confidence confidence = Confidence::assumption;
    std::string note;
};

/// Rows of one or more sets, first match by the order of specificity: species before group before
/// any; then the row with more conditions; then table order.
class CreditTable {
  public:
    /// Reads a table in the form of data/credits.csv. name: path, for messages. Throws Error(data)
    /// naming line and column: unknown words, low above high, negative or implausible (> 400 kg/ha)
    /// credits, height limits that cross, no source, unknown confidence, an empty table.
    static CreditTable parse(std::string_view csv, const std::string& name);
    /// The built-in sets.
    static const CreditTable& built_in();

    const std::vector<CreditRow>& rows() const { return m_rows; }
    /// Names of the sets, in table order.
    std::vector<std::string> sets() const;
    /// Throws Error(usage) with the known sets where there is no such set.
    void require_set(std::string_view set) const;
    /// Best row of `set`, or null. Never looks into another set.
    const CreditRow* find(std::string_view set, std::string_view use,
                          const CoverEvidence& cover) const;

  private:
    std::vector<CreditRow> m_rows;
};

/// Limits that decide when evidence for a cover's credit is weak. All [assumption] except as noted
/// in docs/methods/nitrogen.md.
struct EvidenceLimits {
    double low_shoot_kg_ha = 1121.0;   ///< 1000 lb/ac
    double tie_up_cap_kg_ha = 56.0;    ///< 50 lb/ac, the upper figure of PNW 636
    double starter_from_kg_ha = 10.0;  ///< tie-up from which starter N is advised
    double tie_up_cn = 24.0;           ///< C:N from which early tie-up is likely (NRCS)
};

/// What a cover does to the next crop's rate.
struct CoverCredit {
    double low_kg_ha = 0.0;     ///< credit, 0 or more
    double credit_kg_ha = 0.0;  ///< the default; 0 or the low end where evidence is weak
    double high_kg_ha = 0.0;
    double full_credit_kg_ha = 0.0;  ///< what it would be were the evidence good
    bool weak_evidence = false;
    double tie_up_low_kg_ha = 0.0;  ///< allowance added to the need, 0 to the cap
    double tie_up_kg_ha = 0.0;
    double tie_up_high_kg_ha = 0.0;
    bool starter_advised = false;
    std::string advice;  ///< timing, in plain words; empty where there is none to give
    std::string rule;    ///< which row or rule: "hairy-vetch, wisconsin"
    std::string source;
    Confidence confidence = Confidence::assumption;
    Confidence tie_up_confidence = Confidence::assumption;
    std::vector<std::string> cautions;
};

/// The credit or tie-up of one cover.
///
/// Order of rules: (1) grasses get 0; (2) a legume under 15 cm gets 40 lb/ac (common practice), or
/// its set's figure where that is lower; (3) the row of `set` for the species, position in its
/// range by sowing season and stand (A2809: upper end if sown in spring, lower end in late
/// summer); (4) the row of the set "common-practice"; (5) legumes without any row: the typical net
/// release, "memory: check" at best. On coarse soil the row's change applies (UW: -50 lb/ac,
/// floor 0). No credit exceeds the N in the cover.
/// Weak evidence: cold and dry region, a winterkilled cover, or little shoot growth: the default
/// falls to 0 (cold and dry; or not a legume) or to the low end, and full_credit_kg_ha says what it
/// would have been. Tie-up: the negative part of the net release, capped; with little growth none
/// (Pantoja 2015). Throws Error(usage) for an unknown set; Error(data) for negative amounts or low
/// > typical > high.
CoverCredit cover_credit(const CreditTable& table, std::string_view set, const CoverEvidence& cover,
                         const EvidenceLimits& limits = {});

/// A credit from anything but the cover.
struct OtherCredit {
    std::string label;
    double low_kg_ha = 0.0;
    double credit_kg_ha = 0.0;
    double high_kg_ha = 0.0;
    std::string source;
    Confidence confidence = Confidence::assumption;
    std::vector<std::string> cautions;
};

/// Previous grain crop or forage by the table (use "previous-crop" or "forage"): `stand`,
/// `regrowth_cm`, `coarse_soil` and `years_after` of the evidence count. Nothing where the set has
/// no row: an unknown crop gets no credit. Throws as cover_credit.
std::optional<OtherCredit> previous_crop_credit(const CreditTable& table, std::string_view set,
                                                const CoverEvidence& crop);

/// Manure from its available-N figure (laboratory value, or a row of data/manure.csv).
/// rate_mg_ha: fresh manure; available_kg_mg: N that counts in the year asked for, kg per Mg fresh.
OtherCredit manure_credit(double rate_mg_ha, double available_kg_mg, const std::string& source,
                          Confidence confidence);

/// One row of data/manure.csv: first-year available N of fresh manure where no laboratory value
/// exists.
struct ManureRow {
    std::string name;
    double low_kg_mg = 0.0, high_kg_mg = 0.0;
    double second_year_share = 0.5;
    std::string source;
    Confidence confidence = Confidence::assumption;
};
const std::vector<ManureRow>& manures();

/// N in irrigation water, kg/ha = 0.01 x mm x mg/L (exact). water_mm: 0-3000 in the season before
/// the crop stops taking up N; nitrate_n_mg_l: 0-100. Throws Error(data) outside.
OtherCredit irrigation_credit(double water_mm, double nitrate_n_mg_l);

}  // namespace catchfield::nitrogen
