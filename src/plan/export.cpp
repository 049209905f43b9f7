// SPDX-License-Identifier: MIT
#include "plan/export.hpp"

#include "base/error.hpp"
#include "base/text.hpp"
#include "geometry/outlines.hpp"
#include "geometry/overlay.hpp"
#include "gis/degree_grid.hpp"
#include "gis/files.hpp"
#include "gis/geojson.hpp"
#include "gis/shapefile.hpp"
#include "plan/fingerprint.hpp"

#include <algorithm>
#include <cmath>
#include <map>
#include <set>

namespace catchfield::plan {

namespace {

using prescription::RateUnit;

std::string unit_text(RateUnit unit) {
    return std::string(prescription::unit_name(unit));
}

bool us_unit(RateUnit unit) {
    return unit == RateUnit::lb_ac || unit == RateUnit::gal_ac || unit == RateUnit::n_lb_ac ||
           unit == RateUnit::seeds_ac;
}

/// "40 lb/ac" in the unit of the export.
double rate_in(const std::string& text, const std::string& option, RateUnit unit) {
    const std::string clean(trim(text));
    std::size_t end = 0;
    while (end < clean.size() &&
           std::string_view("+-.0123456789").find(clean[end]) != std::string_view::npos) {
        ++end;
    }
    const auto value = parse_number(clean.substr(0, end));
    if (!value || *value < 0.0 || trim(clean.substr(end)).empty() ||
        prescription::parse_rate_unit(clean.substr(end)) != unit) {
        throw Error(ErrorKind::usage, option + " is '" + text + "'",
                    {.hint = "Give a rate in the unit of the export, such as '40 " +
                             unit_text(unit) + "'."});
    }
    return *value;
}

void set_rule(const ExportRequest& request, ExportProduct& product) {
    if (!request.min_rate.empty())
        product.rule.floor = rate_in(request.min_rate, "--min-rate", product.unit);
    if (!request.max_rate.empty())
        product.rule.cap = rate_in(request.max_rate, "--max-rate", product.unit);
    if (!request.step.empty()) product.rule.step = rate_in(request.step, "--step", product.unit);
    if (!request.headland_rate.empty())
        product.headland_rate = rate_in(request.headland_rate, "--headland-rate", product.unit);
    prescription::check_rule(product.rule);
}

std::vector<ExportProduct> products_of(const ExportRequest& request, const PlanFolder& folder) {
    const bool bounded = !request.min_rate.empty() || !request.max_rate.empty() ||
                         !request.step.empty() || !request.headland_rate.empty();
    if (request.nitrogen && request.seed && bounded) {
        throw Error(ErrorKind::usage,
                    "--min-rate, --max-rate, --step and --headland-rate belong to one product",
                    {.hint = "Export nitrogen and seed one after the other."});
    }
    const bool us = folder.units == UnitSystem::us;
    std::vector<ExportProduct> products;
    if (request.nitrogen) {
        ExportProduct product;
        product.quantity = Quantity::nitrogen;
        const std::string name =
            request.product.empty() ? folder.setting("output.product") : request.product;
        product.product = product_named(name);
        product.name = product.product.title;
        product.unit = !request.unit.empty() ? prescription::parse_rate_unit(request.unit)
                       : product.product.id == "nitrogen"
                           ? (us ? RateUnit::n_lb_ac : RateUnit::n_kg_ha)
                           : prescription::default_unit(product.product, folder.units);
        set_rule(request, product);
        products.push_back(product);
    }
    if (request.seed) {
        ExportProduct product;
        product.quantity = Quantity::seed;
        product.name = !request.seed_product.empty() ? request.seed_product
                                                     : folder.setting("output.seed-product");
        if (product.name.empty()) product.name = "cover crop seed";
        product.thousand_seed_g = request.thousand_seed_g;
        const std::string& unit = request.nitrogen ? request.seed_unit : request.unit;
        product.unit = !unit.empty() ? prescription::parse_rate_unit(unit)
                       : us          ? RateUnit::lb_ac
                                     : RateUnit::kg_ha;
        set_rule(request, product);
        products.push_back(product);
    }
    return products;
}

/// Ids asked for; a text that is no id as a whole is a list with commas.
std::vector<std::string> wanted_ids(const std::string& text, const PlanFolder& folder) {
    if (text.empty()) return {};
    for (const PlannedField& field : folder.fields) {
        if (field.id == text) return {text};
    }
    std::vector<std::string> ids;
    for (const std::string& part : split(text, ',')) ids.emplace_back(trim(part));
    return ids;
}

std::vector<PlannedField> chosen_fields(const ExportRequest& request, const PlanFolder& folder) {
    const std::vector<std::string> wanted = wanted_ids(request.fields, folder);
    // Short stems without dots: some readers cut a name at its first dot, others at 64 characters.
    constexpr std::size_t longest_stem = 50;
    std::vector<std::string> stems;
    for (const PlannedField& field : folder.fields) {
        std::string stem = field.stem;
        std::replace(stem.begin(), stem.end(), '.', '-');
        stem = stem.substr(0, longest_stem);
        stems.push_back(stem);
    }
    stems = unique_file_stems(stems);
    std::vector<PlannedField> fields;
    std::set<std::string> found;
    std::vector<std::string> known;
    for (std::size_t i = 0; i < folder.fields.size(); ++i) {
        PlannedField field = folder.fields[i];
        field.stem = stems[i];
        known.push_back(field.id);
        if (!wanted.empty() && std::find(wanted.begin(), wanted.end(), field.id) == wanted.end())
            continue;
        found.insert(field.id);
        if (request.cell_m > 0.0) field.cell_m = request.cell_m;
        fields.push_back(std::move(field));
    }
    for (const std::string& id : wanted) {
        if (found.contains(id)) continue;
        const std::string near = nearest_name(id, known);
        throw Error(ErrorKind::usage, "the plan has no field '" + id + "'",
                    {.path = folder.path,
                     .hint = near.empty() ? "See zones.csv for the names."
                                          : "Did you mean '" + near + "'?"});
    }
    return fields;
}

/// Areas by the cells of a degree grid, and the plane area of a cell in each row.
struct DegreeCells {
    gis::DegreeGrid grid;
    std::vector<int> owner;
    std::vector<double> row_cell_ha;
};

DegreeCells degree_cells(const RateMap& map) {
    DegreeCells cells;
    const GridFrame frame = frame_of(map);
    cells.grid = gis::degree_grid(Mask(frame, 1), map.crs, map.cell_m);
    const gis::DegreeGrid& grid = cells.grid;
    const gis::Transformer& move = gis::transformer(gis::Crs::wgs84(), map.crs);
    std::vector<Point> centres;
    centres.reserve(grid.size());
    for (int row = 0; row < grid.rows; ++row) {
        for (int col = 0; col < grid.cols; ++col) centres.push_back(grid.centre(row, col));
        const double y = grid.south + row * grid.cell_lat;
        const double x = grid.west + grid.cols / 2 * grid.cell_lon;
        Ring corner{{x, y},
                    {x + grid.cell_lon, y},
                    {x + grid.cell_lon, y + grid.cell_lat},
                    {x, y + grid.cell_lat},
                    {x, y}};
        move.apply(corner);
        cells.row_cell_ha.push_back(std::abs(signed_area(corner)) * 1e-4);
    }
    move.apply(centres);
    cells.owner.assign(grid.size(), -1);
    for (std::size_t a = 0; a < map.areas.size(); ++a) {
        const Box box = bounds(map.areas[a].shape);
        std::vector<Point> near;
        std::vector<std::size_t> where;
        for (std::size_t i = 0; i < centres.size(); ++i) {
            const Point& p = centres[i];
            if (cells.owner[i] >= 0 || p.x < box.min_x || p.x > box.max_x || p.y < box.min_y ||
                p.y > box.max_y) {
                continue;
            }
            near.push_back(p);
            where.push_back(i);
        }
        const std::vector<bool> inside = geometry::covers(map.areas[a].shape, near);
        for (std::size_t i = 0; i < near.size(); ++i) {
            if (inside[i]) cells.owner[where[i]] = static_cast<int>(a);
        }
    }
    return cells;
}

double degree_total(const RateMap& map, const DegreeCells& cells, std::size_t product) {
    const auto width = static_cast<std::size_t>(cells.grid.cols);
    double total = 0.0;
    for (std::size_t i = 0; i < cells.owner.size(); ++i) {
        if (cells.owner[i] < 0) continue;
        total += prescription::total_amount(
            map.areas[static_cast<std::size_t>(cells.owner[i])].rates[product],
            cells.row_cell_ha[i / width], map.products[product].unit);
    }
    return total;
}

MultiPolygon in_degrees(const RateMap& map, const MultiPolygon& shape) {
    return gis::split_at_antimeridian(gis::transformer(map.crs, gis::Crs::wgs84()).apply(shape));
}

/// Areas whose outlines follow the cells.
RateMap as_cell_blocks(const RateMap& map) {
    Raster<int> labels = area_cells(map, frame_of(map));
    for (int& label : labels.values) ++label;
    RateMap blocks = map;
    blocks.areas.clear();
    for (const geometry::ZoneOutline& outline : geometry::dissolve_cells(labels)) {
        RateArea part = map.areas[static_cast<std::size_t>(outline.label) - 1];
        part.shape = outline.shape;
        blocks.areas.push_back(std::move(part));
    }
    return blocks;
}

double polygon_total(const RateMap& map, std::size_t product) {
    double total = 0.0;
    for (const RateArea& part : map.areas) {
        total += prescription::total_amount(part.rates[product], area(part.shape) * 1e-4,
                                            map.products[product].unit);
    }
    return total;
}

/// Pairs of areas that touch.
std::vector<prescription::Neighbours> touching(const RateMap& map) {
    std::vector<prescription::Neighbours> pairs;
    for (std::size_t a = 0; a < map.areas.size(); ++a) {
        const Box one = bounds(map.areas[a].shape);
        for (std::size_t b = a + 1; b < map.areas.size(); ++b) {
            const Box two = bounds(map.areas[b].shape);
            if (one.min_x > two.max_x + 0.01 || two.min_x > one.max_x + 0.01 ||
                one.min_y > two.max_y + 0.01 || two.min_y > one.max_y + 0.01) {
                continue;
            }
            if (geometry::distance(map.areas[a].shape, map.areas[b].shape) < 0.01)
                pairs.push_back({static_cast<int>(a), static_cast<int>(b)});
        }
    }
    return pairs;
}

/// The smallest step that counts: the export's, else the plan's for nitrogen.
double step_of(const ExportProduct& product, const PlanFolder& folder) {
    if (product.rule.step > 0.0) return product.rule.step;
    const std::string plan = folder.setting("nitrogen.step");
    if (product.quantity != Quantity::nitrogen || plan.empty()) return 0.0;
    return prescription::product_rate(parse_rate_kg_ha(plan, "nitrogen.step"), product.product,
                                      product.unit);
}

class Exporter {
  public:
    Exporter(const ExportRequest& request, const PlanFolder& folder)
        : m_request(request), m_folder(folder) {}

