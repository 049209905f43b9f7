// SPDX-License-Identifier: MIT
#include "gis/taskdata.hpp"

#include "base/error.hpp"
#include "base/text.hpp"
#include "base/units.hpp"

#include <pugixml.hpp>

#include <algorithm>
#include <cmath>
#include <limits>
#include <map>
#include <sstream>
#include <utility>

namespace catchfield::gis {

namespace {

constexpr std::size_t longest_name = 32;
constexpr std::size_t most_zones = 250;
constexpr int outside_code = 0;
constexpr int lost_code = 254;  // where the rates without a position differ from those outside

/// One row of the data dictionary: number, raw units to one unit of the rate, and how it is shown.
struct Dictionary {
    const char* ddi;
    double raw_per_unit;
    const char* metric_unit;
    double metric_shown_per_raw;
    const char* us_unit;
    double us_shown_per_raw;
};

const Dictionary& dictionary(RateQuantity quantity) {
    constexpr double m2_per_ac = units::ha_per_ac * 1e4;
    static const Dictionary mass{"0006", 100.0,   "kg/ha",
                                 0.01,   "lb/ac", 0.01 / units::kg_ha_per_lb_ac};
    static const Dictionary volume{"0001", 10000.0,  "l/ha",
                                   0.0001, "gal/ac", 0.0001 / units::l_ha_per_gal_ac};
    static const Dictionary count{"000B", 1000.0, "seeds/ha", 10.0, "seeds/ac", 0.001 * m2_per_ac};
    static const Dictionary nitrogen{"01B0", 100.0,     "kg N/ha",
                                     0.01,   "lb N/ac", 0.01 / units::kg_ha_per_lb_ac};
    switch (quantity) {
        case RateQuantity::volume_l_ha:
            return volume;
        case RateQuantity::count_per_m2:
            return count;
        case RateQuantity::nitrogen_kg_ha:
            return nitrogen;
        case RateQuantity::mass_kg_ha:
            break;
    }
    return mass;
}

[[noreturn]] void wrong(const std::string& reason) {
    throw Error(ErrorKind::internal, "task data: " + reason);
}

/// Degrees with nine decimals, as the schema allows.
std::string degrees(double value) {
    return fixed(value, 9);
}

/// Fixed notation with enough digits for a cell or a scale, without trailing zeros.
std::string plain(double value) {
    std::string text = fixed(value, 14);
    text.erase(text.find_last_not_of('0') + 1);
    if (!text.empty() && text.back() == '.') text += '0';
    return text;
}

double wrapped(double longitude) {
    return longitude > 180.0    ? longitude - 360.0
           : longitude < -180.0 ? longitude + 360.0
                                : longitude;
}

class Writer {
  public:
    explicit Writer(const TaskData& data) : m_data(data) {}

    TaskDataResult write() {
        pugi::xml_document document;
        pugi::xml_node head = document.append_child(pugi::node_declaration);
        head.append_attribute("version") = "1.0";
        head.append_attribute("encoding") = "UTF-8";
        m_root = document.append_child("ISO11783_TaskData");
        set(m_root, "VersionMajor", version_4() ? "4" : "3");
        set(m_root, "VersionMinor", "3");
        set(m_root, "ManagementSoftwareManufacturer", "catchfield");
        set(m_root, "ManagementSoftwareVersion", name(m_data.software_version, "software version"));
        set(m_root, "DataTransferOrigin", "1");
        pugi::xml_node customer = m_root.append_child("CTR");
        set(customer, "A", "CTR1");
        set(customer, "B", required_name(m_data.customer, "customer"));
        pugi::xml_node farm = m_root.append_child("FRM");
        set(farm, "A", "FRM1");
        set(farm, "B", required_name(m_data.farm, "farm"));
        set(farm, "I", "CTR1");
        products_and_presentations();
        int number = 0;
        for (const TaskField& field : m_data.fields) partfield(field, ++number);
        for (const auto& [quantity_and_units, id] : m_presentation_ids) {
            presentation(quantity_and_units.first, quantity_and_units.second, id);
        }
        number = 0;
        for (const TaskField& field : m_data.fields) {
            ++number;
            for (const Task& task : field.tasks) write_task(task, number);
        }
        std::ostringstream out;
        document.save(out, "  ", pugi::format_indent, pugi::encoding_utf8);
        m_result.files.insert(m_result.files.begin(), NamedBytes{"TASKDATA.XML", out.str()});
        return std::move(m_result);
    }

