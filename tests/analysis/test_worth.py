"""What torque is worth, against problems solved by hand and against the whole of which it is a part."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from cars import POINT_MASS, RPM, coupe, point_mass
from simlaunch.analysis.simulate import simulate
from simlaunch.analysis.worth import STEP, GearSetWorth, _span, best_span, beyond, costly_span, pedal_worth, worth
from simlaunch.curves.bump import band_middles, raise_curve
from simlaunch.curves.gear_worth import follow
from simlaunch.errors import TargetNotReached, UsageError
from simlaunch.launching.launches import as_many, column, make_ready, measure_all
from simlaunch.launching.targets import target_named
from simlaunch.metrics.marks import Kind, Target
from simlaunch.parameters.fill import fill_table, lower
from simlaunch.physics.table import values_at
from simlaunch.record import MAX_CURVE_POINTS, Pedal
from simlaunch.scenario.model import Scenario
from simlaunch.scenario.reading import load

COUPE = Path(__file__).parents[2] / "scenarios" / "road-coupe.toml"
SPRINT = Target("0-100 km/h", Kind.SPEED, 0.0, 100.0 / 3.6)


@cache
def scenario() -> Scenario:
    return load(COUPE)


@cache
def sprint() -> GearSetWorth:
    return worth(scenario(), target="0-100 km/h", each_gear=True).first


# --- the bands ---


def test_bands_add_up_to_the_whole_curve() -> None:
    """A partition of unity: raised by 1 N m in every band, the curve is raised by 1 N m everywhere, kinks nowhere."""
    car = coupe()
    middles, speeds = band_middles(car), np.linspace(800.0, 7200.0, 997) * RPM
    parts = np.zeros(speeds.size)
    for share in np.eye(middles.size):
        raised = as_many([car]).view(np.recarray)[0]
        raise_curve(raised.engine.torque, middles, share, 1.0)
        part = values_at(raised.engine.torque, speeds) - values_at(car.engine.torque, speeds)
        assert part.min() > -1e-9
        parts += part
    np.testing.assert_allclose(parts, 1.0, atol=1e-9)  # rounding of 500 N m, 25 times


def test_a_full_table_has_no_room_for_bands() -> None:
    car = coupe({"engine.torque": (np.linspace(100.0, 730.0, MAX_CURVE_POINTS), np.full(MAX_CURVE_POINTS, 400.0))})
    middles = band_middles(car)
    with pytest.raises(UsageError, match="thin it out to 240 or fewer"):
        raise_curve(car.engine.torque, middles, np.eye(middles.size)[5], 1.0)


def test_number_of_bands() -> None:
    assert band_middles(coupe(), 30).size == 30
    with pytest.raises(UsageError, match="write a number from 2 to 200"):
        band_middles(coupe(), 1)


# --- closed forms ---


def test_flat_torque_in_a_single_gear() -> None:
    """Gain of a band = m b (r / i)^2 / T^2, b its width in engine speed.

    t = integral of m dv / F with F = T i / r and v = w r / i, so dt = -m (r / i)^2 dw / T^2 for each N m. Source:
    Newton's second law.
    """
    torque, radius_by_ratio = 225.0, 0.03
    car = point_mass({"engine.torque": ((10.0, 2000.0), (torque, torque)), "engine.rev_limit": 2000.0,
                      "engine.limiter_band": 10.0, "launch.engine_speed": 100.0})  # fmt: skip
    span = Target("span", Kind.SPAN, 10.0, 50.0)
    middles, found = pedal_worth(car, span, bands=41, tolerance=1e-8)
    width = middles[1] - middles[0]
    inside = (middles - width > 10.0 / radius_by_ratio) & (middles + width < 50.0 / radius_by_ratio)
    assert inside.sum() > 20
    expected = POINT_MASS * width * radius_by_ratio**2 / torque**2
    # second order of the step: (2 N m / 225 N m)^2 = 8e-5, and 2e-5 of slip
    np.testing.assert_allclose(found.gain[inside], expected, rtol=2e-4)
    assert found.time == pytest.approx(POINT_MASS * 40.0 * radius_by_ratio / torque, rel=5e-5)
    assert found.gain[middles - width > 1.01 * 50.0 / radius_by_ratio] == pytest.approx(0.0, abs=1e-9)


def test_noise_of_the_closed_form_is_the_second_order_of_the_step() -> None:
    """1 / (1 - (d/T)^2) is the factor by which a paired difference of 1 / T is too large. Source: Taylor's theorem."""
    torque = 60.0
    car = point_mass({"engine.torque": ((10.0, 2000.0), (torque, torque)), "engine.rev_limit": 2000.0,
                      "engine.limiter_band": 10.0, "launch.engine_speed": 100.0})  # fmt: skip
    _, found = pedal_worth(car, Target("span", Kind.SPAN, 10.0, 50.0), bands=5, tolerance=1e-8)
    near, far = 1.0 / (1.0 - (STEP / torque) ** 2), 1.0 / (1.0 - (2.0 * STEP / torque) ** 2)
    assert found.whole_noise / found.whole == pytest.approx((far - near) / near, rel=0.01)


