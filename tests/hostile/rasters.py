# SPDX-License-Identifier: MIT
"""Bad elevation rasters."""
import os
import struct
import zlib

import numpy as np
from osgeo import gdal, osr

import farm
from boundaries import fifo, linked, of_bytes, zipped
from cases import Case, between, damaged

KEY = "terrain.elevation"
UNREADABLE = "cannot be opened as a raster"


def plain(folder, name="dem.tif", **more):
    return farm.write_raster(os.path.join(folder, name), **more)


def made(**more):
    return lambda folder: plain(folder, **more)


def tag(number, value, count=1, kind=4):
    """The value of a TIFF tag overwritten in place (little-endian classic TIFF)."""
    def change(content):
        (at,) = struct.unpack_from("<I", content, 4)
        (entries,) = struct.unpack_from("<H", content, at)
        for n in range(entries):
            entry = at + 2 + 12 * n
            if struct.unpack_from("<H", content, entry)[0] == number:
                struct.pack_into("<HII", content, entry + 2, kind, count, value)
                return
        raise ValueError("no tag %d" % number)
    return change


def altered(*changes, **more):
    def make(folder):
        path = plain(folder, **more)
        with open(path, "r+b") as out:
            content = bytearray(out.read())
            for change in changes:
                change(content)
            out.seek(0)
            out.write(content)
        return path
    return make


def loop_of_directories(content):
    (at,) = struct.unpack_from("<I", content, 4)
    (entries,) = struct.unpack_from("<H", content, at)
    struct.pack_into("<I", content, at + 2 + 12 * entries, at)


def directory_at(place):
    return lambda content: struct.pack_into("<I", content, 4, place)