  private:
    bool version_4() const { return m_data.version == TaskDataVersion::v4_3; }

    static void set(pugi::xml_node node, const char* key, const std::string& value) {
        node.append_attribute(key) = value.c_str();
    }

    std::string name(const std::string& text, const std::string& what) {
        const std::string kept = cut_text(text, longest_name);
        if (kept.size() < text.size()) {
            m_result.warnings.push_back("the " + what + " '" + valid_utf8(text) + "' was cut to '" +
                                        kept + "'");
        }
        return kept;
    }
    std::string required_name(const std::string& text, const std::string& what) {
        const std::string kept = name(text, what);
        return trim(kept).empty() ? "unnamed" : kept;
    }

    /// Products in the order of their first use; equal names share one element.
    void products_and_presentations() {
        for (const TaskField& field : m_data.fields) {
            for (const Task& task : field.tasks) {
                for (const TaskProduct& product : task.products) {
                    const std::pair<RateQuantity, bool> shown{product.quantity, product.us_units};
                    if (!m_presentation_ids.contains(shown)) {
                        const std::size_t next = m_presentation_ids.size() + 1;
                        m_presentation_ids[shown] = "VPN" + std::to_string(next);
                    }
                    if (m_product_ids.contains(product.name)) continue;
                    const std::string id = "PDT" + std::to_string(m_product_ids.size() + 1);
                    m_product_ids[product.name] = id;
                    pugi::xml_node node = m_root.append_child("PDT");
                    set(node, "A", id);
                    set(node, "B", required_name(product.name, "product name"));
                }
            }
        }
    }

    void presentation(RateQuantity quantity, bool us_units, const std::string& id) {
        const Dictionary& row = dictionary(quantity);
        pugi::xml_node node = m_root.append_child("VPN");
        set(node, "A", id);
        set(node, "B", "0");
        set(node, "C", plain(us_units ? row.us_shown_per_raw : row.metric_shown_per_raw));
        const bool count = quantity == RateQuantity::count_per_m2;
        set(node, "D", count ? "0" : us_units ? "2" : "1");
        set(node, "E", us_units ? row.us_unit : row.metric_unit);
    }

    void point_list(pugi::xml_node parent, const Ring& ring, const char* type) {
        if (ring.size() < 4 || !(ring.front() == ring.back())) wrong("a ring is not closed");
        pugi::xml_node line = parent.append_child("LSG");
        set(line, "A", type);
        std::string last_north;
        std::string last_east;
        for (std::size_t i = 0; i < ring.size(); ++i) {
            const double latitude = ring[i].y;
            const double longitude = wrapped(ring[i].x);
            if (!(std::abs(latitude) <= 90.0) || !(std::abs(longitude) <= 180.0)) {
                wrong("a position is no place in degrees");
            }
            const std::string north = degrees(latitude);
            const std::string east = degrees(longitude);
            if (i > 0 && north == last_north && east == last_east) continue;
            pugi::xml_node point = line.append_child("PNT");
            set(point, "A", "2");
            set(point, "C", north);
            set(point, "D", east);
            last_north = north;
            last_east = east;
        }
    }

    /// Version 4 takes one exterior ring for each PLN; version 3 takes one PLN with all of them.
    void polygons(pugi::xml_node parent, const MultiPolygon& shape, const char* type,
                  const std::string& designator, const std::string& area) {
        pugi::xml_node polygon;
        for (const Polygon& part : shape) {
            if (!polygon || version_4()) {
                polygon = parent.append_child("PLN");
                set(polygon, "A", type);
                if (!designator.empty()) set(polygon, "B", designator);
                if (!area.empty() && (shape.size() == 1 || !version_4())) set(polygon, "C", area);
            }
            point_list(polygon, part.outer, "1");
            for (const Ring& hole : part.holes) point_list(polygon, hole, "2");
        }
    }