# --- sums ---


@pytest.mark.parametrize("pedal", Pedal)
def test_all_bands_together_are_the_whole_curve(pedal: Pedal) -> None:
    """To second order of the step, a whole is the sum of its parts: the rest is far below the times themselves."""
    each = sprint().of(pedal)
    assert each.gain.sum() == pytest.approx(each.whole, rel=3e-4)


@pytest.mark.parametrize("pedal", Pedal)
def test_all_gears_together_are_the_band(pedal: Pedal) -> None:
    """Torque in every gear, one gear at a time, does what torque in all gears at once does."""
    each = sprint().of(pedal)
    doubt = 5.0 * each.noise + 2e-7  # the gears' own second order; 2e-7 s is 0.002 ms for 10 N m
    assert (np.abs(np.nansum(each.gears, axis=0) - each.gain) < doubt).all()


def test_a_launch_that_is_taken_up_again_ends_at_the_same_time() -> None:
    car = coupe()
    make_ready(car, (SPRINT,))
    copies = as_many([car, car]).view(np.recarray)
    whole = follow(copies[0], None, 1e-8)
    for gear in range(2):
        start = whole.first_after(gear)
        assert start is not None
        rest = follow(copies[1], start, 1e-8)
        assert rest.time[-1] == pytest.approx(whole.time[-1], abs=1e-6)  # tolerance, over a run of seconds
        again = rest.first_after(gear + 1)  # the clocks of a phase start anew with every stretch
        if again is not None:
            assert follow(copies[0], again, 1e-8).time[-1] == pytest.approx(whole.time[-1], abs=1e-6)


def test_noise_is_small() -> None:
    """With 10 N m, hundredths of a millisecond, where the best bands are worth some milliseconds."""
    for each in sprint().pedals:
        assert each.noise.max() < 5e-6
        assert each.gain.max() > 4e-4


def test_the_stated_noise_covers_what_the_integrator_adds() -> None:
    """Against launches with a tolerance ten thousand times as tight."""
    loose, tight = (worth(scenario(), target="60 ft", bands=8, tolerance=tolerance).first for tolerance in (1e-5, 1e-9))
    for one, other in zip(loose.pedals, tight.pedals, strict=True):
        doubt = np.max([*one.noise, one.whole_noise])
        assert np.abs(one.gain - other.gain).max() < max(doubt, 1e-6)  # 0.01 ms for 10 N m
        assert abs(one.whole - other.whole) < max(one.whole_noise, 1e-6)


# --- grip ---


def test_torque_above_grip_is_worth_nothing_under_held_slip() -> None:
    """Slip control takes back in first gear whatever is added above grip. Source: definition of held slip."""
    found = worth(scenario().replace({"coupling.capacity": "1500 N m"}), target="50 km/h").first
    held = found.of(Pedal.HELD_SLIP)
    assert np.abs(held.gain).max() < 1e-7  # 0.001 ms for 10 N m


def test_torque_costs_time_where_it_spins_the_tyres() -> None:
    """Past peak slip a tyre pushes the less the more it slips. Source: shape of the Magic Formula."""
    found = worth(scenario(), target="50 km/h").first
    full, cost = found.of(Pedal.FULL), costly_span(found)
    assert full.whole < -10.0 * full.whole_noise
    assert cost is not None
    assert cost.spins
    assert cost.gains[0] < 0.0
    assert abs(cost.gains[1]) < abs(cost.gains[0])


