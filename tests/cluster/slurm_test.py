# SPDX-License-Identifier: MIT
"""scripts/slurm on a real Slurm with one node. Usage: slurm_test.py PROGRAM"""
import os
import re
import shutil
import sys
import tempfile
import time
import unittest

from servers import SAMPLES, Slurm, district, files_of, run

PROGRAM = os.path.abspath(sys.argv.pop(1)) if len(sys.argv) > 1 else "catchfield"
SCRIPTS = os.path.join(os.path.dirname(os.path.abspath(__file__)), "../../scripts/slurm")
slurm = None


class JobArray(unittest.TestCase):
    def setUp(self):
        self.folder = tempfile.mkdtemp(prefix="catchfield-array-")
        self.addCleanup(shutil.rmtree, self.folder)
        os.environ["CATCHFIELD"] = PROGRAM
        self.farm = os.path.join(self.folder, "farm")
        shutil.copytree(SAMPLES, self.farm)
        self.job = self.farm + "/job.ini"

    def submit(self, shares, *options):
        done = run([SCRIPTS + "/submit", self.job, self.folder + "/plan", str(shares), *options])
        self.assertEqual(done.returncode, 0, done.stderr)
        numbers = re.search(r"job (\d+), tasks 1 to (\d+); gather: job (\d+)", done.stdout)
        self.assertEqual(numbers[2], str(shares))
        return numbers[1], numbers[3]

    def log(self, name):
        with open(f"{self.folder}/plan.shares/{name}.log", encoding="utf-8") as file:
            return file.read()

    def expect_the_undisturbed_plan(self, *options, code=0):
        done = run([PROGRAM, "plan", self.job, "--output", self.folder + "/alone", *options])
        self.assertEqual(done.returncode, code, done.stderr)
        alone, together = files_of(self.folder + "/alone"), files_of(self.folder + "/plan")
        self.assertEqual(sorted(alone), sorted(together))
        for name, content in alone.items():
            self.assertTrue(content == together[name], name + " differs")

    def test_shares_and_gather(self):
        array, gather = self.submit(3)
        slurm.wait()
        self.assertEqual(slurm.state(array), ["COMPLETED"] * 3, self.log("share-1"))
        self.assertEqual(slurm.state(gather), ["COMPLETED"], self.log("gather"))
        self.expect_the_undisturbed_plan()

    def test_more_shares_than_fields_and_a_skipped_field(self):
        with open(self.farm + "/fields.geojson", encoding="utf-8") as file:
            text = file.read()
        with open(self.farm + "/fields.geojson", "w", encoding="utf-8") as file:
            at = text.index('{"type": "Feature",')
            file.write(text[:at] + '{"type": "Feature", "properties": {"field": "Far"}, "geometry": {"type": "Polygon", '
                       '"coordinates": [[[-94.5, 40.2], [-94.49, 40.2], [-94.49, 40.21], [-94.5, 40.2]]]}},\n' +
                       text[at:])
        array, gather = self.submit(8, "--output.layers=no", "--output.reports=no")
        slurm.wait()
        self.assertEqual(slurm.state(array), ["COMPLETED"] * 8)
        # 3, whole but with a skipped field; Slurm calls every code but 0 a failure.
        self.assertEqual(slurm.state(gather), ["FAILED"])
        self.expect_the_undisturbed_plan("--output.layers=no", "--output.reports=no", code=3)

    def test_a_task_put_back_into_the_queue_goes_on(self):
        district(self.farm + "/fields.geojson", 50, 20, 0.00018)
        options = ["--output.layers=no", "--output.reports=no"]
        array, gather = self.submit(2, *options)
        journal = 0
        for _ in range(3000):
            journals = [os.path.join(place, name) for place, _, names in os.walk(self.folder + "/plan.shares")
                        for name in names if "share-2" in place and name.endswith(".journal")]
            if journals and (journal := os.path.getsize(journals[0])) > 200_000:
                break
            time.sleep(0.02)
        self.assertGreater(journal, 200_000)
        done = run(["scontrol", "requeue", array + "_2"])
        self.assertEqual(done.returncode, 0, done.stderr)
        slurm.wait()
        self.assertRegex(self.log("share-2"), r"resuming: [1-9]\d* of \d+ fields were finished")
        self.assertEqual(slurm.state(gather), ["COMPLETED"], self.log("gather"))
        self.expect_the_undisturbed_plan(*options)

    def test_a_failed_share_is_not_gathered_and_a_second_submit_completes_it(self):
        # One share fails: its results cannot be put in place.
        os.makedirs(self.folder + "/plan.shares")
        with open(self.folder + "/program", "w", encoding="utf-8") as file:
            file.write(f'#!/bin/sh\n[ "$SLURM_ARRAY_TASK_ID" = 2 ] && exit 1\nexec "{PROGRAM}" "$@"\n')
        os.chmod(self.folder + "/program", 0o755)
        os.environ["CATCHFIELD"] = self.folder + "/program"
        array, gather = self.submit(3, "--output.layers=no")
        slurm.wait()
        self.assertEqual(sorted(slurm.state(array)), ["COMPLETED", "COMPLETED", "FAILED"])
        self.assertEqual(slurm.state(gather), ["CANCELLED"])
        self.assertFalse(os.path.exists(self.folder + "/plan"))
        os.environ["CATCHFIELD"] = PROGRAM
        array, gather = self.submit(3, "--output.layers=no")
        slurm.wait()
        self.assertIn("share 1 of 3 is there already", self.log("share-1"))
        self.assertEqual(slurm.state(gather), ["COMPLETED"], self.log("gather"))
        self.expect_the_undisturbed_plan("--output.layers=no")

    def test_wrong_calls(self):
        for words in ([], [self.job, "out"], [self.job, "out", "0"], [self.job, "out", "many"]):
            done = run([SCRIPTS + "/submit", *words])
            self.assertEqual(done.returncode, 2)
            self.assertIn("JOB OUTPUT SHARES", done.stderr)
        os.makedirs(self.folder + "/plan")
        done = run([SCRIPTS + "/submit", self.job, self.folder + "/plan", "2"])
        self.assertEqual(done.returncode, 2)
        self.assertIn("exists already", done.stderr)


if __name__ == "__main__":
    slurm = Slurm()
    try:
        unittest.main(verbosity=2)
    finally:
        slurm.close()
