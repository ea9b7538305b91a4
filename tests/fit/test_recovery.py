"""Values that a log was made with are found again, as often as the intervals say; what is wrong is not absorbed."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from fit.driven import FINE, WAIT, Logger, columns, driven, logged, write
from simlaunch.errors import InputError, UsageError
from simlaunch.fitting.fit import fit
from simlaunch.fitting.histories import Runner, last_until
from simlaunch.fitting.logs import Kind, LogRequest, read_run
from simlaunch.fitting.parameters import parameter
from simlaunch.fitting.problem import Problem, prepared
from simlaunch.fitting.solving import solved
from simlaunch.parameters.fill import lower
from simlaunch.record import Pedal
from simlaunch.scenario.model import Scenario
from simlaunch.scenario.reading import from_mapping, load
from simlaunch.simulation.run import complete, launch

SCENARIOS = Path(__file__).parents[2] / "scenarios"
COUPE, HATCH, GRIP = (load(SCENARIOS / f"{name}.toml") for name in ("road-coupe", "front-hatch", "all-drive-grip"))

LOGGERS = (
    Logger(100.0, 0.05),
    Logger(10.0, 0.08, missing=0.15),
    Logger(20.0, 0.05, lag=0.15),
    Logger(10.0, 0.05, delay=0.2, engine_noise=30.0),
)
"""Fast; slow with gaps; a sensor of first order, as a satellite receiver that smooths; a speed that comes late."""

FITTED = ("friction", "curve scale", "drag area", "shift time")
LOGS = 48


def bare(scenario: Scenario) -> Scenario:
    """The same scenario, with nothing known beforehand."""
    data = scenario.model_dump(exclude_unset=True)
    data.pop("uncertain", None)
    return from_mapping(data, scenario.name)


SPREAD = {
    "friction": ("road.friction_factor", 0.95, 0.04, ""),
    "shift time": ("gearbox.shift.gap", 1.0, 0.15, " s"),
    "shift phase": ("gearbox.shift.inertia_phase", 1.0, 0.15, " s"),
    "drag area": ("body.drag_area", 1.0, 0.10, " m^2"),
}
"""Key, middle and spread of the true values, over those of the scenario."""


def _held(scenario: Scenario, names: tuple[str, ...], duration: float, folder: Path) -> np.ndarray:
    """Share of the intervals, for each logger and value, that hold the truth in many logs; curve scale comes last."""
    runner, rng, run = Runner(2), np.random.default_rng(1), None
    car = lower(scenario, scenario.curve_names[0], Pedal.FULL)
    complete(car)
    keys = [SPREAD[name] for name in names]
    wanted = tuple(parameter(scenario, key, car) for key in (*(key for key, *_ in keys), "curve scale"))
    held = np.zeros((len(LOGGERS), len(wanted)))
    for n in range(LOGS):
        true = np.array([each.own * rng.normal(mean, sd) for each, (_, mean, sd, _) in zip(wanted, keys, strict=False)])
        changes = {key: f"{value:.7g}{unit}" for (key, _, _, unit), value in zip(keys, true, strict=True)}
        true = np.array([*true, rng.normal(1.0, 0.03)])
        trace = driven(scenario, changes, duration, scale=float(true[-1]))
        request = LogRequest(logged(folder / "log.csv", trace, LOGGERS[n % len(LOGGERS)], n))
        run = replace(run, log=read_run(request, car)) if run else prepared(scenario, request, wanted, Pedal.FULL)
        problem = Problem((run,), wanted, frozenset(), runner, (None,))
        found = solved(problem, starts=1, seed=0)
        reach = found.quantile * found.errors * problem.scales
        held[n % len(LOGGERS)] += np.abs(problem.real(found.x)[: len(true)] - true) <= reach[: len(true)]
    return held / (LOGS / len(LOGGERS))


@pytest.mark.slow
def test_intervals_hold_the_truth_as_often_as_they_say(tmp_path: Path) -> None:
    """95 % intervals of three values in 96 logs of two cars hold the truth in 90 to 99 % of the cases.

    Were the values of one log to hold the truth together or not at all, sound intervals would be refused in 2.9 % of
    all sets of logs, and intervals that hold it in 85 % or 80 % would pass in 7.5 % or 0.4 %; were they independent,
    in 0.04 %, and 0.6 % or 0.0002 %. `benchmarks/fit_coverage.py` takes more logs. Source: binomial distribution.
    """
    spinning = _held(bare(HATCH), ("friction", "shift time"), 6.0, tmp_path)
    gripping = _held(bare(GRIP), ("drag area", "shift phase"), 6.0, tmp_path)
    share = 0.5 * (spinning.mean() + gripping.mean())
    assert 0.90 <= share <= 0.99, (spinning, gripping)
    assert min(spinning.mean(axis=1).min(), gripping.mean(axis=1).min()) >= 0.80, (spinning, gripping)


TRUE = {"road.friction_factor": "0.93", "body.drag_area": "0.72 m^2", "gearbox.shift.gap": "0.3 s"}


@pytest.fixture(scope="module")
def coupe_log(tmp_path_factory: pytest.TempPathFactory) -> Path:
    trace = driven(COUPE, TRUE, 9.0, scale=0.97)
    return logged(tmp_path_factory.mktemp("log") / "run.csv", trace, Logger(20.0, 0.05, lag=0.1, engine_noise=20.0))


def test_what_nobody_names_is_chosen_and_found(coupe_log: Path) -> None:
    found = fit(COUPE, [LogRequest(coupe_log)], starts=1)
    names = {each.parameter.name for each in found.fitted}
    assert {"friction", "curve scale", "mass", "shift time", "drag area"} <= names
    assert "rolling resistance" not in names
    for name, true in (("friction", 0.93), ("drag area", 0.72), ("shift time", 0.3)):
        each = found.value(name)
        assert abs(each.value - true) < 3.0 * each.error, name
    timing = found.runs[0].timing
    assert timing.start == pytest.approx(WAIT, abs=0.03)
    assert timing.lag == pytest.approx(0.1, abs=0.03)
    assert timing.delay == pytest.approx(0.1, abs=0.03)
    assert all(left.noisy_only for left in found.runs[0].misfits)
    assert found.warnings == ()


def test_mass_and_curve_scale_cannot_be_distinguished(tmp_path: Path) -> None:
    """All else is as described, or the wrong road would drive the values to their bounds."""
    path = logged(tmp_path / "run.csv", driven(COUPE, {}, 9.0, scale=0.97), Logger(20.0, 0.1))
    found = fit(bare(COUPE), [LogRequest(path)], ("mass", "curve scale", "efficiency"), starts=3)
    assert any({"curve scale", "efficiency"} <= set(each.names) for each in found.identifiability.unidentified)
    assert found.identifiability.condition > 20.0
    whole = np.array([each.parameter.name for each in found.fitted])
    j, k = (int(np.flatnonzero(whole == name)[0]) for name in ("curve scale", "efficiency"))
    assert found.correlation[j, k] < -0.8
    profiled = found.value("curve scale").profiled
    assert profiled is not None
    assert profiled[0] < found.value("curve scale").value < profiled[1]


def test_times_follow_and_their_interval_holds_the_true_one(coupe_log: Path) -> None:
    """The quarter mile of the true car, run by itself, lies in the interval, and the scenario's own does not."""
    found = fit(COUPE, [LogRequest(coupe_log)], FITTED, starts=1)
    quarter = found.runs[0].times[-1]
    trace = driven(COUPE, TRUE, 20.0, scale=0.97)
    true = float(np.interp(402.336, trace["distance"], trace.time))
    assert quarter.low - 0.01 <= true <= quarter.high + 0.01
    assert not quarter.low <= quarter.before <= quarter.high
    reached = next(mark for mark in found.runs[0].times if mark.target.label == "0-100 km/h")
    assert reached.logged == pytest.approx(reached.fitted, abs=0.03)


