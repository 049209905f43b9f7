# Compiler flags, kept apart: what every target needs, and what only developers see.

add_library(catchfield_flags INTERFACE)
target_compile_features(catchfield_flags INTERFACE cxx_std_20)
# Fused multiply-add would make results differ between processors; the same inputs give the same bytes.
target_compile_options(catchfield_flags INTERFACE -ffp-contract=off)
# Installed headers are found as <catchfield/terrain/slope.hpp>, and among themselves as "base/grid.hpp".
target_include_directories(
  catchfield_flags
  INTERFACE $<BUILD_INTERFACE:${PROJECT_SOURCE_DIR}/src> $<INSTALL_INTERFACE:${CMAKE_INSTALL_INCLUDEDIR}>
            $<INSTALL_INTERFACE:${CMAKE_INSTALL_INCLUDEDIR}/catchfield>)
if(CATCHFIELD_SANITIZE)
  target_compile_options(catchfield_flags INTERFACE -fsanitize=${CATCHFIELD_SANITIZE}
                                                    -fno-omit-frame-pointer -fno-sanitize-recover=all)
  target_link_options(catchfield_flags INTERFACE -fsanitize=${CATCHFIELD_SANITIZE})
endif()
if(CATCHFIELD_FUZZ)
  # Coverage counters in every room; only the fuzz programs bring libFuzzer's main.
  target_compile_options(catchfield_flags INTERFACE -fsanitize=fuzzer-no-link)
  target_link_options(catchfield_flags INTERFACE -fsanitize=fuzzer-no-link)
endif()
if(CATCHFIELD_COVERAGE)
  target_compile_options(catchfield_flags INTERFACE --coverage -fprofile-update=atomic)
  target_link_options(catchfield_flags INTERFACE --coverage)
endif()

add_library(catchfield_warnings INTERFACE)
target_compile_options(
  catchfield_warnings
  INTERFACE -Wall -Wextra -Wpedantic -Wshadow -Wconversion -Wsign-conversion -Wold-style-cast
            -Wdouble-promotion
            # GCC 12 sees overlaps in std::string concatenation that are not there (GCC bug 105651).
            $<$<AND:$<CXX_COMPILER_ID:GNU>,$<VERSION_LESS:$<CXX_COMPILER_VERSION>,13>>:-Wno-restrict>
            $<$<BOOL:${CATCHFIELD_WERROR}>:-Werror>)

set(CMAKE_CXX_EXTENSIONS OFF)
