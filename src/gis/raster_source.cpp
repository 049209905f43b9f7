// SPDX-License-Identifier: MIT
#include "gis/raster_source.hpp"

#include "base/error.hpp"
#include "base/text.hpp"
#include "base/units.hpp"
#include "gis/degree_grid.hpp"
#include "gis/detail/gdal.hpp"
#include "gis/detail/tiff.hpp"
#include "gis/files.hpp"

#include <cpl_vsi.h>
#include <gdal_priv.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <filesystem>
#include <limits>
#include <mutex>
#include <span>
#include <type_traits>

namespace catchfield::gis {

struct RasterSource::State {
    std::mutex reading;  // GDAL's data sets are for one thread at a time
    GDALDatasetUniquePtr dataset;
    GDALRasterBand* band = nullptr;       // owned by the dataset
    GDALRasterBand* mask_band = nullptr;  // where the file carries a mask or alpha
    // Column and row (fractional, row 0 first in the file) of a position.
    double origin_x = 0.0;
    double origin_y = 0.0;
    double step_x = 1.0;
    double step_y = -1.0;

    double column(double x) const { return (x - origin_x) / step_x; }
    double row(double y) const { return (y - origin_y) / step_y; }
};

namespace {

/// A block of source cells, rows as in the file.
template <typename T>
struct Block {
    int col0 = 0;
    int row0 = 0;
    int cols = 0;
    int rows = 0;
    std::vector<T> values;
    std::vector<std::uint8_t> valid;

    std::size_t index(int row, int col) const {
        return static_cast<std::size_t>(row - row0) * static_cast<std::size_t>(cols) +
               static_cast<std::size_t>(col - col0);
    }
};

/// No physical quantity is as large: stands for rounded or unlisted nodata values of single floats.
constexpr double beyond_reason = 3.0e38;

template <typename T>
GDALDataType buffer_type() {
    return std::is_same_v<T, float> ? GDT_Float32 : GDT_Float64;
}

/// The nodata value as it comes out of a read into T.
template <typename T>
std::optional<T> nodata_as(const RasterInfo& info) {
    if (!info.nodata || std::isnan(*info.nodata)) return std::nullopt;
    double value = *info.nodata;
    if (info.data_type == "Float32" || std::is_same_v<T, float>) {
        const double most = std::numeric_limits<float>::max();
        value = static_cast<double>(static_cast<float>(std::clamp(value, -most, most)));
    }
    return static_cast<T>(value);
}

template <typename T>
void mark_valid(std::span<const T> values, std::span<std::uint8_t> valid, const RasterInfo& info) {
    const std::optional<T> nodata = nodata_as<T>(info);
    for (std::size_t i = 0; i < values.size(); ++i) {
        const T value = values[i];
        const bool usable = std::abs(value) < static_cast<T>(beyond_reason);  // false for NaN too
        if (!usable || (nodata && value == *nodata)) valid[i] = 0;
    }
}

/// Source positions of the target's cell centres, for a run of rows. Blocks of 32 x 32 cells are
/// transformed at nine points and interpolated by a biquadratic; a tenth point proves the block,
/// and blocks that fail are transformed cell by cell.
class Positions {
  public:
    static constexpr int side = 32;
    static constexpr double tolerance_cells = 1.0e-4;

    Positions(const GridFrame& frame, const Transformer& move, double origin_x, double origin_y,
              double step_x, double step_y)
        : m_frame(frame),
          m_move(move),
          m_origin_x(origin_x),
          m_origin_y(origin_y),
          m_step_x(step_x),
          m_step_y(step_y) {}

    /// Fractional source column and row of each cell of rows [begin, end).
    void fill(int begin, int end, std::vector<double>& cols, std::vector<double>& rows) const {
        const auto width = static_cast<std::size_t>(m_frame.cols);
        cols.resize(width * static_cast<std::size_t>(end - begin));
        rows.resize(cols.size());
        for (int row = begin; row < end; row += side) {
            for (int col = 0; col < m_frame.cols; col += side) {
                fill_block(begin, row, std::min(end, row + side), col,
                           std::min(m_frame.cols, col + side), cols, rows);
            }
        }
    }

    /// Source position of a point of the target's CRS; infinite where there is none.
    void exact(double& x, double& y) const {
        m_move.apply_unchecked(&x, &y, 1);
        x = (x - m_origin_x) / m_step_x;
        y = (y - m_origin_y) / m_step_y;
    }

