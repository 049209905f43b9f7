# SPDX-License-Identifier: MIT
"""Bad soil maps, CSV tables and job files, and bad words on the command line."""
import json
import os

from osgeo import ogr

import farm
from boundaries import BOW_TIE, fifo, linked, of_bytes
from cases import Case, damaged

X, Y = farm.WEST, farm.SOUTH


def soils(rows=None, columns=farm.SOIL_COLUMNS, **more):
    return lambda folder: farm.write_vector(os.path.join(folder, "soils.gpkg"), farm.soil_rows(**more) if rows is None
                                            else rows, columns, layer="soils")


def soil_cases():
    out = []
    add = lambda name, make, code, says, **more: out.append(Case("soil map", name, "soil.map", make, code, says, **more))
    whole = farm.soil_rows()[0]
    add("no columns", soils([(whole[0], ())], ()), 1, "soil.columns")
    add("only names", soils([(whole[0], ("1", "loam"))], ("mukey", "muname")), 1, "soil.columns")
    add("no polygons", soils([]), 1, "no polygons")
    add("no geometry", soils([(None, whole[1])]), 1, "do not overlap")
    add("points", soils([("POINT (%f %f)" % (X + 50, Y + 50), whole[1])]), 1, "do not overlap")
    add("in another place", soils([(farm.wkt(farm.box(X + 90000, Y)), whole[1])]), 1, "do not overlap")
    add("bow-ties", soils([(farm.wkt(BOW_TIE), whole[1])]), {0, 3}, "were repaired")
    add("no crs", lambda folder: farm.write_vector(os.path.join(folder, "soils.gpkg"), farm.soil_rows(), farm.SOIL_COLUMNS,
                                                   system=False), 1, "soil.crs")
    add("polygons that overlap", soils(farm.soil_rows() + farm.soil_rows(mukey="2", kffact="0.1")), {0, 3}, "soil polygons overlap")
    for name, value in (("words", "high"), ("nan", "nan"), ("infinity", "inf"), ("1e999", "1e999"), ("-0.2", "-0.2"),
                        ("99", "99"), ("decimal comma", "0,32"), ("a unit", "0.32 us"), ("hexadecimal", "0x1p-2")):
        add("K is " + name, soils(kffact=value), {0, 1, 3}, "kffact")
    add("K is missing, texture stands in", soils(kffact=None), 0, "")
    for name, changes, says in (
            ("sand of 150 %", {"sandtotal_r": "150"}, "sandtotal_r"), ("clay of -5 %", {"claytotal_r": "-5"}, "claytotal_r"),
            ("nan", {"silttotal_r": "nan"}, "silttotal_r"), ("words", {"om_r": "much"}, "om_r"),
            ("sum of 250 %", {"sandtotal_r": "90", "silttotal_r": "90", "claytotal_r": "70"}, "texture")):
        add("texture: " + name, soils(kffact=None, **changes), {0, 1}, says)
    add("T of words", soils(tfact="five"), {0, 1, 3}, "tfact")
    add("T of -3", soils(tfact="-3"), {0, 1, 3}, "tfact")
    add("T of 1e9", soils(tfact="1e9"), {0, 1, 3}, "tfact")
    add("hydrologic group Z", soils(hydgrp="Z"), {0, 3}, "")
    add("keys of 60000 bytes", soils(mukey="k" * 60000), 0, "")
    add("names with markup", soils(muname="</script><script>alert(1)</script>"), 0, "", after=no_markup)
    add("100000 polygons on one place", lambda folder: farm.write_vector(
        os.path.join(folder, "soils.gpkg"), farm.soil_rows() * 20000, farm.SOIL_COLUMNS), {0, 3}, "overlap")
    add("column that is not there", soils(), {1, 2}, "no_such", more=("--soil.columns", "k=no_such"))
    add("raster as soil map", lambda folder: farm.write_raster(os.path.join(folder, "soils.tif")), 1, "soils.tif")
    return out


