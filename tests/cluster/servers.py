# SPDX-License-Identifier: MIT
"""What the tests of clusters share: a PostgreSQL of their own, the program, a small district."""
import glob
import json
import os
import pwd
import shutil
import subprocess
import sys
import tempfile

SAMPLES = os.path.join(os.path.dirname(os.path.abspath(__file__)), "../../geodata-samples")


def skip(reason):
    """Ends the test program as CTest's SKIP_RETURN_CODE expects it."""
    print("skipped:", reason)
    sys.exit(77)


def run(words, **more):
    return subprocess.run(words, capture_output=True, text=True, **more)


def district(path, columns=4, rows=3, side_deg=0.0012, names=None):
    """Square fields side by side on the demo farm's ground, some 1.4 ha each."""
    features = []
    for i in range(columns * rows):
        west, south = -94.9975 + side_deg * (i % columns), 40.199 + side_deg * (i // columns)
        east, north = west + side_deg * 0.95, south + side_deg * 0.95
        ring = [[west, south], [east, south], [east, north], [west, north], [west, south]]
        name = names[i] if names else f"F{i + 1:02d}"
        features.append({"type": "Feature", "properties": {"field": name},
                         "geometry": {"type": "Polygon", "coordinates": [ring]}})
    with open(path, "w", encoding="utf-8") as file:
        json.dump({"type": "FeatureCollection", "features": features}, file)
    return [feature["properties"]["field"] for feature in features]


class Postgres:
    """A server in a temporary folder, on a socket there; no network."""

    def __init__(self):
        folders = sorted(glob.glob("/usr/lib/postgresql/*/bin"))
        if not folders or not shutil.which("psql"):
            skip("PostgreSQL is not installed")
        if not glob.glob("/usr/share/postgresql/*/extension/postgis.control"):
            skip("PostGIS is not installed")
        self.bin = folders[-1]
        self.folder = tempfile.mkdtemp(prefix="catchfield-pg-")
        self.prefix = []
        if os.geteuid() == 0:  # the server refuses to run as root
            try:
                user = pwd.getpwnam("postgres")
            except KeyError:
                skip("there is no user postgres to run the server")
            os.chown(self.folder, user.pw_uid, user.pw_gid)
            self.prefix = ["runuser", "-u", "postgres", "--"]
        self._as_server("initdb", "-D", self.folder + "/data", "-A", "trust", "-U", "postgres",
                        "-E", "UTF8", "--no-sync")
        with open(self.folder + "/data/pg_hba.conf", "w", encoding="utf-8") as file:
            file.write("local all guarded scram-sha-256\nlocal all all trust\n")
        self.start()

    def _as_server(self, name, *words):
        # Not captured: the server would keep the pipe open.
        with open(self.folder + "/" + name + ".out", "w", encoding="utf-8") as out:
            subprocess.run([*self.prefix, f"{self.bin}/{name}", *words], check=True, stdout=out,
                           stderr=out, cwd=self.folder)

    def start(self):
        self._as_server("pg_ctl", "-w", "-D", self.folder + "/data", "-l", self.folder + "/log", "-o",
                        f"-c listen_addresses='' -c unix_socket_directories={self.folder} -c fsync=off",
                        "start")

    def stop(self):
        self._as_server("pg_ctl", "-w", "-m", "immediate", "-D", self.folder + "/data", "stop")

    def close(self):
        self.stop()
        shutil.rmtree(self.folder)

    def psql(self, sql, database="postgres"):
        """Rows of text; the last statement's where there are several."""
        done = run(["psql", "-h", self.folder, "-U", "postgres", "-d", database, "-X", "-q", "-A", "-t",
                    "-v", "ON_ERROR_STOP=1", "-F", "|", "-c", sql])
        if done.returncode != 0:
            raise RuntimeError(done.stderr)
        return [line.split("|") for line in done.stdout.splitlines()]

    def session(self, database):
        """An open psql whose commands stand until it ends."""
        return subprocess.Popen(["psql", "-h", self.folder, "-U", "postgres", "-d", database, "-X", "-q"],
                                stdin=subprocess.PIPE, stdout=subprocess.DEVNULL, text=True)

    def create(self, database, postgis=True):
        self.psql(f'CREATE DATABASE "{database}"')
        if postgis:
            self.psql("CREATE EXTENSION postgis", database)

    def connection(self, database, **more):
        words = {"host": self.folder, "user": "postgres", "dbname": database, **more}
        return "PG:" + " ".join(f"{key}={value}" for key, value in words.items())
