"""What is compiled ahead, by two processes, is all that any launch needs."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import simlaunch

PACKAGE, TESTS = Path(simlaunch.__path__[0]).parent, Path(__file__).parents[1]

CODE = """
import simlaunch.compiled as compiled
entries, plain = [], compiled.entry
def noted(function):
    entries.append(plain(function))
    return entries[-1]
compiled.entry = noted
from simlaunch.launching.compile_ahead import _compile_for_scipy, _compile_the_loop, compile_the_rest
_compile_the_loop()
compile_the_rest()
def signatures():
    return {(entry.py_func.__name__, signature) for entry in entries for signature in entry.signatures}
at_once = signatures()
_compile_for_scipy()
ahead = signatures()
never = {entry.py_func.__name__ for entry in entries if not entry.signatures}
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
print(len(at_once), len(ahead), *sorted(never | {name for name, _ in signatures() - ahead}))
"""


def _run(code: str) -> str:
    """What a process prints that finds its kernels where all tests keep them."""
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join([str(PACKAGE), str(TESTS)])}
    run = subprocess.run([sys.executable, "-c", code], env=environment, capture_output=True, text=True, check=True)
    return run.stdout


def test_a_launch_finds_everything_compiled() -> None:
    """Nothing is called with types that it was not compiled for; numba compiles one kernel for each signature.

    A wheel carries what is compiled here: an entry without a signature would be missing from it.
    """
    at_once, ahead, *late = _run(CODE).split()
    assert int(at_once) >= 10
    assert int(ahead) == int(at_once) + 2
    assert late == []


def test_the_second_process_does_its_half() -> None:
    """What it is started with runs; `test_kernel_cache.py` holds that the first process takes over what it keeps."""
    assert _run("from simlaunch.launching.compile_ahead import _start; print(_start().wait())").strip() == "0"
