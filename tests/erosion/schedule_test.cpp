// SPDX-License-Identifier: MIT
// The rotation-year written a second time from docs/methods/erosion.md (AH-703 ch. 5) and run over
// random seasons: every column of every row, and C, must agree. And every limit of a season from
// both sides.
#include "base/error.hpp"
#include "base/random.hpp"
#include "base/units.hpp"
#include "erosion/management.hpp"
#include "erosion/uncertainty.hpp"
#include "support/messages.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <map>

namespace catchfield::erosion {
namespace {

using tests::mentions;
using tests::message_of;

/// The 1st and 16th of every month around a season.
std::vector<Date> boundaries() {
    std::vector<Date> all;
    for (int year = 2024; year <= 2028; ++year)
        for (unsigned month = 1; month <= 12; ++month)
            for (const unsigned day : {1u, 16u}) all.push_back(make_date(year, month, day));
    return all;
}

/// Position of the boundary nearest to a date; the later one where two are as near.
int nearest(Date date) {
    static const std::vector<Date> all = boundaries();
    int best = 0;
    for (int i = 1; i < static_cast<int>(all.size()); ++i) {
        const auto distance = [&](int at) {
            return std::abs(days_between(all[static_cast<std::size_t>(at)], date));
        };
        if (distance(i) <= distance(best)) best = i;
    }
    return best;
}

struct Lot {
    const ResidueKind* kind;
    bool from_cover = false;
    double flat = 0, standing = 0, buried = 0, roots = 0;
};

double between(const Crop& crop, double days, double CanopyPoint::*member) {
    const auto& points = crop.canopy;
    if (days >= points.back().days) return points.back().*member;
    std::size_t i = 1;
    while (points[i].days < days) ++i;
    const CanopyPoint& a = points[i - 1];
    const CanopyPoint& b = points[i];
    return a.*member + (b.*member - a.*member) * (days - a.days) / (b.days - a.days);
}

/// What the methods page says, in US units where it prints them.
CoverManagement second_writing(const Season& season, const CoverGrowth* cover,
                               const YearWeather& weather, const Perturbation& x) {
    const std::vector<Date> all = boundaries();
    const Coefficients& k = coefficients();
    const int first = nearest(season.harvest);
    const bool sown = cover != nullptr && cover->grows();
    const int cover_from = sown ? std::max(first, nearest(cover->sown)) : 0;
    const int cover_to = sown ? std::min(first + 24, nearest(cover->ends)) : 0;
    const auto state = [&](int at) {
        const bool alive = sown && at >= cover_from && at < cover_to;
        return alive ? cover->by_half_month[static_cast<std::size_t>(at % 24)] : CoverState{};
    };

    struct Act {
        Date date;
        int order, at;
        std::string kind, what;
    };
    std::vector<Act> acts;
    const auto add = [&](Date date, const std::string& kind, const std::string& what) {
        acts.push_back({date, static_cast<int>(acts.size()), nearest(date), kind, what});
    };
    add(season.harvest, "harvest", "");
    for (const auto& [date, id] : season.tillage) add(date, "till", id);
    if (sown) {
        if (!cover->sowing_tool.empty() && cover->sown >= season.harvest)
            add(cover->sown, "till", cover->sowing_tool);
        add(cover->ends, "end", "");
    }
    add(season.next_planting, "till", season.planter);
    add(season.next_planting, "plant", season.next_crop);
    std::sort(acts.begin(), acts.end(), [](const Act& a, const Act& b) {
        return a.date != b.date ? a.date < b.date : a.order < b.order;
    });

    std::vector<Lot> lots;
    if (season.start.old_residue_kg_ha > 0 || season.start.buried_top_kg_ha > 0)
        lots.push_back({&residue_kind(season.start.old_residue_kind), false,
                        season.start.old_residue_kg_ha, 0, season.start.buried_top_kg_ha, 0});
    double roughness_in = std::max(0.24, season.start.roughness_mm / 25.4);
    double cf = k.consolidated_cf +
                (1 - k.consolidated_cf) *
                    std::exp(-k.consolidation_per_year * season.start.years_since_tillage);
    int planted_at = -1;
    double sum = 0, weight = 0;
    CoverManagement result;
    for (int at = first; at < first + 24; ++at) {
        const auto place = static_cast<std::size_t>(at);
        const auto h = static_cast<std::size_t>(at % 24);
        const double days = days_between(all[place], all[place + 1]);
        double crop_canopy = 0, crop_fall = 0, crop_roots = 0;
        const auto grow = [&] {
            crop_canopy = crop_fall = crop_roots = 0;
            for (const Act& act : acts)
                if (act.kind == "plant" && act.at <= at) planted_at = act.at;
            if (planted_at < 0) return;
            const double age =
                days_between(all[static_cast<std::size_t>(planted_at)], all[place]) + days / 2;
            const Crop& planted = crop(season.next_crop);
            crop_canopy = between(planted, age, &CanopyPoint::canopy_fraction);
            crop_fall = between(planted, age, &CanopyPoint::fall_height_m);
            crop_roots = between(planted, age, &CanopyPoint::roots_top_kg_ha);
        };
        grow();
        const CoverState live = state(at);
        const double live_roots = crop_roots + x.cover_mass * k.root_share_top * live.root_kg_ha;
        for (const Act& act : acts) {
            if (act.at != at) continue;
            if (act.kind == "harvest") {
                const Crop& previous = crop(season.previous_crop);
                const double left = season.residue_kg_ha.value_or(previous.typical_residue_kg_ha) *
                                    (1 - season.residue_removed_share);
                const ResidueKind& kind = residue_kind(previous.residue_kind);
                lots.push_back({&kind, false, left * kind.flat_share, left * (1 - kind.flat_share),
                                0, previous.roots_top_kg_ha});
            } else if (act.kind == "end") {
                double shoot = 0, roots = 0;
                for (int i = cover_from; i < cover_to; ++i) {
                    shoot = std::max(shoot, state(i).shoot_kg_ha);
                    roots = std::max(roots, k.root_share_top * state(i).root_kg_ha);
                }
                const ResidueKind& kind = residue_kind(cover->residue_kind);
                const double mass = x.cover_mass * cover->end_shoot_kg_ha.value_or(shoot);
                lots.push_back({&kind, true, mass * kind.flat_share, mass * (1 - kind.flat_share),
                                0, x.cover_mass * roots});
            } else if (act.kind == "till") {
                const Tool& t = tool(act.what);
                double biomass = live_roots;
                for (Lot& lot : lots) {
                    const double taken = t.buried_share * (lot.flat + lot.standing);
                    lot.buried += t.buried_top_share * taken;
                    const double laid = t.flattened_share * lot.standing;
                    lot.flat = (1 - t.buried_share) * (lot.flat + laid);
                    lot.standing = (1 - t.buried_share) * (lot.standing - laid);
                    biomass += lot.buried + lot.roots;
                }
                // kg/ha in 100 mm as lb/(ac in).
                const double biomass_us = biomass / units::kg_ha_per_lb_ac / (100 / 25.4);
                const double made = 0.24 + (t.roughness_mm / 25.4 - 0.24) *
                                               (0.8 * (1 - std::exp(-0.0012 * biomass_us)) + 0.2);
                const double d = t.disturbed_share;
                roughness_in = d * made + (1 - d) * roughness_in;
                cf = d * 1.0 + (1 - d) * cf;
            }
        }
        const double rain_in = weather.precip_mm[h] / 25.4;
        const double ei_us = weather.r_si * weather.ei_share[h] / units::r_si_per_us;
        const double t8 = weather.tmean_c[h] + 8;
        const double f =
            t8 <= 0 ? 0
                    : std::max(0.0, (2 * t8 * t8 * 1600 - t8 * t8 * t8 * t8) / (1600.0 * 1600.0));
        const double decay = std::min({1.0, rain_in / 2.6, f});
        const auto half = [&] {
            for (Lot& lot : lots) {
                const double e =
                    std::exp(-lot.kind->decay_per_day * x.residue_decay * decay * days / 2);
                const double fallen =
                    lot.standing * (1 - std::exp(-lot.kind->fall_per_day * days / 2));
                lot.flat = lot.flat * e + fallen;
                lot.standing -= fallen;
                lot.buried *= e;
                lot.roots *= e;
            }
            roughness_in =
                0.24 + (roughness_in - 0.24) * std::exp(-0.07 * rain_in / 2 - 0.006 * ei_us / 2);
            cf = k.consolidated_cf +
                 (cf - k.consolidated_cf) * std::exp(-k.consolidation_per_year * days / 2 / 365.25);
        };
        half();
        HalfMonthRow row;
        row.half_month = at % 24;
        row.year = 2024 + at / 24;
        row.ei_share = weather.ei_share[h];
        row.precip_mm = weather.precip_mm[h];
        row.tmean_c = weather.tmean_c[h];
        double alpha_mass = 0, roots = 0, buried = 0;
        for (const Lot& lot : lots) {
            row.flat_kg_ha += lot.flat;
            row.standing_kg_ha += lot.standing;
            alpha_mass += lot.kind->alpha_ha_kg * x.residue_alpha * lot.flat;
            roots += lot.roots;
            buried += lot.buried;
        }
        row.roots_kg_ha_mm = (roots + live_roots) / 100;
        row.buried_kg_ha_mm = buried / 100;
        row.cover_pct =
            100 * (1 - (1 - season.start.stone_cover_pct / 100) * std::exp(-alpha_mass));
        row.crop_canopy_fraction = crop_canopy;
        row.crop_fall_height_m = crop_fall;
        row.cover_canopy_fraction = 1 - std::pow(1 - live.ground_cover_fraction, x.cover_mass);
        row.cover_fall_height_m = k.fall_height_share * live.height_m;
        row.canopy_fraction = 1 - (1 - crop_canopy) * (1 - row.cover_canopy_fraction);
        row.roughness_mm = roughness_in * 25.4;
        row.cf = cf;
        const double cur = k.plu_cur_ha_mm_kg * row.roots_kg_ha_mm;
        const double cus = k.plu_cus_ha_mm_kg * row.buried_kg_ha_mm / std::pow(cf, k.plu_cuf);
        row.plu = cf * k.plu_cb * std::exp(-(cur + cus));
        row.cc =
            (1 - crop_canopy * std::exp(-0.1 * crop_fall / 0.3048)) *
            (1 - row.cover_canopy_fraction * std::exp(-0.1 * row.cover_fall_height_m / 0.3048));
        row.sc =
            std::exp(-k.cover_b * x.cover_b * row.cover_pct * std::pow(0.24 / roughness_in, 0.08));
        row.sr = std::exp(-0.66 * (roughness_in - 0.24));
        row.slr = row.plu * row.cc * row.sc * row.sr;
        sum += row.slr * row.ei_share;
        weight += row.ei_share;
        result.rows.push_back(row);
        half();
    }
    result.c = sum / weight;
    return result;
}

Date some_day(Random& random, Date from, int days) {
    return from + std::chrono::days(static_cast<int>(random.below(static_cast<std::size_t>(days))));
}

struct Year {
    Season season;
    CoverGrowth cover;
    YearWeather weather;
};

Year random_year(Random& random) {
    Year year;
    std::vector<std::string> with_canopy;
    for (const Crop& one : crops())
        if (!one.canopy.empty()) with_canopy.push_back(one.id);
    Season& s = year.season;
    s.harvest = some_day(random, make_date(2025, 6, 1), 160);
    s.previous_crop = crops()[random.below(crops().size())].id;
    s.next_crop = with_canopy[random.below(with_canopy.size())];
    s.next_planting = some_day(random, s.harvest + std::chrono::days(60), 240);
    if (random.below(2) == 0) s.residue_kg_ha = random.uniform(0, 9000);
    if (random.below(3) == 0) s.residue_removed_share = random.uniform();
    for (std::size_t i = random.below(4); i > 0; --i) {
        s.tillage.emplace_back(some_day(random, s.harvest, 330),
                               tools()[random.below(tools().size())].id);
    }
    const char* planters[] = {"row_planter", "no_till_planter", "drill", "roller"};
    s.planter = planters[random.below(4)];
    FieldStart& start = s.start;
    if (random.below(2) == 0) start.old_residue_kg_ha = random.uniform(0, 3000);
    if (random.below(2) == 0) start.buried_top_kg_ha = random.uniform(0, 3000);
    start.old_residue_kind = residue_kinds()[random.below(residue_kinds().size())].id;
    start.years_since_tillage = random.uniform(0, 9);
    start.roughness_mm = random.uniform(3, 40);
    if (random.below(3) == 0) start.stone_cover_pct = random.uniform(0, 40);
    CoverGrowth& c = year.cover;
    c.sown = some_day(random, s.harvest - std::chrono::days(50), 110);
    if (c.sown > s.next_planting) c.sown = s.next_planting;
    const int longest = days_between(c.sown, s.next_planting) + 30;
    c.ends = std::max(s.harvest, some_day(random, c.sown, longest + 1));
    for (CoverState& state : c.by_half_month) {
        state.ground_cover_fraction = random.below(5) == 0 ? 1.0 : random.uniform();
        state.height_m = random.uniform(0, 1.5);
        state.shoot_kg_ha = random.uniform(1, 6000);
        state.root_kg_ha = random.uniform(0, 2500);
    }
    if (random.below(2) == 0) c.end_shoot_kg_ha = random.uniform(0.5, 7000);
    c.residue_kind = residue_kinds()[random.below(residue_kinds().size())].id;
    if (random.below(2) == 0) c.sowing_tool = "no_till_drill";
    YearWeather& w = year.weather;
    w.r_si = random.uniform(300, 9000);
    double total = 0;
    for (std::size_t h = 0; h < 24; ++h) total += w.ei_share[h] = random.uniform();
    for (std::size_t h = 0; h < 24; ++h) {
        w.ei_share[h] /= total;
        w.precip_mm[h] = random.uniform(0, 110);
        w.tmean_c[h] = random.uniform(-20, 45);
    }
    return year;
}

TEST(Schedule, AgreesWithASecondWritingOverRandomYears) {
    for (std::uint64_t seed = 1; seed <= 60; ++seed) {
        SCOPED_TRACE("seed " + std::to_string(seed));
        Random random(seed);
        const Year year = random_year(random);
        Perturbation x;
        if (seed % 3 == 0) {
            x = {random.uniform(0.4, 2), random.uniform(0.5, 2), random.uniform(0.5, 2),
                 random.uniform(0.5, 2)};
        }
        for (const CoverGrowth* cover : {static_cast<const CoverGrowth*>(nullptr), &year.cover}) {
            const Schedule schedule(operations_of(year.season, cover), cover, year.season.start,
                                    year.weather);
            const CoverManagement found = schedule.table(x);
            const CoverManagement expected = second_writing(year.season, cover, year.weather, x);
            EXPECT_NEAR(found.c, expected.c, 1e-9);
            EXPECT_EQ(schedule.c(x), found.c);
            const std::map<std::string, double HalfMonthRow::*> columns = {
                {"EI", &HalfMonthRow::ei_share},
                {"rain", &HalfMonthRow::precip_mm},
                {"temperature", &HalfMonthRow::tmean_c},
                {"flat", &HalfMonthRow::flat_kg_ha},
                {"standing", &HalfMonthRow::standing_kg_ha},
                {"cover", &HalfMonthRow::cover_pct},
                {"canopy", &HalfMonthRow::canopy_fraction},
                {"crop canopy", &HalfMonthRow::crop_canopy_fraction},
                {"crop fall", &HalfMonthRow::crop_fall_height_m},
                {"cover canopy", &HalfMonthRow::cover_canopy_fraction},
                {"cover fall", &HalfMonthRow::cover_fall_height_m},
                {"roughness", &HalfMonthRow::roughness_mm},
                {"roots", &HalfMonthRow::roots_kg_ha_mm},
                {"buried", &HalfMonthRow::buried_kg_ha_mm},
                {"Cf", &HalfMonthRow::cf},
                {"PLU", &HalfMonthRow::plu},
                {"CC", &HalfMonthRow::cc},
                {"SC", &HalfMonthRow::sc},
                {"SR", &HalfMonthRow::sr},
                {"SLR", &HalfMonthRow::slr}};
            for (std::size_t i = 0; i < 24; ++i) {
                EXPECT_EQ(found.rows[i].half_month, expected.rows[i].half_month) << i;
                EXPECT_EQ(found.rows[i].year, expected.rows[i].year) << i;
                for (const auto& [name, column] : columns) {
                    const double value = expected.rows[i].*column;
                    ASSERT_NEAR(found.rows[i].*column, value, 1e-9 * (1 + std::abs(value)))
                        << name << " in row " << i;
                }
            }
        }
    }
}

// --- limits --------------------------------------------------------------------------------------

Year plain_year() {
    Year year;
    year.season.harvest = make_date(2025, 7, 16);
    year.season.previous_crop = "wheat";
    year.season.next_planting = make_date(2026, 5, 1);
    year.season.next_crop = "corn";
    year.cover.sown = make_date(2025, 8, 16);
    year.cover.ends = make_date(2026, 4, 16);
    for (CoverState& state : year.cover.by_half_month) state = {0.5, 0.3, 2000, 800};
    year.weather.r_si = 2000;
    year.weather.ei_share.fill(1.0 / 24);
    year.weather.precip_mm.fill(40);
    year.weather.tmean_c.fill(12);
    return year;
}

std::string refusal(const std::function<void(Year&)>& change) {
    Year year = plain_year();
    change(year);
    return message_of([&] { cover_management(year.season, &year.cover, year.weather); });
}

TEST(ScheduleLimits, DatesOfASeason) {
    const auto days = [](int n) { return std::chrono::days(n); };
    EXPECT_EQ(refusal([](Year&) {}), "");
    EXPECT_TRUE(mentions(refusal([](Year& y) { y.season.next_planting = y.season.harvest; }),
                         "within a year after the harvest"));
    EXPECT_EQ(refusal([&](Year& y) {
                  y.season.next_planting = y.season.harvest + days(366);
                  y.cover.ends = make_date(2026, 6, 20);
              }),
              "");
    EXPECT_NE(refusal([&](Year& y) {
                  y.season.next_planting = y.season.harvest + days(367);
                  y.cover.ends = make_date(2026, 6, 20);
              }),
              "");
    const auto tilled = [&](int after) {
        return refusal([&](Year& y) {
            y.season.tillage = {{y.season.harvest + days(after), "disk"}};
        });
    };
    EXPECT_EQ(tilled(0), "");
    EXPECT_EQ(tilled(366), "");
    EXPECT_TRUE(mentions(tilled(-1), "after the harvest"));
    EXPECT_TRUE(mentions(tilled(367), "after the harvest"));
    EXPECT_EQ(refusal([&](Year& y) { y.cover.sown = y.season.harvest - days(120); }), "");
    EXPECT_NE(refusal([&](Year& y) { y.cover.sown = y.season.harvest - days(121); }), "");
    const auto late = [&](int sown, int ends) {
        return refusal([&](Year& y) {
            y.cover.sown = y.season.next_planting + days(sown);
            y.cover.ends = y.season.next_planting + days(ends);
        });
    };
    EXPECT_EQ(late(0, 0), "");
    EXPECT_EQ(late(0, 30), "");
    EXPECT_NE(late(1, 2), "");
    EXPECT_TRUE(mentions(late(0, -1), "before it is sown"));
    EXPECT_TRUE(mentions(late(0, 31), "30 days"));
    // The year is followed from the harvest on, in both scenarios.
    EXPECT_EQ(refusal([&](Year& y) {
                  y.cover.sown = y.season.harvest - days(60);
                  y.cover.ends = y.season.harvest;
              }),
              "");
    EXPECT_TRUE(mentions(refusal([&](Year& y) {
                             y.cover.sown = y.season.harvest - days(60);
                             y.cover.ends = y.season.harvest - days(1);
                         }),
                         "before the harvest"));
    // A cover that never grows is not sown: its dates do not matter.
    EXPECT_EQ(refusal([&](Year& y) {
                  for (CoverState& state : y.cover.by_half_month) state.shoot_kg_ha = 0;
                  y.cover.ends = y.cover.sown - days(1);
              }),
              "");
    EXPECT_NE(refusal([&](Year& y) {
                  for (CoverState& state : y.cover.by_half_month) state.shoot_kg_ha = 0;
                  y.cover.by_half_month[5].shoot_kg_ha = 0.5;
                  y.cover.ends = y.cover.sown - days(1);
              }),
              "");
    EXPECT_NE(refusal([&](Year& y) {
                  for (CoverState& state : y.cover.by_half_month) state.shoot_kg_ha = 0;
                  y.cover.end_shoot_kg_ha = 0.5;
                  y.cover.ends = y.cover.sown - days(1);
              }),
              "");
}

TEST(ScheduleLimits, AmountsOfASeason) {
    for (const double share : {0.0, 1.0})
        EXPECT_EQ(refusal([&](Year& y) { y.season.residue_removed_share = share; }), "");
    for (const double share : {-0.01, 1.01})
        EXPECT_TRUE(mentions(refusal([&](Year& y) { y.season.residue_removed_share = share; }),
                             "the share of residue removed must lie between 0 and 1"));
    for (const double mass : {0.0, 30000.0})
        EXPECT_EQ(refusal([&](Year& y) { y.season.residue_kg_ha = mass; }), "");
    for (const double mass : {-0.01, 30000.1})
        EXPECT_NE(refusal([&](Year& y) { y.season.residue_kg_ha = mass; }), "");
    Season baled;
    baled.previous_crop = "wheat";
    baled.residue_removed_share = 0.3;
    EXPECT_NEAR(residue_at_harvest(baled).left_kg_ha, 5500 * 0.7, 1e-9);
    EXPECT_NEAR(residue_at_harvest(baled).removed_kg_ha, 5500 * 0.3, 1e-9);

    using Start = double FieldStart::*;
    for (const Start member : {&FieldStart::old_residue_kg_ha, &FieldStart::buried_top_kg_ha,
                               &FieldStart::years_since_tillage, &FieldStart::roughness_mm,
                               &FieldStart::stone_cover_pct}) {
        EXPECT_EQ(refusal([&](Year& y) { y.season.start.*member = 0.0; }), "");
        EXPECT_EQ(refusal([&](Year& y) { y.season.start.*member = 0.5; }), "");
        EXPECT_NE(refusal([&](Year& y) { y.season.start.*member = -0.01; }), "");
    }
    EXPECT_EQ(refusal([](Year& y) { y.season.start.stone_cover_pct = 100; }), "");
    EXPECT_NE(refusal([](Year& y) { y.season.start.stone_cover_pct = 100.1; }), "");

    using State = double CoverState::*;
    for (const State member : {&CoverState::ground_cover_fraction, &CoverState::height_m,
                               &CoverState::shoot_kg_ha, &CoverState::root_kg_ha}) {
        EXPECT_EQ(refusal([&](Year& y) { y.cover.by_half_month[20].*member = 0.0; }), "");
        EXPECT_NE(refusal([&](Year& y) { y.cover.by_half_month[20].*member = -0.01; }), "");
        // Half-months outside the cover's life are not looked at.
        EXPECT_EQ(refusal([&](Year& y) { y.cover.by_half_month[10].*member = -0.01; }), "");
    }
    EXPECT_EQ(refusal([](Year& y) { y.cover.by_half_month[20].ground_cover_fraction = 1.0; }), "");
    EXPECT_NE(refusal([](Year& y) { y.cover.by_half_month[20].ground_cover_fraction = 1.01; }), "");
}

TEST(ScheduleLimits, WeatherOfAYear) {
    EXPECT_EQ(refusal([](Year& y) { y.weather.r_si = 0.5; }), "");
    EXPECT_NE(refusal([](Year& y) { y.weather.r_si = 0.0; }), "");
    EXPECT_NE(refusal([](Year& y) { y.weather.r_si = std::numeric_limits<double>::infinity(); }),
              "");
    for (const double t : {-50.0, 45.0})
        EXPECT_EQ(refusal([&](Year& y) { y.weather.tmean_c[3] = t; }), "");
    for (const double t : {-50.1, 45.1})
        EXPECT_NE(refusal([&](Year& y) { y.weather.tmean_c[3] = t; }), "");
    EXPECT_EQ(refusal([](Year& y) { y.weather.precip_mm[3] = 0.0; }), "");
    EXPECT_NE(refusal([](Year& y) { y.weather.precip_mm[3] = -0.1; }), "");
    EXPECT_EQ(refusal([](Year& y) { y.weather.ei_share[3] += 0.9e-6; }), "");
    EXPECT_NE(refusal([](Year& y) { y.weather.ei_share[3] += 1.1e-6; }), "");
    EXPECT_NE(refusal([](Year& y) { y.weather.ei_share[3] -= 1.1e-6; }), "");
    EXPECT_EQ(refusal([](Year& y) {
                  y.weather.ei_share[3] = 0.0;
                  y.weather.ei_share[4] = 2.0 / 24;
              }),
              "");
    EXPECT_TRUE(mentions(refusal([](Year& y) {
                             y.weather.ei_share[3] = -0.01;
                             y.weather.ei_share[4] = 2.0 / 24 + 0.01;
                         }),
                         "negative"));
}

TEST(ScheduleLimits, OperationsByHand) {
    const Year year = plain_year();
    const auto schedule = [&](const std::vector<Operation>& operations,
                              const CoverGrowth* cover = nullptr) {
        return Schedule(operations, cover, year.season.start, year.weather);
    };
    const Date day = make_date(2025, 7, 16);
    const Operation harvest{day, OperationKind::harvest, "corn", 5000, 900};
    EXPECT_NO_THROW(schedule({harvest}));
    EXPECT_NO_THROW(schedule({{day, OperationKind::harvest, "corn", 0, 0.0}}));
    EXPECT_NO_THROW(schedule({{day, OperationKind::harvest, "corn", 0.5, 0.5}}));
    EXPECT_THROW(schedule({{day, OperationKind::harvest, "corn", -1, 0}}), Error);
    EXPECT_THROW(schedule({{day, OperationKind::harvest, "corn", 0, -1}}), Error);
    EXPECT_THROW(schedule({}), Error);
    EXPECT_THROW(schedule({{day, OperationKind::end_cover, "grass_cover"}}), Error);
    // The 24th half-month after the first is beyond the year; the 23rd is not.
    const auto cautions = [&](Date second) {
        return schedule({harvest, {second, OperationKind::till, "disk"}}).table().cautions.size();
    };
    EXPECT_EQ(cautions(make_date(2026, 7, 1)), 0u);
    EXPECT_EQ(cautions(make_date(2026, 7, 16)), 1u);
    // Half a kilogram of old or buried residue counts.
    FieldStart little;
    little.buried_top_kg_ha = 0.5;
    EXPECT_GT(Schedule({harvest}, nullptr, little, year.weather).table().rows[0].buried_kg_ha_mm,
              0.0);
    // Also where no harvest follows.
    const std::vector<Operation> tilled = {{day, OperationKind::till, "roller"}};
    EXPECT_GT(Schedule(tilled, nullptr, little, year.weather).table().rows[0].buried_kg_ha_mm, 0.0);
    little = {};
    little.old_residue_kg_ha = 0.5;
    EXPECT_GT(Schedule(tilled, nullptr, little, year.weather).table().rows[0].flat_kg_ha, 0.0);
    // Eight lots of residue fit, and a tool after them; nine do not.
    std::vector<Operation> many(8, harvest);
    EXPECT_NO_THROW(schedule(many));
    std::vector<Operation> worked = many;
    worked.push_back({make_date(2025, 8, 1), OperationKind::till, "roller"});
    EXPECT_NEAR(schedule(worked).table().rows[0].flat_kg_ha,
                8 * schedule({harvest}).table().rows[0].flat_kg_ha, 1e-6);
    many.push_back(harvest);
    EXPECT_THROW(schedule(many), Error);
    // A harvest ends the main crop: no canopy from its row on.
    const auto rows = schedule({harvest,
                                {make_date(2025, 8, 1), OperationKind::plant, "corn"},
                                {make_date(2025, 10, 1), OperationKind::harvest, "corn", 1, 1}})
                          .table()
                          .rows;
    EXPECT_GT(rows[4].crop_canopy_fraction, 0.5);
    for (std::size_t i = 5; i < 24; ++i) EXPECT_EQ(rows[i].crop_canopy_fraction, 0.0);
    EXPECT_EQ(rows[0].operations, "harvest, 5000 kg/ha of corn stalks left");
    EXPECT_EQ(rows[1].operations, "corn planted");
}

TEST(ScheduleLimits, ToolsThatWorkAliveCover) {
    const auto cautions = [](const std::string& tool_id, Date date, double cover_share = 0.5) {
        Year year = plain_year();
        year.season.tillage = {{date, tool_id}};
        for (CoverState& state : year.cover.by_half_month)
            state.ground_cover_fraction = cover_share;
        return cover_management(year.season, &year.cover, year.weather).cautions.size();
    };
    const Date alive = make_date(2025, 11, 1);
    EXPECT_EQ(cautions("disk", alive), 1u);
    EXPECT_EQ(cautions("drill", alive), 1u);       // works 0.6 of the ground
    EXPECT_EQ(cautions("strip_till", alive), 0u);  // 0.33
    EXPECT_EQ(cautions("disk", alive, 0.0), 0u);
    EXPECT_EQ(cautions("disk", make_date(2025, 8, 1)), 0u);   // before sowing
    EXPECT_EQ(cautions("disk", make_date(2025, 8, 16)), 0u);  // in the row of the sowing
    EXPECT_EQ(cautions("disk", make_date(2025, 9, 1)), 1u);
    EXPECT_EQ(cautions("disk", make_date(2026, 4, 1)), 1u);
    EXPECT_EQ(cautions("disk", make_date(2026, 4, 16)), 0u);  // it has ended
    // Sown into the crop before, it is alive in the first row after the harvest.
    Year early = plain_year();
    early.cover.sown = make_date(2025, 7, 1);
    early.season.tillage = {{make_date(2025, 8, 1), "disk"}};
    EXPECT_EQ(cover_management(early.season, &early.cover, early.weather).cautions.size(), 1u);
}

// A cover without shoots is not sown: whatever else its states say, the rows are those without.
TEST(ScheduleLimits, ACoverThatNeverGrowsChangesNothing) {
    Year year = plain_year();
    for (CoverState& state : year.cover.by_half_month) state = {0.5, 0.3, 0.0, 800};
    const CoverManagement with = cover_management(year.season, &year.cover, year.weather);
    const CoverManagement without = cover_management(year.season, nullptr, year.weather);
    EXPECT_EQ(with.c, without.c);
    for (std::size_t i = 0; i < 24; ++i) {
        EXPECT_EQ(with.rows[i].canopy_fraction, without.rows[i].canopy_fraction) << i;
        EXPECT_EQ(with.rows[i].roots_kg_ha_mm, without.rows[i].roots_kg_ha_mm) << i;
    }
}

TEST(ScheduleLimits, ACoverSownOnTheDayOfTheHarvestMovesSoil) {
    Year year = plain_year();
    year.cover.sowing_tool = "drill";
    const auto first = [&](Date sown) {
        year.cover.sown = sown;
        return cover_management(year.season, &year.cover, year.weather).rows[0].operations;
    };
    EXPECT_TRUE(mentions(first(year.season.harvest), tool("drill").name));
    EXPECT_FALSE(mentions(first(year.season.harvest - std::chrono::days(1)), tool("drill").name));
}

// A planting 366 days after the harvest may be followed by a cover that ends in the second year:
// its rows end with the year that is followed.
TEST(ScheduleLimits, ACoverThatOutlivesTheYear) {
    Year year = plain_year();
    year.season.next_planting = year.season.harvest + std::chrono::days(366);
    year.cover.ends = year.season.next_planting + std::chrono::days(25);
    const CoverManagement result = cover_management(year.season, &year.cover, year.weather);
    ASSERT_EQ(result.rows.size(), 24u);
    EXPECT_EQ(result.rows[23].cover_canopy_fraction, 0.5);
    EXPECT_TRUE(mentions(result.cautions.at(0), "lies beyond the year"));
}

// Cover by 1 - (1 - f)^x of a mass changed by x (management.hpp), at a factor of 1.25 too.
TEST(ScheduleLimits, CanopyOfAChangedMass) {
    const Year year = plain_year();
    const Schedule schedule(operations_of(year.season, &year.cover), &year.cover, year.season.start,
                            year.weather);
    for (const double x : {0.5, 1.0, 1.25, 2.0})
        EXPECT_NEAR(schedule.table({x, 1, 1, 1}).rows[5].cover_canopy_fraction,
                    1 - std::pow(0.5, x), 1e-12);
}

// Shares of the year that add up to nearly 1 are weights: C is the mean of the ratios under them.
TEST(ScheduleLimits, CIsAWeightedMean) {
    Year year = plain_year();
    year.weather.ei_share[3] += 0.9e-6;
    const CoverManagement result = cover_management(year.season, &year.cover, year.weather);
    double sum = 0, weight = 0;
    for (const HalfMonthRow& row : result.rows) {
        sum += row.slr * row.ei_share;
        weight += row.ei_share;
    }
    EXPECT_NEAR(result.c, sum / weight, 1e-12);
}

TEST(ScheduleLimits, BareReferenceIsOneEverywhere) {
    const Year year = plain_year();
    const CoverManagement bare = bare_reference(make_date(2025, 11, 20), year.weather);
    ASSERT_EQ(bare.rows.size(), 24u);
    EXPECT_EQ(bare.c, 1.0);
    EXPECT_EQ(bare.rows.front().operations, "continuous tilled fallow");
    for (int i = 0; i < 24; ++i) {
        const HalfMonthRow& row = bare.rows[static_cast<std::size_t>(i)];
        EXPECT_EQ(row.half_month, (21 + i) % 24);
        EXPECT_EQ(row.year, i < 3 ? 2025 : 2026);
        EXPECT_EQ(row.slr, 1.0);
        EXPECT_EQ(row.cf, 1.0);
        EXPECT_NEAR(row.roughness_mm, 0.24 * 25.4, 1e-9);
        EXPECT_NEAR(row.ei_share, 1.0 / 24, 1e-12);
    }
    EXPECT_NEAR(c_factor({0.5, 0.1}, {0.25, 0.25}), 0.3, 1e-12);
    EXPECT_THROW(c_factor({0.5}, {0.0}), Error);
    EXPECT_THROW(c_factor({0.5}, {0.5, 0.5}), Error);
}

// --- uncertainty ---------------------------------------------------------------------------------

// One draw after the other, with quantiles by linear interpolation and squared rank correlations.
TEST(UncertaintyLimits, QuantilesAndWeightsByASecondWriting) {
    const Year year = plain_year();
    const Schedule without(operations_of(year.season, nullptr), nullptr, year.season.start,
                           year.weather);
    const Schedule with(operations_of(year.season, &year.cover), &year.cover, year.season.start,
                        year.weather);
    const Design design = latin_hypercube(40, 77);
    const Spreads& spread = spreads();
    const Factors now{1800, 0.04, 1.3, 1.0, 0.8};
    const Uncertainty found = soil_loss_uncertainty(now, 0.4, without, with, design);
    const auto sd = [&](std::size_t k) {
        return std::sqrt(std::log(1 + std::pow(spread.cv[k], 2)));
    };
    std::vector<double> losses_now, losses, cuts;
    for (std::size_t i = 0; i < 40; ++i) {
        const auto factor = [&](std::size_t k, double power = 1) {
            return std::exp(power * sd(k) * design.score[7 * i + k]);
        };
        const double base = 1800 * 0.04 * 1.3 * 0.8 * factor(0) * factor(1) * factor(2, 0.4);
        const Perturbation x{factor(3), factor(4), factor(5), factor(6)};
        losses_now.push_back(base * without.c(x));
        losses.push_back(base * with.c(x));
        cuts.push_back(100 * (1 - with.c(x) / without.c(x)));
    }
    const auto quantile = [](std::vector<double> values, double q) {
        std::sort(values.begin(), values.end());
        const double at = q * 39;
        const auto low = static_cast<std::size_t>(std::floor(at));
        return values[low] + (at - std::floor(at)) * (values[low + 1] - values[low]);
    };
    const auto same = [&](const Interval& interval, const std::vector<double>& values) {
        EXPECT_NEAR(interval.low, quantile(values, 0.1), 1e-9);
        EXPECT_NEAR(interval.mid, quantile(values, 0.5), 1e-9);
        EXPECT_NEAR(interval.high, quantile(values, 0.9), 1e-9);
    };
    same(found.loss_now_mg_ha, losses_now);
    same(found.loss_cover_mg_ha, losses);
    same(found.cut_pct, cuts);
    const auto weights = [&](const std::vector<double>& values) {
        std::array<double, 7> squared{};
        double sum = 0;
        for (std::size_t k = 0; k < 7; ++k) {
            double product = 0;
            for (std::size_t i = 0; i < 40; ++i) {
                double place = 0;
                for (const double other : values) place += other < values[i];
                product += (place - 19.5) * (design.rank[7 * i + k] - 19.5);
            }
            squared[k] = product * product;
            sum += squared[k];
        }
        for (double& w : squared) w /= sum;
        return squared;
    };
    const auto loss_weight = weights(losses);
    const auto cut_weight = weights(cuts);
    for (std::size_t k = 0; k < 7; ++k) {
        EXPECT_NEAR(found.loss_weight[k], loss_weight[k], 1e-9);
        EXPECT_NEAR(found.cut_weight[k], cut_weight[k], 1e-9);
    }
    const auto strongest = [](const std::array<double, 7>& w) {
        return static_cast<UncertainInput>(std::max_element(w.begin(), w.end()) - w.begin());
    };
    EXPECT_EQ(found.loss_driver, strongest(loss_weight));
    EXPECT_EQ(found.cut_driver, strongest(cut_weight));
    EXPECT_EQ(found.draws, 40u);
}

/// Factors that leave the loss at C, and no spread of theirs.
Uncertainty of_draws(const std::vector<double>& without, const std::vector<double>& with,
                     const Design& design) {
    return soil_loss_uncertainty({1, 1, 1, 1, 1}, 0.5, {without, with}, design, Spreads{});
}

// Quantiles between two draws, by hand: of 24 draws the 10 % quantile lies 0.3 of the way from the
// third to the fourth, the median half way from the twelfth to the thirteenth.
TEST(UncertaintyLimits, QuantilesLieBetweenDraws) {
    std::vector<double> with;
    for (int i = 0; i < 24; ++i) with.push_back(i * i);
    const Interval loss =
        of_draws(std::vector<double>(24, 1.0), with, latin_hypercube(24, 1)).loss_cover_mg_ha;
    EXPECT_NEAR(loss.low, 4 + 0.3 * (9 - 4), 1e-9);
    EXPECT_NEAR(loss.mid, 0.5 * (121 + 144), 1e-9);
    EXPECT_NEAR(loss.high, 400 + 0.7 * (441 - 400), 1e-9);
}

// Outputs that differ by rounding only have nothing that moves them; those that differ by more
// have.
TEST(UncertaintyLimits, RoundingHasNoDriver) {
    const Design design = latin_hypercube(20, 3);
    const auto sum_of_weights = [&](double value, double step) {
        std::vector<double> with(20, value);
        for (std::size_t i = 0; i < 20; i += 2) with[i] += step;
        double sum = 0;
        for (const double w : of_draws(std::vector<double>(20, 1.0), with, design).loss_weight)
            sum += w;
        return sum;
    };
    EXPECT_EQ(sum_of_weights(1.0, 1e-13), 0.0);
    EXPECT_EQ(sum_of_weights(1e6, 1e-7), 0.0);
    EXPECT_EQ(sum_of_weights(0.0, 0.0), 0.0);
    EXPECT_NEAR(sum_of_weights(1.0, 1e-6), 1.0, 1e-12);
    EXPECT_NEAR(sum_of_weights(1e-8, 1e-14), 1.0, 1e-12);
    // Ranks 1, 3, 0, 2 do not go with 0, 1, 2, 3: no input moves the loss.
    Design unrelated;
    unrelated.draws = 4;
    unrelated.score.assign(28, 0.0);
    for (const std::uint32_t rank : {1u, 3u, 0u, 2u})
        unrelated.rank.insert(unrelated.rank.end(), 7, rank);
    for (const double w : of_draws({1, 1, 1, 1}, {1, 2, 3, 4}, unrelated).loss_weight)
        EXPECT_EQ(w, 0.0);
}

// The design drawn a second time: score k of draw i is the normal score of its place in its
// stratum, to the last digits (the standard normal distribution is 1/2 erfc(-z / sqrt 2)).
TEST(UncertaintyLimits, ScoresAreNormalScores) {
    const std::size_t draws = 500;
    const Design design = latin_hypercube(draws, 9);
    Random random(9);
    std::vector<std::uint32_t> strata(draws);
    for (std::size_t k = 0; k < 7; ++k) {
        for (std::uint32_t i = 0; i < draws; ++i) strata[i] = i;
        random.shuffle(strata);
        for (std::size_t i = 0; i < draws; ++i) {
            const double p = (strata[i] + random.uniform()) / static_cast<double>(draws);
            EXPECT_NEAR(0.5 * std::erfc(-design.score[7 * i + k] / std::sqrt(2.0)), p, 1e-14);
        }
    }
}

TEST(UncertaintyLimits, CountsAndExponents) {
    EXPECT_NO_THROW(latin_hypercube(20, 1));
    EXPECT_THROW(latin_hypercube(19, 1), Error);
    EXPECT_NO_THROW(latin_hypercube(100000, 1));
    EXPECT_THROW(latin_hypercube(100001, 1), Error);
    const Design design = latin_hypercube(20, 1);
    const CDraws c{std::vector<double>(20, 0.0), std::vector<double>(20, 0.0)};
    for (const double m : {0.0, 1.0})
        EXPECT_EQ(soil_loss_uncertainty({1, 1, 1, 1, 1}, m, c, design).cut_pct.high, 0.0);
    for (const double m : {-0.01, 1.01})
        EXPECT_THROW(soil_loss_uncertainty({1, 1, 1, 1, 1}, m, c, design), Error);
    EXPECT_THROW(soil_loss_uncertainty({1, 1, 1, 1, 1}, 0.5, {{}, c.with}, design), Error);
    EXPECT_THROW(soil_loss_uncertainty({1, 1, 1, 1, 1}, 0.5, {c.without, {}}, design), Error);
    const char* names[] = {"erosivity R",
                           "soil erodibility K",
                           "slope length",
                           "cover crop mass",
                           "residue cover per mass",
                           "residue decay",
                           "effect of surface cover"};
    for (int i = 0; i < 7; ++i)
        EXPECT_EQ(uncertain_input_name(static_cast<UncertainInput>(i)), names[i]);
}

TEST(UncertaintyLimits, SpreadsTable) {
    const auto read = [](const std::string& first, const std::string& last = "verified") {
        return parse_spreads(
            Table::parse("input,cv,source,confidence\nerosivity," + first +
                             ",me,verified\nerodibility,1,me,verified\n"
                             "slope_length,1,me,verified\ncover_mass,1,me,verified\n"
                             "residue_alpha,1,me,verified\n"
                             "residue_decay,1,me,verified\ncover_effect,1,me," +
                             last + "\n",
                         "spreads.csv"));
    };
    // Every input is needed, the first as well as the last.
    const char* ids[] = {"erosivity",     "erodibility",   "slope_length", "cover_mass",
                         "residue_alpha", "residue_decay", "cover_effect"};
    for (const std::string missing : ids) {
        std::string text = "input,cv,source,confidence\n";
        for (const std::string id : ids)
            if (id != missing) text += id + ",1,me,verified\n";
        EXPECT_TRUE(mentions(message_of([&] { parse_spreads(Table::parse(text, "spreads.csv")); }),
                             "input '" + missing + "' is missing"));
    }
    EXPECT_EQ(read("0").cv[0], 0.0);
    EXPECT_EQ(read("2").cv[0], 2.0);
    EXPECT_EQ(read("2").of(UncertainInput::cover_effect), 1.0);
    EXPECT_THROW(read("-0.01"), Error);
    EXPECT_THROW(read("2.01"), Error);
    EXPECT_EQ(read("1").confidence, Confidence::verified);
    EXPECT_EQ(read("1", "memory: check").confidence, Confidence::unchecked);
    EXPECT_TRUE(mentions(message_of([] {
                             parse_spreads(
                                 Table::parse("input,cv,source,confidence\n"
                                              "erosivity,1,me,verified\n"
                                              "erosivity,1,me,verified\n",
                                              "spreads.csv"));
                         }),
                         "twice"));
}

}  // namespace
}  // namespace catchfield::erosion
