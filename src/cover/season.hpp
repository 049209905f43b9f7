// SPDX-License-Identifier: MIT
// The season at a place: heat between dates, cold in winter, and what the dates allow.
#pragma once

#include "base/dates.hpp"
#include "cover/catalogue.hpp"

#include <optional>
#include <span>
#include <string>
#include <vector>

namespace catchfield::cover {

/// McMaster & Wilhelm 1997, Agric. For. Meteorol. 87:291-300: one formula, two readings.
enum class HeatMethod {
    average_first,  ///< max((Tmax + Tmin)/2, Tb) - Tb
    limit_first,    ///< each of Tmax and Tmin raised to Tb before averaging
};

/// Degree-days of one day, degC d, never negative. base_c: any; temperatures degC.
inline double day_heat(double tmax_c, double tmin_c, double base_c, HeatMethod method) {
    if (method == HeatMethod::limit_first) {
        tmax_c = tmax_c > base_c ? tmax_c : base_c;
        tmin_c = tmin_c > base_c ? tmin_c : base_c;
    }
    const double heat = (tmax_c + tmin_c) / 2.0 - base_c;
    return heat > 0.0 ? heat : 0.0;
}

/// What a job says of a season. Weather is daily, one value a day from first_day on without gaps,
/// and reaches from sowing to the next planting: either one real run of days, or normals for every
/// day.
struct SeasonInputs {
    Date sow{};
    Date hard_frost{};     ///< first night at or below -2.2 C (28 F), expected
    Date terminate{};      ///< when what still lives is ended
    Date next_planting{};  ///< of the next crop
    Date first_day{};
    std::vector<double> tmin_c;
    std::vector<double> tmax_c;
    bool normals = true;  ///< weather is long-term means, not a year that was
    HeatMethod method = HeatMethod::average_first;
    /// Coldest temperature of each winter on record, degC (one value per winter), or one value that
    /// is the mean of many winters (a hardiness zone: coldest_of_hardiness_zone). Empty: not known,
    /// the catalogue's own winter class is used and said.
    std::vector<double> winter_minimum_c;
};

/// Middle of hardiness zone 1 to 13 (zone n holds mean yearly minima from -60 + 10 (n - 1) F over
/// ten degrees; zone 5 gives -15 F = -26.1 C). Throws Error(usage) outside.
double coldest_of_hardiness_zone(int zone);

/// A checked season with heat sums ready. Cheap to query, safe to share between threads.
class Season {
  public:
    /// Throws Error(usage) for dates out of order (termination not after sowing, planting before
    /// termination, a frost that does not belong to this season), Error(data) for weather that does
    /// not reach from sowing to planting, has tmin above tmax, or is not in degC.
    /// bases_c: base temperatures to keep sums for; others are summed when asked.
    explicit Season(SeasonInputs inputs, std::span<const double> bases_c = {});
    /// As above with the bases of every species of the catalogue.
    Season(SeasonInputs inputs, const Catalogue& catalogue);

    const SeasonInputs& inputs() const { return m_inputs; }
    /// Plain-word doubts (sown after frost, sums from normals, ...).
    const std::vector<std::string>& warnings() const { return m_warnings; }

    /// Degree-days above base_c from `from` (included) to `to` (not included), degC d; 0 where from
    /// >= to. Days outside the weather give nothing.
    double heat(double base_c, Date from, Date to) const;
    /// Mean temperature of a day; the nearest known day outside the weather.
    double mean_c(Date day) const;
    /// Day that parts autumn from spring growth: 31 January after the hard frost.
    Date midwinter() const { return m_midwinter; }
    /// First day on or after the hard frost with Tmin at or below `kill_c`; nothing
    /// where that does not come before next_planting. With normals the Tmin curve is first lowered
    /// so that it meets -2.2 C on the hard-frost date [assumption].
    std::optional<Date> first_kill(double kill_c) const;
    /// Share of winters whose minimum kills at `threshold_c`, 0 to 1: mean over winters of the
    /// normal distribution of (threshold - minimum) with the spreads of `constants`; nothing where
    /// no minimum is known.
    std::optional<double> kill_chance(double threshold_c, const Constants& constants) const;
    /// Days counted by warmth: the Vigil & Kissel 1995 factor f(T) (uptake.hpp) over its value at
    /// reference_c; a day at the reference counts 1, a day at or below 0 C nothing, a day outside
    /// the weather 1. For decay and release after the end of a crop.
    double warm_days(Date from, Date to, double reference_c) const;

  private:
    struct Sums {
        double base_c;
        std::vector<double> cumulative;  ///< [i]: heat of the days before first_day + i
    };
    void keep_sums(double base_c);
    std::size_t day_index(Date day) const;

    SeasonInputs m_inputs;
    Date m_midwinter{};
    std::vector<Sums> m_sums;
    std::vector<double>
        m_warmth;  ///< cumulative exp(0.12979 T), days at or below 0 C count nothing
    double m_normals_shift_c = 0.0;
    std::vector<std::string> m_warnings;
};

}  // namespace catchfield::cover
