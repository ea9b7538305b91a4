"""A launch that cannot be followed is given up soon, and what is named as the remedy is one."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest

from cars import coupe
from simlaunch.analysis.simulate import simulate
from simlaunch.errors import RunNotFollowed
from simlaunch.launching import unfollowed
from simlaunch.launching.unfollowed import remedy
from simlaunch.parameters.fill import lower
from simlaunch.record import Pedal
from simlaunch.scenario.reading import load
from simlaunch.simulation import events, kernel, run
from simlaunch.simulation.bench import CAPACITIES, Bench, make_bench
from simlaunch.simulation.run import Outcome, launch

SALOON = load(Path(__file__).parents[2] / "scenarios" / "all-drive-saloon.toml")
STIFF = SALOON.replace({"tyres.both.nominal_load": "200 N", "body.mass": "4444 kg"})
"""Tyres described at a fiftieth of what they carry: their stiffness grows with its square, and steps shrink."""
TOO_STIFF = STIFF.replace({"tyres.both.slip_stiffness": "200", "tyres.both.shape": "1.9"})


def test_the_named_value_lets_the_launch_be_followed() -> None:
    with pytest.raises(RunNotFollowed, match="shorter than a microsecond; it is followed to its end with") as caught:
        simulate(STIFF)
    key, usual, typed = re.findall(r'with (\S+) = "(.*?)" in place of "(.*?)"$', str(caught.value))[0]
    assert (key, typed) == ("tyres.both.nominal_load", "200 N")
    assert simulate(STIFF.replace({key: usual})).run.outcome is Outcome.FINISHED


def test_a_launch_that_does_not_move_on_is_given_up_at_its_first_record(monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[int] = []

    def watched(tolerance: float, capacity: int, sample_gap: float) -> Bench:
        asked.append(capacity)
        return make_bench(tolerance, capacity, sample_gap)

    monkeypatch.setattr(run, "make_bench", watched)
    with pytest.raises(RunNotFollowed) as caught:
        launch(lower(STIFF, STIFF.curve_names[0], Pedal.FULL))
    assert asked == [CAPACITIES[0]]
    assert 0.0 < caught.value.time < 1.0
    asked.clear()
    long = coupe({"run.stop_distance": 1e6, "run.time_limit": 130.0})
    assert launch(long).outcome is Outcome.TIME_LIMIT
    assert asked == [CAPACITIES[0], CAPACITIES[1]]


def test_of_a_section_only_what_is_needed_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    """Trials are pretended: two values of the tyres have to be put back together."""
    needed = {"tyres.both.nominal_load", "tyres.both.slip_stiffness"}
    monkeypatch.setattr(unfollowed, "_followed", lambda scenario, changes, *_: needed <= set(changes))
    found = remedy(TOO_STIFF, STIFF.curve_names[0], Pedal.FULL, RunNotFollowed("", 0.1))
    assert found.endswith('with these values under tyres.both: nominal_load = "4000 N", slip_stiffness = "22.303"')


def test_where_nothing_helps_the_text_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(unfollowed, "_followed", lambda *_: False)
    found = remedy(STIFF, STIFF.curve_names[0], Pedal.FULL, RunNotFollowed("", 0.1))
    assert found.startswith("no value put back to the usual one helps by itself")
    assert "tyres.both.nominal_load" in found


def test_phases_that_take_turns_are_named() -> None:
    bench = make_bench(capacity=4)
    log = bench.log
    log.event[:2000], log.start[:2000] = events.SPEEDS_MEET, 3.25
    ending = kernel.Ending(kernel.EVENT_STORM, 3.25, 2300, 70, 2000)
    with pytest.raises(RunNotFollowed, match=r"beyond 3\.2500 s: there, coupling speeds meet .* come at one instant"):
        run._refuse(ending, bench)
    log.start[:2000] = 3.0 + 1e-3 * np.arange(2000)
    with pytest.raises(RunNotFollowed, match="come within 99 ms"):
        run._refuse(ending, bench)
