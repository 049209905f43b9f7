// SPDX-License-Identifier: MIT
// catchfield export: a plan as files that a machine loads, and what it did with them.
#include "base/error.hpp"
#include "base/text.hpp"
#include "base/units.hpp"
#include "cli/commands.hpp"
#include "plan/compare.hpp"
#include "plan/export.hpp"

#include <map>

namespace catchfield::cli {

namespace {

/// The value of a choice. Throws Error(usage) that lists them.
template <typename T>
T choice(const ParsedOptions& options, const std::string& name, const std::string& fallback,
         const std::map<std::string, T>& known) {
    const std::string text = options.text(name, fallback);
    const auto found = known.find(text);
    if (found != known.end()) return found->second;
    std::string list;
    std::vector<std::string> words;
    for (const auto& [word, value] : known) {
        list += (list.empty() ? "" : ", ") + word;
        words.push_back(word);
    }
    const std::string near = nearest_name(text, words);
    throw Error(ErrorKind::usage, "--" + name + " is '" + text + "'",
                {.hint = (near.empty() ? "" : "Did you mean '" + near + "'? ") + "Accepted: " +
                         list + "."});
}

double positive(const std::string& text, const std::string& name) {
    const auto value = parse_number(text);
    if (!value || *value < 0.0) {
        throw Error(ErrorKind::usage, "--" + name + " is '" + text + "'",
                    {.hint = "Give a number of zero or more."});
    }
    return *value;
}

class ExportCommand final : public Command {
  public:
    std::string_view name() const override { return "export"; }
    std::string_view summary() const override { return "writes a plan's rates for a machine"; }
    std::string_view description() const override {
        return "Reads a plan folder and writes its nitrogen and seed rates as GeoTIFF, GeoJSON,\n"
               "shapefile or ISO 11783-10 task data, with a hand-off sheet. With --compare it "
               "reads\n"
               "logged rates instead and says how they meet the prescription.";
    }
    PositionalSpec positional() const override {
        return {"DIR", "Folder that 'catchfield plan' wrote.", 1, 1};
    }
    std::vector<OptionSpec> options() const override {
        return {
            {"to", '\0', "geotiff|geojson|shapefile|taskdata", "", "Format of the files."},
            {"output", 'o', "DIR", "", "Folder for the files; it must not exist yet."},
            {"overwrite", '\0', "", "", "Replace the folder if it exists."},
            {"what", '\0', "nitrogen|seed|both", "nitrogen", "Which rates."},
            {"product", '\0', "PRODUCT", "the plan's",
             "nitrogen, urea, uan-28, uan-32, anhydrous-ammonia, ammonium-sulfate or an analysis "
             "0.27."},
            {"seed-product", '\0', "NAME", "", "Name of the seed on the display."},
            {"unit", '\0', "UNIT", "",
             "kg/ha, lb/ac, L/ha, gal/ac, kg N/ha, lb N/ac, seeds/m2 or seeds/ac; of nitrogen "
             "where "
             "both are written."},
            {"seed-unit", '\0', "UNIT", "", "Unit of the seed where both are written."},
            {"seed-weight", '\0', "GRAMS", "", "Weight of 1000 seeds, for rates in seeds."},
            {"field", '\0', "ID,...", "all", "Only these fields."},
            {"merged", '\0', "", "", "All fields in one file (task data: always one data set)."},
            {"each", '\0', "", "", "Task data: one data set for each field."},
            {"cell", '\0', "LENGTH", "the plan's", "Cell of rasters, grids and cell blocks: 5 m."},
            {"shapes", '\0', "zones|cells", "zones", "Outlines of zones, or along the cells."},
            {"min-rate", '\0', "RATE UNIT", "", "Lowest rate other than none."},
            {"max-rate", '\0', "RATE UNIT", "", "Highest rate."},
            {"step", '\0', "RATE UNIT", "", "Rates are rounded to multiples of this."},
            {"step-limit", '\0', "NUMBER", "", "At most so many different rates."},
            {"headland-width", '\0', "LENGTH", "", "Width of the headland."},
            {"headland-rate", '\0', "RATE UNIT", "", "Rate on the headland."},
            {"min-area", '\0', "AREA", "", "Smaller pieces take their neighbour's rate: 0.2 ac."},
            {"smooth", '\0', "", "", "Pieces narrower than the working width do so too."},
            {"width", '\0', "LENGTH", "12 m", "Working width."},
            {"speed", '\0', "SPEED", "10 km/h", "Speed: km/h, mi/h or m/s."},
            {"lag", '\0', "SECONDS", "2", "From the command to the new rate on the ground."},
            {"rate-column", '\0', "NAME", "rate", "Column of the rates, written or logged."},
            {"layout", '\0', "tiled|cog|plain", "tiled", "Layout of GeoTIFF."},
            {"crs", '\0', "work|EPSG:4326", "work", "GeoTIFF: work (metres) or degrees."},
            {"zip", '\0', "", "", "Shapefile, task data: one zip archive."},
            {"task-version", '\0', "3.3|4.3", "3.3", "Version of task data."},
            {"grid-type", '\0', "1|2|none", "1",
             "Task data: 1 (zones), 2 (rates) or none (zones as polygons)."},
            {"compare", '\0', "FILE", "", "Points with logged rates, to compare."},
            {"compare-layer", '\0', "NAME", "", "Layer of the log."},
            {"log-crs", '\0', "CRS", "", "Coordinate system of the log where it states none."},
            {"tolerance", '\0', "PERCENT", "10", "A logged rate further off counts as off."},
        };
    }

