"""A sound scenario to plant hostile input in, and what every refusal of the command line has in common."""

from __future__ import annotations

import json
import time
from pathlib import Path

import pytest

from simlaunch.cli.main import answer

MASS = '"1500 kg"'
POINTS = 'points = [["1000 rpm", "300 N m"], ["7000 rpm", "300 N m"]]'
TYRE = 'radius = "0.32 m"\nfriction = "1.1"\n'
SOUND = f"""
format = 1
name = "sample"
[body]
mass = {MASS}
front_weight_share = "54 %"
wheelbase = "2.65 m"
cg_height = "0.52 m"
drag_area = "0.66 m^2"
[tyres.both]
{TYRE}
[drive]
driven = "rear"
[engine]
inertia = "0.2 kg m^2"
idle = "800 rpm"
rev_limit = "6500 rpm"
[coupling]
kind = "friction clutch"
capacity = "500 N m"
[gearbox]
ratios = ["3.6", "2.1", "1.4"]
final_drive = "3.5"
[gearbox.shift]
kind = "torque gap"
[launch]
engine_speed = "3000 rpm"
[[curves]]
name = "flat"
{POINTS}
"""

BAD_INPUT = 3
SECONDS = 20.0  # of processor time: more is a hang; each takes a few hundredths of a second
"""Processor time that a refusal may take [s]."""

Capture = pytest.CaptureFixture[str]


def text(value: str) -> str:
    """A value as TOML text, whatever characters it holds."""
    return json.dumps(value)


def scenario(folder: Path, old: str = "", new: str = "") -> Path:
    """The sound scenario as a file, one part of it replaced."""
    assert old in SOUND
    path = folder / "car.toml"
    path.write_text(SOUND.replace(old, new) if old else SOUND, "utf-8")
    return path


def refused(capsys: Capture, *arguments: str | Path, code: int = BAD_INPUT) -> str:
    """What the command line says when it refuses: on stderr, readable, and neither short nor endless."""
    start = time.process_time()
    assert answer([str(argument) for argument in arguments]) == code
    took = time.process_time() - start
    shown = capsys.readouterr()
    assert shown.out == ""
    assert "Traceback" not in shown.err
    assert "internal error" not in shown.err
    assert shown.err.replace("\n", "").isprintable()
    assert 20 < len(shown.err) < 20_000
    assert took < SECONDS
    return shown.err