    void write(const std::vector<PlannedField>& fields, const Monitor& monitor) {
        const std::vector<ExportProduct> products = products_of(m_request, m_folder);
        std::size_t done = 0;
        for (const PlannedField& field : fields) {
            if (monitor.progress && !monitor.progress(done++, fields.size(), field.id))
                throw Stopped{};
            if (m_request.format == ExportFormat::taskdata) {
                add(make_rate_map(field, products, m_request.limits));
            } else {
                for (const ExportProduct& product : products)
                    add(make_rate_map(field, {product}, m_request.limits));
            }
        }
        finish();
    }

    std::vector<gis::NamedBytes> files;
    HandOff sheet;

  private:
    std::string quantity_stem(const RateMap& map) const {
        return (m_request.merged ? "fields" : map.stem) + std::string("-") +
               quantity_name(map.products.front().quantity);
    }

    void add(RateMap map) {
        if (m_request.cell_blocks) map = as_cell_blocks(map);
        const Raster<int> cells = area_cells(map, frame_of(map));
        const std::size_t first = sheet.entries.size();
        for (std::size_t p = 0; p < map.products.size(); ++p) describe(map, cells, p);
        std::vector<std::string> names;
        switch (m_request.format) {
            case ExportFormat::geotiff:
                names = {add_raster(map, cells)};
                break;
            case ExportFormat::geojson:
                names = {add_geojson(map)};
                break;
            case ExportFormat::shapefile:
                names = {add_shapefile(map)};
                break;
            case ExportFormat::taskdata:
                names = {add_task(map)};
                break;
        }
        for (std::size_t i = first; i < sheet.entries.size(); ++i) {
            HandOffEntry& entry = sheet.entries[i];
            entry.files = names;
            if (std::abs(entry.file_total - entry.total) > total_tolerance * entry.total) {
                entry.cautions.push_back(
                    "the files' cells add to " + fixed(entry.file_total, 1) + " " +
                    entry.total_unit + ", " +
                    fixed(100.0 * (entry.file_total / entry.total - 1.0), 2) +
                    " % from the polygons' total: cells at the field's edge count whole or not "
                    "at all");
            }
        }
    }

