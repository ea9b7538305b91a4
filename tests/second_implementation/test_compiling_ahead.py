"""What is compiled ahead, by two processes, is all that any launch needs."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import simlaunch

PACKAGE, TESTS = Path(simlaunch.__path__[0]).parent, Path(__file__).parents[1]

CODE = """
import sys
import simlaunch.compiled as compiled
every, plain = [], compiled.Entry.__init__
def noted(self, function):
    plain(self, function)
    every.append(self)
compiled.Entry.__init__ = noted
made = []
from simlaunch.compiled import kept
read = kept.read
kept.read = lambda name: made.append(name) or read(name)
from simlaunch.launching.compile_ahead import _compile_for_scipy, _compile_the_loop, compile_the_rest
_compile_the_loop()
compile_the_rest()
_compile_for_scipy()
ahead = set(made)
never = {entry.name for entry in every if not any(name.startswith(entry.name + "-") for name in ahead)}
from cars import coupe
from simlaunch.fitting.histories import Runner, last_until
from simlaunch.launching.launches import as_many
from simlaunch.metrics.many import measure_many
from simlaunch.metrics.marks import STANDARD
from simlaunch.simulation.run import Method, launch
from simlaunch.metrics.summary import measure
car = coupe()
measure(launch(car), car)
last_until(car, 0.1)
measure_many(as_many([car]), STANDARD)
measure_many(as_many([car]), STANDARD[:1], times_only=True)
Runner(1)(as_many([car]), 0.1)
car.run.time_limit = 0.01
launch(car, method=Method.REFERENCE, tolerance=1e-4, scipy_method="RK45")
print(len(every), len(ahead), *sorted(never | (set(made) - ahead)))
"""


def _run(code: str) -> str:
    """What a process prints that finds its kernels where all tests keep them."""
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join([str(PACKAGE), str(TESTS)])}
    run = subprocess.run([sys.executable, "-c", code], env=environment, capture_output=True, text=True, check=True)
    return run.stdout


def test_a_launch_finds_everything_compiled() -> None:
    """Nothing is called with types that it was not compiled for, and each entry is compiled for one kind of arguments.

    A wheel carries what is compiled here: an entry that is not would be missing from it.
    """
    entries, kernels, *late = _run(CODE).split()
    assert int(entries) >= 15
    assert int(kernels) == int(entries)
    assert late == []


def test_the_second_process_does_its_half() -> None:
    """What it is started with runs."""
    assert _run("from simlaunch.launching.compile_ahead import _start; print(_start().wait())").strip() == "0"
