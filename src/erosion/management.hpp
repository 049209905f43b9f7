// SPDX-License-Identifier: MIT
// C by half-month: from dated operations, a cover crop's growth and the weather to the 24 rows of
// soil loss ratios that a reviewer can recompute by hand.
//
// C = sum(SLR_i EI_i)/sum(EI_i) over the 24 half-months from the harvest on (AH-703 ch. 5).
// An operation acts at the start of the half-month nearest to its date (at most 8 days away).
// A row shows the state at the middle of its half-month. Between operations everything decays or
// grows by the row's weather. Both scenarios, with and without cover, run through this one
// function.
#pragma once

#include "base/confidence.hpp"
#include "base/dates.hpp"
#include "erosion/subfactors.hpp"

#include <array>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace catchfield::erosion {

/// What the weather room knows, as plain values by calendar half-month.
struct YearWeather {
    double r_si = 0.0;      ///< MJ mm/(ha h yr), > 0
    HalfMonths ei_share{};  ///< sums to 1
    HalfMonths precip_mm{};
    HalfMonths tmean_c{};
    Confidence confidence = Confidence::verified;
};

enum class OperationKind {
    harvest,   ///< the standing crop becomes residue and dead roots
    till,      ///< any tool that moves soil: plow, disk, drill, planter
    plant,     ///< a main crop starts to grow (after its planter's till)
    end_cover  ///< frost, roller or herbicide: the cover crop becomes residue and dead roots
};

struct Operation {
    Date date{};
    OperationKind kind = OperationKind::till;
    std::string what;  ///< harvest: residue kind; till: tool; plant: crop; end_cover: residue kind
    double residue_kg_ha = 0.0;    ///< harvest: dry matter left on the field
    double roots_top_kg_ha = 0.0;  ///< harvest: roots in the top 10 cm
};

/// A living cover crop in one half-month.
struct CoverState {
    double ground_cover_fraction = 0.0;  ///< 0-1
    double height_m = 0.0;               ///< of the canopy
    double shoot_kg_ha = 0.0;
    double root_kg_ha = 0.0;  ///< whole root system
};

/// Growth by calendar half-month (0 is early January) as the cover room gives it; only the
/// half-months from sowing to the end are used. When it ends, end_shoot_kg_ha (or, where that is
/// not given, the largest shoot mass up to then) becomes residue, and the roots dead roots.
struct CoverGrowth {
    std::array<CoverState, 24> by_half_month{};
    Date sown{};
    Date ends{};                              ///< frost kill or termination
    std::optional<double> end_shoot_kg_ha{};  ///< shoot mass when it ends
    std::string residue_kind = "grass_cover";
    std::string sowing_tool;  ///< empty: broadcast, no soil moved
    bool grows() const;       ///< any shoot mass at all
};

/// What was there before the first operation.
struct FieldStart {
    double old_residue_kg_ha = 0.0;  ///< flat, from earlier crops
    std::string old_residue_kind = "small_grain";
    double buried_top_kg_ha = 0.0;  ///< buried residue in the top 10 cm
    double years_since_tillage = 1.0;
    double roughness_mm = 0.4 * 25.4;
    double stone_cover_pct = 0.0;  ///< only where K is without stones (Kf)
};

/// A rotation-year from harvest to harvest in the words of the job file.
struct Season {
    Date harvest{};
    std::string previous_crop;            ///< id of crops()
    std::optional<double> residue_kg_ha;  ///< before removal; none: the crop's typical figure
    double residue_removed_share = 0.0;   ///< straw baled, silage cut: 0-1
    std::vector<std::pair<Date, std::string>> tillage;  ///< dated tools, fall and spring
    Date next_planting{};
    std::string next_crop;                ///< id of crops() with a canopy
    std::string planter = "row_planter";  ///< id of tools()
    FieldStart start{};
};

/// Dry matter of the previous crop at its harvest, kg/ha.
struct HarvestResidue {
    double left_kg_ha = 0.0;
    double removed_kg_ha = 0.0;
};

/// Residue as given, or the crop table's typical figure, split by the share removed.
/// Throws Error(usage) for residue outside 0-30000 kg/ha, a share outside 0-1, an unknown crop.
HarvestResidue residue_at_harvest(const Season& season);

/// Dated operations of a season; with a cover, also its sowing and its end. A cover that never
/// grows is not sown, so that its rows are those without. Sorted by date.
/// Throws Error(usage) for dates out of order (next planting not within a year after harvest, a
/// cover sown before harvest by more than 120 days, ended before sown, before the harvest or after
/// next planting by more than 30 days), shares outside 0-1, residue outside 0-30000 kg/ha, unknown ids.
std::vector<Operation> operations_of(const Season& season, const CoverGrowth* cover);

