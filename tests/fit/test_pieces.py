"""What a fit is made of: sensors, noise, tests of residuals, errors, combinations that are not identified."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from math import exp
from pathlib import Path

import numpy as np
import pytest

from fit.driven import Logger, behind, driven, logged, write
from simlaunch.errors import InputError
from simlaunch.fitting.histories import STEP, History, Runner, lagged, last_until
from simlaunch.fitting.identifiability import identifiability, without
from simlaunch.fitting.logs import LogRequest, read_run
from simlaunch.fitting.residuals import misfit, neighbours, runs_chance
from simlaunch.fitting.solving import hanging_together, mixed, moves_without, no_less_than, widened
from simlaunch.parameters.fill import lower
from simlaunch.readers.noise import noise_of, resolution
from simlaunch.record import CAR, Car, Pedal
from simlaunch.scenario.reading import load
from simlaunch.simulation.histories import FOLLOWED
from simlaunch.simulation.run import complete, launch

COUPE = load(Path(__file__).parents[2] / "scenarios" / "road-coupe.toml")


@pytest.fixture(scope="module")
def car() -> Car:
    made = lower(COUPE, "peak", Pedal.FULL)
    complete(made)
    return made


# --- histories and sensors ---


def test_histories_are_those_of_single_launches(car: Car) -> None:
    """Straight between samples: off by jerk x step^2 / 8, 0.001 m/s where torque comes back within 0.1 s."""
    own = car.copy()
    last_until(own, 6.0)
    runner = Runner(2)
    values = runner(np.array([own, own], CAR), 6.0)
    trace = launch(own).trace
    time = np.arange(0.0, 6.0, 0.0137)
    for k, name in enumerate(FOLLOWED):
        away = np.abs(History(values[0]).at(name, time) - np.interp(time, trace.time, trace[name])).max()
        assert away < (2e-3 if name == "speed" else 0.5)
        assert np.array_equal(values[0, k], values[1, k])


def test_a_lag_is_the_exponential_of_a_first_order_sensor() -> None:
    """Step: 1 - exp(-t / T); ramp: t - T (1 - exp(-t / T)). Source: first-order linear system."""
    time, lag = STEP * np.arange(400, dtype=np.float64), 0.2
    ramp = lagged(time, STEP, lag)
    assert np.allclose(ramp, time - lag * (1.0 - np.exp(-time / lag)), atol=1e-12)
    assert np.allclose(lagged(np.full(50, 3.0), STEP, lag), 3.0)
    stepped = np.r_[0.0, np.ones(round(1.0 / STEP))]
    assert lagged(stepped, STEP, lag)[-1] == pytest.approx(1.0 - exp(-1.0) ** 5, abs=0.001)


def test_blur_keeps_a_ramp_in_its_place_and_is_linear_near_zero() -> None:
    time = np.arange(0.0, 3.0, STEP)
    history = History(np.array([np.where(time > 1.0, 5.0 * (time - 1.0), 0.0)] * 4))
    late = np.array([2.5])
    assert history.at("speed", late, 0.04) == pytest.approx(7.5, abs=1e-2)
    corner = np.array([1.0])
    one, two = (float(history.at("speed", corner, blur)[0]) for blur in (1e-2, -1e-2))
    assert one == pytest.approx(-two, rel=0.2)
    assert one > 0.0


def test_the_logger_of_the_tests_lags_as_the_model_says() -> None:
    fine = np.arange(0.0, 3.0, 1e-3)
    signal = np.maximum(fine - 0.5, 0.0)
    assert np.allclose(behind(signal, 0.15), lagged(signal, 1e-3, 0.15), atol=1e-3)


# --- noise and residuals ---


def test_noise_is_found_under_a_smooth_signal() -> None:
    """Standard deviation of 500 samples is known to 3.2 % by itself, by third differences to about 8 %."""
    time = np.arange(0.0, 10.0, 0.02)
    rng = np.random.default_rng(0)
    found = noise_of(time, 20.0 * np.sqrt(time) + 0.07 * rng.standard_normal(time.size))
    assert found == pytest.approx(0.07, rel=0.25)


def test_a_coarse_display_is_no_better_than_its_resolution() -> None:
    """A rounded value is off by its step over the root of 12. Source: uniform distribution."""
    time = np.arange(0.0, 10.0, 0.05)
    values = np.round(4.0 * time)
    assert resolution(values) == 1.0
    assert noise_of(time, values) >= 1.0 / np.sqrt(12.0)


def test_rounding_that_seldom_repeats_a_value_is_seen() -> None:
    """Rounded 3.02 k rises by 3, now and then by 4: most third differences are zero, the error is uniform all the same.

    Standard deviation of rounding: step over the root of 12. Source: uniform distribution.
    """
    time = 0.01 * np.arange(400, dtype=np.float64)
    values = 800.0 + np.round(3.02 * np.arange(400, dtype=np.float64))
    assert noise_of(time, values) == pytest.approx(1.0 / np.sqrt(12.0))


def test_repeated_samples_of_a_slow_sensor_are_used_once(tmp_path: Path, car: Car) -> None:
    trace = driven(COUPE, {}, 8.0)
    time = np.arange(0.0, 10.0, 0.01)
    slow = np.round(np.floor(time * 10.0 + 1e-9) / 10.0, 6)
    speed = np.interp(slow - 2.0, trace.time, trace["speed"])
    path = write(tmp_path / "held.csv", {"Time [s]": time, "Speed [m/s]": speed}, 6)
    log = read_run(LogRequest(path), car)
    assert float(np.median(np.diff(log.speed.time))) == pytest.approx(0.1, abs=1e-6)


def test_the_runs_test_is_that_of_the_textbook() -> None:
    """For 10 and 10 signs, 6 runs or fewer have the chance 0.019 exactly; the normal law comes near.

    Source: Swed and Eisenhart (1943), Ann. Math. Statist. 14, 66: exact distribution, here summed from its formula.
    """
    from math import comb

    residuals = np.repeat([1.0, -1.0, 1.0, -1.0, 1.0, -1.0], [3, 3, 4, 3, 3, 4])
    ways = sum(
        2 * comb(9, r // 2 - 1) ** 2 if r % 2 == 0 else 2 * comb(9, (r - 1) // 2) * comb(9, (r - 3) // 2)
        for r in range(2, 7)
    )
    assert runs_chance(residuals) == pytest.approx(ways / comb(20, 10), abs=0.003)


def test_noise_passes_and_a_drift_does_not() -> None:
    rng, time = np.random.default_rng(5), np.arange(0.0, 10.0, 0.05)
    chances = [runs_chance(rng.standard_normal(200)) for _ in range(400)]
    assert np.mean(np.array(chances) < 0.05) == pytest.approx(0.05, abs=0.03)
    noise = 0.05 * rng.standard_normal(time.size)
    plain = misfit("speed", time, 30.0 + noise, noise, 0.05, 0.05)
    drift = misfit("speed", time, 30.0 + noise, noise + 0.4 * np.sin(time), 0.05, 0.05)
    assert plain.noisy_only
    assert not plain.wrong
    assert drift.wrong
    assert drift.runs_chance < 1e-6
    assert neighbours(noise + 0.4 * np.sin(time)) > 0.9


@pytest.mark.parametrize("share", [0.0, 0.5, 0.8])
def test_what_hangs_together_is_worth_less(share: float) -> None:
    """A mean of an autoregressive series has the variance (1 + r) / (1 - r) of an independent one, for many samples."""
    rng, found = np.random.default_rng(2), []
    for _ in range(40):
        shocks = rng.standard_normal(2000)
        series = np.zeros(2000)
        for k in range(1, 2000):
            series[k] = share * series[k - 1] + shocks[k]
        found.append(hanging_together(series))
    assert np.mean(found) == pytest.approx((1.0 + share) / (1.0 - share), rel=0.2)


# --- what is not identified ---


def test_two_columns_of_one_direction_have_rank_one() -> None:
    slopes = np.outer(np.arange(1.0, 50.0), [1.0, -1.0])
    found = identifiability(("mass", "curve scale"), slopes.T @ slopes)
    assert (found.rank, found.of) == (1, 2)
    assert found.unidentified[0].names in (("mass", "curve scale"), ("curve scale", "mass"))
    assert found.unidentified[0].shares[0] == pytest.approx(found.unidentified[0].shares[1])


def test_information_left_when_others_are_unknown_is_the_inverse_of_the_covariance() -> None:
    rng = np.random.default_rng(0)
    slopes = rng.standard_normal((30, 4))
    whole = slopes.T @ slopes
    kept = np.array([True, False, True, False])
    assert np.allclose(np.linalg.inv(without(whole, kept)), np.linalg.inv(whole)[np.ix_(kept, kept)])


def test_rivals_widen_the_errors_to_those_of_the_mixture() -> None:
    """Second moment about the first of three normal distributions drawn by exp(-cost). Source: drawing them."""
    rng, one = np.random.default_rng(5), np.array([[0.04, 0.01], [0.01, 0.09]])
    x, ends, costs = np.array([1.0, -2.0]), np.array([[1.0, -2.0], [2.0, -2.5], [-0.5, 1.0]]), np.array([0.0, 0.4, 1.5])
    chances = np.exp(-costs) / np.exp(-costs).sum()
    drawn = ends[rng.choice(3, 400_000, p=chances)] + rng.multivariate_normal((0.0, 0.0), one, 400_000) - x
    found = widened(one, x, list(zip(ends[1:], costs[1:].tolist(), strict=True)))
    assert np.allclose(found, drawn.T @ drawn / len(drawn), rtol=0.01)
    assert np.array_equal(widened(one, x, []), one)
    held = widened(np.diag([0.04, 0.0]), x, [(ends[1], 0.0)])
    assert held[1].tolist() == [0.0, 0.0]


# --- logs that cannot be used ---


def _log(path: Path, time: np.ndarray, speed: np.ndarray, unit: str = "m/s", clock: str = "s") -> LogRequest:
    return LogRequest(write(path, {f"Time [{clock}]": time, f"Speed [{unit}]": speed}))


@pytest.fixture(scope="module")
def run() -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    trace = driven(COUPE, {}, 9.0)
    time = np.arange(0.0, 11.0, 0.05)
    rng = np.random.default_rng(1)
    found = [
        np.interp(time - 2.0, trace.time, trace[name]) for name in ("speed", "wheel_speed_front", "wheel_speed_rear")
    ]
    return time, found[0] + 0.03 * np.abs(rng.standard_normal(time.size)), found[1], found[2]


def test_bad_logs_are_refused_each_with_its_reason(tmp_path: Path, car: Car, run: tuple[np.ndarray, ...]) -> None:
    time, speed, front, rear = run
    lift = np.where(time > 7.0, np.interp(7.0, time, speed) - 3.0 * np.minimum(time - 7.0, 1.5), speed)
    lift += np.maximum(time - 8.5, 0.0) * 8.0
    later = time > 5.0
    path = tmp_path / "log.csv"
    refused: tuple[tuple[Callable[[], LogRequest], str], ...] = (
        (lambda: _log(path, time[later], speed[later]), "starts rolling, at"),
        (lambda: _log(path, time, lift), 'the driver lifts or brakes.*--until "4'),
        (lambda: _log(path, time, 3.6 * speed), "the tyres of the scenario allow"),
        (lambda: _log(path, time[::20], speed[::20]), "a fit needs 12 at least"),
        (lambda: _log(path, 1000.0 * time, speed), "--unit time=ms"),
        (lambda: _log(path, time, 0.0 * speed + 20.0), "does not rise"),
        (lambda: _log(path, time, 0.0 * speed), "does not rise"),
        (lambda: _log(path, time[:1], speed[:1]), "fewer than two values"),
    )
    for request, words in refused:
        with pytest.raises(InputError, match=words):
            read_run(request(), car)
    until = replace(_log(path, time, lift), until=4.5)
    assert read_run(until, car).speed.time[-1] <= 6.6
    columns = {"Time [s]": time, "Speed [m/s]": 0.3207 * rear}
    columns |= {"Wheel Speed Front [rad/s]": front, "Wheel Speed Rear [rad/s]": rear}
    with pytest.raises(InputError, match="is that of the rear wheels"):
        read_run(LogRequest(write(path, columns)), car)
    for content in (b"", b"nan\nnan\n", b"Time [s],Speed [m/s]\n0,nan\n1,nan\n", b"\x00" * 5000):
        path.write_bytes(content)
        with pytest.raises(InputError, match=r"log\.csv"):
            read_run(LogRequest(path), car)


def test_a_log_may_be_stated_to_begin_after_rollout(tmp_path: Path, car: Car, run: tuple[np.ndarray, ...]) -> None:
    time, speed, *_ = run
    moving = speed > 2.0
    path = write(tmp_path / "log.csv", {"Time [s]": time[moving], "Speed [m/s]": speed[moving]})
    with pytest.raises(InputError, match="give --rollout"):
        read_run(LogRequest(path), car)
    assert read_run(LogRequest(path, rollout=True), car).speed.time.size > 100


def test_an_accelerometer_on_a_slope_is_reported(tmp_path: Path, car: Car, run: tuple[np.ndarray, ...]) -> None:
    time, speed, *_ = run
    felt = np.gradient(speed, time) - 9.80665 * 0.05
    columns = {"Time [s]": time, "Speed [m/s]": speed, "Acceleration [m/s^2]": felt}
    log = read_run(LogRequest(write(tmp_path / "log.csv", columns)), car)
    assert any("the road goes downhill" in warning for warning in log.warnings)


def test_a_run_can_be_cut_and_its_noise_stated(tmp_path: Path, car: Car) -> None:
    path = logged(tmp_path / "log.csv", driven(COUPE, {}, 8.0), Logger())
    log = read_run(LogRequest(path, until=3.0, noise=0.2), car)
    assert log.end == pytest.approx(log.zero + 3.0)
    assert log.speed.noise == 0.2


def test_engine_speed_counts_from_moving_off_and_road_speed_from_where_its_sensor_is_alive(
    tmp_path: Path, car: Car
) -> None:
    path = logged(tmp_path / "log.csv", driven(COUPE, {}, 8.0), Logger(engine_noise=20.0))
    log = read_run(LogRequest(path), car)
    engine = next(channel for channel in log.channels if channel.name == "engine_speed")
    assert engine.time[0] == pytest.approx(log.zero, abs=0.06)
    assert engine.time[0] + 0.05 < log.speed.time[0]
    assert log.speed.values[0] > 0.4


# --- misfit in the errors ---


def test_leaving_out_one_sample_after_the_other_gives_the_error_of_a_mean() -> None:
    """The jackknife's variance of a mean is s^2 / n exactly. Source: Miller (1974), closed form, from memory."""
    residuals = 1e-4 * np.random.default_rng(0).standard_normal(40)
    residuals -= residuals.mean()
    moves = moves_without(np.ones((40, 1)), residuals, np.arange(40.0), 40)
    found = no_less_than(np.array([[1e-12]]), moves)[0, 0]
    assert found == pytest.approx(residuals.var(ddof=1) / 40.0, rel=1e-6)


