# SPDX-License-Identifier: MIT
"""Results in a real PostGIS, read back with GDAL and psql. Usage: postgis_test.py PROGRAM"""
import csv
import os
import random
import shutil
import signal
import subprocess
import sys
import tempfile
import time
import unittest

try:
    from osgeo import ogr, osr
    ogr.UseExceptions()
except ImportError:
    ogr = None

from servers import SAMPLES, Postgres, district, files_of, run, skip

PROGRAM = os.path.abspath(sys.argv.pop(1)) if len(sys.argv) > 1 else "catchfield"
TABLES = {"fields": ["field_id"], "zones": ["field_id", "zone"],
          "cover_options": ["field_id", "zone", "cover"], "probes": ["field_id", "stop"]}
server = None


def rows_of(source, layer, where=""):
    """Key to (attributes, geometry) of a layer; doubles are an error."""
    data = ogr.Open(source)
    table = data.GetLayerByName(layer)
    if where:
        table.SetAttributeFilter(where)
    to_degrees = None
    if table.GetSpatialRef() is not None:
        wgs84 = osr.SpatialReference()
        wgs84.ImportFromEPSG(4326)
        for reference in (wgs84, table.GetSpatialRef()):
            reference.SetAxisMappingStrategy(osr.OAMS_TRADITIONAL_GIS_ORDER)
        to_degrees = osr.CoordinateTransformation(table.GetSpatialRef(), wgs84)
    rows = {}
    for feature in table:
        values = {feature.GetFieldDefnRef(i).GetName(): feature.GetField(i)
                  for i in range(feature.GetFieldCount())}
        values.pop("run", None)
        shape = feature.GetGeometryRef()
        if shape is not None:
            shape = shape.Clone()
            shape.Transform(to_degrees)
        name = layer.split(".")[-1]
        key = tuple(values[part] for part in TABLES[name])
        if key in rows:
            raise AssertionError(f"{layer} has {key} twice")
        rows[key] = (values, shape)
    return rows


