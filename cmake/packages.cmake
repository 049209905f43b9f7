# Debian packages by `cpack -G DEB`: catchfield (program) and libcatchfield-dev (libraries).
set(CPACK_GENERATOR DEB)
set(CPACK_PACKAGE_NAME catchfield)
set(CPACK_PACKAGE_CONTACT "Catchfield contributors <contributors@catchfield.invalid>")
set(CPACK_PACKAGE_DESCRIPTION_SUMMARY "cover crops and nitrogen by management zone")
set(CPACK_COMPONENTS_ALL program development)
set(CPACK_DEB_COMPONENT_INSTALL ON)
set(CPACK_PACKAGING_INSTALL_PREFIX /usr)
set(CPACK_STRIP_FILES ON)
set(CPACK_INSTALL_DEFAULT_DIRECTORY_PERMISSIONS OWNER_READ OWNER_WRITE OWNER_EXECUTE GROUP_READ GROUP_EXECUTE
                                                WORLD_READ WORLD_EXECUTE)
set(CPACK_DEBIAN_FILE_NAME DEB-DEFAULT)
set(CPACK_DEBIAN_PACKAGE_RELEASE 1)
set(CPACK_DEBIAN_PROGRAM_PACKAGE_NAME catchfield)
set(CPACK_DEBIAN_PROGRAM_PACKAGE_SECTION science)
set(CPACK_DEBIAN_PROGRAM_PACKAGE_SHLIBDEPS ON)
# proj-data holds the coordinate systems' tables.
set(CPACK_DEBIAN_PROGRAM_PACKAGE_DEPENDS "proj-data")
set(CPACK_DEBIAN_PROGRAM_PACKAGE_SUGGESTS "gdal-bin")
set(CPACK_DEBIAN_DEVELOPMENT_PACKAGE_NAME libcatchfield-dev)
set(CPACK_DEBIAN_DEVELOPMENT_PACKAGE_SECTION libdevel)
set(CPACK_DEBIAN_DEVELOPMENT_PACKAGE_DEPENDS
    "libgdal-dev, libproj-dev, libgeos-dev, libboost-program-options-dev, nlohmann-json3-dev, libfmt-dev, libtbb-dev, libpugixml-dev, libtiff-dev")
set(CPACK_DEBIAN_DEVELOPMENT_PACKAGE_SUGGESTS cmake)
set(CPACK_COMPONENT_PROGRAM_DESCRIPTION
    "Reads field boundaries, an elevation or slope raster and soil-map polygons,
divides each field into management zones, and for each zone estimates soil
loss with and without cover, picks the cover crop that fits, and works out
the next crop's nitrogen. Writes reports, tables and prescription maps.")
set(CPACK_COMPONENT_DEVELOPMENT_DESCRIPTION
    "Static libraries, headers and CMake files of Catchfield's rooms: terrain,
soil, weather, zoning, cover, erosion, compaction, nitrogen and more, for
use with find_package(catchfield).")

# Debian wants copyright and changelog in each package's own folder, under its own names.
foreach(package catchfield libcatchfield-dev)
  set(component program)
  if(package STREQUAL libcatchfield-dev)
    set(component development)
  endif()
  set(folder ${PROJECT_BINARY_DIR}/debian/${package})
  file(READ LICENSE licence)
  string(REGEX REPLACE "^MIT License\n\n" "" licence "${licence}")
  string(REGEX MATCH "Copyright[^\n]*" holder "${licence}")
  string(REGEX REPLACE "^Copyright[^\n]*\n\n" "" licence "${licence}")
  string(STRIP "${licence}" licence)
  string(REGEX REPLACE "\n\n" "\n.\n" licence "${licence}")
  string(REGEX REPLACE "\n" "\n " licence "${licence}")
  string(REGEX REPLACE "^Copyright \\(c\\) " "" holder "${holder}")
  file(
    WRITE ${folder}/copyright
    "Format: https://www.debian.org/doc/packaging-manuals/copyright-format/1.0/\n"
    "Upstream-Name: catchfield\n\nFiles: *\nCopyright: ${holder}\nLicense: Expat\n\n"
    "License: Expat\n ${licence}\n")
  file(
    WRITE ${folder}/changelog.Debian
    "${package} (${PROJECT_VERSION}-1) unstable; urgency=medium\n\n"
    "  * See CHANGELOG.md in /usr/share/doc/catchfield.\n\n"
    " -- Catchfield contributors <contributors@catchfield.invalid>  Thu, 01 Jan 2026 00:00:00 +0000\n")
  execute_process(COMMAND gzip -9nf ${folder}/changelog.Debian)
  install(
    FILES ${folder}/copyright ${folder}/changelog.Debian.gz
    DESTINATION ${CMAKE_INSTALL_DATADIR}/doc/${package}
    COMPONENT ${component}
    EXCLUDE_FROM_ALL)
endforeach()

# The project's own changelog, under the name that Debian expects.
execute_process(COMMAND gzip -9nc ${PROJECT_SOURCE_DIR}/CHANGELOG.md
                OUTPUT_FILE ${PROJECT_BINARY_DIR}/debian/changelog.gz)
install(FILES ${PROJECT_BINARY_DIR}/debian/changelog.gz DESTINATION ${CMAKE_INSTALL_DOCDIR} COMPONENT program)

include(CPack)
foreach(component program development)
  cpack_add_component(${component})
endforeach()
