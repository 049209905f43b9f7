#!/usr/bin/python3
# SPDX-License-Identifier: MIT
"""Makes things fail under a running program: disk, folders, memory, locale, streams. Rule: never exit code 0 with an
output that is not whole, nothing left behind but a folder to resume from, and the next run works.

usage: run_faults.py PROGRAM [--only TEXT] [--show] [--no-memory-limit]
"""
import argparse
import concurrent.futures
import errno
import os
import random
import resource
import shutil
import signal
import subprocess
import sys
import tempfile
import threading
import time

HERE = os.path.dirname(os.path.abspath(__file__))
sys.path.insert(0, os.path.join(os.path.dirname(HERE), "hostile"))
import farm  # noqa: E402

SEED = 20250715
ALL = {}


def case(function):
    ALL[function.__name__] = function
    return function


class Run:
    """A folder of its own for one injection, and the program run in it."""

    def __init__(self, world):
        self.world = world
        self.folder = tempfile.mkdtemp(dir=world.top)
        self.out = os.path.join(self.folder, "plan")
        self.complaints = []
        self.said = ""

    def run(self, words=None, environment=None, memory=None, **more):
        words = words or ["plan", self.world.job, "-o", self.out]
        full = dict(os.environ)
        full.update(environment or {})

        def limit():
            resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
            if memory:
                resource.setrlimit(resource.RLIMIT_AS, (memory, memory))
            if "umask" in more:
                os.umask(more["umask"])
        options = {"stdin": subprocess.DEVNULL, "stdout": subprocess.PIPE, "stderr": subprocess.PIPE}
        options.update({name: value for name, value in more.items() if name != "umask"})
        done = subprocess.run([self.world.program] + words, env=full, preexec_fn=limit, timeout=120, **options)
        self.said = ((done.stdout or b"") + (done.stderr or b"")).decode("utf-8", "replace")
        return done.returncode

    def expect(self, good, text):
        if not good:
            self.complaints.append(text)

    def names(self):
        return sorted(os.listdir(self.folder))

    def whole(self):
        """The plan is byte for byte what an undisturbed run writes."""
        return self.files(self.out) == self.world.reference

    @staticmethod
    def files(folder):
        found = {}
        for root, _, names in os.walk(folder):
            for name in names:
                path = os.path.join(root, name)
                with open(path, "rb") as content:
                    found[os.path.relpath(path, folder)] = content.read()
        return found

    def judge(self, code):
        """After a run that may have failed: whole or not there, no debris, and the next run works."""
        if code in (0, 3):
            self.expect(self.whole(), "exit code %d with a plan that is not whole" % code)
        else:
            self.expect(code in (1, 2), "exit code %d" % code)
            self.expect(not os.path.exists(self.out), "a plan folder after exit code %d" % code)
            self.expect("catchfield: plan: " in self.said, "no message: " + self.said[-200:])
        debris = [name for name in self.names() if name not in ("plan", "count", ".plan.partial")]
        self.expect(not debris, "left behind: %s" % debris)
        if ".plan.partial" in self.names():
            self.expect(code not in (0, 3), "a partial folder beside a finished plan")
        again = self.run(["plan", self.world.job, "-o", self.out, "--overwrite"])
        self.expect(again == 0 and self.whole(), "the next run ends with %d: %s" % (again, self.said[-200:]))
        self.expect([name for name in self.names() if name != "count"] == ["plan"], "left after the next run: %s" % self.names())


class World:
    def __init__(self, top, program, limited):
        self.top, self.program, self.limited = top, program, limited
        self.base = farm.make(os.path.join(top, "farm"))
        self.job = os.path.join(self.base, "job.ini")
        self.shim = os.path.join(top, "fault.so")
        subprocess.run(["cc", "-O1", "-shared", "-fPIC", "-o", self.shim, os.path.join(HERE, "fault.c"), "-ldl"], check=True)
        first = Run(self)
        code = first.run()
        assert code == 0, first.said
        self.reference = Run.files(first.out)
        assert "manifest.csv" in self.reference
        shutil.rmtree(first.folder)

    def calls(self, kind):
        """How often an undisturbed run makes a call in its folder."""
        run = Run(self)
        counter = os.path.join(self.top, "count-" + kind)
        run.run(environment={"LD_PRELOAD": self.shim, "FAULT_FOLDER": run.folder, "FAULT_CALL": kind,
                             "FAULT_COUNT": counter})
        shutil.rmtree(run.folder)
        with open(counter) as text:
            return int(text.read())


