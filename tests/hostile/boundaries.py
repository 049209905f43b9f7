# SPDX-License-Identifier: MIT
"""Bad field boundaries and attributes."""
import json
import os
import shutil
import sqlite3
import struct
import zipfile

import numpy as np
from osgeo import ogr

import farm
from cases import Case, between, damaged, sound

KEY = "field.boundary"
UNREADABLE = "cannot be opened as vector data"


def of_bytes(name, content):
    return lambda folder: farm.text(os.path.join(folder, name), content)


def of_json(value, name="fields.geojson"):
    return of_bytes(name, value if isinstance(value, (str, bytes)) else json.dumps(value))


def of_rings(*shapes, names=None):
    """One GeoJSON polygon of each list of rings in metres."""
    features = []
    for n, rings in enumerate(shapes):
        item = farm.feature(rings[0], names[n] if names else "f%d" % n)
        item["geometry"]["coordinates"] = [farm.degrees_ring(ring) for ring in rings]
        features.append(item)
    return of_json(farm.collection(features))


def of_geometry(geometry, name="f"):
    return of_json(farm.collection([{"type": "Feature", "properties": {"name": name}, "geometry": geometry}]))


def of_wkt(*shapes, **more):
    return lambda folder: farm.write_vector(os.path.join(folder, "fields.gpkg"),
                                            [(shape, ("f%d" % n,)) for n, shape in enumerate(shapes)], **more)


def geopackage(folder, shapes=None):
    return farm.write_vector(os.path.join(folder, "fields.gpkg"), [(farm.wkt(farm.box()), ("f",))])


def shapefile(folder):
    return farm.write_vector(os.path.join(folder, "fields.shp"), [(farm.wkt(farm.box()), ("f",))],
                             driver="ESRI Shapefile", kind=ogr.wkbPolygon)


def patched(maker, offset, content, ending=None):
    """The file of `maker`, or its neighbour with another ending, with bytes overwritten."""
    def make(folder):
        path = maker(folder)
        target = path if ending is None else os.path.splitext(path)[0] + ending
        with open(target, "r+b") as out:
            out.seek(offset)
            out.write(content)
        return path
    return make


def without(maker, ending):
    def make(folder):
        path = maker(folder)
        os.remove(os.path.splitext(path)[0] + ending)
        return path
    return make


def with_sql(*statements):
    def make(folder):
        path = geopackage(folder)
        base = sqlite3.connect(path)
        for statement in statements:
            base.execute(statement)
        base.commit()
        base.close()
        return path
    return make


def with_blob(change):
    """The GeoPackage's geometry replaced; the spatial index's triggers are taken away first."""
    def make(folder):
        path = geopackage(folder)
        base = sqlite3.connect(path)
        for (name,) in base.execute("SELECT name FROM sqlite_master WHERE type='trigger'").fetchall():
            base.execute('DROP TRIGGER "%s"' % name)
        (blob,) = base.execute("SELECT geom FROM fields").fetchone()
        base.execute("UPDATE fields SET geom=?", (change(blob),))
        base.commit()
        base.close()
        return path
    return make


def wkb_polygon(ring):
    points = np.asarray(ring, dtype="<f8")
    return struct.pack("<BIII", 1, 3, 1, len(points)) + points.tobytes()


def gpkg_blob(wkb):
    return b"GP\x00\x01" + struct.pack("<i", 32617) + wkb


def circle(count, radius=55.0):
    angle = np.linspace(0.0, -2.0 * np.pi, count)
    ring = np.column_stack([farm.WEST + 100 + radius * np.cos(angle), farm.SOUTH + 60 + radius * np.sin(angle)])
    ring[-1] = ring[0]
    return ring


def many_vertices(count):
    return with_blob(lambda blob: gpkg_blob(wkb_polygon(circle(count))))


