"""Logs as traces: channels by name, units, time bases, gaps, and the run in the log."""

from __future__ import annotations

from math import pi, sqrt
from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose

from readers.logs import ACCELERATION, RADIUS, SLIP, WAIT, sound_csv, speed, times, wheel_speed, write_csv
from simlaunch.analysis.log import read_log
from simlaunch.errors import InputError
from simlaunch.metrics.grip import grip_use
from simlaunch.metrics.marks import marks
from simlaunch.readers.log import LogAccount, LogOptions, Role, read_channels


def _refused(path: Path, options: LogOptions | None = None) -> str:
    with pytest.raises(InputError) as caught:
        read_channels(path, options)
    assert str(caught.value).startswith(f"{path}, ")
    return str(caught.value).removeprefix(f"{path}, ")


def _time(account: LogAccount, label: str) -> float:
    return next(mark.time for mark in marks(account.trace) if mark.target.label == label)


# --- the whole way ---


def test_a_log_is_measured_with_the_definitions_of_a_run(tmp_path: Path) -> None:
    account = read_channels(sound_csv(tmp_path / "log.csv"))
    assert _time(account, "0-100 km/h") == pytest.approx(100.0 / 3.6 / ACCELERATION, abs=1e-9)
    assert _time(account, "60 ft") == pytest.approx(sqrt(2.0 * 60.0 * 0.3048 / ACCELERATION), abs=1e-9)
    use = grip_use(account.trace, (False, True), (RADIUS, RADIUS))
    assert use.greatest_slip == pytest.approx(SLIP)
    moved = 0.5 * ACCELERATION * account.trace.time[-1] ** 2
    assert use.slip_distance == pytest.approx(SLIP * moved, rel=1e-9)


def test_channels_arrive_in_si(tmp_path: Path) -> None:
    account = read_channels(sound_csv(tmp_path / "log.csv"))
    trace = account.trace
    assert trace.time[0] == 0.0
    assert_allclose(trace["speed"], ACCELERATION * trace.time, atol=1e-12)
    assert_allclose(trace["engine_speed"], (1000.0 + 100.0 * (trace.time + WAIT)) * pi / 30.0)
    assert_allclose(trace["acceleration"], ACCELERATION)
    assert_allclose(trace["boost_pressure"], 1e3 * (100.0 + 5.0 * (trace.time + WAIT)))
    assert set(trace["gear"]) == {1.0, 2.0, 3.0, 4.0}


def test_it_says_what_it_understood(tmp_path: Path) -> None:
    account = read_channels(sound_csv(tmp_path / "log.csv"))
    assert account.understood[:2] == (
        'speed: "Vehicle Speed" [km/h], 1000 samples, 0.01 s apart',
        'engine speed: "RPM" [rpm], 1000 samples, 0.01 s apart',
    )
    told = "moves off at 1 s of the log, which is time zero; highest speed after 8.99 s"
    assert account.understood[-2] == told
    assert account.understood[-1] == (
        "time zero and times without rollout are good to 0.010 s; the first foot is passed 0.349 s later, and times "
        "with rollout are good to 0.001 s; with a confidence of 95 %"
    )  # sqrt(2 x 0.3048 m / 5 m/s^2) = 0.3492 s


# --- names ---


@pytest.mark.parametrize(
    "name", ["speed [km/h]", "VehicleSpeed [km/h]", "GPS_Speed [km/h]", "speed km/h", "SPEED (km/h)", "road speed_km/h"]
)
def test_a_channel_is_known_by_its_name(tmp_path: Path, name: str) -> None:
    path = write_csv(tmp_path / "log.csv", {"t [s]": times(), name: 3.6 * speed(times())})
    assert _time(read_channels(path), "0-100 km/h") == pytest.approx(100.0 / 3.6 / ACCELERATION, abs=1e-9)


