// SPDX-License-Identifier: MIT
#include "gis/start.hpp"

#include "base/dates.hpp"
#include "base/error.hpp"
#include "base/text.hpp"
#include "gis/detail/gdal.hpp"
#include "gis/detail/tiff.hpp"
#include "gis/files.hpp"
#include "gis/geopackage.hpp"

#include <cpl_conv.h>
#include <cpl_string.h>
#include <cpl_vsi.h>
#include <gdal.h>
#include <gdal_frmts.h>
#include <gdal_priv.h>
#include <ogrsf_frmts.h>
#include <proj.h>
#include <pugixml.hpp>

#include <algorithm>
#include <array>
#include <chrono>
#include <mutex>
#include <string_view>

namespace catchfield::gis {

namespace {

Access current_access;
std::once_flag registered;

constexpr std::array<const char*, 12> vector_names = {
    "GeoJSON", "GeoJSONSeq", "GPKG", "ESRI Shapefile", "FlatGeobuf", "LIBKML",
    "KML",     "GPX",        "CSV",  "MapInfo File",   "Memory",     nullptr};
constexpr std::array<const char*, 16> raster_names = {
    "GTiff",   "COG", "AAIGrid", "HFA",  "ENVI", "EHdr",  "SAGA",  "SRTMHGT",
    "USGSDEM", "PNG", "JPEG",    "GPKG", "MEM",  nullptr, nullptr, nullptr};
constexpr std::array<const char*, 15> raster_names_with_vrt = {
    "GTiff",   "COG", "AAIGrid", "HFA",  "ENVI", "EHdr", "SAGA", "SRTMHGT",
    "USGSDEM", "PNG", "JPEG",    "GPKG", "MEM",  "VRT",  nullptr};

void register_all() {
    GDALRegister_GTiff();
    GDALRegister_COG();
    GDALRegister_AAIGrid();
    GDALRegister_HFA();
    GDALRegister_ENVI();
    GDALRegister_EHdr();
    GDALRegister_SAGA();
    GDALRegister_SRTMHGT();
    GDALRegister_USGSDEM();
    GDALRegister_PNG();
    GDALRegister_JPEG();
    GDALRegister_MEM();
    GDALRegister_VRT();
    RegisterOGRGeoJSON();
    RegisterOGRGeoJSONSeq();
    RegisterOGRGeoPackage();
    RegisterOGRShape();
    RegisterOGRFlatGeobuf();
    RegisterOGRLIBKML();
    RegisterOGRKML();
    RegisterOGRGPX();
    RegisterOGRCSV();
    RegisterOGRTAB();
    RegisterOGRMEM();
    keep_raster_blocks(0.0);
    std::string date = fixed_file_date;
    const char* epoch = CPLGetConfigOption("SOURCE_DATE_EPOCH", "");
    if (const auto seconds = parse_integer(epoch); seconds && *seconds >= 0) {
        constexpr long long day = 86400;
        const int clock = static_cast<int>(*seconds % day);
        date = iso_date(Date(std::chrono::days(*seconds / day)));
        date += CPLSPrintf("T%02d:%02d:%02dZ", clock / 3600, clock / 60 % 60, clock % 60);
    }
    CPLSetConfigOption("OGR_CURRENT_DATE", date.c_str());
    CPLSetConfigOption("GDAL_MAX_BAND_COUNT", "1000");
    // Write-ahead safety is not needed: files are built aside and renamed when complete.
    CPLSetConfigOption("OGR_SQLITE_SYNCHRONOUS", "OFF");
    // A layer's spatial index is made once all its rows are there, not from a list in memory.
    CPLSetConfigOption("OGR_GPKG_ALLOW_THREADED_RTREE", "NO");
    // GDAL tells libtiff of its fields when its first raster is made or opened.
    GDALDriver* driver = GetGDALDriverManager()->GetDriverByName("GTiff");
    const char* const first = "/vsimem/catchfield-first.tif";
    if (driver != nullptr)
        GDALDatasetUniquePtr(driver->Create(first, 1, 1, 1, GDT_Byte, nullptr)).reset();
    VSIUnlink(first);
    detail::register_tiff_fields();
}

void apply(const Access& access) {
    current_access = access;
    // A VRT may name an address; without permission such sources do not open.
    CPLSetConfigOption("CPL_VSIL_CURL_ALLOWED_EXTENSIONS",
                       access.remote ? nullptr : ".remote-access-is-off");
}

}  // namespace

void start(const Access& access) {
    std::call_once(registered, register_all);
    apply(access);
}

const Access& access() {
    return current_access;
}

void require_allowed_path(const std::string& path) {
    static constexpr std::array<std::string_view, 8> addresses = {
        "http:", "https:", "ftp:", "s3:", "gs:", "az:", "oss:", "swift:"};
    static constexpr std::array<std::string_view, 12> handlers = {
        "/vsicurl",  "/vsis3",   "/vsigs",      "/vsiaz",    "/vsiadls",   "/vsioss",
        "/vsiswift", "/vsihdfs", "/vsiwebhdfs", "/vsistdin", "/vsisparse", "/vsicrypt"};
    if (current_access.remote) return;
    const std::string lower = lower_case(path);
    const bool address =
        std::any_of(addresses.begin(), addresses.end(), [&](std::string_view name) {
            return lower.find(std::string(name) + "//") != std::string::npos;
        });
    const bool handler = std::any_of(handlers.begin(), handlers.end(), [&](std::string_view name) {
        return lower.find(name) != std::string::npos;
    });
    if (address || handler) {
        throw Error(
            ErrorKind::usage, "this is a remote or special path, which is off",
            {.path = path, .hint = "Copy the file here, or allow remote paths (--allow-remote)."});
    }
}

void prepare_thread() {
    static thread_local const bool prepared = [] {
        detail::ensure_started();
        const OGRSpatialReference touch;  // makes the thread's PROJ context
        return touch.IsEmpty();
    }();
    (void)prepared;
}

std::vector<std::string> formats() {
    detail::ensure_started();
    std::vector<std::string> names;
    const GDALDriverManager* manager = GetGDALDriverManager();
    for (int i = 0; i < manager->GetDriverCount(); ++i) {
        names.emplace_back(GDALGetDriverShortName(GDALGetDriver(i)));
    }
    std::sort(names.begin(), names.end());
    return names;
}

std::vector<std::pair<std::string, std::string>> library_versions() {
    const PJ_INFO proj = proj_info();
    std::string proj_version = proj.version;
    PJ_CONTEXT* context = proj_context_create();
    if (const char* data = proj_context_get_database_metadata(context, "EPSG.VERSION")) {
        proj_version += std::string(" (EPSG ") + data + ")";
    }
    proj_context_destroy(context);
    return {{"GDAL", GDALVersionInfo("RELEASE_NAME")},
            {"PROJ", proj_version},
            {"pugixml", std::to_string(PUGIXML_VERSION / 1000) + "." +
                            std::to_string(PUGIXML_VERSION / 10 % 100)}};
}

namespace {

/// Archives that would fill the memory: their members come out far larger than they are.
void require_modest_archive(const std::string& path, const std::string& inside) {
    constexpr double always_fine = 1e8;  // bytes
    constexpr double most_times = 200.0;
    constexpr double most_bytes = 6.4e10;
    VSIStatBufL status;
    if (VSIStatL(path.c_str(), &status) != 0) return;
    const double packed = static_cast<double>(status.st_size);
    double unpacked = 0.0;
    const CPLStringList members(VSIReadDirRecursive(inside.c_str()));
    for (int i = 0; i < members.size(); ++i) {
        if (VSIStatL((inside + "/" + members[i]).c_str(), &status) == 0)
            unpacked += static_cast<double>(status.st_size);
    }
    if (unpacked > most_bytes || (unpacked > always_fine && unpacked > most_times * packed)) {
        throw Error(ErrorKind::data,
                    "is an archive of " + fixed(packed / 1e6, 1) + " MB that unpacks to " +
                        fixed(unpacked / 1e6, 0) + " MB",
                    {.path = path, .hint = "Unpack it yourself if it is meant to be so."});
    }
}

}  // namespace

namespace detail {

void ensure_started() {
    std::call_once(registered, [] {
        register_all();
        apply(Access{});
    });
}

const char* const* vector_drivers() {
    return vector_names.data();
}

const char* const* raster_drivers() {
    return current_access.virtual_rasters ? raster_names_with_vrt.data() : raster_names.data();
}

std::string open_path(const std::string& path) {
    if (path.empty()) throw Error(ErrorKind::usage, "no path given");
    require_allowed_path(path);
    if (path.front() == '{' || path.front() == '<' || path.find('\0') != std::string::npos) {
        throw Error(ErrorKind::usage, "this is not a path", {.path = path.substr(0, 60)});
    }
    require_plain_file(path);
    const bool zip = path.size() > 4 && same_ignoring_case(path.substr(path.size() - 4), ".zip");
    if (!zip || path.rfind("/vsi", 0) == 0) return path;
    const std::string inside = "/vsizip/" + path;
    require_modest_archive(path, inside);
    return inside;
}

}  // namespace detail

void keep_raster_blocks(double bytes) {
    constexpr double mb = 1 << 20;
    GDALSetCacheMax64(static_cast<GIntBig>(std::clamp(bytes, 4.0 * mb, 64.0 * mb)));
}

}  // namespace catchfield::gis
