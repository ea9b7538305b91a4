"""The factors that the package carries are those of the unit library, to the last bit."""

from __future__ import annotations

import json
import subprocess
import sys

from units.factors import KEPT, factors


def test_factors_are_those_of_pint() -> None:
    kept = json.loads(KEPT.read_text("utf-8"))
    assert {kind: {unit: tuple(pair) for unit, pair in units.items()} for kind, units in kept.items()} == factors()


def test_reading_a_quantity_loads_no_unit_library() -> None:
    code = (
        "import sys; from simlaunch.units.quantity import to_si; print(to_si('60 mph', 'speed'), 'pint' in sys.modules)"
    )
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=60, check=True)
    assert run.stdout.split() == ["26.8224", "False"]