def test_several_that_fit_are_listed_with_the_flag_and_named_by_it(tmp_path: Path) -> None:
    time = times()
    columns = {"time [s]": time, "GPS speed [m/s]": speed(time), "road speed [m/s]": 0.9 * speed(time)}
    path = write_csv(tmp_path / "log.csv", columns)
    wanted = 'speed: could be any of "GPS speed", "road speed"; choose one with --channel speed="NAME"'
    assert _refused(path) == wanted
    account = read_channels(path, LogOptions(channels={Role.SPEED: ("GPS speed",)}))
    assert_allclose(account.trace["speed"][-1], speed(time)[-1])


def test_two_channels_of_one_name_are_numbered(tmp_path: Path) -> None:
    time = times()
    path = tmp_path / "log.csv"
    rows = "\n".join(f"{t!r},{v!r},{0.5 * v!r}" for t, v in zip(time.tolist(), speed(time).tolist(), strict=True))
    path.write_text(f"time [s],speed [m/s],speed [m/s]\n{rows}\n", "utf-8")
    assert 'could be any of "speed", "speed #2"' in _refused(path)
    account = read_channels(path, LogOptions(channels={Role.SPEED: ("speed #2",)}))
    assert_allclose(account.trace["speed"][-1], 0.5 * speed(time)[-1])


def test_without_a_speed_the_channels_are_listed(tmp_path: Path) -> None:
    path = write_csv(tmp_path / "log.csv", {"time [s]": times(), "oil [bar]": speed(times())})
    assert _refused(path) == (
        'speed: is not among the channels; name it with --channel speed="NAME"; choose one of "time", "oil"'
    )


def test_without_a_time_the_channels_are_listed(tmp_path: Path) -> None:
    path = write_csv(tmp_path / "log.csv", {"clock [s]": times(), "speed [m/s]": speed(times())})
    assert _refused(path).startswith('time: is not among the channels; name it with --channel time="NAME"')
    assert read_channels(path, LogOptions(channels={Role.TIME: ("clock",)})).trace.time[0] == 0.0


def test_a_name_that_is_not_there(tmp_path: Path) -> None:
    path = sound_csv(tmp_path / "log.csv")
    told = _refused(path, LogOptions(channels={Role.GEAR: ("\x1b[31mgear",)}))
    assert told.startswith('--channel gear: "\\x1b[31mgear" is not a numeric channel of this log; choose one of "Time"')


def test_a_role_can_be_left_out(tmp_path: Path) -> None:
    account = read_channels(sound_csv(tmp_path / "log.csv"), LogOptions(channels={Role.GEAR: ()}))
    assert "gear" not in account.trace


def test_an_axle_is_the_mean_of_its_wheels(tmp_path: Path) -> None:
    time = times()
    columns = {
        "time [s]": time,
        "speed [m/s]": speed(time),
        "wheelSpeedRL [rad/s]": 0.9 * wheel_speed(time),
        "wheelSpeedRR [rad/s]": 1.1 * wheel_speed(time),
    }
    account = read_channels(write_csv(tmp_path / "log.csv", columns))
    assert_allclose(account.trace["wheel_speed_rear"][-1], wheel_speed(time)[-1])
    assert 'wheel speed rear: mean of "wheelSpeedRL" [rad/s] and "wheelSpeedRR" [rad/s]' in "\n".join(
        account.understood
    )


# --- units ---


def test_a_unit_that_is_missing_or_wrong_is_asked_for(tmp_path: Path) -> None:
    bare = write_csv(tmp_path / "bare.csv", {"time [s]": times(), "speed": speed(times())})
    known = "give one of m/s, km/h, kph, mph, ft/s, as in --unit speed=m/s"
    assert _refused(bare) == f'channel "speed": has no unit; {known}'
    wrong = write_csv(tmp_path / "wrong.csv", {"time [s]": times(), "speed [kg]": speed(times())})
    assert _refused(wrong) == f'channel "speed": "kg" is not a unit that it can have; {known}'
    account = read_channels(wrong, LogOptions(units={Role.SPEED: "km/h"}))
    assert_allclose(account.trace["speed"][-1], speed(times())[-1] / 3.6)


def test_a_value_that_makes_no_sense_points_to_the_unit(tmp_path: Path) -> None:
    path = write_csv(tmp_path / "log.csv", {"time [s]": times(), "speed [m/s]": 36.0 * speed(times())})
    assert "is the most that is plausible; check its unit, or give --unit speed=UNIT" in _refused(path)


