// SPDX-License-Identifier: MIT
#include "plan/point_tables.hpp"

#include "base/error.hpp"
#include "base/text.hpp"
#include "gis/vector.hpp"

namespace catchfield::plan {

Table probe_table_of_layer(const std::string& path, const Job& job, gis::Crs& crs) {
    const gis::VectorLayer layer = gis::read_layer(path);
    crs = gis::require_crs(layer.crs_wkt, job.compaction.crs, path, "compaction.probe-crs");
    std::vector<std::string> header = {"x", "y"};
    for (const std::string& column : layer.columns) {
        // The layer's own coordinates columns give way to the geometry.
        header.push_back(column == "x" || column == "y" ? column + "_column" : column);
    }
    std::string text = csv_row(header);
    for (const gis::Feature& feature : layer.features) {
        if (feature.kind != gis::GeometryKind::points || feature.points.size() != 1) {
            throw Error(
                ErrorKind::data, "not a single point",
                {.path = path, .layer = layer.name, .feature = std::to_string(feature.fid)});
        }
        std::vector<std::string> cells = {shortest(feature.points.front().x),
                                          shortest(feature.points.front().y)};
        cells.insert(cells.end(), feature.values.begin(), feature.values.end());
        text += csv_row(cells);
    }
    return Table::parse(text, path);
}

}  // namespace catchfield::plan