def test_the_best_span_pays_what_a_real_change_of_the_curve_gains() -> None:
    """The curve with 5 N m more and 5 N m less in the best bands, launched: single bands foretell the difference."""
    found = sprint()
    best = best_span(found)
    assert best is not None
    car = lower(scenario(), "peak", Pedal.FULL)
    make_ready(car, (SPRINT,))
    share = ((found.middles > best.first) & (found.middles < best.last)).astype(float)
    copies = as_many([car, car]).view(np.recarray)
    raise_curve(copies[0].engine.torque, found.middles, share, -5.0)
    raise_curve(copies[1].engine.torque, found.middles, share, 5.0)
    measured = measure_all(copies, (SPRINT,), 1e-7)
    lowered, raised = column(measured, (SPRINT,), "time 0-100 km/h")
    assert lowered - raised == pytest.approx(10.0 * best.gains[0], rel=0.01)  # third order of 5 N m


def test_a_span_ends_where_the_curve_does() -> None:
    found = sprint()
    every = _span(found, 0, found.middles.size - 1)
    assert (every.first, every.last) == (found.middles[0], found.middles[-1])
    inner = _span(found, 1, 2)
    assert (inner.first, inner.last) == pytest.approx(
        (0.5 * (found.middles[0] + found.middles[1]), 0.5 * (found.middles[2] + found.middles[3]))
    )


# --- whatever is asked ---


def test_results_do_not_depend_on_threads() -> None:
    one, three = (worth(scenario(), target="60 ft", bands=6, workers=workers).first for workers in (1, 3))
    for a, b in zip(one.pedals, three.pedals, strict=True):
        assert np.array_equal(a.gain, b.gain)
        assert a.whole == b.whole


def test_targets_by_name() -> None:
    assert target_named(scenario(), None).kind is Kind.DISTANCE
    assert target_named(scenario(), "0-100 km/h").end == pytest.approx(100.0 / 3.6)
    made = target_named(scenario(), "70 km/h to 110 km/h")
    assert made.kind is Kind.SPAN
    assert (made.start, made.end) == pytest.approx((70.0 / 3.6, 110.0 / 3.6))
    with pytest.raises(UsageError, match="no target is named"):
        target_named(scenario(), "to the shops")


def test_a_target_out_of_reach() -> None:
    brief = scenario().replace({"run.time_limit": "2 s"})
    with pytest.raises(TargetNotReached, match="is not reached"):
        worth(brief, target="0-100 km/h", bands=2)


def test_a_launch_that_stalls_is_not_laid_to_the_time_limit() -> None:
    """From 1000 rpm within a tenth of a second the engine stalls; with the usual launch it does not."""
    stalls = scenario().replace({"launch.engine_speed": "1000 rpm", "coupling.engagement_time": "0.1 s"})
    with pytest.raises(TargetNotReached, match=r"stalled: raise launch\.engine_speed") as caught:
        worth(stalls, bands=2)
    assert "time_limit" not in str(caught.value)


def test_more_time_is_asked_for_only_where_it_helps_and_as_much_as_it_takes() -> None:
    """With the time that the message names the target is reached; a launch that held slip stops is named so."""
    brief = scenario().replace({"run.time_limit": "5 s"})
    with pytest.raises(TargetNotReached, match=r"with more time: raise run\.time_limit") as caught:
        worth(brief, target="0-100 km/h", bands=2)
    takes = float(str(caught.value).split("it takes ")[1].split()[0])
    assert takes == pytest.approx(simulate(scenario(), "peak", target="0-100 km/h").time, abs=0.06)
    times = [simulate(scenario(), "peak", pedal, "0-100 km/h").time for pedal in Pedal]
    assert times[1] < times[0]
    slow = scenario().replace({"run.time_limit": f"{0.5 * sum(times):.4f} s"})
    with pytest.raises(TargetNotReached, match='with curve "peak" within'):
        worth(slow, target="0-100 km/h", bands=2)


# --- what is timed ---


def test_bands_are_those_of_what_is_timed() -> None:
    """From 100 to 200 km/h the engine runs in no band of the start, and no tyre of this car is past its peak there."""
    found = worth(scenario(), target="100-200 km/h").first
    whole = worth(scenario(), target="1/4 mile").first
    for rolling, standing in zip(found.pedals, whole.pedals, strict=True):
        assert rolling.use.low > standing.use.low + 500.0 * RPM
        assert not (rolling.use.past_peak > 0.0).any()
    assert np.nanmax(whole.of(Pedal.FULL).use.past_peak) > 0.99
    cost = costly_span(found)
    assert cost is None or not cost.spins