def test_wheel_speeds_logged_as_road_speeds_need_the_radii(tmp_path: Path) -> None:
    time = times()
    columns = {
        "time [s]": time,
        "speed [m/s]": speed(time),
        "wheel speed rear [km/h]": 3.6 * RADIUS * wheel_speed(time),
    }
    path = write_csv(tmp_path / "log.csv", columns)
    assert "is logged as a road speed, and slip needs the tyre's radius; give the radii" in _refused(path)
    account = read_channels(path, LogOptions(radii=(0.3, RADIUS)))
    assert_allclose(account.trace["wheel_speed_rear"][-1], wheel_speed(time)[-1])


# --- time ---


@pytest.mark.parametrize(
    ("value", "told"), [(0.5, "at 0.5 s does not come after 0.99 s"), (0.99, "at 0.99 s does not")]
)
def test_time_has_to_increase(tmp_path: Path, value: float, told: str) -> None:
    time = times()
    recorded = time.copy()
    recorded[100] = value
    path = write_csv(tmp_path / "log.csv", {"time [s]": recorded, "speed [m/s]": speed(time)})
    assert _refused(path).startswith(f"line 102: {told}")


def test_a_sample_without_a_time(tmp_path: Path) -> None:
    time = times()
    time[7] = np.nan
    path = write_csv(tmp_path / "log.csv", {"time [s]": time, "speed [m/s]": speed(times())})
    assert _refused(path) == 'line 9: has no time in "time"; give every sample a time'


def test_rates_differ_and_nothing_is_extrapolated(tmp_path: Path) -> None:
    time = times()
    gear, boost = np.full(time.shape, np.nan), np.full(time.shape, np.nan)
    gear[::50] = 1.0 + np.floor(time[::50] / 3.0)
    boost[300:800:20] = 100.0 + 5.0 * time[300:800:20]
    columns = {"time [s]": time, "speed [m/s]": speed(time), "gear": gear, "boost [kPa]": boost}
    account = read_channels(write_csv(tmp_path / "log.csv", columns))
    trace = account.trace
    covered = (trace.time + WAIT >= 3.0) & (trace.time + WAIT <= 7.8)
    assert_allclose(trace["boost_pressure"][covered], 1e3 * (100.0 + 5.0 * (trace.time[covered] + WAIT)))
    assert np.isnan(trace["boost_pressure"][~covered]).all()
    whole = trace.time + WAIT <= 9.5
    assert_allclose(trace["gear"][whole], 1.0 + np.floor(np.floor((trace.time[whole] + WAIT) * 2.0 + 1e-9) / 2.0 / 3.0))
    assert (
        account.understood[3]
        == "one time base, 0.01 s apart; straight between samples, gears held, nothing extrapolated"
    )


def test_a_gap_is_reported(tmp_path: Path) -> None:
    time = times()
    kept = (time < 4.0) | (time > 4.3)
    path = write_csv(tmp_path / "log.csv", {"time [s]": time[kept], "speed [m/s]": speed(time)[kept]})
    assert read_channels(path).notes[-1] == '"speed" [m/s]: a gap of 0.32 s after 3.99 s of the log, bridged'


def test_speeds_that_share_no_time(tmp_path: Path) -> None:
    time = times()
    early, late = speed(time), wheel_speed(time)
    early[500:], late[:500] = np.nan, np.nan
    columns = {"time [s]": time, "speed [m/s]": early, "wheel speed rear [rad/s]": late}
    told = _refused(write_csv(tmp_path / "log.csv", columns))
    assert told.startswith('"speed" [m/s] and "wheel speed rear" [rad/s]: have no time in common; ')


# --- the run ---


