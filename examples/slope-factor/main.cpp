// SPDX-License-Identifier: MIT
// Prints LS of a uniform slope: slope-factor SLOPE_PCT LENGTH_M
#include <catchfield/base/error.hpp>
#include <catchfield/base/text.hpp>
#include <catchfield/terrain/slope_length.hpp>

#include <iostream>

int main(int argc, char** argv) {
    const auto slope_pct = catchfield::parse_number(argc > 1 ? argv[1] : "");
    const auto length_m = catchfield::parse_number(argc > 2 ? argv[2] : "");
    if (!slope_pct || !length_m) {
        std::cerr << "usage: slope-factor SLOPE_PCT LENGTH_M\n";
        return 2;
    }
    try {
        const double ls = catchfield::terrain::ls_uniform(*slope_pct, *length_m);
        std::cout << "LS = " << catchfield::fixed(ls, 2) << "\n";
    } catch (const catchfield::Error& error) {
        std::cerr << error.what() << "\n";
        return 1;
    }
}
