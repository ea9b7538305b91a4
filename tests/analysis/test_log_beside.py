"""Logs beside calculated runs, against motions whose times are known in closed form."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from cars import coupe
from readers.logs import write_csv
from simlaunch.analysis.log import read_log
from simlaunch.analysis.log_beside import beside, calculated
from simlaunch.errors import InputError
from simlaunch.metrics.marks import Kind, Target
from simlaunch.output.log_beside import sentence, table, zero
from simlaunch.output.words import Numbers
from simlaunch.simulation.run import launch
from simlaunch.simulation.trace import Trace
from simlaunch.units.spelling import System

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
