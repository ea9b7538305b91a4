"""Shares of a gap by span of engine speed: sums, signs, a closed form, and golden cases of which the cause is known."""

from __future__ import annotations

from dataclasses import replace
from itertools import permutations
from math import log, pi
from pathlib import Path

import numpy as np
import pytest

from simlaunch.analysis.simulate import simulate
from simlaunch.comparing.attribution import SpanName, attribute
from simlaunch.comparing.compare import compare
from simlaunch.comparing.shapley import Share, shapley
from simlaunch.comparing.verdict import Finding, PeakEffect
from simlaunch.launching.goals import WORTH_NAMING, goal
from simlaunch.metrics.marks import Kind, Target, mark
from simlaunch.output.words import sentences
from simlaunch.record import Pedal
from simlaunch.scenario.model import Scenario
from simlaunch.scenario.reading import load

SCENARIOS = Path(__file__).parents[2] / "scenarios"
COUPE, GRIP, TRACK = (load(SCENARIOS / f"{name}.toml") for name in ("road-coupe", "all-drive-grip", "track-car"))
RPM = pi / 30.0
QUARTER = Target("1/4 mile", Kind.DISTANCE, 0.0, 402.336)


def _curve(name: str, points: dict[int, float]) -> dict[str, object]:
    return {"name": name, "points": [[f"{speed} rpm", f"{torque:.10g} N m"] for speed, torque in points.items()]}


def _with_curves(scenario: Scenario, *curves: dict[str, object]) -> Scenario:
    return scenario.replace({"curves": list(curves), "uncertain": [], "parts": []})


# --- Shapley values ---


def test_a_worked_example_of_shapley_values() -> None:
    """The glove game: one player has a left glove, two have a right one; a pair is worth 1. Shares 2/3, 1/6, 1/6.

    Source: a textbook example of the theory of cooperative games, from memory; it follows from counting the six orders.
    """
    worth = np.array([1.0 if index & 1 and index & 6 else 0.0 for index in range(8)])
    assert [each.share for each in shapley(worth)] == pytest.approx([2 / 3, 1 / 6, 1 / 6])
    assert [(each.least, each.most) for each in shapley(worth)] == [(0.0, 1.0)] * 3


@pytest.mark.parametrize("seed", range(5))
def test_shapley_values_are_the_mean_over_all_orders(seed: int) -> None:
    """Definition by orders of joining: Shapley (1953)."""
    players = 4
    values = np.random.default_rng(seed).normal(size=1 << players)
    by_order = np.zeros(players)
    orders = list(permutations(range(players)))
    for order in orders:
        joined = 0
        for player in order:
            by_order[player] += values[joined | 1 << player] - values[joined]
            joined |= 1 << player
    found = [each.share for each in shapley(values)]
    assert found == pytest.approx(by_order / len(orders))
    assert sum(found) == pytest.approx(values[-1] - values[0])


# --- what shares have to do ---


@pytest.mark.parametrize("scenario", [COUPE, GRIP, TRACK], ids=["coupe", "grip", "track"])
@pytest.mark.parametrize("pedal", list(Pedal))
def test_shares_add_up_to_the_gap(scenario: Scenario, pedal: Pedal) -> None:
    first, second = scenario.curve_names[:2]
    target = goal(scenario)
    found = attribute(scenario, first, second, target)
    assert found is not None
    one, other = (mark(simulate(scenario, name, pedal).run.trace, target).time for name in (first, second))
    assert len(found.spans) > 1
    assert sum(span.of(pedal).share for span in found.spans) == pytest.approx(
        other - one, abs=1e-7
    )  # the run ends elsewhere
    for span in found.spans:
        assert span.of(pedal).least <= span.of(pedal).share <= span.of(pedal).most


def test_any_target_can_be_explained() -> None:
    target = Target("100-200 km/h", Kind.SPAN, 100.0 / 3.6, 200.0 / 3.6)
    found = attribute(COUPE, "peak", "plateau", target)
    assert found is not None
    one, other = (
        next(each for each in simulate(COUPE, name).measures.marks if each.target.label == target.label).time
        for name in ("peak", "plateau")
    )
    assert sum(span.full.share for span in found.spans) == pytest.approx(other - one, abs=1e-3)


