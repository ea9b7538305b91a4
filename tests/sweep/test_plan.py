"""Which case stands at which number."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from scipy.stats import qmc

from simlaunch.errors import UsageError
from simlaunch.scenario.model import Scenario
from simlaunch.sweeping.axes import axes
from simlaunch.sweeping.plan import MOST_LATIN, Draw, Plan, Sample, plan_as_json, plan_from, unit_points

VARY = ["curve", "gear set", "body.mass: 1400 kg to 1700 kg in 4", "pedal"]


def test_a_grid_counts_like_a_clock_the_last_axis_quickest(coupe: Scenario) -> None:
    plan = Plan(axes(VARY, coupe))
    every = [tuple(plan.texts(plan.cases(n, n + 1), 0).values()) for n in range(plan.size)]
    assert every == list(itertools.product(*(axis.values for axis in plan.axes)))


def test_any_stretch_of_a_grid_is_the_same_as_in_the_whole(coupe: Scenario) -> None:
    plan = Plan(axes(VARY, coupe))
    whole = plan.cases(0, plan.size)
    for first in range(0, plan.size, 5):
        part = plan.cases(first, min(first + 5, plan.size))
        assert (part.position == whole.position[first : first + 5]).all()
        assert np.array_equal(part.si, whole.si[first : first + 5], equal_nan=True)


@pytest.mark.parametrize("length", [1, 7, 64, 100])
def test_a_sobol_sample_in_stretches_is_scipys_in_one_go(length: int) -> None:
    sample = Sample(Draw.SOBOL, 300, 11)
    with pytest.warns(UserWarning, match="power of 2"):
        expected = qmc.Sobol(4, rng=11).random(300)
    starts = range(0, 300, length)
    found = np.concatenate([unit_points(sample, 4, first, min(first + length, 300)) for first in starts])
    assert (found == expected).all()


def test_a_latin_hypercube_in_stretches_is_scipys_in_one_go() -> None:
    sample = Sample(Draw.LATIN, 100, 5)
    expected = qmc.LatinHypercube(3, rng=5).random(100)
    found = np.concatenate([unit_points(sample, 3, first, first + 20) for first in range(0, 100, 20)])
    assert (found == expected).all()
    assert (np.sort(np.floor(100 * found), axis=0) == np.arange(100)[:, None]).all()  # one in each hundredth


def test_a_far_stretch_of_a_long_sample_needs_none_before_it(coupe: Scenario) -> None:
    plan = Plan(axes(VARY, coupe), Sample(Draw.SOBOL, 50_000_000, 1))
    cases = plan.cases(49_999_990, 50_000_000)
    assert len(cases.position) == 10
    assert ((cases.si[:, 2] >= 1400.0) & (cases.si[:, 2] <= 1700.0)).all()


def test_a_sample_fills_stretches_and_takes_names_evenly(coupe: Scenario) -> None:
    plan = Plan(axes(["curve", "gear set", "body.mass: 1400 kg to 1700 kg", "final drive: 3, 4"], coupe),
                Sample(Draw.SOBOL, 1024, 3))  # fmt: skip
    cases = plan.cases(0, 1024)
    assert [np.unique(cases.position[:, j]).tolist() for j in range(4)] == [[0, 1], [0, 1, 2], [-1], [0, 1]]
    assert np.bincount(cases.position[:, 1]).min() >= 340
    mass = np.sort(cases.si[:, 2])
    assert np.abs(mass - np.linspace(1400.0, 1700.0, 1024)).max() < 1.0


def test_a_sampled_number_is_what_its_text_says(coupe: Scenario) -> None:
    plan = Plan(axes(["body.mass: 3100 lb to 3700 lb"], coupe), Sample(Draw.SOBOL, 64, 3))
    cases = plan.cases(0, 64)
    for row in range(64):
        text = plan.text(cases, row, 0)
        assert float(text.removesuffix(" lb")) == cases.number[row, 0]
        assert axes([f"body.mass: {text}"], coupe)[0].si[0] == cases.si[row, 0]


def test_another_seed_gives_another_sample() -> None:
    one, other = (unit_points(Sample(Draw.SOBOL, 8, seed), 2, 0, 8) for seed in (1, 2))
    assert not np.array_equal(one, other)


def test_a_plan_travels_as_json(coupe: Scenario) -> None:
    for sample in (None, Sample(Draw.LATIN, 10, 4)):
        plan = Plan(axes(VARY, coupe), sample)
        assert plan_from(*plan_as_json(plan)) == plan


def test_corners(coupe: Scenario) -> None:
    plan = Plan(axes(VARY, coupe))
    texts = [plan.texts(plan.cases(n, n + 1), 0) for n in plan.corners(99)]
    ends = [(axis.values[0], axis.values[-1]) for axis in plan.axes]
    assert [tuple(text.values()) for text in texts] == list(itertools.product(*ends))
    assert len(texts) == plan.corner_count
    assert plan.corners(3) == [0, plan.size - 1]


@pytest.mark.parametrize("count", [5, 7, 8, 11, 15])
def test_of_many_corners_a_balanced_part_is_named(coupe: Scenario, count: int) -> None:
    """Two-level designs: each axis is at either end equally often, and so is each pair of axes at its four corners.

    Source: Plackett and Burman 1946 (from memory).
    """
    keys = ("body.mass", "body.wheelbase", "body.cg_height", "body.drag_area", "body.lift_area_front",
            "body.lift_area_rear", "road.friction_factor", "tyres.rear.friction", "tyres.front.friction",
            "tyres.rear.wheel_inertia", "tyres.front.wheel_inertia", "gearbox.input_inertia", "engine.inertia",
            "coupling.engagement_time", "gearbox.final_drive")  # fmt: skip
    units = ("kg", "m", "m", "m^2", "m^2", "m^2", "", "", "", "kg m^2", "kg m^2", "kg m^2", "kg m^2", "s", "")
    low = (1500, 2.6, 0.5, 0.6, 0.01, 0.02, 0.8, 1.0, 1.0, 1.0, 1.0, 0.01, 0.2, 0.5, 3.0)
    texts = [f"{k}: {v} {u}, {v * 1.1:.4g} {u}" for k, v, u in zip(keys, low, units, strict=True)]
    plan = Plan(axes([*texts[:count], "tyre: track"], coupe))
    numbers = plan.corners(16)
    last = np.array([plan.cases(n, n + 1).position[0, :count] for n in numbers])
    assert len(numbers) == 16 < plan.corner_count == 2**count
    assert numbers[0] == 0
    assert (numbers[-1] == plan.size - 1) == (count <= 8)
    assert (last.sum(axis=0) == 8).all()
    for one, other in itertools.combinations(range(count), 2):
        assert np.bincount(2 * last[:, one] + last[:, other]).tolist() == [4, 4, 4, 4]


def test_what_cannot_be_planned_is_refused(coupe: Scenario) -> None:
    with pytest.raises(UsageError, match="a full grid needs a number of values"):
        Plan(axes(["body.mass: 1400 kg to 1700 kg"], coupe))
    keys = ("gearbox.final_drive", "tyres.rear.friction", "tyres.front.friction")
    many = [f"{key}: 1 to 2 in 1000" for key in keys]
    with pytest.raises(UsageError, match="not from 1 to"):
        Plan(axes(many, coupe))
    with pytest.raises(UsageError, match="take sobol instead"):
        Plan(axes(VARY, coupe), Sample(Draw.LATIN, MOST_LATIN + 1, 0))
