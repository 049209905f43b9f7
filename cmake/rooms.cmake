# A room is a folder under src with one static library target, catchfield_<room>.

# catchfield_room(NAME SOURCES a.cpp ... [DATA t.csv ...] [DEPENDS room ...] [PRIVATE lib ...])
#
# SOURCES  files beside the room's CMakeLists.txt
# DATA     tables built into the binary; data/species.csv becomes catchfield::<room>::data::species,
#          a std::string_view declared in the generated header "<room>/data.hpp"
# DEPENDS  rooms that this room's headers use
# PRIVATE  libraries that only the room's .cpp files use
# PROGRAM  part of the program only: its library and headers are not installed
function(catchfield_room name)
  cmake_parse_arguments(ROOM "PROGRAM" "" "SOURCES;DATA;DEPENDS;PRIVATE" ${ARGN})
  set(target catchfield_${name})
  set(sources ${ROOM_SOURCES})
  if(ROOM_DATA)
    set(generated ${CMAKE_CURRENT_BINARY_DIR}/include/${name}/data)
    set(inputs "")
    foreach(file ${ROOM_DATA})
      list(APPEND inputs ${CMAKE_CURRENT_SOURCE_DIR}/${file})
    endforeach()
    add_custom_command(
      OUTPUT ${generated}.hpp ${generated}.cpp
      COMMAND ${CMAKE_COMMAND} -DNAMESPACE=${name} -DOUTPUT=${generated} "-DINPUTS=${inputs}" -P
              ${PROJECT_SOURCE_DIR}/cmake/embed.cmake
      DEPENDS ${inputs} ${PROJECT_SOURCE_DIR}/cmake/embed.cmake
      VERBATIM)
    list(APPEND sources ${generated}.hpp ${generated}.cpp)
  endif()
  if(NOT sources)
    message(FATAL_ERROR "room ${name} has no sources")
  endif()
  add_library(${target} STATIC ${sources})
  target_link_libraries(${target} PUBLIC catchfield_flags)
  foreach(room ${ROOM_DEPENDS})
    target_link_libraries(${target} PUBLIC catchfield_${room})
  endforeach()
  target_link_libraries(${target} PRIVATE $<BUILD_INTERFACE:catchfield_warnings> ${ROOM_PRIVATE})
  if(ROOM_DATA)
    target_include_directories(${target} PUBLIC $<BUILD_INTERFACE:${CMAKE_CURRENT_BINARY_DIR}/include>)
  endif()
  if(NOT ROOM_PROGRAM)
    catchfield_install_room(${name} "${ROOM_DATA}")
  endif()
endfunction()

# catchfield_test(NAME LABEL label SOURCES a.cpp ... ROOMS room ... [PRIVATE lib ...] [WHOLE])
#
# A test that cannot run under a sanitizer gets the label no_sanitizer besides its own, and a comment that says why
# (set_tests_properties ... LABELS "command;no_sanitizer").
#
# One test program. Its cases become CTest tests one by one; with WHOLE the program is one CTest
# test, which saves GDAL's start-up time for every case.
function(catchfield_test name)
  cmake_parse_arguments(T "WHOLE" "LABEL" "SOURCES;ROOMS;PRIVATE" ${ARGN})
  set(target test_${name})
  add_executable(${target} ${T_SOURCES})
  foreach(room ${T_ROOMS})
    target_link_libraries(${target} PRIVATE catchfield_${room})
  endforeach()
  target_link_libraries(${target} PRIVATE catchfield_flags catchfield_warnings GTest::gtest_main
                                          ${T_PRIVATE})
  target_include_directories(${target} PRIVATE ${PROJECT_SOURCE_DIR}/tests)
  target_compile_definitions(${target} PRIVATE CATCHFIELD_SOURCE_DIR="${PROJECT_SOURCE_DIR}")
  if(T_WHOLE)
    add_test(NAME ${name} COMMAND ${target})
    set_tests_properties(${name} PROPERTIES LABELS ${T_LABEL})
  else()
    gtest_discover_tests(${target} TEST_PREFIX ${name}. DISCOVERY_TIMEOUT 120 PROPERTIES LABELS ${T_LABEL})
  endif()
endfunction()

# catchfield_timeout(SECONDS test ...): a test's limit; sanitizers get ten times that.
function(catchfield_timeout seconds)
  if(CATCHFIELD_SANITIZE)
    math(EXPR seconds "10 * ${seconds}")
  endif()
  set_tests_properties(${ARGN} PROPERTIES TIMEOUT ${seconds})
endfunction()

# catchfield_benchmark(NAME SOURCES a.cpp ... ROOMS room ...): a Google Benchmark program.
function(catchfield_benchmark name)
  if(NOT CATCHFIELD_BENCHMARKS)
    return()
  endif()
  cmake_parse_arguments(B "" "" "SOURCES;ROOMS;PRIVATE" ${ARGN})
  add_executable(bench_${name} ${B_SOURCES})
  foreach(room ${B_ROOMS})
    target_link_libraries(bench_${name} PRIVATE catchfield_${room})
  endforeach()
  target_link_libraries(bench_${name} PRIVATE catchfield_flags catchfield_warnings
                                              benchmark::benchmark_main ${B_PRIVATE})
endfunction()