def injections(world):
    """(name, function(run)) of everything that is made to fail."""
    chance = random.Random(SEED)
    out = []
    for kind, error, count in (("write", errno.ENOSPC, 30), ("write", errno.EIO, 10), ("fsync", errno.EIO, 4),
                               ("rename", errno.EACCES, 8), ("open", errno.ENOSPC, 14), ("open", errno.EMFILE, 6),
                               ("mkdir", errno.ENOSPC, 6), ("truncate", errno.EIO, 4)):
        total = world.calls(kind)
        places = sorted(chance.sample(range(1, total + 1), min(count, total)))
        for lasting in (False, True):
            for at in places if not lasting else places[::2]:
                def fail(run, kind=kind, error=error, at=at, lasting=lasting):
                    environment = {"LD_PRELOAD": world.shim, "FAULT_FOLDER": run.folder, "FAULT_CALL": kind,
                                   "FAULT_AT": str(at), "FAULT_ERROR": str(error)}
                    if lasting:
                        environment["FAULT_LASTING"] = "1"
                    run.judge(run.run(environment=environment))
                out.append(("%s %d of %d: %s%s" % (kind, at, total, errno.errorcode[error], " from then on" if lasting else ""),
                            fail))
    if world.limited:
        for megabytes in (60, 90, 120, 150, 180, 210, 240, 280, 330, 400):
            def starve(run, megabytes=megabytes):
                code = run.run(memory=megabytes << 20)
                if code in (126, 127) or (code not in (0, 1, 2, 3) and megabytes <= 90):
                    # Too little for the loader, before the program begins.
                    run.expect(not os.path.exists(run.out), "a plan folder")
                    run.said = "catchfield: plan: "
                    code = 1
                run.judge(code)
            out.append(("memory of %d MB" % megabytes, starve))
    out += [(name.replace("_", " "), function) for name, function in ALL.items()]
    return out


def as_nobody():
    return os.geteuid() == 0


@case
def folder_is_read_only(run):
    os.chmod(run.folder, 0o555)
    try:
        words = {"user": 65534, "group": 65534} if as_nobody() else {}
        os.chmod(run.world.top, 0o755)
        code = run.run(**words)
        run.expect(code == 1 and "Permission denied" in run.said, "exit code %d: %s" % (code, run.said[-200:]))
        run.expect(run.names() == [], "left behind: %s" % run.names())
    finally:
        os.chmod(run.folder, 0o755)


@case
def disk_of_one_megabyte(run):
    full = os.path.join(run.folder, "disk")
    os.mkdir(full)
    if subprocess.run(["mount", "-t", "tmpfs", "-o", "size=300k", "tmpfs", full], capture_output=True).returncode != 0:
        return  # needs root
    try:
        code = run.run(["plan", run.world.job, "-o", os.path.join(full, "plan")])
        run.expect(code == 1 and "No space left" in run.said, "exit code %d: %s" % (code, run.said[-200:]))
        run.expect(sorted(os.listdir(full)) == [], "left behind: %s" % os.listdir(full))
    finally:
        subprocess.run(["umount", full], check=False)


def on_the_way(run, act, more=()):
    """Starts a long run and acts on it while it works."""
    words = ["plan", run.world.job, "-o", run.out, "--output.uncertainty", "20000", *more]
    process = subprocess.Popen([run.world.program] + words, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE,
                               stderr=subprocess.STDOUT)
    partial = os.path.join(run.folder, ".plan.partial")
    while process.poll() is None and not os.path.isdir(partial):
        time.sleep(0.002)
    act(process)
    run.said = process.communicate(timeout=100)[0].decode("utf-8", "replace")
    return process.returncode


