// SPDX-License-Identifier: MIT
#include "plan/layers.hpp"

#include "gis/geotiff.hpp"

#include <functional>

namespace catchfield::plan {

namespace {

gis::TiffOptions described(const std::string& name, const std::string& unit) {
    gis::TiffOptions options;
    options.description = name;
    options.unit = unit;
    return options;
}

}  // namespace

void make_layers(const Inputs& inputs, const Ground& ground, FieldResult& result) {
    const auto path = [&](const std::string& name) {
        return "layers/" + result.stem + "-" + name + ".tif";
    };
    const auto add = [&](const std::string& name, const std::string& unit,
                         const Raster<float>& values, const Mask& valid) {
        result.layer_files.emplace_back(
            path(name), gis::geotiff_bytes(values, valid, result.crs, described(name, unit)));
    };
    const terrain::TerrainResult& terrain = ground.terrain;
    add("slope", "%", terrain.slope_pct, terrain.mask);
    add("ls", "", terrain.ls, terrain.mask);
    {
        Raster<float> k, loss(ground.frame);
        Mask valid;
        soil_layer(
            ground, inputs.soils,
            [](const SoilFacts& f) {
                return f.erodibility ? std::optional(f.erodibility->k_si) : std::nullopt;
            },
            k, valid);
        for (std::size_t i = 0; i < valid.size(); ++i) {
            if (!ground.field[i]) valid[i] = 0;
        }
        add("k", "Mg ha h/(ha MJ mm)", k, valid);
        for (std::size_t i = 0; i < valid.size(); ++i) {
            if (result.zone_cells[i] == 0 || !terrain.mask[i]) valid[i] = 0;
        }
        const double r = inputs.climate.year.r_si;
        struct Factors {
            double c = 1.0, p = 1.0;
        };
        const auto add_loss = [&](const std::string& name,
                                  const std::function<Factors(const ZoneResult&)>& factors) {
            std::vector<Factors> by_zone(1);
            for (const ZoneResult& zone : result.zones) by_zone.push_back(factors(zone));
            for (std::size_t i = 0; i < valid.size(); ++i) {
                if (!valid[i]) continue;
                const Factors& zone = by_zone[static_cast<std::size_t>(result.zone_cells[i])];
                const double bare =
                    r * static_cast<double>(k[i]) * static_cast<double>(terrain.ls[i]);
                loss[i] = static_cast<float>(bare * zone.c * zone.p);
            }
            add(name, "Mg/ha a year", loss, valid);
        };
        add_loss("soil-loss-bare", [](const ZoneResult&) { return Factors{}; });
        add_loss("soil-loss-now", [](const ZoneResult& zone) {
            return Factors{zone.c_now, zone.practice.p};
        });
        add_loss("soil-loss-cover", [](const ZoneResult& zone) {
            return Factors{zone.c_cover, zone.practice.p};
        });
    }
    result.layer_files.emplace_back(
        path("zone"),
        gis::class_geotiff_bytes(result.zone_cells, result.crs, described("zone", "")));
    for (const CompactionMap& map : result.compaction_maps) {
        add(map.layer.name, map.layer.unit, map.layer.values, map.layer.valid);
        if (map.kriged) add(map.layer.name + "-error", map.layer.unit, map.error, map.layer.valid);
    }
}

}  // namespace catchfield::plan
