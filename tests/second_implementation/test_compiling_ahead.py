"""What is compiled ahead, by two processes, is all that a measured launch needs."""

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
from simlaunch.launching.compile_ahead import _compile_the_loop, compile_the_rest
_compile_the_loop()
compile_the_rest()
def signatures():
    return {(entry.py_func.__name__, signature) for entry in entries for signature in entry.signatures}
ahead = signatures()
from cars import coupe
from simlaunch.simulation.run import launch
from simlaunch.metrics.summary import measure
car = coupe()
measure(launch(car), car)
print(len({name for name, _ in ahead}), *sorted({name for name, _ in signatures() - ahead}))
"""


def _run(code: str) -> str:
    """What a process prints that finds its kernels where all tests keep them."""
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join([str(PACKAGE), str(TESTS)])}
    run = subprocess.run([sys.executable, "-c", code], env=environment, capture_output=True, text=True, check=True)
    return run.stdout


def test_a_launch_finds_everything_compiled() -> None:
    """Nothing is called with types that it was not compiled for; numba compiles one kernel for each signature."""
    count, *late = _run(CODE).split()
    assert int(count) >= 10
    assert late == []


def test_the_second_process_does_its_half() -> None:
    """What it is started with runs; `test_kernel_cache.py` holds that the first process takes over what it keeps."""
    assert _run("from simlaunch.launching.compile_ahead import _start; print(_start().wait())").strip() == "0"