def tiff(width, height, tags=(), data=b"", kind=3, bits=32):
    """A TIFF of one strip by hand, with georeference and CRS keys of EPSG:32617."""
    keys = [1, 1, 0, 3, 1024, 0, 1, 1, 1025, 0, 1, 1, 3072, 0, 1, 32617]
    west, cell, north = farm.TRANSFORM[0], farm.TRANSFORM[1], farm.TRANSFORM[3]
    blocks = {33550: (12, struct.pack("<3d", cell, cell, 0)), 33922: (12, struct.pack("<6d", 0, 0, 0, west, north, 0)),
              34735: (3, struct.pack("<%dH" % len(keys), *keys))}
    entries = {256: (4, width), 257: (4, height), 258: (3, bits), 259: (3, 8), 262: (3, 1), 273: (4, None), 277: (3, 1),
               278: (4, min(height, 0xFFFFFFFF)), 279: (4, len(data)), 339: (3, kind)}
    entries.update(dict(tags))
    count = len(entries) + len(blocks)
    offset = 8 + 2 + 12 * count + 4
    body, rows = b"", []
    for number in sorted(list(entries) + list(blocks)):
        if number in blocks:
            form, content = blocks[number]
            size = {12: 8, 3: 2}[form]
            rows.append(struct.pack("<HHII", number, form, len(content) // size, offset + len(body)))
            body += content + b"\0" * (-len(content) % 8)
        else:
            rows.append((number, entries[number]))
    strip = offset + len(body)
    out = b"".join(row if isinstance(row, bytes) else struct.pack(
        "<HHII", row[0], row[1][0], 1, strip if row[1][1] is None else row[1][1]) for row in rows)
    return b"II*\0" + struct.pack("<IH", 8, count) + out + b"\0\0\0\0" + body + data


def bomb(side):
    """One strip that would take side x side floats."""
    packer = zlib.compressobj(9)
    row = b"\0" * (4 * side)
    data = b"".join(packer.compress(row) for _ in range(min(side, 400))) + packer.flush()
    return of_bytes("dem.tif", tiff(side, side, data=data))


def sparse(rows, cols):
    """Says it is huge and holds only the cells over the farm."""
    def make(folder):
        transform = (farm.TRANSFORM[0], 5.0, 0.0, farm.TRANSFORM[3], 0.0, -5.0)
        path = farm.write_raster(os.path.join(folder, "dem.tif"), size=(rows, cols), transform=transform,
                                 options=("SPARSE_OK=TRUE", "TILED=YES", "BIGTIFF=YES", "BLOCKXSIZE=4096",
                                          "BLOCKYSIZE=4096"))
        data = gdal.Open(path, gdal.GA_Update)
        data.GetRasterBand(1).WriteArray(farm.slope(), 0, 0)
        del data
        return path
    return make


def of_type(kind, nodata, dtype, share=0.0):
    """Cells of a type, with nodata over a share of the columns."""
    def make(folder):
        values = farm.slope().astype(np.float64)
        if np.dtype(dtype).kind in "iu" and np.iinfo(dtype).max < 300:
            values -= 200
        values = values.astype(dtype)
        values[:, :int(share * values.shape[1])] = nodata
        path = os.path.join(folder, "dem.tif")
        data = gdal.GetDriverByName("GTiff").Create(path, values.shape[1], values.shape[0], 1, kind)
        data.SetGeoTransform(farm.TRANSFORM)
        data.SetSpatialRef(farm.crs())
        data.GetRasterBand(1).SetNoDataValue(float(nodata))
        data.GetRasterBand(1).WriteArray(values)
        del data
        return path
    return make


def with_cells(value, where=slice(None)):
    values = farm.slope()
    values[where] = value
    return made(values=values)


VRT = ('<VRTDataset rasterXSize="100" rasterYSize="64"><SRS>EPSG:32617</SRS><GeoTransform>%s</GeoTransform>'
       '<VRTRasterBand dataType="Float32" band="1"><SimpleSource><SourceFilename>%%s</SourceFilename>'
       "<SourceBand>1</SourceBand></SimpleSource></VRTRasterBand></VRTDataset>" % ",".join("%r" % v for v in farm.TRANSFORM))


def vrt(name, source="{farm}/dem.tif"):
    return lambda folder: farm.text(os.path.join(folder, name), VRT % source.replace(
        "{farm}", os.path.join(os.path.dirname(folder), "farm")))


def grid(**header):
    """An ASCII grid with its .prj."""
    def make(folder):
        head = {"ncols": 100, "nrows": 64, "xllcorner": farm.TRANSFORM[0], "yllcorner": farm.TRANSFORM[3] - 320,
                "cellsize": 5, "NODATA_value": -9999}
        body = header.pop("body", None) if "body" in header else None
        head.update(header)
        path = farm.text(os.path.join(folder, "dem.asc"), "".join("%s %s\n" % pair for pair in head.items()) + (
            body if body is not None else "\n".join(" ".join("%.2f" % v for v in row) for row in farm.slope()) + "\n"))
        farm.text(os.path.join(folder, "dem.prj"), farm.crs().ExportToWkt(["FORMAT=WKT1_ESRI"]))
        return path
    return make


def beside(name, header, data=b"\0" * 25600):
    """A raw file and its header."""
    def make(folder):
        stem, ending = os.path.splitext(name)
        farm.text(os.path.join(folder, stem + ".hdr"), header)
        farm.text(os.path.join(folder, stem + ".prj"), farm.crs().ExportToWkt(["FORMAT=WKT1_ESRI"]))
        return farm.text(os.path.join(folder, name), data)
    return make


ENVI = ("ENVI\nsamples = %s\nlines = %s\nbands = %s\nheader offset = 0\nfile type = ENVI Standard\ndata type = 4\n"
        "interleave = bsq\nbyte order = 0\nmap info = {UTM, 1, 1, 329900, 4430220, 5, 5, 17, North, WGS-84}\n")
EHDR = ("ncols %s\nnrows %s\ncellsize 5\nxllcorner 329900\nyllcorner 4429900\nnbits 32\npixeltype float\nbyteorder LSBFIRST\n"
        "nbands 1\n")


def full_of_fields(expected):
    """The plan's soil loss stands in every zone and is a number."""
    def look(out, said):
        rows = open(os.path.join(out, "zones.csv"), encoding="utf-8").read().splitlines()
        head = rows[0].split(",")
        at = head.index("loss_now_mg_ha") if "loss_now_mg_ha" in head else -1
        if len(rows) != expected + 1:
            return "%d zones" % (len(rows) - 1)
        if at >= 0 and any(row.split(",")[at] in ("nan", "inf", "-inf") for row in rows[1:]):
            return "a soil loss is no number"
        return ""
    return look


def cases():
    out = []
    add = lambda name, make, code, says, **more: out.append(Case("raster", name, KEY, make, code, says, **more))
    for ending in ("tif", "asc", "img", "hgt", "png", "jpg", "dem", "gpkg", "flt"):
        add("empty " + ending, of_bytes("dem." + ending, b""), 1, "dem." + ending)
    for ending in ("tif", "img", "png"):
        add("noise as " + ending, of_bytes("dem." + ending, damaged.noise(5000, ending)), 1, UNREADABLE)
    for at in between(4, 25000, 12, "tif"):
        add("tif cut at %d" % at, damaged.cut(plain, at), 1 if at < 20000 else {0, 1}, "")
    for name, value in (("2^31-1", 0x7FFFFFFF), ("2^32-1", 0xFFFFFFFF), ("0", 0), ("2000001", 2000001)):
        add("width " + name, altered(tag(256, value)), 1, "dem.tif")
        add("height " + name, altered(tag(257, value)), 1, "dem.tif")
    add("both sides 2^31-1", altered(tag(256, 0x7FFFFFFF), tag(257, 0x7FFFFFFF)), 1, "dem.tif")
    add("width of 50000 cells that are not there", altered(tag(256, 50000)), 1, "dem.tif")
    add("height of 50000 rows that are not there", altered(tag(257, 50000)), {0, 1, 3}, "")
    add("65535 bands", altered(tag(277, 65535, kind=3)), 1, "dem.tif")
    add("no band", altered(tag(277, 0, kind=3)), {0, 1}, "")
    add("77 bits a cell", altered(tag(258, 77, kind=3)), 1, "dem.tif")
    add("unknown compression", altered(tag(259, 9999, kind=3)), 1, "dem.tif")
    add("rows to a strip 0", altered(tag(278, 0, kind=3)), 1, "dem.tif")
    add("strips beyond the end", altered(tag(273, 0x7FFFFFF0)), 1, "dem.tif")
    add("strips of 2^32-1 bytes", altered(tag(279, 0xFFFFFFFF)), {0, 1}, "")
    add("tags without end", altered(directory_at(8), lambda c: struct.pack_into("<H", c, 8, 65535)), 1, "dem.tif")
    add("directory beyond the end", altered(directory_at(0x7FFFFFFF)), 1, "dem.tif")
    add("directory that follows itself", altered(loop_of_directories), {0, 1}, "")
    add("deflate bomb of 40000 x 40000", bomb(40000), 1, "dem.tif")
    add("deflate bomb of 15000 x 15000", bomb(15000), 1, "dem.tif")
    add("tile of 2 GB", lambda folder: farm.text(os.path.join(folder, "dem.tif"), tiff(
        30000, 30000, tags={322: (4, 30000), 323: (4, 30000), 324: (4, 8), 325: (4, 100)}.items())), 1, "dem.tif")
    add("deflate stream that is noise", of_bytes("dem.tif", tiff(100, 64, data=damaged.noise(9000, "z"))), 1, "dem.tif")
    add("huge but sparse", sparse(1_900_000, 1_900_000), 0, "")
    add("huger than the limit", sparse(2_000_001, 100), 1, "more than can be read")
    # Values.
    add("all NaN", with_cells(np.nan), 1, "do not overlap")
    add("all infinite", with_cells(np.inf), 1, "do not overlap")
    add("all -infinite", with_cells(-np.inf), 1, "do not overlap")
    add("all 3.4e38", with_cells(3.4e38), 1, "do not overlap")
    add("NaN in the east", with_cells(np.nan, (slice(None), slice(60, None))), 3, "no terrain on")
    add("infinity here and there", with_cells(np.inf, (slice(20, 40, 7), slice(20, 70, 9))), {0, 3}, "",
        after=full_of_fields(2))
    add("one cell of 1e30", with_cells(1e30, (30, 30)), 3, "not between -500 and 9,000 m", after=full_of_fields(1))
    add("heights of 1e30", with_cells(1e30), 1, "dem.tif")
    add("heights in light years", with_cells(9.4e15), 1, "dem.tif")
    add("a cliff of 20 km", with_cells(20000.0, (slice(None), slice(50, None))), 1, "dem.tif")
    add("checkerboard", made(values=(np.indices((64, 100)).sum(axis=0) % 2 * 8000).astype(np.float32)), {0, 1, 3}, "",
        after=full_of_fields(2))
    for name, kind, nodata, dtype in (
            ("Byte", gdal.GDT_Byte, 255, np.uint8), ("UInt16", gdal.GDT_UInt16, 65535, np.uint16),
            ("Int16", gdal.GDT_Int16, -32768, np.int16), ("UInt32", gdal.GDT_UInt32, 4294967295, np.uint32),
            ("Int32", gdal.GDT_Int32, -2147483648, np.int32), ("Float32", gdal.GDT_Float32, -3.4028235e38, np.float32),
            ("Float64", gdal.GDT_Float64, -1.7976931348623157e308, np.float64),
            ("Float32 -9999", gdal.GDT_Float32, -9999, np.float32)):
        add("nodata of %s everywhere" % name, of_type(kind, nodata, dtype, 1.0), 1, "do not overlap")
        add("nodata of %s in the west" % name, of_type(kind, nodata, dtype, 0.4), 3, "no terrain on")
    add("nodata that is not marked", with_cells(-9999, (slice(None), slice(60, None))), 3, "not between -500 and")
    for name, kind in (("CInt16", gdal.GDT_CInt16), ("CFloat32", gdal.GDT_CFloat32), ("CFloat64", gdal.GDT_CFloat64)):
        add("cells of " + name, made(kind=kind), 1, "complex numbers")
    add("scale and offset", made(values=((farm.slope() - 200) * 100).astype(np.uint16), kind=gdal.GDT_UInt16, scale=0.01,
                                 offset=200.0), 0, "")
    add("scale 0", made(scale=0.0), 1, "scale or offset")
    add("scale NaN", made(scale=float("nan")), 1, "scale or offset")
    add("offset infinite", made(offset=float("inf")), 1, "scale or offset")
    add("scale 1e300", made(scale=1e300), 1, "dem.tif")
    # Place.
    add("no georeference", made(transform=None), 1, "no georeference")
    add("no crs", made(system=False), 1, "states no coordinate reference system")
    add("rotated", made(transform=(farm.TRANSFORM[0], 5, 0.5, farm.TRANSFORM[3], 0.5, -5)), 1, "rotated grid")
    add("mirrored", made(transform=(farm.TRANSFORM[0] + 500, -5, 0, farm.TRANSFORM[3], 0, -5)), 1, "mirrored")
    add("cells of no width", made(transform=(farm.TRANSFORM[0], 1e-300, 0, farm.TRANSFORM[3], 0, -5)), 1, "dem.tif")
    add("cells of NaN", made(transform=(farm.TRANSFORM[0], float("nan"), 0, farm.TRANSFORM[3], 0, -5)), 1, "dem.tif")
    add("corner at infinity", made(transform=(float("inf"), 5, 0, farm.TRANSFORM[3], 0, -5)), 1, "dem.tif")
    add("cells of 1e9 m", made(transform=(farm.TRANSFORM[0] - 5e10, 1e9, 0, farm.TRANSFORM[3] + 3e10, 0, -1e9)), 1, "dem.tif")
    add("cells of 1 mm", made(transform=(farm.WEST + 100, 1e-3, 0, farm.SOUTH + 60, 0, -1e-3)), 1, "finer than the work grid")
    add("in another place", made(transform=(farm.TRANSFORM[0] + 90000, 5, 0, farm.TRANSFORM[3], 0, -5)), 1, "do not overlap")
    add("wrong crs", made(system=farm.crs(32618)), 1, "do not overlap")
    add("metres called degrees", made(system=farm.crs(4326)), 1, "says it is in degrees")
    add("crs without a place", made(system=damaged.local_crs()), 1, "local system")
    add("crs of the earth's centre", made(system=farm.crs(4978)), 1, "dem.tif")
    # VRT and what is no file.
    add("vrt", vrt("dem.vrt"), 1, "Virtual rasters are off")
    add("vrt named tif", vrt("dem.tif"), 1, UNREADABLE)
    add("vrt in the path", lambda folder: VRT % "/etc/passwd", {1, 2}, "")
    add("vrt allowed", vrt("dem.vrt"), 0, "", more=("--allow-virtual",))
    add("vrt allowed, its source an address", vrt("dem.vrt", "/vsicurl/http://localhost:9/a.tif"), 1, "dem.vrt",
        more=("--allow-virtual",))
    add("vrt allowed, of itself", vrt("dem.vrt", "dem.vrt"), 1, "dem.vrt", more=("--allow-virtual",))
    add("vrt allowed, of the password file", vrt("dem.vrt", "/etc/passwd"), 1, "dem.vrt", more=("--allow-virtual",))
    add("vrt allowed, huge", lambda folder: farm.text(os.path.join(folder, "dem.vrt"), (VRT % "x.tif").replace(
        'rasterXSize="100"', 'rasterXSize="2147483647"')), 1, "dem.vrt", more=("--allow-virtual",))
    add("map service in xml", of_bytes("dem.tif", b'<GDAL_WMS><Service name="TMS"><ServerUrl>http://localhost:9/'
                                       b"</ServerUrl></Service></GDAL_WMS>"), 1, UNREADABLE)
    add("vsicurl", lambda folder: "/vsicurl/http://localhost:9/dem.tif", 2, "remote or special path")
    add("address", lambda folder: "https://localhost:9/dem.tif", 2, "remote or special path")
    add("address allowed but silent", lambda folder: "/vsicurl/http://localhost:9/dem.tif", 1, "", more=("--allow-remote",))
    add("standard input", lambda folder: "/vsistdin/", 2, "remote or special path")
    add("memory file that is not there", lambda folder: "/vsimem/none.tif", 1, UNREADABLE)
    add("link to the password file", linked("/etc/passwd"), 1, UNREADABLE)
    add("fifo", lambda folder: fifo(folder, "dem.tif"), 1, "not a file")
    add("a device", linked("/dev/zero"), 1, "not a file")
    add("random numbers for ever", linked("/dev/urandom"), 1, "not a file")
    add("a folder", lambda folder: folder, 1, UNREADABLE)
    add("link to itself", linked("fields.geojson"), 1, "fields.geojson")
    add("zip without a raster", zipped("readme.txt", "nothing"), 1, "fields.zip")
    # Other formats.
    add("grid of words", grid(body="high low\n" * 6400), 1, "dem.asc")
    add("grid that ends early", grid(body="1 2 3\n"), 1, "dem.asc")
    add("grid of 2^31 columns", grid(ncols=2**31), 1, "dem.asc")
    add("grid of -5 rows", grid(nrows=-5), 1, "dem.asc")
    add("grid of 100000 x 100000", grid(ncols=100000, nrows=100000), 1, "dem.asc")
    add("grid with cells of 0 m", grid(cellsize=0), 1, "dem.asc")
    add("grid with cells of nan m", grid(cellsize="nan"), 1, "dem.asc")
    add("raw of 2^31 columns", beside("dem.dat", ENVI % (2**31, 64, 1)), 1, "dem.dat")
    add("raw of 10^6 bands", beside("dem.dat", ENVI % (100, 64, 10**6)), 1, "dem.dat")
    add("raw that is too short", beside("dem.dat", ENVI % (100, 64, 1), b"\0" * 900), 1, "dem.dat")
    add("raw with a header of words", beside("dem.dat", "ENVI\nsamples = many\n"), 1, "dem.dat")
    add("bil of 2^31 columns", beside("dem.bil", EHDR % (2**31 - 1, 2**31 - 1)), 1, "dem.bil")
    add("bil of -1 rows", beside("dem.bil", EHDR % (100, -1)), 1, "dem.bil")
    add("hgt of a wrong size", of_bytes("N40W083.hgt", b"\0" * 999), 1, "N40W083.hgt")
    add("picture without a place", lambda folder: damaged_png(folder), 1, "no georeference")
    add("netpbm, not on the list", of_bytes("dem.pgm", b"P5 100 64 255\n" + b"\7" * 6400), 1, UNREADABLE)
    add("very coarse", made(values=np.full((2, 2), 300.0, np.float32), transform=(farm.WEST - 2e4, 2e4, 0, farm.SOUTH + 2e4, 0, -2e4)),
        1, "say nothing about a field")
    add("a single cell", made(values=np.full((1, 1), 300.0, np.float32), transform=(farm.WEST - 10, 400, 0, farm.SOUTH + 300,
                                                                                      0, -400)), {0, 3}, "coarse")
    return out


def damaged_png(folder):
    path = os.path.join(folder, "dem.png")
    memory = gdal.GetDriverByName("MEM").Create("", 100, 64, 1, gdal.GDT_Byte)
    gdal.GetDriverByName("PNG").CreateCopy(path, memory)
    return path
