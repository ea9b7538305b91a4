"""Logs beside calculated runs, against motions whose times are known in closed form."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from cars import coupe
from readers.logs import write_csv
from simlaunch.analysis.log import read_log
from simlaunch.analysis.log_beside import beside, calculated
from simlaunch.errors import InputError
from simlaunch.metrics.marks import Kind, Target
from simlaunch.output.log_beside import sentence, table, wheels, wheels_table, zero
from simlaunch.output.words import Numbers
from simlaunch.readers.log import LogOptions
from simlaunch.simulation.run import launch
from simlaunch.simulation.trace import Trace
from simlaunch.units.spelling import System

Array = NDArray[np.float64]

SPRINT = Target("0-100 km/h", Kind.SPEED, 0.0, 100.0 / 3.6)
METRIC = Numbers(System.METRIC)


def even(path: Path, gain: float, start: float = 0.0, wait: float = 1.0) -> Path:
    """A log of a car that stands, then gains speed evenly."""
    time = np.arange(0.0, 14.0, 0.02)
    return write_csv(path, {"Time [s]": time, "Speed [m/s]": start + gain * np.maximum(time - wait, 0.0)})


def run(gain: float) -> Trace:
    """A calculated run of such a car."""
    time = np.linspace(0.0, 12.0, 2401)
    return Trace(time, {"speed": gain * time, "distance": 0.5 * gain * time**2, "acceleration": np.full(2401, gain)})


def test_times_and_differences_are_those_of_even_motions(tmp_path: Path) -> None:
    """From the first foot on, t = v / a - sqrt(2 x 1 ft / a) for each of three gains. Source: uniform acceleration."""
    logs = [read_log(even(tmp_path / f"{k}.csv", gain)) for k, gain in enumerate((4.0, 5.0))]
    found = beside(logs, calculated({"one": run(4.0), "other": run(6.0)}))
    mark = found.mark(SPRINT)
    assert mark is not None
    four, five, six = (100.0 / 3.6 / a - np.sqrt(2.0 * 0.3048 / a) for a in (4.0, 5.0, 6.0))
    assert mark.logged.mean == pytest.approx(0.5 * (four + five), abs=2e-3)
    assert mark.logged.scatter == pytest.approx(abs(four - five) / np.sqrt(2.0), abs=2e-3)
    assert mark.calculated == pytest.approx((four, six), abs=1e-3)
    row = next(row for row in table(found, METRIC).rows if row.label == "0-100 km/h, 1 ft")
    assert row.cells == ("5.880", "0.953", "6.554", "+0.674", "4.311", "-1.569")
    said = sentence(found, METRIC, SPRINT)
    assert said.startswith(
        "0-100 km/h with 1 ft rollout takes 5.880 s in the log (mean of 2 logs, standard deviation 0.953 s)."
    )
    assert '6.554 s with "one", 0.674 s slower; 4.311 s with "other", 1.569 s quicker.' in said
    assert zero(found, METRIC) == "Time zero: the car has moved one foot, known to 0.001 s in the logs."


def test_one_log_has_no_scatter(tmp_path: Path) -> None:
    found = beside([read_log(even(tmp_path / "l.csv", 4.0))], calculated({"one": run(4.0)}))
    assert table(found, METRIC).heads == ("logged", "one", "less logged")
    assert "level with it" in sentence(found, METRIC, SPRINT)


def test_runs_that_roll_are_aligned_where_they_pass_one_speed(tmp_path: Path) -> None:
    """From 20 m/s on, a gain of 4 m/s^2 takes 5 s to 40 m/s, in the log and calculated."""
    found = beside([read_log(even(tmp_path / "l.csv", 4.0, start=20.0, wait=0.0))], calculated({"one": run(4.0)}))
    assert found.aligned_at == pytest.approx(20.0, abs=0.1)
    for trace in (found.aligned(found.logs[0].trace), found.aligned(found.runs[0].trace)):
        assert np.interp(40.0, trace["speed"], trace.time) == pytest.approx(5.0, abs=0.05)
    assert zero(found, METRIC).startswith("Time zero: the car passes 72.")
    assert {each.target.kind for each in found.marks} == {Kind.SPAN}


def test_a_log_that_reaches_nothing_is_said_to(tmp_path: Path) -> None:
    slow = read_log(even(tmp_path / "l.csv", 0.3))
    assert "reach no usual mark" in sentence(beside([slow], []), METRIC)


def test_a_log_of_two_samples_is_refused(tmp_path: Path) -> None:
    time = np.array([0.0, 1.0, 2.0, 3.0])
    brief = write_csv(tmp_path / "l.csv", {"Time [s]": time, "Speed [m/s]": np.array([0.0, 0.0, 0.0, 9.0])})
    with pytest.raises(InputError):
        beside([read_log(brief)], [])


@pytest.mark.parametrize("rate", [10.0, 50.0])
@pytest.mark.parametrize("noise", [0.02, 0.06])
def test_a_noisy_log_of_a_launch_lies_level_with_that_launch(tmp_path: Path, rate: float, noise: float) -> None:
    """The launch is the truth: on average over twelve seeds the log is neither quicker nor slower.

    Clamped to the first sample that is seen to move, time zero of such logs came 0.1 s late, and the log looked so much
    quicker. A single log may be off by what is stated, and by what noise does at the other end of the mark.
    """
    own = launch(coupe()).trace
    gaps, stated = [], []
    for seed in range(12):
        rng = np.random.default_rng(seed)
        time = np.arange(-1.5, own.time[-1], 1.0 / rate) + rng.uniform(0.0, 1.0 / rate)
        shown = np.maximum(
            np.interp(time, own.time, own["speed"], left=0.0) + noise * rng.standard_normal(time.size), 0.0
        )
        path = write_csv(tmp_path / "l.csv", {"Time [s]": time + 2.0, "Speed [m/s]": shown})
        found = beside([read_log(path)], calculated({"same": own}))
        mark = found.mark(SPRINT)
        assert mark is not None
        gaps.append(mark.logged.mean - mark.calculated[0])
        stated.append(found.known_to)
    at_end = noise / 5.0  # the speed rises by 5 m/s^2 there, at least
    assert abs(np.mean(gaps)) < 0.008
    assert np.mean(np.abs(gaps) < np.hypot(stated, 2.0 * at_end)) >= 0.9


# --- wheels ---

RADIUS = 0.32


def with_wheels(path: Path, gain: float, left: float, right: float, rate: float = 50.0) -> Path:
    """A log of a car that gains speed evenly while its rear wheels slip evenly, each by its own slip."""
    time = np.arange(0.0, 12.0, 1.0 / rate)
    speed = gain * np.maximum(time - 1.0, 0.0)
    columns = {"Time [s]": time, "Speed [m/s]": speed}
    for name, slip in (("RL", left), ("RR", right)):
        columns[f"Wheel speed {name} [rad/s]"] = speed * (1.0 + slip) / RADIUS
    return write_csv(path, columns)


def slipping(gain: float, **slips: float) -> Trace:
    """A calculated run of such a car, with its wheels by name."""
    time = np.linspace(0.0, 12.0, 2401)
    wheels = {f"wheel_speed_{name}": gain * time * (1.0 + slip) / RADIUS for name, slip in slips.items()}
    return Trace(time, {"speed": gain * time, "distance": 0.5 * gain * time**2, **wheels})


def test_slip_distance_of_each_wheel_beside_that_of_a_launch(tmp_path: Path) -> None:
    """Up to a speed V, a wheel with slip s runs s V^2 / (2 a) farther than the car. Source: uniform acceleration."""
    options = LogOptions(radii=(RADIUS, RADIUS))
    log = read_log(with_wheels(tmp_path / "l.csv", 4.0, 0.2, 0.02), options)
    unlike = slipping(5.0, rear=0.06, rear_left=0.1, rear_right=0.02)
    found = beside([log], calculated({"unlike": unlike, "alike": slipping(3.0, rear=0.05), "no wheels": run(4.0)}))
    top = min(4.0 * 10.98, 5.0 * 12.0, 3.0 * 12.0)
    assert found.wheels_until == pytest.approx(top)
    names = [each.name for each in found.wheels]
    assert names == ["rear axle", "rear left", "rear right"]
    for each, logged, own in zip(found.wheels, (0.11, 0.2, 0.02), (0.06, 0.1, 0.02), strict=True):
        assert each.logged.mean == pytest.approx(logged * top**2 / 8.0, rel=5e-3)
        assert each.calculated[0] == pytest.approx(own * top**2 / 10.0, rel=5e-3)
        assert each.calculated[1] == pytest.approx(0.05 * top**2 / 6.0, rel=5e-3)  # alike: both at the axle's slip
        assert np.isnan(each.calculated[2])
    shown = wheels_table(found, METRIC)
    assert shown is not None
    assert shown.title == "Slip distance up to 129.6 km/h"
    assert shown.rows[1].cells[:3] == ("32.4", "13.0", "-19.4")
    assert "both its wheels slip alike" in wheels(found)


def test_no_wheels_no_table(tmp_path: Path) -> None:
    bare = read_log(even(tmp_path / "l.csv", 4.0), LogOptions(radii=(RADIUS, RADIUS)))
    without_radii = read_log(with_wheels(tmp_path / "w.csv", 4.0, 0.2, 0.02))
    for logs in ([bare], [without_radii], [bare, without_radii]):
        found = beside(logs, calculated({"one": slipping(4.0, rear=0.1)}))
        assert wheels_table(found, METRIC) is None
        assert wheels(found) == ""


def test_a_log_of_a_launch_with_unlike_sides_slips_as_that_launch(tmp_path: Path) -> None:
    """Half a friction under the left wheel and a limited-slip axle: all wheels come back within 2 %."""
    sides = {"drive.paired": 1, "drive.locking_speed": 0.5, "road.left_friction": 0.6, "drive.preload": (40.0, 40.0)}
    car = coupe(sides)
    own, radii = launch(car).trace, (float(car.front.radius), float(car.rear.radius))
    time = np.arange(-1.0, own.time[-1], 0.01)

    def of(name: str) -> Array:
        return np.interp(time, own.time, own[name], left=0.0)

    names = {"Speed [m/s]": "speed", "Wheel speed RL [rad/s]": "wheel_speed_rear_left",
             "Wheel speed RR [rad/s]": "wheel_speed_rear_right"}  # fmt: skip
    columns = {"Time [s]": time, **{name: of(channel) for name, channel in names.items()}}
    columns["Speed [m/s]"] += np.where(time > 0.0, 0.03 * np.random.default_rng(2).standard_normal(time.size), 0.0)
    log = read_log(write_csv(tmp_path / "l.csv", columns), LogOptions(radii=radii))
    found = beside([log], calculated({"same": own}))
    _, left, right = found.wheels
    assert left.logged.mean > 1.5 * right.logged.mean
    for each in (left, right):
        assert each.logged.mean == pytest.approx(each.calculated[0], rel=0.02)
