"""When a logged car moved off: calculated starts with a known time zero, seeded noise, and bounds in closed form."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from cars import all_drive_saloon, coupe, front_hatch
from fit.quasi_static import QuasiStatic
from readers.logs import write_csv
from simlaunch.errors import InputError
from simlaunch.parameters.fill import lower
from simlaunch.readers.log import AT_REST, LogAccount, read_channels
from simlaunch.readers.onset import FAST, Onset, moving_off
from simlaunch.record import FOOT, Car, Pedal
from simlaunch.scenario.reading import load
from simlaunch.simulation.run import Method, complete, launch

Array = NDArray[np.float64]
Start = tuple[Array, Array, Array]
Sensor = Callable[[Array, Array], Array]

WAIT = 2.0
FINE = np.arange(0.0, 5.0, 1e-3)
SCENARIO = Path(__file__).parents[2] / "scenarios" / "road-coupe.toml"

SENSORS: dict[str, Sensor] = {
    "noise at rest too": lambda true, noise: true + noise,
    "never below zero": lambda true, noise: np.maximum(true + noise, 0.0),
    "no noise at rest": lambda true, noise: np.where(true > 0.0, np.abs(true + noise), 0.0),
    "shows nothing below 0.5 m/s": lambda true, noise: np.where(true > 0.5, true + noise, 0.0),
}


def _grown(gain: Array) -> Start:
    speed = np.concatenate([[0.0], np.cumsum(0.5 * (gain[1:] + gain[:-1]) * 1e-3)])
    return FINE, speed, np.concatenate([[0.0], np.cumsum(0.5 * (speed[1:] + speed[:-1]) * 1e-3)])


def _simulated(method: Method, car: Callable[[], Car]) -> Start:
    trace = launch(car(), method=method, sample_gap=1e-3).trace
    return trace.time, trace["speed"], trace["distance"]


def _quasi_static() -> Start:
    scenario = load(SCENARIO)
    car = lower(scenario, "peak", Pedal.FULL)
    complete(car)
    curve = np.array([[speed.si, torque.si] for speed, torque in scenario.curve("peak").points]).T
    trace = QuasiStatic(car, (curve[0], curve[1]), 1.0, 1.0, float(car.body.drag_area)).run(5.0)
    return trace.time, trace["speed"], trace["distance"]


@pytest.fixture(scope="module")
def starts() -> dict[str, Start]:
    """Closed forms, launches of our integrator and of SciPy's, and one of a simulator that shares no equation."""
    return {
        "hard: 6 m/s^2 at once": _grown(np.full(FINE.size, 6.0)),
        "soft: to 5 m/s^2 evenly within a second": _grown(np.minimum(5.0 * FINE, 5.0)),
        "gentle: half a cosine within 0.4 s": _grown(2.5 * (1.0 - np.cos(np.pi * np.minimum(FINE / 0.4, 1.0)))),
        "lagging: 6 m/s^2 with a time constant of 0.15 s": _grown(6.0 * (1.0 - np.exp(-FINE / 0.15))),
        "friction clutch, rear": _simulated(Method.COMPILED, coupe),
        "friction clutch, front, by SciPy": _simulated(Method.REFERENCE, front_hatch),
        "converter": _simulated(Method.COMPILED, all_drive_saloon),
        "quasi-static": _quasi_static(),
    }


def logged(start: Start, rate: float, noise: float, sensor: str, rng: np.random.Generator) -> tuple[Array, Array]:
    """Times and speeds as a sensor shows them."""
    time = np.arange(0.0, WAIT + 4.0, 1.0 / rate) + rng.uniform(0.0, 1.0 / rate)
    true = np.interp(time - WAIT, start[0], start[1], left=0.0)
    return time, SENSORS[sensor](true, noise * rng.standard_normal(time.size))


def read(folder: Path, time: Array, speed: Array) -> LogAccount:
    return read_channels(write_csv(folder / "log.csv", {"time [s]": time, "speed [m/s]": speed}))


def onset_of(folder: Path, time: Array, speed: Array) -> Onset:
    found = read(folder, time, speed).onset
    assert found is not None
    return found


@pytest.fixture(scope="module")
def errors(starts: dict[str, Start], tmp_path_factory: pytest.TempPathFactory) -> dict[tuple[str, str], Array]:
    """By start and sensor: error of time zero, what was stated, error of the first foot, what was stated [s]."""
    folder, found = tmp_path_factory.mktemp("logs"), {}
    for name, start in starts.items():
        foot = float(np.interp(FOOT, start[2], start[0]))
        for sensor in SENSORS:
            rng = np.random.default_rng(11)
            rows = []
            for rate in (10.0, 25.0, 100.0):
                for noise in (0.02, 0.06):
                    for _ in range(2):
                        each = onset_of(folder, *logged(start, rate, noise, sensor, rng))
                        rows.append((each.zero - WAIT, each.zero_within, each.foot - WAIT - foot, each.foot_within))
            found[name, sensor] = np.array(rows)
    return found


