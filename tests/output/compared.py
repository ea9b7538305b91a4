"""Comparisons of the demonstration scenarios, each made once for all tests of what is shown."""

from __future__ import annotations

from functools import cache
from pathlib import Path

from simlaunch.comparing.compare import Comparison, compare
from simlaunch.scenario.model import Scenario
from simlaunch.scenario.reading import load

SCENARIOS = Path(__file__).parents[2] / "scenarios"


@cache
def scenario(name: str) -> Scenario:
    return load(SCENARIOS / f"{name}.toml")


@cache
def comparison(name: str) -> Comparison:
    return compare(scenario(name))