    void describe(const RateMap& map, const Raster<int>& cells, std::size_t p) {
        const ExportProduct& product = map.products[p];
        HandOffEntry entry;
        entry.field = map.field;
        entry.quantity = quantity_name(product.quantity);
        entry.product = product.name;
        entry.unit = unit_text(product.unit);
        entry.total_unit = prescription::total_unit_name(product.unit);
        std::set<double> rates;
        std::vector<double> by_area;
        std::vector<std::string> names;
        for (const RateArea& part : map.areas) {
            const double ha = area(part.shape) * 1e-4;
            entry.area_ha += ha;
            if (part.rates[p] > 0.0) {
                rates.insert(part.rates[p]);
            } else {
                entry.none_ha += ha;
            }
            by_area.push_back(part.rates[p]);
            names.push_back(part.name);
        }
        entry.total = polygon_total(map, p);
        entry.file_total = entry.total;
        entry.rates = static_cast<int>(rates.size());
        if (!rates.empty()) {
            entry.lowest = *rates.begin();
            entry.highest = *rates.rbegin();
        } else {
            entry.cautions.push_back("nothing is to be applied in this field");
        }
        entry.cautions.insert(entry.cautions.end(), map.warnings.begin(), map.warnings.end());
        const double step = step_of(product, m_folder);
        if (step > 0.0) {
            // A hair less, so that rates a whole step apart are none too close.
            const auto close =
                prescription::close_neighbours(by_area, touching(map), step * (1.0 - 1e-9), names);
            entry.cautions.insert(entry.cautions.end(), close.begin(), close.end());
        }
        const auto check =
            prescription::check_transitions(surface_of(map, cells, p), m_request.machine);
        entry.cautions.insert(entry.cautions.end(), check.warnings.begin(), check.warnings.end());
        const bool volume = product.unit == RateUnit::l_ha || product.unit == RateUnit::gal_ac;
        if (volume && product.product.density_kg_l) {
            entry.cautions.push_back("volume rates rest on a density of " +
                                     fixed(*product.product.density_kg_l, 3) +
                                     " kg/L; weigh a sample, it changes with temperature");
        }
        if (m_request.format == ExportFormat::taskdata &&
            (product.unit == RateUnit::n_kg_ha || product.unit == RateUnit::n_lb_ac)) {
            entry.cautions.push_back(
                "the rate is of nitrogen itself (data dictionary number 01B0); many machines "
                "take mass or volume of product only: name it with --product");
        }
        sheet.entries.push_back(std::move(entry));
    }