@case
def terminated_on_the_way(run):
    code = on_the_way(run, lambda process: process.send_signal(signal.SIGTERM))
    run.expect(code in (0, 128 + signal.SIGTERM), "exit code %d" % code)
    run.expect((code == 0) == os.path.exists(run.out), "a plan folder after a stop")
    run.expect(set(run.names()) <= {"plan", ".plan.partial"}, "left behind: %s" % run.names())
    again = run.run(["plan", run.world.job, "-o", run.out, "--overwrite"])
    run.expect(again == 0 and run.whole(), "the next run: %d" % again)


@case
def interrupted_on_the_way(run):
    code = on_the_way(run, lambda process: process.send_signal(signal.SIGINT))
    run.expect(code in (0, 128 + signal.SIGINT), "exit code %d" % code)
    again = run.run(["plan", run.world.job, "-o", run.out, "--overwrite"])
    run.expect(again == 0 and run.whole() and run.names() == ["plan"], "the next run: %d %s" % (again, run.names()))


@case
def killed_on_the_way(run):
    on_the_way(run, lambda process: process.kill())
    run.expect(set(run.names()) <= {".plan.partial", ".plan.lock"}, "left behind: %s" % run.names())
    again = run.run()
    run.expect(again == 0 and run.whole() and run.names() == ["plan"], "the next run: %d %s" % (again, run.names()))


@case
def input_lost_on_the_way(run):
    own = os.path.join(run.folder, "farm")
    shutil.copytree(run.world.base, own)
    job = os.path.join(own, "job.ini")
    words = ["plan", job, "-o", run.out, "--output.uncertainty", "20000", "--terrain.elevation", os.path.join(own, "dem.tif")]
    process = subprocess.Popen([run.world.program] + words, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE,
                               stderr=subprocess.STDOUT)
    while process.poll() is None and not os.path.isdir(os.path.join(run.folder, ".plan.partial")):
        time.sleep(0.002)
    os.truncate(os.path.join(own, "dem.tif"), 400)
    os.remove(os.path.join(own, "soils.gpkg"))
    process.communicate(timeout=100)
    code = process.returncode
    run.expect(code in (0, 1, 3), "exit code %d" % code)
    if code == 1:
        run.expect(set(run.names()) <= {"farm"}, "left behind: %s" % run.names())
    else:
        check = run.run(["check", run.out])
        run.expect(check == 0, "the plan is not whole: " + run.said[-300:])


@case
def two_runs_into_one_folder(run):
    second = []

    def start_another(process):
        second.append(subprocess.run([run.world.program, "plan", run.world.job, "-o", run.out], stdin=subprocess.DEVNULL,
                                     capture_output=True))
        del process
    code = on_the_way(run, start_another)
    run.expect(code == 0, "the first run: exit code %d" % code)
    run.expect(second[0].returncode in (1, 2) and (b"another run" in second[0].stderr or b"exists" in second[0].stderr),
               "the second run: %d %s" % (second[0].returncode, second[0].stderr[-200:]))
    run.expect(run.names() == ["plan"], "left behind: %s" % run.names())


def localised(run, name):
    locales = os.path.join(run.folder, "locales")
    os.mkdir(locales)
    made = subprocess.run(["localedef", "-i", name, "-f", "UTF-8", os.path.join(locales, name + ".UTF-8")],
                          capture_output=True)
    if made.returncode > 1 or not os.path.isdir(os.path.join(locales, name + ".UTF-8")):
        shutil.rmtree(locales)
        return
    code = run.run(environment={"LOCPATH": locales, "LC_ALL": name + ".UTF-8", "LANG": name + ".UTF-8"})
    run.expect(code == 0 and run.whole(), "%s: exit code %d, %s" % (name, code, run.said[-200:]))


@case
def german_locale(run):
    localised(run, "de_DE")


@case
def turkish_locale(run):
    localised(run, "tr_TR")


@case
def locale_that_is_not_there(run):
    code = run.run(environment={"LC_ALL": "xx_YY.UTF-8"})
    run.expect(code == 0 and run.whole(), "exit code %d" % code)


@case
def clock_of_1970_zone_of_nowhere(run):
    code = run.run(environment={"TZ": "Nowhere/Else-99", "SOURCE_DATE_EPOCH": "-5"})
    run.expect(code == 0 and run.whole(), "exit code %d" % code)


