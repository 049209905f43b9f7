# SPDX-License-Identifier: MIT
"""What a bad input is: a file to make, where it goes in the job, and how the program must end."""
import os
import random
from dataclasses import dataclass, field
from typing import Callable, Optional

from osgeo import osr


@dataclass
class Case:
    group: str
    name: str
    key: Optional[str]            # job key that names the bad file; None: `make` returns the arguments
    make: Callable                # folder -> path (or arguments)
    code: object                  # exit code, or a set of them where libraries may differ
    says: str                     # part of what is said on the terminal or in the plan's run.json
    more: tuple = ()              # further arguments; "{}" stands for the case's folder
    command: str = "plan"
    after: Optional[Callable] = None  # (plan folder, what was said) -> complaint or ""
    leaves: tuple = ()            # further files the program may write


def between(low, high, count, seed):
    """Sorted distinct places, the same in every run."""
    return sorted(random.Random(seed).sample(range(low, high), count))


class damaged:
    @staticmethod
    def noise(size, seed):
        return random.Random(seed).randbytes(size)

    @staticmethod
    def cut(maker, at, ending=None):
        def make(folder):
            path = maker(folder)
            target = path if ending is None else os.path.splitext(path)[0] + ending
            os.truncate(target, min(at, os.path.getsize(target) - 1))
            return path
        return make

    @staticmethod
    def neighbour(maker, ending, content):
        def make(folder):
            path = maker(folder)
            with open(os.path.splitext(path)[0] + ending, "wb") as out:
                out.write(content)
            return path
        return make

    @staticmethod
    def flipped(maker, count, seed):
        """Some bytes replaced by others."""
        def make(folder):
            path = maker(folder)
            chance = random.Random(seed)
            with open(path, "r+b") as out:
                size = os.path.getsize(path)
                for _ in range(count):
                    out.seek(chance.randrange(size))
                    out.write(bytes([chance.randrange(256)]))
            return path
        return make

    @staticmethod
    def local_crs():
        system = osr.SpatialReference()
        system.ImportFromWkt('LOCAL_CS["nowhere",UNIT["metre",1]]')
        return system


def sound(out, said):
    return ""