    std::string add_raster(const RateMap& map, const Raster<int>& cells) {
        if (m_request.merged) {
            m_merged[map.products.front().quantity].push_back(map);
            return quantity_stem(map) + ".tif";
        }
        return write_raster(map, cells, sheet.entries.back().file_total);
    }

    std::string write_raster(const RateMap& map, const Raster<int>& cells, double& total) {
        const ExportProduct& product = map.products.front();
        gis::TiffOptions options;
        options.description = quantity_name(product.quantity) + "_rate";
        options.unit = unit_text(product.unit);
        options.layout = m_request.layout;
        const std::string name = quantity_stem(map) + ".tif";
        if (!m_request.degrees) {
            const auto surface = surface_of(map, cells, 0);
            total = 0.0;
            for (const int owner : cells.values) {
                if (owner < 0) continue;
                total +=
                    prescription::total_amount(map.areas[static_cast<std::size_t>(owner)].rates[0],
                                               cells.frame.cell_area_ha(), product.unit);
            }
            files.push_back(
                {name, gis::geotiff_bytes(surface.rates, surface.inside, map.crs, options)});
            return name;
        }
        const DegreeCells degree = degree_cells(map);
        total = degree_total(map, degree, 0);
        gis::DegreeRaster<float> values{degree.grid, {}};
        gis::DegreeRaster<std::uint8_t> valid{degree.grid, {}};
        for (const int owner : degree.owner) {
            valid.values.push_back(owner >= 0 ? 1 : 0);
            values.values.push_back(
                owner >= 0 ? static_cast<float>(map.areas[static_cast<std::size_t>(owner)].rates[0])
                           : 0.0F);
        }
        files.push_back({name, gis::geotiff_bytes(values, valid, options)});
        return name;
    }