def test_a_sheet_that_starts_late_is_held_and_its_first_band_is_none() -> None:
    """The curve cut off below 4,000 rpm: the clutch comes in below that, on torque that nobody gave."""
    points = [point for point in scenario().curve("peak").points if point[0].si >= 4000.0 * RPM]
    car = lower(scenario(), "peak", Pedal.FULL)
    fill_table(car.engine.torque, np.array([x.si for x, _ in points]), np.array([y.si for _, y in points]))
    middles, each = pedal_worth(car, SPRINT)
    knots = car.engine.torque.knot[[0, car.engine.torque.count - 1]]
    given = (float(knots[0]), float(knots[1]))
    found = GearSetWorth(
        "",
        "",
        SPRINT,
        middles,
        np.zeros(middles.size),
        given,
        (0.0, 0.0),
        (each, replace(each, pedal=Pedal.HELD_SLIP)),
    )
    assert found.open_ends == (True, False)
    below, _ = beyond(found)
    assert below is not None
    assert (below.end, below.reached) == (given[0], each.use.low)
    best = best_span(found)
    assert best is not None
    assert best.first > middles[0]


# --- torque limits by gear ---


def test_torque_in_a_limited_gear_is_weighed_with_its_limit_raised() -> None:
    """Gain of a band in that gear alone = m b (r / i)^2 / T^2 with the limit for T; none where only the curve rises.

    Source: Newton's second law, as for flat torque in a single gear.
    """
    limit, torque, radius_by_ratio = 180.0, 225.0, 0.03
    car = point_mass({"engine.torque": ((10.0, 2000.0), (torque, torque)), "engine.rev_limit": 2000.0,
                      "engine.limiter_band": 10.0, "launch.engine_speed": 100.0,
                      "engine.gear_limit": (limit,)})  # fmt: skip
    middles, found = pedal_worth(car, Target("span", Kind.SPAN, 10.0, 50.0), bands=11, by_gear=True, tolerance=1e-8)
    width = middles[1] - middles[0]
    inside = (middles - width > 10.0 / radius_by_ratio) & (middles + width < 50.0 / radius_by_ratio)
    assert inside.sum() > 3
    expected = POINT_MASS * width * radius_by_ratio**2 / limit**2
    np.testing.assert_allclose(found.gears[0, inside], expected, rtol=3e-4)  # (2 / 180)^2 = 1.2e-4, and slip
    assert found.gain == pytest.approx(0.0, abs=1e-9)


def test_a_curve_of_a_gear_is_raised_like_a_level_limit() -> None:
    """The same limit as one torque and as a curve that ends within the engine speeds, held beyond its ends."""
    gains = []
    for curved in (False, True):
        car = coupe({"engine.gear_limit": (np.inf if curved else 300.0,)})
        if curved:
            fill_table(car.engine.gear_curve[0], np.array([2000.0, 5000.0]) * RPM, np.array([300.0, 300.0]))
        gains.append(pedal_worth(car, SPRINT, bands=6, by_gear=True)[1].gears[0])
    np.testing.assert_allclose(gains[1], gains[0], atol=1e-9)
    assert np.count_nonzero(gains[0]) > 3  # the limit binds: with the curve alone raised there is nothing


def test_worth_says_what_becomes_of_limits() -> None:
    limited = [{"gear": "1", "torque": "300 N m"}]
    own = scenario().curve("plateau").model_dump(exclude_unset=True)
    car = scenario().replace({"curves": [own | {"gear_limits": limited}]})
    plain, by_gear = (worth(car, target="60 ft", bands=4, each_gear=each) for each in (False, True))
    assert plain.first.limited_gears == (1,)
    assert "Torque limits stay as they are in gear 1" in " ".join(plain.to_text().split())
    assert "in gear 1 alone" not in plain.summary()
    assert "in gear 1 alone, its torque limit raised with the curve, 10 N m more" in by_gear.summary()
    assert by_gear.to_dict()["gear_sets"][0]["limited_gears"] == [1]