@case
def no_environment(run):
    done = subprocess.run([run.world.program, "plan", run.world.job, "-o", run.out], env={}, capture_output=True)
    run.expect(done.returncode == 0 and run.whole(), "exit code %d" % done.returncode)


@case
def no_home_and_no_temporary_folder(run):
    code = run.run(environment={"HOME": "/nonexistent", "TMPDIR": "/nonexistent", "CPL_TMPDIR": "/nonexistent"})
    run.expect(code == 0 and run.whole(), "exit code %d: %s" % (code, run.said[-200:]))


def named(run, name):
    place = os.path.join(run.folder, name)
    os.mkdir(place)
    shutil.copytree(run.world.base, os.path.join(place, name))
    run.out = os.path.join(place, name + " plan")
    code = run.run(["plan", os.path.join(place, name, "job.ini"), "-o", run.out])
    run.expect(code == 0 and run.whole(), "exit code %d: %s" % (code, run.said[-300:]))
    run.expect(sorted(os.listdir(place)) == sorted([name, name + " plan"]), "left behind: %s" % os.listdir(place))
    check = run.run(["check", run.out])
    run.expect(check == 0, "check: %d %s" % (check, run.said[-300:]))


@case
def path_with_blanks(run):
    named(run, "my  farm & co")


@case
def path_in_unicode(run):
    named(run, "Acker größe 畑 🌾")


@case
def path_with_line_end(run):
    named(run, "a\nb")


@case
def path_with_quotes(run):
    named(run, "it's \"mine\" `x` $(y) 100%s")


@case
def path_that_is_no_utf8(run):
    place = os.path.join(os.fsencode(run.folder), b"caf\xe9\xff")
    os.mkdir(place)
    done = subprocess.run([run.world.program, "plan", run.world.job, "-o", os.path.join(place, b"plan")], capture_output=True)
    run.out = os.fsdecode(os.path.join(place, b"plan"))
    run.expect(done.returncode == 0 and run.whole(), "exit code %d" % done.returncode)


@case
def umask_077(run):
    code = run.run(umask=0o077)
    run.expect(code == 0 and run.whole(), "exit code %d" % code)
    for root, folders, files in os.walk(run.out):
        for name in folders + files:
            run.expect(os.stat(os.path.join(root, name)).st_mode & 0o077 == 0, name + " is open to others")


@case
def umask_022(run):
    run.run(umask=0o022)
    run.expect(os.stat(run.out).st_mode & 0o777 == 0o755, "mode of the plan folder")
    for root, _, files in os.walk(run.out):
        for name in files:
            run.expect(os.stat(os.path.join(root, name)).st_mode & 0o777 == 0o644, "mode of " + name)


def in_shell(run, ending, words='plan "$2" -o "$3"'):
    done = subprocess.run(["sh", "-c", '"$1" ' + words + " " + ending, "sh", run.world.program, run.world.job, run.out],
                          capture_output=True)
    run.said = (done.stdout + done.stderr).decode("utf-8", "replace")
    return done.returncode


@case
def standard_input_closed(run):
    code = in_shell(run, "<&-")
    run.expect(code == 0 and run.whole(), "exit code %d" % code)


@case
def standard_output_closed(run):
    code = in_shell(run, ">&-")
    run.expect(code == 0 and run.whole(), "exit code %d" % code)


@case
def all_streams_closed(run):
    code = in_shell(run, "<&- >&- 2>&-")
    run.expect(code == 0 and run.whole(), "exit code %d" % code)


@case
def errors_to_a_full_device(run):
    code = in_shell(run, "2>/dev/full")
    run.expect(code == 0 and run.whole(), "exit code %d" % code)


@case
def check_to_a_full_device(run):
    code = in_shell(run, ">/dev/full", 'check "$2"')
    run.expect(code == 1 and "standard output cannot be written" in run.said, "exit code %d: %s" % (code, run.said))


@case
def json_to_a_full_device(run):
    code = in_shell(run, ">/dev/full", 'plan "$2" -o "$3" --json')
    run.expect(code == 1, "exit code %d" % code)
    run.expect(not os.path.exists(run.out) or run.whole(), "a plan that is not whole")