def no_markup(out, said):
    for root, _, files in os.walk(out):
        for name in files:
            if name.endswith(".html") and "<script>alert" in open(os.path.join(root, name), encoding="utf-8").read():
                return "markup of a soil's name stands in " + name
    return ""


def table_cases():
    out = []

    def add(key, name, content, code, says, more=(), **others):
        make = content if callable(content) else of_bytes("table.csv", content)
        out.append(Case("table", key.split(".")[-1] + ": " + name, key, make, code, says, more, **others))

    monthly, probes, tests, horizons, points = (text.encode() for text in (
        farm.MONTHLY, farm.PROBES, farm.TESTS, farm.HORIZONS, farm.POINTS))
    crs = ("--compaction.probe-crs", "EPSG:32617")
    # What no table may be, for each kind of table.
    for key, good, more in (("weather.monthly", monthly, ()), ("compaction.probes", probes, crs),
                            ("nitrogen.soil-tests", tests, ()), ("soil.horizons", horizons, ())):
        head = good.split(b"\n")[0]
        add(key, "empty", b"", 1, "table.csv", more)
        add(key, "header only", head + b"\n", {0, 1}, "", more)
        add(key, "noise", damaged.noise(20000, key), 1, "table.csv", more)
        add(key, "zero bytes", b"\0" * 1000, 1, "table.csv", more)
        add(key, "a zero byte in a number", good.replace(b"5", b"5\0", 9), 1, "zero bytes", more)
        add(key, "quotation mark never closed", good.replace(b"\n", b"\n\"", 3), 1, "never closed", more)
        add(key, "10^6 columns", b",".join(b"c%d" % n for n in range(10**6)) + b"\n1\n", 1, "more than 2000 columns", more)
        add(key, "a line of 30 MB", head + b"\n" + b"1," * 15_000_000 + b"\n", 1, "more than 2000 columns", more)
        add(key, "a cell of 30 MB", head + b"\n" + b"1" * 30_000_000 + b"\n", 1, "table.csv", more)
        add(key, "utf-16", b"\xff\xfe" + good.decode().encode("utf-16-le"), 1, "UTF-16", more)
        add(key, "a column twice", head + b"," + head.split(b",")[0] + b"\n1\n", 1, "stands twice", more)
        add(key, "a column without a name", head + b",,\n1\n", 1, "has no name", more)
        add(key, "other columns", b"a,b,c\n1,2,3\n", 1, "column", more)
        add(key, "byte order mark", b"\xef\xbb\xbf" + good, {0, 3}, "", more)
        add(key, "semicolons", good.replace(b",", b";"), {0, 3}, "", more)
        add(key, "semicolons and decimal commas", good.replace(b",", b";").replace(b".", b","), 1, "table.csv", more)
        add(key, "old line ends", good.replace(b"\n", b"\r"), {0, 3}, "", more)
        add(key, "a device", linked("/dev/zero"), 1, "not a file", more)
        add(key, "fifo", lambda folder: fifo(folder, "table.csv"), 1, "not a file", more)
        add(key, "a folder", lambda folder: folder, 1, "", more)
        add(key, "missing", lambda folder: os.path.join(folder, "no.csv"), 1, "no.csv", more)
    lines = monthly.split(b"\n")
    for word in (b"nan", b"inf", b"-inf", b"1e999", b"NaN", b"--", b"=1+1", b"12 C"):
        add("weather.monthly", "mean of " + word.decode(), monthly.replace(b",22.0,", b"," + word + b","), 1, "is not a number")
    add("weather.monthly", "month 13", monthly.replace(b"\n12,", b"\n13,"), 1, "table.csv")
    add("weather.monthly", "eleven months", b"\n".join(lines[:12]) + b"\n", 1, "month")
    add("weather.monthly", "a month twice", b"\n".join(lines + [lines[3]]) + b"\n", 1, "month")
    add("weather.monthly", "200 degrees", monthly.replace(b",24.0,", b",200.0,"), 1, "table.csv")
    add("weather.monthly", "rain of -5", monthly.replace(b",110\n", b",-5\n", 1), 1, "table.csv")
    add("weather.monthly", "rain of 1e9", monthly.replace(b",110\n", b",1000000000\n", 1), 1, "table.csv")
    daily = b"date,tmax_c,tmin_c,precip_mm\n" + b"".join(
        b"2024-%02d-%02d,20,10,3\n" % (month, day) for month in range(1, 13) for day in range(1, 29))
    add("weather.daily", "31 February", daily.replace(b"2024-02-28", b"2024-02-31"), 1, "table.csv")
    add("weather.daily", "dates of words", daily.replace(b"2024-02-28", b"yesterday"), 1, "table.csv")
    add("weather.daily", "days backwards", b"\n".join([daily.split(b"\n")[0]] + daily.split(b"\n")[:0:-1]), 1, "table.csv")
    add("weather.daily", "coldest above warmest", daily.replace(b",20,10,", b",10,20,", 1), 1, "table.csv")
    add("weather.daily", "year 99999", daily.replace(b"2024", b"99999"), 1, "table.csv")
    rain = ("--weather.erosivity", "")
    add("weather.rain", "noise", damaged.noise(9000, "rain"), 1, "table.csv", rain)
    add("weather.rain", "time backwards", b"time,depth_mm\n2024-05-02T00:00,1\n2024-05-01T00:00,2\n", 1, "table.csv", rain)
    add("weather.rain", "depth nan", b"time,depth_mm\n2024-05-01T00:00,1\n2024-05-01T01:00,nan\n", 1, "table.csv", rain)
    add("weather.rain", "one shower", b"time,depth_mm\n2024-05-01T00:00,1\n2024-05-01T01:00,4\n", {0, 1, 3}, "rain", rain)
    add("compaction.probes", "strength -1", probes.replace(b",1.00", b",-1.00", 1), {0, 1, 3}, "stop", crs)
    add("compaction.probes", "strength 1e9", probes.replace(b",1.00", b",1e9", 1), {0, 1, 3}, "stop", crs)
    add("compaction.probes", "depth nan", probes.replace(b",5,1.00", b",nan,1.00", 1), {0, 1, 3}, "", crs)
    add("compaction.probes", "no crs", probes, {0, 1, 2, 3}, "")
    add("compaction.probes", "unit of furlongs", probes, 2, "probe-unit", crs + ("--compaction.probe-unit", "furlong"))
    add("compaction.probes", "place 1e308", probes.replace(b",33", b",1e308", 1), {0, 1, 3}, "", crs)
    add("nitrogen.soil-tests", "nitrate of -4", tests.replace(b",30,8,", b",30,-4,"), 1, "table.csv")
    add("nitrogen.soil-tests", "nitrate of 1e9", tests.replace(b",30,8,", b",30,1e9,"), 1, "table.csv")
    add("nitrogen.soil-tests", "organic matter of 300 %", tests.replace(b",2.1", b",300"), 1, "outside 0 to 100")
    add("nitrogen.soil-tests", "bottom above top", tests.replace(b",0,30,", b",30,0,"), 1, "table.csv")
    add("nitrogen.soil-tests", "longitude 400", tests.replace(b",-8", b",40", 1), {0, 1, 3}, "")
    add("soil.horizons", "bottom above top", horizons.replace(b"1,0,25,", b"1,25,0,"), {0, 1, 3}, "")
    add("soil.horizons", "horizons that overlap", horizons.replace(b"1,25,100", b"1,5,100"), {0, 1, 3}, "")
    add("soil.horizons", "sand of 900 %", horizons.replace(b",20,60,20,", b",900,60,20,"), {0, 1, 3}, "")
    add("soil.horizons", "density nan", horizons.replace(b"1.35", b"nan"), 1, "is not a number")
    for key, name in (("cover.catalogue", "species"), ("nitrogen.credits-table", "set"), ("cover.scouting", "species")):
        add(key, "empty", b"", 1, "table.csv")
        add(key, "noise", damaged.noise(9000, key), 1, "table.csv")
        add(key, "other columns", b"a,b\n1,2\n", 1, "column")
        add(key, "10^6 columns", b",".join(b"c%d" % n for n in range(10**6)) + b"\n1\n", 1, "more than 2000 columns")
    add("nitrogen.response", "empty", b"", 1, "table.csv", ("--nitrogen.method", "response"))
    add("nitrogen.response", "100000 brackets", b"[" * 100000, 1, "table.csv", ("--nitrogen.method", "response"))
    add("nitrogen.response", "numbers of 1e999", b'{"curves":[{"a":1e999}]}', 1, "table.csv", ("--nitrogen.method", "response"))

    def layer(content):
        def make(folder):
            return "value=" + farm.text(os.path.join(folder, "table.csv"), content)
        return make
    use = ("--zones.features", "value", "--zones.count", "2")
    add("zones.layers", "points of nan", layer(points.replace(b",8.0\n", b",nan\n", 1)), 1, "is not a number", use)
    add("zones.layers", "latitude 95", layer(points.replace(b",40.", b",95.", 1)), 1, "not a place in degrees", use)
    add("zones.layers", "no points", layer(b"lon,lat,value\n"), 1, "has no points", use)
    add("zones.layers", "all alike", layer(b"lon,lat,value\n" + b"".join(
        row.rsplit(b",", 1)[0] + b",7\n" for row in points.split(b"\n")[1:-1])), {0, 1, 3}, "", use)
    add("zones.layers", "infinite raster", lambda folder: "value=" + farm.write_raster(
        os.path.join(folder, "v.tif"), values=farm.slope() * float("inf")), 0, "it has no value anywhere in the field", use)
    add("zones.layers", "name with a path", lambda folder: "../../value=" + farm.write_raster(os.path.join(folder, "v.tif")),
        {0, 1, 2, 3}, "", ("--zones.features", "../../value", "--output.layers", "yes", "--zones.count", "2"))
    for word in ("map.csv", "nitrogen.no-apply", "zones.drawn", "terrain.barriers"):
        if "." in word and not word.endswith("csv"):
            add(word, "noise", lambda folder: farm.text(os.path.join(folder, "table.csv"), damaged.noise(9000, "x")), 1,
                "table.csv")
            add(word, "fifo", lambda folder: fifo(folder, "table.csv"), 1, "not a file")
            add(word, "coordinates out of range", lambda folder: farm.text(
                os.path.join(folder, "table.geojson"), json.dumps(farm.collection([{
                    "type": "Feature", "properties": {"zone": 1},
                    "geometry": {"type": "Polygon", "coordinates": [farm.box()]}}]))), 1, "table.geojson")
    return out