def test_of_several_runs_the_first_is_taken_or_a_later_one(tmp_path: Path) -> None:
    time = times(until=40.0)
    once = np.where(time % 20.0 < 12.0, speed(time % 20.0), np.maximum(55.0 - 10.0 * (time % 20.0 - 12.0), 0.0))
    twice = once * np.where(time < 20.0, 1.0, 0.5)
    path = write_csv(tmp_path / "log.csv", {"time [s]": time, "speed [m/s]": twice})
    first = read_channels(path)
    assert first.understood[-2] == "2 runs from rest in this log; --start takes a later one"
    assert first.trace.time[-1] == pytest.approx(11.0, abs=0.011)
    second = read_channels(path, LogOptions(start=5.0))
    assert second.understood[1].startswith("moves off at 21 s of the log")
    assert _time(second, "0-60 mph") == pytest.approx(60.0 * 0.44704 / (0.5 * ACCELERATION), abs=1e-9)
    told = _refused(path, LogOptions(start=30.0))
    assert told.endswith("the car moves off from rest; it moves off at 1 s, 21 s")


def test_a_rolling_start_gives_spans_only(tmp_path: Path) -> None:
    time = times()
    path = write_csv(tmp_path / "log.csv", {"time [s]": time, "speed [m/s]": 20.0 + 5.0 * time})
    account = read_channels(path)
    assert account.understood[-1] == "does not start from rest; time zero is the first sample"
    assert _time(account, "100-200 km/h") == pytest.approx(100.0 / 3.6 / 5.0, abs=1e-9)
    assert np.isnan(_time(account, "0-100 km/h"))


@pytest.mark.parametrize("jerk", [0.0, 20.0])
@pytest.mark.parametrize("late", [0.0, 0.013, 0.05, 0.098])
def test_time_zero_lies_between_samples(tmp_path: Path, late: float, jerk: float) -> None:
    """Speed over the first samples is a t or a t + j t^2 / 2; both are parabolas, so the root is exact."""
    time = times(rate=10.0)
    moving = np.maximum(time - WAIT - late, 0.0)
    speed = ACCELERATION * moving + 0.5 * jerk * np.minimum(moving, 0.4) ** 2
    account = read_channels(write_csv(tmp_path / "log.csv", {"time [s]": time, "speed [m/s]": speed}))
    assert account.zero == pytest.approx(WAIT + late, abs=1e-9)
    assert account.from_rest
    assert (account.trace.time[0], account.trace["speed"][0]) == (0.0, 0.0)
    if jerk == 0.0:
        assert _time(account, "0-100 km/h") == pytest.approx(100.0 / 3.6 / ACCELERATION, abs=1e-9)


def test_time_zero_stays_between_its_samples_in_noise(tmp_path: Path) -> None:
    rng = np.random.default_rng(0)
    for _ in range(20):
        time = times(rate=100.0)
        noisy = np.where(time <= WAIT, 0.0, speed(time) + 0.05 * np.abs(rng.standard_normal(time.size)))
        account = read_channels(write_csv(tmp_path / "log.csv", {"time [s]": time, "speed [m/s]": noisy}))
        assert WAIT - 0.05 <= account.zero <= WAIT + 0.05


@pytest.mark.parametrize(
    ("factor", "unit", "words"), [(1000.0, "s", "--unit time=ms"), (1.0, "ms", "--unit time=s"), (60.0, "ms", "=s")]
)
def test_time_in_another_unit_than_its_heading_is_refused(tmp_path: Path, factor: float, unit: str, words: str) -> None:
    columns = {f"time [{unit}]": factor * times(), "speed [m/s]": speed(times())}
    path = write_csv(tmp_path / "log.csv", columns)
    told = _refused(path)
    assert told.startswith("time: has ")
    assert words in told
    if factor != 60.0:
        meant = {"s": "ms", "ms": "s"}[unit]
        right = read_channels(path, LogOptions(units={Role.TIME: meant}))
        assert _time(right, "0-100 km/h") == pytest.approx(100.0 / 3.6 / ACCELERATION, abs=1e-6)


