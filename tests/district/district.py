#!/usr/bin/python3
"""Plans an invented district and checks sums, sameness and what rasters may look like: mosaics, cloud-optimised, remote.

  district.py PROGRAM
"""
import csv
import filecmp
import http.server
import importlib.util
import pathlib
import re
import subprocess
import sys
import tempfile
import threading
import unittest

import numpy as np
from osgeo import gdal, ogr

gdal.UseExceptions()
ROOT = pathlib.Path(__file__).resolve().parents[2]
PROGRAM = ""
FIELDS = 60


def make_district(folder, *arguments):
    subprocess.run([ROOT / "scripts/make-district", folder, *map(str, arguments)], check=True)
    return folder


def plan(job, output, *options, code=0):
    run = subprocess.run([PROGRAM, "plan", job, "--output", output, "--quiet", *map(str, options)], text=True,
                         stderr=subprocess.PIPE, stdout=subprocess.DEVNULL)
    assert run.returncode == code, f"exit code {run.returncode}, not {code}: {run.stderr}"
    return run.stderr


def files_of(folder):
    return sorted(str(path.relative_to(folder)) for path in folder.rglob("*") if path.is_file())


def differing(one, other, ignored=()):
    """Names of files that are not the same in two plan folders."""
    names = files_of(one)
    if names != files_of(other):
        return [f"other files: {sorted(set(names) ^ set(files_of(other)))[:5]}"]
    return [name for name in names if name not in ignored and not filecmp.cmp(one / name, other / name, shallow=False)]


def rows_of(path):
    with path.open() as file:
        return list(csv.DictReader(file))


class RangeServer(http.server.ThreadingHTTPServer):
    """Serves one folder with byte ranges and counts what it hands out."""

    class Handler(http.server.BaseHTTPRequestHandler):
        protocol_version = "HTTP/1.1"

        def answer(self, body):
            path = self.server.folder / self.path.lstrip("/")
            if not path.is_file():
                self.send_error(404)
                return
            content = path.read_bytes()
            asked = re.fullmatch(r"bytes=(\d+)-(\d*)", self.headers.get("Range", ""))
            first = int(asked[1]) if asked else 0
            last = min(int(asked[2]) if asked and asked[2] else len(content) - 1, len(content) - 1)
            part = content[first : last + 1]
            self.send_response(206 if asked else 200)
            self.send_header("Accept-Ranges", "bytes")
            self.send_header("Content-Length", str(len(part)))
            if asked:
                self.send_header("Content-Range", f"bytes {first}-{last}/{len(content)}")
            self.end_headers()
            if body:
                self.server.handed_out += len(part)
                self.wfile.write(part)

        def do_GET(self):
            self.answer(True)

        def do_HEAD(self):
            self.answer(False)

        def log_message(self, *_):
            pass

    def __init__(self, folder):
        super().__init__(("127.0.0.1", 0), self.Handler)
        self.folder, self.handed_out = folder, 0
        threading.Thread(target=self.serve_forever, daemon=True).start()

    def address(self, name):
        return f"/vsicurl/http://127.0.0.1:{self.server_port}/{name}"


