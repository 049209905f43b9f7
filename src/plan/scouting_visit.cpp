// SPDX-License-Identifier: MIT
#include "plan/scouting_visit.hpp"

#include "base/error.hpp"
#include "base/text.hpp"
#include "gis/files.hpp"
#include "plan/zone_steps.hpp"

#include <algorithm>

namespace catchfield::plan {

namespace {

/// The user's table with lon and lat under the names that the cover room reads.
Table with_xy(const Table& table) {
    std::vector<std::string> header;
    for (const std::string& column : table.columns()) {
        header.push_back(column == "lon" ? "x" : column == "lat" ? "y" : column);
    }
    std::string text = csv_row(header);
    for (std::size_t row = 0; row < table.rows(); ++row) {
        std::vector<std::string> cells;
        for (std::size_t c = 0; c < header.size(); ++c) cells.push_back(table.text(row, c));
        text += csv_row(cells);
    }
    return Table::parse(text, table.name());
}

/// Candidate of that id, or nothing.
std::optional<std::size_t> candidate_of(const Inputs& inputs, const std::string& id) {
    const auto& candidates = inputs.covers->candidates();
    for (std::size_t i = 0; i < candidates.size(); ++i) {
        if (candidates[i].cover.id == id) return i;
    }
    return std::nullopt;
}

}  // namespace

std::vector<ScoutRecord> read_scouting(const Job& job, const cover::Catalogue& catalogue,
                                       std::size_t fields) {
    std::vector<ScoutRecord> records;
    if (job.cover.scouting.empty()) return records;
    const Table given =
        Table::parse(gis::read_file(job.cover.scouting, 64u << 20), job.cover.scouting);
    const bool named = given.has("field");
    const std::vector<cover::Scouting> read = cover::parse_scouting(with_xy(given), catalogue);
    for (std::size_t i = 0; i < read.size(); ++i) {
        ScoutRecord record{read[i], named ? given.text(i, "field") : std::string()};
        const bool by_zone = !record.record.x || !record.record.y;
        if (by_zone && record.field.empty() && fields > 1) {
            given.fail(i, named ? "field" : "zone",
                       "a zone number alone does not say which of several fields is meant",
                       "Add a column 'field', or lon and lat.");
        }
        records.push_back(std::move(record));
    }
    return records;
}

void apply_scouting(const Inputs& inputs, FieldResult& result, ZoneResult& zone,
                    const std::function<int(const Point&)>& zone_at) {
    std::vector<cover::Scouting> here;
    for (const ScoutRecord& record : inputs.scouting) {
        if (!record.field.empty() && record.field != result.id) continue;
        if (record.record.x && record.record.y) {
            const Point place = gis::transformer(gis::Crs::wgs84(), result.crs)
                                    .apply(Point{*record.record.x, *record.record.y});
            if (zone_at(place) == zone.zone) here.push_back(record.record);
        } else if (record.record.zone == std::to_string(zone.zone)) {
            here.push_back(record.record);
        }
    }
    if (here.empty()) return;
    const cover::Scouting found = cover::mean_record(here);
    if (!found.cover_id.empty()) {
        const auto grown = candidate_of(inputs, found.cover_id);
        if (!grown) {
            result.warnings.push_back("zone " + std::to_string(zone.zone) + ": " + found.cover_id +
                                      " was found, but it is not among cover.candidates; the visit "
                                      "is left out.");
            return;
        }
        if (zone.chosen) zone.options[*zone.chosen].taken = false;
        zone.chosen = grown;
        zone.options[*grown].taken = true;
    }
    if (!zone.chosen) {
        result.warnings.push_back(
            "zone " + std::to_string(zone.zone) +
            ": a visit is recorded, but no cover is planned and none is named.");
        return;
    }
    CoverOption& option = zone.options[*zone.chosen];
    const CandidateInfo& info = inputs.covers->candidates()[option.candidate];
    cover::Revised revised =
        cover::revise(info.cover, option.with->forecast, found, inputs.covers->season(), zone.site,
                      inputs.job.output.units);
    zone.visit_notes = revised.notes;
    zone.visit_notes.insert(zone.visit_notes.begin(), std::to_string(here.size()) + " record(s), " +
                                                          iso_date(found.date) + ".");
    option.with = inputs.covers->revised_case(option.candidate, std::move(revised.forecast));
    option.erosion_cut =
        inputs.covers->c_now() > 0.0 ? 1.0 - option.with->c / inputs.covers->c_now() : 0.0;
    option.soil_loss_mg_ha = zone.loss_bare_mg_ha.value_or(0.0) * option.with->c * zone.practice.p;
    set_credit(inputs, zone, option, revised.height_cm, revised.stand_pct);
}

}  // namespace catchfield::plan
