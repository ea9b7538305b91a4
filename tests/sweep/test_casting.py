"""Cars made many at a time are those made one at a time, bit for bit, and they are made quickly."""

from __future__ import annotations

import numpy as np
import pytest

from simlaunch.analysis.simulate import simulate
from simlaunch.errors import InputError, UsageError
from simlaunch.launching.goals import extra_targets
from simlaunch.metrics.marks import marks
from simlaunch.parameters.fill import lower
from simlaunch.record import Car, Pedal
from simlaunch.scenario.model import Scenario
from simlaunch.simulation.run import Outcome
from simlaunch.sweeping import casting
from simlaunch.sweeping.axes import axes
from simlaunch.sweeping.casting import BETWEEN_FAULTS, Caster, reason
from simlaunch.sweeping.chunk import calculate, prepared
from simlaunch.sweeping.plan import Draw, Plan, Sample
from sweep.conftest import planned

PLAIN = (
    "curve", "gear set", "tyre", "surface", "pedal",
    "body.mass: 1400 kg to 1700 kg in 7", "final drive: 3 to 4 in 11",
    "launch.engine_speed: 2500 rpm to 4500 rpm in 10", "coupling.engagement_time: 0.4 s, 0.7 s",
)  # fmt: skip
AWKWARD = (
    "gear set", "road.grade: -5 % to 5 % in 3", "air.altitude: 0 m, 1000 m",
    "body.pitch_frequency: 1.1 Hz to 2.3 Hz in 4",
    "tyres.rear.wheel_inertia: 0.9 kg m^2, 1.7 kg m^2", "tyres.rear.rolling_factor_of_radius: 0.96 to 0.98 in 3",
    "pedal.target_slip: 5 % to 15 % in 3", "air.density: 1.1 kg/m^3 to 1.25 kg/m^3 in 3",
    "engine.rev_limit: 6000 rpm, 6900 rpm, 8000 rpm", "engine.idle: 800 rpm, 3500 rpm",
    "launch.engine_speed: 2000 rpm to 7000 rpm in 6", "body.cg_height: 0.4 m, 0.5 m, 2 m", "run.time_limit: 10 s, 60 s",
)  # fmt: skip


def _expected(caster: Caster, texts: dict[str, str]) -> bytes | str:
    """Car of a single run, or why there is none."""
    try:
        scenario, curve, pedal = caster.scenario_of(texts)
    except InputError as error:
        return reason(error)
    return bytes(lower(scenario, curve, pedal).tobytes())


@pytest.mark.parametrize("vary", [PLAIN, AWKWARD], ids=["plain", "awkward"])
@pytest.mark.parametrize("sampled", [False, True], ids=["grid", "sample"])
def test_cars_equal_those_of_single_runs_bit_for_bit(coupe: Scenario, vary: tuple[str, ...], sampled: bool) -> None:
    plan = Plan(axes(vary, coupe), Sample(Draw.SOBOL, 5000, 2) if sampled else None)
    caster = Caster(coupe, plan)
    refused = 0
    for first in np.random.default_rng(7).integers(0, plan.size - 8, 12).tolist():
        cases = plan.cases(first, first + 8)
        cast = caster.cast(cases)
        for row in range(8):
            expected = _expected(caster, plan.texts(cases, row))
            assert (cast.refused[row] if row in cast.refused else cast.cars[row].tobytes()) == expected
        refused += len(cast.refused)
    assert (refused > 0) == (vary is AWKWARD)


@pytest.mark.parametrize("sampled", [False, True], ids=["grid", "sample"])
def test_eight_thousand_cars_take_few_readings(coupe: Scenario, sampled: bool, monkeypatch: pytest.MonkeyPatch) -> None:
    """Reading a scenario takes a millisecond: what is fast about casting is that it seldom happens."""
    read: list[str] = []

    def counted(scenario: Scenario, curve: str, pedal: Pedal) -> Car:
        read.append(curve)
        return lower(scenario, curve, pedal)

    monkeypatch.setattr(casting, "lower", counted)
    plan = Plan(axes(PLAIN, coupe), Sample(Draw.SOBOL, 60_000, 2) if sampled else None)
    caster = Caster(coupe, plan)
    for first in range(0, 16 * 512, 512):
        caster.cast(plan.cases(first, first + 512))
    assert 0 < len(read) < 16 * 512 // 8


def test_doubt_spares_no_car_that_breaks_a_rule(coupe: Scenario) -> None:
    plan = Plan(axes(AWKWARD[-5:-1], coupe), Sample(Draw.SOBOL, 200, 9))
    caster = Caster(coupe, plan)
    cases = plan.cases(0, 200)
    cast = caster.cast(cases)
    sound = [row for row in range(200) if not isinstance(_expected(caster, plan.texts(cases, row)), str)]
    assert 20 < len(sound) < 180
    assert sorted(cast.refused) == sorted(set(range(200)) - set(sound))


