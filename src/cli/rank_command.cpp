// SPDX-License-Identifier: MIT
// catchfield rank: zones and fields in the order of their need for cover.
#include "base/error.hpp"
#include "base/text.hpp"
#include "cli/commands.hpp"
#include "plan/rank.hpp"

namespace catchfield::cli {

namespace {

class RankCommand final : public Command {
  public:
    std::string_view name() const override { return "rank"; }
    std::string_view summary() const override { return "orders zones over fields by their need"; }
    std::string_view description() const override {
        return "Reads plan folders and orders their fields and zones: by present soil loss over\n"
               "tolerance, by what the cover saves in a year, or by what it saves for the money\n"
               "spent on seed. Says what share of the area loses more than it tolerates.";
    }
    PositionalSpec positional() const override {
        return {"DIR...", "Plan folders that 'catchfield plan' has written.", 1, -1};
    }
    std::vector<OptionSpec> options() const override {
        return {
            {"by", '\0', "loss-over-t|saved|saved-per-cost", "loss-over-t", "What orders them."},
            {"seed-price", '\0', "PRICE", "",
             "Price of seed with its unit, for all covers or by cover: \"0.60 /lb\" or "
             "\"0.60 /lb,rye=0.35 /lb\"."},
            {"top", '\0', "N", "20", "How many rows of each list to print; 0 for all."},
            {"units", '\0', "us|metric", "as in the plan", "Units of the printed table."},
            {"output", 'o', "DIR", "",
             "Folder for zones.csv, fields.csv and ranking.gpkg (all rows, SI)."},
            {"overwrite", '\0', "", "", "Replace the folder if it exists."}};
    }
    void setup(const ParsedOptions& options) override {
        m_request.folders = options.positional;
        m_request.by = erosion::parse_rank_by(options.text("by", "loss-over-t"));
        m_request.prices = plan::parse_seed_prices(options.text("seed-price"));
        m_request.top = options.integer("top", 20, 0, 1'000'000);
        m_request.output = options.text("output");
        m_request.overwrite = options.flag("overwrite");
        const std::string units = options.text("units");
        if (units == "us") {
            m_request.units = UnitSystem::us;
        } else if (units == "metric") {
            m_request.units = UnitSystem::metric;
        } else if (!units.empty()) {
            throw Error(ErrorKind::usage, "--units " + units + ": neither us nor metric");
        }
        if (m_request.by == erosion::RankBy::saved_per_cost && m_request.prices.empty()) {
            throw Error(ErrorKind::usage, "--by saved-per-cost needs the price of seed",
                        {.hint = "Give it with its unit: --seed-price \"0.60 /lb\"."});
        }
    }
    int run(Console& console) override {
        const plan::RankSummary summary = plan::run_rank(m_request);
        console.print(console.json ? summary.json : summary.table);
        for (const std::string& note : summary.notes) console.say("note: " + note);
        return summary.complete ? all_done : partly;
    }

  private:
    plan::RankRequest m_request;
};

}  // namespace

std::unique_ptr<Command> rank_command() {
    return std::make_unique<RankCommand>();
}

}  // namespace catchfield::cli
