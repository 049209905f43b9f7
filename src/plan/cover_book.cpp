// SPDX-License-Identifier: MIT
#include "plan/cover_book.hpp"

#include "base/error.hpp"
#include "base/text.hpp"

#include <cmath>

namespace catchfield::plan {

namespace {

cover::SeasonInputs season_inputs(const Climate& climate, const SeasonDates& dates) {
    cover::SeasonInputs inputs;
    inputs.sow = dates.sow;
    inputs.hard_frost = dates.hard_frost;
    inputs.terminate = dates.terminate;
    inputs.next_planting = dates.next_planting;
    inputs.first_day = climate.season_days.first;
    inputs.tmin_c = climate.season_days.tmin_c;
    inputs.tmax_c = climate.season_days.tmax_c;
    inputs.normals = climate.season_from_normals;
    inputs.winter_minimum_c = climate.winter_minimum_c;
    return inputs;
}

erosion::Season management_of(const Job& job, const SeasonDates& dates) {
    erosion::Season season;
    season.harvest = dates.harvest;
    season.previous_crop = job.season.previous_crop;
    season.residue_kg_ha = job.season.residue_kg_ha;
    season.residue_removed_share = job.season.residue_removed;
    if (job.season.tillage_before_sowing != "none") {
        season.tillage.emplace_back(std::max(dates.harvest, dates.sow - std::chrono::days(1)),
                                    job.season.tillage_before_sowing);
    }
    if (job.season.tillage_before_planting != "none") {
        season.tillage.emplace_back(dates.next_planting - std::chrono::days(3),
                                    job.season.tillage_before_planting);
    }
    season.next_planting = dates.next_planting;
    season.next_crop = job.nitrogen.crop;
    season.planter =
        job.season.tillage_before_planting == "none" ? "no_till_planter" : "row_planter";
    return season;
}

cover::NextCrop next_crop_of(const std::string& crop) {
    cover::NextCrop next;
    next.name = crop;
    const std::string name = lower_case(crop);
    next.small_grain =
        name == "wheat" || name == "oat" || name == "oats" || name == "barley" || name == "rye";
    next.grass = next.small_grain || name == "corn" || name == "sorghum" || name == "grain sorghum";
    next.legume = name == "soybean" || name == "soybeans" || name == "pea" || name == "drybean";
    next.brassica = name == "canola";
    return next;
}

/// The species with the largest share decides what the residue is like.
const cover::Species& leading_species(const cover::Cover& cover) {
    const cover::Component* leading = &cover.components.front();
    for (const cover::Component& component : cover.components) {
        if (component.share > leading->share) leading = &component;
    }
    return leading->species;
}

double rounded(double value, double step) {
    return std::round(value / step) * step;
}

}  // namespace

erosion::CoverGrowth erosion_growth(const cover::Cover& cover, const cover::Forecast& forecast,
                                    const SeasonDates& dates, bool drilled) {
    erosion::CoverGrowth growth;
    for (std::size_t i = 0; i < 24; ++i) {
        growth.by_half_month[i] = {.ground_cover_fraction = forecast.canopy_cover[i],
                                   .height_m = forecast.height_m[i],
                                   .shoot_kg_ha = forecast.live_kg_ha[i],
                                   .root_kg_ha = forecast.root_half_kg_ha[i]};
    }
    growth.end_shoot_kg_ha = forecast.end_kg_ha.typical;
    growth.sown = dates.sow;
    growth.ends = forecast.ending.date;
    growth.residue_kind =
        leading_species(cover).group == cover::Group::grass ? "grass_cover" : "legume_cover";
    growth.sowing_tool = drilled ? "no_till_drill" : "";
    return growth;
}

CoverBook::CoverBook(const Job& job, const cover::Catalogue& catalogue, const Climate& climate,
                     const SeasonDates& dates)
    : m_dates(dates),
      m_season(season_inputs(climate, dates), catalogue),
      m_weather(climate.year),
      m_management(management_of(job, dates)),
      m_next(next_crop_of(job.nitrogen.crop)),
      m_drilled(job.cover.drilled) {
    std::string aims;
    for (const auto& [name, weight] : job.cover.aims) {
        aims += (aims.empty() ? "" : ",") + name + "=" + weight;
    }
    m_aims = aims.empty() ? cover::Aims::usual() : cover::parse_aims(aims);

    std::vector<cover::Cover> covers;
    if (job.cover.candidates.empty()) {
        covers = catalogue.list();
    } else {
        for (const std::string& id : job.cover.candidates) {
            covers.push_back(id.find('=') != std::string::npos ? catalogue.parse_cover(id)
                                                               : catalogue.find(id));
        }
    }
    for (cover::Cover& cover : covers) {
        cover::SeedOrder order;
        order.method = m_drilled ? cover::SowingMethod::drilled : cover::SowingMethod::broadcast;
        order.lots.assign(cover.components.size(), {job.cover.purity, job.cover.germination});
        CandidateInfo info;
        info.growth = cover::grow(cover, m_season);
        info.seed = cover::seed_prescription(cover, order);
        info.cover = std::move(cover);
        m_candidates.push_back(std::move(info));
    }
    m_now = std::make_unique<erosion::Schedule>(erosion::operations_of(m_management, nullptr),
                                                nullptr, m_management.start, m_weather);
    m_c_now = m_now->c();
    if (job.output.draws >= 20)
        m_design = erosion::latin_hypercube(static_cast<std::size_t>(job.output.draws));
}

CoverCase CoverBook::make_case(const CandidateInfo& candidate,
                               const cover::SiteInputs& site) const {
    return case_of(candidate, cover::forecast(candidate.cover, candidate.growth, m_season, site));
}

CoverCase CoverBook::case_of(const CandidateInfo& candidate, cover::Forecast forecast) const {
    CoverCase result;
    result.forecast = std::move(forecast);
    const erosion::CoverGrowth growth =
        erosion_growth(candidate.cover, result.forecast, m_dates, m_drilled);
    // A stand that never comes up leaves the field as it was.
    const erosion::CoverGrowth* grown = growth.grows() ? &growth : nullptr;
    result.schedule = std::make_unique<erosion::Schedule>(
        erosion::operations_of(m_management, grown), grown, m_management.start, m_weather);
    result.c = result.schedule->c();
    return result;
}

std::shared_ptr<const CoverCase> CoverBook::revised_case(std::size_t candidate,
                                                         cover::Forecast forecast) const {
    return std::make_shared<const CoverCase>(case_of(m_candidates[candidate], std::move(forecast)));
}

std::shared_ptr<const CoverBook::Cases> CoverBook::cases(const cover::SiteInputs& site) const {
    cover::SiteInputs shared = site;
    if (shared.n_supply_kg_ha) *shared.n_supply_kg_ha = rounded(*shared.n_supply_kg_ha, 5.0);
    if (shared.spring_n_supply_kg_ha) {
        *shared.spring_n_supply_kg_ha = rounded(*shared.spring_n_supply_kg_ha, 5.0);
    }
    shared.stand = rounded(shared.stand, 0.05);
    const std::vector<double> key = {shared.n_supply_kg_ha.value_or(-1.0),
                                     shared.spring_n_supply_kg_ha.value_or(-1.0), shared.stand,
                                     shared.coarse_soil ? 1.0 : 0.0, shared.removed_kg_ha};
    {
        const std::lock_guard guard(m_lock);
        const auto found = m_cases.find(key);
        if (found != m_cases.end()) return found->second;
    }
    // Worked out without the lock: two threads may do the same work once, with the same answer.
    auto made = std::make_shared<Cases>();
    for (const CandidateInfo& candidate : m_candidates) {
        made->push_back(std::make_shared<const CoverCase>(make_case(candidate, shared)));
    }
    const std::lock_guard guard(m_lock);
    return m_cases.emplace(key, std::move(made)).first->second;
}

std::shared_ptr<const erosion::CDraws> CoverBook::draws(
    const std::shared_ptr<const CoverCase>& with) const {
    {
        const std::lock_guard guard(m_lock);
        const auto found = m_draws.find(with);
        if (found != m_draws.end()) return found->second;
    }
    auto made = std::make_shared<const erosion::CDraws>(
        erosion::c_draws(*m_now, *with->schedule, m_design));
    const std::lock_guard guard(m_lock);
    return m_draws.emplace(with, std::move(made)).first->second;
}

}  // namespace catchfield::plan
