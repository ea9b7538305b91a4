"""The verdict in words: every finding, in both systems of units, with no number that was not weighed."""

from __future__ import annotations

import re
from dataclasses import replace
from math import nan

import pytest

from simlaunch.analysis.simulate import target_label
from simlaunch.analysis.verdict import Case, Finding, judge
from simlaunch.metrics.marks import STANDARD, Kind, Target
from simlaunch.output.words import Numbers, sentences
from simlaunch.units.spelling import Dimension, System

GOAL = Target("402.336 m", Kind.DISTANCE, 0.0, 402.336)
CASE = Case(
    higher="peak",
    lower="plateau",
    higher_peak=560.0,
    lower_peak=450.0,
    target=GOAL,
    higher_time=13.7506,
    lower_time=13.5296,
    full_gap=0.2210,
    held_gap=0.1,
    grip_gaps=(0.334, 0.046),
    spin_times=(2.7027, 1.6927),
    input_torques=(694.2, 655.2),
)


def _told(**changes: object) -> tuple[Finding, str, str]:
    verdict = judge(replace(CASE, **changes), 0.05)  # type: ignore[arg-type]
    return (verdict.finding, *sentences(verdict, "metric"))


def test_a_harmful_peak() -> None:
    finding, first, second = _told()
    assert finding is Finding.HURTS
    assert first == (
        'With 110 N m more peak torque, "peak" takes 13.751 s for 1/4 mile against 13.530 s with "plateau": '
        "0.221 s lost."
    )
    assert second == (
        "It brings 2.703 s of wheelspin against 1.693 s and pulls 694 N m at the gearbox input against "
        "655 N m; the loss holds: 0.334 s slower with 5 % less grip and 0.046 s slower with 5 % more."
    )


def test_a_helpful_peak() -> None:
    finding, first, second = _told(higher_time=13.3296, full_gap=-0.2, held_gap=-0.2, grip_gaps=(-0.1, -0.3))
    assert finding is Finding.HELPS
    assert first.endswith('13.330 s for 1/4 mile against 13.530 s with "plateau": 0.200 s gained.')
    assert second.startswith("It brings 2.703 s of wheelspin against 1.693 s and pulls 694 N m at the gear")
    assert second.endswith("the gain holds: 0.100 s quicker with 5 % less grip and 0.300 s quicker with 5 % more.")


def test_no_difference_worth_naming() -> None:
    finding, first, second = _told(full_gap=0.004, held_gap=0.003, grip_gaps=(-0.002, 0.0))
    assert finding is Finding.NO_DIFFERENCE
    assert first.endswith("no difference worth naming (0.004 s).")
    assert "0.002 s quicker with 5 % less grip and level (0.000 s) with 5 % more" in second


def test_grip_decides() -> None:
    finding, first, second = _told(grip_gaps=(0.3, -0.2))
    assert finding is Finding.DEPENDS_ON_GRIP
    assert first.endswith(": 0.221 s slower, but that depends on the grip.")
    assert "which curve is quicker is not sure: 0.300 s slower with 5 % less grip and 0.200 s quicker" in second


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"lower_time": nan}, '1/4 mile was reached by "peak" in 13.751 s, but not by "plateau"'),
        ({"higher_time": nan, "lower_time": nan}, '1/4 mile was reached neither by "peak" nor by "plateau"'),
    ],
)
def test_out_of_reach(changes: dict[str, float], words: str) -> None:
    finding, first, second = _told(full_gap=nan, grip_gaps=(nan, nan), **changes)
    assert finding is Finding.OUT_OF_REACH
    assert first.startswith("No verdict: ")
    assert words in first
    assert "raise run.time_limit" in second
    assert "nan" not in first + second


def test_no_wheelspin_is_not_called_a_cost() -> None:
    _, _, second = _told(spin_times=(0.0, 0.0))
    assert second.startswith("It brings no wheelspin with either curve (0.000 s) and pulls 694 N m")


def test_a_run_that_fails_on_other_grip_leaves_a_verdict_that_is_not_sure() -> None:
    finding, _, second = _told(grip_gaps=(nan, 0.1))
    assert finding is Finding.HURTS
    assert "the loss is not sure: without a finish with 5 % less grip and 0.100 s slower with 5 % more" in second


def test_a_peak_that_slip_control_would_put_to_use_is_said_to_be_one() -> None:
    _, _, second = _told(held_gap=-0.15)
    assert second.endswith("; with slip control the higher peak would help, 0.150 s quicker.")


def test_a_gain_that_slip_control_would_undo_is_said_to_be_one() -> None:
    _, _, second = _told(full_gap=-0.2, grip_gaps=(-0.2, -0.2), held_gap=0.15)
    assert second.endswith("; with slip control it would be 0.150 s slower.")


def test_held_slip_that_agrees_needs_no_word() -> None:
    assert "slip control" not in _told(held_gap=0.2)[2]


def test_equal_peaks_are_not_called_higher() -> None:
    assert _told(lower_peak=560.0)[1].startswith("With the same peak torque (difference 0 N m), ")


def test_each_is_one_sentence() -> None:
    for gaps in ((0.3, 0.2), (-0.3, -0.2), (0.3, -0.2), (0.0, 0.0), (nan, nan)):
        times = {"higher_time": nan} if gaps[0] != gaps[0] else {}
        for sentence in _told(full_gap=gaps[0], grip_gaps=gaps, **times)[1:]:
            assert sentence[0].isupper()
            assert sentence.endswith(".")
            assert not re.search(r"\. ", sentence)


def test_us_units() -> None:
    first, second = sentences(judge(CASE, 0.05), "us")
    assert first.startswith("With 81 lb-ft more peak torque")
    assert "512 lb-ft at the gearbox input against 483 lb-ft" in second


def test_a_hostile_name_cannot_give_orders() -> None:
    _, first, _ = _told(higher="\x1b[2J" + "x" * 60)
    assert first.isprintable()
    assert '"\\x1b[2J' in first
    assert "..." in first


@pytest.mark.parametrize("standard", STANDARD)
def test_a_usual_target_is_called_by_its_usual_name(standard: Target) -> None:
    assert target_label(replace(standard, label="as typed")) == standard.label


def test_an_unusual_target_keeps_what_was_typed() -> None:
    assert target_label(Target("50 m", Kind.DISTANCE, 0.0, 50.0)) == "50 m"


@pytest.mark.parametrize(
    ("value", "kind", "plain", "signed"),
    [
        (0.0, Dimension.TIME, "0.000", "0.000"),
        (-0.0001, Dimension.TIME, "0.000", "0.000"),
        (0.0004, Dimension.TIME, "0.000", "0.000"),
        (1.23456, Dimension.TIME, "1.235", "+1.235"),
        (-10.0, Dimension.TORQUE, "-10", "-10"),
        (0.05, Dimension.SHARE, "5.0", "+5.0"),
        (nan, Dimension.TORQUE, "-", "-"),
        (float("inf"), Dimension.SPEED, "-", "-"),
    ],
)
def test_numbers(value: float, kind: Dimension, plain: str, signed: str) -> None:
    numbers = Numbers(System.METRIC)
    assert (numbers.plain(value, kind), numbers.signed(value, kind)) == (plain, signed)
    assert (numbers.with_unit(value, kind) == "-") == (plain == "-")


@pytest.mark.parametrize("kind", list(Dimension))
def test_a_number_carries_the_unit_of_its_system(kind: Dimension) -> None:
    for system in System:
        unit = Numbers(system).unit(kind)
        assert unit == unit.strip()
