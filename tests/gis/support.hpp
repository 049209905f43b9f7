// SPDX-License-Identifier: MIT
// What the room's tests share: a temporary folder, rasters and layers made on the spot.
#pragma once

#include "base/error.hpp"
#include "base/raster.hpp"
#include "base/shapes.hpp"
#include "gis/crs.hpp"
#include "gis/start.hpp"
#include "support/temporary_folder.hpp"

#include <cpl_string.h>
#include <gdal_priv.h>
#include <gtest/gtest.h>
#include <ogrsf_frmts.h>

#include <array>
#include <filesystem>
#include <fstream>
#include <functional>
#include <limits>
#include <stdlib.h>
#include <string>
#include <vector>

namespace catchfield::gis::testing {

using catchfield::testing::entries_of;
using catchfield::testing::slurp;
using catchfield::testing::TemporaryFolder;
using catchfield::testing::write_text;

/// A raster file to be read back by the room.
struct RasterFile {
    int cols = 4;
    int rows = 3;
    std::array<double, 6> transform{500000.0, 10.0, 0.0, 4400000.0, 0.0, -10.0};
    std::string crs = "EPSG:32615";
    GDALDataType type = GDT_Float32;
    std::vector<double> values{};  // rows as in the file; empty: 0, 1, 2, ...
    std::optional<double> nodata{};
    double scale = 1.0;
    double offset = 0.0;
    std::string unit{};
    std::vector<std::string> options{};
    std::string driver = "GTiff";
    bool point = false;

    void write(const std::string& path) const {
        start();
        CPLStringList list;
        for (const std::string& option : options) list.AddString(option.c_str());
        GDALDriver* gtiff = GetGDALDriverManager()->GetDriverByName(driver.c_str());
        GDALDatasetUniquePtr dataset(gtiff->Create(path.c_str(), cols, rows, 1, type, list.List()));
        ASSERT_NE(dataset, nullptr);
        auto copy = transform;
        dataset->SetGeoTransform(copy.data());
        if (point) dataset->SetMetadataItem("AREA_OR_POINT", "Point");
        if (!crs.empty()) {
            OGRSpatialReference reference;
            ASSERT_EQ(reference.SetFromUserInput(crs.c_str()), OGRERR_NONE);
            dataset->SetSpatialRef(&reference);
        }
        GDALRasterBand* band = dataset->GetRasterBand(1);
        if (nodata) band->SetNoDataValue(*nodata);
        if (scale != 1.0) band->SetScale(scale);
        if (offset != 0.0) band->SetOffset(offset);
        if (!unit.empty()) band->SetUnitType(unit.c_str());
        std::vector<double> pixels = values;
        if (pixels.empty()) {
            for (int i = 0; i < cols * rows; ++i) pixels.push_back(i);
        }
        ASSERT_EQ(band->RasterIO(GF_Write, 0, 0, cols, rows, pixels.data(), cols, rows, GDT_Float64,
                                 0, 0, nullptr),
                  CE_None);
    }
};

inline GridFrame frame_of(double west, double north, double cell, int cols, int rows) {
    GridFrame frame;
    frame.west = west;
    frame.north = north;
    frame.cell = cell;
    frame.cols = cols;
    frame.rows = rows;
    return frame;
}

inline Ring box_ring(double x0, double y0, double x1, double y1) {
    return {{x0, y0}, {x1, y0}, {x1, y1}, {x0, y1}, {x0, y0}};
}

inline MultiPolygon box_shape(double x0, double y0, double x1, double y1) {
    return {Polygon{box_ring(x0, y0, x1, y1), {}}};
}

/// The error a call throws; the test fails where it throws none.
inline Error error_of(const std::function<void()>& call) {
    try {
        call();
    } catch (const Error& error) {
        return error;
    }
    ADD_FAILURE() << "no error was thrown";
    return Error(ErrorKind::internal, "none");
}

inline bool has(const std::string& text, const std::string& part) {
    return text.find(part) != std::string::npos;
}

}  // namespace catchfield::gis::testing