class Results(unittest.TestCase):
    number = 0

    def setUp(self):
        Results.number += 1
        self.database = f"farm{Results.number}"
        server.create(self.database)
        self.folder = tempfile.mkdtemp(prefix="catchfield-results-")
        self.addCleanup(shutil.rmtree, self.folder)
        self.fields = district(self.folder + "/fields.geojson")

    def words(self, output="plan", database=None, boundary=None, more=()):
        return [PROGRAM, "plan", SAMPLES + "/job.ini", "--field.boundary",
                boundary or self.folder + "/fields.geojson", "--output.layers=no", "--output.reports=no",
                "--output", f"{self.folder}/{output}",
                "--results", server.connection(self.database) if database is None else database, *more]

    def plan(self, *arguments, **more):
        return run(self.words(*arguments, **more))

    def psql(self, sql):
        return server.psql(sql, self.database)

    def counts(self, schema="catchfield"):
        return {table: int(self.psql(f"SELECT count(*) FROM {schema}.{table}")[0][0]) for table in TABLES}

    def everything(self):
        return {table: self.psql(f"SELECT to_jsonb(t) - 'fid' FROM catchfield.{table} t ORDER BY 1")
                for table in TABLES}

    def expect_failure(self, done, code, *parts):
        self.assertEqual(done.returncode, code, done.stderr)
        for part in parts:
            self.assertIn(part, done.stderr)
        self.assertFalse(os.path.exists(self.folder + "/plan"))

    def wait_until_blocked(self):
        """Until a connection of the program waits for a lock; its process number."""
        for _ in range(300):
            blocked = self.psql("SELECT pid FROM pg_stat_activity WHERE datname = current_database() "
                                "AND wait_event_type = 'Lock'")
            if blocked:
                return int(blocked[0][0])
            time.sleep(0.05)
        self.fail("the program does not wait for the lock")

    def hold(self, field):
        """Another session keeps the rows of a field; ends with its stdin."""
        session = server.session(self.database)
        session.stdin.write(f"BEGIN; SELECT * FROM catchfield.fields WHERE field_id = '{field}' FOR UPDATE;\n")
        session.stdin.flush()
        for _ in range(100):
            if self.psql("SELECT 1 FROM pg_stat_activity WHERE datname = current_database() "
                         "AND state = 'idle in transaction'"):
                return session
            time.sleep(0.05)
        self.fail("the other session does not start")

    def test_rows_are_those_of_the_geopackage_and_of_the_csv(self):
        # The demo farm: four fields, penetrometer stops, and a fifth field off the elevation raster.
        far = self.folder + "/far.geojson"
        with open(SAMPLES + "/fields.geojson", encoding="utf-8") as file:
            text = file.read()
        at = text.index('{"type": "Feature",')
        text = text[:at] + ('{"type": "Feature", "properties": {"field": "Far"}, "geometry": {"type": '
                            '"Polygon", "coordinates": [[[-94.5, 40.2], [-94.49, 40.2], [-94.49, 40.21], '
                            '[-94.5, 40.2]]]}},\n') + text[at:]
        with open(far, "w", encoding="utf-8") as file:
            file.write(text)
        done = self.plan(boundary=far)
        self.assertEqual(done.returncode, 3, done.stderr)
        self.assertIn("schema catchfield, run far-", done.stdout + done.stderr)
        package = self.folder + "/plan/plan.gpkg"
        for table in TABLES:
            with self.subTest(table=table):
                files = rows_of(package, table)
                stored = rows_of(server.connection(self.database), "catchfield." + table)
                self.assertEqual(set(files), set(stored))
                self.assertGreater(len(files), 4)
                for key, (values, shape) in files.items():
                    other, other_shape = stored[key]
                    self.assertEqual(list(values), list(other))
                    for name, value in values.items():
                        if isinstance(value, float):
                            # Sent with 15 digits.
                            self.assertAlmostEqual(value, other[name], delta=1e-14 * abs(value))
                        else:
                            self.assertEqual(value, other[name], (key, name))
                    self.assertEqual(shape is None, other_shape is None)
                    if shape is not None:
                        # Two degrees-transformations of the same points: 1e-10 degrees is 0.01 mm.
                        self.assertEqual(shape.GetGeometryType(), other_shape.GetGeometryType())
                        for a, b in zip(shape.GetEnvelope(), other_shape.GetEnvelope()):
                            self.assertAlmostEqual(a, b, delta=1e-10)
                        if shape.GetDimension() == 2:
                            self.assertAlmostEqual(shape.GetArea(), other_shape.GetArea(), delta=1e-15)
        with open(self.folder + "/plan/zones.csv", encoding="utf-8") as file:
            lines = {(line["field_id"], line["zone"]): line for line in csv.DictReader(file)}
        zones = self.psql("SELECT field_id, zone, round(n_rate_kg_ha::numeric, 2), cover FROM catchfield.zones")
        self.assertEqual(len(zones), len(lines))
        for field, zone, rate, cover in zones:
            self.assertEqual(rate, lines[field, zone]["n_rate_kg_ha"])
            self.assertEqual(cover, lines[field, zone]["cover"])
        # A check from the database's own geometry: geodesic areas against the plan's. The grid scale
        # of UTM differs from 1 by less than 4e-4, areas by twice that.
        for stated, measured in self.psql("SELECT area_ha, ST_Area(geom::geography) / 1e4 FROM catchfield.zones"):
            self.assertAlmostEqual(float(stated) / float(measured), 1.0, delta=8e-4)
        self.assertEqual(self.psql("SELECT DISTINCT ST_SRID(geom), ST_IsValid(geom) FROM catchfield.zones"),
                         [["4326", "t"]])
        self.assertEqual(self.psql("SELECT status, geom IS NULL FROM catchfield.fields WHERE field_id = 'Far'"),
                         [["skipped", "t"]])
        # Nothing of the database is in the plan folder.
        for name in ("run.json", "zones.csv", "zones.geojson", "plan.gpkg"):
            with open(f"{self.folder}/plan/{name}", "rb") as file:
                self.assertNotIn(server.folder.encode(), file.read())

    def test_a_second_run_replaces_and_never_doubles(self):
        self.assertEqual(self.plan("a").returncode, 0)
        first = self.everything()
        self.assertEqual(len(first["fields"]), len(self.fields))
        self.assertEqual(self.plan("b").returncode, 0)
        self.assertEqual(self.everything(), first)
        # Other settings under the same name: the rows change, their number does not grow.
        self.assertEqual(self.plan("c", more=["--nitrogen.yield-goal=120 bu/ac"]).returncode, 0)
        self.assertNotEqual(self.everything()["zones"], first["zones"])
        self.assertEqual(self.counts()["fields"], len(self.fields))
        # Another name stands beside it.
        self.assertEqual(self.plan("d", more=["--results-run", "spring's plan"]).returncode, 0)
        self.assertEqual(self.counts()["fields"], 2 * len(self.fields))
        self.assertEqual(self.psql("SELECT count(*) FROM catchfield.zones WHERE run = 'spring''s plan'"),
                         [[str(len(first["zones"]))]])

    def test_several_processes_at_once_start_a_schema_and_share_it(self):
        # The same fields at the same time: the worst case, as when a task is started twice.
        together = [subprocess.Popen(self.words(f"p{i}"), stdout=subprocess.PIPE, stderr=subprocess.PIPE,
                                     text=True) for i in range(4)]
        for process in together:
            _, words = process.communicate(timeout=120)
            self.assertEqual(process.returncode, 0, words)
        crowd = self.everything()
        self.psql("DROP SCHEMA catchfield CASCADE")
        self.assertEqual(self.plan("alone").returncode, 0)
        self.assertEqual(crowd, self.everything())

    def test_killed_in_the_middle_then_run_again(self):
        # More fields than go into one transaction.
        self.fields = district(self.folder + "/fields.geojson", 8, 5, 0.0005)
        self.assertEqual(self.plan("a", more=["--nitrogen.yield-goal=120 bu/ac"]).returncode, 0)
        before = self.everything()
        session = self.hold(self.fields[20])
        process = subprocess.Popen(self.words("plan"), stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        self.wait_until_blocked()
        process.send_signal(signal.SIGKILL)
        process.wait()
        session.communicate("ROLLBACK;\n")
        self.assertFalse(os.path.exists(self.folder + "/plan"))
        # The first fields are new as a whole, the held one and those behind it old as a whole.
        middle = self.everything()
        self.assertEqual(self.plan("again", more=["--results-schema", "clean"]).returncode, 0)
        clean = {table: self.psql(f"SELECT to_jsonb(t) - 'fid' FROM clean.{table} t ORDER BY 1") for table in TABLES}
        kind = {}
        for i, field in enumerate(self.fields):
            of_field = [[row for table in TABLES for row in rows[table] if f'"field_id": "{field}"' in "|".join(row)]
                        for rows in (middle, before, clean)]
            self.assertNotEqual(of_field[1], of_field[2])
            self.assertIn(of_field[0], of_field[1:], field)
            kind[i] = "new" if of_field[0] == of_field[2] else "old"
        new = list(kind.values()).count("new")
        self.assertTrue(1 <= new <= 20, kind)
        self.assertEqual(list(kind.values()), ["new"] * new + ["old"] * (40 - new))
        # The same command again goes on, and completes it.
        done = self.plan("plan")
        self.assertEqual(done.returncode, 0, done.stderr)
        self.assertRegex(done.stderr, r"resuming: [1-9]\d* of 40 fields were finished")
        self.assertEqual(self.everything(), clean)

    def test_killed_at_random_moments(self):
        self.fields = district(self.folder + "/fields.geojson", 20, 6, 0.00024)
        seed = 20261125
        moments = random.Random(seed)
        kills = 0
        finished = False
        for _ in range(40):
            process = subprocess.Popen(self.words(), stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True)
            try:
                _, words = process.communicate(timeout=moments.uniform(0.1, 1.2 * 1.12**kills))
                # The last kill may have come after the folder was in place and before the end of the process.
                late = kills > 0 and process.returncode == 2 and "the output folder exists" in words
                finished = process.returncode == 0 or late
                self.assertTrue(finished, words)
                break
            except subprocess.TimeoutExpired:
                process.kill()
                process.communicate()
                kills += 1
            # Other readers see whole fields only.
            if self.psql("SELECT 1 WHERE to_regclass('catchfield.probes') IS NOT NULL"):
                self.assertEqual(self.psql(
                    "SELECT field_id FROM catchfield.fields f WHERE zones <> (SELECT count(*) FROM catchfield.zones z "
                    "WHERE z.field_id = f.field_id) UNION SELECT field_id FROM catchfield.zones z WHERE NOT EXISTS "
                    "(SELECT 1 FROM catchfield.fields f WHERE z.field_id = f.field_id)"), [], f"seed {seed}")
        self.assertTrue(finished)
        print(f"(seed {seed}: {kills} kills)", end=" ", flush=True)
        resumed = self.everything()
        self.assertEqual(len(resumed["fields"]), len(self.fields))
        self.psql("DROP SCHEMA catchfield CASCADE")
        self.assertEqual(self.plan("alone").returncode, 0)
        self.assertEqual(self.everything(), resumed)
        self.assertTrue(files_of(self.folder + "/alone") == files_of(self.folder + "/plan"))

    def test_connection_lost_in_the_middle(self):
        self.assertEqual(self.plan("a", more=["--nitrogen.yield-goal=120 bu/ac"]).returncode, 0)
        session = self.hold(self.fields[3])
        process = subprocess.Popen(self.words("plan"), stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
        self.psql(f"SELECT pg_terminate_backend({self.wait_until_blocked()})")
        out, words = process.communicate(timeout=60)
        session.communicate("ROLLBACK;\n")
        self.assertEqual(process.returncode, 1, words)
        self.assertEqual(out, "")
        self.assertIn("terminating connection", words)
        self.assertIn("run the same command again", words)
        self.assertFalse(os.path.exists(self.folder + "/plan"))
        # Every field has its zones: none is half there.
        self.assertEqual(self.psql("SELECT count(*) FROM catchfield.fields f WHERE zones <> (SELECT count(*) FROM "
                                   "catchfield.zones z WHERE z.field_id = f.field_id)"), [["0"]])
        self.assertEqual(self.counts()["fields"], len(self.fields))
        # What was finished is kept: the next step of the message goes on.
        done = self.plan("plan")
        self.assertEqual(done.returncode, 0, done.stderr)
        self.assertRegex(done.stderr, r"resuming: [1-9]\d* of 12 fields were finished")
        after = self.everything()
        self.assertEqual(self.plan("fresh", more=["--results-schema", "clean"]).returncode, 0)
        self.assertEqual(after["zones"], self.psql("SELECT to_jsonb(t) - 'fid' FROM clean.zones t ORDER BY 1"))

    def test_shares_fill_one_database_at_the_same_time(self):
        together = [subprocess.Popen(self.words(f"share-{i}", more=["--share", f"{i}/3"]), stdout=subprocess.DEVNULL,
                                     stderr=subprocess.PIPE, text=True) for i in (1, 2, 3)]
        for process in together:
            _, words = process.communicate(timeout=120)
            self.assertEqual(process.returncode, 0, words)
        shares = self.everything()
        # One is run again, as after an eviction.
        self.assertEqual(self.plan("again", more=["--share", "2/3"]).returncode, 0)
        self.assertEqual(self.everything(), shares)
        # Shares made without a database: gathering fills it, under the same name.
        self.psql("DROP SCHEMA catchfield CASCADE")
        done = run([PROGRAM, "gather", *[f"{self.folder}/share-{i}" for i in (3, 1, 2)], "--output",
                    self.folder + "/gathered", "--results", server.connection(self.database)])
        self.assertEqual(done.returncode, 0, done.stderr)
        self.assertIn("schema catchfield, run fields-", done.stdout + done.stderr)
        self.assertEqual(self.everything(), shares)
        self.psql("DROP SCHEMA catchfield CASCADE")
        self.assertEqual(self.plan("whole").returncode, 0)
        self.assertEqual(shares, self.everything())

    def test_wrong_database_server_password_and_words(self):
        self.expect_failure(self.plan(database=server.connection("nowhere")), 1,
                            'database "nowhere" does not exist', "createdb")
        self.expect_failure(self.plan(database="PG:host=/nowhere dbname=farm"), 1, "Check that the server runs")
        server.psql("DROP ROLE IF EXISTS guarded")
        server.psql("CREATE ROLE guarded LOGIN PASSWORD 'right horse'")
        wrong = self.plan(database=server.connection(self.database, user="guarded", password="'wrong\\'horse'"))
        self.expect_failure(wrong, 1, "password authentication failed", "PGPASSWORD", "user=guarded")
        self.assertNotIn("horse", wrong.stderr)
        for words in ("dbname=farm", "", "PG:postgresql://me:horse@db/farm", "PG:password=brown horse",
                      "PG:password='brown horse", "PG:dbname"):
            done = self.plan(database=words)
            self.expect_failure(done, 2, "--results", "PG:dbname=")
            self.assertNotIn("horse", done.stderr)
        done = self.plan(database=server.connection(self.database, horse="x", password="brown"))
        self.expect_failure(done, 1, "Check the words of --results")
        self.assertNotIn("brown", done.stderr)
        self.expect_failure(self.plan(more=["--results-schema", "a; drop"]), 2, "no name for a schema")

    def test_the_password_is_used_and_nowhere_shown(self):
        server.psql("DROP ROLE IF EXISTS guarded")
        server.psql("CREATE ROLE guarded LOGIN PASSWORD 'right horse'")
        server.psql(f"GRANT CREATE ON DATABASE {self.database} TO guarded")
        database = server.connection(self.database, user="guarded", password="'right horse'")
        done = self.plan(database=database, more=["--verbose"])
        self.assertEqual(done.returncode, 0, done.stderr)
        self.assertNotIn("horse", done.stdout + done.stderr)
        self.assertIn("user=guarded", done.stdout + done.stderr)
        for folder, _, names in os.walk(self.folder + "/plan"):
            for name in names:
                with open(os.path.join(folder, name), "rb") as file:
                    self.assertNotIn(b"right horse", file.read(), name)
        self.psql("DROP OWNED BY guarded")
        server.psql(f"REVOKE ALL ON DATABASE {self.database} FROM guarded")

    def test_rights(self):
        server.psql("DROP ROLE IF EXISTS reader")
        server.psql("CREATE ROLE reader LOGIN")
        as_reader = server.connection(self.database, user="reader")
        self.expect_failure(self.plan(database=as_reader), 1, "permission denied", "grant this role")
        self.assertEqual(self.plan("a").returncode, 0)
        before = self.everything()
        self.psql("GRANT USAGE ON SCHEMA catchfield TO reader; "
                  "GRANT SELECT ON ALL TABLES IN SCHEMA catchfield TO reader")
        self.expect_failure(self.plan(database=as_reader), 1, "permission denied", "SELECT, INSERT, DELETE")
        # Rights that end in the middle of a field: DELETE is allowed and taken back with the rest.
        self.psql("GRANT DELETE ON ALL TABLES IN SCHEMA catchfield TO reader; "
                  "GRANT INSERT ON catchfield.fields, catchfield.zones TO reader")
        self.expect_failure(self.plan(database=as_reader), 1, "permission denied", "cover_options")
        self.assertEqual(self.everything(), before)
        # What the message asks for is enough.
        self.psql("GRANT INSERT ON ALL TABLES IN SCHEMA catchfield TO reader")
        done = self.plan("b", database=as_reader)
        self.assertEqual(done.returncode, 0, done.stderr)
        self.assertEqual(self.everything(), before)
        self.psql("DROP OWNED BY reader")

    def test_no_postgis(self):
        server.create("plain", postgis=False)
        self.expect_failure(self.plan(database=server.connection("plain")), 1, "no PostGIS",
                            "CREATE EXTENSION postgis")

    def test_tables_of_another_version(self):
        self.assertEqual(self.plan("a").returncode, 0)
        before = self.everything()
        self.psql("ALTER TABLE catchfield.zones DROP COLUMN slope_pct, ADD COLUMN note text")
        self.assertEqual(self.plan("b").returncode, 0)
        after = self.psql("SELECT to_jsonb(t) - 'fid' - 'note' FROM catchfield.zones t ORDER BY 1")
        self.assertEqual(after, before["zones"])
        self.psql("ALTER TABLE catchfield.zones ALTER COLUMN ls TYPE text")
        self.expect_failure(self.plan(), 1, "column 'ls'", "--results-schema")
        self.psql("ALTER TABLE catchfield.zones DROP COLUMN ls; ALTER TABLE catchfield.zones ADD COLUMN ls float8; "
                  "ALTER TABLE catchfield.fields ADD CHECK (area_ha < 0) NOT VALID")
        self.expect_failure(self.plan(), 1, "violates check constraint")
        self.assertEqual(self.counts()["fields"], len(self.fields))

    def test_names_that_look_like_commands(self):
        names = ["O'Hara's", "'; DROP SCHEMA catchfield CASCADE; --", "back\\slash\\'", "tab\tline\nend",
                 "\\.", "\\N", 'quote"d', "größer", "$$", "%s%n", "NULL", " blank "]
        district(self.folder + "/fields.geojson", names=names)
        for output in ("a", "b"):
            done = self.plan(output, more=["--results-run", "a'b\\c"])
            self.assertEqual(done.returncode, 0, done.stderr)
            stored = rows_of(server.connection(self.database), "catchfield.fields")
            self.assertEqual({key[0] for key in stored},
                             {key[0] for key in rows_of(f"{self.folder}/{output}/plan.gpkg", "fields")})
            self.assertEqual(len(stored), len(names))


if __name__ == "__main__":
    if ogr is None:
        skip("the Python bindings of GDAL are not installed")
    server = Postgres()
    try:
        unittest.main(verbosity=2)
    finally:
        server.close()