def test_shared_and_own_values_and_a_log_that_is_left_out(tmp_path: Path) -> None:
    requests = []
    for n, (curve, friction) in enumerate((("plateau", 0.925), ("peak", 0.95), ("plateau", 0.90))):
        trace = driven(COUPE, {**TRUE, "road.friction_factor": str(friction)}, 9.0, scale=0.98, curve=curve)
        path = logged(tmp_path / f"{n}.csv", trace, Logger(20.0, 0.05), n)
        requests.append(LogRequest(path, curve=curve))
    found = fit(COUPE, requests, FITTED, own=("friction",), left_out=0, starts=1)
    assert found.value("friction", 1).value == pytest.approx(0.95, abs=0.006)
    assert found.value("friction", 2).value == pytest.approx(0.90, abs=0.006)
    told = found.to_text()
    assert "friction, log 2" in told
    assert "Residuals, log 3" in told
    assert "log 1" not in told
    assert found.value("curve scale").log is None
    assert found.left_out is not None
    assert found.left_out.run.curve == "plateau"
    reached = [mark for mark in found.left_out.times if np.isfinite(mark.logged)]
    assert reached
    assert reached[-1].fitted == pytest.approx(reached[-1].logged, abs=0.03)
    assert found.left_out.misfits[0].rms < 0.12


