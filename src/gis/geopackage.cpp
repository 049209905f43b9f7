// SPDX-License-Identifier: MIT
#include "gis/geopackage.hpp"

#include "base/error.hpp"
#include "gis/detail/features.hpp"
#include "gis/detail/gdal.hpp"
#include "gis/files.hpp"

#include <cpl_string.h>
#include <gdal_priv.h>
#include <ogrsf_frmts.h>

#include <cerrno>
#include <filesystem>
#include <set>
#include <stdlib.h>
#include <sys/stat.h>
#include <system_error>
#include <unistd.h>

namespace catchfield::gis {

struct GeoPackageWriter::State {
    std::string path;
    std::string folder;  // of the temporary file, removed at the end
    std::string temporary;
    std::vector<LayerSpec> specs;
    GDALDatasetUniquePtr dataset;
    std::vector<OGRLayer*> layers;  // owned by the dataset
    std::vector<long long> counts;

    ~State() {
        {
            const detail::ErrorScope quiet;
            if (dataset != nullptr) dataset->RollbackTransaction();
            dataset.reset();
        }
        std::error_code ignored;
        if (!folder.empty()) std::filesystem::remove_all(folder, ignored);
    }
    [[noreturn]] void fail(const detail::ErrorScope& scope) const {
        scope.fail(ErrorKind::output, "the GeoPackage cannot be written", {.path = path});
    }
};

GeoPackageWriter::GeoPackageWriter(const std::string& path, const std::vector<LayerSpec>& layers)
    : m_state(std::make_unique<State>()) {
    detail::ensure_started();
    State& state = *m_state;
    state.path = path;
    state.specs = layers;
    state.counts.assign(layers.size(), 0);
    std::set<std::string> names;
    for (const LayerSpec& spec : layers) {
        if (spec.name.empty() || !names.insert(spec.name).second) {
            throw Error(ErrorKind::internal, "a GeoPackage layer has no name of its own");
        }
    }
    // A folder of its own, so that SQLite's journal stays private and goes away with it.
    const std::filesystem::path target(path);
    const std::string parent = target.parent_path().empty() ? "." : target.parent_path().string();
    std::string pattern = parent + "/." + target.filename().string() + ".partial-XXXXXX";
    if (::mkdtemp(pattern.data()) == nullptr) {
        throw Error(ErrorKind::output,
                    "cannot be written: " + std::generic_category().message(errno), {.path = path});
    }
    state.folder = pattern;
    state.temporary = state.folder + "/data.gpkg";

    const detail::ErrorScope scope;
    GDALDriver* driver = GetGDALDriverManager()->GetDriverByName("GPKG");
    if (driver == nullptr) throw Error(ErrorKind::internal, "no GDAL driver GPKG");
    state.dataset.reset(driver->Create(state.temporary.c_str(), 0, 0, 0, GDT_Unknown, nullptr));
    if (state.dataset == nullptr) state.fail(scope);
    for (const LayerSpec& spec : layers) {
        const bool spatial = spec.geometry != LayerGeometry::none;
        CPLStringList options;
        if (spatial) options.SetNameValue("GEOMETRY_NAME", "geom");
        options.SetNameValue("FID", "fid");
        options.SetNameValue("SPATIAL_INDEX", spatial ? "YES" : "NO");
        if (!spec.description.empty())
            options.SetNameValue("DESCRIPTION", spec.description.c_str());
        const OGRwkbGeometryType type = spec.geometry == LayerGeometry::point ? wkbPoint
                                        : spec.geometry == LayerGeometry::multi_polygon
                                            ? wkbMultiPolygon
                                            : wkbNone;
        OGRSpatialReference reference;
        if (spatial) reference = detail::spatial_reference(spec.crs);
        OGRLayer* layer = state.dataset->CreateLayer(
            spec.name.c_str(), spatial ? &reference : nullptr, type, options.List());
        if (layer == nullptr) state.fail(scope);
        for (const FieldSpec& column : spec.columns) {
            OGRFieldDefn definition(column.name.c_str(), detail::field_type(column.type));
            if (layer->CreateField(&definition) != OGRERR_NONE) state.fail(scope);
        }
        state.layers.push_back(layer);
    }
    if (state.dataset->StartTransaction() != OGRERR_NONE || scope.failed()) state.fail(scope);
}

GeoPackageWriter::~GeoPackageWriter() = default;

namespace {

void set_values(OGRFeature& feature, const std::vector<FieldSpec>& columns,
                const std::vector<Value>& values) {
    require_fit(columns, values);
    for (std::size_t i = 0; i < values.size(); ++i) {
        detail::set_value(feature, static_cast<int>(i), values[i]);
    }
}

}  // namespace

void GeoPackageWriter::add(std::size_t layer, const PolygonRow& row) {
    State& state = *m_state;
    const detail::ErrorScope scope;
    OGRFeature feature(state.layers.at(layer)->GetLayerDefn());
    set_values(feature, state.specs[layer].columns, row.values);
    detail::set_shape(feature, row.shape);
    if (state.layers[layer]->CreateFeature(&feature) != OGRERR_NONE || scope.failed()) {
        state.fail(scope);
    }
    ++state.counts[layer];
}

void GeoPackageWriter::add(std::size_t layer, const PointRow& row) {
    State& state = *m_state;
    const detail::ErrorScope scope;
    OGRFeature feature(state.layers.at(layer)->GetLayerDefn());
    set_values(feature, state.specs[layer].columns, row.values);
    detail::set_shape(feature, row.point);
    if (state.layers[layer]->CreateFeature(&feature) != OGRERR_NONE || scope.failed()) {
        state.fail(scope);
    }
    ++state.counts[layer];
}

void GeoPackageWriter::add(std::size_t layer, const std::vector<Value>& values) {
    State& state = *m_state;
    const detail::ErrorScope scope;
    OGRFeature feature(state.layers.at(layer)->GetLayerDefn());
    set_values(feature, state.specs[layer].columns, values);
    if (state.layers[layer]->CreateFeature(&feature) != OGRERR_NONE || scope.failed()) {
        state.fail(scope);
    }
    ++state.counts[layer];
}

void GeoPackageWriter::commit() {
    State& state = *m_state;
    if (state.dataset == nullptr)
        throw Error(ErrorKind::internal, "a GeoPackage is committed twice");
    {
        const detail::ErrorScope scope;
        if (state.dataset->CommitTransaction() != OGRERR_NONE) state.fail(scope);
        state.dataset->FlushCache(true);
        state.dataset.reset();
        state.layers.clear();
        if (scope.failed()) state.fail(scope);
    }
    {
        const detail::ErrorScope scope;
        const GDALDatasetUniquePtr again(GDALDataset::Open(
            state.temporary.c_str(), GDAL_OF_VECTOR | GDAL_OF_READONLY | GDAL_OF_VERBOSE_ERROR));
        if (again == nullptr) state.fail(scope);
        for (std::size_t i = 0; i < state.specs.size(); ++i) {
            OGRLayer* layer = again->GetLayerByName(state.specs[i].name.c_str());
            if (layer == nullptr || layer->GetFeatureCount(TRUE) != state.counts[i]) {
                throw Error(ErrorKind::output,
                            "the GeoPackage does not hold what was written to it",
                            {.path = state.path, .layer = state.specs[i].name});
            }
        }
    }
    if (::rename(state.temporary.c_str(), state.path.c_str()) != 0) {
        throw Error(ErrorKind::output,
                    "cannot be put in place: " + std::generic_category().message(errno),
                    {.path = state.path});
    }
    remove_folder(state.folder);
    state.folder.clear();
}

}  // namespace catchfield::gis
