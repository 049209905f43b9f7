// SPDX-License-Identifier: MIT
#include "plan/response_rates.hpp"

#include "base/error.hpp"
#include "base/text.hpp"
#include "gis/files.hpp"
#include "plan/yields.hpp"

#include <nlohmann/json.hpp>

#include <algorithm>
#include <array>
#include <cmath>
#include <set>

namespace catchfield::plan {

namespace {

using Json = nlohmann::ordered_json;
using nitrogen::CurveForm;

constexpr std::string_view file_kind = "catchfield nitrogen response";

constexpr std::array forms = {CurveForm::flat, CurveForm::linear_plateau, CurveForm::quadratic,
                              CurveForm::quadratic_plateau};

/// Reads the members of one object with messages that say where.
class Members {
  public:
    Members(const Json& object, std::string path, std::string where)
        : m_object(object), m_path(std::move(path)), m_where(std::move(where)) {}

    [[noreturn]] void fail(const std::string& reason) const {
        throw Error(ErrorKind::data, reason,
                    {.path = m_path,
                     .feature = m_where,
                     .hint = "Write the file with 'catchfield fit TRIAL.csv --output FILE'."});
    }
    double number(const char* name, double low, double high) const {
        if (!m_object.contains(name) || !m_object[name].is_number()) {
            fail("'" + std::string(name) + "' is missing or no number");
        }
        const double value = m_object[name].get<double>();
        if (!(value >= low && value <= high)) {
            fail("'" + std::string(name) + "' is " + shortest(value) + ", outside " +
                 shortest(low) + " to " + shortest(high));
        }
        return value;
    }
    std::string text(const char* name) const {
        if (!m_object.contains(name) || !m_object[name].is_string()) {
            fail("'" + std::string(name) + "' is missing or no text");
        }
        return m_object[name].get<std::string>();
    }