def job_cases():
    out = []

    def add(name, content, code, says, command="check", **more):
        def make(folder):
            path = content(folder) if callable(content) else farm.text(os.path.join(folder, "job.ini"), content)
            return [command, path]
        out.append(Case("job", name, None, make, code, says, **more))

    def changed(**changes):
        def make(folder):
            base = os.path.join(os.path.dirname(folder), "farm")
            files = {"field_boundary": "fields.geojson", "terrain_elevation": "dem.tif", "soil_map": "soils.gpkg"}
            full = {key: os.path.join(base, name) for key, name in files.items()}
            full.update(changes)
            return farm.text(os.path.join(folder, "job.ini"), farm.job_text(**full))
        return make

    add("sound", changed(), 0, "Ready")
    add("empty", b"", 2, "not given: field.boundary")
    add("zero bytes", b"\0" * 500, 1, "not a text file")
    add("noise", damaged.noise(4000, "job"), {1, 2}, "job.ini")
    add("100 MB", lambda folder: sized(folder, 100_000_000), 1, "too large for a job file")
    add("no UTF-8", b"[field]\nboundary = caf\xe9.gpkg\nid-column = \xff\xfe\n[terrain]\nelevation = x.tif\n[soil]\nmap = y\n"
        b"[season]\nharvest = 2025-07-15\nnext-planting = 2026-05-10\n", 1, "caf")
    add("UTF-16", "[field]\nboundary = x\n".encode("utf-16"), 1, "not a text file")
    add("a value of 900 kB", b"[field]\nboundary = " + b"x" * 900_000 + b"\n", {1, 2}, "")
    add("50000 unknown keys", b"[field]\n" + b"".join(b"k%d = 1\n" % n for n in range(50000)), 2, "unknown key")
    add("a section never closed", b"[field\nboundary = x\n", 2, "key = value")
    add("a line without sign", b"[field]\nboundary fields.geojson\n", 2, "key = value")
    add("brackets", b"[" * 100000, 2, "job.ini")
    add("a folder", lambda folder: folder, {1, 2}, "")
    add("fifo", lambda folder: fifo(folder, "job.ini"), 2, "cannot be read")
    add("a device", lambda folder: "/dev/zero", 2, "cannot be read")
    add("link to itself", linked("fields.geojson"), 2, "cannot be read")
    add("missing", lambda folder: os.path.join(folder, "no.ini"), 2, "catchfield start")
    add("a raster as job", lambda folder: farm.write_raster(os.path.join(folder, "job.ini")), {1, 2}, "job.ini")
    add("job that names itself", lambda folder: farm.text(os.path.join(folder, "job.ini"), farm.job_text(
        field_boundary="job.ini")), 1, "job.ini")
    add("a path round and round", lambda folder: round_and_round(folder), 1, "fields.geojson")
    add("markup in a path", changed(field_boundary="<script>.geojson"), 1, "<script>.geojson")
    add("escape sequences in a path", changed(field_boundary="a\x1b[2Jb.geojson"), 1, "a?[2Jb.geojson")
    add("unknown key", changed(field_bounday="x"), 2, "Did you mean 'boundary'")
    add("unknown section", changed(felds_boundary="x"), 2, "unknown key")
    for key, value, says in (
            ("terrain_resolution", "5", "no unit"), ("zones_min_area", "1", "no unit"), ("season_residue", "4500", "no unit"),
            ("nitrogen_yield_goal", "180", "nitrogen.yield-goal"), ("weather_erosivity", "125", "weather.erosivity"),
            ("nitrogen_price_n", "0.50", "no unit"), ("nitrogen_max_rate", "220 lb", "nitrogen.max-rate"),
            ("terrain_resolution", "nan m", "terrain.resolution"), ("terrain_resolution", "inf m", "terrain.resolution"),
            ("terrain_resolution", "-5 m", "terrain.resolution"), ("terrain_resolution", "0 m", "outside the range"),
            ("terrain_resolution", "1e308 m", "outside the range"), ("terrain_resolution", "0x5 m", "terrain.resolution"),
            ("terrain_resolution", "5,0 m", "terrain.resolution"), ("terrain_resolution", "5 furlong", "furlong"),
            ("season_harvest", "2025-02-30", "not a date"), ("season_harvest", "2025-13-01", "not a date"),
            ("season_harvest", "07/15/2025", "not a date"), ("season_harvest", "0000-00-00", "not a date"),
            ("season_harvest", "99999999999-01-01", "not a date"), ("season_harvest", "-2025-07-15", "not a date"),
            ("season_sow", "2024-08-18", "comes before"), ("season_next_planting", "2035-05-10", "18 months"),
            ("season_terminate", "2026-06-25", "comes before"),
            ("nitrogen_price_n", "-0.50 /lb", "above zero"), ("nitrogen_price_n", "0 /lb", "above zero"),
            ("nitrogen_price_n", "nan /lb", "nitrogen.price-n"), ("nitrogen_price_crop", "-4 /bu", "price-crop"),
            ("nitrogen_yield_goal", "-180 bu/ac", "nitrogen.yield-goal"), ("nitrogen_yield_goal", "1e9 bu/ac", "nitrogen.yield-goal"),
            ("nitrogen_max_rate", "10 lb/ac", ""), ("nitrogen_max_rate", "-10 lb/ac", "outside the range"),
            ("nitrogen_max_rate", "1e300 lb/ac", "outside the range"), ("nitrogen_step", "0 lb/ac", "outside the range"),
            ("nitrogen_split", "0.5,0.6", "do not add to one"), ("nitrogen_split", "nan", "share above zero"),
            ("nitrogen_method", "magic", "magic"), ("nitrogen_crop", "unobtainium", "unobtainium"),
            ("nitrogen_region", "nowhere", "nowhere"), ("zones_count", "0", "outside the range"),
            ("zones_count", "-1", "outside the range"), ("zones_count", "99999999999999999999", "not a whole number"),
            ("zones_count", "2.5", "not a whole number"), ("zones_features", "slope=nan", "weight"),
            ("zones_features", "slope=-1", "weight"), ("zones_features", "nothing=1", "nothing"),
            ("zones_layers", "a", "no file"), ("zones_renumber", "1,1", "must stand once"),
            ("zones_exponent", "nan", "not a number"), ("zones_exponent", "inf", "not a number"),
            ("cover_candidates", "moonflower", "moonflower"), ("cover_aims", "erosion=-1", "zero or more"),
            ("cover_aims", "erosion=nan", "zero or more"), ("cover_purity", "0", "outside the range"),
            ("output_uncertainty", "5", "too few draws"), ("output_uncertainty", "999999999", "outside the range"),
            ("output_product", "plutonium", "plutonium"), ("output_crs", "EPSG:4326", "projected"),
            ("output_cell", "1e-9 m", "outside the range"), ("output_units", "furlongs", "not one of"),
            ("weather_erosivity", "-1 us", "weather.erosivity"), ("weather_erosivity", "1e9 us", "weather.erosivity"),
            ("weather_winter_low", "-300 degC", "outside the range"), ("compaction_threshold", "0 psi", "outside the range"),
            ("soil_fill_distance", "-1 m", "outside the range"), ("soil_columns", "k", "soil.columns"),
            ("field_repair", "perhaps", "neither yes nor no")):
        code = 0 if says == "" else 2
        add("%s = %s" % (key.replace("_", ".", 1), value), changed(**{key: value}), code, says)
    return out


