"""A small sweep: few cases of short launches, and files filled with made-up results where no launch is needed."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from scenario.conftest import sound_scenario
from simlaunch.scenario.model import Scenario
from simlaunch.scenario.reading import load
from simlaunch.sweeping.axes import axes
from simlaunch.sweeping.chunk import ChunkResult, Spec, maker, spec_of, study_of
from simlaunch.sweeping.plan import Plan, Sample
from simlaunch.sweeping.store import Store

COUPE = Path(__file__).parents[2] / "scenarios" / "road-coupe.toml"
SMALL = ("curve", "gear set: short, long", "body.mass: 1500 kg to 1800 kg in 4")

Fill = Callable[[Path, Spec, NDArray[np.float64]], None]


def planned(scenario: Scenario, *vary: str, sample: Sample | None = None) -> Spec:
    """A sweep of a scenario."""
    return spec_of(scenario, Plan(axes(vary, scenario), sample))


def filled(path: Path, spec: Spec, values: NDArray[np.float64], length: int = 7) -> None:
    """Write made-up results of the first launches, as many as there are rows."""
    with Store(path, study_of(spec), lambda: length) as store:
        for number, (first, last) in store.missing().items():
            if last > len(values):
                return
            ending = np.zeros(last - first, np.int64)
            cases = spec.plan.cases(first, last)
            store.write(number, cases, ChunkResult(first, values[first:last], ending, {}, maker()))


@pytest.fixture(scope="session")
def coupe() -> Scenario:
    return load(COUPE)


@pytest.fixture
def sound() -> dict[str, object]:
    return sound_scenario()


@pytest.fixture(scope="session")
def brief(coupe: Scenario) -> Scenario:
    """The same car over 20 m."""
    return coupe.replace({"run": {"until": ["20 m"], "time_limit": "20 s"}})


@pytest.fixture(scope="session")
def small(brief: Scenario) -> Spec:
    """Sixteen short launches."""
    return planned(brief, *SMALL)
