# SPDX-License-Identifier: MIT
"""A small sound farm (two fields on a slope, one soil map, tables) that each bad input is put into."""
import json
import os

import numpy as np
from osgeo import gdal, ogr, osr

gdal.UseExceptions()
WEST, SOUTH = 330000.0, 4430000.0  # EPSG:32617, central Ohio
WIDTH, HEIGHT = 300.0, 120.0
CELL = 5.0


def crs(code=32617):
    system = osr.SpatialReference()
    system.ImportFromEPSG(code)
    system.SetAxisMappingStrategy(osr.OAMS_TRADITIONAL_GIS_ORDER)
    return system


def to_degrees(x, y):
    move = osr.CoordinateTransformation(crs(), crs(4326))
    lon, lat, _ = move.TransformPoint(float(x), float(y))
    return [round(lon, 9), round(lat, 9)]


def box(west=WEST, south=SOUTH, width=WIDTH, height=HEIGHT):
    return [(west, south), (west, south + height), (west + width, south + height), (west + width, south),
            (west, south)]


def wkt(ring):
    return "POLYGON ((" + ",".join("%r %r" % point for point in ring) + "))"


def degrees_ring(ring):
    return [to_degrees(*point) for point in ring]


def feature(ring, name="north", **more):
    return {"type": "Feature", "properties": {"name": name, **more},
            "geometry": {"type": "Polygon", "coordinates": [degrees_ring(ring)]}}


def collection(features):
    return {"type": "FeatureCollection", "features": features}


def write_vector(path, rows, columns=("name",), driver="GPKG", system=None, layer="fields", kind=ogr.wkbUnknown):
    """rows: (WKT or OGR geometry or None, values)."""
    data = ogr.GetDriverByName(driver).CreateDataSource(path)
    out = data.CreateLayer(layer, crs() if system is None else system or None, kind)
    for column in columns:
        name, form = column if isinstance(column, tuple) else (column, ogr.OFTString)
        out.CreateField(ogr.FieldDefn(name, form))
    out.StartTransaction()
    for shape, values in rows:
        item = ogr.Feature(out.GetLayerDefn())
        for at, value in enumerate(values):
            if value is not None:
                item.SetField(at, value)
        if shape is not None:
            item.SetGeometry(ogr.CreateGeometryFromWkt(shape) if isinstance(shape, str) else shape)
        out.CreateFeature(item)
    out.CommitTransaction()
    del out, data
    return path


SOIL_COLUMNS = ("mukey", "muname", "kffact", "tfact", "hydgrp", "wei", "sandtotal_r", "silttotal_r", "claytotal_r",
                "om_r")
SOIL_VALUES = ("1", "Made silt loam, 2 to 6 percent slopes", "0.32", "5", "C", "48", "20", "60", "20", "2.5")


def soil_rows(**changes):
    values = [changes.get(name, value) for name, value in zip(SOIL_COLUMNS, SOIL_VALUES)]
    return [(wkt(box(WEST - 200, SOUTH - 200, WIDTH + 400, HEIGHT + 400)), values)]


def slope(rows=64, cols=100):
    down = (np.arange(rows)[:, None] + 0.5) * CELL + np.zeros((1, cols))
    return (300.0 - 0.06 * down).astype(np.float32)


TRANSFORM = (WEST - 100, CELL, 0.0, SOUTH + HEIGHT + 100, 0.0, -CELL)


def write_raster(path, values=None, kind=gdal.GDT_Float32, transform=TRANSFORM, system=None, nodata=None,
                 options=(), scale=None, offset=None, unit="m", driver="GTiff", size=None):
    if values is None and size is None:
        values = slope()
    rows, cols = values.shape if size is None else size
    data = gdal.GetDriverByName(driver).Create(path, cols, rows, 1, kind, options=list(options))
    if transform is not None:
        data.SetGeoTransform(transform)
    if system is not False:
        data.SetSpatialRef(crs() if system is None else system)
    band = data.GetRasterBand(1)
    if nodata is not None:
        band.SetNoDataValue(nodata)
    if scale is not None:
        band.SetScale(scale)
    if offset is not None:
        band.SetOffset(offset)
    if unit:
        band.SetUnitType(unit)
    if values is not None:
        band.WriteArray(values)
    del band, data
    return path


