// SPDX-License-Identifier: MIT
// What must hold for every season, site and cover, over seeded cases.
#include "cover/choice.hpp"
#include "cover/scouting.hpp"
#include "season_maker.hpp"

#include <gtest/gtest.h>

#include <cmath>

namespace catchfield::cover {
namespace {

const std::vector<Cover>& covers() {
    static const std::vector<Cover> list = Catalogue::built_in().list();
    return list;
}

SiteInputs random_site(Random& random) {
    SiteInputs site;
    if (random.uniform() < 0.8)
        site.n_supply_kg_ha = random.uniform() < 0.1 ? 0.0 : random.uniform(0.0, 250.0);
    if (random.uniform() < 0.5) site.spring_n_supply_kg_ha = random.uniform(0.0, 60.0);
    site.stand = random.uniform() < 0.5 ? 1.0 : random.uniform(0.1, 1.0);
    site.removed_kg_ha = random.uniform(0.0, 6000.0);
    site.coarse_soil = random.uniform() < 0.3;
    return site;
}

Date random_sowing(Random& random) {
    return make_date(2025, 6, 10) + std::chrono::days(random.below(150));
}

/// A season around that sowing date, tried until its dates belong together.
SeasonInputs season_around(Random& random, Date sow) {
    SeasonInputs in = random_season(random, sow);
    if (days_between(in.hard_frost, sow) > 50) in.sow = in.hard_frost + std::chrono::days(50);
    return in;
}

TEST(Invariant, LaterSowingNeverGivesMore) {
    for (std::uint64_t seed = 1; seed <= 250; ++seed) {
        Random random(seed);
        SeasonInputs in = season_around(random, random_sowing(random));
        const SiteInputs site = random_site(random);
        const Season early(in, Catalogue::built_in());
        in.sow = in.sow + std::chrono::days(1 + random.below(40));
        if (days_between(in.hard_frost, in.sow) > 60) continue;
        const Season late(in, Catalogue::built_in());
        for (const Cover& cover : covers()) {
            const Forecast a = forecast(cover, early, site);
            const Forecast b = forecast(cover, late, site);
            const double slack = 1e-6;
            ASSERT_LE(b.end_kg_ha.typical, a.end_kg_ha.typical + slack)
                << cover.id << " seed " << seed;
            ASSERT_LE(b.end_kg_ha.low, a.end_kg_ha.low + slack) << cover.id << " seed " << seed;
            ASSERT_LE(b.end_kg_ha.high, a.end_kg_ha.high + slack) << cover.id << " seed " << seed;
            ASSERT_LE(b.frost_kg_ha.typical, a.frost_kg_ha.typical + slack)
                << cover.id << " seed " << seed;
            ASSERT_GE(a.week_cost_kg_ha, -slack) << cover.id << " seed " << seed;
        }
    }
}

TEST(Invariant, NothingNegativeAndMassBalances) {
    const Constants& c = Constants::built_in();
    for (std::uint64_t seed = 1; seed <= 300; ++seed) {
        Random random(seed + 5000);
        const Season season(season_around(random, random_sowing(random)), Catalogue::built_in());
        const SiteInputs site = random_site(random);
        const double supply = site.n_supply_kg_ha.value_or(c.default_supply_kg_ha) +
                              site.spring_n_supply_kg_ha.value_or(c.default_spring_supply_kg_ha);
        for (const Cover& cover : covers()) {
            SCOPED_TRACE(cover.id + " seed " + std::to_string(seed));
            const Forecast f = forecast(cover, season, site);
            ASSERT_LE(f.n_soil_kg_ha, c.n_recovery * supply + 1e-9);
            ASSERT_NEAR(f.n_uptake_kg_ha, f.n_soil_kg_ha + f.n_fixed_kg_ha, 1e-9);
            ASSERT_GE(f.n_soil_kg_ha, 0.0);
            ASSERT_GE(f.n_fixed_kg_ha, 0.0);
            if (!cover.has(Group::legume)) {
                ASSERT_DOUBLE_EQ(f.n_fixed_kg_ha, 0.0);
                ASSERT_DOUBLE_EQ(f.release.credit_kg_ha, 0.0);
            }
            ASSERT_GE(f.end_kg_ha.low, 0.0);
            ASSERT_LE(f.end_kg_ha.low, f.end_kg_ha.typical + 1e-9);
            ASSERT_LE(f.end_kg_ha.typical, f.end_kg_ha.high + 1e-9);
            ASSERT_LE(f.release.range_kg_ha.low, f.release.range_kg_ha.typical + 1e-9);
            ASSERT_GE(f.release.range_kg_ha.high, f.release.range_kg_ha.typical - 1e-9);
            ASSERT_GE(f.release.range_kg_ha.low, -c.tie_up_cap_kg_ha - 1e-9);
            ASSERT_LE(f.release.credit_kg_ha, f.n_uptake_kg_ha + 1e-9);
            ASSERT_GE(f.cn_ratio, 0.0);
            for (std::size_t k = 0; k < 24; ++k) {
                for (const double value : {f.live_kg_ha[k], f.dead_kg_ha[k], f.root_half_kg_ha[k],
                                           f.height_m[k], f.canopy_cover[k], f.residue_cover[k]}) {
                    ASSERT_TRUE(std::isfinite(value) && value >= 0.0) << k;
                }
                ASSERT_LE(f.ground_cover[k], 1.0);
                ASSERT_GE(f.ground_cover[k] + 1e-12, f.canopy_cover[k]);
            }
            ASSERT_LE(f.ending.date, season.inputs().terminate);
            ASSERT_GE(f.ending.date, season.inputs().sow);
        }
    }
}

TEST(Invariant, MoreVetchNeverRaisesCarbonToNitrogen) {
    int cases = 0;
    for (std::uint64_t seed = 1; seed <= 300; ++seed) {
        Random random(seed + 9000);
        const Season season(season_around(random, random_sowing(random)), Catalogue::built_in());
        const SiteInputs site = random_site(random);
        double last = 1e9;
        for (int percent = 5; percent <= 95; percent += 10) {
            Cover cover = Catalogue::built_in().find("rye-vetch");
            cover.components[0].share = 1.0 - percent / 100.0;
            cover.components[1].share = percent / 100.0;
            const Forecast f = forecast(cover, season, site);
            if (f.end_kg_ha.typical < 1.0 || f.ends_mixed || f.ending.by_winter) continue;
            ASSERT_LE(f.cn_ratio, last + 1e-9) << "vetch " << percent << " % seed " << seed;
            last = f.cn_ratio;
            ++cases;
        }
    }
    EXPECT_GT(cases, 1000);
}

TEST(Invariant, MoreNitrogenNeverGivesLess) {
    for (std::uint64_t seed = 1; seed <= 150; ++seed) {
        Random random(seed + 20000);
        const Season season(season_around(random, random_sowing(random)), Catalogue::built_in());
        SiteInputs site = random_site(random);
        site.n_supply_kg_ha = random.uniform(0.0, 100.0);
        SiteInputs richer = site;
        *richer.n_supply_kg_ha += random.uniform(0.0, 100.0);
        for (const Cover& cover : covers()) {
            ASSERT_LE(forecast(cover, season, site).end_kg_ha.typical,
                      forecast(cover, season, richer).end_kg_ha.typical + 1e-6)
                << cover.id << " seed " << seed;
        }
    }
}

// The units of what is shown change no figure, no score and no choice.
TEST(Invariant, UnitsOnlyChangeTheWords) {
    // Fahrenheit degree-days are 1.8 times Celsius ones on the same base.
    Random random(77);
    for (int i = 0; i < 2000; ++i) {
        const double low = random.uniform(-20.0, 25.0);
        const double high = low + random.uniform(0.0, 18.0);
        const double base = random.uniform(-5.0, 10.0);
        for (const HeatMethod method : {HeatMethod::average_first, HeatMethod::limit_first}) {
            const double f =
                day_heat(units::fahrenheit_from_celsius(high), units::fahrenheit_from_celsius(low),
                         units::fahrenheit_from_celsius(base), method);
            ASSERT_NEAR(f, 1.8 * day_heat(high, low, base, method), 1e-9);
        }
    }
    const Season season(ohio(make_date(2025, 7, 18)), Catalogue::built_in());
    const Cover rye = Catalogue::built_in().find("rye");
    const Forecast f = forecast(rye, season, {.n_supply_kg_ha = 70.0});
    const Candidate candidate{&rye, &f, 0.5, 60.0};
    const ZoneNeeds needs;
    const Score s = score(candidate, needs, Aims::usual());
    const std::string metric = reason(candidate, s, needs, season, true, UnitSystem::metric);
    const std::string us = reason(candidate, s, needs, season, true, UnitSystem::us);
    const auto after = [](const std::string& text) {
        return std::stod(text.substr(text.find("dry matter ") + 11));
    };
    EXPECT_NEAR(after(us) * units::kg_ha_per_lb_ac, after(metric), 12.0);
}

// Any way the grower measures, the revised state stays sane and takes the measured figure.
TEST(Invariant, RevisedStatesAreSane) {
    for (std::uint64_t seed = 1; seed <= 200; ++seed) {
        Random random(seed + 40000);
        const Season season(season_around(random, random_sowing(random)), Catalogue::built_in());
        const SiteInputs site = random_site(random);
        const Cover& cover = covers()[random.below(covers().size())];
        const Forecast f = forecast(cover, season, site);
        Scouting record;
        record.date = season.inputs().sow +
                      std::chrono::days(random.below(static_cast<std::size_t>(
                          days_between(season.inputs().sow, season.inputs().next_planting))));
        if (random.uniform() < 0.5) record.height_cm = random.uniform(0.0, 120.0);
        if (random.uniform() < 0.5) record.stand_pct = random.uniform(0.0, 100.0);
        if (random.uniform() < 0.5) record.biomass_kg_ha = random.uniform(0.0, 6000.0);
        if (random.uniform() < 0.5) record.n_pct = random.uniform(0.5, 5.0);
        if (random.uniform() < 0.5) record.frost_damage_pct = random.uniform(0.0, 100.0);
        const Revised r = revise(cover, f, record, season, site, UnitSystem::metric);
        SCOPED_TRACE(cover.id + " seed " + std::to_string(seed));
        ASSERT_TRUE(has(r.forecast.cautions, Caution::measured));
        ASSERT_GE(r.forecast.end_kg_ha.low, 0.0);
        ASSERT_LE(r.forecast.end_kg_ha.low, r.forecast.end_kg_ha.high);
        ASSERT_NEAR(r.forecast.n_uptake_kg_ha, r.forecast.n_soil_kg_ha + r.forecast.n_fixed_kg_ha,
                    1e-9);
        ASSERT_LE(r.forecast.release.credit_kg_ha, r.forecast.n_uptake_kg_ha + 1e-9);
        for (std::size_t k = 0; k < 24; ++k) {
            ASSERT_TRUE(std::isfinite(r.forecast.live_kg_ha[k]) && r.forecast.live_kg_ha[k] >= 0.0);
            ASSERT_GE(r.forecast.ground_cover[k], 0.0);
            ASSERT_LE(r.forecast.ground_cover[k], 1.0);
        }
    }
}

}  // namespace
}  // namespace catchfield::cover
