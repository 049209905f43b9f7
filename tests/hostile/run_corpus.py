#!/usr/bin/python3
# SPDX-License-Identifier: MIT
"""Runs the program on every bad input and compares how it ends with the table.

usage: run_corpus.py PROGRAM [--group GROUP] [--only TEXT] [--show] [--no-memory-limit] [--seconds N] [--jobs N]
"""
import argparse
import concurrent.futures
import os
import resource
import shutil
import subprocess
import sys
import tempfile
import time

import boundaries
import farm
import rasters
import tables

SECONDS = 10  # of computing, for one bad input
MEMORY = 2 << 30


def snapshot(folder):
    seen = {}
    for root, folders, files in os.walk(folder):
        for name in folders + files:
            path = os.path.join(root, name)
            status = os.lstat(path)
            seen[os.path.relpath(path, folder)] = (status.st_mode, 0 if os.path.isdir(path) else status.st_size,
                                                   0 if os.path.isdir(path) else status.st_mtime_ns)
    return seen


def arguments(case, folder, farm_folder):
    job = os.path.join(farm_folder, "job.ini")
    made = case.make(folder)
    more = [text.replace("{}", folder).replace("{farm}", farm_folder) for text in case.more]
    if case.key is None:
        words = [text.replace("{farm}", farm_folder) for text in made]
    else:
        words = [case.command, job, "--" + case.key, made] + more
    if words and words[0] == "plan" and not any(word in ("-o", "--output") for word in words):
        words += ["--output", os.path.join(folder, "plan")]
    return words


def run_case(case, top, farm_folder, program, memory, most_seconds):
    folder = tempfile.mkdtemp(dir=top)
    try:
        words = arguments(case, folder, farm_folder)
        before, farm_before = snapshot(folder), snapshot(farm_folder)

        def limit():
            if memory:
                resource.setrlimit(resource.RLIMIT_AS, (memory, memory))
            resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
            # Seconds of work, so that a busy computer is no failure; waiting is limited by the clock.
            resource.setrlimit(resource.RLIMIT_CPU, (most_seconds, most_seconds))
        start = time.monotonic()
        complaints = []
        try:
            done = subprocess.run([program] + words, stdin=subprocess.DEVNULL, capture_output=True, timeout=6 * most_seconds,
                                  preexec_fn=limit, cwd=folder)
            code, said = done.returncode, (done.stdout + done.stderr).decode("utf-8", "replace")
        except subprocess.TimeoutExpired:
            code, said = -1, "(ran for more than %d s)" % (6 * most_seconds)
        seconds = time.monotonic() - start
        expected = case.code if isinstance(case.code, set) else {case.code}
        out = os.path.join(folder, "plan")
        if code not in expected:
            complaints.append("exit code %d, not %s" % (code, sorted(expected)))
        if case.says and case.says not in said:
            noted = os.path.join(out, "run.json")
            if not (os.path.exists(noted) and case.says in open(noted, encoding="utf-8").read()):
                complaints.append("does not say '%s'" % case.says)
        if code in (1, 2) and not said.strip():
            complaints.append("says nothing")
        after = snapshot(folder)
        new = {name for name in after if name not in before}
        allowed = {name for name in new if code in (0, 3) and (name == "plan" or name.startswith("plan/"))}
        allowed |= set(case.leaves)
        if new - allowed:
            complaints.append("left behind: %s" % sorted(new - allowed)[:5])
        if {name: after.get(name) for name in before} != before:
            complaints.append("an input was changed")
        if snapshot(farm_folder) != farm_before:
            complaints.append("the farm was changed")
        if case.after and code in (0, 3) and not complaints:
            complaint = case.after(out, said)
            if complaint:
                complaints.append(complaint)
        return case, code, said, seconds, complaints
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def all_cases():
    cases = boundaries.cases() + rasters.cases() + tables.cases()
    names = [(case.group, case.name) for case in cases]
    assert len(set(names)) == len(names), "two cases have one name"
    return cases


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("program")
    parser.add_argument("--group", default="", choices=("", "boundary", "raster", "soil map", "table", "job", "command"))
    parser.add_argument("--only", default="")
    parser.add_argument("--show", action="store_true")
    parser.add_argument("--no-memory-limit", action="store_true")
    parser.add_argument("--seconds", type=int, default=SECONDS)
    parser.add_argument("--jobs", type=int, default=2)
    options = parser.parse_args()
    program = os.path.abspath(options.program)
    groups = {"table": ("table", "soil map"), "job": ("job", "command")}.get(options.group, (options.group,))
    cases = [case for case in all_cases() if options.only in case.group + " " + case.name
             and (not options.group or case.group in groups)]
    failed = 0
    start = time.monotonic()
    slow = []
    with tempfile.TemporaryDirectory(prefix="catchfield-hostile-") as top:
        base = farm.make(os.path.join(top, "farm"))
        with concurrent.futures.ThreadPoolExecutor(options.jobs) as pool:
            jobs = [pool.submit(run_case, case, top, base, program, 0 if options.no_memory_limit else MEMORY,
                                options.seconds)
                    for case in cases]
            for job in jobs:
                case, code, said, seconds, complaints = job.result()
                slow.append((seconds, case.name))
                if options.show or complaints:
                    lines = said.strip().replace(top, "").splitlines()
                    print("%s %s: %s: exit %d, %.1f s%s\n    %s" % (
                        "FAILED" if complaints else "ok", case.group, case.name[:60], code, seconds,
                        "; " + "; ".join(complaints) if complaints else "", "\n    ".join(l[:300] for l in lines[-4:])))
                failed += bool(complaints)
        left = sorted(os.listdir(top))
        if left != ["farm"]:
            print("FAILED: left in the temporary folder: %s" % left)
            failed += 1
    slow.sort()
    print("%d bad inputs, %d not as expected, %.1f s; slowest: %s" % (
        len(cases), failed, time.monotonic() - start,
        ", ".join("%s %.1f s" % (name, seconds) for seconds, name in slow[-3:])))
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
