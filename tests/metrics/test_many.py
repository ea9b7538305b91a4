"""Many launches at once give, to the last bit, what they give one by one."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from math import nan

import numpy as np
import pytest
from numpy.typing import NDArray

from cars import RPM, all_drive_saloon, coupe, front_hatch, random_car
from simlaunch.errors import SimlaunchError, UsageError
from simlaunch.launching.ready import aim
from simlaunch.metrics.ceiling import driven_axles
from simlaunch.metrics.many import ENERGY, GRIP, GROUPS, MARKS, PARTS, Measured, columns, measure_many
from simlaunch.metrics.marks import STANDARD, Kind, Roll, Target
from simlaunch.metrics.parts import Part
from simlaunch.metrics.summary import Measures, measure
from simlaunch.record import CAR, Car, Pedal
from simlaunch.simulation import kernel
from simlaunch.simulation.run import Outcome, launch
from simlaunch.units.spelling import Dimension

EXTRA = (
    Target("80-120 km/h", Kind.SPAN, 80.0 / 3.6, 120.0 / 3.6),
    Target("0-20 km/h", Kind.SPEED, 0.0, 20.0 / 3.6),
    Target("60 ft to 330 ft", Kind.DISTANCE, 18.288, 100.584),
    Target("50 m", Kind.DISTANCE, 0.0, 50.0),
)
TARGETS = (*STANDARD, *EXTRA)
NAMES = tuple(column.name for column in columns(TARGETS))
SEEDS = range(8)


def batch(*cars: Car) -> NDArray[np.void]:
    together = np.zeros(len(cars), CAR)
    for place, car in enumerate(cars):
        together[place] = car
    return together


def every_number(found: Measures) -> dict[str, float]:
    """The measures of one launch under the names that a batch gives them; a part that carries nothing is left out."""
    marks = {
        f"{what} {result.target.label}": value
        for result in found.marks
        for what, value in (
            ("time", result.time),
            ("time after rollout", result.time_after_rollout),
            ("speed", result.speed),
            ("trap speed", result.trap_speed),
        )
    }
    grip, audit = found.grip, found.audit
    return marks | {
        "time at the grip limit": grip.time_at_limit,
        "wheelspin time": grip.wheelspin_time,
        "slip distance": grip.slip_distance,
        "slip distance beyond peak slip": grip.slip_distance_past_peak,
        "slip energy": grip.slip_energy,
        "slip energy beyond peak slip": grip.slip_energy_past_peak,
        "front axle lifted": grip.lift_time,
        "greatest slip": grip.greatest_slip,
        "engine work": audit.engine_work,
        "gain of stored energy": audit.kinetic,
        "work against air drag": audit.drag,
        "work against rolling resistance": audit.rolling,
        "work against the grade": audit.grade,
        "work lost in tyre slip": audit.slip,
        "work lost in clutch or converter": audit.coupling,
        "work lost in gearing": audit.gearing,
        "work lost in twist damping": audit.twist,
        "work lost in the clutch of the second axle": audit.axle_clutch,
        "residual of the energy audit": audit.residual,
        "residual over engine work": audit.residual_share,
        **{f"peak torque {peak.part.value}": peak.torque for peak in found.parts},
        **{f"steady pull {peak.part.value}": peak.steady for peak in found.parts},
    }


def one_by_one(car: Car, tolerance: float | None = None) -> NDArray[np.float64]:
    own = batch(car).view(np.recarray)[0]
    run = launch(own, tolerance=tolerance)
    numbers = every_number(measure(run, own, EXTRA))
    return np.array([numbers.get(name, nan) for name in NAMES])


def bits(numbers: NDArray[np.float64]) -> list[str]:
    """Numbers without any rounding; one spelling for all that are not numbers."""
    return [float(number).hex() for number in numbers]


def launched(*cars: Car, tolerance: float | None = None) -> Measured:
    return measure_many(batch(*cars), TARGETS, tolerance)


@pytest.fixture(scope="module")
def drawn() -> list[Car]:
    return [random_car(np.random.default_rng(seed)) for seed in SEEDS]


@pytest.fixture(scope="module")
def together(drawn: list[Car]) -> Measured:
    return launched(*drawn)


@pytest.mark.parametrize("place", SEEDS)
def test_a_row_is_what_the_launch_gives_by_itself(drawn: list[Car], together: Measured, place: int) -> None:
    assert bits(together.values[place]) == bits(one_by_one(drawn[place]))


@pytest.mark.parametrize("build", [coupe, front_hatch, all_drive_saloon])
@pytest.mark.parametrize("pedal", list(Pedal))
@pytest.mark.parametrize("tolerance", [None, 1e-8])
def test_rows_are_equal_for_every_drive_pedal_and_tolerance(build, pedal: Pedal, tolerance: float | None) -> None:  # type: ignore[no-untyped-def]
    car = build({"pedal.kind": int(pedal)})
    assert bits(launched(car, tolerance=tolerance).values[0]) == bits(one_by_one(car, tolerance))


def test_a_car_held_by_its_brakes_is_timed_from_where_they_let_go() -> None:
    car = coupe({"road.grade_angle": 0.05})
    run = launch(batch(car).view(np.recarray)[0])
    assert run.trace.time[0] < 0.0
    assert bits(launched(car).values[0]) == bits(one_by_one(car))


def test_the_tolerance_matters() -> None:
    coarse, fine = (launched(coupe(), tolerance=tolerance).values[0] for tolerance in (1e-4, 1e-9))
    place = NAMES.index("time 1/4 mile")
    assert coarse[place] != fine[place]
    assert coarse[place] == pytest.approx(fine[place], abs=2e-3)


def test_no_row_depends_on_its_neighbours(drawn: list[Car], together: Measured) -> None:
    backwards = launched(*reversed(drawn))
    assert [bits(row) for row in backwards.values[::-1]] == [bits(row) for row in together.values]
    assert backwards.ending[::-1].tolist() == together.ending.tolist()


def test_threads_give_the_same_rows(drawn: list[Car], together: Measured) -> None:
    cars = batch(*drawn)
    with ThreadPoolExecutor(4) as pool:
        found = list(pool.map(lambda _: measure_many(cars, TARGETS), range(4)))
    for each in found:
        assert [bits(row) for row in each.values] == [bits(row) for row in together.values]


def test_the_cars_are_left_as_they_are(drawn: list[Car]) -> None:
    cars = batch(*drawn)
    before = cars.tobytes()
    measure_many(cars, TARGETS)
    assert cars.tobytes() == before
    cars.flags.writeable = False
    measure_many(cars[:1], TARGETS)


def test_every_way_to_end_is_reported() -> None:
    short = coupe({"run.time_limit": 5.0})
    steep = coupe({"road.grade_angle": 0.4, "road.friction_factor": 2.0, "launch.engine_speed": 1000.0 * RPM})
    found = launched(coupe(), short, steep)
    assert found.ending.tolist() == [kernel.FINISHED, kernel.TIME_LIMIT, kernel.STALLED]
    outcomes = [launch(batch(car).view(np.recarray)[0]).outcome for car in (coupe(), short, steep)]
    assert outcomes == [Outcome.FINISHED, Outcome.TIME_LIMIT, Outcome.STALLED]
    for row, car in zip(found.values, (coupe(), short, steep), strict=True):
        assert bits(row) == bits(one_by_one(car))
    assert np.isfinite(found.values[1, NAMES.index("time 0-20 km/h")])
    assert np.isnan(found.values[1, NAMES.index("time 1/4 mile")])


def test_a_launch_that_cannot_be_followed_has_a_status_and_no_numbers() -> None:
    lost = coupe({"body.mass": nan})
    with pytest.raises(SimlaunchError, match="could not be followed"):
        launch(batch(lost).view(np.recarray)[0])
    found = launched(coupe(), lost, coupe())
    assert found.ending[1] not in (kernel.FINISHED, kernel.TIME_LIMIT, kernel.STALLED)
    assert np.isnan(found.values[1]).all()
    assert bits(found.values[0]) == bits(found.values[2]) == bits(one_by_one(coupe()))


def test_a_launch_too_long_for_the_first_buffers_is_measured_all_the_same() -> None:
    long = coupe({"run.stop_distance": 1e6, "run.time_limit": 130.0})
    assert launch(batch(long).view(np.recarray)[0]).trace.time.size > 20_000
    found = launched(front_hatch(), long, coupe())
    assert found.ending.tolist() == [kernel.FINISHED, kernel.TIME_LIMIT, kernel.FINISHED]
    for row, car in zip(found.values, (front_hatch(), long, coupe()), strict=True):
        assert bits(row) == bits(one_by_one(car))


def test_no_cars_give_no_rows() -> None:
    found = measure_many(np.zeros(0, CAR), STANDARD)
    assert found.values.shape == (0, len(columns(STANDARD)))
    assert found.ending.shape == (0,)


@pytest.mark.parametrize("tolerance", [0.0, 1e-14, 0.1, nan])
def test_a_tolerance_out_of_range_is_refused(tolerance: float) -> None:
    with pytest.raises(UsageError, match="out of range"):
        measure_many(batch(coupe()), STANDARD, tolerance)


def test_every_column_has_a_name_of_its_own_and_a_kind_of_quantity() -> None:
    found = columns(TARGETS)
    assert (
        len({column.name for column in found}) == len(found) == measure_many(np.zeros(0, CAR), TARGETS).values.shape[1]
    )
    kinds = {column.name: column.dimension for column in found}
    assert kinds["time 1/4 mile"] is kinds["time after rollout 1/4 mile"] is Dimension.TIME
    assert kinds["speed 1/4 mile"] is kinds["trap speed 1/4 mile"] is Dimension.SPEED
    assert kinds["steady pull gearbox input"] is Dimension.TORQUE
    assert kinds["slip energy"] is kinds["residual of the energy audit"] is Dimension.ENERGY
    assert all(column.label for column in found)


def test_only_what_is_defined_has_a_column() -> None:
    missing = {
        "trap speed 60 ft",
        "trap speed 50 m",
        "speed 0-60 mph",
        "trap speed 0-60 mph",
        "time after rollout 100-200 km/h",
        "time after rollout 60 ft to 330 ft",
    }
    assert missing.isdisjoint(NAMES)
    car = coupe()
    assert set(NAMES) <= set(every_number(measure(launch(car), car, EXTRA))) | {
        f"{what} {part.value}" for what in ("peak torque", "steady pull") for part in Part
    }


def test_a_part_that_carries_nothing_has_no_torque() -> None:
    row = dict(zip(NAMES, launched(coupe()).values[0], strict=True))
    assert driven_axles(coupe()) == (False, True)
    assert np.isnan([row["peak torque front axle shafts"], row["steady pull front axle shafts"]]).all()
    assert row["peak torque rear axle shafts"] > 1000.0


@pytest.mark.parametrize("targets", [TARGETS, (STANDARD[-1],), (EXTRA[3], EXTRA[2])])
def test_times_alone_are_the_same_to_the_last_bit(targets: tuple[Target, ...]) -> None:
    cars = batch(coupe(), front_hatch(), all_drive_saloon(), random_car(np.random.default_rng(3)))
    whole, times = measure_many(cars, targets), measure_many(cars, targets, times_only=True)
    names = [column.name for column in columns(targets)]
    kept = [names.index(column.name) for column in columns(targets, times_only=True)]
    assert len(kept) == len(targets)
    assert whole.values[:, kept].tobytes() == times.values.tobytes()
    assert (whole.ending == times.ending).all()


def test_what_is_left_out_changes_no_bit_of_the_rest() -> None:
    cars = batch(coupe(), front_hatch(), all_drive_saloon(), *(random_car(np.random.default_rng(k)) for k in range(4)))
    whole, named = measure_many(cars, TARGETS), columns(TARGETS)
    beside = [group for group in GROUPS if group != MARKS]
    for asked in ((), *((group,) for group in beside), (GRIP, PARTS), (ENERGY, PARTS), (GRIP, ENERGY)):
        found = measure_many(cars, TARGETS, groups=asked)
        assert (found.ending == whole.ending).all()
        for k, column in enumerate(named):
            wanted = whole.values[:, k] if column.group in (MARKS, *asked) else np.full(len(cars), np.nan)
            assert found.values[:, k].tobytes() == wanted.tobytes(), (asked, column.name)


def test_every_group_has_columns() -> None:
    assert {column.group for column in columns(TARGETS)} == set(GROUPS)


def test_marks_alone_are_the_same_at_a_jump_and_from_a_roll() -> None:
    """Rolls begin between speeds, and a coarse tolerance leaves few samples about each mark."""
    roll = Target("roll 60 km/h to 140 km/h", Kind.ROLL, 0.0, 140.0 / 3.6, Roll(60.0 / 3.6))
    over = Target("roll 60 km/h over 200 m", Kind.ROLL_DISTANCE, 0.0, 200.0, Roll(60.0 / 3.6))
    cars = batch(coupe(), front_hatch(), all_drive_saloon())
    for car in cars.view(np.recarray):
        aim(car, (roll, over))
    for tolerance in (1e-2, 1e-3, 1e-6):
        whole, few = (measure_many(cars, (roll, over), tolerance, groups=each) for each in (GROUPS, ()))
        marks = [k for k, column in enumerate(columns((roll, over))) if column.group == MARKS]
        assert np.isfinite(whole.values[:, marks]).any(axis=1).all()
        assert whole.values[:, marks].tobytes() == few.values[:, marks].tobytes()
