"""What is compiled ahead, by two processes, is all that a measured launch needs."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

import simlaunch

PACKAGE, TESTS = Path(simlaunch.__path__[0]).parent, Path(__file__).parents[1]

CODE = """
import simlaunch.compiled as compiled
from simlaunch.analysis.compile_ahead import compile_together
compile_together()
ahead = compiled._names(compiled._folder)
from cars import coupe
from simlaunch.simulation.run import launch
from simlaunch.metrics.summary import measure
car = coupe()
measure(launch(car), car)
print(len(ahead), *(compiled._names(compiled._folder) - ahead))
"""


@pytest.mark.slow
def test_a_launch_finds_everything_compiled(tmp_path: Path) -> None:
    path = os.pathsep.join([str(PACKAGE), str(TESTS)])
    environment = {**os.environ, "PYTHONPATH": path, "SIMLAUNCH_CACHE": str(tmp_path)}
    run = subprocess.run([sys.executable, "-c", CODE], env=environment, capture_output=True, text=True, check=True)
    count, *late = run.stdout.split()
    assert int(count) >= 20  # two files for each of ten entries
    assert [name for name in late if not name.endswith(".lock")] == []
