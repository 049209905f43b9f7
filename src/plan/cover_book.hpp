// SPDX-License-Identifier: MIT
// Every candidate cover on every kind of site that occurs, worked out once: forecast, C factor and
// its record. Zones and fields that share a site share the work.
#pragma once

#include "cover/choice.hpp"
#include "cover/forecast.hpp"
#include "cover/seeding.hpp"
#include "erosion/management.hpp"
#include "erosion/uncertainty.hpp"
#include "plan/climate.hpp"
#include "plan/job.hpp"

#include <map>
#include <memory>
#include <mutex>
#include <optional>
#include <string>
#include <vector>

namespace catchfield::plan {

/// One candidate on one kind of site.
struct CoverCase {
    cover::Forecast forecast;
    double c = 1.0;  ///< C factor of the year with this cover
    std::unique_ptr<erosion::Schedule> schedule;
};

/// What a candidate costs and how it is sown; the same everywhere.
struct CandidateInfo {
    cover::Cover cover;
    cover::CoverGrowth growth;
    cover::SeedPrescription seed;
};

/// Growth of a forecast in the words of the erosion room.
erosion::CoverGrowth erosion_growth(const cover::Cover& cover, const cover::Forecast& forecast,
                                    const SeasonDates& dates, bool drilled);

class CoverBook {
  public:
    /// Throws Error(usage) for unknown species, tools, crops or aims.
    CoverBook(const Job& job, const cover::Catalogue& catalogue, const Climate& climate,
              const SeasonDates& dates);

    const cover::Season& season() const { return m_season; }
    const std::vector<CandidateInfo>& candidates() const { return m_candidates; }
    const cover::Aims& aims() const { return m_aims; }
    const erosion::Season& management() const { return m_management; }
    const cover::NextCrop& next_crop() const { return m_next; }

    /// Present management without a cover crop.
    double c_now() const { return m_c_now; }
    erosion::CoverManagement now_table() const { return m_now->table(); }
    erosion::CoverManagement cover_table(const CoverCase& with) const {
        return with.schedule->table();
    }

    /// One case per candidate for a site. Sites are rounded (nitrogen to 5 kg/ha, stand to 5 %), so
    /// that like sites share one case. Safe from any thread; the answer does not depend on order.
    using Cases = std::vector<std::shared_ptr<const CoverCase>>;
    std::shared_ptr<const Cases> cases(const cover::SiteInputs& site) const;

    /// A case with another forecast than the model's (scouting), not shared with other zones.
    std::shared_ptr<const CoverCase> revised_case(std::size_t candidate,
                                                  cover::Forecast forecast) const;

    /// C for every draw of the uncertainty design, with and without; kept with the case.
    std::shared_ptr<const erosion::CDraws> draws(
        const std::shared_ptr<const CoverCase>& with) const;
    const erosion::Design& design() const { return m_design; }
    bool has_draws() const { return m_design.draws > 0; }

  private:
    CoverCase case_of(const CandidateInfo& candidate, cover::Forecast forecast) const;
    CoverCase make_case(const CandidateInfo& candidate, const cover::SiteInputs& site) const;

    SeasonDates m_dates;
    cover::Season m_season;
    erosion::YearWeather m_weather;
    erosion::Season m_management;
    cover::Aims m_aims;
    cover::NextCrop m_next;
    std::vector<CandidateInfo> m_candidates;
    std::unique_ptr<erosion::Schedule> m_now;
    double m_c_now = 1.0;
    bool m_drilled = true;
    erosion::Design m_design;

    mutable std::mutex m_lock;
    mutable std::map<std::vector<double>, std::shared_ptr<const Cases>> m_cases;
    mutable std::map<std::shared_ptr<const CoverCase>, std::shared_ptr<const erosion::CDraws>>
        m_draws;
};

}  // namespace catchfield::plan