def test_a_name_that_the_car_cannot_take_is_found_before_anything_runs(coupe: Scenario) -> None:
    with pytest.raises(InputError, match="is given together with pressure"):
        Caster(coupe, Plan(axes(["air.pressure: 90 kPa, 100 kPa"], coupe))).check()
    with pytest.raises(InputError, match="needs all-wheel drive"):
        Caster(coupe, Plan(axes(["drive.front_share: 10 % to 50 % in 3"], coupe))).check()
    Caster(coupe, Plan(axes(["launch.engine_speed: 3000 rpm, 8000 rpm"], coupe))).check()


def test_measures_of_a_case_are_those_of_a_single_run(brief: Scenario) -> None:
    spec = planned(brief, "curve", "gear set", "tyre", "pedal", "body.mass: 1500 kg to 1700 kg in 3")
    ready = prepared(spec)
    for number in (0, 17, 40, 71):
        found = calculate(spec, number, number + 1)
        assert found is not None
        row = dict(zip((column.name for column in ready.columns), found.values[0].tolist(), strict=True))
        texts = spec.plan.texts(spec.plan.cases(number, number + 1), 0)
        scenario, curve, pedal = ready.caster.scenario_of(texts)
        single = simulate(scenario, curve, pedal)
        assert single.run.outcome is Outcome.FINISHED
        passed = marks(single.run.trace, extra_targets(scenario))  # what the run to the goal passes
        times = {f"time {mark.target.label}": mark.time for mark in passed}
        assert all(row[name] == times[name] or (np.isnan(row[name]) and np.isnan(times[name])) for name in times)
        assert row["wheelspin time"] == single.measures.grip.wheelspin_time
        assert row["engine work"] == single.measures.audit.engine_work
        peaks = {f"peak torque {peak.part.value}": peak.torque for peak in single.measures.parts}
        assert all(row[name] == peaks[name] for name in peaks)


def test_a_case_that_fails_says_why(brief: Scenario) -> None:
    spec = planned(brief, "launch.engine_speed: 3000 rpm, 8000 rpm", "run.time_limit: 0.5 s, 20 s")
    result = calculate(spec, 0, 4)
    assert result is not None
    assert result.ending.tolist() == [1, 0, -1, -1]
    assert result.reasons[0] == "the time limit came before all targets"
    assert "launch.engine_speed" in result.reasons[2]
    assert np.isnan(result.values[2:]).all()


def test_every_fault_of_a_case_stands_by_itself(brief: Scenario) -> None:
    """An idle above the rev limit, and a launch above it: two faults, each with its remedy."""
    vary = ("engine.idle: 3500 rpm, 3600 rpm", "launch.engine_speed: 3000 rpm, 9000 rpm")
    spec = planned(brief, *vary, "gearbox.final_drive: 3.46", "engine.limiter_band: 900 rpm")
    result = calculate(spec, 0, 1)
    assert result is not None
    both = planned(brief.replace({"engine.rev_limit": "4000 rpm"}), *vary, "engine.limiter_band: 900 rpm")
    found = calculate(both, 1, 2)
    assert found is not None
    faults = found.reasons[0].split(BETWEEN_FAULTS)
    assert len(faults) >= 2
    assert all("; " in fault and "\n" not in fault for fault in faults)
    assert "faults" not in found.reasons[0]


def test_what_no_launch_depends_on_changes_no_sweep(brief: Scenario) -> None:
    """Ratings, uncertainty and limits serve a decision; the same cases with them are the same sweep."""
    rated = {"name": "gearbox", "place": "gearbox input", "rating": "600 N m", "origin": "Invented."}
    unsure = {"key": "body.mass", "kind": "normal", "deviation": "20 kg", "origin": "Invented."}
    other = brief.replace({"parts": [rated], "uncertain": [unsure], "limits": {"torque": "700 N m"}})
    assert None not in (other.parts, other.uncertain, other.limits)
    assert planned(other, "curve", "tyre") == planned(brief, "curve", "tyre")
    for key in ("limits.torque", "parts.rating", "uncertain.deviation", "sweep.vary"):
        with pytest.raises(UsageError, match="no launch depends on"):
            axes([f"{key}: 600 N m, 700 N m"], brief)


def test_results_do_not_depend_on_the_company_they_are_calculated_in(small_spec_results: tuple[bytes, bytes]) -> None:
    together, apart = small_spec_results
    assert together == apart


@pytest.fixture
def small_spec_results(brief: Scenario) -> tuple[bytes, bytes]:
    spec = planned(brief, "curve", "tyre", "pedal")
    together = calculate(spec, 0, 8)
    apart = [calculate(spec, n, n + 1) for n in range(8)]
    assert together is not None
    return together.values.tobytes(), b"".join(each.values.tobytes() for each in apart if each is not None)