def test_moves_are_those_of_a_line_fitted_without_the_stretch() -> None:
    """For a linear problem one step of Gauss and Newton is the whole way. Reference: `numpy.linalg.lstsq`."""
    rng = np.random.default_rng(1)
    slopes = np.column_stack([np.ones(30), np.linspace(0.0, 1.0, 30)])
    values = 1e-4 * rng.standard_normal(30)
    whole = np.linalg.lstsq(slopes, values, rcond=None)[0]
    stretches = np.repeat(np.arange(5.0), 6)
    moves = moves_without(-slopes, values - slopes @ whole, stretches, 30)
    for number in range(5):
        left = stretches != number
        again = np.linalg.lstsq(slopes[left], values[left], rcond=None)[0]
        assert again - whole == pytest.approx(moves[number], rel=1e-4, abs=1e-9)


def test_widening_by_moves_never_narrows() -> None:
    covariance = np.array([[2.0, 0.5], [0.5, 1.0]])
    moves = np.array([[3.0, 0.0], [-3.0, 0.0], [3.0, 0.1], [-3.0, -0.1]])
    more = no_less_than(covariance, moves) - covariance
    assert np.linalg.eigvalsh(more).min() > -1e-12
    assert more[0, 0] > 10.0
    assert no_less_than(covariance, 0.0 * moves) == pytest.approx(covariance)


def test_two_models_are_mixed_by_how_well_they_fit() -> None:
    """Second moments of a mixture are the mean of those of its parts, weighed (closed form)."""
    first, second = np.diag([1.0, 4.0]), np.diag([9.0, 2.0])
    assert mixed(first, second, 0.0) == pytest.approx(0.5 * (first + second))
    assert mixed(first, second, np.log(3.0)) == pytest.approx(0.25 * first + 0.75 * second)
    assert mixed(first, second, -np.inf) == pytest.approx(first)
    assert mixed(first, second, 800.0) == pytest.approx(second)


def test_what_hangs_together_within_a_floor_of_the_noise_is_no_misfit() -> None:
    """An engine speed rounded to 1 rpm is off by the same for as long as it is held; that lies below its noise."""
    time = np.linspace(0.0, 10.0, 500)
    held = np.repeat(np.random.default_rng(0).uniform(-0.5, 0.5, 25), 20)
    assert misfit("engine_speed", time, 7000.0 + held, held, 0.7, 0.7).noisy_only
    assert not misfit("engine_speed", time, 7000.0 + held, 3.0 * held, 0.7, 0.7).noisy_only
