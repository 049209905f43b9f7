// SPDX-License-Identifier: MIT
// Response curves from trial data: the use case behind `catchfield fit`.
#pragma once

#include "plan/response_rates.hpp"

#include <filesystem>
#include <optional>
#include <string>
#include <utility>
#include <vector>

namespace catchfield::plan {

/// What to fit, and how to read the trial. Column names: empty where they are to be found by their
/// usual names.
struct FitRequest {
    std::string trial;  ///< table or map layer
    std::string zones;  ///< plan folder or polygon layer that says each plot's zone; "" for none
    std::string rate_column, yield_column, zone_column, block_column, year_column, site_column;
    std::string rate_unit;   ///< "kg/ha" or "lb/ac"
    std::string yield_unit;  ///< "kg/ha", "Mg/ha", "bu/ac" or "lb/ac"
    std::string crop = "corn";
    std::string price_n, price_crop;  ///< with units, both or none
    std::vector<std::pair<std::string, std::string>>
        only;              ///< column and value: other rows left out
    std::string form;      ///< "" for the best by AICc, or a curve's name
    double level = 0.95;   ///< of the interval
    double off_by = 20.0;  ///< in rate_unit
    std::string output;    ///< result JSON; "" for none
    std::string page;      ///< HTML page; "" for none
    bool overwrite = false;
};

/// Plots of one site and zone with their fits.
struct TrialGroup {
    std::string site, zone;
    std::vector<nitrogen::TrialPlot> plots;
    std::vector<nitrogen::Fit> fits;  ///< best AICc first
    std::size_t taken = 0;            ///< index of the curve in use
    std::optional<nitrogen::Optimum> optimum;

    std::string name() const;  ///< "site S1, zone low", or "whole trial"
    const nitrogen::Fit& fit() const { return fits[taken]; }
};

struct TrialFit {
    FitRequest request;
    std::vector<std::string> columns;  ///< "rate: nitro", ... as they were read
    std::vector<TrialGroup> groups;
    Responses responses;  ///< groups whose curve can be used
    std::vector<std::string> warnings;
};

/// Reads a trial table (CSV, or columns set apart by blanks, with or without row names) and fits
/// every group. Blocks and years shift the curve of their group. Throws Error(usage): a unit or a
/// price missing, unknown or not above zero, a column named that is not there, two columns that
/// could be the rate; Error(data): too few rates, negative yields, cells that are no numbers;
/// Error(input): file cannot be read.
TrialFit fit_trial(const FitRequest& request);

/// Text for the terminal, JSON for programs, and a page with plots.
std::string fit_text(const TrialFit& fit);
std::string fit_json(const TrialFit& fit);
std::string fit_page(const TrialFit& fit);

/// Writes request.output and request.page where they are named. Throws Error(usage) where a file
/// exists and overwrite is not set, Error(output).
void write_fit(const TrialFit& fit);

/// Cells set apart by blanks and tabs, double quotes around names, as CSV. Lines whose count is one
/// above the header's begin with a row name, which becomes column "row". Text that has a comma,
/// semicolon or tab in its header stays as it is.
std::string comma_separated(const std::string& text);

}  // namespace catchfield::plan
