#!/usr/bin/env python3
"""Plans random small farms with the program and works the same figures out a second time.

Written from docs/methods and the sources named there, in numpy, without a look into src: slope and flow, LS,
R K LS, C from its printed half-months, A = R K LS C P, and the nitrogen budget. Fails where they differ.

    tests/oracle/oracle.py build/dev/src/cli/catchfield [--seed n] [--fields n] [--keep DIR]

Shared with the program, so not tested here: GDAL reads and writes the files; the state columns of the
half-months (residue, canopy, roots) come from the program, tests/erosion/schedule_test.cpp has a second writing of those;
the cover's credit and tie-up come from its budget lines. Boundaries run along the cells, so zone
means need no cell shares. The ground has no hollows: filling is tested in tests/terrain.
"""
import argparse
import csv
import pathlib
import subprocess
import sys
import tempfile

import numpy as np
from osgeo import gdal, ogr, osr

gdal.UseExceptions()
D = 10.0  # cell, m
EPSG = 32615
R_SI_PER_US = 17.0195  # hundreds of foot-tonf-inch/(ac h yr) to MJ mm/(ha h yr), AH-703 appendix A
K_SI_PER_US = 2.241702 / R_SI_PER_US  # so that A in Mg/(ha yr) follows from A in ton/(ac yr)
KG_HA_PER_LB_AC = 0.45359237 / 0.40468564224
BUSHEL_CORN_LB = 56.0
LONGEST_M = 120.0


class Differences:
    """Counts what was compared, and keeps what differs."""

    def __init__(self):
        self.compared, self.bad, self.largest = {}, [], {}

    def check(self, what, where, found, expected, relative, absolute=1e-9):
        found, expected = np.asarray(found, float), np.asarray(expected, float)
        off = np.abs(found - expected)
        allowed = absolute + relative * np.abs(expected)
        self.compared[what] = self.compared.get(what, 0) + found.size
        share = float(np.max(off / (np.abs(expected) + absolute)))
        self.largest[what] = max(self.largest.get(what, 0.0), share)
        if not np.all(off <= allowed):
            i = int(np.argmax(off - allowed))
            self.bad.append(f"{where}: {what} is {found.flat[i]:.6g}, expected {expected.flat[i]:.6g}")


# --- the farm ---------------------------------------------------------------------------------------------


def ground(random, rows, cols):
    """A tilted, gently rolling surface in m, as float32."""
    y, x = np.mgrid[0:rows, 0:cols] * D
    direction = random.uniform(0, 2 * np.pi)
    tilt = random.uniform(0.03, 0.14)
    z = 300 + tilt * (np.cos(direction) * x + np.sin(direction) * y)
    for _ in range(4):
        length, way = random.uniform(80, 240), random.uniform(0, 2 * np.pi)
        height = 0.5 * tilt * length / (2 * np.pi) * random.uniform(0.2, 0.8)
        z += height * np.sin(2 * np.pi / length * (np.cos(way) * x + np.sin(way) * y) + random.uniform(0, 6))
    return z.astype(np.float32)


def has_hollow(z, inside):
    for r, c in np.argwhere(inside):
        around = z[r - 1:r + 2, c - 1:c + 2]
        if around.min() >= z[r, c]:
            return True
    return False


