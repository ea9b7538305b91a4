"""Several logs: closed forms of even acceleration, a known car on other days, and hostile inputs."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

import simlaunch
from fit.driven import driven
from readers.logs import write_csv
from simlaunch.analysis.logs import Setup
from simlaunch.errors import InputError, UsageError
from simlaunch.logged.same_conditions import brought_to, day_of, torque_factor
from simlaunch.logged.scatter import Evidence
from simlaunch.metrics.marks import marks
from simlaunch.parameters.weather import Weather, iso_1585
from simlaunch.simulation.trace import Trace

COUPE = simlaunch.load(Path(__file__).parents[2] / "scenarios" / "road-coupe.toml")


def even(path: Path, acceleration: float, *, rate: float = 50.0, start: float = 0.0, lasts: float = 9.0) -> Path:
    """Log of an even acceleration, from rest after a second, or from a speed at once."""
    time = np.arange(0.0, lasts + 1.0, 1.0 / rate)
    speed = start + acceleration * (time if start else np.maximum(time - 1.0, 0.0))
    return write_csv(path, {"Time [s]": time, "Speed [m/s]": speed})


def group(folder: Path, name: str, accelerations: list[float], **more: float) -> list[Path]:
    """Logs of one set-up."""
    return [even(folder / f"{name}{n}.csv", a, **more) for n, a in enumerate(accelerations)]


def test_gap_of_even_accelerations(tmp_path: Path) -> None:
    """From the first foot on, t = v / a - sqrt(2 x 1 ft / a) (constant acceleration); so are the gaps at a speed."""
    before, after = group(tmp_path, "b", [4.0, 4.02, 3.98]), group(tmp_path, "a", [5.0, 5.02, 4.98])
    found = simlaunch.compare_logs(before, after, targets=["0-100 km/h"])
    each = found.verdict
    accelerations = np.array([4.0, 4.02, 3.98, 5.0, 5.02, 4.98])
    foot = np.sqrt(2.0 * 0.3048 / accelerations)
    true = (100.0 / 3.6 / accelerations - foot).tolist()
    assert each.times == pytest.approx(true, abs=1e-3)
    assert each.change is not None
    assert each.change.gap == pytest.approx(np.mean(true[3:]) - np.mean(true[:3]), abs=1e-3)
    assert each.change.evidence is Evidence.MORE
    each_gap = found.along.speed[:, None] / accelerations - foot
    gap = each_gap[:, 3:].mean(axis=1) - each_gap[:, :3].mean(axis=1)
    assert found.along.gap == pytest.approx(gap, abs=2e-3)
    assert found.along.speed[0] > np.sqrt(2.0 * 0.3048 * 5.02)  # no log is faster at its first foot
    assert (found.along.low < found.along.gap).all()
    assert "more than repeat runs scatter by" in found.summary()
    assert found.summary().startswith("0-100 km/h with 1 ft rollout takes 6.554 s before and 5.206 s after")


def test_no_change_is_called_none(tmp_path: Path) -> None:
    before, after = group(tmp_path, "b", [4.0, 4.2, 4.1]), group(tmp_path, "a", [4.05, 4.25, 4.0])
    found = simlaunch.compare_logs(before, after)
    assert found.verdict.change is not None
    assert found.verdict.change.evidence is Evidence.LESS
    assert "no more than repeat runs scatter by" in found.summary()


def test_one_run_each_says_that_nobody_can_tell(tmp_path: Path) -> None:
    found = simlaunch.compare_logs(group(tmp_path, "b", [4.0]), group(tmp_path, "a", [5.0]))
    assert "nobody can say" in found.summary()
    assert np.isnan(found.along.low).all()
    assert found.figures()


def test_runs_that_roll_are_aligned_at_a_speed_all_pass(tmp_path: Path) -> None:
    before = group(tmp_path, "b", [2.0, 2.02], start=12.0)
    after = group(tmp_path, "a", [2.5, 2.52], start=13.0)
    found = simlaunch.compare_logs(before, after)
    assert found.aligned_at == pytest.approx(50.0 / 3.6)
    assert found.verdict.target.label == "50 km/h to 110 km/h"
    assert found.verdict.times[0] == pytest.approx(60.0 / 3.6 / 2.0, abs=1e-3)
    aligned = found.aligned(found.of(Setup.AFTER)[0])
    assert float(np.interp(0.0, aligned.time, aligned["speed"])) == pytest.approx(50.0 / 3.6, abs=1e-6)
    chosen = simlaunch.compare_logs(before, after, align_at=20.0)
    assert chosen.along.gap[-1] == pytest.approx(
        (chosen.along.speed[-1] - 20.0) * (np.mean([1 / 2.5, 1 / 2.52]) - np.mean([1 / 2.0, 1 / 2.02])), abs=1e-3
    )


def test_one_set_up_alone(tmp_path: Path) -> None:
    found = simlaunch.compare_logs(group(tmp_path, "b", [4.0, 4.1, 4.2]))
    assert found.verdict.change is None
    assert "--after" in found.summary()
    assert found.to_text()
    assert found.figures()


def _coarse(trace: Trace) -> Trace:
    time = np.arange(0.0, trace.time[-1], 0.01)
    channels = {name: np.interp(time, trace.time, trace[name]) for name in ("speed", "engine_speed")}
    channels["speed"][0] = 0.0
    return Trace(time, channels)


@pytest.mark.parametrize(
    "day",
    [
        {"air.head_wind": "6 m/s"},
        {"air.temperature": "-5 degC", "road.grade": "1 %"},
        {"road.grade": "-2 %"},
    ],
)
def test_a_known_car_is_brought_back_to_the_conditions_of_the_scenario(day: dict[str, str]) -> None:
    """The truth is the same car calculated there; at least four fifths of the effect go, see the guide."""
    true, other = (_coarse(driven(COUPE, each, 20.0)) for each in ({}, day))
    moved, _ = brought_to(other, simlaunch.Correcting(COUPE), COUPE.replace(day), "log")
    for label, share in (("100-200 km/h", 0.2), ("1/4 mile", 0.2)):
        wanted, raw, got = (
            next(m.time for m in marks(trace) if m.target.label == label) for trace in (true, other, moved)
        )
        assert abs(got - wanted) < share * abs(raw - wanted)


def test_the_torque_factor_is_the_ratio_of_the_standard() -> None:
    day = day_of(COUPE, {"air.pressure": "95 kPa", "air.temperature": "35 degC", "air.humidity": "30 %"}, "log")
    given = simlaunch.Correcting(COUPE, simlaunch.Correction.ISO_1585)
    air = COUPE.air
    here = iso_1585(Weather(95e3, 308.15, 0.3))
    there = iso_1585(Weather(air.pressure_si, air.temperature_si, air.humidity.si))
    assert torque_factor(given, day)[0] == pytest.approx(here / there, rel=1e-12)
    assert torque_factor(simlaunch.Correcting(COUPE, simlaunch.Correction.ISO_1585, boosted=True), day)[0] == 1.0


def test_torque_is_not_corrected_where_it_cannot_be_seen(tmp_path: Path) -> None:
    logs = group(tmp_path, "b", [4.0, 4.1])
    given = simlaunch.Correcting(COUPE, simlaunch.Correction.ISO_1585)
    with pytest.raises(UsageError, match="which engine speed shows, and this log has none"):
        simlaunch.compare_logs(logs, correcting=given, changes=[{"air.temperature": "35 degC"}])


@pytest.mark.parametrize(
    ("changes", "words"),
    [([{"body.mass": "1500 kg"}], "no log is corrected for"), ([{"tyres.rear.friction": "1"}], "no log is corrected")],
)
def test_what_no_log_is_corrected_for(tmp_path: Path, changes: list[dict[str, object]], words: str) -> None:
    with pytest.raises(UsageError, match=words):
        simlaunch.compare_logs(group(tmp_path, "b", [4.0]), correcting=simlaunch.Correcting(COUPE), changes=changes)


def test_hostile_logs(tmp_path: Path) -> None:
    good = even(tmp_path / "good.csv", 4.0)
    time = np.arange(0.0, 10.0, 0.1)
    still = write_csv(tmp_path / "still.csv", {"Time [s]": time, "Speed [m/s]": np.zeros(time.size)})
    back = write_csv(tmp_path / "back.csv", {"Time [s]": time[::-1], "Speed [m/s]": 4.0 * time})
    nothing = write_csv(tmp_path / "nan.csv", {"Time [s]": time, "Speed [m/s]": np.full(time.size, np.nan)})
    single = write_csv(tmp_path / "one.csv", {"Time [s]": np.array([0.0]), "Speed [m/s]": np.array([0.0])})
    for path in (still, back, nothing, single):
        with pytest.raises(InputError, match=path.name):
            simlaunch.compare_logs([good], [path])


def test_logs_in_other_units_are_the_same_run(tmp_path: Path) -> None:
    time = np.arange(0.0, 10.0, 0.05)
    speed = 4.0 * np.maximum(time - 1.0, 0.0)
    one = write_csv(tmp_path / "one.csv", {"Time [s]": time, "Speed [km/h]": 3.6 * speed})
    other = write_csv(tmp_path / "other.csv", {"Time [ms]": 1e3 * time, "Speed [mph]": speed / 0.44704})
    found = simlaunch.compare_logs([one], [other], targets=["0-100 km/h"])
    assert found.verdict.change is not None
    assert found.verdict.change.gap == pytest.approx(0.0, abs=1e-6)


def test_no_common_speed(tmp_path: Path) -> None:
    slow, fast = even(tmp_path / "s.csv", 1.0, start=6.0, lasts=4.0), even(tmp_path / "f.csv", 2.0, start=30.0)
    with pytest.raises(InputError, match="too little speed in common"):
        simlaunch.compare_logs([slow], [fast])
    with pytest.raises(InputError, match="is not passed in"):
        simlaunch.compare_logs([fast], align_at=3.0)


def test_one_log_named_twice(tmp_path: Path) -> None:
    log = even(tmp_path / "log.csv", 4.0)
    with pytest.raises(UsageError, match="named twice"):
        simlaunch.compare_logs([log], [log])
    copy = tmp_path / "copy.csv"
    copy.write_bytes(log.read_bytes())
    found = simlaunch.compare_logs([log, copy])
    assert any("holds the same run as" in note for note in found.notes)
    with pytest.raises(UsageError, match="no log of the set-up before"):
        simlaunch.compare_logs([], [log])