    /// All fields on one raster: one map with all their areas.
    void write_merged_rasters() {
        for (const auto& [quantity, maps] : m_merged) {
            RateMap whole = maps.front();
            std::vector<MultiPolygon> fields;
            whole.areas.clear();
            for (const RateMap& map : maps) {
                if (!map.crs.same_as(whole.crs)) {
                    throw Error(ErrorKind::usage,
                                "the fields lie in different UTM zones, so that they do not fit "
                                "on one raster",
                                {.feature = map.field, .hint = "Export them without --merged."});
                }
                whole.areas.insert(whole.areas.end(), map.areas.begin(), map.areas.end());
                whole.boundary.insert(whole.boundary.end(), map.boundary.begin(),
                                      map.boundary.end());
                whole.cell_m = std::min(whole.cell_m, map.cell_m);
            }
            double total = 0.0;
            const Raster<int> cells =
                m_request.degrees ? Raster<int>() : area_cells(whole, frame_of(whole));
            write_raster(whole, cells, total);
            double polygons = 0.0;
            for (HandOffEntry& entry : sheet.entries) {
                if (entry.quantity == quantity_name(quantity)) polygons += entry.total;
            }
            sheet.cautions.push_back(
                "the " + quantity_name(quantity) + " of all fields adds to " + fixed(polygons, 1) +
                ", and over the raster's cells to " + fixed(total, 1) + " " +
                std::string(prescription::total_unit_name(whole.products.front().unit)));
        }
    }

    std::vector<gis::FieldSpec> columns() const {
        return {{"field", gis::FieldType::text, 80, 0},
                {"zone_id", gis::FieldType::integer, 9, 0},
                {m_request.rate_column, gis::FieldType::real, 12, 3},
                {"area_ha", gis::FieldType::real, 12, 4},
                {"product", gis::FieldType::text, 32, 0},
                {"unit", gis::FieldType::text, 16, 0}};
    }