def sized(folder, size):
    path = farm.text(os.path.join(folder, "job.ini"), b"[field]\n")
    os.truncate(path, size)
    return path


def round_and_round(folder):
    os.symlink(".", os.path.join(folder, "loop"))
    return farm.text(os.path.join(folder, "job.ini"), farm.job_text(field_boundary="loop/" * 2000 + "fields.geojson"))


def command_cases():
    out = []
    add = lambda name, words, code, says, **more: out.append(Case("command", name, None, words, code, says, **more))
    plan = lambda *words: lambda folder: ["plan", "{farm}/job.ini"] + [word.replace("{}", folder) for word in words]

    def taken(folder):
        farm.text(os.path.join(folder, "taken"), "mine")
        return ["plan", "{farm}/job.ini", "-o", os.path.join(folder, "taken"), "--overwrite"]

    def link_elsewhere(folder):
        os.mkdir(os.path.join(folder, "elsewhere"))
        farm.text(os.path.join(folder, "elsewhere", "mine.txt"), "keep")
        os.symlink("elsewhere", os.path.join(folder, "out"))
        return ["plan", "{farm}/job.ini", "-o", os.path.join(folder, "out"), "--overwrite"]

    def of_text(name, content, *words):
        def make(folder):
            path = farm.text(os.path.join(folder, name), content)
            return [word.replace("{path}", path).replace("{}", folder) for word in words]
        return make

    def odd_folder(folder):
        inside = os.path.join(folder, "data")
        os.mkdir(inside)
        os.symlink(".", os.path.join(inside, "loop"))
        os.symlink("/etc/passwd", os.path.join(inside, "soils.gpkg"))
        os.mkfifo(os.path.join(inside, "dem.tif"))
        for name in ("a.csv", "b.shp", "c.tif", "d.gpkg", "e.geojson", "f.zip", "g.kml"):
            farm.text(os.path.join(inside, name), damaged.noise(3000, name))
        return ["start", inside, "-o", os.path.join(folder, "job.ini")]

    add("no command", lambda folder: [], 2, "usage")
    add("unknown command", lambda folder: ["plna"], 2, "Did you mean 'plan'")
    add("unknown option", plan("--outpt", "x"), 2, "outpt")
    add("a word of 100000 bytes", lambda folder: ["x" * 100_000], 2, "unknown command")
    add("no output", lambda folder: ["plan", "{farm}/job.ini", "--output", ""], 2, "--output is missing")
    add("output is the root", plan("-o", "/"), 2, "name of its own")
    add("output is here", plan("-o", "."), 2, "name of its own")
    add("output is above", plan("-o", "{}/.."), 2, "name of its own")
    add("output is a file", taken, 2, "taken by a file")
    add("output is a link", link_elsewhere, 2, "taken by a file")
    add("output in no folder", plan("-o", "{}/no/plan"), 1, "cannot be made")
    add("output in a device", plan("-o", "/dev/null/plan"), 1, "cannot be made")
    add("output name of 300 bytes", plan("-o", "{}/" + "n" * 300), {1, 2}, "n")
    add("output of 5000 bytes", plan("-o", "{}/" + "n/" * 2500 + "plan"), {1, 2}, "")
    add("threads of -1", plan("-o", "{}/plan", "--threads", "-1"), 2, "threads")
    add("threads of 10^9", plan("-o", "{}/plan", "--threads", "1000000000"), 2, "threads")
    add("two jobs", lambda folder: ["plan", "{farm}/job.ini", "{farm}/job.ini", "-o", folder + "/plan"], 2, "")
    add("start on odd files", odd_folder, {0, 1, 3}, "", leaves=("job.ini",))
    add("start on nothing", lambda folder: ["start", os.path.join(folder, "no"), "-o", folder + "/job.ini"], {1, 2}, "no")
    add("rank of noise", of_text("zones.csv", damaged.noise(900, "r"), "rank", "{}"), {1, 2}, "")
    add("rank of a device", lambda folder: ["rank", "/dev/zero"], {1, 2}, "")
    add("export of nothing", lambda folder: ["export", folder, "--to", "shapefile", "-o", folder + "/out"], {1, 2}, "")
    add("fit of noise", of_text("t.csv", damaged.noise(900, "f"), "fit", "{path}", "--rate-unit", "kg/ha", "--yield-unit",
                                "kg/ha", "--price-n", "1 /kg", "--price-crop", "0.2 /kg"), {1, 2}, "t.csv")
    add("fit of a fifo", lambda folder: ["fit", fifo(folder, "t.csv"), "--rate-unit", "kg/ha", "--yield-unit", "kg/ha",
                                         "--price-n", "1 /kg", "--price-crop", "0.2 /kg"], 1, "not a file")
    add("fit of nan", of_text("t.csv", "rate,yield\n0,nan\n50,9000\n100,9500\n150,9600\n200,9700\n", "fit", "{path}",
                              "--rate-unit", "kg/ha", "--yield-unit", "kg/ha", "--price-n", "1 /kg", "--price-crop",
                              "0.2 /kg"), 1, "t.csv")
    return out


def cases():
    return soil_cases() + table_cases() + job_cases() + command_cases()
