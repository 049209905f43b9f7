// SPDX-License-Identifier: MIT
// The rotation-year: operations and growth laid on half-months, then one pass over 24 rows.
#include "erosion/management.hpp"

#include "base/error.hpp"
#include "base/text.hpp"
#include "base/units.hpp"

#include <algorithm>
#include <cmath>
#include <numeric>

namespace catchfield::erosion {

namespace {

constexpr double top_layer_mm = 100.0;

[[noreturn]] void refuse(const std::string& reason, const std::string& hint = {}) {
    throw Error(ErrorKind::usage, reason, {.hint = hint});
}

/// Half-months counted from January of year 0, of the boundary nearest to a date.
int nearest_boundary(Date date) {
    const int h = half_month_of(date);
    const Date start = half_month_start(year_of(date), h);
    const Date next = half_month_start(year_of(date), h + 1);
    const bool later = 2 * days_between(start, date) >= days_between(start, next);
    return year_of(date) * 24 + h + (later ? 1 : 0);
}

CanopyPoint canopy_at(const Crop& crop, double days) {
    const auto& points = crop.canopy;
    if (days >= points.back().days) return points.back();
    for (std::size_t i = 1; i < points.size(); ++i) {
        if (days > points[i].days) continue;
        const CanopyPoint& a = points[i - 1];
        const CanopyPoint& b = points[i];
        const double share = (days - a.days) / (b.days - a.days);
        return {days, std::lerp(a.canopy_fraction, b.canopy_fraction, share),
                std::lerp(a.fall_height_m, b.fall_height_m, share),
                std::lerp(a.roots_top_kg_ha, b.roots_top_kg_ha, share)};
    }
    return points.front();
}

void check_weather(const YearWeather& weather) {
    const auto fail = [](const std::string& reason) { throw Error(ErrorKind::data, reason); };
    if (!(weather.r_si > 0.0) || !std::isfinite(weather.r_si))
        fail("rainfall erosivity must be above 0, but is " + shortest(weather.r_si));
    double sum = 0.0;
    for (std::size_t h = 0; h < 24; ++h) {
        if (!(weather.ei_share[h] >= 0.0))
            fail("the erosivity share of " + half_month_name(static_cast<int>(h)) +
                 " is negative or missing");
        if (!(weather.precip_mm[h] >= 0.0))
            fail("the rain of " + half_month_name(static_cast<int>(h)) + " is negative or missing");
        if (!(weather.tmean_c[h] >= -50.0 && weather.tmean_c[h] <= 45.0))
            fail("the temperature of " + half_month_name(static_cast<int>(h)) + ", " +
                 shortest(weather.tmean_c[h]) + " degC, is not possible");
        sum += weather.ei_share[h];
    }
    if (std::abs(sum - 1.0) > 1e-6)
        fail("the erosivity shares of the year add up to " + shortest(sum) + ", not 1");
}

void check_start(const FieldStart& start) {
    if (!(start.old_residue_kg_ha >= 0.0 && start.buried_top_kg_ha >= 0.0 &&
          start.years_since_tillage >= 0.0 && start.roughness_mm >= 0.0))
        refuse("old residue, years since tillage and roughness must not be negative");
    if (!(start.stone_cover_pct >= 0.0 && start.stone_cover_pct <= 100.0))
        refuse("stone cover must lie between 0 and 100 %");
}

std::string mass_words(double kg_ha) {
    return fixed(kg_ha, 0) + " kg/ha";
}

double live_share(double fraction, double factor) {
    return factor == 1.0 || fraction <= 0.0 || fraction >= 1.0
               ? fraction
               : 1.0 - std::pow(1.0 - fraction, factor);
}

}  // namespace

bool CoverGrowth::grows() const {
    return end_shoot_kg_ha.value_or(0.0) > 0.0 ||
           std::any_of(by_half_month.begin(), by_half_month.end(),
                       [](const CoverState& s) { return s.shoot_kg_ha > 0.0; });
}

HarvestResidue residue_at_harvest(const Season& season) {
    const double share = season.residue_removed_share;
    if (!(share >= 0.0 && share <= 1.0))
        refuse("the share of residue removed must lie between 0 and 1");
    const double all =
        season.residue_kg_ha.value_or(crop(season.previous_crop).typical_residue_kg_ha);
    if (!(all >= 0.0 && all <= 30000.0))
        refuse("a residue of " + shortest(all) + " kg/ha is not between 0 and 30000 kg/ha");
    return {all * (1.0 - share), all * share};
}

std::vector<Operation> operations_of(const Season& season, const CoverGrowth* cover) {
    if (season.next_planting <= season.harvest ||
        days_between(season.harvest, season.next_planting) > 366)
        refuse("the next planting (" + iso_date(season.next_planting) +
               ") does not come within a year after the harvest (" + iso_date(season.harvest) +
               ")");
    const Crop& previous = crop(season.previous_crop);
    const Crop& next = crop(season.next_crop);
    if (next.canopy.empty()) refuse("'" + next.id + "' has no canopy table as a next crop");
    std::vector<Operation> operations;
    operations.push_back({season.harvest, OperationKind::harvest, previous.residue_kind,
                          residue_at_harvest(season).left_kg_ha, previous.roots_top_kg_ha});
    for (const auto& [date, id] : season.tillage) {
        if (date < season.harvest || days_between(season.harvest, date) > 366)
            refuse("tillage on " + iso_date(date) + " is not within a year after the harvest");
        operations.push_back({date, OperationKind::till, tool(id).id});
    }
    if (cover != nullptr && cover->grows()) {
        if (days_between(cover->sown, season.harvest) > 120 || cover->sown > season.next_planting)
            refuse("the cover is sown on " + iso_date(cover->sown) +
                   ", which is not between 120 days before the harvest and the next planting");
        if (cover->ends < cover->sown)
            refuse("the cover ends on " + iso_date(cover->ends) + ", before it is sown");
        if (cover->ends < season.harvest)
            refuse("the cover ends on " + iso_date(cover->ends) + ", before the harvest");
        if (days_between(season.next_planting, cover->ends) > 30)
            refuse("the cover ends on " + iso_date(cover->ends) +
                   ", more than 30 days after the next planting");
        if (!cover->sowing_tool.empty() && cover->sown >= season.harvest)
            operations.push_back({cover->sown, OperationKind::till, tool(cover->sowing_tool).id});
        operations.push_back({cover->ends, OperationKind::end_cover, cover->residue_kind});
    }
    operations.push_back({season.next_planting, OperationKind::till, tool(season.planter).id});
    operations.push_back({season.next_planting, OperationKind::plant, next.id});
    std::stable_sort(operations.begin(), operations.end(),
                     [](const Operation& a, const Operation& b) { return a.date < b.date; });
    return operations;
}

std::size_t Schedule::add_pool(const ResidueKind& kind, bool from_cover) {
    if (m_pools.size() == max_pools)
        refuse("more than " + std::to_string(max_pools) + " lots of residue in one year");
    Pool pool{kind.alpha_ha_kg, kind.decay_per_day, from_cover};
    for (std::size_t row = 0; row < 24; ++row)
        pool.stands_half[row] = std::exp(-kind.fall_per_day * m_weather[row].days / 2.0);
    m_confidence = weakest(m_confidence, kind.confidence);
    m_pools.push_back(pool);
    return m_pools.size() - 1;
}

/// Live states of the rows from sowing to the end; the end itself is an event.
void Schedule::add_cover(const CoverGrowth& cover, int start) {
    const int from = std::max(0, nearest_boundary(cover.sown) - start);
    const int to = std::min(24, nearest_boundary(cover.ends) - start);
    double shoot = 0.0;
    double roots = 0.0;
    for (int row = from; row < to; ++row) {
        const std::size_t r = static_cast<std::size_t>(row);
        const CoverState& state =
            cover.by_half_month[static_cast<std::size_t>(m_weather[r].half_month)];
        if (!(state.ground_cover_fraction >= 0.0 && state.ground_cover_fraction <= 1.0 &&
              state.height_m >= 0.0 && state.shoot_kg_ha >= 0.0 && state.root_kg_ha >= 0.0))
            throw Error(ErrorKind::data, "the cover crop's state in " +
                                             half_month_name(m_weather[r].half_month) +
                                             " is negative or covers more than everything");
        Growth& live = m_cover[r];
        live.canopy_fraction = state.ground_cover_fraction;
        live.fall_height_m = m_c.fall_height_share * state.height_m;
        live.drip = std::exp(-0.1 * live.fall_height_m / units::m_per_ft);
        live.roots_top_kg_ha = m_c.root_share_top * state.root_kg_ha;
        shoot = std::max(shoot, state.shoot_kg_ha);
        roots = std::max(roots, live.roots_top_kg_ha);
    }
    for (Event& event : m_events) {
        if (event.kind != OperationKind::end_cover) continue;
        const ResidueKind& kind = residue_kind(cover.residue_kind);
        const double mass = cover.end_shoot_kg_ha.value_or(shoot);
        event.adds = {mass * kind.flat_share, mass * (1.0 - kind.flat_share), 0.0, roots};
        event.words = "cover crop ends, " + mass_words(mass) + " of " + kind.name;
    }
}

Schedule::Schedule(const std::vector<Operation>& operations, const CoverGrowth* cover,
                   const FieldStart& start, const YearWeather& weather, const Coefficients& c)
    : m_c(c), m_start(start) {
    if (operations.empty()) refuse("a rotation-year needs at least one operation");
    check_weather(weather);
    check_start(start);
    m_start.roughness_mm = std::max(start.roughness_mm, unit_roughness_mm);
    m_confidence = weakest(weather.confidence, c.confidence);
    std::vector<Operation> sorted = operations;
    std::stable_sort(sorted.begin(), sorted.end(),
                     [](const Operation& a, const Operation& b) { return a.date < b.date; });
    const int first = nearest_boundary(sorted.front().date);
    for (int row = 0; row < 24; ++row) {
        RowWeather& w = m_weather[static_cast<std::size_t>(row)];
        w.half_month = (first + row) % 24;
        w.year = (first + row) / 24;
        const std::size_t h = static_cast<std::size_t>(w.half_month);
        w.days = days_between(half_month_start(w.year, w.half_month),
                              half_month_start(w.year, w.half_month + 1));
        w.ei_share = weather.ei_share[h];
        w.precip_mm = weather.precip_mm[h];
        w.tmean_c = weather.tmean_c[h];
        w.decay_days_half = decay_weather(w.precip_mm, w.tmean_c) * w.days / 2.0;
        w.roughness_half = roughness_decay(w.precip_mm / 2.0, weather.r_si * w.ei_share / 2.0);
        w.consolidation_half = std::exp(-c.consolidation_per_year * w.days / 2.0 / 365.25);
    }

    if (start.old_residue_kg_ha > 0.0 || start.buried_top_kg_ha > 0.0)
        add_pool(residue_kind(start.old_residue_kind), false);
    for (const Operation& operation : sorted) {
        Event event;
        event.row = nearest_boundary(operation.date) - first;
        event.kind = operation.kind;
        if (event.row >= 24) {
            m_cautions.push_back("An operation on " + iso_date(operation.date) +
                                 " lies beyond the year that is followed and is left out.");
            continue;
        }
        const std::string when = iso_date(operation.date) + " ";
        switch (operation.kind) {
            case OperationKind::harvest: {
                const ResidueKind& kind = residue_kind(operation.what);
                const double mass = operation.residue_kg_ha;
                if (!(mass >= 0.0 && operation.roots_top_kg_ha >= 0.0))
                    refuse("residue and roots must not be negative");
                event.pool = add_pool(kind, false);
                event.adds = {mass * kind.flat_share, mass * (1.0 - kind.flat_share), 0.0,
                              operation.roots_top_kg_ha};
                event.words = "harvest, " + mass_words(mass) + " of " + kind.name + " left";
                for (std::size_t r = static_cast<std::size_t>(event.row); r < 24; ++r)
                    m_crop[r] = Growth{};
                break;
            }
            case OperationKind::till:
                event.tool = tool(operation.what);
                event.words = event.tool.name;
                m_confidence = weakest(m_confidence, event.tool.confidence);
                break;
            case OperationKind::plant: {
                const Crop& planted = crop(operation.what);
                if (planted.canopy.empty()) refuse("'" + planted.id + "' has no canopy table");
                event.words = planted.name + " planted";
                m_confidence = weakest(m_confidence, planted.confidence);
                double days = 0.0;
                for (std::size_t r = static_cast<std::size_t>(event.row); r < 24; ++r) {
                    const CanopyPoint point = canopy_at(planted, days + m_weather[r].days / 2.0);
                    m_crop[r] = {point.canopy_fraction, point.fall_height_m,
                                 std::exp(-0.1 * point.fall_height_m / units::m_per_ft),
                                 point.roots_top_kg_ha};
                    days += m_weather[r].days;
                }
                break;
            }
            case OperationKind::end_cover:
                if (cover == nullptr) refuse("a cover ends, but none was sown");
                event.pool = add_pool(residue_kind(operation.what), true);
                break;
        }
        m_events.push_back(event);
    }
    if (cover != nullptr && cover->grows()) add_cover(*cover, first);
    for (const Event& event : m_events)
        if (event.kind == OperationKind::till && event.tool.disturbed_share > 0.5 &&
            m_cover[static_cast<std::size_t>(event.row)].canopy_fraction > 0.0 && event.row > 0 &&
            m_cover[static_cast<std::size_t>(event.row - 1)].canopy_fraction > 0.0)
            m_cautions.push_back("The " + event.tool.name +
                                 " works the ground while the cover is alive; its growth after "
                                 "that is taken as given.");
}

template <typename Sink>
double Schedule::run(const Perturbation& x, Sink&& sink) const {
    std::array<PoolState, max_pools> states{};
    if (m_start.old_residue_kg_ha > 0.0 || m_start.buried_top_kg_ha > 0.0)
        states[0] = {m_start.old_residue_kg_ha, 0.0, m_start.buried_top_kg_ha, 0.0};
    const std::size_t pools = m_pools.size();
    double extra_mm = m_start.roughness_mm - unit_roughness_mm;
    // Cf is held as the looseness above the consolidated state, which decays exponentially.
    double loose = std::exp(-m_c.consolidation_per_year * m_start.years_since_tillage);
    const double b = m_c.cover_b * x.cover_b;
    const double bare_of_stones = 1.0 - m_start.stone_cover_pct / 100.0;
    std::size_t event = 0;
    double c = 0.0;
    double weight = 0.0;

    for (std::size_t row = 0; row < 24; ++row) {
        const RowWeather& w = m_weather[row];
        const Growth& crop_growth = m_crop[row];
        const Growth& cover_growth = m_cover[row];
        const double cover_canopy = live_share(cover_growth.canopy_fraction, x.cover_mass);
        const double live_roots =
            crop_growth.roots_top_kg_ha + x.cover_mass * cover_growth.roots_top_kg_ha;
        const std::size_t first_event = event;
        for (; event < m_events.size() && m_events[event].row <= static_cast<int>(row); ++event) {
            const Event& e = m_events[event];
            if (e.kind == OperationKind::harvest || e.kind == OperationKind::end_cover) {
                const double factor = m_pools[e.pool].from_cover ? x.cover_mass : 1.0;
                PoolState& s = states[e.pool];
                s.flat += factor * e.adds.flat;
                s.standing += factor * e.adds.standing;
                s.roots += factor * e.adds.roots;
            } else if (e.kind == OperationKind::till) {
                double biomass = live_roots;
                for (std::size_t p = 0; p < pools; ++p) {
                    PoolState& s = states[p];
                    const double kept = 1.0 - e.tool.buried_share;
                    s.buried +=
                        e.tool.buried_top_share * e.tool.buried_share * (s.flat + s.standing);
                    s.flat = kept * (s.flat + e.tool.flattened_share * s.standing);
                    s.standing *= kept * (1.0 - e.tool.flattened_share);
                    biomass += s.buried + s.roots;
                }
                const double d = e.tool.disturbed_share;
                if (d > 0.0) {
                    const double after =
                        roughness_after_tillage_mm(e.tool.roughness_mm, biomass / top_layer_mm) -
                        unit_roughness_mm;
                    extra_mm = d * after + (1.0 - d) * extra_mm;
                    loose = d + (1.0 - d) * loose;
                }
            }
        }

        const auto half_row = [&] {
            double flat_cover = 0.0;
            double standing = 0.0, flat = 0.0, roots = 0.0, buried = 0.0;
            double last_p = -1.0;
            double e = 1.0;
            for (std::size_t p = 0; p < pools; ++p) {
                PoolState& s = states[p];
                const Pool& pool = m_pools[p];
                if (pool.decay_per_day != last_p) {
                    last_p = pool.decay_per_day;
                    e = std::exp(-last_p * x.residue_decay * w.decay_days_half);
                }
                const double fallen = s.standing * (1.0 - pool.stands_half[row]);
                s.flat = s.flat * e + fallen;
                s.standing -= fallen;
                s.buried *= e;
                s.roots *= e;
                flat_cover += pool.alpha_ha_kg * s.flat;
                flat += s.flat;
                standing += s.standing;
                roots += s.roots;
                buried += s.buried;
            }
            return std::array<double, 5>{flat_cover * x.residue_alpha, flat, standing, roots,
                                         buried};
        };
        const auto [alpha_mass, flat, standing, dead_roots, buried] = half_row();
        extra_mm *= w.roughness_half;
        loose *= w.consolidation_half;

        const double roughness_mm = unit_roughness_mm + extra_mm;
        const double cf = m_c.consolidated_cf + (1.0 - m_c.consolidated_cf) * loose;
        const double cover_pct = 100.0 * (1.0 - bare_of_stones * std::exp(-alpha_mass));
        const double roots_mm = (dead_roots + live_roots) / top_layer_mm;
        const double buried_mm = buried / top_layer_mm;
        const double plu = prior_land_use_subfactor(cf, roots_mm, buried_mm, m_c);
        const double cc = (1.0 - crop_growth.canopy_fraction * crop_growth.drip) *
                          (1.0 - cover_canopy * cover_growth.drip);
        const double sc = surface_cover_subfactor(cover_pct, roughness_mm, b);
        const double sr = roughness_subfactor(roughness_mm);
        const double slr = plu * cc * sc * sr;
        c += slr * w.ei_share;
        weight += w.ei_share;

        sink(row, first_event, event, [&, flat = flat, standing = standing](HalfMonthRow& out) {
            out.half_month = w.half_month;
            out.year = w.year;
            out.ei_share = w.ei_share;
            out.precip_mm = w.precip_mm;
            out.tmean_c = w.tmean_c;
            out.flat_kg_ha = flat;
            out.standing_kg_ha = standing;
            out.cover_pct = cover_pct;
            out.canopy_fraction = 1.0 - (1.0 - crop_growth.canopy_fraction) * (1.0 - cover_canopy);
            out.crop_canopy_fraction = crop_growth.canopy_fraction;
            out.crop_fall_height_m = crop_growth.fall_height_m;
            out.cover_canopy_fraction = cover_canopy;
            out.cover_fall_height_m = cover_growth.fall_height_m;
            out.roughness_mm = roughness_mm;
            out.roots_kg_ha_mm = roots_mm;
            out.buried_kg_ha_mm = buried_mm;
            out.cf = cf;
            out.plu = plu;
            out.cc = cc;
            out.sc = sc;
            out.sr = sr;
            out.slr = slr;
        });

        half_row();
        extra_mm *= w.roughness_half;
        loose *= w.consolidation_half;
    }
    return c / weight;
}

double Schedule::c(const Perturbation& perturbation) const {
    return run(perturbation, [](std::size_t, std::size_t, std::size_t, auto&&) {});
}

CoverManagement Schedule::table(const Perturbation& perturbation) const {
    CoverManagement result;
    result.rows.resize(24);
    result.c =
        run(perturbation, [&](std::size_t row, std::size_t from, std::size_t to, auto&& fill) {
            HalfMonthRow& out = result.rows[row];
            fill(out);
            for (std::size_t i = from; i < to; ++i) {
                if (m_events[i].words.empty()) continue;
                out.operations += (out.operations.empty() ? "" : "; ") + m_events[i].words;
            }
        });
    result.confidence = m_confidence;
    result.cautions = m_cautions;
    return result;
}

CoverManagement cover_management(const Season& season, const CoverGrowth* cover,
                                 const YearWeather& weather, const Coefficients& c) {
    return Schedule(operations_of(season, cover), cover, season.start, weather, c).table();
}

CoverManagement bare_reference(Date first, const YearWeather& weather) {
    check_weather(weather);
    CoverManagement result;
    result.confidence = weather.confidence;
    const int start = nearest_boundary(first);
    for (int row = 0; row < 24; ++row) {
        HalfMonthRow out;
        out.half_month = (start + row) % 24;
        out.year = (start + row) / 24;
        const std::size_t h = static_cast<std::size_t>(out.half_month);
        out.ei_share = weather.ei_share[h];
        out.precip_mm = weather.precip_mm[h];
        out.tmean_c = weather.tmean_c[h];
        out.roughness_mm = unit_roughness_mm;
        out.cf = 1.0;
        result.rows.push_back(out);
    }
    result.rows.front().operations = "continuous tilled fallow";
    return result;
}

double c_factor(const std::vector<double>& slr, const std::vector<double>& ei_weight) {
    if (slr.size() != ei_weight.size())
        throw Error(ErrorKind::data, "soil loss ratios and erosivity weights differ in number");
    const double sum = std::accumulate(ei_weight.begin(), ei_weight.end(), 0.0);
    if (!(sum > 0.0)) throw Error(ErrorKind::data, "the erosivity weights add up to nothing");
    return std::inner_product(slr.begin(), slr.end(), ei_weight.begin(), 0.0) / sum;
}

}  // namespace catchfield::erosion