def make_field(random):
    """A block of ground with a margin, and the field in it: a rectangle less one corner."""
    while True:
        rows, cols = random.integers(12, 26, 2)
        z = ground(random, rows + 6, cols + 6)
        inside = np.zeros(z.shape, bool)
        inside[3:-3, 3:-3] = True
        cut_r, cut_c = random.integers(0, rows // 2), random.integers(0, cols // 2)
        if cut_r and cut_c:
            inside[3:3 + cut_r, 3:3 + cut_c] = False
        if not has_hollow(z, inside):
            return z, inside, cut_r, cut_c


def layer_of(path, name, fields):
    reference = osr.SpatialReference()
    reference.ImportFromEPSG(EPSG)
    source = ogr.GetDriverByName("GPKG").CreateDataSource(str(path))
    layer = source.CreateLayer(name, reference, ogr.wkbPolygon)
    for field, kind in fields.items():
        layer.CreateField(ogr.FieldDefn(field, kind))
    return source, layer


def add(layer, points, **values):
    ring = ogr.Geometry(ogr.wkbLinearRing)
    for x, y in points + points[:1]:
        ring.AddPoint_2D(float(x), float(y))
    polygon = ogr.Geometry(ogr.wkbPolygon)
    polygon.AddGeometry(ring)
    feature = ogr.Feature(layer.GetLayerDefn())
    for key, value in values.items():
        feature.SetField(key, value)
    feature.SetGeometry(polygon)
    layer.CreateFeature(feature)


def make_farm(folder, seed, count):
    random = np.random.default_rng(seed)
    size = 34
    across = int(np.ceil(np.sqrt(count)))
    west, north = 500000.0, 4500000.0
    dem = np.full((size * across, size * across), 300, np.float32)
    fields = []
    boundary, boundary_layer = layer_of(folder / "fields.gpkg", "fields", {"id": ogr.OFTString})
    soils, soil_layer = layer_of(folder / "soils.gpkg", "soils", {
        "mukey": ogr.OFTString, "kffact": ogr.OFTReal, "tfact": ogr.OFTReal, "om_r": ogr.OFTReal, "goal": ogr.OFTReal})
    to_degrees = osr.CoordinateTransformation(boundary_layer.GetSpatialRef(), wgs84())
    tests = [["sample", "lon", "lat", "top_cm", "bottom_cm", "nitrate_ppm", "om_pct"]]
    for number in range(count):
        z, inside, cut_r, cut_c = make_field(random)
        row, col = size * (number // across), size * (number % across)
        dem[row:row + z.shape[0], col:col + z.shape[1]] = z
        left, top = west + D * (col + 3), north - D * (row + 3)
        right, bottom = west + D * (col + z.shape[1] - 3), north - D * (row + z.shape[0] - 3)
        if cut_r and cut_c:
            inner_x, inner_y = left + D * cut_c, top - D * cut_r
            points = [(inner_x, top), (right, top), (right, bottom), (left, bottom), (left, inner_y), (inner_x, inner_y)]
        else:
            points = [(left, top), (right, top), (right, bottom), (left, bottom)]
        name = f"F{number + 1:03}"
        add(boundary_layer, points, id=name)
        middle = col + 3 + int(random.integers(3, z.shape[1] - 9))
        goal = round(float(random.uniform(90, 240)), 1)
        k = [round(float(random.uniform(0.15, 0.55)), 2) for _ in range(2)]
        t = float(random.integers(2, 6))
        edges = [left - D, west + D * middle, right + D]
        for part in range(2):
            add(soil_layer, [(edges[part], top + D), (edges[part + 1], top + D), (edges[part + 1], bottom - D),
                             (edges[part], bottom - D)], mukey=f"{name}-{part}", kffact=k[part], tfact=t, om_r=2.0, goal=goal)
        samples = []
        for s in range(4):
            r, c = random.permutation(np.argwhere(inside))[0]
            lat, lon, _ = to_degrees.TransformPoint(west + D * (col + c + 0.5), north - D * (row + r + 0.5))
            ppm = [round(float(v), 1) for v in (random.uniform(2, 20), random.uniform(1, 10))]
            om = round(float(random.uniform(0.3, 4.5)), 1)
            depth = int(random.choice([45, 60, 90]))
            tests.append([f"{name}-{s}", f"{lon:.7f}", f"{lat:.7f}", 0, 30, ppm[0], om])
            tests.append([f"{name}-{s}", f"{lon:.7f}", f"{lat:.7f}", 30, depth, ppm[1], om])
            samples.append((ppm, depth, om))
        k_cells = np.where(np.arange(z.shape[1])[None, :] + col < middle, k[0], k[1]) * np.ones(z.shape)
        fields.append({"id": name, "z": z, "inside": inside, "k_us": k_cells, "t_us": t, "goal": goal, "samples": samples})
    driver = gdal.GetDriverByName("GTiff")
    raster = driver.Create(str(folder / "dem.tif"), dem.shape[1], dem.shape[0], 1, gdal.GDT_Float32)
    raster.SetGeoTransform((west, D, 0, north, 0, -D))
    raster.SetProjection(boundary_layer.GetSpatialRef().ExportToWkt())
    raster.GetRasterBand(1).SetUnitType("m")
    raster.GetRasterBand(1).WriteArray(dem)
    del raster, boundary_layer, boundary, soil_layer, soils
    with open(folder / "tests.csv", "w", newline="") as stream:
        csv.writer(stream).writerows(tests)
    with open(folder / "monthly.csv", "w", newline="") as stream:
        means = [-4, -1, 5, 11, 17, 22, 24, 23, 19, 12, 5, -2]
        rain = [20, 28, 55, 85, 115, 120, 110, 100, 95, 75, 50, 30]
        csv.writer(stream).writerows([["month", "tmean_c", "precip_mm"]] + [[m + 1, means[m], rain[m]] for m in range(12)])
    r_us = round(float(random.uniform(80, 260)), 1)
    (folder / "job.ini").write_text(f"""[field]
boundary = fields.gpkg
id-column = id
[terrain]
elevation = dem.tif
elevation-unit = m
[soil]
map = soils.gpkg
[weather]
erosivity = {r_us} us
monthly = monthly.csv
[season]
harvest = 2025-07-15
sow = 2025-08-15
hard-frost = 2025-10-20
terminate = 2026-04-25
next-planting = 2026-05-10
previous-crop = wheat
residue = {int(random.integers(1000, 6000))} kg/ha
tillage-before-planting = disk
[zones]
count = 1
[nitrogen]
crop = corn
yield-column = goal
yield-unit = bu/ac
soil-tests = tests.csv
soil-tests-taken = spring
min-rate = 20 lb/ac
max-rate = 220 lb/ac
step = 5 lb/ac
[output]
units = us
layers = yes
""")
    return fields, r_us


def wgs84():
    reference = osr.SpatialReference()
    reference.ImportFromEPSG(4326)
    return reference


# --- the second working-out ----------------------------------------------------------------------------------


def slope_and_direction(z):
    """Horn 1981: slope as a ratio, and the unit vector of steepest descent in columns (east) and rows (south)."""
    z = z.astype(float)
    a, b, c = z[:-2, :-2], z[:-2, 1:-1], z[:-2, 2:]
    d, f = z[1:-1, :-2], z[1:-1, 2:]
    g, h, i = z[2:, :-2], z[2:, 1:-1], z[2:, 2:]
    east = ((c + 2 * f + i) - (a + 2 * d + g)) / (8 * D)
    north = ((a + 2 * b + c) - (g + 2 * h + i)) / (8 * D)
    pad = lambda v: np.pad(v, 1)
    return pad(np.hypot(east, north)), pad(east), pad(north)


def inflow(z, inside):
    """Contributing area in m2 that runs into each cell (multiple flow, Quinn et al. 1991), field edge a barrier."""
    area = np.zeros(z.shape)
    around = [(r, c) for r in (-1, 0, 1) for c in (-1, 0, 1) if (r, c) != (0, 0)]
    cells = [tuple(cell) for cell in np.argwhere(inside)]
    for r, c in sorted(cells, key=lambda cell: -z[cell]):
        gives = {}
        for dr, dc in around:
            drop = float(z[r, c]) - float(z[r + dr, c + dc])
            if drop > 0:
                gives[(r + dr, c + dc)] = drop * (0.5 if dr and dc else 1.0)
        total = sum(gives.values())
        for (rr, cc), weight in gives.items():
            if inside[rr, cc]:
                area[rr, cc] += (area[r, c] + D * D) * weight / total
    return area


def ls_factor(z, inside):
    slope, east, north = slope_and_direction(z)
    sine = slope / np.sqrt(1 + slope ** 2)
    steep = np.where(slope < 0.09, 10.8 * sine + 0.03, 16.8 * sine - 0.50)  # McCool et al. 1987
    beta = (sine / 0.0896) / (3 * sine ** 0.8 + 0.56)  # McCool et al. 1989
    m = beta / (1 + beta)
    length = np.where(slope > 0, slope, 1)
    cosine, sine_direction = np.abs(east) / length, np.abs(north) / length
    width = np.maximum(cosine, sine_direction) + np.minimum(cosine, sine_direction) / 2
    area = np.minimum(inflow(z, inside), LONGEST_M * D * width)
    # Desmet & Govers 1996.
    l_factor = ((area + D * D) ** (m + 1) - area ** (m + 1)) / (D ** (m + 2) * width ** m * 22.13 ** m)
    return slope, np.where(inside, l_factor * steep, 0)


def c_of_half_months(rows, differences, where):
    """SLR = PLU CC SC SR from the state of each half-month (AH-703 ch. 5), C weighted by EI."""
    number = lambda row, key: float(row[key])
    total = weight = 0.0
    for row in rows:
        cf, roots, buried = number(row, "cf"), number(row, "roots_kg_ha_mm"), number(row, "buried_kg_ha_mm")
        roughness_in = number(row, "roughness_mm") / 25.4
        plu = cf * 0.951 * np.exp(-(0.0450963 * roots + 0.0094272 * buried / np.sqrt(cf)))
        cc = 1.0
        for who in ("crop", "cover"):
            cc *= 1 - number(row, f"{who}_canopy") * np.exp(-0.1 * number(row, f"{who}_fall_m") / 0.3048)
        sc = np.exp(-0.035 * number(row, "cover_pct") * (0.24 / roughness_in) ** 0.08)
        sr = np.exp(-0.66 * (roughness_in - 0.24))
        slr = plu * cc * sc * sr
        differences.check("SLR of a half-month", where, number(row, "slr"), slr, 5e-4, 1e-6)
        total += slr * number(row, "ei_share")
        weight += number(row, "ei_share")
    return total / weight


def nitrogen_lines(method, field):
    """Lines of the budget before the cover's, lb N/ac (docs/methods/nitrogen.md, sections 1 and 3)."""
    goal = field["goal"]
    ppm, nitrate, om = [], [], []
    for (top, low), depth, percent in field["samples"]:
        ppm.append((top * 30 + low * (depth - 30)) / depth)
        nitrate.append(0.3 * (top * 30 + low * (depth - 30)) / 2.54)  # field rule, ppm and inches
        om.append(percent)
    ppm, nitrate, om = np.mean(ppm), np.mean(nitrate), np.mean(om)
    if method == "balance":
        return [1.2 * goal, -nitrate]
    if method == "balance-full":
        return [1.6 * goal, -nitrate, -20 * min(om, 6.0)]
    return [35.0, 1.2 * goal, -8 * ppm, -0.14 * goal * np.clip(om, 0.5, 3.0)]


# --- the comparison ------------------------------------------------------------------------------------------


def read_csv(path):
    with open(path, newline="", encoding="utf-8") as stream:
        return list(csv.DictReader(stream))


def layer_values(path, field):
    """The layer's values on the cells of the field, row by row."""
    source = gdal.Open(str(path))
    values = source.GetRasterBand(1).ReadAsArray()
    nodata = source.GetRasterBand(1).GetNoDataValue()
    known = ~np.isnan(values) if nodata is None or np.isnan(nodata) else values != nodata
    found = values[known]
    if found.size != field["inside"].sum():
        raise SystemExit(f"{path.name}: {found.size} cells, expected {field['inside'].sum()}")
    return found


def compare_erosion(plan, fields, r_us, differences):
    zones = {row["field_id"]: row for row in read_csv(plan / "zones.csv")}
    for field in fields:
        name, inside = field["id"], field["inside"]
        slope, ls = ls_factor(field["z"], inside)
        k = field["k_us"] * K_SI_PER_US
        bare = r_us * R_SI_PER_US * k * ls
        # The ground is float32: slopes and drops carry its rounding.
        differences.check("slope of a cell", name, layer_values(plan / f"layers/{name}-slope.tif", field),
                          100 * slope[inside], 1e-5, 1e-4)
        differences.check("LS of a cell", name, layer_values(plan / f"layers/{name}-ls.tif", field), ls[inside], 1e-4, 1e-5)
        differences.check("K of a cell", name, layer_values(plan / f"layers/{name}-k.tif", field), k[inside], 1e-5)
        differences.check("bare loss of a cell", name, layer_values(plan / f"layers/{name}-soil-loss-bare.tif", field),
                          bare[inside], 1e-4, 1e-3)
        zone = zones[name]
        number = lambda key: float(zone[key])
        differences.check("area", name, number("area_ha"), inside.sum() * D * D / 1e4, 0, 1e-4)
        differences.check("LS of a zone", name, number("ls"), ls[inside].mean(), 0, 1e-4)
        differences.check("T", name, number("t_mg_ha"), field["t_us"] * 2.241702, 1e-3)
        differences.check("bare loss", name, number("soil_loss_bare_mg_ha"), bare[inside].mean(), 1e-4, 1e-3)
        half_months = read_csv(plan / f"report/{name}-half-months.csv")
        for management, c_key, a_key in (("now", "c_now", "soil_loss_now_mg_ha"), ("cover", "c_cover", "soil_loss_cover_mg_ha")):
            rows = [row for row in half_months if row["management"] == management]
            if len(rows) != 24:
                raise SystemExit(f"{name}: {len(rows)} half-months of '{management}', expected 24")
            c = c_of_half_months(rows, differences, name)
            differences.check("C", name, number(c_key), c, 5e-4, 5e-5)
            differences.check("soil loss", name, number(a_key), bare[inside].mean() * c, 1e-3, 1e-3)


def compare_nitrogen(plan, fields, method, differences):
    zones = {row["field_id"]: row for row in read_csv(plan / "zones.csv")}
    lines = {}
    for row in read_csv(plan / "budget.csv"):
        lines.setdefault(row["field_id"], []).append(row)
    for field in fields:
        name = field["id"]
        mine = lines[name]
        covers = sum(float(row["amount"]) for row in mine
                     if row["part"] == "need" and row["line"] in ("Cover crop credit", "Tie-up by the cover"))
        expected = sum(nitrogen_lines(method, field)) + covers
        need = sum(float(row["amount"]) for row in mine if row["part"] == "need")
        where = f"{name}, {method}"
        differences.check(f"need ({method})", where, need, expected, 0, 0.05)
        rate = next(float(row["amount"]) for row in mine if row["part"] == "rate")
        bounded = np.clip(max(expected, 0.0), 20, 220)
        # Within the machine's step of the bounded need, on a whole step.
        differences.check(f"rate ({method})", where, rate, bounded, 0, 2.55)
        differences.check(f"whole step ({method})", where, rate, 5 * round(rate / 5), 0, 0.01)
        differences.check(f"rate in kg/ha ({method})", where, float(zones[name]["n_rate_kg_ha"]), rate * KG_HA_PER_LB_AC, 0, 0.01)


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("program")
    parser.add_argument("--seed", type=int, default=20)
    parser.add_argument("--fields", type=int, default=60)
    parser.add_argument("--keep", help="leave the farm and its plans here")
    options = parser.parse_args()
    print(f"seed {options.seed}, {options.fields} fields")
    with tempfile.TemporaryDirectory(prefix="oracle-") as temporary:
        folder = pathlib.Path(options.keep or temporary)
        folder.mkdir(parents=True, exist_ok=True)
        fields, r_us = make_farm(folder, options.seed, options.fields)
        differences = Differences()
        for method in ("balance", "balance-full", "corn-balance"):
            plan = folder / f"plan-{method}"
            command = [options.program, "plan", str(folder / "job.ini"), "--output", str(plan), "--overwrite", "--quiet",
                       f"--nitrogen.method={method}"]
            done = subprocess.run(command, capture_output=True, text=True)
            if done.returncode != 0:
                raise SystemExit(f"{' '.join(command)} ended with {done.returncode}:\n{done.stderr}")
            if method == "balance":
                compare_erosion(plan, fields, r_us, differences)
            compare_nitrogen(plan, fields, method, differences)
    for what, count in differences.compared.items():
        print(f"{what}: {count} compared, largest difference {100 * differences.largest[what]:.4f} %")
    if differences.bad:
        print(f"{len(differences.bad)} differ:")
        print("\n".join(differences.bad[:40]))
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main())
