// SPDX-License-Identifier: MIT
// Storm erosivity EI30 from breakpoint or fixed-interval rain, and R from a record of years.
//
// E = sum(e_k dV_k); I30 is twice the largest depth in any 30 minutes; EI = E I30.
// AH-703 ch. 2 (Renard et al. 1997), Brown & Foster 1987 (Trans. ASAE 30:379-386);
// AH-537 (Wischmeier & Smith 1978) for the older energy. Rain only: snow must be left out by
// whoever hands the record in.
#pragma once

#include "base/confidence.hpp"
#include "base/dates.hpp"

#include <span>
#include <string>
#include <vector>

namespace catchfield::weather {

struct RainInterval {
    double minutes = 0.0;   ///< > 0
    double depth_mm = 0.0;  ///< >= 0
};

enum class EnergyForm {
    brown_foster,  ///< e = 0.29 (1 - 0.72 exp(-0.05 i)), no cap on I30
    ah537,  ///< e = 916 + 331 log10(i) ft tonf/(ac in), 1074 above 3 in/h; I30 at most 63.5 mm/h
};

/// Energy of a mm of rain, MJ/(ha mm); intensity in mm/h, > 0 (0 gives 0 for no rain).
double unit_energy(double intensity_mm_h, EnergyForm form);

struct Storm {
    double start_minutes = 0.0;  ///< since the start of the record
    double depth_mm = 0.0;
    double energy_mj_ha = 0.0;
    double i30_mm_h = 0.0;
    double ei30 = 0.0;    ///< MJ mm/(ha h), before any time-step correction
    bool counts = false;  ///< more than 12.7 mm, or at least 6.35 mm in 15 minutes
};

/// One storm, no separation. Intensity is even within an interval, so I30 is exact for breakpoint
/// data and low for coarse steps. Throws Error(data) for minutes <= 0 or depth < 0.
Storm storm_erosivity(std::span<const RainInterval> rain,
                      EnergyForm form = EnergyForm::brown_foster);

/// Storms of a record: a storm ends where the next 6 h bring less than 1.27 mm.
std::vector<Storm> storms_of(std::span<const RainInterval> rain,
                             EnergyForm form = EnergyForm::brown_foster);

/// How a record of coarse steps is put right.
enum class StepCorrection {
    none,
    five_minutes,  ///< EI30 x 1.014
    hourly,        ///< EI30 x 1.730
};
/// Mean ratio of breakpoint to fixed-interval EI30, 456 storms in eastern China: Yin, Xie, Nearing
/// & Wang 2007, Catena 70:306-312.
double step_factor(StepCorrection correction);

struct RainRecord {
    Date first{};                    ///< the record starts at 0:00 of this day
    std::vector<RainInterval> rain;  ///< without gaps; dry time is an interval of 0 mm
    StepCorrection correction = StepCorrection::none;
};

/// Breakpoints of a fixed step. Throws Error(data) for a step <= 0.
std::vector<RainInterval> fixed_steps(std::span<const double> depths_mm, double step_minutes);

struct RecordErosivity {
    double r_si = 0.0;  ///< MJ mm/(ha h yr), correction applied
    double years = 0.0;
    double factor = 1.0;  ///< the correction that was applied
    int storms = 0;       ///< that count
    HalfMonths shares{};  ///< of the year's EI, sum 1 (all zero where there was no erosive storm)
    std::vector<std::string> warnings;
};

/// R and its distribution from a record. Warns below 20 years, for part years, and says which
/// correction was used. Throws Error(data) for less than a year of record.
RecordErosivity record_erosivity(const RainRecord& record,
                                 EnergyForm form = EnergyForm::brown_foster);

}  // namespace catchfield::weather
