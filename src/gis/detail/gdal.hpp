// SPDX-License-Identifier: MIT
// What the room's sources share about GDAL: error scopes, files in memory, spatial references.
#pragma once

#include "base/error.hpp"
#include "gis/crs.hpp"

#include <cpl_error.h>
#include <ogr_spatialref.h>

#include <string>
#include <vector>

namespace catchfield::gis::detail {

/// Collects what GDAL says on this thread while it lives.
class ErrorScope {
  public:
    ErrorScope();
    ~ErrorScope();
    ErrorScope(const ErrorScope&) = delete;
    ErrorScope& operator=(const ErrorScope&) = delete;

    bool failed() const { return !m_failure.empty(); }
    /// GDAL's first failure, else its first warning, else "".
    std::string words() const;
    const std::vector<std::string>& warnings() const { return m_warnings; }
    /// Throws Error with `reason` and GDAL's words.
    [[noreturn]] void fail(ErrorKind kind, const std::string& reason, ErrorContext context) const;

  private:
    static void CPL_STDCALL collect(CPLErr level, CPLErrorNum number, const char* message);
    std::string m_failure;
    std::vector<std::string> m_warnings;
};

/// A name under /vsimem/ that nobody else uses; the file is removed at the end, with its folder's
/// other files when it is a folder.
class MemoryFile {
  public:
    explicit MemoryFile(const std::string& name);
    ~MemoryFile();
    MemoryFile(const MemoryFile&) = delete;
    MemoryFile& operator=(const MemoryFile&) = delete;

    const std::string& path() const { return m_path; }
    const std::string& folder() const { return m_folder; }
    /// The bytes, which leave the memory file.
    std::string take();

  private:
    std::string m_folder;
    std::string m_path;
};

/// Bytes of a memory file, which is removed. Throws Error(internal) where there is none.
std::string take_memory_file(const std::string& path);

/// The thread's OGR object of a CRS, x first. Valid as long as the thread lives.
const OGRSpatialReference& spatial_reference(const Crs& crs);

/// WKT of a spatial reference as read, 2D; "" for null. Never throws.
std::string wkt_of(const OGRSpatialReference* reference);

/// Drivers user data may be opened with.
const char* const* vector_drivers();
const char* const* raster_drivers();
/// start() with the defaults where nobody has called it.
void ensure_started();

/// Path as given to GDAL: a plain ".zip" is looked into. Throws Error for what is not allowed.
std::string open_path(const std::string& path);

}  // namespace catchfield::gis::detail