def test_what_was_different_on_the_day_is_known(tmp_path: Path) -> None:
    heavy = driven(COUPE, {"body.mass": "1900 kg"}, 9.0)
    path = logged(tmp_path / "heavy.csv", heavy, Logger())
    told = fit(COUPE, [LogRequest(path, changes={"body.mass": "1900 kg"})], ("curve scale", "drag area"), starts=1)
    assert abs(told.value("curve scale").value - 1.0) < 3.0 * told.value("curve scale").error
    unstated = fit(COUPE, [LogRequest(path)], ("curve scale", "drag area"), starts=1)
    assert unstated.value("curve scale").value < 0.95
    chosen = fit(COUPE, [LogRequest(path, changes={"body.mass": "1900 kg"})], starts=1)
    assert "mass" not in {each.parameter.name for each in chosen.fitted}


@pytest.mark.parametrize(
    ("changes", "engine", "words"),
    [
        ({"gearbox.final_drive": "3.73"}, None, "speed does not follow this car"),
        ({"gearbox.final_drive": "3.73"}, 20.0, "above what gear ratios"),
        (
            {"gearbox.ratios": ["3.63", "2.35", "1.54", "1.21", "1.00", "0.82"]},
            None,
            "does not follow this car as close",
        ),
        ({"road.grade": "-4 %"}, None, "usual spreads from what was known before"),
    ],
)
def test_another_car_or_road_is_flagged(
    tmp_path: Path, changes: dict[str, object], engine: float | None, words: str
) -> None:
    path = logged(tmp_path / "log.csv", driven(COUPE, changes, 10.0), Logger(20.0, 0.05, engine_noise=engine), 4)
    found = fit(COUPE, [LogRequest(path)], starts=1)
    assert any(words in warning for warning in found.warnings), found.warnings
    assert any("speed alone" in note for note in found.notes) == (engine is None), found.notes


def test_a_value_at_its_bound_is_reported(tmp_path: Path) -> None:
    """No gearbox gives more than it takes: an efficiency of 93 % cannot rise by the tenth that this log asks for."""
    path = logged(tmp_path / "log.csv", driven(COUPE, {}, 6.0, scale=1.10), Logger())
    found = fit(bare(COUPE), [LogRequest(path)], ("efficiency", "friction"), starts=1)
    assert found.value("efficiency").at_bound
    assert found.value("efficiency").value == pytest.approx(1.0 / 0.93, rel=1e-3)
    assert any("efficiency stopped at a bound" in warning for warning in found.warnings)