def test_a_slow_drive_is_no_fault(tmp_path: Path) -> None:
    """A car that rolls along at walking pace, and one that gains speed downhill, logged once in a second."""
    time = np.arange(0.0, 600.0)
    crawl = write_csv(tmp_path / "crawl.csv", {"time [s]": time, "speed [m/s]": 1.0 + np.sin(time / 60.0)})
    assert read_channels(crawl).trace.time.size > 2
    slow = write_csv(tmp_path / "slow.csv", {"time [s]": time, "speed [m/s]": 0.06 * time})
    assert read_channels(slow).trace["speed"].max() > 30.0


def test_noise_at_rest_is_no_start(tmp_path: Path) -> None:
    time = times()
    wobble = np.where(time < WAIT, 0.3 * np.abs(np.sin(40.0 * time)), 0.0)
    path = write_csv(tmp_path / "log.csv", {"time [s]": time, "speed [m/s]": speed(time) + wobble})
    assert "moves off at 1 s" in read_channels(path).understood[1]


def test_a_car_that_stands(tmp_path: Path) -> None:
    path = write_csv(tmp_path / "log.csv", {"time [s]": times(), "speed [m/s]": 0.0 * times()})
    assert _refused(path).startswith("speed: does not rise; ")


def test_a_distance_counts_from_where_the_car_moves_off(tmp_path: Path) -> None:
    time = times()
    driven = 1000.0 + 0.5 * ACCELERATION * np.maximum(time - WAIT, 0.0) ** 2
    columns = {"time [s]": time, "speed [m/s]": speed(time), "distance [m]": driven}
    account = read_channels(write_csv(tmp_path / "log.csv", columns))
    assert account.trace["distance"][0] == 0.0
    assert_allclose(account.trace["distance"], 0.5 * ACCELERATION * account.trace.time**2, atol=1e-9)
    columns["distance [m]"] = np.where(time < 5.0, np.nan, driven)
    short = read_channels(write_csv(tmp_path / "short.csv", columns))
    assert "distance" not in short.trace
    assert short.notes[-1] == "distance does not cover the run; it is taken from speed"


def test_channels_with_too_few_values_are_left_out(tmp_path: Path) -> None:
    time = times()
    boost = np.full(time.shape, np.nan)
    boost[5] = 120.0
    path = write_csv(tmp_path / "log.csv", {"time [s]": time, "speed [m/s]": speed(time), "boost [kPa]": boost})
    account = read_channels(path)
    assert "boost_pressure" not in account.trace
    assert '"boost": fewer than two values; not used' in account.notes


# --- wheels of one axle ---

LEFT, RIGHT = 0.20, 0.02  # slip of the two wheels


def two_wheels(path: Path, *names: str, unit: str = "rad/s", scale: float = 1.0 / RADIUS) -> Path:
    """A log of a car whose two rear wheels slip unlike, evenly."""
    time = times()
    columns = {"time [s]": time, "speed [m/s]": speed(time)}
    for name, slip in zip(names, (LEFT, RIGHT), strict=True):
        columns[f"{name} [{unit}]"] = scale * speed(time) * (1.0 + slip)
    return write_csv(path, columns)


@pytest.mark.parametrize(
    ("names", "unit", "scale"),
    [
        (("wheel speed RL", "wheel speed RR"), "rad/s", 1.0 / RADIUS),
        (("Rear Left Wheel Speed", "rearRightWheelSpeed"), "km/h", 3.6),
        (("Raddrehzahl hinten links", "Raddrehzahl hinten rechts"), "rpm", 30.0 / pi / RADIUS),
    ],
)
def test_both_wheels_of_an_axle_are_kept(tmp_path: Path, names: tuple[str, str], unit: str, scale: float) -> None:
    """A wheel with the slip s runs s times the way of the car farther. Source: the definition of slip (ISO 8855)."""
    path = two_wheels(tmp_path / "log.csv", *names, unit=unit, scale=scale)
    found = read_log(path, LogOptions(radii=(RADIUS, RADIUS)))
    assert [each.name for each in found.wheels] == ["rear axle", "rear left", "rear right"]
    moved = 0.5 * ACCELERATION * float(found.trace.time[-1]) ** 2
    for each, slip in zip(found.wheels, (0.5 * (LEFT + RIGHT), LEFT, RIGHT), strict=True):
        assert each.slip_distance == pytest.approx(slip * moved, rel=1e-6)
        assert each.greatest_slip == pytest.approx(slip, rel=1e-6)
    assert found.grip is not None
    assert found.grip.greatest_slip == pytest.approx(LEFT)  # as in a launch, the faster wheel counts
    said = " ".join(found.to_text().split())
    assert f"tread of the left wheel ran {(LEFT - RIGHT) * moved:.1f} m farther than that of the right one" in said
    told = found.to_dict()["wheels"]
    assert told[1]["wheel"] == "rear left"
    assert told[1]["greatest_slip"] == pytest.approx(LEFT)


