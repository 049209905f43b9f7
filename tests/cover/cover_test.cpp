// SPDX-License-Identifier: MIT
// Catalogue, seasons, endings, choice, seed and scouting: what a grower would expect, and bad
// input.
#include "base/error.hpp"
#include "cover/choice.hpp"
#include "cover/data.hpp"
#include "cover/scouting.hpp"
#include "cover/seeding.hpp"
#include "season_maker.hpp"
#include "support/messages.hpp"

#include <gtest/gtest.h>

#include <map>

namespace catchfield::cover {
namespace {

using tests::mentions;
using tests::message_of;

const Catalogue& catalogue() {
    return Catalogue::built_in();
}

#define EXPECT_SAYS(statement, part)                                     \
    do {                                                                 \
        const std::string said = message_of([&] { (void)(statement); }); \
        EXPECT_TRUE(mentions(said, part)) << "said: " << said;           \
    } while (false)

// ---- catalogue

TEST(Catalogue, HasEverySpeciesWithSources) {
    EXPECT_EQ(catalogue().species().size(), 22u);
    for (const Species& s : catalogue().species()) {
        for (const Tag* tag : {&s.seed_tag, &s.winter_tag, &s.growth_tag, &s.biomass_tag,
                               &s.nitrogen_tag, &s.form_tag, &s.other_tag}) {
            EXPECT_NE(catalogue().citation(tag->source), tag->source)
                << s.id << ": " << tag->source;
        }
        EXPECT_FALSE(s.termination.empty()) << s.id;
        EXPECT_EQ(s.group == Group::legume, s.fixed_share.has_value()) << s.id;
        EXPECT_EQ(s.group == Group::brassica, s.n_to_establish_kg_ha.has_value()) << s.id;
    }
    for (const char* id : {"annual-medic", "chickling-vetch", "white-clover"}) {
        EXPECT_NO_THROW(catalogue().find_species(id)) << id;
    }
}

// Biomass and N cells of the table are planning bounds, never shown as verified.
TEST(Catalogue, PlanningBoundsAreNotShownAsVerified) {
    for (const Species& s : catalogue().species()) {
        EXPECT_GE(s.biomass_tag.confidence, Confidence::unchecked) << s.id;
        EXPECT_GE(s.nitrogen_tag.confidence, Confidence::unchecked) << s.id;
    }
}

TEST(Catalogue, FindsHoweverTheIdIsWritten) {
    EXPECT_EQ(catalogue().find("Hairy_Vetch").id, "hairy-vetch");
    EXPECT_EQ(catalogue().find("cereal rye").id, "rye");
    EXPECT_EQ(catalogue().find("rye-vetch").components.size(), 2u);
    EXPECT_SAYS(catalogue().find("hary-vetch"), "hairy-vetch");
    EXPECT_SAYS(catalogue().find_species("forage-radich"), "forage-radish");
}

TEST(Catalogue, Filters) {
    const auto brassicas = catalogue().list({.group = Group::brassica, .mixtures = false});
    EXPECT_EQ(brassicas.size(), 5u);
    const auto taproots = catalogue().list({.taproot = Taproot::strong, .mixtures = false});
    EXPECT_EQ(taproots.size(), 6u);
    EXPECT_EQ(catalogue().list({.text = "trifolium"}).size(),
              catalogue().list({.text = "TRIFOLIUM"}).size());
    EXPECT_EQ(catalogue().list({.mixtures = true}).size(), 10u);
}

TEST(Catalogue, SharesAddToOne) {
    for (const Cover& cover : catalogue().list({.mixtures = true})) {
        double sum = 0.0;
        for (const Component& part : cover.components) sum += part.share;
        EXPECT_NEAR(sum, 1.0, 1e-9) << cover.id;
    }
    EXPECT_SAYS(catalogue().parse_cover("rye=0.6+hairy-vetch=0.6"), "add to 1.2");
    EXPECT_SAYS(catalogue().parse_cover("rye=0.6+hary-vetch=0.4"), "hairy-vetch");
    EXPECT_SAYS(catalogue().parse_cover("rye=0.5+rye=0.5"), "twice");
    EXPECT_SAYS(catalogue().parse_cover("rye=-0.5+oats=1.5"), "species=share");
    EXPECT_EQ(catalogue().parse_cover("rye=0.6+hairy-vetch=0.4").components[1].share, 0.4);
}

TEST(Catalogue, UserRowsOverrideAndAdd) {
    Catalogue mine = catalogue();
    mine.add_species(
        Table::parse("species_id,fall_min_kg_ha,fall_typical_kg_ha,fall_max_kg_ha,"
                     "biomass_source,biomass_confidence,seed_price_per_kg\n"
                     "rye,500,1000,1800,own strips 2019-24,verified,0.9\n",
                     "mine.csv"));
    const Species& rye = mine.find_species("rye");
    EXPECT_EQ(rye.fall_kg_ha.typical, 1000.0);
    EXPECT_EQ(rye.biomass_tag.confidence, Confidence::verified);
    EXPECT_EQ(rye.spring_kg_ha->typical, 4900.0);
    EXPECT_EQ(*rye.seed_price_per_kg, 0.9);
    EXPECT_EQ(mine.find("rye-vetch").components[0].species.fall_kg_ha.typical, 1000.0);

    // The built-in table, renamed, is a valid user table: every column goes through.
    std::string table(data::species);
    const std::size_t row = table.find("\noats,");
    std::string oats = table.substr(row + 1, table.find('\n', row + 1) - row - 1);
    oats.replace(0, 4, "sand-oat");
    const std::string header = table.substr(0, table.find("\nrye,"));
    mine.add_species(Table::parse(header + "\n" + oats + "\n", "mine.csv"));
    EXPECT_EQ(mine.find("sand-oat").components[0].species.fall_kg_ha.typical, 3000.0);
}

TEST(Catalogue, BadRowsAreNamedByLineAndColumn) {
    Catalogue mine = catalogue();
    const auto bad = [&](const std::string& header, const std::string& row) {
        return message_of(
            [&] { mine.add_species(Table::parse(header + "\n" + row + "\n", "mine.csv")); });
    };
    EXPECT_TRUE(
        mentions(bad("species_id,kill_temp_c", "rye,cold"), "line 2, column 'kill_temp_c'"));
    EXPECT_TRUE(mentions(bad("species_id,kill_temp_c", "rye,-310"), "outside"));
    EXPECT_TRUE(mentions(bad("species_id,group", "rye,gras"), "column 'group'"));
    EXPECT_TRUE(mentions(bad("species_id,common_name", "teff,teff"), "column 'group'"));
    EXPECT_TRUE(mentions(bad("species_id,n_pct_young,n_pct_late", "rye,1,3"), "n_pct_late"));
    EXPECT_TRUE(mentions(bad("species_id,biomass_confidence", "rye,sure"), "biomass_confidence"));
    EXPECT_TRUE(mentions(bad("name", "rye"), "species_id"));
    // A failed table changes nothing.
    EXPECT_EQ(mine.find_species("rye").kill_temp_c, -35.0);
    EXPECT_SAYS(mine.add_mixtures(
                    Table::parse("mixture_id,species_id,share\nm,rye,0.5\nm,oats,0.4\n", "m.csv")),
                "add to 0.9");
    EXPECT_SAYS(mine.add_mixtures(Table::parse("mixture_id,species_id,share\nm,ray,1\n", "m.csv")),
                "'rye'");
}

// ---- season

TEST(Season, BadDatesAreRefused) {
    SeasonInputs in = ohio(make_date(2025, 8, 1));
    in.terminate = make_date(2025, 7, 20);
    EXPECT_SAYS(Season(in), "before it is sown");
    in = ohio(make_date(2025, 8, 1));
    in.next_planting = make_date(2026, 4, 1);
    EXPECT_SAYS(Season(in), "before the cover crop is ended");
    in = ohio(make_date(2025, 8, 1));
    in.hard_frost = make_date(2024, 10, 20);
    EXPECT_SAYS(Season(in), "does not belong");
}

TEST(Season, BadWeatherIsRefused) {
    SeasonInputs in = ohio(make_date(2025, 8, 1));
    for (auto* series : {&in.tmin_c, &in.tmax_c}) {
        for (double& t : *series) t = units::fahrenheit_from_celsius(t);
    }
    EXPECT_SAYS(Season(in), "degF");
    in = ohio(make_date(2025, 8, 1));
    in.tmin_c.resize(100);
    in.tmax_c.resize(100);
    EXPECT_SAYS(Season(in), "do not reach");
    in = ohio(make_date(2025, 8, 1));
    in.tmin_c[40] = 50.0;
    EXPECT_SAYS(Season(in), "2025-07-11");
    in = ohio(make_date(2025, 8, 1));
    in.winter_minimum_c = {80.0};
    EXPECT_SAYS(Season(in), "winter minimum");
}

TEST(Season, SownAfterFrostIsSaidAndRefused) {
    const Season season(ohio(make_date(2025, 11, 8)), catalogue());
    bool said = false;
    for (const std::string& warning : season.warnings())
        said = said || mentions(warning, "after the first hard frost");
    EXPECT_TRUE(said);
    const Cover oats = catalogue().find("oats");
    const Forecast f = forecast(oats, season, {.n_supply_kg_ha = 80.0});
    const Candidate candidate{&oats, &f, {}, {}};
    const Score s = score(candidate, {}, Aims::usual());
    EXPECT_EQ(s.limit, Limit::season_too_short);
    EXPECT_TRUE(mentions(reason(candidate, s, {}, season, false, UnitSystem::metric), "too late"));
}

TEST(Season, HeatSumsAgreeWithAndWithoutTables) {
    const SeasonInputs in = ohio(make_date(2025, 8, 1));
    const Season with(in, catalogue());
    const Season without(in);
    EXPECT_NEAR(with.heat(3.9, in.sow, in.terminate), without.heat(3.9, in.sow, in.terminate),
                1e-9);
    EXPECT_EQ(with.heat(4.0, in.terminate, in.sow), 0.0);
}

TEST(Season, KillChanceFromYearsAndFromAMean) {
    SeasonInputs in = ohio(make_date(2025, 8, 1));
    in.winter_minimum_c = {-30.0, -30.0, -2.0, -2.0};
    EXPECT_NEAR(*Season(in).kill_chance(-12.0, Constants::built_in()), 0.5, 0.001);
    in.winter_minimum_c = {-12.0};
    EXPECT_NEAR(*Season(in).kill_chance(-12.0, Constants::built_in()), 0.5, 1e-12);
    in.winter_minimum_c.clear();
    EXPECT_FALSE(Season(in).kill_chance(-12.0, Constants::built_in()).has_value());
}

// A real run of days dates the kill by the first night at the limit.
TEST(Season, KillDateFromDailyData) {
    SeasonInputs in = ohio(make_date(2025, 8, 1));
    in.normals = false;
    const int night = days_between(in.first_day, make_date(2025, 11, 3));
    in.tmin_c[static_cast<std::size_t>(night)] = -8.4;
    EXPECT_EQ(iso_date(*Season(in).first_kill(-8.3)), "2025-11-03");
}

TEST(Season, LatestSowingIsTheLastGoodDay) {
    const SeasonInputs in = ohio(make_date(2025, 7, 20));
    const Season season(in, catalogue());
    const Constants& c = Constants::built_in();
    for (const char* id : {"oats", "forage-radish", "white-mustard", "berseem-clover"}) {
        const Growth growth = grow(catalogue().find_species(id), season);
        const Date frost = in.hard_frost;
        EXPECT_GE(
            typical_mass_kg_ha(catalogue().find_species(id), season, growth.latest_sowing, frost),
            c.useful_mass_kg_ha - 1e-6)
            << id;
        EXPECT_LT(growth.latest_sowing, frost) << id;
    }
    // Radish and mustard need 1500 F degree-days (Bjorkman 2012).
    const Date latest = grow(catalogue().find_species("forage-radish"), season).latest_sowing;
    EXPECT_GE(season.heat(0.0, latest, in.hard_frost), 1500.0 / 1.8 - 1.0);
    EXPECT_EQ(iso_date(grow(catalogue().find_species("rye"), season).latest_sowing), "2025-11-03");
}

// ---- every species through cold, mild and short seasons

struct Expected {
    const char* id;
    Winterkill cold;  ///< hardiness zone 4-5
    bool short_fits;  ///< sown 25 September, hard frost 15 October
};

// Winter classes by the catalogue's sources: V2, V5, V9, V18 verified, others planning values.
const Expected expected[] = {
    {"rye", Winterkill::survives, true},
    {"winter-wheat", Winterkill::uncertain, true},
    {"triticale", Winterkill::uncertain, true},
    {"winter-barley", Winterkill::killed, false},
    {"oats", Winterkill::killed, false},
    {"annual-ryegrass", Winterkill::killed, false},
    {"red-clover", Winterkill::survives, false},
    {"berseem-clover", Winterkill::killed, false},
    {"crimson-clover", Winterkill::killed, false},
    {"white-clover", Winterkill::survives, false},
    {"sweetclover", Winterkill::survives, false},
    {"hairy-vetch", Winterkill::uncertain, false},
    {"chickling-vetch", Winterkill::killed, false},
    {"annual-medic", Winterkill::killed, false},
    {"field-pea", Winterkill::killed, false},
    {"winter-pea", Winterkill::killed, false},
    {"alfalfa", Winterkill::survives, false},
    {"forage-radish", Winterkill::killed, false},
    {"oilseed-radish", Winterkill::killed, false},
    {"turnip", Winterkill::killed, false},
    {"canola", Winterkill::killed, false},
    {"white-mustard", Winterkill::killed, false},
};

TEST(EverySpecies, ColdMildAndShort) {
    ASSERT_EQ(std::size(expected), catalogue().species().size());
    const Season in_cold(cold(make_date(2025, 7, 25)), catalogue());
    const Season in_mild(mild(make_date(2025, 9, 10)), catalogue());
    SeasonInputs brief = ohio(make_date(2025, 9, 25));
    brief.hard_frost = make_date(2025, 10, 15);
    const Season in_short(brief, catalogue());
    const SiteInputs site{.n_supply_kg_ha = 80.0, .spring_n_supply_kg_ha = 20.0};
    for (const Expected& e : expected) {
        SCOPED_TRACE(e.id);
        const Cover cover = catalogue().find(e.id);
        const Species& s = cover.components[0].species;

        const Forecast c = forecast(cover, in_cold, site);
        EXPECT_EQ(c.ending.winterkill, e.cold)
            << winterkill_name(c.ending.winterkill) << " " << c.ending.kill_chance.value_or(-1);
        EXPECT_GT(c.frost_kg_ha.typical, 300.0);
        if (c.ending.winterkill == Winterkill::killed) {
            EXPECT_TRUE(c.ending.by_winter);
            EXPECT_LT(c.ending.date, make_date(2026, 2, 1));
            EXPECT_GT(c.ending.date, make_date(2025, 10, 1) - std::chrono::days(1));
        }
        if (s.group == Group::grass) {
            EXPECT_EQ(c.release.credit_kg_ha, 0.0);
        }

        const Forecast m = forecast(cover, in_mild, site);
        EXPECT_EQ(m.ending.winterkill, Winterkill::survives) << m.ending.kill_chance.value_or(-1);
        EXPECT_FALSE(m.ending.by_winter);
        const auto advice = ending_advice(s, m.ending, {.name = "corn"});
        ASSERT_FALSE(advice.empty());
        EXPECT_TRUE(mentions(advice[0], "ended by the grower")) << advice[0];
        EXPECT_TRUE(mentions(advice[0], "label")) << advice[0];

        const Forecast b = forecast(cover, in_short, site);
        const Candidate candidate{&cover, &b, {}, {}};
        EXPECT_EQ(score(candidate, {}, Aims::usual()).accepted(), e.short_fits)
            << limit_name(score(candidate, {}, Aims::usual()).limit);
        EXPECT_LT(b.end_kg_ha.typical,
                  forecast(cover, Season(ohio(make_date(2025, 8, 1)), catalogue()), site)
                          .end_kg_ha.typical +
                      1e-6);
    }
}

TEST(EverySpecies, RyeSurvivesAndGivesNoCredit) {
    SeasonInputs in = ohio(make_date(2025, 9, 10));
    in.terminate = make_date(2026, 5, 15);
    in.next_planting = make_date(2026, 5, 25);
    const Forecast f =
        forecast(catalogue().find("rye"), Season(in, catalogue()), {.n_supply_kg_ha = 80.0});
    EXPECT_EQ(f.release.credit_kg_ha, 0.0);
    EXPECT_LT(f.release.range_kg_ha.typical, 0.0);
    EXPECT_TRUE(has(f.cautions, Caution::tie_up));
    EXPECT_TRUE(has(f.cautions, Caution::high_carbon));
}

TEST(EverySpecies, RadishNeedsNitrogenAndSeason) {
    const Cover radish = catalogue().find("forage-radish");
    const Season good(ohio(make_date(2025, 8, 8)), catalogue());
    const Forecast rich = forecast(radish, good, {.n_supply_kg_ha = 200.0});
    const Forecast poor = forecast(radish, good, {.n_supply_kg_ha = 20.0});
    EXPECT_GT(rich.end_kg_ha.typical, 3.0 * poor.end_kg_ha.typical);
    EXPECT_TRUE(has(poor.cautions, Caution::n_limited));
    ZoneNeeds needs;
    needs.nitrate_0_30_kg_ha = 12.0;
    EXPECT_EQ(score({&radish, &poor, {}, {}}, needs, Aims::usual()).limit, Limit::too_little_n);
    needs.nitrate_0_30_kg_ha = 60.0;
    EXPECT_EQ(score({&radish, &rich, {}, {}}, needs, Aims::usual()).limit, Limit::none);
    const Season late(ohio(make_date(2025, 9, 20)), catalogue());
    const Forecast l = forecast(radish, late, {.n_supply_kg_ha = 200.0});
    EXPECT_EQ(score({&radish, &l, {}, {}}, needs, Aims::usual()).limit, Limit::season_too_short);
}

// The common-practice credit for legumes under 15 cm is the nitrogen room's; it needs the height.
TEST(EverySpecies, LateLegumesAreShort) {
    const Season late(ohio(make_date(2025, 9, 25)), catalogue());
    const Season early(ohio(make_date(2025, 7, 20)), catalogue());
    const Cover clover = catalogue().find("berseem-clover");
    EXPECT_LT(forecast(clover, late, {}).height_at_end_cm, 15.0);
    EXPECT_GT(forecast(clover, early, {}).height_at_end_cm, 15.0);
}

TEST(Forecast, MixtureOfOneKindIsThePureStand) {
    const Season season(ohio(make_date(2025, 8, 1)), catalogue());
    const SiteInputs site{.n_supply_kg_ha = 70.0};
    Cover one = catalogue().find("rye");
    const Forecast f = forecast(one, season, site);
    EXPECT_EQ(f.cn_ratio, forecast(one, grow(one, season), season, site).cn_ratio);
    EXPECT_NEAR(f.n_uptake_kg_ha, f.end_kg_ha.typical * f.n_pct / 100.0, 1e-9);
    EXPECT_NEAR(f.cn_ratio, 42.0 / f.n_pct, 1e-9);
}

TEST(Forecast, NursePairHandsOver) {
    const Season season(ohio(make_date(2025, 7, 20)), catalogue());
    const Forecast f =
        forecast(catalogue().find("oats-red-clover"), season, {.n_supply_kg_ha = 80.0});
    EXPECT_TRUE(f.ends_mixed);
    EXPECT_FALSE(f.ending.by_winter);
    EXPECT_GT(f.live_kg_ha[6], 0.0);  // clover in early April
    EXPECT_GT(f.dead_kg_ha[6], 0.0);  // oat straw under it
    EXPECT_GT(f.n_fixed_kg_ha, 0.0);
}

TEST(Forecast, HalfMonthsFollowTheSeason) {
    const Season season(ohio(make_date(2025, 8, 5)), catalogue());
    const Forecast f = forecast(catalogue().find("oats"), season, {.n_supply_kg_ha = 120.0});
    EXPECT_EQ(f.live_kg_ha[13], 0.0);  // late July: not sown yet
    EXPECT_GT(f.live_kg_ha[18], f.live_kg_ha[16]);
    EXPECT_EQ(f.live_kg_ha[2], 0.0);  // February: dead
    EXPECT_GT(f.dead_kg_ha[2], f.dead_kg_ha[10]);
    EXPECT_GT(f.ground_cover[2], 0.3);
    ASSERT_TRUE(f.catches_from.has_value());
    EXPECT_GT(*f.catches_from, make_date(2025, 8, 5));
    EXPECT_LT(*f.catches_from, f.catches_until);
}

TEST(Forecast, WithoutASoilTestItSaysSo) {
    const Season season(ohio(make_date(2025, 8, 5)), catalogue());
    const Forecast f = forecast(catalogue().find("oats"), season, {});
    EXPECT_TRUE(has(f.cautions, Caution::supply_assumed));
    EXPECT_EQ(f.confidence, Confidence::assumption);
    EXPECT_TRUE(mentions(caution_texts(f.cautions)[0], "soil nitrate test"));
    EXPECT_SAYS(forecast(catalogue().find("oats"), season, {.n_supply_kg_ha = -1.0}),
                "zero or more");
    EXPECT_SAYS(forecast(catalogue().find("oats"), season, {.stand = 85.0}), "0 to 1");
}

TEST(Forecast, StrawRemovalIsSetAgainstTheCover) {
    const CarbonBalance none = carbon_balance(3000.0, 1000.0, 0.0);
    const CarbonBalance baled = carbon_balance(3000.0, 1000.0, 6000.0);
    // 0.42 x (3000 x 0.125 + 1000 x 0.30) = 283.5; straw 0.42 x 6000 x 0.125 = 315.
    EXPECT_NEAR(none.balance_kg_ha, 283.5, 1e-9);
    EXPECT_NEAR(baled.balance_kg_ha, 283.5 - 315.0, 1e-9);
}

// ---- choice

struct Field {
    std::vector<Cover> covers;
    std::vector<Forecast> forecasts;
    std::vector<Candidate> candidates;
    Field(const Season& season, const SiteInputs& site) : covers(catalogue().list()) {
        for (const Cover& cover : covers) forecasts.push_back(forecast(cover, season, site));
        for (std::size_t i = 0; i < covers.size(); ++i) {
            candidates.push_back({&covers[i], &forecasts[i], {}, {}});
        }
    }
    std::size_t index(const std::string& id) const {
        for (std::size_t i = 0; i < covers.size(); ++i) {
            if (covers[i].id == id) return i;
        }
        ADD_FAILURE() << id;
        return 0;
    }
};

TEST(Choice, AfterWheatInJulyAndAfterALateHarvest) {
    const SiteInputs site{.n_supply_kg_ha = 70.0, .spring_n_supply_kg_ha = 25.0};
    ZoneNeeds needs;
    needs.nitrate_0_30_kg_ha = 40.0;
    needs.compaction = ZoneNeeds::Compaction::moderate;
    needs.next = {.name = "corn", .grass = true};
    const Season july(ohio(make_date(2025, 7, 18)), catalogue());
    const Season september(ohio(make_date(2025, 9, 28)), catalogue());
    const Field a(july, site);
    const Field b(september, site);
    const Choice in_july = choose(a.candidates, needs, Aims::usual());
    const Choice in_september = choose(b.candidates, needs, Aims::usual());
    ASSERT_TRUE(in_july.chosen && in_september.chosen);
    EXPECT_NE(a.covers[*in_july.chosen].id, b.covers[*in_september.chosen].id);
    EXPECT_EQ(b.covers[*in_september.chosen].id, "rye");
    const std::size_t radish = b.index("forage-radish");
    const std::string why = reason(b.candidates[radish], in_september.scores[radish], needs,
                                   september, false, UnitSystem::us);
    EXPECT_TRUE(mentions(why, "too late")) << why;
    EXPECT_TRUE(mentions(why, "2025-09-28")) << why;
    const std::string taken = reason(a.candidates[*in_july.chosen], in_july.scores[*in_july.chosen],
                                     needs, july, true, UnitSystem::us);
    EXPECT_TRUE(mentions(taken, "Taken")) << taken;
    EXPECT_TRUE(mentions(taken, "lb/ac")) << taken;
    EXPECT_TRUE(mentions(taken, "Confidence: ")) << taken;
}

TEST(Choice, ScoreIsThePlainWeightedSum) {
    const Season season(ohio(make_date(2025, 8, 1)), catalogue());
    const Field field(season, {.n_supply_kg_ha = 70.0});
    const Aims aims = parse_aims("erosion=3, catch-n=2, cost=1");
    ZoneNeeds needs;
    needs.loss_over_t = 0.5;
    Candidate candidate = field.candidates[field.index("rye")];
    candidate.erosion_cut = 0.6;
    candidate.cost_per_ha = 75.0;
    const Score s = score(candidate, needs, aims);
    const double caught = s.part[1];
    EXPECT_NEAR(s.total, (3 * 0.5 * 0.6 + 2 * 0.7 * caught + 1 * 0.5) / 6.0, 1e-12);
}

TEST(Choice, AimsMoveTheChoice) {
    const Season season(ohio(make_date(2025, 7, 20)), catalogue());
    const Field field(season, {.n_supply_kg_ha = 60.0});
    ZoneNeeds needs;
    needs.compaction = ZoneNeeds::Compaction::severe;
    const auto winner = [&](const char* aims) {
        return field.covers[*choose(field.candidates, needs, parse_aims(aims)).chosen];
    };
    EXPECT_TRUE(winner("supply-n=1").has(Group::legume));
    const Cover taproot = winner("compaction=1");
    EXPECT_TRUE(taproot.has(Group::brassica)) << taproot.id;
    const std::size_t ends = *choose(field.candidates, needs, parse_aims("ends-itself=1")).chosen;
    EXPECT_EQ(field.forecasts[ends].ending.winterkill, Winterkill::killed);
}

TEST(Choice, HardLimits) {
    SeasonInputs in = ohio(make_date(2025, 9, 1));
    in.terminate = make_date(2026, 5, 15);
    in.next_planting = make_date(2026, 5, 20);
    const Season season(in, catalogue());
    const Field field(season, {.n_supply_kg_ha = 70.0});
    const auto limit = [&](const char* id, const ZoneNeeds& needs) {
        return score(field.candidates[field.index(id)], needs, Aims::usual()).limit;
    };
    ZoneNeeds needs;
    EXPECT_EQ(limit("rye", needs), Limit::none);
    needs.next = {.name = "lettuce", .stands_tie_up = false};
    EXPECT_EQ(limit("rye", needs), Limit::tie_up);
    EXPECT_EQ(limit("hairy-vetch", needs), Limit::none);
    needs = {};
    needs.next = {.name = "winter wheat", .small_grain = true, .grass = true};
    EXPECT_EQ(limit("rye", needs), Limit::volunteers);
    EXPECT_EQ(limit("hairy-vetch", needs), Limit::volunteers);
    EXPECT_EQ(limit("red-clover", needs), Limit::none);
    needs = {};
    needs.must_end_itself = true;
    EXPECT_EQ(limit("rye", needs), Limit::does_not_end);
    EXPECT_EQ(limit("oats", needs), Limit::none);
    const Field july(Season(ohio(make_date(2025, 8, 1)), catalogue()), {.n_supply_kg_ha = 70.0});
    needs = {};
    needs.wet_subsoil = true;
    EXPECT_EQ(score(july.candidates[july.index("forage-radish")], needs, Aims::usual()).limit,
              Limit::wet_subsoil);
    EXPECT_EQ(score(july.candidates[july.index("radish-oats")], needs, Aims::usual()).limit,
              Limit::none);
    for (std::size_t i = 0; i < field.candidates.size(); ++i) {
        const Score s = score(field.candidates[i], needs, Aims::usual());
        if (!s.accepted()) {
            EXPECT_TRUE(
                mentions(reason(field.candidates[i], s, needs, season, false, UnitSystem::metric),
                         "Refused"));
        }
    }
}

Choice scored(std::vector<double> totals) {
    Choice choice;
    for (const double total : totals) {
        Score s;
        s.total = std::abs(total);
        s.limit = total < 0.0 ? Limit::wet_subsoil : Limit::none;
        choice.scores.push_back(s);
    }
    return choice;
}

TEST(Choice, WholeFieldByZoneAndAtMostN) {
    // Three zones, three covers; negative = refused there.
    const std::vector<double> areas = {1.0, 1.0, 3.0};
    const auto run = [&](int most) {
        std::vector<Choice> zones = {scored({0.9, 0.5, 0.1}), scored({0.1, 0.5, 0.8}),
                                     scored({-0.9, 0.4, 0.45})};
        choose_for_field(zones, areas, {most});
        std::vector<int> chosen;
        for (const Choice& zone : zones)
            chosen.push_back(zone.chosen ? static_cast<int>(*zone.chosen) : -1);
        return chosen;
    };
    EXPECT_EQ(run(0), (std::vector<int>{0, 2, 2}));
    // One cover: sums are 1.0, 2.2, 2.25.
    EXPECT_EQ(run(1), (std::vector<int>{2, 2, 2}));
    EXPECT_EQ(run(2), (std::vector<int>{0, 2, 2}));
    std::vector<Choice> none = {scored({-0.5, -0.5})};
    choose_for_field(none, std::vector<double>{1.0}, {1});
    EXPECT_FALSE(none[0].chosen.has_value());
}

TEST(Choice, AtMostNIsTheBestOfAllSets) {
    for (std::uint64_t seed = 1; seed <= 200; ++seed) {
        Random random(seed);
        std::vector<Choice> zones;
        std::vector<double> areas;
        for (int z = 0; z < 5; ++z) {
            std::vector<double> totals;
            for (int i = 0; i < 6; ++i) totals.push_back(random.uniform(-0.4, 1.0));
            zones.push_back(scored(totals));
            areas.push_back(random.uniform(0.1, 5.0));
        }
        double last = -1.0;
        for (int most = 1; most <= 5; ++most) {
            std::vector<Choice> copy = zones;
            choose_for_field(copy, areas, {most});
            double sum = 0.0;
            std::map<std::size_t, int> used;
            for (std::size_t z = 0; z < copy.size(); ++z) {
                if (!copy[z].chosen) continue;
                ASSERT_TRUE(copy[z].scores[*copy[z].chosen].accepted());
                sum += areas[z] * copy[z].scores[*copy[z].chosen].total;
                ++used[*copy[z].chosen];
            }
            ASSERT_LE(used.size(), static_cast<std::size_t>(most)) << "seed " << seed;
            if (most <= 3) {
                ASSERT_GE(sum, last - 1e-12) << "seed " << seed;
            }
            last = sum;
        }
    }
}

TEST(Choice, BadAims) {
    EXPECT_SAYS(parse_aims("errosion=3"), "erosion");
    EXPECT_SAYS(parse_aims("erosion=-1"), "zero or more");
    EXPECT_SAYS(parse_aims("erosion"), "weight");
    EXPECT_SAYS(parse_aims("erosion=0"), "above zero");
    EXPECT_SAYS(parse_aims("erosion=1,erosion=2"), "twice");
}

// ---- seed

TEST(Seeding, PureLiveSeedAndShares) {
    SeedOrder order;
    order.rate_position = 0.0;
    order.lots = {{0.98, 0.85}, {0.95, 0.80}};
    order.prices_per_kg = {0.8, 4.0};
    const SeedPrescription p = seed_prescription(catalogue().find("rye-vetch"), order);
    // Half of 60 lb/ac rye and half of 15 lb/ac vetch.
    EXPECT_NEAR(p.lines[0].pure_live_kg_ha, 0.5 * 67.25, 0.01);
    EXPECT_NEAR(p.lines[1].pure_live_kg_ha, 0.5 * 16.81, 0.01);
    EXPECT_NEAR(p.lines[0].bulk_kg_ha, 0.5 * 67.25 / (0.98 * 0.85), 0.01);
    EXPECT_NEAR(*p.cost_per_ha, 0.8 * p.lines[0].bulk_kg_ha + 4.0 * p.lines[1].bulk_kg_ha, 1e-9);
    EXPECT_NEAR(p.bulk_kg_ha, p.lines[0].bulk_kg_ha + p.lines[1].bulk_kg_ha, 1e-12);
    const auto totals = seed_totals({{&p, 4.0}, {&p, 6.0}});
    ASSERT_EQ(totals.size(), 2u);
    EXPECT_NEAR(totals[0].bulk_kg, 10.0 * p.lines[0].bulk_kg_ha, 1e-9);
    EXPECT_NEAR(*totals[0].cost + *totals[1].cost, 10.0 * *p.cost_per_ha, 1e-9);
}

TEST(Seeding, RatesStayInTheRangeOfTheCatalogue) {
    for (const Species& s : catalogue().species()) {
        for (const SowingMethod method : {SowingMethod::drilled, SowingMethod::broadcast}) {
            const double low = pure_rate_kg_ha(s, method, 0.0);
            const double middle = pure_rate_kg_ha(s, method, 0.5);
            const double high = pure_rate_kg_ha(s, method, 1.0);
            EXPECT_LE(low, middle) << s.id;
            EXPECT_LE(middle, high) << s.id;
        }
    }
}

TEST(Seeding, WarnsAndRefuses) {
    SeedOrder order;
    order.lots = {{0.9, 0.6}};
    const SeedPrescription p = seed_prescription(catalogue().find("rye"), order);
    ASSERT_FALSE(p.warnings.empty());
    EXPECT_TRUE(mentions(p.warnings[0], "54 %"));
    EXPECT_FALSE(p.cost_per_ha.has_value());
    order.lots = {{98.0, 0.85}};
    EXPECT_SAYS(seed_prescription(catalogue().find("rye"), order), "0.85");
    order.lots = {{0.9, 0.9}, {0.9, 0.9}};
    EXPECT_SAYS(seed_prescription(catalogue().find("rye"), order), "2 seed lots for 1 species");
    bool depths = false;
    for (const auto& warning :
         seed_prescription(catalogue().find("oats-red-clover"), {}).warnings) {
        depths = depths || mentions(warning, "depth");
    }
    EXPECT_FALSE(depths);  // oats from 1.27 cm, clover to 1.27 cm: they meet
    depths = false;
    for (const auto& warning :
         seed_prescription(catalogue().parse_cover("field-pea=0.5+red-clover=0.5"), {}).warnings) {
        depths = depths || mentions(warning, "depth");
    }
    EXPECT_TRUE(depths);
}

// ---- scouting

TEST(Scouting, ReadsAndRefuses) {
    const auto read = [](const std::string& text) {
        return parse_scouting(Table::parse(text, "visit.csv"), catalogue());
    };
    const auto records = read(
        "zone,date,species,height_cm,stand_pct\n2,2026-04-20,Hairy "
        "Vetch,18,70\n2,2026-04-21,,22,\n");
    ASSERT_EQ(records.size(), 2u);
    EXPECT_EQ(records[0].cover_id, "hairy-vetch");
    const Scouting mean = mean_record(records);
    EXPECT_DOUBLE_EQ(*mean.height_cm, 20.0);
    EXPECT_DOUBLE_EQ(*mean.stand_pct, 70.0);
    EXPECT_EQ(iso_date(mean.date), "2026-04-21");
    EXPECT_SAYS(read("zone,date,height_cm\n2,2026-04-31,18\n"), "line 2, column 'date'");
    EXPECT_SAYS(read("zone,date,stand_pct\n2,2026-04-20,170\n"), "column 'stand_pct'");
    EXPECT_SAYS(read("zone,date,stand_pct\n,2026-04-20,70\n"), "no place");
    EXPECT_SAYS(read("zone,date,stand_pct\n2,2026-04-20,\n"), "no figure");
    EXPECT_SAYS(read("zone,date,species,height_cm\n2,2026-04-20,hairy-vech,18\n"), "hairy-vetch");
}

TEST(Scouting, FoundFiguresReplaceTheForecast) {
    const Season season(ohio(make_date(2025, 8, 20)), catalogue());
    const Cover vetch = catalogue().find("hairy-vetch");
    const SiteInputs site{.n_supply_kg_ha = 60.0};
    const Forecast f = forecast(vetch, season, site);
    Scouting record;
    record.date = make_date(2026, 4, 20);
    record.biomass_kg_ha = 0.5 * f.live_kg_ha[7];
    record.height_cm = 12.0;
    record.stand_pct = 60.0;
    const Revised r = revise(vetch, f, record, season, site, UnitSystem::metric);
    EXPECT_NEAR(r.forecast.end_kg_ha.typical, 0.5 * f.end_kg_ha.typical, 1e-6);
    EXPECT_NEAR(r.forecast.live_kg_ha[7], 0.5 * f.live_kg_ha[7], 1e-6);
    EXPECT_EQ(r.forecast.live_kg_ha[20], f.live_kg_ha[20]);  // before the visit: as forecast
    EXPECT_NEAR(r.forecast.n_uptake_kg_ha, 0.5 * f.n_uptake_kg_ha, 1e-6);
    EXPECT_LT(r.forecast.ground_cover[7], f.ground_cover[7]);
    EXPECT_DOUBLE_EQ(*r.height_cm, 12.0);
    EXPECT_DOUBLE_EQ(*r.stand_pct, 60.0);
    EXPECT_TRUE(mentions(r.notes[0], "found"));
    EXPECT_TRUE(has(r.forecast.cautions, Caution::measured));
    record.date = make_date(2025, 7, 1);
    EXPECT_SAYS(revise(vetch, f, record, season, site, UnitSystem::metric), "outside the season");
}

TEST(Scouting, FrostDamageOverrulesTheForecast) {
    const Season season(ohio(make_date(2025, 8, 20)), catalogue());
    const SiteInputs site{.n_supply_kg_ha = 60.0};
    Scouting record;
    record.date = make_date(2026, 3, 20);
    record.frost_damage_pct = 100.0;
    const Cover vetch = catalogue().find("hairy-vetch");
    const Revised dead =
        revise(vetch, forecast(vetch, season, site), record, season, site, UnitSystem::us);
    EXPECT_TRUE(dead.forecast.ending.by_winter);
    EXPECT_DOUBLE_EQ(dead.forecast.end_kg_ha.typical, 0.0);
    record.frost_damage_pct = 10.0;
    const Cover oats = catalogue().find("oats");
    const Revised alive =
        revise(oats, forecast(oats, season, site), record, season, site, UnitSystem::us);
    EXPECT_FALSE(alive.forecast.ending.by_winter);
    EXPECT_TRUE(mentions(alive.notes.back(), "Found alive"));
}

}  // namespace
}  // namespace catchfield::cover
