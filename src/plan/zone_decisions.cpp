// SPDX-License-Identifier: MIT
// Cover, erosion and nitrogen of a zone.
#include "base/error.hpp"
#include "base/text.hpp"
#include "base/units.hpp"
#include "plan/zone_steps.hpp"
#include "terrain/slope_length.hpp"

#include <algorithm>
#include <cmath>

namespace catchfield::plan {

namespace {

/// Share of a year's mineralisation that falls between two dates, by degree-days above 0 degC
/// (assumption: mineralisation follows warmth).
double warm_share(const Inputs& inputs, Date from, Date to) {
    const auto& year = inputs.climate.mean_year;
    double all = 0.0;
    for (std::size_t day = 0; day < year.tmax_c.size(); ++day) {
        all += std::max(0.0, (year.tmax_c[day] + year.tmin_c[day]) / 2.0);
    }
    return all > 0.0 ? std::min(1.0, inputs.covers->season().heat(0.0, from, to) / all) : 0.0;
}

/// Organic matter for the zone: soil tests before the map.
std::optional<double> organic_matter(const ZoneTests& tests, const ZoneResult& zone) {
    return tests.om_pct ? std::optional(tests.om_pct->value) : zone.om_pct;
}

std::string leading_species(const cover::Cover& cover) {
    const auto leading =
        std::max_element(cover.components.begin(), cover.components.end(),
                         [](const auto& a, const auto& b) { return a.share < b.share; });
    std::string id = leading->species.id;
    std::replace(id.begin(), id.end(), '_', '-');
    return id;
}

nitrogen::CoverEvidence evidence_of(const Inputs& inputs, const cover::Cover& cover,
                                    const cover::Forecast& forecast, const ZoneResult& zone) {
    nitrogen::CoverEvidence evidence;
    evidence.species = cover.pure() ? leading_species(cover) : cover.id;
    evidence.group = cover.pure()
                         ? std::string(cover::group_name(cover.components.front().species.group))
                         : "mix";
    evidence.n_kg_ha = forecast.n_uptake_kg_ha + forecast.n_root_kg_ha;
    evidence.release_low_kg_ha = forecast.release.range_kg_ha.low;
    evidence.release_kg_ha = forecast.release.range_kg_ha.typical;
    evidence.release_high_kg_ha = forecast.release.range_kg_ha.high;
    evidence.release_confidence = forecast.release.confidence;
    if (forecast.cn_ratio > 0.0) evidence.cn_ratio = forecast.cn_ratio;
    evidence.shoot_kg_ha = forecast.end_kg_ha.typical;
    evidence.height_cm = std::max(forecast.height_at_end_cm, forecast.height_at_frost_cm);
    evidence.season = month_of(inputs.dates.sow) < 6 ? nitrogen::SowingSeason::spring
                                                     : nitrogen::SowingSeason::late_summer;
    evidence.winterkilled = forecast.ending.by_winter;
    evidence.coarse_soil = zone.coarse;
    evidence.cold_dry = inputs.job.nitrogen.cold_dry;
    return evidence;
}

erosion::SupportPractice practice_of(const Inputs& inputs, const ZoneResult& zone) {
    erosion::SupportPractice none;
    none.note = "no support practice";
    none.confidence = Confidence::verified;
    const std::string& practice = inputs.job.season.practice;
    if (practice == "contour") {
        const auto rows = inputs.covers->now_table().rows;
        const bool residue_over_half = std::all_of(
            rows.begin(), rows.end(), [](const auto& row) { return row.cover_pct > 50.0; });
        return erosion::contour_p(zone.slope_pct, zone.slope_length_m, residue_over_half);
    }
    if (practice == "strip") {
        return erosion::strip_crop_p(zone.slope_pct, zone.slope_length_m,
                                     erosion::StripRotation::no_meadow);
    }
    if (practice == "terrace") {
        erosion::Terraces terraces = erosion::terraces(zone.slope_pct, zone.slope_length_m,
                                                       erosion::TerraceOutlet::graded_sod);
        if (!terraces.note.empty()) terraces.in_field.note += " " + terraces.note;
        return terraces.in_field;
    }
    return none;
}

/// Worst of the half-months in which a field lies open to wind: the least-covered row.
erosion::WindCover wind_cover(const erosion::CoverManagement& table, int from_row, int rows) {
    erosion::WindCover least;
    double worst = -1.0;
    for (int i = from_row; i < from_row + rows && i < static_cast<int>(table.rows.size()); ++i) {
        const erosion::HalfMonthRow& row = table.rows[static_cast<std::size_t>(i)];
        const erosion::WindCover cover{.flat_cover_pct = row.cover_pct,
                                       .silhouette_cm2_m2 = 0.0,
                                       .canopy_fraction = row.canopy_fraction};
        const double ratio = erosion::combined_ratio(cover);
        if (ratio > worst) {
            worst = ratio;
            least = cover;
        }
    }
    return least;
}

}  // namespace

void set_present_loss(const Inputs& inputs, ZoneResult& zone) {
    zone.practice = practice_of(inputs, zone);
    zone.c_now = inputs.covers->c_now();
    if (!zone.loss_bare_mg_ha) return;
    zone.loss_now_mg_ha = *zone.loss_bare_mg_ha * zone.c_now * zone.practice.p;
    if (!zone.t_mg_ha) return;
    zone.loss_over_t = erosion::loss_over_tolerance(*zone.loss_now_mg_ha, *zone.t_mg_ha);
    if (zone.k_si) {
        const double ls = terrain::ls_ah537(std::min(zone.slope_pct, terrain::clamp_slope_pct),
                                            zone.slope_length_m);
        zone.erodibility_index =
            erosion::erodibility_index(inputs.climate.year.r_si, *zone.k_si, ls, *zone.t_mg_ha);
    }
}

ZoneTests tests_of_zone(const std::vector<TestSample>& tests, const std::vector<Point>& places,
                        const std::vector<int>& zones, int zone, Point centre) {
    std::vector<nitrogen::TestPoint> n, ppm, depth, om, top;
    for (std::size_t i = 0; i < tests.size(); ++i) {
        if (tests[i].has_nitrate) {
            n.push_back({places[i], tests[i].nitrate.n_kg_ha, zones[i]});
            ppm.push_back({places[i], tests[i].nitrate.mean_ppm, zones[i]});
            depth.push_back({places[i], tests[i].nitrate.depth_cm, zones[i]});
        }
        if (tests[i].nitrate_0_30_kg_ha) {
            top.push_back({places[i], *tests[i].nitrate_0_30_kg_ha, zones[i]});
        }
        if (tests[i].om_pct) om.push_back({places[i], *tests[i].om_pct, zones[i]});
    }
    return {nitrogen::zone_value(n, zone, centre), nitrogen::zone_value(ppm, zone, centre),
            nitrogen::zone_value(depth, zone, centre), nitrogen::zone_value(om, zone, centre),
            nitrogen::zone_value(top, zone, centre)};
}

void set_cover_needs(const Inputs& inputs, const ZoneTests& tests, ZoneResult& zone) {
    const Job& job = inputs.job;
    zone.site.coarse_soil = zone.coarse;
    zone.site.removed_kg_ha =
        erosion::residue_at_harvest(inputs.covers->management()).removed_kg_ha;
    const std::optional<double> om = organic_matter(tests, zone);
    const double yearly = om ? nitrogen::organic_matter_supply(*om).n_kg_ha : 0.0;
    if (tests.nitrate_kg_ha && !job.nitrogen.tests_in_spring) {
        zone.site.n_supply_kg_ha =
            tests.nitrate_kg_ha->value +
            yearly * warm_share(inputs, inputs.dates.sow, inputs.dates.hard_frost) +
            job.nitrogen.manure_kg_ha;
    }
    if (om) {
        zone.site.spring_n_supply_kg_ha =
            yearly * warm_share(inputs, inputs.dates.hard_frost, inputs.dates.terminate);
    }
    cover::ZoneNeeds& needs = zone.needs;
    needs.area_ha = zone.area_ha;
    needs.loss_over_t = zone.loss_over_t.value_or(1.0);
    if (!zone.hydrologic_group.empty()) {
        zone.leaching =
            nitrogen::leaching_index(inputs.climate.annual_precip_mm,
                                     inputs.climate.winter_precip_mm, zone.hydrologic_group);
        switch (zone.leaching->leaching_class) {
            case nitrogen::LeachingClass::low:
                needs.leaching = cover::ZoneNeeds::Leaching::low;
                break;
            case nitrogen::LeachingClass::moderate:
                needs.leaching = cover::ZoneNeeds::Leaching::moderate;
                break;
            case nitrogen::LeachingClass::high:
                needs.leaching = cover::ZoneNeeds::Leaching::high;
                break;
        }
    }
    using Compaction = cover::ZoneNeeds::Compaction;
    switch (zone.taproot.advice) {
        case compaction::Advice::recommended:
            needs.compaction = Compaction::severe;
            break;
        case compaction::Advice::unclear:
            needs.compaction = Compaction::slight;
            break;
        case compaction::Advice::not_recommended:
            needs.compaction = Compaction::none;
            break;
    }
    needs.nitrate_0_30_kg_ha = zone.nitrate_0_30_kg_ha;
    needs.next = inputs.covers->next_crop();
    needs.next_crop_n_need = needs.next.legume ? 0.0 : 1.0;
}

void set_credit(const Inputs& inputs, const ZoneResult& zone, CoverOption& option,
                std::optional<double> height_cm, std::optional<double> stand_pct) {
    const cover::Cover& cover = inputs.covers->candidates()[option.candidate].cover;
    nitrogen::CoverEvidence evidence = evidence_of(inputs, cover, option.with->forecast, zone);
    if (height_cm) evidence.height_cm = height_cm;
    if (stand_pct) {
        // Thirds of a full stand [common practice, no source].
        evidence.stand = *stand_pct >= 67.0   ? nitrogen::Stand::good
                         : *stand_pct >= 33.0 ? nitrogen::Stand::fair
                                              : nitrogen::Stand::poor;
    }
    option.credit = nitrogen::cover_credit(inputs.credits, inputs.job.nitrogen.region, evidence);
}

cover::Choice score_covers(const Inputs& inputs, ZoneResult& zone) {
    const CoverBook& book = *inputs.covers;
    const auto cases = book.cases(zone.site);
    std::vector<cover::Candidate> candidates;
    zone.options.clear();
    for (std::size_t i = 0; i < cases->size(); ++i) {
        CoverOption option;
        option.candidate = i;
        option.with = (*cases)[i];
        option.erosion_cut = book.c_now() > 0.0 ? 1.0 - option.with->c / book.c_now() : 0.0;
        option.soil_loss_mg_ha =
            zone.loss_bare_mg_ha.value_or(0.0) * option.with->c * zone.practice.p;
        const cover::Cover& cover = book.candidates()[i].cover;
        set_credit(inputs, zone, option);
        cover::Candidate candidate;
        candidate.cover = &cover;
        candidate.forecast = &option.with->forecast;
        candidate.erosion_cut = option.erosion_cut;
        candidate.cost_per_ha = book.candidates()[i].seed.cost_per_ha;
        candidates.push_back(candidate);
        zone.options.push_back(std::move(option));
    }
    cover::Choice choice = cover::choose(candidates, zone.needs, book.aims());
    for (std::size_t i = 0; i < zone.options.size(); ++i) zone.options[i].score = choice.scores[i];
    return choice;
}

void finish_erosion(const Inputs& inputs, ZoneResult& zone) {
    const CoverBook& book = *inputs.covers;
    zone.c_cover = zone.cover() != nullptr ? zone.cover()->with->c : zone.c_now;
    if (zone.loss_bare_mg_ha) {
        zone.loss_cover_mg_ha = *zone.loss_bare_mg_ha * zone.c_cover * zone.practice.p;
        if (*zone.loss_now_mg_ha > 0.0) {
            zone.erosion_cut_pct = 100.0 * (1.0 - *zone.loss_cover_mg_ha / *zone.loss_now_mg_ha);
        }
        if (zone.cover() != nullptr && book.has_draws() && zone.ls > 0.0) {
            erosion::Factors factors;
            factors.r_si = inputs.climate.year.r_si;
            factors.ls = zone.ls;
            factors.k_si = *zone.loss_bare_mg_ha / (factors.r_si * zone.ls);
            factors.p = zone.practice.p;
            const double slope = std::clamp(zone.slope_pct, 0.05, terrain::clamp_slope_pct);
            zone.uncertainty =
                erosion::soil_loss_uncertainty(factors, terrain::length_exponent(slope),
                                               *book.draws(zone.cover()->with), book.design());
        }
    }
    if (zone.cover() != nullptr) {
        // From sowing to next planting, the months the cover is for.
        const int first = std::max(0, days_between(inputs.dates.harvest, inputs.dates.sow) / 15);
        const int rows =
            std::max(1, days_between(inputs.dates.sow, inputs.dates.next_planting) / 15);
        const auto now = book.now_table();
        const auto with = book.cover_table(*zone.cover()->with);
        zone.wind = erosion::wind_cut(wind_cover(now, first + 4, rows - 4),
                                      wind_cover(with, first + 4, rows - 4));
    }
}

namespace {

/// What a method needs of every zone: without it the field is left out, with the reason.
void check_zone_needs(const nitrogen::ZoneNeeds& needs, int zone) {
    using nitrogen::MethodForm;
    const MethodForm form = needs.method->form;
    const auto refuse = [&](const std::string& what, const std::string& hint) {
        throw Error(ErrorKind::data,
                    "zone " + std::to_string(zone) + " has no " + what + ", and nitrogen method " +
                        needs.method->id + " needs it",
                    {.hint = hint});
    };
    if ((form == MethodForm::balance || form == MethodForm::corn_balance) &&
        !needs.yield_goal_kg_ha) {
        refuse("yield goal",
               "Its raster or column has nothing here: add nitrogen.yield-goal for "
               "ground without one.");
    }
    if (form == MethodForm::corn_balance && !needs.organic_matter_pct) {
        refuse("organic matter",
               "Give om_pct in nitrogen.soil-tests or horizons with the soil map, or use method "
               "balance.");
    }
    if (form == MethodForm::late_spring && !needs.nitrate) {
        refuse("late-spring nitrate test", "No test of nitrogen.soil-tests lies in this field.");
    }
}

}  // namespace

void budget_nitrogen(const Inputs& inputs, const ZoneTests& tests,
                     std::optional<double> yield_goal_kg_ha, ZoneResult& zone) {
    const auto& job = inputs.job.nitrogen;
    nitrogen::ZoneNeeds needs;
    needs.method = inputs.method;
    needs.crop = job.crop;
    needs.yield_goal_kg_ha = yield_goal_kg_ha;
    needs.coarse_soil = zone.coarse;
    needs.organic_matter_pct = organic_matter(tests, zone);
    if (job.fixed_rate_kg_ha && inputs.method->form == nitrogen::MethodForm::fixed) {
        needs.base_kg_ha = needs.base_low_kg_ha = needs.base_high_kg_ha = job.fixed_rate_kg_ha;
        needs.base_source = "nitrogen.fixed-rate";
    }
    std::vector<std::string> cautions;
    if (inputs.responses) {
        BaseRate base = base_rate(*inputs.responses, inputs.job, zone.zone);
        needs.base_kg_ha = base.n_kg_ha;
        needs.base_low_kg_ha = base.low_kg_ha;
        needs.base_high_kg_ha = base.high_kg_ha;
        needs.base_source = std::move(base.source);
        needs.base_confidence = base.confidence;
        cautions = std::move(base.cautions);
    }
    needs.critical_ppm = job.late_spring_critical_ppm;
    needs.manured_or_after_alfalfa =
        job.manure_kg_ha > 0.0 || inputs.job.season.previous_crop == "alfalfa";
    if (job.tests_in_spring && tests.nitrate_kg_ha) {
        nitrogen::NitrateProfile profile;
        profile.n_kg_ha = tests.nitrate_kg_ha->value;
        profile.mean_ppm = tests.nitrate_ppm->value;
        profile.depth_cm = tests.depth_cm->value;
        needs.nitrate = profile;
    }
    if (zone.cover() != nullptr) needs.cover = zone.cover()->credit;
    nitrogen::CoverEvidence previous;
    previous.species = inputs.job.season.previous_crop;
    std::replace(previous.species.begin(), previous.species.end(), '_', '-');
    previous.group = "any";
    previous.coarse_soil = zone.coarse;
    needs.previous_crop = nitrogen::previous_crop_credit(inputs.credits, job.region, previous);
    const auto given = [](const char* label, double kg_ha) -> std::optional<nitrogen::OtherCredit> {
        if (kg_ha <= 0.0) return std::nullopt;
        nitrogen::OtherCredit credit;
        credit.label = label;
        credit.low_kg_ha = credit.credit_kg_ha = credit.high_kg_ha = kg_ha;
        credit.source = "job file";
        credit.confidence = Confidence::verified;
        return credit;
    };
    needs.manure = given("manure", job.manure_kg_ha);
    needs.irrigation = given("irrigation water", job.irrigation_kg_ha);

    nitrogen::IntervalSettings settings;
    settings.draws = inputs.job.output.draws;
    check_zone_needs(needs, zone.zone);
    zone.budget = nitrogen::zone_budget(needs, settings);
    zone.budget.cautions.insert(zone.budget.cautions.end(), cautions.begin(), cautions.end());
    const double unit = inputs.us() ? units::kg_ha_per_lb_ac : 1.0;
    const prescription::SettledRate settled =
        prescription::apply_rule(zone.budget.rate_kg_ha / unit, inputs.rate_rule);
    zone.n_rate_kg_ha = settled.value * unit;
    nitrogen::settle(zone.budget, zone.n_rate_kg_ha, "bounds and machine step", settled.note);

    if (zone.leaching && tests.nitrate_kg_ha && !job.tests_in_spring) {
        const double caught =
            zone.cover() != nullptr ? zone.cover()->with->forecast.fall_n_caught_kg_ha : 0.0;
        const double supply = zone.site.n_supply_kg_ha.value_or(0.0) - tests.nitrate_kg_ha->value;
        zone.winter_nitrate = nitrogen::winter_nitrate(
            *zone.leaching, tests.nitrate_kg_ha->value, std::max(0.0, supply), caught,
            zone.cover() != nullptr && zone.cover()->with->forecast.ending.by_winter);
    }
}

void judge_confidence(const Inputs& inputs, ZoneResult& zone) {
    int level = 0;  // 0 high, 1 medium, 2 low
    const auto lower = [&](int to, const std::string& reason) {
        level = std::max(level, to);
        zone.confidence_reasons.push_back(reason);
    };
    const Coverage& coverage = zone.coverage;
    if (coverage.filled > 0.005) {
        lower(coverage.filled > 0.5   ? 2
              : coverage.filled > 0.1 ? 1
                                      : 0,
              "soil values of the nearest polygon on " + fixed(100.0 * coverage.filled, 0) +
                  " % of the zone");
    }
    if (coverage.without > 0.005) {
        lower(coverage.without > 0.25 ? 2 : 1,
              "no soil values on " + fixed(100.0 * coverage.without, 0) + " % of the zone");
    }
    if (coverage.no_terrain > 0.005) {
        lower(coverage.no_terrain > 0.25 ? 2 : 1,
              "no terrain on " + fixed(100.0 * coverage.no_terrain, 0) + " % of the zone");
    }
    if (inputs.climate.confidence >= Confidence::unchecked) {
        lower(inputs.job.weather.monthly.empty() && inputs.job.weather.daily.empty() ? 2 : 1,
              "weather: " + inputs.climate.temperature_source);
    }
    if (inputs.climate.erosivity_source != "given") {
        lower(1, "erosivity: " + inputs.climate.erosivity_source);
    }
    if (zone.cover() != nullptr &&
        zone.cover()->with->forecast.confidence >= Confidence::unchecked) {
        lower(1, "cover growth rests on planning values (" +
                     std::string(confidence_name(zone.cover()->with->forecast.confidence)) + ")");
    }
    if (zone.budget.confidence >= Confidence::unchecked) {
        lower(1, "the nitrogen rate rests on a value without a checked source (" +
                     std::string(confidence_name(zone.budget.confidence)) + ")");
    }
    for (const std::string& doubt : zone.map_doubts) lower(1, doubt);
    if (!zone.t_mg_ha) lower(1, "no soil loss tolerance is known");
    zone.confidence = level == 0 ? "high" : level == 1 ? "medium" : "low";

    auto& cautions = zone.cautions;
    const auto add = [&](const std::string& text) {
        if (!text.empty() && std::find(cautions.begin(), cautions.end(), text) == cautions.end()) {
            cautions.push_back(text);
        }
    };
    if (zone.cover() == nullptr) add("No candidate cover fits this zone; see the reasons of each.");
    if (zone.slope_pct > terrain::warn_slope_pct) {
        add("Slope above 20 %: beyond the data behind the equations.");
    } else if (zone.steep_share > 0.05) {
        add("Slopes above 20 % on " + fixed(100.0 * zone.steep_share, 0) +
            " % of the zone: beyond the data behind the equations.");
    }
    if (zone.channel_share > 0.1) {
        add("Water collects on " + fixed(100.0 * zone.channel_share, 0) +
            " % of the zone: gullies may form, and they are not in the soil loss.");
    }
    if (zone.practice.beyond_limit) add("Support practice not counted: " + zone.practice.note);
    if (zone.loss_over_t && *zone.loss_over_t > 1.0) {
        add("Soil loss is above tolerance under present management.");
    }
    if (zone.cover() != nullptr) {
        const CandidateInfo& info = inputs.covers->candidates()[zone.cover()->candidate];
        const cover::Forecast& forecast = zone.cover()->with->forecast;
        for (const std::string& text : cover::caution_texts(forecast.cautions)) add(text);
        for (const cover::Component& component : info.cover.components) {
            // Parts of a mixture end each in its own way.
            const cover::Ending ending =
                info.cover.pure() ? forecast.ending
                                  : cover::how_it_ends(component.species, inputs.covers->season());
            for (const std::string& text :
                 cover::ending_advice(component.species, ending, inputs.covers->next_crop())) {
                add(info.cover.pure() ? text : component.species.name + ": " + text);
            }
        }
    }
    for (const std::string& text : zone.budget.cautions) add(text);
    for (const std::string& text : zone.taproot.cautions) add(text);
    if (zone.winter_nitrate) {
        for (const std::string& text : zone.winter_nitrate->cautions) add(text);
    }
    add(std::string(cover::label_caution));
}

}  // namespace catchfield::plan