def test_wheels_are_named_by_hand(tmp_path: Path) -> None:
    path = two_wheels(tmp_path / "log.csv", "driven one", "driven two")
    sides = {Role.WHEEL_SPEED_FRONT_LEFT: ("driven two",), Role.WHEEL_SPEED_FRONT_RIGHT: ("driven one",)}
    found = read_log(path, LogOptions(channels=sides, radii=(RADIUS, RADIUS)))
    assert [each.name for each in found.wheels] == ["front axle", "front left", "front right"]
    assert found.wheels[2].greatest_slip == pytest.approx(LEFT)
    alone = LogOptions(channels={Role.WHEEL_SPEED_FRONT_LEFT: ("driven two",)}, radii=(RADIUS, RADIUS))
    assert _refused(path, alone) == (
        "wheel speed front right: has no channel, and the other wheel of its axle has one "
        '(--channel wheel_speed_front_left="NAME"); name both, or the axle alone with '
        '--channel wheel_speed_front="NAME"'
    )


def test_an_axle_that_is_left_out_takes_its_wheels_along(tmp_path: Path) -> None:
    path = two_wheels(tmp_path / "log.csv", "wheel speed RL", "wheel speed RR")
    account = read_channels(path, LogOptions(channels={Role.WHEEL_SPEED_REAR: ()}))
    assert set(account.trace.channels) == {"speed"}


def test_one_wheel_alone_is_its_axle(tmp_path: Path) -> None:
    time = times()
    columns = {"time [s]": time, "speed [m/s]": speed(time), "wheel speed RL [rad/s]": wheel_speed(time)}
    account = read_channels(write_csv(tmp_path / "log.csv", columns))
    assert set(account.trace.channels) == {"speed", "wheel_speed_rear"}


def test_a_wheel_of_two_channels_is_refused_by_its_own_name(tmp_path: Path) -> None:
    time = times()
    columns = {"time [s]": time, "speed [m/s]": speed(time), "wheel speed RL [rad/s]": wheel_speed(time)}
    columns |= {"RL wheel speed [rad/s]": wheel_speed(time), "wheel speed RR [rad/s]": wheel_speed(time)}
    told = _refused(write_csv(tmp_path / "log.csv", columns))
    assert told.startswith("wheel speed rear left: could be any of")
    assert told.endswith('choose one with --channel wheel_speed_rear_left="NAME"')


def test_wheels_in_another_unit_than_any_are_refused(tmp_path: Path) -> None:
    path = two_wheels(tmp_path / "log.csv", "wheel speed RL", "wheel speed RR", unit="bar")
    assert "give one of" in _refused(path)
    read_channels(path, LogOptions(units={Role.WHEEL_SPEED_REAR: "rad/s"}))  # of the axle, for both of its wheels
    blank = two_wheels(tmp_path / "blank.csv", "wheel speed RL", "wheel speed RR", scale=float("nan"))
    assert set(read_channels(blank).trace.channels) == {"speed"}


def test_like_wheels_are_called_alike(tmp_path: Path) -> None:
    time = times()
    columns = {"time [s]": time, "speed [m/s]": speed(time)}
    columns |= {f"wheel speed {name} [rad/s]": wheel_speed(time) for name in ("RL", "RR")}
    found = read_log(write_csv(tmp_path / "log.csv", columns), LogOptions(radii=(RADIUS, RADIUS)))
    assert "rear axle: both wheels ran equally far, to 0.2 % of the way" in " ".join(found.to_text().split())