    void partfield(const TaskField& field, int number) {
        if (!(field.area_m2 >= 0.0) || field.area_m2 > 4294967294.0) {
            throw Error(ErrorKind::data, "the area cannot be written to task data",
                        {.feature = field.name});
        }
        const std::string area = std::to_string(std::llround(field.area_m2));
        pugi::xml_node node = m_root.append_child("PFD");
        set(node, "A", "PFD" + std::to_string(number));
        if (!field.code.empty()) set(node, "B", name(field.code, "field code"));
        set(node, "C", required_name(field.name, "field name"));
        set(node, "D", area);
        set(node, "E", "CTR1");
        set(node, "F", "FRM1");
        polygons(node, field.boundary, "1", "Boundary", area);
    }

    void values(pugi::xml_node zone, const Task& task, const std::vector<double>& rates,
                bool zero) {
        for (std::size_t i = 0; i < task.products.size(); ++i) {
            const TaskProduct& product = task.products[i];
            pugi::xml_node node = zone.append_child("PDV");
            set(node, "A", dictionary(product.quantity).ddi);
            set(node, "B", zero ? "0" : std::to_string(raw_rate(product.quantity, rates[i])));
            set(node, "C", m_product_ids.at(product.name));
            set(node, "E", m_presentation_ids.at({product.quantity, product.us_units}));
        }
    }

    pugi::xml_node zone(pugi::xml_node parent, int code, const std::string& designator) {
        pugi::xml_node node = parent.append_child("TZN");
        set(node, "A", std::to_string(code));
        if (!trim(designator).empty()) set(node, "B", name(designator, "zone name"));
        return node;
    }

    std::vector<double> rates_or_zero(const std::vector<double>& rates, const Task& task,
                                      const std::string& what) {
        if (rates.empty()) return std::vector<double>(task.products.size(), 0.0);
        if (rates.size() != task.products.size()) wrong(what + " do not match the products");
        return rates;
    }

    void write_task(const Task& task, int field_number) {
        if (task.products.empty()) wrong("a task has no product");
        const bool grid = task.form != TaskForm::polygons;
        const bool type_2 = task.form == TaskForm::grid_type_2;
        if (!type_2 && task.zones.size() > most_zones) {
            throw Error(ErrorKind::data,
                        "a task can hold " + std::to_string(most_zones) + " zones, not " +
                            std::to_string(task.zones.size()),
                        {.feature = task.name, .hint = "Use a grid of rates (type 2)."});
        }
        const auto outside = rates_or_zero(task.out_of_field_rates, task, "out-of-field rates");
        const auto lost = rates_or_zero(task.default_rates, task, "default rates");
        const bool own_lost = lost != outside;
        ++m_tasks;
        pugi::xml_node node = m_root.append_child("TSK");
        set(node, "A", "TSK" + std::to_string(m_tasks));
        set(node, "B", required_name(task.name, "task name"));
        set(node, "C", "CTR1");
        set(node, "D", "FRM1");
        set(node, "E", "PFD" + std::to_string(field_number));
        set(node, "G", "1");
        set(node, "H", std::to_string(own_lost ? lost_code : outside_code));
        set(node, "I", std::to_string(own_lost ? lost_code : outside_code));
        set(node, "J", std::to_string(outside_code));
        values(zone(node, outside_code, "outside"), task, outside, false);
        if (type_2) {
            values(zone(node, 1, "grid"), task, {}, true);
        } else {
            int code = 0;
            for (const TaskZone& part : task.zones) {
                if (part.rates.size() != task.products.size()) {
                    wrong("the rates of a zone do not match the products");
                }
                pugi::xml_node child = zone(node, ++code, part.name);
                if (!grid) polygons(child, part.shape, "2", "", "");
                values(child, task, part.rates, false);
            }
        }
        if (own_lost) values(zone(node, lost_code, "no position"), task, lost, false);
        if (grid) write_grid(task, node);
    }