def test_the_others_are_as_unsure_as_if_a_value_at_its_bound_went_on(tmp_path: Path) -> None:
    """Errors with one value held fixed are conditional ones, smaller than marginal ones (closed form)."""
    scenario = bare(COUPE)
    path = logged(tmp_path / "log.csv", driven(COUPE, {}, 6.0, scale=1.10), Logger())
    car = lower(scenario, "peak", Pedal.FULL)
    wanted = tuple(parameter(scenario, name, car) for name in ("efficiency", "drag area"))
    runner = Runner(2)
    run = prepared(scenario, LogRequest(path), wanted, Pedal.FULL)
    found = solved(Problem((run,), wanted, frozenset(), runner, (None,)), starts=1, seed=0)
    assert found.at_bound.tolist()[:2] == [True, False]
    assert found.errors[0] == 0.0
    told = found.jacobian.T @ found.jacobian
    conditional = float(np.sqrt(np.linalg.inv(told[1:, 1:])[0, 0]))
    assert found.errors[1] > 1.1 * conditional
    assert found.errors[1] >= 0.99 * float(np.sqrt(np.linalg.inv(told)[1, 1]))


# --- narrow valleys, and another simulator ---


def test_launches_of_the_last_search_are_exact_enough_for_a_narrow_valley(tmp_path: Path) -> None:
    """Errors along the valley of drag and rolling resistance are those of launches with a tolerance of 1e-10.

    With 1e-6 they came out 0.6 to 0.7 times as large. Errors are those of least squares, (J'J)^-1 (closed form).
    """
    scenario = bare(GRIP)
    shown = columns(driven(scenario, {}, 7.0), Logger(50.0, 0.05, engine_noise=0.0), np.random.default_rng(0))
    shown["Engine Speed [rpm]"] = np.round(shown["Engine Speed [rpm]"])
    car = lower(scenario, scenario.curve_names[0], Pedal.FULL)
    complete(car)
    names = ("friction", "curve scale", "engagement", "shift time", "drag area", "launch speed", "rolling resistance")
    wanted = tuple(parameter(scenario, name, car) for name in names)
    run = prepared(scenario, LogRequest(write(tmp_path / "log.csv", shown)), wanted, Pedal.FULL)
    problem = Problem((run,), wanted, frozenset(), Runner(1), (None,))
    exact = replace(problem, runner=Runner(1, 1e-10))
    x = np.zeros(len(problem.columns))
    with problem.followed_more_closely() as closer:
        slopes = [each.jacobian(x, central=True) for each in (closer, exact)]
        errors = [np.sqrt(np.diag(np.linalg.inv(each.T @ each)))[: len(names)] for each in slopes]
        assert errors[0] == pytest.approx(errors[1], rel=0.1)
        launches = closer.runner.launches
        near = closer.jacobian(x + 0.004, central=True)
        assert closer.runner.launches == launches + 1  # the car that is there
        assert np.sqrt(np.diag(np.linalg.inv(near.T @ near)))[: len(names)] == pytest.approx(errors[1], rel=0.1)
        closer.jacobian(x + 0.02, central=True)
        assert closer.runner.launches == launches + 2 + 2 * len(names)


@pytest.mark.slow
def test_shifts_logged_a_hundred_times_a_second_leave_no_false_valley(tmp_path: Path) -> None:
    """Mass and torque scale hold the truth where engine speed, rounded to 1 rpm, makes every shift a wall."""
    names = ("mass", "curve scale", "friction", "drag area", "shift time", "engagement", "launch speed")
    trace = driven(GRIP, {"body.mass": "1800 kg"}, 6.0)
    shown = columns(trace, Logger(100.0, 0.03, engine_noise=0.0), np.random.default_rng(1))
    shown["Engine Speed [rpm]"] = np.round(shown["Engine Speed [rpm]"])
    found = fit(GRIP, [LogRequest(write(tmp_path / "log.csv", shown))], names)
    assert found.usable
    assert found.runs[0].misfits[0].rms < 1.1 * found.runs[0].misfits[0].noise
    for name, true in (("mass", 1800.0), ("curve scale", 1.0)):
        each = found.value(name)
        assert each.low <= true <= each.high, name
        assert each.error < 0.002 * true, name


