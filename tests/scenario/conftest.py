"""A sound scenario to spoil."""

from __future__ import annotations

from typing import Any

import pytest


def sound_scenario() -> dict[str, Any]:
    """Smallest scenario that holds all the keys that have to be given."""
    return {
        "format": 1,
        "name": "sample",
        "body": {
            "mass": "1500 kg",
            "front_weight_share": "54 %",
            "wheelbase": "2.65 m",
            "cg_height": "0.52 m",
            "drag_area": "0.66 m^2",
        },
        "tyres": {"both": {"radius": "0.32 m", "friction": "1.1"}},
        "drive": {"driven": "rear"},
        "engine": {"inertia": "0.2 kg m^2", "idle": "800 rpm", "rev_limit": "6500 rpm"},
        "coupling": {"kind": "friction clutch", "capacity": "500 N m"},
        "gearbox": {"ratios": ["3.6", "2.1", "1.4"], "final_drive": "3.5", "shift": {"kind": "torque gap"}},
        "launch": {"engine_speed": "3000 rpm"},
        "curves": [{"name": "flat", "points": [["1000 rpm", "300 N m"], ["7000 rpm", "300 N m"]]}],
    }


@pytest.fixture
def sound() -> dict[str, Any]:
    return sound_scenario()
