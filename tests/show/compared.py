"""Comparisons of the demonstration scenarios, each made once for all tests of what is shown."""

from __future__ import annotations

from functools import cache
from pathlib import Path

from simlaunch.scenario.model import Scenario
from simlaunch.scenario.reading import load
from simlaunch.study.compare import Comparison, compare

SCENARIOS = Path(__file__).parents[2] / "scenarios"


@cache
def scenario(name: str) -> Scenario:
    return load(SCENARIOS / f"{name}.toml")


@cache
def comparison(name: str) -> Comparison:
    return compare(scenario(name))