class District(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.temporary = tempfile.TemporaryDirectory()
        cls.folder = pathlib.Path(cls.temporary.name)
        cls.district = make_district(cls.folder / "district", "--fields", FIELDS)
        cls.job = cls.district / "job.ini"
        cls.whole = cls.folder / "whole"
        plan(cls.job, cls.whole, "--threads", 2)
        cls.elevation = gdal.Open(str(cls.district / "elevation.tif"))

    @classmethod
    def tearDownClass(cls):
        cls.elevation = None
        cls.temporary.cleanup()

    def same_with(self, name, elevation, *options):
        """The plan from another raster of the same ground has the same files; only run.json names the raster."""
        out = self.folder / name
        plan(self.job, out, "--terrain.elevation", elevation, *options)
        self.assertEqual(differing(self.whole, out, ("run.json", "manifest.csv")), [])

    def test_same_arguments_make_the_same_ground(self):
        again = make_district(self.folder / "again", "--fields", FIELDS)
        self.assertEqual(differing(self.district, again), [])
        other = make_district(self.folder / "other", "--fields", FIELDS, "--seed", 2)
        self.assertIn("elevation.tif", differing(self.district, other))

    def test_threads_change_no_byte(self):
        out = self.folder / "one-thread"
        plan(self.job, out, "--threads", 1)
        self.assertEqual(differing(self.whole, out), [])

    def test_sums_agree(self):
        zones = rows_of(self.whole / "zones.csv")
        names = sorted({row["field_id"] for row in zones})
        self.assertEqual(len(names), FIELDS)
        package = ogr.Open(str(self.whole / "plan.gpkg"))
        areas = {feature["field_id"]: feature["area_ha"] for feature in package.GetLayerByName("fields")}
        self.assertEqual(sorted(areas), names)
        self.assertEqual(package.GetLayerByName("zones").GetFeatureCount(), len(zones))
        for name in names:
            own = [row for row in zones if row["field_id"] == name]
            self.assertAlmostEqual(sum(float(row["area_ha"]) for row in own), areas[name], delta=0.001)
            read = {kind: gdal.Open(str(self.whole / f"layers/{name}-{kind}.tif")).ReadAsArray()
                    for kind in ("zone", "soil-loss-bare", "soil-loss-now", "k", "ls")}
            inside = read["zone"] > 0
            self.assertAlmostEqual(inside.sum() * 0.01, areas[name], delta=0.03 * areas[name])
            # R of the job is 175 US units; 17.02 makes it SI.
            known = read["soil-loss-bare"] > -9999
            product = 175 * 17.02 * read["k"][known] * read["ls"][known]
            np.testing.assert_allclose(read["soil-loss-bare"][known], product, rtol=1e-3)
            for row in own:
                cells = (read["zone"] == int(row["zone"])) & known
                for kind in ("bare", "now"):
                    mean = float(row[f"soil_loss_{kind}_mg_ha"])
                    # The zone weighs cells at its edge by their share, the raster counts them whole or not.
                    self.assertAlmostEqual(read[f"soil-loss-{kind}"][cells].mean(), mean, delta=0.1 * mean + 0.01)

    def test_large_field(self):
        """A field of more than a million cells: zones come from coarser cells, everything else from its own."""
        district = make_district(self.folder / "large", "--cells", 1_100_000)
        outs = [self.folder / f"large-{threads}" for threads in (1, 2)]
        for threads, out in zip((1, 2), outs):
            plan(district / "job.ini", out, "--threads", threads)
        self.assertEqual(differing(*outs), [])
        zones = rows_of(outs[0] / "zones.csv")
        self.assertGreater(len(zones), 1)
        read = {kind: gdal.Open(str(outs[0] / f"layers/F00001-{kind}.tif")) for kind in ("zone", "ls", "slope")}
        self.assertEqual(read["zone"].GetGeoTransform()[1], 2.0)
        labels = read["zone"].ReadAsArray()
        for row in zones:
            cells = labels == int(row["zone"])
            self.assertAlmostEqual(cells.sum() * 4e-4, float(row["area_ha"]), delta=0.002 * float(row["area_ha"]))
            for column, kind in (("ls", "ls"), ("slope_pct", "slope")):
                mean = read[kind].ReadAsArray()[cells].mean()
                self.assertAlmostEqual(mean, float(row[column]), delta=0.002 * mean)

    def test_mosaic(self):
        tiles = []
        for n, (col, row) in enumerate(((0, 0), (1, 0), (0, 1), (1, 1))):
            width, height = self.elevation.RasterXSize // 2, self.elevation.RasterYSize // 2
            window = [col * width, row * height, width if col == 0 else self.elevation.RasterXSize - width,
                      height if row == 0 else self.elevation.RasterYSize - height]
            tiles.append(str(self.folder / f"tile-{n}.tif"))
            gdal.Translate(tiles[-1], self.elevation, srcWin=window)
        mosaic = self.folder / "mosaic.vrt"
        gdal.BuildVRT(str(mosaic), tiles).FlushCache()
        text = plan(self.job, self.folder / "none", "--terrain.elevation", mosaic, code=1)
        self.assertIn("Virtual rasters are off", text)
        self.same_with("from-mosaic", mosaic, "--allow-virtual")

    def test_cloud_optimised(self):
        path = self.folder / "cog.tif"
        gdal.Translate(str(path), self.elevation, format="COG", creationOptions=["COMPRESS=DEFLATE", "BLOCKSIZE=128"])
        self.same_with("from-cog", path)

    def test_raster_much_larger_than_the_fields(self):
        # The same ground in the middle of a sparse raster with 100 times its cells.
        cols, rows = self.elevation.RasterXSize, self.elevation.RasterYSize
        west, cell, _, north, _, _ = self.elevation.GetGeoTransform()
        cols_out, rows_out = (cols // 2) * 2 * 10, (rows // 2) * 2 * 10
        left, top = cols_out // 2, rows_out // 2
        path = self.folder / "state.tif"
        state = gdal.GetDriverByName("GTiff").Create(
            str(path), cols_out, rows_out, 1, gdal.GDT_Float32,
            ["TILED=YES", "COMPRESS=DEFLATE", "SPARSE_OK=TRUE", "BIGTIFF=YES"])
        state.SetProjection(self.elevation.GetProjection())
        state.SetGeoTransform((west - left * cell, cell, 0, north + top * cell, 0, -cell))
        band = state.GetRasterBand(1)
        band.SetNoDataValue(-9999)
        band.SetUnitType("m")
        band.WriteArray(self.elevation.ReadAsArray(), left, top)
        band = state = None
        self.assertGreater(cols_out * rows_out, 90 * cols * rows)
        self.same_with("from-state", path)

    def test_remote(self):
        cog = self.folder / "remote.tif"
        gdal.Translate(str(cog), self.elevation, format="COG", creationOptions=["COMPRESS=NONE", "BLOCKSIZE=128"])
        server = RangeServer(self.folder)
        try:
            address = server.address("remote.tif")
            text = plan(self.job, self.folder / "none", "--terrain.elevation", address, code=2)
            self.assertIn("--allow-remote", text)
            self.assertEqual(server.handed_out, 0)
            self.same_with("from-remote", address, "--allow-remote")
        finally:
            server.shutdown()
            server.server_close()

    def test_remote_window(self):
        """One field of a large remote raster costs its window."""
        big = self.folder / "big.tif"
        gdal.Translate(str(big), self.elevation, format="COG", width=10 * self.elevation.RasterXSize,
                       height=10 * self.elevation.RasterYSize, resampleAlg="bilinear",
                       creationOptions=["COMPRESS=NONE", "BLOCKSIZE=256", "OVERVIEWS=NONE"])
        fields = ogr.Open(str(self.district / "fields.gpkg"))
        one = ogr.GetDriverByName("GeoJSON").CreateDataSource(str(self.folder / "one.geojson"))
        layer = one.CreateLayer("one", fields.GetLayer(0).GetSpatialRef())
        layer.CreateField(ogr.FieldDefn("field", ogr.OFTString))
        feature = ogr.Feature(layer.GetLayerDefn())
        source = fields.GetLayer(0).GetNextFeature()
        feature.SetField(0, source.GetField("field"))
        feature.SetGeometry(source.GetGeometryRef())
        layer.CreateFeature(feature)
        layer = one = None
        server = RangeServer(self.folder)
        try:
            plan(self.job, self.folder / "one-remote", "--field.boundary", self.folder / "one.geojson",
                 "--terrain.resolution", "10 m", "--terrain.elevation", server.address("big.tif"), "--allow-remote")
            self.assertGreater(server.handed_out, 0)
            self.assertLess(server.handed_out, 0.2 * big.stat().st_size)
        finally:
            server.shutdown()
            server.server_close()

    @unittest.skipUnless(importlib.util.find_spec("numba") and importlib.util.find_spec("sklearn"),
                         "python3-numba or python3-sklearn is not installed")
    def test_scripted_peer_agrees(self):
        """Slope, routing, LS, K and loss written a second time, by the same published methods (scripts/bench-peer)."""
        out = self.folder / "peer"
        subprocess.run([ROOT / "scripts/bench-peer", self.district, out], check=True)
        peer = {row["field_id"]: float(row["soil_loss_bare_mg_ha"]) for row in rows_of(out / "fields.csv")}
        sums = {}
        for row in rows_of(self.whole / "zones.csv"):
            loss, area = sums.get(row["field_id"], (0.0, 0.0))
            ha = float(row["area_ha"])
            sums[row["field_id"]] = loss + ha * float(row["soil_loss_bare_mg_ha"]), area + ha
        apart = np.array([peer[name] / (loss / area) - 1 for name, (loss, area) in sums.items()])
        self.assertLess(abs(apart.mean()), 0.01)
        # What the edge cells' shares and the routing over flats may do.
        self.assertGreaterEqual((abs(apart) < 0.02).mean(), 0.95, apart)


if __name__ == "__main__":
    PROGRAM = sys.argv.pop(1)
    unittest.main(verbosity=2)
