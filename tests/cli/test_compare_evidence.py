"""The verdict of `simlaunch compare` with odds and ratings: golden sentences, and numbers that stand in its tables."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from functools import cache
from math import nan
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from evidence import stated_odds, stated_part
from output.rounding import stands_in
from simlaunch.analysis.odds import Chance, odds
from simlaunch.cli.main import answer
from simlaunch.comparing.compare import Comparison, compare
from simlaunch.comparing.verdict import Case, Finding, judge
from simlaunch.metrics.marks import Kind, Target
from simlaunch.output.compare import tables
from simlaunch.output.words import sentences
from simlaunch.ratings.demand import PeakEvent
from simlaunch.reporting.story import answer_in_a_line, main_times
from simlaunch.scenario.reading import load
from simlaunch.units.spelling import System

SCENARIOS = Path(__file__).parents[2] / "scenarios"
COUPE, GRIP = SCENARIOS / "road-coupe.toml", SCENARIOS / "all-drive-grip.toml"
_NUMBER = re.compile(r"(?<![\w.])[+-]?\d+(?:\.\d+)?(?![\w.]*\d)")

SLOWER = stated_odds(512, (0.031, 0.018, 0.044), (0.969, 0.956, 0.982), 0.012, (0.021, 0.218, 0.402))
QUICKER = stated_odds(512, (0.975, 0.962, 0.988), (0.025, 0.012, 0.038), 0.020, (-0.310, -0.205, -0.040))
LEVEL = stated_odds(512, (0.55, 0.51, 0.59), (0.45, 0.41, 0.49), 0.840, (-0.012, -0.001, 0.011))
OPEN = stated_odds(512, (0.70, 0.66, 0.74), (0.30, 0.26, 0.34), 0.102, (-0.150, -0.050, 0.090))
WITHIN = stated_part((0.953, 0.8), (0.897, 0.8))
OVER = stated_part((1.124, 0.9), (0.968, 0.9))
HURTS = Case(
    higher="peak",
    lower="plateau",
    higher_peak=560.0,
    lower_peak=450.0,
    higher_power=245_500.0,
    lower_power=284_700.0,
    target=Target("402.336 m", Kind.DISTANCE, 0.0, 402.336),
    higher_time=13.7506,
    lower_time=13.5296,
    full_gap=0.2210,
    held_gap=0.1,
    grip_gaps=(0.334, 0.046),
    spin_times=(2.7027, 1.6927),
    input_torques=(694.2, 655.2),
    odds=SLOWER,
    rated=(WITHIN,),
)
HELPS = replace(
    HURTS, higher_time=13.3296, full_gap=-0.2, held_gap=-0.2, grip_gaps=(-0.1, -0.3), spin_times=(0.0, 0.0),
    odds=QUICKER,
)  # fmt: skip
BOTH_OVER = stated_part(
    (0.9, 1.676),
    (0.8, 1.6761),
    PeakEvent("1-2 shift", "clutch at its capacity of", 700.0),
)
NONE = replace(HURTS, higher_time=13.5336, full_gap=0.004, held_gap=0.003, odds=LEVEL, rated=())


def _told(case: Case) -> tuple[Finding, str, str]:
    """The finding, who is quicker, and cost and doubt."""
    verdict = judge(case, 0.05)
    first, *_, last = sentences(verdict, "metric")
    return verdict.finding, first, last


# --- golden cases ---


def test_a_peak_that_hurts() -> None:
    finding, first, second = _told(HURTS)
    assert finding is Finding.HURTS
    assert first == ('"plateau" takes 13.53 s for 1/4 mile, "peak" 13.75 s: "plateau" is 0.22 s quicker.')
    assert second.startswith(
        'Wheelspin: 2.70 s with "peak", 1.69 s with "plateau"; "peak" loads "gearbox" in steady pull to '
    )
    assert "slower in 496 of 512 cases (95 to 99 %)" in second


def test_a_peak_that_helps() -> None:
    finding, first, second = _told(HELPS)
    assert finding is Finding.HELPS
    assert first == '"peak" takes 13.33 s for 1/4 mile, "plateau" 13.53 s: "peak" is 0.20 s quicker.'
    assert second.startswith('There is no wheelspin with either curve; "peak" loads "gearbox" in steady pull to ')
    assert second.endswith(
        '; the difference varies: "peak" is quicker in 499 of 512 cases (96 to 99 %), mostly by 0.04 s to 0.31 s.'
    )


def test_no_difference_worth_naming_within_the_odds() -> None:
    finding, first, second = _told(NONE)
    assert finding is Finding.NO_DIFFERENCE
    assert first.endswith("no difference worth naming (within 0.01 s).")
    assert second.endswith("; 430 of 512 cases are level within 0.01 s.")


def test_a_peak_that_helps_but_breaks_a_rating() -> None:
    finding, first, second = _told(replace(HELPS, rated=(WITHIN, OVER)))
    assert finding is Finding.HELPS_BUT_OVERLOADS
    assert first.endswith("0.20 s quicker, but too much is asked of a part.")
    assert 'loads "gearbox" in steady pull to 112.4 % of its rating (too much); the difference varies: ' in second


def test_a_rating_that_both_break_is_not_laid_to_the_peak_alone() -> None:
    both = stated_part((1.124, 0.9), (1.068, 0.9))
    _, _, second = _told(replace(HELPS, rated=(both,)))
    assert '112.4 % of its rating (too much, as with "plateau"); ' in second


def test_a_peak_that_hurts_and_breaks_a_rating_is_still_one_that_hurts() -> None:
    finding, _, second = _told(replace(HURTS, rated=(OVER,)))
    assert finding is Finding.HURTS
    assert "of its rating (too much)" in second


def test_odds_that_do_not_settle_it() -> None:
    finding, first, second = _told(replace(HELPS, odds=OPEN))
    assert finding is Finding.NOT_SURE
    assert first.endswith(': "peak" is 0.20 s quicker, but that is not sure.')
    assert 'which curve is quicker is not sure: "peak" is quicker in 358 of 512 cases' in second


def test_a_share_that_may_be_chance_settles_nothing() -> None:
    """The lower end of the interval has to reach the nine in ten: 91 % of few cases could be fewer."""
    few = replace(QUICKER, second_quicker=Chance(0.91, 0.86, 0.94), first_quicker=Chance(0.09, 0.06, 0.14))
    assert _told(replace(HELPS, odds=few))[0] is Finding.NOT_SURE


def test_a_part_that_both_curves_overload_is_not_laid_to_one_of_them() -> None:
    finding, first, second = _told(replace(HELPS, rated=(WITHIN, BOTH_OVER)))
    assert finding is Finding.HELPS_BUT_OVERLOADS
    assert first.endswith("0.20 s quicker, but too much is asked of a part with either curve.")
    assert (
        'loads "gearbox" in shocks to 167.6 % of its torque of expected failure (1-2 shift: clutch at its capacity of '
        '700 N m) (too much, as with "plateau"), the same with both curves and so no reason to choose; ' in second
    )
    answer = answer_in_a_line(judge(replace(HELPS, rated=(WITHIN, BOTH_OVER)), 0.05))
    assert answer == "“peak” is the bigger number and quicker, but either curve overloads a part"
    for rated in ((OVER,), (BOTH_OVER, OVER)):
        assert _told(replace(HELPS, rated=rated))[1].endswith("but too much is asked of a part.")
        assert answer_in_a_line(judge(replace(HELPS, rated=rated), 0.05)).endswith("but it overloads a part")


def test_no_usual_time_is_reported_twice() -> None:
    """A scenario may name one of them as a mark of its own."""
    car = load(GRIP).replace({"run.marks": ["100 km/h to 200 km/h", "60 mph", "50 m"]})
    found = compare(car)
    material = SimpleNamespace(comparison=found, pair=found.pairs[0])
    labels = [row.label for row in main_times(material, System.METRIC).rows]  # type: ignore[arg-type]
    assert labels.count("100-200 km/h") == labels.count("0-60 mph") == 1
    assert len(labels) == len(set(labels))


@pytest.mark.parametrize("case", [HURTS, HELPS, replace(HELPS, rated=(WITHIN, OVER)), replace(HELPS, odds=OPEN)])
def test_the_second_sentence_is_grasped_in_one_reading(case: Case) -> None:
    """Three lines of 80 columns, and the tail about slip control at most."""
    assert len(_told(case)[2].partition("; with slip control")[0]) <= 3 * 80


def test_a_goal_out_of_reach_stays_out_of_reach() -> None:
    assert _told(replace(HELPS, higher_time=nan, full_gap=nan, rated=(OVER,)))[0] is Finding.OUT_OF_REACH


@pytest.mark.parametrize("case", [HURTS, HELPS, NONE, replace(HELPS, rated=(OVER,)), replace(HELPS, odds=OPEN)])
def test_each_is_a_sentence(case: Case) -> None:
    for sentence in _told(case)[1:]:
        assert sentence[0].isupper() or sentence[0] == '"'
        assert sentence.endswith(".")
        assert not re.search(r"\. ", sentence)


# --- joined at the command line ---


@cache
def compared(swapped: bool) -> Comparison:
    """The two curves of the coupe with 64 drawn cases, in either order."""
    scenario = load(COUPE)
    return compare(scenario, scenario.curve_names[::-1] if swapped else scenario.curve_names, cases=64)


@pytest.mark.parametrize("system", list(System))
@pytest.mark.parametrize("swapped", [False, True])
def test_every_number_of_the_sentences_stands_in_a_table(system: System, swapped: bool) -> None:
    found = compared(swapped)
    every = tables(found, system)
    rows = [f"{row.label} {' '.join(row.cells)}" for table in every for row in table.rows]
    shown = " ".join([*rows, *(table.title for table in every)])
    (pair,) = found.pairs
    assert pair.verdict.case.odds
    assert len(pair.verdict.case.rated) == 3
    told = " ".join(sentences(pair.verdict, system)).replace("1/4 mile", "")
    numbers = [{number.lstrip("+-") for number in _NUMBER.findall(text)} for text in (told, shown)]
    assert [number for number in numbers[0] if number != "0.01" and not stands_in(number, numbers[1])] == []


def test_the_order_of_the_curves_changes_no_verdict() -> None:
    one, other = (compared(swapped).pairs[0].verdict for swapped in (False, True))
    assert one.finding is other.finding
    assert [sentences(one, system) for system in System] == [sentences(other, system) for system in System]
    assert one.case.odds is not None
    assert other.case.odds is not None
    assert replace(one.case, odds=None, rated=()) == replace(other.case, odds=None, rated=())
    np.testing.assert_array_equal(one.case.odds.times, other.case.odds.times)


def test_the_odds_of_a_pair_are_those_that_odds_finds() -> None:
    scenario = load(COUPE)
    first, second = scenario.curve_names[:2]
    drawn = compared(swapped=False).pairs[0].odds
    assert drawn is not None
    assert (drawn.first, drawn.second) == (first, second)
    alone = odds(scenario, first, second, cases=64)
    np.testing.assert_array_equal(drawn.times, alone.times)
    assert (drawn.first_quicker, drawn.second_quicker) == (alone.first_quicker, alone.second_quicker)
    assert drawn.difference_quantiles() == alone.difference_quantiles()
    assert drawn.turned().difference_quantiles() == tuple(-gap for gap in alone.difference_quantiles()[::-1])


def test_a_scenario_without_either_is_weighed_by_grip_alone() -> None:
    (pair,) = compare(load(GRIP)).pairs
    assert (pair.odds, pair.verdict.case.rated) == (None, ())
    coupe = load(COUPE).replace({"uncertain": [], "parts": []})
    assert compare(coupe).pairs[0].odds is None
    assert compare(load(COUPE), cases=0).pairs[0].odds is None


def test_a_lower_rating_turns_a_gain_into_a_warning(capsys: pytest.CaptureFixture[str]) -> None:
    scenario = load(GRIP)
    part = {"name": "box", "place": "gearbox input", "rating": "300 N m", "origin": "invented"}
    weak = scenario.replace({"parts": [part]})
    assert compare(weak).pairs[0].verdict.finding is Finding.HELPS_BUT_OVERLOADS
    assert answer(["compare", str(COUPE), "--cases", "64", "--json", "--quiet"]) == 0
    verdict = json.loads(capsys.readouterr().out)["pairs"][0]["verdict"]
    assert verdict["sureness"]["cases"] == 64
    assert [part["part"] for part in verdict["rated_parts"]] == ["clutch", "gearbox", "half shafts"]
