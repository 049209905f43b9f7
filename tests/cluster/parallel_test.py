# SPDX-License-Identifier: MIT
"""The commands of docs/cluster.md and the sample manifest, as they stand there. Usage: parallel_test.py PROGRAM"""
import os
import re
import shutil
import sys
import tempfile
import unittest

from servers import SAMPLES, files_of, run, skip

ROOT = os.path.join(os.path.dirname(os.path.abspath(__file__)), "../..")
PROGRAM = os.path.abspath(sys.argv.pop(1)) if len(sys.argv) > 1 else "catchfield"


class Commands(unittest.TestCase):
    def setUp(self):
        self.folder = tempfile.mkdtemp(prefix="catchfield-parallel-")
        self.addCleanup(shutil.rmtree, self.folder)
        self.farm = os.path.join(self.folder, "farm")
        shutil.copytree(SAMPLES, self.farm)
        os.makedirs(self.folder + "/bin")
        os.symlink(PROGRAM, self.folder + "/bin/catchfield")
        self.environment = dict(os.environ, PATH=self.folder + "/bin:" + os.environ["PATH"],
                                HOME=self.folder)

    def shell(self, script, **variables):
        return run(["bash", "-euo", "pipefail", "-c", script], cwd=self.farm,
                   env=dict(self.environment, **variables))

    def expect_the_undisturbed_plan(self):
        done = self.shell("catchfield plan job.ini --output alone")
        self.assertEqual(done.returncode, 0, done.stderr)
        alone, together = files_of(self.farm + "/alone"), files_of(self.farm + "/plan")
        self.assertEqual(sorted(alone), sorted(together))
        for name, content in alone.items():
            self.assertTrue(content == together[name], name + " differs")

    def page(self, name):
        with open(ROOT + "/docs/cluster.md", encoding="utf-8") as file:
            return re.search(f"<!-- test: {name} -->\n```sh\n(.*?)```", file.read(), re.S)[1]

    @unittest.skipUnless(shutil.which("parallel"), "GNU parallel is not installed")
    def test_gnu_parallel(self):
        # The first time the program fails in one of the shares.
        script = self.page("parallel")
        os.remove(self.folder + "/bin/catchfield")
        with open(self.folder + "/bin/catchfield", "w", encoding="utf-8") as file:
            file.write(f'#!/bin/sh\ncase "$*" in *" 5/16 "*) exit 1;; esac\nexec "{PROGRAM}" "$@"\n')
        os.chmod(self.folder + "/bin/catchfield", 0o755)
        done = self.shell(script)
        self.assertEqual(done.returncode, 1, done.stderr)  # parallel's number of failed jobs
        self.assertFalse(os.path.exists(self.farm + "/plan"))
        os.remove(self.folder + "/bin/catchfield")
        os.symlink(PROGRAM, self.folder + "/bin/catchfield")
        done = self.shell(script)
        self.assertEqual(done.returncode, 0, done.stderr)
        self.expect_the_undisturbed_plan()

    def test_inputs_may_be_copied_to_another_folder(self):
        shutil.copytree(self.farm, self.folder + "/elsewhere/copy")
        for script in ("cd ../elsewhere/copy && catchfield plan job.ini --share 2/2 --output ../part",
                       f"catchfield plan {self.farm}/job.ini --share 1/2 --output part",
                       "catchfield gather ../elsewhere/part part --output plan"):
            done = self.shell(script)
            self.assertEqual(done.returncode, 0, done.stderr)
        self.expect_the_undisturbed_plan()

    def test_kubernetes_manifest(self):
        try:
            import yaml
        except ImportError:
            self.skipTest("python3-yaml is not installed")
        with open(ROOT + "/scripts/k8s-indexed-job.yaml", encoding="utf-8") as file:
            job = yaml.safe_load(file)
        self.assertEqual((job["apiVersion"], job["kind"]), ("batch/v1", "Job"))
        spec = job["spec"]
        self.assertEqual(spec["completionMode"], "Indexed")
        container = spec["template"]["spec"]["containers"][0]
        self.assertEqual(container["volumeMounts"][0]["mountPath"], container["workingDir"])
        for index in [*range(spec["completions"]), 2]:  # one is started again
            done = run([*container["command"], *container["args"]], cwd=self.farm,
                       env=dict(self.environment, JOB_COMPLETION_INDEX=str(index)))
            self.assertEqual(done.returncode, 0, done.stderr)
        done = self.shell("catchfield gather parts/share-* --output plan")
        self.assertEqual(done.returncode, 0, done.stderr)
        self.expect_the_undisturbed_plan()


if __name__ == "__main__":
    result = unittest.main(verbosity=2, exit=False).result
    if result.wasSuccessful() and result.skipped:
        skip("; ".join(reason for _, reason in result.skipped))
    sys.exit(not result.wasSuccessful())
