"""`simlaunch log`: a log measured by the definitions of a run, and what it refuses."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from readers.catalogue import refused
from readers.logs import ACCELERATION, RADIUS, SLIP, sound_csv, speed, times, write_csv
from simlaunch.cli.main import answer
from simlaunch.writing import WRITTEN

RADII = ("--radius-front", f"{RADIUS} m", "--radius-rear", f"{RADIUS} m")

Capture = pytest.CaptureFixture[str]


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return sound_csv(tmp_path / "drive.csv")


def _refuse_constant(name: str) -> Any:
    raise ValueError(name)


def _object(capsys: Capture, *arguments: str | Path) -> Any:
    assert answer(["log", *map(str, arguments), "--quiet", "--json"]) == 0
    shown = capsys.readouterr()
    assert shown.err == ""
    return json.loads(shown.out, parse_constant=_refuse_constant)


def _mark(told: Any, label: str) -> Any:
    return next(mark for mark in told["marks"] if mark["label"] == label)


@pytest.mark.parametrize("system", ["metric", "us"])
def test_text_of_80_columns(path: Path, capsys: Capture, system: str) -> None:
    assert answer(["log", str(path), *RADII, "--units", system, "--quiet"]) == 0
    shown = capsys.readouterr()
    assert shown.err == ""
    assert max(map(len, shown.out.splitlines())) <= 80
    told = " ".join(shown.out.split())
    assert 'speed: "Vehicle Speed" [km/h], 1000 samples, 0.01 s apart' in told
    assert "moves off at 1 s of the log" in told
    assert "Marks" in told
    assert "greatest slip [%] 8.0" in told


def test_marks_of_an_even_acceleration(path: Path, capsys: Capture) -> None:
    told = _object(capsys, path)
    assert told["format"] == "simlaunch-log-1"
    assert _mark(told, "0-100 km/h")["time_s"] == pytest.approx(100.0 / 3.6 / ACCELERATION, abs=1e-6)
    assert _mark(told, "60 ft")["time_s"] == pytest.approx(np.sqrt(2.0 * 18.288 / ACCELERATION), abs=1e-4)
    assert _mark(told, "0-200 km/h")["time_s"] is None
    assert told["grip"] is None
    assert any("no tyre radius" in note for note in told["notes"])


def test_slip_where_wheel_speed_and_radius_are_there(path: Path, capsys: Capture) -> None:
    told = _object(capsys, path, *RADII)
    assert told["grip"]["greatest_slip"] == pytest.approx(SLIP, rel=1e-6)
    reached = 0.5 * ACCELERATION * 8.99**2
    assert told["grip"]["slip_distance_m"] == pytest.approx(SLIP * reached, rel=1e-4)
    one = _object(capsys, path, *RADII[2:])
    assert one["radii_m"] == [RADIUS, RADIUS]


def test_a_channel_can_be_left_out_and_the_history_added(path: Path, capsys: Capture) -> None:
    left_out = ("--channel", "wheel_speed_rear=", "--channel", "wheel speed front=")
    trace = _object(capsys, path, *left_out, "--trace")["trace"]
    assert "wheel_speed_rear_rad_per_s" not in trace
    assert {"time_s", "speed_m_per_s", "engine_speed_rad_per_s", "gear", "boost_pressure_Pa"} <= set(trace)


def test_channels_are_chosen_averaged_and_given_units(tmp_path: Path, capsys: Capture) -> None:
    time = times()
    columns = {"Time [s]": time, "A": 3.6 * speed(time) - 0.5, "B": 3.6 * speed(time) + 0.5}
    path = write_csv(tmp_path / "two.csv", columns)
    assert '--channel speed="NAME"' in refused(capsys, "log", path)
    named = ("--channel", "speed=A", "--channel", "speed=B", "--unit", "speed=km/h")
    told = _object(capsys, path, *named)
    assert _mark(told, "0-60 mph")["time_s"] == pytest.approx(60.0 * 0.44704 / ACCELERATION, abs=1e-6)


def test_a_unit_that_is_named_outranks_the_heading(path: Path, capsys: Capture) -> None:
    told = _object(capsys, path, "--unit", "speed=m/s")
    assert _mark(told, "60 ft")["time_s"] == pytest.approx(np.sqrt(2.0 * 18.288 / (3.6 * ACCELERATION)), abs=1e-4)


def test_the_folder_gets_json_csv_and_figure(path: Path, tmp_path: Path, capsys: Capture) -> None:
    assert answer(["log", str(path), "--out", str(tmp_path / "out")]) == 0
    assert capsys.readouterr().err.count("wrote ") == 4
    names = sorted(file.name for file in (tmp_path / "out").iterdir() if file.name != WRITTEN)
    assert names == [f"drive-log{end}" for end in ("-history.png", "-history.svg", ".csv", ".json")]


@pytest.mark.parametrize(
    ("options", "words", "code"),
    [
        (["--channel", "nonsense=A"], "one of the roles time, speed", 2),
        (["--channel", "speed"], "write ROLE=...", 2),
        (["--unit", "speed=km/h", "--unit", "speed=mph"], "twice", 2),
        (["--channel", "speed=None such"], "is not a numeric channel", 3),
        (["--unit", "speed=furlong"], "is not a unit that it can have", 3),
        (["--start", "500 s"], "--start", 3),
        (["--start", "12"], "--start: ", 3),
        (["--radius-front", "9 m"], "is not from 0.1 m to 1 m", 3),
    ],
)
def test_what_is_refused(path: Path, capsys: Capture, options: list[str], words: str, code: int) -> None:
    assert words in refused(capsys, "log", path, *options, code=code)


@pytest.mark.parametrize(
    "content",
    [b"", b"time,speed\n0,1\n0,2\n", b"time [s],speed [km/h]\n0,0\n1,=1+1\n", b"\x1b[31m,a\n1,2\n", b"a" * 2**20],
)
@pytest.mark.parametrize("ending", ["csv", "mf4", "mat"])
def test_a_hostile_log(tmp_path: Path, capsys: Capture, content: bytes, ending: str) -> None:
    path = tmp_path / f"bad.{ending}"
    path.write_bytes(content)
    assert "bad." in refused(capsys, "log", path)