/// One half-month of the record.
struct HalfMonthRow {
    int half_month = 0;  ///< 0-23 of the calendar year
    int year = 0;
    double ei_share = 0.0;
    double precip_mm = 0.0;
    double tmean_c = 0.0;
    double flat_kg_ha = 0.0;  ///< residue on the ground
    double standing_kg_ha = 0.0;
    double cover_pct = 0.0;        ///< residue and stones on the ground
    double canopy_fraction = 0.0;  ///< of crop and cover crop together
    double crop_canopy_fraction = 0.0;
    double crop_fall_height_m = 0.0;
    double cover_canopy_fraction = 0.0;
    double cover_fall_height_m = 0.0;
    double roughness_mm = 0.0;
    double roots_kg_ha_mm = 0.0;
    double buried_kg_ha_mm = 0.0;
    double cf = 0.0;
    double plu = 1.0, cc = 1.0, sc = 1.0, sr = 1.0, sm = 1.0;
    double slr = 1.0;
    std::string operations;  ///< what was done at its start, in words
};

struct CoverManagement {
    std::vector<HalfMonthRow> rows;  ///< 24, from the harvest on
    double c = 1.0;
    Confidence confidence = Confidence::verified;
    std::vector<std::string> cautions;
};

/// Factors on uncertain inputs, 1 = as given.
struct Perturbation {
    double cover_mass = 1.0;  ///< of the cover crop: mass, and cover by 1 - (1 - f)^x
    double residue_alpha = 1.0;
    double residue_decay = 1.0;
    double cover_b = 1.0;
};

/// A scenario made ready for many evaluations: ids looked up, weather factors worked out.
class Schedule {
  public:
    /// Throws Error(usage) for unknown ids; Error(data) for weather that is not usable: r_si <= 0,
    /// shares that do not sum to 1 within 1e-6 or are negative, negative rain, temperatures
    /// outside -50..45 degC.
    Schedule(const std::vector<Operation>& operations, const CoverGrowth* cover,
             const FieldStart& start, const YearWeather& weather,
             const Coefficients& c = coefficients());

    /// C alone; no allocation, about 2 microseconds.
    double c(const Perturbation& perturbation = {}) const;
    /// C with its rows.
    CoverManagement table(const Perturbation& perturbation = {}) const;

  private:
    static constexpr std::size_t max_pools = 8;

    /// One lot of residue: what a harvest or the cover left, or what was there before.
    struct Pool {
        double alpha_ha_kg = 0.0;
        double decay_per_day = 0.0;
        bool from_cover = false;
        std::array<double, 24> stands_half{};  ///< share of standing stems left after half a row
    };
    struct PoolState {
        double flat = 0.0, standing = 0.0, buried = 0.0, roots = 0.0;  ///< kg/ha
    };
    struct Event {
        int row = 0;
        OperationKind kind = OperationKind::till;
        std::size_t pool = 0;  ///< of harvest and end_cover
        PoolState adds{};
        Tool tool{};  ///< of till
        std::string words;
    };
    struct RowWeather {
        int half_month = 0, year = 0;
        double days = 0.0, ei_share = 0.0, precip_mm = 0.0, tmean_c = 0.0;
        double decay_days_half = 0.0;     ///< half the days x min(W, F)
        double roughness_half = 1.0;      ///< share of roughness left after half a row
        double consolidation_half = 1.0;  ///< share of looseness left after half a row
    };
    struct Growth {
        double canopy_fraction = 0.0, fall_height_m = 0.0;
        double drip = 0.0;  ///< exp(-0.328 H)
        double roots_top_kg_ha = 0.0;
    };
    template <typename Sink>
    double run(const Perturbation& perturbation, Sink&& sink) const;
    std::size_t add_pool(const ResidueKind& kind, bool from_cover);
    void add_cover(const CoverGrowth& cover, int start);

    Coefficients m_c;
    FieldStart m_start;
    std::vector<Pool> m_pools;
    std::vector<Event> m_events;
    std::array<RowWeather, 24> m_weather{};
    std::array<Growth, 24> m_crop{};
    std::array<Growth, 24> m_cover{};
    Confidence m_confidence = Confidence::verified;
    std::vector<std::string> m_cautions;
};

/// Season in, table out: operations_of, Schedule, table in one call. cover may be null.
CoverManagement cover_management(const Season& season, const CoverGrowth* cover,
                                 const YearWeather& weather,
                                 const Coefficients& c = coefficients());

/// The bare reference of RUSLE: continuous tilled fallow up and down the slope, C = 1 by
/// definition; 24 rows from `first` on with every subfactor 1.
CoverManagement bare_reference(Date first, const YearWeather& weather);

/// C of given ratios: sum(slr w)/sum(w). Throws Error(data) for different lengths or no weight.
double c_factor(const std::vector<double>& slr, const std::vector<double>& ei_weight);

}  // namespace catchfield::erosion