@pytest.mark.slow
def test_errors_carry_what_another_simulator_leaves_over(tmp_path: Path) -> None:
    """Rigid half shafts and a body that hardly pitches: intervals are wider than noise alone makes them."""
    car = lower(bare(COUPE), "peak", Pedal.FULL)
    car.drive.rigid, car.body.pitch_frequency = 1, 10.0 * car.body.pitch_frequency
    last_until(car, 8.0)
    rng = np.random.default_rng(3)
    shown = columns(launch(car, sample_gap=FINE).trace, Logger(50.0, 0.03, engine_noise=5.0), rng)
    found = fit(bare(COUPE), [LogRequest(write(tmp_path / "log.csv", shown))], ("friction", "curve scale"))
    same = columns(driven(bare(COUPE), {}, 8.0), Logger(50.0, 0.03, engine_noise=5.0), rng)
    own = fit(bare(COUPE), [LogRequest(write(tmp_path / "own.csv", same))], ("friction", "curve scale"))
    assert not all(left.noisy_only for left in found.runs[0].misfits)
    for name in ("friction", "curve scale"):
        assert found.value(name).error > 2.0 * own.value(name).error, name


@pytest.mark.slow
def test_a_search_does_not_end_where_the_error_of_launches_is_rough(tmp_path: Path) -> None:
    """Drag and rolling resistance, which hang together, came 3.3 and 3.8 errors off, and no two starts agreed."""
    own = lower(bare(GRIP), GRIP.curve_names[0], Pedal.FULL)
    before = np.array([own.road.friction_factor, 1.0, own.body.drag_area])
    friction, scale, area = before * np.random.default_rng(7).normal([0.95, 1.0, 1.0], 0.03)
    changes = {"road.friction_factor": f"{friction:.7g}", "body.drag_area": f"{area:.7g} m^2"}
    trace = driven(bare(GRIP), changes, 7.0, scale=float(scale))
    shown = columns(trace, Logger(50.0, 0.05, engine_noise=0.0), np.random.default_rng(0))
    shown["Engine Speed [rpm]"] = np.round(shown["Engine Speed [rpm]"])
    found = fit(bare(GRIP), [LogRequest(write(tmp_path / "log.csv", shown))])
    assert found.usable, found.warnings
    rolling = found.value("rolling resistance")
    for each, true in (
        (found.value("drag area"), area),
        (rolling, rolling.parameter.own),
        (found.value("curve scale"), scale),
    ):
        assert abs(each.value - true) < 2.5 * each.error, each


@pytest.mark.slow
def test_a_simpler_car_is_noticed_by_speed_alone_and_its_values_are_covered(tmp_path: Path) -> None:
    """Speed hardly shows how shafts twist and loads settle: values of a car without either were 14 half widths off."""
    names = ("friction", "curve scale", "drag area")
    for rigid in (True, False):
        car = lower(bare(GRIP), GRIP.curve_names[0], Pedal.FULL)
        true = (float(car.road.friction_factor), 1.0, float(car.body.drag_area))
        if rigid:
            car.drive.rigid, car.body.pitch_frequency = 1, 10.0 * car.body.pitch_frequency
        last_until(car, 7.0)
        shown = columns(launch(car, sample_gap=FINE).trace, Logger(50.0, 0.05), np.random.default_rng(1))
        found = fit(bare(GRIP), [LogRequest(write(tmp_path / "log.csv", shown))], names)
        assert any("half shafts that do not twist" in warning for warning in found.warnings) == rigid, found.warnings
        for name, value in zip(names, true, strict=True):
            assert found.value(name).low <= value <= found.value(name).high, (rigid, name)