def test_the_spans_cover_the_range_without_a_hole() -> None:
    found = attribute(COUPE, "peak", "plateau", QUARTER)
    assert found is not None
    assert found.spans[-1].end == pytest.approx(6900.0 * RPM)
    for one, other in zip(found.spans[:-1], found.spans[1:], strict=True):
        assert one.end == other.start
        assert one.start < one.end


def test_exchanging_the_curves_turns_every_sign() -> None:
    there, back = attribute(COUPE, "peak", "plateau", QUARTER), attribute(COUPE, "plateau", "peak", QUARTER)
    assert there is not None
    assert back is not None
    for one, other in zip(there.spans, back.turned().spans, strict=True):
        assert (one.name, one.second_above) == (other.name, other.second_above)
        assert (one.start, one.end) == pytest.approx((other.start, other.end))
        for pedal in Pedal:
            shares = (one.of(pedal), other.of(pedal))
            assert shares[0].share == pytest.approx(shares[1].share, abs=1e-9)
            assert (shares[0].least, shares[0].most) == pytest.approx((shares[1].least, shares[1].most), abs=1e-9)


def test_equal_curves_share_nothing() -> None:
    points = {1000: 180.0, 3000: 400.0, 6000: 380.0, 7000: 300.0}
    twins = _with_curves(COUPE, _curve("one", points), _curve("other", points))
    found = attribute(twins, "one", "other", QUARTER)
    assert found is not None
    assert (found.spans, found.best) == ((), None)
    verdict = compare(twins).pairs[0].verdict
    assert verdict.finding is Finding.NO_DIFFERENCE
    assert verdict.case.peak_effect is PeakEffect.UNKNOWN


def test_a_pair_that_differs_in_one_span_has_all_of_the_gap_there() -> None:
    base = dict.fromkeys(range(1000, 7001, 250), 350.0)
    bump = base | {3500: 375.0, 3750: 400.0, 4000: 420.0, 4250: 400.0, 4500: 375.0}
    pair = _with_curves(COUPE, _curve("base", base), _curve("bump", bump))
    found = attribute(pair, "base", "bump", QUARTER)
    assert found is not None
    peak = found.peak
    assert peak is not None
    assert peak.start <= 3500 * RPM
    assert peak.end >= 4500 * RPM
    gap = sum(span.full.share for span in found.spans)
    assert peak.full.share == pytest.approx(gap, abs=1e-3)
    assert gap < -WORTH_NAMING


def test_a_goal_out_of_reach_of_some_mixture_leaves_nothing_to_share() -> None:
    short = COUPE.replace({"run.time_limit": "5 s"})
    assert attribute(short, "peak", "plateau", QUARTER) is None
    assert compare(short, cases=0).pairs[0].why is None


# --- a closed form ---