@case
def json_to_a_closed_stream(run):
    code = in_shell(run, ">&-", 'check "$2" --json')
    run.expect(code == 1, "exit code %d" % code)


@case
def reader_that_goes_away(run):
    done = subprocess.run(["bash", "-c", '"$1" reference job-file | head -c 10 >/dev/null; exit ${PIPESTATUS[0]}', "sh",
                           run.world.program], capture_output=True)
    run.expect(done.returncode in (0, 1), "exit code %d" % done.returncode)


@case
def output_folder_taken_on_the_way(run):
    def take(process):
        os.mkdir(run.out)
        farm.text(os.path.join(run.out, "mine.txt"), "keep")
        del process
    code = on_the_way(run, take)
    run.expect(code == 1 and os.listdir(run.out) == ["mine.txt"], "exit code %d, %s" % (code, os.listdir(run.out)))


@case
def partial_folder_of_somebody_else(run):
    if not as_nobody():
        return
    partial = os.path.join(run.folder, ".plan.partial")
    os.mkdir(partial)
    os.chown(partial, 65534, 65534)
    code = run.run()
    run.expect(code == 1, "exit code %d" % code)


@case
def partial_folder_is_a_link(run):
    other = os.path.join(run.folder, "other")
    os.mkdir(other)
    farm.text(os.path.join(other, "mine.txt"), "keep")
    os.symlink("other", os.path.join(run.folder, ".plan.partial"))
    code = run.run()
    run.expect(code in (0, 1) and os.listdir(other) == ["mine.txt"], "exit code %d, %s" % (code, os.listdir(other)))


@case
def lock_is_a_link(run):
    victim = farm.text(os.path.join(run.folder, "victim"), "keep")
    os.symlink("victim", os.path.join(run.folder, ".plan.lock"))
    code = run.run()
    with open(victim) as content:
        run.expect(content.read() == "keep" and code in (0, 1), "exit code %d" % code)


@case
def open_files_limit(run):
    def few():
        resource.setrlimit(resource.RLIMIT_NOFILE, (24, 24))
    done = subprocess.run([run.world.program, "plan", run.world.job, "-o", run.out], capture_output=True, preexec_fn=few)
    run.said = done.stderr.decode("utf-8", "replace")
    run.judge(done.returncode)


@case
def file_size_limit(run):
    def small():
        resource.setrlimit(resource.RLIMIT_FSIZE, (20000, 20000))
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    done = subprocess.run([run.world.program, "plan", run.world.job, "-o", run.out], capture_output=True, preexec_fn=small,
                          restore_signals=False)
    run.said = done.stderr.decode("utf-8", "replace")
    run.expect(done.returncode == 1, "exit code %d" % done.returncode)
    run.judge(done.returncode)


def altered(run, alter, says):
    """An earlier plan with something wrong is found out."""
    run.run()
    alter(run.out)
    code = run.run(["check", run.out])
    run.expect(code == 1 and says in run.said, "exit code %d, no '%s': %s" % (code, says, run.said[:300]))


@case
def sound_plan_is_found_sound(run):
    run.run()
    code = run.run(["check", run.out])
    run.expect(code == 0 and "whole and as it was written" in run.said, "exit code %d: %s" % (code, run.said[:400]))
    run.expect("has changed" not in run.said, run.said[:400])
    run.expect(run.whole(), "check has changed the plan")


def spoil(name, change):
    def alter(out):
        path = os.path.join(out, name)
        with open(path, "rb") as content:
            before = content.read()
        after = change(before)
        assert after != before, name
        with open(path, "wb") as content:
            content.write(after)
    return alter


