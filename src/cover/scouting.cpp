// SPDX-License-Identifier: MIT
#include "cover/scouting.hpp"

#include "base/error.hpp"
#include "base/text.hpp"

#include <algorithm>
#include <cmath>

namespace catchfield::cover {

namespace {

std::optional<double> figure(const Table& table, std::size_t row, std::string_view column,
                             double most) {
    if (!table.has(column)) return std::nullopt;
    const std::optional<double> value = table.number(row, column);
    if (value && (*value < 0.0 || *value > most)) {
        table.fail(row, column,
                   significant(*value, 6) + " is outside 0 to " + significant(most, 6));
    }
    return value;
}

std::string mass_text(double kg_ha, UnitSystem units) {
    const bool us = units == UnitSystem::us;
    return fixed(std::round((us ? kg_ha / units::kg_ha_per_lb_ac : kg_ha) / 10.0) * 10.0, 0) +
           (us ? " lb/ac" : " kg/ha");
}

std::string height_text(double cm, UnitSystem units) {
    return units == UnitSystem::us ? fixed(cm / units::cm_per_in, 0) + " in" : fixed(cm, 0) + " cm";
}

void scale(HalfMonths& values, std::size_t k, double factor) {
    values[k] *= factor;
}

/// Cover under a mass change: 1 - (1 - cover)^factor, since cover is 1 - exp(-a mass).
double scaled_cover(double cover, double factor) {
    return 1.0 - std::pow(1.0 - cover, factor);
}

}  // namespace

std::vector<Scouting> parse_scouting(const Table& table, const Catalogue& catalogue) {
    std::vector<Scouting> records;
    const bool zones = table.has("zone");
    const bool points = table.has("x") && table.has("y");
    if (!zones && !points) table.require({"zone"});
    table.require({"date"});
    for (std::size_t r = 0; r < table.rows(); ++r) {
        Scouting record;
        record.line = table.line(r);
        if (zones) record.zone = table.text(r, "zone");
        if (points) {
            record.x = table.number(r, "x");
            record.y = table.number(r, "y");
        }
        if (record.zone.empty() && !(record.x && record.y)) {
            table.fail(r, zones ? "zone" : "x", "the record has no place",
                       "Give the zone, or x and y.");
        }
        const std::optional<Date> date = parse_date(table.text(r, "date"));
        if (!date)
            table.fail(r, "date", "'" + table.text(r, "date") + "' is not a date like 2026-04-20");
        record.date = *date;
        if (table.has("species") && !table.text(r, "species").empty()) {
            try {
                record.cover_id = catalogue.find(table.text(r, "species")).id;
            } catch (const Error& error) {
                table.fail(r, "species", error.reason(), error.context().hint);
            }
        }
        record.height_cm = figure(table, r, "height_cm", 400.0);
        record.stand_pct = figure(table, r, "stand_pct", 100.0);
        record.biomass_kg_ha = figure(table, r, "biomass_kg_ha", 40000.0);
        record.n_pct = figure(table, r, "n_pct", 7.0);
        record.frost_damage_pct = figure(table, r, "frost_damage_pct", 100.0);
        if (!record.height_cm && !record.stand_pct && !record.biomass_kg_ha && !record.n_pct &&
            !record.frost_damage_pct) {
            table.fail(r, "date", "the record holds no figure",
                       "Give height_cm, stand_pct, biomass_kg_ha, n_pct or frost_damage_pct.");
        }
        records.push_back(std::move(record));
    }
    return records;
}

Scouting mean_record(const std::vector<Scouting>& records) {
    if (records.empty()) throw Error(ErrorKind::internal, "no scouting record to take the mean of");
    Scouting mean = records.front();
    const auto average = [&](auto member) {
        double sum = 0.0;
        int count = 0;
        for (const Scouting& record : records) {
            if (const std::optional<double>& value = record.*member) {
                sum += *value;
                ++count;
            }
        }
        mean.*member = count > 0 ? std::optional<double>(sum / count) : std::nullopt;
    };
    average(&Scouting::height_cm);
    average(&Scouting::stand_pct);
    average(&Scouting::biomass_kg_ha);
    average(&Scouting::n_pct);
    average(&Scouting::frost_damage_pct);
    for (const Scouting& record : records) mean.date = std::max(mean.date, record.date);
    return mean;
}

Revised revise(const Cover& cover, const Forecast& forecast, const Scouting& record,
               const Season& season, const SiteInputs& site, UnitSystem units, const Constants& c) {
    const SeasonInputs& in = season.inputs();
    if (record.date < in.sow || record.date > in.next_planting) {
        throw Error(ErrorKind::usage,
                    "the field was visited on " + iso_date(record.date) +
                        ", outside the season from " + iso_date(in.sow) + " to " +
                        iso_date(in.next_planting),
                    {.layer = "scouting",
                     .feature = record.line > 0 ? "line " + std::to_string(record.line) : ""});
    }
    Revised revised;
    Forecast& f = revised.forecast;
    f = forecast;
    f.cautions |= bit(Caution::measured);
    revised.height_cm = record.height_cm;
    revised.stand_pct = record.stand_pct;

    const auto visit = static_cast<std::size_t>(half_month_of(record.date));
    const bool was_dead = record.date > forecast.ending.date;
    const double model = forecast.live_kg_ha[visit] + forecast.dead_kg_ha[visit];
    const double model_height_cm =
        was_dead ? forecast.height_at_end_cm : 100.0 * forecast.height_m[visit];

    // How much of the forecast mass stands there.
    double ratio = 1.0;
    double half_width = c.height_error;
    const double left = 1.0 - record.frost_damage_pct.value_or(0.0) / 100.0;
    if (record.biomass_kg_ha) {
        half_width = c.sample_error;
        if (model > 0.0) {
            ratio = *record.biomass_kg_ha / model;
        } else if (*record.biomass_kg_ha > 0.0) {
            f.end_kg_ha.typical = *record.biomass_kg_ha;
            f.live_kg_ha[visit] = *record.biomass_kg_ha;
        }
        revised.notes.push_back("Biomass " + mass_text(*record.biomass_kg_ha, units) + " found, " +
                                mass_text(model, units) + " forecast for that date.");
    } else {
        if (record.height_cm && model_height_cm > 0.0) ratio *= *record.height_cm / model_height_cm;
        if (record.stand_pct && forecast.stand > 0.0)
            ratio *= *record.stand_pct / 100.0 / forecast.stand;
        if (!was_dead) ratio *= left;
    }
    if (record.height_cm) {
        revised.notes.push_back("Height " + height_text(*record.height_cm, units) + " found, " +
                                height_text(model_height_cm, units) + " forecast.");
        f.height_at_end_cm =
            std::max(*record.height_cm, was_dead ? 0.0 : f.height_at_end_cm * ratio);
    }
    if (record.stand_pct) {
        revised.notes.push_back("Stand " + fixed(*record.stand_pct, 0) + " % found, " +
                                fixed(100.0 * forecast.stand, 0) + " % planned.");
        f.stand = *record.stand_pct / 100.0;
    }

    if (record.frost_damage_pct && record.date > in.hard_frost) {
        if (*record.frost_damage_pct >= 90.0 && !f.ending.by_winter) {
            f.ending = {Winterkill::killed, 1.0, record.date, true};
            revised.notes.push_back("Found dead after winter; it was expected to live.");
        } else if (*record.frost_damage_pct < 50.0 && f.ending.by_winter) {
            f.ending = {Winterkill::survives, 0.0, in.terminate, false};
            revised.notes.push_back(
                "Found alive after winter; it was expected to die. It has to be ended, and its "
                "growth "
                "in spring is not in the forecast.");
        }
        f.cautions &= ~bit(Caution::winter_uncertain);
    }

    const double typical = f.end_kg_ha.typical * ratio;
    const double old_mass = std::max(forecast.end_kg_ha.typical, 1e-9);
    f.end_kg_ha = {typical * (1.0 - half_width), typical, typical * (1.0 + half_width)};
    f.cover_at_end = scaled_cover(f.cover_at_end, ratio);
    f.root_kg_ha *= typical / old_mass;
    const int first = half_month_of(in.sow);
    const int visited =
        static_cast<int>(visit) < first ? static_cast<int>(visit) + 24 : static_cast<int>(visit);
    for (int k = visited; k < first + 24; ++k) {
        const auto slot = static_cast<std::size_t>(k % 24);
        scale(f.live_kg_ha, slot, ratio);
        scale(f.dead_kg_ha, slot, ratio);
        scale(f.root_half_kg_ha, slot, ratio);
        scale(f.height_m, slot, std::min(ratio, 1.2));
        f.canopy_cover[slot] = scaled_cover(f.canopy_cover[slot], ratio);
        f.residue_cover[slot] = scaled_cover(f.residue_cover[slot], ratio);
        f.ground_cover[slot] = 1.0 - (1.0 - f.canopy_cover[slot]) * (1.0 - f.residue_cover[slot]);
    }

    if (record.n_pct) {
        revised.notes.push_back("Laboratory nitrogen " + fixed(*record.n_pct, 2) + " %, " +
                                fixed(forecast.n_pct, 2) + " % forecast.");
        f.n_pct = *record.n_pct;
    }
    const Residue shoots = residue(typical, f.n_pct, c.carbon_share);
    const double fixed_part =
        forecast.n_uptake_kg_ha > 0.0 ? forecast.n_fixed_kg_ha / forecast.n_uptake_kg_ha : 0.0;
    f.n_uptake_kg_ha = shoots.n_kg_ha;
    f.n_fixed_kg_ha = fixed_part * shoots.n_kg_ha;
    f.n_soil_kg_ha = shoots.n_kg_ha - f.n_fixed_kg_ha;
    f.n_root_kg_ha = f.n_uptake_kg_ha * c.root_n_share / (1.0 - c.root_n_share);
    f.cn_ratio = cn_ratio(shoots).value_or(0.0);
    const bool legume = cover.has(Group::legume) && fixed_part > 0.25;
    f.release =
        net_release(shoots, f.ending.by_winter, legume,
                    season.warm_days(f.ending.date, in.next_planting, c.release_reference_c), c);
    f.carbon = carbon_balance(typical, f.root_kg_ha, site.removed_kg_ha, c);
    f.catches_until = f.ending.date;

    const auto set = [&](Caution caution, bool on) {
        f.cautions = on ? f.cautions | bit(caution) : f.cautions & ~bit(caution);
    };
    set(Caution::tie_up, f.release.range_kg_ha.typical < -1.0);
    set(Caution::high_carbon, f.cn_ratio > 30.0);
    set(Caution::weak_evidence_credit, f.ending.by_winter && f.release.range_kg_ha.typical > 0.0);
    set(Caution::carbon_loss, f.carbon.balance_kg_ha < 0.0);
    return revised;
}

}  // namespace catchfield::cover