def test_intervals_hold_the_truth_as_often_as_they_say(errors: dict[tuple[str, str], Array]) -> None:
    """Stated with a confidence of 95 %; of 384 logs, 92 % at least, since starts that look alike miss together."""
    every = np.concatenate(list(errors.values()))
    assert np.mean(np.abs(every[:, 0]) <= every[:, 1]) >= 0.92
    assert np.mean(np.abs(every[:, 2]) <= every[:, 3]) >= 0.92


def _root_mean_square(values: Array) -> float:
    return float(np.sqrt(np.mean(values**2)))


def test_the_first_foot_hardly_moves_with_noise(errors: dict[tuple[str, str], Array]) -> None:
    """At no start is it off on average by more than is stated for one log; over all, by a few thousandths."""
    for (name, sensor), rows in errors.items():
        assert abs(rows[:, 2].mean()) < rows[:, 3].mean(), (name, sensor)
    shown, dead = _by_sensor(errors)
    assert _root_mean_square(shown[:, 2]) < 0.006
    assert _root_mean_square(dead[:, 2]) < 0.02  # a third of the way to the foot is not shown


def test_time_zero_is_neither_late_nor_early(errors: dict[tuple[str, str], Array]) -> None:
    """The first movement is hidden for 0.06 s to 0.3 s; what is left on average is less than what is stated."""
    for (name, sensor), rows in errors.items():
        assert abs(rows[:, 0].mean()) < rows[:, 1].mean(), (name, sensor)
    shown, dead = _by_sensor(errors)
    assert abs(shown[:, 0].mean()) < 0.01
    assert _root_mean_square(shown[:, 0]) < 0.05
    assert abs(dead[:, 0].mean()) < 0.04
    assert _root_mean_square(dead[:, 0]) < 0.12


def _by_sensor(errors: dict[tuple[str, str], Array]) -> tuple[Array, Array]:
    """Of sensors that show slow speeds, and of the one that does not."""
    shown = [rows for (_, sensor), rows in errors.items() if not sensor.startswith("shows nothing")]
    return np.concatenate(shown), np.concatenate([rows for (_, s), rows in errors.items() if s.startswith("shows")])


@pytest.mark.parametrize("noise", [0.02, 0.06, 0.15])
def test_nothing_is_known_better_than_the_shape_would_allow(
    starts: dict[str, Start], noise: float, tmp_path: Path
) -> None:
    """Even with the shape known, n samples up to a speed V leave a deviation of time zero that has a closed form.

    For v = a (t - t_0): 2 s / (a sqrt(n)); for v = j (t - t_0)^2 / 2: sqrt(48) s / (sqrt(n) j W), W the time to V.
    Source: the Cramér-Rao bound for evenly spaced samples with independent normal noise s, worked out by hand.
    """
    rate, gain, jerk = 100.0, 6.0, 5.0
    even = 2.0 * noise / (gain * np.sqrt(rate * FAST / gain))
    window = np.sqrt(2.0 * FAST / jerk)
    soft = np.sqrt(48.0) * noise / (np.sqrt(rate * window) * jerk * window)
    rng = np.random.default_rng(3)
    for name, bound in (("hard: 6 m/s^2 at once", even), ("soft: to 5 m/s^2 evenly within a second", soft)):
        found = [onset_of(tmp_path, *logged(starts[name], rate, noise, "noise at rest too", rng)) for _ in range(8)]
        assert _root_mean_square(np.array([each.zero_within for each in found])) >= 2.0 * bound
        assert np.sqrt(np.mean([(each.zero - WAIT) ** 2 for each in found])) < max(each.zero_within for each in found)


def test_less_noise_leaves_less_open(starts: dict[str, Start], tmp_path: Path) -> None:
    widths = []
    for noise in (0.15, 0.05, 0.01):
        rng = np.random.default_rng(5)
        some = [logged(starts["friction clutch, rear"], 100.0, noise, "never below zero", rng) for _ in range(5)]
        widths.append(np.mean([onset_of(tmp_path, *each).zero_within for each in some]))
    assert widths[0] > widths[1] > widths[2]


def test_fast_loggers_are_averaged(starts: dict[str, Start], tmp_path: Path) -> None:
    """A thousand samples a second with sqrt(10) times the noise hold as much as a hundred."""
    rng = np.random.default_rng(9)
    fast = onset_of(tmp_path, *logged(starts["quasi-static"], 1000.0, 0.02 * np.sqrt(10.0), "noise at rest too", rng))
    slow = onset_of(tmp_path, *logged(starts["quasi-static"], 100.0, 0.02, "noise at rest too", rng))
    assert abs(fast.zero - slow.zero) < np.hypot(fast.zero_within, slow.zero_within)
    assert abs(fast.foot - slow.foot) < 0.005


