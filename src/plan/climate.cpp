// SPDX-License-Identifier: MIT
#include "plan/climate.hpp"

#include "base/error.hpp"
#include "base/text.hpp"
#include "gis/files.hpp"
#include "plan/rain_record.hpp"
#include "weather/erosivity.hpp"
#include "weather/frost.hpp"
#include "weather/places.hpp"

#include <algorithm>
#include <filesystem>

namespace catchfield::plan {

namespace {

Table read_table(const std::string& path) {
    return Table::parse(gis::read_file(path, 256u << 20), path);
}

/// Without its folder: the record of a run does not depend on where the job file lies.
std::string file_name(const std::string& path) {
    return std::filesystem::path(path).filename().string();
}

/// Year in which the cold season of this harvest begins.
int cold_season_year(Date harvest) {
    return year_of(harvest);
}

void set_erosivity(Climate& climate, const weather::Erosivity& estimate) {
    climate.year.r_si = estimate.r_si;
    climate.r_low_si = estimate.low_si;
    climate.r_high_si = estimate.high_si;
    climate.erosivity_source = estimate.method;
    climate.confidence = weakest(climate.confidence, estimate.confidence);
    climate.warnings.insert(climate.warnings.end(), estimate.warnings.begin(),
                            estimate.warnings.end());
}

/// Shares as the user gives them, else those of the rain record, else by the months' rain.
void load_shares(const Job& job, const weather::Monthly& monthly,
                 const std::optional<weather::ErosivityShares>& of_record, Climate& climate) {
    weather::ErosivityShares shares;
    const std::string& given = job.weather.erosivity_shares;
    if (given.empty()) {
        shares = of_record ? *of_record : weather::shares_from_monthly(monthly);
    } else if (given.find(',') != std::string::npos) {
        std::vector<double> values;
        for (const std::string& part : split_list(given)) {
            const auto value = parse_number(part);
            if (!value) {
                throw Error(ErrorKind::usage,
                            "weather.erosivity-shares: '" + part + "' is not a number");
            }
            values.push_back(*value);
        }
        shares = weather::shares_from_values(values);
    } else {
        shares = weather::shares_from_table(read_table(given));
    }
    climate.year.ei_share = shares.share;
    climate.shares_source = shares.method;
    climate.warnings.insert(climate.warnings.end(), shares.warnings.begin(), shares.warnings.end());
}

void resolve_dates(const Job& job, const weather::Monthly& monthly,
                   const std::optional<weather::Daily>& daily, SeasonDates& dates,
                   Climate& climate) {
    const auto& season = job.season;
    dates.harvest = *season.harvest;
    dates.next_planting = *season.next_planting;
    if (season.sow) {
        dates.sow = *season.sow;
    } else {
        dates.sow = dates.harvest + std::chrono::days(14);
        dates.notes.push_back("season.sow is not given: 14 days after the harvest, " +
                              iso_date(dates.sow) + ".");
    }
    if (season.hard_frost) {
        dates.hard_frost = *season.hard_frost;
    } else {
        weather::ThresholdDates frost;
        if (daily) {
            frost = weather::autumn_threshold(*daily);
        } else {
            frost = weather::autumn_threshold(monthly);
            climate.confidence = weakest(climate.confidence, frost.confidence);
        }
        climate.warnings.insert(climate.warnings.end(), frost.warnings.begin(),
                                frost.warnings.end());
        if (!frost.median_day) {
            throw Error(ErrorKind::usage,
                        "season.hard-frost is not given, and this weather seldom has one",
                        {.hint = "Give the date after which tender crops are dead."});
        }
        dates.hard_frost =
            weather::ThresholdDates::on(cold_season_year(dates.harvest), *frost.median_day);
        dates.notes.push_back("season.hard-frost is not given: median from the weather, " +
                              iso_date(dates.hard_frost) + ".");
    }
    if (season.terminate) {
        dates.terminate = *season.terminate;
    } else {
        dates.terminate = dates.next_planting - std::chrono::days(14);
        dates.notes.push_back("season.terminate is not given: 14 days before the next planting, " +
                              iso_date(dates.terminate) + ".");
    }
}

}  // namespace

Climate load_climate(const Job& job, Point centre, SeasonDates& dates) {
    Climate climate;
    std::optional<weather::Daily> daily;
    weather::Monthly monthly;
    std::optional<weather::NearPlace> place;

    if (!job.weather.daily.empty()) {
        daily = weather::parse_daily(read_table(job.weather.daily));
        monthly = weather::monthly_normals(*daily);
        climate.temperature_source = file_name(job.weather.daily);
    }
    if (!job.weather.monthly.empty()) {
        monthly = weather::parse_monthly(read_table(job.weather.monthly));
        if (!daily) climate.temperature_source = file_name(job.weather.monthly);
    } else if (!daily) {
        place = weather::nearest_place(centre.y, centre.x);
        monthly = place->place.monthly;
        climate.temperature_source = "built-in readings near " + place->place.name;
        climate.warnings.insert(climate.warnings.end(), place->warnings.begin(),
                                place->warnings.end());
    }
    climate.confidence = weakest(climate.confidence, monthly.confidence);
    climate.mean_year = daily ? weather::mean_year(*daily) : weather::mean_year(monthly);
    climate.annual_precip_mm = weather::annual_precip_mm(monthly);
    climate.winter_precip_mm = weather::winter_precip_mm(monthly);

    std::optional<weather::ErosivityShares> record_shares;
    if (job.weather.erosivity_si) {
        climate.year.r_si = *job.weather.erosivity_si;
        climate.r_low_si = climate.r_high_si = climate.year.r_si;
        climate.erosivity_source = "given";
    } else if (!job.weather.rain.empty()) {
        RainErosivity record = erosivity_from_record(read_table(job.weather.rain));
        set_erosivity(climate, record.erosivity);
        record_shares = std::move(record.shares);
    } else if (place) {
        climate.year.r_si = place->place.r_si;
        climate.r_low_si = climate.r_high_si = climate.year.r_si;
        climate.erosivity_source = "built-in reading near " + place->place.name;
    } else {
        set_erosivity(climate, weather::erosivity_from_monthly(monthly));
    }
    load_shares(job, monthly, record_shares, climate);
    const weather::HalfMonthClimate halves = weather::half_months(climate.mean_year);
    climate.year.precip_mm = halves.precip_mm;
    climate.year.tmean_c = halves.tmean_c;
    climate.year.confidence = climate.confidence;

    resolve_dates(job, monthly, daily, dates, climate);
    const Date from = std::min(dates.harvest, dates.sow);
    const Date to = dates.next_planting + std::chrono::days(30);
    if (daily && daily->covers(from, to)) {
        climate.season_days = *daily;
        climate.season_from_normals = false;
    } else {
        climate.season_days = weather::on_dates(climate.mean_year, from, to);
    }

    if (job.weather.winter_low_c) {
        climate.winter_minimum_c = {*job.weather.winter_low_c};
    } else if (daily) {
        for (const weather::ColdSeason& winter : weather::autumn_threshold(*daily).seasons) {
            if (winter.whole) climate.winter_minimum_c.push_back(winter.lowest_c);
        }
    }
    return climate;
}

}  // namespace catchfield::plan
