// SPDX-License-Identifier: MIT
#include "gis/companions.hpp"

#include "base/error.hpp"
#include "gis/detail/gdal.hpp"

#include <cpl_string.h>
#include <gdal_priv.h>

#include <filesystem>
#include <set>
#include <sys/stat.h>

namespace catchfield::gis {

namespace {

namespace fs = std::filesystem;

/// Folders with more files than this are known by the first ones.
constexpr std::size_t most_files = 100'000;

void add_file_list(const std::string& path, unsigned kind, const char* const* drivers,
                   std::set<std::string>& names) {
    const detail::ErrorScope quiet;
    try {
        const GDALDatasetUniquePtr dataset(GDALDataset::Open(
            detail::open_path(path).c_str(), kind | GDAL_OF_READONLY, drivers, nullptr, nullptr));
        if (dataset == nullptr) return;
        const CPLStringList list(dataset->GetFileList(), TRUE);
        for (int i = 0; i < list.size(); ++i) names.insert(list[i]);
    } catch (const Error&) {
        // A remote path without permission; whoever reads it says so.
    }
}

/// The file on this machine behind "/vsizip/a.zip/b.tif" or a plain path, or "" where there is
/// none.
std::string local_file(std::string path) {
    constexpr std::string_view handler = "/vsi";
    while (path.rfind(handler, 0) == 0) {
        const std::size_t end = path.find('/', 1);
        if (end == std::string::npos) return "";
        path.erase(0, end + 1);
    }
    std::error_code failure;
    for (fs::path at = path; at.has_relative_path(); at = at.parent_path()) {
        if (fs::exists(at, failure)) return fs::is_regular_file(at, failure) ? at.string() : "";
    }
    return "";
}

}  // namespace

std::vector<FileStamp> files_behind(const std::string& path) {
    detail::ensure_started();
    std::set<std::string> names = {path};
    std::error_code failure;
    if (fs::is_directory(path, failure)) {
        for (fs::recursive_directory_iterator at(path, failure), end;
             !failure && at != end && names.size() < most_files; at.increment(failure)) {
            names.insert(at->path().string());
        }
    } else if (const std::string local = local_file(path); !local.empty()) {
        names.insert(local);
        add_file_list(path, GDAL_OF_RASTER, detail::raster_drivers(), names);
        add_file_list(path, GDAL_OF_VECTOR, detail::vector_drivers(), names);
    }
    std::vector<FileStamp> stamps;
    for (const std::string& name : names) {
        struct stat status {};
        if (::stat(name.c_str(), &status) != 0 || !S_ISREG(status.st_mode)) continue;
        stamps.push_back({name, static_cast<std::uint64_t>(status.st_size),
                          static_cast<std::uint64_t>(status.st_mtim.tv_sec) * 1'000'000'000U +
                              static_cast<std::uint64_t>(status.st_mtim.tv_nsec)});
    }
    return stamps;
}

}  // namespace catchfield::gis