def test_a_coarse_display_is_extrapolated(starts: dict[str, Start], tmp_path: Path) -> None:
    """Whole km/h, ten new values a second in a log of a hundred rows: half a km/h is nothing."""
    start = starts["friction clutch, rear"]
    time = np.arange(0.0, 6.0, 0.01)
    updated = np.floor(time / 0.1) * 0.1
    shown = np.round(3.6 * np.interp(updated - WAIT, start[0], start[1], left=0.0)) / 3.6
    found = onset_of(tmp_path, time, shown)
    assert abs(found.zero - WAIT) < found.zero_within
    assert abs(found.foot - WAIT - np.interp(FOOT, start[2], start[0])) < found.foot_within


def test_distance_is_one_foot_at_the_first_foot(starts: dict[str, Start], tmp_path: Path) -> None:
    rng = np.random.default_rng(1)
    account = read(tmp_path, *logged(starts["converter"], 20.0, 0.05, "never below zero", rng))
    trace, onset = account.trace, account.onset
    assert onset is not None
    assert np.interp(onset.foot - onset.zero, trace.time, trace["distance"]) == pytest.approx(FOOT, abs=1e-9)
    assert trace["distance"][0] == 0.0
    assert (np.diff(trace["distance"][trace.time < 3.0]) >= -1e-3).all()
    grown = np.trapezoid(trace["speed"][trace.time >= 0.5], trace.time[trace.time >= 0.5])
    at = np.interp(0.5, trace.time, trace["distance"])
    assert trace["distance"][-1] - at == pytest.approx(grown, abs=0.3)


def test_a_distance_too_coarse_for_a_foot_is_not_used(starts: dict[str, Start], tmp_path: Path) -> None:
    start, rng = starts["converter"], np.random.default_rng(1)
    time, speed = logged(start, 20.0, 0.05, "never below zero", rng)
    way = np.floor(np.interp(time - WAIT, start[0], start[2], left=0.0) / 5.0) * 5.0
    columns = {"time [s]": time, "speed [m/s]": speed, "distance [m]": way}
    account = read_channels(write_csv(tmp_path / "l.csv", columns))
    assert account.notes[-1] == "distance does not show the first foot where the speed does; it is taken from speed"
    columns["distance [m]"] = np.interp(time - WAIT, start[0], start[2], left=0.0)
    account = read_channels(write_csv(tmp_path / "l.csv", columns))
    assert not any("distance" in note for note in account.notes)
    assert account.trace["distance"][-1] == pytest.approx(columns["distance [m]"][int(np.argmax(speed))], abs=1e-6)


@pytest.mark.parametrize(
    ("time", "speed"),
    [
        ([0.0, 1.0, 2.0, 3.0], [0.0, 0.0, 0.0, 9.0]),
        ([0.0, 1.0], [0.0, 9.0]),
        ([0.0, 0.1, 0.2, 0.3, 0.4, 0.5], [0.0, 5.0, 5.0, 5.0, 5.0, 5.1]),
        ([0.0, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6], [0.1, 0.0, 0.1, 2.0, 0.3, 4.0, 4.5]),
        ([0.0, 0.01, 0.02, 8.0, 8.1, 8.2, 8.3, 8.4], [0.0, 0.0, 0.0, 1.0, 2.0, 3.0, 4.0, 5.0]),
        ([0.0, 1e-6, 2e-6, 0.1, 0.2, 0.3, 0.4, 0.5], [0.0, 0.1, 0.0, 1.0, 2.0, 2.5, 4.0, 5.0]),
        ([0.0, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7], [-1.0, -1.0, -1.0, -1.0, 2.0, 3.0, 3.5, 5.0]),
    ],
)
def test_odd_starts_give_numbers(time: list[float], speed: list[float]) -> None:
    """A start that shows badly is between its samples, or known badly; nothing is infinite, and nothing is raised."""
    first = int(np.flatnonzero(np.array(speed) <= AT_REST)[-1])
    found = moving_off(np.array(time), np.array(speed), first, AT_REST)
    assert time[0] <= found.zero <= time[-1]
    assert np.isfinite([found.zero_within, found.foot_within]).all()
    assert found.zero_within > 0.0


def test_noise_alone_is_no_start(tmp_path: Path) -> None:
    time = np.arange(0.0, 5.0, 0.01)
    with pytest.raises(InputError, match=r"does not rise|starts"):
        read(tmp_path, time, np.full(time.size, 0.05))


def test_a_start_that_is_not_shown_is_known_badly(tmp_path: Path) -> None:
    """A log that jumps from rest to 28 m/s: how long the car took there, no sample says."""
    time = np.arange(0.0, 10.0, 0.05)
    found = onset_of(tmp_path, time, np.where(time < 2.0, 0.0, 27.8 + time))
    assert found.zero == pytest.approx(1.95, abs=1e-9)
    assert found.zero_within > 27.8 / 4.0  # a brisk car's time to that speed
    assert found.foot_within <= found.zero_within