def many_features(count, blob=None):
    def make(folder):
        path = geopackage(folder)
        base = sqlite3.connect(path)
        for (name,) in base.execute("SELECT name FROM sqlite_master WHERE type='trigger'").fetchall():
            base.execute('DROP TRIGGER "%s"' % name)
        base.execute("PRAGMA synchronous=OFF")
        base.execute("UPDATE gpkg_ogr_contents SET feature_count=?", (count,))
        base.execute("WITH RECURSIVE n(i) AS (SELECT 2 UNION ALL SELECT i+1 FROM n WHERE i<?) "
                     "INSERT INTO fields(fid, geom, name) SELECT i, ?, 'f' || i FROM n", (count, blob))
        base.commit()
        base.close()
        return path
    return make


def wal_geopackage(folder):
    path = geopackage(folder)
    base = sqlite3.connect(path)
    base.execute("PRAGMA journal_mode=WAL")
    base.close()
    return path


def zipped(name, content):
    def make(folder):
        path = os.path.join(folder, "fields.zip")
        with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as out:
            out.writestr(name, content)
        return path
    return make


def zip_bomb(folder):
    path = os.path.join(folder, "fields.zip")
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as out:
        with out.open("fields.geojson", "w", force_zip64=True) as inside:
            inside.write(json.dumps(farm.fields())[:-2].encode())
            for _ in range(600):
                inside.write(b" " * (1 << 20))
            inside.write(b"]}")
    return path


def linked(target):
    def make(folder):
        path = os.path.join(folder, "fields.geojson")
        os.symlink(target, path)
        return path
    return make


def fifo(folder, name="fields.geojson"):
    path = os.path.join(folder, name)
    os.mkfifo(path)
    return path


def nested(count, inside="", opening="[", closing="]"):
    return opening * count + inside + closing * count


LAUGHS = ('<?xml version="1.0"?><!DOCTYPE k [<!ENTITY a "ha">' +
          "".join('<!ENTITY %s "%s">' % (chr(98 + n), ("&%s;" % chr(97 + n)) * 10) for n in range(12)) + "]>")
SQUARE = farm.degrees_ring(farm.box())
X, Y = farm.WEST, farm.SOUTH
BOW_TIE = [(X, Y), (X + 200, Y + 100), (X + 200, Y), (X, Y + 100), (X, Y)]


def names_are_safe(names):
    """Nothing of the ids reaches a path, a formula or the page as it is."""
    def look(out, said):
        stems = [name for name in os.listdir(os.path.join(out, "rates"))]
        allowed = set("abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-_.")
        for stem in stems:
            if set(stem) - allowed or len(stem) > 120 or stem.startswith("."):
                return "unsafe file name %r" % stem
        page = open(os.path.join(out, "report.html"), encoding="utf-8").read()
        for name in names:
            if "<script>alert" in page or "onerror=" in page.replace("&quot;", "").split("<img")[-1][:0]:
                return "markup of a name stands in the page"
        for line in open(os.path.join(out, "zones.csv"), encoding="utf-8"):
            if line[0] in "=+@\t" or line.startswith('"='):
                return "a formula stands in zones.csv"
        json.load(open(os.path.join(out, "zones.geojson"), encoding="utf-8"))
        json.load(open(os.path.join(out, "run.json"), encoding="utf-8"))
        return ""
    return look


def area_of(hectares):
    """run.json states the area of the one field."""
    def look(out, said):
        stated = json.load(open(os.path.join(out, "run.json"), encoding="utf-8"))["fields"][0]["area_ha"]
        return "" if abs(stated - hectares) < 0.01 * hectares else "the field has %r ha" % stated
    return look


def named(*names):
    return of_rings(*[[farm.box(X + 110 * n, Y, 100, 100)] for n in range(len(names))], names=names)


def latin1_shapefile(folder):
    path = shapefile(folder)
    with open(path[:-4] + ".dbf", "r+b") as out:
        content = out.read()
        at = content.rindex(b"f")
        out.seek(at)
        out.write(b"\xe9\xff\xfe")
    with open(path[:-4] + ".cpg", "w") as out:
        out.write("UTF-8")
    return path