def text(path, content):
    with open(path, "wb") as out:
        out.write(content if isinstance(content, bytes) else content.encode())
    return path


MONTHLY = "month,tmin_c,tmean_c,tmax_c,precip_mm\n" + "".join(
    "%d,%.1f,%.1f,%.1f,%d\n" % (month, mean - 6, mean, mean + 6, rain) for month, mean, rain in zip(
        range(1, 13), (-3, -1, 5, 11, 17, 22, 24, 23, 19, 12, 6, 0),
        (65, 60, 80, 95, 110, 110, 110, 95, 75, 75, 80, 75)))
PROBES = "stop,x,y,depth_cm,ci_mpa\n" + "".join(
    "p%d,%f,%f,%d,%.2f\n" % (stop, WEST + 30 + 24 * stop, SOUTH + 60, depth, 0.8 + 0.04 * depth)
    for stop in range(8) for depth in range(5, 50, 5))
TESTS = "sample,lon,lat,top_cm,bottom_cm,nitrate_ppm,om_pct\n" + "".join(
    "s%d,%s,%s,0,30,%d,2.%d\n" % (n, *map(str, to_degrees(WEST + 40 + 50 * n, SOUTH + 60)), 8 + n, n)
    for n in range(5))
HORIZONS = ("mukey,hzdept_r,hzdepb_r,sandtotal_r,silttotal_r,claytotal_r,om_r,dbthirdbar_r\n"
            "1,0,25,20,60,20,2.5,1.35\n1,25,100,18,57,25,0.8,1.5\n")
POINTS = "lon,lat,value\n" + "".join(
    "%s,%s,%.1f\n" % (*map(str, to_degrees(WEST + 10 + 20 * (n % 15), SOUTH + 8 + 16 * (n // 15))), 8 + n % 7)
    for n in range(105))

JOB = {
    "field": {"boundary": "fields.geojson", "id-column": "name"},
    "terrain": {"elevation": "dem.tif", "elevation-unit": "m"},
    "soil": {"map": "soils.gpkg"},
    "weather": {"erosivity": "125 us"},
    "season": {"harvest": "2025-07-15", "sow": "2025-08-18", "hard-frost": "2025-10-20",
               "terminate": "2026-04-25", "next-planting": "2026-05-10", "previous-crop": "wheat"},
    "zones": {"count": "1"},
    "cover": {"candidates": "rye"},
    "nitrogen": {"crop": "corn", "yield-goal": "180 bu/ac"},
    "output": {"layers": "no", "uncertainty": "0"},
}


def job_text(**changes):
    """changes: section_key=value (None takes the line away)."""
    job = {section: dict(keys) for section, keys in JOB.items()}
    for name, value in changes.items():
        section, key = name.split("_", 1)
        key = key.replace("_", "-")
        if value is None:
            job.setdefault(section, {}).pop(key, None)
        else:
            job.setdefault(section, {})[key] = value
    return "".join("[%s]\n" % section + "".join("%s = %s\n" % pair for pair in keys.items())
                   for section, keys in job.items())


def fields():
    half = WIDTH / 2
    return collection([feature(box(WEST, SOUTH, half, HEIGHT), "west"),
                       feature(box(WEST + half, SOUTH, half, HEIGHT), "east")])


def make(folder):
    os.makedirs(folder, exist_ok=True)
    at = lambda name: os.path.join(folder, name)
    text(at("fields.geojson"), json.dumps(fields()))
    write_raster(at("dem.tif"))
    write_vector(at("soils.gpkg"), soil_rows(), SOIL_COLUMNS, layer="soils", kind=ogr.wkbPolygon)
    text(at("job.ini"), job_text())
    return folder
