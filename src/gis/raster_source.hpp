// SPDX-License-Identifier: MIT
// Reading windows of raster files onto a work grid.
#pragma once

#include "base/grid.hpp"
#include "base/raster.hpp"
#include "base/shapes.hpp"
#include "gis/crs.hpp"

#include <memory>
#include <optional>
#include <string>
#include <vector>

namespace catchfield::gis {

struct RasterInfo {
    std::string path;
    std::string driver;  ///< "GTiff"
    int cols = 0;
    int rows = 0;
    int bands = 0;
    double cell_x = 0.0;    ///< in units of the CRS, positive
    double cell_y = 0.0;    ///< positive
    bool south_up = false;  ///< rows go from south to north (reads come out north-up all the same)
    Box bounds;  ///< outer edges, in the CRS; a PixelIsPoint file is half a cell wider than its
                 ///< points
    std::string crs_wkt;    ///< "" where the file states none
    std::string data_type;  ///< of the band: "Float32"
    int block_rows = 0;     ///< of the blocks (tiles, strips) in which the file stores its cells
    double block_bytes = 0.0;
    std::optional<double> nodata;
    double scale = 1.0;  ///< value = raw * scale + offset
    double offset = 0.0;
    std::string unit;  ///< band's unit as the file says it: "m", "ft", ...; "" unknown
    std::string description;
};

struct RasterLimits {
    int max_side = 2'000'000;        ///< columns or rows of the file
    double max_block_bytes = 5.0e8;  ///< of one stored block: what a decompression may take
};

struct RasterOptions {
    int band = 1;
    std::string stated_crs;       ///< the user's CRS where the file has none; "" none
    std::string crs_key = "crs";  ///< job-file key named in the message for a missing CRS
    RasterLimits limits{};
    /// Whether files beside it (world file, .aux.xml, overviews) are looked for; that takes longer
    /// the more files its folder has.
    bool companions = true;
};

enum class Resampling {
    nearest,   ///< classes: the value of the cell the centre lies in
    bilinear,  ///< continuous: between the four nearest cell centres; mean over the cell where the
               ///< target cell is two source cells wide or more
    cubic,     ///< continuous, smoother (Keys 1981, a = -0.5); falls back to bilinear beside nodata
};

/// Values on a frame. Cells without a value are 0 in `values` and 0 in `valid`.
template <typename T>
struct RasterWindow {
    Raster<T> values;
    Mask valid;
    std::size_t missing = 0;  ///< cells of the frame without a value
    bool exact = false;       ///< source cells taken as they are (same CRS, same lattice)
};

/// An open raster band. Threads may share it; they take turns at reading the file.
class RasterSource {
  public:
    /// Throws Error(input) for what cannot be opened or has no such band; Error(data) for rotated
    /// grids, no georeference, no CRS (unless stated), complex data, sizes beyond the limits.
    explicit RasterSource(const std::string& path, const RasterOptions& options = {});
    ~RasterSource();
    RasterSource(RasterSource&&) noexcept;
    RasterSource& operator=(RasterSource&&) noexcept;

    const RasterInfo& info() const { return m_info; }
    const Crs& crs() const { return m_crs; }
    /// Cell side in metres at the raster's centre (mean of both sides), also for degrees.
    double cell_m() const;
    /// Bounds of the raster in another CRS.
    Box bounds_in(const Crs& crs) const;

    /// Reads the cells of `frame`, which is in `crs`. Every cell centre is transformed without an
    /// approximating error that could show (below 1/1000 of a source cell). Nodata, NaN, infinite
    /// values and ground outside the file are masked; a bilinear value whose neighbours are partly
    /// missing is weighted from those present if they hold at least half of the weight, else
    /// masked. Scale and offset are applied. T: float or double. Throws Error(input) where the file
    /// cannot be read to the end (truncated).
    template <typename T>
    RasterWindow<T> read(const GridFrame& frame, const Crs& crs, Resampling resampling) const;

    /// The values at points in `crs`, bilinear or nearest; nothing where there is none.
    std::vector<std::optional<double>> sample(const std::vector<Point>& points, const Crs& crs,
                                              Resampling resampling) const;

    /// Metres to one unit of the band's values by its unit text ("m", "metre", "ft", "US survey
    /// foot", ...); nothing where the text is empty or not a length. For elevations.
    std::optional<double> metres_per_value() const;

  private:
    struct State;
    template <typename T>
    void read_aligned(long long first_col, long long first_row, RasterWindow<T>& window) const;
    template <typename T>
    void read_resampled(const Crs& crs, Resampling resampling, RasterWindow<T>& window) const;

    std::unique_ptr<State> m_state;
    RasterInfo m_info;
    Crs m_crs;
};

}  // namespace catchfield::gis