    static gis::PolygonRow row_of(const RateMap& map, const RateArea& part,
                                  const MultiPolygon& shape) {
        const ExportProduct& product = map.products.front();
        return {in_degrees(map, shape),
                {map.field, static_cast<long long>(part.zone), part.rates[0], area(shape) * 1e-4,
                 product.name, unit_text(product.unit)},
                -1};
    }

    std::string add_geojson(const RateMap& map) {
        std::vector<gis::PolygonRow> rows;
        for (const RateArea& part : map.areas) rows.push_back(row_of(map, part, part.shape));
        const std::string name = quantity_stem(map) + ".geojson";
        std::string& text = m_features[name];
        if (!text.empty()) text += ",\n";
        text += gis::geojson_features(columns(), rows, gis::Crs::wgs84());
        return name;
    }

    std::string add_shapefile(const RateMap& map) {
        const std::string stem = quantity_stem(map);
        std::vector<gis::PolygonRow>& rows = m_rows[stem];
        for (const RateArea& part : map.areas) {
            for (const Polygon& one : part.shape) rows.push_back(row_of(map, part, {one}));
        }
        return stem + (m_request.zip ? ".zip" : ".shp");
    }

    static gis::TaskProduct task_product(const ExportProduct& product) {
        gis::TaskProduct made{product.name, gis::RateQuantity::mass_kg_ha, us_unit(product.unit)};
        switch (product.unit) {
            case RateUnit::kg_ha:
            case RateUnit::lb_ac:
                break;
            case RateUnit::l_ha:
            case RateUnit::gal_ac:
                made.quantity = gis::RateQuantity::volume_l_ha;
                break;
            case RateUnit::n_kg_ha:
            case RateUnit::n_lb_ac:
                made.quantity = gis::RateQuantity::nitrogen_kg_ha;
                break;
            case RateUnit::seeds_m2:
            case RateUnit::seeds_ac:
                made.quantity = gis::RateQuantity::count_per_m2;
                break;
        }
        return made;
    }

    /// The rate in the unit of the quantity.
    static double task_rate(double rate, RateUnit unit) {
        switch (unit) {
            case RateUnit::lb_ac:
            case RateUnit::n_lb_ac:
                return rate * units::kg_ha_per_lb_ac;
            case RateUnit::gal_ac:
                return rate * units::l_ha_per_gal_ac;
            case RateUnit::seeds_ac:
                return rate / (units::ha_per_ac * 1e4);
            default:
                return rate;
        }
    }

    std::string add_task(const RateMap& map) {
        gis::TaskField field;
        field.name = map.field;
        field.area_m2 = area(map.boundary);
        field.boundary = in_degrees(map, map.boundary);
        gis::Task task;
        task.form = m_request.task_form;
        for (const ExportProduct& product : map.products) {
            task.name += (task.name.empty() ? "" : " and ") + quantity_name(product.quantity);
            task.products.push_back(task_product(product));
        }
        task.name += " " + map.field;
        const bool type_2 = task.form == gis::TaskForm::grid_type_2;
        std::vector<std::vector<double>> rates;
        for (const RateArea& part : map.areas) {
            gis::TaskZone zone;
            zone.name = part.name;
            for (std::size_t p = 0; p < map.products.size(); ++p)
                zone.rates.push_back(task_rate(part.rates[p], map.products[p].unit));
            rates.push_back(zone.rates);
            if (task.form == gis::TaskForm::polygons) zone.shape = in_degrees(map, part.shape);
            if (!type_2) task.zones.push_back(std::move(zone));
        }
        if (task.form != gis::TaskForm::polygons) {
            DegreeCells cells = degree_cells(map);
            task.grid = cells.grid;
            std::vector<bool> zero(map.products.size(), false);
            for (std::size_t p = 0; p < map.products.size(); ++p) {
                sheet.entries[sheet.entries.size() - map.products.size() + p].file_total =
                    degree_total(map, cells, p);
            }
            if (type_2) {
                for (const int owner : cells.owner) {
                    for (std::size_t p = 0; p < map.products.size(); ++p) {
                        const double rate =
                            owner < 0 ? 0.0 : rates[static_cast<std::size_t>(owner)][p];
                        zero[p] = zero[p] || (owner >= 0 && rate <= 0.0);
                        task.cell_rates.push_back(rate);
                    }
                }
            } else {
                task.cell_zone = std::move(cells.owner);
            }
            for (std::size_t p = 0; p < zero.size(); ++p) {
                if (!zero[p]) continue;
                sheet.entries[sheet.entries.size() - zero.size() + p].cautions.push_back(
                    "a rate of 0 inside the field cannot be told from outside in a grid of type "
                    "2; type 1 can");
            }
        }
        field.tasks.push_back(std::move(task));
        const std::string key = m_request.merged ? "" : map.stem + "-task";
        m_tasks[key].push_back(std::move(field));
        const std::string base = key.empty() ? "TASKDATA" : key + "/TASKDATA";
        return m_request.zip ? base + ".zip" : base + "/TASKDATA.XML";
    }

