# What `cmake --install` copies, in two components: program (with man page, completions and docs)
# and development (libraries, headers, tables, CMake files).

# catchfield_install_room(NAME DATA): the room's library as catchfield::<name>, headers and tables.
function(catchfield_install_room name data)
  set_target_properties(catchfield_${name} PROPERTIES EXPORT_NAME ${name})
  add_library(catchfield::${name} ALIAS catchfield_${name})
  install(TARGETS catchfield_${name} EXPORT catchfield_targets ARCHIVE COMPONENT development)
  install(
    DIRECTORY ${CMAKE_CURRENT_SOURCE_DIR}/
    DESTINATION ${CMAKE_INSTALL_INCLUDEDIR}/catchfield/${name}
    COMPONENT development
    FILES_MATCHING
    PATTERN "*.hpp"
    PATTERN data EXCLUDE
    PATTERN detail EXCLUDE)
  if(data)
    install(FILES ${data} DESTINATION ${CMAKE_INSTALL_DATADIR}/catchfield/${name} COMPONENT program)
  endif()
endfunction()

# After all rooms: flags, CMake files, documentation.
function(catchfield_install_rest)
  include(CMakePackageConfigHelpers)
  set_target_properties(catchfield_flags PROPERTIES EXPORT_NAME flags)
  install(TARGETS catchfield_flags EXPORT catchfield_targets)
  set(cmake_folder ${CMAKE_INSTALL_LIBDIR}/cmake/catchfield)
  install(
    EXPORT catchfield_targets
    NAMESPACE catchfield::
    DESTINATION ${cmake_folder}
    COMPONENT development)
  configure_package_config_file(cmake/config.cmake.in ${PROJECT_BINARY_DIR}/catchfield-config.cmake
                                INSTALL_DESTINATION ${cmake_folder})
  write_basic_package_version_file(${PROJECT_BINARY_DIR}/catchfield-config-version.cmake
                                   COMPATIBILITY SameMinorVersion)
  install(
    FILES ${PROJECT_BINARY_DIR}/catchfield-config.cmake ${PROJECT_BINARY_DIR}/catchfield-config-version.cmake
    DESTINATION ${cmake_folder}
    COMPONENT development)
  install(FILES README.md LICENSE DESTINATION ${CMAKE_INSTALL_DOCDIR} COMPONENT program)
  install(DIRECTORY docs/ DESTINATION ${CMAKE_INSTALL_DOCDIR}/docs COMPONENT program)
  install(DIRECTORY geodata-samples/ DESTINATION ${CMAKE_INSTALL_DOCDIR}/examples/demo-farm COMPONENT program)
  install(
    DIRECTORY scripts/slurm
    DESTINATION ${CMAKE_INSTALL_DOCDIR}/examples
    USE_SOURCE_PERMISSIONS
    COMPONENT program)
  install(FILES scripts/k8s-indexed-job.yaml DESTINATION ${CMAKE_INSTALL_DOCDIR}/examples COMPONENT program)
  install(DIRECTORY examples/ DESTINATION ${CMAKE_INSTALL_DOCDIR}/examples COMPONENT development)
endfunction()
