// SPDX-License-Identifier: MIT
// catchfield fit: response curves from trial data.
#include "base/error.hpp"
#include "base/text.hpp"
#include "cli/commands.hpp"
#include "plan/fit.hpp"

namespace catchfield::cli {

namespace {

class FitCommand final : public Command {
  public:
    std::string_view name() const override { return "fit"; }
    std::string_view summary() const override {
        return "fits nitrogen response curves to trial data, with the economic optimum";
    }
    std::string_view description() const override {
        return "Fits flat, linear-plateau, quadratic and quadratic-plateau curves to every site "
               "and\n"
               "zone of a trial table, compares them by AICc, and gives the economic optimum at "
               "the\n"
               "prices with its interval. Never beyond the rates that were tested. The file "
               "written\n"
               "with --output serves nitrogen.response in a job.";
    }
    PositionalSpec positional() const override {
        return {"TRIAL", "One plot a row: CSV, columns set apart by blanks, or a map layer.", 1, 1};
    }
    std::vector<OptionSpec> options() const override {
        return {
            {"rate-unit", '\0', "kg/ha|lb/ac", "", "Unit of the rates; never guessed."},
            {"yield-unit", '\0', "bu/ac|Mg/ha|kg/ha|lb/ac", "", "Unit of the yields; never guessed."},
            {"price-n", '\0', "PRICE", "", "Price of nitrogen with its unit: \"0.45 /lb\"."},
            {"price-crop", '\0', "PRICE", "", "Price of the crop with its unit: \"4.30 /bu\"."},
            {"crop", '\0', "CROP", "corn", "The trial's crop, for bushel weights."},
            {"rate", '\0', "COLUMN", "", "Column with the rates; usual names are found."},
            {"yield", '\0', "COLUMN", "", "Column with the yields; usual names are found."},
            {"zone", '\0', "COLUMN", "", "Column with the zone; one curve for each."},
            {"site", '\0', "COLUMN", "", "Column with the site; one curve for each."},
            {"zones", '\0', "PLAN|FILE", "",
             "Plan folder or polygons: the zone each plot lies in, by its place."},
            {"block", '\0', "COLUMN", "", "Column with the block; it shifts the curve."},
            {"year", '\0', "COLUMN", "", "Column with the year; it shifts the curve."},
            {"only", '\0', "COLUMN=VALUE", "", "Use only rows with this value: site=S5."},
            {"form", '\0', "flat|linear-plateau|quadratic|quadratic-plateau", "", "Take this curve instead of the best by AICc."},
            {"level", '\0', "SHARE", "0.95", "Level of the interval, 0.5 to 0.999."},
            {"off-by", '\0', "RATE", "20", "For the cost of being off, in the rates' unit."},
            {"output", 'o', "FILE", "", "Write the curves for use in a job (JSON)."},
            {"page", '\0', "FILE", "", "Write a page with plots (HTML)."},
            {"overwrite", '\0', "", "", "Replace files that exist."}};
    }
    void setup(const ParsedOptions& options) override {
        m_request.trial = options.positional.front();
        m_request.rate_column = options.text("rate");
        m_request.yield_column = options.text("yield");
        m_request.zone_column = options.text("zone");
        m_request.zones = options.text("zones");
        if (!m_request.zones.empty() && !m_request.zone_column.empty()) {
            throw Error(ErrorKind::usage, "--zone and --zones are both given",
                        {.hint = "Zones come from a column or from a map."});
        }
        m_request.block_column = options.text("block");
        m_request.year_column = options.text("year");
        m_request.site_column = options.text("site");
        m_request.rate_unit = options.text("rate-unit");
        m_request.yield_unit = options.text("yield-unit");
        m_request.crop = options.text("crop", "corn");
        m_request.price_n = options.text("price-n");
        m_request.price_crop = options.text("price-crop");
        m_request.only = plan::split_named(options.text("only"));
        m_request.form = options.text("form");
        m_request.level = number(options, "level", 0.95, 0.5, 0.999);
        m_request.off_by = number(options, "off-by", 20.0, 0.1, 200.0);
        m_request.output = options.text("output");
        m_request.page = options.text("page");
        m_request.overwrite = options.flag("overwrite");
    }
    int run(Console& console) override {
        const plan::TrialFit fit = plan::fit_trial(m_request);
        plan::write_fit(fit);
        console.print(console.json ? plan::fit_json(fit) : plan::fit_text(fit));
        return all_done;
    }

  private:
    static double number(const ParsedOptions& options, const std::string& name, double fallback,
                         double low, double high) {
        const std::string text = options.text(name);
        if (text.empty()) return fallback;
        const auto value = parse_number(text);
        if (!value || *value < low || *value > high) {
            throw Error(ErrorKind::usage, "--" + name + " " + text + ": not a number from " +
                                              shortest(low) + " to " + shortest(high));
        }
        return *value;
    }

    plan::FitRequest m_request;
};

}  // namespace

std::unique_ptr<Command> fit_command() {
    return std::make_unique<FitCommand>();
}

}  // namespace catchfield::cli
