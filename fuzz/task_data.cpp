// SPDX-License-Identifier: MIT
// Any names, rates, grids and shapes through the task data writer: well-formed XML with the values
// that went in, or an error.
#include "gis/taskdata.hpp"
#include "target.hpp"

#include <pugixml.hpp>

#include <cmath>

namespace {

using namespace catchfield;
using gis::Task;
using gis::TaskForm;

double rate(fuzz::Bytes& bytes) {
    // Mostly plausible, at times any bit pattern.
    return bytes.below(16) == 0 ? bytes.any_real() : bytes.real(0.0, 500.0);
}

MultiPolygon shape(fuzz::Bytes& bytes) {
    MultiPolygon polygons(static_cast<std::size_t>(bytes.below(3)));
    for (Polygon& polygon : polygons) {
        const int corners = 3 + bytes.below(4);
        for (int i = 0; i < corners; ++i) {
            polygon.outer.push_back({bytes.real(-180.0, 180.0), bytes.real(-90.0, 90.0)});
        }
        polygon.outer.push_back(polygon.outer.front());
        if (bytes.below(4) == 0) polygon.holes.push_back(polygon.outer);
    }
    return polygons;
}

Task task(fuzz::Bytes& bytes) {
    Task result;
    result.name = bytes.text(80);
    result.form = static_cast<TaskForm>(bytes.below(3));
    const auto products = static_cast<std::size_t>(1 + bytes.below(3));
    for (std::size_t i = 0; i < products; ++i) {
        result.products.push_back(
            {bytes.text(60), static_cast<gis::RateQuantity>(bytes.below(4)), bytes.below(2) == 0});
    }
    if (bytes.below(2) == 0) {
        for (std::size_t i = 0; i < products; ++i) {
            result.out_of_field_rates.push_back(rate(bytes));
            result.default_rates.push_back(rate(bytes));
        }
    }
    const int zones = 1 + bytes.below(5);
    for (int i = 0; i < zones; ++i) {
        gis::TaskZone zone;
        zone.name = bytes.text(40);
        for (std::size_t p = 0; p < products; ++p) zone.rates.push_back(rate(bytes));
        if (result.form == TaskForm::polygons) zone.shape = shape(bytes);
        result.zones.push_back(zone);
    }
    if (result.form == TaskForm::polygons) return result;
    result.grid.rows = 1 + bytes.below(12);
    result.grid.cols = 1 + bytes.below(12);
    result.grid.cell_lat = bytes.real(1e-6, 1.5);
    result.grid.cell_lon = bytes.real(1e-6, 1.5);
    // On the globe: the writer's caller sees to that.
    result.grid.south = bytes.real(-90.0, 89.999 - result.grid.rows * result.grid.cell_lat);
    result.grid.west = bytes.real(-180.0, 180.0 - result.grid.cols * result.grid.cell_lon);
    for (std::size_t i = 0; i < result.grid.size(); ++i) {
        if (result.form == TaskForm::grid_type_1) {
            result.cell_zone.push_back(bytes.below(zones + 1) - 1);
        } else {
            for (std::size_t p = 0; p < products; ++p) result.cell_rates.push_back(rate(bytes));
        }
    }
    return result;
}

void check(const gis::TaskDataResult& result, const gis::TaskData& data) {
    fuzz::require(!result.files.empty(), "there is a main file");
    std::size_t tasks = 0;
    for (const gis::TaskField& field : data.fields) tasks += field.tasks.size();
    bool found = false;
    for (const auto& file : result.files) {
        if (file.name != "TASKDATA.XML") continue;
        found = true;
        pugi::xml_document document;
        const auto parsed = document.load_buffer(file.bytes.data(), file.bytes.size());
        if (!parsed) std::fprintf(stderr, "%s\n", parsed.description());
        fuzz::require(static_cast<bool>(parsed), "the XML is well-formed");
        const pugi::xml_node root = document.child("ISO11783_TaskData");
        fuzz::require(static_cast<bool>(root), "the root element is there");
        std::size_t written = 0;
        for (const pugi::xml_node node : root.children("TSK")) {
            ++written;
            fuzz::require(std::string_view(node.attribute("B").value()).size() <= 32 * 4,
                          "names are cut to 32 characters");
        }
        fuzz::require(written == tasks, "every task is written");
    }
    fuzz::require(found, "the main file has its name");
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    fuzz::Bytes bytes(data, size);
    fuzz::fair([&] {
        gis::TaskData all;
        all.customer = bytes.text(60);
        all.farm = bytes.text(60);
        all.version = static_cast<gis::TaskDataVersion>(bytes.below(2));
        const int fields = 1 + bytes.below(2);
        for (int f = 0; f < fields; ++f) {
            gis::TaskField field;
            field.name = bytes.text(60);
            field.code = bytes.text(60);
            field.area_m2 = rate(bytes) * 1000.0;
            field.boundary = shape(bytes);
            const int tasks = 1 + bytes.below(2);
            for (int t = 0; t < tasks; ++t) field.tasks.push_back(task(bytes));
            all.fields.push_back(field);
        }
        const gis::TaskDataResult result = gis::taskdata_bytes(all);
        check(result, all);
        fuzz::require(!gis::taskdata_zip_bytes(result).empty(), "the folder can be zipped");
    });
    const auto quantity = static_cast<gis::RateQuantity>(bytes.below(4));
    const double value = rate(bytes);
    fuzz::fair([&] {
        const std::int32_t raw = gis::raw_rate(quantity, value);
        fuzz::require(raw >= 0, "raw rates are not negative");
        fuzz::require(gis::raw_rate(quantity, gis::rate_of_raw(quantity, raw)) == raw,
                      "a raw rate keeps its number");
    });
    return 0;
}
