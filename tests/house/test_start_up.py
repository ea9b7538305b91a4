"""Asking for help loads nothing heavy; the data files travel with the package."""

from __future__ import annotations

import importlib.resources
import subprocess
import sys

from house.source_tree import PACKAGE

HEAVY = ("numba", "pint", "scipy", "matplotlib")
PROBE = f"""
import sys
sys.argv = ["simlaunch", "--help"]
from simlaunch.cli.main import main
try:
    main()
finally:
    print(*(name for name in {HEAVY!r} if name in sys.modules), file=sys.stderr)
"""


def test_help_loads_nothing_heavy() -> None:
    run = subprocess.run([sys.executable, "-c", PROBE], capture_output=True, text=True, timeout=60)
    assert run.returncode == 0, run.stderr
    assert "compare" in run.stdout
    assert run.stderr.split() == []


def test_data_files_travel_with_the_package() -> None:
    kinds = ("*.toml", "*.json", "*.csv", "*.css", "*.js", "*.jinja", "py.typed")
    wanted = sorted(path.relative_to(PACKAGE) for kind in kinds for path in PACKAGE.rglob(kind))
    assert wanted
    carried = importlib.resources.files("simlaunch")
    assert [str(path) for path in wanted if not carried.joinpath(*path.parts).is_file()] == []
