"""JSON of worth, plateau, odds and parts: strict, versioned, SI units in the keys, null for what there is not."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from functools import cache
from math import inf, nan
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from simlaunch.analysis.odds import odds
from simlaunch.analysis.parts import parts
from simlaunch.analysis.plateau import PlateauResult, WantedFinalDrive
from simlaunch.analysis.worth import worth
from simlaunch.launching.launches import Aim
from simlaunch.launching.targets import target_named
from simlaunch.metrics.parts import Part
from simlaunch.output.as_json import dumps
from simlaunch.parameters.fill import lower
from simlaunch.ratings.limits import limits_of
from simlaunch.record import Pedal
from simlaunch.scenario.model import Scenario
from simlaunch.scenario.reading import load
from simlaunch.searching.plateau_search import Plateau
from simlaunch.searching.plateau_search_space import Point, SearchSpace, Shape

COUPE = load(Path(__file__).parents[2] / "scenarios" / "road-coupe.toml").replace(
    {"run.until": ["30 m"], "run.marks": []}
)
KINDS = ("worth", "plateau", "odds", "parts")
_UNITLESS = re.compile(
    r"(share|shares|ratio|value|rows|weights|knee|gear|gears|is_plateau|reached|given|grip|left_out|every_curve)$"
)
_UNIT = re.compile(r"_(s|J|Pa|N_m|s_per_N_m|rad_per_s)$")


def _plateau(scenario: Scenario) -> PlateauResult:
    """An answer put together by hand, so that nothing is sought for it; one point missed the target."""
    aims = Aim((target_named(scenario, None),), (1.0,))
    space = SearchSpace(lower(scenario, "peak", Pedal.FULL), limits_of(scenario, {"power": 200e3}), aims)
    chosen = space.launched([space.shape(400.0, 0.0, 1.0)])[0]
    none = dict.fromkeys(Part, nan)
    missed = Point(Shape(300.0, 200.0, 300.0), inf, (nan,), none, none, 0.0, {})
    torque = space.torque(chosen.shape)
    names = ("power",) * space.speeds.size
    limits = (300.0, *[inf] * 5)
    found = Plateau(
        space.speeds, torque, names, chosen, chosen, (chosen,), 0, limits, missed, space.wish_torque, chosen
    )
    wanted = (WantedFinalDrive("plateau", 3.46, chosen.score, 3.6, chosen.score),)
    sets = {"as described": found}
    return PlateauResult(scenario, "peak", Pedal.FULL, aims, sets, {"as described": (3.46,)}, wanted)


@cache
def _document(kind: str) -> dict[str, Any]:
    if kind == "worth":
        return worth(COUPE, bands=4, each_gear=True).to_dict()
    if kind == "plateau":
        return _plateau(COUPE).to_dict()
    if kind == "odds":
        return odds(COUPE, "peak", "plateau", cases=64).to_dict()
    idle = {"name": "front", "place": "front shafts", "rating": "1000 N m", "origin": "invented"}
    with_idle = COUPE.replace({"parts": [idle]})
    return parts(with_idle).to_dict()


def _strict(text: str) -> Any:
    def refuse(name: str) -> Any:
        raise ValueError(name)

    return json.loads(text, parse_constant=refuse)


def _numbers(value: Any, key: str = "") -> Iterator[str]:
    """Keys under which numbers stand; parts by name take the key that they stand under."""
    if isinstance(value, dict):
        parts = {part.value for part in Part}
        for name, inner in value.items():
            yield from _numbers(inner, key if name in parts else name)
    elif isinstance(value, list):
        for inner in value:
            yield from _numbers(inner, key)
    elif isinstance(value, int | float):
        yield key


@pytest.mark.parametrize("kind", KINDS)
def test_every_document_is_strict_sorted_and_versioned(kind: str) -> None:
    text = dumps(_document(kind))
    assert text.isascii()
    keys = list(_strict(text))
    assert keys[0] == "format"
    assert _strict(text)["format"] == f"simlaunch-{kind}-1"
    assert keys[1:] == sorted(keys[1:])


@pytest.mark.parametrize("kind", KINDS)
def test_every_number_has_its_unit_in_the_key(kind: str) -> None:
    keys = set(_numbers(_strict(dumps(_document(kind)))))
    assert len(keys) > 5
    assert {key for key in keys if not _UNIT.search(key) and not _UNITLESS.search(key)} == set()


def test_what_there_is_not_is_null() -> None:
    plateau = _strict(dumps(_document("plateau")))["gear_sets"]["as described"]
    assert plateau["wish"]["score_s"] is None
    assert plateau["wish"]["times_s"] == [None]
    assert plateau["gear_limits_N_m"] == [300.0, *[None] * 5]
    (idle, *_) = _strict(dumps(_document("parts")))["loads"][0]["parts"]
    assert (idle["part"], idle["peak_torque_N_m"], idle["flag"]) == ("front", None, "carries nothing")


def test_numbers_are_those_of_the_result() -> None:
    found = odds(COUPE, "peak", "plateau", cases=64)
    told = _strict(dumps(_document("odds")))
    assert told["second_quicker"]["share"] == found.second_quicker.share
    assert told["left_open_share"] == pytest.approx(found.left_open)
    assert [each["name"] for each in told["effects"]] == [effect.name for effect in found.effects]
    weighed, told = worth(COUPE, bands=4), _strict(dumps(_document("worth")))["gear_sets"][0]
    np.testing.assert_allclose(told["held_slip"]["gain_s_per_N_m"], weighed.first.of(Pedal.HELD_SLIP).gain, rtol=1e-9)