    void finish() {
        write_merged_rasters();
        for (const auto& [name, text] : m_features) {
            files.push_back({name, gis::geojson_head() + text + gis::geojson_tail()});
        }
        for (const auto& [stem, rows] : m_rows) {
            gis::ShapefileResult result =
                gis::shapefile_bytes(stem, columns(), rows, gis::Crs::wgs84());
            add_warnings(result.warnings);
            if (m_request.zip) {
                files.push_back({stem + ".zip", gis::zip_bytes(result.files)});
            } else {
                files.insert(files.end(), result.files.begin(), result.files.end());
            }
        }
        for (const auto& [key, fields] : m_tasks) {
            gis::TaskData data;
            const auto or_default = [&](const char* setting, const std::string& fallback) {
                const std::string text = m_folder.setting(setting);
                return text.empty() ? fallback : text;
            };
            data.customer = or_default("field.customer", data.customer);
            data.farm = or_default("field.farm", data.farm);
            data.software_version = CATCHFIELD_VERSION;
            data.version = m_request.task_version;
            data.fields = fields;
            const gis::TaskDataResult result = gis::taskdata_bytes(data);
            add_warnings(result.warnings);
            const std::string base = (key.empty() ? "" : key + "/") + std::string("TASKDATA");
            if (m_request.zip) {
                files.push_back({base + ".zip", gis::taskdata_zip_bytes(result)});
            } else {
                for (const gis::NamedBytes& file : result.files)
                    files.push_back({base + "/" + file.name, file.bytes});
            }
        }
    }

    void add_warnings(const std::vector<std::string>& warnings) {
        for (const std::string& warning : warnings) {
            if (std::find(sheet.cautions.begin(), sheet.cautions.end(), warning) ==
                sheet.cautions.end()) {
                sheet.cautions.push_back(warning);
            }
        }
    }