  private:
    void fill_block(int first_row, int row0, int row1, int col0, int col1,
                    std::vector<double>& cols, std::vector<double>& rows) const {
        const auto at = [&](int row, int col) {
            return static_cast<std::size_t>(row - first_row) *
                       static_cast<std::size_t>(m_frame.cols) +
                   static_cast<std::size_t>(col);
        };
        if (m_move.identity()) {
            for (int row = row0; row < row1; ++row) {
                const double y = (m_frame.y_centre(row) - m_origin_y) / m_step_y;
                for (int col = col0; col < col1; ++col) {
                    cols[at(row, col)] = (m_frame.x_centre(col) - m_origin_x) / m_step_x;
                    rows[at(row, col)] = y;
                }
            }
            return;
        }
        const double height = row1 - row0;
        const double width = col1 - col0;
        const bool small = height * width <= 12.0;
        if (small || !interpolated(row0, row1, col0, col1, at, cols, rows)) {
            std::vector<double> x;
            std::vector<double> y;
            for (int row = row0; row < row1; ++row) {
                for (int col = col0; col < col1; ++col) {
                    x.push_back(m_frame.x_centre(col));
                    y.push_back(m_frame.y_centre(row));
                }
            }
            m_move.apply_unchecked(x.data(), y.data(), x.size());
            std::size_t i = 0;
            for (int row = row0; row < row1; ++row) {
                for (int col = col0; col < col1; ++col, ++i) {
                    cols[at(row, col)] = (x[i] - m_origin_x) / m_step_x;
                    rows[at(row, col)] = (y[i] - m_origin_y) / m_step_y;
                }
            }
        }
    }

    template <typename At>
    bool interpolated(int row0, int row1, int col0, int col1, const At& at,
                      std::vector<double>& cols, std::vector<double>& rows) const {
        const double x0 = m_frame.west + col0 * m_frame.cell;
        const double y0 = m_frame.north - row0 * m_frame.cell;
        const double dx = (col1 - col0) * m_frame.cell;
        const double dy = -(row1 - row0) * m_frame.cell;
        std::array<double, 10> x{};
        std::array<double, 10> y{};
        for (std::size_t i = 0; i < 9; ++i) {
            x[i] = x0 + 0.5 * static_cast<double>(i % 3) * dx;
            y[i] = y0 + 0.5 * static_cast<double>(i / 3) * dy;
        }
        constexpr double probe = 0.23;
        x[9] = x0 + probe * dx;
        y[9] = y0 + probe * dy;
        m_move.apply_unchecked(x.data(), y.data(), x.size());
        for (std::size_t i = 0; i < x.size(); ++i) {
            if (!std::isfinite(x[i]) || !std::isfinite(y[i])) return false;
            x[i] = (x[i] - m_origin_x) / m_step_x;
            y[i] = (y[i] - m_origin_y) / m_step_y;
        }
        // Quadratic through the values at 0, 1/2 and 1.
        const auto weights = [](double t) {
            return std::array<double, 3>{(1.0 - t) * (1.0 - 2.0 * t), 4.0 * t * (1.0 - t),
                                         t * (2.0 * t - 1.0)};
        };
        const auto along_rows = [&](const std::array<double, 10>& nodes,
                                    const std::array<double, 3>& w) {
            return std::array<double, 3>{w[0] * nodes[0] + w[1] * nodes[3] + w[2] * nodes[6],
                                         w[0] * nodes[1] + w[1] * nodes[4] + w[2] * nodes[7],
                                         w[0] * nodes[2] + w[1] * nodes[5] + w[2] * nodes[8]};
        };
        const auto dot = [](const std::array<double, 3>& a, const std::array<double, 3>& b) {
            return a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
        };
        const auto at_probe = weights(probe);
        if (std::abs(dot(along_rows(x, at_probe), at_probe) - x[9]) > tolerance_cells ||
            std::abs(dot(along_rows(y, at_probe), at_probe) - y[9]) > tolerance_cells) {
            return false;
        }
        std::array<std::array<double, 3>, side> across{};
        for (int col = col0; col < col1; ++col) {
            across[static_cast<std::size_t>(col - col0)] =
                weights((col - col0 + 0.5) / (col1 - col0));
        }
        for (int row = row0; row < row1; ++row) {
            const auto down = weights((row - row0 + 0.5) / (row1 - row0));
            const auto row_x = along_rows(x, down);
            const auto row_y = along_rows(y, down);
            for (int col = col0; col < col1; ++col) {
                const auto& w = across[static_cast<std::size_t>(col - col0)];
                cols[at(row, col)] = dot(row_x, w);
                rows[at(row, col)] = dot(row_y, w);
            }
        }
        return true;
    }