for index, (name, change, says) in enumerate((
        ("zones.csv", lambda b: b[:-40], "zones.csv: has"), ("zones.csv", lambda b: b.replace(b"west", b"wesr"), "zones.csv"),
        ("zones.geojson", lambda b: b[:-3], "zones.geojson"), ("plan.gpkg", lambda b: b[:len(b) // 2], "plan.gpkg"),
        ("plan.gpkg", lambda b: b[:9000] + b"\7" + b[9001:], "plan.gpkg"), ("run.json", lambda b: b[:500], "run.json"),
        ("run.json", lambda b: b.replace(b'"nitrogen_total_kg": ', b'"nitrogen_total_kg": 9'), "out of bounds"),
        ("rates/west-nitrogen.tif", lambda b: b[:-1] + bytes([b[-1] ^ 1]), "rates/west-nitrogen.tif"),
        ("rates/west-nitrogen.tif", lambda b: b[:300], "rates/west-nitrogen.tif"),
        ("rates/west-nitrogen.geojson", lambda b: b.replace(b'"rate":', b'"rate":9'), "rates/west-nitrogen.geojson"),
        ("rates/east-seed.geojson", lambda b: b"", "rates/east-seed.geojson"), ("manifest.csv", lambda b: b"", "manifest.csv"),
        ("manifest.csv", lambda b: b.replace(b"run.json", b"../../etc/passwd"), "outside the plan"),
        ("report.html", lambda b: b + b"<p>", "report.html"), ("budget.csv", lambda b: b.replace(b",", b";", 1), "budget.csv"))):
    ALL["check finds %s spoilt (%d)" % (name, index + 1)] = (
        lambda run, name=name, change=change, says=says: altered(run, spoil(name, change), says))


@case
def check_finds_a_missing_file(run):
    altered(run, lambda out: os.remove(os.path.join(out, "rates", "east-seed.tif")), "rates/east-seed.tif: is missing")


@case
def check_finds_a_further_file(run):
    altered(run, lambda out: farm.text(os.path.join(out, "rates", "more.tif"), "x"), "rates/more.tif: is not part of the plan")


@case
def check_finds_a_file_that_became_a_link(run):
    def link(out):
        os.rename(os.path.join(out, "zones.csv"), os.path.join(run.folder, "elsewhere"))
        os.symlink(os.path.join(run.folder, "elsewhere"), os.path.join(out, "zones.csv"))
    altered(run, link, "zones.csv: is missing")


@case
def check_tells_changed_inputs(run):
    own = os.path.join(run.folder, "farm")
    shutil.copytree(run.world.base, own)
    run.run(["plan", os.path.join(own, "job.ini"), "-o", os.path.join(own, "plan")])
    with open(os.path.join(own, "fields.geojson"), "a") as content:
        content.write(" ")
    os.remove(os.path.join(own, "dem.tif"))
    code = run.run(["check", os.path.join(own, "plan")])
    run.expect(code == 0 and "(fields.geojson) has changed" in run.said and "(dem.tif) is not found" in run.said,
               "exit code %d: %s" % (code, run.said[:400]))


@case
def check_of_no_plan(run):
    code = run.run(["check", run.folder])
    run.expect(code == 1 and "holds no plan" in run.said, "exit code %d: %s" % (code, run.said[:300]))


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("program")
    parser.add_argument("--only", default="")
    parser.add_argument("--show", action="store_true")
    parser.add_argument("--no-memory-limit", action="store_true")
    parser.add_argument("--jobs", type=int, default=2)
    options = parser.parse_args()
    failed = count = 0
    start = time.monotonic()
    with tempfile.TemporaryDirectory(prefix="catchfield-faults-") as top:
        world = World(top, os.path.abspath(options.program), not options.no_memory_limit)

        def one(name, act):
            run = Run(world)
            try:
                act(run)
            except subprocess.TimeoutExpired:
                run.complaints.append("hangs")
            finally:
                shutil.rmtree(run.folder, ignore_errors=True)
            return name, run
        with concurrent.futures.ThreadPoolExecutor(options.jobs) as pool:
            jobs = [pool.submit(one, name, act) for name, act in injections(world) if options.only in name]
            for job in jobs:
                name, run = job.result()
                count += 1
                if run.complaints or options.show:
                    print("%s %s%s\n    %s" % ("FAILED" if run.complaints else "ok", name, "".join(
                        "; " + text for text in run.complaints), "\n    ".join(run.said.strip().splitlines()[-3:])))
                failed += bool(run.complaints)
    print("%d faults (seed %d), %d not as expected, %.1f s" % (count, SEED, failed, time.monotonic() - start))
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