def test_shares_of_constant_power_in_one_gear() -> None:
    """One gear, no drag: the time in each span of speed is m (v2^2 - v1^2) / (2 P), so each share is known.

    Two curves of constant power each below and above 4000 rpm. What is shared is the time between two speeds in the
    gear; with no gear change the spans do not interact, so least and most are the share.

    Source: m v dv/dt = P, integrated; any textbook of mechanics.
    """
    power = {"first": (150e3, 180e3), "second": (180e3, 150e3)}  # below, above [W]

    def torque(name: str, speed: float) -> float:
        below, above = power[name]
        share = min(max((speed - 3980.0) / 40.0, 0.0), 1.0)
        return (below + (above - below) * share) / (speed * RPM)

    speeds = [*range(1400, 3980, 60), 3980, 3990, 4000, 4010, 4020, *range(4060, 7000, 60), 7000]
    curves = [_curve(name, {speed: torque(name, speed) for speed in speeds}) for name in power]
    car = _with_curves(GRIP, *curves).replace(
        {
            "gearbox.ratios": ["2"], "gearbox.final_drive": "3", "gearbox.efficiency": "100 %",
            "gearbox.input_inertia": "0.0001 kg m^2", "engine.inertia": "0.1 kg m^2", "engine.rev_limit": "7000 rpm",
            "engine.boost_lagged_share": "0 %", "launch.engine_speed": "3000 rpm", "coupling.capacity": "1000 N m",
            "coupling.engagement_time": "3 s",
            "body.drag_area": "0 m^2", "body.lift_area_front": "0 m^2", "body.lift_area_rear": "0 m^2",
            "drive.inertia": "0.001 kg m^2", "road": {"surface": "dry asphalt", "friction_factor": "3"},
            "tyres.both.slip_stiffness": "150",
            "run.until": ["200 km/h"], "run.time_limit": "60 s",
        },
    )  # fmt: skip
    ratio, radius = 6.0, float(simulate(car, "first").car.front.radius)
    cut = 4000.0 * RPM / ratio * radius
    target = Target("span", Kind.SPAN, 0.85 * cut, 1.4 * cut)
    found = attribute(car, "first", "second", target)
    assert found is not None
    record = simulate(car, "first").car
    turning = float(record.front.axle_inertia + record.rear.axle_inertia) + 0.001 + 36.0 * (0.1 + 0.0001)
    mass = float(record.body.mass) + turning / radius**2
    rolling = float(record.front.rolling_resistance) * float(record.body.mass) * 9.80665

    def time(start: float, end: float, watts: float) -> float:
        """Of constant power against a constant force: dt = m v dv / (P - F v)."""
        tops = [watts - rolling * speed for speed in (start, end)]
        return mass / rolling**2 * (watts * log(tops[0] / tops[1]) - rolling * (end - start))

    below = time(target.start, cut, 180e3) - time(target.start, cut, 150e3)
    above = time(cut, target.end, 150e3) - time(cut, target.end, 180e3)
    shares = [span.full for span in found.spans if abs(span.full.share) > 1e-6]
    assert [each.share for each in shares] == pytest.approx([below, above], rel=0.03)
    assert sum(each.share for each in shares) == pytest.approx(below + above, abs=0.005)
    for each in shares:
        assert each.most - each.least < 0.02 * abs(each.share)


# --- golden cases: the cause is known ---

_TOP = {5500: 300.0, 6000: 290.0, 7000: 255.0}
_LOW = {1000: 150.0, 1500: 210.0}


def test_only_spin() -> None:
    """Rear drive, little grip, the same top: the peak spins, and with held slip it costs nothing."""
    wet = COUPE.replace({"road.friction_factor": "0.6", "coupling.capacity": "900 N m"})
    low = _LOW | {2500: 300.0, 4000: 320.0, 5000: 310.0} | _TOP
    high = _LOW | {2500: 500.0, 4000: 560.0, 5000: 350.0} | _TOP
    (pair,) = compare(_with_curves(wet, _curve("low", low), _curve("high", high))).pairs
    peak = pair.why.peak if pair.why else None
    assert peak is not None
    assert peak.full.share == pytest.approx(pair.full.at_goal.gap, abs=0.01)
    assert peak.held.share <= peak.full.share - 0.05
    told = sentences(pair.verdict, "metric")[1]
    assert "; with slip control it would " in told


def test_an_end_that_reaches_beyond_the_middle_is_called_a_part() -> None:
    """Of 1,000 to 7,000 rpm the middle is 4,000: a span from 2,500 rpm on is no top end, one up to 5,500 no low end."""
    base = {1000: 300.0, 2000: 380.0, 2500: 400.0, 4000: 400.0, 5500: 380.0, 7000: 300.0}
    early = base | {4000: 404.0, 5500: 395.0, 7000: 320.0}
    late = base | {1000: 320.0, 2000: 395.0, 2500: 404.0, 4000: 404.0}
    for changed, place, name in ((early, -1, SpanName.UPPER), (late, 0, SpanName.LOWER)):
        (pair,) = compare(_with_curves(GRIP, _curve("one", base), _curve("other", changed)), cases=0).pairs
        assert pair.why is not None
        assert len(pair.why.spans) > 1
        assert pair.why.spans[place].name is name