    const GridFrame& m_frame;
    const Transformer& m_move;
    double m_origin_x;
    double m_origin_y;
    double m_step_x;
    double m_step_y;
};

/// True where the position lies in the raster.
bool inside(const RasterInfo& info, double col, double row) {
    return col >= 0.0 && row >= 0.0 && col < info.cols && row < info.rows;
}

template <typename T>
std::optional<double> sample_nearest(const Block<T>& block, double col, double row) {
    const std::size_t i = block.index(static_cast<int>(row), static_cast<int>(col));
    if (block.valid[i] == 0) return std::nullopt;
    return static_cast<double>(block.values[i]);
}

template <typename T>
std::optional<double> sample_bilinear(const Block<T>& block, const RasterInfo& info, double col,
                                      double row) {
    const double c = col - 0.5;
    const double r = row - 0.5;
    const int c0 = static_cast<int>(std::floor(c));
    const int r0 = static_cast<int>(std::floor(r));
    const double fc = c - c0;
    const double fr = r - r0;
    double sum = 0.0;
    double present = 0.0;
    double possible = 0.0;
    for (int dr = 0; dr < 2; ++dr) {
        const int rr = r0 + dr;
        if (rr < 0 || rr >= info.rows) continue;
        const double wr = dr == 0 ? 1.0 - fr : fr;
        for (int dc = 0; dc < 2; ++dc) {
            const int cc = c0 + dc;
            if (cc < 0 || cc >= info.cols) continue;
            const double weight = wr * (dc == 0 ? 1.0 - fc : fc);
            possible += weight;
            const std::size_t i = block.index(rr, cc);
            if (block.valid[i] == 0) continue;
            present += weight;
            sum += weight * static_cast<double>(block.values[i]);
        }
    }
    if (!(present > 0.0) || present < 0.5 * possible) return std::nullopt;
    return sum / present;
}

/// Keys 1981, IEEE Trans. ASSP 29:1153, a = -1/2.
std::array<double, 4> cubic_weights(double t) {
    return {((-0.5 * t + 1.0) * t - 0.5) * t, (1.5 * t - 2.5) * t * t + 1.0,
            ((-1.5 * t + 2.0) * t + 0.5) * t, (0.5 * t - 0.5) * t * t};
}

template <typename T>
std::optional<double> sample_cubic(const Block<T>& block, const RasterInfo& info, double col,
                                   double row) {
    const double c = col - 0.5;
    const double r = row - 0.5;
    const int c0 = static_cast<int>(std::floor(c)) - 1;
    const int r0 = static_cast<int>(std::floor(r)) - 1;
    if (c0 < 0 || r0 < 0 || c0 + 3 >= info.cols || r0 + 3 >= info.rows) {
        return sample_bilinear(block, info, col, row);
    }
    const auto wc = cubic_weights(c - (c0 + 1));
    const auto wr = cubic_weights(r - (r0 + 1));
    double sum = 0.0;
    for (int dr = 0; dr < 4; ++dr) {
        double along = 0.0;
        for (int dc = 0; dc < 4; ++dc) {
            const std::size_t i = block.index(r0 + dr, c0 + dc);
            if (block.valid[i] == 0) return sample_bilinear(block, info, col, row);
            along += wc[static_cast<std::size_t>(dc)] * static_cast<double>(block.values[i]);
        }
        sum += wr[static_cast<std::size_t>(dr)] * along;
    }
    return sum;
}

/// Offsets of the sub-points of a target cell in source cells, for averaging. One point, no offset,
/// where the target is finer than two source cells.
std::vector<Point> sub_points(const GridFrame& frame, const Positions& positions) {
    const double x = 0.5 * (frame.west + frame.east());
    const double y = 0.5 * (frame.north + frame.south());
    const double half = 0.5 * frame.cell;
    std::array<Point, 4> around = {Point{x - half, y}, Point{x + half, y}, Point{x, y + half},
                                   Point{x, y - half}};
    for (Point& point : around) {
        positions.exact(point.x, point.y);
        if (!std::isfinite(point.x) || !std::isfinite(point.y)) return {{0.0, 0.0}};
    }
    const Point across{around[1].x - around[0].x, around[1].y - around[0].y};
    const Point down{around[3].x - around[2].x, around[3].y - around[2].y};
    const auto pieces = [](const Point& side) {
        const double length = std::hypot(side.x, side.y);
        return length < 2.0 - 1e-6 ? 1 : static_cast<int>(std::ceil(length - 1e-6));
    };
    const int n_across = pieces(across);
    const int n_down = pieces(down);
    std::vector<Point> offsets;
    for (int i = 0; i < n_down; ++i) {
        const double v = (i + 0.5) / n_down - 0.5;
        for (int j = 0; j < n_across; ++j) {
            const double u = (j + 0.5) / n_across - 0.5;
            offsets.push_back({u * across.x + v * down.x, u * across.y + v * down.y});
        }
    }
    return offsets;
}

}  // namespace

namespace {

/// Bytes that a file of an uncompressed format holds at least, where it holds every cell it
/// speaks of; 0 for formats that look after that themselves.
double least_bytes(const RasterInfo& info, GDALDataType type) {
    const double cells = static_cast<double>(info.cols) * info.rows;
    if (info.driver == "AAIGrid") return 2.0 * cells - 1.0;  // a digit and a blank
    const bool raw = info.driver == "ENVI" || info.driver == "EHdr" || info.driver == "SAGA";
    if (!raw || type == GDT_Byte) return raw ? cells / 8.0 : 0.0;  // bytes may hold single bits
    return cells * info.bands * GDALGetDataTypeSizeBytes(type);
}

/// The WKT of a data set's CRS. Working it out of a GeoTIFF's keys takes PROJ longer than a field's
/// cells take to read, and a plan has thousands of rasters with the same keys: a thread keeps those
/// of its last small file that stood alone (with others beside it, theirs may count).
std::string crs_wkt_of(GDALDataset& dataset, const std::string& path, bool alone) {
    constexpr std::uintmax_t small = 1 << 20;
    const auto stated = [&] { return detail::wkt_of(dataset.GetSpatialRef()); };
    std::error_code failed;
    if (!alone || std::filesystem::file_size(path, failed) > small || failed) return stated();
    thread_local detail::CrsKeys last;
    thread_local std::string last_wkt;
    detail::CrsKeys keys = detail::describing_tags(read_file(path)).crs;
    if (keys.keys.empty()) return stated();
    if (keys != last) {
        last_wkt = stated();
        last = std::move(keys);
    }
    return last_wkt;
}

}  // namespace

RasterSource::RasterSource(const std::string& path, const RasterOptions& options)
    : m_state(std::make_unique<State>()) {
    detail::ensure_started();
    const std::string name = detail::open_path(path);
    const detail::ErrorScope scope;
    const char* const no_companions[] = {nullptr};
    m_state->dataset.reset(GDALDataset::Open(
        name.c_str(), GDAL_OF_RASTER | GDAL_OF_READONLY | GDAL_OF_VERBOSE_ERROR,
        detail::raster_drivers(), nullptr, options.companions ? nullptr : no_companions));
    GDALDataset* dataset = m_state->dataset.get();
    if (dataset == nullptr) {
        const bool vrt =
            path.size() > 4 && same_ignoring_case(path.substr(path.size() - 4), ".vrt");
        scope.fail(ErrorKind::input, "cannot be opened as a raster",
                   {.path = path,
                    .hint = vrt ? "Virtual rasters are off, because they can read any other file; "
                                  "allow them, or translate this one to GeoTIFF."
                                : ""});
    }
    if (dataset->GetRasterCount() == 0) {
        throw Error(ErrorKind::input, "holds no raster band of its own",
                    {.path = path, .hint = "Export the raster you mean to GeoTIFF."});
    }
    if (options.band < 1 || options.band > dataset->GetRasterCount()) {
        throw Error(ErrorKind::usage,
                    "has no band " + std::to_string(options.band) + " (it has " +
                        std::to_string(dataset->GetRasterCount()) + ")",
                    {.path = path});
    }
    GDALRasterBand* band = dataset->GetRasterBand(options.band);
    m_state->band = band;
    m_info.path = path;
    m_info.driver = dataset->GetDriver() != nullptr ? dataset->GetDriver()->GetDescription() : "";
    m_info.cols = dataset->GetRasterXSize();
    m_info.rows = dataset->GetRasterYSize();
    m_info.bands = dataset->GetRasterCount();
    m_info.data_type = GDALGetDataTypeName(band->GetRasterDataType());
    if (GDALDataTypeIsComplex(band->GetRasterDataType()) != 0) {
        throw Error(ErrorKind::data, "holds complex numbers", {.path = path});
    }
    const int max_side = options.limits.max_side;
    if (m_info.cols < 1 || m_info.rows < 1 || m_info.cols > max_side || m_info.rows > max_side) {
        throw Error(ErrorKind::data,
                    "says it has " + std::to_string(m_info.cols) + " x " +
                        std::to_string(m_info.rows) + " cells, more than can be read (" +
                        std::to_string(max_side) + " a side)",
                    {.path = path});
    }
    VSIStatBufL status;
    const double least = least_bytes(m_info, band->GetRasterDataType());
    if (least > 0.0 && VSIStatL(name.c_str(), &status) == 0 &&
        static_cast<double>(status.st_size) < least) {
        throw Error(ErrorKind::input,
                    "is cut short: it says it has " + std::to_string(m_info.cols) + " x " +
                        std::to_string(m_info.rows) + " cells, and has no room for them",
                    {.path = path});
    }
    int block_cols = 0;
    int block_rows = 0;
    band->GetBlockSize(&block_cols, &block_rows);
    m_info.block_rows = std::max(1, block_rows);
    m_info.block_bytes = static_cast<double>(block_cols) * block_rows *
                         GDALGetDataTypeSizeBytes(band->GetRasterDataType());
    if (m_info.block_bytes > options.limits.max_block_bytes) {
        throw Error(ErrorKind::data,
                    "is stored in blocks of " + fixed(m_info.block_bytes / 1e6, 0) +
                        " MB, more than is taken into memory at once",
                    {.path = path, .hint = "Rewrite it as a tiled GeoTIFF."});
    }
    std::array<double, 6> transform{};
    if (dataset->GetGeoTransform(transform.data()) != CE_None) {
        throw Error(ErrorKind::data, "says nothing about where it lies (no georeference)",
                    {.path = path, .hint = "Georeference it, for example with a world file."});
    }
    if (!std::all_of(transform.begin(), transform.end(),
                     [](double v) { return std::isfinite(v); }) ||
        transform[1] == 0.0 || transform[5] == 0.0) {
        throw Error(ErrorKind::data, "has a georeference that makes no sense", {.path = path});
    }
    const double turn = std::max(std::abs(transform[2] / transform[5]) * m_info.rows,
                                 std::abs(transform[4] / transform[1]) * m_info.cols);
    if (turn > 1e-3 || transform[1] < 0.0) {
        throw Error(ErrorKind::data,
                    transform[1] < 0.0 ? "is mirrored from east to west" : "is a rotated grid",
                    {.path = path, .hint = "Warp it to a north-up grid first (gdalwarp)."});
    }
    m_state->origin_x = transform[0];
    m_state->origin_y = transform[3];
    m_state->step_x = transform[1];
    m_state->step_y = transform[5];
    m_info.cell_x = transform[1];
    m_info.cell_y = std::abs(transform[5]);
    m_info.south_up = transform[5] > 0.0;
    const double y_end = transform[3] + transform[5] * m_info.rows;
    m_info.bounds = {transform[0], std::min(transform[3], y_end),
                     transform[0] + transform[1] * m_info.cols, std::max(transform[3], y_end)};
    int has = 0;
    if (band->GetRasterDataType() == GDT_Int64) {
        const auto value = band->GetNoDataValueAsInt64(&has);
        if (has != 0) m_info.nodata = static_cast<double>(value);
    } else if (band->GetRasterDataType() == GDT_UInt64) {
        const auto value = band->GetNoDataValueAsUInt64(&has);
        if (has != 0) m_info.nodata = static_cast<double>(value);
    } else {
        const double value = band->GetNoDataValue(&has);
        if (has != 0) m_info.nodata = value;
    }
    m_info.scale = band->GetScale(&has);
    if (has == 0) m_info.scale = 1.0;
    m_info.offset = band->GetOffset(&has);
    if (has == 0) m_info.offset = 0.0;
    if (!std::isfinite(m_info.scale) || m_info.scale == 0.0 || !std::isfinite(m_info.offset)) {
        throw Error(ErrorKind::data, "has a scale or offset that makes no sense", {.path = path});
    }
    m_info.unit = band->GetUnitType();
    m_info.description = band->GetDescription();
    const int flags = band->GetMaskFlags();
    if ((flags & (GMF_PER_DATASET | GMF_ALPHA)) != 0) m_state->mask_band = band->GetMaskBand();
    const bool alone = !options.companions && m_info.driver == "GTiff";
    m_info.crs_wkt = crs_wkt_of(*dataset, path, alone);
    m_crs = require_crs(m_info.crs_wkt, options.stated_crs, path, options.crs_key);
    if (m_crs.is_geographic()) {
        const Box& box = m_info.bounds;
        if (box.min_x < -361.0 || box.max_x > 541.0 || box.min_y < -91.0 || box.max_y > 91.0) {
            throw Error(ErrorKind::data,
                        "says it is in degrees, but its edges are at " + shortest(box.min_x) +
                            ", " + shortest(box.min_y),
                        {.path = path, .hint = "Check its coordinate reference system."});
        }
    }
}

RasterSource::~RasterSource() = default;
RasterSource::RasterSource(RasterSource&&) noexcept = default;
RasterSource& RasterSource::operator=(RasterSource&&) noexcept = default;

double RasterSource::cell_m() const {
    if (!m_crs.is_geographic()) {
        return 0.5 * (m_info.cell_x + m_info.cell_y) * m_crs.metres_per_unit();
    }
    const DegreesPerMetre per_m =
        degrees_per_metre(0.5 * (m_info.bounds.min_y + m_info.bounds.max_y));
    return 0.5 * (m_info.cell_x / per_m.lon + m_info.cell_y / per_m.lat);
}

Box RasterSource::bounds_in(const Crs& crs) const {
    return transformer(m_crs, crs).apply(m_info.bounds);
}

namespace {

/// Reads source cells and marks which have values. The block must lie in the raster. State:
/// RasterSource's.
template <typename T>
void read_cells(auto& state, const RasterInfo& info, int col0, int row0, int cols, int rows,
                std::span<T> values, std::span<std::uint8_t> valid) {
    const detail::ErrorScope scope;
    GDALRasterBand* const mask = state.mask_band;
    bool read = false;
    bool mask_read = false;
    {
        const std::lock_guard alone(state.reading);
        read = state.band->RasterIO(GF_Read, col0, row0, cols, rows, values.data(), cols, rows,
                                    buffer_type<T>(), 0, 0, nullptr) == CE_None;
        mask_read =
            mask == nullptr || mask->RasterIO(GF_Read, col0, row0, cols, rows, valid.data(), cols,
                                              rows, GDT_Byte, 0, 0, nullptr) == CE_None;
    }
    if (!read || !mask_read || scope.failed()) {
        scope.fail(ErrorKind::input, "cannot be read to the end", {.path = info.path});
    }
    if (mask == nullptr) {
        std::fill(valid.begin(), valid.end(), std::uint8_t{1});
    } else {
        for (std::uint8_t& flag : valid) flag = flag != 0 ? 1 : 0;
    }
    mark_valid<T>(values, valid, info);
}

/// How far two lattices may be off each other and still count as one, in cells.
constexpr double lattice_tolerance = 1.0e-4;

/// The transformation leaves every place of the frame where it is, to 1/2000 of a cell (null datum
/// shifts: NAD83 and WGS 84 UTM differ by 0.1 mm of ellipsoid).
bool leaves_in_place(const GridFrame& frame, const Transformer& move) {
    if (move.identity()) return true;
    std::array<double, 9> x{};
    std::array<double, 9> y{};
    for (std::size_t i = 0; i < 9; ++i) {
        x[i] = frame.west + 0.5 * static_cast<double>(i % 3) * (frame.east() - frame.west);
        y[i] = frame.south() + 0.5 * static_cast<double>(i / 3) * (frame.north - frame.south());
    }
    const double most = 5.0e-4 * frame.cell;
    const auto x_before = x;
    const auto y_before = y;
    move.apply_unchecked(x.data(), y.data(), x.size());
    for (std::size_t i = 0; i < 9; ++i) {
        if (!(std::abs(x[i] - x_before[i]) < most && std::abs(y[i] - y_before[i]) < most))
            return false;
    }
    return true;
}

}  // namespace

template <typename T>
RasterWindow<T> RasterSource::read(const GridFrame& frame, const Crs& crs,
                                   Resampling resampling) const {
    const State& state = *m_state;
    RasterWindow<T> window{Raster<T>(frame), Mask(frame), 0, false};
    const Transformer& move = transformer(crs, m_crs);
    const double shift_x = state.column(frame.west);
    const double shift_y =
        m_info.south_up ? m_info.rows - state.row(frame.north) : state.row(frame.north);
    const bool same_cell =
        std::abs(m_info.cell_x / frame.cell - 1.0) * frame.cols < lattice_tolerance &&
        std::abs(m_info.cell_y / frame.cell - 1.0) * frame.rows < lattice_tolerance;
    const bool same_lattice = same_cell &&
                              std::abs(shift_x - std::round(shift_x)) < lattice_tolerance &&
                              std::abs(shift_y - std::round(shift_y)) < lattice_tolerance;
    if (same_lattice && std::abs(shift_x) < 1e9 && std::abs(shift_y) < 1e9 &&
        leaves_in_place(frame, move)) {
        window.exact = true;
        read_aligned(static_cast<long long>(std::llround(shift_x)),
                     static_cast<long long>(std::llround(shift_y)), window);
    } else {
        read_resampled(crs, resampling, window);
    }
    const T scale = static_cast<T>(m_info.scale);
    const T offset = static_cast<T>(m_info.offset);
    const bool scaled = m_info.scale != 1.0 || m_info.offset != 0.0;
    for (std::size_t i = 0; i < window.values.size(); ++i) {
        if (window.valid[i] == 0) {
            window.values[i] = 0;
            ++window.missing;
        } else if (scaled) {
            window.values[i] = window.values[i] * scale + offset;
        }
    }
    return window;
}

template <typename T>
void RasterSource::read_aligned(long long first_col, long long first_row,
                                RasterWindow<T>& window) const {
    const GridFrame& frame = window.values.frame;
    const long long col0 = std::max(0LL, first_col);
    const long long row0 = std::max(0LL, first_row);
    const long long col1 = std::min<long long>(m_info.cols, first_col + frame.cols);
    const long long row1 = std::min<long long>(m_info.rows, first_row + frame.rows);
    if (col0 >= col1 || row0 >= row1) return;
    const auto cols = static_cast<std::size_t>(col1 - col0);
    // Strips keep the copy small beside the result. They end where the file's blocks do, if those
    // are no taller, so that a block is unpacked once.
    const long long strip = std::max(1LL, (1LL << 20) / static_cast<long long>(cols));
    const auto strip_end = [&](long long row) {
        const long long end = row + strip;
        const long long at_block = end - end % m_info.block_rows;
        return std::min(row1, m_info.south_up || at_block <= row ? end : at_block);
    };
    std::vector<T> values;
    std::vector<std::uint8_t> valid;
    for (long long row = row0, rows = 0; row < row1; row += rows) {
        rows = strip_end(row) - row;
        values.resize(cols * static_cast<std::size_t>(rows));
        valid.resize(values.size());
        const long long file_row = m_info.south_up ? m_info.rows - row - rows : row;
        read_cells<T>(*m_state, m_info, static_cast<int>(col0), static_cast<int>(file_row),
                      static_cast<int>(cols), static_cast<int>(rows), values, valid);
        for (long long i = 0; i < rows; ++i) {
            const auto from = static_cast<std::ptrdiff_t>(
                cols * static_cast<std::size_t>(m_info.south_up ? rows - 1 - i : i));
            const auto to = static_cast<std::ptrdiff_t>(frame.index(
                static_cast<int>(row + i - first_row), static_cast<int>(col0 - first_col)));
            std::copy_n(values.begin() + from, cols, window.values.values.begin() + to);
            std::copy_n(valid.begin() + from, cols, window.valid.values.begin() + to);
        }
    }
}

template <typename T>
void RasterSource::read_resampled(const Crs& crs, Resampling resampling,
                                  RasterWindow<T>& window) const {
    State& state = *m_state;
    const GridFrame& frame = window.values.frame;
    const Transformer& move = transformer(crs, m_crs);
    const Positions positions(frame, move, state.origin_x, state.origin_y, state.step_x,
                              state.step_y);
    const bool nearest = resampling == Resampling::nearest;
    const std::vector<Point> offsets =
        nearest ? std::vector<Point>{{0.0, 0.0}} : sub_points(frame, positions);
    constexpr std::size_t most_points = 250 * 250;
    if (offsets.size() > most_points) {
        throw Error(ErrorKind::data,
                    "is so much finer than the work grid that one cell takes in " +
                        std::to_string(offsets.size()) + " of its cells",
                    {.path = m_info.path, .hint = "Aggregate the raster first."});
    }
    double reach = 3.0;
    for (const Point& offset : offsets) {
        reach = std::max({reach, std::abs(offset.x) + 3.0, std::abs(offset.y) + 3.0});
    }
    constexpr double max_block_cells = 1.6e7;
    constexpr double most_block_cells = 4.0e8;
    std::vector<double> cols;
    std::vector<double> rows;
    Block<T> block;
    int strip = std::clamp((1 << 20) / std::max(1, frame.cols), 1, frame.rows);
    strip = std::max(1, strip / Positions::side) * Positions::side;
    for (int begin = 0; begin < frame.rows;) {
        const int end = std::min(frame.rows, begin + strip);
        positions.fill(begin, end, cols, rows);
        double min_c = m_info.cols, max_c = -1.0, min_r = m_info.rows, max_r = -1.0;
        for (std::size_t i = 0; i < cols.size(); ++i) {
            if (cols[i] < -reach || rows[i] < -reach || !(cols[i] <= m_info.cols + reach) ||
                !(rows[i] <= m_info.rows + reach)) {
                continue;
            }
            min_c = std::min(min_c, cols[i]);
            max_c = std::max(max_c, cols[i]);
            min_r = std::min(min_r, rows[i]);
            max_r = std::max(max_r, rows[i]);
        }
        const int first_row = begin;
        if (max_c < min_c || max_r < min_r) {
            begin = end;
            continue;
        }
        block.col0 = static_cast<int>(std::clamp(min_c - reach, 0.0, double(m_info.cols)));
        block.row0 = static_cast<int>(std::clamp(min_r - reach, 0.0, double(m_info.rows)));
        block.cols =
            static_cast<int>(std::clamp(max_c + reach, 0.0, double(m_info.cols))) - block.col0;
        block.rows =
            static_cast<int>(std::clamp(max_r + reach, 0.0, double(m_info.rows))) - block.row0;
        const double cells = static_cast<double>(block.cols) * block.rows;
        if (cells > max_block_cells && end - begin > 1) {
            strip = std::max(1, (end - begin) / 2);
            continue;
        }
        if (cells > most_block_cells) {
            throw Error(ErrorKind::data,
                        "is so much finer than the work grid that one row of cells takes in " +
                            fixed(cells / 1e6, 0) + " million of its cells",
                        {.path = m_info.path, .hint = "Aggregate the raster first."});
        }
        begin = end;
        if (block.cols < 1 || block.rows < 1) continue;
        block.values.resize(static_cast<std::size_t>(cells));
        block.valid.resize(block.values.size());
        read_cells<T>(state, m_info, block.col0, block.row0, block.cols, block.rows, block.values,
                      block.valid);
        const std::size_t base = frame.index(first_row, 0);
        for (std::size_t i = 0; i < cols.size(); ++i) {
            double col = cols[i];
            double row = rows[i];
            if (nearest) {
                // An interpolated position this close to an edge is settled exactly.
                constexpr double doubt = 1.0e-3;
                if (!move.identity() && (std::abs(col - std::round(col)) < doubt ||
                                         std::abs(row - std::round(row)) < doubt)) {
                    const std::size_t cell = base + i;
                    const auto width = static_cast<std::size_t>(frame.cols);
                    col = frame.x_centre(static_cast<int>(cell % width));
                    row = frame.y_centre(static_cast<int>(cell / width));
                    positions.exact(col, row);
                }
                if (!inside(m_info, col, row)) continue;
                if (const auto value = sample_nearest(block, col, row)) {
                    window.values[base + i] = static_cast<T>(*value);
                    window.valid[base + i] = 1;
                }
                continue;
            }
            double sum = 0.0;
            std::size_t present = 0;
            for (const Point& offset : offsets) {
                const double c = col + offset.x;
                const double r = row + offset.y;
                if (!inside(m_info, c, r)) continue;
                const auto value = resampling == Resampling::cubic && offsets.size() == 1
                                       ? sample_cubic(block, m_info, c, r)
                                       : sample_bilinear(block, m_info, c, r);
                if (!value) continue;
                sum += *value;
                ++present;
            }
            if (present == 0 || 2 * present < offsets.size()) continue;
            window.values[base + i] = static_cast<T>(sum / static_cast<double>(present));
            window.valid[base + i] = 1;
        }
    }
}

template RasterWindow<float> RasterSource::read(const GridFrame&, const Crs&, Resampling) const;
template RasterWindow<double> RasterSource::read(const GridFrame&, const Crs&, Resampling) const;

std::vector<std::optional<double>> RasterSource::sample(const std::vector<Point>& points,
                                                        const Crs& crs,
                                                        Resampling resampling) const {
    State& state = *m_state;
    const Transformer& move = transformer(crs, m_crs);
    std::vector<std::optional<double>> result(points.size());
    Block<double> block;
    for (std::size_t i = 0; i < points.size(); ++i) {
        Point at = points[i];
        move.apply_unchecked(&at.x, &at.y, 1);
        const double col = state.column(at.x);
        const double row = state.row(at.y);
        if (!inside(m_info, col, row)) continue;
        block.col0 = std::max(0, static_cast<int>(col) - 2);
        block.row0 = std::max(0, static_cast<int>(row) - 2);
        block.cols = std::min(m_info.cols, static_cast<int>(col) + 3) - block.col0;
        block.rows = std::min(m_info.rows, static_cast<int>(row) + 3) - block.row0;
        block.values.resize(static_cast<std::size_t>(block.cols) *
                            static_cast<std::size_t>(block.rows));
        block.valid.resize(block.values.size());
        read_cells<double>(state, m_info, block.col0, block.row0, block.cols, block.rows,
                           block.values, block.valid);
        const auto value = resampling == Resampling::nearest ? sample_nearest(block, col, row)
                           : resampling == Resampling::cubic
                               ? sample_cubic(block, m_info, col, row)
                               : sample_bilinear(block, m_info, col, row);
        if (value) result[i] = *value * m_info.scale + m_info.offset;
    }
    return result;
}

std::optional<double> RasterSource::metres_per_value() const {
    const std::string unit = lower_case(trim(m_info.unit));
    for (const char* name : {"m", "metre", "metres", "meter", "meters"}) {
        if (unit == name) return 1.0;
    }
    for (const char* name : {"ft", "foot", "feet", "international foot", "international feet"}) {
        if (unit == name) return units::m_per_ft;
    }
    for (const char* name : {"us survey foot", "us survey feet", "us-ft", "usft", "us_ft", "ftus",
                             "us foot", "foot_us", "us survey ft"}) {
        if (unit == name) return units::m_per_us_survey_ft;
    }
    if (unit == "cm" || unit == "centimetre" || unit == "centimeter") return 0.01;
    if (unit == "dm" || unit == "decimetre" || unit == "decimeter") return 0.1;
    return std::nullopt;
}

}  // namespace catchfield::gis
