// SPDX-License-Identifier: MIT
// Starting the spatial libraries: which formats and places user data may come from.
#pragma once

#include <string>
#include <utility>
#include <vector>

namespace catchfield::gis {

/// What is refused unless the user asks for it.
struct Access {
    bool virtual_rasters = false;  ///< VRT: a text file that can name any other file or address
    bool remote = false;           ///< paths such as /vsicurl/, /vsis3/, http://: reach a network
};

/// Registers the drivers of the allow-list and applies `access`. Call once before anything else of
/// this room, from one thread; a later call only changes `access`. Every function of this room that
/// opens data calls it with the defaults where nobody has.
///
/// Vector: GeoJSON, GeoJSONSeq, GPKG, ESRI Shapefile, FlatGeobuf, KML, LIBKML, GPX, CSV,
/// MapInfo File, Memory. Raster: GTiff, COG, AAIGrid, HFA, ENVI, EHdr, SAGA, SRTMHGT, USGSDEM, PNG,
/// JPEG, GPKG, MEM (and VRT with `virtual_rasters`; it is registered always because the libraries
/// need it inside, and refused when user data are opened).
void start(const Access& access = {});

/// What start() was last given.
const Access& access();

/// Throws Error(usage) where `path` names a network or a virtual file system that `access()` does
/// not allow. "/vsizip/", "/vsigzip/", "/vsitar/" and "/vsimem/" are allowed when what they wrap
/// is.
void require_allowed_path(const std::string& path);

/// Sets up what GDAL keeps for each thread. Call it first on a thread that uses this room, so that
/// what the room keeps for the thread is taken down before it. Cheap when repeated.
void prepare_thread();

/// Driver names registered for reading, sorted. For `--version --verbose` and messages.
std::vector<std::string> formats();

/// Name and version of GDAL, PROJ (with its database) and pugixml, for `--version --verbose`.
std::vector<std::pair<std::string, std::string>> library_versions();

/// How much of the rasters read before stays in memory for the next read: 4 to 64 MB, 4 unless
/// asked for more. From one thread, before others read.
void keep_raster_blocks(double bytes);

}  // namespace catchfield::gis