def test_only_the_top_end() -> None:
    same = _LOW | {2500: 400.0, 4000: 400.0}
    strong, weak = same | {5000: 400.0, 6000: 370.0, 7000: 320.0}, same | {4300: 405.0, 5000: 330.0, 7000: 180.0}
    (pair,) = compare(_with_curves(GRIP, _curve("strong", strong), _curve("weak", weak))).pairs
    assert pair.why is not None
    top = pair.why.spans[-1]
    assert top.name is SpanName.TOP
    assert not top.second_above
    assert top.full.share == pytest.approx(pair.full.at_goal.gap, abs=0.02)
    assert top.full.share > 0.1
    assert pair.verdict.finding is Finding.HURTS  # "weak" has the higher peak
    assert pair.verdict.case.peak_effect is not PeakEffect.LOSES


def test_a_peak_within_grip_helps() -> None:
    (pair,) = compare(GRIP).pairs
    assert pair.verdict.finding is Finding.HELPS
    assert pair.verdict.case.peak_effect is PeakEffect.GAINS
    assert "the peak itself" in sentences(pair.verdict, "metric")[1]


def test_equal_area_other_shape() -> None:
    """Torque that is moved from low to high engine speed: nothing is called the peak, and the top decides."""
    flat = {1000: 300.0, 3000: 300.0, 4500: 300.0, 7000: 300.0}
    late = {1000: 240.0, 3000: 240.0, 4000: 300.0, 5000: 300.0, 7000: 300.0}
    (pair,) = compare(_with_curves(GRIP, _curve("flat", flat), _curve("late", late))).pairs
    assert pair.why is not None
    assert pair.why.peak is None
    assert pair.verdict.case.peak_effect is PeakEffect.UNKNOWN
    assert "has the same peak torque" in sentences(pair.verdict, "metric")[1]


def test_no_difference() -> None:
    one = _LOW | {2500: 400.0, 4000: 400.0} | _TOP
    (pair,) = compare(_with_curves(GRIP, _curve("one", one), _curve("other", one | {4000: 401.0}))).pairs
    assert pair.verdict.finding is Finding.NO_DIFFERENCE
    assert pair.verdict.case.peak_effect in (PeakEffect.NO_DIFFERENCE, PeakEffect.UNKNOWN)


def test_the_peak_and_the_curve_are_weighed_apart() -> None:
    """On the demonstration car the curve with the higher peak loses by its top end; the best of both beats either."""
    (pair,) = compare(COUPE, cases=0).pairs
    assert pair.verdict.finding is Finding.HURTS
    assert pair.verdict.case.peak_effect is not PeakEffect.LOSES
    assert pair.why is not None
    best = pair.why.best
    assert best is not None
    assert [name for _, _, name in best.parts] == ["peak", "plateau"]
    assert best.time < min(pair.full.at_goal.first.time, pair.full.at_goal.second.time) - WORTH_NAMING
    why = sentences(pair.verdict, "metric")[1]
    assert why.index("the top end") < why.index("the peak itself")


def test_a_wiggle_of_noise_hides_no_peak() -> None:
    """A dip of 1.5 N m below the other curve, far above the peak, leaves the peak a span of its own."""
    low = {1000: 200.0, 2500: 380.0, 4500: 380.0, 7000: 280.0}
    speeds = [*range(1000, 5900, 100), *range(5900, 6100, 20), *range(6100, 7001, 100)]
    base = {n: float(np.interp(n, list(low), list(low.values()))) for n in speeds}
    high = {n: t + 40.0 * max(0.0, 1.0 - abs(n - 4000.0) / 2400.0) + 4.0 for n, t in base.items()}
    dipped = high | {n: base[n] - 1.5 for n in speeds if 5960 <= n <= 6040}
    found = attribute(_with_curves(GRIP, _curve("low", base), _curve("high", dipped)), "low", "high", QUARTER)
    assert found is not None
    assert found.peak is not None
    assert found.peak.end < 5900.0 * RPM


def test_the_sentence_of_why_always_holds_the_peak() -> None:
    (pair,) = compare(COUPE, cases=0).pairs
    case = pair.verdict.case
    assert case.why is not None
    many = [replace(span, full=Share(0.3, 0.3, 0.3)) for span in case.why.spans if span is not case.why.peak]
    assert case.why.peak is not None
    small = replace(case.why.peak, full=Share(-0.03, -0.03, -0.03))
    why = replace(case.why, spans=(*many, *many, small))
    told = sentences(replace(pair.verdict, case=replace(case, why=why)), "metric")[1]
    assert "the peak itself" in told
