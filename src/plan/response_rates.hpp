// SPDX-License-Identifier: MIT
// Fitted response curves as a file, and the rate they give a zone: what `catchfield fit` writes and
// methods response and average-response read.
#pragma once

#include "base/confidence.hpp"
#include "nitrogen/response.hpp"
#include "plan/job.hpp"

#include <optional>
#include <string>
#include <vector>

namespace catchfield::plan {

/// One fitted curve of a trial.
struct ResponseCurve {
    std::string site, zone;  ///< "" where the trial names none
    nitrogen::Fit fit;
};

/// All curves of a trial, and the prices they were reported with.
struct Responses {
    std::string path;   ///< file they came from; "" for none
    std::string crop;   ///< "corn"
    std::string trial;  ///< name of the trial's file
    std::vector<ResponseCurve> curves;
    std::optional<nitrogen::Prices> prices;
};

/// JSON text of the curves: kg/ha, shortest numbers that read back the same.
std::string responses_json(const Responses& responses);

/// Reads it back. Throws Error(data) naming what is missing or cannot be right (no curve, a value
/// that is no number, an unknown form, rates out of order); Error(input) for text that is no JSON.
Responses parse_responses(const std::string& text, const std::string& path);

/// Responses of nitrogen.response with the job's prices (the file's where the job has none),
/// checked against the method: response takes one site, and zones that nitrogen.response-zones (or
/// their numbers) tell apart; average-response two curves or more. Throws Error(usage).
Responses load_responses(const Job& job);

/// The rate for a zone before anything is taken off or put on.
struct BaseRate {
    double n_kg_ha = 0.0, low_kg_ha = 0.0, high_kg_ha = 0.0;
    std::string source;
    Confidence confidence = Confidence::verified;
    std::vector<std::string> cautions;
};

/// Economic optimum of the zone's curve with its 95 % interval (the tested range where the trial
/// does not bound it), or the average response with its profitable range, which is then the same in
/// every zone. Throws Error(data) where no curve stands for the zone.
BaseRate base_rate(const Responses& responses, const Job& job, int zone);

/// The curve that stands for a zone of the field with method response, or null.
const ResponseCurve* curve_of_zone(const Responses& responses, const Job& job, int zone);

}  // namespace catchfield::plan
