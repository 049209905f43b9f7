// SPDX-License-Identifier: MIT
// The files that make up a data set.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

namespace catchfield::gis {

struct FileStamp {
    std::string path;
    std::uint64_t bytes = 0;
    std::uint64_t modified_ns = 0;  ///< time of the last change
};

/// The data set's own file (or the files in its folder) and those that belong to it: the parts of a
/// shapefile, the rasters a VRT names, world files and the like, by name. Of
/// a path into an archive, the archive. Remote and missing files are left out; so are companions of
/// what GDAL does not open.
std::vector<FileStamp> files_behind(const std::string& path);

}  // namespace catchfield::gis
