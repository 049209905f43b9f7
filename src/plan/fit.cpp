// SPDX-License-Identifier: MIT
#include "plan/fit.hpp"

#include "base/error.hpp"
#include "base/table.hpp"
#include "base/text.hpp"
#include "base/units.hpp"
#include "gis/files.hpp"
#include "nitrogen/crops.hpp"
#include "plan/trial_places.hpp"
#include "plan/yields.hpp"

#include <algorithm>
#include <map>
#include <tuple>

namespace catchfield::plan {

namespace {

std::vector<std::string> blank_separated(const std::string& line) {
    std::vector<std::string> cells;
    std::string cell;
    bool quoted = false, any = false;
    for (const char c : line) {
        if (c == '"') {
            quoted = !quoted;
            any = true;
        } else if (!quoted && (c == ' ' || c == '\t' || c == '\r')) {
            if (any || !cell.empty()) cells.push_back(cell);
            cell.clear();
            any = false;
        } else {
            cell += c;
        }
    }
    if (any || !cell.empty()) cells.push_back(cell);
    return cells;
}

/// Finds a column: the one that was named, else the only one with a usual name.
std::string find_column(const Table& table, const std::string& named, const std::string& what,
                        const std::vector<std::string>& usual, bool needed) {
    const std::string option = "--" + what;
    if (!named.empty()) {
        if (!table.has(named)) {
            const std::string near = nearest_name(named, table.columns());
            throw Error(
                ErrorKind::usage, option + " " + named + ": there is no such column",
                {.path = table.name(), .hint = near.empty() ? "" : "Did you mean '" + near + "'?"});
        }
        return named;
    }
    std::vector<std::string> found;
    for (const std::string& column : table.columns()) {
        if (std::find(usual.begin(), usual.end(), lower_case(column)) != usual.end()) {
            found.push_back(column);
        }
    }
    if (found.size() == 1) return found.front();
    if (found.empty() && !needed) return {};
    std::string list;
    for (const std::string& column : found.empty() ? table.columns() : found) {
        list += (list.empty() ? "" : ", ") + column;
    }
    throw Error(ErrorKind::usage,
                found.empty() ? "no column looks like the " + what + " (columns: " + list + ")"
                              : "several columns could be the " + what + ": " + list,
                {.path = table.name(), .hint = "Name it: " + option + " COLUMN."});
}

double rate_unit_kg_ha(const std::string& unit) {
    if (unit.empty()) {
        throw Error(ErrorKind::usage, "--rate-unit is missing",
                    {.hint = "Say whether the rates are in kg/ha or lb/ac."});
    }
    if (same_ignoring_case(unit, "kg/ha")) return 1.0;
    if (same_ignoring_case(unit, "lb/ac")) return units::kg_ha_per_lb_ac;
    throw Error(ErrorKind::usage, "--rate-unit " + unit + ": not one of: kg/ha, lb/ac");
}

double yield_unit_kg_ha(const std::string& unit, const std::string& crop) {
    if (unit.empty()) {
        throw Error(ErrorKind::usage, "--yield-unit is missing",
                    {.hint = "Say whether the yields are in bu/ac, Mg/ha, kg/ha or lb/ac."});
    }
    return parse_yield_kg_ha("1 " + unit, "--yield-unit", crop);
}

double price_n_per_kg(const std::string& text) {
    const double price = parse_quantity(
        text, "--price-n",
        {{"/kg", 1.0}, {"/lb", 1.0 / units::kg_per_lb}, {"/Mg", 0.001}, {"/t", 0.001}});
    if (!(price > 0.0)) {
        throw Error(ErrorKind::usage, "--price-n " + text + ": a price must be above zero");
    }
    return price;
}

std::optional<nitrogen::Prices> prices_of(const FitRequest& request) {
    if (request.price_n.empty() && request.price_crop.empty()) return std::nullopt;
    if (request.price_n.empty() || request.price_crop.empty()) {
        throw Error(
            ErrorKind::usage,
            std::string(request.price_n.empty() ? "--price-n" : "--price-crop") + " is missing",
            {.hint = "The optimum needs both prices: --price-n \"0.45 /lb\" --price-crop "
                     "\"4.30 /bu\"."});
    }
    return nitrogen::Prices{price_n_per_kg(request.price_n),
                            parse_crop_price_per_kg(request.price_crop, request.crop)};
}

bool missing_cell(const std::string& cell) {
    return cell.empty() || same_ignoring_case(cell, "NA") || cell == ".";
}

void read_groups(const TrialTable& trial, TrialFit& fit) {
    const Table& table = trial.table;
    const FitRequest& request = fit.request;
    const double rate_unit = rate_unit_kg_ha(request.rate_unit);
    const double yield_unit = yield_unit_kg_ha(request.yield_unit, request.crop);
    const std::string rate = find_column(table, request.rate_column, "rate",
                                         {"rate", "n_rate", "nrate", "nitro", "nitrogen", "n",
                                          "n_kg_ha", "n_lb_ac", "rate_kg_ha", "rate_lb_ac"},
                                         true);
    const std::string yield = find_column(
        table, request.yield_column, "yield",
        {"yield", "grain", "grain_yield", "yield_kg_ha", "yield_mg_ha", "yield_bu_ac", "yld"},
        true);
    const std::string zone = request.zones.empty()
                                 ? find_column(table, request.zone_column, "zone", {"zone"}, false)
                                 : std::string();
    const std::string block = find_column(table, request.block_column, "block",
                                          {"block", "rep", "replicate", "replication"}, false);
    const std::string year = find_column(table, request.year_column, "year", {"year"}, false);
    const std::string site =
        find_column(table, request.site_column, "site", {"site", "trial", "environment"}, false);
    for (const auto& [what, column] :
         {std::pair("rate", rate), std::pair("yield", yield), std::pair("zone", zone),
          std::pair("block", block), std::pair("year", year), std::pair("site", site)}) {
        if (!column.empty()) fit.columns.push_back(std::string(what) + ": " + column);
    }
    for (const auto& [column, value] : request.only) {
        if (!table.has(column)) {
            throw Error(ErrorKind::usage, "--only " + column + ": there is no such column",
                        {.path = table.name()});
        }
    }

    std::map<std::pair<std::string, std::string>, std::size_t> places;
    std::map<std::tuple<std::size_t, std::string, std::string>, int> blocks;
    const std::vector<PlotZone> placed =
        request.zones.empty() ? std::vector<PlotZone>() : zones_of_plots(trial, request.zones);
    if (!placed.empty()) fit.columns.push_back("zone: by place, " + request.zones);
    std::size_t gaps = 0, outside = 0;
    for (std::size_t row = 0; row < table.rows(); ++row) {
        const bool wanted = std::all_of(
            request.only.begin(), request.only.end(),
            [&](const auto& only) { return table.text(row, only.first) == only.second; });
        if (!wanted) continue;
        if (missing_cell(table.text(row, rate)) || missing_cell(table.text(row, yield))) {
            ++gaps;
            continue;
        }
        const auto cell = [&](const std::string& column) {
            return column.empty() ? std::string() : table.text(row, column);
        };
        const std::string in_zone = placed.empty() ? cell(zone) : placed[row].zone;
        const std::string in_site =
            site.empty() && !placed.empty() ? placed[row].field : cell(site);
        if (!placed.empty() && in_zone.empty()) {
            ++outside;
            continue;
        }
        const auto [place, fresh] = places.emplace(std::pair(in_site, in_zone), fit.groups.size());
        if (fresh) {
            fit.groups.push_back({});
            fit.groups.back().site = in_site;
            fit.groups.back().zone = in_zone;
        }
        nitrogen::TrialPlot plot;
        plot.n_kg_ha = table.required_number(row, rate) * rate_unit;
        plot.yield_kg_ha = table.required_number(row, yield) * yield_unit;
        if (plot.n_kg_ha < 0.0) table.fail(row, rate, "a rate below zero");
        if (plot.yield_kg_ha < 0.0) table.fail(row, yield, "a yield below zero");
        plot.block = blocks
                         .emplace(std::tuple(place->second, cell(block), cell(year)),
                                  static_cast<int>(blocks.size()))
                         .first->second;
        fit.groups[place->second].plots.push_back(plot);
    }
    if (gaps > 0) {
        fit.warnings.push_back(std::to_string(gaps) +
                               " rows without a rate or a yield are left out.");
    }
    if (outside > 0) {
        fit.warnings.push_back(std::to_string(outside) + " plots lie in no zone and are left out.");
    }
    if (fit.groups.empty()) {
        throw Error(ErrorKind::data, "no row has a rate and a yield",
                    {.path = table.name(),
                     .hint = request.only.empty() ? "" : "Check --only: no row may be left."});
    }
}

void fit_group(const TrialFit& all, TrialGroup& group) {
    const FitRequest& request = all.request;
    try {
        group.fits = nitrogen::fit_all(group.plots);
    } catch (const Error& error) {
        throw Error(error.kind(), error.reason(),
                    {.path = request.trial, .feature = group.name(), .hint = error.context().hint});
    }
    if (request.form.empty()) {
        const nitrogen::Fit* best = nitrogen::preferred(group.fits);
        if (best != nullptr) group.taken = static_cast<std::size_t>(best - group.fits.data());
        return;
    }
    const auto found =
        std::find_if(group.fits.begin(), group.fits.end(), [&](const nitrogen::Fit& one) {
            return nitrogen::curve_form_name(one.curve.form) == request.form;
        });
    if (found == group.fits.end()) {
        throw Error(ErrorKind::data, "form " + request.form + " cannot be fitted to these plots",
                    {.path = request.trial,
                     .feature = group.name(),
                     .hint = "A plateau needs four different rates, a quadratic three."});
    }
    group.taken = static_cast<std::size_t>(found - group.fits.begin());
}

void check_form(const std::string& form) {
    const std::vector<std::string> known = {"flat", "linear-plateau", "quadratic",
                                            "quadratic-plateau"};
    if (form.empty() || std::find(known.begin(), known.end(), form) != known.end()) return;
    const std::string near = nearest_name(form, known);
    throw Error(
        ErrorKind::usage,
        "--form " + form + ": not one of: flat, linear-plateau, quadratic, quadratic-plateau",
        {.hint = near.empty() ? "" : "Did you mean '" + near + "'?"});
}

}  // namespace

std::string comma_separated(const std::string& text) {
    const std::string header = text.substr(0, text.find('\n'));
    if (header.find_first_of(",;\t") != std::string::npos) return text;
    std::string table;
    std::size_t names = 0;
    bool row_names = false, first = true;
    std::vector<std::vector<std::string>> rows;
    for (const std::string& line : split(text, '\n')) {
        std::vector<std::string> cells = blank_separated(line);
        if (cells.empty()) continue;
        if (first) {
            names = cells.size();
        } else if (cells.size() == names + 1) {
            row_names = true;
        }
        first = false;
        rows.push_back(std::move(cells));
    }
    for (std::size_t i = 0; i < rows.size(); ++i) {
        if (row_names && i == 0) rows[i].insert(rows[i].begin(), "row");
        table += csv_row(rows[i]);
    }
    return table;
}

std::string TrialGroup::name() const {
    if (site.empty() && zone.empty()) return "whole trial";
    if (zone.empty()) return "site " + site;
    return site.empty() ? "zone " + zone : "site " + site + ", zone " + zone;
}

TrialFit fit_trial(const FitRequest& request) {
    check_form(request.form);
    nitrogen::crop(request.crop);
    TrialFit fit;
    fit.request = request;
    fit.responses.prices = prices_of(request);
    const double off_by = request.off_by * rate_unit_kg_ha(request.rate_unit);
    yield_unit_kg_ha(request.yield_unit, request.crop);
    const TrialTable trial = read_trial(request.trial);
    read_groups(trial, fit);
    fit.responses.crop = request.crop;
    fit.responses.trial = std::filesystem::path(request.trial).filename().string();
    for (TrialGroup& group : fit.groups) {
        fit_group(fit, group);
        const nitrogen::Fit& taken = group.fit();
        const bool flat = taken.curve.form == nitrogen::CurveForm::flat;
        if (!taken.usable && !flat) {
            fit.warnings.push_back(group.name() + ": " + taken.reason +
                                   "; no optimum, and it is left out of the result file.");
            continue;
        }
        fit.responses.curves.push_back({group.site, group.zone, taken});
        if (!fit.responses.prices) continue;
        group.optimum = nitrogen::economic_optimum(
            taken, nitrogen::price_ratio(*fit.responses.prices), request.level, off_by);
    }
    return fit;
}

void write_fit(const TrialFit& fit) {
    const FitRequest& request = fit.request;
    for (const std::string& path : {request.output, request.page}) {
        if (path.empty() || request.overwrite || !std::filesystem::exists(path)) continue;
        throw Error(ErrorKind::usage, "the file exists already",
                    {.path = path, .hint = "Use --overwrite to replace it."});
    }
    if (!request.output.empty()) {
        if (fit.responses.curves.empty()) {
            throw Error(ErrorKind::data, "no curve has an optimum, there is nothing to write",
                        {.path = request.trial});
        }
        gis::write_file_atomically(request.output, responses_json(fit.responses));
    }
    if (!request.page.empty()) gis::write_file_atomically(request.page, fit_page(fit));
}

}  // namespace catchfield::plan