  private:
    const Json& m_object;
    std::string m_path, m_where;
};

ResponseCurve parse_curve(const Json& object, const std::string& path, std::size_t index) {
    const Members read(object, path, "curve " + std::to_string(index + 1));
    if (!object.is_object()) read.fail("not an object");
    ResponseCurve curve;
    curve.site = read.text("site");
    curve.zone = read.text("zone");
    const std::string form = read.text("form");
    const auto* const found = std::find_if(forms.begin(), forms.end(), [&](CurveForm one) {
        return nitrogen::curve_form_name(one) == form;
    });
    if (found == forms.end()) read.fail("unknown form '" + form + "'");
    nitrogen::Fit& fit = curve.fit;
    fit.curve.form = *found;
    fit.curve.a = read.number("a_kg_ha", -1e6, 1e6);
    fit.curve.b = read.number("b", -1e6, 1e6);
    fit.curve.c = read.number("c", -1e6, 1e6);
    fit.curve.join = read.number("join_kg_ha", 0.0, 1e4);
    fit.plots = static_cast<int>(read.number("plots", 1.0, 1e7));
    fit.blocks = static_cast<int>(read.number("blocks", 1.0, 1e6));
    fit.parameters = static_cast<int>(read.number("parameters", 1.0, 1e6));
    fit.rss = read.number("rss", 0.0, 1e18);
    fit.sigma_kg_ha = read.number("sigma_kg_ha", 0.0, 1e6);
    fit.r2 = read.number("r2", -1e6, 1.0);
    fit.aicc = read.number("aicc", -1e12, 1e12);
    fit.lowest_rate_kg_ha = read.number("lowest_rate_kg_ha", 0.0, 1000.0);
    fit.highest_rate_kg_ha = read.number("highest_rate_kg_ha", 0.0, 1000.0);
    fit.v11 = read.number("v11", -1e12, 1e12);
    fit.v12 = read.number("v12", -1e12, 1e12);
    fit.v22 = read.number("v22", -1e12, 1e12);
    if (fit.highest_rate_kg_ha <= fit.lowest_rate_kg_ha)
        read.fail("the tested rates are not in order");
    if (fit.plots <= fit.parameters) read.fail("no more plots than parameters");
    if (*found != CurveForm::flat && (fit.curve.b <= 0.0 || fit.curve.c > 0.0)) {
        read.fail("the curve does not rise and level off, it has no optimum");
    }
    fit.usable = true;
    return curve;
}

std::string zone_name_for(const Job& job, int zone) {
    for (const auto& [number, name] : job.nitrogen.response_zones) {
        if (number == std::to_string(zone)) return name;
    }
    return {};
}

std::string list_of(const std::set<std::string>& names) {
    std::string list;
    for (const std::string& name : names) list += (list.empty() ? "" : ", ") + name;
    return list;
}

std::string percent_text(double share) {
    return fixed(100.0 * share, 0) + " %";
}

BaseRate average_rate(const Responses& responses) {
    std::vector<nitrogen::Curve> curves;
    double most = 1e9;
    for (const ResponseCurve& one : responses.curves) {
        curves.push_back(one.fit.curve);
        most = std::min(most, one.fit.highest_rate_kg_ha);
    }
    const nitrogen::AverageResponse average =
        nitrogen::average_response(curves, *responses.prices, most);
    BaseRate base;
    base.n_kg_ha = average.n_kg_ha;
    base.low_kg_ha = average.low_kg_ha;
    base.high_kg_ha = average.high_kg_ha;
    base.source = "mean of " + std::to_string(average.sites) +
                  " response curves, profitable range (Sawyer et al. 2006); " + responses.trial;
    base.cautions = average.warnings;
    if (average.sites < 10) {
        base.confidence = Confidence::unchecked;
        base.cautions.push_back(
            "The average rests on " + std::to_string(average.sites) +
            " curves only; such averages are usually made of dozens of trials.");
    }
    return base;
}

}  // namespace

std::string responses_json(const Responses& responses) {
    Json json;
    json["kind"] = file_kind;
    json["version"] = 1;
    json["trial"] = responses.trial;
    json["crop"] = responses.crop;
    if (responses.prices) {
        json["prices"] = {{"n_per_kg", responses.prices->n_per_kg},
                          {"crop_per_kg", responses.prices->crop_per_kg}};
    }
    json["curves"] = Json::array();
    for (const ResponseCurve& one : responses.curves) {
        const nitrogen::Fit& fit = one.fit;
        json["curves"].push_back({{"site", one.site},
                                  {"zone", one.zone},
                                  {"form", nitrogen::curve_form_name(fit.curve.form)},
                                  {"a_kg_ha", fit.curve.a},
                                  {"b", fit.curve.b},
                                  {"c", fit.curve.c},
                                  {"join_kg_ha", fit.curve.join},
                                  {"lowest_rate_kg_ha", fit.lowest_rate_kg_ha},
                                  {"highest_rate_kg_ha", fit.highest_rate_kg_ha},
                                  {"plots", fit.plots},
                                  {"blocks", fit.blocks},
                                  {"parameters", fit.parameters},
                                  {"rss", fit.rss},
                                  {"sigma_kg_ha", fit.sigma_kg_ha},
                                  {"r2", fit.r2},
                                  {"aicc", fit.aicc},
                                  {"v11", fit.v11},
                                  {"v12", fit.v12},
                                  {"v22", fit.v22}});
    }
    return json.dump(2) + "\n";
}

Responses parse_responses(const std::string& text, const std::string& path) {
    const Json json = Json::parse(text, nullptr, false);
    if (json.is_discarded() || !json.is_object()) {
        throw Error(ErrorKind::input, "not a JSON object",
                    {.path = path,
                     .hint = "nitrogen.response takes the file that 'catchfield fit' "
                             "writes with --output."});
    }
    const Members read(json, path, "");
    if (read.text("kind") != file_kind) read.fail("'kind' is not '" + std::string(file_kind) + "'");
    read.number("version", 1.0, 1.0);
    Responses responses;
    responses.path = path;
    responses.trial = read.text("trial");
    responses.crop = read.text("crop");
    if (json.contains("prices")) {
        const Members prices(json["prices"], path, "prices");
        responses.prices = nitrogen::Prices{prices.number("n_per_kg", 1e-9, 1e9),
                                            prices.number("crop_per_kg", 1e-9, 1e9)};
    }
    if (!json.contains("curves") || !json["curves"].is_array() || json["curves"].empty()) {
        read.fail("there is no curve in it");
    }
    for (std::size_t i = 0; i < json["curves"].size(); ++i) {
        responses.curves.push_back(parse_curve(json["curves"][i], path, i));
    }
    return responses;
}

Responses load_responses(const Job& job) {
    const auto& settings = job.nitrogen;
    if (settings.response.empty()) {
        throw Error(ErrorKind::usage,
                    "nitrogen.response is not given, and method " + settings.method + " needs it",
                    {.hint = "Make the file with 'catchfield fit TRIAL.csv --output FILE'."});
    }
    Responses responses =
        parse_responses(gis::read_file(settings.response, std::size_t{1} << 26), settings.response);
    if (!same_ignoring_case(responses.crop, settings.crop)) {
        throw Error(ErrorKind::usage,
                    "the response was fitted for " + responses.crop + ", and nitrogen.crop is " +
                        settings.crop,
                    {.path = settings.response});
    }
    if (settings.price_n_per_kg && !settings.price_crop.empty()) {
        responses.prices = nitrogen::Prices{
            *settings.price_n_per_kg, parse_crop_price_per_kg(settings.price_crop, settings.crop)};
    } else if (settings.price_n_per_kg || !settings.price_crop.empty()) {
        throw Error(ErrorKind::usage,
                    "of nitrogen.price-n and nitrogen.price-crop only one is given",
                    {.hint = "Give both, or none to use the prices of the fit."});
    }
    if (!responses.prices) {
        throw Error(ErrorKind::usage, "no prices: neither the job nor the response file has them",
                    {.path = settings.response, .hint = "Give nitrogen.price-n and price-crop."});
    }
    std::set<std::string> sites, zones;
    for (const ResponseCurve& one : responses.curves) {
        sites.insert(one.site);
        zones.insert(one.zone);
    }
    if (settings.method == "average-response") {
        if (responses.curves.size() < 2) {
            throw Error(ErrorKind::usage, "average-response needs several trials, the file has one",
                        {.path = settings.response, .hint = "Use method = response."});
        }
        return responses;
    }
    if (sites.size() > 1) {
        throw Error(ErrorKind::usage, "the response file holds several sites: " + list_of(sites),
                    {.path = settings.response,
                     .hint = "Use method = average-response, or fit one: --only site=NAME."});
    }
    for (const auto& [number, name] : settings.response_zones) {
        if (!parse_integer(number) || !zones.contains(name)) {
            throw Error(ErrorKind::usage,
                        "nitrogen.response-zones: '" + number + "=" + name +
                            "' is not a zone number and one of: " + list_of(zones),
                        {.path = settings.response});
        }
    }
    if (zones.size() > 1 && settings.response_zones.empty()) {
        for (const std::string& name : zones) {
            if (parse_integer(name)) continue;
            throw Error(ErrorKind::usage,
                        "which zones of the field are the trial's zones " + list_of(zones) + "?",
                        {.path = settings.response,
                         .hint = "Say it: nitrogen.response-zones = 1=" + *zones.begin() +
                                 ",2=" + *zones.rbegin() + "."});
        }
    }
    return responses;
}

const ResponseCurve* curve_of_zone(const Responses& responses, const Job& job, int zone) {
    const std::string name =
        job.nitrogen.response_zones.empty() ? std::to_string(zone) : zone_name_for(job, zone);
    for (const ResponseCurve& one : responses.curves) {
        if (!one.zone.empty() && one.zone == name) return &one;
    }
    const bool whole = responses.curves.size() == 1 && job.nitrogen.response_zones.empty();
    return whole ? &responses.curves.front() : nullptr;
}

BaseRate base_rate(const Responses& responses, const Job& job, int zone) {
    if (job.nitrogen.method == "average-response") return average_rate(responses);
    const ResponseCurve* curve = curve_of_zone(responses, job, zone);
    if (curve == nullptr) {
        throw Error(ErrorKind::data, "no response curve stands for zone " + std::to_string(zone),
                    {.path = responses.path,
                     .hint = "Draw the field's zones as the trial's, or name one for each in "
                             "nitrogen.response-zones."});
    }
    constexpr double level = 0.95;
    const nitrogen::Fit& fit = curve->fit;
    const nitrogen::Optimum optimum =
        nitrogen::economic_optimum(fit, nitrogen::price_ratio(*responses.prices), level);
    BaseRate base;
    base.n_kg_ha = optimum.n_kg_ha;
    base.low_kg_ha = std::min(optimum.low_kg_ha.value_or(fit.lowest_rate_kg_ha), base.n_kg_ha);
    base.high_kg_ha = std::max(optimum.high_kg_ha.value_or(fit.highest_rate_kg_ha), base.n_kg_ha);
    base.source = std::string(nitrogen::curve_form_name(fit.curve.form)) + " fit, " +
                  std::to_string(fit.plots) + " plots" +
                  (curve->zone.empty() ? "" : ", trial zone " + curve->zone) + ", " +
                  percent_text(level) + " interval (" + std::string(optimum.interval_method) +
                  "); " + responses.trial;
    base.cautions = optimum.warnings;
    return base;
}

}  // namespace catchfield::plan