    void setup(const ParsedOptions& options) override {
        using plan::ExportFormat;
        m_compare = options.flag("compare");
        m_request.plan = options.positional.front();
        m_request.output = options.text("output");
        m_request.overwrite = options.flag("overwrite");
        if (m_compare == options.flag("to")) {
            throw Error(ErrorKind::usage, "give either --to or --compare",
                        {.hint = "For instance --to shapefile --output rates."});
        }
        if (!m_compare && m_request.output.empty()) {
            throw Error(ErrorKind::usage, "--output is missing",
                        {.hint = "Name a folder for the files."});
        }
        if (m_compare && !m_request.output.empty()) {
            throw Error(ErrorKind::usage, "--compare writes to the terminal, not to --output",
                        {.hint = "Redirect the output, with --json for other programs."});
        }
        m_request.format = choice<ExportFormat>(options, "to", "geotiff",
                                                {{"geotiff", ExportFormat::geotiff},
                                                 {"geojson", ExportFormat::geojson},
                                                 {"shapefile", ExportFormat::shapefile},
                                                 {"taskdata", ExportFormat::taskdata}});
        const int what =
            choice<int>(options, "what", "nitrogen", {{"nitrogen", 1}, {"seed", 2}, {"both", 3}});
        m_request.nitrogen = (what & 1) != 0;
        m_request.seed = (what & 2) != 0;
        m_request.product = options.text("product");
        m_request.seed_product = options.text("seed-product");
        m_request.unit = options.text("unit");
        m_request.seed_unit = options.text("seed-unit");
        if (options.flag("seed-weight"))
            m_request.thousand_seed_g = positive(options.text("seed-weight"), "seed-weight");
        m_request.fields = options.text("field");
        const bool taskdata = m_request.format == ExportFormat::taskdata;
        m_request.merged = options.flag("merged") || (taskdata && !options.flag("each"));
        if (options.flag("cell")) {
            m_request.cell_m = parse_length_m(options.text("cell"), "--cell");
            if (!(m_request.cell_m > 0.0))
                throw Error(ErrorKind::usage, "--cell must be greater than zero");
        }
        m_request.cell_blocks =
            choice<bool>(options, "shapes", "zones", {{"zones", false}, {"cells", true}});
        m_request.min_rate = options.text("min-rate");
        m_request.max_rate = options.text("max-rate");
        m_request.step = options.text("step");
        m_request.headland_rate = options.text("headland-rate");
        if (options.flag("step-limit"))
            m_request.limits.most_rates = options.integer("step-limit", 0, 1, 1000);
        m_request.machine.width_m = parse_length_m(options.text("width", "12 m"), "--width");
        m_request.machine.speed_km_h =
            parse_quantity(options.text("speed", "10 km/h"), "--speed",
                           {{"km/h", 1.0}, {"mi/h", 1.609344}, {"mph", 1.609344}, {"m/s", 3.6}});
        m_request.machine.lag_s = positive(options.text("lag", "2"), "lag");
        if (options.flag("headland-width")) {
            m_request.limits.headland_width_m =
                parse_length_m(options.text("headland-width"), "--headland-width");
        }
        if (options.flag("headland-width") != options.flag("headland-rate")) {
            throw Error(ErrorKind::usage, "--headland-width and --headland-rate go together");
        }
        if (options.flag("min-area")) {
            m_request.limits.smallest_area_m2 =
                1e4 * parse_area_ha(options.text("min-area"), "--min-area");
        }
        if (options.flag("smooth")) m_request.limits.smooth_width_m = m_request.machine.width_m;
        m_request.rate_column = options.text("rate-column", "rate");
        for (const char* taken : {"field", "zone_id", "area_ha", "product", "unit"}) {
            if (!m_compare && same_ignoring_case(m_request.rate_column, taken)) {
                throw Error(ErrorKind::usage, "--rate-column cannot be '" + m_request.rate_column +
                                                  "': another column has that name");
            }
        }
        m_request.layout = choice<gis::TiffLayout>(options, "layout", "tiled",
                                                   {{"tiled", gis::TiffLayout::tiled},
                                                    {"cog", gis::TiffLayout::cog},
                                                    {"plain", gis::TiffLayout::plain}});
        m_request.degrees =
            choice<bool>(options, "crs", "work", {{"work", false}, {"EPSG:4326", true}});
        m_request.zip = options.flag("zip");
        m_request.task_version = choice<gis::TaskDataVersion>(
            options, "task-version", "3.3",
            {{"3.3", gis::TaskDataVersion::v3_3}, {"4.3", gis::TaskDataVersion::v4_3}});
        m_request.task_form = choice<gis::TaskForm>(options, "grid-type", "1",
                                                    {{"1", gis::TaskForm::grid_type_1},
                                                     {"2", gis::TaskForm::grid_type_2},
                                                     {"none", gis::TaskForm::polygons}});
        m_log = options.text("compare");
        m_log_layer = options.text("compare-layer");
        m_log_crs = options.text("log-crs");
        m_tolerance_pct = positive(options.text("tolerance", "10"), "tolerance");
    }

    int run(Console& console) override {
        if (m_compare) {
            plan::CompareRequest request;
            request.prescription = m_request;
            request.log = m_log;
            request.layer = m_log_layer;
            request.log_crs = m_log_crs;
            request.rate_column = m_request.rate_column;
            request.tolerance_pct = m_tolerance_pct;
            const plan::Comparison comparison = plan::compare_applied(request);
            console.print(console.json ? plan::comparison_json(comparison)
                                       : plan::comparison_text(comparison));
            return all_done;
        }
        const plan::HandOff sheet = plan::run_export(m_request, console.monitor());
        if (console.json) {
            console.print(plan::hand_off_json(sheet));
        } else if (!console.quiet) {
            console.print(plan::hand_off_text(sheet));
        }
        return all_done;
    }

  private:
    plan::ExportRequest m_request;
    bool m_compare = false;
    std::string m_log, m_log_layer, m_log_crs;
    double m_tolerance_pct = 10.0;
};

}  // namespace

std::unique_ptr<Command> export_command() {
    return std::make_unique<ExportCommand>();
}

}  // namespace catchfield::cli