def cases():
    out = []
    add = lambda name, make, code, says, **more: out.append(Case("boundary", name, KEY, make, code, says, **more))

    for ending in ("gpkg", "geojson", "shp", "kml", "fgb", "gpx", "mif", "zip"):
        add("empty " + ending, of_bytes("fields." + ending, b""), 1, "fields." + ending)
    add("empty csv", of_bytes("fields.csv", b""), 1, "fields.csv")
    for ending in ("gpkg", "geojson", "shp", "fgb"):
        add("noise as " + ending, of_bytes("fields." + ending, damaged.noise(4096, ending)), 1, UNREADABLE)
    whole = json.dumps(farm.fields())
    for at in between(1, len(whole) - 2, 10, "geojson"):
        add("geojson cut at %d" % at, of_bytes("fields.geojson", whole[:at]), 1, "fields.geojson")
    for at in between(1, 90000, 8, "gpkg"):
        add("gpkg cut at %d" % at, damaged.cut(geopackage, at), 1, "fields.gpkg")
    for ending, stops in ((".shp", (50, 99, 120, 200)), (".dbf", (10, 40)), (".shx", (20, 101))):
        for at in stops:
            says = "fields.shp" if ending != ".dbf" else "name"
            add("%s cut at %d" % (ending, at), damaged.cut(shapefile, at, ending), 1, says)
    add("shp without shx", without(shapefile, ".shx"), 1, "fields.shp")
    add("shp without dbf", without(shapefile, ".dbf"), 1, "there is no column 'name'")
    add("shp without prj", without(shapefile, ".prj"), 1, "field.crs")
    # Headers that lie.
    add("shp header length", patched(shapefile, 24, b"\x7f\xff\xff\xff"), {0, 1}, "")
    add("shp record length", patched(shapefile, 104, b"\x7f\xff\xff\xff"), {0, 1}, "")
    add("shp parts 2^31-1", patched(shapefile, 144, b"\xff\xff\xff\x7f"), 1, "fields.shp")
    add("shp points 2^31-1", patched(shapefile, 148, b"\xff\xff\xff\x7f"), 1, "fields.shp")
    add("shp points -1", patched(shapefile, 148, b"\xff\xff\xff\xff"), 1, "fields.shp")
    add("shp part start", patched(shapefile, 152, b"\xff\xff\xff\x7f"), 1, "fields.shp")
    add("shx offset", patched(shapefile, 100, b"\x7f\xff\xff\xf0", ".shx"), 1, "fields.shp")
    add("dbf records 2^31-1", patched(shapefile, 4, b"\xff\xff\xff\x7f", ".dbf"), {0, 1}, "")
    add("dbf header 65535", patched(shapefile, 8, b"\xff\xff", ".dbf"), {0, 1}, "")
    add("dbf record 0", patched(shapefile, 10, b"\0\0", ".dbf"), {0, 1}, "")
    add("gpkg page size 0", patched(geopackage, 16, b"\0\0"), 1, "fields.gpkg")
    add("gpkg page count", patched(geopackage, 28, b"\x7f\xff\xff\xff"), 1, "fields.gpkg")
    add("gpkg rings 2^32-1", with_blob(lambda b: gpkg_blob(struct.pack("<BII", 1, 3, 0xFFFFFFFF))), 1, "f")
    add("gpkg points 2^32-1", with_blob(lambda b: gpkg_blob(struct.pack("<BIII", 1, 3, 1, 0xFFFFFFFF))), 1, "f")
    add("gpkg geometry cut", with_blob(lambda b: b[:60]), 1, "fields.gpkg")
    add("gpkg geometry of 3 bytes", with_blob(lambda b: b"GP\0"), 1, "fields.gpkg")
    add("gpkg unknown kind", with_blob(lambda b: gpkg_blob(struct.pack("<BI", 1, 9999))), 1, "fields.gpkg")
    add("gpkg collection of itself 200 deep",
        with_blob(lambda b: gpkg_blob(struct.pack("<BII", 1, 7, 1) * 200 + wkb_polygon(farm.box()))), 1, "fields.gpkg")
    add("gpkg contents lie", with_sql("UPDATE gpkg_contents SET table_name='no_such'"), 1, "fields.gpkg")
    add("gpkg crs lies", with_sql("UPDATE gpkg_spatial_ref_sys SET definition='nonsense', organization='x', "
                                  "organization_coordsys_id=-5 WHERE srs_id=32617"), 1, "fields.gpkg")
    add("gpkg view over a file function", with_sql(
        "CREATE VIEW other AS SELECT 1 AS fid, readfile('/etc/passwd') AS geom",
        "INSERT INTO gpkg_contents(table_name,data_type,srs_id) VALUES('other','attributes',0)"), 0, "")
    add("gpkg in WAL mode", wal_geopackage, 0, "")
    add("fgb header size", of_bytes("fields.fgb", b"fgb\x03fgb\x01" + struct.pack("<I", 0xFFFFFFFF) + b"\0" * 64), 1,
        "fields.fgb")
    # Geometry.
    add("all geometries null", of_json(farm.collection([{"type": "Feature", "properties": {"name": "a"},
                                                         "geometry": None}] * 3)), 1, "no field in it")
    add("one geometry null", of_json(farm.collection([farm.feature(farm.box()), {
        "type": "Feature", "properties": {"name": "a"}, "geometry": None}])), 0, "has no geometry and is left out")
    add("no features", of_json(farm.collection([])), 1, "fields.geojson")
    add("empty polygon", of_geometry({"type": "Polygon", "coordinates": []}), 1, "no field in it")
    add("ring without points", of_geometry({"type": "Polygon", "coordinates": [[]]}), 1, "no field in it")
    add("points", of_geometry({"type": "Point", "coordinates": SQUARE[0]}), 1, "not an area but a point or line")
    add("line", of_geometry({"type": "LineString", "coordinates": SQUARE}), 1, "not an area but a point or line")
    add("collection of a point", of_geometry({"type": "GeometryCollection", "geometries": [
        {"type": "Point", "coordinates": SQUARE[0]}]}), 1, "not an area")
    add("geometry of unknown type", of_geometry({"type": "Blob", "coordinates": SQUARE}), 1, "no field in it")
    add("coordinates are words", of_geometry({"type": "Polygon", "coordinates": [[["a", "b"]] * 5]}), 1, "field")
    add("coordinates are numbers", of_geometry({"type": "Polygon", "coordinates": 7}), 1, "no field in it")
    add("two points", of_rings([[(X, Y), (X + 100, Y), (X, Y)]]), 1, "not valid")
    add("no width", of_rings([[(X, Y), (X + 100, Y), (X + 50, Y), (X, Y)]]), 1, "smaller than one cell")
    add("one point thrice", of_rings([[(X, Y)] * 4]), 1, "not valid")
    add("bow-tie", of_rings([BOW_TIE]), 1, "repair = yes")
    add("bow-tie repaired", of_rings([BOW_TIE]), 0, "", more=("--field.repair", "yes"), after=area_of(1.0))
    add("bow-tie beside a sound field", of_rings([[(x + 0.0, y) for x, y in BOW_TIE]], [farm.box(X + 205, Y, 90, 90)]),
        3, "skipped")
    add("self-touching ring", of_rings([[(X, Y), (X + 100, Y), (X + 100, Y + 100), (X + 50, Y), (X, Y + 100), (X, Y)]]),
        1, "not valid")
    add("hole outside", of_rings([farm.box(X, Y, 100, 100), farm.box(X + 150, Y, 50, 50)]), 1, "not valid")
    add("hole over all", of_rings([farm.box(X, Y, 100, 100), farm.box(X, Y, 100, 100)]), 1, "not valid")
    add("hole over all repaired", of_rings([farm.box(X, Y, 100, 100), farm.box(X, Y, 100, 100)]), 1, "",
        more=("--field.repair", "yes"))
    add("holes that cross", of_rings([farm.box(X, Y, 200, 100), farm.box(X + 20, Y + 20, 60, 60),
                                      farm.box(X + 40, Y + 40, 60, 50)]), 1, "not valid")
    add("spike", of_rings([[(X, Y), (X, Y + 100), (X + 100, Y + 100), (X + 100, Y), (X + 200, Y), (X + 100, Y), (X, Y)]]),
        1, "not valid")
    add("parts that overlap", of_wkt("MULTIPOLYGON (%s,%s)" % tuple(
        farm.wkt(farm.box(X + shift, Y, 100, 100))[8:] for shift in (0, 50))), 1, "not valid")
    add("ring left open", of_json(farm.collection([{**farm.feature(farm.box()), "geometry": {
        "type": "Polygon", "coordinates": [SQUARE[:-1]]}}])), 0, "")
    add("clockwise", of_rings([farm.box()[::-1]]), 0, "")
    add("each point 50 times", of_rings([[p for p in farm.box() for _ in range(50)]]), 0, "")
    add("curve", of_wkt("CURVEPOLYGON (CIRCULARSTRING (%f %f, %f %f, %f %f))" % (
        X + 20, Y + 60, X + 120, Y + 60, X + 20, Y + 60)), 0, "")
    add("three dimensions", of_wkt("POLYGON Z ((%s))" % ",".join("%f %f 9" % p for p in farm.box())), 0, "")
    add("3D with NaN heights", with_blob(lambda b: gpkg_blob(struct.pack("<BIII", 1, 1003, 1, 5) + b"".join(
        struct.pack("<ddd", x, y, float("nan")) for x, y in farm.box()))), 0, "")
    for name, value in (("NaN", float("nan")), ("infinite", float("inf")), ("-infinite", float("-inf"))):
        ring = farm.box()
        ring[2] = (value, ring[2][1])
        add(name + " coordinate", with_blob(lambda b, r=ring: gpkg_blob(wkb_polygon(r))), 1, "not a finite number")
    add("NaN in geojson", of_json(whole.replace(str(SQUARE[0][0]), "NaN")), 1, "fields.geojson")
    add("1e999 in geojson", of_json(whole.replace(str(SQUARE[0][0]), "1e999")), 1, "fields.geojson")
    for name, ring in (("1e300", [(1e300 * x, y) for x, y in SQUARE]), ("longitude 600", [(x + 683, y) for x, y in SQUARE]),
                       ("latitude 95", [(x, y + 55) for x, y in SQUARE]),
                       ("metres called degrees", farm.box())):
        add(name, of_geometry({"type": "Polygon", "coordinates": [ring]}), 1, "fields.geojson")
    add("far in the projection", of_wkt(farm.wkt(farm.box(X + 1e8, Y))), 1, "has no place")
    add("longitude and latitude swapped", of_geometry({"type": "Polygon", "coordinates": [
        [(y, x) for x, y in SQUARE]]}), 1, "km away from longitude 40.")
    add("at the pole", of_geometry({"type": "Polygon", "coordinates": [[(0, 90), (90, 89.99), (180, 89.99), (0, 90)]]}), 1,
        "f")
    add("of the size of a continent", of_geometry({"type": "Polygon", "coordinates": [
        [(-120, 30), (-80, 30), (-80, 48), (-120, 48), (-120, 30)]]}), 1, "larger than the limit")
    add("of a county", of_geometry({"type": "Polygon", "coordinates": [
        [(-83.4, 39.7), (-82.6, 39.7), (-82.6, 40.3), (-83.4, 40.3), (-83.4, 39.7)]]}), 1, "larger than the limit")
    add("a millimetre wide", of_wkt(farm.wkt(farm.box(X + 50, Y + 50, 0.001, 0.001))), 1, "smaller than one cell")
    add("no crs", of_wkt(farm.wkt(farm.box()), system=False), 1, "field.crs")
    add("prj is noise", damaged.neighbour(shapefile, ".prj", damaged.noise(3000, "prj")), 1, "fields.shp")
    add("prj of 5 MB", damaged.neighbour(shapefile, ".prj", b'PROJCS["' + b"x" * 5_000_000 + b'"]'), 1, "fields.shp")
    add("prj nested 20000 deep", damaged.neighbour(shapefile, ".prj", ("PROJCS[" * 20000 + "]" * 20000).encode()), 1,
        "fields.shp")
    add("crs without a place", of_wkt(farm.wkt(farm.box()), system=damaged.local_crs()), 1, "fields.gpkg")
    add("crs of the earth's centre", of_wkt(farm.wkt(farm.box()), system=farm.crs(4978)), 1, "fields.gpkg")
    add("stated crs is nonsense", without(shapefile, ".prj"), 2, "field.crs", more=("--field.crs", "EPSG:9999999"))
    add("stated crs of no zone", without(shapefile, ".prj"), 2, "field.crs", more=("--field.crs", "+proj=utm +zone=99"))
    add("stated crs is a file", without(shapefile, ".prj"), {1, 2}, "field.crs", more=("--field.crs", "/etc/passwd"))
    add("stated crs is an address", without(shapefile, ".prj"), {1, 2}, "field.crs",
        more=("--field.crs", "http://localhost:9/crs.wkt"))
    # Depth and number.
    add("10000 brackets", of_json(nested(10_000)), 1, "fields.geojson")
    add("200000 brackets", of_json(nested(200_000)), 1, "fields.geojson")
    add("coordinates 10000 deep", of_json('{"type":"FeatureCollection","features":[{"type":"Feature","properties":{},'
                                          '"geometry":{"type":"Polygon","coordinates":%s}}]}' % nested(10_000)), 1,
        "fields.geojson")
    add("properties 10000 deep", of_json('{"type":"FeatureCollection","features":[{"type":"Feature","properties":%s,'
                                         '"geometry":null}]}' % nested(10_000, "1", '{"a":', "}")), 1, "fields.geojson")
    add("collections 10000 deep", of_json(
        '{"type":"FeatureCollection","features":[{"type":"Feature","properties":{},"geometry":%s}]}' % nested(
            10_000, "", '{"type":"GeometryCollection","geometries":[', "]}")), 1, "fields.geojson")
    add("a million vertices", many_vertices(1_000_000), 0, "", more=("--field.id-column", "name"))
    add("six million vertices", many_vertices(6_000_000), 1, "more than 5000000 vertices")
    add("a million features without shape", many_features(1_000_000), {0, 3}, "has no geometry and is left out")
    add("2.1 million features", many_features(2_100_000), 1, "more than 2000000 features")
    add("3000 columns", lambda folder: farm.text(os.path.join(folder, "fields.geojson"), json.dumps(farm.collection(
        [farm.feature(farm.box(), **{"c%d" % n: n for n in range(3000)})]))), 1, "more than 2000 columns")
    add("attribute of 100000 bytes", of_json(farm.collection([farm.feature(farm.box(), "x" * 100_000)])), 1,
        "holds more than 65536 bytes")
    add("several layers", with_sql(
        "CREATE TABLE two(fid INTEGER PRIMARY KEY, geom BLOB)",
        "INSERT INTO gpkg_contents(table_name,data_type,srs_id) VALUES('two','features',32617)",
        "INSERT INTO gpkg_geometry_columns VALUES('two','geom','POLYGON',32617,0,0)"), 2, "holds several layers")
    add("no such layer", geopackage, 2, "there is no layer 'nine'", more=("--field.layer", "nine"))
    add("layer named as SQL", geopackage, 2, "there is no layer", more=("--field.layer", "x'; DROP TABLE fields; --"))
    add("no such column", geopackage, 1, "there is no column 'nmae'", more=("--field.id-column", "nmae"))
    # Names.
    names = ("../../x", "CON", "a\nb", "n" * 5000, "‮gnp.txt", "=cmd|' /C calc'!A0", "<script>alert(1)</script>",
             "a\u0000b", "/", ".", "-rf", "'; DROP TABLE zones; --", "é𝛑", "\"><img src=x onerror=alert(1)>", "@SUM(1)",
             "${HOME}", "%s%n", "a\tb", " ", "nul.tif")
    for n in range(0, len(names), 2):
        pair = names[n:n + 2]
        add("names %r" % (pair[0][:12],), named(*pair), 0, "", after=names_are_safe(pair))
    add("the same name thrice", named("a", "A", "a"), 0, "stands more than once", after=names_are_safe(["a"]))
    add("names without letters", named("", "  ", "\u0001"), 0, "", after=names_are_safe([""]))
    add("name that is no UTF-8", latin1_shapefile, 0, "", after=names_are_safe([""]))
    # Places that are no plain files.
    add("a folder", lambda folder: folder, 1, UNREADABLE)
    add("fifo", fifo, 1, "not a file")
    add("a device", linked("/dev/zero"), 1, "not a file")
    add("a null device", linked("/dev/null"), 1, "not a file")
    add("link to itself", linked("fields.geojson"), 1, "fields.geojson")
    add("link to the password file", linked("/etc/passwd"), 1, UNREADABLE)
    add("standard input", lambda folder: "/vsistdin/", 2, "remote or special path")
    add("process descriptor", lambda folder: "/dev/stdin", 1, "not a file")
    add("address", lambda folder: "http://localhost:9/fields.geojson", 2, "remote or special path")
    add("vsicurl", lambda folder: "/vsicurl/http://localhost:9/fields.geojson", 2, "remote or special path")
    add("vsicurl in a zip", lambda folder: "/vsizip//vsicurl/http://localhost:9/a.zip", 2, "remote or special path")
    add("vsicurl with options", lambda folder: "/vsicurl?url=http%3A%2F%2Flocalhost:9", 2, "remote or special path")
    add("vsisubfile of vsis3", lambda folder: "/vsisubfile/0_10,/vsis3/a/b", 2, "remote or special path")
    add("database", lambda folder: "PG:host=localhost port=9", 1, "")
    add("geojson in the path", lambda folder: json.dumps(farm.fields()), {1, 2}, "")
    add("xml in the path", lambda folder: "<OGRVRTDataSource/>", {1, 2}, "")
    add("vector VRT", of_bytes("fields.vrt", b'<OGRVRTDataSource><OGRVRTLayer name="fields"><SrcDataSource>/etc/passwd'
                                             b"</SrcDataSource></OGRVRTLayer></OGRVRTDataSource>"), 1, UNREADABLE)
    add("vector VRT as geojson", of_bytes("fields.geojson", b'<OGRVRTDataSource><OGRVRTLayer name="f">'
                                          b"<SrcDataSource>x</SrcDataSource></OGRVRTLayer></OGRVRTDataSource>"), 1,
        UNREADABLE)
    add("kml of laughs", of_bytes("fields.kml", LAUGHS + '<kml xmlns="http://www.opengis.net/kml/2.2"><Document>'
                                  "<Placemark><name>&m;</name></Placemark></Document></kml>"), 1, "fields.kml")
    add("kml with a file entity", of_bytes(
        "fields.kml", '<!DOCTYPE k [<!ENTITY x SYSTEM "file:///etc/passwd">]><kml xmlns="http://www.opengis.net/kml/2.2">'
        "<Document><Placemark><name>&x;</name></Placemark></Document></kml>"), 1, "fields.kml")
    add("kml with a network link", of_bytes(
        "fields.kml", '<kml xmlns="http://www.opengis.net/kml/2.2"><Document><NetworkLink><Link><href>'
        "http://localhost:9/x.kml</href></Link></NetworkLink></Document></kml>"), 1, "fields.kml")
    add("gpx of laughs", of_bytes("fields.gpx", LAUGHS + '<gpx version="1.1"><wpt lat="1" lon="1"><name>&m;</name>'
                                  "</wpt></gpx>"), 1, "fields.gpx")
    add("zip with paths upwards", zipped("../../fields.geojson", whole), {0, 1}, "")
    add("zip bomb", zip_bomb, 1, "unpacks to")
    add("zip without data", zipped("readme.txt", "nothing"), 1, "fields.zip")
    add("tab that names another file", lambda folder: farm.text(
        os.path.join(folder, "fields.tab"), "!table\n!version 300\nDefinition Table\n  Type NATIVE Charset \"Neutral\"\n"
        "  File \"/etc/passwd\"\n  Fields 1\n    name Char (10) ;\n"), 1, "fields.tab")
    return out