    void write_grid(const Task& task, pugi::xml_node node) {
        const DegreeGrid& grid = task.grid;
        const bool type_2 = task.form == TaskForm::grid_type_2;
        if (grid.rows < 1 || grid.cols < 1) wrong("a grid has no cells");
        if (!(grid.cell_lat > 0.0 && grid.cell_lat <= 1.0 && grid.cell_lon > 0.0 &&
              grid.cell_lon <= 1.0)) {
            throw Error(ErrorKind::data, "cells of a task grid lie between 0 and 1 degree",
                        {.feature = task.name});
        }
        if (!(grid.south >= -90.0 && grid.south + grid.rows * grid.cell_lat <= 90.0)) {
            wrong("a grid leaves the globe");
        }
        const std::string bytes = type_2 ? rate_bytes(task) : code_bytes(task);
        if (bytes.size() > 4294967294ULL) {
            throw Error(ErrorKind::data, "a task grid would be larger than 4 GB",
                        {.feature = task.name, .hint = "Choose a larger cell."});
        }
        ++m_grids;
        if (m_grids > 99999) wrong("more than 99 999 grids");
        const std::string digits = std::to_string(100000 + m_grids).substr(1);
        const std::string file = "GRD" + digits;
        pugi::xml_node element = node.append_child("GRD");
        set(element, "A", degrees(grid.south));
        set(element, "B", degrees(wrapped(grid.west)));
        set(element, "C", plain(grid.cell_lat));
        set(element, "D", plain(grid.cell_lon));
        set(element, "E", std::to_string(grid.cols));
        set(element, "F", std::to_string(grid.rows));
        set(element, "G", file);
        set(element, "H", std::to_string(bytes.size()));
        set(element, "I", type_2 ? "2" : "1");
        if (type_2) set(element, "J", "1");
        m_result.files.push_back({file + ".bin", bytes});
    }

    static std::string code_bytes(const Task& task) {
        if (task.cell_zone.size() != task.grid.size()) wrong("zones and cells differ in number");
        std::string bytes;
        bytes.reserve(task.cell_zone.size());
        for (const int position : task.cell_zone) {
            if (position < -1 || position >= static_cast<int>(task.zones.size())) {
                wrong("a cell names a zone that is not there");
            }
            bytes += static_cast<char>(static_cast<unsigned char>(position + 1));
        }
        return bytes;
    }

    static std::string rate_bytes(const Task& task) {
        const std::size_t products = task.products.size();
        if (task.cell_rates.size() != task.grid.size() * products) {
            wrong("rates and cells differ in number");
        }
        std::string bytes;
        bytes.reserve(4 * task.cell_rates.size());
        for (std::size_t i = 0; i < task.cell_rates.size(); ++i) {
            const auto raw = static_cast<std::uint32_t>(
                raw_rate(task.products[i % products].quantity, task.cell_rates[i]));
            for (int byte = 0; byte < 4; ++byte)
                bytes += static_cast<char>((raw >> (8 * byte)) & 0xFF);
        }
        return bytes;
    }

    const TaskData& m_data;
    pugi::xml_node m_root;
    std::map<std::string, std::string> m_product_ids;
    std::map<std::pair<RateQuantity, bool>, std::string> m_presentation_ids;
    int m_tasks = 0;
    int m_grids = 0;
    TaskDataResult m_result;
};

}  // namespace

std::int32_t raw_rate(RateQuantity quantity, double rate) {
    const double raw = std::round(rate * dictionary(quantity).raw_per_unit);
    if (!(rate >= 0.0) || !(raw <= std::numeric_limits<std::int32_t>::max())) {
        throw Error(ErrorKind::data,
                    "the rate " +
                        (std::isfinite(rate) ? shortest(rate) : std::string("(no number)")) +
                        " cannot be written to task data",
                    {.hint = "Check the unit."});
    }
    return static_cast<std::int32_t>(raw);
}

double rate_of_raw(RateQuantity quantity, std::int32_t raw) {
    return raw / dictionary(quantity).raw_per_unit;
}

std::string cut_text(const std::string& text, std::size_t max_characters) {
    std::string clean = valid_utf8(text);
    for (char& c : clean) {
        if (static_cast<unsigned char>(c) < 0x20 || c == 0x7F) c = ' ';
    }
    std::size_t characters = 0;
    for (std::size_t i = 0; i < clean.size(); ++i) {
        if ((static_cast<unsigned char>(clean[i]) & 0xC0) == 0x80) continue;
        if (characters++ == max_characters) return clean.substr(0, i);
    }
    return clean;
}

TaskDataResult taskdata_bytes(const TaskData& data) {
    return Writer(data).write();
}

std::string taskdata_zip_bytes(const TaskDataResult& result) {
    std::vector<NamedBytes> files = result.files;
    for (NamedBytes& file : files) file.name = "TASKDATA/" + file.name;
    return zip_bytes(files);
}

}  // namespace catchfield::gis
