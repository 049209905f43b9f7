# Writes tables into a C++ source, each as one std::string_view named after its file.
# Bytes, not string literals, so that no table can break out of its quotes.
set(header "// Made by cmake/embed.cmake from the room's tables.\n#pragma once\n#include <string_view>\n")
set(source "#include \"${NAMESPACE}/data.hpp\"\n")
string(APPEND header "namespace catchfield::${NAMESPACE}::data {\n")
string(APPEND source "namespace catchfield::${NAMESPACE}::data {\n")
foreach(file ${INPUTS})
  get_filename_component(name ${file} NAME_WE)
  string(MAKE_C_IDENTIFIER ${name} name)
  file(READ ${file} hex HEX)
  string(REGEX REPLACE "(..)" "0x\\1," bytes "${hex}")
  string(REPEAT "0x..," 16 line)
  string(REGEX REPLACE "(${line})" "\\1\n" bytes "${bytes}")
  string(APPEND header "extern const std::string_view ${name};\n")
  string(APPEND source "static constexpr unsigned char ${name}_bytes[] = {\n${bytes}0x00};\n"
                       "const std::string_view ${name}{reinterpret_cast<const char*>(${name}_bytes), "
                       "sizeof(${name}_bytes) - 1};\n")
endforeach()
string(APPEND header "}\n")
string(APPEND source "}\n")
file(WRITE ${OUTPUT}.hpp "${header}")
file(WRITE ${OUTPUT}.cpp "${source}")
