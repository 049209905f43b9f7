# SPDX-License-Identifier: MIT
"""What the tests of clusters share: PostgreSQL and Slurm of their own, and a small district."""
import getpass
import glob
import json
import os
import pwd
import shutil
import socket
import subprocess
import sys
import tempfile
import time

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


class Slurm:
    """Controller and one node on loopback, with keys, configuration and state in a temporary folder."""

    def __init__(self, cores=2):
        for name in ("munged", "slurmctld", "slurmd", "sbatch"):
            if not shutil.which(name, path=os.environ["PATH"] + ":/usr/sbin"):
                skip(f"Slurm is not installed ({name} is missing)")
        self.folder = folder = tempfile.mkdtemp(prefix="catchfield-slurm-")
        self.processes = []
        os.chmod(folder, 0o755)  # munge refuses a socket that others cannot reach
        os.environ["PATH"] += ":/usr/sbin"
        host, user = socket.gethostname().split(".")[0], getpass.getuser()
        ports = []
        for _ in range(2):
            with socket.socket() as probe:
                probe.bind(("127.0.0.1", 0))
                ports.append(probe.getsockname()[1])
        with open(folder + "/munge.key", "wb") as file:
            file.write(os.urandom(1024))
        os.chmod(folder + "/munge.key", 0o400)
        for name in ("state", "spool"):
            os.mkdir(f"{folder}/{name}")
        with open(folder + "/slurm.conf", "w", encoding="utf-8") as file:
            file.write("\n".join([
                "ClusterName=test", f"SlurmctldHost={host}(127.0.0.1)", "AuthType=auth/munge",
                # A job that is put back into the queue waits until its credential has run out.
                f"AuthInfo=socket={folder}/munge.sock,cred_expire=5",
                f"SlurmUser={user}", f"SlurmdUser={user}",
                f"SlurmctldPort={ports[0]}", f"SlurmdPort={ports[1]}",
                f"StateSaveLocation={folder}/state", f"SlurmdSpoolDir={folder}/spool",
                f"SlurmctldPidFile={folder}/slurmctld.pid", f"SlurmdPidFile={folder}/slurmd.pid",
                f"SlurmctldLogFile={folder}/slurmctld.log", f"SlurmdLogFile={folder}/slurmd.log",
                "ProctrackType=proctrack/linuxproc", "SelectType=select/cons_tres",
                "SelectTypeParameters=CR_Core", "KillWait=1",
                "SchedulerParameters=batch_sched_delay=0,sched_interval=1,sched_min_interval=0",
                # Takes the node as it is described here, whatever the machine has.
                "SlurmdParameters=config_overrides",
                f"NodeName={host} NodeAddr=127.0.0.1 CPUs={cores} RealMemory=500",
                f"PartitionName=main Nodes={host} Default=YES MaxTime=INFINITE State=UP", ""]))
        os.environ["SLURM_CONF"] = folder + "/slurm.conf"
        self._start("munged", "--foreground", "--force", f"--socket={folder}/munge.sock",
                    f"--key-file={folder}/munge.key", f"--pid-file={folder}/munge.pid",
                    f"--seed-file={folder}/munge.seed", f"--log-file={folder}/munge.log")
        self._until(lambda: os.path.exists(folder + "/munge.sock"), "munged does not start")
        self._start("slurmctld", "-D", "-f", folder + "/slurm.conf")
        self._start("slurmd", "-D", "-N", host, "-f", folder + "/slurm.conf")
        self._until(lambda: run(["sinfo", "-h", "-o", "%T"]).stdout.strip() == "idle",
                    "Slurm's node does not start")

    def _start(self, *words):
        with open(f"{self.folder}/{words[0]}.out", "w", encoding="utf-8") as out:
            self.processes.append(subprocess.Popen(words, stdout=out, stderr=out, cwd=self.folder))

    def _until(self, is_so, otherwise):
        for _ in range(300):
            if is_so():
                return
            time.sleep(0.1)
        logs = ""
        for path in glob.glob(self.folder + "/*.log") + glob.glob(self.folder + "/*.out"):
            with open(path, encoding="utf-8", errors="replace") as file:
                logs += f"== {path}\n{file.read()[-2000:]}\n"
        self.close()
        raise RuntimeError(otherwise + "\n" + logs)

    def close(self):
        for process in reversed(self.processes):
            process.terminate()
        for process in self.processes:
            process.wait(timeout=60)
        shutil.rmtree(self.folder)

    def queue(self):
        """Jobs that are not over, as squeue prints them: number, state, reason."""
        done = run(["squeue", "-h", "-r", "-o", "%i|%T|%r"])
        if done.returncode != 0:
            raise RuntimeError(done.stderr)
        return [line.split("|") for line in done.stdout.splitlines()]

    def wait(self, seconds=240):
        end = time.monotonic() + seconds
        while jobs := self.queue():
            if time.monotonic() > end:
                raise RuntimeError(f"jobs do not end: {jobs}")
            time.sleep(0.2)

    def state(self, job):
        """Such as COMPLETED or FAILED."""
        words = run(["scontrol", "-o", "show", "job", str(job)]).stdout.split()
        return [word.split("=")[1] for word in words if word.startswith("JobState=")]


def files_of(folder):
    """Path in the folder to bytes."""
    files = {}
    for place, _, names in os.walk(folder):
        for name in names:
            path = os.path.join(place, name)
            with open(path, "rb") as file:
                files[os.path.relpath(path, folder)] = file.read()
    return files