    const ExportRequest& m_request;
    const PlanFolder& m_folder;
    std::map<Quantity, std::vector<RateMap>> m_merged;
    std::map<std::string, std::string> m_features;
    std::map<std::string, std::vector<gis::PolygonRow>> m_rows;
    std::map<std::string, std::vector<gis::TaskField>> m_tasks;
};

std::string format_words(const ExportRequest& request) {
    switch (request.format) {
        case ExportFormat::geotiff:
            return std::string("GeoTIFF, 32-bit floating point, one band, no-data value -9999, ") +
                   (request.layout == gis::TiffLayout::cog     ? "cloud-optimised"
                    : request.layout == gis::TiffLayout::plain ? "uncompressed strips"
                                                               : "tiled");
        case ExportFormat::geojson:
            return "GeoJSON (RFC 7946), rate in '" + request.rate_column + "'";
        case ExportFormat::shapefile:
            return "shapefile, single-part polygons, rate in '" + request.rate_column + "'";
        case ExportFormat::taskdata:
            return std::string("ISO 11783-10 task data ") +
                   (request.task_version == gis::TaskDataVersion::v3_3 ? "3.3" : "4.3") + ", " +
                   (request.task_form == gis::TaskForm::polygons      ? "zones as polygons"
                    : request.task_form == gis::TaskForm::grid_type_1 ? "grid of zones (type 1)"
                                                                      : "grid of rates (type 2)");
    }
    return {};
}

}  // namespace

std::string export_format_name(ExportFormat format) {
    switch (format) {
        case ExportFormat::geotiff:
            return "geotiff";
        case ExportFormat::geojson:
            return "geojson";
        case ExportFormat::shapefile:
            return "shapefile";
        case ExportFormat::taskdata:
            return "taskdata";
    }
    return {};
}

prescription::Product product_named(const std::string& name) {
    if (name.empty() || name == "nitrogen") {
        prescription::Product nitrogen;
        nitrogen.id = "nitrogen";
        nitrogen.title = "nitrogen";
        nitrogen.n_share = 1.0;
        return nitrogen;
    }
    if (const auto share = parse_number(name)) {
        return prescription::own_product("own product, " + fixed(*share * 100.0, 1) + " % N",
                                         prescription::ProductForm::dry, *share, std::nullopt);
    }
    return prescription::product(name);
}

std::vector<RateMap> rate_maps(const ExportRequest& request) {
    const PlanFolder folder = read_plan_folder(request.plan);
    const std::vector<ExportProduct> products = products_of(request, folder);
    if (products.size() != 1) {
        throw Error(ErrorKind::usage, "a log holds the rates of one product",
                    {.hint = "Give --what nitrogen or --what seed."});
    }
    std::vector<RateMap> maps;
    for (const PlannedField& field : chosen_fields(request, folder))
        maps.push_back(make_rate_map(field, products, request.limits));
    return maps;
}

HandOff run_export(const ExportRequest& request, const Monitor& monitor) {
    const double ahead_m = prescription::transition_distance_m(request.machine);
    const PlanFolder folder = read_plan_folder(request.plan);
    const std::vector<PlannedField> fields = chosen_fields(request, folder);
    gis::StagedFolder staged(request.output, request.overwrite);
    Exporter exporter(request, folder);
    exporter.sheet.units = folder.units;
    exporter.sheet.plan_fingerprint = xxh64_of(gis::read_file(request.plan + "/run.json"));
    exporter.sheet.format = format_words(request);
    exporter.sheet.crs = request.format != ExportFormat::geotiff || request.degrees
                             ? "WGS 84 longitude and latitude (EPSG:4326)"
                             : fields.front().crs.name() + " (" + fields.front().crs.code() + ")";
    exporter.sheet.look_ahead =
        "At " + fixed(request.machine.speed_km_h, 1) + " km/h and with " +
        fixed(request.machine.lag_s, 1) + " s from the command to the new rate on the ground, " +
        "the machine covers " + fixed(ahead_m, 1) +
        " m before a new rate is there. Set the controller's look-ahead to " +
        fixed(request.machine.lag_s, 1) +
        " s. Working width taken: " + fixed(request.machine.width_m, 1) +
        " m. Rates outside the field and without a position: 0.";
    exporter.write(fields, monitor);
    for (const std::string& id : folder.skipped) {
        exporter.sheet.cautions.push_back("field '" + id +
                                          "' was skipped by the plan and is not in this export");
    }
    HandOff sheet = std::move(exporter.sheet);
    for (const gis::NamedBytes& file : exporter.files) {
        const std::size_t slash = file.name.find_last_of('/');
        if (slash != std::string::npos) staged.folder(file.name.substr(0, slash));
        gis::write_staged_file(staged.path() + "/" + file.name, file.bytes);
        sheet.files.push_back({file.name, file.bytes.size(), xxh64_of(file.bytes)});
    }
    gis::write_staged_file(staged.path() + "/hand-off.txt", hand_off_text(sheet));
    gis::write_staged_file(staged.path() + "/hand-off.html", hand_off_html(sheet));
    staged.commit();
    return sheet;
}

}  // namespace catchfield::plan