# --- calls ---


def test_names_that_are_not_known_get_a_suggestion(coupe_log: Path) -> None:
    with pytest.raises(UsageError, match='named "frction"; did you mean "friction"\\?'):
        fit(COUPE, [LogRequest(coupe_log)], ("frction",))
    with pytest.raises(UsageError, match="friction is named twice as a value to fit"):
        fit(COUPE, [LogRequest(coupe_log)], ("friction", "road.friction_factor"))


def test_calls_that_make_no_sense(coupe_log: Path) -> None:
    log, cold = LogRequest(coupe_log), LogRequest(coupe_log, changes={"road.friction_factor": "0.8"})
    refused: tuple[tuple[Callable[[], object], str], ...] = (
        (lambda: fit(COUPE, []), "nothing to fit to"),
        (lambda: fit(COUPE, [log], left_out=0), "the only log"),
        (lambda: fit(COUPE, [log, log], left_out=4), "log 5 cannot be left out"),
        (lambda: fit(COUPE, [log], own=("friction",)), "more than one log"),
        (lambda: fit(COUPE, [log, log], ("mass",), own=("friction",)), "but is not fitted"),
        (lambda: fit(COUPE, [log], starts=0), "0 starts"),
        (
            lambda: fit(COUPE, [cold], ("road.friction_factor",)),
            "friction is named as a value to fit, and stated for a log",
        ),
        (lambda: fit(COUPE, [LogRequest(coupe_log, curve="none")]), 'no curve is named "none"'),
    )
    for call, words in refused:
        with pytest.raises(UsageError, match=words):
            call()
    with pytest.raises(InputError, match="is zero in the scenario"):
        fit(COUPE, [log], ("air.head_wind",))


def test_a_coast_down_beside_a_launch_shares_their_values(coupe_log: Path, tmp_path: Path) -> None:
    from fit.coasted import coasted

    path = coasted(tmp_path / "coast.csv", mass=1649.0, constant=172.6, square=0.4161)
    both = fit(
        bare(COUPE.replace(TRUE)), [LogRequest(coupe_log), LogRequest(path, Kind.COAST_DOWN)],
        ("curve scale", "drag area", "rolling resistance"), starts=1,
    )  # fmt: skip
    alone = fit(bare(COUPE.replace(TRUE)), [LogRequest(coupe_log)], ("curve scale", "drag area"), starts=1)
    assert both.value("drag area").error < 0.3 * alone.value("drag area").error
    assert both.runs[1].road_load is not None


def test_a_coast_down_has_no_friction_of_its_own_and_no_times(coupe_log: Path, tmp_path: Path) -> None:
    """Nothing in a coast-down shows grip: a value of its own would be what was known before, and spoil the mean."""
    from fit.coasted import coasted

    path = coasted(tmp_path / "coast.csv", mass=1649.0, constant=172.6, square=0.4161)
    logs = [LogRequest(coupe_log), LogRequest(path, Kind.COAST_DOWN)]
    car = lower(COUPE, "peak", Pedal.FULL)
    complete(car)
    wanted = tuple(parameter(COUPE, name, car) for name in ("friction", "drag area", "mass"))
    runs = tuple(prepared(COUPE, log, wanted, Pedal.FULL) for log in logs)
    columns = Problem(runs, wanted, frozenset({"friction", "drag area"}), Runner(1), (0.0, 0.0)).columns
    values = [(column.name, column.run) for column in columns if column.parameter]
    assert values == [("friction", 0), ("drag area", 0), ("drag area", 1), ("mass", None)]
    found = fit(COUPE, logs, ("curve scale",), left_out=1, lag=0.1, starts=1)
    assert found.left_out is not None
    assert found.left_out.road_load is not None
    assert found.left_out.times == ()
