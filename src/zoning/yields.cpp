// SPDX-License-Identifier: MIT
// Yield rasters of several years: relative yield, its average, and how steady it is.
#include "zoning/yields.hpp"

#include "base/error.hpp"
#include "base/text.hpp"

#include <cmath>

namespace catchfield::zoning {

YieldHistory combine_years(std::span<const YieldYear> years, const Mask& field) {
    if (years.size() > 255) throw Error(ErrorKind::data, "more than 255 years of yield");
    std::size_t field_cells = 0;
    for (const std::uint8_t inside : field.values) field_cells += inside != 0;
    YieldHistory out;
    out.relative_pct = Raster<float>(field.frame, 0.0F);
    out.stability_pct = Raster<float>(field.frame, 0.0F);
    out.valid = Mask(field.frame, 0);
    out.stability_valid = Mask(field.frame, 0);
    out.years = Raster<std::uint8_t>(field.frame, 0);
    std::vector<double> sum(field.size(), 0.0);
    std::vector<double> squares(field.size(), 0.0);  // about 100 %
    std::size_t used = 0;
    for (const YieldYear& year : years) {
        if (year.yield.frame != field.frame || year.valid.frame != field.frame) {
            throw Error(ErrorKind::data, "the yields are on another grid than the field",
                        {.layer = year.name});
        }
        double total = 0.0;
        std::size_t cells = 0;
        for (std::size_t i = 0; i < field.size(); ++i) {
            if (!field[i] || !year.valid[i]) continue;
            const auto y = static_cast<double>(year.yield[i]);
            if (!std::isfinite(y) || y < 0.0) {
                throw Error(ErrorKind::data, "a yield is negative or not a number",
                            {.layer = year.name, .hint = "Mark cells without a yield as missing."});
            }
            total += y;
            ++cells;
        }
        if (cells == 0) {
            out.warnings.push_back("yields of '" + year.name +
                                   "' are left out: none lies in the field");
            continue;
        }
        if (!(total > 0.0)) {
            throw Error(ErrorKind::data, "all yields of the year are zero", {.layer = year.name});
        }
        const double missing_pct =
            100.0 * static_cast<double>(field_cells - cells) / static_cast<double>(field_cells);
        if (missing_pct > 20.0) {
            out.warnings.push_back("yields of '" + year.name + "' miss " + fixed(missing_pct, 0) +
                                   " % of the field; they are relative to the part they cover");
        }
        ++used;
        const double factor = 100.0 * static_cast<double>(cells) / total;
        for (std::size_t i = 0; i < field.size(); ++i) {
            if (!field[i] || !year.valid[i]) continue;
            const double relative = static_cast<double>(year.yield[i]) * factor;
            sum[i] += relative;
            squares[i] += (relative - 100.0) * (relative - 100.0);
            ++out.years[i];
        }
    }
    if (used == 0) {
        throw Error(ErrorKind::data, "no year has a yield in the field",
                    {.hint = "Check that the yield layers lie on the field."});
    }
    if (used == 1) {
        out.warnings.push_back("one year of yields says nothing about how steady they are");
    }
    for (std::size_t i = 0; i < field.size(); ++i) {
        const double n = out.years[i];
        if (n < 1.0) continue;
        const double mean = sum[i] / n;
        out.valid[i] = 1;
        out.relative_pct[i] = static_cast<float>(mean);
        if (n < 2.0) continue;
        const double spread = squares[i] - n * (mean - 100.0) * (mean - 100.0);
        out.stability_valid[i] = 1;
        out.stability_pct[i] = static_cast<float>(std::sqrt(std::max(spread, 0.0) / (n - 1.0)));
    }
    return out;
}

}  // namespace catchfield::zoning
